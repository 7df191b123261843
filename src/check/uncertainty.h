/* What is measured, with its variance. All of it is one function of the inputs: where the sheets
   lie, six numbers each, how far each reference's sheet is from the point that it marks, at most
   five each, where the vehicle was rolled, the height of the floor under each wheel, how far each
   pointer's tip is from its point, three each, by how much each target that pointers tell leans
   from the level, two each, how far a level's reading is off, two, and how each sheet lies on the
   floor, three each. Its covariance is propagated through its Jacobian (JCGM 102:2011, 6.2). Where
   no sheet was surveyed, lengths share the error of all prints, too (TR_ADJUST_SHARED_PRINT_SD).
   Private to check. */
#ifndef TR_CHECK_UNCERTAINTY_H
#define TR_CHECK_UNCERTAINTY_H

#include "adjust/adjust.h"
#include "check/floor.h"
#include "check/result.h"
#include "check/rolled.h"
#include "job/job.h"
#include "vehicle/vehicle.h"
#include "verdict/verdict.h"

/* mm or rad, and their squares. */
typedef struct {
    double value, variance;
    double variance_of[TR_N_SOURCES]; /* add up to the variance */
    double variance_calibrated;       /* with a lens profile; 0 where there is one */
} tr_output;

typedef struct {
    tr_output (*targets)[TR_N_AXES];   /* as the targets; of one that is not placed all 0 */
    tr_output (*relations)[TR_N_AXES]; /* as the relations; likewise */
    tr_output vehicle[TR_N_VEHICLE_VALUES];
    tr_output (*pointers)[3]; /* of each pointer: from where its target has the point to its tip, mm
                                 along the axes of the world; all 0 where either has no place */
    tr_output floor[TR_FLOOR_WHOLE_N];
    tr_output (*places)[TR_FLOOR_N]; /* as those of the floor; NAN where it cannot be told */
} tr_outputs;

/* The vehicle's frame in the network's world. False where what was found of its references makes
   none. */
bool tr_check_frame(const tr_solved *solved, tr_vehicle *vehicle);

/* Where those of a target's pointers that were measured have it. False: they do not tell. */
bool tr_check_pose_by_pointers(const tr_solved *solved, int sheet, tr_pose *out);
/* Where a sheet that has a place is: by its own marks, or by pointers. */
tr_pose tr_check_pose(const tr_solved *solved, int sheet);

/* The place in the vehicle frame that coordinates count from. False: it was not found. */
bool tr_check_origin(const tr_solved *solved, const tr_vehicle *vehicle, const tr_origin *from,
                     tr_vec3 *at_mm);

/* All outputs; there is a frame, and floor is that of it. False: memory ran out, or the references
 *lie too close together. out is to be released in any case. */
TR_MUST_USE bool tr_outputs_find(const tr_solved *solved, const tr_check_result *result,
                                 const tr_check_floor *floor, tr_outputs *out, tr_error *err);
void tr_outputs_release(tr_outputs *outputs);

/* An expanded uncertainty. */
static inline double tr_expanded(double variance) {
    return TR_COVERAGE_FACTOR * sqrt(fmax(0, variance));
}

#endif
