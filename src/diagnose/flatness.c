#include "diagnose/flatness.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/relief.h"
#include "base/array.h"
#include "geom/dense.h"
#include "lens/planar.h"

/* An expanded uncertainty above this says nothing worth telling. */
static const double MAX_FLATNESS_U95_MM = 10;
/* Marks that a flatness needs: three make a plane. */
enum { MIN_MARKS = 5 };

/* A mark of a sheet that was seen at least once. */
typedef struct {
    tr_vec2 p_mm[TR_OBS_MAX_POINTS]; /* its points, on the sheet: a tag's corners */
    int n_points;
    int next; /* mark of the same sheet, -1: none */
} seen_mark;

/* Of a mark's offset, what lifts its points. */
static const int LIFTS[] = {TR_OFFSET_Z, TR_OFFSET_SLOPE_X, TR_OFFSET_SLOPE_Y, TR_OFFSET_TWIST};
enum { N_LIFTS = sizeof LIFTS / sizeof *LIFTS };

typedef struct {
    tr_network net;    /* a copy */
    seen_mark *marks;  /* one an offset of the network */
    bool *is_listed;   /* the same */
    int *first, *last; /* mark of each sheet, -1: none */
    /* The flatness of each sheet as a function of its marks' heights. */
    tr_net_unknown *heights; /* N_LIFTS an offset, in the order of sheets */
    double *factors;         /* the same */
    tr_net_function *functions;
    double *variances;
} trial;

static void release_trial(trial *t) {
    tr_network_release(&t->net);
    free(t->marks);
    free(t->is_listed);
    free(t->first);
    free(t->last);
    free(t->heights);
    free(t->factors);
    free(t->functions);
    free(t->variances);
}

/* Lists the mark of an observation with its sheet, where it is seen first. */
static void list_mark(trial *t, const tr_net_obs *o) {
    int mark = o->offset;
    int *last = &t->last[o->sheet];
    if (t->is_listed[mark]) return;
    t->is_listed[mark] = true;
    t->marks[mark] = (seen_mark){.n_points = o->n_points, .next = -1};
    memcpy(t->marks[mark].p_mm, o->p_sheet_mm, sizeof o->p_sheet_mm);
    *(*last < 0 ? &t->first[o->sheet] : &t->marks[*last].next) = mark;
    *last = mark;
}

/* Every mark gets its height. Marks that were rejected come back in: a bent sheet may be why. */
static void free_heights(const tr_adjustment *adj, trial *t) {
    for (int i = 0; i < t->net.n_observations; i++) {
        tr_net_obs *o = &t->net.observations[i];
        o->is_used = adj->photo_placed[o->photo] && adj->sheet_placed[o->sheet] && o->W[0] > 0 &&
                     tr_network_residual(&t->net, i, NULL, NULL);
        if (o->is_used) list_mark(t, o);
    }
    tr_relief_free(&t->net);
}

static bool set_up(const tr_adjustment *adj, trial *t, tr_error *err) {
    memset(t, 0, sizeof *t);
    if (!tr_network_copy(&adj->net, &t->net, err)) return false;
    int n_sheets = t->net.n_sheets;
    int n = t->net.n_offsets;
    t->marks = tr_array(n, sizeof *t->marks);
    t->is_listed = tr_array(n, sizeof *t->is_listed);
    t->first = tr_array(n_sheets, sizeof *t->first);
    t->last = tr_array(n_sheets, sizeof *t->last);
    t->heights = tr_array((long)N_LIFTS * n, sizeof *t->heights);
    t->factors = tr_array((long)N_LIFTS * n, sizeof *t->factors);
    t->functions = tr_array(n_sheets, sizeof *t->functions);
    t->variances = tr_array(n_sheets, sizeof *t->variances);
    if (!t->marks || !t->is_listed || !t->first || !t->last || !t->heights || !t->factors ||
        !t->functions || !t->variances) {
        return tr_fail_memory(err);
    }
    for (int i = 0; i < n_sheets; i++) t->first[i] = t->last[i] = -1;
    free_heights(adj, t);
    return true;
}

