/* Places for labels on a page, none over another: each goes where it is wanted, or as near to it as
   there is room. px of the page. */
#ifndef TR_PRESENT_LABELS_H
#define TR_PRESENT_LABELS_H

#include "present/canvas.h"

enum { TR_MAX_TAKEN = 512 };
typedef struct {
    tr_box within; /* no label goes beyond it */
    tr_box taken[TR_MAX_TAKEN];
    int n;
} tr_label_room;

/* Nothing of this place is free any more. */
void tr_label_take(tr_label_room *room, tr_box box);

/* The middle of a free place of that size, which is taken; `at` itself where there is none. */
tr_vec2 tr_label_place(tr_label_room *room, tr_vec2 at, double width, double height);

#endif
