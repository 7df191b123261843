/* Where a target is at whose points the tips of pointers were laid. */
#ifndef TR_VEHICLE_POINTED_H
#define TR_VEHICLE_POINTED_H

#include <stdbool.h>

#include "geom/geom.h"

/* The most tips of one target. */
enum { TR_POINTED_MAX = 64 };

/* A tip, and the point at which it was laid. */
typedef struct {
    tr_vec3 at_mm;  /* the point, in the target's frame */
    tr_vec3 tip_mm; /* in the world */
} tr_pointed_tip;

typedef struct {
    const tr_pointed_tip *tips; /* two or more at different points; three that are not in line,
                                   unless the target lies */
    int n;
    double sd_mm;        /* of a tip from its point, along x and y of the world ... */
    double height_sd_mm; /* ... and z: a mat and the pointers beside it lie on an uneven floor */
    /* It lies on a floor: its normal is that of the world's z = 0, but for a lean towards x and y
       of which this is the standard deviation; 0: it stands. */
    double level_sd_rad;
    double lean_rad[2]; /* by how much it is held to lean */
} tr_pointed;

/* The pose of least squares, the tips and the level weighted by their variances (Gauss and Newton's
   method; a start from the tips that lie farthest apart). Of what lies, tips along x and y tell the
   place and the yaw, and their heights the rest. False: the tips do not tell it. */
bool tr_pointed_pose(const tr_pointed *pointed, tr_pose *world_from_target);

#endif
