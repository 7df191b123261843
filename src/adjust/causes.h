/* What could make the marks contradict each other as a whole: another lens, a sheet printed at
   another scale, moved, or not what its file says. Private to adjust. */
#ifndef TR_ADJUST_CAUSES_H
#define TR_ADJUST_CAUSES_H

#include "adjust/adjust.h"

/* With the network solved from all marks (result: of that solution): tries each cause that could
   make the marks contradict each other, and warns of the one that explains them. Leaves the network
   as it was. *is_explained: a cause of the whole was found, so that single marks are not to blame.
 */
TR_MUST_USE bool tr_find_cause(const tr_adjust_input *in, tr_adjustment *adj,
                               const tr_lsq_result *result, tr_findings *findings,
                               bool *is_explained, tr_error *err);

/* After single marks were left out: a sheet that lay elsewhere in some photos by so little that no
   mark alone shows it, told by what all its marks say together. Not named where the cost stays
   above most_cost (INFINITY: any): what something else explains better. */
TR_MUST_USE bool tr_find_moved(const tr_adjust_input *in, tr_adjustment *adj,
                               const tr_lsq_result *result, double most_cost, tr_findings *findings,
                               tr_error *err);

/* After the last solution: a focal length or the size of a print that lies further from what is
   known of it than chance has it. With many marks their weight is too small to be noticed among
   the residuals, and two causes at once leave none that explains enough alone. */
TR_MUST_USE bool tr_find_contradicted(const tr_adjust_input *in, const tr_adjustment *adj,
                                      tr_findings *findings, tr_error *err);

#endif
