/* Free areas of a layout: parts of the floor that have to be clear of other objects, up to a
   height. They are drawn over the photos for a person to look at; nothing judges them. */
#ifndef TR_JOB_FREE_AREA_H
#define TR_JOB_FREE_AREA_H

#include <stdbool.h>

#include "geom/geom.h"

/* Corners of a simple polygon, in either direction: no two edges touch but neighbours at their
   common corner. Where it is none, *edge and *other are two edges that meet (edge i leads from
   corner i to the next); equal, an edge of no length. */
bool tr_polygon_is_simple(const tr_vec2 *corners, int n, int *edge, int *other);

/* A point lies in it; on its edge either may be said. */
bool tr_polygon_has(const tr_vec2 *corners, int n, tr_vec2 p);

#endif
