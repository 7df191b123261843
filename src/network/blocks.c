#include "network/blocks.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"

/* ---- the table ---- */

static const tr_kind *const KINDS[TR_NET_N_KINDS] = {
#define TR_KIND(NAME, name, array, n) &tr_kind_##name,
    TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND
};

static const int SIZES[TR_NET_N_KINDS] = {
#define TR_KIND(NAME, name, array, n) n,
    TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND
};

/* The arrays of a network: those of the blocks, by kind, and what ties them. */
static const struct {
    size_t array, count; /* places in tr_network */
    size_t size;         /* bytes of an element */
} ARRAYS[] = {
#define ARRAY(type, array)                                                                         \
    { offsetof(tr_network, array), offsetof(tr_network, n_##array), sizeof(type) }
#define TR_KIND(NAME, name, array, n) ARRAY(tr_net_##name, array),
    TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND
        ARRAY(tr_net_obs, observations),
    ARRAY(tr_net_length, lengths),
#undef ARRAY
};
enum { N_ARRAYS = sizeof ARRAYS / sizeof *ARRAYS };

static char *array_of(const tr_network *net, int i) {
    char *array;
    memcpy(&array, (const char *)net + ARRAYS[i].array, sizeof array);
    return array;
}

static int count_of(const tr_network *net, int i) {
    int n;
    memcpy(&n, (const char *)net + ARRAYS[i].count, sizeof n);
    return n;
}

static char *block_at(const tr_network *net, tr_block b) {
    return array_of(net, (int)b.kind) + (size_t)b.index * ARRAYS[b.kind].size;
}

/* ---- one block ---- */

const tr_kind *tr_block_kind(tr_net_kind kind) {
    return KINDS[kind];
}

int tr_block_size(tr_net_kind kind) {
    return SIZES[kind];
}

int tr_block_count(const tr_network *net, tr_net_kind kind) {
    return count_of(net, (int)kind);
}

const void *tr_block_at(const tr_network *net, tr_block block) {
    return block_at(net, block);
}

bool tr_block_is_free(const tr_network *net, tr_block block, int component) {
    const char *b = block_at(net, block);
    const tr_kind *kind = KINDS[block.kind];
    if (kind->is_free) return kind->is_free(b, component);
    return ((const bool *)(b + kind->values.is_free))[component];
}

static void move_block(int kind, char *block, const char *from, const double *d) {
    if (KINDS[kind]->move) {
        KINDS[kind]->move(block, from, d);
        return;
    }
    double *to = (double *)(void *)(block + KINDS[kind]->values.value);
    const double *before = (const double *)(const void *)(from + KINDS[kind]->values.value);
    for (int k = 0; k < SIZES[kind]; k++) to[k] = before[k] + d[k];
}

int tr_block_n_free(const tr_network *net, tr_block block) {
    int n = 0;
    for (int k = 0; k < SIZES[block.kind]; k++) n += tr_block_is_free(net, block, k);
    return n;
}

void tr_block_name(const tr_network *net, tr_block block, int component, char *out, size_t size) {
    const tr_kind *kind = KINDS[block.kind];
    char number[16];
    const char *name = kind->name ? kind->name(net, block.index, component) : NULL;
    snprintf(number, sizeof number, "%d", block.index + 1);
    snprintf(out, size, kind->title, name ? name : number);
}

int tr_block_first_column(const tr_block *blocks, int n, tr_net_kind kind) {
    int column = 0;
    for (int b = 0; b < n; b++) {
        if (blocks[b].kind == kind) return column;
        column += SIZES[blocks[b].kind];
    }
    return -1;
}

bool tr_block_prepare_all(tr_network *net, tr_error *err) {
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        for (int i = 0; KINDS[kind]->prepare && i < count_of(net, kind); i++) {
            if (!KINDS[kind]->prepare(block_at(net, (tr_block){(tr_net_kind)kind, i}), err))
                return false;
        }
    }
    return true;
}

/* ---- priors about 0 ---- */

/* The unknowns of a block that is plain values. */
typedef struct {
    int n;
    const double *value;
    const bool *is_free;
    const double *sd; /* 0: no prior */
} plain_values;

static plain_values values_of(const tr_network *net, tr_block block) {
    const char *b = block_at(net, block);
    tr_values at = KINDS[block.kind]->values;
    return (plain_values){.n = SIZES[block.kind],
                          .value = (const double *)(const void *)(b + at.value),
                          .is_free = (const bool *)(b + at.is_free),
                          .sd = (const double *)(const void *)(b + at.sd)};
}

static int rows_about_0(const tr_network *net, tr_block block) {
    plain_values v = values_of(net, block);
    int rows = 0;
    for (int k = 0; k < v.n; k++) rows += v.is_free[k] && v.sd[k] > 0;
    return rows;
}

static void evaluate_about_0(const tr_network *net, tr_block block, double *r, double *J) {
    plain_values v = values_of(net, block);
    int row = 0;
    for (int k = 0; k < v.n; k++) {
        if (!v.is_free[k] || !(v.sd[k] > 0)) continue;
        r[row] = v.value[k] / v.sd[k];
        if (J) J[row * v.n + k] = 1 / v.sd[k];
        row++;
    }
}

const tr_prior tr_prior_about_0 = {.rows = rows_about_0, .evaluate = evaluate_about_0};

/* ---- what the solver has accepted ---- */

bool tr_block_state_init(tr_block_state *s, const tr_network *net, tr_error *err) {
    int most = 0;
    memset(s, 0, sizeof *s);
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        int n = count_of(net, kind);
        most += n * SIZES[kind];
        s->accepted[kind] = tr_array(n, ARRAYS[kind].size);
        s->first[kind] = tr_array(n, sizeof *s->first[kind]);
        if (!s->accepted[kind] || !s->first[kind]) return tr_fail_memory(err);
    }
    s->unknowns = tr_array(most, sizeof *s->unknowns);
    if (!s->unknowns) return tr_fail_memory(err);
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        for (int i = 0; i < count_of(net, kind); i++) {
            tr_block block = {(tr_net_kind)kind, i};
            s->first[kind][i] = -1;
            for (int k = 0; k < SIZES[kind]; k++) {
                if (!tr_block_is_free(net, block, k)) continue;
                if (s->first[kind][i] < 0) s->first[kind][i] = s->n_unknowns;
                s->unknowns[s->n_unknowns++] = (tr_net_unknown){(tr_net_kind)kind, i, k};
            }
        }
    }
    tr_block_state_accept(s, net);
    return true;
}

