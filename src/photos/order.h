/* The order in which photos are worked on, and how they are named. */
#ifndef TR_PHOTOS_ORDER_H
#define TR_PHOTOS_ORDER_H

#include "photos/photo_set.h"

/* Fills in set->order where it is not there yet. */
TR_MUST_USE bool tr_photo_set_sort(tr_photo_set *set, tr_error *err);

/* Fills in every photo's name for messages, from its file: the name without folders, and with as
   many of them as tell it from the other photos. Long ones are cut, so that a message has room to
   say what to do. */
void tr_photo_set_name(tr_photo_set *set);

#endif
