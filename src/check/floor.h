/* The floor of a check: which sheet tells what of it, and what the layout's limits say. Private to
   check. */
#ifndef TR_CHECK_FLOOR_H
#define TR_CHECK_FLOOR_H

#include "check/result.h"
#include "check/rolled.h"
#include "vehicle/floor.h"
#include "vehicle/vehicle.h"

/* The sheets on the floor that were found, in the job's order. */
typedef struct {
    int sheet[TR_JOB_MAX_SHEETS]; /* of the job */
    bool is_at_target[TR_JOB_MAX_SHEETS], is_at_wheel[TR_JOB_MAX_SHEETS];
    tr_vec2 wheel_mm[TR_JOB_MAX_SHEETS]; /* of one at a wheel: its place at the wheel's point */
    int n;
    tr_stand stand;
    bool has_level; /* one was read, and where it lay is measured */
    int level_on;   /* of these; -1: the stand */
} tr_check_floor;

/* Chooses them, and of each target the place (result->targets[].floor_place): the sheet itself
   where that lies on the floor, else the nearest sheet on the floor that marks no wheel, within
   TR_FLOOR_FOOT_MM of below the target's centre; -1 where there is none. */
#define TR_FLOOR_FOOT_MM 1000.0
void tr_check_floor_choose(const tr_solved *solved, const tr_vehicle *vehicle,
                           tr_check_result *result, tr_check_floor *out);

/* Judges what was measured against the layout's limits. Findings, which block a pass: a slope or a
   place out of flat that is beyond its limit, or may be; what a limit asks for and was not
   measured, with what to lay down or to enter for it. */
TR_MUST_USE bool tr_check_floor_judge(const tr_job *job, tr_check_result *result, tr_error *err);

#endif
