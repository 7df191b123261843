/* What a person should know of a check beside what the network says (adjust/adjust.h) and the
   plates (check/references.h). Private to check. */
#ifndef TR_CHECK_FINDINGS_H
#define TR_CHECK_FINDINGS_H

#include "check/check.h"
#include "check/rolled.h"

/* Required sheets that are out of flat, and the verdict on each that was measured. */
TR_MUST_USE bool tr_check_judge_flatness(const tr_adjustment *adj, tr_check *check, tr_error *err);

/* The vehicle id; sheets and plates that were not measured, or from one place only; second prints
   of a sheet; what was taken as exact. False: memory ran out. */
TR_MUST_USE bool tr_check_note(const tr_solved *solved, tr_check *check, tr_error *err);

/* Preconditions of the layout that are required and not confirmed. False: memory ran out. */
TR_MUST_USE bool tr_check_note_preconditions(const tr_job *job, tr_findings *findings,
                                             tr_error *err);

#endif
