#include "calib/components.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "geom/dense.h"
#include "lens/planar.h"

/* The corners' standard deviations are not scaled down by more than this, in part of what was told
   (or of 1 px): below, residuals are the rounding of the sums, as in pictures without any noise. */
static const double SMALLEST_SCALE = 1e-3;

/* A component is worth telling from here on (components.h). */
static const double LEAST_DOF = 2;

/* Standard deviations that change by less than this part stay; chance makes a tenth and more. */
static const double SMALL_CHANGE = 0.04;
enum { MAX_PASSES = 25 };
/* One pass changes a standard deviation at most so many times. */
static const double LARGEST_FACTOR = 4;
/* Passes before the last need not be solved to the last digit. */
static const double ROUGH_STEP = 1e-2;
enum { ROUGH_ITERATIONS = 2 };

/* Of a large board the redundancy is taken from so many of its corners. */
enum { MAX_PROBED_OFFSETS = 64 };

int tr_component_of_photo(int unknown) {
    return unknown < TR_PHOTO_FOCAL    ? TR_SCATTER_SHIFT
           : unknown == TR_PHOTO_FOCAL ? TR_SCATTER_FOCAL
           : unknown < TR_PHOTO_TRAVEL ? TR_SCATTER_TURN
                                       : TR_SCATTER_TRAVEL;
}

static int component_of_offset(int unknown) {
    return unknown == TR_OFFSET_Z ? TR_COMPONENT_HEIGHT : TR_COMPONENT_PRINT;
}

/* ---- priors ---- */

/* The network's priors become those of the components. */
static void set_priors(const tr_components *c, tr_network *net) {
    for (int i = 0; i < net->n_photos; i++) {
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            net->photos[i].sd[k] = c->of[tr_component_of_photo(k)].sd;
            net->photos[i].is_free[k] = net->photos[i].sd[k] > 0;
        }
    }
    for (int i = 0; i < net->n_offsets; i++) {
        for (int k = 0; k <= TR_OFFSET_Z; k++) {
            net->offsets[i].sd[k] = c->of[component_of_offset(k)].sd;
            net->offsets[i].is_free[k] = net->offsets[i].sd[k] > 0;
        }
    }
}

static void scale_corners(tr_network *net, double factor) {
    for (int i = 0; i < net->n_observations; i++) {
        for (int k = 0; k < 4; k++) net->observations[i].W[k] *= factor;
    }
}

/* ---- redundancies ---- */

/* Unknowns with priors, whose variances are asked for. A probe stands for `weight` unknowns. */
typedef struct {
    tr_net_unknown *unknowns;
    tr_net_function *functions;
    double *variances, *sd, *weight;
    int *group; /* TR_COMPONENT_N: the board's shape */
    int n;
} probes;

static const double ONE = 1;

static void add_probe(probes *p, tr_net_unknown u, int group, double sd, double weight) {
    p->unknowns[p->n] = u;
    p->functions[p->n] = (tr_net_function){&p->unknowns[p->n], &ONE, 1};
    p->group[p->n] = group;
    p->sd[p->n] = sd;
    p->weight[p->n++] = weight;
}

static void release_probes(probes *p) {
    free(p->unknowns);
    free(p->functions);
    free(p->variances);
    free(p->sd);
    free(p->weight);
    free(p->group);
}

