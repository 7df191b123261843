/* Whether a sheet was moved between the photos: all that decides it. Private to diagnose. */
#ifndef TR_DIAGNOSE_MOVED_H
#define TR_DIAGNOSE_MOVED_H

#include "diagnose/hypothesis.h"

/* A sheet that lies further from its place than this in some photos was moved, whatever else may be
   wrong; less is told only where it is more than chance. */
#define TR_MOVED_MM 4.0
#define TR_MOVED_LITTLE_MM 1.5
/* A score below this is chance: chi-squared with 1 degree of freedom is above it once in 100,000.
 */
#define TR_MOVED_CHANCE 19.5

/* ---- as a hypothesis, tried by a solution ---- */

/* Every sheet elsewhere in one photo that shows it, and from one such photo on; in the order that
   the score test is fast in. h: room for two a sheet and photo. Returns their number. */
int tr_moved_list(const tr_hypothesis_search *s, tr_hypothesis *h);
TR_MUST_USE bool tr_moved_score(const tr_hypothesis_search *s, tr_hypothesis *h, int n,
                                tr_error *err);
/* Whether a trial tells a move: far enough, and, where that is asked, more than chance. */
bool tr_moved_is_told(const tr_hypothesis_search *s, const tr_hypothesis *h);
TR_MUST_USE bool tr_moved_report(const tr_hypothesis_search *s, const tr_hypothesis *h,
                                 tr_findings *findings, tr_error *err);

/* ---- from single photos, after their marks were rejected ---- */

/* Of the listed photos, in which much of the sheet was rejected: where some of them, each alone,
   have the sheet elsewhere than the network does, reports a move, and sets *is_moved. */
TR_MUST_USE bool tr_moved_report_displaced(const tr_adjust_input *in, const tr_adjustment *adj,
                                           int sheet, const bool *is_listed, bool *is_moved,
                                           tr_findings *findings, tr_error *err);

#endif
