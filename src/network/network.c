#include "network/network.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "base/groups.h"
#include "network/problem.h"

/* Starts come from the marks themselves, and the focal length, distances and tilts are correlated
   to 1 - 1e-6: with more damping the last of the way takes ten steps instead of two. */
static const double START_DAMPING = 1e-9;

static bool wanted_covariance(const tr_problem *p, tr_lsq *lsq, const tr_net_options *o,
                              tr_error *err) {
    bool ok = false;
    int *column = tr_array(o->n_wanted, sizeof *column);
    int *place = tr_array(o->n_wanted, sizeof *place);
    double *C = tr_table(o->n_wanted, o->n_wanted, sizeof *C);
    int n = 0;
    if (!column || !place || !C) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < o->n_wanted; i++) {
        int c = tr_block_state_find(&p->state, o->wanted[i]);
        if (c < 0) continue;
        column[n] = c;
        place[n++] = i;
    }
    if (!tr_lsq_covariance(lsq, column, n, C, err)) goto out;
    memset(o->covariance, 0, (size_t)o->n_wanted * (size_t)o->n_wanted * sizeof *o->covariance);
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) o->covariance[place[i] * o->n_wanted + place[j]] = C[i * n + j];
    }
    ok = true;
out:
    free(column);
    free(place);
    free(C);
    return ok;
}

/* The gains of one observation: for each wanted unknown, column x of the inverse (n_wanted columns
   of n_unknowns), out TR_OFFSET_N values: -w (W J x)' (W J_offset). */
static bool gain_of_term(const tr_problem *p, int t, const tr_net_options *o,
                         const double *columns) {
    int index = p->sources[t].index;
    const tr_lsq_term *term = &p->terms[t];
    const tr_net_obs *obs = &p->net->observations[index];
    int rows = term->rows;
    double r[TR_LSQ_MAX_ROWS];
    double J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    double raw[2 * TR_OBS_MAX_POINTS * TR_OFFSET_N];
    double Jo[2 * TR_OBS_MAX_POINTS * TR_OFFSET_N] = {0};
    if (!p->lsq.evaluate(p->lsq.context, t, r, J) ||
        !tr_network_offset_jacobian(p->net, index, raw)) {
        return false;
    }
    double w = tr_problem_weight(o->huber, r, rows);
    for (int i = 0; i < rows; i++) {
        for (int k = i; k < rows; k++) {
            for (int c = 0; c < TR_OFFSET_N; c++) {
                Jo[i * TR_OFFSET_N + c] += obs->W[i * rows + k] * raw[k * TR_OFFSET_N + c];
            }
        }
    }
    for (int u = 0; u < o->n_wanted; u++) {
        const double *x = columns + (long)u * p->state.n_unknowns;
        double *out = o->gain + ((long)u * p->net->n_observations + index) * TR_OFFSET_N;
        for (int i = 0; i < rows; i++) {
            double Jx = 0;
            for (int j = 0; j < term->n_columns; j++) {
                Jx += J[i * term->n_columns + j] * x[term->columns[j]];
            }
            for (int c = 0; c < TR_OFFSET_N; c++) out[c] -= w * Jx * Jo[i * TR_OFFSET_N + c];
        }
    }
    return true;
}

static bool wanted_gain(const tr_problem *p, tr_lsq *lsq, const tr_net_options *o, tr_error *err) {
    bool ok = false;
    double *columns = tr_table(o->n_wanted, p->state.n_unknowns, sizeof *columns);
    if (!columns) return tr_fail_memory(err);
    memset(o->gain, 0,
           (size_t)o->n_wanted * (size_t)p->net->n_observations * TR_OFFSET_N * sizeof *o->gain);
    for (int i = 0; i < o->n_wanted; i++) {
        int c = tr_block_state_find(&p->state, o->wanted[i]);
        if (c < 0) continue;
        if (!tr_lsq_inverse_column(lsq, c, columns + (long)i * p->state.n_unknowns, err)) goto out;
    }
    for (int t = 0; t < p->n_terms; t++) {
        if (p->sources[t].kind != TR_TERM_OBSERVATION) continue;
        if (p->net->observations[p->sources[t].index].offset == 0) continue;
        if (gain_of_term(p, t, o, columns)) continue;
        tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
        goto out;
    }
    ok = true;
out:
    free(columns);
    return ok;
}

