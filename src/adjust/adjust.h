/* The job's network: from the marks of all photos to where every sheet lies, with covariance.

   World frame: the floor. Sheets that lie on the floor (mats, plates) carry a weak prior that they
   do (3 mm, 0.3 degrees): a help where few photos show a small plate, and far too weak to hide a
   lifted edge. One of them, the datum sheet, holds x, y and yaw.

   This is estimation alone: initial values, priors, solution, data snooping, covariance. What does
   not fit, and why, is asked in src/diagnose, which takes these steps in its order. */
#ifndef TR_ADJUST_ADJUST_H
#define TR_ADJUST_ADJUST_H

#include "base/error.h"
#include "job/job.h"
#include "lens/lens.h"
#include "marks/marks.h"
#include "network/network.h"
#include "sheet/sheet.h"

/* How well the size of a print is known that was not surveyed: relative standard deviation of its
   width and of its height. The README has the rules on it checked to 0.2 mm in 100 mm, which is
   0.12 % for a rectangular distribution (JCGM 100:2008, 4.3.7); what is found of it in the photos
   themselves makes it less. */
#define TR_ADJUST_PRINT_SD 1e-3
/* Plates come from one printer and share its error; beside it, each has one of its own. */
#define TR_ADJUST_OWN_PRINT_SD 5e-4
/* All sheets may come from one printer. Its error no photo tells, since the whole scene grows with
   it: it is no unknown of the network, but all lengths have it (check/uncertainty.h). Common
   practice, no source: prints that are all off by the 0.2 % that the rules allow are beyond twice
   this and the others (doc/measurements.md, "What the priors took for granted"). */
#define TR_ADJUST_SHARED_PRINT_SD 5e-4
/* One print has one size, wherever it lies and whenever: far less than photos tell. */
#define TR_ADJUST_SAME_PRINT_SD 1e-6
/* How well a focal length returns: focus, temperature and image stabilisation move it between the
   calibration and the job, both axes alike. Relative standard deviation; common practice, no
   source. */
#define TR_ADJUST_FOCAL_SD 1e-3

/* A floor sheet's prior: workshop floors are flat within a few millimetres over a few metres. */
#define TR_ADJUST_FLOOR_Z_SD_MM 3.0
#define TR_ADJUST_FLOOR_TILT_SD_RAD (0.3 * TR_RAD_PER_DEG)

/* Huber's threshold of every adjustment, in standard deviations. */
#define TR_ADJUST_HUBER 2.5
/* An adjustment is done when nothing moves by more than this part of its standard deviation. */
#define TR_ADJUST_SMALL_STEP 1e-4
/* Residuals this much larger (in variance) than the marks' own standard deviations say that
   something does not fit; honest photos stay below 2 (tools/bench accuracy). Above the second,
   nothing that comes of them may be trusted. */
#define TR_SUSPECT_VARIANCE 2.5
#define TR_BLOCK_VARIANCE 6.0

typedef struct {
    const tr_lens *lenses;
    const tr_lens
        *initial_lenses; /* where the solution begins for each of them; NULL: with the lens */
    int n_lenses;        /* at least 1 */
    const int *lens_of;  /* of each photo: its lens; NULL: all have the first */
    const tr_sheet *sheets;
    int n_sheets;
    /* Of each sheet: the first that is the same print, mostly itself. One print that was at several
       places is as many sheets. NULL: each is its own. */
    const int *print_of;
    const tr_photo_marks *const *photos; /* NULL for one that cannot be used */
    const char *const *photo_names;      /* as findings name them */
    int n_photos;                        /* <= TR_MAX_PHOTOS */
} tr_adjust_input;

/* How well the marks of surveyed sheets are known: mark_covariance.h. All zero: no sheet was
   surveyed. */
typedef struct {
    int n_rows;  /* of all surveyed sheets */
    double *C;   /* n_rows square */
    int *row_of; /* of each observation's mark, the first; -1: not of a surveyed sheet */
} tr_mark_covariance;

static inline int tr_adjust_print_of(const tr_adjust_input *in, int sheet) {
    return in->print_of ? in->print_of[sheet] : sheet;
}

typedef struct {
    /* Photo i, rig i and sheet i of the network are those of the input. An observation's mark is of
       its sheet: the tags are numbered first, then the corners, then the discs. */
    tr_network net;
    const char **sheet_names; /* the network's: borrowed from the input, as its photo_names are */
    bool *photo_placed;       /* connected to the datum sheet, and in the solution */
    bool *sheet_placed;
    bool *photo_rejected; /* it was connected, but its marks contradict the others */
    int datum_sheet;      /* index of the sheet that holds x, y and yaw */
    tr_lsq_result result; /* of the last solution; u95 is scaled by its variance factor */
    /* The variance factor of all marks that were found, those rejected included; points of marks
       rejected. Set by tr_adjust_finish. */
    double variance_of_all;
    int n_rejected;
    /* What the photos of each lens scatter by, and the degrees of freedom of that (scatter.h); dof
       0: not estimated. */
    tr_lens_scatter scatter[TR_MAX_LENSES];
    /* Of the pose unknowns TR_SHEET_RX .. TR_SHEET_TZ of all sheets: 6 n_sheets square, row by row,
       scaled by the variance factor where that is above 1. Rows of what is not free are 0. */
    double *covariance;
    /* The same as the normal equations have it: not scaled, and with the coordinates of marks on
       surveyed sheets as independent of each other. */
    double *inverse;
    double *covariance_lens_held; /* the covariance with the lens taken as exact ... */
    double *covariance_marks;     /* ... and the sizes of prints, too: the marks' share */
    /* Where a lens is unknown, else NULL: what the covariance would be, about, with a lens profile
       of it, that leaves nothing open but how its focal length returns (TR_ADJUST_FOCAL_SD). */
    double *covariance_calibrated;
    double focal_sd[TR_MAX_LENSES]; /* relative, of each lens that is unknown; else 0 */
    /* What of `covariance` comes from the coordinates of marks on surveyed sheets; NULL where no
       sheet of the job was surveyed. It is in none of the shares above. */
    double *covariance_coordinates;
    tr_mark_covariance marks; /* of surveyed sheets; private to adjust */
} tr_adjustment;

/* The network of the job at its initial values, with all priors and weights: nothing is solved yet.
   False: nothing can be solved (TR_NO_MEASURE: no sheet of the floor was seen). Everything in out
   is owned by it; on failure, too, it is to be released. */
TR_MUST_USE bool tr_adjust_begin(const tr_adjust_input *in, tr_adjustment *out, tr_error *err);

/* Solves from where the network is. False: TR_NO_MEASURE (no photo shows two sheets, an unknown is
   not determined), or memory ran out. */
TR_MUST_USE bool tr_adjust_solve(tr_adjustment *adjustment, tr_error *err);

/* Solves a last time, and fills in the covariances and what is told of all marks. */
TR_MUST_USE bool tr_adjust_finish(tr_adjustment *adjustment, tr_error *err);

/* Adds change change' to `covariance` and its shares: the sheets' poses may be off by that change
   together, one standard deviation. change: 6 n_sheets, in the order of the covariance (rad, mm).
 */
void tr_adjust_widen(tr_adjustment *adjustment, const double *change);

/* A first solution from the marks as they are: nothing is tested or rejected, and there is no
   covariance. It tells where marks must be that were not seen yet. False: nothing can be solved,
   and out is empty. */
TR_MUST_USE bool tr_adjust_roughly(const tr_adjust_input *in, tr_adjustment *out, tr_error *err);
void tr_adjustment_release(tr_adjustment *adjustment);

#endif
