#include "vehicle/pointed.h"

#include "geom/dense.h"

enum { N_POSE = 6, MAX_STEPS = 50 };
/* It is found when nothing moves by more: mm, and rad times 1000. */
static const double SMALL = 1e-9;

/* Axes of a plane through three points, or, of what lies, through two and square to the level. */
static bool axes_through(tr_vec3 a, tr_vec3 b, tr_vec3 c, tr_mat3 *out) {
    tr_vec3 x = tr_v3_sub(b, a);
    tr_vec3 z = tr_v3_cross(x, tr_v3_sub(c, a));
    double long_x = tr_v3_norm(x);
    double long_z = tr_v3_norm(z);
    if (!(long_x > 0) || !(long_z > 0)) return false;
    x = tr_v3_scale(1 / long_x, x);
    z = tr_v3_scale(1 / long_z, z);
    *out = tr_m3_from_columns(x, tr_v3_cross(z, x), z);
    return true;
}

static double area(const tr_pointed_tip *a, const tr_pointed_tip *b, const tr_pointed_tip *c) {
    return tr_v3_norm(tr_v3_cross(tr_v3_sub(b->at_mm, a->at_mm), tr_v3_sub(c->at_mm, a->at_mm)));
}

/* Of what lies: a third point over the first of the two that lie farthest apart. */
static bool start_level(const tr_pointed *p, tr_mat3 *target, tr_mat3 *world, int *first) {
    int best[2] = {0, 0};
    double most = 0;
    for (int i = 0; i < p->n; i++) {
        for (int k = 0; k < i; k++) {
            double apart = tr_v3_norm(tr_v3_sub(p->tips[i].at_mm, p->tips[k].at_mm));
            if (apart <= most) continue;
            most = apart;
            best[0] = k;
            best[1] = i;
        }
    }
    const tr_pointed_tip *a = &p->tips[best[0]];
    const tr_pointed_tip *b = &p->tips[best[1]];
    const tr_vec3 up = {0, 0, 1};
    *first = best[0];
    return axes_through(a->at_mm, b->at_mm, tr_v3_add(a->at_mm, up), target) &&
           axes_through(a->tip_mm, b->tip_mm, tr_v3_add(a->tip_mm, up), world);
}

/* Of what stands: the three that span most. */
static bool start_of_three(const tr_pointed *p, tr_mat3 *target, tr_mat3 *world, int *first) {
    const tr_pointed_tip *best[3] = {p->tips, p->tips, p->tips};
    for (int i = 0; i < p->n; i++) {
        for (int k = 0; k < i; k++) {
            for (int j = 0; j < k; j++) {
                const tr_pointed_tip *t[3] = {&p->tips[j], &p->tips[k], &p->tips[i]};
                if (area(t[0], t[1], t[2]) <= area(best[0], best[1], best[2])) continue;
                for (int m = 0; m < 3; m++) best[m] = t[m];
            }
        }
    }
    *first = (int)(best[0] - p->tips);
    return axes_through(best[0]->at_mm, best[1]->at_mm, best[2]->at_mm, target) &&
           axes_through(best[0]->tip_mm, best[1]->tip_mm, best[2]->tip_mm, world);
}

static bool start(const tr_pointed *p, tr_pose *pose) {
    tr_mat3 target, world;
    int first;
    bool is_told = p->level_sd_rad > 0 ? start_level(p, &target, &world, &first)
                                       : start_of_three(p, &target, &world, &first);
    if (!is_told) return false;
    pose->R = tr_m3_mul(world, tr_m3_transpose(target));
    pose->t_mm = tr_v3_sub(p->tips[first].tip_mm, tr_m3_apply(pose->R, p->tips[first].at_mm));
    return true;
}

/* Adds a residual w r with its gradient w g to the normal equations. */
static void add_row(const double g[N_POSE], double r, double w, double *A, double *b) {
    for (int i = 0; i < N_POSE; i++) {
        b[i] += w * w * g[i] * r;
        for (int k = 0; k <= i; k++) A[i * N_POSE + k] += w * w * g[i] * g[k];
    }
}

static void add_tip(const tr_pointed *p, const tr_pointed_tip *tip, tr_pose pose, double *A,
                    double *b) {
    tr_vec3 turned = tr_m3_apply(pose.R, tip->at_mm);
    tr_vec3 r = tr_v3_sub(tip->tip_mm, tr_v3_add(turned, pose.t_mm));
    const double residual[3] = {r.x, r.y, r.z};
    for (int k = 0; k < 3; k++) {
        const double along[3] = {k == 0, k == 1, k == 2};
        double g[N_POSE];
        tr_pose_gradient(along, turned, g);
        /* How a floor leans is told by heights alone: else tips that were exchanged would turn a
           mat on its face. */
        if (k < 2 && p->level_sd_rad > 0) g[0] = g[1] = 0;
        add_row(g, residual[k], 1 / (k < 2 ? p->sd_mm : p->height_sd_mm), A, b);
    }
}

/* d(normal) = d_rotation x normal */
static void add_level(const tr_pointed *p, tr_pose pose, double *A, double *b) {
    tr_vec3 n = tr_m3_column(pose.R, 2);
    const double along_x[N_POSE] = {0, n.z, -n.y};
    const double along_y[N_POSE] = {-n.z, 0, n.x};
    add_row(along_x, p->lean_rad[0] - n.x, 1 / p->level_sd_rad, A, b);
    add_row(along_y, p->lean_rad[1] - n.y, 1 / p->level_sd_rad, A, b);
}

bool tr_pointed_pose(const tr_pointed *p, tr_pose *out) {
    tr_pose pose;
    if (!start(p, &pose)) return false;
    for (int step = 0; step < MAX_STEPS; step++) {
        double A[N_POSE * N_POSE] = {0};
        double b[N_POSE] = {0};
        double most = 0;
        for (int i = 0; i < p->n; i++) add_tip(p, &p->tips[i], pose, A, b);
        if (p->level_sd_rad > 0) add_level(p, pose, A, b);
        if (!tr_dense_solve(A, b, N_POSE)) return false;
        pose = tr_pose_moved(pose, b);
        for (int k = 0; k < N_POSE; k++) most = fmax(most, fabs(b[k]) * (k < 3 ? 1000 : 1));
        if (most < SMALL) break;
    }
    *out = pose;
    return true;
}
