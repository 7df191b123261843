/* Lens calibration from corners of a flat board: the network with the lens free. Board frame as a
   sheet's: x right, y up, z out of the printed face, mm. */
#ifndef TR_CALIB_CALIBRATE_H
#define TR_CALIB_CALIBRATE_H

#include "base/error.h"
#include "geom/geom.h"
#include "lens/lens.h"

/* The corners found in one photo. Arrays are borrowed. */
typedef struct {
    const tr_vec2 *p_board_mm;
    const tr_vec2 *uv_px;
    const double *sd_px; /* one a corner; NULL: all alike */
    int n;
    const int *corner; /* number of each on the board; NULL: they are all, in the board's order */
} tr_calib_view;

typedef struct {
    int width_px, height_px;
    bool
        is_free[TR_LENS_N]; /* the others are held: cx, cy at the image's centre, distortion at 0 */
    bool has_bow;           /* the board's bow is estimated */
    bool has_uneven;        /* an uneven board raises the covariance (calib/uneven.h) */
    double huber;           /* loss; 0: plain least squares */
} tr_calib_options;

/* All nine parameters, bow, uneven corners, Huber's loss at 2.5 sd. */
tr_calib_options tr_calib_defaults(int width_px, int height_px);

typedef struct {
    tr_pose camera_from_board;
    double rms_px;     /* root mean square distance of a corner from its prediction */
    double largest_px; /* the largest such distance */
} tr_calib_pose;

typedef struct {
    tr_lens lens; /* with covariance, scaled by the residuals; the id is left empty */
    double
        bow_mm[2]; /* how far the board's middle stands out along x and y; 0 where not estimated */
    double bow_sd_mm[2];
    double
        half_mm[2];   /* half extents of the corners, which the bow refers to (network/network.h) */
    double uneven_mm; /* sd of the corners' places on the board, each axis; 0: none beyond chance */
    double rms_px;    /* per corner (distance), as an image's rms is usually told */
    double sigma_px;  /* a-posteriori sd of one coordinate: sqrt(sum r^2 / (2n - m)) */
    int degrees_of_freedom;
} tr_calibration;

/* Needs at least 2 views of at least 4 corners each, not all parallel. poses: one a view, filled
   in. TR_NO_MEASURE where the views do not determine a lens; err says which parameter, and why.
   Standard deviations follow GUM: s^2 = sum r^2 / (2n - m) over 2n coordinates and m unknowns. */
TR_MUST_USE bool tr_calibrate(const tr_calib_view *views, int n_views,
                              const tr_calib_options *options, tr_calibration *out,
                              tr_calib_pose *poses, tr_error *err);

#endif
