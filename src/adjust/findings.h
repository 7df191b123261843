/* What does not fit, and why. Private to adjust. */
#ifndef TR_ADJUST_FINDINGS_H
#define TR_ADJUST_FINDINGS_H

#include "adjust/adjust.h"

/* Huber's threshold of every adjustment of a job, in standard deviations. */
#define TR_ADJUST_HUBER 2.5

/* Sheets and photos that do not hang together with the rest: a warning each. */
TR_MUST_USE bool tr_find_unconnected(const tr_adjust_input *in, const tr_adjustment *adj,
                                     tr_warnings *warnings, tr_error *err);

/* With the network solved from all marks (result: of that solution): tries each cause that could
   make the marks contradict each other, and warns of the one that explains them. Leaves the network
   as it was. *is_explained: a cause of the whole was found, so that single marks are not to blame.
 */
TR_MUST_USE bool tr_find_cause(const tr_adjust_input *in, tr_adjustment *adj,
                               const tr_lsq_result *result, tr_warnings *warnings,
                               bool *is_explained, tr_error *err);

/* After single marks were left out: a sheet that lay elsewhere in some photos by so little that no
   mark alone shows it, told by what all its marks say together. */
TR_MUST_USE bool tr_find_moved(const tr_adjust_input *in, tr_adjustment *adj,
                               const tr_lsq_result *result, tr_warnings *warnings, tr_error *err);

/* Sheets that alone tie photos to others, so that a move of theirs in between would not show: a
   warning each, which does not stand against a pass. */
TR_MUST_USE bool tr_find_only_ties(const tr_adjust_input *in, tr_adjustment *adj,
                                   tr_warnings *warnings, tr_error *err);

/* After single marks were left out: names them, and blocks a pass where they are too many or go
   together; and where what is left still does not fit. */
TR_MUST_USE bool tr_find_left_out(const tr_adjust_input *in, const tr_adjustment *adj,
                                  tr_warnings *warnings, tr_error *err);

#endif
