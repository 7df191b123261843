#include "network/blocks.h"

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "base/language.h"

/* ---- what each kind is ---- */

/* Steps: the cube root of the machine's epsilon times 1 rad, or a metre against some metres of
   distance. In a lens's parameters pixels are linear: a long step keeps rounding out. */
static const double STEP = 6e-6;
static const double STEP_MM = 6e-3;

static double lens_step(int k) {
    return k < TR_K1 ? 1 : 0.01;
}

static bool camera_is_free(const void *block, int k) {
    (void)k;
    return ((const tr_net_camera *)block)->is_free;
}
static void move_camera(void *block, const void *from, const double *d) {
    const tr_net_camera *camera = from;
    ((tr_net_camera *)block)->camera_from_rig = tr_pose_moved(camera->camera_from_rig, d);
}

static double pose_step(int k) {
    return k < 3 ? STEP : STEP_MM;
}

static bool rig_is_free(const void *block, int k) {
    (void)k;
    return !((const tr_net_rig *)block)->is_held;
}
static void move_rig(void *block, const void *from, const double *d) {
    ((tr_net_rig *)block)->rig_from_world =
        tr_pose_moved(((const tr_net_rig *)from)->rig_from_world, d);
}

static double photo_step(int k) {
    return k < TR_PHOTO_FOCAL ? 1 : k < TR_PHOTO_TRAVEL ? STEP : STEP_MM;
}

static bool sheet_is_free(const void *block, int k) {
    return ((const tr_net_sheet *)block)->is_free[k];
}
static void move_sheet(void *block, const void *from, const double *d) {
    tr_net_sheet *sheet = block;
    const tr_net_sheet *before = from;
    sheet->world_from_sheet = tr_pose_moved(before->world_from_sheet, d);
    for (int k = 0; k < TR_SHAPE_N; k++)
        sheet->shape[k] = before->shape[k] + d[TR_PRINT_SCALE_X + k];
}

static double sheet_step(int k) {
    bool is_length = k >= TR_SHEET_TX && k != TR_PRINT_SCALE_X && k != TR_PRINT_SCALE_Y;
    return is_length ? STEP_MM : STEP;
}

static double offset_step(int k) {
    return k <= TR_OFFSET_Z ? STEP_MM : k == TR_OFFSET_TWIST ? STEP / 1000 : STEP;
}

/* Where the unknowns of a plain block stand in it, which are values: an array of them, one of the
   flags that free them, and one of the standard deviations of their priors about 0 (0: there is no
   such array). */
typedef struct {
    size_t value, is_free, sd;
} plain_block;

/* A plain block needs its places alone; of another, is_free and move are of one block, and of d
   what is not free is 0. */
static const struct {
    int n; /* unknowns of a block */
    const char *name;
    double (*step)(int component); /* tr_block_step */
    plain_block plain;
    bool (*is_free)(const void *block, int component);
    void (*move)(void *block, const void *from, const double *d);
} KINDS[TR_NET_N_KINDS] = {
#define PLAIN(type, value, sd)                                                                     \
    { offsetof(type, value), offsetof(type, is_free), sd }
    [TR_NET_LENS] = {TR_LENS_N, "lens", lens_step, PLAIN(tr_net_lens, lens.param, 0)},
    [TR_NET_CAMERA] = {TR_POSE_N, TR_N("the place on its rig of camera '%s'"), pose_step,
                       .is_free = camera_is_free, .move = move_camera},
    [TR_NET_RIG] = {TR_POSE_N, TR_N("the place of photo '%s'"), pose_step, .is_free = rig_is_free,
                    .move = move_rig},
    [TR_NET_PHOTO] = {TR_PHOTO_N, TR_N("the camera in photo '%s'"), photo_step,
                      PLAIN(tr_net_photo, value, offsetof(tr_net_photo, sd))},
    [TR_NET_SHEET] = {TR_SHEET_N, TR_N("the place of sheet '%s'"), sheet_step,
                      .is_free = sheet_is_free, .move = move_sheet},
    [TR_NET_OFFSET] = {TR_OFFSET_N, TR_N("the offset of mark '%s'"), offset_step,
                       PLAIN(tr_net_offset, value, offsetof(tr_net_offset, sd))},
#undef PLAIN
};

static bool is_plain(int kind) {
    return !KINDS[kind].move;
}

