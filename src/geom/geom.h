/* Points, rotations and poses: small value types that travel by value. Nothing of this program is
   included here. Lengths are in millimetres unless a name says otherwise, angles in radians.

   A pose says where one frame lies in another: p_a = R p_b + t. Variables are named a_from_b, so
   that the inner names cancel where poses meet: a_from_c = tr_pose_mul(a_from_b, b_from_c). */
#ifndef TR_GEOM_H
#define TR_GEOM_H

#include <math.h>
#include <stdbool.h>

#define TR_PI 3.14159265358979323846
#define TR_RAD_PER_DEG (TR_PI / 180.0)
#define TR_DEG_PER_RAD (180.0 / TR_PI)

typedef struct {
    double x, y;
} tr_vec2;

typedef struct {
    double x, y, z;
} tr_vec3;

/* Row by row. */
typedef struct {
    double m[3][3];
} tr_mat3;

/* R is a proper rotation. */
typedef struct {
    tr_mat3 R;
    tr_vec3 t_mm;
} tr_pose;

static inline tr_vec2 tr_v2(double x, double y) {
    return (tr_vec2){x, y};
}
static inline tr_vec2 tr_v2_add(tr_vec2 a, tr_vec2 b) {
    return tr_v2(a.x + b.x, a.y + b.y);
}
static inline tr_vec2 tr_v2_sub(tr_vec2 a, tr_vec2 b) {
    return tr_v2(a.x - b.x, a.y - b.y);
}
static inline tr_vec2 tr_v2_scale(double s, tr_vec2 a) {
    return tr_v2(s * a.x, s * a.y);
}
static inline double tr_v2_dot(tr_vec2 a, tr_vec2 b) {
    return a.x * b.x + a.y * b.y;
}
/* z component of the cross product: positive where b lies anticlockwise of a (x right, y up). */
static inline double tr_v2_cross(tr_vec2 a, tr_vec2 b) {
    return a.x * b.y - a.y * b.x;
}
static inline double tr_v2_norm(tr_vec2 a) {
    return sqrt(a.x * a.x + a.y * a.y); /* hypot() guards ranges that are not met here, slowly */
}

