/* The order in which photos are worked on, and how they are named. */
#ifndef TR_PHOTOS_ORDER_H
#define TR_PHOTOS_ORDER_H

#include "photos/photo_set.h"

/* What photos are sorted by: the file, then what is in it. Borrowed. */
typedef struct {
    const char *file, *sha256;
} tr_photo_key;

/* Indices of n photos, sorted; equal ones stay as they are. Owned by the caller. NULL: memory ran
   out. */
int *tr_photo_order(const tr_photo_key *photos, int n);

/* Fills in set->order where it is not there yet. */
TR_MUST_USE bool tr_photo_set_sort(tr_photo_set *set, tr_error *err);

/* Fills in every photo's name for messages, from its file: the name without folders, and with as
   many of them as tell it from the other photos; where one needs a folder all have one. Long ones
   are cut, so that a message has room to say what to do. */
void tr_photo_set_name(tr_photo_set *set);

#endif
