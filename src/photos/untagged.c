#include "photos/untagged.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "geom/dense.h"
#include "marks/marks.h"

/* ---- what is looked for ---- */

/* Places about a mark at which grey values are read: within a corner's squares, inside and outside
   a disc. */
enum { MAX_PROBES = 13, N_CORNER_PROBES = 4, N_INSIDE = 5, N_OUTSIDE = 8 };
static const double INSIDE_PART = 0.6; /* of a disc's radius */
static const double OUTSIDE_PART = 1.3;
/* Along both sides of a corner's squares, of the distance to the next mark. */
static const double CORNER_PART = 0.25;
static const double CORNER_MIN_MM = 3, CORNER_MAX_MM = 12;
/* A step of the grid, as a part of what a mark may be off and still be seen as such. */
static const double STEP_PART = 0.6;

typedef struct {
    tr_vec2 p_mm;
    tr_vec2 probe_mm[MAX_PROBES]; /* from there; the first n_first are of one colour */
    int n_probes, n_first;
    bool is_either; /* which of both is white is not known */
    bool is_first_white;
    double reach_mm; /* how far it may be off and still answer */
} feature;

/* What is kept of a photo besides what the caller gave. */
typedef struct {
    const tr_untagged_request *request;
    feature *features;
    int n_features;
    double spacing_mm; /* smallest distance of two marks */
    double extent_mm;  /* from the sheet's centre to its farthest mark */
    double step_mm, step_rad;
    bool *is_coarse; /* the photos that the grid is tried in */
} search;

static double spacing_about(const tr_sheet *s, tr_vec2 p) {
    double nearest = INFINITY;
    for (int i = 0; i < s->n_corners + s->n_discs; i++) {
        tr_vec2 q = i < s->n_corners ? s->corners_mm[i] : s->discs[i - s->n_corners].centre_mm;
        double d = tr_v2_norm(tr_v2_sub(q, p));
        if (d > 0) nearest = fmin(nearest, d);
    }
    return nearest;
}

static feature corner_feature(const tr_sheet *s, int corner) {
    static const double SIGN[N_CORNER_PROBES][2] = {{1, 1}, {-1, -1}, {1, -1}, {-1, 1}};
    feature f = {.p_mm = s->corners_mm[corner],
                 .n_probes = N_CORNER_PROBES,
                 .n_first = N_CORNER_PROBES / 2,
                 .is_either = true};
    double a = CORNER_PART * spacing_about(s, f.p_mm);
    f.reach_mm = fmax(CORNER_MIN_MM, fmin(CORNER_MAX_MM, a));
    for (int k = 0; k < N_CORNER_PROBES; k++) {
        f.probe_mm[k] = tr_v2(SIGN[k][0] * f.reach_mm, SIGN[k][1] * f.reach_mm);
    }
    return f;
}

static feature disc_feature(const tr_disc *d) {
    feature f = {.p_mm = d->centre_mm,
                 .n_probes = N_INSIDE + N_OUTSIDE,
                 .n_first = N_INSIDE,
                 .is_first_white = d->is_white};
    double radius = d->diameter_mm / 2;
    for (int k = 1; k < f.n_probes; k++) {
        bool is_inside = k < N_INSIDE;
        double angle = 2 * TR_PI * k / (is_inside ? N_INSIDE - 1 : N_OUTSIDE);
        double r = radius * (is_inside ? INSIDE_PART : OUTSIDE_PART);
        f.probe_mm[k] = tr_v2(r * cos(angle), r * sin(angle));
    }
    f.reach_mm = (OUTSIDE_PART - 1) * radius;
    return f;
}

static bool make_features(search *s, tr_error *err) {
    const tr_sheet *sheet = s->request->sheet;
    int n = sheet->n_corners + sheet->n_discs;
    double reach = INFINITY;
    s->features = tr_array(n, sizeof *s->features);
    if (!s->features) return tr_fail_memory(err);
    s->spacing_mm = INFINITY;
    for (int i = 0; i < n; i++) {
        feature *f = &s->features[s->n_features++];
        *f = i < sheet->n_corners ? corner_feature(sheet, i)
                                  : disc_feature(&sheet->discs[i - sheet->n_corners]);
        s->spacing_mm = fmin(s->spacing_mm, spacing_about(sheet, f->p_mm));
        s->extent_mm = fmax(s->extent_mm, tr_v2_norm(f->p_mm));
        reach = fmin(reach, f->reach_mm);
    }
    s->step_mm = STEP_PART * reach;
    s->step_rad = s->step_mm / fmax(s->extent_mm, s->step_mm);
    return true;
}

