#include "lens/planar.h"

#include <string.h>

#include "geom/dense.h"

static tr_vec2 mean_point(const tr_vec2 *p, int n) {
    tr_vec2 mean = tr_v2(0, 0);
    for (int i = 0; i < n; i++) mean = tr_v2_add(mean, tr_v2_scale(1.0 / n, p[i]));
    return mean;
}

/* The similarity that brings points to zero mean and mean distance sqrt(2). */
static bool normalising(const tr_vec2 *p, int n, tr_vec2 *mean, double *scale) {
    double distance = 0;
    *mean = mean_point(p, n);
    for (int i = 0; i < n; i++) distance += tr_v2_norm(tr_v2_sub(p[i], *mean)) / n;
    if (!(distance > 0)) return false;
    *scale = sqrt(2.0) / distance;
    return true;
}

bool tr_homography_fit(const tr_vec2 *from, const tr_vec2 *to, int n, tr_mat3 *H) {
    tr_vec2 mean_a;
    tr_vec2 mean_b;
    double sa;
    double sb;
    if (n < 4 || !normalising(from, n, &mean_a, &sa) || !normalising(to, n, &mean_b, &sb)) {
        return false;
    }
    /* With the mean of the points at the origin the last element is not 0 for any plane in front
       of the camera, so it may be set to 1: rows  x' (g x + h y + 1) = a x + b y + c. */
    double A[64] = {0};
    double rhs[8] = {0};
    for (int i = 0; i < n; i++) {
        tr_vec2 p = tr_v2_scale(sa, tr_v2_sub(from[i], mean_a));
        tr_vec2 q = tr_v2_scale(sb, tr_v2_sub(to[i], mean_b));
        double rows[2][8] = {{p.x, p.y, 1, 0, 0, 0, -q.x * p.x, -q.x * p.y},
                             {0, 0, 0, p.x, p.y, 1, -q.y * p.x, -q.y * p.y}};
        double value[2] = {q.x, q.y};
        for (int r = 0; r < 2; r++) {
            for (int j = 0; j < 8; j++) {
                rhs[j] += rows[r][j] * value[r];
                for (int k = 0; k <= j; k++) A[8 * j + k] += rows[r][j] * rows[r][k];
            }
        }
    }
    if (!tr_dense_solve(A, rhs, 8)) return false;
    tr_mat3 N = {{{rhs[0], rhs[1], rhs[2]}, {rhs[3], rhs[4], rhs[5]}, {rhs[6], rhs[7], 1}}};
    tr_mat3 Ta = {{{sa, 0, -sa * mean_a.x}, {0, sa, -sa * mean_a.y}, {0, 0, 1}}};
    tr_mat3 Tb = {{{1 / sb, 0, mean_b.x}, {0, 1 / sb, mean_b.y}, {0, 0, 1}}};
    tr_mat3 M = tr_m3_mul(Tb, tr_m3_mul(N, Ta));
    if (!(fabs(M.m[2][2]) > 1e-12)) return false;
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) H->m[i][j] = M.m[i][j] / M.m[2][2];
    }
    return true;
}

bool tr_homography_apply(tr_mat3 H, tr_vec2 p, tr_vec2 *q, double J[4]) {
    tr_vec3 h = tr_m3_apply(H, tr_v3(p.x, p.y, 1));
    if (!(h.z > 1e-12)) return false;
    q->x = h.x / h.z;
    q->y = h.y / h.z;
    if (J) {
        J[0] = (H.m[0][0] - q->x * H.m[2][0]) / h.z;
        J[1] = (H.m[0][1] - q->x * H.m[2][1]) / h.z;
        J[2] = (H.m[1][0] - q->y * H.m[2][0]) / h.z;
        J[3] = (H.m[1][1] - q->y * H.m[2][1]) / h.z;
    }
    return true;
}

/* Sum of squares of the pixel residuals; A, b: normal equations of (rotation, translation), may be
   NULL. NaN where a point is not in front of the camera. The pose is that of the plane with its
   origin shifted to `centre`. */
