#include "adjust/flatness.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/findings.h"
#include "lens/planar.h"

/* A mat curls by a centimetre or two at an edge. */
static const double HEIGHT_SD_MM = 10;
/* An expanded uncertainty above this says nothing worth telling. */
static const double MAX_FLATNESS_U95_MM = 10;
/* Marks that a flatness needs: three make a plane. */
enum { MIN_MARKS = 5 };

/* A mark of a sheet that was seen at least once. */
typedef struct {
    int sheet;
    tr_vec2 p_mm; /* centre of its points */
} seen_mark;

typedef struct {
    tr_network net; /* a copy: only what is changed is owned */
    tr_net_lens lens;
    seen_mark *marks; /* one an offset */
    double *covariance;
    tr_net_unknown *wanted;
    int n_wanted;
} trial;

static void release_trial(trial *t) {
    free(t->net.rigs);
    free(t->net.sheets);
    free(t->net.offsets);
    free(t->net.observations);
    free(t->marks);
    free(t->covariance);
    free(t->wanted);
}

static void *copy_of(const void *from, int n, size_t size) {
    void *to = calloc((size_t)n + 1, size);
    if (to && n > 0) memcpy(to, from, (size_t)n * size);
    return to;
}

static int find_mark(trial *t, int sheet, tr_vec2 p) {
    for (int i = 0; i < t->net.n_offsets; i++) {
        if (t->marks[i].sheet == sheet && t->marks[i].p_mm.x == p.x && t->marks[i].p_mm.y == p.y) {
            return i;
        }
    }
    t->marks[t->net.n_offsets] = (seen_mark){sheet, p};
    t->net.offsets[t->net.n_offsets] =
        (tr_net_offset){.is_free = {false, false, true}, .sd = {0, 0, HEIGHT_SD_MM}};
    return t->net.n_offsets++;
}

/* Every mark gets its height. Marks that were left out come back in: a bent sheet may be why. */
static void free_heights(const tr_adjustment *adj, trial *t) {
    for (int i = 0; i < t->net.n_observations; i++) {
        tr_net_obs *o = &t->net.observations[i];
        tr_vec2 centre = {0, 0};
        memset(o->offset, 0, sizeof o->offset);
        if (!adj->photo_placed[o->photo] || !adj->sheet_placed[o->sheet] || o->W[0] <= 0) continue;
        for (int k = 0; k < o->n_points; k++) {
            centre = tr_v2_add(centre, tr_v2_scale(1.0 / o->n_points, o->p_sheet_mm[k]));
        }
        int number = find_mark(t, o->sheet, centre) + 1;
        for (int k = 0; k < o->n_points; k++) o->offset[k] = number;
        o->is_used = tr_network_residual(&t->net, i, NULL, NULL);
    }
}

static bool set_up(const tr_adjustment *adj, trial *t, tr_error *err) {
    const tr_network *net = &adj->net;
    memset(t, 0, sizeof *t);
    t->net = *net;
    t->lens = net->lenses[0];
    t->net.lenses = &t->lens;
    t->net.rigs = copy_of(net->rigs, net->n_rigs, sizeof *net->rigs);
    t->net.sheets = copy_of(net->sheets, net->n_sheets, sizeof *net->sheets);
    t->net.observations =
        copy_of(net->observations, net->n_observations, sizeof *net->observations);
    t->net.offsets = calloc((size_t)net->n_observations + 1, sizeof *t->net.offsets);
    t->net.n_offsets = 0;
    t->marks = calloc((size_t)net->n_observations + 1, sizeof *t->marks);
    if (!t->net.rigs || !t->net.sheets || !t->net.observations || !t->net.offsets || !t->marks) {
        return tr_fail_memory(err);
    }
    free_heights(adj, t);
    t->n_wanted = t->net.n_offsets;
    t->wanted = calloc((size_t)t->n_wanted + 1, sizeof *t->wanted);
    t->covariance = calloc((size_t)t->n_wanted * (size_t)t->n_wanted + 1, sizeof *t->covariance);
    if (!t->wanted || !t->covariance) return tr_fail_memory(err);
    for (int i = 0; i < t->net.n_offsets; i++) {
        t->wanted[i] = (tr_net_unknown){TR_NET_OFFSET, i, 2};
    }
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
    if (!tr_solve_small(A, x, 3)) return false;
    for (int k = 0; k < n; k++) row[k] = -(x[0] + x[1] * p[k].x / 1000 + x[2] * p[k].y / 1000);
    row[i] += 1;
    return true;
}