/* ---- how well a place fits, quickly ---- */

/* A place of the sheet: shifted along its x and y, then turned. */
typedef struct {
    double x_mm, y_mm, yaw_rad;
} shift;

static tr_pose pose_at(const search *s, shift at) {
    tr_pose moved = {tr_rotation_z(at.yaw_rad), tr_v3(at.x_mm, at.y_mm, 0)};
    return tr_pose_mul(s->request->world_from_sheet, moved);
}

/* Less light between black and white tells nothing. */
static const double LEAST_RANGE = 20;
/* A mark needs so much height in a photo, from its middle to its probes; px. */
static const double LEAST_PROBE_PX = 1.5;
static const double RIM_PX = 4;

/* Where a mark is seen, and how: px per mm. False where the photo does not show it well enough. */
static bool see_feature(const tr_placed_photo *photo, tr_pose camera_from_sheet, const feature *f,
                        tr_vec2 *at, double J[4]) {
    double Jp[6];
    tr_vec3 p = tr_pose_apply(camera_from_sheet, tr_v3(f->p_mm.x, f->p_mm.y, 0));
    const tr_mat3 *R = &camera_from_sheet.R;
    if (!tr_lens_project(photo->lens, p, at, Jp, NULL)) return false;
    if (!(at->x >= RIM_PX && at->y >= RIM_PX && at->x <= photo->image->width - 1 - RIM_PX &&
          at->y <= photo->image->height - 1 - RIM_PX)) {
        return false;
    }
    for (int i = 0; i < 2; i++) {
        for (int k = 0; k < 2; k++) {
            J[2 * i + k] =
                Jp[3 * i] * R->m[0][k] + Jp[3 * i + 1] * R->m[1][k] + Jp[3 * i + 2] * R->m[2][k];
        }
    }
    double det = J[0] * J[3] - J[1] * J[2];
    double largest = sqrt(J[0] * J[0] + J[1] * J[1] + J[2] * J[2] + J[3] * J[3]);
    double reach = tr_v2_norm(f->probe_mm[f->n_probes - 1]);
    return det < 0 && -det / largest * reach >= LEAST_PROBE_PX; /* v points down */
}

static double grey_at(const tr_image *image, tr_vec2 uv) {
    int u0 = (int)floor(uv.x);
    int v0 = (int)floor(uv.y);
    double fu = uv.x - u0;
    double fv = uv.y - v0;
    const uint8_t *row = tr_image_row(image, v0);
    const uint8_t *next = tr_image_row(image, v0 + 1);
    return (1 - fv) * ((1 - fu) * row[u0] + fu * row[u0 + 1]) +
           fv * ((1 - fu) * next[u0] + fu * next[u0 + 1]);
}

/* By how much all probes of one colour are lighter than all of the other, of their range: 0 .. 1.
 */
static double answer(const tr_image *image, const feature *f, tr_vec2 at, const double J[4]) {
    double low[2] = {INFINITY, INFINITY};
    double high[2] = {-INFINITY, -INFINITY};
    for (int k = 0; k < f->n_probes; k++) {
        tr_vec2 d = f->probe_mm[k];
        tr_vec2 uv = tr_v2(at.x + J[0] * d.x + J[1] * d.y, at.y + J[2] * d.x + J[3] * d.y);
        if (!(uv.x >= 0 && uv.y >= 0 && uv.x < image->width - 1 && uv.y < image->height - 1))
            return 0;
        double grey = grey_at(image, uv);
        int side = k >= f->n_first;
        low[side] = fmin(low[side], grey);
        high[side] = fmax(high[side], grey);
    }
    double range = fmax(high[0], high[1]) - fmin(low[0], low[1]);
    double first = low[0] - high[1];
    double second = low[1] - high[0];
    double step = f->is_either ? fmax(first, second) : f->is_first_white ? first : second;
    return range >= LEAST_RANGE && step > 0 ? step / range : 0;
}

