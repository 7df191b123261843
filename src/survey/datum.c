#include "survey/datum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/median.h"
#include "geom/dense.h"
#include "lens/planar.h"

enum { SHIFT_X, SHIFT_Y, TURN, SCALE_X, SCALE_Y, N_PARAMETERS };
/* Marks that reach less far along one axis than this part of the other tell one scale only. */
static const double MIN_EXTENT_PART = 0.05;
enum { STARTS = 8, MAX_STEPS = 50, ROBUST_MARKS = 5, ROBUST_ROUNDS = 30 };
/* Biweight: a mark this many scales off counts nothing. Scales are not below MIN_SCALE_MM: marks as
   true as that are all good. */
static const double BIWEIGHT = 4.685;
static const double MIN_SCALE_MM = 0.1;

tr_vec2 tr_datum_apply(const tr_datum *d, tr_vec2 m) {
    tr_vec2 v = tr_v2_sub(m, d->t_mm);
    double c = cos(d->theta_rad);
    double s = sin(d->theta_rad);
    return tr_v2(c * v.x + s * v.y, -s * v.x + c * v.y);
}

/* Residuals of one mark and their derivatives to shift, turn and scales, both along the new axes.
 */
static void rows_of(const tr_datum *d, const tr_datum_mark *m, double r[2],
                    double A[2][N_PARAMETERS]) {
    tr_vec2 v = tr_datum_apply(d, m->measured_mm);
    r[0] = v.x - d->scale[0] * m->nominal_mm.x;
    r[1] = v.y - d->scale[1] * m->nominal_mm.y;
    memset(A, 0, 2 * sizeof *A);
    A[0][SHIFT_X] = -1;
    A[0][TURN] = v.y;
    A[1][SHIFT_Y] = -1;
    A[1][TURN] = -v.x;
    if (d->n_scales == 2) {
        A[0][SCALE_X] = -m->nominal_mm.x;
        A[1][SCALE_Y] = -m->nominal_mm.y;
    } else if (d->n_scales == 1) {
        A[0][SCALE_X] = -m->nominal_mm.x;
        A[1][SCALE_X] = -m->nominal_mm.y;
    }
}

/* Normal equations; what is held gets a 1 on the diagonal. Unknowns are scaled by unit[]: metres
   for turn and scales. */
static double normal_equations(const tr_datum *d, const tr_datum_mark *marks, int n, double *N,
                               double *b) {
    double cost = 0;
    memset(N, 0, N_PARAMETERS * N_PARAMETERS * sizeof *N);
    memset(b, 0, N_PARAMETERS * sizeof *b);
    for (int i = 0; i < n; i++) {
        double r[2];
        double A[2][N_PARAMETERS];
        rows_of(d, &marks[i], r, A);
        for (int k = 0; k < 2; k++) {
            double w = marks[i].is_known[k] ? marks[i].weight : 0;
            cost += w * r[k] * r[k];
            for (int a = 0; a < N_PARAMETERS; a++) {
                b[a] -= w * A[k][a] * r[k];
                for (int c = 0; c < N_PARAMETERS; c++) {
                    N[a * N_PARAMETERS + c] += w * A[k][a] * A[k][c];
                }
            }
        }
    }
    for (int a = SCALE_X + d->n_scales; a < N_PARAMETERS; a++) N[a * (N_PARAMETERS + 1)] = 1;
    return cost;
}

/* Solves N x = b with the diagonal scaled to 1, so that mm and rad go together; false where N is
   singular within rounding. */
static bool solve(const double *N, const double *b, double *x) {
    double A[N_PARAMETERS * N_PARAMETERS];
    double scale[N_PARAMETERS];
    for (int a = 0; a < N_PARAMETERS; a++) {
        double h = N[a * (N_PARAMETERS + 1)];
        if (!(h > 0)) return false;
        scale[a] = 1 / sqrt(h);
    }
    for (int a = 0; a < N_PARAMETERS; a++) {
        x[a] = b[a] * scale[a];
        for (int c = 0; c < N_PARAMETERS; c++) {
            A[a * N_PARAMETERS + c] = N[a * N_PARAMETERS + c] * scale[a] * scale[c];
        }
        A[a * (N_PARAMETERS + 1)] -= 1e-12;
    }
    if (!tr_dense_solve(A, x, N_PARAMETERS)) return false;
    for (int a = 0; a < N_PARAMETERS; a++) x[a] *= scale[a];
    return true;
}

