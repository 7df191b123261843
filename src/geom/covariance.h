/* Is a matrix a covariance? For what is read from files. */
#ifndef TR_GEOM_COVARIANCE_H
#define TR_GEOM_COVARIANCE_H

typedef enum {
    TR_COVARIANCE_OK,
    TR_COVARIANCE_VARIANCE,   /* a variance is below 0, or above the bound, or no number */
    TR_COVARIANCE_ASYMMETRIC, /* C' is not C */
    TR_COVARIANCE_ALONE,      /* a covariance where a variance is 0 */
    TR_COVARIANCE_INDEFINITE, /* a combination of the values would have a variance below 0 */
    TR_COVARIANCE_NO_MEMORY,
} tr_covariance_fault;

/* The first fault of C, n x n by rows; bound: no variance reaches it. Judged on the correlations,
   with a tolerance far above rounding in 17 digits and far below anything that a solver would
   notice, by Cholesky's method with diagonal pivoting, which stops when no pivot is left (Higham,
   Analysis of the Cholesky decomposition of a semi-definite matrix, 1990). */
tr_covariance_fault tr_covariance_check(const double *C, int n, double bound);

/* The mean of C and C', in place. */
void tr_covariance_symmetrise(double *C, int n);

#endif
