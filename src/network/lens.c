#include <string.h>

#include "base/language.h"
#include "geom/dense.h"
#include "network/blocks.h"

_Static_assert((int)TR_DENSE_ROOT_MAX >= (int)TR_LENS_N, "room for a lens's parameters");

tr_net_lens tr_net_lens_of(const tr_lens *profile) {
    tr_net_lens lens = {.lens = *profile, .has_prior = profile->has_covariance};
    for (int i = 0; i < TR_LENS_N; i++) {
        lens.is_free[i] = profile->has_covariance && profile->covariance[i * (TR_LENS_N + 1)] > 0;
    }
    return lens;
}

/* ---- its prior: the profile ---- */

/* Where the covariance is singular within rounding, its diagonal is raised by one part in 1e10,
   which widens the prior by nothing that matters. */
static bool whiten_prior(tr_net_lens *lens, tr_error *err) {
    int n = 0;
    int free_params[TR_LENS_N];
    for (int i = 0; i < TR_LENS_N; i++) {
        if (lens->is_free[i]) free_params[n++] = i;
    }
    if (n == 0) return true;
    double C[TR_LENS_N * TR_LENS_N];
    for (int raise = 0; raise < 2; raise++) {
        for (int i = 0; i < n; i++) {
            for (int j = 0; j < n; j++) {
                C[i * n + j] = lens->lens.covariance[free_params[i] * TR_LENS_N + free_params[j]];
            }
            C[i * n + i] *= 1 + (raise ? 1e-10 : 0);
        }
        if (tr_dense_inverse_root(C, n, lens->prior_W)) return true;
    }
    return tr_fail(err, TR_BAD_INPUT, "the covariance of lens '%s' is not positive definite",
                   lens->lens.id);
}

static bool prepare(void *block, tr_error *err) {
    tr_net_lens *lens = block;
    if (!lens->has_prior) return true;
    if (!lens->is_prior_kept) {
        memcpy(lens->prior, lens->lens.param, sizeof lens->prior);
        lens->is_prior_kept = true;
    }
    return whiten_prior(lens, err);
}

static int profile_rows(const tr_network *net, tr_block b) {
    return net->lenses[b.index].has_prior ? tr_block_n_free(net, b) : 0;
}

static void evaluate_profile(const tr_network *net, tr_block b, double *r, double *J) {
    const tr_net_lens *lens = &net->lenses[b.index];
    int row = 0;
    for (int k = 0; k < TR_LENS_N; k++) {
        if (!lens->is_free[k]) continue;
        r[row] = lens->lens.param[k] - lens->prior[k];
        if (J) J[row * TR_LENS_N + k] = 1;
        row++;
    }
}

static const double *profile_W(const tr_network *net, tr_block b) {
    return net->lenses[b.index].prior_W;
}

static const tr_prior AGAINST_PROFILE = {
    .rows = profile_rows, .evaluate = evaluate_profile, .W = profile_W};

/* ---- its unknowns ---- */

static int of(const tr_view *view) {
    return view->photo < 0 ? -1 : view->net->photos[view->photo].lens;
}

static const char *name(const tr_network *net, int index, int component) {
    (void)net;
    (void)index;
    return tr_lens_parameter_name(component);
}

/* Pixels are linear in the first: a long step keeps rounding out. */
static double step(int component) {
    return component < TR_K1 ? 1 : 0.01;
}

const tr_kind tr_kind_lens = {
    .title = TR_N("the lens's %s"),
    .name = name,
    .step = step,
    .of = of,
    .values = {offsetof(tr_net_lens, lens.param), offsetof(tr_net_lens, is_free), 0},
    .prepare = prepare,
    .priors = {&AGAINST_PROFILE}};

/* ---- its stage ---- */

typedef struct {
    double point[2 * 3], lens[2 * TR_LENS_N]; /* of tr_lens_project */
} jacobians;
_Static_assert(sizeof(jacobians) <= TR_STAGE_ROOM, "room for what the stage keeps");

static bool project(const tr_view *view, tr_vec3 *p, void *keep) {
    const tr_net_lens *lens = view->block[TR_NET_LENS];
    jacobians *J = keep;
    tr_vec2 uv;
    if (!tr_lens_project(&lens->lens, *p, &uv, J ? J->point : NULL, J ? J->lens : NULL)) {
        return false;
    }
    *p = tr_v3(uv.x, uv.y, 0);
    return true;
}

static void reverse(const tr_view *view, const void *keep, tr_gradient *g) {
    (void)view;
    const jacobians *J = keep;
    for (int i = 0; i < g->rows; i++) {
        double to_u = g->J[i][0];
        double to_v = g->J[i][1];
        double *row = tr_gradient_row(g, TR_NET_LENS, i);
        for (int k = 0; k < TR_LENS_N; k++) {
            row[k] += to_u * J->lens[k] + to_v * J->lens[TR_LENS_N + k];
        }
        for (int k = 0; k < 3; k++) g->J[i][k] = to_u * J->point[k] + to_v * J->point[3 + k];
    }
}

const tr_stage tr_stage_lens = {.kind = TR_NET_LENS, .move = project, .reverse = reverse};