/* Gauss-Newton from a start; the cost reached, INFINITY where it leads nowhere. */
static double refine(tr_datum *d, const tr_datum_mark *marks, int n) {
    double N[N_PARAMETERS * N_PARAMETERS];
    double b[N_PARAMETERS];
    double x[N_PARAMETERS];
    for (int step = 0; step < MAX_STEPS; step++) {
        normal_equations(d, marks, n, N, b);
        if (!solve(N, b, x)) return INFINITY;
        double c = cos(d->theta_rad);
        double s = sin(d->theta_rad);
        d->t_mm = tr_v2_add(
            d->t_mm, tr_v2(c * x[SHIFT_X] - s * x[SHIFT_Y], s * x[SHIFT_X] + c * x[SHIFT_Y]));
        d->theta_rad = tr_wrap_rad(d->theta_rad + x[TURN]);
        if (d->n_scales > 0) d->scale[0] += x[SCALE_X];
        if (d->n_scales > 0) d->scale[1] += x[d->n_scales == 2 ? SCALE_Y : SCALE_X];
        if (hypot(x[SHIFT_X], x[SHIFT_Y]) < 1e-9 && fabs(x[TURN]) < 1e-13) break;
    }
    /* A print does not come out mirrored, nor a tenth of its size wrong. */
    for (int k = 0; k < 2; k++) {
        if (!(d->scale[k] > 0.5 && d->scale[k] < 2)) return INFINITY;
    }
    return normal_equations(d, marks, n, N, b);
}

static int count_coordinates(const tr_datum_mark *marks, int n) {
    int count = 0;
    for (int i = 0; i < n; i++) {
        if (marks[i].weight > 0) count += marks[i].is_known[0] + marks[i].is_known[1];
    }
    return count;
}

/* Whole marks spread both ways tell both scales. */
static int choose_scales(const tr_datum_mark *marks, int n) {
    double sum[2] = {0, 0};
    double square[2] = {0, 0};
    double weight = 0;
    int n_whole = 0;
    for (int i = 0; i < n; i++) {
        const tr_datum_mark *m = &marks[i];
        if (!(m->weight > 0) || !m->is_known[0] || !m->is_known[1]) continue;
        double k[2] = {m->nominal_mm.x, m->nominal_mm.y};
        for (int a = 0; a < 2; a++) {
            sum[a] += m->weight * k[a];
            square[a] += m->weight * k[a] * k[a];
        }
        weight += m->weight;
        n_whole++;
    }
    if (n_whole < 2) return 0;
    double spread[2];
    for (int a = 0; a < 2; a++) {
        spread[a] = sqrt(fmax(0, square[a] / weight - (sum[a] / weight) * (sum[a] / weight)));
    }
    bool is_wide = fmin(spread[0], spread[1]) > MIN_EXTENT_PART * fmax(spread[0], spread[1]);
    return n_whole >= 3 && is_wide ? 2 : 1;
}

/* Of two places that fit alike: the last mark lies above the first, or to its right. */
static bool is_upright(const tr_datum *d, const tr_datum_mark *marks, int n) {
    tr_vec2 a = tr_datum_apply(d, marks[0].measured_mm);
    tr_vec2 b = tr_datum_apply(d, marks[n - 1].measured_mm);
    tr_vec2 v = tr_v2_sub(b, a);
    return fabs(v.y) > fabs(v.x) ? v.y > 0 : v.x > 0;
}

