/* The network's unknowns as blocks, whatever their kind: what counts, copies, moves and names them.
   Private to the network. */
#ifndef TR_NETWORK_BLOCKS_H
#define TR_NETWORK_BLOCKS_H

#include "network/kind.h"

/* The most unknowns of one block. */
typedef union {
#define TR_KIND(NAME, name, array, n) char name[n];
    TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND
} tr_block_room;
enum { TR_BLOCK_MAX = sizeof(tr_block_room) };

const tr_kind *tr_block_kind(tr_net_kind kind);
/* Unknowns of a block of this kind, free or not. */
int tr_block_size(tr_net_kind kind);
/* Blocks of this kind in the network. */
int tr_block_count(const tr_network *net, tr_net_kind kind);
/* The block itself, a tr_net_lens or what else the kind has. */
const void *tr_block_at(const tr_network *net, tr_block block);
bool tr_block_is_free(const tr_network *net, tr_block block, int component);

/* Free unknowns of a block. */
int tr_block_n_free(const tr_network *net, tr_block block);
/* Makes the priors of all blocks ready. */
TR_MUST_USE bool tr_block_prepare_all(tr_network *net, tr_error *err);
/* "the place of photo 'a.jpg'", or "of photo 4" where the network has no names: for messages. */
void tr_block_name(const tr_network *net, tr_block block, int component, char *out, size_t size);

/* Where, in columns to all unknowns of n blocks, that of a kind begins; -1: there is none. */
int tr_block_first_column(const tr_block *blocks, int n, tr_net_kind kind);

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
