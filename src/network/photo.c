#include "base/language.h"
#include "network/kind.h"

/* ---- its unknowns ---- */

static int of(const tr_view *view) {
    return view->photo;
}

static const char *name(const tr_network *net, int index, int component) {
    (void)component;
    return net->photo_names ? net->photo_names[index] : NULL;
}

static double step(int component) {
    return component < TR_PHOTO_FOCAL ? 1 : component < TR_PHOTO_TRAVEL ? TR_STEP : TR_STEP_MM;
}

const tr_kind tr_kind_photo = {.title = TR_N("the camera in photo '%s'"),
                               .name = name,
                               .step = step,
                               .of = of,
                               .values = TR_VALUES(tr_net_photo),
                               .priors = {&tr_prior_about_0}};

tr_lens tr_network_photo_lens(const tr_network *net, int photo) {
    const double *v = net->photos[photo].value;
    tr_lens lens = net->lenses[net->photos[photo].lens].lens;
    for (int k = TR_FX; k <= TR_FY; k++) lens.param[k] *= 1 + v[TR_PHOTO_FOCAL];
    lens.param[TR_CX] += v[TR_PHOTO_SHIFT_X];
    lens.param[TR_CY] += v[TR_PHOTO_SHIFT_Y];
    return lens;
}

/* ---- while the sensor is read ---- */

/* s of photo.h. */
static double readout_time(const tr_view *view) {
    const tr_net_lens *lens = view->block[TR_NET_LENS];
    int w = lens->lens.width_px;
    int h = lens->lens.height_px;
    if (h > w) return w > 0 ? (view->uv_px.x - (w - 1) / 2.0) / w : 0;
    return h > 0 ? (view->uv_px.y - (h - 1) / 2.0) / h : 0;
}

/* One of the unknowns from `first` to before `end` is free or not 0. */
static bool is_any(const tr_view *view, int first, int end) {
    const tr_net_photo *photo = view->block[TR_NET_PHOTO];
    for (int k = first; k < end; k++) {
        if (photo->is_free[k] || photo->value[k] != 0.0) return true;
    }
    return false;
}

/* Three of its values, times s. */
static tr_vec3 until(const tr_view *view, int first, double s) {
    const tr_net_photo *photo = view->block[TR_NET_PHOTO];
    const double *v = photo->value + first;
    return tr_v3_scale(s, tr_v3(v[0], v[1], v[2]));
}

static bool is_travelling(const tr_view *view) {
    return is_any(view, TR_PHOTO_TRAVEL, TR_PHOTO_TRAVEL + 3);
}

static bool travel(const tr_view *view, tr_vec3 *p, void *keep) {
    double s = readout_time(view);
    if (keep) *(double *)keep = s;
    *p = tr_v3_sub(*p, until(view, TR_PHOTO_TRAVEL, s));
    return true;
}

static void reverse_travel(const tr_view *view, const void *keep, tr_gradient *g) {
    (void)view;
    const double *s = keep;
    for (int i = 0; i < g->rows; i++) {
        double *row = tr_gradient_row(g, TR_NET_PHOTO, i) + TR_PHOTO_TRAVEL;
        for (int k = 0; k < 3; k++) row[k] -= *s * g->J[i][k];
    }
}

const tr_stage tr_stage_photo_travel = {
    .kind = TR_NET_PHOTO, .acts = is_travelling, .move = travel, .reverse = reverse_travel};

typedef struct {
    tr_mat3 turned; /* exp([s turn]x) */
    tr_mat3 jet;    /* d(q) = [jet d(turn)]x q */
    tr_vec3 q;
} turning;
_Static_assert(sizeof(turning) <= TR_STAGE_ROOM, "room for what the stage keeps");

/* s times the left Jacobian of rotations, I + [phi]x / 2 + [phi]x^2 / 6: the next term is phi^3 /
   24, 1e-8 for the largest turns of a hand. */