static double normal_equations(const tr_lens *lens, const tr_vec2 *p, const tr_vec2 *uv, int n,
                               tr_vec2 centre, tr_pose pose, double *A, double *b) {
    double sum = 0;
    if (A) {
        memset(A, 0, 36 * sizeof *A);
        memset(b, 0, 6 * sizeof *b);
    }
    for (int i = 0; i < n; i++) {
        tr_vec3 turned = tr_m3_apply(pose.R, tr_v3(p[i].x - centre.x, p[i].y - centre.y, 0));
        tr_vec2 q;
        double J[6];
        if (!tr_lens_project(lens, tr_v3_add(turned, pose.t_mm), &q, J, NULL)) return NAN;
        double r[2] = {uv[i].x - q.x, uv[i].y - q.y};
        sum += r[0] * r[0] + r[1] * r[1];
        if (!A) continue;
        for (int k = 0; k < 2; k++) {
            double row[6];
            tr_pose_gradient(J + (long)3 * k, turned, row);
            for (int j = 0; j < 6; j++) {
                b[j] += row[j] * r[k];
                for (int m = 0; m <= j; m++) A[6 * j + m] += row[j] * row[m];
            }
        }
    }
    return sum;
}

double tr_planar_refine(const tr_lens *lens, const tr_vec2 *p, const tr_vec2 *uv, int n,
                        tr_pose *camera_from_plane) {
    /* It turns about the middle of the points: about a distant origin, turning and shifting would
       nearly cancel, and the steps would creep along a bent valley. */
    tr_vec2 centre = mean_point(p, n);
    tr_pose pose = *camera_from_plane;
    pose.t_mm = tr_pose_apply(pose, tr_v3(centre.x, centre.y, 0));
    double A[36];
    double b[6];
    double sum = normal_equations(lens, p, uv, n, centre, pose, A, b);
    double lambda = 1e-4;
    for (int step = 0; step < 60 && isfinite(sum); step++) {
        double M[36];
        double d[6];
        memcpy(M, A, sizeof M);
        memcpy(d, b, sizeof d);
        for (int j = 0; j < 6; j++) M[7 * j] *= 1 + lambda;
        if (!tr_dense_solve(M, d, 6)) return NAN;
        tr_pose trial = tr_pose_moved(pose, d);
        double trial_sum = normal_equations(lens, p, uv, n, centre, trial, NULL, NULL);
        if (trial_sum < sum) {
            bool is_done = sum - trial_sum < 1e-10 * sum;
            pose = trial;
            sum = normal_equations(lens, p, uv, n, centre, pose, A, b);
            lambda /= 8;
            if (is_done) break;
        } else {
            lambda *= 8;
            if (lambda > 1e8) break;
        }
    }
    pose.t_mm = tr_pose_apply(pose, tr_v3(-centre.x, -centre.y, 0));
    *camera_from_plane = pose;
    return sqrt(sum / (2.0 * n));
}

/* The two poses of a plane from the homography H (last element 1) that maps it, its origin in the
   middle of the points, to the ideal image plane; they differ in the side to which it tilts. With
   v = H(0), d the direction (v, 1), J = dH at 0, and Rv the rotation that turns the z axis to d:
     J = B R22 / z,   B = ([I | -v] Rv)'s first two columns,
     R22 = upper left of Rv' R, largest singular value 1, its third row +-b from the unit columns.
   Source: Collins and Bartoli, Infinitesimal plane-based pose estimation, IJCV 109(3), 2014. */
