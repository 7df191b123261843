/* What is measured, with its variance. All of it is one function of the inputs: where the sheets
   lie, six numbers each, and how far the point of each plate is from its wheel's, two each. Its
   covariance is propagated through its Jacobian (JCGM 102:2011, 6.2). Private to check. */
#ifndef TR_CHECK_UNCERTAINTY_H
#define TR_CHECK_UNCERTAINTY_H

#include "adjust/adjust.h"
#include "check/result.h"
#include "job/job.h"
#include "vehicle/vehicle.h"
#include "verdict/verdict.h"

/* mm or rad, and their squares. */
typedef struct {
    double value, variance;
    double variance_of[TR_N_SOURCES]; /* add up to the variance */
    double variance_calibrated;       /* with a lens profile; 0 where there is one */
} tr_output;

/* Lengths between wheel points (vehicle/vehicle.h). */
enum {
    TR_OUT_WHEELBASE,
    TR_OUT_TRACK_FRONT,
    TR_OUT_TRACK_REAR,
    TR_OUT_SKEW_REAR,
    TR_OUT_SKEW_FRONT,
    TR_N_OUT_LENGTHS
};

typedef struct {
    tr_output (*targets)[TR_N_AXES]; /* as the targets; of one that is not placed all 0 */
    tr_output lengths[TR_N_OUT_LENGTHS];
} tr_outputs;

/* The vehicle's frame in the network's world. False where the plates that were found make none. */
bool tr_check_frame(const tr_job *job, const tr_adjustment *adj, tr_vehicle *vehicle);

/* All outputs; there is a frame. False: memory ran out, or the plates lie too close together. *out
   is to be released in any case. */
TR_MUST_USE bool tr_outputs_find(const tr_job *job, const tr_adjustment *adj,
                                 const tr_check_result *result, tr_outputs *out, tr_error *err);
void tr_outputs_release(tr_outputs *outputs);

/* An expanded uncertainty. */
static inline double tr_expanded(double variance) {
    return TR_COVERAGE_FACTOR * sqrt(fmax(0, variance));
}

#endif
