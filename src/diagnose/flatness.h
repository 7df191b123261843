/* Is every sheet flat? The adjustment is solved once more with wide priors for the heights of
   all marks.
   Private to diagnose and survey. */
#ifndef TR_DIAGNOSE_FLATNESS_H
#define TR_DIAGNOSE_FLATNESS_H

#include "adjust/adjust.h"
#include "diagnose/sheet_condition.h"

/* Fills in the flatness of every sheet of the input (out: one a sheet). Needs a solved adjustment;
   leaves it as it is. A sheet with too few marks, or seen from too few sides, has none. False:
   memory ran out. */
TR_MUST_USE bool tr_flatness_estimate(const tr_adjust_input *in, const tr_adjustment *adj,
                                      tr_sheet_condition *out, tr_error *err);

/* Fills in out's flatness from the heights of n marks over any plane near theirs, mm, and the
   covariance of these, n x n by rows, times variance_factor. There is none for fewer than five
   marks, or where they lie on one line, or are too uncertain. False: memory ran out. */
TR_MUST_USE bool tr_flatness_of(const tr_vec2 *p_mm, const double *heights_mm,
                                const double *covariance, int n, double variance_factor,
                                tr_sheet_condition *out, tr_error *err);

#endif
