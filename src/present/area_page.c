#include "present/area_page.h"

#include <stdio.h>

#include "base/language.h"
#include "present/free_area.h"
#include "present/labels.h"
#include "present/page.h"
#include "present/photo_view.h"

static const tr_box PHOTOS = {36, 186, 1848, 940};
static const double CAPTION_PX = 34, GAP_PX = 20;

/* ---- An area in a photo ---- */

/* White on black: seen on any ground, and in print without colours. */
static void stroke(const tr_photo_view *v, bool is_hidden) {
    static const double SEEN_PX = 4, HIDDEN_PX = 3, RIM_PX = 1.5, DASHES[] = {9, 9};
    cairo_t *cr = v->canvas->cr;
    double width = is_hidden ? HIDDEN_PX : SEEN_PX;
    cairo_set_line_cap(cr, CAIRO_LINE_CAP_BUTT);
    if (is_hidden) cairo_set_dash(cr, DASHES, 2, 0);
    tr_canvas_colour(v->canvas, TR_INK);
    cairo_set_line_width(cr, width + 2 * RIM_PX);
    cairo_stroke_preserve(cr);
    tr_canvas_colour(v->canvas, TR_WHITE);
    cairo_set_line_width(cr, width);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
}

/* Stretches that are alike are one line, so that dashes run on. */
static void draw_edge(const tr_photo_view *v, const tr_check_result *result,
                      const tr_free_area_result *area, int edge, bool wants_hidden) {
    tr_vec3 ends[2];
    tr_vec3 camera = tr_pose_inverse(v->photo->camera_from_vehicle).t_mm;
    int n = tr_area_stretches(area, edge);
    tr_area_edge(area, edge, ends);
    tr_vec3 step = tr_v3_scale(1.0 / n, tr_v3_sub(ends[1], ends[0]));
    tr_vec2 before = {NAN, NAN};
    cairo_new_path(v->canvas->cr);
    for (int k = 0; k < n; k++) {
        tr_vec3 middle = tr_v3_add(ends[0], tr_v3_scale(k + 0.5, step));
        bool is_hidden =
            tr_area_hides(area, camera, middle) || tr_sheets_hide(result, camera, middle);
        tr_vec2 line[2] = {tr_vehicle_on_page(v, tr_v3_add(ends[0], tr_v3_scale(k, step))),
                           tr_vehicle_on_page(v, tr_v3_add(ends[0], tr_v3_scale(k + 1, step)))};
        bool is_drawn = is_hidden == wants_hidden && isfinite(line[0].x) && isfinite(line[1].x);
        if (is_drawn && isfinite(before.x))
            cairo_line_to(v->canvas->cr, line[1].x, line[1].y);
        else if (is_drawn)
            tr_canvas_path(v->canvas, line, 2);
        before = is_drawn ? line[1] : tr_v2(NAN, NAN);
    }
    stroke(v, wants_hidden);
}

/* What it takes up of the photo on the page; false: nothing. */
static bool box_of(const tr_photo_view *v, const tr_free_area_result *area, tr_box *out) {
    tr_box b = v->on_page;
    double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
    for (int edge = 0; edge < tr_area_edges(area); edge++) {
        tr_vec3 ends[2];
        int n = tr_area_stretches(area, edge);
        tr_area_edge(area, edge, ends);
        for (int k = 0; k <= n; k++) {
            double s = (double)k / n;
            tr_vec2 p = tr_vehicle_on_page(
                v, tr_v3_add(tr_v3_scale(1 - s, ends[0]), tr_v3_scale(s, ends[1])));
            if (!(p.x >= b.x && p.y >= b.y && p.x <= b.x + b.width && p.y <= b.y + b.height))
                continue;
            x0 = fmin(x0, p.x);
            y0 = fmin(y0, p.y);
            x1 = fmax(x1, p.x);
            y1 = fmax(y1, p.y);
        }
    }
    *out = (tr_box){x0, y0, x1 - x0, y1 - y0};
    return x1 >= x0;
}

/* Above it or below it, whichever is nearer. */
static tr_vec2 beside(tr_label_room *room, tr_box box, double width, double height) {
    tr_label_room above = *room;
    tr_label_room below = *room;
    tr_vec2 top = {box.x + box.width / 2, box.y - height / 2 - 2};
    tr_vec2 bottom = {top.x, box.y + box.height + height / 2 + 2};
    tr_vec2 a = tr_label_place(&above, top, width, height);
    tr_vec2 b = tr_label_place(&below, bottom, width, height);
    bool is_above = tr_v2_norm(tr_v2_sub(a, top)) <= tr_v2_norm(tr_v2_sub(b, bottom));
    *room = is_above ? above : below;
    return is_above ? a : b;
}

/* Its name beside it, where several areas have to be told apart: nothing may be covered in which
   something could stand. */
