#include "geom/geom.h"

#include <float.h>
#include <string.h>

tr_mat3 tr_m3_from_columns(tr_vec3 a, tr_vec3 b, tr_vec3 c) {
    return (tr_mat3){{{a.x, b.x, c.x}, {a.y, b.y, c.y}, {a.z, b.z, c.z}}};
}

tr_mat3 tr_m3_mul(tr_mat3 A, tr_mat3 B) {
    tr_mat3 C;
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) {
            C.m[i][j] = A.m[i][0] * B.m[0][j] + A.m[i][1] * B.m[1][j] + A.m[i][2] * B.m[2][j];
        }
    }
    return C;
}

tr_mat3 tr_m3_transpose(tr_mat3 A) {
    tr_mat3 T;
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) T.m[i][j] = A.m[j][i];
    }
    return T;
}

double tr_m3_det(tr_mat3 A) {
    return tr_v3_dot(tr_m3_column(A, 0), tr_v3_cross(tr_m3_column(A, 1), tr_m3_column(A, 2)));
}

bool tr_m3_inverse(tr_mat3 A, tr_mat3 *inverse) {
    double det = tr_m3_det(A);
    if (!(fabs(det) > 1e-300)) return false;
    tr_vec3 a = tr_m3_column(A, 0);
    tr_vec3 b = tr_m3_column(A, 1);
    tr_vec3 c = tr_m3_column(A, 2);
    /* The rows of the inverse are the cross products of the columns, over the determinant. */
    tr_mat3 columns = tr_m3_from_columns(tr_v3_scale(1 / det, tr_v3_cross(b, c)),
                                         tr_v3_scale(1 / det, tr_v3_cross(c, a)),
                                         tr_v3_scale(1 / det, tr_v3_cross(a, b)));
    *inverse = tr_m3_transpose(columns);
    return true;
}

tr_mat3 tr_m3_cross(tr_vec3 v) {
    return (tr_mat3){{{0, -v.z, v.y}, {v.z, 0, -v.x}, {-v.y, v.x, 0}}};
}

tr_mat3 tr_rotation_from_vector(tr_vec3 r) {
    double a2 = tr_v3_dot(r, r);
    double a = sqrt(a2);
    /* Below 1e-4 the series' next terms are under 1e-17. */
    double s = a < 1e-4 ? 1 - a2 / 6 : sin(a) / a;
    double c = a < 1e-4 ? 0.5 - a2 / 24 : (1 - cos(a)) / a2;
    tr_mat3 K = tr_m3_cross(r);
    tr_mat3 K2 = tr_m3_mul(K, K);
    tr_mat3 R = tr_m3_identity();
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) R.m[i][j] += s * K.m[i][j] + c * K2.m[i][j];
    }
    return R;
}

tr_vec3 tr_vector_from_rotation(tr_mat3 R) {
    /* Quaternion by the largest of its four components (Shepperd, J. Guidance and Control 1,
       1978), which stays exact near 0 and near pi; then angle = 2 atan2(|v|, w). */
    double trace = R.m[0][0] + R.m[1][1] + R.m[2][2];
    double w;
    tr_vec3 v;
    if (trace >= R.m[0][0] && trace >= R.m[1][1] && trace >= R.m[2][2]) {
        w = 1 + trace;
        v = tr_v3(R.m[2][1] - R.m[1][2], R.m[0][2] - R.m[2][0], R.m[1][0] - R.m[0][1]);
    } else {
        int i = 0;
        if (R.m[1][1] > R.m[i][i]) i = 1;
        if (R.m[2][2] > R.m[i][i]) i = 2;
        int j = (i + 1) % 3;
        int k = (i + 2) % 3;
        double q[3];
        q[i] = 1 + R.m[i][i] - R.m[j][j] - R.m[k][k];
        q[j] = R.m[j][i] + R.m[i][j];
        q[k] = R.m[k][i] + R.m[i][k];
        w = R.m[k][j] - R.m[j][k];
        v = tr_v3(q[0], q[1], q[2]);
    }
    if (w < 0) {
        w = -w;
        v = tr_v3_scale(-1, v);
    }
    double n = tr_v3_norm(v);
    double scale = n > DBL_MIN ? 2 * atan2(n, w) / n : 2 / w;
    return tr_v3_scale(scale, v);
}

