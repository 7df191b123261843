/* The way of a point from where the file has it on its sheet, through the stages of unknowns.h, to
   the world or to its pixel, and the derivatives on their way back. Private to the network. */
#ifndef TR_NETWORK_CHAIN_H
#define TR_NETWORK_CHAIN_H

#include "network/blocks.h"

enum {
#define TR_STAGE(name) TR_CHAIN_##name,
    TR_STAGES_TO_WORLD(TR_STAGE) TR_STAGES_TO_PIXEL(TR_STAGE)
#undef TR_STAGE
        TR_CHAIN_N
};

typedef struct {
    tr_view view;
    tr_block blocks[TR_NET_N_KINDS]; /* that it depends on, free or not; at most one of a kind */
    int n_blocks;
    const tr_stage *stages[TR_CHAIN_N]; /* those that act */
    int n_stages;
} tr_chain;

/* What the stages keep of a point. */
typedef struct {
    double of[TR_CHAIN_N][TR_STAGE_ROOM / sizeof(double)];
} tr_chain_kept;

/* The chain of the points of a sheet that have this offset (-1: none) and are seen in this photo
   (-1: in none; the chain then ends in the world). */
void tr_chain_init(tr_chain *c, const tr_network *net, int sheet, int offset, int photo);
/* Its blocks alone; returns their number. */
int tr_chain_blocks(const tr_network *net, int sheet, int offset, int photo,
                    tr_block blocks[TR_NET_N_KINDS]);

/* The end of the chain: p_world, mm, or (u, v, 0), px. kept: for tr_chain_reverse; NULL: none is to
   follow. Where the chain ends in a photo, uv_px of its view is where the point was measured. False
   where the point lies behind the camera or outside the lens model. */
bool tr_chain_follow(const tr_chain *c, tr_vec2 p_sheet_mm, tr_vec3 *end, tr_chain_kept *kept);
/* Adds to the columns of g, which begins with J to the end of the chain. */
void tr_chain_reverse(const tr_chain *c, const tr_chain_kept *kept, tr_gradient *g);

#endif
