/* Lens calibration from corners of a flat board: the network with the lens free, a camera of its
   own in every photo, and a board that is not quite true. Board frame as a sheet's: x right, y up,
   z out of the printed face, mm. */
#ifndef TR_CALIB_CALIBRATE_H
#define TR_CALIB_CALIBRATE_H

#include "base/error.h"
#include "geom/geom.h"
#include "lens/lens.h"
#include "network/network.h"

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
    /* The others are held: cx, cy at the image's centre, distortion at 0. */
    bool is_free[TR_LENS_N];
    bool has_bow; /* the board's bow is estimated */
    /* Corners may lie off their places, along the board and out of it, by as much as the photos
       show (calib/components.h), and the print may be longer one way than the other. */
    bool has_corner_deviations;
    /* A machine camera: photos have no unknowns of their own. Else they have, with standard
       deviations that the photos themselves tell. */
    bool is_steady;
    /* A lens that is known already, NULL: none. Its values are where the adjustment begins, and its
       covariance, which must be given, their prior; what has no variance in it is held, whatever
       is_free says. Its scatter, where it is told, is that of the photos: so few tell none better.
       One view is then enough, from whatever direction; how little it tells shows in the
       covariance. */
    const tr_lens *known;
    double huber;         /* loss; 0: plain least squares */
    tr_vec2 *residual_px; /* filled in: measured minus predicted, corner by corner, view by view;
                             NULL: not wanted */
} tr_calib_options;

/* All nine parameters, bow, corner deviations, Huber's loss at 2.5 sd. */
tr_calib_options tr_calib_defaults(int width_px, int height_px);

typedef struct {
    tr_pose camera_from_board;
    double rms_px;     /* root mean square distance of a corner from its prediction */
    double largest_px; /* the largest such distance */
    double camera[TR_PHOTO_SCATTER_N]; /* the photo's own unknowns (network/photo.h) */
} tr_calib_pose;

typedef struct {
    /* With covariance and scatter; the id is left empty. cx, cy, fx, fy are the mean of the
       photos'; their covariance contains what so few photos tell of a mean. A component of the
       scatter that the photos do not tell has no degrees of freedom. */
    tr_lens lens;
    double scatter_sd[TR_SCATTER_N]; /* as the photos were adjusted with; 0: steady */
    bool is_bound[TR_SCATTER_N];     /* the scatter may be 0: its sd is a bound */
    /* How far the board's middle stands out along x and y; 0 where not estimated. */
    double bow_mm[2];
    double bow_sd_mm[2];
    /* Half extents of the corners, which the bow refers to (network/sheet.h). */
    double half_mm[2];
    double differential_scale; /* by this part the board is longer along x than along y */
    double differential_scale_sd;
    /* Standard deviation of the corners from their places, along each axis of the board, and out of
       it; 0: none beyond chance. */
    double corner_deviation_mm;
    double height_mm;
    double rms_px;          /* per corner (distance), as an image's rms is usually told */
    double rms_steady_px;   /* the same for one camera in all photos and a true board */
    double sigma_px;        /* a-posteriori sd of one coordinate: sqrt(sum r^2 / redundancy) */
    int degrees_of_freedom; /* redundancy of the corners' coordinates, rounded */
} tr_calibration;

/* Needs at least 2 views of at least 4 corners each, not all parallel, unless a lens is known.
   poses: one a view, filled in. TR_NO_MEASURE where the views do not determine a lens; err says
   which parameter, and why. Standard deviations follow GUM: s^2 = sum r^2 / (2n - m) over 2n
   coordinates and m unknowns, of which those with a prior count in part. */
TR_MUST_USE bool tr_calibrate(const tr_calib_view *views, int n_views,
                              const tr_calib_options *options, tr_calibration *out,
                              tr_calib_pose *poses, tr_error *err);

#endif
