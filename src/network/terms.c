#include "network/terms.h"
#include "geom/dense.h"

#include <string.h>

/* ---- whitening ---- */

_Static_assert((int)TR_DENSE_ROOT_MAX >= (int)TR_LENS_N &&
                   TR_DENSE_ROOT_MAX >= 2 * TR_OBS_MAX_POINTS,
               "room for a lens's parameters and for the coordinates of an observation");

tr_net_lens tr_net_lens_of(const tr_lens *profile) {
    tr_net_lens lens = {.lens = *profile, .has_prior = profile->has_covariance};
    for (int i = 0; i < TR_LENS_N; i++) {
        lens.is_free[i] = profile->has_covariance && profile->covariance[i * (TR_LENS_N + 1)] > 0;
    }
    return lens;
}

bool tr_net_whiten(const double *covariance, int n_points, double *W) {
    return tr_dense_inverse_root(covariance, 2 * n_points, W);
}

void tr_net_whiten_equal(double sd_px, int n_points, double *W) {
    int n = 2 * n_points;
    memset(W, 0, (size_t)(n * n) * sizeof *W);
    for (int i = 0; i < n; i++) W[i * n + i] = 1 / sd_px;
}

/* ---- observations ---- */

static int observation_count(const tr_network *net) {
    return net->n_observations;
}
static int observation_rows(const tr_network *net, int i) {
    return net->observations[i].is_used ? 2 * net->observations[i].n_points : 0;
}
static int observation_blocks(const tr_network *net, int i, tr_block *blocks) {
    return tr_observation_blocks(net, &net->observations[i], blocks);
}
static bool observation_evaluate(const tr_network *net, int i, double *r, double *J) {
    return tr_observation_project(net, &net->observations[i], r, J);
}
static const double *observation_W(const tr_network *net, int i) {
    return net->observations[i].W;
}

/* ---- a lens against its profile ---- */

static int lens_count(const tr_network *net) {
    return net->n_lenses;
}
static int lens_rows(const tr_network *net, int i) {
    return net->lenses[i].has_prior ? tr_block_n_free(net, (tr_block){TR_NET_LENS, i}) : 0;
}
static int lens_blocks(const tr_network *net, int i, tr_block *blocks) {
    (void)net;
    blocks[0] = (tr_block){TR_NET_LENS, i};
    return 1;
}
static bool lens_evaluate(const tr_network *net, int i, double *r, double *J) {
    const tr_net_lens *lens = &net->lenses[i];
    int row = 0;
    for (int k = 0; k < TR_LENS_N; k++) {
        if (!lens->is_free[k]) continue;
        r[row] = lens->lens.param[k] - lens->prior[k];
        if (J) J[row * TR_LENS_N + k] = 1;
        row++;
    }
    return true;
}
static const double *lens_W(const tr_network *net, int i) {
    return net->lenses[i].prior_W;
}

/* Where the covariance is singular within rounding, its diagonal is raised by one part in 1e10,
   which widens the prior by nothing that matters. */
