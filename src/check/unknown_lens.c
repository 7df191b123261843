#include "check/unknown_lens.h"

#include <stdio.h>
#include <stdlib.h>

#include "check/order.h"
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

/* A lens is told by this many photos, ... */
enum { LEAST_PHOTOS = 4 };
/* ... and where they leave less than this open of its focal length. One standard deviation. */
static const double MOST_FOCAL_SD = 0.02;

/* A part of u95 from which on a profile is said to gain hardly anything. */
static const double HARDLY_PART = 0.95;

/* ---- size and camera ---- */

static bool has_size_of(const tr_check_photo *a, const tr_check_photo *b) {
    return a->width_px == b->width_px && a->height_px == b->height_px;
}

/* The first photo of the size that most have; NULL: none can be used. */
static const tr_check_photo *find_usual(const tr_check *check) {
    const tr_check_photo *usual = NULL;
    int most = 0;
    for (int i = 0; i < check->n_photos; i++) {
        const tr_check_photo *a = &check->photos[check->order[i]];
        int n = 0;
        for (int k = 0; k < check->n_photos && a->is_readable; k++) {
            n += check->photos[k].is_readable && has_size_of(a, &check->photos[k]);
        }
        if (n <= most) continue;
        most = n;
        usual = a;
    }
    return usual;
}

