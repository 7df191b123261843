/* Sheets that only two photos show. One that was pushed in between comes out half way, and little
   of the push is left in the residuals, since the two cameras lean with it: no threshold that
   honest jobs survive finds it (doc/measurements.md). So where the two photos disagree about the
   place of a sheet by more than chance makes once in twenty, the result may be that of either
   alone, and its uncertainty says so: by what it would change without the one view, and without the
   other, are standard deviations of their own (as JCGM 100:2008, F.2.4.5, has it of an effect that
   is known of and not corrected). Private to diagnose. */
#ifndef TR_DIAGNOSE_TWO_PHOTOS_H
#define TR_DIAGNOSE_TWO_PHOTOS_H

#include "adjust/adjust.h"
#include "base/finding.h"

/* After the covariances were estimated: widens them, and reports each such sheet. Leaves the
   network as it was. */
TR_MUST_USE bool tr_two_photos_allow_for(const tr_adjust_input *in, tr_adjustment *adj,
                                         tr_findings *findings, tr_error *err);

#endif
