/* Sparse nonlinear least squares: the one solver of this program. It knows nothing of photos; the
   network (network.h) and the tests bring their own terms.

   Minimised is  F = sum over terms of rho(|r|^2)  where a term is a short vector of residuals
   that were divided by their standard deviations (whitened), so that |r|^2 of a good term is about
   its number of rows. The method is Levenberg-Marquardt on the normal equations H = J'J with
   Marquardt's scaling by the diagonal of H and Nielsen's control of the damping (Madsen, Nielsen,
   Tingleff, Methods for non-linear least squares problems, 2nd ed., DTU 2004, alg. 3.16). H is
   assembled term by term into a sparse matrix whose pattern never changes, and factorised by
   CHOLMOD (simplicial, so that the result does not depend on a BLAS or on threads). */
#ifndef TR_NETWORK_LSQ_H
#define TR_NETWORK_LSQ_H

#include "base/error.h"

/* The widest term: rows and columns of its Jacobian. */
enum { TR_LSQ_MAX_ROWS = 12, TR_LSQ_MAX_COLUMNS = 64 };

typedef struct {
    int rows;           /* 1 .. TR_LSQ_MAX_ROWS */
    int n_columns;      /* 0 .. TR_LSQ_MAX_COLUMNS */
    const int *columns; /* the unknowns that it depends on, each once; borrowed */
    bool is_robust;     /* false: rho(s) = s */
} tr_lsq_term;

typedef struct {
    int n_unknowns;
    int n_terms;
    const tr_lsq_term *terms; /* borrowed */
    void *context;
    /* Residuals of a term in the trial state; J (rows x n_columns, row by row) where it is not
       NULL. False where there is no residual in that state (a point behind the camera): the step
       that led there is taken back. */
    bool (*evaluate)(void *context, int term, double *r, double *J);
    /* trial state = accepted state moved by delta (one value per unknown). */
    void (*move)(void *context, const double *delta);
    /* accepted state = trial state. */
    void (*accept)(void *context);
    /* A name for an unknown, for messages. */
    void (*name)(void *context, int unknown, char *out, size_t size);
} tr_lsq_problem;

typedef struct {
    /* Huber's loss for robust terms: a term with |r| > huber sqrt(rows) counts linearly beyond.
       0: no loss, plain least squares. (Huber, Robust Statistics, 1981, ch. 7.) */
    double huber;
    int max_iterations; /* 0: 100 */
    /* Done when no unknown moves by more than this part of its conditional standard deviation;
       0: 1e-9. */
    double small_step;
    /* Damping of the first step, as a part of H's diagonal; 0: 1e-4, fit for starts that are far
       off. Where unknowns are strongly correlated, damping makes for many short steps: good starts
       want less. */
    double start_damping;
} tr_lsq_options;

typedef struct {
    /* False: the steps ran out before a minimum was reached, as happens where many terms contradict
       each other. The state is the best that was seen. */
    bool has_converged;
    int iterations;
    double cost;            /* F, with the loss */
    double sum_squares;     /* sum of w |r|^2, w = 1 where no loss acts */
    int degrees_of_freedom; /* rows minus unknowns */
    /* sum_squares / degrees_of_freedom: the a-posteriori variance factor; 1 where the standard
       deviations that whitened the residuals are right. 0 where there is no redundancy. */
    double variance_factor;
} tr_lsq_result;

typedef struct tr_lsq tr_lsq;

/* Makes a solver for a problem; the problem must outlive it. NULL: err is set. Owned by the caller.
 */
tr_lsq *tr_lsq_new(const tr_lsq_problem *problem, tr_error *err);
void tr_lsq_free(tr_lsq *lsq);

/* Solves from the accepted state and leaves the solution there. TR_NO_MEASURE where an unknown is
   not determined; it is named. See also result->has_converged. */
TR_MUST_USE bool tr_lsq_solve(tr_lsq *lsq, tr_lsq_options options, tr_lsq_result *result,
                              tr_error *err);

/* The weight of a term with a loss of this Huber's threshold (0: none), and its share rho of the
   cost: rho(s) = s up to k^2 = huber^2 rows, else 2 k sqrt(s) - k^2. */
double tr_lsq_weight(double huber, int rows, double sum_squares, double *rho);

/* H in the accepted state, which is taken as the solution, for the functions below; it is what
   tr_lsq_solve does last. Errors as there. */
TR_MUST_USE bool tr_lsq_linearise(tr_lsq *lsq, double huber, tr_lsq_result *result, tr_error *err);

/* Columns of the inverse of H at the solution: the covariance of the unknowns for unit variance of
   the whitened residuals. out: n x n, row by row, for the n unknowns listed. */
TR_MUST_USE bool tr_lsq_covariance(tr_lsq *lsq, const int *unknowns, int n, double *out,
                                   tr_error *err);

/* One whole column of that inverse; out: one value an unknown. */
TR_MUST_USE bool tr_lsq_inverse_column(tr_lsq *lsq, int unknown, double *out, tr_error *err);

/* Half a solution: with H = L L', out = L^-1 A, so that out' out = A' H^-1 A. A and out:
   n_unknowns x n, row by row; they must not overlap. The rows of out stand in an order of their
   own. The fewer rows of A are not 0, the faster. */
void tr_lsq_reduce(const tr_lsq *lsq, const double *A, int n, double *out);

/* The element of a Jacobian that is furthest from the difference of residuals. */
typedef struct {
    int term, row, unknown; /* term -1: there is none */
    double analytic, numeric;
    double difference; /* relative to the largest entry of that column in the term, plus 1e-3 */
} tr_lsq_jacobian_check;

/* Compares the Jacobian of every term in the accepted state with central differences along the
   problem's own unknowns: for whoever writes a term or a move. step: one an unknown, near the cube
   root of the machine's epsilon times a scale of the unknown; differences of 1e-6 may then be asked
   for. False: TR_NO_MEASURE where a term has no residuals at a step, or others without its Jacobian
   than with it; memory ran out. The trial state is left at the accepted one. */
TR_MUST_USE bool tr_lsq_check_jacobian(const tr_lsq_problem *problem, const double *step,
                                       tr_lsq_jacobian_check *worst, tr_error *err);

#endif
