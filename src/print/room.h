/* Where on a face there is room left: a map of small cells, each free or taken. What has a fixed
   place (tags, checker corners) takes its area first, then everything else is put where it fits.
   Sheet frame: origin at the face's centre, x right, y up, mm. */
#ifndef TR_PRINT_ROOM_H
#define TR_PRINT_ROOM_H

#include <stdint.h>

#include "base/error.h"
#include "geom/geom.h"

typedef struct {
    double left, bottom, right, top;
} tr_area;

static inline tr_area tr_area_about(tr_vec2 centre, double width, double height) {
    return (tr_area){centre.x - width / 2, centre.y - height / 2, centre.x + width / 2,
                     centre.y + height / 2};
}
static inline tr_vec2 tr_area_centre(tr_area a) {
    return tr_v2((a.left + a.right) / 2, (a.bottom + a.top) / 2);
}
/* Chebyshev distance between the two, 0 where they meet. */
double tr_area_gap(tr_area a, tr_area b);

typedef struct {
    tr_area whole; /* what of the face may be used */
    double cell_mm;
    int columns, rows;
    uint8_t *is_taken; /* row by row from the bottom; owned */
    int *sum;          /* (columns + 1) x (rows + 1): taken cells left of and below each; owned */
    bool is_sum_old;
} tr_room;

/* All of the area is free. */
TR_MUST_USE bool tr_room_init(tr_room *room, tr_area whole, tr_error *err);
void tr_room_release(tr_room *room);

void tr_room_take(tr_room *room, tr_area area);
/* False, too, for an area that leaves the whole. */
bool tr_room_is_free(tr_room *room, tr_area area);
/* The free area of that size whose centre is nearest to `near`; false: there is none. */
bool tr_room_find(tr_room *room, double width_mm, double height_mm, tr_vec2 near, tr_area *out);

#endif