tr_mat3 tr_rotation_z(double angle_rad) {
    double c = cos(angle_rad);
    double s = sin(angle_rad);
    return (tr_mat3){{{c, -s, 0}, {s, c, 0}, {0, 0, 1}}};
}

bool tr_rotation_nearest(tr_mat3 A, tr_mat3 *R) {
    tr_mat3 X = A;
    if (!(tr_m3_det(X) > 1e-12)) return false;
    for (int step = 0; step < 60; step++) {
        tr_mat3 inverse;
        if (!tr_m3_inverse(X, &inverse)) return false;
        double change = 0;
        for (int i = 0; i < 3; i++) {
            for (int j = 0; j < 3; j++) {
                /* X_next = (X + X^-T) / 2 */
                double d = (inverse.m[j][i] - X.m[i][j]) / 2;
                if (fabs(d) > change) change = fabs(d);
                inverse.m[j][i] = d;
            }
        }
        for (int i = 0; i < 3; i++) {
            for (int j = 0; j < 3; j++) X.m[i][j] += inverse.m[j][i];
        }
        if (change < 1e-15) break;
    }
    *R = X;
    return true;
}

tr_pose tr_pose_mul(tr_pose a_from_b, tr_pose b_from_c) {
    return (tr_pose){tr_m3_mul(a_from_b.R, b_from_c.R), tr_pose_apply(a_from_b, b_from_c.t_mm)};
}

tr_pose tr_pose_inverse(tr_pose a_from_b) {
    tr_mat3 Rt = tr_m3_transpose(a_from_b.R);
    return (tr_pose){Rt, tr_v3_scale(-1, tr_m3_apply(Rt, a_from_b.t_mm))};
}

tr_pose tr_pose_moved(tr_pose a_from_b, const double d[6]) {
    tr_mat3 turn = tr_rotation_from_vector(tr_v3(d[0], d[1], d[2]));
    return (tr_pose){tr_m3_mul(turn, a_from_b.R),
                     tr_v3_add(a_from_b.t_mm, tr_v3(d[3], d[4], d[5]))};
}

void tr_pose_change(tr_pose from, tr_pose to, double d[TR_POSE_N]) {
    tr_vec3 turn = tr_vector_from_rotation(tr_m3_mul(to.R, tr_m3_transpose(from.R)));
    tr_vec3 way = tr_v3_sub(to.t_mm, from.t_mm);
    const double change[TR_POSE_N] = {turn.x, turn.y, turn.z, way.x, way.y, way.z};
    memcpy(d, change, sizeof change);
}

double tr_wrap_rad(double angle_rad) {
    double wrapped = remainder(angle_rad, 2 * TR_PI);
    return wrapped <= -TR_PI ? TR_PI : wrapped;
}

tr_plane_motion tr_plane_fit(const tr_vec2 *from, const tr_vec2 *to, int n) {
    tr_plane_motion m = {.angle_rad = 0};
    double cross = 0;
    double dot = 0;
    for (int i = 0; i < n; i++) {
        m.mean_from = tr_v2_add(m.mean_from, tr_v2_scale(1.0 / n, from[i]));
        m.mean_to = tr_v2_add(m.mean_to, tr_v2_scale(1.0 / n, to[i]));
    }
    for (int i = 0; i < n; i++) {
        tr_vec2 a = tr_v2_sub(from[i], m.mean_from);
        tr_vec2 b = tr_v2_sub(to[i], m.mean_to);
        cross += tr_v2_cross(a, b);
        dot += tr_v2_dot(a, b);
    }
    m.angle_rad = atan2(cross, dot);
    return m;
}

tr_vec2 tr_plane_motion_apply(tr_plane_motion m, tr_vec2 from) {
    tr_vec2 a = tr_v2_sub(from, m.mean_from);
    double c = cos(m.angle_rad);
    double s = sin(m.angle_rad);
    return tr_v2_add(m.mean_to, tr_v2(c * a.x - s * a.y, s * a.x + c * a.y));
}
