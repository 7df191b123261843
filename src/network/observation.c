#include "network/observation.h"

#include <string.h>

#include "geom/dense.h"
#include "network/chain.h"

_Static_assert(TR_DENSE_ROOT_MAX >= 2 * TR_OBS_MAX_POINTS,
               "room for the coordinates of an observation");

bool tr_net_whiten(const double *covariance, int n_points, double *W) {
    return tr_dense_inverse_root(covariance, 2 * n_points, W);
}

void tr_net_whiten_equal(double sd_px, int n_points, double *W) {
    int n = 2 * n_points;
    memset(W, 0, (size_t)(n * n) * sizeof *W);
    for (int i = 0; i < n; i++) W[i * n + i] = 1 / sd_px;
}

int tr_observation_blocks(const tr_network *net, const tr_net_obs *obs,
                          tr_block blocks[TR_OBS_MAX_BLOCKS]) {
    return tr_chain_blocks(net, obs->sheet, obs->offset, obs->photo, blocks);
}

bool tr_observation_project(const tr_network *net, const tr_net_obs *obs, double *r, double *J) {
    tr_chain chain;
    tr_chain_kept kept;
    tr_gradient g = {.rows = 2};
    tr_chain_init(&chain, net, obs->sheet, obs->offset, obs->photo);
    for (int b = 0; b < chain.n_blocks && J; b++) {
        g.columns[chain.blocks[b].kind] = J + g.stride;
        g.stride += tr_block_size(chain.blocks[b].kind);
    }
    for (int k = 0; k < obs->n_points; k++) {
        tr_vec3 end;
        chain.view.uv_px = obs->uv_px[k];
        if (!tr_chain_follow(&chain, obs->p_sheet_mm[k], &end, J ? &kept : NULL)) return false;
        r[2 * k] = end.x - obs->uv_px[k].x;
        r[2 * k + 1] = end.y - obs->uv_px[k].y;
        if (!J) continue;
        memcpy(g.J, (double[2][3]){{1, 0, 0}, {0, 1, 0}}, sizeof g.J);
        tr_chain_reverse(&chain, &kept, &g);
        for (int b = 0; b < chain.n_blocks; b++) g.columns[chain.blocks[b].kind] += 2L * g.stride;
    }
    return true;
}

bool tr_network_residual(const tr_network *net, int observation, tr_vec2 *r_px, double *chi2) {
    const tr_net_obs *obs = &net->observations[observation];
    int rows = 2 * obs->n_points;
    double r[TR_OBS_MAX_ROWS];
    if (!tr_observation_project(net, obs, r, NULL)) return false;
    for (int k = 0; k < obs->n_points && r_px; k++) r_px[k] = tr_v2(-r[2 * k], -r[2 * k + 1]);
    if (!chi2) return true;
    *chi2 = 0;
    for (int i = 0; i < rows; i++) {
        double w = 0;
        for (int k = i; k < rows; k++) w += obs->W[i * rows + k] * r[k];
        *chi2 += w * w;
    }
    return true;
}

bool tr_network_offset_jacobian(const tr_network *net, int observation, double *J) {
    const tr_net_obs *obs = &net->observations[observation];
    int rows = 2 * obs->n_points;
    double r[TR_OBS_MAX_ROWS];
    double all[TR_OBS_MAX_ROWS * TR_OBS_MAX_WIDTH] = {0};
    tr_block blocks[TR_OBS_MAX_BLOCKS];
    int n = tr_observation_blocks(net, obs, blocks);
    int first = tr_block_first_column(blocks, n, TR_NET_OFFSET);
    int width = 0;
    for (int b = 0; b < n; b++) width += tr_block_size(blocks[b].kind);
    if (!tr_observation_project(net, obs, r, all)) return false;
    memset(J, 0, (size_t)(rows * TR_OFFSET_N) * sizeof *J);
    for (int i = 0; i < rows && first >= 0; i++) {
        memcpy(J + (long)i * TR_OFFSET_N, all + (long)i * width + first, TR_OFFSET_N * sizeof *J);
    }
    return true;
}
