/* The network takes sheets on the floor to lie within a few millimetres of one plane (the prior of
   adjust/adjust.h). That helps where few photos show a sheet, but it pulls what lies lower or
   slopes towards the plane, and u95 does not know: a floor that is itself in question would be
   measured as more even than it is. Here most of the prior is taken back, to first order, for the
   values of the floor alone.

   The solution x, with C the inverse of its normal equations, has the prior's weights L = diag(1 /
   sd^2) on some of its components, A'x, which the prior holds to be 0. Without a part of it,
   l = (1 - REST) L:
     K = l^-1 - A'C A
     x' = M x                             C' = C + C A K^-1 A'C
     M = I + C A K^-1 A'
   by the normal equations with A l A' taken off, and Woodbury's identity (Golub and Van Loan,
   Matrix computations, 4th ed., 2013, eq. 2.1.4). What the covariance S of x has besides f C, f the
   variance factor, is of the coordinates of surveyed marks, and changes with x: S' = f C' + M (S -
   f C) M' Private to check. */
#ifndef TR_CHECK_OPEN_FLOOR_H
#define TR_CHECK_OPEN_FLOOR_H

#include "adjust/adjust.h"

typedef struct {
    const tr_adjustment *adj; /* borrowed */
    int n_poses, n;           /* components of all poses, and those with the prior */
    int *at;                  /* of each of these: its place among the poses' */
    double *K;                /* factored */
    double *shift;            /* of the poses: x' - x, as in tr_pose_moved */
    double *row, *y, *z;      /* scratch */
    bool
        is_told; /* false: the photos leave the floor open altogether, and nothing is to be asked */
} tr_open_floor;

/* *out is to be released in any case. False: memory ran out. */
TR_MUST_USE bool tr_open_floor_make(const tr_adjustment *adj, tr_open_floor *out, tr_error *err);
void tr_open_floor_release(tr_open_floor *open);

/* The variance of a function of the poses with this gradient. */
double tr_open_floor_variance(tr_open_floor *open, const double *gradient);

#endif
