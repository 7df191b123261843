/* A rig (a station), from which photos are taken. Its unknowns are a small rotation and a
   displacement in its own frame (tr_pose_moved):
     p_rig = rig_from_world * p_world */
#ifndef TR_NETWORK_RIG_H
#define TR_NETWORK_RIG_H

#include "geom/geom.h"

typedef struct {
    tr_pose rig_from_world;
    bool is_held; /* not an unknown */
} tr_net_rig;

#endif