/* only_coarse: in those photos alone. n_seen: marks that the photos have in view; may be NULL. */
static double score(const search *s, shift at, bool only_coarse, int *n_seen) {
    tr_pose world_from_sheet = pose_at(s, at);
    double sum = 0;
    if (n_seen) *n_seen = 0;
    for (int i = 0; i < s->request->n_photos; i++) {
        const tr_placed_photo *photo = &s->request->photos[i];
        if (only_coarse && !s->is_coarse[i]) continue;
        tr_pose camera_from_sheet = tr_pose_mul(photo->camera_from_world, world_from_sheet);
        for (int k = 0; k < s->n_features; k++) {
            tr_vec2 uv;
            double J[4];
            if (!see_feature(photo, camera_from_sheet, &s->features[k], &uv, J)) continue;
            if (n_seen) ++*n_seen;
            sum += answer(photo->image, &s->features[k], uv, J);
        }
    }
    return sum;
}

/* ---- hypotheses ---- */

enum { MAX_HYPOTHESES = 8, MAX_SHIFTS = 12, COARSE_PHOTOS = 4, MAX_GRID = 4000000 };
/* Hypotheses differ by at least this part of the smallest spacing. */
static const double SEPARATE_PART = 0.35;
/* Those with less of the best one's score are none. */
static const double LEAST_SCORE_PART = 0.5;

typedef struct {
    int nx, nyaw; /* to either side of the middle */
    float *score;
} grid;

static shift place_in(const search *s, const grid *g, long i) {
    int sx = 2 * g->nx + 1;
    return (shift){(double)(i % sx - g->nx) * s->step_mm,
                   (double)(i / sx % sx - g->nx) * s->step_mm,
                   (double)(i / ((long)sx * sx) - g->nyaw) * s->step_rad};
}

static long grid_size(const grid *g) {
    return (long)(2 * g->nx + 1) * (2 * g->nx + 1) * (2 * g->nyaw + 1);
}

/* How far the marks of two places are apart, at most. */
static double apart_mm(const search *s, tr_pose a, tr_pose b) {
    tr_pose b_from_a = tr_pose_mul(tr_pose_inverse(b), a);
    double most = 0;
    for (int k = 0; k < s->n_features; k++) {
        tr_vec3 p = tr_v3(s->features[k].p_mm.x, s->features[k].p_mm.y, 0);
        most = fmax(most, tr_v3_norm(tr_v3_sub(tr_pose_apply(b_from_a, p), p)));
    }
    return most;
}

static bool is_separate(const search *s, tr_pose a, tr_pose b) {
    return apart_mm(s, a, b) > SEPARATE_PART * fmin(s->spacing_mm, 2 * s->extent_mm + 100);
}

/* The photos with most marks in view at the rough place. False: none has any. */
static bool choose_photos(search *s) {
    int n = s->request->n_photos;
    bool is_any = false;
    for (int chosen = 0; chosen < COARSE_PHOTOS && chosen < n; chosen++) {
        int best = -1;
        int most = 0;
        for (int i = 0; i < n; i++) {
            const tr_placed_photo *photo = &s->request->photos[i];
            tr_pose pose = tr_pose_mul(photo->camera_from_world, s->request->world_from_sheet);
            int count = 0;
            for (int k = 0; k < s->n_features; k++) {
                tr_vec2 uv;
                double J[4];
                count += see_feature(photo, pose, &s->features[k], &uv, J);
            }
            if (s->is_coarse[i] || count <= most) continue;
            best = i;
            most = count;
        }
        if (best < 0) break;
        s->is_coarse[best] = is_any = true;
    }
    return is_any;
}

/* Step by step, each level half as far as the one before. */
enum { CLIMB_LEVELS = 4, CLIMB_STEPS = 4 };
static void climb(const search *s, shift *at) {
    double value = score(s, *at, false, NULL);
    for (int level = 1; level <= CLIMB_LEVELS; level++) {
        double part = ldexp(1, -level);
        for (int again = 0; again < CLIMB_STEPS; again++) {
            bool is_better = false;
            for (int k = 0; k < 6; k++) {
                shift next = *at;
                double side = k % 2 ? part : -part;
                if (k / 2 == 0) next.x_mm += side * s->step_mm;
                if (k / 2 == 1) next.y_mm += side * s->step_mm;
                if (k / 2 == 2) next.yaw_rad += side * s->step_rad;
                double there = score(s, next, false, NULL);
                if (there <= value) continue;
                value = there;
                *at = next;
                is_better = true;
            }
            if (!is_better) break;
        }
    }
}

