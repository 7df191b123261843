/* How sheets and photos are connected. Private to diagnose. */
#ifndef TR_DIAGNOSE_CONNECTIVITY_H
#define TR_DIAGNOSE_CONNECTIVITY_H

#include "adjust/adjust.h"
#include "base/finding.h"

/* Sheets and photos that are not connected to the datum sheet: a finding each. */
TR_MUST_USE bool tr_connectivity_report_unconnected(const tr_adjust_input *in,
                                                    const tr_adjustment *adj, tr_findings *findings,
                                                    tr_error *err);

/* Cut vertices: sheets that alone connect photos to others, so that a move of theirs in between
   would not show. A finding each, which does not stand against a pass. */
TR_MUST_USE bool tr_connectivity_report_cut_vertices(const tr_adjust_input *in, tr_adjustment *adj,
                                                     tr_findings *findings, tr_error *err);

#endif
