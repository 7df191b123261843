/* The terms of the network's sum of squares: observations, priors, lengths. A kind of term is one
   row of the table in terms.c. Private to the network. */
#ifndef TR_NETWORK_TERMS_H
#define TR_NETWORK_TERMS_H

#include "network/blocks.h"
#include "network/observation.h"

typedef enum {
    TR_TERM_OBSERVATION,
    TR_TERM_LENS,  /* a lens against its profile */
    TR_TERM_PHOTO, /* a photo's camera against its lens */
    TR_TERM_FLOOR, /* a sheet against the floor */
    TR_TERM_SHAPE, /* a sheet's print against its file */
    TR_TERM_OFFSET,
    TR_TERM_LENGTH,
    TR_TERM_N_KINDS
} tr_term_kind;

enum { TR_TERM_MAX_BLOCKS = TR_OBS_MAX_BLOCKS };
/* Columns of a term to all unknowns of its blocks, free or not: as many as the solver takes. */
enum { TR_TERM_MAX_WIDTH = TR_LSQ_MAX_COLUMNS };

/* Terms of a kind that there could be. */
int tr_term_count(const tr_network *net, tr_term_kind kind);
/* Its residuals; 0: it takes no part. */
int tr_term_rows(const tr_network *net, tr_term_kind kind, int index);
/* The blocks that it depends on; returns their number. */
int tr_term_blocks(const tr_network *net, tr_term_kind kind, int index,
                   tr_block blocks[TR_TERM_MAX_BLOCKS]);
/* Columns of a term to all unknowns of its blocks; <= TR_TERM_MAX_WIDTH. */
int tr_term_width(const tr_network *net, tr_term_kind kind, int index);
/* Numbers, in a term's columns to all unknowns of its blocks, of those that are free; returns how
   many. */
int tr_term_pick_free(const tr_network *net, const tr_block *blocks, int n_blocks,
                      int pick[TR_TERM_MAX_WIDTH]);

/* Whitened residuals, and, where J is not NULL, their derivatives to the picked columns, rows x
   n_pick by rows. False where a point lies behind the camera or outside the lens model. */
bool tr_term_evaluate(const tr_network *net, tr_term_kind kind, int index, const int *pick,
                      int n_pick, double *r, double *J);

/* Makes the lenses' priors ready: keeps the values that they are centred on, and whitens them. */
TR_MUST_USE bool tr_term_prepare_lenses(tr_network *net, tr_error *err);

#endif