static double dot(const double *row, const double *heights, int n) {
    double sum = 0;
    for (int k = 0; k < n; k++) sum += row[k] * heights[k];
    return sum;
}

bool tr_flatness_of(const tr_vec2 *p_mm, const double *heights_mm, const double *covariance, int n,
                    double variance_factor, tr_sheet_condition *out, tr_error *err) {
    double highest = -INFINITY;
    double lowest = INFINITY;
    out->has_flatness = false;
    if (n < MIN_MARKS) return true;
    double *row = calloc(3 * (size_t)n, sizeof *row);
    if (!row) return tr_fail_memory(err);
    double *high = row + n;
    double *low = row + 2 * (long)n;
    for (int i = 0; i < n; i++) {
        if (!distance_row(p_mm, n, i, row)) goto out;
        double d = dot(row, heights_mm, n);
        if (d > highest) {
            highest = d;
            memcpy(high, row, (size_t)n * sizeof *row);
            out->highest_mm = p_mm[i];
        }
        if (d < lowest) {
            lowest = d;
            memcpy(low, row, (size_t)n * sizeof *row);
        }
    }
    double variance = 0;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++) {
            variance += (high[i] - low[i]) * (high[k] - low[k]) * covariance[(long)i * n + k];
        }
    }
    out->flatness_mm = highest - lowest;
    out->flatness_u95_mm = 2 * sqrt(fmax(0, variance * variance_factor));
    out->has_flatness = out->flatness_u95_mm < MAX_FLATNESS_U95_MM;
out:
    free(row);
    return true;
}

/* The marks of one sheet, gathered. */
static bool find_flatness(const trial *t, int sheet, double factor, tr_sheet_condition *out,
                          tr_error *err) {
    int most = t->net.n_offsets;
    int n = 0;
    bool ok = false;
    int *of = calloc((size_t)most + 1, sizeof *of);
    tr_vec2 *p = calloc((size_t)most + 1, sizeof *p);
    double *heights = calloc((size_t)most + 1, sizeof *heights);
    double *C = calloc((size_t)most * (size_t)most + 1, sizeof *C);
    if (!of || !p || !heights || !C) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < most; i++) {
        if (t->marks[i].sheet != sheet) continue;
        p[n] = t->marks[i].p_mm;
        heights[n] = t->net.offsets[i].value[TR_OFFSET_Z];
        of[n++] = i;
    }
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++) {
            C[i * n + k] = t->covariance[(long)of[i] * t->n_wanted + of[k]];
        }
    }
    ok = tr_flatness_of(p, heights, C, n, factor, out, err);
out:
    free(of);
    free(p);
    free(heights);
    free(C);
    return ok;
}

bool tr_find_flatness(const tr_adjust_input *in, const tr_adjustment *adj, tr_sheet_condition *out,
                      tr_error *err) {
    trial t;
    bool ok = false;
    if (!set_up(adj, &t, err)) goto out;
    tr_net_options options = {.huber = TR_ADJUST_HUBER,
                              .small_step = 0.01,
                              .wanted = t.wanted,
                              .n_wanted = t.n_wanted,
                              .covariance = t.covariance};
    tr_lsq_result result;
    tr_error ignored = {0};
    ok = true;
    if (!tr_network_solve(&t.net, &options, &result, &ignored)) {
        ok = ignored.code != TR_NO_MEMORY || tr_fail_memory(err);
        goto out;
    }
    double factor = fmax(1, result.variance_factor);
    for (int s = 0; s < in->n_sheets && ok; s++) {
        if (adj->sheet_placed[s]) ok = find_flatness(&t, s, factor, &out[s], err);
    }
out:
    release_trial(&t);
    return ok;
}