/* Row of the map from the heights of a sheet's marks to the distance of one mark from their
   least-squares plane: e_i - row_i of the plane's hat matrix. false where the marks lie on one
   line. */
static bool distance_row(const tr_vec2 *p, int n, int i, double *row) {
    double A[9] = {0};
    for (int k = 0; k < n; k++) {
        double b[3] = {1, p[k].x / 1000, p[k].y / 1000};
        for (int r = 0; r < 3; r++) {
            for (int c = 0; c <= r; c++) A[3 * r + c] += b[r] * b[c];
        }
    }
    double x[3] = {1, p[i].x / 1000, p[i].y / 1000};
    if (!tr_dense_solve(A, x, 3)) return false;
    for (int k = 0; k < n; k++) row[k] = -(x[0] + x[1] * p[k].x / 1000 + x[2] * p[k].y / 1000);
    row[i] += 1;
    return true;
}

static double dot(const double *row, const double *heights, int n) {
    double sum = 0;
    for (int k = 0; k < n; k++) sum += row[k] * heights[k];
    return sum;
}

/* Flatness of one sheet: the highest and the lowest mark over the plane through all; factors (n):
   their difference as a function of the heights. scratch: 3n. False where they make no plane. */
static bool find_flatness(const tr_vec2 *p, const double *heights, int n, double *factors,
                          double *scratch, tr_sheet_condition *out) {
    double *row = scratch;
    double *high = scratch + n;
    double *low = scratch + 2 * (long)n;
    double highest = -INFINITY;
    double lowest = INFINITY;
    if (n < MIN_MARKS) return false;
    for (int i = 0; i < n; i++) {
        if (!distance_row(p, n, i, row)) return false;
        double d = dot(row, heights, n);
        if (d > highest) {
            highest = d;
            memcpy(high, row, (size_t)n * sizeof *row);
            out->highest_mm = p[i];
        }
        if (d < lowest) {
            lowest = d;
            memcpy(low, row, (size_t)n * sizeof *row);
        }
    }
    for (int i = 0; i < n; i++) factors[i] = high[i] - low[i];
    out->flatness_mm = highest - lowest;
    return true;
}

static void finish(double variance, tr_sheet_condition *out) {
    out->flatness_u95_mm = 2 * sqrt(fmax(0, variance));
    out->has_flatness = out->flatness_u95_mm < MAX_FLATNESS_U95_MM;
}

bool tr_flatness_of(const tr_vec2 *p_mm, const double *heights_mm, const double *covariance, int n,
                    double variance_factor, tr_sheet_condition *out, tr_error *err) {
    double variance = 0;
    double *scratch = calloc(4 * (size_t)n + 1, sizeof *scratch);
    if (!scratch) return tr_fail_memory(err);
    double *factors = scratch + 3 * (long)n;
    out->has_flatness = false;
    if (find_flatness(p_mm, heights_mm, n, factors, scratch, out)) {
        for (int i = 0; i < n; i++) {
            for (int k = 0; k < n; k++) {
                variance += factors[i] * factors[k] * covariance[(long)i * n + k];
            }
        }
        finish(variance * variance_factor, out);
    }
    free(scratch);
    return true;
}

/* What a point of a mark is lifted by a unit of each of LIFTS. */
static void lift_of(const tr_net_offset *offset, tr_vec2 p_mm, double lift[N_LIFTS]) {
    tr_vec2 q = tr_v2_sub(p_mm, offset->centre_mm);
    lift[0] = 1;
    lift[1] = q.x;
    lift[2] = q.y;
    lift[3] = q.x * q.y;
}

/* All points of a sheet's marks, and their heights. Returns their number. */
static int list_points(const trial *t, int sheet, tr_vec2 *p, double *heights) {
    int n = 0;
    for (int i = t->first[sheet]; i >= 0; i = t->marks[i].next) {
        const tr_net_offset *offset = &t->net.offsets[i];
        for (int c = 0; c < t->marks[i].n_points; c++, n++) {
            double lift[N_LIFTS];
            p[n] = t->marks[i].p_mm[c];
            lift_of(offset, p[n], lift);
            heights[n] = 0;
            for (int k = 0; k < N_LIFTS; k++) heights[n] += lift[k] * offset->value[LIFTS[k]];
        }
    }
    return n;
}

