#include "present/free_area.h"

#include <stdio.h>
#include <stdlib.h>
#include <stdarg.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "job/free_area.h"

int tr_area_edges(const tr_free_area_result *area) {
    return 3 * area->n_corners;
}

void tr_area_edge(const tr_free_area_result *area, int edge, tr_vec3 ends_mm[2]) {
    int n = area->n_corners;
    tr_vec2 a = area->corners_mm[edge % n];
    tr_vec2 b = area->corners_mm[(edge + 1) % n];
    double h = area->height_mm;
    switch (edge / n) {
    case 0:
        ends_mm[0] = tr_v3(a.x, a.y, 0);
        ends_mm[1] = tr_v3(b.x, b.y, 0);
        return;
    case 1:
        ends_mm[0] = tr_v3(a.x, a.y, h);
        ends_mm[1] = tr_v3(b.x, b.y, h);
        return;
    default: ends_mm[0] = tr_v3(a.x, a.y, 0); ends_mm[1] = tr_v3(a.x, a.y, h);
    }
}

int tr_area_stretches(const tr_free_area_result *area, int edge) {
    enum { LEAST = 32, MOST = 512 };
    static const double STEP_MM = 20;
    tr_vec3 ends[2];
    tr_area_edge(area, edge, ends);
    double n = tr_v3_norm(tr_v3_sub(ends[1], ends[0])) / STEP_MM;
    return n < LEAST ? LEAST : n < MOST ? (int)n : MOST;
}

/* ---- What hides it ---- */

static tr_vec3 on_way(tr_vec3 from, tr_vec3 to, double s) {
    return tr_v3_add(tr_v3_scale(1 - s, from), tr_v3_scale(s, to));
}

static bool is_inside(const tr_free_area_result *area, tr_vec3 p) {
    return p.z > 0 && p.z < area->height_mm &&
           tr_polygon_has(area->corners_mm, area->n_corners, tr_v2(p.x, p.y));
}

/* Where on the way, as a part of it, the height is h; only what lies between *low and *high counts.
 */
static void cut_at_heights(tr_vec3 from, tr_vec3 to, double h, double *low, double *high) {
    double dz = to.z - from.z;
    if (dz == 0) {
        if (from.z <= 0 || from.z >= h) *high = *low;
        return;
    }
    double s0 = (0 - from.z) / dz;
    double s1 = (h - from.z) / dz;
    *low = fmax(*low, fmin(s0, s1));
    *high = fmin(*high, fmax(s0, s1));
}