/* p is to be released in any case. */
static bool make_probes(const tr_network *net, probes *p, tr_error *err) {
    int n_probed = net->n_offsets < MAX_PROBED_OFFSETS ? net->n_offsets : MAX_PROBED_OFFSETS;
    int most = net->n_photos * TR_PHOTO_SCATTER_N + n_probed * 3 + 4;
    *p = (probes){.unknowns = tr_array(most, sizeof *p->unknowns),
                  .functions = tr_array(most, sizeof *p->functions),
                  .variances = tr_array(most, sizeof *p->variances),
                  .sd = tr_array(most, sizeof *p->sd),
                  .weight = tr_array(most, sizeof *p->weight),
                  .group = tr_array(most, sizeof *p->group)};
    if (!p->unknowns || !p->functions || !p->variances || !p->sd || !p->weight || !p->group) {
        return tr_fail_memory(err);
    }
    for (int i = 0; i < net->n_photos; i++) {
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            if (!net->photos[i].is_free[k]) continue;
            add_probe(p, (tr_net_unknown){TR_NET_PHOTO, i, k}, tr_component_of_photo(k),
                      net->photos[i].sd[k], 1);
        }
    }
    for (int i = 0; i < n_probed; i++) {
        int offset = (int)((long)i * net->n_offsets / n_probed);
        for (int k = 0; k <= TR_OFFSET_Z; k++) {
            if (!net->offsets[offset].is_free[k]) continue;
            add_probe(p, (tr_net_unknown){TR_NET_OFFSET, offset, k}, component_of_offset(k),
                      net->offsets[offset].sd[k], (double)net->n_offsets / n_probed);
        }
    }
    for (int k = 0; k < TR_SHAPE_N; k++) {
        const tr_net_sheet *board = &net->sheets[0];
        if (!board->is_free[TR_PRINT_SCALE_X + k] || !(board->shape_sd[k] > 0)) continue;
        add_probe(p, (tr_net_unknown){TR_NET_SHEET, 0, TR_PRINT_SCALE_X + k}, TR_COMPONENT_N,
                  board->shape_sd[k], 1);
    }
    return true;
}

/* What a solution says of each group; the last is the board's shape. */
typedef struct {
    double n;           /* unknowns */
    double sum;         /* v'v */
    double redundancy;  /* sum of R_ii */
    double information; /* sum of R_ii^2 */
} group_sum;

static void sum_groups(const tr_network *net, const probes *p, group_sum sums[TR_COMPONENT_N + 1]) {
    memset(sums, 0, (TR_COMPONENT_N + 1) * sizeof *sums);
    for (int i = 0; i < p->n; i++) {
        group_sum *g = &sums[p->group[i]];
        double r = fmin(1, fmax(0, 1 - p->variances[i] / (p->sd[i] * p->sd[i])));
        g->n += p->weight[i];
        g->redundancy += p->weight[i] * r;
        g->information += p->weight[i] * r * r;
    }
    for (int i = 0; i < net->n_photos; i++) {
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            double v = net->photos[i].value[k];
            sums[tr_component_of_photo(k)].sum += v * v;
        }
    }
    for (int i = 0; i < net->n_offsets; i++) {
        for (int k = 0; k <= TR_OFFSET_Z; k++) {
            double v = net->offsets[i].value[k];
            sums[component_of_offset(k)].sum += v * v;
        }
    }
}

/* ---- estimates ---- */

/* The least standard deviation of which the group would have LEAST_DOF degrees of freedom;
   INFINITY where it has fewer unknowns. Taken alike, its unknowns would have r = s^2 / (s^2 + d) of
   their own, d being their variance without a prior. */
static double least_sd(const group_sum *g, double sd) {
    if (!(g->redundancy > 0) || !(g->information > 0)) return INFINITY;
    double mean = fmin(g->redundancy / g->n, 1 - 1e-9);
    double unequal = g->information / (g->n * mean * mean);
    double wanted = sqrt(LEAST_DOF / (g->n * unequal));
    if (wanted >= 1) return INFINITY;
    return sd * sqrt((1 - mean) / mean * wanted / (1 - wanted));
}

/* The estimate, further on in the direction of s^2 = v'v / r: where r is a small part of n, that
   goes to its end by r / n of the way a pass. Of two groups that cannot be told apart each has half
   of what is to be gone, so that twice the way would be too far. Returns the relative change. */
