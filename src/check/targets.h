/* The placements of the layout: what they require, what was measured of them, how they are judged
   and what is to be moved. Private to check. */
#ifndef TR_CHECK_TARGETS_H
#define TR_CHECK_TARGETS_H

#include "check/result.h"
#include "check/uncertainty.h"

/* Room in the result for what is measured, and what is required (evaluate.c). False: memory ran
 * out.
 */
TR_MUST_USE bool tr_check_set_up(const tr_job *job, tr_check_result *result, tr_error *err);

/* What the layout requires; nothing is measured yet. The result has room for the targets. */
void tr_targets_set_up(const tr_job *job, tr_check_result *result);

/* Where a target should be in the vehicle's frame, with what it counts from as measured. */
tr_pose tr_target_required_pose(const tr_solved *solved, const tr_vehicle *vehicle, int target);

/* What was measured, and the verdict of each axis. */
void tr_targets_fill(const tr_solved *solved, const tr_vehicle *vehicle, const tr_outputs *outputs,
                     tr_check_result *result);

/* Coordinate k of what a placement counts from, as the layout alone has it: 0 where it does not
   say. */
double tr_stated_origin(const tr_job *job, const tr_origin *from, int k);

/* The free areas, where the layout's lengths have them; and then where the measurement has them.
   False: memory ran out. */
TR_MUST_USE bool tr_free_areas_set_up(const tr_job *job, tr_check_result *result, tr_error *err);
void tr_free_areas_fill(const tr_solved *solved, const tr_vehicle *vehicle,
                        tr_check_result *result);

/* The verdicts, and what is to be moved; all other findings are there, and a sheet that lies the
   wrong way round becomes one. False: memory ran out. */
TR_MUST_USE bool tr_targets_judge(const tr_job *job, tr_check_result *result, tr_error *err);

#endif
