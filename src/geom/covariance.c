#include "geom/covariance.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

/* Of an element of the correlation matrix. */
static const double TOLERANCE = 1e-9;

/* A, of unit diagonal or zero, is overwritten. */
static bool is_semidefinite(double *A, bool *is_done, int n) {
    for (int step = 0; step < n; step++) {
        int p = -1;
        for (int i = 0; i < n; i++) {
            if (!is_done[i] && (p < 0 || A[i * n + i] > A[p * n + p])) p = i;
        }
        if (A[p * n + p] <= TOLERANCE) break;
        is_done[p] = true;
        for (int i = 0; i < n; i++) {
            double part = A[i * n + p] / A[p * n + p];
            for (int j = 0; j < n && !is_done[i]; j++) {
                if (!is_done[j]) A[i * n + j] -= part * A[p * n + j];
            }
        }
    }
    /* What is left must be zero. */
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            if (is_done[i] || is_done[j]) continue;
            if (!(fabs(A[i * n + j]) <= 2 * TOLERANCE)) return false;
        }
    }
    return true;
}

static tr_covariance_fault correlate(const double *C, int n, double bound, double *out) {
    for (int i = 0; i < n; i++) {
        if (!(C[i * n + i] >= 0 && C[i * n + i] <= bound)) return TR_COVARIANCE_VARIANCE;
    }
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            double scale = sqrt(C[i * n + i]) * sqrt(C[j * n + j]);
            double c = C[i * n + j];
            double mirrored = C[j * n + i];
            if (!(fabs(c - mirrored) <= TOLERANCE * scale)) return TR_COVARIANCE_ASYMMETRIC;
            if (scale == 0 && c != 0) return TR_COVARIANCE_ALONE;
            out[i * n + j] = scale > 0 ? (c + mirrored) / 2 / scale : 0;
        }
    }
    return TR_COVARIANCE_OK;
}

tr_covariance_fault tr_covariance_check(const double *C, int n, double bound) {
    double *A = calloc((size_t)n * (size_t)n + 1, sizeof *A);
    bool *is_done = calloc((size_t)n + 1, sizeof *is_done);
    tr_covariance_fault fault = TR_COVARIANCE_NO_MEMORY;
    if (A && is_done) {
        fault = correlate(C, n, bound, A);
        if (fault == TR_COVARIANCE_OK && !is_semidefinite(A, is_done, n)) {
            fault = TR_COVARIANCE_INDEFINITE;
        }
    }
    free(A);
    free(is_done);
    return fault;
}

void tr_covariance_symmetrise(double *C, int n) {
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < i; j++) {
            double mean = (C[i * n + j] + C[j * n + i]) / 2;
            C[i * n + j] = mean;
            C[j * n + i] = mean;
        }
    }
}
