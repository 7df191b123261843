#include "network/network.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "base/groups.h"

typedef enum {
    TERM_OBSERVATION,
    TERM_LENS_PRIOR,
    TERM_FLOOR,
    TERM_SHAPE,
    TERM_OFFSET,
    TERM_LENGTH
} term_kind;

typedef struct {
    term_kind kind;
    int index; /* of the observation, lens, sheet, offset or length */
} term_source;

/* Starts come from the marks themselves, and the focal length, distances and tilts are correlated
   to 1 - 1e-6: with more damping the last of the way takes ten steps instead of two. */
static const double START_DAMPING = 1e-9;

/* What the solver moves: a copy of every unknown as accepted, and the network's own arrays as the
   trial state. */
typedef struct {
    tr_network *net;
    tr_lens *lenses; /* accepted */
    tr_net_camera *cameras;
    tr_net_rig *rigs;
    tr_net_sheet *sheets;
    tr_net_offset *offsets;
    double (*lens_W)[TR_LENS_N * TR_LENS_N]; /* whitening of the free ones */
    /* First unknown of each, -1 where nothing of it is free. */
    int *lens_column, *camera_column, *rig_column, *sheet_column, *offset_column;
    tr_net_unknown *unknowns;
    int n_unknowns;
    term_source *sources;
    tr_lsq_term *terms;
    int *columns; /* TR_LSQ_MAX_COLUMNS a term */
    int n_terms;
} state;

/* ---- whitening ---- */

/* A lens's parameters, or the coordinates of an observation's points. */
enum { MAX_WHITENED = TR_LENS_N };
_Static_assert(MAX_WHITENED >= 2 * TR_OBS_MAX_POINTS, "room for an observation");

/* Upper triangular W with W'W = A^-1, n x n, n <= MAX_WHITENED: A = L L', W = L^-1 is lower; to
   have it upper the Cholesky factor is taken from the last row upwards (A = U U', U upper, W =
   U^-1). */
static bool inverse_root(const double *A, int n, double *W) {
    double U[MAX_WHITENED * MAX_WHITENED] = {0};
    for (int j = n - 1; j >= 0; j--) {
        double d = A[j * n + j];
        for (int k = j + 1; k < n; k++) d -= U[j * n + k] * U[j * n + k];
        if (!(d > 1e-14 * A[j * n + j]) || !isfinite(d)) return false;
        U[j * n + j] = sqrt(d);
        for (int i = j - 1; i >= 0; i--) {
            double s = A[i * n + j];
            for (int k = j + 1; k < n; k++) s -= U[i * n + k] * U[j * n + k];
            U[i * n + j] = s / U[j * n + j];
        }
    }
    memset(W, 0, (size_t)(n * n) * sizeof *W);
    for (int j = 0; j < n; j++) {
        W[j * n + j] = 1 / U[j * n + j];
        for (int i = j - 1; i >= 0; i--) {
            double s = 0;
            for (int k = i + 1; k <= j; k++) s += U[i * n + k] * W[k * n + j];
            W[i * n + j] = -s / U[i * n + i];
        }
    }
    return true;
}

tr_net_lens tr_net_lens_of(const tr_lens *profile) {
    tr_net_lens lens = {.lens = *profile, .has_prior = profile->has_covariance};
    for (int i = 0; i < TR_LENS_N; i++) {
        lens.is_free[i] = profile->has_covariance && profile->covariance[i * (TR_LENS_N + 1)] > 0;
    }
    return lens;
}

bool tr_net_whiten(const double *covariance, int n_points, double *W) {
    return inverse_root(covariance, 2 * n_points, W);
}

void tr_net_whiten_equal(double sd_px, int n_points, double *W) {
    int n = 2 * n_points;
    memset(W, 0, (size_t)(n * n) * sizeof *W);
    for (int i = 0; i < n; i++) W[i * n + i] = 1 / sd_px;
}

/* ---- one observation ---- */

/* A point of a sheet in the sheet's frame, with its shape; J: 3 x 4 by rows, may be NULL. */
static tr_vec3 shaped(const tr_net_sheet *sheet, tr_vec2 p, double J[12]) {
    double qx = 1 - (p.x / sheet->half_mm[0]) * (p.x / sheet->half_mm[0]);
    double qy = 1 - (p.y / sheet->half_mm[1]) * (p.y / sheet->half_mm[1]);
    if (J) {
        memset(J, 0, 12 * sizeof *J);
        J[0] = p.x;
        J[4 + 1] = p.y;
        J[8 + 2] = qx;
        J[8 + 3] = qy;
    }
    return tr_v3(p.x * (1 + sheet->shape[0]), p.y * (1 + sheet->shape[1]),
                 sheet->shape[2] * qx + sheet->shape[3] * qy);
}

tr_vec3 tr_net_sheet_point(const tr_net_sheet *sheet, tr_vec2 p_sheet_mm) {
    return tr_pose_apply(sheet->world_from_sheet, shaped(sheet, p_sheet_mm, NULL));
}

/* Rz(turn) E of network.h, along the face; 2 x 2 by rows. */
static void form_of(const tr_net_offset *o, double M[4]) {
    double c = cos(o->axis_rad);
    double s = sin(o->axis_rad);
    double ct = cos(o->value[TR_OFFSET_TURN]);
    double st = sin(o->value[TR_OFFSET_TURN]);
    double g = 1 + o->value[TR_OFFSET_GROWTH];
    double a = o->value[TR_OFFSET_ASPECT];
    /* E = g I + a [cos 2axis, sin 2axis; sin 2axis, -cos 2axis] */
    double E[4] = {g + a * (c * c - s * s), 2 * a * c * s, 2 * a * c * s, g - a * (c * c - s * s)};
    M[0] = ct * E[0] - st * E[2];
    M[1] = ct * E[1] - st * E[3];
    M[2] = st * E[0] + ct * E[2];
    M[3] = st * E[1] + ct * E[3];
}

/* A point of a sheet (with its shape) where its mark's offset puts it. J: 3 x TR_OFFSET_N by rows;
   may be NULL. Jshape: 3 x 4 as of shaped, turned along with the mark; may be NULL. */
static tr_vec3 displaced(const tr_net_offset *o, tr_vec3 p, double *J, double *Jshape) {
    const double *d = o->value;
    double M[4];
    form_of(o, M);
    tr_vec2 q = tr_v2(p.x - o->centre_mm.x, p.y - o->centre_mm.y);
    tr_vec2 w = tr_v2(M[0] * q.x + M[1] * q.y, M[2] * q.x + M[3] * q.y);
    for (int k = 0; k < 4 && Jshape; k++) {
        double x = Jshape[k];
        double y = Jshape[4 + k];
        Jshape[k] = M[0] * x + M[1] * y;
        Jshape[4 + k] = M[2] * x + M[3] * y;
    }
    if (J) {
        double ct = cos(d[TR_OFFSET_TURN]);
        double st = sin(d[TR_OFFSET_TURN]);
        double c2 = cos(2 * o->axis_rad);
        double s2 = sin(2 * o->axis_rad);
        tr_vec2 a = tr_v2(c2 * q.x + s2 * q.y, s2 * q.x - c2 * q.y);
        memset(J, 0, 3 * TR_OFFSET_N * sizeof *J);
        for (int k = 0; k < 3; k++) J[k * TR_OFFSET_N + TR_OFFSET_X + k] = 1;
        J[TR_OFFSET_TURN] = -w.y;
        J[TR_OFFSET_N + TR_OFFSET_TURN] = w.x;
        J[TR_OFFSET_GROWTH] = ct * q.x - st * q.y;
        J[TR_OFFSET_N + TR_OFFSET_GROWTH] = st * q.x + ct * q.y;
        J[TR_OFFSET_ASPECT] = ct * a.x - st * a.y;
        J[TR_OFFSET_N + TR_OFFSET_ASPECT] = st * a.x + ct * a.y;
    }
    return tr_v3(o->centre_mm.x + w.x + d[TR_OFFSET_X], o->centre_mm.y + w.y + d[TR_OFFSET_Y],
                 p.z + d[TR_OFFSET_Z]);
}

