#include "present/overlay.h"

#include "base/language.h"
#include "present/photo_view.h"
#include "present/plan.h"

/* Points along each edge: through a wide lens a straight edge is curved. */
enum { PER_EDGE = 48, N_OUTLINE = 4 * PER_EDGE + 1 };

static const double MARK_PX = 2.5, REQUIRED_PX = 4, MEASURED_PX = 5;

static tr_vec3 outline_point(const tr_vec3 corners[4], int k) {
    int edge = k / PER_EDGE % 4;
    double s = (double)(k % PER_EDGE) / PER_EDGE;
    return tr_v3_add(tr_v3_scale(1 - s, corners[edge]), tr_v3_scale(s, corners[(edge + 1) % 4]));
}

/* What must be seen: both outlines as far as they lie in the photo. */
static tr_photo_range range_of_interest(const tr_check_result *result, const tr_photo_result *photo,
                                        int target) {
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *found = &result->sheets[t->sheet];
    tr_photo_range r = TR_WHOLE_PHOTO;
    tr_vec3 corners[4];
    tr_sheet_outline(found, t->vehicle_from_required, corners);
    for (int k = 0; k < N_OUTLINE; k++) {
        tr_photo_range_widen(&r, photo, tr_photo_pixel(photo, outline_point(corners, k)));
    }
    if (!found->is_placed) return r;
    tr_sheet_outline(found, found->vehicle_from_sheet, corners);
    for (int k = 0; k < N_OUTLINE; k++) {
        tr_photo_range_widen(&r, photo, tr_photo_pixel(photo, outline_point(corners, k)));
    }
    return r;
}

/* ---- What is drawn over it ---- */

/* Those of other sheets are drawn finer: they lie farther away, and matter less here. */
static void draw_marks(const tr_photo_view *v, int sheet) {
    cairo_t *cr = v->canvas->cr;
    for (int i = 0; i < v->photo->n_drawn; i++) {
        const tr_drawn_mark *mark = &v->photo->marks[i];
        double size = mark->sheet == sheet ? 1 : 0.5;
        tr_vec2 p[4];
        for (int k = 0; k < mark->n_points; k++) p[k] = tr_pixel_on_page(v, mark->uv_px[k]);
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

static void outline_path(const tr_photo_view *v, const tr_sheet_result *sheet,
                         tr_pose vehicle_from_sheet) {
    tr_vec3 corners[4];
    tr_vec2 page[N_OUTLINE];
    tr_sheet_outline(sheet, vehicle_from_sheet, corners);
    for (int k = 0; k < N_OUTLINE; k++) page[k] = tr_vehicle_on_page(v, outline_point(corners, k));
    cairo_new_path(v->canvas->cr);
    tr_canvas_path(v->canvas, page, N_OUTLINE);
}

static void draw_required(const tr_photo_view *v, const tr_sheet_result *sheet,
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
static void draw_arrow(const tr_photo_view *v, tr_vec2 from, tr_vec2 to, tr_colour colour) {
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
static void draw_turn(const tr_photo_view *v, tr_vec3 centre_mm, double radius_mm, double direction,
                      tr_colour colour) {
    enum { N = 24 };
    static const double FROM_RAD = 20 * TR_RAD_PER_DEG, SWEEP_RAD = 65 * TR_RAD_PER_DEG;
    tr_vec2 page[N + 1];
    for (int k = 0; k <= N; k++) {
        double a = direction * (FROM_RAD + SWEEP_RAD * k / N);
        tr_vec3 d = tr_v3(radius_mm * cos(a), radius_mm * sin(a), 0);
        page[k] = tr_vehicle_on_page(v, tr_v3_add(centre_mm, d));
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

static void draw_target(const tr_photo_view *v, const tr_check_result *result, int target) {
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *found = &result->sheets[t->sheet];
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
        draw_arrow(v, tr_vehicle_on_page(v, centre), tr_vehicle_on_page(v, to), colour);
    }
}

bool tr_overlay_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                     const tr_photo_set *photos, int target, int photo, tr_error *err) {
    if (photo < 0) {
        tr_photo_say(canvas, box,
                     TR_("No photo that could be used shows where this sheet should lie."));
        return true;
    }
    const tr_photo_result *shown = &result->photos[photo];
    tr_photo_view v =
        tr_photo_view_of(canvas, box, shown, range_of_interest(result, shown, target));
    bool is_drawn;
    if (!tr_photo_view_draw(&v, box, result, photos, &is_drawn, err)) return false;
    if (!is_drawn) return true;
    cairo_save(canvas->cr);
    cairo_rectangle(canvas->cr, box.x, box.y, box.width, box.height);
    cairo_clip(canvas->cr);
    draw_marks(&v, result->targets[target].sheet);
    draw_target(&v, result, target);
    cairo_restore(canvas->cr);
    return true;
}
