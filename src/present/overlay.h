/* A photo with what was found in it: marks, the outline that is required, drawn on the floor
   through the lens, the outline that was measured, and the move from the one to the other. */
#ifndef TR_PRESENT_OVERLAY_H
#define TR_PRESENT_OVERLAY_H

#include "check/result.h"
#include "present/canvas.h"

/* Draws the part of a photo of the result around the target (present/photo_view.h). photo -1, or
   one that cannot be shown: the box says why. False only where memory ran out. */
TR_MUST_USE bool tr_overlay_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                                 const tr_photo_set *photos, int target, int photo, tr_error *err);

#endif