/* The best places of the grid that lie apart. Returns their number. */
static int pick(const search *s, grid *g, tr_pose out[MAX_HYPOTHESES]) {
    int n = 0;
    float least = 0;
    long size = grid_size(g);
    for (int tries = 0; tries < 4 * MAX_HYPOTHESES && n < MAX_HYPOTHESES; tries++) {
        long best = 0;
        for (long i = 1; i < size; i++) best = g->score[i] > g->score[best] ? i : best;
        if (!(g->score[best] > least)) break;
        if (n == 0) least = (float)LEAST_SCORE_PART * g->score[best];
        shift at = place_in(s, g, best);
        tr_pose raw = pose_at(s, at);
        climb(s, &at);
        tr_pose pose = pose_at(s, at);
        bool is_new = true;
        for (int k = 0; k < n; k++) is_new = is_new && is_separate(s, out[k], pose);
        if (is_new) out[n++] = pose;
        for (long i = 0; i < size; i++) {
            if (g->score[i] <= 0) continue;
            tr_pose there = pose_at(s, place_in(s, g, i));
            if (!is_separate(s, there, raw) || !is_separate(s, there, pose)) g->score[i] = 0;
        }
    }
    return n;
}

static bool try_grid(const search *s, tr_pose out[MAX_HYPOTHESES], int *n, tr_error *err) {
    grid g = {.nx = (int)fmin(1000, ceil(s->request->within_mm / s->step_mm)),
              .nyaw = (int)fmin(1000, ceil(s->request->within_rad / s->step_rad))};
    if (grid_size(&g) > MAX_GRID) {
        return tr_fail(err, TR_BAD_INPUT,
                       "sheet %s has marks too small to be sought within %.0f mm; state its place "
                       "more closely",
                       s->request->sheet->id, s->request->within_mm);
    }
    g.score = tr_array(grid_size(&g), sizeof *g.score);
    if (!g.score) return tr_fail_memory(err);
    for (long i = 0; i < grid_size(&g); i++) {
        g.score[i] = (float)score(s, place_in(s, &g, i), true, NULL);
    }
    *n = pick(s, &g, out);
    free(g.score);
    return true;
}

/* ---- measuring one ---- */

/* Errors of the photos' places and of the print, as a mark has them. */
static const double MATCH_SD_PX = 0.3;
static const double MATCH_SIGMAS = 4;
static const double MATCH_ROBUST = 3;
/* What is known of the rough place besides its reach. */
static const double HEIGHT_SD_MM = 20;
static const double TILT_SD_RAD = 0.03;
enum { N_POSE = 6, ROUNDS = 2, SOLVE_STEPS = 12 };

typedef struct {
    tr_pose world_from_sheet;
    int n_matched, n_marks, n_missing; /* n_marks: different ones */
    double chi2;
    bool *is_matched; /* photo by photo, each feature; owned; NULL where it was not kept */
} hypothesis;

/* Residual of a mark, and its square over its covariance. False where it cannot be seen. */
static bool residual(const tr_placed_photo *photo, tr_pose camera_from_sheet, const tr_mark *m,
                     tr_vec2 *r, double W[3], double *d2, double J[2 * N_POSE]) {
    double Jp[6];
    tr_vec2 uv;
    tr_vec2 p = m->p_sheet_mm[0];
    const tr_mat3 *R = &camera_from_sheet.R;
    tr_vec3 q = tr_pose_apply(camera_from_sheet, tr_v3(p.x, p.y, 0));
    if (!tr_lens_project(photo->lens, q, &uv, Jp, NULL)) return false;
    *r = tr_v2_sub(m->uv_px[0], uv);
    double floor = MATCH_SD_PX * MATCH_SD_PX;
    double uu = m->covariance[0] + floor;
    double vv = m->covariance[3] + floor;
    double uvc = m->covariance[1];
    double det = uu * vv - uvc * uvc;
    W[0] = vv / det;
    W[1] = -uvc / det;
    W[2] = uu / det;
    *d2 = W[0] * r->x * r->x + 2 * W[1] * r->x * r->y + W[2] * r->y * r->y;
    for (int i = 0; i < 2 && J; i++) {
        double g[3];
        for (int k = 0; k < 3; k++) {
            g[k] = Jp[3 * i] * R->m[0][k] + Jp[3 * i + 1] * R->m[1][k] + Jp[3 * i + 2] * R->m[2][k];
        }
        /* Turned by w about the sheet's centre a point (x, y, 0) moves by w x p. */
        double *row = J + N_POSE * i;
        row[0] = g[2] * p.y;
        row[1] = -g[2] * p.x;
        row[2] = g[1] * p.x - g[0] * p.y;
        for (int k = 0; k < 3; k++) row[3 + k] = g[k];
    }
    return true;
}

