/* The least-squares solver against certified regressions, and on small problems of its own. */
#include "check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "network/lsq.h"
#include "outside/nist.h"

enum { MOST_PARAMETERS = 8, MOST_POINTS = 64 };

/* y = model(x): value, and its derivatives by the parameters. */
typedef double (*model_function)(const double *b, double x, double *J);

typedef struct {
    model_function model;
    const double (*data)[2]; /* y, x */
    int n_points, n_parameters;
    double sd; /* whitens the residuals */
    double accepted[MOST_PARAMETERS], trial[MOST_PARAMETERS];
    tr_lsq_term terms[MOST_POINTS];
    int columns[MOST_PARAMETERS];
    tr_lsq_problem problem;
} regression;

static bool evaluate(void *context, int term, double *r, double *J) {
    const regression *q = context;
    double f = q->model(q->trial, q->data[term][1], J);
    r[0] = (f - q->data[term][0]) / q->sd;
    for (int j = 0; J && j < q->n_parameters; j++) J[j] /= q->sd;
    return isfinite(f);
}

static void move(void *context, const double *delta) {
    regression *q = context;
    for (int j = 0; j < q->n_parameters; j++) q->trial[j] = q->accepted[j] + delta[j];
}

static void accept(void *context) {
    regression *q = context;
    memcpy(q->accepted, q->trial, sizeof q->accepted);
}

static void name(void *context, int unknown, char *out, size_t size) {
    (void)context;
    snprintf(out, size, "b%d", unknown + 1);
}

static void set_up(regression *q, model_function model, const double (*data)[2], int n_points,
                   const double *start, int n_parameters) {
    memset(q, 0, sizeof *q);
    q->model = model;
    q->data = data;
    q->n_points = n_points;
    q->n_parameters = n_parameters;
    q->sd = 1;
    assert_true(n_points <= MOST_POINTS && n_parameters <= MOST_PARAMETERS);
    memcpy(q->accepted, start, (size_t)n_parameters * sizeof *start);
    for (int j = 0; j < n_parameters; j++) q->columns[j] = j;
    for (int i = 0; i < n_points; i++) {
        q->terms[i] = (tr_lsq_term){.rows = 1, .n_columns = n_parameters, .columns = q->columns};
    }
    q->problem = (tr_lsq_problem){.n_unknowns = n_parameters,
                                  .n_terms = n_points,
                                  .terms = q->terms,
                                  .context = q,
                                  .evaluate = evaluate,
                                  .move = move,
                                  .accept = accept,
                                  .name = name};
}

/* Solves; covariance may be NULL. */
static bool solve(regression *q, tr_lsq_options options, tr_lsq_result *result, double *covariance,
                  tr_error *err) {
    tr_lsq *lsq = tr_lsq_new(&q->problem, err);
    assert_non_null(lsq);
    bool ok = tr_lsq_solve(lsq, options, result, err);
    if (!ok) assert_int_equal(err->code, TR_NO_MEASURE);
    if (ok && covariance) ok = tr_lsq_covariance(lsq, q->columns, q->n_parameters, covariance, err);
    tr_lsq_free(lsq);
    return ok;
}

static double misra1a(const double *b, double x, double *J) {
    double e = exp(-b[1] * x);
    if (J) {
        J[0] = 1 - e;
        J[1] = b[0] * x * e;
    }
    return b[0] * (1 - e);
}

static double thurber(const double *b, double x, double *J) {
    double top = b[0] + x * (b[1] + x * (b[2] + x * b[3]));
    double bottom = 1 + x * (b[4] + x * (b[5] + x * b[6]));
    double f = top / bottom;
    if (J) {
        for (int j = 0; j < 4; j++) J[j] = pow(x, j) / bottom;
        for (int j = 4; j < 7; j++) J[j] = -f * pow(x, j - 3) / bottom;
    }
    return f;
}

static double mgh09(const double *b, double x, double *J) {
    double top = x * x + b[1] * x;
    double bottom = x * x + b[2] * x + b[3];
    double f = b[0] * top / bottom;
    if (J) {
        J[0] = top / bottom;
        J[1] = b[0] * x / bottom;
        J[2] = -f * x / bottom;
        J[3] = -f / bottom;
    }
    return f;
}

static double line(const double *b, double x, double *J) {
    if (J) {
        J[0] = 1;
        J[1] = x;
    }
    return b[0] + b[1] * x;
}