tr_vec3 tr_net_mark_point(const tr_net_sheet *sheet, const tr_net_offset *offset,
                          tr_vec2 p_sheet_mm) {
    tr_vec3 p = shaped(sheet, p_sheet_mm, NULL);
    if (offset) p = displaced(offset, p, NULL, NULL);
    return tr_pose_apply(sheet->world_from_sheet, p);
}

/* out (2 x 3) = J (2 x 3) * A (3 x 3). */
static void chain(const double J[6], tr_mat3 A, double out[6]) {
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 3; j++) {
            out[3 * i + j] =
                J[3 * i] * A.m[0][j] + J[3 * i + 1] * A.m[1][j] + J[3 * i + 2] * A.m[2][j];
        }
    }
}

/* out (2 x 3) = -J (2 x 3) * [v]x: how a pixel moves when the point at v turns about the origin. */
static void chain_turn(const double J[6], tr_vec3 v, double out[6]) {
    for (int i = 0; i < 2; i++) {
        const double *a = J + 3 * i;
        out[3 * i] = a[2] * v.y - a[1] * v.z;
        out[3 * i + 1] = a[0] * v.z - a[2] * v.x;
        out[3 * i + 2] = a[1] * v.x - a[0] * v.y;
    }
}

/* Jacobian of one point's pixel to all that it may depend on. */
typedef struct {
    double lens[2 * TR_LENS_N];
    double camera[2 * TR_POSE_N];
    double rig[2 * TR_POSE_N];
    double sheet[2 * TR_SHEET_N];
    double offset[2 * TR_OFFSET_N];
} point_jacobian;

static bool project_point(const tr_network *net, const tr_net_obs *obs, int k, tr_vec2 *uv,
                          point_jacobian *J) {
    const tr_net_photo *photo = &net->photos[obs->photo];
    const tr_net_sheet *sheet = &net->sheets[obs->sheet];
    const tr_pose *mount = &net->cameras[photo->camera].camera_from_rig;
    const tr_pose *rig = &net->rigs[photo->rig].rig_from_world;
    double Jshape[12];
    double Joffset[3 * TR_OFFSET_N];
    tr_vec3 p_sheet = shaped(sheet, obs->p_sheet_mm[k], J ? Jshape : NULL);
    if (obs->offset[k] > 0) {
        p_sheet = displaced(&net->offsets[obs->offset[k] - 1], p_sheet, J ? Joffset : NULL,
                            J ? Jshape : NULL);
    }
    tr_vec3 turned_sheet = tr_m3_apply(sheet->world_from_sheet.R, p_sheet);
    tr_vec3 p_world = tr_v3_add(turned_sheet, sheet->world_from_sheet.t_mm);
    tr_vec3 turned_rig = tr_m3_apply(rig->R, p_world);
    tr_vec3 p_rig = tr_v3_add(turned_rig, rig->t_mm);
    tr_vec3 turned_camera = tr_m3_apply(mount->R, p_rig);
    tr_vec3 p_camera = tr_v3_add(turned_camera, mount->t_mm);
    double Jc[6];
    if (!tr_lens_project(&net->lenses[photo->lens].lens, p_camera, uv, J ? Jc : NULL,
                         J ? J->lens : NULL)) {
        return false;
    }
    if (!J) return true;
    double Jturn[6];
    double Jr[6];
    double Jw[6];
    double Js[6];
    chain_turn(Jc, turned_camera, Jturn);
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 3; j++) {
            J->camera[TR_POSE_N * i + j] = Jturn[3 * i + j];
            J->camera[TR_POSE_N * i + 3 + j] = Jc[3 * i + j];
        }
    }
    chain(Jc, mount->R, Jr);
    chain_turn(Jr, turned_rig, Jturn);
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 3; j++) {
            J->rig[TR_POSE_N * i + j] = Jturn[3 * i + j];
            J->rig[TR_POSE_N * i + 3 + j] = Jr[3 * i + j];
        }
    }
    chain(Jr, rig->R, Jw);
    chain_turn(Jw, turned_sheet, Jturn);
    chain(Jw, sheet->world_from_sheet.R, Js);
    for (int i = 0; i < 2 && obs->offset[k] > 0; i++) {
        for (int j = 0; j < TR_OFFSET_N; j++) {
            J->offset[TR_OFFSET_N * i + j] = Js[3 * i] * Joffset[j] +
                                             Js[3 * i + 1] * Joffset[TR_OFFSET_N + j] +
                                             Js[3 * i + 2] * Joffset[2 * TR_OFFSET_N + j];
        }
    }
    for (int i = 0; i < 2; i++) {
        double *row = J->sheet + TR_SHEET_N * i;
        for (int j = 0; j < 3; j++) {
            row[TR_SHEET_RX + j] = Jturn[3 * i + j];
            row[TR_SHEET_TX + j] = Jw[3 * i + j];
        }
        for (int j = 0; j < 4; j++) {
            row[TR_STRETCH_X + j] = Js[3 * i] * Jshape[j] + Js[3 * i + 1] * Jshape[4 + j] +
                                    Js[3 * i + 2] * Jshape[8 + j];
        }
    }
    return true;
}

/* Copies the free columns of one part's Jacobian (2 x n) to the term's rows; returns the next
   column. */
static int put_columns(const double *part, int n, const bool *is_free, double *raw, int width,
                       int column) {
    for (int j = 0; j < n; j++) {
        if (is_free && !is_free[j]) continue;
        raw[column] = part[j];
        raw[width + column] = part[n + j];
        column++;
    }
    return column;
}

static int count_free(const bool *is_free, int n) {
    int count = 0;
    for (int i = 0; i < n; i++) count += is_free[i];
    return count;
}

/* The offset of a point, NULL where it has none. */
static const tr_net_offset *offset_of(const tr_network *net, const tr_net_obs *obs, int k) {
    return obs->offset[k] > 0 ? &net->offsets[obs->offset[k] - 1] : NULL;
}

/* True where an earlier point of the observation has the same offset. */
static bool is_repeated_offset(const tr_net_obs *obs, int k) {
    for (int m = 0; m < k; m++) {
        if (obs->offset[m] == obs->offset[k]) return true;
    }
    return false;
}

