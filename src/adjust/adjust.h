/* The job's network: from the marks of all photos to where every sheet lies, with covariance, and
   to what does not fit.

   World frame: the floor. Sheets that lie on the floor (mats, plates) carry a weak prior that they
   do (3 mm, 0.3 degrees): a help where few photos show a small plate, and far too weak to hide a
   lifted edge. One of them (the root) holds x, y and yaw.

   Marks that contradict the others are left out one by one, and named. Before that, each cause that
   would make the whole consistent is tried as a hypothesis of its own (another lens; a sheet
   printed at another scale), and the one that explains most is named: detection, identification and
   adaptation after Baarda (A testing procedure for use in geodetic networks, 1968) and Teunissen.
 */
#ifndef TR_ADJUST_ADJUST_H
#define TR_ADJUST_ADJUST_H

#include "base/error.h"
#include "base/finding.h"
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
/* How well a focal length returns: focus, temperature and image stabilisation move it between the
   calibration and the job, both axes alike. Relative standard deviation; common practice, no
   source. */
#define TR_ADJUST_FOCAL_SD 1e-3

/* Huber's threshold of every adjustment, in standard deviations. */
#define TR_ADJUST_HUBER 2.5
/* Residuals this much larger (in variance) than the marks' own standard deviations say that
   something does not fit; honest photos stay below 2 (tools/bench accuracy). Above the second,
   nothing that comes of them may be trusted. */
#define TR_SUSPECT_VARIANCE 2.5
#define TR_BLOCK_VARIANCE 6.0

typedef struct {
    const tr_lens *lenses;
    const tr_lens *starts; /* where the solution begins for each of them; NULL: with the lens */
    int n_lenses;          /* at least 1 */
    const int *lens_of;    /* of each photo: its lens; NULL: all have the first */
    const tr_sheet *sheets;
    int n_sheets;
    const tr_photo_marks *const *photos; /* NULL for one that cannot be used */
    const char *const *photo_names;      /* as findings name them */
    int n_photos;                        /* <= TR_MAX_PHOTOS */
    bool is_one_floor; /* for start values all sheets lie on one plane, whatever their kinds */
} tr_adjust_input;

/* Is a sheet flat, and printed at the size that its file says? From its own marks; expanded
   uncertainties with k = 2. */
typedef struct {
    bool has_flatness;
    /* Distance between the two planes, parallel to the least-squares plane through the marks, that
       hold all marks between them (as the peak-to-valley flatness deviation of ISO 12781-1). */
    double flatness_mm, flatness_u95_mm;
    tr_vec2 highest_mm; /* the mark furthest above that plane, on the sheet */
    bool has_stretch;
    /* Relative, along the sheet's x and y, against what the other sheets' sizes say: 0.001 is 1 mm
       in a metre too large. A scale common to all sheets cannot be seen. */
    double stretch[2], stretch_u95[2];
} tr_sheet_condition;

typedef struct {
    /* Photo i, rig i and sheet i of the network are those of the input. An observation's mark is of
       its sheet: the tags are numbered first, then the corners. */
    tr_network net;
    bool *photo_placed; /* connected to the root, and in the solution */
    bool *sheet_placed;
    bool *photo_rejected;           /* it was connected, but its marks contradict the others */
    tr_sheet_condition *conditions; /* one a sheet */
    int root;                       /* index of the sheet that holds the frame */
    bool is_settled;                /* the last adjustment reached its minimum */
    double variance_factor;         /* of the marks that take part; u95 is scaled by it ... */
    double variance_of_all;         /* ... and of all that were found */
    int degrees_of_freedom;
    int n_left_out; /* points of marks left out */
    /* What the photos of each lens scatter by, and the degrees of freedom of that (scatter.h); dof
       0: not estimated. */
    tr_lens_scatter scatter[TR_MAX_LENSES];
    /* Of the pose unknowns TR_SHEET_RX .. TR_SHEET_TZ of all sheets: 6 n_sheets square, row by row,
       scaled by the variance factor where that is above 1. Rows of what is not free are 0. */
    double *covariance;
    double *covariance_lens_held; /* the same with the lens taken as exact ... */
    double *covariance_marks;     /* ... and the sizes of prints, too: the marks' share */
    /* Where a lens is unknown, else NULL: what the covariance would be, about, with a lens profile
       of it, that leaves nothing open but how its focal length returns (TR_ADJUST_FOCAL_SD). */
    double *covariance_calibrated;
    double focal_sd[TR_MAX_LENSES]; /* relative, of each lens that is unknown; else 0 */
    /* What of `covariance` comes from the places of marks on surveyed sheets; NULL where no sheet
       of the job was surveyed. It is not in the two above. */
    double *covariance_places;
} tr_adjustment;

/* False: nothing can be solved (TR_NO_MEASURE; no photo shows two sheets, no marks, ...). Findings
   are added to findings, also where it fails. Everything in out is owned by it. */
TR_MUST_USE bool tr_adjust(const tr_adjust_input *in, tr_adjustment *out, tr_findings *findings,
                           tr_error *err);
/* A first solution from the marks as they are: nothing is tested or left out, and there is no
   covariance. It tells where marks must be that were not seen yet. False as tr_adjust. */
TR_MUST_USE bool tr_adjust_roughly(const tr_adjust_input *in, tr_adjustment *out, tr_error *err);
void tr_adjustment_release(tr_adjustment *adjustment);

/* Mats and plates do, and a lone tag is taken to; boards stand, hub sheets hang. */
static inline bool tr_sheet_lies_on_floor(const tr_sheet *sheet) {
    return sheet->kind == TR_SHEET_MAT || sheet->kind == TR_SHEET_PLATE ||
           sheet->kind == TR_SHEET_TAG;
}

#endif
