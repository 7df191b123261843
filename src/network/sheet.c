#include "base/language.h"
#include "network/blocks.h"

/* ---- its unknowns ---- */

static int of(const tr_view *view) {
    return view->sheet;
}

static const char *name(const tr_network *net, int index, int component) {
    (void)component;
    return net->sheet_names ? net->sheet_names[index] : NULL;
}

static double step(int component) {
    bool is_scale = component == TR_PRINT_SCALE_X || component == TR_PRINT_SCALE_Y;
    return component >= TR_SHEET_TX && !is_scale ? TR_STEP_MM : TR_STEP;
}

static bool is_free(const void *block, int component) {
    return ((const tr_net_sheet *)block)->is_free[component];
}

static void move(void *block, const void *from, const double *d) {
    tr_net_sheet *sheet = block;
    const tr_net_sheet *before = from;
    sheet->world_from_sheet = tr_pose_moved(before->world_from_sheet, d);
    for (int k = 0; k < TR_SHAPE_N; k++) {
        sheet->shape[k] = before->shape[k] + d[TR_PRINT_SCALE_X + k];
    }
}

/* ---- its priors: the floor, and the print against its file ---- */

static int floor_rows(const tr_network *net, tr_block b) {
    bool has_prior = net->sheets[b.index].floor_z_sd_mm > 0;
    return has_prior && tr_block_n_free(net, b) > 0 ? 3 : 0;
}

static void evaluate_floor(const tr_network *net, tr_block b, double *r, double *J) {
    const tr_net_sheet *sheet = &net->sheets[b.index];
    double tilt = 1 / sheet->floor_tilt_sd_rad;
    double z = 1 / sheet->floor_z_sd_mm;
    tr_vec3 normal = tr_m3_column(sheet->world_from_sheet.R, 2);
    r[0] = normal.x * tilt;
    r[1] = normal.y * tilt;
    r[2] = sheet->world_from_sheet.t_mm.z * z;
    if (!J) return;
    /* d(normal) = d_rotation x normal */
    J[TR_SHEET_RY] = normal.z * tilt;
    J[TR_SHEET_RZ] = -normal.y * tilt;
    J[TR_SHEET_N + TR_SHEET_RX] = -normal.z * tilt;
    J[TR_SHEET_N + TR_SHEET_RZ] = normal.x * tilt;
    J[2 * TR_SHEET_N + TR_SHEET_TZ] = z;
}

static const tr_prior ON_FLOOR = {.rows = floor_rows, .evaluate = evaluate_floor};

static bool has_shape_prior(const tr_net_sheet *sheet, int k) {
    return sheet->is_free[TR_PRINT_SCALE_X + k] && sheet->shape_sd[k] > 0;
}

static int shape_rows(const tr_network *net, tr_block b) {
    int rows = 0;
    for (int k = 0; k < TR_SHAPE_N; k++) rows += has_shape_prior(&net->sheets[b.index], k);
    return rows;
}

static int shape_about(const tr_network *net, tr_block b) {
    return net->sheets[b.index].shape_about;
}

static void evaluate_shape(const tr_network *net, tr_block b, double *r, double *J) {
    const tr_net_sheet *sheet = &net->sheets[b.index];
    const tr_net_sheet *about = sheet->shape_about >= 0 ? &net->sheets[sheet->shape_about] : NULL;
    int width = (about ? 2 : 1) * TR_SHEET_N;
    int row = 0;
    for (int k = 0; k < TR_SHAPE_N; k++) {
        if (!has_shape_prior(sheet, k)) continue;
        double w = 1 / sheet->shape_sd[k];
        r[row] = w * (sheet->shape[k] - (about ? about->shape[k] : 0));
        if (J) J[row * width + TR_PRINT_SCALE_X + k] = w;
        if (J && about) J[row * width + TR_SHEET_N + TR_PRINT_SCALE_X + k] = -w;
        row++;
    }
}

static const tr_prior OF_SHAPE = {
    .rows = shape_rows, .other = shape_about, .evaluate = evaluate_shape};

const tr_kind tr_kind_sheet = {.title = TR_N("the place of sheet '%s'"),
                               .name = name,
                               .step = step,
                               .of = of,
                               .is_free = is_free,
                               .move = move,
                               .priors = {&ON_FLOOR, &OF_SHAPE}};

/* ---- its print ---- */

/* How far each point rises with the bows, and where the file has it. */
typedef struct {
    tr_vec2 p;
    double qx, qy;
} print;

static bool shape(const tr_view *view, tr_vec3 *p, void *keep) {
    const tr_net_sheet *sheet = view->block[TR_NET_SHEET];
    const double *s = sheet->shape;
    double qx = 1 - (p->x / sheet->half_mm[0]) * (p->x / sheet->half_mm[0]);
    double qy = 1 - (p->y / sheet->half_mm[1]) * (p->y / sheet->half_mm[1]);
    if (keep) *(print *)keep = (print){{p->x, p->y}, qx, qy};
    *p = tr_v3(p->x * (1 + s[TR_SHAPE_SCALE_X]), p->y * (1 + s[TR_SHAPE_SCALE_Y]),
               s[TR_SHAPE_BOW_X] * qx + s[TR_SHAPE_BOW_Y] * qy);
    return true;
}

/* The first stage: where the file has the point is known. */
static void reverse_shape(const tr_view *view, const void *keep, tr_gradient *g) {
    (void)view;
    const print *at = keep;
    for (int i = 0; i < g->rows; i++) {
        const double *J = g->J[i];
        double *row = tr_gradient_row(g, TR_NET_SHEET, i);
        row[TR_PRINT_SCALE_X] += J[0] * at->p.x;
        row[TR_PRINT_SCALE_Y] += J[1] * at->p.y;
        row[TR_BOW_X] += J[2] * at->qx;
        row[TR_BOW_Y] += J[2] * at->qy;
    }
}

const tr_stage tr_stage_sheet_shape = {
    .kind = TR_NET_SHEET, .move = shape, .reverse = reverse_shape};

/* ---- its place ---- */

static bool place(const tr_view *view, tr_vec3 *p, void *keep) {
    const tr_net_sheet *sheet = view->block[TR_NET_SHEET];
    tr_stage_apply_pose(&sheet->world_from_sheet, p, keep);
    return true;
}

static void reverse_place(const tr_view *view, const void *keep, tr_gradient *g) {
    const tr_net_sheet *sheet = view->block[TR_NET_SHEET];
    tr_stage_reverse_pose(&sheet->world_from_sheet, keep, TR_NET_SHEET, g);
}

const tr_stage tr_stage_sheet_pose = {
    .kind = TR_NET_SHEET, .move = place, .reverse = reverse_place};
