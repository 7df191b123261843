#include "network/length.h"

#include "network/chain.h"

int tr_length_blocks(const tr_network *net, const tr_net_length *length,
                     tr_block blocks[TR_LENGTH_MAX_BLOCKS]) {
    tr_block of[2][TR_NET_N_KINDS];
    int n_of[2];
    int next[2] = {0, 0};
    int n = 0;
    for (int end = 0; end < 2; end++) {
        n_of[end] = tr_chain_blocks(net, length->sheet[end], length->offset[end], -1, of[end]);
    }
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        int first = n;
        for (int end = 0; end < 2; end++) {
            if (next[end] == n_of[end] || (int)of[end][next[end]].kind != kind) continue;
            tr_block block = of[end][next[end]++];
            if (n > first && blocks[first].index == block.index) continue;
            blocks[n++] = block;
        }
    }
    return n;
}

/* Points g at the columns in J that belong to the blocks of an end. */
static void find_columns(const tr_chain *end, const tr_block *blocks, int n, double *J,
                         tr_gradient *g) {
    for (int b = 0; b < n; b++) {
        for (int k = 0; k < end->n_blocks; k++) {
            tr_block block = end->blocks[k];
            if (block.kind != blocks[b].kind || block.index != blocks[b].index) continue;
            g->columns[block.kind] = J;
        }
        J += tr_block_size(blocks[b].kind);
    }
}

bool tr_length_evaluate(const tr_network *net, const tr_net_length *length, double *r, double *J) {
    tr_chain chain[2];
    tr_chain_kept kept[2];
    tr_vec3 p_world[2];
    tr_block blocks[TR_LENGTH_MAX_BLOCKS];
    for (int end = 0; end < 2; end++) {
        tr_chain_init(&chain[end], net, length->sheet[end], length->offset[end], -1);
        if (!tr_chain_follow(&chain[end], length->p_sheet_mm[end], &p_world[end], &kept[end])) {
            return false;
        }
    }
    tr_vec3 d = tr_v3_sub(p_world[1], p_world[0]);
    double distance = tr_v3_norm(d);
    if (!(distance > 0)) return false;
    *r = (distance - length->length_mm) / length->sd_mm;
    if (!J) return true;
    int n = tr_length_blocks(net, length, blocks);
    for (int end = 0; end < 2; end++) {
        tr_vec3 along = tr_v3_scale((end == 0 ? -1 : 1) / (distance * length->sd_mm), d);
        tr_gradient g = {.rows = 1, .J = {{along.x, along.y, along.z}}};
        find_columns(&chain[end], blocks, n, J, &g);
        tr_chain_reverse(&chain[end], &kept[end], &g);
    }
    return true;
}
