#include "photos/search.h"

#include <math.h>

/* A sheet in one photo alone is checked by nothing. */
enum { ENOUGH_PHOTOS = 2 };

/* The shorter edge of a tag, as foreshortened: less cannot be measured, ... */
static const double LEAST_PX = 10;
/* ... and what has more at full size has 2.5 pixels a cell at half of it, and was seen there. */
static const double MOST_PX = 40;
/* Points of a photo that stand for what is about them. */
static const int STEP_PX = 64;
/* How far a sheet may have been moved between two photos. */
static const double MOVED_MM = 1500;

static int count_photos(const tr_photo_set *set, int sheet) {
    int n = 0;
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo_marks *m = &set->photos[i].marks;
        for (int v = 0; v < m->n_views; v++) n += m->views[v].sheet == sheet;
    }
    return n;
}

bool tr_search_is_due(const tr_photo_set *set, const tr_predictions *predictions,
                      bool *is_missing) {
    const tr_photo_request *r = &set->request;
    bool is_due = false;
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo *p = &set->photos[i];
        bool is_lost = p->marks.n_views > 0 && !tr_predictions_has_place(predictions, i);
        is_due = is_due || (p->is_readable && is_lost);
    }
    for (int k = 0; k < r->n_sheets; k++) {
        is_missing[k] = r->is_needed && r->is_needed[k] && r->sheets[k].n_tags > 0 &&
                        count_photos(set, k) < ENOUGH_PHOTOS;
        is_due = is_due || is_missing[k];
    }
    return is_due;
}

static bool has_view(const tr_photo_marks *marks, int sheet) {
    for (int v = 0; v < marks->n_views; v++) {
        if (marks->views[v].sheet == sheet) return true;
    }
    return false;
}

/* Where the sheet lies by the other photos; NULL: they do not tell. */
static const tr_sheet_prediction *find_place(const tr_predictions *p, int photo, int sheet) {
    for (int i = p->first[photo]; i < p->first[photo + 1]; i++) {
        if (p->items[i].sheet == sheet) return &p->items[i];
    }
    return NULL;
}

/* The point of the floor that is seen at a pixel, in the camera's frame; its z = 0 where none is.
   grazing: sine of the angle at which the line of sight meets the floor. */
static tr_vec3 floor_point(tr_pose camera_from_floor, tr_vec2 xy, double *grazing) {
    tr_vec3 d = tr_v3(xy.x, xy.y, 1);
    tr_vec3 up = tr_m3_column(camera_from_floor.R, 2);
    double along = tr_v3_dot(up, d);
    double s = tr_v3_dot(up, camera_from_floor.t_mm) / along;
    *grazing = fabs(along) / tr_v3_norm(d);
    return isfinite(s) && s > 0 ? tr_v3_scale(s, d) : tr_v3(0, 0, 0);
}

/* Whether a tag of the sheet could be measured at that point of the floor, and is smaller there
   than most_px. */
static bool could_lie(const tr_sheet *sheet, const tr_sheet_prediction *place, double focal_px,
                      tr_vec3 at, double grazing, double most_px) {
    double largest = 0;
    double smallest = INFINITY;
    for (int t = 0; t < sheet->n_tags; t++) {
        largest = fmax(largest, sheet->tags[t].size_mm);
        smallest = fmin(smallest, sheet->tags[t].size_mm);
    }
    double px_per_mm = focal_px / at.z * grazing;
    double reach_mm = MOVED_MM + hypot(sheet->width_mm, sheet->height_mm) / 2;
    return largest * px_per_mm >= LEAST_PX && smallest * px_per_mm <= most_px &&
           (!place || tr_v3_norm(tr_v3_sub(at, place->camera_from_sheet.t_mm)) < reach_mm);
}

/* Widens the part by what is about a point. */
static void widen(tr_window *w, int u, int v, const tr_photo *photo) {
    int reach = (STEP_PX + (int)MOST_PX) / 2;
    int u0 = u > reach ? u - reach : 0;
    int v0 = v > reach ? v - reach : 0;
    int u1 = u + reach < photo->width_px ? u + reach : photo->width_px;
    int v1 = v + reach < photo->height_px ? v + reach : photo->height_px;
    if (w->u1 == 0) *w = (tr_window){u0, v0, u1, v1};
    w->u0 = u0 < w->u0 ? u0 : w->u0;
    w->v0 = v0 < w->v0 ? v0 : w->v0;
    w->u1 = u1 > w->u1 ? u1 : w->u1;
    w->v1 = v1 > w->v1 ? v1 : w->v1;
}

/* Of a photo that has a place. */
static void find_part(const tr_photo_set *set, const tr_predictions *predictions,
                      const bool *is_missing, int i, double most_px, tr_window *part) {
    const tr_photo *photo = &set->photos[i];
    const tr_lens *lens = &predictions->lenses[i];
    for (int v = STEP_PX / 2; v < photo->height_px; v += STEP_PX) {
        for (int u = STEP_PX / 2; u < photo->width_px; u += STEP_PX) {
            tr_vec2 xy;
            double grazing;
            if (!tr_lens_undistort(lens, tr_v2(u, v), &xy)) continue;
            tr_vec3 at = floor_point(predictions->camera_from_floor[i], xy, &grazing);
            for (int k = 0; k < set->request.n_sheets && at.z > 0; k++) {
                if (is_missing[k] && !has_view(&photo->marks, k) &&
                    could_lie(&set->request.sheets[k], find_place(predictions, i, k),
                              lens->param[TR_FX], at, grazing, most_px)) {
                    widen(part, u, v, photo);
                    break;
                }
            }
        }
    }
}

/* What stands or hangs may be seen before the wall. */
static bool is_any_upright(const tr_photo_set *set, const bool *is_missing) {
    for (int k = 0; k < set->request.n_sheets; k++) {
        if (is_missing[k] && tr_sheet_is_upright(&set->request.sheets[k])) return true;
    }
    return false;
}

bool tr_search_could_show(const tr_photo_set *set, const tr_predictions *predictions,
                          const bool *is_missing, int i, int factor, tr_window *part) {
    const tr_photo *photo = &set->photos[i];
    const tr_window whole = {0, 0, photo->width_px, photo->height_px};
    *part = (tr_window){0, 0, 0, 0};
    if (!photo->is_readable || photo->marks.is_mirrored || factor < 1) return false;
    if (factor >= photo->marks.searched_factor) return false;
    if (tr_predictions_has_place(predictions, i)) {
        find_part(set, predictions, is_missing, i, factor == 1 ? MOST_PX : INFINITY, part);
        bool could_show = part->u1 > 0;
        if (factor > 1 && could_show && is_any_upright(set, is_missing)) *part = whole;
        return could_show;
    }
    *part = whole;
    bool is_due = photo->marks.n_views > 0;
    for (int k = 0; k < set->request.n_sheets; k++) is_due = is_due || is_missing[k];
    return is_due;
}
