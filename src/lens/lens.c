#include "lens/lens.h"

#include <stddef.h>

double tr_lens_fold_r2(const double param[TR_LENS_N]) {
    /* Smallest positive root of c(q) = 1 + a q + b q^2 + c q^3, q = r2. c(0) = 1, so the first sign
       change going up from 0 is the root. The cubic is monotone between its stationary points, so
       it is enough to look at those intervals and bisect in the first that changes sign. */
    const double a = 3 * param[TR_K1];
    const double b = 5 * param[TR_K2];
    const double c = 7 * param[TR_K3];
    /* Nothing seen through a lens of this model lies beyond 80 degrees off axis: r = 5.7. */
    const double q_max = 32.0;
    double knots[4] = {0, 0, 0, q_max};
    int n = 1;
    double stationary[2];
    int n_stationary = 0;
    if (c != 0.0) {
        double D = b * b - 3 * a * c;
        if (D > 0) {
            /* Roots of 3 c q^2 + 2 b q + a in the form that does not cancel. */
            double w = -(b + copysign(sqrt(D), b));
            stationary[n_stationary++] = w / (3 * c);
            if (w != 0.0) stationary[n_stationary++] = a / w;
        }
    } else if (b != 0.0) {
        stationary[n_stationary++] = -a / (2 * b);
    }
    if (n_stationary == 2 && stationary[0] > stationary[1]) {
        double swap = stationary[0];
        stationary[0] = stationary[1];
        stationary[1] = swap;
    }
    for (int i = 0; i < n_stationary; i++) {
        if (stationary[i] > 0 && stationary[i] < q_max) knots[n++] = stationary[i];
    }
    knots[n++] = q_max;
    for (int i = 0; i + 1 < n; i++) {
        double lo = knots[i];
        double hi = knots[i + 1];
        if (1 + hi * (a + hi * (b + hi * c)) > 0) continue;
        for (int step = 0; step < 100; step++) {
            double mid = (lo + hi) / 2;
            if (1 + mid * (a + mid * (b + mid * c)) > 0)
                lo = mid;
            else
                hi = mid;
        }
        return lo;
    }
    return INFINITY;
}

/* True while d(r s)/dr > 0 everywhere between the axis and r2. The fold radius is not stored with
   the lens (a solver moves the parameters under it), so the cheap test comes first: where the
   derivative is positive at r2 and all coefficients so small that it cannot have dipped below
   0 on the way, no root needs to be sought. */
static bool inside_fold(const double p[TR_LENS_N], double r2) {
    double a = 3 * p[TR_K1];
    double b = 5 * p[TR_K2];
    double c = 7 * p[TR_K3];
    double down = fmin(a, 0) * r2 + fmin(b, 0) * r2 * r2 + fmin(c, 0) * r2 * r2 * r2;
    if (down > -1) return true;
    return r2 < tr_lens_fold_r2(p);
}

bool tr_lens_distort(const tr_lens *lens, tr_vec2 xy, tr_vec2 *uv_px, double J[4]) {
    const double *p = lens->param;
    const double k1 = p[TR_K1], k2 = p[TR_K2], k3 = p[TR_K3], p1 = p[TR_P1], p2 = p[TR_P2];
    const double x = xy.x, y = xy.y;
    const double r2 = x * x + y * y;
    if (!inside_fold(p, r2)) return false;
    const double s = 1 + r2 * (k1 + r2 * (k2 + r2 * k3));
    uv_px->x = p[TR_FX] * (x * s + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + p[TR_CX];
    uv_px->y = p[TR_FY] * (y * s + 2 * p2 * x * y + p1 * (r2 + 2 * y * y)) + p[TR_CY];
    if (J) {
        const double ds = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3)); /* ds/dx = ds x, ds/dy = ds y */
        const double cross = ds * x * y + 2 * p1 * x + 2 * p2 * y;
        J[0] = p[TR_FX] * (s + ds * x * x + 2 * p1 * y + 6 * p2 * x);
        J[1] = p[TR_FX] * cross;
        J[2] = p[TR_FY] * cross;
        J[3] = p[TR_FY] * (s + ds * y * y + 2 * p2 * x + 6 * p1 * y);
    }
    return true;
}