/* Number of digits that agree, as NIST counts them. */
static double agreeing_digits(double value, double certified) {
    return -log10(fmax(fabs(value - certified) / fabs(certified), 1e-16));
}

typedef struct {
    model_function model;
    const double (*data)[2];
    int n_points, n_parameters;
    const double *starts[2];
    const double *certified, *sd;
    double rss, residual_sd;
} certified_set;

static void check_certified(const certified_set *set) {
    for (int s = 0; s < 2; s++) {
        regression q;
        tr_lsq_result result;
        tr_error err = {0};
        double C[MOST_PARAMETERS * MOST_PARAMETERS];
        int n = set->n_parameters;
        set_up(&q, set->model, set->data, set->n_points, set->starts[s], n);
        q.sd = set->residual_sd; /* the solver expects residuals of about 1 */
        bool ok = solve(&q, (tr_lsq_options){.max_iterations = 1000}, &result, C, &err);
        if (!ok) print_error("start %d: %s\n", s + 1, err.text);
        assert_true(ok && result.has_converged);
        assert_int_equal(result.degrees_of_freedom, set->n_points - n);
        CHECK_AT_MOST(7, agreeing_digits(q.sd * q.sd * result.sum_squares, set->rss));
        CHECK_AT_MOST(7, agreeing_digits(q.sd * sqrt(result.variance_factor), set->residual_sd));
        for (int j = 0; j < n; j++) {
            CHECK_AT_MOST(7, agreeing_digits(q.accepted[j], set->certified[j]));
            double sd = sqrt(C[j * n + j] * result.variance_factor);
            CHECK_AT_MOST(6, agreeing_digits(sd, set->sd[j]));
        }
    }
}

static void nist_misra1a(void **unused) {
    (void)unused;
    check_certified(&(certified_set){misra1a,
                                     misra1a_data,
                                     14,
                                     2,
                                     {misra1a_start1, misra1a_start2},
                                     misra1a_certified,
                                     misra1a_sd,
                                     misra1a_rss,
                                     misra1a_residual_sd});
}

static void nist_thurber(void **unused) {
    (void)unused;
    check_certified(&(certified_set){thurber,
                                     thurber_data,
                                     37,
                                     7,
                                     {thurber_start1, thurber_start2},
                                     thurber_certified,
                                     thurber_sd,
                                     thurber_rss,
                                     thurber_residual_sd});
}

static void nist_mgh09(void **unused) {
    (void)unused;
    check_certified(&(certified_set){mgh09,
                                     mgh09_data,
                                     11,
                                     4,
                                     {mgh09_start1, mgh09_start2},
                                     mgh09_certified,
                                     mgh09_sd,
                                     mgh09_rss,
                                     mgh09_residual_sd});
}

/* Linear: any start will do. */
static void nist_norris(void **unused) {
    (void)unused;
    static const double start1[2] = {0, 0};
    static const double start2[2] = {1000, -50};
    check_certified(&(certified_set){line,
                                     norris_data,
                                     36,
                                     2,
                                     {start1, start2},
                                     norris_certified,
                                     norris_sd,
                                     norris_rss,
                                     norris_residual_sd});
}

/* b1 + b3 and b2 act alike: b1 and b3 cannot be told apart. */
static double twice_the_same(const double *b, double x, double *J) {
    if (J) {
        J[0] = 1;
        J[1] = x;
        J[2] = 1;
    }
    return b[0] + b[1] * x + b[2];
}

/* b2 has no effect at all. */
static double no_effect(const double *b, double x, double *J) {
    (void)x;
    if (J) {
        J[0] = 1;
        J[1] = 0;
    }
    return b[0];
}

