/* The order in which photos are worked on. Private to check. */
#ifndef TR_CHECK_ORDER_H
#define TR_CHECK_ORDER_H

#include "check/check.h"

/* Fills in check->order where it is not there yet. */
TR_MUST_USE bool tr_check_sort(tr_check *check, tr_error *err);

/* The network's input, its photos in that order. marks and names: n_photos places each, which the
   input borrows. */
tr_adjust_input tr_check_input(const tr_check *check, const tr_photo_marks **marks,
                               const char **names);

#endif
