/* Identification: which alternative hypothesis makes the marks agree. What may be wrong as a whole
   is a table of hypotheses in hypotheses.c (another lens, a sheet printed at another scale, moved,
   or not what its file says ...); a new cause is one row there. Private to diagnose. */
#ifndef TR_DIAGNOSE_HYPOTHESES_H
#define TR_DIAGNOSE_HYPOTHESES_H

#include "adjust/adjust.h"
#include "base/finding.h"
#include "diagnose/sheet_condition.h"

/* With the network solved from all marks: tries the hypotheses, and reports the one that explains
   the contradictions. Leaves the network as it was. conditions: one a sheet; what the trials say of
   print scales is noted there. *is_explained: a cause of the whole was found, so that single marks
   are not to blame. */
TR_MUST_USE bool tr_hypotheses_identify(const tr_adjust_input *in, tr_adjustment *adj,
                                        tr_sheet_condition *conditions, tr_findings *findings,
                                        bool *is_explained, tr_error *err);

/* A sheet that lay elsewhere in some photos by so little that no mark alone shows it, told by what
   all its marks say together. Not reported where the cost stays above most_cost (INFINITY: any), as
   something else then explains more; nor where a move was reported before. */
TR_MUST_USE bool tr_hypotheses_test_moves(const tr_adjust_input *in, tr_adjustment *adj,
                                          double most_cost, tr_findings *findings, tr_error *err);

/* After the last solution: a focal length, or a print scale, that departs from its prior by more
   than 4.5 standard deviations. With many marks its prior weighs too little to show in the
   residuals, and where two hypotheses hold at once neither explains enough alone. */
TR_MUST_USE bool tr_hypotheses_test_priors(const tr_adjust_input *in, const tr_adjustment *adj,
                                           tr_findings *findings, tr_error *err);

#endif
