/* A check: one measurement of a job, from photos to the verdict. A check is a function of its job
   and its photos; the same input gives the same result to the last bit.

   Two steps, so that simulated marks can take the place of photos (tools/campaign):
     tr_check_photos    reads the photos and measures their marks
     tr_check_evaluate  adjusts the network, forms the vehicle frame, judges.
   Its result is a value that can be taken out of it (check/result.h). */
#ifndef TR_CHECK_CHECK_H
#define TR_CHECK_CHECK_H

#include "base/error.h"
#include "base/parallel.h"
#include "check/result.h"
#include "job/job.h"
#include "photos/photo_set.h"
#include "photos/untagged.h"

/* What came of a sheet that is to be found by its artwork. */
typedef struct {
    bool is_sought, is_by_pointers; /* from where pointers have it; else from its required place */
    tr_untagged_place place;        /* in the world of the network without it */
} tr_artwork;

typedef struct {
    const tr_job *job;             /* borrowed */
    bool *is_needed;               /* of each sheet: tr_job_needs_sheet ... */
    bool *stays;                   /* ... and tr_job_sheet_stays */
    tr_artwork *artwork;           /* of each sheet */
    tr_photo_set set;              /* its photos */
    tr_lens lenses[TR_MAX_LENSES]; /* of the job, as the network has them */
    tr_check_result result;
} tr_check;

/* An empty check, whose photos are to be added to out->set, with their marks. out: to be released
   in any case. False: memory ran out. */
TR_MUST_USE bool tr_check_init(const tr_job *job, tr_check *out, tr_error *err);

/* An empty check that knows what the layout requires (result.targets), for who asks before anything
   is measured. out: to be released in any case. False: memory ran out. */
TR_MUST_USE bool tr_check_require(const tr_job *job, tr_check *out, tr_error *err);

/* Makes a check, reads the photos and measures their marks (tr_photo_set_read); those of sheets
   without tags from where all others have them. out: n photos in the order given, to be released in
   any case. False: as there. */
TR_MUST_USE bool tr_check_photos(const tr_job *job, char *const *files, int n,
                                 const tr_workers *workers, tr_check *out, tr_error *err);

/* Everything after the marks; out as tr_check_photos left it (or with simulated marks). False where
   nothing can be measured: err is set (TR_NO_MEASURE or TR_NO_PHOTO), and out->set and the
   findings tell more. */
TR_MUST_USE bool tr_check_evaluate(const tr_job *job, tr_check *out, tr_error *err);

/* Completes check->result with what is shown of the job and of the photos, and, where why is not
   NULL, with why there is no measurement. May be called again after a change. False: memory ran
   out. */
TR_MUST_USE bool tr_check_finish(tr_check *check, const tr_error *why, tr_error *err);

/* Hands the result over; the check has none then. */
tr_check_result tr_check_take_result(tr_check *check);

/* The job's vehicle id, or that which was read from a code; "": neither. Borrowed. */
const char *tr_check_vehicle_id(const tr_check *check);

void tr_check_release(tr_check *check);

#endif