/* Gauss-Newton, each mark weighed down by how far it is off. */
static void solve(const search *s, const tr_photo_marks *marks, tr_pose *world_from_sheet) {
    static const double PRIOR_SD[N_POSE] = {TILT_SD_RAD, TILT_SD_RAD, 1, 1000, 1000, HEIGHT_SD_MM};
    double gone[N_POSE] = {0};
    for (int step = 0; step < SOLVE_STEPS; step++) {
        double A[N_POSE * N_POSE] = {0};
        double b[N_POSE] = {0};
        for (int k = 0; k < N_POSE; k++) {
            double w = 1 / (PRIOR_SD[k] * PRIOR_SD[k]);
            A[k * (N_POSE + 1)] = w;
            b[k] = -w * gone[k];
        }
        for (int i = 0; i < s->request->n_photos; i++) {
            const tr_placed_photo *photo = &s->request->photos[i];
            tr_pose pose = tr_pose_mul(photo->camera_from_world, *world_from_sheet);
            for (int m = 0; m < marks[i].n_marks; m++) {
                tr_vec2 r;
                double W[3], d2, J[2 * N_POSE];
                if (!residual(photo, pose, &marks[i].marks[m], &r, W, &d2, J)) continue;
                double weight = 1 / (1 + d2 / (MATCH_ROBUST * MATCH_ROBUST));
                for (int a = 0; a < N_POSE; a++) {
                    double ju = weight * (W[0] * J[a] + W[1] * J[N_POSE + a]);
                    double jv = weight * (W[1] * J[a] + W[2] * J[N_POSE + a]);
                    b[a] += ju * r.x + jv * r.y;
                    for (int k = 0; k <= a; k++) {
                        A[a * N_POSE + k] += ju * J[k] + jv * J[N_POSE + k];
                    }
                }
            }
        }
        if (!tr_dense_solve(A, b, N_POSE)) return;
        for (int k = 0; k < N_POSE; k++) gone[k] += b[k];
        tr_pose moved = {tr_rotation_from_vector(tr_v3(b[0], b[1], b[2])), tr_v3(b[3], b[4], b[5])};
        *world_from_sheet = tr_pose_mul(*world_from_sheet, moved);
    }
}

/* The mark of a feature, which are counted as corners, then discs. */
static const tr_mark *mark_of(const search *s, const tr_photo_marks *marks, int wanted) {
    int n_corners = s->request->sheet->n_corners;
    for (int m = 0; m < marks->n_marks; m++) {
        const tr_mark *mark = &marks->marks[m];
        int number = mark->kind == TR_MARK_DISC ? n_corners + mark->index : mark->index;
        if (number == wanted) return mark;
    }
    return NULL;
}

static void count(const search *s, const tr_photo_marks *marks, hypothesis *h) {
    double sum = 0;
    h->n_matched = h->n_missing = h->n_marks = 0;
    for (int k = 0; k < s->n_features; k++) {
        bool is_any = false;
        for (int i = 0; i < s->request->n_photos; i++) {
            const tr_placed_photo *photo = &s->request->photos[i];
            tr_pose pose = tr_pose_mul(photo->camera_from_world, h->world_from_sheet);
            tr_vec2 at;
            double seen[4];
            if (!see_feature(photo, pose, &s->features[k], &at, seen)) continue;
            const tr_mark *mark = mark_of(s, &marks[i], k);
            tr_vec2 r;
            double W[3], d2;
            bool is_match = mark && residual(photo, pose, mark, &r, W, &d2, NULL) &&
                            d2 < MATCH_SIGMAS * MATCH_SIGMAS;
            h->n_matched += is_match;
            h->n_missing += !is_match;
            is_any = is_any || is_match;
            h->is_matched[i * s->n_features + k] = is_match;
            sum += is_match ? d2 : 0;
        }
        h->n_marks += is_any;
    }
    h->chi2 = sum / fmax(1, 2 * h->n_matched - N_POSE);
}

