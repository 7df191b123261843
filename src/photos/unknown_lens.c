#include "photos/unknown_lens.h"

#include <stdlib.h>

#include "lens/planar.h"
#include "lens/unknown.h"

/* Focal lengths that are tried, as parts of the longer side: from a wide camera to a long one. */
static const double SHORTEST_PART = 0.3;
static const double LONGEST_PART = 3.0;
static const double STEP = 1.05;
/* By so much distortion alone may bend a sheet's marks; a wrong focal length bends them more, and a
   wrong mark by any amount. */
static const double BENT_PX = 5;

/* What EXIF tells of the focal length is not believed against marks that are further off than so
   many of its standard deviations: a picture that was cut, or another lens than it says. */
static const double CONTRADICTED_SIGMAS = 3;

/* ---- size and camera ---- */

static bool has_size_of(const tr_photo *a, const tr_photo *b) {
    return a->width_px == b->width_px && a->height_px == b->height_px;
}

/* The first photo of the size that most have; NULL: none can be used. */
static const tr_photo *find_usual(const tr_photo_set *set) {
    const tr_photo *usual = NULL;
    int most = 0;
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo *a = &set->photos[set->order[i]];
        int n = 0;
        for (int k = 0; k < set->n_photos && a->is_readable; k++) {
            n += set->photos[k].is_readable && has_size_of(a, &set->photos[k]);
        }
        if (n <= most) continue;
        most = n;
        usual = a;
    }
    return usual;
}

static bool refuse_other_size(tr_photo *p, const tr_photo *usual, tr_error *err) {
    const int w = p->width_px, h = p->height_px;
    const int usual_w = usual->width_px, usual_h = usual->height_px;
    p->is_readable = false;
    p->fit = TR_PHOTO_OTHER_SIZE;
    tr_photo_marks_release(&p->marks);
    p->quality = (tr_photo_quality){0};
    if (w == usual_h && h == usual_w) {
        return tr_note(SIZES_DIFFER_TURNED, &p->why_not, err, w, h, usual->name, usual_w, usual_h);
    }
    return tr_note(SIZES_DIFFER, &p->why_not, err, w, h, usual->name, usual_w, usual_h);
}

static bool refuse_other_sizes(tr_photo_set *set, const tr_photo *usual, tr_error *err) {
    for (int i = 0; i < set->n_photos; i++) {
        tr_photo *p = &set->photos[i];
        if (!p->is_readable || has_size_of(p, usual)) continue;
        if (!refuse_other_size(p, usual, err)) return false;
    }
    return true;
}

/* ---- focal length ---- */

static int gather(const tr_photo_marks *marks, int sheet, tr_vec2 *p_mm, tr_vec2 *uv_px) {
    int n = 0;
    for (int i = 0; i < marks->n_marks; i++) {
        const tr_mark *m = &marks->marks[i];
        for (int k = 0; m->sheet == sheet && k < m->n_points; k++) {
            p_mm[n] = m->p_sheet_mm[k];
            uv_px[n++] = m->uv_px[k];
        }
    }
    return n;
}

/* How badly the marks of each sheet in each photo fit a flat sheet. Each counts by its number of
   points, and what is far off hardly more than what is off. */
static double flat_sheet_cost(const tr_photo_set *set, const tr_lens *lens, tr_vec2 *p_mm,
                              tr_vec2 *uv_px) {
    double sum = 0;
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo_marks *marks = &set->photos[set->order[i]].marks;
        for (int v = 0; v < marks->n_views; v++) {
            tr_planar_pose pose[2];
            int n = gather(marks, marks->views[v].sheet, p_mm, uv_px);
            if (tr_planar_poses(lens, p_mm, uv_px, n, pose) == 0) continue;
            double rms = pose[0].rms_px / BENT_PX;
            sum += n * log(1 + rms * rms);
        }
    }
    return sum;
}

static bool seek_focal(const tr_photo_set *set, tr_lens *lens, tr_error *err) {
    int most = 0;
    for (int i = 0; i < set->n_photos; i++) {
        int n = set->photos[i].marks.n_marks;
        most = n > most ? n : most;
    }
    tr_vec2 *p_mm = calloc(8 * (size_t)most + 1, sizeof *p_mm);
    if (!p_mm) return tr_fail_memory(err);
    double stated = lens->param[TR_FX];
    double sd = sqrt(lens->covariance[TR_FX * (TR_LENS_N + 1)]);
    double side = fmax(lens->width_px, lens->height_px);
    double best = stated;
    double lowest = INFINITY;
    int n_tried = (int)(log(LONGEST_PART / SHORTEST_PART) / log(STEP));
    for (int i = 0; i <= n_tried; i++) {
        double f = SHORTEST_PART * side * pow(STEP, i);
        lens->param[TR_FX] = lens->param[TR_FY] = f;
        double off = (f - stated) / sd;
        double cost = flat_sheet_cost(set, lens, p_mm, p_mm + 4 * (size_t)most) + off * off;
        if (cost >= lowest) continue;
        lowest = cost;
        best = f;
    }
    lens->param[TR_FX] = lens->param[TR_FY] = best;
    free(p_mm);
    return true;
}

/* ---- the whole lens ---- */

static bool place_sheets(tr_photo_set *set, tr_error *err) {
    const tr_photo_request *r = &set->request;
    for (int i = 0; i < set->n_photos; i++) {
        if (!tr_marks_place(r->sheets, r->n_sheets, &set->solved_lens, &set->photos[i].marks,
                            err)) {
            return false;
        }
    }
    return true;
}

/* Where the marks are not connected the lens stays as it is. */
static bool solve_lens(tr_photo_set *set, tr_error *err) {
    tr_photo_input input;
    tr_adjustment adj;
    tr_error why = {0};
    bool ok = tr_photo_set_input(set, &input, err);
    if (ok && tr_adjust_roughly(&input.in, &adj, &why)) {
        set->solved_lens = adj.net.lenses[0].lens;
        set->is_lens_solved = true;
        tr_adjustment_release(&adj);
    } else if (ok && why.code == TR_NO_MEMORY) {
        ok = tr_fail_memory(err);
    }
    tr_photo_input_release(&input);
    return ok;
}

static bool find_lens(tr_photo_set *set, tr_error *err) {
    set->solved_lens = set->unknown_lens;
    set->is_lens_solved = false;
    return seek_focal(set, &set->solved_lens, err) && place_sheets(set, err) &&
           solve_lens(set, err) && place_sheets(set, err);
}

static bool is_contradicted(const tr_photo_set *set) {
    const tr_lens *prior = &set->unknown_lens;
    double sd = sqrt(prior->covariance[TR_FX * (TR_LENS_N + 1)]);
    return fabs(set->solved_lens.param[TR_FX] - prior->param[TR_FX]) > CONTRADICTED_SIGMAS * sd;
}

bool tr_photo_set_find_lens(tr_photo_set *set, tr_error *err) {
    const tr_photo *usual = find_usual(set);
    if (!usual) return true;
    if (!refuse_other_sizes(set, usual, err)) return false;
    tr_camera camera = usual->exif.camera;
    tr_lens_unknown(&camera, usual->width_px, usual->height_px, &set->unknown_lens);
    if (!find_lens(set, err)) return false;
    if (!(camera.equivalent_focal_length_mm > 0) || !is_contradicted(set)) return true;
    camera.equivalent_focal_length_mm = 0;
    tr_lens_unknown(&camera, usual->width_px, usual->height_px, &set->unknown_lens);
    return find_lens(set, err);
}
