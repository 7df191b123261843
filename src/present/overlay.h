/* A photo with what was found in it: marks, the outline that is required, drawn on the floor
   through the lens, the outline that was measured, and the move from the one to the other. */
#ifndef TR_PRESENT_OVERLAY_H
#define TR_PRESENT_OVERLAY_H

#include "check/result.h"
#include "present/canvas.h"

/* Draws the part of a photo of the result around the target, upright as the vehicle's Z has it.
   photos: of the check, where a decoded photo may still be in memory; else, and where photos is
   NULL, its file is read again, which must still have the SHA-256 of the result. photo -1, or one
   that cannot be shown: the box says why. False only where memory ran out. */
TR_MUST_USE bool tr_overlay_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                                 const tr_photo_set *photos, int target, int photo, tr_error *err);

#endif
