/* One observation: where the network has its points in the photo, and how that moves with every
   block that they depend on. Private to the network. */
#ifndef TR_NETWORK_OBSERVATION_H
#define TR_NETWORK_OBSERVATION_H

#include "network/blocks.h"

enum { TR_OBS_MAX_BLOCKS = TR_NET_N_KINDS, TR_OBS_MAX_ROWS = 2 * TR_OBS_MAX_POINTS };
/* Columns of an observation to all unknowns of its blocks. */
typedef struct {
#define TR_KIND(NAME, name, array, n) char name[n];
    TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND
} tr_observation_room;
enum { TR_OBS_MAX_WIDTH = sizeof(tr_observation_room) };

/* Its residuals; 0: it takes no part. */
static inline int tr_observation_rows(const tr_net_obs *obs) {
    return obs->is_used ? 2 * obs->n_points : 0;
}
/* The blocks that an observation depends on, whether free or not; returns their number. */
int tr_observation_blocks(const tr_network *net, const tr_net_obs *obs,
                          tr_block blocks[TR_OBS_MAX_BLOCKS]);

/* r: predicted minus measured, px, 2 n_points, not whitened. J: where not NULL, all zero, becomes
   the derivatives to all unknowns of the blocks, free or not, by rows, block after block in the
   order of tr_observation_blocks. False where a point lies behind the camera or outside the lens
   model. */
bool tr_observation_project(const tr_network *net, const tr_net_obs *obs, double *r, double *J);

#endif
