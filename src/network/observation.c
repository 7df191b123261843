#include "network/observation.h"

#include <string.h>

/* ---- on the sheet ---- */

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
    const double *s = sheet->shape;
    return tr_v3(p.x * (1 + s[TR_SHAPE_SCALE_X]), p.y * (1 + s[TR_SHAPE_SCALE_Y]),
                 s[TR_SHAPE_BOW_X] * qx + s[TR_SHAPE_BOW_Y] * qy);
}

/* Rz(turn) E of network.h, along the face; 2 x 2 by rows. */
static void form_of(const tr_net_offset *o, double M[4]) {
    double c = cos(o->axis_rad);
    double s = sin(o->axis_rad);
    double ct = cos(o->value[TR_OFFSET_TURN]);
    double st = sin(o->value[TR_OFFSET_TURN]);
    double g = 1 + o->value[TR_OFFSET_SCALE];
    double a = o->value[TR_OFFSET_DIFFERENTIAL_SCALE];
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
    double twist = d[TR_OFFSET_TWIST];
    tr_vec2 lean = {d[TR_OFFSET_SLOPE_X] + twist * q.y, d[TR_OFFSET_SLOPE_Y] + twist * q.x};
    for (int k = 0; k < 4 && Jshape; k++) {
        double x = Jshape[k];
        double y = Jshape[4 + k];
        Jshape[k] = M[0] * x + M[1] * y;
        Jshape[4 + k] = M[2] * x + M[3] * y;
        Jshape[8 + k] += lean.x * x + lean.y * y;
    }
    if (J) {
        double ct = cos(d[TR_OFFSET_TURN]);
        double st = sin(d[TR_OFFSET_TURN]);
        double c2 = cos(2 * o->axis_rad);
        double s2 = sin(2 * o->axis_rad);
        tr_vec2 a = tr_v2(c2 * q.x + s2 * q.y, s2 * q.x - c2 * q.y);
        double *z = J + 2 * TR_OFFSET_N;
        memset(J, 0, 3 * TR_OFFSET_N * sizeof *J);
        for (int k = 0; k < 3; k++) J[k * TR_OFFSET_N + TR_OFFSET_X + k] = 1;
        J[TR_OFFSET_TURN] = -w.y;
        J[TR_OFFSET_N + TR_OFFSET_TURN] = w.x;
        J[TR_OFFSET_SCALE] = ct * q.x - st * q.y;
        J[TR_OFFSET_N + TR_OFFSET_SCALE] = st * q.x + ct * q.y;
        J[TR_OFFSET_DIFFERENTIAL_SCALE] = ct * a.x - st * a.y;
        J[TR_OFFSET_N + TR_OFFSET_DIFFERENTIAL_SCALE] = st * a.x + ct * a.y;
        z[TR_OFFSET_SLOPE_X] = q.x;
        z[TR_OFFSET_SLOPE_Y] = q.y;
        z[TR_OFFSET_TWIST] = q.x * q.y;
    }
    double z = p.z + d[TR_OFFSET_Z] + d[TR_OFFSET_SLOPE_X] * q.x + d[TR_OFFSET_SLOPE_Y] * q.y;
    return tr_v3(o->centre_mm.x + w.x + d[TR_OFFSET_X], o->centre_mm.y + w.y + d[TR_OFFSET_Y],
                 z + twist * q.x * q.y);
}

tr_vec3 tr_observation_point(const tr_net_sheet *sheet, const tr_net_offset *offset,
                             tr_vec2 p_sheet_mm, double *Jshape, double *Joffset) {
    tr_vec3 p = shaped(sheet, p_sheet_mm, Jshape);
    return offset ? displaced(offset, p, Joffset, Jshape) : p;
}

tr_vec3 tr_net_sheet_point(const tr_net_sheet *sheet, tr_vec2 p_sheet_mm) {
    return tr_net_mark_point(sheet, NULL, p_sheet_mm);
}

