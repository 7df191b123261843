#include "network/lsq.h"

#include <cholmod.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* After scaling H to a unit diagonal, a pivot is 1 - R^2, R being the multiple correlation of that
   unknown with those before it. Below this it is rounding, and the unknown is not determined. */
static const double UNDETERMINED_PIVOT = 1e-12;

static const double DEFAULT_SMALL_STEP = 1e-9;
static const double DEFAULT_START_DAMPING = 1e-4;

/* Rounding of one whitened residual, generously: ten roundings of 4000 px at 16 digits, over an sd
   of 0.001 px. */
static const double ROUNDING_OF_RESIDUAL = 1e-8;

/* What that and the summing make of the cost, as a part of it, in usual networks (sd of 0.05 px and
   more). */
static const double ROUNDING_OF_COST = 1e-11;

static const int DEFAULT_MAX_ITERATIONS = 100;

struct tr_lsq {
    const tr_lsq_problem *problem;
    cholmod_common common;
    cholmod_sparse *H; /* upper triangle, columns sorted */
    cholmod_factor *L;
    int *slots;         /* for each term, for each pair a <= b of its columns: place in H->x */
    size_t *slot_start; /* per term, into slots */
    int *diagonal;      /* place of each diagonal entry in H->x */
    double *g;          /* J'r */
    double *scale;      /* 1 / sqrt(diagonal of H) */
    double *step;
    double *values; /* H->x as assembled, before scaling and damping */
    cholmod_dense *rhs;
};

/* Beyond its knee Huber's loss is straight: along r it does not bend, and w J'J overstates its
   curvature there, so that with outliers every step is too short and many are needed. Late steps
   leave out nearly all of that part (not all: H stays positive definite), which makes them Newton's
   (Triggs et al., Bundle adjustment - a modern synthesis, 2000, sec. 4.3). Early steps do not: far
   from the minimum most terms lie beyond the knee, and it is what holds the step. */
static const double RADIAL_PART = 0.98;
static const int EARLY_STEPS = 10;

typedef struct {
    double huber;
    bool is_late;
} loss;

/* Weight of a term and its share of the cost. Huber: rho(s) = s up to k^2, else 2 k sqrt(s) - k^2.
 */
static double term_weight(loss l, const tr_lsq_term *term, double s, double *rho) {
    double k2 = l.huber * l.huber * term->rows;
    if (!term->is_robust || l.huber <= 0 || s <= k2) {
        *rho = s;
        return 1;
    }
    double k = sqrt(k2);
    *rho = 2 * k * sqrt(s) - k2;
    return k / sqrt(s);
}

static int compare_ints(const void *a, const void *b) {
    int x = *(const int *)a;
    int y = *(const int *)b;
    return (x > y) - (x < y);
}

