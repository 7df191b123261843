/* What the marks that were left out say. Private to adjust. */
#ifndef TR_ADJUST_LEFT_OUT_H
#define TR_ADJUST_LEFT_OUT_H

#include "adjust/adjust.h"

/* Names what was left out, and blocks a pass where it is too much or goes together; and where what
   is left still does not fit. */
TR_MUST_USE bool tr_find_left_out(const tr_adjust_input *in, const tr_adjustment *adj,
                                  tr_findings *findings, tr_error *err);

#endif
