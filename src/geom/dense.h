/* Dense algebra for small matrices, row by row, in memory of the caller: nothing is allocated, and
   nothing of this program is included. */
#ifndef TR_GEOM_DENSE_H
#define TR_GEOM_DENSE_H

#include <stdbool.h>

/* Solves A x = b for a positive definite n x n A, in place: Cholesky's factorisation overwrites A's
   lower triangle (its upper one is not read), and b becomes x. False where A is not positive
   definite within rounding; A and b are then of no use. Source: Golub and Van Loan, Matrix
   computations, 4th ed., 2013, alg. 4.2.1. */
bool tr_dense_solve(double *A, double *b, int n);
/* The same in two steps, for many b: L over A's lower triangle, with A = L L'; then b becomes
   A^-1 b. */
bool tr_dense_factor(double *A, int n);
void tr_dense_solve_factored(const double *L, double *b, int n);

/* A step of Levenberg and Marquardt's method: (A + damping diag(A)) x = b for a positive definite
   n x n A, which is overwritten; *slope = b'x, by about how much the step lowers the cost. Errors
   as tr_dense_solve. Source: Marquardt, An algorithm for least-squares estimation of nonlinear
   parameters, J. SIAM 11, 1963. */
bool tr_dense_damped_step(double *A, const double *b, int n, double damping, double *x,
                          double *slope);

/* The most unknowns of tr_dense_inverse_root. */
enum { TR_DENSE_ROOT_MAX = 9 };

/* Upper triangular W with W'W = A^-1, for a symmetric positive definite n x n A, n at most
   TR_DENSE_ROOT_MAX: W whitens what has A as its covariance. With A = U U', U upper triangular,
   W = U^-1. False where A is not positive definite within rounding, and W is then not written. */
bool tr_dense_inverse_root(const double *A, int n, double *W);

/* a' C a; a: n, C: n x n. The variance of a linear function of what has C as its covariance (JCGM
   100:2008, eq. 13). */
double tr_dense_quadratic(const double *a, const double *C, int n);

/* out += A C A', the covariance of linear functions A of what has C as its covariance (JCGM
   102:2011, 6.2.1.3). A: m x n; C: n x n, symmetric, its rows `stride` (>= n) apart, so that it may
   be a block of a larger matrix; out: m x m; what is added is symmetric to the last bit. row:
   scratch of n. out must not overlap the others. First order: no help where a result hardly depends
   on its inputs at the first order, as at the top of a curve. */
void tr_dense_add_propagated(const double *A, int m, int n, const double *C, int stride,
                             double *row, double *out);

/* out (m x n) = A (m x k) B (k x n); it must not overlap them. */
void tr_dense_multiply(const double *A, const double *B, int m, int k, int n, double *out);

#endif
