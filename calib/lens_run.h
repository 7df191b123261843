/* One calibration, from photos of a board to a lens, with what a person should know about it.
   Like a check it has two steps, so that simulated corners can take the place of photos:
     tr_lens_photos   reads the photos and measures the board in each
     tr_lens_solve    finds the lens, leaves out what contradicts the rest, and judges the set. */
#ifndef TR_CALIB_LENS_RUN_H
#define TR_CALIB_LENS_RUN_H

#include "base/error.h"
#include "base/parallel.h"
#include "base/finding.h"
#include "calib/board.h"
#include "calib/calibrate.h"
#include "image/camera.h"

/* Fewer photos give no lens: three determine it, the fourth begins to show what is wrong. */
enum { TR_LENS_MIN_PHOTOS = 4 };

typedef struct {
    char *file;              /* as it was named */
    char sha256[65];         /* of the file's bytes; "" where it could not be read */
    int width_px, height_px; /* 0 where it could not be read */
    tr_camera camera;        /* as EXIF tells */
    char taken[20];          /* local time, as EXIF tells (image/exif.h); "": not told */
    tr_findings looks;       /* where it is no photo as cameras store them: image/kind.h; owned */
    tr_board_view view;
    bool is_used;        /* its corners are in the calibration */
    tr_findings why_not; /* where it is not used: one, the reason; owned */
    tr_calib_pose pose;  /* where is_used */
    double tilt_rad;     /* of the board's face from the image plane; where is_used */
    /* Median distance of a corner from its prediction, in standard deviations of the corner as the
       image alone tells them; about alike in photos that fit alike. Where is_used. */
    double median_residual;
    int n_off; /* corners further off than the others make likely; where is_used */
    /* Measured minus predicted, one a corner of the view; owned, NULL until solved. */
    tr_vec2 *residual_px;
} tr_lens_photo;

/* The file's name without its folders; borrowed. */
const char *tr_lens_photo_name(const tr_lens_photo *photo);

/* All zero is a valid empty one. */
typedef struct {
    tr_board board;
    bool is_steady;  /* a machine camera (calibrate.h); the caller sets it before solving */
    bool is_k3_held; /* solved so, as the photos do not tell it */
    tr_lens_photo *photos;
    int n_photos;
    tr_calibration calibration;
    tr_findings advice; /* what is weak in the set, and what to shoot next; see quality.h */
} tr_lens_run;

/* Reads the photos and measures the board in them, by tr_parallel. A
   photo that cannot be read or shows no board stays in the list with its reason; so does one whose
   bytes are those of an earlier one. out: n photos in the order given, to be released in any case.
   False: memory ran out, or OpenCV is not there. */
TR_MUST_USE bool tr_lens_photos(const tr_board *board, char *const *files, int n,
                                const tr_workers *workers, tr_lens_run *out, tr_error *err);

/* Everything after the corners; run as tr_lens_photos left it (or with simulated corners: file,
   width_px, height_px, view and is_used filled in). The lens's id is left empty; its camera is what
   the photos tell. TR_NO_MEASURE where the photos cannot give a lens, as when two of them tell
   different cameras, focal lengths or zooms: err says why and what to do; run's photos keep their
   reasons. */
TR_MUST_USE bool tr_lens_solve(tr_lens_run *run, tr_error *err);

/* The same for a lens that is known (calibrate.h): all photos that are used stay so, of however few
   there are, and the set is not judged. */
TR_MUST_USE bool tr_lens_solve_known(tr_lens_run *run, const tr_lens *known, tr_error *err);

void tr_lens_run_release(tr_lens_run *run);

#endif