tr_vec3 tr_net_mark_point(const tr_net_sheet *sheet, const tr_net_offset *offset,
                          tr_vec2 p_sheet_mm) {
    return tr_pose_apply(sheet->world_from_sheet,
                         tr_observation_point(sheet, offset, p_sheet_mm, NULL, NULL));
}

const tr_net_offset *tr_observation_offset(const tr_network *net, int offset) {
    return offset >= 0 ? &net->offsets[offset] : NULL;
}

/* ---- in the photo ---- */

/* From the middle of the first row to that of the last: -0.5 to 0.5 (network.h). */
static double readout_time(const tr_lens *lens, tr_vec2 measured_px) {
    int w = lens->width_px;
    int h = lens->height_px;
    if (h > w) return w > 0 ? (measured_px.x - (w - 1) / 2.0) / w : 0;
    return h > 0 ? (measured_px.y - (h - 1) / 2.0) / h : 0;
}

/* What the photo's own camera does to a point in front of it. */
typedef struct {
    double s;
    bool is_moving;
    tr_mat3 turned; /* exp([s turn]x) */
    tr_mat3 jet;    /* d(turned q) = [jet d(turn)]x turned q */
    tr_vec3 back;   /* s travel, along the world's axes */
} shutter;

static shutter open_shutter(const tr_net_photo *photo, double s) {
    const double *v = photo->value;
    shutter out = {.s = s, .turned = tr_m3_identity(), .jet = tr_m3_identity()};
    for (int k = TR_PHOTO_TURN; k < TR_PHOTO_N; k++) {
        out.is_moving = out.is_moving || v[k] != 0.0 || photo->is_free[k];
    }
    if (!out.is_moving) return out;
    tr_vec3 phi =
        tr_v3_scale(s, tr_v3(v[TR_PHOTO_TURN], v[TR_PHOTO_TURN + 1], v[TR_PHOTO_TURN + 2]));
    out.back =
        tr_v3_scale(s, tr_v3(v[TR_PHOTO_TRAVEL], v[TR_PHOTO_TRAVEL + 1], v[TR_PHOTO_TRAVEL + 2]));
    out.turned = tr_rotation_from_vector(phi);
    /* The left Jacobian of rotations, I + [phi]x / 2 + [phi]x^2 / 6: the next term is phi^3 / 24,
       1e-8 for the largest turns of a hand. */
    tr_mat3 cross = tr_m3_cross(phi);
    tr_mat3 square = tr_m3_mul(cross, cross);
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 3; k++) {
            out.jet.m[i][k] = s * ((i == k) + cross.m[i][k] / 2 + square.m[i][k] / 6);
        }
    }
    return out;
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

/* Jacobian of one point's pixel to each kind of block that it may depend on: 2 x tr_block_size, by
   rows. */
typedef struct {
    double of[TR_NET_N_KINDS][2 * TR_BLOCK_MAX];
} point_jacobian;

/* J (2 x 6) of a pose whose rotation has turned a point to `turned`; Jp: 2 x 3 to the point. */
static void pose_jacobian(const double Jp[6], tr_vec3 turned, double J[2 * TR_POSE_N]) {
    for (int i = 0; i < 2; i++) {
        tr_pose_gradient(Jp + (long)3 * i, turned, J + (long)TR_POSE_N * i);
    }
}

/* Shift and focal length of the photo: pixel and Jacobians of the lens become those of its camera.
 */
