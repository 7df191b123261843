/* A network as the solver's problem: its unknowns as columns, its terms. Private to the network. */
#ifndef TR_NETWORK_PROBLEM_H
#define TR_NETWORK_PROBLEM_H

#include "network/terms.h"

typedef struct {
    tr_network *net; /* the trial state */
    tr_block_state state;
    tr_term *sources; /* one a term */
    tr_lsq_term *terms;
    int *columns; /* TR_LSQ_MAX_COLUMNS a term ... */
    int *picks;   /* ... and where each stands among all unknowns of the term's blocks */
    int n_terms;
    tr_lsq_problem lsq; /* what the solver is given */
} tr_problem;

/* p must stay where it is. On failure it is to be released, too. */
TR_MUST_USE bool tr_problem_init(tr_problem *p, tr_network *net, tr_error *err);
void tr_problem_release(tr_problem *p);

/* A term's picks (terms.h); as many as it has columns. */
const int *tr_problem_picks(const tr_problem *p, int term);

/* Weight that the loss gives a term with these whitened residuals. */
double tr_problem_weight(double huber, const double *r, int rows);

#endif
