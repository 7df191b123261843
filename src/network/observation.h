/* One observation: where the network has its points in the photo, and how that moves with every
   block that they depend on. The formulas stand in network.h. Private to the network. */
#ifndef TR_NETWORK_OBSERVATION_H
#define TR_NETWORK_OBSERVATION_H

#include "network/blocks.h"

enum { TR_OBS_MAX_BLOCKS = TR_NET_N_KINDS, TR_OBS_MAX_ROWS = 2 * TR_OBS_MAX_POINTS };

/* The blocks that an observation depends on, whether free or not; returns their number. */
int tr_observation_blocks(const tr_network *net, const tr_net_obs *obs,
                          tr_block blocks[TR_OBS_MAX_BLOCKS]);

/* r: predicted minus measured, px, 2 n_points, not whitened. J: where not NULL, the derivatives to
   all unknowns of the blocks, free or not, by rows, block after block in the order of
   tr_observation_blocks. False where a point lies behind the camera or outside the lens model. */
bool tr_observation_project(const tr_network *net, const tr_net_obs *obs, double *r, double *J);

/* A point of a sheet where its shape and its offset (NULL: none) put it, in the sheet's frame, mm.
   Jshape: 3 x 4 to the shape, Joffset: 3 x TR_OFFSET_N to the offset (left alone where there is
   none), by rows; both may be NULL. */
tr_vec3 tr_observation_point(const tr_net_sheet *sheet, const tr_net_offset *offset,
                             tr_vec2 p_sheet_mm, double *Jshape, double *Joffset);

/* NULL: the observation's mark has none. */
const tr_net_offset *tr_observation_offset(const tr_network *net, int offset);

#endif