/* Where row `row` stands in column `column` of the upper triangle. */
static int find_slot(const int *p, const int *i, int row, int column) {
    int lo = p[column];
    int hi = p[column + 1] - 1;
    while (lo < hi) {
        int mid = (lo + hi) / 2;
        if (i[mid] < row)
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo;
}

/* For each unknown the terms that depend on it: start has n + 1 places. Both are owned by the
   caller. */
static bool terms_by_column(const tr_lsq_problem *problem, int **start, int **terms) {
    int n = problem->n_unknowns;
    int total = 0;
    for (int t = 0; t < problem->n_terms; t++) total += problem->terms[t].n_columns;
    *start = calloc((size_t)n + 2, sizeof **start);
    *terms = malloc(((size_t)total + 1) * sizeof **terms);
    if (!*start || !*terms) return false;
    for (int t = 0; t < problem->n_terms; t++) {
        for (int a = 0; a < problem->terms[t].n_columns; a++) {
            (*start)[problem->terms[t].columns[a] + 2]++;
        }
    }
    for (int j = 0; j < n; j++) (*start)[j + 2] += (*start)[j + 1];
    for (int t = 0; t < problem->n_terms; t++) {
        for (int a = 0; a < problem->terms[t].n_columns; a++) {
            (*terms)[(*start)[problem->terms[t].columns[a] + 1]++] = t;
        }
    }
    return true;
}

/* Rows i <= j of column j: the unknowns that meet j in a term, sorted; last_seen marks those that
   are listed already. Returns their number. */
static int list_rows(const tr_lsq_problem *problem, const int *terms, int n_terms, int j,
                     int *last_seen, int *rows) {
    int n = 0;
    rows[n++] = j;
    last_seen[j] = j;
    for (int k = 0; k < n_terms; k++) {
        const tr_lsq_term *term = &problem->terms[terms[k]];
        for (int a = 0; a < term->n_columns; a++) {
            int i = term->columns[a];
            if (i >= j || last_seen[i] == j) continue;
            last_seen[i] = j;
            rows[n++] = i;
        }
    }
    qsort(rows, (size_t)n, sizeof *rows, compare_ints);
    return n;
}

/* Where each pair of columns of each term stands in H->x. */
static void fill_slots(tr_lsq *q) {
    const int *p = q->H->p;
    const int *i = q->H->i;
    size_t slot = 0;
    for (int t = 0; t < q->problem->n_terms; t++) {
        const tr_lsq_term *term = &q->problem->terms[t];
        for (int a = 0; a < term->n_columns; a++) {
            for (int b = a; b < term->n_columns; b++) {
                int ca = term->columns[a];
                int cb = term->columns[b];
                q->slots[slot++] = find_slot(p, i, ca < cb ? ca : cb, ca > cb ? ca : cb);
            }
        }
    }
}

/* The pattern of H: all pairs of columns that meet in a term, and the diagonal. */
static bool make_pattern(tr_lsq *q, tr_error *err) {
    const tr_lsq_problem *problem = q->problem;
    int n = problem->n_unknowns;
    bool ok = false;
    size_t n_pairs = 0;
    int *start = NULL;
    int *terms = NULL;
    int *last_seen = malloc(((size_t)n + 1) * sizeof *last_seen);
    int *rows = malloc(((size_t)n + 1) * sizeof *rows);
    int *counts = calloc((size_t)n + 1, sizeof *counts);
    for (int t = 0; t < problem->n_terms; t++) {
        size_t c = (size_t)problem->terms[t].n_columns;
        q->slot_start[t] = n_pairs;
        n_pairs += c * (c + 1) / 2;
    }
    q->slots = malloc((n_pairs + 1) * sizeof *q->slots);
    if (!last_seen || !rows || !counts || !q->slots || !terms_by_column(problem, &start, &terms)) {
        tr_fail_memory(err);
        goto out;
    }
    /* Two passes: count, then fill. */
    size_t total = 0;
    for (int j = 0; j < n; j++) last_seen[j] = -1;
    for (int j = 0; j < n; j++) {
        counts[j] =
            list_rows(problem, terms + start[j], start[j + 1] - start[j], j, last_seen, rows);
        total += (size_t)counts[j];
    }
    q->H = cholmod_allocate_sparse((size_t)n, (size_t)n, total, 1, 1, 1, CHOLMOD_REAL, &q->common);
    q->values = malloc((total + 1) * sizeof *q->values);
    if (!q->H || !q->values) {
        tr_fail_memory(err);
        goto out;
    }
    int *p = q->H->p;
    p[0] = 0;
    for (int j = 0; j < n; j++) last_seen[j] = -1;
    for (int j = 0; j < n; j++) {
        int *to = (int *)q->H->i + p[j];
        list_rows(problem, terms + start[j], start[j + 1] - start[j], j, last_seen, rows);
        memcpy(to, rows, (size_t)counts[j] * sizeof *rows);
        p[j + 1] = p[j] + counts[j];
        q->diagonal[j] = p[j + 1] - 1;
    }
    fill_slots(q);
    ok = true;
out:
    free(start);
    free(terms);
    free(last_seen);
    free(rows);
    free(counts);
    return ok;
}

tr_lsq *tr_lsq_new(const tr_lsq_problem *problem, tr_error *err) {
    size_t n = (size_t)problem->n_unknowns;
    tr_lsq *q = calloc(1, sizeof *q);
    if (!q) {
        tr_fail_memory(err);
        return NULL;
    }
    q->problem = problem;
    cholmod_start(&q->common);
    q->common.print = 0;
    q->common.supernodal = CHOLMOD_SIMPLICIAL;
    q->common.final_ll = 1;
    /* One ordering, not whichever built into this CHOLMOD looks best: the same bytes everywhere. */
    q->common.nmethods = 1;
    q->common.method[0].ordering = CHOLMOD_AMD;
    q->common.quick_return_if_not_posdef = 1;
    q->slot_start = calloc((size_t)problem->n_terms + 1, sizeof *q->slot_start);
    q->diagonal = calloc(n + 1, sizeof *q->diagonal);
    q->g = calloc(n + 1, sizeof *q->g);
    q->scale = calloc(n + 1, sizeof *q->scale);
    q->step = calloc(n + 1, sizeof *q->step);
    if (!q->slot_start || !q->diagonal || !q->g || !q->scale || !q->step) {
        tr_fail_memory(err);
        goto fail;
    }
    if (!make_pattern(q, err)) goto fail;
    q->rhs = cholmod_allocate_dense(n, 1, n, CHOLMOD_REAL, &q->common);
    if (!q->rhs) {
        tr_fail_memory(err);
        goto fail;
    }
    return q;
fail:
    tr_lsq_free(q);
    return NULL;
}

void tr_lsq_free(tr_lsq *q) {
    if (!q) return;
    cholmod_free_dense(&q->rhs, &q->common);
    cholmod_free_factor(&q->L, &q->common);
    cholmod_free_sparse(&q->H, &q->common);
    cholmod_finish(&q->common);
    free(q->slots);
    free(q->slot_start);
    free(q->diagonal);
    free(q->g);
    free(q->scale);
    free(q->step);
    free(q->values);
    free(q);
}

/* Cost of the trial state; NaN where a term has no residual there. */
static double trial_cost(const tr_lsq *q, loss l) {
    double cost = 0;
    double r[TR_LSQ_MAX_ROWS];
    for (int t = 0; t < q->problem->n_terms; t++) {
        const tr_lsq_term *term = &q->problem->terms[t];
        if (!q->problem->evaluate(q->problem->context, t, r, NULL)) return NAN;
        double s = 0;
        double rho;
        for (int i = 0; i < term->rows; i++) s += r[i] * r[i];
        term_weight(l, term, s, &rho);
        cost += rho;
    }
    return cost;
}

/* Adds g = w J'r and w J'J - radial g g' of one term. Inner loops run along rows of J, so that they
   vectorise. */
static void add_term(tr_lsq *q, int t, double w, double radial, const double *r, const double *J) {
    const tr_lsq_term *term = &q->problem->terms[t];
    const int n = term->n_columns;
    double h[TR_LSQ_MAX_COLUMNS * TR_LSQ_MAX_COLUMNS];
    double g[TR_LSQ_MAX_COLUMNS];
    memset(h, 0, (size_t)(n * n) * sizeof *h);
    memset(g, 0, (size_t)n * sizeof *g);
    for (int i = 0; i < term->rows; i++) {
        const double *row = J + (long)i * n;
        for (int a = 0; a < n; a++) {
            double ja = w * row[a];
            double *ha = h + (long)a * n;
            g[a] += ja * r[i];
            for (int b = a; b < n; b++) ha[b] += ja * row[b];
        }
    }
    for (int a = 0; a < n && radial > 0; a++) {
        for (int b = a; b < n; b++) h[(long)a * n + b] -= radial * g[a] * g[b];
    }
    const int *slot = q->slots + q->slot_start[t];
    for (int a = 0; a < n; a++) {
        q->g[term->columns[a]] += g[a];
        for (int b = a; b < n; b++) q->values[*slot++] += h[(long)a * n + b];
    }
}

/* H = J' W J and g = J' W r in the trial state. False where a term has no residual there. */
static bool assemble(tr_lsq *q, loss l, tr_lsq_result *result) {
    const tr_lsq_problem *problem = q->problem;
    size_t nnz = (size_t)((int *)q->H->p)[problem->n_unknowns];
    double r[TR_LSQ_MAX_ROWS];
    double J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    int rows = 0;
    memset(q->values, 0, nnz * sizeof *q->values);
    memset(q->g, 0, (size_t)problem->n_unknowns * sizeof *q->g);
    result->cost = 0;
    result->sum_squares = 0;
    for (int t = 0; t < problem->n_terms; t++) {
        const tr_lsq_term *term = &problem->terms[t];
        if (!problem->evaluate(problem->context, t, r, J)) return false;
        double s = 0;
        double rho;
        for (int i = 0; i < term->rows; i++) s += r[i] * r[i];
        double w = term_weight(l, term, s, &rho);
        result->cost += rho;
        result->sum_squares += w * s;
        rows += term->rows;
        add_term(q, t, w, l.is_late && w < 1 ? RADIAL_PART / (w * s) : 0, r, J);
    }
    result->degrees_of_freedom = rows - problem->n_unknowns;
    result->variance_factor =
        result->degrees_of_freedom > 0 ? result->sum_squares / result->degrees_of_freedom : 0;
    return true;
}

static void fail_undetermined(const tr_lsq *q, int unknown, tr_error *err) {
    char name[64] = "an unknown";
    if (q->problem->name) q->problem->name(q->problem->context, unknown, name, sizeof name);
    tr_fail(err, TR_NO_MEASURE,
            "%s is not determined by these marks; take more photos from other sides", name);
}

/* Factorises S H S + lambda I, S = 1 / sqrt(diagonal), which is Marquardt's H + lambda diag(H) in
   scaled unknowns. *bad: the unknown at which that failed. */
static bool factorise(tr_lsq *q, double lambda, int *bad) {
    int n = q->problem->n_unknowns;
    const int *p = q->H->p;
    const int *i = q->H->i;
    double *x = q->H->x;
    *bad = -1;
    for (int j = 0; j < n; j++) {
        double h = q->values[q->diagonal[j]];
        if (!(h > 0) || !isfinite(h)) {
            *bad = j;
            return false;
        }
        q->scale[j] = 1 / sqrt(h);
    }
    for (int j = 0; j < n; j++) {
        for (int k = p[j]; k < p[j + 1]; k++) x[k] = q->values[k] * q->scale[j] * q->scale[i[k]];
        x[q->diagonal[j]] = 1 + lambda;
    }
    if (!q->L) q->L = cholmod_analyze(q->H, &q->common);
    if (!q->L) return false;
    cholmod_factorize(q->H, q->L, &q->common);
    if (q->L->minor < (size_t)n) {
        *bad = ((int *)q->L->Perm)[q->L->minor];
        return false;
    }
    return q->common.status >= CHOLMOD_OK;
}

/* The unknown whose pivot says that it is not determined, -1 where all are. */
static int undetermined(const tr_lsq *q) {
    int n = q->problem->n_unknowns;
    const int *p = q->L->p;
    const double *x = q->L->x;
    for (int j = 0; j < n; j++) {
        double pivot = q->L->is_ll ? x[p[j]] * x[p[j]] : x[p[j]];
        if (!(pivot > UNDETERMINED_PIVOT)) return ((const int *)q->L->Perm)[j];
    }
    return -1;
}

/* Solves the factorised system for the step; false where memory ran out. */
static bool solve_step(tr_lsq *q) {
    int n = q->problem->n_unknowns;
    double *b = q->rhs->x;
    for (int j = 0; j < n; j++) b[j] = -q->g[j] * q->scale[j];
    cholmod_dense *x = cholmod_solve(CHOLMOD_A, q->L, q->rhs, &q->common);
    if (!x) return false;
    for (int j = 0; j < n; j++) q->step[j] = ((double *)x->x)[j] * q->scale[j];
    cholmod_free_dense(&x, &q->common);
    return true;
}

bool tr_lsq_solve(tr_lsq *q, tr_lsq_options options, tr_lsq_result *result, tr_error *err) {
    const tr_lsq_problem *problem = q->problem;
    int n = problem->n_unknowns;
    loss l = {.huber = options.huber};
    int max_iterations =
        options.max_iterations > 0 ? options.max_iterations : DEFAULT_MAX_ITERATIONS;
    double small_step = options.small_step > 0 ? options.small_step : DEFAULT_SMALL_STEP;
    double lambda = options.start_damping > 0 ? options.start_damping : DEFAULT_START_DAMPING;
    double grow = 2;
    bool converged = false;
    memset(result, 0, sizeof *result);
    memset(q->step, 0, (size_t)n * sizeof *q->step);
    problem->move(problem->context, q->step);
    if (!assemble(q, l, result)) {
        return tr_fail(err, TR_NO_MEASURE,
                       "the start of the adjustment has marks behind the camera");
    }
    for (int iteration = 0; iteration < max_iterations && !converged && n > 0; iteration++) {
        int bad;
        result->iterations = iteration + 1;
        if (!factorise(q, lambda, &bad)) {
            if (q->common.status == CHOLMOD_OUT_OF_MEMORY) return tr_fail_memory(err);
            if (bad >= 0 && !(q->values[q->diagonal[bad]] > 0)) {
                fail_undetermined(q, bad, err);
                return false;
            }
            lambda = fmax(lambda, 1e-10) * grow;
            grow *= 2;
            if (lambda > 1e12) break;
            continue;
        }
        if (!solve_step(q)) return tr_fail_memory(err);
        /* Predicted fall of the cost, in scaled unknowns: step' (lambda step - g). */
        double predicted = 0;
        double largest = 0;
        for (int j = 0; j < n; j++) {
            double s = q->step[j] / q->scale[j];
            predicted += s * (lambda * s - q->g[j] * q->scale[j]);
            largest = fmax(largest, fabs(s));
        }
        problem->move(problem->context, q->step);
        double cost = trial_cost(q, l);
        double unit = sqrt(result->sum_squares / fmax(1, result->degrees_of_freedom));
        /* Damping shortens a step, and what it gains, by up to 1 + lambda: what is small only for
           that is no sign of a minimum. A gain of less than the square of a residual's rounding in
           each row is none, also where the marks fit exactly. */
        double possible = (1 + lambda) * fabs(predicted);
        double nothing = DBL_EPSILON * result->cost + ROUNDING_OF_RESIDUAL * ROUNDING_OF_RESIDUAL *
                                                          (result->degrees_of_freedom + n);
        bool is_last =
            (1 + lambda) * largest <= small_step * fmax(unit, 1e-12) || possible <= nothing;
        double gain = (result->cost - cost) / predicted;
        if (cost <= result->cost + (is_last ? nothing : 0)) {
            problem->accept(problem->context);
            double f = 2 * gain - 1;
            lambda *= fmax(1.0 / 3, 1 - f * f * f);
            lambda = fmax(lambda, 1e-15);
            grow = 2;
            l.is_late = iteration + 1 >= EARLY_STEPS;
            if (!assemble(q, l, result)) {
                return tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
            }
        } else {
            /* What was to be gained is less than rounding can tell: this is the minimum. */
            if (possible <= ROUNDING_OF_COST * result->cost) is_last = true;
            lambda *= grow;
            grow *= 2;
            if (lambda > 1e12 && !is_last) break;
        }
        converged = is_last;
    }
    memset(q->step, 0, (size_t)n * sizeof *q->step);
    problem->move(problem->context, q->step);
    l.is_late = false; /* the covariance is that of weighted least squares */
    if (!assemble(q, l, result)) {
        return tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
    }
    int bad = -1;
    if (n > 0 && !factorise(q, 0, &bad)) {
        if (q->common.status == CHOLMOD_OUT_OF_MEMORY) return tr_fail_memory(err);
        fail_undetermined(q, bad < 0 ? 0 : bad, err);
        return false;
    }
    if (n > 0 && (bad = undetermined(q)) >= 0) {
        fail_undetermined(q, bad, err);
        return false;
    }
    result->is_settled = converged || n == 0;
    return true;
}

bool tr_lsq_covariance(tr_lsq *q, const int *unknowns, int n, double *out, tr_error *err) {
    int size = q->problem->n_unknowns;
    double *b = q->rhs->x;
    for (int k = 0; k < n; k++) {
        for (int j = 0; j < size; j++) b[j] = 0;
        b[unknowns[k]] = q->scale[unknowns[k]];
        cholmod_dense *x = cholmod_solve(CHOLMOD_A, q->L, q->rhs, &q->common);
        if (!x) return tr_fail_memory(err);
        for (int m = 0; m < n; m++) {
            out[m * n + k] = ((double *)x->x)[unknowns[m]] * q->scale[unknowns[m]];
        }
        cholmod_free_dense(&x, &q->common);
    }
    /* Symmetric to the last bit, whatever the order of the sums was. */
    for (int a = 0; a < n; a++) {
        for (int b2 = 0; b2 < a; b2++) {
            double mean = (out[a * n + b2] + out[b2 * n + a]) / 2;
            out[a * n + b2] = out[b2 * n + a] = mean;
        }
    }
    return true;
}

bool tr_lsq_inverse_column(tr_lsq *q, int unknown, double *out, tr_error *err) {
    int n = q->problem->n_unknowns;
    double *b = q->rhs->x;
    for (int j = 0; j < n; j++) b[j] = 0;
    b[unknown] = q->scale[unknown];
    cholmod_dense *x = cholmod_solve(CHOLMOD_A, q->L, q->rhs, &q->common);
    if (!x) return tr_fail_memory(err);
    for (int j = 0; j < n; j++) out[j] = ((double *)x->x)[j] * q->scale[j];
    cholmod_free_dense(&x, &q->common);
    return true;
}