static void shift_pixel(const tr_net_photo *photo, const tr_lens *lens, tr_vec2 *uv, double Jc[6],
                        point_jacobian *J) {
    const double *v = photo->value;
    double zoom = 1 + v[TR_PHOTO_FOCAL];
    tr_vec2 from_centre = tr_v2(uv->x - lens->param[TR_CX], uv->y - lens->param[TR_CY]);
    uv->x += v[TR_PHOTO_FOCAL] * from_centre.x + v[TR_PHOTO_SHIFT_X];
    uv->y += v[TR_PHOTO_FOCAL] * from_centre.y + v[TR_PHOTO_SHIFT_Y];
    if (!J) return;
    for (int i = 0; i < 6; i++) Jc[i] *= zoom;
    for (int i = 0; i < 2; i++) {
        double *row = J->of[TR_NET_LENS] + TR_LENS_N * i;
        for (int j = 0; j < TR_LENS_N; j++) row[j] *= j == TR_CX || j == TR_CY ? 1 : zoom;
    }
    memset(J->of[TR_NET_PHOTO], 0, sizeof J->of[TR_NET_PHOTO]);
    J->of[TR_NET_PHOTO][TR_PHOTO_SHIFT_X] = 1;
    J->of[TR_NET_PHOTO][TR_PHOTO_N + TR_PHOTO_SHIFT_Y] = 1;
    J->of[TR_NET_PHOTO][TR_PHOTO_FOCAL] = from_centre.x;
    J->of[TR_NET_PHOTO][TR_PHOTO_N + TR_PHOTO_FOCAL] = from_centre.y;
}

/* The columns of turn and travel. Jq: to the point in front of the camera at its time, q; Jc: to
   the point in front of the camera as it stands in the middle row. */
static void shutter_jacobian(const shutter *s, const double Jq[6], tr_vec3 q, const double Jc[6],
                             const tr_mat3 *mount, const tr_mat3 *rig, double J[2 * TR_PHOTO_N]) {
    double Jturn[6];
    double to_turn[6];
    double Jrig[6];
    double Jworld[6];
    chain_turn(Jq, q, Jturn);
    chain(Jturn, s->jet, to_turn);
    chain(Jc, *mount, Jrig);
    chain(Jrig, *rig, Jworld);
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 3; j++) {
            J[TR_PHOTO_N * i + TR_PHOTO_TURN + j] = to_turn[3 * i + j];
            J[TR_PHOTO_N * i + TR_PHOTO_TRAVEL + j] = -s->s * Jworld[3 * i + j];
        }
    }
}

static void sheet_jacobian(const double Jw[6], const tr_net_sheet *sheet, tr_vec3 turned,
                           const double Jshape[12], const double *Joffset, point_jacobian *J) {
    double Js[6];
    chain(Jw, sheet->world_from_sheet.R, Js);
    for (int i = 0; i < 2; i++) {
        double *row = J->of[TR_NET_SHEET] + TR_SHEET_N * i;
        tr_pose_gradient(Jw + (long)3 * i, turned, row + TR_SHEET_RX);
        for (int j = 0; j < 4; j++) {
            row[TR_PRINT_SCALE_X + j] = Js[3 * i] * Jshape[j] + Js[3 * i + 1] * Jshape[4 + j] +
                                        Js[3 * i + 2] * Jshape[8 + j];
        }
        for (int j = 0; Joffset && j < TR_OFFSET_N; j++) {
            J->of[TR_NET_OFFSET][TR_OFFSET_N * i + j] =
                Js[3 * i] * Joffset[j] + Js[3 * i + 1] * Joffset[TR_OFFSET_N + j] +
                Js[3 * i + 2] * Joffset[2 * TR_OFFSET_N + j];
        }
    }
}