/* What was measured already stays: where a mark is seen does not depend on where it was sought. */
static bool measure(const search *s, const hypothesis *h, tr_photo_marks *marks, tr_error *err) {
    bool ok = true;
    for (int i = 0; i < s->request->n_photos && ok; i++) {
        const tr_placed_photo *photo = &s->request->photos[i];
        tr_sheet_prediction at = {0, tr_pose_mul(photo->camera_from_world, h->world_from_sheet)};
        ok = tr_marks_add_artwork(s->request->sheet, 1, photo->image, photo->lens, &at, &marks[i],
                                  err);
    }
    return ok;
}

/* Measured, solved, and counted. */
static bool test(const search *s, tr_pose world_from_sheet, hypothesis *h, tr_error *err) {
    tr_photo_marks *marks = tr_array(s->request->n_photos, sizeof *marks);
    *h = (hypothesis){.world_from_sheet = world_from_sheet};
    h->is_matched = tr_array((long)s->request->n_photos * s->n_features, sizeof *h->is_matched);
    bool ok = (marks && h->is_matched) || tr_fail_memory(err);
    for (int round = 0; round < ROUNDS && ok; round++) {
        ok = measure(s, h, marks, err);
        if (ok) solve(s, marks, &h->world_from_sheet);
    }
    if (ok) count(s, marks, h);
    for (int i = 0; i < s->request->n_photos && marks; i++) tr_photo_marks_release(&marks[i]);
    free(marks);
    return ok;
}

/* ---- shifts of a regular artwork over itself ---- */

static const double SAME_PLACE_MM = 2;
/* Of the marks that lie over others. */
static const double LEAST_OVERLAP = 0.4;

/* The feature over which feature i lies when the artwork is shifted; -1: there is none alike. */
static int lies_over(const search *s, int i, tr_vec2 by) {
    tr_vec2 p = tr_v2_add(s->features[i].p_mm, by);
    for (int k = 0; k < s->n_features; k++) {
        bool is_alike = s->features[i].is_either == s->features[k].is_either &&
                        s->features[i].is_first_white == s->features[k].is_first_white;
        if (is_alike && tr_v2_norm(tr_v2_sub(s->features[k].p_mm, p)) <= SAME_PLACE_MM) return k;
    }
    return -1;
}

static int overlap(const search *s, tr_vec2 by) {
    int n = 0;
    for (int i = 0; i < s->n_features; i++) n += lies_over(s, i, by) >= 0;
    return n;
}

/* Those with the most overlap. Returns their number. */
static int find_shifts(const search *s, tr_vec2 out[MAX_SHIFTS]) {
    int count_of[MAX_SHIFTS];
    int n = 0;
    for (int i = 0; i < s->n_features; i++) {
        for (int k = 0; k < s->n_features; k++) {
            tr_vec2 by = tr_v2_sub(s->features[k].p_mm, s->features[i].p_mm);
            bool is_new = i != k;
            for (int j = 0; j < n && is_new; j++) {
                is_new = tr_v2_norm(tr_v2_sub(out[j], by)) > SAME_PLACE_MM;
            }
            if (!is_new) continue;
            int common = overlap(s, by);
            if (common < LEAST_OVERLAP * s->n_features) continue;
            if (n == MAX_SHIFTS && common <= count_of[n - 1]) continue;
            int at = n < MAX_SHIFTS ? n++ : n - 1;
            for (; at > 0 && count_of[at - 1] < common; at--) {
                count_of[at] = count_of[at - 1];
                out[at] = out[at - 1];
            }
            count_of[at] = common;
            out[at] = by;
        }
    }
    return n;
}

/* ---- the decision ---- */

/* Fewer matches, of fewer marks, are no sheet. */
enum { LEAST_MATCHED = 6, LEAST_MARKS = 3 };
/* Of what should be seen. */
static const double LEAST_MATCHED_PART = 0.6;
static const double MOST_CHI2 = 4;
/* By how many matches the best place must win: of marks that another place has as plain ground.
   There one fit in a hundred takes something for a mark: three of them in a row are none. */