/* is_free: which of the sheet's unknowns have columns. */
static bool evaluate_observation(const tr_network *net, const tr_net_obs *obs,
                                 const bool is_free[TR_SHEET_N], int n_columns, double *r,
                                 double *J) {
    const tr_net_photo *photo = &net->photos[obs->photo];
    int rows = 2 * obs->n_points;
    double raw_r[TR_LSQ_MAX_ROWS];
    double raw_J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    for (int k = 0; k < obs->n_points; k++) {
        tr_vec2 uv;
        point_jacobian part;
        if (!project_point(net, obs, k, &uv, J ? &part : NULL)) return false;
        raw_r[2 * k] = uv.x - obs->uv_px[k].x;
        raw_r[2 * k + 1] = uv.y - obs->uv_px[k].y;
        if (!J) continue;
        double *raw = raw_J + (long)2 * k * n_columns;
        int c =
            put_columns(part.lens, TR_LENS_N, net->lenses[photo->lens].is_free, raw, n_columns, 0);
        if (net->cameras[photo->camera].is_free) {
            c = put_columns(part.camera, TR_POSE_N, NULL, raw, n_columns, c);
        }
        if (!net->rigs[photo->rig].is_held) {
            c = put_columns(part.rig, TR_POSE_N, NULL, raw, n_columns, c);
        }
        c = put_columns(part.sheet, TR_SHEET_N, is_free, raw, n_columns, c);
        for (int j = c; j < n_columns; j++) raw[j] = raw[n_columns + j] = 0;
        /* Offsets come last, each once, in the order in which the points name them. */
        for (int m = 0; m <= k; m++) {
            if (is_repeated_offset(obs, m)) continue;
            const tr_net_offset *offset = offset_of(net, obs, m);
            if (obs->offset[m] == obs->offset[k] && offset) {
                put_columns(part.offset, TR_OFFSET_N, offset->is_free, raw, n_columns, c);
            }
            c += offset ? count_free(offset->is_free, TR_OFFSET_N) : 0;
        }
    }
    /* Whitening: W is upper triangular. */
    for (int i = 0; i < rows; i++) {
        const double *w = obs->W + (long)i * rows;
        r[i] = 0;
        for (int k = i; k < rows; k++) r[i] += w[k] * raw_r[k];
        if (!J) continue;
        double *row = J + (long)i * n_columns;
        for (int j = 0; j < n_columns; j++) row[j] = 0;
        for (int k = i; k < rows; k++) {
            if (w[k] == 0.0) continue;
            const double *raw = raw_J + (long)k * n_columns;
            for (int j = 0; j < n_columns; j++) row[j] += w[k] * raw[j];
        }
    }
    return true;
}

/* ---- priors ---- */

static void evaluate_lens_prior(const state *s, int index, double *r, double *J) {
    const tr_net_lens *lens = &s->net->lenses[index];
    int n = count_free(lens->is_free, TR_LENS_N);
    double d[TR_LENS_N];
    int k = 0;
    for (int i = 0; i < TR_LENS_N; i++) {
        if (lens->is_free[i]) d[k++] = lens->lens.param[i] - lens->prior[i];
    }
    for (int i = 0; i < n; i++) {
        const double *w = s->lens_W[index] + (long)i * n;
        r[i] = 0;
        for (int j = i; j < n; j++) r[i] += w[j] * d[j];
    }
    if (J) memcpy(J, s->lens_W[index], (size_t)(n * n) * sizeof *J);
}

static void evaluate_floor(const state *s, int index, int n_columns, double *r, double *J) {
    const tr_net_sheet *sheet = &s->net->sheets[index];
    double tilt = 1 / sheet->floor_tilt_sd_rad;
    double z = 1 / sheet->floor_z_sd_mm;
    tr_vec3 normal = tr_m3_column(sheet->world_from_sheet.R, 2);
    r[0] = normal.x * tilt;
    r[1] = normal.y * tilt;
    r[2] = sheet->world_from_sheet.t_mm.z * z;
    if (!J) return;
    /* d(normal) = d_rotation x normal */
    double full[3][TR_SHEET_N] = {{0}};
    full[0][TR_SHEET_RY] = normal.z * tilt;
    full[0][TR_SHEET_RZ] = -normal.y * tilt;
    full[1][TR_SHEET_RX] = -normal.z * tilt;
    full[1][TR_SHEET_RZ] = normal.x * tilt;
    full[2][TR_SHEET_TZ] = z;
    for (int i = 0; i < 3; i++) {
        int c = 0;
        for (int j = 0; j < TR_SHEET_N; j++) {
            if (sheet->is_free[j]) J[i * n_columns + c++] = full[i][j];
        }
    }
}

/* One row a shape component that is free and has a prior. */
static void evaluate_shape(const state *s, int index, int n_columns, double *r, double *J) {
    const tr_net_sheet *sheet = &s->net->sheets[index];
    const tr_net_sheet *about =
        sheet->shape_about > 0 ? &s->net->sheets[sheet->shape_about - 1] : NULL;
    int row = 0;
    for (int k = 0; k < 4; k++) {
        if (!sheet->is_free[TR_STRETCH_X + k] || !(sheet->shape_sd[k] > 0)) continue;
        double w = 1 / sheet->shape_sd[k];
        r[row] = w * (sheet->shape[k] - (about ? about->shape[k] : 0));
        if (J) {
            int c = 0;
            for (int j = 0; j < TR_SHEET_N; j++) {
                if (sheet->is_free[j]) J[row * n_columns + c++] = j == TR_STRETCH_X + k ? w : 0;
            }
            for (int j = 0; about && j < TR_SHEET_N; j++) {
                if (about->is_free[j]) J[row * n_columns + c++] = j == TR_STRETCH_X + k ? -w : 0;
            }
        }
        row++;
    }
}

/* One row a free component that has a prior. */
static void evaluate_offset(const state *s, int index, int n_columns, double *r, double *J) {
    const tr_net_offset *offset = &s->net->offsets[index];
    int row = 0;
    int column = 0;
    for (int k = 0; k < TR_OFFSET_N; k++) {
        if (!offset->is_free[k]) continue;
        if (offset->sd[k] > 0) {
            r[row] = offset->value[k] / offset->sd[k];
            for (int j = 0; J && j < n_columns; j++) J[row * n_columns + j] = 0;
            if (J) J[row * n_columns + column] = 1 / offset->sd[k];
            row++;
        }
        column++;
    }
}

static int offset_rows(const tr_net_offset *offset) {
    int rows = 0;
    for (int k = 0; k < TR_OFFSET_N; k++) rows += offset->is_free[k] && offset->sd[k] > 0;
    return rows;
}

static int shape_rows(const tr_net_sheet *sheet) {
    int rows = 0;
    for (int k = 0; k < 4; k++) {
        rows += sheet->is_free[TR_STRETCH_X + k] && sheet->shape_sd[k] > 0;
    }
    return rows;
}

/* ---- lengths ---- */

