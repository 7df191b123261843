#include "present/overlay.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "image/photo_file.h"
#include "present/plan.h"

/* Points along each edge: through a wide lens a straight edge is curved. */
enum { PER_EDGE = 48, N_OUTLINE = 4 * PER_EDGE + 1 };

static const double MARK_PX = 2.5, REQUIRED_PX = 4, MEASURED_PX = 5;

/* ---- From the vehicle to the page ---- */

typedef struct {
    tr_canvas *canvas;
    const tr_check_result *result;
    const tr_photo_result *photo;
    cairo_matrix_t page_from_pixel; /* pixel as in the contract, (0, 0) the first one's centre */
} view;

static const tr_vec2 NOWHERE = {NAN, NAN};

static tr_vec2 on_page(const view *v, tr_vec2 uv_px) {
    double x = uv_px.x;
    double y = uv_px.y;
    cairo_matrix_transform_point(&v->page_from_pixel, &x, &y);
    return tr_v2(x, y);
}

static tr_vec2 pixel_of(const tr_photo_result *photo, tr_vec3 p_vehicle_mm) {
    tr_vec2 uv;
    tr_vec3 p = tr_pose_apply(photo->camera_from_vehicle, p_vehicle_mm);
    return tr_lens_project(&photo->own_lens, p, &uv, NULL, NULL) ? uv : NOWHERE;
}

static tr_vec2 vehicle_on_page(const view *v, tr_vec3 p_vehicle_mm) {
    tr_vec2 uv = pixel_of(v->photo, p_vehicle_mm);
    return isfinite(uv.x) ? on_page(v, uv) : NOWHERE;
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

typedef struct {
    double x0, y0, x1, y1;
} range;

static void widen(range *r, const cairo_matrix_t *m, tr_vec2 uv_px) {
    if (!isfinite(uv_px.x) || !isfinite(uv_px.y)) return;
    double x = uv_px.x;
    double y = uv_px.y;
    cairo_matrix_transform_point(m, &x, &y);
    r->x0 = fmin(r->x0, x);
    r->y0 = fmin(r->y0, y);
    r->x1 = fmax(r->x1, x);
    r->y1 = fmax(r->y1, y);
}

static tr_vec3 outline_point(const tr_vec3 corners[4], int k) {
    int edge = k / PER_EDGE % 4;
    double s = (double)(k % PER_EDGE) / PER_EDGE;
    return tr_v3_add(tr_v3_scale(1 - s, corners[edge]), tr_v3_scale(s, corners[(edge + 1) % 4]));
}

/* What must be seen, in turned pixels: both outlines as far as they lie in the photo. */
static range range_of_interest(const tr_check_result *result, const tr_photo_result *photo,
                               int target, const cairo_matrix_t *turned) {
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *found = &result->sheets[t->sheet];
    range r = {INFINITY, INFINITY, -INFINITY, -INFINITY};
    tr_vec3 corners[4];
    tr_sheet_outline(found, t->vehicle_from_required, corners);
    for (int k = 0; k < N_OUTLINE; k++) {
        widen(&r, turned, pixel_of(photo, outline_point(corners, k)));
    }
    if (!found->is_placed) return r;
    tr_sheet_outline(found, found->vehicle_from_sheet, corners);
    for (int k = 0; k < N_OUTLINE; k++) {
        widen(&r, turned, pixel_of(photo, outline_point(corners, k)));
    }
    return r;
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
static range crop_of(range r, double width, double height, tr_box box) {
    static const double MARGIN = 0.18; /* of the range, to each side */
    static const double SMALLEST_PX = 300;
    if (!(r.x1 > r.x0) || !(r.y1 > r.y0)) return (range){0, 0, width, height};
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
    range crop = {x - w / 2, y - h / 2, x + w / 2, y + h / 2};
    shift_inside(&crop.x0, &crop.x1, width);
    shift_inside(&crop.y0, &crop.y1, height);
    return crop;
}

static view view_of(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                    const tr_photo_result *photo, int target) {
    cairo_matrix_t turned = turned_from_pixel(photo);
    bool is_on_side = quarter_turns(photo) % 2;
    double width = is_on_side ? photo->height_px : photo->width_px;
    double height = is_on_side ? photo->width_px : photo->height_px;
    range crop = crop_of(range_of_interest(result, photo, target, &turned), width, height, box);
    double scale = fmin(box.width / (crop.x1 - crop.x0), box.height / (crop.y1 - crop.y0));
    view v = {.canvas = canvas, .result = result, .photo = photo};
    cairo_matrix_t page_from_turned;
    cairo_matrix_init(&page_from_turned, scale, 0, 0, scale,
                      box.x + box.width / 2 - scale * (crop.x0 + crop.x1) / 2,
                      box.y + box.height / 2 - scale * (crop.y0 + crop.y1) / 2);
    cairo_matrix_multiply(&v.page_from_pixel, &turned, &page_from_turned);
    return v;
}

/* ---- The photo itself ---- */

/* Made a little lighter, so that lines stand out. */
static cairo_surface_t *surface_of(const tr_image *image) {
    static const double GROUND = 40, SHARE = 0.84;
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
            uint32_t grey = (uint32_t)(GROUND + SHARE * from[u]);
            to[u] = grey << 16 | grey << 8 | grey;
        }
    }
    cairo_surface_mark_dirty(surface);
    return surface;
}

