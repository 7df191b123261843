/* One length: the distance between two points of sheets, and how it moves with the blocks that they
   depend on. Private to the network. */
#ifndef TR_NETWORK_LENGTH_H
#define TR_NETWORK_LENGTH_H

#include "network/blocks.h"

enum { TR_LENGTH_MAX_BLOCKS = 2 * TR_NET_N_KINDS };

/* The blocks that either end depends on, each once; returns their number. */
int tr_length_blocks(const tr_network *net, const tr_net_length *length,
                     tr_block blocks[TR_LENGTH_MAX_BLOCKS]);

/* r: as in network.h. J: where not NULL, all zero, becomes the derivatives to all unknowns of the
   blocks, as in tr_observation_project. False where the points lie at one place. */
bool tr_length_evaluate(const tr_network *net, const tr_net_length *length, double *r, double *J);

#endif
