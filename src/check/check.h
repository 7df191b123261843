/* A check: one measurement of a job, from photos to the verdict. A check is a function of its job
   and its photos; the same input gives the same result to the last bit.

   Two steps, so that simulated marks can take the place of photos (tools/campaign):
     tr_check_photos    reads the photos and measures their marks
     tr_check_evaluate  adjusts the network, forms the vehicle frame, judges. */
#ifndef TR_CHECK_CHECK_H
#define TR_CHECK_CHECK_H

#include "adjust/adjust.h"
#include "base/error.h"
#include "base/parallel.h"
#include "base/finding.h"
#include "geom/geom.h"
#include "job/job.h"
#include "photos/photo_set.h"
#include "verdict/verdict.h"

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
    bool *is_needed;           /* of each sheet: tr_job_needs_sheet */
    tr_photo_set set;          /* its photos */
    tr_sheet_result *sheets;   /* one a sheet of the job */
    tr_target_result *targets; /* one a placement of the layout */
    tr_length_result wheelbase, track_front, track_rear;
    /* Each reference's wheel point in the vehicle frame (mm, z = 0), in the job's order. */
    struct {
        bool is_placed;
        tr_vec2 at_mm;
    } * points;
    tr_lens lenses[TR_MAX_LENSES]; /* of the job, as the network has them */
    double focal_u95;              /* of a lens that is unknown: relative, expanded */
    double variance_factor;        /* of all marks that were found, those left out included */
    int degrees_of_freedom;
    int n_left_out; /* points of marks that contradict the others, and take no part */
    tr_findings findings;
} tr_check;

/* The lens with which a photo was taken, as the network has it. */
static inline const tr_lens *tr_check_lens_of(const tr_check *check, const tr_photo *photo) {
    return photo->is_used ? &photo->own_lens : &check->lenses[photo->lens];
}

/* An empty check, whose photos are to be added to out->set, with their marks. out: to be released
   in any case. False: memory ran out. */
TR_MUST_USE bool tr_check_init(const tr_job *job, tr_check *out, tr_error *err);

/* Makes a check, reads the photos and measures their marks (tr_photo_set_read). out: n photos in
   the order given, to be released in any case. False: as there, or the job asks for what cannot be
   measured (TR_NO_MEASURE; then no photo is read). */
TR_MUST_USE bool tr_check_photos(const tr_job *job, char *const *files, int n,
                                 const tr_workers *workers, tr_check *out, tr_error *err);

/* Everything after the marks; out as tr_check_photos left it (or with simulated marks). False where
   nothing can be measured: err is set (TR_NO_MEASURE), and out->set and out->findings tell more. */
TR_MUST_USE bool tr_check_evaluate(const tr_job *job, tr_check *out, tr_error *err);

void tr_check_release(tr_check *check);

#endif