static double update(tr_component *c, const group_sum *g) {
    double old = c->sd;
    double step = g->information > 0 ? sqrt(g->redundancy / g->information) : 1;
    double ratio = g->redundancy > 0 ? sqrt(g->sum / g->redundancy) / old : 0;
    double found = old * pow(ratio, fmin(step, 3));
    double least = least_sd(g, old);
    double wanted = fmax(found, least);
    if (!(old > 0)) return 0;
    c->is_bound = found <= least;
    c->dof = g->information;
    /* What the photos cannot tell stays as wide as it was thought. */
    if (c->is_bound && !(least < c->wide)) {
        wanted = c->wide;
        c->dof = 0;
    }
    if (c->most > 0) wanted = fmin(wanted, c->most);
    wanted = fmax(wanted, c->least);
    c->sd = fmin(fmax(wanted, old / LARGEST_FACTOR), old * LARGEST_FACTOR);
    return fabs(c->sd / old - 1);
}

/* The scale of the corners, and all components. Returns the largest relative change. */
static double update_all(tr_network *net, const tr_lsq_result *result, const group_sum *sums,
                         tr_components *c) {
    double sum = result->sum_squares;
    const tr_net_sheet *board = &net->sheets[0];
    c->redundancy = result->degrees_of_freedom;
    for (int k = 0; k < TR_COMPONENT_N; k++) {
        if (!(c->of[k].sd > 0)) continue;
        sum -= sums[k].sum / (c->of[k].sd * c->of[k].sd);
        c->redundancy -= sums[k].redundancy;
    }
    for (int k = 0; k < 4; k++) {
        if (!board->is_free[TR_PRINT_SCALE_X + k] || !(board->shape_sd[k] > 0)) continue;
        sum -= board->shape[k] * board->shape[k] / (board->shape_sd[k] * board->shape_sd[k]);
    }
    c->redundancy = fmax(c->redundancy - sums[TR_COMPONENT_N].redundancy, 1);
    double wanted = fmax(c->scale * sqrt(fmax(sum, 0) / c->redundancy), SMALLEST_SCALE);
    double factor = wanted / c->scale;
    c->scale = wanted;
    scale_corners(net, 1 / factor);
    double change = fabs(factor - 1);
    for (int k = 0; k < TR_COMPONENT_N; k++) change = fmax(change, update(&c->of[k], &sums[k]));
    set_priors(c, net);
    return change;
}

/* ---- degrees of freedom ---- */

/* F of components.h, of the camera's components: C of all unknowns of all photos. */
static void sum_information(const tr_components *c, int n_photos, const double *C, int stride,
                            double F[TR_SCATTER_N * TR_SCATTER_N]) {
    int n = n_photos * TR_PHOTO_SCATTER_N;
    memset(F, 0, TR_SCATTER_N * TR_SCATTER_N * sizeof *F);
    for (int i = 0; i < n; i++) {
        int k = tr_component_of_photo(i % TR_PHOTO_SCATTER_N);
        for (int j = 0; j < n; j++) {
            int l = tr_component_of_photo(j % TR_PHOTO_SCATTER_N);
            if (!(c->of[k].sd > 0) || !(c->of[l].sd > 0)) continue;
            double R = (i == j) - C[(long)i * stride + j] / (c->of[k].sd * c->of[l].sd);
            F[k * TR_SCATTER_N + l] += R * R / 2;
        }
    }
}

/* Degrees of freedom of the camera's components, each beside the others. A bound holds for itself,
   and keeps its own. */
static void find_dof(tr_components *c, int n_photos, const double *C, int stride) {
    double F[TR_SCATTER_N * TR_SCATTER_N];
    double A[TR_SCATTER_N * TR_SCATTER_N];
    bool is_in[TR_SCATTER_N];
    sum_information(c, n_photos, C, stride, F);
    for (int k = 0; k < TR_SCATTER_N; k++) is_in[k] = c->of[k].dof > 0 && !c->of[k].is_bound;
    for (int i = 0; i < TR_SCATTER_N; i++) {
        for (int j = 0; j < TR_SCATTER_N; j++) {
            if (!is_in[i] || !is_in[j]) F[i * TR_SCATTER_N + j] = i == j;
        }
    }
    for (int k = 0; k < TR_SCATTER_N; k++) {
        double b[TR_SCATTER_N] = {0};
        if (!is_in[k]) continue;
        memcpy(A, F, sizeof A);
        b[k] = 1;
        c->of[k].dof = tr_dense_solve(A, b, TR_SCATTER_N) && b[k] > 0 ? 2 / b[k] : 0;
    }
}

