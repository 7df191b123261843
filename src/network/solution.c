#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "network/network.h"
#include "network/problem.h"

/* Initial values come from the marks themselves, and the focal length, distances and tilts are
   correlated to 1 - 1e-6: with more damping the last of the way takes ten steps instead of two. */
static const double START_DAMPING = 1e-9;

struct tr_net_solution {
    tr_problem problem;
    tr_lsq *lsq;
    double huber;
};

tr_net_solution *tr_net_solution_new(tr_network *net, const tr_net_options *options,
                                     tr_lsq_result *result, tr_error *err) {
    tr_lsq_options o = {.huber = options->huber,
                        .max_iterations = options->max_iterations,
                        .small_step = options->small_step,
                        .start_damping = START_DAMPING};
    tr_net_solution *s = calloc(1, sizeof *s);
    if (!s) {
        tr_fail_memory(err);
        return NULL;
    }
    s->huber = options->huber;
    bool ok = tr_problem_init(&s->problem, net, err) &&
              (s->lsq = tr_lsq_new(&s->problem.lsq, err)) && tr_lsq_solve(s->lsq, o, result, err);
    if (ok) return s;
    tr_net_solution_free(s);
    return NULL;
}

void tr_net_solution_free(tr_net_solution *s) {
    if (!s) return;
    tr_lsq_free(s->lsq);
    tr_problem_release(&s->problem);
    free(s);
}

bool tr_network_solve(tr_network *net, const tr_net_options *options, tr_lsq_result *result,
                      tr_error *err) {
    tr_net_solution *s = tr_net_solution_new(net, options, result, err);
    tr_net_solution_free(s);
    return s != NULL;
}

/* ---- covariance ---- */

bool tr_net_solution_covariance(tr_net_solution *s, const tr_net_unknown *unknowns, int n,
                                double *out, tr_error *err) {
    bool ok = false;
    int *column = tr_array(n, sizeof *column);
    int *place = tr_array(n, sizeof *place);
    double *C = tr_table(n, n, sizeof *C);
    int n_free = 0;
    if (!column || !place || !C) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < n; i++) {
        int c = tr_block_state_find(&s->problem.state, unknowns[i]);
        if (c < 0) continue;
        column[n_free] = c;
        place[n_free++] = i;
    }
    if (!tr_lsq_covariance(s->lsq, column, n_free, C, err)) goto out;
    memset(out, 0, (size_t)n * (size_t)n * sizeof *out);
    for (int i = 0; i < n_free; i++) {
        for (int j = 0; j < n_free; j++) out[place[i] * n + place[j]] = C[i * n_free + j];
    }
    ok = true;
out:
    free(column);
    free(place);
    free(C);
    return ok;
}

/* ---- sensitivity ---- */

/* W J_offset of an observation, rows x TR_OFFSET_N. False where a point lies outside the lens
   model. */
static bool whiten_offset_jacobian(const tr_network *net, int observation, double *out) {
    const tr_net_obs *obs = &net->observations[observation];
    int rows = 2 * obs->n_points;
    double raw[2 * TR_OBS_MAX_POINTS * TR_OFFSET_N];
    if (!tr_network_offset_jacobian(net, observation, raw)) return false;
    memset(out, 0, 2 * TR_OBS_MAX_POINTS * TR_OFFSET_N * sizeof *out);
    for (int i = 0; i < rows; i++) {
        for (int k = i; k < rows; k++) {
            for (int c = 0; c < TR_OFFSET_N; c++) {
                out[i * TR_OFFSET_N + c] += obs->W[i * rows + k] * raw[k * TR_OFFSET_N + c];
            }
        }
    }
    return true;
}

/* The sensitivities to one observation: for each of n unknowns, with its column x of the inverse
   (n columns of n_unknowns), TR_OFFSET_N values: -w (W J x)' (W J_offset). */
static bool add_sensitivity(const tr_net_solution *s, int t, const double *columns, int n,
                            double *out) {
    const tr_problem *p = &s->problem;
    const tr_lsq_term *term = &p->terms[t];
    int index = p->sources[t].index;
    double r[TR_LSQ_MAX_ROWS];
    double J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    double Jo[2 * TR_OBS_MAX_POINTS * TR_OFFSET_N];
    if (!p->lsq.evaluate(p->lsq.context, t, r, J) || !whiten_offset_jacobian(p->net, index, Jo)) {
        return false;
    }
    double w = tr_problem_weight(s->huber, r, term->rows);
    for (int u = 0; u < n; u++) {
        const double *x = columns + (long)u * p->state.n_unknowns;
        double *to = out + ((long)u * p->net->n_observations + index) * TR_OFFSET_N;
        for (int i = 0; i < term->rows; i++) {
            double Jx = 0;
            for (int j = 0; j < term->n_columns; j++) {
                Jx += J[i * term->n_columns + j] * x[term->columns[j]];
            }
            for (int c = 0; c < TR_OFFSET_N; c++) to[c] -= w * Jx * Jo[i * TR_OFFSET_N + c];
        }
    }
    return true;
}

bool tr_net_solution_sensitivity(tr_net_solution *s, const tr_net_unknown *unknowns, int n,
                                 double *out, tr_error *err) {
    const tr_problem *p = &s->problem;
    bool ok = false;
    double *columns = tr_table(n, p->state.n_unknowns, sizeof *columns);
    if (!columns) return tr_fail_memory(err);
    memset(out, 0, (size_t)n * (size_t)p->net->n_observations * TR_OFFSET_N * sizeof *out);
    for (int i = 0; i < n; i++) {
        int c = tr_block_state_find(&p->state, unknowns[i]);
        if (c < 0) continue;
        double *x = columns + (long)i * p->state.n_unknowns;
        if (!tr_lsq_inverse_column(s->lsq, c, x, err)) goto out;
    }
    for (int t = 0; t < p->n_terms; t++) {
        if (p->sources[t].kind != TR_TERM_OBSERVATION) continue;
        if (p->net->observations[p->sources[t].index].offset < 0) continue;
        if (add_sensitivity(s, t, columns, n, out)) continue;
        tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
        goto out;
    }
    ok = true;
out:
    free(columns);
    return ok;
}

/* ---- variances of functions ---- */

bool tr_net_solution_variances(const tr_net_solution *s, const tr_net_function *functions, int n,
                               double *out, tr_error *err) {
    size_t n_unknowns = (size_t)s->problem.state.n_unknowns;
    double *a = tr_table(2, s->problem.state.n_unknowns, sizeof *a);
    if (!a) return tr_fail_memory(err);
    double *y = a + n_unknowns;
    for (int i = 0; i < n; i++) {
        const tr_net_function *f = &functions[i];
        double sum = 0;
        memset(a, 0, n_unknowns * sizeof *a);
        for (int k = 0; k < f->n; k++) {
            int c = tr_block_state_find(&s->problem.state, f->unknowns[k]);
            if (c >= 0) a[c] += f->factors[k];
        }
        tr_lsq_reduce(s->lsq, a, 1, y);
        for (size_t k = 0; k < n_unknowns; k++) sum += y[k] * y[k];
        out[i] = sum;
    }
    free(a);
    return true;
}
