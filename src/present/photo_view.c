#include "present/photo_view.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "image/photo_file.h"

/* ---- From the vehicle to the page ---- */

static const tr_vec2 NOWHERE = {NAN, NAN};

tr_vec2 tr_photo_pixel(const tr_photo_result *photo, tr_vec3 p_vehicle_mm) {
    tr_vec2 uv;
    tr_vec3 p = tr_pose_apply(photo->camera_from_vehicle, p_vehicle_mm);
    return tr_lens_project(&photo->own_lens, p, &uv, NULL, NULL) ? uv : NOWHERE;
}

tr_vec2 tr_pixel_on_page(const tr_photo_view *v, tr_vec2 uv_px) {
    double x = uv_px.x;
    double y = uv_px.y;
    cairo_matrix_transform_point(&v->page_from_pixel, &x, &y);
    return tr_v2(x, y);
}

tr_vec2 tr_vehicle_on_page(const tr_photo_view *v, tr_vec3 p_vehicle_mm) {
    tr_vec2 uv = tr_photo_pixel(v->photo, p_vehicle_mm);
    return isfinite(uv.x) ? tr_pixel_on_page(v, uv) : NOWHERE;
}

/* Quarter turns, clockwise, that bring the vehicle's Z up on the page; 0 where the photo looks
   straight down. Stored pixels may lie on their side. */
static int quarter_turns(const tr_photo_result *photo) {
    static const double LEAST = 0.15; /* of Z's length in the image plane */
    tr_vec3 up = tr_m3_column(photo->camera_from_vehicle.R, 2);
    if (hypot(up.x, up.y) < LEAST) return 0;
    if (fabs(up.y) >= fabs(up.x)) return up.y < 0 ? 0 : 2;
    return up.x < 0 ? 1 : 3;
}

/* Turned pixel coordinates: corner to corner, that is, (0, 0) the first pixel's outer corner. */
static cairo_matrix_t turned_from_pixel(const tr_photo_result *photo) {
    double w = photo->width_px;
    double h = photo->height_px;
    cairo_matrix_t m;
    switch (quarter_turns(photo)) {
    case 1: cairo_matrix_init(&m, 0, 1, -1, 0, h - 0.5, 0.5); break;
    case 2: cairo_matrix_init(&m, -1, 0, 0, -1, w - 0.5, h - 0.5); break;
    case 3: cairo_matrix_init(&m, 0, -1, 1, 0, 0.5, w - 0.5); break;
    default: cairo_matrix_init(&m, 1, 0, 0, 1, 0.5, 0.5); break;
    }
    return m;
}

void tr_photo_range_widen(tr_photo_range *r, const tr_photo_result *photo, tr_vec2 uv_px) {
    cairo_matrix_t turned = turned_from_pixel(photo);
    if (!isfinite(uv_px.x) || !isfinite(uv_px.y)) return;
    double x = uv_px.x;
    double y = uv_px.y;
    cairo_matrix_transform_point(&turned, &x, &y);
    r->x0 = fmin(r->x0, x);
    r->y0 = fmin(r->y0, y);
    r->x1 = fmax(r->x1, x);
    r->y1 = fmax(r->y1, y);
}

/* Moves [*low, *high] into [0, size], and cuts it where it is longer. */
static void shift_inside(double *low, double *high, double size) {
    double length = *high - *low;
    if (length >= size) {
        *low = 0;
        *high = size;
    } else if (*low < 0) {
        *low = 0;
        *high = length;
    } else if (*high > size) {
        *low = size - length;
        *high = size;
    }
}

/* The part of the photo to show, in turned pixels, of the box' shape as far as the photo goes. */
static tr_photo_range crop_of(tr_photo_range r, double width, double height, tr_box box) {
    static const double MARGIN = 0.18; /* of the range, to each side */
    static const double SMALLEST_PX = 300;
    if (!(r.x1 > r.x0) || !(r.y1 > r.y0)) return (tr_photo_range){0, 0, width, height};
    r.x0 = fmax(r.x0, 0);
    r.y0 = fmax(r.y0, 0);
    r.x1 = fmin(r.x1, width);
    r.y1 = fmin(r.y1, height);
    double w = fmax((1 + 2 * MARGIN) * (r.x1 - r.x0), SMALLEST_PX);
    double h = fmax((1 + 2 * MARGIN) * (r.y1 - r.y0), SMALLEST_PX);
    double aspect = box.width / box.height;
    if (w < aspect * h) w = aspect * h;
    if (h < w / aspect) h = w / aspect;
    double x = (r.x0 + r.x1) / 2;
    double y = (r.y0 + r.y1) / 2;
    tr_photo_range crop = {x - w / 2, y - h / 2, x + w / 2, y + h / 2};
    shift_inside(&crop.x0, &crop.x1, width);
    shift_inside(&crop.y0, &crop.y1, height);
    return crop;
}