static bool paint_photo(const view *v, const tr_image *image, tr_error *err) {
    enum { MAX_SHRINK = 16 };
    double scale = hypot(v->page_from_pixel.xx, v->page_from_pixel.yx);
    int factor = (int)fmin(fmax(floor(1 / scale), 1), MAX_SHRINK);
    while (factor > 1 && (image->width / factor < 1 || image->height / factor < 1)) factor--;
    tr_image small = {0};
    if (!tr_image_shrink(image, factor, &small, err)) return false;
    cairo_surface_t *surface = surface_of(&small);
    tr_image_release(&small);
    if (!surface) return tr_fail_memory(err);
    cairo_t *cr = v->canvas->cr;
    cairo_save(cr);
    cairo_transform(cr, &v->page_from_pixel);
    cairo_translate(cr, -0.5, -0.5); /* cairo's (0, 0) is the first pixel's outer corner */
    cairo_scale(cr, factor, factor);
    cairo_set_source_surface(cr, surface, 0, 0);
    cairo_paint(cr);
    cairo_restore(cr);
    cairo_surface_destroy(surface);
    return true;
}

/* ---- What is drawn over it ---- */

/* Those of other sheets are drawn finer: they lie farther away, and matter less here. */
static void draw_marks(const view *v, int sheet) {
    cairo_t *cr = v->canvas->cr;
    for (int i = 0; i < v->photo->n_drawn; i++) {
        const tr_drawn_mark *mark = &v->photo->marks[i];
        double size = mark->sheet == sheet ? 1 : 0.5;
        tr_vec2 p[4];
        for (int k = 0; k < mark->n_points; k++) p[k] = on_page(v, mark->uv_px[k]);
        cairo_new_path(cr);
        if (mark->n_points == 4) {
            tr_canvas_path(v->canvas, p, 4);
            cairo_close_path(cr);
        } else {
            cairo_arc(cr, p[0].x, p[0].y, 5 * size, 0, 2 * TR_PI);
        }
        tr_canvas_stroke_cased(v->canvas, MARK_PX * size, TR_SKY, TR_INK);
    }
}

static void outline_path(const view *v, const tr_sheet_result *sheet, tr_pose vehicle_from_sheet) {
    tr_vec3 corners[4];
    tr_vec2 page[N_OUTLINE];
    tr_sheet_outline(sheet, vehicle_from_sheet, corners);
    for (int k = 0; k < N_OUTLINE; k++) page[k] = vehicle_on_page(v, outline_point(corners, k));
    cairo_new_path(v->canvas->cr);
    tr_canvas_path(v->canvas, page, N_OUTLINE);
}

static void draw_required(const view *v, const tr_sheet_result *sheet,
                          tr_pose vehicle_from_required) {
    static const double DASHES[] = {16, 10};
    cairo_t *cr = v->canvas->cr;
    outline_path(v, sheet, vehicle_from_required);
    cairo_path_t *path = cairo_copy_path(cr);
    tr_canvas_colour(v->canvas, TR_INK);
    cairo_set_line_width(cr, REQUIRED_PX + 4);
    cairo_stroke(cr);
    cairo_append_path(cr, path);
    cairo_path_destroy(path);
    cairo_set_dash(cr, DASHES, 2, 0);
    tr_canvas_colour(v->canvas, TR_WHITE);
    cairo_set_line_width(cr, REQUIRED_PX);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
}