static inline tr_vec3 tr_v3(double x, double y, double z) {
    return (tr_vec3){x, y, z};
}
static inline tr_vec3 tr_v3_add(tr_vec3 a, tr_vec3 b) {
    return tr_v3(a.x + b.x, a.y + b.y, a.z + b.z);
}
static inline tr_vec3 tr_v3_sub(tr_vec3 a, tr_vec3 b) {
    return tr_v3(a.x - b.x, a.y - b.y, a.z - b.z);
}
static inline tr_vec3 tr_v3_scale(double s, tr_vec3 a) {
    return tr_v3(s * a.x, s * a.y, s * a.z);
}
static inline double tr_v3_dot(tr_vec3 a, tr_vec3 b) {
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
static inline tr_vec3 tr_v3_cross(tr_vec3 a, tr_vec3 b) {
    return tr_v3(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x);
}
static inline double tr_v3_norm(tr_vec3 a) {
    return sqrt(tr_v3_dot(a, a));
}

static inline tr_mat3 tr_m3_identity(void) {
    return (tr_mat3){{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
}
static inline tr_vec3 tr_m3_apply(tr_mat3 A, tr_vec3 v) {
    return tr_v3(A.m[0][0] * v.x + A.m[0][1] * v.y + A.m[0][2] * v.z,
                 A.m[1][0] * v.x + A.m[1][1] * v.y + A.m[1][2] * v.z,
                 A.m[2][0] * v.x + A.m[2][1] * v.y + A.m[2][2] * v.z);
}
static inline tr_vec3 tr_m3_column(tr_mat3 A, int k) {
    return tr_v3(A.m[0][k], A.m[1][k], A.m[2][k]);
}
tr_mat3 tr_m3_from_columns(tr_vec3 a, tr_vec3 b, tr_vec3 c);
tr_mat3 tr_m3_mul(tr_mat3 A, tr_mat3 B);
tr_mat3 tr_m3_transpose(tr_mat3 A);
double tr_m3_det(tr_mat3 A);
/* False, and nothing written, where |det A| is not above 1e-300. */
bool tr_m3_inverse(tr_mat3 A, tr_mat3 *inverse);
/* [v]x: tr_m3_apply(tr_m3_cross(v), w) = v x w. */
tr_mat3 tr_m3_cross(tr_vec3 v);

/* Rotation about the axis r by |r| radians, and back; |result| <= pi.
   R = I + sin(a)/a [r]x + (1 - cos a)/a^2 [r]x^2   (Rodrigues; series below |r| = 1e-4).
   Source: Murray, Li, Sastry, A Mathematical Introduction to Robotic Manipulation, 1994, eq. 2.14.
 */
tr_mat3 tr_rotation_from_vector(tr_vec3 r_rad);
tr_vec3 tr_vector_from_rotation(tr_mat3 R);
/* About the z axis, anticlockwise seen from +z. */
tr_mat3 tr_rotation_z(double angle_rad);
/* The proper rotation nearest to A in the Frobenius norm (polar decomposition by Newton's
   iteration; Higham, Computing the polar decomposition, SIAM J. Sci. Stat. Comput. 7, 1986).
   A must have a positive determinant well away from 0; false, and nothing written, otherwise. */
bool tr_rotation_nearest(tr_mat3 A, tr_mat3 *R);

static inline tr_pose tr_pose_identity(void) {
    return (tr_pose){tr_m3_identity(), {0, 0, 0}};
}
static inline tr_vec3 tr_pose_apply(tr_pose a_from_b, tr_vec3 p_b_mm) {
    return tr_v3_add(tr_m3_apply(a_from_b.R, p_b_mm), a_from_b.t_mm);
}
tr_pose tr_pose_mul(tr_pose a_from_b, tr_pose b_from_c); /* a_from_c */
tr_pose tr_pose_inverse(tr_pose a_from_b);               /* b_from_a */
/* Turned and moved by a small amount, about and along the axes of the outer frame:
   exp([d0..2]x) R, t + d3..5. */
enum { TR_POSE_N = 6 }; /* rotation (rad) 0..2, place (mm) 3..5 */
tr_pose tr_pose_moved(tr_pose a_from_b, const double d[TR_POSE_N]);
/* The d by which tr_pose_moved makes `to` of `from`; turned by less than half a turn. */
void tr_pose_change(tr_pose from, tr_pose to, double d[TR_POSE_N]);

/* How a value changes with a pose that carries a point to where the value's gradient there is g:
   to d of tr_pose_moved. turned: R p, the point less the pose's t_mm. With d(turned) = d x turned,
     out = (turned x g, g). */
static inline void tr_pose_gradient(const double g[3], tr_vec3 turned, double out[TR_POSE_N]) {
    out[0] = g[2] * turned.y - g[1] * turned.z;
    out[1] = g[0] * turned.z - g[2] * turned.x;
    out[2] = g[1] * turned.x - g[0] * turned.y;
    out[3] = g[0];
    out[4] = g[1];
    out[5] = g[2];
}

/* The motion in the plane that takes n points `from` closest to the points `to` (least squares):
     to ~ mean_to + R(angle) (from - mean_from).
   Source: the rotation that fits best, in closed form: Schoenemann, A generalized solution of the
   orthogonal Procrustes problem, Psychometrika 31, 1966; in the plane, atan2 of the sums of cross
   and dot products. */
typedef struct {
    double angle_rad;
    tr_vec2 mean_from, mean_to;
} tr_plane_motion;

tr_plane_motion tr_plane_fit(const tr_vec2 *from, const tr_vec2 *to, int n);
tr_vec2 tr_plane_motion_apply(tr_plane_motion m, tr_vec2 from);

/* The angle wrapped to (-pi, pi]. */
double tr_wrap_rad(double angle_rad);

#endif
