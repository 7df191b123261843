/* A check: one measurement of a job, from photos to the verdict. A check is a function of its job
   and its photos; the same input gives the same result to the last bit.

   Two steps, so that simulated marks can take the place of photos (tools/campaign):
     tr_check_photos    reads the photos and measures their marks
     tr_check_evaluate  adjusts the network, forms the vehicle frame, judges. */
#ifndef TR_CHECK_CHECK_H
#define TR_CHECK_CHECK_H

#include "adjust/adjust.h"
#include "diagnose/sheet_condition.h"
#include "base/error.h"
#include "base/parallel.h"
#include "base/finding.h"
#include "check/quality.h"
#include "geom/geom.h"
#include "image/exif.h"
#include "job/job.h"
#include "marks/marks.h"
#include "verdict/verdict.h"

enum { TR_PHOTO_NAME_SIZE = 128 };

/* Whether a photo is one of a lens of the job. */
typedef enum {
    TR_PHOTO_FITS,        /* or it was not looked at */
    TR_PHOTO_OTHER_LENS,  /* EXIF tells another camera, focal length or zoom */
    TR_PHOTO_OTHER_SIZE,  /* it has another size */
    TR_PHOTO_LENS_UNCLEAR /* it fits more than one */
} tr_photo_fit;

typedef struct {
    char *file;                    /* as it was named */
    char name[TR_PHOTO_NAME_SIZE]; /* as messages name it: check/order.h */
    char sha256[65];               /* of the file's bytes; "" where it could not be read */
    int width_px, height_px;
    bool is_readable;  /* it is a photo that fits a lens profile: its marks were sought */
    bool is_used;      /* its marks are in the network */
    char why_not[256]; /* a sentence, where it is not used */
    tr_exif exif;
    tr_photo_fit fit;
    int lens;       /* of the job, where is_readable */
    tr_image image; /* as it was measured; empty where there was no room to keep it */
    tr_photo_marks marks;
    tr_photo_quality quality;
    /* Of the marks used in the network; a tag counts as four. */
    int n_marks;
    double rms_px; /* root mean square distance of a mark from its place in the solved network, of
                      all marks of it that were found, those left out included */
    tr_lens own_lens;            /* where is_used: its lens as it was in this photo */
    tr_pose camera_from_vehicle; /* where is_used */
} tr_check_photo;

/* A sheet as the network found it. The vehicle frame here has its origin under the middle of the
   rear axle, whatever axle a placement names. */
typedef struct {
    bool is_placed;
    int n_photos, n_marks;
    tr_pose vehicle_from_sheet;
    tr_sheet_condition condition;
    bool is_flat_judged; /* it is required somewhere, and its flatness was measured */
    tr_verdict flatness_verdict;
} tr_sheet_result;

typedef struct {
    int placement; /* index into the layout's */
    int sheet;     /* index into the job's sheets */
    tr_verdict verdict;
    tr_axis_result axis[TR_N_AXES];
    char moves[TR_MAX_MOVES][TR_MOVE_SIZE];
    int n_moves;
    tr_pose vehicle_from_required; /* where the sheet should lie; origin as in tr_sheet_result */
} tr_target_result;

/* A length between wheel points. */
typedef struct {
    bool is_measured;
    double measured_mm, u95_mm;
    double stated_mm; /* by the layout; 0 where it does not say */
} tr_length_result;

typedef struct {
    const tr_job *job; /* borrowed */
    tr_verdict verdict;
    tr_check_photo *photos; /* in the order given */
    int n_photos;
    /* Indices of the photos sorted by name (then content): everything is computed in this order, so
       that the order given changes no digit of the result. NULL: not yet sorted. */
    int *order;
    tr_sheet_result *sheets;   /* one a sheet of the job */
    tr_target_result *targets; /* one a placement of the layout */
    tr_length_result wheelbase, track_front, track_rear;
    /* Each reference's wheel point in the vehicle frame (mm, z = 0), in the job's order. */
    struct {
        bool is_placed;
        tr_vec2 at_mm;
    } * points;
    tr_lens lenses[TR_MAX_LENSES]; /* of the job, as the network has them */
    /* Where the job's lens is unknown: what is known of it before the marks are asked, and where
       the network finds it. No size: not yet made (check/unknown_lens.h). */
    tr_lens unknown_lens, solved_lens;
    bool is_lens_solved;    /* the marks hang together, and tell the lens */
    double focal_u95;       /* of it: relative, expanded */
    double variance_factor; /* of all marks that were found, those left out included */
    int degrees_of_freedom;
    int n_rejected; /* points of marks that contradict the others, and take no part */
    tr_findings findings;
} tr_check;

/* The job's lenses, with what is known of them before the marks are asked. */
static inline const tr_lens *tr_check_profiles(const tr_check *check) {
    return check->job->lenses[0].is_unknown ? &check->unknown_lens : check->job->lenses;
}

/* The lens with which a photo was taken, as the network has it. */
static inline const tr_lens *tr_check_lens_of(const tr_check *check, const tr_check_photo *photo) {
    return photo->is_used ? &photo->own_lens : &check->lenses[photo->lens];
}

/* Where the photo that is worked on in place i stands in the list. */
static inline int tr_check_photo_at(const tr_check *check, int i) {
    return check->order ? check->order[i] : i;
}

/* Reads the photos and measures their marks, by tr_parallel. A photo
   that cannot be read or does not fit the lens profile stays in the list with its reason, and a
   finding. out: n photos in the order given, to be released in any case. False: there is no photo,
   there are more than TR_MAX_PHOTOS, or memory ran out. */
TR_MUST_USE bool tr_check_photos(const tr_job *job, char *const *files, int n, int n_threads,
                                 tr_progress progress, void *context, tr_check *out, tr_error *err);

/* Everything after the marks; out as tr_check_photos left it (or with simulated marks). False where
   nothing can be measured: err is set (TR_NO_MEASURE), and out->photos and out->findings tell more.
 */
TR_MUST_USE bool tr_check_evaluate(const tr_job *job, tr_check *out, tr_error *err);

void tr_check_release(tr_check *check);

#endif