/* Variances of linear functions of the unknowns. */
static bool function_variances(const tr_problem *p, const tr_lsq *lsq, const tr_net_options *o,
                               tr_error *err) {
    size_t n = (size_t)p->state.n_unknowns;
    double *a = tr_table(2, p->state.n_unknowns, sizeof *a);
    if (!a) return tr_fail_memory(err);
    double *y = a + n;
    for (int i = 0; i < o->n_functions; i++) {
        const tr_net_function *f = &o->functions[i];
        double sum = 0;
        memset(a, 0, n * sizeof *a);
        for (int k = 0; k < f->n; k++) {
            int c = tr_block_state_find(&p->state, f->unknowns[k]);
            if (c >= 0) a[c] += f->factors[k];
        }
        tr_lsq_reduce(lsq, a, 1, y);
        for (size_t k = 0; k < n; k++) sum += y[k] * y[k];
        o->variances[i] = sum;
    }
    free(a);
    return true;
}

bool tr_network_solve(tr_network *net, const tr_net_options *options, tr_lsq_result *result,
                      tr_error *err) {
    bool ok = false;
    tr_lsq *lsq = NULL;
    tr_problem p;
    if (!tr_problem_init(&p, net, err)) goto out;
    lsq = tr_lsq_new(&p.lsq, err);
    if (!lsq) goto out;
    tr_lsq_options o = {.huber = options->huber,
                        .max_iterations = options->max_iterations,
                        .small_step = options->small_step,
                        .start_damping = START_DAMPING};
    if (!tr_lsq_solve(lsq, o, result, err)) goto out;
    if (options->n_wanted > 0 && !wanted_covariance(&p, lsq, options, err)) goto out;
    if (options->gain && !wanted_gain(&p, lsq, options, err)) goto out;
    if (options->n_functions > 0 && !function_variances(&p, lsq, options, err)) goto out;
    ok = true;
out:
    tr_lsq_free(lsq);
    tr_problem_release(&p);
    return ok;
}

tr_lens tr_network_photo_lens(const tr_network *net, int photo) {
    const double *v = net->photos[photo].value;
    tr_lens lens = net->lenses[net->photos[photo].lens].lens;
    for (int k = TR_FX; k <= TR_FY; k++) lens.param[k] *= 1 + v[TR_PHOTO_FOCAL];
    lens.param[TR_CX] += v[TR_PHOTO_SHIFT_X];
    lens.param[TR_CY] += v[TR_PHOTO_SHIFT_Y];
    return lens;
}

double tr_network_variance_of_all(const tr_network *net, const tr_lsq_result *result,
                                  const bool *is_found) {
    double sum = result->sum_squares;
    int degrees = result->degrees_of_freedom;
    for (int i = 0; i < net->n_observations; i++) {
        double chi2;
        if (net->observations[i].is_used || !is_found[i] ||
            !tr_network_residual(net, i, NULL, &chi2))
            continue;
        sum += chi2;
        degrees += 2 * net->observations[i].n_points;
    }
    return degrees > 0 ? sum / degrees : 0;
}

int tr_network_components(const tr_network *net, int *component) {
    int n = net->n_photos + net->n_sheets;
    int count = 0;
    tr_groups_init(component, n);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *obs = &net->observations[i];
        if (obs->is_used) tr_groups_join(component, obs->photo, net->n_photos + obs->sheet);
    }
    for (int i = 0; i < n; i++) component[i] = tr_group_of(component, i);
    /* What stands for a group comes first in it, so its number is there for those that follow. */
    for (int i = 0; i < n; i++) {
        component[i] = component[i] == i ? count++ : component[component[i]];
    }
    return count;
}
