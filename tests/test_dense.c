/* Dense algebra against matrices whose inverses are known exactly. Sources: T. S. Wilson's matrix
   and its inverse: Morris, An escalator process for the solution of linear simultaneous equations,
   Phil. Mag. 37, 1946; also Gregory and Karney, A collection of matrices for testing computational
   algorithms, 1969. Hilbert's matrix: the elements of its inverse are integers, by Choi, Tricks or
   treats with the Hilbert matrix, Amer. Math. Monthly 90, 1983, eq. (1). */
#include <math.h>
#include <string.h>

#include "check.h"
#include "geom/dense.h"
#include "geom/geom.h"

static const double WILSON[16] = {10, 7, 8, 7, 7, 5, 6, 5, 8, 6, 10, 9, 7, 5, 9, 10};
static const double WILSON_INVERSE[16] = {25, -41, 10, -6, -41, 68, -17, 10,
                                          10, -17, 5,  -3, -6,  10, -3,  2};

static double choose(int n, int k) {
    double c = 1;
    for (int i = 1; i <= k; i++) c = c * (n - k + i) / i;
    return c;
}

static void hilbert(int n, double *H, double *inverse) {
    for (int i = 1; i <= n; i++) {
        for (int j = 1; j <= n; j++) {
            double c = choose(i + j - 2, i - 1);
            H[(i - 1) * n + j - 1] = 1.0 / (i + j - 1);
            inverse[(i - 1) * n + j - 1] = ((i + j) % 2 ? -1 : 1) * (i + j - 1) *
                                           choose(n + i - 1, n - j) * choose(n + j - 1, n - i) * c *
                                           c;
        }
    }
}

/* Each column of the inverse, by solving for it; relative to the largest element. */
static void check_solve(const double *A, const double *inverse, int n, double tolerance) {
    double largest = 0;
    for (int i = 0; i < n * n; i++) largest = fmax(largest, fabs(inverse[i]));
    for (int k = 0; k < n; k++) {
        double copy[TR_DENSE_ROOT_MAX * TR_DENSE_ROOT_MAX];
        double x[TR_DENSE_ROOT_MAX] = {0};
        memcpy(copy, A, (size_t)(n * n) * sizeof *copy);
        x[k] = 1;
        assert_true(tr_dense_solve(copy, x, n));
        for (int i = 0; i < n; i++) CHECK_NEAR(x[i], inverse[i * n + k], tolerance * largest);
    }
}

static void solutions_of_known_matrices(void **unused) {
    (void)unused;
    double H[36], inverse[36];
    double A[16], x[4] = {32, 23, 33, 31}; /* Wilson's own right side: x = 1 1 1 1 */
    memcpy(A, WILSON, sizeof A);
    assert_true(tr_dense_solve(A, x, 4));
    for (int i = 0; i < 4; i++) CHECK_NEAR(x[i], 1, 1e-12); /* condition 3e3 */
    check_solve(WILSON, WILSON_INVERSE, 4, 1e-12);
    hilbert(6, H, inverse);
    CHECK_NEAR(inverse[0], 36, 0);
    CHECK_NEAR(inverse[35], 698544, 0);
    check_solve(H, inverse, 6, 1e-9); /* condition 1.5e7 */
}

/* The upper triangle is not read: a caller may leave it as it is. */
static void only_the_lower_triangle_is_read(void **unused) {
    (void)unused;
    double A[16], x[4] = {32, 23, 33, 31};
    for (int i = 0; i < 16; i++) A[i] = i % 4 > i / 4 ? NAN : WILSON[i];
    assert_true(tr_dense_solve(A, x, 4));
    for (int i = 0; i < 4; i++) CHECK_NEAR(x[i], 1, 1e-12);
}

/* W'W is the inverse, and W is upper triangular. */
static void check_root(const double *A, const double *inverse, int n, double tolerance) {
    double W[TR_DENSE_ROOT_MAX * TR_DENSE_ROOT_MAX];
    double largest = 0;
    assert_true(tr_dense_inverse_root(A, n, W));
    for (int i = 0; i < n * n; i++) largest = fmax(largest, fabs(inverse[i]));
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            double sum = 0;
            for (int k = 0; k < n; k++) sum += W[k * n + i] * W[k * n + j];
            CHECK_NEAR(sum, inverse[i * n + j], tolerance * largest);
            if (j < i) CHECK_NEAR(W[i * n + j], 0, 0);
        }
    }
}

static void roots_of_known_inverses(void **unused) {
    (void)unused;
    double H[36], inverse[36];
    check_root(WILSON, WILSON_INVERSE, 4, 1e-12);
    hilbert(6, H, inverse);
    check_root(H, inverse, 6, 1e-9);
}