void tr_block_state_release(tr_block_state *s) {
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        free(s->accepted[kind]);
        free(s->first[kind]);
    }
    free(s->unknowns);
    memset(s, 0, sizeof *s);
}

void tr_block_state_accept(tr_block_state *s, const tr_network *net) {
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        size_t n = (size_t)count_of(net, kind);
        if (n > 0) memcpy(s->accepted[kind], array_of(net, kind), n * ARRAYS[kind].size);
    }
}

void tr_block_state_move(const tr_block_state *s, tr_network *net, const double *delta) {
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        for (int i = 0; i < count_of(net, kind); i++) {
            tr_block block = {(tr_net_kind)kind, i};
            int column = s->first[kind][i];
            double d[TR_BLOCK_MAX];
            if (column < 0) continue;
            for (int k = 0; k < SIZES[kind]; k++) {
                d[k] = tr_block_is_free(net, block, k) ? delta[column++] : 0;
            }
            move_block(kind, block_at(net, block),
                       (const char *)s->accepted[kind] + (size_t)i * ARRAYS[kind].size, d);
        }
    }
}

int tr_block_state_find(const tr_block_state *s, tr_net_unknown u) {
    for (int i = s->first[u.kind][u.index]; i >= 0 && i < s->n_unknowns; i++) {
        const tr_net_unknown *v = &s->unknowns[i];
        if (v->kind != u.kind || v->index != u.index) break;
        if (v->component == u.component) return i;
    }
    return -1;
}

/* ---- copies ---- */

bool tr_network_copy(const tr_network *net, tr_network *out, tr_error *err) {
    bool ok = true;
    *out = *net;
    for (int i = 0; i < N_ARRAYS; i++) {
        int n = count_of(net, i);
        void *to = tr_array(n, ARRAYS[i].size);
        ok = ok && to;
        if (to && n > 0) memcpy(to, array_of(net, i), (size_t)n * ARRAYS[i].size);
        memcpy((char *)out + ARRAYS[i].array, &to, sizeof to);
    }
    if (ok) return true;
    tr_network_release(out);
    return tr_fail_memory(err);
}

void tr_network_restore(tr_network *net, const tr_network *copy) {
    for (int i = 0; i < N_ARRAYS; i++) {
        size_t n = (size_t)count_of(copy, i);
        if (n > 0) memcpy(array_of(net, i), array_of(copy, i), n * ARRAYS[i].size);
    }
}

void tr_network_release(tr_network *net) {
    for (int i = 0; i < N_ARRAYS; i++) free(array_of(net, i));
    memset(net, 0, sizeof *net);
}