enum { LEAST_LEAD = 3 };
static const double LEAST_LEAD_PART = 0.04;

static bool is_better(const hypothesis *a, const hypothesis *b) {
    return a->n_matched != b->n_matched ? a->n_matched > b->n_matched : a->chi2 < b->chi2;
}

static tr_untagged_outcome judge(const search *s, const hypothesis *best, int n_rival) {
    double lead = fmax(LEAST_LEAD, LEAST_LEAD_PART * best->n_matched);
    int n_seen = best->n_matched + best->n_missing;
    if (best->n_matched < LEAST_MATCHED || best->n_marks < LEAST_MARKS || best->chi2 > MOST_CHI2 ||
        best->n_matched < LEAST_MATCHED_PART * n_seen) {
        return TR_UNTAGGED_NOT_SEEN;
    }
    if (best->n_matched - n_rival < lead) return TR_UNTAGGED_AMBIGUOUS;
    tr_pose moved =
        tr_pose_mul(tr_pose_inverse(s->request->world_from_sheet), best->world_from_sheet);
    double most = s->request->within_mm + s->step_mm;
    bool is_within = fabs(moved.t_mm.x) <= most && fabs(moved.t_mm.y) <= most;
    return is_within ? TR_UNTAGGED_FOUND : TR_UNTAGGED_BEYOND;
}

/* Of a sheet's marks those alone that do not lie over others when the artwork is shifted. */

static bool make_part(const search *s, tr_vec2 by, tr_sheet *out, tr_error *err) {
    const tr_sheet *sheet = s->request->sheet;
    *out = (tr_sheet){.width_mm = sheet->width_mm, .height_mm = sheet->height_mm};
    out->corners_mm = tr_array(sheet->n_corners, sizeof *out->corners_mm);
    out->discs = tr_array(sheet->n_discs, sizeof *out->discs);
    if (!out->corners_mm || !out->discs) {
        tr_sheet_release(out);
        return tr_fail_memory(err);
    }
    for (int i = 0; i < s->n_features; i++) {
        if (lies_over(s, i, by) >= 0) continue;
        if (i < sheet->n_corners)
            out->corners_mm[out->n_corners++] = sheet->corners_mm[i];
        else
            out->discs[out->n_discs++] = sheet->discs[i - sheet->n_corners];
    }
    return true;
}

/* How many of the part's marks a photo has, as a pose has them. */
static bool count_part(const tr_sheet *p, const tr_placed_photo *photo, tr_pose world_from_sheet,
                       int *n, tr_error *err) {
    tr_photo_marks marks = {0};
    tr_sheet_prediction at = {0, tr_pose_mul(photo->camera_from_world, world_from_sheet)};
    if (!tr_marks_add_artwork(p, 1, photo->image, photo->lens, &at, &marks, err)) return false;
    for (int m = 0; m < marks.n_marks; m++) {
        tr_vec2 r;
        double W[3], d2;
        *n += residual(photo, at.camera_from_sheet, &marks.marks[m], &r, W, &d2, NULL) &&
              d2 < MATCH_SIGMAS * MATCH_SIGMAS;
    }
    tr_photo_marks_release(&marks);
    return true;
}

/* A hypothesis shifted: where a mark then lies over another one it matches as that one did, and
   only the others are measured. */
static bool count_shifted(const search *s, const hypothesis *h, tr_vec2 by, tr_pose *pose, int *n,
                          tr_error *err) {
    tr_sheet p;
    tr_pose moved = {tr_m3_identity(), tr_v3(by.x, by.y, 0)};
    *pose = tr_pose_mul(h->world_from_sheet, moved);
    *n = 0;
    if (!make_part(s, by, &p, err)) return false;
    bool ok = true;
    for (int i = 0; i < s->request->n_photos && ok; i++) {
        for (int k = 0; k < s->n_features; k++) {
            int over = lies_over(s, k, by);
            *n += over >= 0 && h->is_matched[i * s->n_features + over];
        }
        ok = count_part(&p, &s->request->photos[i], *pose, n, err);
    }
    tr_sheet_release(&p);
    return ok;
}

/* What was tested, and the shifts of the artwork over itself. */
enum { MAX_TESTS = 2 * MAX_HYPOTHESES };
typedef struct {
    hypothesis tested[MAX_TESTS];
    int n;
    tr_vec2 by[MAX_SHIFTS];
    int n_shifts;
} tests;