static void what_is_not_positive_definite_is_refused(void **unused) {
    (void)unused;
    static const struct {
        double A[4];
    } cases[] = {
        {{1, 1, 1, 1}},   /* singular */
        {{1, 2, 2, 1}},   /* indefinite */
        {{0, 0, 0, 1}},   /* a variance of 0 */
        {{-1, 0, 0, 1}},  /* below 0 */
        {{1, 0, 0, NAN}}, /* no number */
        {{INFINITY, 0, 0, 1}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double A[4], b[2] = {1, 1}, W[4] = {7, 7, 7, 7};
        memcpy(A, cases[i].A, sizeof A);
        assert_false(tr_dense_inverse_root(A, 2, W));
        for (int k = 0; k < 4; k++) CHECK_NEAR(W[k], 7, 0);
        assert_false(tr_dense_solve(A, b, 2));
    }
}

/* A tall, full A against the product written out; C alone, and as a block of a larger matrix. */
static void propagation_written_out(void **unused) {
    (void)unused;
    const double A[6] = {1, 2, 3, -1, 0, 4};
    const double C[4] = {2, 0.5, 0.5, 1};
    const double block[12] = {9, 9, 9, 9, 9, 2, 0.5, 9, 9, 0.5, 1, 9};
    const double expected[9] = {8, 6.5, 10, 6.5, 16, 2, 10, 2, 16};
    double row[2], out[9] = {0}, of_block[9] = {0};
    tr_dense_add_propagated(A, 3, 2, C, 2, row, out);
    tr_dense_add_propagated(A, 3, 2, block + 5, 4, row, of_block);
    for (int i = 0; i < 9; i++) {
        CHECK_NEAR(out[i], expected[i], 1e-12);
        CHECK_NEAR(of_block[i], expected[i], 1e-12);
    }
    for (int i = 0; i < 3; i++) {
        CHECK_NEAR(tr_dense_quadratic(A + 2 * (long)i, C, 2), expected[4 * i], 1e-12);
    }
}

/* A whitened covariance is the identity: W A W' = I. */
static void propagation_undoes_whitening(void **unused) {
    (void)unused;
    double W[16], row[4], out[16] = {0};
    assert_true(tr_dense_inverse_root(WILSON, 4, W));
    tr_dense_add_propagated(W, 4, 4, WILSON, 4, row, out);
    for (int i = 0; i < 4; i++) {
        for (int j = 0; j < 4; j++) {
            CHECK_NEAR(out[4 * i + j], i == j, 1e-11);
            CHECK_NEAR(out[4 * i + j], out[4 * j + i], 0);
        }
    }
}

static void a_matrix_times_its_inverse(void **unused) {
    (void)unused;
    const double A[6] = {1, 2, 3, 4, 5, 6};
    const double B[6] = {7, 8, 9, 10, 11, 12};
    const double expected[4] = {58, 64, 139, 154};
    double out[16];
    tr_dense_multiply(WILSON, WILSON_INVERSE, 4, 4, 4, out);
    for (int i = 0; i < 16; i++) CHECK_NEAR(out[i], i % 5 == 0, 0); /* integers */
    tr_dense_multiply(A, B, 2, 3, 2, out);
    for (int i = 0; i < 4; i++) CHECK_NEAR(out[i], expected[i], 0);
}

/* By hand: (4 + 2) x = 3 and (2 + 1) y = -1, for a damping of a half. */
static void a_damped_step(void **state) {
    (void)state;
    double A[4] = {4, 0, 0, 2};
    const double b[2] = {3, -1};
    double x[2];
    double slope;
    assert_true(tr_dense_damped_step(A, b, 2, 0.5, x, &slope));
    CHECK_NEAR(x[0], 0.5, 1e-15);
    CHECK_NEAR(x[1], -1.0 / 3, 1e-15);
    CHECK_NEAR(slope, 1.5 + 1.0 / 3, 1e-15);
    double none[1] = {0};
    assert_false(tr_dense_damped_step(none, b, 1, 0.5, x, &slope));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(solutions_of_known_matrices),
        cmocka_unit_test(only_the_lower_triangle_is_read),
        cmocka_unit_test(roots_of_known_inverses),
        cmocka_unit_test(what_is_not_positive_definite_is_refused),
        cmocka_unit_test(propagation_written_out),
        cmocka_unit_test(propagation_undoes_whitening),
        cmocka_unit_test(a_matrix_times_its_inverse),
        cmocka_unit_test(a_damped_step),
    };
    return cmocka_run_group_tests_name("dense", tests, NULL, NULL);
}