/* Where one end of a length lies; J_sheet: 3 x TR_SHEET_N by rows, J_offset: 3 x TR_OFFSET_N. */
static tr_vec3 length_end(const tr_network *net, const tr_net_length *l, int end,
                          double J_sheet[3 * TR_SHEET_N], double J_offset[3 * TR_OFFSET_N]) {
    const tr_net_sheet *sheet = &net->sheets[l->sheet[end]];
    const tr_mat3 *R = &sheet->world_from_sheet.R;
    double Jshape[12];
    double Jo[3 * TR_OFFSET_N] = {0};
    tr_vec3 p = shaped(sheet, l->p_sheet_mm[end], Jshape);
    if (l->offset[end] > 0) p = displaced(&net->offsets[l->offset[end] - 1], p, Jo, Jshape);
    tr_vec3 turned = tr_m3_apply(*R, p);
    tr_mat3 turn = tr_m3_cross(turned);
    for (int i = 0; i < 3; i++) {
        double *row = J_sheet + (long)i * TR_SHEET_N;
        for (int j = 0; j < 3; j++) {
            row[TR_SHEET_RX + j] = -turn.m[i][j];
            row[TR_SHEET_TX + j] = i == j;
        }
        for (int j = 0; j < 4; j++) {
            row[TR_STRETCH_X + j] =
                R->m[i][0] * Jshape[j] + R->m[i][1] * Jshape[4 + j] + R->m[i][2] * Jshape[8 + j];
        }
        for (int j = 0; j < TR_OFFSET_N; j++) {
            J_offset[i * TR_OFFSET_N + j] = R->m[i][0] * Jo[j] + R->m[i][1] * Jo[TR_OFFSET_N + j] +
                                            R->m[i][2] * Jo[2 * TR_OFFSET_N + j];
        }
    }
    return tr_v3_add(turned, sheet->world_from_sheet.t_mm);
}

/* Adds the free columns of one part (3 x n by rows), from `column` on in the row; returns the next
   column. */
static int add_columns(const double *J, int n, const bool *is_free, tr_vec3 weight, double *row,
                       int column) {
    for (int j = 0; j < n; j++) {
        if (!is_free[j]) continue;
        row[column++] += weight.x * J[j] + weight.y * J[n + j] + weight.z * J[2 * n + j];
    }
    return column;
}

/* Columns: free ones of the first end's sheet, the second's where it is another, the first end's
   offset, the second's where it is another. */
static bool evaluate_length(const state *s, int index, int n_columns, double *r, double *J) {
    const tr_network *net = s->net;
    const tr_net_length *l = &net->lengths[index];
    double Js[2][3 * TR_SHEET_N];
    double Jo[2][3 * TR_OFFSET_N];
    tr_vec3 a = length_end(net, l, 0, Js[0], Jo[0]);
    tr_vec3 b = length_end(net, l, 1, Js[1], Jo[1]);
    tr_vec3 d = tr_v3_sub(b, a);
    double distance = tr_v3_norm(d);
    if (!(distance > 0)) return false;
    r[0] = (distance - l->length_mm) / l->sd_mm;
    if (!J) return true;
    memset(J, 0, (size_t)n_columns * sizeof *J);
    int column = 0;
    int sheet_column[2];
    for (int end = 0; end < 2; end++) {
        bool is_same = end == 1 && l->sheet[1] == l->sheet[0];
        tr_vec3 weight = tr_v3_scale((end == 0 ? -1 : 1) / (distance * l->sd_mm), d);
        sheet_column[end] = is_same ? sheet_column[0] : column;
        int next = add_columns(Js[end], TR_SHEET_N, net->sheets[l->sheet[end]].is_free, weight, J,
                               sheet_column[end]);
        if (!is_same) column = next;
    }
    int offset_column = 0;
    for (int end = 0; end < 2; end++) {
        if (l->offset[end] == 0) continue;
        bool is_same = end == 1 && l->offset[1] == l->offset[0];
        tr_vec3 weight = tr_v3_scale((end == 0 ? -1 : 1) / (distance * l->sd_mm), d);
        if (!is_same) offset_column = column;
        int next = add_columns(Jo[end], TR_OFFSET_N, net->offsets[l->offset[end] - 1].is_free,
                               weight, J, offset_column);
        if (!is_same) column = next;
    }
    return true;
}

/* ---- what the solver calls ---- */

static bool evaluate(void *context, int term, double *r, double *J) {
    const state *s = context;
    const tr_network *net = s->net;
    int n_columns = s->terms[term].n_columns;
    int index = s->sources[term].index;
    switch (s->sources[term].kind) {
    case TERM_OBSERVATION: {
        const tr_net_obs *obs = &net->observations[index];
        return evaluate_observation(net, obs, net->sheets[obs->sheet].is_free, n_columns, r, J);
    }
    case TERM_LENS_PRIOR: evaluate_lens_prior(s, index, r, J); return true;
    case TERM_FLOOR: evaluate_floor(s, index, n_columns, r, J); return true;
    case TERM_SHAPE: evaluate_shape(s, index, n_columns, r, J); return true;
    case TERM_OFFSET: evaluate_offset(s, index, n_columns, r, J); return true;
    case TERM_LENGTH: return evaluate_length(s, index, n_columns, r, J);
    }
    return false;
}

static void move(void *context, const double *delta) {
    state *s = context;
    tr_network *net = s->net;
    for (int i = 0; i < net->n_lenses; i++) {
        int c = s->lens_column[i];
        for (int k = 0; k < TR_LENS_N; k++) {
            net->lenses[i].lens.param[k] =
                s->lenses[i].param[k] + (net->lenses[i].is_free[k] ? delta[c++] : 0);
        }
    }
    for (int i = 0; i < net->n_cameras; i++) {
        if (!net->cameras[i].is_free) continue;
        net->cameras[i].camera_from_rig =
            tr_pose_moved(s->cameras[i].camera_from_rig, delta + s->camera_column[i]);
    }
    for (int i = 0; i < net->n_rigs; i++) {
        if (s->rig_column[i] < 0) continue;
        net->rigs[i].rig_from_world =
            tr_pose_moved(s->rigs[i].rig_from_world, delta + s->rig_column[i]);
    }
    for (int i = 0; i < net->n_sheets; i++) {
        const tr_net_sheet *from = &s->sheets[i];
        double d[TR_SHEET_N];
        int c = s->sheet_column[i];
        for (int k = 0; k < TR_SHEET_N; k++) d[k] = c >= 0 && from->is_free[k] ? delta[c++] : 0;
        net->sheets[i].world_from_sheet = tr_pose_moved(from->world_from_sheet, d);
        for (int k = 0; k < 4; k++) net->sheets[i].shape[k] = from->shape[k] + d[TR_STRETCH_X + k];
    }
    for (int i = 0; i < net->n_offsets; i++) {
        int c = s->offset_column[i];
        for (int k = 0; k < TR_OFFSET_N; k++) {
            if (!net->offsets[i].is_free[k]) continue;
            net->offsets[i].value[k] = s->offsets[i].value[k] + delta[c++];
        }
    }
}

static void accept(void *context) {
    state *s = context;
    const tr_network *net = s->net;
    for (int i = 0; i < net->n_lenses; i++) s->lenses[i] = net->lenses[i].lens;
    for (int i = 0; i < net->n_cameras; i++) s->cameras[i] = net->cameras[i];
    for (int i = 0; i < net->n_rigs; i++) s->rigs[i] = net->rigs[i];
    for (int i = 0; i < net->n_sheets; i++) s->sheets[i] = net->sheets[i];
    for (int i = 0; i < net->n_offsets; i++) s->offsets[i] = net->offsets[i];
}

