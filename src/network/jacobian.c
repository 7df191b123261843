#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "network/network.h"
#include "network/problem.h"

/* Added to a column's largest entry, to which differences are relative: what an unknown hardly
   moves is compared absolutely. */
static const double SMALL_ENTRY = 1e-3;

/* ---- of any problem ---- */

/* Residuals of a term with one unknown moved. delta: all zero, and again afterwards. */
static bool evaluate_at(const tr_lsq_problem *p, int term, int unknown, double step, double *delta,
                        double *r) {
    delta[unknown] = step;
    p->move(p->context, delta);
    bool ok = p->evaluate(p->context, term, r, NULL);
    delta[unknown] = 0;
    p->move(p->context, delta);
    return ok;
}

/* One column of a term; worst becomes its worst element where it is worse. */
static bool check_column(const tr_lsq_problem *p, int term, int column, const double *J,
                         double step, double *delta, tr_lsq_jacobian_check *worst) {
    const tr_lsq_term *t = &p->terms[term];
    int unknown = t->columns[column];
    double plus[TR_LSQ_MAX_ROWS];
    double minus[TR_LSQ_MAX_ROWS];
    double largest = 0;
    if (!evaluate_at(p, term, unknown, step, delta, plus) ||
        !evaluate_at(p, term, unknown, -step, delta, minus)) {
        return false;
    }
    for (int i = 0; i < t->rows; i++) {
        largest = fmax(largest, fabs(J[i * t->n_columns + column]));
    }
    for (int i = 0; i < t->rows; i++) {
        double analytic = J[i * t->n_columns + column];
        double numeric = (plus[i] - minus[i]) / (2 * step);
        double difference = fabs(numeric - analytic) / (largest + SMALL_ENTRY);
        if (isnan(worst->difference) || difference <= worst->difference) continue;
        *worst = (tr_lsq_jacobian_check){term, i, unknown, analytic, numeric, difference};
    }
    return true;
}

static bool check_term(const tr_lsq_problem *p, int term, const double *step, double *delta,
                       tr_lsq_jacobian_check *worst) {
    const tr_lsq_term *t = &p->terms[term];
    double J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    double with[TR_LSQ_MAX_ROWS];
    double alone[TR_LSQ_MAX_ROWS];
    if (!p->evaluate(p->context, term, with, J) || !p->evaluate(p->context, term, alone, NULL) ||
        memcmp(with, alone, (size_t)t->rows * sizeof *with) != 0) {
        return false;
    }
    for (int c = 0; c < t->n_columns; c++) {
        if (!check_column(p, term, c, J, step[t->columns[c]], delta, worst)) return false;
    }
    return true;
}

bool tr_lsq_check_jacobian(const tr_lsq_problem *problem, const double *step,
                           tr_lsq_jacobian_check *worst, tr_error *err) {
    double *delta = tr_array(problem->n_unknowns, sizeof *delta);
    *worst = (tr_lsq_jacobian_check){.term = -1};
    if (!delta) return tr_fail_memory(err);
    problem->move(problem->context, delta);
    for (int t = 0; t < problem->n_terms; t++) {
        if (check_term(problem, t, step, delta, worst)) continue;
        free(delta);
        return tr_fail(err, TR_NO_MEASURE,
                       "term %d has no residuals at a step of an unknown, or others without its "
                       "Jacobian than with it",
                       t);
    }
    free(delta);
    return true;
}

/* ---- of a network ---- */

bool tr_network_check_jacobian(tr_network *net, double *difference, char *where, size_t size,
                               tr_error *err) {
    tr_problem p;
    tr_lsq_jacobian_check worst;
    bool ok = tr_problem_init(&p, net, err);
    double *step = ok ? tr_array(p.state.n_unknowns, sizeof *step) : NULL;
    for (int i = 0; step && i < p.state.n_unknowns; i++) {
        tr_net_unknown u = p.state.unknowns[i];
        step[i] = tr_block_kind(u.kind)->step(u.component);
    }
    if (ok && !step) ok = tr_fail_memory(err);
    ok = ok && tr_lsq_check_jacobian(&p.lsq, step, &worst, err);
    if (ok) {
        char name[160] = "nothing";
        *difference = worst.difference;
        if (worst.term >= 0) p.lsq.name(p.lsq.context, worst.unknown, name, sizeof name);
        snprintf(where, size, "term %d of kind %d, row %d, to %s (component %d): %g, not %g",
                 worst.term, worst.term >= 0 ? (int)p.sources[worst.term].kind : -1, worst.row,
                 name, worst.term >= 0 ? p.state.unknowns[worst.unknown].component : -1,
                 worst.numeric, worst.analytic);
    }
    free(step);
    tr_problem_release(&p);
    return ok;
}