bool tr_lens_project(const tr_lens *lens, tr_vec3 P, tr_vec2 *uv_px, double J_point[6],
                     double J_lens[2 * TR_LENS_N]) {
    if (!(P.z > 0)) return false;
    const double *p = lens->param;
    const double x = P.x / P.z, y = P.y / P.z;
    double J[4];
    if (!tr_lens_distort(lens, tr_v2(x, y), uv_px, J_point ? J : NULL)) return false;
    if (J_point) {
        /* dx/dP = (1, 0, -x)/Z, dy/dP = (0, 1, -y)/Z */
        J_point[0] = J[0] / P.z;
        J_point[1] = J[1] / P.z;
        J_point[2] = -(J[0] * x + J[1] * y) / P.z;
        J_point[3] = J[2] / P.z;
        J_point[4] = J[3] / P.z;
        J_point[5] = -(J[2] * x + J[3] * y) / P.z;
    }
    if (J_lens) {
        const double fx = p[TR_FX], fy = p[TR_FY];
        const double r2 = x * x + y * y;
        double *Ju = J_lens;
        double *Jv = J_lens + TR_LENS_N;
        for (int k = 0; k < 2 * TR_LENS_N; k++) J_lens[k] = 0;
        Ju[TR_FX] = (uv_px->x - p[TR_CX]) / fx;
        Jv[TR_FY] = (uv_px->y - p[TR_CY]) / fy;
        Ju[TR_CX] = 1;
        Jv[TR_CY] = 1;
        Ju[TR_K1] = fx * x * r2;
        Jv[TR_K1] = fy * y * r2;
        Ju[TR_K2] = Ju[TR_K1] * r2;
        Jv[TR_K2] = Jv[TR_K1] * r2;
        Ju[TR_K3] = Ju[TR_K2] * r2;
        Jv[TR_K3] = Jv[TR_K2] * r2;
        Ju[TR_P1] = fx * 2 * x * y;
        Jv[TR_P1] = fy * (r2 + 2 * y * y);
        Ju[TR_P2] = fx * (r2 + 2 * x * x);
        Jv[TR_P2] = fy * 2 * x * y;
    }
    return true;
}

bool tr_lens_undistort(const tr_lens *lens, tr_vec2 uv_px, tr_vec2 *xy) {
    const double *p = lens->param;
    const tr_vec2 target = tr_v2((uv_px.x - p[TR_CX]) / p[TR_FX], (uv_px.y - p[TR_CY]) / p[TR_FY]);
    tr_vec2 q = target;
    /* A start beyond the fold would be refused at once: pull it back inside. */
    double fold_r2 = tr_lens_fold_r2(p);
    double r2 = tr_v2_dot(q, q);
    if (r2 >= fold_r2) q = tr_v2_scale(0.9 * sqrt(fold_r2 / r2), q);
    for (int step = 0; step < 50; step++) {
        tr_vec2 uv;
        double J[4];
        if (!tr_lens_distort(lens, q, &uv, J)) return false;
        double ru = uv_px.x - uv.x, rv = uv_px.y - uv.y;
        double det = J[0] * J[3] - J[1] * J[2];
        if (!(fabs(det) > 1e-12)) return false;
        tr_vec2 step_xy = tr_v2((J[3] * ru - J[1] * rv) / det, (J[0] * rv - J[2] * ru) / det);
        /* Damped so that a long step does not jump over the fold. */
        double damp = 1;
        while (damp > 1e-6) {
            tr_vec2 trial = tr_v2_add(q, tr_v2_scale(damp, step_xy));
            if (tr_v2_dot(trial, trial) < fold_r2) {
                q = trial;
                break;
            }
            damp /= 2;
        }
        if (damp <= 1e-6) return false;
        if (tr_v2_norm(step_xy) < 1e-13) break;
    }
    tr_vec2 uv;
    if (!tr_lens_distort(lens, q, &uv, NULL)) return false;
    /* 1e-9 px: rounding at f = 4000 px is some 1e-12. */
    if (!(tr_v2_norm(tr_v2_sub(uv, uv_px)) < 1e-9)) return false;
    *xy = q;
    return true;
}

