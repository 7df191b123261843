/* Paper does not lie flat: every mark of a mat has a height of its own over the sheet's plane, and
   every tag two slopes, with priors. Photos whose cameras are free would bend to a mat that is not
   flat. Plates and other small sheets are glued to something stiff. Private to adjust, diagnose and
   survey. */
#ifndef TR_ADJUST_RELIEF_H
#define TR_ADJUST_RELIEF_H

#include "adjust/adjust.h"

/* Standard deviation of a mark's height over its sheet's plane, and of a tag's slope: a mat that
   lies as it should, edges that lift by a millimetre or two. What curls further is found by
   diagnose/flatness.h. */
#define TR_RELIEF_HEIGHT_SD_MM 1.0
#define TR_RELIEF_SLOPE_SD 0.006
#define TR_RELIEF_TWIST_SD 2e-5 /* 1/mm: a millimetre over 0.3 m */
/* Of a sheet that may lie any way: a mat curls by a centimetre or two at an edge. */
#define TR_RELIEF_WIDE_HEIGHT_SD_MM 10.0
#define TR_RELIEF_WIDE_SLOPE_SD 0.06
#define TR_RELIEF_WIDE_TWIST_SD 2e-4

/* With observations set up in the order of photos and marks: gives every mark that was seen an
   offset, which all its observations share. out->net.offsets is owned by the adjustment. */
TR_MUST_USE bool tr_relief_set_up(const tr_adjust_input *in, tr_adjustment *out, tr_error *err);

/* Frees heights, slopes and twists of all marks that are used, with the wide priors. */
void tr_relief_free(tr_network *net);

/* Holds all heights, slopes and twists at their values, or frees again those that have a prior. */
void tr_relief_hold(tr_network *net, bool is_held);

#endif
