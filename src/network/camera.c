#include "base/language.h"
#include "network/kind.h"

/* ---- its unknowns ---- */

static int of(const tr_view *view) {
    return view->photo < 0 ? -1 : view->net->photos[view->photo].camera;
}

static bool is_free(const void *block, int component) {
    (void)component;
    return ((const tr_net_camera *)block)->is_free;
}

static void move(void *block, const void *from, const double *d) {
    ((tr_net_camera *)block)->camera_from_rig =
        tr_pose_moved(((const tr_net_camera *)from)->camera_from_rig, d);
}

const tr_kind tr_kind_camera = {.title = TR_N("the place on its rig of camera '%s'"),
                                .step = tr_pose_step,
                                .of = of,
                                .is_free = is_free,
                                .move = move};

/* ---- its stage ---- */

static bool apply(const tr_view *view, tr_vec3 *p, void *keep) {
    const tr_net_camera *camera = view->block[TR_NET_CAMERA];
    tr_stage_apply_pose(&camera->camera_from_rig, p, keep);
    return true;
}

static void reverse(const tr_view *view, const void *keep, tr_gradient *g) {
    const tr_net_camera *camera = view->block[TR_NET_CAMERA];
    tr_stage_reverse_pose(&camera->camera_from_rig, keep, TR_NET_CAMERA, g);
}

const tr_stage tr_stage_camera = {.kind = TR_NET_CAMERA, .move = apply, .reverse = reverse};