static void draw_names(const tr_photo_view *v, const tr_check_result *result) {
    static const double HEIGHT_PX = 32;
    const tr_type type = {.size_px = 24, .is_bold = true, .colour = TR_INK};
    tr_label_room room = {.within = v->on_page};
    tr_box box;
    for (int i = 0; i < result->n_free_areas; i++) {
        if (box_of(v, &result->free_areas[i], &box)) tr_label_take(&room, box);
    }
    for (int i = 0; i < result->n_free_areas; i++) {
        const tr_free_area_result *area = &result->free_areas[i];
        if (!box_of(v, area, &box)) continue;
        double width = tr_canvas_text_width(v->canvas, type, area->name) + 12;
        tr_vec2 c = beside(&room, box, width, HEIGHT_PX);
        tr_canvas_label(v->canvas, c.x, c.y, 0, type, true, area->name);
    }
}

static void draw_areas(const tr_photo_view *v, const tr_check_result *result) {
    for (int pass = 0; pass < 2; pass++) { /* what is hidden lies below */
        for (int i = 0; i < result->n_free_areas; i++) {
            const tr_free_area_result *area = &result->free_areas[i];
            for (int edge = 0; edge < tr_area_edges(area); edge++) {
                draw_edge(v, result, area, edge, pass == 0);
            }
        }
    }
    if (result->n_free_areas > 1) draw_names(v, result);
}

/* ---- The page ---- */

bool tr_area_photo_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                        const tr_photo_set *photos, int photo, tr_error *err) {
    const tr_photo_result *shown = &result->photos[photo];
    const tr_type type = {.size_px = 24, .smallest_px = 12, .colour = TR_INK};
    tr_box frame = {box.x, box.y, box.width, box.height - CAPTION_PX};
    tr_photo_view v = tr_photo_view_of(canvas, frame, shown, TR_WHOLE_PHOTO);
    char text[1024];
    size_t n = (size_t)snprintf(text, sizeof text, "%s", shown->name);
    for (int i = 0; i < result->n_free_areas && n < sizeof text; i++) {
        const tr_free_area_result *area = &result->free_areas[i];
        tr_area_sight sight = tr_area_sight_of(result, area, shown);
        if (sight == TR_SEES_NOTHING) continue;
        n += (size_t)snprintf(text + n, sizeof text - n, " · %s: %s", area->name,
                              sight == TR_SEES_ALL ? TR_("all of it") : TR_("a part"));
    }
    bool is_drawn;
    if (!tr_photo_view_draw(&v, frame, result, photos, &is_drawn, err)) return false;
    if (is_drawn) {
        cairo_save(canvas->cr);
        cairo_rectangle(canvas->cr, v.on_page.x, v.on_page.y, v.on_page.width, v.on_page.height);
        cairo_clip(canvas->cr);
        draw_areas(&v, result);
        cairo_restore(canvas->cr);
    }
    tr_canvas_text(canvas, box.x, box.y + box.height - CAPTION_PX + 2, box.width, type, text);
    return true;
}

/* 2: it shows all of an area, 1: a part of one, 0: none. */
static int worth(const tr_check_result *result, const tr_photo_result *photo) {
    int most = 0;
    for (int i = 0; i < result->n_free_areas; i++) {
        int sight = (int)tr_area_sight_of(result, &result->free_areas[i], photo);
        if (sight > most) most = sight;
    }
    return most;
}

int tr_area_page_photos(const tr_check_result *result, int first, int photos[TR_AREA_PAGE_PHOTOS]) {
    int n = 0;
    int seen = 0;
    for (int of_worth = 2; of_worth >= 1; of_worth--) {
        for (int i = 0; i < result->n_photos && n < TR_AREA_PAGE_PHOTOS; i++) {
            int photo = result->order[i];
            if (worth(result, &result->photos[photo]) != of_worth) continue;
            if (seen++ >= first) photos[n++] = photo;
        }
    }
    return n;
}

bool tr_area_page_draw(tr_canvas *canvas, const tr_check_result *result, const tr_photo_set *photos,
                       int first, const char *third, tr_error *err) {
    int shown[TR_AREA_PAGE_PHOTOS];
    int n = tr_area_page_photos(result, first, shown);
    int columns = n > 1 ? 2 : 1;
    int rows = n > 2 ? 2 : 1;
    char words[512];
    tr_page_job(result, words, sizeof words);
    const tr_page_head head = {.first =
                                   result->n_free_areas > 1 ? TR_("Free areas") : TR_("Free area"),
                               .second = words,
                               .third = third};
    tr_page_draw_title(canvas, TR_("Does anything stand here?"), &head);
    const tr_type type = {.size_px = 26, .smallest_px = 13, .colour = TR_INK};
    tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, 132, tr_page_width(), type,
                   TR_("Someone must check by eye: this program does not judge it. Solid: in view. "
                       "Dashed: behind the space itself or a sheet. The vehicle hides more than is "
                       "dashed."));
    double width = (PHOTOS.width - (columns - 1) * GAP_PX) / columns;
    double height = (PHOTOS.height - (rows - 1) * GAP_PX) / rows;
    for (int i = 0; i < n; i++) {
        tr_box box = {PHOTOS.x + i % columns * (width + GAP_PX),
                      PHOTOS.y + i / columns * (height + GAP_PX), width, height};
        if (!tr_area_photo_draw(canvas, box, result, photos, shown[i], err)) return false;
    }
    tr_page_draw_foot(canvas);
    return true;
}
