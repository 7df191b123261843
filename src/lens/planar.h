/* A flat sheet seen in one photo: homographies and poses. Initial values for the network and the
   prediction of marks; not the measurement itself. */
#ifndef TR_LENS_PLANAR_H
#define TR_LENS_PLANAR_H

#include "geom/geom.h"
#include "lens/lens.h"

/* The plane projective map H (last element 1) with to ~ H (from, 1), least squares over n >= 4
   points in normalised coordinates. Source: Hartley, In defense of the eight-point algorithm, IEEE
   PAMI 19(6), 1997 (normalisation). False where the points do not determine it. */
bool tr_homography_fit(const tr_vec2 *from, const tr_vec2 *to, int n, tr_mat3 *H);

/* H (p, 1), divided out; J: 2 x 2 by rows, may be NULL. False where p lies on the line that H maps
   to infinity, or beyond it. */
bool tr_homography_apply(tr_mat3 H, tr_vec2 p, tr_vec2 *q, double J[4]);

typedef struct {
    tr_pose camera_from_plane; /* plane z = 0 */
    double rms_px;             /* root mean square of the 2n residuals */
} tr_planar_pose;

/* Poses of a plane from n >= 4 of its points (mm) and their pixels: the local minima of the
   reprojection error, best first. A small or distant plane has two, tilted to either side of the
   line of sight; far from frontal and close by, one (Schweighofer and Pinz, Robust pose estimation
   from a planar target, IEEE PAMI 28(12), 2006). Returns their number, 0 where there is none. */
int tr_planar_poses(const tr_lens *lens, const tr_vec2 *p_plane_mm, const tr_vec2 *uv_px, int n,
                    tr_planar_pose out[2]);

/* Refines a pose of a plane in place by Gauss-Newton with damping; returns the rms in px, NaN where
   the points do not determine it. */
double tr_planar_refine(const tr_lens *lens, const tr_vec2 *p_plane_mm, const tr_vec2 *uv_px, int n,
                        tr_pose *camera_from_plane);

#endif
