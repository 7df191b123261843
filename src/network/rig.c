#include "base/language.h"
#include "network/kind.h"

/* ---- its unknowns ---- */

static int of(const tr_view *view) {
    return view->photo < 0 ? -1 : view->net->photos[view->photo].rig;
}

static bool is_free(const void *block, int component) {
    (void)component;
    return !((const tr_net_rig *)block)->is_held;
}

static void move(void *block, const void *from, const double *d) {
    ((tr_net_rig *)block)->rig_from_world =
        tr_pose_moved(((const tr_net_rig *)from)->rig_from_world, d);
}

/* That of the first photo that it took. */
static const char *name(const tr_network *net, int index, int component) {
    (void)component;
    for (int k = 0; k < net->n_photos && net->photo_names; k++) {
        if (net->photos[k].rig == index) return net->photo_names[k];
    }
    return NULL;
}

const tr_kind tr_kind_rig = {.title = TR_N("the place of photo '%s'"),
                             .name = name,
                             .step = tr_pose_step,
                             .of = of,
                             .is_free = is_free,
                             .move = move};

/* ---- its stage ---- */

static bool apply(const tr_view *view, tr_vec3 *p, void *keep) {
    const tr_net_rig *rig = view->block[TR_NET_RIG];
    tr_stage_apply_pose(&rig->rig_from_world, p, keep);
    return true;
}

static void reverse(const tr_view *view, const void *keep, tr_gradient *g) {
    const tr_net_rig *rig = view->block[TR_NET_RIG];
    tr_stage_reverse_pose(&rig->rig_from_world, keep, TR_NET_RIG, g);
}

const tr_stage tr_stage_rig = {.kind = TR_NET_RIG, .move = apply, .reverse = reverse};
