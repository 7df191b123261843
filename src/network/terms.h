/* The terms of the network's sum of squares: observations, the priors of its blocks, lengths.
   Private to the network. */
#ifndef TR_NETWORK_TERMS_H
#define TR_NETWORK_TERMS_H

#include "network/length.h"
#include "network/observation.h"

typedef enum { TR_TERM_OBSERVATION, TR_TERM_PRIOR, TR_TERM_LENGTH } tr_term_kind;
typedef struct {
    tr_term_kind kind;
    int index;             /* of the observation, the block, the length */
    tr_net_kind of;        /* of a prior: the kind of its block ... */
    const tr_prior *prior; /* ... and which of that kind's it is */
} tr_term;

enum { TR_TERM_MAX_BLOCKS = TR_LENGTH_MAX_BLOCKS };
/* Columns of a term to all unknowns of its blocks, free or not: as many as the solver takes. */
enum { TR_TERM_MAX_WIDTH = TR_LSQ_MAX_COLUMNS };

/* All terms that there could be, in the order in which they are added up; returns their number.
   terms: room for as many; NULL: they are only counted. */
int tr_term_list(const tr_network *net, tr_term *terms);
/* Its residuals; 0: it takes no part. */
int tr_term_rows(const tr_network *net, tr_term term);
/* The blocks that it depends on; returns their number. */
int tr_term_blocks(const tr_network *net, tr_term term, tr_block blocks[TR_TERM_MAX_BLOCKS]);
/* Columns of a term to all unknowns of its blocks; <= TR_TERM_MAX_WIDTH. */
int tr_term_width(const tr_network *net, tr_term term);
/* Numbers, in a term's columns to all unknowns of its blocks, of those that are free; returns how
   many. */
int tr_term_pick_free(const tr_network *net, const tr_block *blocks, int n_blocks,
                      int pick[TR_TERM_MAX_WIDTH]);

/* Whitened residuals, and, where J is not NULL, their derivatives to the picked columns, rows x
   n_pick by rows. False where a point lies behind the camera or outside the lens model. */
bool tr_term_evaluate(const tr_network *net, tr_term term, const int *pick, int n_pick, double *r,
                      double *J);

#endif
