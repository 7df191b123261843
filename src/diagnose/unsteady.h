/* A camera that changes more from photo to photo than its profile says. Private to diagnose. */
#ifndef TR_DIAGNOSE_UNSTEADY_H
#define TR_DIAGNOSE_UNSTEADY_H

#include "adjust/adjust.h"
#include "base/finding.h"

/* After the scatter was estimated (adjust/scatter.h): a finding for each lens and kind of scatter
   that is larger than what the profile knows by more than chance. It is in u95, and does not stand
   against a pass. */
TR_MUST_USE bool tr_unsteady_report(const tr_adjust_input *in, const tr_adjustment *adj,
                                    tr_findings *findings, tr_error *err);

#endif