static int compare(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Where on the way the outline is crossed, between low and high, with these two. */
static int crossings(const tr_free_area_result *area, tr_vec3 from, tr_vec3 to, double low,
                     double high, double *at, int most) {
    int n = 0;
    at[n++] = low;
    for (int i = 0; i < area->n_corners && n + 1 < most; i++) {
        tr_vec2 a = area->corners_mm[i];
        tr_vec2 b = area->corners_mm[(i + 1) % area->n_corners];
        tr_vec2 e = tr_v2_sub(b, a);
        double along = (to.x - from.x) * e.y - (to.y - from.y) * e.x;
        if (along == 0) continue;
        double s = ((a.x - from.x) * e.y - (a.y - from.y) * e.x) / along;
        if (s > low && s < high) at[n++] = s;
    }
    at[n++] = high;
    qsort(at, (size_t)n, sizeof *at, compare);
    return n;
}

bool tr_area_hides(const tr_free_area_result *area, tr_vec3 camera, tr_vec3 p) {
    enum { MOST = 128 };
    static const double TOUCH_MM = 1; /* shorter ways through it are rounding */
    double at[MOST];
    double low = 0;
    double high = 1;
    double length = tr_v3_norm(tr_v3_sub(p, camera));
    if (is_inside(area, camera)) return false;
    cut_at_heights(camera, p, area->height_mm, &low, &high);
    if (!(high > low)) return false;
    int n = crossings(area, camera, p, low, high, at, MOST);
    for (int i = 0; i + 1 < n; i++) {
        if ((at[i + 1] - at[i]) * length < TOUCH_MM) continue;
        if (is_inside(area, on_way(camera, p, (at[i] + at[i + 1]) / 2))) return true;
    }
    return false;
}

bool tr_sheets_hide(const tr_check_result *result, tr_vec3 camera, tr_vec3 p) {
    static const double TOUCH_MM = 30; /* a mat on which the area's outline lies hides nothing */
    double length = tr_v3_norm(tr_v3_sub(p, camera));
    for (int i = 0; i < result->n_sheets; i++) {
        const tr_sheet_result *s = &result->sheets[i];
        if (!s->is_placed) continue;
        tr_pose sheet_from_vehicle = tr_pose_inverse(s->vehicle_from_sheet);
        tr_vec3 a = tr_pose_apply(sheet_from_vehicle, camera);
        tr_vec3 b = tr_pose_apply(sheet_from_vehicle, p);
        double along = a.z / (a.z - b.z);
        if (!(along > 0) || !((1 - along) * length > TOUCH_MM)) continue;
        tr_vec3 at = on_way(a, b, along);
        if (fabs(at.x) <= s->width_mm / 2 && fabs(at.y) <= s->height_mm / 2) return true;
    }
    return false;
}

/* ---- What photos see ---- */

static bool is_in_photo(const tr_photo_result *photo, tr_vec3 p_mm) {
    tr_vec2 uv;
    tr_vec3 p = tr_pose_apply(photo->camera_from_vehicle, p_mm);
    return tr_lens_project(&photo->own_lens, p, &uv, NULL, NULL) && uv.x >= -0.5 && uv.y >= -0.5 &&
           uv.x <= photo->width_px - 0.5 && uv.y <= photo->height_px - 0.5;
}

/* A photo from so near that no edge is in it. */
static bool sees_inside(const tr_free_area_result *area, const tr_photo_result *photo) {
    enum { STEPS = 8 };
    tr_pose vehicle_from_camera = tr_pose_inverse(photo->camera_from_vehicle);
    tr_vec3 c = vehicle_from_camera.t_mm;
    for (int i = 0; i <= STEPS * (STEPS + 2); i++) {
        tr_vec2 xy;
        tr_vec2 uv = {(i % (STEPS + 1)) * (photo->width_px - 1.0) / STEPS,
                      (i / (STEPS + 1)) * (photo->height_px - 1.0) / STEPS};
        if (!tr_lens_undistort(&photo->own_lens, uv, &xy)) continue;
        tr_vec3 d = tr_m3_apply(vehicle_from_camera.R, tr_v3(xy.x, xy.y, 1));
        double reach = -c.z / d.z;
        if (!(reach > 0) || !isfinite(reach)) continue;
        tr_vec2 at = {c.x + reach * d.x, c.y + reach * d.y};
        if (tr_polygon_has(area->corners_mm, area->n_corners, at)) return true;
    }
    return false;
}

tr_area_sight tr_area_sight_of(const tr_check_result *result, const tr_free_area_result *area,
                               const tr_photo_result *photo) {
    bool is_all = true;
    bool is_any = false;
    if (!photo->is_used || result->why.code != TR_OK) return TR_SEES_NOTHING;
    tr_vec3 camera = tr_pose_inverse(photo->camera_from_vehicle).t_mm;
    for (int edge = 0; edge < tr_area_edges(area); edge++) {
        tr_vec3 ends[2];
        int n = tr_area_stretches(area, edge);
        tr_area_edge(area, edge, ends);
        for (int k = 0; k <= n; k++) {
            tr_vec3 p = on_way(ends[0], ends[1], (double)k / n);
            bool is_seen = is_in_photo(photo, p) && !tr_sheets_hide(result, camera, p);
            is_any = is_any || is_seen;
            is_all = is_all && is_seen;
        }
    }
    return is_all                               ? TR_SEES_ALL
           : is_any || sees_inside(area, photo) ? TR_SEES_PART
                                                : TR_SEES_NOTHING;
}

bool tr_sees_free_areas(const tr_check_result *result, const tr_photo_result *photo) {
    for (int i = 0; i < result->n_free_areas; i++) {
        if (tr_area_sight_of(result, &result->free_areas[i], photo) != TR_SEES_NOTHING) return true;
    }
    return false;
}

/* ---- Words ---- */

/* "1.jpg, 2.jpg and 3 more", of the photos with that sight, by name; *n: how many there are. */
static void name_photos(const tr_check_result *result, const tr_free_area_result *area,
                        tr_area_sight sight, char *out, size_t size, int *n) {
    enum { MOST = 6 };
    size_t at = 0;
    *n = 0;
    out[0] = 0;
    for (int i = 0; i < result->n_photos; i++) {
        const tr_photo_result *photo = &result->photos[result->order[i]];
        if (tr_area_sight_of(result, area, photo) != sight) continue;
        if ((*n)++ >= MOST || at >= size) continue;
        at += (size_t)snprintf(out + at, size - at, "%s%s", *n > 1 ? ", " : "", photo->name);
    }
    if (*n > MOST && at < size) snprintf(out + at, size - at, TR_(" and %d more"), *n - MOST);
}

/* Sentences in a buffer, a blank between them. */
typedef struct {
    char *text;
    size_t size, n;
} sentences;

static void add(sentences *l, const char *format, ...) TR_PRINTF(2, 3);

static void add(sentences *l, const char *format, ...) {
    va_list args;
    if (l->n > 0 && l->n + 1 < l->size) l->text[l->n++] = ' ';
    va_start(args, format);
    int n = vsnprintf(l->text + l->n, l->size - l->n, format, args);
    va_end(args);
    if (n > 0) l->n += (size_t)n;
    if (l->n >= l->size) l->n = l->size - 1;
}

void tr_area_text(const tr_check_result *result, const tr_free_area_result *area, char *out,
                  size_t size) {
    enum { NAMES = 6 * TR_PHOTO_NAME_SIZE + 64 };
    char all[NAMES], part[NAMES], text[2 * NAMES + 512];
    int n_all;
    int n_part;
    name_photos(result, area, TR_SEES_ALL, all, sizeof all, &n_all);
    name_photos(result, area, TR_SEES_PART, part, sizeof part, &n_part);
    sentences l = {text, sizeof text, 0};
    add(&l, TR_("%s, up to %.0f mm:"), area->name, area->height_mm);
    if (n_all > 0)
        add(&l, n_all > 1 ? TR_("%s show all of it.") : TR_("%s shows all of it."), all);
    else
        add(&l, "%s", TR_("No photo shows all of it."));
    if (n_part > 0) add(&l, n_part > 1 ? TR_("%s show a part.") : TR_("%s shows a part."), part);
    if (!area->is_placed) {
        add(&l, "%s",
            TR_("What it counts from was not measured: it is drawn where the layout's lengths have "
                "it."));
    }
    if (n_all == 0) {
        add(&l, "%s",
            TR_("Take one more photo from farther away or higher up, or two from opposite sides, "
                "with all of the area and at least two sheets in it."));
    }
    tr_text_show(text, strlen(text), out, size);
}

const char *tr_areas_not_judged(void) {
    return TR_(
        "This program does not judge whether anything stands in a free area, and does not know "
        "what the vehicle hides of it: look at the picture (--picture).");
}