bool tr_datum_fit(const tr_datum_mark *marks, int n, tr_datum *out) {
    int n_coordinates = count_coordinates(marks, n);
    int n_scales = choose_scales(marks, n);
    double best = INFINITY;
    tr_vec2 centre = {0, 0};
    double weight = 0;
    if (n < 1 || n_coordinates < 3) return false;
    for (int i = 0; i < n; i++) {
        centre = tr_v2_add(centre, tr_v2_scale(marks[i].weight, marks[i].measured_mm));
        weight += marks[i].weight;
    }
    centre = tr_v2_scale(1 / weight, centre);
    for (int k = 0; k < STARTS; k++) {
        tr_datum d = {
            .theta_rad = 2 * TR_PI * k / STARTS, .t_mm = centre, .scale = {1, 1}, .n_scales = 0};
        /* The scales come in when the turn is about right. */
        double cost = refine(&d, marks, n);
        d.n_scales = n_scales;
        if (isfinite(cost) && n_scales > 0) cost = refine(&d, marks, n);
        if (!isfinite(cost)) continue;
        double slack = 1e-6 * weight;
        bool is_better = cost < best - slack;
        bool is_as_good = cost < best + slack;
        if (is_better || (is_as_good && is_upright(&d, marks, n) && !is_upright(out, marks, n))) {
            best = fmin(best, cost);
            *out = d;
        }
    }
    if (!isfinite(best)) return false;
    out->redundancy = n_coordinates - 3 - n_scales;
    out->rms_mm = out->redundancy > 0 ? sqrt(best / out->redundancy) : 0;
    return true;
}

static double distance_off(const tr_datum *d, const tr_datum_mark *m) {
    double r[2];
    double A[2][N_PARAMETERS];
    rows_of(d, m, r, A);
    return hypot(r[0], r[1]);
}

/* Median distance over 1.177, which it is for two normal errors of sd 1. Of an even number the
   lower one, so that half of the marks may be wrong. */
static double scatter(const tr_datum *d, const tr_datum_mark *marks, int n, double *scratch) {
    for (int i = 0; i < n; i++) scratch[i] = distance_off(d, &marks[i]);
    tr_sort(scratch, n);
    return scratch[(n - 1) / 2] / 1.177;
}

/* The frame through two marks, with the scale that their distance says. */
static bool frame_through(const tr_datum_mark *a, const tr_datum_mark *b, tr_datum *out) {
    tr_vec2 m = tr_v2_sub(b->measured_mm, a->measured_mm);
    tr_vec2 k = tr_v2_sub(b->nominal_mm, a->nominal_mm);
    if (!(tr_v2_norm(m) > 0) || !(tr_v2_norm(k) > 0)) return false;
    double theta = atan2(tr_v2_cross(k, m), tr_v2_dot(k, m));
    double scale = tr_v2_norm(m) / tr_v2_norm(k);
    tr_vec2 turned = tr_v2(cos(theta) * a->nominal_mm.x - sin(theta) * a->nominal_mm.y,
                           sin(theta) * a->nominal_mm.x + cos(theta) * a->nominal_mm.y);
    *out = (tr_datum){.theta_rad = theta,
                      .t_mm = tr_v2_sub(a->measured_mm, tr_v2_scale(scale, turned)),
                      .scale = {scale, scale},
                      .n_scales = 1};
    return true;
}

/* Weight 1 for the half that fits best, 0 for the others. distances: scratch, n. */
static void keep_best_half(const tr_datum *d, tr_datum_mark *marks, int n, double *distances) {
    for (int i = 0; i < n; i++) distances[i] = distance_off(d, &marks[i]);
    tr_sort(distances, n);
    double limit = distances[(n - 1) / 2];
    for (int i = 0; i < n; i++) marks[i].weight = distance_off(d, &marks[i]) <= limit;
}

/* A start to which half of the marks may be wrong without doing harm: the frames through any two
   marks with the least median distances (least median of squares; Rousseeuw, J. Am. Stat. Assoc.
   79, 1984), each fitted anew to the half that fits it best until that rests (concentration;
   Rousseeuw and van Driessen, Technometrics 41, 1999), since two marks do not tell both scales. */
enum { CANDIDATES = 12, CONCENTRATIONS = 8 };

