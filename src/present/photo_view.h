/* A photo, or a part of it, on the page: upright as the vehicle's Z has it, and how what is known
   in the vehicle's frame gets there through the lens that the photo had. */
#ifndef TR_PRESENT_PHOTO_VIEW_H
#define TR_PRESENT_PHOTO_VIEW_H

#include "check/result.h"
#include "present/canvas.h"

typedef struct {
    tr_canvas *canvas;
    const tr_photo_result *photo;
    cairo_matrix_t page_from_pixel; /* pixel: (0, 0) is the first one's centre */
    tr_box on_page;                 /* what the photo fills of its box */
} tr_photo_view;

/* What must be seen, in pixels of the photo as it stands upright. Nothing: all of it. */
typedef struct {
    double x0, y0, x1, y1;
} tr_photo_range;
static const tr_photo_range TR_WHOLE_PHOTO = {INFINITY, INFINITY, -INFINITY, -INFINITY};
/* Points without a finite place do not count. */
void tr_photo_range_widen(tr_photo_range *range, const tr_photo_result *photo, tr_vec2 uv_px);

/* A view of the range and something about it, of the box' shape as far as the photo goes. */
tr_photo_view tr_photo_view_of(tr_canvas *canvas, tr_box box, const tr_photo_result *photo,
                               tr_photo_range range);

/* Pixel of a point of the vehicle's frame; NAN where the lens has none. */
tr_vec2 tr_photo_pixel(const tr_photo_result *photo, tr_vec3 p_vehicle_mm);
tr_vec2 tr_pixel_on_page(const tr_photo_view *view, tr_vec2 uv_px);
tr_vec2 tr_vehicle_on_page(const tr_photo_view *view, tr_vec3 p_vehicle_mm);

/* Draws it, a photo of the result. photos: of the check, where a decoded photo may still be in
   memory; else, and where photos is NULL, its file is read again, which must still have the SHA-256
   of the result. Where that cannot be shown the box says why, and *is_drawn is false. False only
   where memory ran out. */
TR_MUST_USE bool tr_photo_view_draw(const tr_photo_view *view, tr_box box,
                                    const tr_check_result *result, const tr_photo_set *photos,
                                    bool *is_drawn, tr_error *err);

/* Words in the place of a photo. */
void tr_photo_say(tr_canvas *canvas, tr_box box, const char *text);

#endif
