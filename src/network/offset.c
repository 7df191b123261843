#include "base/language.h"
#include "network/kind.h"

/* ---- its unknowns ---- */

static int of(const tr_view *view) {
    return view->offset;
}

static const char *name(const tr_network *net, int index, int component) {
    (void)component;
    return net->offset_names ? net->offset_names[index] : NULL;
}

static double step(int component) {
    return component <= TR_OFFSET_Z       ? TR_STEP_MM
           : component == TR_OFFSET_TWIST ? TR_STEP / 1000
                                          : TR_STEP;
}

const tr_kind tr_kind_offset = {.title = TR_N("the offset of mark '%s'"),
                                .name = name,
                                .step = step,
                                .of = of,
                                .values = TR_VALUES(tr_net_offset),
                                .priors = {&tr_prior_about_0}};

/* ---- its stage ---- */

/* Where and how the mark lies, and a point of it; the letters of offset.h. */
typedef struct {
    double M[4];   /* Rz(turn) E, 2 x 2 by rows */
    double ct, st; /* cosine and sine of turn ... */
    double c2, s2; /* ... and of twice the axis */
    tr_vec2 q;
    tr_vec2 w;    /* M q */
    tr_vec2 lean; /* dz' / dq */
} form;
_Static_assert(sizeof(form) <= TR_STAGE_ROOM, "room for what the stage keeps");

static form form_of(const tr_net_offset *o, tr_vec3 p) {
    const double *d = o->value;
    double c = cos(o->axis_rad);
    double s = sin(o->axis_rad);
    double ct = cos(d[TR_OFFSET_TURN]);
    double st = sin(d[TR_OFFSET_TURN]);
    double c2 = c * c - s * s;
    double g = 1 + d[TR_OFFSET_SCALE];
    double a = d[TR_OFFSET_DIFFERENTIAL_SCALE];
    /* E = g I + a [cos 2axis, sin 2axis; sin 2axis, -cos 2axis] */
    double E[4] = {g + a * c2, 2 * a * c * s, 2 * a * c * s, g - a * c2};
    form f = {.M = {ct * E[0] - st * E[2], ct * E[1] - st * E[3], st * E[0] + ct * E[2],
                    st * E[1] + ct * E[3]},
              .ct = ct,
              .st = st,
              .c2 = c2,
              .s2 = 2 * c * s,
              .q = {p.x - o->centre_mm.x, p.y - o->centre_mm.y}};
    f.w = tr_v2(f.M[0] * f.q.x + f.M[1] * f.q.y, f.M[2] * f.q.x + f.M[3] * f.q.y);
    f.lean = tr_v2(d[TR_OFFSET_SLOPE_X] + d[TR_OFFSET_TWIST] * f.q.y,
                   d[TR_OFFSET_SLOPE_Y] + d[TR_OFFSET_TWIST] * f.q.x);
    return f;
}

static bool displace(const tr_view *view, tr_vec3 *p, void *keep) {
    const tr_net_offset *o = view->block[TR_NET_OFFSET];
    const double *d = o->value;
    form f = form_of(o, *p);
    if (keep) *(form *)keep = f;
    double z = p->z + d[TR_OFFSET_Z] + d[TR_OFFSET_SLOPE_X] * f.q.x + d[TR_OFFSET_SLOPE_Y] * f.q.y;
    *p = tr_v3(o->centre_mm.x + f.w.x + d[TR_OFFSET_X], o->centre_mm.y + f.w.y + d[TR_OFFSET_Y],
               z + d[TR_OFFSET_TWIST] * f.q.x * f.q.y);
    return true;
}

static void reverse(const tr_view *view, const void *keep, tr_gradient *g) {
    (void)view;
    const form *f = keep;
    tr_vec2 q = f->q;
    tr_vec2 a = tr_v2(f->c2 * q.x + f->s2 * q.y, f->s2 * q.x - f->c2 * q.y);
    for (int i = 0; i < g->rows; i++) {
        double *J = g->J[i];
        double *row = tr_gradient_row(g, TR_NET_OFFSET, i);
        for (int k = 0; k < 3; k++) row[TR_OFFSET_X + k] += J[k];
        row[TR_OFFSET_TURN] += J[1] * f->w.x - J[0] * f->w.y;
        row[TR_OFFSET_SCALE] +=
            J[0] * (f->ct * q.x - f->st * q.y) + J[1] * (f->st * q.x + f->ct * q.y);
        row[TR_OFFSET_DIFFERENTIAL_SCALE] +=
            J[0] * (f->ct * a.x - f->st * a.y) + J[1] * (f->st * a.x + f->ct * a.y);
        row[TR_OFFSET_SLOPE_X] += J[2] * q.x;
        row[TR_OFFSET_SLOPE_Y] += J[2] * q.y;
        row[TR_OFFSET_TWIST] += J[2] * q.x * q.y;
        double to_x = J[0] * f->M[0] + J[1] * f->M[2] + J[2] * f->lean.x;
        double to_y = J[0] * f->M[1] + J[1] * f->M[3] + J[2] * f->lean.y;
        J[0] = to_x;
        J[1] = to_y;
    }
}

const tr_stage tr_stage_offset = {.kind = TR_NET_OFFSET, .move = displace, .reverse = reverse};
