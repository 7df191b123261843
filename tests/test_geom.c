/* Rotations and poses against published and exact values. */
#include "check.h"

#include "geom/geom.h"

static void check_vector(tr_vec3 a, tr_vec3 b, double tol) {
    CHECK_NEAR(a.x, b.x, tol);
    CHECK_NEAR(a.y, b.y, tol);
    CHECK_NEAR(a.z, b.z, tol);
}

static void check_matrix(tr_mat3 A, tr_mat3 B, double tol) {
    for (int i = 0; i < 3; i++) check_vector(tr_m3_column(A, i), tr_m3_column(B, i), tol);
}

static void check_is_rotation(tr_mat3 R) {
    check_matrix(tr_m3_mul(R, tr_m3_transpose(R)), tr_m3_identity(), 1e-14);
    CHECK_NEAR(tr_m3_det(R), 1, 1e-14);
}

static tr_vec3 axis_angle(tr_vec3 axis, double angle_rad) {
    return tr_v3_scale(angle_rad / tr_v3_norm(axis), axis);
}

static void rotation_matrices_have_published_values(void **state) {
    (void)state;
    /* Documentation of scipy.spatial.transform.Rotation (SciPy 1.10). */
    check_matrix(tr_rotation_from_vector(tr_v3(0, 0, TR_PI / 2)),
                 (tr_mat3){{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}}, 1e-15);
    check_vector(tr_m3_apply(tr_rotation_from_vector(tr_v3(0, 0, TR_PI / 4)), tr_v3(1, 2, 3)),
                 tr_v3(-0.70710678, 2.12132034, 3), 5e-9);
    /* Exact: 120 degrees about (1, 1, 1) permutes the axes. */
    check_matrix(tr_rotation_from_vector(axis_angle(tr_v3(1, 1, 1), TR_PI * 2 / 3)),
                 (tr_mat3){{{0, 0, 1}, {1, 0, 0}, {0, 1, 0}}}, 1e-15);
    /* cv::Rodrigues of OpenCV 4.6; the second angle is above pi. (The table that these digits were
       first noted in has 0.9331923536 in the second row; its norm is 1 only with ...538.) */
    check_matrix(tr_rotation_from_vector(tr_v3(0.1, -0.2, 0.3)),
                 (tr_mat3){{{0.9357548033, -0.3029327134, -0.1805400767},
                            {0.2831649606, 0.9505806179, -0.1273345749},
                            {0.2101917060, 0.0680313164, 0.9752903090}}},
                 6e-11);
    check_matrix(tr_rotation_from_vector(tr_v3(1, 2, 3)),
                 (tr_mat3){{{-0.6949205576, 0.7135209905, 0.0892928589},
                            {-0.1920069728, -0.3037850443, 0.9331923538},
                            {0.6929781677, 0.6313496994, 0.3481074778}}},
                 6e-11);
}

static void rotation_vectors_have_published_values(void **state) {
    (void)state;
    /* SciPy's documentation: turns of -90 degrees about Y, then about the turned X. */
    tr_mat3 R = tr_m3_mul(tr_rotation_from_vector(tr_v3(0, -TR_PI / 2, 0)),
                          tr_rotation_from_vector(tr_v3(-TR_PI / 2, 0, 0)));
    double each_rad = -69.2820323 * TR_RAD_PER_DEG;
    check_vector(tr_vector_from_rotation(R), tr_v3(each_rad, each_rad, each_rad), 1e-9);
    /* The same: quaternion (w x y z) along (1, 1, 1, 0), that is cos = -1/3 about (1, 1, 0). */
    tr_mat3 Q = {
        {{1.0 / 3, 2.0 / 3, 2.0 / 3}, {2.0 / 3, 1.0 / 3, -2.0 / 3}, {-2.0 / 3, 2.0 / 3, -1.0 / 3}}};
    check_vector(tr_vector_from_rotation(Q), tr_v3(1.35102172, 1.35102172, 0), 5e-9);
    /* (1, 2, 3) is longer than pi: the same turn the other way round. */
    double angle = sqrt(14.0);
    check_vector(tr_vector_from_rotation(tr_rotation_from_vector(tr_v3(1, 2, 3))),
                 tr_v3_scale((angle - 2 * TR_PI) / angle, tr_v3(1, 2, 3)), 1e-14);
}