bool tr_lens_is_one_to_one(const tr_lens *lens) {
    enum { GRID = 16 };
    for (int i = 0; i <= GRID; i++) {
        for (int j = 0; j <= GRID; j++) {
            tr_vec2 uv_px = tr_v2((double)lens->width_px * i / GRID - 0.5,
                                  (double)lens->height_px * j / GRID - 0.5);
            tr_vec2 xy;
            tr_vec2 back_px;
            double J[4];
            if (!tr_lens_undistort(lens, uv_px, &xy)) return false;
            if (!tr_lens_distort(lens, xy, &back_px, J)) return false;
            if (!(J[0] * J[3] - J[1] * J[2] > 0)) return false;
        }
    }
    return true;
}

const char *tr_lens_parameter_name(int parameter) {
    static const char *const NAMES[TR_LENS_N] = {"fx", "fy", "cx", "cy", "k1",
                                                 "k2", "p1", "p2", "k3"};
    return NAMES[parameter];
}

/* An unknown camera. */
static const double WIDE_SHIFT_PART = 0.01; /* of the longer side */
static const double WIDE[TR_SCATTER_N] = {0, 0.01, 2e-3, 1.5};
/* What the scatter of a calibration counts for in a job, at most. */
static const double UNKNOWN_DOF = 0.003;
static const double HAND_DOF = 3;
static const double CAMERA_DOF = 30;
/* Of next to no degrees of freedom a limit of 16 times the value has to do. */
static const double LEAST_LOWER = 4e-3;

/* The 20 % quantile of chi-squared over its degrees of freedom, after Wilson and Hilferty (The
   distribution of chi-square, PNAS 17, 1931): within 2 % from two degrees on. */
static double lower_chi2(double dof) {
    double a = 2 / (9 * dof);
    double root = 1 - a - 0.8416 * sqrt(a);
    return root > 0 ? root * root * root : 0;
}

double tr_lens_scatter_limit(double sd, double dof) {
    return sd / sqrt(fmax(lower_chi2(dof), LEAST_LOWER));
}

static bool is_hand(int kind) {
    return kind == TR_SCATTER_TURN || kind == TR_SCATTER_TRAVEL;
}

static double wide_sd(const tr_lens *lens, int kind) {
    double side = fmax(lens->width_px, lens->height_px);
    return kind == TR_SCATTER_SHIFT ? WIDE_SHIFT_PART * side : WIDE[kind];
}

double tr_lens_scatter_sd(const tr_lens *lens, int kind) {
    const tr_lens_scatter *s = &lens->scatter;
    double wide = wide_sd(lens, kind);
    if (s->is_steady) return 0;
    return s->dof[kind] > 0 ? fmax(wide, tr_lens_scatter_limit(s->sd[kind], s->dof[kind])) : wide;
}

void tr_lens_scatter_known(const tr_lens *lens, int kind, double *sd, double *dof) {
    const tr_lens_scatter *s = &lens->scatter;
    bool is_known = s->dof[kind] > 0;
    *sd = s->is_steady ? 0 : is_known ? s->sd[kind] : wide_sd(lens, kind);
    *dof = !is_known ? UNKNOWN_DOF : fmin(s->dof[kind], is_hand(kind) ? HAND_DOF : CAMERA_DOF);
}
