#include "geom/dense.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* A pivot below this part of its diagonal element is rounding. */
static const double ROUNDING = 1e-14;

bool tr_dense_factor(double *A, int n) {
    for (int j = 0; j < n; j++) {
        double d = A[j * n + j];
        for (int k = 0; k < j; k++) d -= A[j * n + k] * A[j * n + k];
        if (!(d > ROUNDING * A[j * n + j]) || !isfinite(d)) return false;
        A[j * n + j] = sqrt(d);
        for (int i = j + 1; i < n; i++) {
            double s = A[i * n + j];
            for (int k = 0; k < j; k++) s -= A[i * n + k] * A[j * n + k];
            A[i * n + j] = s / A[j * n + j];
        }
    }
    return true;
}

void tr_dense_solve_factored(const double *L, double *b, int n) {
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < i; k++) b[i] -= L[i * n + k] * b[k];
        b[i] /= L[i * n + i];
    }
    for (int i = n - 1; i >= 0; i--) {
        for (int k = i + 1; k < n; k++) b[i] -= L[k * n + i] * b[k];
        b[i] /= L[i * n + i];
    }
}

bool tr_dense_solve(double *A, double *b, int n) {
    if (!tr_dense_factor(A, n)) return false;
    tr_dense_solve_factored(A, b, n);
    return true;
}

bool tr_dense_damped_step(double *A, const double *b, int n, double damping, double *x,
                          double *slope) {
    memcpy(x, b, (size_t)n * sizeof *x);
    for (int i = 0; i < n; i++) A[i * n + i] *= 1 + damping;
    if (!tr_dense_solve(A, x, n)) return false;
    *slope = 0;
    for (int i = 0; i < n; i++) *slope += x[i] * b[i];
    return true;
}

/* The Cholesky factor is taken from the last row upwards, so that W comes out upper. */
bool tr_dense_inverse_root(const double *A, int n, double *W) {
    double U[TR_DENSE_ROOT_MAX * TR_DENSE_ROOT_MAX] = {0};
    assert(n <= TR_DENSE_ROOT_MAX);
    for (int j = n - 1; j >= 0; j--) {
        double d = A[j * n + j];
        for (int k = j + 1; k < n; k++) d -= U[j * n + k] * U[j * n + k];
        if (!(d > ROUNDING * A[j * n + j]) || !isfinite(d)) return false;
        U[j * n + j] = sqrt(d);
        for (int i = j - 1; i >= 0; i--) {
            double s = A[i * n + j];
            for (int k = j + 1; k < n; k++) s -= U[i * n + k] * U[j * n + k];
            U[i * n + j] = s / U[j * n + j];
        }
    }
    memset(W, 0, (size_t)(n * n) * sizeof *W);
    for (int j = 0; j < n; j++) {
        W[j * n + j] = 1 / U[j * n + j];
        for (int i = j - 1; i >= 0; i--) {
            double s = 0;
            for (int k = i + 1; k <= j; k++) s += U[i * n + k] * W[k * n + j];
            W[i * n + j] = -s / U[i * n + i];
        }
    }
    return true;
}

double tr_dense_quadratic(const double *a, const double *C, int n) {
    double sum = 0;
    for (int k = 0; k < n; k++) {
        if (a[k] == 0.0) continue; /* most are, where there are many inputs */
        double row = 0;
        for (int l = 0; l < n; l++) row += C[(long)k * n + l] * a[l];
        sum += a[k] * row;
    }
    return sum;
}

void tr_dense_add_propagated(const double *A, int m, int n, const double *C, int stride,
                             double *row, double *out) {
    for (int i = 0; i < m; i++) {
        const double *a = A + (long)i * n;
        for (int k = 0; k < n; k++) row[k] = 0;
        for (int l = 0; l < n; l++) {
            if (a[l] == 0.0) continue; /* most are, where A is a transformation */
            for (int k = 0; k < n; k++) row[k] += a[l] * C[(long)l * stride + k];
        }
        for (int j = 0; j <= i; j++) {
            double sum = 0;
            for (int k = 0; k < n; k++) sum += row[k] * A[(long)j * n + k];
            out[(long)i * m + j] += sum;
            if (j < i) out[(long)j * m + i] += sum;
        }
    }
}

void tr_dense_multiply(const double *A, const double *B, int m, int k, int n, double *out) {
    for (int i = 0; i < m; i++) {
        for (int j = 0; j < n; j++) {
            double sum = 0;
            for (int l = 0; l < k; l++) sum += A[i * k + l] * B[l * n + j];
            out[i * n + j] = sum;
        }
    }
}