tr_photo_view tr_photo_view_of(tr_canvas *canvas, tr_box box, const tr_photo_result *photo,
                               tr_photo_range range) {
    cairo_matrix_t turned = turned_from_pixel(photo);
    bool is_on_side = quarter_turns(photo) % 2;
    double width = is_on_side ? photo->height_px : photo->width_px;
    double height = is_on_side ? photo->width_px : photo->height_px;
    tr_photo_range crop = crop_of(range, width, height, box);
    double scale = fmin(box.width / (crop.x1 - crop.x0), box.height / (crop.y1 - crop.y0));
    tr_photo_view v = {.canvas = canvas, .photo = photo};
    cairo_matrix_t page_from_turned;
    cairo_matrix_init(&page_from_turned, scale, 0, 0, scale,
                      box.x + box.width / 2 - scale * (crop.x0 + crop.x1) / 2,
                      box.y + box.height / 2 - scale * (crop.y0 + crop.y1) / 2);
    cairo_matrix_multiply(&v.page_from_pixel, &turned, &page_from_turned);
    v.on_page = (tr_box){box.x + box.width / 2 - scale * (crop.x1 - crop.x0) / 2,
                         box.y + box.height / 2 - scale * (crop.y1 - crop.y0) / 2,
                         scale * (crop.x1 - crop.x0), scale * (crop.y1 - crop.y0)};
    return v;
}

/* ---- The photo itself ---- */

/* Made a little lighter, so that lines stand out. */
static void lighten(tr_image *image) {
    static const double GROUND = 40, SHARE = 0.84;
    long n = (long)image->width * image->height;
    for (long i = 0; i < n; i++) image->px[i] = (uint8_t)(GROUND + SHARE * image->px[i]);
}

static cairo_surface_t *surface_of(const tr_image *image) {
    cairo_surface_t *surface =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, image->width, image->height);
    if (cairo_surface_status(surface) != CAIRO_STATUS_SUCCESS) {
        cairo_surface_destroy(surface);
        return NULL;
    }
    cairo_surface_flush(surface);
    unsigned char *data = cairo_image_surface_get_data(surface);
    int stride = cairo_image_surface_get_stride(surface);
    for (int v = 0; v < image->height; v++) {
        const uint8_t *from = tr_image_row(image, v);
        uint32_t *to = (uint32_t *)(void *)(data + (long)v * stride);
        for (int u = 0; u < image->width; u++) {
            uint32_t grey = from[u];
            to[u] = grey << 16 | grey << 8 | grey;
        }
    }
    cairo_surface_mark_dirty(surface);
    return surface;
}

/* In a document the photo is stored as a JPEG, which takes a tenth of the room. */
static bool store_as_jpeg(cairo_surface_t *surface, const tr_image *image, tr_error *err) {
    enum { QUALITY = 90 };
    uint8_t *data;
    size_t size;
    if (!tr_image_encode_jpeg(image, QUALITY, "", &data, &size, err)) return false;
    if (cairo_surface_set_mime_data(surface, CAIRO_MIME_TYPE_JPEG, data, size, free, data) !=
        CAIRO_STATUS_SUCCESS) {
        free(data);
        return tr_fail_memory(err);
    }
    return true;
}

/* Leaves of the image, which is the photo at 1/factor, what is seen on the page: the rest would be
   stored in a document in vain. *u0, *v0: where that begins. */