static void refuse_other_sizes(tr_check *check, const tr_check_photo *usual) {
    for (int i = 0; i < check->n_photos; i++) {
        tr_check_photo *p = &check->photos[i];
        if (!p->is_readable || has_size_of(p, usual)) continue;
        bool is_turned = p->width_px == usual->height_px && p->height_px == usual->width_px;
        p->is_readable = false;
        p->fit = TR_PHOTO_OTHER_SIZE;
        tr_photo_marks_release(&p->marks);
        p->quality = (tr_photo_quality){0};
        snprintf(p->why_not, sizeof p->why_not,
                 "it has %d x %d pixels, but %.60s has %d x %d, and photos of an unknown lens must "
                 "be of one size; %s",
                 p->width_px, p->height_px, usual->name, usual->width_px, usual->height_px,
                 is_turned ? "use the photo as the camera stored it, not turned"
                           : "use the same camera, zoom and image size for all");
    }
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
static double misfit(const tr_check *check, const tr_lens *lens, tr_vec2 *p_mm, tr_vec2 *uv_px) {
    double sum = 0;
    for (int i = 0; i < check->n_photos; i++) {
        const tr_photo_marks *marks = &check->photos[check->order[i]].marks;
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

static bool seek_focal(const tr_check *check, tr_lens *lens, tr_error *err) {
    int most = 0;
    for (int i = 0; i < check->n_photos; i++) {
        int n = check->photos[i].marks.n_marks;
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
        double cost = misfit(check, lens, p_mm, p_mm + 4 * (size_t)most) + off * off;
        if (cost >= lowest) continue;
        lowest = cost;
        best = f;
    }
    lens->param[TR_FX] = lens->param[TR_FY] = best;
    free(p_mm);
    return true;
}

/* ---- the whole lens ---- */

static bool place_sheets(tr_check *check, tr_error *err) {
    const tr_job *job = check->job;
    for (int i = 0; i < check->n_photos; i++) {
        if (!tr_marks_place(job->sheets, job->n_sheets, &check->solved_lens,
                            &check->photos[i].marks, err)) {
            return false;
        }
    }
    return true;
}

/* Where the marks do not hang together the lens stays as it is. */
static bool solve_lens(tr_check *check, tr_error *err) {
    size_t n = (size_t)check->n_photos + 1;
    const tr_photo_marks **marks = calloc(n, sizeof *marks);
    const char **names = calloc(n, sizeof *names);
    int *lens_of = calloc(n, sizeof *lens_of);
    tr_adjustment adj;
    tr_error why = {0};
    bool ok = marks && names && lens_of;
    if (ok) {
        tr_adjust_input input = tr_check_input(check, marks, names, lens_of);
        if (tr_adjust_roughly(&input, &adj, &why)) {
            check->solved_lens = adj.net.lenses[0].lens;
            check->is_lens_solved = true;
            tr_adjustment_release(&adj);
        }
        ok = why.code != TR_NO_MEMORY;
    }
    free(marks);
    free(names);
    free(lens_of);
    return ok || tr_fail_memory(err);
}

static bool find_lens(tr_check *check, tr_error *err) {
    check->solved_lens = check->unknown_lens;
    check->is_lens_solved = false;
    return seek_focal(check, &check->solved_lens, err) && place_sheets(check, err) &&
           solve_lens(check, err) && place_sheets(check, err);
}

static bool is_contradicted(const tr_check *check) {
    const tr_lens *prior = &check->unknown_lens;
    double sd = sqrt(prior->covariance[TR_FX * (TR_LENS_N + 1)]);
    return fabs(check->solved_lens.param[TR_FX] - prior->param[TR_FX]) > CONTRADICTED_SIGMAS * sd;
}

bool tr_check_find_unknown_lens(tr_check *check, tr_error *err) {
    const tr_check_photo *usual = find_usual(check);
    if (!usual) return true;
    refuse_other_sizes(check, usual);
    tr_camera camera = usual->exif.camera;
    tr_lens_unknown(&camera, usual->width_px, usual->height_px, &check->unknown_lens);
    if (!find_lens(check, err)) return false;
    if (!(camera.equivalent_focal_length_mm > 0) || !is_contradicted(check)) return true;
    camera.equivalent_focal_length_mm = 0;
    tr_lens_unknown(&camera, usual->width_px, usual->height_px, &check->unknown_lens);
    return find_lens(check, err);
}

bool tr_check_is_lens_told(const tr_check *check, const tr_adjustment *adj, tr_error *err) {
    int n = 0;
    if (!check->job->lenses[0].is_unknown) return true;
    for (int i = 0; i < adj->net.n_photos; i++) n += adj->photo_placed[i];
    if (n < LEAST_PHOTOS) {
        return tr_fail(err, TR_NO_MEASURE,
                       "the lens is unknown, and %d %s too few to tell it: take at least %d that "
                       "show the mat and plates from different sides, or calibrate the lens with "
                       "'trammel lens' and name its profile in the job",
                       n, n == 1 ? "usable photo is" : "usable photos are", LEAST_PHOTOS);
    }
    if (adj->focal_sd[0] < MOST_FOCAL_SD) return true;
    return tr_fail(err, TR_NO_MEASURE,
                   "the lens is unknown, and these photos do not tell it: its focal length stays "
                   "open by %.0f %%. Take more of them, near the mat and slantwise over it, from "
                   "several sides and some with the phone turned by a quarter; or calibrate the "
                   "lens with 'trammel lens' and name its profile in the job",
                   100 * TR_COVERAGE_FACTOR * adj->focal_sd[0]);
}

/* ---- what is said of it ---- */

/* How much smaller a profile would make the u95 that it helps most: 1 is not at all. */
static double best_part(const tr_target_result *t) {
    static const tr_axis AXES[] = {TR_X, TR_Y, TR_YAW};
    double best = 1;
    for (int k = 0; k < 3; k++) {
        const tr_axis_result *a = &t->axis[AXES[k]];
        if (a->is_measured && a->u95 > 0) best = fmin(best, a->u95_calibrated / a->u95);
    }
    return best;
}

/* The target that a profile would gain most; NULL: none was measured. */
static const tr_target_result *find_gaining(const tr_check *check) {
    const tr_target_result *best = NULL;
    for (int i = 0; i < check->job->layout.n_placements; i++) {
        const tr_target_result *t = &check->targets[i];
        if (t->axis[TR_X].is_measured && (!best || best_part(t) < best_part(best))) best = t;
    }
    return best;
}

bool tr_check_note_unknown_lens(tr_check *check, tr_error *err) {
    double focal_px = check->lenses[0].param[TR_FX];
    double u95_percent = 100 * check->focal_u95;
    if (!check->job->lenses[0].is_unknown) return true;
    const tr_target_result *t = find_gaining(check);
    if (!t) return tr_note(LENS_UNKNOWN, &check->findings, err, focal_px, u95_percent);
    const char *id = check->job->sheets[t->sheet].id;
    if (best_part(t) > HARDLY_PART) {
        return tr_note(PROFILE_GAINS_LITTLE, &check->findings, err, focal_px, u95_percent, id);
    }
    const tr_axis_result *x = &t->axis[TR_X];
    const tr_axis_result *y = &t->axis[TR_Y];
    const tr_axis_result *yaw = &t->axis[TR_YAW];
    return tr_note(PROFILE_GAINS, &check->findings, err, focal_px, u95_percent, id,
                   x->u95_calibrated, y->u95_calibrated, yaw->u95_calibrated * TR_DEG_PER_RAD,
                   x->u95, y->u95, yaw->u95 * TR_DEG_PER_RAD);
}
