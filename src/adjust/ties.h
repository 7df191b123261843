/* How sheets and photos hang together. Private to adjust. */
#ifndef TR_ADJUST_TIES_H
#define TR_ADJUST_TIES_H

#include "adjust/adjust.h"

/* Sheets and photos that do not hang together with the rest: a finding each. */
TR_MUST_USE bool tr_find_unconnected(const tr_adjust_input *in, const tr_adjustment *adj,
                                     tr_findings *findings, tr_error *err);

/* Sheets that alone tie photos to others, so that a move of theirs in between would not show: a
   finding each, which does not stand against a pass. */
TR_MUST_USE bool tr_find_only_ties(const tr_adjust_input *in, tr_adjustment *adj,
                                   tr_findings *findings, tr_error *err);

#endif