static bool add_test(const search *s, tr_pose pose, tests *t, tr_error *err) {
    return test(s, pose, &t->tested[t->n++], err);
}

static const hypothesis *find_best(const tests *t) {
    const hypothesis *best = &t->tested[0];
    for (int i = 1; i < t->n; i++) best = is_better(&t->tested[i], best) ? &t->tested[i] : best;
    return best;
}

/* Whether a pose is one that was tested, shifted or not: it need not be tested once more. */
static bool is_known(const search *s, const tests *t, tr_pose pose) {
    for (int i = 0; i < t->n; i++) {
        tr_pose tested = t->tested[i].world_from_sheet;
        if (!is_separate(s, tested, pose)) return true;
        for (int k = 0; k < t->n_shifts; k++) {
            tr_pose moved = {tr_m3_identity(), tr_v3(t->by[k].x, t->by[k].y, 0)};
            if (!is_separate(s, tr_pose_mul(tested, moved), pose)) return true;
        }
    }
    return false;
}

/* The most matches of the best one's shifts; *better: a shift that has more than it has. */
static bool try_shifts(const search *s, const tests *t, int *n_most, tr_pose *better,
                       tr_error *err) {
    const hypothesis *best = find_best(t);
    *n_most = 0;
    for (int k = 0; k < t->n_shifts; k++) {
        tr_pose pose;
        int n;
        if (!count_shifted(s, best, t->by[k], &pose, &n, err)) return false;
        if (n > *n_most) *better = pose;
        *n_most = n > *n_most ? n : *n_most;
    }
    return true;
}

static void fill_place(const search *s, const tests *t, int n_shifted, tr_untagged_place *out) {
    const hypothesis *best = find_best(t);
    out->n_rival = n_shifted;
    for (int i = 0; i < t->n; i++) {
        const hypothesis *other = &t->tested[i];
        if (!is_separate(s, other->world_from_sheet, best->world_from_sheet)) continue;
        if (other->n_matched > out->n_rival) out->n_rival = other->n_matched;
    }
    out->world_from_sheet = best->world_from_sheet;
    out->n_matched = best->n_matched;
    out->n_missing = best->n_missing;
    out->chi2 = best->chi2;
    out->outcome = judge(s, best, out->n_rival);
}

static bool decide(const search *s, const tr_pose *poses, int n, tr_untagged_place *out,
                   tr_error *err) {
    tests t = {.n = 0};
    bool ok = true;
    int n_shifted = 0;
    out->outcome = TR_UNTAGGED_NOT_SEEN;
    if (n == 0) return true;
    t.n_shifts = find_shifts(s, t.by);
    for (int i = 0; i < n && ok; i++) {
        if (!is_known(s, &t, poses[i])) ok = add_test(s, poses[i], &t, err);
    }
    /* From shift to shift, as long as one has more. */
    while (ok) {
        tr_pose better = tr_pose_identity();
        ok = try_shifts(s, &t, &n_shifted, &better, err);
        if (!ok || n_shifted <= find_best(&t)->n_matched || t.n == MAX_TESTS) break;
        int n_before = find_best(&t)->n_matched;
        ok = add_test(s, better, &t, err);
        if (ok && find_best(&t)->n_matched <= n_before) break;
    }
    if (ok) fill_place(s, &t, n_shifted, out);
    for (int i = 0; i < t.n; i++) free(t.tested[i].is_matched);
    return ok;
}

bool tr_untagged_find(const tr_untagged_request *request, tr_untagged_place *out, tr_error *err) {
    search s = {.request = request};
    tr_pose poses[MAX_HYPOTHESES];
    int n = 0;
    *out = (tr_untagged_place){.outcome = TR_UNTAGGED_OUT_OF_VIEW,
                               .world_from_sheet = request->world_from_sheet};
    s.is_coarse = tr_array(request->n_photos, sizeof *s.is_coarse);
    bool ok = s.is_coarse ? make_features(&s, err) : tr_fail_memory(err);
    if (ok && s.n_features > 0 && choose_photos(&s)) {
        ok = try_grid(&s, poses, &n, err) && decide(&s, poses, n, out, err);
    }
    free(s.features);
    free(s.is_coarse);
    return ok;
}
