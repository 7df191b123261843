/* A check whose lens is unknown: whether its photos told the lens, and what is said of it. Private
   to check. */
#ifndef TR_CHECK_UNKNOWN_LENS_H
#define TR_CHECK_UNKNOWN_LENS_H

#include "check/check.h"

/* Refuses what too few photos, or photos that are too much alike, say of the lens (TR_NO_MEASURE).
 */
TR_MUST_USE bool tr_check_is_lens_told(const tr_check *check, const tr_adjustment *adj,
                                       tr_error *err);

/* Says that the lens was unknown, and what a calibration would gain. */
TR_MUST_USE bool tr_check_note_unknown_lens(tr_check *check, tr_error *err);

#endif
