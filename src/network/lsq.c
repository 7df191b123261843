#include "network/lsq.h"

#include <cholmod.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"

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

/* Terms that follow each other and share the first of the unknowns that they depend on, such as the
   marks of one sheet in one photo: what belongs to those is summed in one dense block before it
   goes into H; what each has beside them, its tail, goes there by itself. */
typedef struct {
    int first, end; /* terms */
    int n_shared;   /* columns */
    size_t slot;    /* its first, in slots */
} run;

struct tr_lsq {
    const tr_lsq_problem *problem;
    cholmod_common common;
    cholmod_sparse *H; /* upper triangle, columns sorted */
    cholmod_factor *L;
    run *runs;
    int n_runs;
    int *slots;    /* for each run, for each pair a <= b of its shared columns, then for each of its
                      terms for each pair of any column and one of the tail: place in H->x */
    int *diagonal; /* place of each diagonal entry in H->x */
    double *g;     /* J'r */
    double *scale; /* 1 / sqrt(diagonal of H) */
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

double tr_lsq_weight(double huber, int rows, double sum_squares, double *rho) {
    double k2 = huber * huber * rows;
    if (huber <= 0 || sum_squares <= k2) {
        *rho = sum_squares;
        return 1;
    }
    double k = sqrt(k2);
    *rho = 2 * k * sqrt(sum_squares) - k2;
    return k / sqrt(sum_squares);
}

/* Weight of a term and its share of the cost. */
static double term_weight(loss l, const tr_lsq_term *term, double s, double *rho) {
    return tr_lsq_weight(term->is_robust ? l.huber : 0, term->rows, s, rho);
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

/* How many of the first columns two terms have in common, at most `most`. */
static int common_columns(const tr_lsq_term *a, const tr_lsq_term *b, int most) {
    int n = 0;
    while (n < most && n < a->n_columns && n < b->n_columns && a->columns[n] == b->columns[n]) n++;
    return n;
}

/* A term's tail is short, and its unknowns come behind all shared ones: else the term begins a run
   of its own. */
static bool has_short_tail(const tr_lsq_term *term, int n_shared) {
    int last = -1;
    if (4 * (term->n_columns - n_shared) > term->n_columns) return false;
    for (int k = 0; k < n_shared; k++) last = term->columns[k] > last ? term->columns[k] : last;
    for (int k = n_shared; k < term->n_columns; k++) {
        if (term->columns[k] <= last) return false;
    }
    return true;
}

static size_t pairs(int n) {
    return (size_t)n * ((size_t)n + 1) / 2;
}

/* Divides the terms into runs; returns how many slots they need. */
static size_t make_runs(tr_lsq *q) {
    const tr_lsq_problem *problem = q->problem;
    size_t n_slots = 0;
    run *last = NULL;
    for (int t = 0; t < problem->n_terms; t++) {
        const tr_lsq_term *term = &problem->terms[t];
        const tr_lsq_term *first = last ? &problem->terms[last->first] : NULL;
        int n = last ? common_columns(first, term, last->n_shared) : 0;
        /* Once there is a tail, those of the terms before stay short only if it does. */
        if (!last || n == 0 || !has_short_tail(term, n) || !has_short_tail(first, n)) {
            last = &q->runs[q->n_runs++];
            *last = (run){.first = t, .n_shared = term->n_columns};
        } else {
            last->n_shared = n;
        }
        last->end = t + 1;
    }
    for (int r = 0; r < q->n_runs; r++) {
        run *now = &q->runs[r];
        now->slot = n_slots;
        n_slots += pairs(now->n_shared);
        for (int t = now->first; t < now->end; t++) {
            n_slots += pairs(problem->terms[t].n_columns) - pairs(now->n_shared);
        }
    }
    return n_slots;
}

/* Columns that meet: the shared ones of a run (number r), or all those of one term of a run
   (n_runs + its number), for the sake of its tail. */
typedef struct {
    const int *columns;
    int n;
} meeting;

static meeting meeting_of(const tr_lsq *q, int number) {
    if (number < q->n_runs) {
        const run *r = &q->runs[number];
        return (meeting){q->problem->terms[r->first].columns, r->n_shared};
    }
    const tr_lsq_term *term = &q->problem->terms[number - q->n_runs];
    return (meeting){term->columns, term->n_columns};
}

/* For each unknown the meetings that list its rows: a run where it is shared, a term where it is in
   the tail. start has n + 2 places. Both are owned by the caller. */
static bool meetings_by_column(const tr_lsq *q, int **start, int **meetings) {
    const tr_lsq_problem *problem = q->problem;
    int n = problem->n_unknowns;
    int total = 0;
    for (int t = 0; t < problem->n_terms; t++) total += problem->terms[t].n_columns;
    *start = calloc((size_t)n + 2, sizeof **start);
    *meetings = malloc(((size_t)total + 1) * sizeof **meetings);
    if (!*start || !*meetings) return false;
    for (int pass = 0; pass < 2; pass++) {
        for (int r = 0; r < q->n_runs; r++) {
            const run *now = &q->runs[r];
            const int *shared = problem->terms[now->first].columns;
            for (int a = 0; a < now->n_shared; a++) {
                if (pass == 0)
                    (*start)[shared[a] + 2]++;
                else
                    (*meetings)[(*start)[shared[a] + 1]++] = r;
            }
            for (int t = now->first; t < now->end; t++) {
                const tr_lsq_term *term = &problem->terms[t];
                for (int a = now->n_shared; a < term->n_columns; a++) {
                    if (pass == 0)
                        (*start)[term->columns[a] + 2]++;
                    else
                        (*meetings)[(*start)[term->columns[a] + 1]++] = q->n_runs + t;
                }
            }
        }
        for (int j = 0; j < n && pass == 0; j++) (*start)[j + 2] += (*start)[j + 1];
    }
    return true;
}

/* Rows i <= j of column j: the unknowns that meet j in a term, sorted; last_seen marks those that
   are listed already. Returns their number. */
static int list_rows(const tr_lsq *q, const int *meetings, int n_meetings, int j, int *last_seen,
                     int *rows) {
    int n = 0;
    rows[n++] = j;
    last_seen[j] = j;
    for (int k = 0; k < n_meetings; k++) {
        meeting m = meeting_of(q, meetings[k]);
        for (int a = 0; a < m.n; a++) {
            int i = m.columns[a];
            if (i >= j || last_seen[i] == j) continue;
            last_seen[i] = j;
            rows[n++] = i;
        }
    }
    qsort(rows, (size_t)n, sizeof *rows, compare_ints);
    return n;
}

static int slot_of(const tr_lsq *q, int a, int b) {
    return find_slot(q->H->p, q->H->i, a < b ? a : b, a > b ? a : b);
}

/* Where each pair of columns stands in H->x, in the order of tr_lsq's slots. */
static void fill_slots(tr_lsq *q) {
    size_t slot = 0;
    for (int r = 0; r < q->n_runs; r++) {
        const run *now = &q->runs[r];
        const int *shared = q->problem->terms[now->first].columns;
        for (int a = 0; a < now->n_shared; a++) {
            for (int b = a; b < now->n_shared; b++) {
                q->slots[slot++] = slot_of(q, shared[a], shared[b]);
            }
        }
        for (int t = now->first; t < now->end; t++) {
            const tr_lsq_term *term = &q->problem->terms[t];
            for (int b = now->n_shared; b < term->n_columns; b++) {
                for (int a = 0; a <= b; a++) {
                    q->slots[slot++] = slot_of(q, term->columns[a], term->columns[b]);
                }
            }
        }
    }
}

/* The pattern of H: all pairs of columns that meet in a term, and the diagonal. */
static bool make_pattern(tr_lsq *q, tr_error *err) {
    int n = q->problem->n_unknowns;
    bool ok = false;
    int *start = NULL;
    int *meetings = NULL;
    int *last_seen = malloc(((size_t)n + 1) * sizeof *last_seen);
    int *rows = malloc(((size_t)n + 1) * sizeof *rows);
    int *counts = calloc((size_t)n + 1, sizeof *counts);
    q->slots = malloc((make_runs(q) + 1) * sizeof *q->slots);
    if (!last_seen || !rows || !counts || !q->slots || !meetings_by_column(q, &start, &meetings)) {
        tr_fail_memory(err);
        goto out;
    }
    /* Two passes: count, then fill. */
    size_t total = 0;
    for (int j = 0; j < n; j++) last_seen[j] = -1;
    for (int j = 0; j < n; j++) {
        counts[j] = list_rows(q, meetings + start[j], start[j + 1] - start[j], j, last_seen, rows);
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
        list_rows(q, meetings + start[j], start[j + 1] - start[j], j, last_seen, rows);
        memcpy(to, rows, (size_t)counts[j] * sizeof *rows);
        p[j + 1] = p[j] + counts[j];
        q->diagonal[j] = p[j + 1] - 1;
    }
    fill_slots(q);
    ok = true;
out:
    free(start);
    free(meetings);
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
    q->runs = calloc((size_t)problem->n_terms + 1, sizeof *q->runs);
    q->diagonal = calloc(n + 1, sizeof *q->diagonal);
    q->g = calloc(n + 1, sizeof *q->g);
    q->scale = calloc(n + 1, sizeof *q->scale);
    q->step = calloc(n + 1, sizeof *q->step);
    if (!q->runs || !q->diagonal || !q->g || !q->scale || !q->step) {
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
    free(q->runs);
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

/* J' W J (upper triangle) and J' W r of the shared columns of a run. */
typedef struct {
    double H[TR_LSQ_MAX_COLUMNS * TR_LSQ_MAX_COLUMNS];
    double g[TR_LSQ_MAX_COLUMNS];
} block;

/* One term, weighted: its Jacobian, g = w J'r. */
typedef struct {
    int rows, n;
    double w, radial;
    const double *J;
    double g[TR_LSQ_MAX_COLUMNS];
} weighted_term;

/* Adds w J'J - radial g g' of the shared columns. Inner loops run along rows of J, so that they
   vectorise. */
static void add_shared(const weighted_term *term, int n_shared, block *sum) {
    for (int i = 0; i < term->rows; i++) {
        const double *row = term->J + (long)i * term->n;
        for (int a = 0; a < n_shared; a++) {
            double ja = term->w * row[a];
            double *ha = sum->H + (long)a * n_shared;
            for (int b = a; b < n_shared; b++) ha[b] += ja * row[b];
        }
    }
    for (int a = 0; a < n_shared && term->radial > 0; a++) {
        double *ha = sum->H + (long)a * n_shared;
        for (int b = a; b < n_shared; b++) ha[b] -= term->radial * term->g[a] * term->g[b];
    }
    for (int a = 0; a < n_shared; a++) sum->g[a] += term->g[a];
}

/* Adds the columns of the tail to H. Returns the next slot. */
static const int *add_tail(tr_lsq *q, const weighted_term *term, const int *columns, int n_shared,
                           const int *slot) {
    for (int b = n_shared; b < term->n; b++) {
        double h[TR_LSQ_MAX_COLUMNS] = {0};
        for (int i = 0; i < term->rows; i++) {
            const double *row = term->J + (long)i * term->n;
            double jb = term->w * row[b];
            for (int a = 0; a <= b; a++) h[a] += jb * row[a];
        }
        for (int a = 0; a <= b; a++) {
            q->values[*slot++] += h[a] - term->radial * term->g[a] * term->g[b];
        }
        q->g[columns[b]] += term->g[b];
    }
    return slot;
}

static void add_block(tr_lsq *q, const run *now, const block *sum) {
    const int *columns = q->problem->terms[now->first].columns;
    const int *slot = q->slots + now->slot;
    int n = now->n_shared;
    for (int a = 0; a < n; a++) {
        q->g[columns[a]] += sum->g[a];
        for (int b = a; b < n; b++) q->values[*slot++] += sum->H[(long)a * n + b];
    }
}

/* H = J' W J and g = J' W r in the trial state. False where a term has no residual there. */
static bool assemble(tr_lsq *q, loss l, tr_lsq_result *result) {
    const tr_lsq_problem *problem = q->problem;
    size_t nnz = (size_t)((int *)q->H->p)[problem->n_unknowns];
    double r[TR_LSQ_MAX_ROWS];
    double J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    block sum;
    int rows = 0;
    memset(q->values, 0, nnz * sizeof *q->values);
    memset(q->g, 0, (size_t)problem->n_unknowns * sizeof *q->g);
    result->cost = 0;
    result->sum_squares = 0;
    for (int k = 0; k < q->n_runs; k++) {
        const run *now = &q->runs[k];
        int n_shared = now->n_shared;
        const int *slot = q->slots + now->slot + pairs(n_shared);
        memset(sum.H, 0, (size_t)(n_shared * n_shared) * sizeof *sum.H);
        memset(sum.g, 0, (size_t)n_shared * sizeof *sum.g);
        for (int t = now->first; t < now->end; t++) {
            const tr_lsq_term *term = &problem->terms[t];
            weighted_term weighted = {.rows = term->rows, .n = term->n_columns, .J = J};
            if (!problem->evaluate(problem->context, t, r, J)) return false;
            double s = 0;
            double rho;
            for (int i = 0; i < term->rows; i++) s += r[i] * r[i];
            weighted.w = term_weight(l, term, s, &rho);
            weighted.radial = l.is_late && weighted.w < 1 ? RADIAL_PART / (weighted.w * s) : 0;
            result->cost += rho;
            result->sum_squares += weighted.w * s;
            rows += term->rows;
            for (int i = 0; i < term->rows; i++) {
                for (int a = 0; a < weighted.n; a++) {
                    weighted.g[a] += weighted.w * J[(long)i * weighted.n + a] * r[i];
                }
            }
            add_shared(&weighted, n_shared, &sum);
            slot = add_tail(q, &weighted, term->columns, n_shared, slot);
        }
        add_block(q, now, &sum);
    }
    result->degrees_of_freedom = rows - problem->n_unknowns;
    result->variance_factor =
        result->degrees_of_freedom > 0 ? result->sum_squares / result->degrees_of_freedom : 0;
    return true;
}

static void fail_undetermined(const tr_lsq *q, int unknown, tr_error *err) {
    char name[160] = TR_N("an unknown");
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

bool tr_lsq_linearise(tr_lsq *q, double huber, tr_lsq_result *result, tr_error *err) {
    const tr_lsq_problem *problem = q->problem;
    int n = problem->n_unknowns;
    int bad = -1;
    memset(q->step, 0, (size_t)n * sizeof *q->step);
    problem->move(problem->context, q->step);
    /* The covariance is that of weighted least squares. */
    if (!assemble(q, (loss){.huber = huber}, result)) {
        return tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
    }
    if (n > 0 && !factorise(q, 0, &bad)) {
        if (q->common.status == CHOLMOD_OUT_OF_MEMORY) return tr_fail_memory(err);
        fail_undetermined(q, bad < 0 ? 0 : bad, err);
        return false;
    }
    if (n > 0 && (bad = undetermined(q)) >= 0) {
        fail_undetermined(q, bad, err);
        return false;
    }
    return true;
}

/* A step by the linearised problem. */
typedef struct {
    double predicted; /* reduction of the cost */
    double possible;  /* the same, were the step not damped */
    double nothing;   /* a change of the cost that is rounding */
    bool is_last;     /* it leads to the minimum */
} step_prediction;

/* Damping shortens a step, and the reduction that it brings, by up to 1 + lambda: a step that is
   small only for that is no sign of a minimum. A reduction below the square of a residual's
   rounding in each row is none, also where the marks fit exactly. now: where the step begins. */
static step_prediction predict_step(const tr_lsq *q, const tr_lsq_result *now, double lambda,
                                    double small_step) {
    int n = q->problem->n_unknowns;
    step_prediction o = {.predicted = 0};
    double largest = 0;
    /* In scaled unknowns: step' (lambda step - g). */
    for (int j = 0; j < n; j++) {
        double s = q->step[j] / q->scale[j];
        o.predicted += s * (lambda * s - q->g[j] * q->scale[j]);
        largest = fmax(largest, fabs(s));
    }
    double unit = sqrt(now->sum_squares / fmax(1, now->degrees_of_freedom));
    o.possible = (1 + lambda) * fabs(o.predicted);
    o.nothing = DBL_EPSILON * now->cost +
                ROUNDING_OF_RESIDUAL * ROUNDING_OF_RESIDUAL * (now->degrees_of_freedom + n);
    o.is_last = (1 + lambda) * largest <= small_step * fmax(unit, 1e-12) || o.possible <= o.nothing;
    return o;
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
        step_prediction o = predict_step(q, result, lambda, small_step);
        problem->move(problem->context, q->step);
        double cost = trial_cost(q, l);
        double gain_ratio = (result->cost - cost) / o.predicted;
        if (cost <= result->cost + (o.is_last ? o.nothing : 0)) {
            problem->accept(problem->context);
            double f = 2 * gain_ratio - 1;
            lambda *= fmax(1.0 / 3, 1 - f * f * f);
            lambda = fmax(lambda, 1e-15);
            grow = 2;
            l.is_late = iteration + 1 >= EARLY_STEPS;
            if (!assemble(q, l, result)) {
                return tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
            }
        } else {
            /* The reduction that was possible is less than rounding can tell: a minimum. */
            if (o.possible <= ROUNDING_OF_COST * result->cost) o.is_last = true;
            lambda *= grow;
            grow *= 2;
            if (lambda > 1e12 && !o.is_last) break;
        }
        converged = o.is_last;
    }
    if (!tr_lsq_linearise(q, options.huber, result, err)) return false;
    result->has_converged = converged || n == 0;
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

void tr_lsq_reduce(const tr_lsq *q, const double *A, int n, double *out) {
    int size = q->problem->n_unknowns;
    if (size == 0) return; /* nor is there a factor then */
    const int *perm = q->L->Perm;
    const int *p = q->L->p;
    const int *i = q->L->i;
    const int *nz = q->L->nz;
    const double *x = q->L->x;
    for (int j = 0; j < size; j++) {
        for (int c = 0; c < n; c++)
            out[(long)j * n + c] = A[(long)perm[j] * n + c] * q->scale[perm[j]];
    }
    for (int j = 0; j < size; j++) {
        double *y = out + (long)j * n;
        bool is_zero = true;
        for (int c = 0; c < n; c++) is_zero = is_zero && y[c] == 0.0;
        if (is_zero) continue; /* most are, where A is sparse */
        for (int c = 0; c < n; c++) y[c] /= x[p[j]];
        for (int k = p[j] + 1; k < p[j] + nz[j]; k++) {
            double *below = out + (long)i[k] * n;
            for (int c = 0; c < n; c++) below[c] -= x[k] * y[c];
        }
    }
}
