/* Free areas of the layout in the photos and in words: prisms that stand on the floor. Nothing here
   draws.

   What of an outline is hidden: what lies behind the prism itself, as if it were solid, and what
   lies behind a sheet that was measured. Of other things, the vehicle among them, the program does
   not know where they are. */
#ifndef TR_PRESENT_FREE_AREA_H
#define TR_PRESENT_FREE_AREA_H

#include <stddef.h>

#include "check/result.h"

/* Edges: of each corner that on the floor to the next, that at the top, and the upright one. */
int tr_area_edges(const tr_free_area_result *area);
/* In the vehicle frame, mm. */
void tr_area_edge(const tr_free_area_result *area, int edge, tr_vec3 ends_mm[2]);
/* Of how many stretches an edge is drawn: a lens bends it, and some of them may be hidden. */
int tr_area_stretches(const tr_free_area_result *area, int edge);

/* The way from the camera to a point of an edge leads through the prism; false where the camera is
   in it. */
bool tr_area_hides(const tr_free_area_result *area, tr_vec3 camera_mm, tr_vec3 p_mm);
/* It meets a sheet before the point; one that touches the point does not hide it. */
bool tr_sheets_hide(const tr_check_result *result, tr_vec3 camera_mm, tr_vec3 p_mm);

typedef enum { TR_SEES_NOTHING, TR_SEES_PART, TR_SEES_ALL } tr_area_sight;
/* What of its outline lies in the photo, and not behind a sheet; the inside alone is a part, too.
   Of a photo that is not used: nothing. */
tr_area_sight tr_area_sight_of(const tr_check_result *result, const tr_free_area_result *area,
                               const tr_photo_result *photo);
/* The photo sees one of them. */
bool tr_sees_free_areas(const tr_check_result *result, const tr_photo_result *photo);

/* Which photos show it, and what to do where none shows all of it. */
void tr_area_text(const tr_check_result *result, const tr_free_area_result *area, char *out,
                  size_t size);
/* That a person has to look, and that the program does not judge it. */
const char *tr_areas_not_judged(void);

#endif