static bool prepare_lens(tr_net_lens *lens, tr_error *err) {
    int n = 0;
    int free_params[TR_LENS_N];
    if (lens->has_prior && !lens->is_prior_kept) {
        memcpy(lens->prior, lens->lens.param, sizeof lens->prior);
        lens->is_prior_kept = true;
    }
    for (int i = 0; i < TR_LENS_N; i++) {
        if (lens->is_free[i]) free_params[n++] = i;
    }
    if (!lens->has_prior || n == 0) return true;
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

bool tr_term_prepare_lenses(tr_network *net, tr_error *err) {
    for (int i = 0; i < net->n_lenses; i++) {
        if (!prepare_lens(&net->lenses[i], err)) return false;
    }
    return true;
}

/* ---- values about 0, each with its standard deviation ---- */

static int prior_rows(const bool *is_free, const double *sd, int n) {
    int rows = 0;
    for (int k = 0; k < n; k++) rows += is_free[k] && sd[k] > 0;
    return rows;
}

static void evaluate_prior(const double *value, const bool *is_free, const double *sd, int n,
                           double *r, double *J) {
    int row = 0;
    for (int k = 0; k < n; k++) {
        if (!is_free[k] || !(sd[k] > 0)) continue;
        r[row] = value[k] / sd[k];
        if (J) J[row * n + k] = 1 / sd[k];
        row++;
    }
}

/* ---- sheets ---- */

static int sheet_count(const tr_network *net) {
    return net->n_sheets;
}

static int floor_rows(const tr_network *net, int i) {
    bool has_prior = net->sheets[i].floor_z_sd_mm > 0;
    return has_prior && tr_block_n_free(net, (tr_block){TR_NET_SHEET, i}) > 0 ? 3 : 0;
}
static int floor_blocks(const tr_network *net, int i, tr_block *blocks) {
    (void)net;
    blocks[0] = (tr_block){TR_NET_SHEET, i};
    return 1;
}
static bool floor_evaluate(const tr_network *net, int i, double *r, double *J) {
    const tr_net_sheet *sheet = &net->sheets[i];
    double tilt = 1 / sheet->floor_tilt_sd_rad;
    double z = 1 / sheet->floor_z_sd_mm;
    tr_vec3 normal = tr_m3_column(sheet->world_from_sheet.R, 2);
    r[0] = normal.x * tilt;
    r[1] = normal.y * tilt;
    r[2] = sheet->world_from_sheet.t_mm.z * z;
    if (!J) return true;
    /* d(normal) = d_rotation x normal */
    J[TR_SHEET_RY] = normal.z * tilt;
    J[TR_SHEET_RZ] = -normal.y * tilt;
    J[TR_SHEET_N + TR_SHEET_RX] = -normal.z * tilt;
    J[TR_SHEET_N + TR_SHEET_RZ] = normal.x * tilt;
    J[2 * TR_SHEET_N + TR_SHEET_TZ] = z;
    return true;
}

static int shape_rows(const tr_network *net, int i) {
    const tr_net_sheet *sheet = &net->sheets[i];
    return prior_rows(sheet->is_free + TR_PRINT_SCALE_X, sheet->shape_sd, TR_SHAPE_N);
}
static int shape_blocks(const tr_network *net, int i, tr_block *blocks) {
    int about = net->sheets[i].shape_about;
    blocks[0] = (tr_block){TR_NET_SHEET, i};
    if (about < 0) return 1;
    blocks[1] = (tr_block){TR_NET_SHEET, about};
    return 2;
}
static bool shape_evaluate(const tr_network *net, int i, double *r, double *J) {
    const tr_net_sheet *sheet = &net->sheets[i];
    bool has_about = sheet->shape_about >= 0;
    const tr_net_sheet *about = has_about ? &net->sheets[sheet->shape_about] : NULL;
    int width = (has_about ? 2 : 1) * TR_SHEET_N;
    int row = 0;
    for (int k = 0; k < TR_SHAPE_N; k++) {
        if (!sheet->is_free[TR_PRINT_SCALE_X + k] || !(sheet->shape_sd[k] > 0)) continue;
        double w = 1 / sheet->shape_sd[k];
        r[row] = w * (sheet->shape[k] - (about ? about->shape[k] : 0));
        if (J) J[row * width + TR_PRINT_SCALE_X + k] = w;
        if (J && about) J[row * width + TR_SHEET_N + TR_PRINT_SCALE_X + k] = -w;
        row++;
    }
    return true;
}

/* ---- lengths ---- */

static int length_count(const tr_network *net) {
    return net->n_lengths;
}
static int length_rows(const tr_network *net, int i) {
    return net->lengths[i].is_used ? 1 : 0;
}

/* Of either end the sheet and the offset, each block once. */
static int length_blocks(const tr_network *net, int i, tr_block *blocks) {
    const tr_net_length *l = &net->lengths[i];
    int n = 0;
    for (int end = 0; end < 2; end++) {
        if (end == 1 && l->sheet[1] == l->sheet[0]) continue;
        blocks[n++] = (tr_block){TR_NET_SHEET, l->sheet[end]};
    }
    for (int end = 0; end < 2; end++) {
        if (l->offset[end] < 0 || (end == 1 && l->offset[1] == l->offset[0])) continue;
        blocks[n++] = (tr_block){TR_NET_OFFSET, l->offset[end]};
    }
    return n;
}

/* Where one end of a length lies; J_sheet: 3 x TR_SHEET_N by rows, J_offset: 3 x TR_OFFSET_N. */
static tr_vec3 length_end(const tr_network *net, const tr_net_length *l, int end,
                          double J_sheet[3 * TR_SHEET_N], double J_offset[3 * TR_OFFSET_N]) {
    const tr_net_sheet *sheet = &net->sheets[l->sheet[end]];
    const tr_mat3 *R = &sheet->world_from_sheet.R;
    double Jshape[12];
    double Jo[3 * TR_OFFSET_N] = {0};
    tr_vec3 p = tr_observation_point(sheet, tr_observation_offset(net, l->offset[end]),
                                     l->p_sheet_mm[end], Jshape, Jo);
    tr_vec3 turned = tr_m3_apply(*R, p);
    for (int i = 0; i < 3; i++) {
        double *row = J_sheet + (long)i * TR_SHEET_N;
        const double along[3] = {i == 0, i == 1, i == 2};
        tr_pose_gradient(along, turned, row + TR_SHEET_RX);
        for (int j = 0; j < 4; j++) {
            row[TR_PRINT_SCALE_X + j] =
                R->m[i][0] * Jshape[j] + R->m[i][1] * Jshape[4 + j] + R->m[i][2] * Jshape[8 + j];
        }
        for (int j = 0; j < TR_OFFSET_N; j++) {
            J_offset[i * TR_OFFSET_N + j] = R->m[i][0] * Jo[j] + R->m[i][1] * Jo[TR_OFFSET_N + j] +
                                            R->m[i][2] * Jo[2 * TR_OFFSET_N + j];
        }
    }
    return tr_v3_add(turned, sheet->world_from_sheet.t_mm);
}

/* Adds weight' J (3 x n by rows) to a block's columns of the row. */
static void add_columns(const double *J, int n, tr_vec3 weight, double *row) {
    for (int j = 0; j < n; j++) {
        row[j] += weight.x * J[j] + weight.y * J[n + j] + weight.z * J[2 * n + j];
    }
}

static bool length_evaluate(const tr_network *net, int i, double *r, double *J) {
    const tr_net_length *l = &net->lengths[i];
    double Js[2][3 * TR_SHEET_N];
    double Jo[2][3 * TR_OFFSET_N];
    tr_vec3 a = length_end(net, l, 0, Js[0], Jo[0]);
    tr_vec3 b = length_end(net, l, 1, Js[1], Jo[1]);
    tr_vec3 d = tr_v3_sub(b, a);
    double distance = tr_v3_norm(d);
    if (!(distance > 0)) return false;
    r[0] = (distance - l->length_mm) / l->sd_mm;
    if (!J) return true;
    bool is_one_sheet = l->sheet[1] == l->sheet[0];
    int offsets = (is_one_sheet ? 1 : 2) * TR_SHEET_N;
    for (int end = 0; end < 2; end++) {
        tr_vec3 weight = tr_v3_scale((end == 0 ? -1 : 1) / (distance * l->sd_mm), d);
        add_columns(Js[end], TR_SHEET_N, weight, J + (is_one_sheet ? 0 : end * TR_SHEET_N));
        if (l->offset[end] < 0) continue;
        bool is_second = end == 1 && l->offset[0] >= 0 && l->offset[1] != l->offset[0];
        add_columns(Jo[end], TR_OFFSET_N, weight, J + offsets + (is_second ? TR_OFFSET_N : 0));
    }
    return true;
}

/* ---- all kinds ---- */

/* evaluate: r and J as they are before whitening by W (NULL: they are whitened), J to all unknowns
   of the blocks, all zero when it is called. With prior_of, the terms are the priors of plain
   blocks instead, one a block of that kind. */
enum { NO_BLOCK = (int)TR_NET_N_KINDS };
static const struct {
    int prior_of; /* a tr_net_kind, or NO_BLOCK */
    int (*count)(const tr_network *net);
    int (*rows)(const tr_network *net, int index);
    int (*blocks)(const tr_network *net, int index, tr_block *blocks);
    bool (*evaluate)(const tr_network *net, int index, double *r, double *J);
    const double *(*W)(const tr_network *net, int index);
} KINDS[TR_TERM_N_KINDS] = {
    [TR_TERM_OBSERVATION] = {NO_BLOCK, observation_count, observation_rows, observation_blocks,
                             observation_evaluate, observation_W},
    [TR_TERM_LENS] = {NO_BLOCK, lens_count, lens_rows, lens_blocks, lens_evaluate, lens_W},
    [TR_TERM_PHOTO] = {.prior_of = (int)TR_NET_PHOTO},
    [TR_TERM_FLOOR] = {NO_BLOCK, sheet_count, floor_rows, floor_blocks, floor_evaluate, NULL},
    [TR_TERM_SHAPE] = {NO_BLOCK, sheet_count, shape_rows, shape_blocks, shape_evaluate, NULL},
    [TR_TERM_OFFSET] = {.prior_of = (int)TR_NET_OFFSET},
    [TR_TERM_LENGTH] = {NO_BLOCK, length_count, length_rows, length_blocks, length_evaluate, NULL},
};

static bool is_prior(tr_term_kind kind) {
    return KINDS[kind].prior_of != NO_BLOCK;
}

/* The block whose prior a term is. */
static tr_block prior_block(tr_term_kind kind, int index) {
    return (tr_block){(tr_net_kind)KINDS[kind].prior_of, index};
}

int tr_term_count(const tr_network *net, tr_term_kind kind) {
    return is_prior(kind) ? tr_block_count(net, (tr_net_kind)KINDS[kind].prior_of)
                          : KINDS[kind].count(net);
}

int tr_term_rows(const tr_network *net, tr_term_kind kind, int index) {
    if (!is_prior(kind)) return KINDS[kind].rows(net, index);
    tr_block_values v = tr_block_values_of(net, prior_block(kind, index));
    return prior_rows(v.is_free, v.sd, v.n);
}

int tr_term_blocks(const tr_network *net, tr_term_kind kind, int index,
                   tr_block blocks[TR_TERM_MAX_BLOCKS]) {
    if (!is_prior(kind)) return KINDS[kind].blocks(net, index, blocks);
    blocks[0] = prior_block(kind, index);
    return 1;
}

static bool evaluate(const tr_network *net, tr_term_kind kind, int index, double *r, double *J) {
    if (!is_prior(kind)) return KINDS[kind].evaluate(net, index, r, J);
    tr_block_values v = tr_block_values_of(net, prior_block(kind, index));
    evaluate_prior(v.value, v.is_free, v.sd, v.n, r, J);
    return true;
}

int tr_term_pick_free(const tr_network *net, const tr_block *blocks, int n_blocks,
                      int pick[TR_TERM_MAX_WIDTH]) {
    int n = 0;
    int column = 0;
    for (int b = 0; b < n_blocks; b++) {
        for (int k = 0; k < tr_block_size(blocks[b].kind); k++, column++) {
            if (tr_block_is_free(net, blocks[b], k)) pick[n++] = column;
        }
    }
    return n;
}

int tr_term_width(const tr_network *net, tr_term_kind kind, int index) {
    tr_block blocks[TR_TERM_MAX_BLOCKS];
    int n = tr_term_blocks(net, kind, index, blocks);
    int width = 0;
    for (int b = 0; b < n; b++) width += tr_block_size(blocks[b].kind);
    return width;
}

bool tr_term_evaluate(const tr_network *net, tr_term_kind kind, int index, const int *pick,
                      int n_pick, double *r, double *J) {
    double raw_r[TR_LSQ_MAX_ROWS];
    double raw_J[TR_LSQ_MAX_ROWS * TR_TERM_MAX_WIDTH];
    int rows = tr_term_rows(net, kind, index);
    int width = tr_term_width(net, kind, index);
    const double *W = KINDS[kind].W ? KINDS[kind].W(net, index) : NULL;
    if (J) memset(raw_J, 0, (size_t)(rows * width) * sizeof *raw_J);
    if (!evaluate(net, kind, index, raw_r, J ? raw_J : NULL)) return false;
    /* W is upper triangular. */
    for (int i = 0; i < rows; i++) {
        double *row = J + (long)i * n_pick;
        r[i] = W ? 0 : raw_r[i];
        for (int j = 0; j < n_pick && J; j++) row[j] = W ? 0 : raw_J[i * width + pick[j]];
        for (int k = i; k < rows && W; k++) {
            double w = W[(long)i * rows + k];
            const double *raw = raw_J + (long)k * width;
            if (w == 0.0) continue;
            r[i] += w * raw_r[k];
            for (int j = 0; j < n_pick && J; j++) row[j] += w * raw[pick[j]];
        }
    }
    return true;
}
