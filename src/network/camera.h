/* A camera of a rig; a lone camera is a rig with the camera at its origin. Its unknowns are a small
   rotation and a displacement in its own frame (tr_pose_moved):
     p_camera = camera_from_rig * p_rig */
#ifndef TR_NETWORK_CAMERA_H
#define TR_NETWORK_CAMERA_H

#include "geom/geom.h"

typedef struct {
    tr_pose camera_from_rig;
    bool is_free;
} tr_net_camera;

#endif