static bool start_robust(tr_datum_mark *marks, int n, double *scratch, tr_datum *out) {
    tr_datum candidate[CANDIDATES];
    double size_of[CANDIDATES];
    int n_candidates = 0;
    double best = INFINITY;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < i; k++) {
            tr_datum d;
            if (!frame_through(&marks[i], &marks[k], &d)) continue;
            double size = scatter(&d, marks, n, scratch);
            int at = n_candidates < CANDIDATES ? n_candidates : CANDIDATES - 1;
            if (at == CANDIDATES - 1 && n_candidates == CANDIDATES && size >= size_of[at]) continue;
            if (n_candidates < CANDIDATES) n_candidates++;
            for (; at > 0 && size_of[at - 1] > size; at--) {
                size_of[at] = size_of[at - 1];
                candidate[at] = candidate[at - 1];
            }
            size_of[at] = size;
            candidate[at] = d;
        }
    }
    for (int c = 0; c < n_candidates; c++) {
        tr_datum d = candidate[c];
        for (int step = 0; step < CONCENTRATIONS; step++) {
            tr_datum next;
            keep_best_half(&d, marks, n, scratch);
            if (!tr_datum_fit(marks, n, &next)) break;
            d = next;
        }
        double size = scatter(&d, marks, n, scratch);
        if (size >= best) continue;
        best = size;
        *out = d;
    }
    return isfinite(best);
}

bool tr_datum_fit_robust(tr_datum_mark *marks, int n, tr_datum *out, tr_error *err) {
    if (n < ROBUST_MARKS) return tr_datum_fit(marks, n, out);
    double *scratch = calloc((size_t)n, sizeof *scratch);
    if (!scratch) return tr_fail_memory(err);
    if (!start_robust(marks, n, scratch, out)) {
        free(scratch);
        for (int i = 0; i < n; i++) marks[i].weight = 1;
        return tr_datum_fit(marks, n, out);
    }
    bool ok = true;
    for (int round = 0; round < ROBUST_ROUNDS && ok; round++) {
        double size = fmax(MIN_SCALE_MM, scatter(out, marks, n, scratch));
        for (int i = 0; i < n; i++) {
            double u = distance_off(out, &marks[i]) / (BIWEIGHT * size);
            marks[i].weight = u < 1 ? (1 - u * u) * (1 - u * u) : 0;
        }
        ok = tr_datum_fit(marks, n, out);
    }
    free(scratch);
    return ok;
}

bool tr_datum_sensitivity(const tr_datum *d, const tr_datum_mark *marks, int n, double *G,
                          double inverse[25]) {
    double N[N_PARAMETERS * N_PARAMETERS];
    double b[N_PARAMETERS];
    double x[N_PARAMETERS];
    normal_equations(d, marks, n, N, b);
    memset(G, 0, (size_t)n * 2 * N_PARAMETERS * sizeof *G);
    for (int i = 0; i < n; i++) {
        double r[2];
        double A[2][N_PARAMETERS];
        rows_of(d, &marks[i], r, A);
        for (int k = 0; k < 2; k++) {
            double w = marks[i].is_known[k] ? marks[i].weight : 0;
            for (int a = 0; a < N_PARAMETERS; a++) b[a] = -w * A[k][a];
            if (!solve(N, b, x)) return false;
            if (d->n_scales == 1) x[SCALE_Y] = x[SCALE_X];
            if (d->n_scales == 0) x[SCALE_X] = x[SCALE_Y] = 0;
            for (int a = 0; a < N_PARAMETERS; a++) G[a * 2 * n + 2 * i + k] = x[a];
        }
    }
    for (int c = 0; c < N_PARAMETERS && inverse; c++) {
        for (int a = 0; a < N_PARAMETERS; a++) b[a] = a == c;
        if (!solve(N, b, x)) return false;
        for (int a = 0; a < N_PARAMETERS; a++) {
            bool is_held = a >= SCALE_X + d->n_scales || c >= SCALE_X + d->n_scales;
            inverse[a * N_PARAMETERS + c] = is_held ? 0 : x[a];
        }
    }
    if (inverse && d->n_scales == 1) {
        for (int a = 0; a < N_PARAMETERS; a++) {
            inverse[SCALE_Y * N_PARAMETERS + a] = inverse[SCALE_X * N_PARAMETERS + a];
            inverse[a * N_PARAMETERS + SCALE_Y] = inverse[a * N_PARAMETERS + SCALE_X];
        }
        inverse[SCALE_Y * (N_PARAMETERS + 1)] = inverse[SCALE_X * (N_PARAMETERS + 1)];
    }
    return true;
}
