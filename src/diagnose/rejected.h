/* What the marks that were rejected say. Private to diagnose. */
#ifndef TR_DIAGNOSE_REJECTED_H
#define TR_DIAGNOSE_REJECTED_H

#include "adjust/adjust.h"
#include "base/finding.h"

/* Reports what was rejected, which stands against a pass where it is much or goes together; and
   where what remains still does not fit. */
TR_MUST_USE bool tr_rejected_report(const tr_adjust_input *in, const tr_adjustment *adj,
                                    tr_findings *findings, tr_error *err);

#endif
