/* A photo with what was found in it: marks, the outline that is required, drawn on the floor
   through the lens, the outline that was measured, and the move from the one to the other. */
#ifndef TR_PRESENT_OVERLAY_H
#define TR_PRESENT_OVERLAY_H

#include "check/check.h"
#include "present/canvas.h"

/* The photo that shows the target best: most of its marks among the photos used; where none shows
   it, a used photo into which its required place falls. Of equals the first by name, in whichever
   order they were given. -1: none. */
int tr_best_photo(const tr_check *check, int target);

/* Reads the photo's file again, which must still have the SHA-256 of the result, and draws the part
   of it around the target, upright as the vehicle's Z has it. Where the photo cannot be shown the
   box says why; false only where memory ran out. */
TR_MUST_USE bool tr_overlay_draw(tr_canvas *canvas, tr_box box, const tr_check *check, int target,
                                 int photo, tr_error *err);

#endif