static bool project_point(const tr_network *net, const tr_net_obs *obs, int k, tr_vec2 *uv,
                          point_jacobian *J) {
    const tr_net_photo *photo = &net->photos[obs->photo];
    const tr_net_sheet *sheet = &net->sheets[obs->sheet];
    const tr_net_offset *offset = tr_observation_offset(net, obs->offset);
    const tr_lens *lens = &net->lenses[photo->lens].lens;
    const tr_pose *mount = &net->cameras[photo->camera].camera_from_rig;
    const tr_pose *rig = &net->rigs[photo->rig].rig_from_world;
    double Jshape[12];
    double Joffset[3 * TR_OFFSET_N];
    tr_vec3 p_sheet = tr_observation_point(sheet, offset, obs->p_sheet_mm[k], J ? Jshape : NULL,
                                           J ? Joffset : NULL);
    tr_vec3 turned_sheet = tr_m3_apply(sheet->world_from_sheet.R, p_sheet);
    tr_vec3 p_world = tr_v3_add(turned_sheet, sheet->world_from_sheet.t_mm);
    shutter time = open_shutter(photo, readout_time(lens, obs->uv_px[k]));
    if (time.is_moving) p_world = tr_v3_sub(p_world, time.back);
    tr_vec3 turned_rig = tr_m3_apply(rig->R, p_world);
    tr_vec3 p_rig = tr_v3_add(turned_rig, rig->t_mm);
    tr_vec3 turned_camera = tr_m3_apply(mount->R, p_rig);
    tr_vec3 q = tr_v3_add(turned_camera, mount->t_mm);
    if (time.is_moving) q = tr_m3_apply(time.turned, q);
    double Jc[6];
    double Jq[6];
    if (!tr_lens_project(lens, q, uv, J ? Jc : NULL, J ? J->of[TR_NET_LENS] : NULL)) return false;
    shift_pixel(photo, lens, uv, Jc, J);
    if (!J) return true;
    if (time.is_moving) {
        memcpy(Jq, Jc, sizeof Jq);
        chain(Jq, time.turned, Jc);
        shutter_jacobian(&time, Jq, q, Jc, &mount->R, &rig->R, J->of[TR_NET_PHOTO]);
    }
    double Jr[6];
    double Jw[6];
    pose_jacobian(Jc, turned_camera, J->of[TR_NET_CAMERA]);
    chain(Jc, mount->R, Jr);
    pose_jacobian(Jr, turned_rig, J->of[TR_NET_RIG]);
    chain(Jr, rig->R, Jw);
    sheet_jacobian(Jw, sheet, turned_sheet, Jshape, offset ? Joffset : NULL, J);
    return true;
}

int tr_observation_blocks(const tr_network *net, const tr_net_obs *obs,
                          tr_block blocks[TR_OBS_MAX_BLOCKS]) {
    const tr_net_photo *photo = &net->photos[obs->photo];
    int n = 0;
    blocks[n++] = (tr_block){TR_NET_LENS, photo->lens};
    blocks[n++] = (tr_block){TR_NET_CAMERA, photo->camera};
    blocks[n++] = (tr_block){TR_NET_RIG, photo->rig};
    blocks[n++] = (tr_block){TR_NET_PHOTO, obs->photo};
    blocks[n++] = (tr_block){TR_NET_SHEET, obs->sheet};
    if (obs->offset >= 0) blocks[n++] = (tr_block){TR_NET_OFFSET, obs->offset};
    return n;
}

bool tr_observation_project(const tr_network *net, const tr_net_obs *obs, double *r, double *J) {
    tr_block blocks[TR_OBS_MAX_BLOCKS];
    int n = tr_observation_blocks(net, obs, blocks);
    for (int k = 0; k < obs->n_points; k++) {
        tr_vec2 uv;
        point_jacobian point;
        if (!project_point(net, obs, k, &uv, J ? &point : NULL)) return false;
        r[2 * k] = uv.x - obs->uv_px[k].x;
        r[2 * k + 1] = uv.y - obs->uv_px[k].y;
        for (int i = 0; i < 2 && J; i++) {
            for (int b = 0; b < n; b++) {
                int size = tr_block_size(blocks[b].kind);
                memcpy(J, point.of[blocks[b].kind] + (long)size * i, (size_t)size * sizeof *J);
                J += size;
            }
        }
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
    for (int k = 0; k < obs->n_points; k++) {
        tr_vec2 uv;
        point_jacobian point = {0};
        if (!project_point(net, obs, k, &uv, &point)) return false;
        memcpy(J + (long)2 * k * TR_OFFSET_N, point.of[TR_NET_OFFSET], 2 * TR_OFFSET_N * sizeof *J);
    }
    return true;
}