static void name(void *context, int unknown, char *out, size_t size) {
    const state *s = context;
    tr_net_unknown u = s->unknowns[unknown];
    switch (u.kind) {
    case TR_NET_LENS:
        snprintf(out, size, "the lens's %s", tr_lens_parameter_name(u.component));
        return;
    case TR_NET_CAMERA:
        snprintf(out, size, "the place of camera %d on its rig", u.index + 1);
        return;
    case TR_NET_RIG: snprintf(out, size, "the place of photo %d", u.index + 1); return;
    case TR_NET_SHEET: snprintf(out, size, "the place of sheet %d", u.index + 1); return;
    case TR_NET_OFFSET: snprintf(out, size, "the offset of mark %d", u.index + 1); return;
    }
}

/* ---- setting up ---- */

static void add_unknowns(state *s, tr_net_kind kind, int index, const bool *is_free, int n,
                         int *first) {
    *first = -1;
    for (int k = 0; k < n; k++) {
        if (is_free && !is_free[k]) continue;
        if (*first < 0) *first = s->n_unknowns;
        s->unknowns[s->n_unknowns++] = (tr_net_unknown){kind, index, k};
    }
}

static int push_columns(int *columns, int n, int first, int count) {
    for (int k = 0; k < count; k++) columns[n++] = first + k;
    return n;
}

static void add_term(state *s, term_kind kind, int index, int rows, int n_columns) {
    tr_lsq_term *term = &s->terms[s->n_terms];
    term->rows = rows;
    term->n_columns = n_columns;
    term->columns = s->columns + (size_t)s->n_terms * TR_LSQ_MAX_COLUMNS;
    term->is_robust = kind == TERM_OBSERVATION;
    s->sources[s->n_terms] = (term_source){kind, index};
    s->n_terms++;
}

/* Columns in the order of evaluate_length. */
static void add_length(state *s, int index) {
    const tr_network *net = s->net;
    const tr_net_length *l = &net->lengths[index];
    int *columns = s->columns + (size_t)s->n_terms * TR_LSQ_MAX_COLUMNS;
    int n = 0;
    for (int end = 0; end < 2; end++) {
        if (end == 1 && l->sheet[1] == l->sheet[0]) continue;
        n = push_columns(columns, n, s->sheet_column[l->sheet[end]],
                         count_free(net->sheets[l->sheet[end]].is_free, TR_SHEET_N));
    }
    for (int end = 0; end < 2; end++) {
        int o = l->offset[end] - 1;
        if (o < 0 || (end == 1 && l->offset[1] == l->offset[0])) continue;
        n = push_columns(columns, n, s->offset_column[o],
                         count_free(net->offsets[o].is_free, TR_OFFSET_N));
    }
    add_term(s, TERM_LENGTH, index, 1, n);
}

static void add_terms(state *s) {
    const tr_network *net = s->net;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *obs = &net->observations[i];
        if (!obs->is_used) continue;
        const tr_net_photo *photo = &net->photos[obs->photo];
        const tr_net_lens *lens = &net->lenses[photo->lens];
        const tr_net_sheet *sheet = &net->sheets[obs->sheet];
        int *columns = s->columns + (size_t)s->n_terms * TR_LSQ_MAX_COLUMNS;
        int n = push_columns(columns, 0, s->lens_column[photo->lens],
                             count_free(lens->is_free, TR_LENS_N));
        if (net->cameras[photo->camera].is_free) {
            n = push_columns(columns, n, s->camera_column[photo->camera], TR_POSE_N);
        }
        if (!net->rigs[photo->rig].is_held) {
            n = push_columns(columns, n, s->rig_column[photo->rig], TR_POSE_N);
        }
        n = push_columns(columns, n, s->sheet_column[obs->sheet],
                         count_free(sheet->is_free, TR_SHEET_N));
        for (int k = 0; k < obs->n_points; k++) {
            const tr_net_offset *offset = offset_of(net, obs, k);
            if (!offset || is_repeated_offset(obs, k)) continue;
            n = push_columns(columns, n, s->offset_column[obs->offset[k] - 1],
                             count_free(offset->is_free, TR_OFFSET_N));
        }
        add_term(s, TERM_OBSERVATION, i, 2 * obs->n_points, n);
    }
    for (int i = 0; i < net->n_lenses; i++) {
        int n = count_free(net->lenses[i].is_free, TR_LENS_N);
        if (!net->lenses[i].has_prior || n == 0) continue;
        push_columns(s->columns + (size_t)s->n_terms * TR_LSQ_MAX_COLUMNS, 0, s->lens_column[i], n);
        add_term(s, TERM_LENS_PRIOR, i, n, n);
    }
    for (int i = 0; i < net->n_sheets; i++) {
        const tr_net_sheet *sheet = &net->sheets[i];
        int n = count_free(sheet->is_free, TR_SHEET_N);
        int rows = shape_rows(sheet);
        if (n > 0 && sheet->floor_z_sd_mm > 0) {
            push_columns(s->columns + (size_t)s->n_terms * TR_LSQ_MAX_COLUMNS, 0,
                         s->sheet_column[i], n);
            add_term(s, TERM_FLOOR, i, 3, n);
        }
        if (rows > 0) {
            int *columns = s->columns + (size_t)s->n_terms * TR_LSQ_MAX_COLUMNS;
            int all = push_columns(columns, 0, s->sheet_column[i], n);
            if (sheet->shape_about > 0) {
                int about = sheet->shape_about - 1;
                all = push_columns(columns, all, s->sheet_column[about],
                                   count_free(net->sheets[about].is_free, TR_SHEET_N));
            }
            add_term(s, TERM_SHAPE, i, rows, all);
        }
    }
    for (int i = 0; i < net->n_offsets; i++) {
        int n = count_free(net->offsets[i].is_free, TR_OFFSET_N);
        int rows = offset_rows(&net->offsets[i]);
        if (rows == 0) continue;
        push_columns(s->columns + (size_t)s->n_terms * TR_LSQ_MAX_COLUMNS, 0, s->offset_column[i],
                     n);
        add_term(s, TERM_OFFSET, i, rows, n);
    }
    for (int i = 0; i < net->n_lengths; i++) {
        if (net->lengths[i].is_used) add_length(s, i);
    }
}

/* Whitening of the free lens parameters' prior. Where the covariance is singular within rounding,
   its diagonal is raised by one part in 1e10, which widens the prior by nothing that matters. */
static bool prepare_lens_prior(state *s, int index, tr_error *err) {
    tr_net_lens *lens = &s->net->lenses[index];
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
        if (inverse_root(C, n, s->lens_W[index])) return true;
    }
    return tr_fail(err, TR_BAD_INPUT, "the covariance of lens '%s' is not positive definite",
                   lens->lens.id);
}

static void release_state(state *s) {
    free(s->lenses);
    free(s->cameras);
    free(s->rigs);
    free(s->sheets);
    free(s->offsets);
    free(s->lens_W);
    free(s->lens_column);
    free(s->camera_column);
    free(s->rig_column);
    free(s->sheet_column);
    free(s->offset_column);
    free(s->unknowns);
    free(s->sources);
    free(s->terms);
    free(s->columns);
}