static bool poses_from_homography(tr_mat3 H, tr_pose poses[2]) {
    const double p = H.m[0][2], q = H.m[1][2];
    const double J[4] = {H.m[0][0] - p * H.m[2][0], H.m[0][1] - p * H.m[2][1],
                         H.m[1][0] - q * H.m[2][0], H.m[1][1] - q * H.m[2][1]};
    const double off_axis = hypot(p, q);
    const double turn = off_axis > 0 ? atan(off_axis) / off_axis : 0;
    const tr_mat3 Rv = tr_rotation_from_vector(tr_v3(-q * turn, p * turn, 0));
    const double B[4] = {Rv.m[0][0] - p * Rv.m[2][0], Rv.m[0][1] - p * Rv.m[2][1],
                         Rv.m[1][0] - q * Rv.m[2][0], Rv.m[1][1] - q * Rv.m[2][1]};
    const double det_B = B[0] * B[3] - B[1] * B[2]; /* above 0: B is [I | -v] Rv seen along d */
    double A[4];
    for (int j = 0; j < 2; j++) {
        A[j] = (B[3] * J[j] - B[1] * J[2 + j]) / det_B;
        A[2 + j] = (B[0] * J[2 + j] - B[2] * J[j]) / det_B;
    }
    const double square = A[0] * A[0] + A[1] * A[1] + A[2] * A[2] + A[3] * A[3];
    const double det = A[0] * A[3] - A[1] * A[2];
    const double largest = sqrt((square + sqrt(fmax(0, square * square - 4 * det * det))) / 2);
    if (!(largest > 0) || !isfinite(largest)) return false;
    for (int j = 0; j < 4; j++) A[j] /= largest;
    const double b0 = sqrt(fmax(0, 1 - A[0] * A[0] - A[2] * A[2]));
    const double b1 =
        copysign(sqrt(fmax(0, 1 - A[1] * A[1] - A[3] * A[3])), -(A[0] * A[1] + A[2] * A[3]));
    for (int k = 0; k < 2; k++) {
        const double side = k == 0 ? 1 : -1;
        tr_vec3 x = tr_v3(A[0], A[2], side * b0);
        tr_vec3 y = tr_v3(A[1], A[3], side * b1);
        tr_mat3 R;
        if (!tr_rotation_nearest(tr_m3_from_columns(x, y, tr_v3_cross(x, y)), &R)) return false;
        poses[k].R = tr_m3_mul(Rv, R);
        poses[k].t_mm = tr_v3_scale(1 / largest, tr_v3(p, q, 1));
    }
    return true;
}

/* The printed face looks to the camera where the normal points back at it. */
static bool faces_camera(tr_pose pose, tr_vec2 centre_mm) {
    tr_vec3 c = tr_pose_apply(pose, tr_v3(centre_mm.x, centre_mm.y, 0));
    return tr_v3_dot(tr_m3_column(pose.R, 2), c) < 0;
}

int tr_planar_poses(const tr_lens *lens, const tr_vec2 *p, const tr_vec2 *uv, int n,
                    tr_planar_pose out[2]) {
    enum { MOST = 64 }; /* enough for a start: the refinement takes all */
    tr_vec2 from[MOST];
    tr_vec2 to[MOST];
    tr_vec2 centre = mean_point(p, n);
    int m = 0;
    int stride = n > MOST ? (n + MOST - 1) / MOST : 1;
    for (int i = 0; i < n && m < MOST; i += stride) {
        if (!tr_lens_undistort(lens, uv[i], &to[m])) continue;
        from[m++] = tr_v2_sub(p[i], centre);
    }
    tr_mat3 H;
    tr_pose starts[2];
    if (!tr_homography_fit(from, to, m, &H) || !poses_from_homography(H, starts)) return 0;
    int count = 0;
    for (int k = 0; k < 2; k++) {
        tr_pose refined = starts[k];
        /* H maps from the centred plane. */
        refined.t_mm = tr_pose_apply(refined, tr_v3(-centre.x, -centre.y, 0));
        double rms = tr_planar_refine(lens, p, uv, n, &refined);
        if (!isfinite(rms) || !faces_camera(refined, centre)) continue;
        if (count == 1) {
            tr_mat3 D = tr_m3_mul(tr_m3_transpose(out[0].camera_from_plane.R), refined.R);
            /* The same minimum reached from both sides: closer than 0.05 degrees. */
            if (tr_v3_norm(tr_vector_from_rotation(D)) < 1e-3) continue;
        }
        out[count++] = (tr_planar_pose){refined, rms};
    }
    if (count == 2 && out[1].rms_px < out[0].rms_px) {
        tr_planar_pose swap = out[0];
        out[0] = out[1];
        out[1] = swap;
    }
    return count;
}