static bool crop(const tr_photo_view *v, int factor, tr_image *image, int *u0, int *v0,
                 tr_error *err) {
    static const double MARGIN_PX = 2;
    cairo_matrix_t pixel_from_page = v->page_from_pixel;
    double low[2] = {INFINITY, INFINITY};
    double high[2] = {-INFINITY, -INFINITY};
    if (cairo_matrix_invert(&pixel_from_page) != CAIRO_STATUS_SUCCESS) return true;
    for (int i = 0; i < 4; i++) {
        double p[2] = {v->on_page.x + (i & 1 ? v->on_page.width : 0),
                       v->on_page.y + (i & 2 ? v->on_page.height : 0)};
        cairo_matrix_transform_point(&pixel_from_page, &p[0], &p[1]);
        for (int k = 0; k < 2; k++) {
            low[k] = fmin(low[k], (p[k] + 0.5) / factor - MARGIN_PX);
            high[k] = fmax(high[k], (p[k] + 0.5) / factor + MARGIN_PX);
        }
    }
    *u0 = (int)fmax(floor(low[0]), 0);
    *v0 = (int)fmax(floor(low[1]), 0);
    int u1 = (int)fmin(ceil(high[0]), image->width);
    int v1 = (int)fmin(ceil(high[1]), image->height);
    if (u1 <= *u0 || v1 <= *v0) {
        *u0 = *v0 = 0;
        return true;
    }
    tr_image part = {0};
    if (!tr_image_init(&part, u1 - *u0, v1 - *v0, err)) return false;
    for (int row = 0; row < part.height; row++) {
        memcpy(part.px + (long)row * part.width, tr_image_row(image, *v0 + row) + *u0,
               (size_t)part.width);
    }
    tr_image_release(image);
    *image = part;
    return true;
}

static bool paint(const tr_photo_view *v, const tr_image *image, tr_error *err) {
    enum { MAX_SHRINK = 16 };
    double scale = hypot(v->page_from_pixel.xx, v->page_from_pixel.yx);
    int factor = (int)fmin(fmax(floor(1 / scale), 1), MAX_SHRINK);
    while (factor > 1 && (image->width / factor < 1 || image->height / factor < 1)) factor--;
    tr_image small = {0};
    if (!tr_image_shrink(image, factor, &small, err)) return false;
    int u0 = 0;
    int v0 = 0;
    bool is_stored = v->canvas->stream;
    bool ok = !is_stored || crop(v, factor, &small, &u0, &v0, err);
    lighten(&small);
    cairo_surface_t *surface = ok ? surface_of(&small) : NULL;
    ok = surface || tr_fail_memory(err);
    if (ok && is_stored) ok = store_as_jpeg(surface, &small, err);
    tr_image_release(&small);
    if (!ok) {
        if (surface) cairo_surface_destroy(surface);
        return false;
    }
    cairo_t *cr = v->canvas->cr;
    cairo_save(cr);
    cairo_transform(cr, &v->page_from_pixel);
    cairo_translate(cr, -0.5, -0.5); /* cairo's (0, 0) is the first pixel's outer corner */
    cairo_scale(cr, factor, factor);
    cairo_set_source_surface(cr, surface, u0, v0);
    cairo_paint(cr);
    cairo_restore(cr);
    cairo_surface_destroy(surface);
    return true;
}

void tr_photo_say(tr_canvas *canvas, tr_box box, const char *text) {
    static const tr_colour GROUND = {0.94, 0.94, 0.94};
    const tr_type type = {
        .size_px = 30, .smallest_px = 20, .align = TR_ALIGN_CENTRE, .colour = TR_INK, .lines = 5};
    tr_canvas_colour(canvas, GROUND);
    cairo_rectangle(canvas->cr, box.x, box.y, box.width, box.height);
    cairo_fill(canvas->cr);
    tr_canvas_text(canvas, box.x + 40, box.y + box.height / 2 - 60, box.width - 80, type, text);
}

/* The decoded photo, if the check still has it. */
static const tr_image *kept_image(const tr_photo_set *photos, int photo) {
    const tr_image *image = photos ? &photos->photos[photo].image : NULL;
    return image && image->px ? image : NULL;
}

bool tr_photo_view_draw(const tr_photo_view *v, tr_box box, const tr_check_result *result,
                        const tr_photo_set *photos, bool *is_drawn, tr_error *err) {
    tr_error why = {0};
    const tr_image *kept = kept_image(photos, (int)(v->photo - result->photos));
    tr_image read = {0};
    *is_drawn = false;
    if (!kept && !tr_photo_file_read_again(v->photo->file, v->photo->sha256, &read, &why)) {
        if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
        char text[1024];
        tr_error_print(&why, text, sizeof text);
        tr_photo_say(v->canvas, box, text);
        return true;
    }
    cairo_save(v->canvas->cr);
    cairo_rectangle(v->canvas->cr, box.x, box.y, box.width, box.height);
    cairo_clip(v->canvas->cr);
    tr_photo_say(v->canvas, box, "");
    *is_drawn = paint(v, kept ? kept : &read, err);
    cairo_restore(v->canvas->cr);
    tr_image_release(&read);
    return *is_drawn;
}
