#include "network/chain.h"

#define TR_STAGE(name) &tr_stage_##name,
static const tr_stage *const TO_WORLD[] = {TR_STAGES_TO_WORLD(TR_STAGE)};
static const tr_stage *const TO_PIXEL[] = {TR_STAGES_TO_PIXEL(TR_STAGE)};
#undef TR_STAGE
enum { N_TO_WORLD = sizeof TO_WORLD / sizeof *TO_WORLD };
enum { N_TO_PIXEL = sizeof TO_PIXEL / sizeof *TO_PIXEL };

static int blocks_of(const tr_view *view, tr_block blocks[TR_NET_N_KINDS]) {
    int n = 0;
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        int index = tr_block_kind((tr_net_kind)kind)->of(view);
        if (index >= 0) blocks[n++] = (tr_block){(tr_net_kind)kind, index};
    }
    return n;
}

int tr_chain_blocks(const tr_network *net, int sheet, int offset, int photo,
                    tr_block blocks[TR_NET_N_KINDS]) {
    tr_view view = {.net = net, .sheet = sheet, .offset = offset, .photo = photo};
    return blocks_of(&view, blocks);
}

/* Adds those of n stages that act. */
static void add_stages(tr_chain *c, const tr_stage *const *stages, int n) {
    for (int k = 0; k < n; k++) {
        const tr_stage *stage = stages[k];
        if (!c->view.block[stage->kind] || (stage->acts && !stage->acts(&c->view))) continue;
        c->stages[c->n_stages++] = stage;
    }
}

void tr_chain_init(tr_chain *c, const tr_network *net, int sheet, int offset, int photo) {
    tr_view *view = &c->view;
    *view = (tr_view){.net = net, .sheet = sheet, .offset = offset, .photo = photo};
    c->n_blocks = blocks_of(view, c->blocks);
    for (int b = 0; b < c->n_blocks; b++) {
        view->block[c->blocks[b].kind] = tr_block_at(net, c->blocks[b]);
    }
    c->n_stages = 0;
    add_stages(c, TO_WORLD, N_TO_WORLD);
    if (photo >= 0) add_stages(c, TO_PIXEL, N_TO_PIXEL);
}

bool tr_chain_follow(const tr_chain *c, tr_vec2 p_sheet_mm, tr_vec3 *end, tr_chain_kept *kept) {
    *end = tr_v3(p_sheet_mm.x, p_sheet_mm.y, 0);
    for (int k = 0; k < c->n_stages; k++) {
        if (!c->stages[k]->move(&c->view, end, kept ? kept->of[k] : NULL)) return false;
    }
    return true;
}

void tr_chain_reverse(const tr_chain *c, const tr_chain_kept *kept, tr_gradient *g) {
    for (int k = c->n_stages - 1; k >= 0; k--) {
        c->stages[k]->reverse(&c->view, kept->of[k], g);
    }
}

tr_vec3 tr_network_point(const tr_network *net, int sheet, int offset, tr_vec2 p_sheet_mm) {
    tr_chain chain;
    tr_vec3 p_world;
    tr_chain_init(&chain, net, sheet, offset, -1);
    (void)tr_chain_follow(&chain, p_sheet_mm, &p_world, NULL);
    return p_world;
}