static void undetermined_is_named(void **unused) {
    (void)unused;
    static const double start[3] = {0, 0, 0};
    regression q;
    tr_lsq_result result;
    tr_error err = {0};
    set_up(&q, twice_the_same, norris_data, 36, start, 3);
    assert_false(solve(&q, (tr_lsq_options){0}, &result, NULL, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    assert_true(strncmp(err.text, "b1 is not determined", 20) == 0 ||
                strncmp(err.text, "b3 is not determined", 20) == 0);
    err = (tr_error){0};
    set_up(&q, no_effect, norris_data, 36, start, 2);
    assert_false(solve(&q, (tr_lsq_options){0}, &result, NULL, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    assert_memory_equal(err.text, "b2 is not determined", 20);
}

/* Two points, three unknowns; and two points, two unknowns, which is enough. */
static void as_many_as_unknowns(void **unused) {
    (void)unused;
    static const double data[2][2] = {{1, 0}, {3, 1}};
    static const double start[3] = {5, 5, 5};
    regression q;
    tr_lsq_result result;
    tr_error err = {0};
    double C[4];
    set_up(&q, twice_the_same, data, 2, start, 3);
    assert_false(solve(&q, (tr_lsq_options){0}, &result, NULL, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    err = (tr_error){0};
    set_up(&q, line, data, 2, start, 2);
    if (!solve(&q, (tr_lsq_options){0}, &result, C, &err)) print_error("%s\n", err.text);
    assert_int_equal(err.code, TR_OK);
    CHECK_NEAR(q.accepted[0], 1, 1e-9);
    CHECK_NEAR(q.accepted[1], 2, 1e-9);
    assert_int_equal(result.degrees_of_freedom, 0);
    CHECK_NEAR(result.variance_factor, 0, 0);
    CHECK_NEAR(C[0], 1, 1e-9); /* H = [2 1; 1 1], inverse [1 -1; -1 2] */
    CHECK_NEAR(C[1], -1, 1e-9);
    CHECK_NEAR(C[3], 2, 1e-9);
}

/* Data without any error at all: a minimum of 0 is a minimum too. */
static void exact_data(void **unused) {
    (void)unused;
    static const double truth[2] = {2.389e2, 5.5e-4};
    double data[14][2];
    for (int i = 0; i < 14; i++) {
        data[i][1] = misra1a_data[i][1];
        data[i][0] = misra1a(truth, data[i][1], NULL);
    }
    for (int s = 0; s < 2; s++) {
        regression q;
        tr_lsq_result result;
        tr_error err = {0};
        set_up(&q, misra1a, (const double(*)[2])data, 14, s ? misra1a_start2 : misra1a_start1, 2);
        q.sd = 0.01;
        if (!solve(&q, (tr_lsq_options){0}, &result, NULL, &err)) print_error("%s\n", err.text);
        assert_int_equal(err.code, TR_OK);
        assert_true(result.has_converged);
        CHECK_NEAR(q.accepted[0], truth[0], 1e-6);
        CHECK_NEAR(q.accepted[1], truth[1], 1e-12);
    }
}

/* The starts of Misra1a need more than two steps. */
static void too_few_steps(void **unused) {
    (void)unused;
    regression q;
    tr_lsq_result result;
    tr_error err = {0};
    set_up(&q, misra1a, misra1a_data, 14, misra1a_start1, 2);
    assert_true(solve(&q, (tr_lsq_options){.max_iterations = 2}, &result, NULL, &err));
    assert_false(result.has_converged);
    assert_int_equal(result.iterations, 2);
}

/* A minimum out of reach: the model ends at b1 = 0, where the cost still falls. Steps get shorter
   and shorter there, which is not to be taken for a minimum. */
static double ends_at_zero(const double *b, double x, double *J) {
    if (J) {
        J[0] = x;
        J[1] = 1;
    }
    return b[0] > 0 ? b[0] * x + b[1] : NAN;
}

static void end_of_the_model_is_no_minimum(void **unused) {
    (void)unused;
    static const double data[4][2] = {{3, 0}, {2, 1}, {1.1, 2}, {0, 3}}; /* slope -1 */
    static const double start[2] = {1, 0};
    regression q;
    tr_lsq_result result;
    tr_error err = {0};
    set_up(&q, ends_at_zero, data, 4, start, 2);
    assert_true(solve(&q, (tr_lsq_options){.max_iterations = 1000}, &result, NULL, &err));
    assert_false(result.has_converged);
}

/* ---- Huber's loss ---- */

enum { N_LEVEL = 25 };

static double level(const double *b, double x, double *J) {
    (void)x;
    if (J) J[0] = 1;
    return b[0];
}

/* A fixed sample with mean 0 and sd about 1 (normal quantiles), one of them made a gross outlier.
 */
static void level_data(double data[N_LEVEL][2], double outlier) {
    static const double quantile[N_LEVEL] = {
        -2.05, -1.55, -1.28, -1.08, -0.92, -0.77, -0.64, -0.52, -0.41, -0.31, -0.20, -0.10, 0,
        0.10,  0.20,  0.31,  0.41,  0.52,  0.64,  0.77,  0.92,  1.08,  1.28,  1.55,  2.05};
    for (int i = 0; i < N_LEVEL; i++) {
        data[i][0] = quantile[i];
        data[i][1] = 0;
    }
    if (outlier != 0.0) data[7][0] = outlier;
}

static double estimate_level(double outlier, double huber, bool is_robust, tr_lsq_result *result,
                             double *variance) {
    static const double start[1] = {0.5};
    double data[N_LEVEL][2];
    regression q;
    tr_error err = {0};
    level_data(data, outlier);
    set_up(&q, level, (const double(*)[2])data, N_LEVEL, start, 1);
    for (int i = 0; i < N_LEVEL; i++) q.terms[i].is_robust = is_robust;
    if (!solve(&q, (tr_lsq_options){.huber = huber}, result, variance, &err)) {
        print_error("%s\n", err.text);
    }
    assert_int_equal(err.code, TR_OK);
    assert_true(result->has_converged);
    return q.accepted[0];
}

static void huber_bounds_an_outlier(void **unused) {
    (void)unused;
    const double k = 2.5;
    tr_lsq_result result;
    double variance;
    /* Without an outlier beyond k the loss does not act. */
    CHECK_NEAR(estimate_level(0, k, true, &result, &variance), 0, 1e-9);
    CHECK_NEAR(variance, 1.0 / N_LEVEL, 1e-9);
    CHECK_NEAR(result.cost, result.sum_squares, 1e-9);
    /* A gross one pulls with k at most, however far off it is: sum of the others + k = 0, that is
       24 m - (-0.52 missing: +0.52) = k. */
    double bound = (k + 0.52) / (N_LEVEL - 1);
    CHECK_NEAR(estimate_level(1e3, k, true, &result, &variance), bound, 1e-6);
    CHECK_NEAR(estimate_level(1e6, k, true, &result, &variance), bound, 1e-6);
    /* Cost beyond k: 2 k |r| - k^2. */
    double others = 0;
    double data[N_LEVEL][2];
    level_data(data, 0);
    for (int i = 0; i < N_LEVEL; i++) {
        if (i != 7) others += (data[i][0] - bound) * (data[i][0] - bound);
    }
    CHECK_NEAR(result.cost, others + 2 * k * (1e6 - bound) - k * k, 1e-3);
    /* Its weight is k/|r|: nothing in the covariance. */
    CHECK_NEAR(variance, 1.0 / (N_LEVEL - 1), 1e-6);
    /* Plain least squares follows it; so does a term that is not robust. */
    CHECK_NEAR(estimate_level(1e3, 0, true, &result, &variance), (1e3 + 0.52) / N_LEVEL, 1e-6);
    CHECK_NEAR(estimate_level(1e3, k, false, &result, &variance), (1e3 + 0.52) / N_LEVEL, 1e-6);
}

/* ---- covariance ---- */

/* A line through equally good points: the covariance in closed form, all of it and one entry. */
static void covariance_of_a_line(void **unused) {
    (void)unused;
    static const double start[2] = {0, 0};
    regression q;
    tr_lsq_result result;
    tr_error err = {0};
    double S0 = 36, S1 = 0, S2 = 0;
    double C[4], c;
    const double sd = 0.25;
    const int second = 1;
    set_up(&q, line, norris_data, 36, start, 2);
    q.sd = sd;
    for (int i = 0; i < 36; i++) {
        S1 += norris_data[i][1];
        S2 += norris_data[i][1] * norris_data[i][1];
    }
    double D = S0 * S2 - S1 * S1;
    tr_lsq *lsq = tr_lsq_new(&q.problem, &err);
    assert_non_null(lsq);
    assert_true(tr_lsq_solve(lsq, (tr_lsq_options){0}, &result, &err));
    assert_true(tr_lsq_covariance(lsq, q.columns, 2, C, &err));
    assert_true(tr_lsq_covariance(lsq, &second, 1, &c, &err));
    tr_lsq_free(lsq);
    CHECK_NEAR(C[0] / (sd * sd * S2 / D), 1, 1e-9);
    CHECK_NEAR(C[1] / (-sd * sd * S1 / D), 1, 1e-9);
    CHECK_NEAR(C[2], C[1], 0);
    CHECK_NEAR(C[3] / (sd * sd * S0 / D), 1, 1e-9);
    CHECK_NEAR(c, C[3], 0);
}

/* ---- terms that do not share all unknowns ---- */

/* A chain of heights h0 .. h9: differences between neighbours and over two, and the first height
   itself; columns in no order. Compared with dense normal equations. */
enum { HEIGHTS = 10, CHAIN_TERMS = 1 + 9 + 8 };

typedef struct {
    double accepted[HEIGHTS], trial[HEIGHTS];
    double measured[CHAIN_TERMS];
    int columns[CHAIN_TERMS][2];
    tr_lsq_term terms[CHAIN_TERMS];
} chain;

static bool chain_evaluate(void *context, int term, double *r, double *J) {
    const chain *c = context;
    bool is_first = c->terms[term].n_columns == 1;
    const int *k = c->columns[term];
    r[0] = (is_first ? c->trial[k[0]] : c->trial[k[0]] - c->trial[k[1]]) - c->measured[term];
    if (J) {
        J[0] = 1;
        if (!is_first) J[1] = -1;
    }
    return true;
}

static void chain_move(void *context, const double *delta) {
    chain *c = context;
    for (int j = 0; j < HEIGHTS; j++) c->trial[j] = c->accepted[j] + delta[j];
}

static void chain_accept(void *context) {
    chain *c = context;
    memcpy(c->accepted, c->trial, sizeof c->accepted);
}

/* Gauss-Jordan; the inverse of a positive definite matrix, in place. */
static void invert(double *A, int n) {
    for (int k = 0; k < n; k++) {
        double pivot = A[k * n + k];
        A[k * n + k] = 1;
        for (int j = 0; j < n; j++) A[k * n + j] /= pivot;
        for (int i = 0; i < n; i++) {
            if (i == k) continue;
            double f = A[i * n + k];
            A[i * n + k] = 0;
            for (int j = 0; j < n; j++) A[i * n + j] -= f * A[k * n + j];
        }
    }
}

/* out' out = A' H^-1 A, with A half of zeros. inverse: of H. */
static void check_reduced(const tr_lsq *lsq, const double *inverse) {
    enum { N = 3 };
    double A[HEIGHTS * N] = {0};
    double out[HEIGHTS * N];
    for (int i = HEIGHTS / 2; i < HEIGHTS; i++) {
        for (int k = 0; k < N; k++) A[i * N + k] = cos(7.1 * i + 3.3 * k);
    }
    tr_lsq_reduce(lsq, A, N, out);
    for (int a = 0; a < N; a++) {
        for (int b = 0; b < N; b++) {
            double product = 0;
            double expected = 0;
            for (int i = 0; i < HEIGHTS; i++) {
                product += out[i * N + a] * out[i * N + b];
                for (int j = 0; j < HEIGHTS; j++) {
                    expected += A[i * N + a] * inverse[i * HEIGHTS + j] * A[j * N + b];
                }
            }
            CHECK_NEAR(product, expected, 1e-9);
        }
    }
}

static void sparse_terms(void **unused) {
    (void)unused;
    chain c = {0};
    double N[HEIGHTS * HEIGHTS] = {0};
    double b[HEIGHTS] = {0};
    for (int t = 0; t < CHAIN_TERMS; t++) {
        int step = t < 10 ? 1 : 2;
        int low = t == 0 ? 0 : t < 10 ? t - 1 : t - 10;
        /* A fixed disturbance between -1 and 1. */
        double e = sin(12.9898 * (t + 1));
        bool is_swapped = t % 3 == 0;
        c.columns[t][0] = t == 0 ? 0 : is_swapped ? low : low + step;
        c.columns[t][1] = t == 0 ? 0 : is_swapped ? low + step : low;
        c.terms[t] = (tr_lsq_term){.rows = 1, .n_columns = t == 0 ? 1 : 2, .columns = c.columns[t]};
        c.measured[t] = t == 0 ? 100 : (is_swapped ? -1 : 1) * 5 * step + e;
        double row[HEIGHTS] = {0};
        row[c.columns[t][0]] = 1;
        if (t > 0) row[c.columns[t][1]] = -1;
        for (int i = 0; i < HEIGHTS; i++) {
            b[i] += row[i] * c.measured[t];
            for (int j = 0; j < HEIGHTS; j++) N[i * HEIGHTS + j] += row[i] * row[j];
        }
    }
    invert(N, HEIGHTS);
    tr_lsq_problem problem = {.n_unknowns = HEIGHTS,
                              .n_terms = CHAIN_TERMS,
                              .terms = c.terms,
                              .context = &c,
                              .evaluate = chain_evaluate,
                              .move = chain_move,
                              .accept = chain_accept};
    tr_error err = {0};
    tr_lsq_result result;
    double C[HEIGHTS * HEIGHTS];
    /* All of them, backwards, to see that the order asked for is the order given. */
    int wanted[HEIGHTS];
    for (int j = 0; j < HEIGHTS; j++) wanted[j] = HEIGHTS - 1 - j;
    tr_lsq *lsq = tr_lsq_new(&problem, &err);
    assert_non_null(lsq);
    assert_true(tr_lsq_solve(lsq, (tr_lsq_options){0}, &result, &err));
    assert_true(tr_lsq_covariance(lsq, wanted, HEIGHTS, C, &err));
    check_reduced(lsq, N);
    tr_lsq_free(lsq);
    for (int i = 0; i < HEIGHTS; i++) {
        double expected = 0;
        for (int j = 0; j < HEIGHTS; j++) expected += N[i * HEIGHTS + j] * b[j];
        CHECK_NEAR(c.accepted[i], expected, 1e-9);
        for (int j = 0; j < HEIGHTS; j++) {
            CHECK_NEAR(C[i * HEIGHTS + j], N[wanted[i] * HEIGHTS + wanted[j]], 1e-9);
        }
    }
}

/* Misra1a with a second derivative that is wrong by a part in a thousand, and that is no number. */
static double misra1a_off(const double *b, double x, double *J) {
    double y = misra1a(b, x, J);
    if (J && x > 700) J[1] *= 1.001;
    return y;
}
static double misra1a_nan(const double *b, double x, double *J) {
    double y = misra1a(b, x, J);
    if (J && x > 700) J[1] = NAN;
    return y;
}
/* Another value when its derivatives are asked for. */
static double misra1a_two(const double *b, double x, double *J) {
    return misra1a(b, x, J) + (J ? 1e-9 : 0);
}

static bool check_misra1a(model_function model, tr_lsq_jacobian_check *worst) {
    regression q;
    tr_error err = {0};
    double step[2];
    set_up(&q, model, misra1a_data, 14, misra1a_start2, 2);
    for (int j = 0; j < 2; j++) step[j] = 6e-6 * q.accepted[j];
    bool ok = tr_lsq_check_jacobian(&q.problem, step, worst, &err);
    for (int j = 0; j < 2; j++) CHECK_NEAR(q.trial[j], q.accepted[j], 0);
    assert_true(ok == (err.code == TR_OK));
    return ok;
}

static void a_wrong_derivative_is_found(void **unused) {
    (void)unused;
    tr_lsq_jacobian_check worst;
    assert_true(check_misra1a(misra1a, &worst));
    CHECK_AT_MOST(worst.difference, 1e-7);
    assert_true(check_misra1a(misra1a_off, &worst));
    CHECK_NEAR(worst.difference, 1e-3, 1e-5);
    CHECK_NEAR(worst.analytic / worst.numeric, 1.001, 1e-6);
    assert_int_equal(worst.unknown, 1);
    assert_true(misra1a_data[worst.term][1] > 700);
    assert_true(check_misra1a(misra1a_nan, &worst));
    assert_true(isnan(worst.difference));
    assert_int_equal(worst.unknown, 1);
    assert_false(check_misra1a(misra1a_two, &worst));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nist_misra1a),
        cmocka_unit_test(nist_thurber),
        cmocka_unit_test(nist_mgh09),
        cmocka_unit_test(nist_norris),
        cmocka_unit_test(undetermined_is_named),
        cmocka_unit_test(as_many_as_unknowns),
        cmocka_unit_test(exact_data),
        cmocka_unit_test(too_few_steps),
        cmocka_unit_test(end_of_the_model_is_no_minimum),
        cmocka_unit_test(huber_bounds_an_outlier),
        cmocka_unit_test(covariance_of_a_line),
        cmocka_unit_test(sparse_terms),
        cmocka_unit_test(a_wrong_derivative_is_found),
    };
    return cmocka_run_group_tests_name("lsq", tests, NULL, NULL);
}
