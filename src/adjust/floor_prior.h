/* How far a sheet may lie off the plane of the others: its prior on the floor, fitted to the job.
   Private to adjust and diagnose. */
#ifndef TR_ADJUST_FLOOR_PRIOR_H
#define TR_ADJUST_FLOOR_PRIOR_H

#include "adjust/adjust.h"

/* From a solved network: a sheet whose height and tilt depart from an even floor by r standard
   deviations, r^2 above 9, has the prior of a floor that is not even: its standard deviations grow
   by sqrt((1 + r^2) / (1 + 9)), and the network is solved again, until they converge. These are the
   weights of Cauchy's distribution (Student's t of one degree of freedom), so that what few photos
   tell of a floor that falls is not pulled to the level. Nothing changes on an even floor, nor
   where the marks contradict each other: then it is not the floor that departs. */
TR_MUST_USE bool tr_floor_prior_fit(const tr_adjust_input *in, tr_adjustment *adj, tr_error *err);

#endif
