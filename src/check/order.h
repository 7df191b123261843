/* The order in which photos are worked on, and how they are named. Private to check. */
#ifndef TR_CHECK_ORDER_H
#define TR_CHECK_ORDER_H

#include "check/check.h"

/* Fills in check->order where it is not there yet. */
TR_MUST_USE bool tr_check_sort(tr_check *check, tr_error *err);

/* Fills in every photo's name for messages, from its file: the name without folders, and with as
   many of them as tell it from the other photos. Long ones are cut, so that a message has room to
   say what to do. */
void tr_check_name_photos(tr_check *check);

/* The network's input, its photos in that order. marks, names and lens_of: n_photos places each,
   which the input borrows. */
tr_adjust_input tr_check_input(const tr_check *check, const tr_photo_marks **marks,
                               const char **names, int *lens_of);

#endif