static bool init_state(state *s, tr_network *net, tr_error *err) {
    memset(s, 0, sizeof *s);
    s->net = net;
    int most_terms =
        net->n_observations + net->n_lenses + 2 * net->n_sheets + net->n_offsets + net->n_lengths;
    int most_unknowns = TR_LENS_N * net->n_lenses + TR_POSE_N * (net->n_cameras + net->n_rigs) +
                        TR_SHEET_N * net->n_sheets + TR_OFFSET_N * net->n_offsets;
    s->lenses = tr_array(net->n_lenses, sizeof *s->lenses);
    s->cameras = tr_array(net->n_cameras, sizeof *s->cameras);
    s->rigs = tr_array(net->n_rigs, sizeof *s->rigs);
    s->sheets = tr_array(net->n_sheets, sizeof *s->sheets);
    s->offsets = tr_array(net->n_offsets, sizeof *s->offsets);
    s->lens_W = tr_array(net->n_lenses, sizeof *s->lens_W);
    s->lens_column = tr_array(net->n_lenses, sizeof *s->lens_column);
    s->camera_column = tr_array(net->n_cameras, sizeof *s->camera_column);
    s->rig_column = tr_array(net->n_rigs, sizeof *s->rig_column);
    s->sheet_column = tr_array(net->n_sheets, sizeof *s->sheet_column);
    s->offset_column = tr_array(net->n_offsets, sizeof *s->offset_column);
    s->unknowns = tr_array(most_unknowns, sizeof *s->unknowns);
    s->sources = tr_array(most_terms, sizeof *s->sources);
    s->terms = tr_array(most_terms, sizeof *s->terms);
    s->columns = tr_table(most_terms, TR_LSQ_MAX_COLUMNS, sizeof *s->columns);
    if (!s->lenses || !s->cameras || !s->rigs || !s->sheets || !s->offsets || !s->offset_column ||
        !s->lens_W || !s->lens_column || !s->camera_column || !s->rig_column || !s->sheet_column ||
        !s->unknowns || !s->sources || !s->terms || !s->columns) {
        return tr_fail_memory(err);
    }
    for (int i = 0; i < net->n_lenses; i++) {
        add_unknowns(s, TR_NET_LENS, i, net->lenses[i].is_free, TR_LENS_N, &s->lens_column[i]);
        if (!prepare_lens_prior(s, i, err)) return false;
    }
    for (int i = 0; i < net->n_cameras; i++) {
        s->camera_column[i] = -1;
        if (net->cameras[i].is_free) {
            add_unknowns(s, TR_NET_CAMERA, i, NULL, TR_POSE_N, &s->camera_column[i]);
        }
    }
    for (int i = 0; i < net->n_rigs; i++) {
        s->rig_column[i] = -1;
        if (!net->rigs[i].is_held) {
            add_unknowns(s, TR_NET_RIG, i, NULL, TR_POSE_N, &s->rig_column[i]);
        }
    }
    for (int i = 0; i < net->n_sheets; i++) {
        add_unknowns(s, TR_NET_SHEET, i, net->sheets[i].is_free, TR_SHEET_N, &s->sheet_column[i]);
    }
    for (int i = 0; i < net->n_offsets; i++) {
        add_unknowns(s, TR_NET_OFFSET, i, net->offsets[i].is_free, TR_OFFSET_N,
                     &s->offset_column[i]);
    }
    add_terms(s);
    accept(s);
    return true;
}

/* The column of an unknown, -1 where it is not free. */
static int find_unknown(const state *s, tr_net_unknown u) {
    const int *first[] = {[TR_NET_LENS] = s->lens_column,
                          [TR_NET_CAMERA] = s->camera_column,
                          [TR_NET_RIG] = s->rig_column,
                          [TR_NET_SHEET] = s->sheet_column,
                          [TR_NET_OFFSET] = s->offset_column};
    for (int i = first[u.kind][u.index]; i >= 0 && i < s->n_unknowns; i++) {
        const tr_net_unknown *v = &s->unknowns[i];
        if (v->kind != u.kind || v->index != u.index) break;
        if (v->component == u.component) return i;
    }
    return -1;
}

static bool wanted_covariance(const state *s, tr_lsq *lsq, const tr_net_options *o, tr_error *err) {
    bool ok = false;
    int *column = tr_array(o->n_wanted, sizeof *column);
    int *place = tr_array(o->n_wanted, sizeof *place);
    double *C = tr_table(o->n_wanted, o->n_wanted, sizeof *C);
    int n = 0;
    if (!column || !place || !C) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < o->n_wanted; i++) {
        int c = find_unknown(s, o->wanted[i]);
        if (c < 0) continue;
        column[n] = c;
        place[n++] = i;
    }
    if (!tr_lsq_covariance(lsq, column, n, C, err)) goto out;
    memset(o->covariance, 0, (size_t)o->n_wanted * (size_t)o->n_wanted * sizeof *o->covariance);
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) o->covariance[place[i] * o->n_wanted + place[j]] = C[i * n + j];
    }
    ok = true;
out:
    free(column);
    free(place);
    free(C);
    return ok;
}

bool tr_network_offset_jacobian(const tr_network *net, int observation, double *J) {
    const tr_net_obs *obs = &net->observations[observation];
    for (int k = 0; k < obs->n_points; k++) {
        tr_vec2 uv;
        point_jacobian part;
        if (!project_point(net, obs, k, &uv, &part)) return false;
        double *rows = J + (long)2 * k * TR_OFFSET_N;
        memset(rows, 0, 2 * TR_OFFSET_N * sizeof *rows);
        if (obs->offset[k] != obs->offset[0] || obs->offset[0] == 0) continue;
        memcpy(rows, part.offset, sizeof part.offset);
    }
    return true;
}

/* The gains of one observation: for each wanted unknown, column x of the inverse (n_wanted columns
   of n_unknowns), out 6 values: -w (W J x)' (W J_offset). */
static bool gain_of_term(const state *s, int t, const tr_net_options *o, const double *columns) {
    int index = s->sources[t].index;
    const tr_lsq_term *term = &s->terms[t];
    const tr_net_obs *obs = &s->net->observations[index];
    int rows = term->rows;
    double r[TR_LSQ_MAX_ROWS];
    double J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    double raw[2 * TR_OBS_MAX_POINTS * TR_OFFSET_N];
    double Jo[2 * TR_OBS_MAX_POINTS * TR_OFFSET_N] = {0};
    if (!evaluate_observation(s->net, obs, s->net->sheets[obs->sheet].is_free, term->n_columns, r,
                              J) ||
        !tr_network_offset_jacobian(s->net, index, raw)) {
        return false;
    }
    double rho;
    double sum_squares = 0;
    for (int i = 0; i < rows; i++) sum_squares += r[i] * r[i];
    double w = tr_lsq_weight(o->huber, rows, sum_squares, &rho);
    for (int i = 0; i < rows; i++) {
        for (int k = i; k < rows; k++) {
            for (int c = 0; c < TR_OFFSET_N; c++) {
                Jo[i * TR_OFFSET_N + c] += obs->W[i * rows + k] * raw[k * TR_OFFSET_N + c];
            }
        }
    }
    for (int u = 0; u < o->n_wanted; u++) {
        const double *x = columns + (long)u * s->n_unknowns;
        double *out = o->gain + ((long)u * s->net->n_observations + index) * TR_OFFSET_N;
        for (int i = 0; i < rows; i++) {
            double Jx = 0;
            for (int j = 0; j < term->n_columns; j++) {
                Jx += J[i * term->n_columns + j] * x[term->columns[j]];
            }
            for (int c = 0; c < TR_OFFSET_N; c++) out[c] -= w * Jx * Jo[i * TR_OFFSET_N + c];
        }
    }
    return true;
}

