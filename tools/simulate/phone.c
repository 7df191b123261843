#include "tools/simulate/phone.h"

#include <math.h>
#include <string.h>

/* ---- chance ---- */

tr_random tr_random_seed(uint64_t seed) {
    tr_random r = {seed * 0x9E3779B97F4A7C15u + 0x2545F4914F6CDD1Du};
    if (r.state == 0) r.state = 1;
    for (int i = 0; i < 8; i++) (void)tr_random_uniform(&r);
    return r;
}

double tr_random_uniform(tr_random *r) {
    r->state ^= r->state >> 12;
    r->state ^= r->state << 25;
    r->state ^= r->state >> 27;
    uint64_t bits = (r->state * 0x2545F4914F6CDD1Du) >> 11;
    return ((double)bits + 0.5) / 9007199254740992.0;
}

double tr_random_normal(tr_random *r) {
    double u = tr_random_uniform(r);
    double v = tr_random_uniform(r);
    return sqrt(-2 * log(u)) * cos(2 * TR_PI * v);
}

static tr_vec3 normal_vector(tr_random *r, double sd) {
    double x = tr_random_normal(r);
    double y = tr_random_normal(r);
    return tr_v3(sd * x, sd * y, sd * tr_random_normal(r));
}

tr_sim_phone tr_sim_phone_full(double factor) {
    const double readout_s = 0.02;
    return (tr_sim_phone){.principal_point_px = 10 * factor,
                          .focal = 0.002 * factor,
                          .turn_rad = 1.5 * TR_RAD_PER_DEG * readout_s * factor,
                          .travel_mm = 20 * readout_s * factor,
                          .lift_mm = 1.5 * factor,
                          .wave_mm = 0.3 * factor,
                          .floor_mm = 1.5 * factor,
                          .floor_tilt_rad = 0.002 * factor,
                          .mark_floor_px = factor > 0 ? 0.03 : 0};
}

/* ---- the camera ---- */

static int longer(int a, int b) {
    return a > b ? a : b;
}

tr_sim_exposure tr_sim_expose(const tr_sim_phone *phone, const tr_lens *lens, tr_random *random) {
    tr_sim_exposure e;
    double shift = phone->principal_point_px * longer(lens->width_px, lens->height_px) / 4032;
    e.shift_px.x = shift * tr_random_normal(random);
    e.shift_px.y = shift * tr_random_normal(random);
    e.focal = phone->focal * tr_random_normal(random);
    e.turn_rad = normal_vector(random, phone->turn_rad);
    e.travel_mm = normal_vector(random, phone->travel_mm);
    return e;
}

tr_lens tr_sim_lens_of(const tr_lens *lens, const tr_sim_exposure *e) {
    tr_lens out = *lens;
    out.param[TR_FX] *= 1 + e->focal;
    out.param[TR_FY] *= 1 + e->focal;
    out.param[TR_CX] += e->shift_px.x;
    out.param[TR_CY] += e->shift_px.y;
    return out;
}

/* When a pixel's row is read out, in parts of a frame from the middle one. */
static double row_of(const tr_lens *lens, tr_vec2 uv) {
    int w = lens->width_px;
    int h = lens->height_px;
    return w >= h ? (uv.y - (h - 1) / 2.0) / h : (uv.x - (w - 1) / 2.0) / w;
}

/* A row's part moves the pixel by some 1e-3 of itself, so that each round adds three digits. */
bool tr_sim_expose_point(const tr_lens *lens, const tr_sim_exposure *e, tr_pose camera_from_world,
                         tr_vec3 p, tr_vec2 *uv) {
    tr_vec3 at_middle = tr_pose_apply(camera_from_world, p);
    tr_vec3 travel = tr_m3_apply(camera_from_world.R, e->travel_mm);
    double s = 0;
    for (int round = 0; round < 20; round++) {
        tr_mat3 turn = tr_rotation_from_vector(tr_v3_scale(s, e->turn_rad));
        tr_vec3 q = tr_m3_apply(turn, tr_v3_sub(at_middle, tr_v3_scale(s, travel)));
        if (!tr_lens_project(lens, q, uv, NULL, NULL)) return false;
        double next = row_of(lens, *uv);
        if (fabs(next - s) < 1e-14) break;
        s = next;
    }
    return true;
}

/* x' = -y and y' = x; of brown5's terms, P1' = P2 and P2' = -P1. */
void tr_sim_make_portrait(tr_lens *lens) {
    static const int from[TR_LENS_N] = {TR_FY, TR_FX, TR_CY, TR_CX, TR_K1,
                                        TR_K2, TR_P2, TR_P1, TR_K3};
    static const double sign[TR_LENS_N] = {1, 1, -1, 1, 1, 1, 1, -1, 1};
    tr_lens old = *lens;
    lens->width_px = old.height_px;
    lens->height_px = old.width_px;
    for (int i = 0; i < TR_LENS_N; i++) {
        lens->param[i] = sign[i] * old.param[from[i]];
        for (int k = 0; k < TR_LENS_N; k++) {
            lens->covariance[i * TR_LENS_N + k] =
                sign[i] * sign[k] * old.covariance[from[i] * TR_LENS_N + from[k]];
        }
    }
    lens->param[TR_CX] += old.height_px - 1;
}

/* ---- sheets ---- */

tr_relief tr_sim_relief(const tr_sim_phone *phone, double width_mm, double height_mm,
                        tr_random *random) {
    tr_relief r = {.reach_mm = 200 + 200 * tr_random_uniform(random)};
    double length_mm = 800 + 800 * tr_random_uniform(random);
    double along_rad = 2 * TR_PI * tr_random_uniform(random);
    for (int k = 0; k < 4; k++) r.side_mm[k] = phone->lift_mm * tr_random_uniform(random);
    for (int k = 0; k < 4; k++) r.corner_mm[k] = phone->lift_mm * tr_random_uniform(random);
    r.reach_mm = fmin(r.reach_mm, fmin(width_mm, height_mm) / 2);
    r.wave_mm = phone->wave_mm * tr_random_uniform(random);
    r.wave_rad_per_mm[0] = 2 * TR_PI / length_mm * cos(along_rad);
    r.wave_rad_per_mm[1] = 2 * TR_PI / length_mm * sin(along_rad);
    r.wave_rad = 2 * TR_PI * tr_random_uniform(random);
    return r;
}

/* How much of a side's lift is left so far from it. */
static double left_of_lift(const tr_relief *r, double from_side_mm) {
    double t = 1 - from_side_mm / r->reach_mm;
    return t > 0 ? t * t : 0;
}

double tr_sim_relief_mm(const tr_relief *r, double width_mm, double height_mm, tr_vec2 p) {
    double z =
        r->wave_mm * sin(r->wave_rad_per_mm[0] * p.x + r->wave_rad_per_mm[1] * p.y + r->wave_rad);
    if (!(r->reach_mm > 0)) return z;
    double along_x[2] = {left_of_lift(r, width_mm / 2 + p.x), left_of_lift(r, width_mm / 2 - p.x)};
    double along_y[2] = {left_of_lift(r, height_mm / 2 + p.y),
                         left_of_lift(r, height_mm / 2 - p.y)};
    for (int k = 0; k < 2; k++) {
        z += r->side_mm[k] * along_x[k] + r->side_mm[TR_RELIEF_BOTTOM + k] * along_y[k];
    }
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 2; j++) {
            double corner =
                r->corner_mm[2 * j + i] - r->side_mm[i] - r->side_mm[TR_RELIEF_BOTTOM + j];
            z += corner * along_x[i] * along_y[j];
        }
    }
    return z;
}