static void vectors_come_back_from_rotations(void **state) {
    (void)state;
    static const double ANGLES[] = {0,           1e-300, 1e-160, 1e-12, 1e-8,         0.99e-4,
                                    1.01e-4,     1e-3,   0.5,    3,     TR_PI - 1e-3, TR_PI - 1e-6,
                                    TR_PI - 1e-9};
    static const tr_vec3 AXES[] = {{1, 0, 0},      {0, 1, 0},       {0, 0, 1},
                                   {-1, 0, 0},     {1, 1, 1},       {-1, 2, -3},
                                   {3, -0.1, 0.2}, {1e-9, 1, 1e-9}, {0.1, 0.1, -5}};
    for (size_t i = 0; i < sizeof ANGLES / sizeof *ANGLES; i++) {
        for (size_t j = 0; j < sizeof AXES / sizeof *AXES; j++) {
            tr_vec3 r = axis_angle(AXES[j], ANGLES[i]);
            tr_mat3 R = tr_rotation_from_vector(r);
            check_is_rotation(R);
            /* The matrix keeps small angles to its own rounding, and so to a relative 1e-15. */
            check_vector(tr_vector_from_rotation(R), r, 4e-15 + 1e-15 * ANGLES[i]);
        }
    }
}

static void small_rotations_keep_their_relative_precision(void **state) {
    (void)state;
    tr_vec3 r = tr_vector_from_rotation(tr_rotation_from_vector(tr_v3(1e-10, -2e-10, 3e-10)));
    check_vector(r, tr_v3(1e-10, -2e-10, 3e-10), 1e-24);
}

static void half_turns_come_back_up_to_sign(void **state) {
    (void)state;
    static const tr_vec3 AXES[] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {1, 1, 0}, {-1, 2, 3}};
    for (size_t j = 0; j < sizeof AXES / sizeof *AXES; j++) {
        tr_mat3 R = tr_rotation_from_vector(axis_angle(AXES[j], TR_PI));
        tr_vec3 r = tr_vector_from_rotation(R);
        CHECK_NEAR(tr_v3_norm(r), TR_PI, 1e-14);
        check_matrix(tr_rotation_from_vector(r), R, 1e-14);
    }
}

static void rotation_z_turns_anticlockwise(void **state) {
    (void)state;
    check_matrix(tr_rotation_z(0.3), tr_rotation_from_vector(tr_v3(0, 0, 0.3)), 1e-15);
    check_vector(tr_m3_apply(tr_rotation_z(TR_PI / 2), tr_v3(1, 0, 0)), tr_v3(0, 1, 0), 1e-15);
}