static bool wanted_gain(const state *s, tr_lsq *lsq, const tr_net_options *o, tr_error *err) {
    bool ok = false;
    double *columns = tr_table(o->n_wanted, s->n_unknowns, sizeof *columns);
    if (!columns) return tr_fail_memory(err);
    memset(o->gain, 0,
           (size_t)o->n_wanted * (size_t)s->net->n_observations * TR_OFFSET_N * sizeof *o->gain);
    for (int i = 0; i < o->n_wanted; i++) {
        int c = find_unknown(s, o->wanted[i]);
        if (c < 0) continue;
        if (!tr_lsq_inverse_column(lsq, c, columns + (long)i * s->n_unknowns, err)) goto out;
    }
    for (int t = 0; t < s->n_terms; t++) {
        if (s->sources[t].kind != TERM_OBSERVATION) continue;
        if (s->net->observations[s->sources[t].index].offset[0] == 0) continue;
        if (gain_of_term(s, t, o, columns)) continue;
        tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
        goto out;
    }
    ok = true;
out:
    free(columns);
    return ok;
}

/* Variances of linear functions of the unknowns. */
static bool function_variances(const state *s, const tr_lsq *lsq, const tr_net_options *o,
                               tr_error *err) {
    size_t n = (size_t)s->n_unknowns;
    double *a = tr_table(2, s->n_unknowns, sizeof *a);
    if (!a) return tr_fail_memory(err);
    double *y = a + n;
    for (int i = 0; i < o->n_functions; i++) {
        const tr_net_function *f = &o->functions[i];
        double sum = 0;
        memset(a, 0, n * sizeof *a);
        for (int k = 0; k < f->n; k++) {
            int c = find_unknown(s, f->unknowns[k]);
            if (c >= 0) a[c] += f->factors[k];
        }
        tr_lsq_reduce(lsq, a, 1, y);
        for (size_t k = 0; k < n; k++) sum += y[k] * y[k];
        o->variances[i] = sum;
    }
    free(a);
    return true;
}

static tr_lsq_problem problem_of(state *s) {
    return (tr_lsq_problem){.n_unknowns = s->n_unknowns,
                            .n_terms = s->n_terms,
                            .terms = s->terms,
                            .context = s,
                            .evaluate = evaluate,
                            .move = move,
                            .accept = accept,
                            .name = name};
}

bool tr_network_solve(tr_network *net, const tr_net_options *options, tr_lsq_result *result,
                      tr_error *err) {
    bool ok = false;
    tr_lsq *lsq = NULL;
    state s;
    if (!init_state(&s, net, err)) goto out;
    tr_lsq_problem problem = problem_of(&s);
    lsq = tr_lsq_new(&problem, err);
    if (!lsq) goto out;
    tr_lsq_options o = {.huber = options->huber,
                        .max_iterations = options->max_iterations,
                        .small_step = options->small_step,
                        .start_damping = START_DAMPING};
    if (!tr_lsq_solve(lsq, o, result, err)) goto out;
    if (options->n_wanted > 0 && !wanted_covariance(&s, lsq, options, err)) goto out;
    if (options->gain && !wanted_gain(&s, lsq, options, err)) goto out;
    if (options->n_functions > 0 && !function_variances(&s, lsq, options, err)) goto out;
    ok = true;
out:
    tr_lsq_free(lsq);
    release_state(&s);
    return ok;
}

/* ---- hypotheses ---- */

/* Most unknowns that a hypothesis adds: b. a: those of the network. */
enum { MAX_ADDED = 6 };

/* A pivot of what is left of an added unknown's normal equation after the others, below which it is
   rounding: the network determines no such difference. */
static const double NOTHING_LEFT = 1e-9;

/* The normal equations of added unknowns, weighted as the network's: H_ab by rows (n_unknowns x n),
   H_bb, g_b. */
typedef struct {
    int n;
    double *H_ab;
    double H_bb[MAX_ADDED * MAX_ADDED];
    double g_b[MAX_ADDED];
} added_sums;

/* Adds an observation: the added unknowns move its pixel as the sheet's own do. */
static bool add_observation(const state *s, int term, double huber, int component,
                            added_sums *sums) {
    static const bool all[TR_SHEET_N] = {true, true, true, true, true,
                                         true, true, true, true, true};
    const tr_network *net = s->net;
    const tr_lsq_term *t = &s->terms[term];
    const tr_net_obs *obs = &net->observations[s->sources[term].index];
    const bool *is_free = net->sheets[obs->sheet].is_free;
    const tr_net_photo *photo = &net->photos[obs->photo];
    int before = count_free(net->lenses[photo->lens].is_free, TR_LENS_N) +
                 (net->cameras[photo->camera].is_free ? TR_POSE_N : 0) +
                 (net->rigs[photo->rig].is_held ? 0 : TR_POSE_N); /* columns before the sheet's */
    int width = t->n_columns - count_free(is_free, TR_SHEET_N) + TR_SHEET_N;
    double r[TR_LSQ_MAX_ROWS];
    double J[TR_LSQ_MAX_ROWS * TR_LSQ_MAX_COLUMNS];
    double rho;
    double sum_squares = 0;
    if (!evaluate_observation(net, obs, all, width, r, J)) return false;
    for (int i = 0; i < t->rows; i++) sum_squares += r[i] * r[i];
    double w = tr_lsq_weight(huber, t->rows, sum_squares, &rho);
    for (int i = 0; i < t->rows; i++) {
        const double *row = J + (long)i * width;
        const double *b = row + before + component;
        int column = 0;
        for (int j = 0; j < width; j++) {
            if (j >= before && j < before + TR_SHEET_N && !is_free[j - before]) continue;
            double *to = sums->H_ab + (long)t->columns[column++] * sums->n;
            for (int k = 0; k < sums->n; k++) to[k] += w * row[j] * b[k];
        }
        for (int j = 0; j < sums->n; j++) {
            sums->g_b[j] += w * b[j] * r[i];
            for (int k = 0; k < sums->n; k++) sums->H_bb[j * sums->n + k] += w * b[j] * b[k];
        }
    }
    return true;
}

/* With S = H_bb - H_ba H_aa^-1 H_ab: the step -S^-1 g_b, the gain g_b' S^-1 g_b, and the diagonal
   of S^-1. Y: scratch, as H_ab. */