static tr_mat3 jet_of(tr_vec3 phi, double s) {
    tr_mat3 jet;
    tr_mat3 cross = tr_m3_cross(phi);
    tr_mat3 square = tr_m3_mul(cross, cross);
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 3; k++) {
            jet.m[i][k] = s * ((i == k) + cross.m[i][k] / 2 + square.m[i][k] / 6);
        }
    }
    return jet;
}

static bool is_turning(const tr_view *view) {
    return is_any(view, TR_PHOTO_TURN, TR_PHOTO_TURN + 3);
}

static bool turn(const tr_view *view, tr_vec3 *p, void *keep) {
    double s = readout_time(view);
    tr_vec3 phi = until(view, TR_PHOTO_TURN, s);
    tr_mat3 turned = tr_rotation_from_vector(phi);
    *p = tr_m3_apply(turned, *p);
    if (keep) *(turning *)keep = (turning){turned, jet_of(phi, s), *p};
    return true;
}

static void reverse_turn(const tr_view *view, const void *keep, tr_gradient *g) {
    (void)view;
    const turning *t = keep;
    for (int i = 0; i < g->rows; i++) {
        double *row = tr_gradient_row(g, TR_NET_PHOTO, i) + TR_PHOTO_TURN;
        double d[TR_POSE_N];
        tr_pose_gradient(g->J[i], t->q, d);
        for (int k = 0; k < 3; k++) {
            row[k] += d[0] * t->jet.m[0][k] + d[1] * t->jet.m[1][k] + d[2] * t->jet.m[2][k];
        }
    }
    tr_gradient_through(g, &t->turned);
}

const tr_stage tr_stage_photo_turn = {
    .kind = TR_NET_PHOTO, .acts = is_turning, .move = turn, .reverse = reverse_turn};

/* ---- in its image ---- */

static bool is_shifted(const tr_view *view) {
    return is_any(view, TR_PHOTO_SHIFT_X, TR_PHOTO_FOCAL + 1);
}

/* Keeps the pixel of the lens, from its principal point. */
static bool shift(const tr_view *view, tr_vec3 *p, void *keep) {
    const tr_net_photo *photo = view->block[TR_NET_PHOTO];
    const tr_net_lens *lens = view->block[TR_NET_LENS];
    const double *v = photo->value;
    tr_vec2 from_centre = tr_v2(p->x - lens->lens.param[TR_CX], p->y - lens->lens.param[TR_CY]);
    if (keep) *(tr_vec2 *)keep = from_centre;
    p->x += v[TR_PHOTO_FOCAL] * from_centre.x + v[TR_PHOTO_SHIFT_X];
    p->y += v[TR_PHOTO_FOCAL] * from_centre.y + v[TR_PHOTO_SHIFT_Y];
    return true;
}

/* The principal point is the lens's: it has a part in its columns, too. */
static void reverse_shift(const tr_view *view, const void *keep, tr_gradient *g) {
    const tr_net_photo *photo = view->block[TR_NET_PHOTO];
    const tr_vec2 *from_centre = keep;
    double focal = photo->value[TR_PHOTO_FOCAL];
    for (int i = 0; i < g->rows; i++) {
        double *J = g->J[i];
        double *row = tr_gradient_row(g, TR_NET_PHOTO, i);
        double *of_lens = tr_gradient_row(g, TR_NET_LENS, i);
        row[TR_PHOTO_SHIFT_X] += J[0];
        row[TR_PHOTO_SHIFT_Y] += J[1];
        row[TR_PHOTO_FOCAL] += J[0] * from_centre->x + J[1] * from_centre->y;
        of_lens[TR_CX] -= focal * J[0];
        of_lens[TR_CY] -= focal * J[1];
        for (int k = 0; k < 2; k++) J[k] *= 1 + focal;
    }
}

const tr_stage tr_stage_photo_image = {
    .kind = TR_NET_PHOTO, .acts = is_shifted, .move = shift, .reverse = reverse_shift};