/* The arrays of a network: those of the blocks, by kind, and what ties them. */
enum { OBSERVATIONS = TR_NET_N_KINDS, LENGTHS, N_ARRAYS };
static const struct {
    size_t array, count; /* places in tr_network */
    size_t size;         /* bytes of an element */
} ARRAYS[N_ARRAYS] = {
#define ARRAY(name, type)                                                                          \
    { offsetof(tr_network, name), offsetof(tr_network, n_##name), sizeof(type) }
    [TR_NET_LENS] = ARRAY(lenses, tr_net_lens),
    [TR_NET_CAMERA] = ARRAY(cameras, tr_net_camera),
    [TR_NET_RIG] = ARRAY(rigs, tr_net_rig),
    [TR_NET_PHOTO] = ARRAY(photos, tr_net_photo),
    [TR_NET_SHEET] = ARRAY(sheets, tr_net_sheet),
    [TR_NET_OFFSET] = ARRAY(offsets, tr_net_offset),
    [OBSERVATIONS] = ARRAY(observations, tr_net_obs),
    [LENGTHS] = ARRAY(lengths, tr_net_length),
#undef ARRAY
};

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

int tr_block_size(tr_net_kind kind) {
    return KINDS[kind].n;
}

int tr_block_count(const tr_network *net, tr_net_kind kind) {
    return count_of(net, (int)kind);
}

bool tr_block_is_free(const tr_network *net, tr_block block, int component) {
    const char *b = block_at(net, block);
    if (!is_plain((int)block.kind)) return KINDS[block.kind].is_free(b, component);
    return ((const bool *)(b + KINDS[block.kind].plain.is_free))[component];
}

tr_block_values tr_block_values_of(const tr_network *net, tr_block block) {
    const char *b = block_at(net, block);
    plain_block p = KINDS[block.kind].plain;
    return (tr_block_values){.n = KINDS[block.kind].n,
                             .value = (const double *)(const void *)(b + p.value),
                             .is_free = (const bool *)(b + p.is_free),
                             .sd = (const double *)(const void *)(b + p.sd)};
}

static void move_block(int kind, char *block, const char *from, const double *d) {
    if (!is_plain(kind)) {
        KINDS[kind].move(block, from, d);
        return;
    }
    double *to = (double *)(void *)(block + KINDS[kind].plain.value);
    const double *before = (const double *)(const void *)(from + KINDS[kind].plain.value);
    for (int k = 0; k < KINDS[kind].n; k++) to[k] = before[k] + d[k];
}

int tr_block_n_free(const tr_network *net, tr_block block) {
    int n = 0;
    for (int k = 0; k < KINDS[block.kind].n; k++) n += tr_block_is_free(net, block, k);
    return n;
}

double tr_block_step(tr_net_unknown u) {
    return KINDS[u.kind].step(u.component);
}

/* A rig's name is that of the first photo that it took. */
static const char *name_of(const tr_network *net, tr_block block) {
    int i = block.index;
    switch (block.kind) {
    case TR_NET_RIG:
        for (int k = 0; k < net->n_photos && net->photo_names; k++) {
            if (net->photos[k].rig == i) return net->photo_names[k];
        }
        return NULL;
    case TR_NET_PHOTO: return net->photo_names ? net->photo_names[i] : NULL;
    case TR_NET_SHEET: return net->sheet_names ? net->sheet_names[i] : NULL;
    case TR_NET_OFFSET: return net->offset_names ? net->offset_names[i] : NULL;
    default: return NULL;
    }
}

void tr_block_name(const tr_network *net, tr_block block, int component, char *out, size_t size) {
    char number[16];
    const char *name = name_of(net, block);
    snprintf(number, sizeof number, "%d", block.index + 1);
    if (block.kind == TR_NET_LENS) {
        snprintf(out, size, TR_N("the lens's %s"), tr_lens_parameter_name(component));
    } else {
        snprintf(out, size, KINDS[block.kind].name, name ? name : number);
    }
}

/* ---- what the solver has accepted ---- */

bool tr_block_state_init(tr_block_state *s, const tr_network *net, tr_error *err) {
    int most = 0;
    memset(s, 0, sizeof *s);
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        int n = count_of(net, kind);
        most += n * KINDS[kind].n;
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
            for (int k = 0; k < KINDS[kind].n; k++) {
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
            for (int k = 0; k < KINDS[kind].n; k++) {
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