static void matrices_invert(void **state) {
    (void)state;
    tr_mat3 A = {{{2, -1, 0.5}, {0.1, 3, -2}, {1, 1, 4}}};
    tr_mat3 inverse;
    assert_true(tr_m3_inverse(A, &inverse));
    check_matrix(tr_m3_mul(A, inverse), tr_m3_identity(), 1e-15);
    /* 2(12 + 2) + 1(0.4 + 2) + 0.5(0.1 - 3), by hand. */
    CHECK_NEAR(tr_m3_det(A), 28.95, 1e-13);
    tr_mat3 singular = {{{1, 2, 3}, {2, 4, 6}, {0, 0, 1}}};
    assert_false(tr_m3_inverse(singular, &inverse));
    tr_mat3 not_finite = {{{NAN, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
    assert_false(tr_m3_inverse(not_finite, &inverse));
}

static void cross_matrix_is_the_cross_product(void **state) {
    (void)state;
    tr_vec3 v = {1, -2, 3};
    tr_vec3 w = {0.5, 4, -1};
    check_vector(tr_m3_apply(tr_m3_cross(v), w), tr_v3_cross(v, w), 0);
    check_vector(tr_v3_cross(tr_v3(1, 0, 0), tr_v3(0, 1, 0)), tr_v3(0, 0, 1), 0);
    CHECK_NEAR(tr_v2_cross(tr_v2(1, 0), tr_v2(0, 1)), 1, 0);
}

static void nearest_rotation_is_found(void **state) {
    (void)state;
    tr_mat3 R = tr_rotation_from_vector(tr_v3(0.4, -1.1, 2.0));
    /* R times a symmetric positive definite matrix: its polar factor is R. */
    tr_mat3 S = {{{1.3, 0.2, -0.1}, {0.2, 0.8, 0.05}, {-0.1, 0.05, 1.1}}};
    tr_mat3 nearest;
    assert_true(tr_rotation_nearest(tr_m3_mul(R, S), &nearest));
    check_matrix(nearest, R, 1e-14);
    tr_mat3 mirror = {{{-1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
    assert_false(tr_rotation_nearest(mirror, &nearest));
    tr_mat3 not_finite = {{{NAN, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
    assert_false(tr_rotation_nearest(not_finite, &nearest));
}

static void poses_chain_and_invert(void **state) {
    (void)state;
    tr_pose a_from_b = {tr_rotation_from_vector(tr_v3(0.1, 0.7, -2)), {100, -250, 3000}};
    tr_pose b_from_c = {tr_rotation_from_vector(tr_v3(-1, 0.2, 0.5)), {-7, 8, 9}};
    tr_vec3 p_c = {12, -34, 56};
    check_vector(tr_pose_apply(tr_pose_mul(a_from_b, b_from_c), p_c),
                 tr_pose_apply(a_from_b, tr_pose_apply(b_from_c, p_c)), 1e-11);
    tr_pose round = tr_pose_mul(a_from_b, tr_pose_inverse(a_from_b));
    check_matrix(round.R, tr_m3_identity(), 1e-14);
    check_vector(round.t_mm, tr_v3(0, 0, 0), 1e-11);
    check_vector(tr_pose_apply(tr_pose_identity(), p_c), p_c, 0);
}

static void angles_wrap(void **state) {
    (void)state;
    CHECK_NEAR(tr_wrap_rad(TR_PI), TR_PI, 0);
    CHECK_NEAR(tr_wrap_rad(-TR_PI), TR_PI, 0);
    CHECK_NEAR(tr_wrap_rad(0), 0, 0);
    CHECK_NEAR(tr_wrap_rad(TR_RAD_PER_DEG * 359), -TR_RAD_PER_DEG, 1e-14);
    CHECK_NEAR(tr_wrap_rad(TR_RAD_PER_DEG * -359), TR_RAD_PER_DEG, 1e-14);
    CHECK_NEAR(tr_wrap_rad(TR_RAD_PER_DEG * 540), TR_PI, 1e-14);
    for (double angle = -20; angle <= 20; angle += 0.37) {
        double wrapped = tr_wrap_rad(angle);
        CHECK_AT_MOST(fabs(wrapped), TR_PI);
        CHECK_NEAR(sin(wrapped), sin(angle), 1e-14);
        CHECK_NEAR(cos(wrapped), cos(angle), 1e-14);
    }
}

/* A linear function of the point, so that only the pose is linearised: central differences along
   the pose's own parameters. */
static void gradient_of_a_pose(void **unused) {
    (void)unused;
    const double g[3] = {0.7, -1.3, 0.4};
    const double size[6] = {1e-4, 1e-4, 1e-4, 1e-2, 1e-2, 1e-2};
    const tr_pose pose = {tr_rotation_from_vector(tr_v3(0.4, -0.9, 1.2)), {100, -250, 900}};
    const tr_vec3 p = {30, -70, 12};
    double gradient[6];
    tr_pose_gradient(g, tr_m3_apply(pose.R, p), gradient);
    for (int k = 0; k < 6; k++) {
        double side[2];
        for (int i = 0; i < 2; i++) {
            double d[6] = {0};
            d[k] = i ? size[k] : -size[k];
            tr_vec3 q = tr_pose_apply(tr_pose_moved(pose, d), p);
            side[i] = g[0] * q.x + g[1] * q.y + g[2] * q.z;
        }
        CHECK_NEAR(gradient[k], (side[1] - side[0]) / (2 * size[k]), 1e-6);
    }
}

/* What moved a pose is found again. */
static void change_of_a_pose(void **unused) {
    (void)unused;
    const tr_pose pose = {tr_rotation_from_vector(tr_v3(0.4, -0.9, 1.2)), {100, -250, 900}};
    const double d[6] = {0.3, -1.1, 0.5, 40, -7, 12};
    double found[6];
    tr_pose_change(pose, tr_pose_moved(pose, d), found);
    for (int k = 0; k < 6; k++) CHECK_NEAR(found[k], d[k], 1e-12);
}

/* A motion is found again, whichever it is; of points that do not fit it the residuals are
   perpendicular to what the motion can still do: their sum is 0, and so is their turning moment. */
static void motion_of_points_in_the_plane(void **unused) {
    (void)unused;
    const tr_vec2 from[4] = {{0, 0}, {300, 10}, {280, 200}, {-20, 150}};
    const tr_vec2 off[4] = {{1, -2}, {0.5, 0}, {-3, 1}, {0, 2}};
    for (int k = -3; k <= 3; k++) {
        double angle = k * TR_PI / 3.1;
        tr_vec2 to[4];
        for (int i = 0; i < 4; i++) {
            to[i] = tr_v2(cos(angle) * from[i].x - sin(angle) * from[i].y + 50,
                          sin(angle) * from[i].x + cos(angle) * from[i].y - 70);
        }
        tr_plane_motion exact = tr_plane_fit(from, to, 4);
        CHECK_NEAR(tr_wrap_rad(exact.angle_rad - angle), 0, 1e-14);
        tr_vec2 origin = tr_plane_motion_apply(exact, from[0]);
        CHECK_NEAR(origin.x, 50, 1e-11);
        CHECK_NEAR(origin.y, -70, 1e-11);
        for (int i = 0; i < 4; i++) to[i] = tr_v2_add(to[i], off[i]);
        tr_plane_motion best = tr_plane_fit(from, to, 4);
        tr_vec2 sum = {0, 0};
        double moment = 0;
        for (int i = 0; i < 4; i++) {
            tr_vec2 at = tr_plane_motion_apply(best, from[i]);
            tr_vec2 r = tr_v2_sub(to[i], at);
            sum = tr_v2_add(sum, r);
            moment += tr_v2_cross(at, r);
        }
        CHECK_NEAR(tr_v2_norm(sum), 0, 1e-11);
        CHECK_NEAR(moment, 0, 1e-8);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rotation_matrices_have_published_values),
        cmocka_unit_test(rotation_vectors_have_published_values),
        cmocka_unit_test(vectors_come_back_from_rotations),
        cmocka_unit_test(small_rotations_keep_their_relative_precision),
        cmocka_unit_test(half_turns_come_back_up_to_sign),
        cmocka_unit_test(rotation_z_turns_anticlockwise),
        cmocka_unit_test(matrices_invert),
        cmocka_unit_test(cross_matrix_is_the_cross_product),
        cmocka_unit_test(nearest_rotation_is_found),
        cmocka_unit_test(poses_chain_and_invert),
        cmocka_unit_test(angles_wrap),
        cmocka_unit_test(gradient_of_a_pose),
        cmocka_unit_test(change_of_a_pose),
        cmocka_unit_test(motion_of_points_in_the_plane),
    };
    return cmocka_run_group_tests_name("geom", tests, NULL, NULL);
}
