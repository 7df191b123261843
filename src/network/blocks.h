/* The network's unknowns as blocks: what moves together. A kind of block is one row of the table in
   blocks.c; everything that counts, copies, moves or names unknowns goes through it. Private to the
   network. */
#ifndef TR_NETWORK_BLOCKS_H
#define TR_NETWORK_BLOCKS_H

#include "network/network.h"

typedef struct {
    tr_net_kind kind;
    int index;
} tr_block;

/* The most unknowns of one block. */
enum { TR_BLOCK_MAX = TR_SHEET_N };
_Static_assert((int)TR_BLOCK_MAX >= (int)TR_LENS_N && (int)TR_BLOCK_MAX >= (int)TR_PHOTO_N &&
                   (int)TR_BLOCK_MAX >= (int)TR_OFFSET_N,
               "room for every block");

/* Unknowns of a block of this kind, free or not. */
int tr_block_size(tr_net_kind kind);
/* Blocks of this kind in the network. */
int tr_block_count(const tr_network *net, tr_net_kind kind);
bool tr_block_is_free(const tr_network *net, tr_block block, int component);
/* The unknowns of a plain block, which are values with priors about 0 (photos, offsets). */
typedef struct {
    int n;
    const double *value;
    const bool *is_free;
    const double *sd; /* 0: no prior */
} tr_block_values;
tr_block_values tr_block_values_of(const tr_network *net, tr_block block);

/* Free unknowns of a block. */
int tr_block_n_free(const tr_network *net, tr_block block);
/* A step of an unknown for numerical derivatives: near the cube root of the machine's epsilon times
   a scale of the unknown. */
double tr_block_step(tr_net_unknown unknown);
/* "the place of photo 'a.jpg'", or "of photo 4" where the network has no names: for messages. */
void tr_block_name(const tr_network *net, tr_block block, int component, char *out, size_t size);

/* The state that the solver has accepted: a copy of each block, and where its unknowns stand. */
typedef struct {
    void *accepted[TR_NET_N_KINDS];
    int *first[TR_NET_N_KINDS]; /* column of each block's first free unknown; -1: it has none */
    tr_net_unknown *unknowns;   /* in the order of columns */
    int n_unknowns;
} tr_block_state;

TR_MUST_USE bool tr_block_state_init(tr_block_state *s, const tr_network *net, tr_error *err);
void tr_block_state_release(tr_block_state *s);
/* The network's blocks become the accepted ones. */
void tr_block_state_accept(tr_block_state *s, const tr_network *net);
/* The network's blocks become the accepted ones, moved by delta (one value an unknown). */
void tr_block_state_move(const tr_block_state *s, tr_network *net, const double *delta);
/* The column of an unknown, -1 where it is not free. */
int tr_block_state_find(const tr_block_state *s, tr_net_unknown u);

#endif