/* The function of the points' heights as one of the unknowns that lift them; they are put where
   the function has its own. */
static void by_unknowns(const trial *t, int sheet, const double *factors, tr_net_function *f,
                        tr_net_unknown *unknowns, double *out) {
    int point = 0;
    *f = (tr_net_function){unknowns, out, 0};
    for (int i = t->first[sheet]; i >= 0; i = t->marks[i].next) {
        double sum[N_LIFTS] = {0};
        for (int c = 0; c < t->marks[i].n_points; c++, point++) {
            double lift[N_LIFTS];
            lift_of(&t->net.offsets[i], t->marks[i].p_mm[c], lift);
            for (int k = 0; k < N_LIFTS; k++) sum[k] += factors[point] * lift[k];
        }
        for (int k = 0; k < N_LIFTS; k++, f->n++) {
            unknowns[f->n] = (tr_net_unknown){TR_NET_OFFSET, i, LIFTS[k]};
            out[f->n] = sum[k];
        }
    }
}

static int count_marks(const trial *t, int sheet) {
    int n = 0;
    for (int i = t->first[sheet]; i >= 0; i = t->marks[i].next) n++;
    return n;
}

/* Flatness of all sheets, from the solved heights. */
static bool find_all(trial *t, const tr_adjustment *adj, tr_sheet_condition *out, tr_error *err) {
    int used = 0;
    int most = TR_OBS_MAX_POINTS * t->net.n_offsets;
    bool ok = false;
    double *scratch = calloc(5 * (size_t)most + 1, sizeof *scratch);
    tr_vec2 *p = calloc((size_t)most + 1, sizeof *p);
    if (!scratch || !p) {
        tr_fail_memory(err);
        goto out;
    }
    double *heights = scratch + 3 * (long)most;
    double *factors = scratch + 4 * (long)most;
    for (int s = 0; s < t->net.n_sheets; s++) {
        if (!adj->sheet_placed[s] || count_marks(t, s) < MIN_MARKS) continue;
        int n = list_points(t, s, p, heights);
        if (!find_flatness(p, heights, n, factors, scratch, &out[s])) continue;
        by_unknowns(t, s, factors, &t->functions[s], t->heights + used, t->factors + used);
        used += t->functions[s].n;
    }
    ok = true;
out:
    free(p);
    free(scratch);
    return ok;
}

static bool solve_for_variances(trial *t, const tr_net_options *options, tr_lsq_result *result,
                                tr_error *err) {
    tr_net_solution *s = tr_net_solution_new(&t->net, options, result, err);
    bool ok = s && tr_net_solution_variances(s, t->functions, t->net.n_sheets, t->variances, err);
    tr_net_solution_free(s);
    return ok;
}

bool tr_flatness_estimate(const tr_adjust_input *in, const tr_adjustment *adj,
                          tr_sheet_condition *out, tr_error *err) {
    trial t;
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = 0.01};
    tr_lsq_result result;
    tr_error ignored = {0};
    bool ok = set_up(adj, &t, err);
    if (!ok) goto out;
    /* Once for the heights, and from there once more for the variance of what was made of them. */
    bool is_solved = tr_network_solve(&t.net, &options, &result, &ignored);
    if (is_solved) {
        ok = find_all(&t, adj, out, err);
        options.max_iterations = 1;
        is_solved = ok && solve_for_variances(&t, &options, &result, &ignored);
    }
    if (ignored.code == TR_NO_MEMORY) ok = tr_fail_memory(err);
    for (int s = 0; s < in->n_sheets && is_solved; s++) {
        double variance = t.variances[s] * fmax(1, result.variance_factor);
        if (t.functions[s].n == 0) continue;
        finish(variance, &out[s]);
    }
out:
    release_trial(&t);
    return ok;
}