static void judge_hypothesis(const state *s, const tr_lsq *lsq, const added_sums *sums, double *Y,
                             tr_net_hypothesis *h) {
    int n = sums->n;
    double S[MAX_ADDED * MAX_ADDED];
    double W[MAX_ADDED * MAX_ADDED];
    double scale[MAX_ADDED];
    tr_lsq_reduce(lsq, sums->H_ab, n, Y);
    memcpy(S, sums->H_bb, sizeof S);
    for (int u = 0; u < s->n_unknowns; u++) {
        const double *y = Y + (long)u * n;
        for (int j = 0; j < n; j++) {
            for (int k = 0; k < n; k++) S[j * n + k] -= y[j] * y[k];
        }
    }
    for (int j = 0; j < n; j++) {
        if (!(sums->H_bb[j * n + j] > 0)) return;
        scale[j] = 1 / sqrt(sums->H_bb[j * n + j]);
        if (!(S[j * n + j] * scale[j] * scale[j] > NOTHING_LEFT)) return;
    }
    for (int j = 0; j < n; j++) {
        for (int k = 0; k < n; k++) S[j * n + k] *= scale[j] * scale[k];
    }
    if (!inverse_root(S, n, W)) return;
    for (int j = 0; j < n; j++) {
        if (!(1 / (W[j * n + j] * W[j * n + j]) > NOTHING_LEFT)) return;
    }
    /* W'W = (scaled S)^-1, W upper triangular. */
    for (int i = 0; i < n; i++) {
        double v = 0;
        for (int k = i; k < n; k++) v += W[i * n + k] * sums->g_b[k] * scale[k];
        h->gain += v * v;
        for (int k = i; k < n; k++) {
            h->step[k] -= W[i * n + k] * v * scale[k];
            h->variance[k] += W[i * n + k] * W[i * n + k] * scale[k] * scale[k];
        }
    }
    h->is_determined = true;
}

/* First terms of each sheet's observations: start has n_sheets + 1 places (and one
   more while they are counted), terms as many as there are observations; both in the order of the
   terms, which is that of the photos. */
static bool terms_by_sheet(const state *s, int **start, int **terms) {
    int n = s->net->n_sheets;
    *start = tr_array(n + 2, sizeof **start);
    *terms = tr_array(s->n_terms, sizeof **terms);
    if (!*start || !*terms) return false;
    for (int pass = 0; pass < 2; pass++) {
        for (int t = 0; t < s->n_terms; t++) {
            if (s->sources[t].kind != TERM_OBSERVATION) continue;
            int sheet = s->net->observations[s->sources[t].index].sheet;
            if (pass == 0)
                (*start)[sheet + 2]++;
            else
                (*terms)[(*start)[sheet + 1]++] = t;
        }
        for (int i = 0; i < n && pass == 0; i++) (*start)[i + 2] += (*start)[i + 1];
    }
    return true;
}

/* True where the sums of the hypothesis before can be added to: it had the same unknowns in the
   same photos up to the last, but for some before its first. */
static bool goes_on(const tr_net_hypothesis *before, const tr_net_hypothesis *h) {
    return before->sheet == h->sheet && before->is_stretch == h->is_stretch &&
           before->last_photo == h->last_photo && before->first_photo >= h->first_photo;
}

static bool test_hypothesis(const state *s, const tr_lsq *lsq, double huber, const int *start,
                            const int *terms, const tr_net_hypothesis *before, added_sums *sums,
                            double *Y, tr_net_hypothesis *h) {
    int last = h->last_photo;
    if (before && goes_on(before, h)) {
        last = before->first_photo - 1;
    } else {
        sums->n = h->is_stretch ? 2 : TR_POSE_N;
        memset(sums->H_ab, 0, (size_t)s->n_unknowns * (size_t)sums->n * sizeof *sums->H_ab);
        memset(sums->H_bb, 0, sizeof sums->H_bb);
        memset(sums->g_b, 0, sizeof sums->g_b);
    }
    for (int k = start[h->sheet]; k < start[h->sheet + 1]; k++) {
        int photo = s->net->observations[s->sources[terms[k]].index].photo;
        if (photo < h->first_photo || photo > last) continue;
        if (!add_observation(s, terms[k], huber, h->is_stretch ? TR_STRETCH_X : TR_SHEET_RX,
                             sums)) {
            return false;
        }
    }
    h->is_determined = false;
    h->gain = 0;
    memset(h->step, 0, sizeof h->step);
    memset(h->variance, 0, sizeof h->variance);
    judge_hypothesis(s, lsq, sums, Y, h);
    return true;
}

bool tr_network_test(tr_network *net, double huber, tr_net_hypothesis *hypotheses, int n,
                     tr_error *err) {
    bool ok = false;
    tr_lsq *lsq = NULL;
    tr_lsq_result result;
    int *start = NULL;
    int *terms = NULL;
    double *scratch = NULL;
    state s;
    if (!init_state(&s, net, err)) goto out;
    tr_lsq_problem problem = problem_of(&s);
    lsq = tr_lsq_new(&problem, err);
    if (!lsq || !tr_lsq_linearise(lsq, huber, &result, err)) goto out;
    scratch = tr_table(2 * MAX_ADDED, s.n_unknowns, sizeof *scratch);
    if (!scratch || !terms_by_sheet(&s, &start, &terms)) {
        tr_fail_memory(err);
        goto out;
    }
    added_sums sums = {.H_ab = scratch};
    double *Y = scratch + (size_t)MAX_ADDED * (size_t)s.n_unknowns;
    for (int i = 0; i < n; i++) {
        if (!test_hypothesis(&s, lsq, huber, start, terms, i > 0 ? &hypotheses[i - 1] : NULL, &sums,
                             Y, &hypotheses[i])) {
            tr_fail(err, TR_NO_MEASURE, "a mark lies behind the camera");
            goto out;
        }
    }
    ok = true;
out:
    free(start);
    free(terms);
    free(scratch);
    tr_lsq_free(lsq);
    release_state(&s);
    return ok;
}

bool tr_network_residual(const tr_network *net, int observation, tr_vec2 *r_px, double *chi2) {
    const tr_net_obs *obs = &net->observations[observation];
    int rows = 2 * obs->n_points;
    double r[2 * TR_OBS_MAX_POINTS];
    for (int k = 0; k < obs->n_points; k++) {
        tr_vec2 uv;
        if (!project_point(net, obs, k, &uv, NULL)) return false;
        tr_vec2 d = tr_v2_sub(obs->uv_px[k], uv);
        r[2 * k] = d.x;
        r[2 * k + 1] = d.y;
        if (r_px) r_px[k] = d;
    }
    if (chi2) {
        *chi2 = 0;
        for (int i = 0; i < rows; i++) {
            double w = 0;
            for (int k = i; k < rows; k++) w += obs->W[i * rows + k] * r[k];
            *chi2 += w * w;
        }
    }
    return true;
}

int tr_network_components(const tr_network *net, int *component) {
    int n = net->n_photos + net->n_sheets;
    int count = 0;
    tr_groups_init(component, n);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *obs = &net->observations[i];
        if (obs->is_used) tr_groups_join(component, obs->photo, net->n_photos + obs->sheet);
    }
    for (int i = 0; i < n; i++) component[i] = tr_group_of(component, i);
    /* What stands for a group comes first in it, so its number is there for those that follow. */
    for (int i = 0; i < n; i++) {
        component[i] = component[i] == i ? count++ : component[component[i]];
    }
    return count;
}
