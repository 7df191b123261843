/* The lens model and its profile: how a point in front of the camera becomes a pixel, and how well
   that is known. Camera frame: x right, y down, z forward, mm. Pixel: (0, 0) is the centre of the
   first pixel, u to the right, v down. */
#ifndef TR_LENS_LENS_H
#define TR_LENS_LENS_H

#include "geom/geom.h"
#include "image/camera.h"

/* Order of the profile's parameters, and of every Jacobian and covariance of a lens. */
enum { TR_FX, TR_FY, TR_CX, TR_CY, TR_K1, TR_K2, TR_P1, TR_P2, TR_K3, TR_LENS_N };

/* How a camera changes from photo to photo: a stabilised lens or sensor shifts the principal point,
   focus and temperature scale the focal length, and a hand turns and carries the camera while its
   rows are read. One standard deviation of each, per axis: px; relative; rad and mm a frame. */
enum { TR_SCATTER_SHIFT, TR_SCATTER_FOCAL, TR_SCATTER_TURN, TR_SCATTER_TRAVEL, TR_SCATTER_N };
typedef struct {
    bool is_steady; /* a machine camera: none of this; the rest is then 0 */
    /* What calibration found (calib/calibrate.h), each with the degrees of freedom that it rests
       on: the relative standard deviation of sd is 1 / sqrt(2 dof) (JCGM 100:2008, E.4.3). dof 0:
       not known. */
    double sd[TR_SCATTER_N];
    double dof[TR_SCATTER_N];
} tr_lens_scatter;

/* The checkerboard that a lens was calibrated with (calib/board.h), so that a re-check need not be
   told again. squares_x 0: not known. */
typedef struct {
    int squares_x, squares_y;
    double pitch_mm;
} tr_lens_board;

typedef struct {
    char id[64];                              /* the profile's name */
    int width_px, height_px;                  /* of the photos that it is for */
    double param[TR_LENS_N];                  /* fx fy cx cy (px), k1 k2 p1 p2 k3 */
    bool has_covariance;                      /* false: taken as exact */
    bool is_unknown;                          /* no profile: what lens/unknown.h says of any */
    double covariance[TR_LENS_N * TR_LENS_N]; /* row by row, symmetric */
    tr_camera camera;                         /* of the photos that it was made from */
    tr_lens_scatter scatter;
    tr_lens_board board;
    char calibrated[11]; /* "2026-03-02": the day of the last photo that it was made from; "": not
                            known */
} tr_lens;

/* The standard deviation of one kind of scatter that any job may have with this lens, before its
   own photos say more (adjust/scatter.h): 0 for a steady camera; else that of an unknown camera: 1
   % of the longer side (40 px at 4032), 1 %, 2e-3 rad, 1.5 mm, wider than in any phone that was
   measured (doc/measurements.md); or that of the profile with 80 % confidence
   (tr_lens_scatter_limit), where that is more. Another day, or another hand, may bring more than
   what the profile's photos had. */
double tr_lens_scatter_sd(const tr_lens *lens, int kind);

/* What is known of one kind of scatter before a job: a standard deviation with the degrees of
   freedom that it counts for against the job's own photos. Those of an unknown camera count for
   next to nothing, and those of a hand for few. */
void tr_lens_scatter_known(const tr_lens *lens, int kind, double *sd, double *dof);

/* Upper 80 % limit of a standard deviation that was found with so many degrees of freedom. */
double tr_lens_scatter_limit(double sd, double dof);

/* Pixel of a point, and how it moves. Model brown5:
     x = X/Z   y = Y/Z   r2 = x^2 + y^2   s = 1 + k1 r2 + k2 r2^2 + k3 r2^3
     u = fx (x s + 2 p1 x y + p2 (r2 + 2 x^2)) + cx
     v = fy (y s + 2 p2 x y + p1 (r2 + 2 y^2)) + cy
   Source: Brown, Close-range camera calibration, Photogrammetric Engineering 37(8), 1971; order and
   signs as in OpenCV's 5-coefficient model.
   J_point: 2 x 3 by rows, px per mm. J_lens: 2 x 9 by rows, px per unit. Either may be NULL.
   False, and nothing written, where Z is not above 0 or the point lies outside the part of the
   image plane in which the model is one-to-one (see tr_lens_fold_r2). */
bool tr_lens_project(const tr_lens *lens, tr_vec3 p_camera_mm, tr_vec2 *uv_px, double J_point[6],
                     double J_lens[2 * TR_LENS_N]);

/* The same from the ideal image plane (x, y as above). J_xy: 2 x 2 by rows, px per unit; may be
   NULL. False, and nothing written, beyond the fold. */
bool tr_lens_distort(const tr_lens *lens, tr_vec2 xy, tr_vec2 *uv_px, double J_xy[4]);

/* The inverse: ideal image plane of a pixel, by Newton's iteration to 1e-12.
   False, and nothing written, where no point of the plane within the fold leads to that pixel. */
bool tr_lens_undistort(const tr_lens *lens, tr_vec2 uv_px, tr_vec2 *xy);

/* Square of the radius on the ideal image plane at which the radial part stops growing, that is,
   the smallest r2 > 0 with d(r s)/dr = 1 + 3 k1 r2 + 5 k2 r2^2 + 7 k3 r2^3 = 0; beyond it the model
   folds back and says nothing about the lens. INFINITY where it never does. */
double tr_lens_fold_r2(const double param[TR_LENS_N]);

/* One pixel has one direction: from the image's corner to its corner, on a grid that includes the
   edges, the model can be inverted and keeps the sense of rotation. */
bool tr_lens_is_one_to_one(const tr_lens *lens);

/* "fx" ... "k3", of TR_FX ... TR_K3. */
const char *tr_lens_parameter_name(int parameter);

#endif