/* An arrow of at least a length that is seen; shorter ones are drawn longer, about their middle. */
static void draw_arrow(const view *v, tr_vec2 from, tr_vec2 to, tr_colour colour) {
    static const double LEAST_PX = 110, HEAD_PX = 34, WIDTH_PX = 9;
    tr_vec2 d = tr_v2_sub(to, from);
    double length = tr_v2_norm(d);
    if (!isfinite(length) || !(length > 0)) return;
    if (length < LEAST_PX) {
        tr_vec2 middle = tr_v2_scale(0.5, tr_v2_add(from, to));
        tr_vec2 half = tr_v2_scale(LEAST_PX / length / 2, d);
        from = tr_v2_sub(middle, half);
        to = tr_v2_add(middle, half);
        length = LEAST_PX;
    }
    tr_vec2 neck = tr_v2_sub(to, tr_v2_scale((HEAD_PX - 4) / length, tr_v2_sub(to, from)));
    tr_vec2 beyond = tr_v2_add(to, tr_v2_scale(7 / length, tr_v2_sub(to, from)));
    tr_canvas_colour(v->canvas, TR_WHITE);
    tr_canvas_head(v->canvas, from, beyond, HEAD_PX + 14);
    cairo_move_to(v->canvas->cr, from.x, from.y);
    cairo_line_to(v->canvas->cr, neck.x, neck.y);
    tr_canvas_stroke_cased(v->canvas, WIDTH_PX, colour, TR_WHITE);
    tr_canvas_colour(v->canvas, colour);
    tr_canvas_head(v->canvas, from, to, HEAD_PX);
}

/* A turn about the sheet's centre, as an arc on the floor: anticlockwise seen from above where
   direction is 1. Always drawn of the same size. */
static void draw_turn(const view *v, tr_vec3 centre_mm, double radius_mm, double direction,
                      tr_colour colour) {
    enum { N = 24 };
    static const double FROM_RAD = 20 * TR_RAD_PER_DEG, SWEEP_RAD = 65 * TR_RAD_PER_DEG;
    tr_vec2 page[N + 1];
    for (int k = 0; k <= N; k++) {
        double a = direction * (FROM_RAD + SWEEP_RAD * k / N);
        tr_vec3 d = tr_v3(radius_mm * cos(a), radius_mm * sin(a), 0);
        page[k] = vehicle_on_page(v, tr_v3_add(centre_mm, d));
    }
    cairo_new_path(v->canvas->cr);
    tr_canvas_path(v->canvas, page, N);
    tr_canvas_stroke_cased(v->canvas, 7, colour, TR_WHITE);
    tr_vec2 tip = page[N];
    if (!isfinite(tip.x) || !isfinite(page[N - 3].x)) return;
    tr_canvas_colour(v->canvas, TR_WHITE);
    tr_vec2 e = tr_v2_sub(tip, page[N - 3]);
    tr_canvas_head(v->canvas, page[N - 3], tr_v2_add(tip, tr_v2_scale(6 / tr_v2_norm(e), e)), 42);
    tr_canvas_colour(v->canvas, colour);
    tr_canvas_head(v->canvas, page[N - 3], tip, 30);
}

static void draw_target(const view *v, int target) {
    const tr_target_result *t = &v->result->targets[target];
    const tr_sheet_result *found = &v->result->sheets[t->sheet];
    tr_colour colour = tr_verdict_colour(t->verdict);
    if (found->is_placed) {
        outline_path(v, found, found->vehicle_from_sheet);
        tr_canvas_stroke_cased(v->canvas, MEASURED_PX, colour, TR_WHITE);
    }
    draw_required(v, found, t->vehicle_from_required);
    if (!found->is_placed) return;
    tr_vec3 centre = found->vehicle_from_sheet.t_mm;
    if (tr_target_has_turn(t)) {
        double radius = 0.42 * fmin(found->width_mm, found->height_mm);
        draw_turn(v, centre, radius, t->axis[TR_YAW].error > 0 ? -1 : 1, colour);
    }
    if (tr_target_has_slide(t)) {
        tr_vec3 to = t->vehicle_from_required.t_mm;
        to.z = centre.z; /* a slide stays on the floor */
        draw_arrow(v, vehicle_on_page(v, centre), vehicle_on_page(v, to), colour);
    }
}

static void say_why(tr_canvas *canvas, tr_box box, const char *text) {
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

bool tr_overlay_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                     const tr_photo_set *photos, int target, int photo, tr_error *err) {
    if (photo < 0) {
        say_why(canvas, box, "No photo that could be used shows where this sheet should lie.");
        return true;
    }
    tr_error why = {0};
    const tr_photo_result *shown = &result->photos[photo];
    const tr_image *kept = kept_image(photos, photo);
    tr_image read = {0};
    if (!kept && !tr_photo_file_read_again(shown->file, shown->sha256, &read, &why)) {
        if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
        char text[1024];
        tr_error_print(&why, text, sizeof text);
        say_why(canvas, box, text);
        return true;
    }
    view v = view_of(canvas, box, result, shown, target);
    cairo_save(canvas->cr);
    cairo_rectangle(canvas->cr, box.x, box.y, box.width, box.height);
    cairo_clip(canvas->cr);
    say_why(canvas, box, "");
    bool ok = paint_photo(&v, kept ? kept : &read, err);
    if (ok) {
        draw_marks(&v, result->targets[target].sheet);
        draw_target(&v, target);
    }
    cairo_restore(canvas->cr);
    tr_image_release(&read);
    return ok;
}