/* ---- all of it ---- */

static bool solve_probed(tr_network *net, const tr_net_options *options, probes *p,
                         tr_lsq_result *result, tr_error *err) {
    tr_net_solution *s = tr_net_solution_new(net, options, result, err);
    bool ok = s && tr_net_solution_variances(s, p->functions, p->n, p->variances, err);
    tr_net_solution_free(s);
    return ok;
}

static bool iterate(tr_network *net, const tr_net_options *options, tr_components *c,
                    tr_lsq_result *result, tr_error *err) {
    tr_net_options rough = {
        .huber = options->huber, .max_iterations = ROUGH_ITERATIONS, .small_step = ROUGH_STEP};
    for (int pass = 0; pass < MAX_PASSES; pass++) {
        group_sum sums[TR_COMPONENT_N + 1];
        probes p;
        bool ok = make_probes(net, &p, err) && solve_probed(net, &rough, &p, result, err);
        if (ok) sum_groups(net, &p, sums);
        release_probes(&p);
        if (!ok) return false;
        if (update_all(net, result, sums, c) < SMALL_CHANGE) break;
    }
    return true;
}

/* The last solution, with the covariance that the caller wants and that of the photos' unknowns. */
static bool finish(tr_network *net, const tr_net_options *options, const tr_net_unknown *unknowns,
                   int n_unknowns, double *covariance, tr_components *c, tr_lsq_result *result,
                   tr_error *err) {
    bool ok = false;
    tr_net_solution *s = NULL;
    int n_photo = net->n_photos * TR_PHOTO_SCATTER_N;
    int n = n_unknowns + n_photo;
    tr_net_unknown *wanted = tr_array(n, sizeof *wanted);
    double *C = tr_table(n, n, sizeof *C);
    if (!wanted || !C) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < n_photo; i++) {
        wanted[i] = (tr_net_unknown){TR_NET_PHOTO, i / TR_PHOTO_SCATTER_N, i % TR_PHOTO_SCATTER_N};
    }
    memcpy(wanted + n_photo, unknowns, (size_t)n_unknowns * sizeof *wanted);
    s = tr_net_solution_new(net, options, result, err);
    if (!s || !tr_net_solution_covariance(s, wanted, n, C, err)) goto out;
    for (int i = 0; i < n_unknowns; i++) {
        memcpy(covariance + (long)i * n_unknowns, C + (long)(n_photo + i) * n + n_photo,
               (size_t)n_unknowns * sizeof *covariance);
    }
    find_dof(c, net->n_photos, C, n);
    ok = true;
out:
    tr_net_solution_free(s);
    free(wanted);
    free(C);
    return ok;
}

bool tr_components_solve(tr_network *net, const tr_net_options *options,
                         const tr_net_unknown *unknowns, int n, double *covariance,
                         tr_components *c, tr_lsq_result *result, tr_error *err) {
    tr_net_options plain = {.max_iterations = options->max_iterations};
    c->scale = 1;
    if (!tr_network_solve(net, &plain, result, err)) return false;
    c->scale = fmax(sqrt(result->variance_factor), SMALLEST_SCALE);
    scale_corners(net, 1 / c->scale);
    for (int k = 0; k < TR_COMPONENT_N; k++) {
        c->of[k].sd = c->of[k].wide;
        c->of[k].dof = 0;
        c->of[k].is_bound = false;
    }
    set_priors(c, net);
    return iterate(net, options, c, result, err) &&
           finish(net, options, unknowns, n, covariance, c, result, err);
}
