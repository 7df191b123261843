/* Sheets that are not flat: see tools/relief.h. Private to the renderer. */
#ifndef TR_TOOLS_RENDER_RELIEF_H
#define TR_TOOLS_RENDER_RELIEF_H

#include "geom/geom.h"
#include "tools/relief.h"

/* Height at a place of a face of this half width and height, mm, and how it changes along x and y;
   slope may be NULL. Off the face it goes on, straight. */
double tr_relief_at(const tr_relief *relief, const double half_mm[2], tr_vec2 p_mm,
                    double slope[2]);
/* It is nowhere higher or lower than this. */
double tr_relief_reach(const tr_relief *relief);

#endif
