/* How long ago the job's lens profiles were last confirmed, and what a shop asks for. */
#ifndef TR_CHECK_LENS_AGE_H
#define TR_CHECK_LENS_AGE_H

#include "base/error.h"
#include "base/finding.h"
#include "job/job.h"

/* Room for a time as this header has them: UTC, 2026-01-31T09:30:00Z. */
enum { TR_MOMENT_SIZE = 21 };

/* All zero: nobody asks. */
typedef struct {
    double hours;            /* so long ago a profile may have been confirmed; 0: nobody asks */
    bool is_demanded;        /* one that was not rules out a pass */
    char at[TR_MOMENT_SIZE]; /* when the check is made */
    /* When each lens of the job was last confirmed, in the job's order; "": no record tells. Then
       the day counts on which the profile says that it was calibrated. */
    char confirmed[TR_MAX_LENSES][TR_MOMENT_SIZE];
    bool differs[TR_MAX_LENSES]; /* no: what was found then is that it fits its camera no longer */
} tr_lens_ages;

/* Hours from one time to another; the time of a day alone (2026-01-31) is its beginning. NAN where
   one of them is no time. */
double tr_hours_between(const char *from, const char *to);

/* Notes each lens of the job that was found to differ, or whose confirmation is older, not known or
   of a day to come: then a clock was wrong. Not an unknown lens: there is nothing to confirm.
   False: memory ran out. */
TR_MUST_USE bool tr_lens_ages_note(const tr_job *job, const tr_lens_ages *ages,
                                   tr_findings *findings, tr_error *err);

#endif
