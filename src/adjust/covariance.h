/* The covariances of an adjustment, and what the lens, the prints and the marks have in them.
   Private to adjust. */
#ifndef TR_ADJUST_COVARIANCE_H
#define TR_ADJUST_COVARIANCE_H

#include "adjust/adjust.h"

/* Solves once more for the covariance of all sheets' poses: with all free; with the lens held, and
   what the camera adds in each photo; with sizes and heights of the prints held, too. Fills in all
   covariances of the adjustment, its result and focal_sd. */
TR_MUST_USE bool tr_covariance_estimate(tr_adjustment *adj, tr_error *err);

#endif
