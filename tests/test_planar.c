/* Poses of a plane: against OpenCV's, and the published table of the two minima. */
#include "check.h"

#include <string.h>

#include "draw.h"
#include "lens/planar.h"
#include "outside/opencv_ref.h"

enum { MOST = 64 };

static const tr_lens pinhole_1000 = {
    .width_px = 1000, .height_px = 1000, .param = {1000, 1000, 499.5, 499.5, 0, 0, 0, 0, 0}};
static const tr_lens phone = {
    .width_px = 4032,
    .height_px = 3024,
    .param = {3012.4, 3011.8, 2010.1, 1512.7, 0.0831, -0.2105, 0.0004, -0.0002, 0.1377}};

/* A camera that looks at the plane's origin: sheet frame (y up, z out of the face) turned to face
   the camera (y down, z forward), then tilted about the camera's x axis, then turned about the
   line of sight. */
static tr_pose facing(double distance_mm, double tilt_rad, double roll_rad) {
    tr_mat3 flip = {{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    tr_mat3 tilt = tr_rotation_from_vector(tr_v3(tilt_rad, 0, 0));
    return (tr_pose){tr_m3_mul(tr_rotation_z(roll_rad), tr_m3_mul(tilt, flip)),
                     {0, 0, distance_mm}};
}

static void see(const tr_lens *lens, tr_pose pose, const tr_vec2 *p, int n, tr_vec2 *uv) {
    for (int i = 0; i < n; i++) {
        assert_true(tr_lens_project(lens, tr_pose_apply(pose, tr_v3(p[i].x, p[i].y, 0)), &uv[i],
                                    NULL, NULL));
    }
}

/* Angle between the face's normal and the line towards the camera, with the sign of the tilt that
   facing() takes. */
static double tilt_deg(tr_pose pose) {
    tr_vec3 normal = tr_m3_column(pose.R, 2);
    return TR_DEG_PER_RAD * atan2(normal.y, -normal.z);
}

/* Table in published-values: square of 100 mm, f = 1000 px, exact corners; tilt and rms per corner
   of the second minimum, which tilts to the other side. Computed there by an independent program
   (numpy/scipy); 0: there is none. */
typedef struct {
    double tilt_deg, edge_px, second_tilt_deg, second_rms_px;
} two_minima;
static const two_minima published[] = {
    {15, 100, 12.3, 1.237}, {15, 50, 14.4, 0.320}, {15, 25, 14.9, 0.081},
    {30, 100, 28.7, 2.468}, {30, 50, 29.7, 0.623}, {30, 25, 29.9, 0.156},
    {10, 100, 0, 0},        {10, 50, 9.1, 0.212},  {10, 25, 9.8, 0.054},
};

static void second_minimum(void **unused) {
    (void)unused;
    static const tr_vec2 corner[4] = {{-50, 50}, {50, 50}, {50, -50}, {-50, -50}};
    for (size_t k = 0; k < sizeof published / sizeof *published; k++) {
        const two_minima *row = &published[k];
        tr_vec2 uv[4];
        tr_planar_pose found[2];
        double distance_mm = 1000 * 100 / row->edge_px;
        tr_pose truth = facing(distance_mm, row->tilt_deg * TR_RAD_PER_DEG, 0);
        see(&pinhole_1000, truth, corner, 4, uv);
        int n = tr_planar_poses(&pinhole_1000, corner, uv, 4, found);
        assert_int_equal(n, row->second_rms_px > 0 ? 2 : 1);
        CHECK_NEAR(found[0].rms_px, 0, 1e-6);
        CHECK_NEAR(tilt_deg(found[0].camera_from_plane), tilt_deg(truth), 1e-4);
        CHECK_NEAR(found[0].camera_from_plane.t_mm.z, distance_mm, 1e-3);
        if (n < 2) continue;
        CHECK_NEAR(tilt_deg(found[1].camera_from_plane),
                   copysign(row->second_tilt_deg, -tilt_deg(truth)), 0.051);
        /* Per corner is the distance; ours is per coordinate. */
        CHECK_NEAR(found[1].rms_px * sqrt(2.0), row->second_rms_px, 0.00051);
    }
}

static double turn_between(tr_mat3 A, tr_mat3 B) {
    return tr_v3_norm(tr_vector_from_rotation(tr_m3_mul(A, tr_m3_transpose(B))));
}

static void flatten(const tr_vec2 *p, const tr_vec2 *uv, int n, double *xyz, double *flat) {
    for (int i = 0; i < n; i++) {
        xyz[3 * i] = p[i].x;
        xyz[3 * i + 1] = p[i].y;
        xyz[3 * i + 2] = 0;
        flat[2 * i] = uv[i].x;
        flat[2 * i + 1] = uv[i].y;
    }
}

/* A plane of n points with noise, somewhere in the phone's image; half: half its width, mm. */
static tr_pose random_scene(tr_draw *d, double half, double sd_px, tr_vec2 *p, tr_vec2 *uv, int n) {
    tr_pose pose = facing(draw_between(d, 1500, 5000), draw_between(d, -1.1, 1.1),
                          draw_between(d, -TR_PI, TR_PI));
    pose.t_mm.x = draw_between(d, -0.35, 0.35) * pose.t_mm.z;
    pose.t_mm.y = draw_between(d, -0.25, 0.25) * pose.t_mm.z;
    tr_vec2 origin_mm = tr_v2(draw_between(d, -2000, 2000), draw_between(d, -2000, 2000));
    /* The first four are corners, so that the points span the face. */
    for (int i = 0; i < n; i++) {
        double x = half * (i < 4 ? (i % 2 ? 1 : -1) : draw_between(d, -1, 1));
        double y = half * (i < 4 ? (i / 2 ? 1 : -1) : draw_between(d, -1, 1)) * 2 / 3;
        p[i] = tr_v2_add(origin_mm, tr_v2(x, y));
    }
    pose.t_mm = tr_v3_sub(pose.t_mm, tr_m3_apply(pose.R, tr_v3(origin_mm.x, origin_mm.y, 0)));
    see(&phone, pose, p, n, uv);
    for (int i = 0; i < n; i++) {
        uv[i].x += sd_px * draw_normal(d);
        uv[i].y += sd_px * draw_normal(d);
    }
    return pose;
}

/* The best pose is OpenCV's least-squares pose. */
static void best_pose_as_opencv(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("best_pose_as_opencv");
    for (int trial = 0; trial < 100; trial++) {
        tr_vec2 p[MOST], uv[MOST];
        double xyz[3 * MOST], flat[2 * MOST];
        double r[6], t[6], rms[2];
        tr_planar_pose found[2];
        int n = 4 + trial % (MOST - 4);
        random_scene(&d, 300, 0.2, p, uv, n);
        flatten(p, uv, n, xyz, flat);
        assert_in_range(tr_planar_poses(&phone, p, uv, n, found), 1, 2);
        int candidates = ref_solve_planar(xyz, flat, n, phone.param, r, t, rms);
        assert_in_range(candidates, 1, 2);
        /* OpenCV's order is that before the refinement. */
        int best = candidates == 2 && rms[1] < rms[0];
        const tr_pose *ours = &found[0].camera_from_plane;
        tr_mat3 R = tr_rotation_from_vector(tr_v3(r[3 * best], r[3 * best + 1], r[3 * best + 2]));
        tr_vec3 T = tr_v3(t[3 * best], t[3 * best + 1], t[3 * best + 2]);
        CHECK_NEAR(found[0].rms_px, rms[best], 1e-7);
        CHECK_NEAR(turn_between(ours->R, R), 0, 1e-5);
        CHECK_NEAR(tr_v3_norm(tr_v3_sub(ours->t_mm, T)) / tr_v3_norm(T), 0, 1e-5);
    }
}

/* Small, far and noisy: both minima lie close together, and ours is never the worse one. */
static void small_tag(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("small_tag");
    int second = 0;
    for (int trial = 0; trial < 200; trial++) {
        tr_vec2 p[4], uv[4];
        double xyz[12], flat[8];
        double r[6], t[6], rms[2];
        tr_planar_pose found[2];
        random_scene(&d, 40, 0.2, p, uv, 4);
        flatten(p, uv, 4, xyz, flat);
        int n = tr_planar_poses(&phone, p, uv, 4, found);
        assert_in_range(n, 1, 2);
        second += n == 2;
        int candidates = ref_solve_planar(xyz, flat, 4, phone.param, r, t, rms);
        for (int k = 0; k < candidates; k++) CHECK_AT_MOST(found[0].rms_px, rms[k] + 1e-6);
        if (n == 2) CHECK_AT_MOST(found[0].rms_px, found[1].rms_px);
    }
    assert_true(second > 100);
}

/* With many well spread points also OpenCV's iterative solver must agree, which starts from a
   homography of its own. */
static void many_points_as_solve_pnp(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("many_points_as_solve_pnp");
    for (int trial = 0; trial < 40; trial++) {
        tr_vec2 p[MOST], uv[MOST];
        double xyz[3 * MOST], flat[2 * MOST];
        double r[3], t[3];
        tr_planar_pose found[2];
        tr_pose truth = random_scene(&d, 300, 0.1, p, uv, MOST);
        flatten(p, uv, MOST, xyz, flat);
        assert_in_range(tr_planar_poses(&phone, p, uv, MOST, found), 1, 2);
        assert_true(ref_solve_pnp(xyz, flat, MOST, phone.param, r, t));
        const tr_pose *ours = &found[0].camera_from_plane;
        tr_mat3 R = tr_rotation_from_vector(tr_v3(r[0], r[1], r[2]));
        CHECK_NEAR(turn_between(ours->R, R), 0, 1e-5);
        CHECK_NEAR(tr_v3_norm(tr_v3_sub(ours->t_mm, tr_v3(t[0], t[1], t[2]))) /
                       tr_v3_norm(ours->t_mm),
                   0, 1e-5);
        CHECK_NEAR(turn_between(ours->R, truth.R), 0, 5e-3);
    }
}

/* More points than the start takes: all of them count in the result. */
static void more_points_than_the_start_takes(void **unused) {
    (void)unused;
    enum { N = 150 };
    tr_draw d = draw_seeded("more_points_than_the_start_takes");
    tr_vec2 p[N], uv[N];
    double xyz[3 * N], flat[2 * N];
    double r[3], t[3];
    tr_planar_pose found[2];
    random_scene(&d, 300, 0.5, p, uv, N);
    flatten(p, uv, N, xyz, flat);
    assert_in_range(tr_planar_poses(&phone, p, uv, N, found), 1, 2);
    assert_true(ref_solve_pnp(xyz, flat, N, phone.param, r, t));
    CHECK_NEAR(turn_between(found[0].camera_from_plane.R,
                            tr_rotation_from_vector(tr_v3(r[0], r[1], r[2]))),
               0, 1e-5);
}

/* Points on a line, too few points, a face seen from behind (a mirrored print): no pose. */
static void no_pose(void **unused) {
    (void)unused;
    tr_vec2 p[6], uv[6];
    tr_planar_pose found[2];
    for (int i = 0; i < 6; i++) p[i] = tr_v2(100.0 * i - 250, 30.0 * i - 75);
    see(&phone, facing(2000, 0.4, 0.3), p, 6, uv);
    assert_int_equal(tr_planar_poses(&phone, p, uv, 6, found), 0);
    static const tr_vec2 corner[4] = {{-50, 50}, {50, 50}, {50, -50}, {-50, -50}};
    see(&phone, facing(1000, 0.4, 0.3), corner, 4, uv);
    assert_int_equal(tr_planar_poses(&phone, corner, uv, 3, found), 0);
    for (int i = 0; i < 4; i++) p[i] = tr_v2(-corner[i].x, corner[i].y);
    assert_int_equal(tr_planar_poses(&phone, p, uv, 4, found), 0);
    /* The same, as it should be, is found. */
    assert_in_range(tr_planar_poses(&phone, corner, uv, 4, found), 1, 2);
}

/* H and its derivatives against a projection that is one; the fit returns it. */
static void homography(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("homography");
    for (int trial = 0; trial < 50; trial++) {
        tr_vec2 p[12], q[12];
        tr_mat3 H, fitted;
        for (int i = 0; i < 3; i++) {
            for (int j = 0; j < 3; j++) H.m[i][j] = (i == j) + draw_between(&d, -0.4, 0.4);
        }
        H.m[2][0] *= 0.5;
        H.m[2][1] *= 0.5;
        H.m[2][2] = 1;
        int n = 4 + trial % 9;
        for (int i = 0; i < n; i++) {
            p[i] = i < 4 ? tr_v2(i % 2 ? 1 : -1, i / 2 ? 1 : -1)
                         : tr_v2(draw_between(&d, -1, 1), draw_between(&d, -1, 1));
            double J[4];
            tr_vec2 plus, minus;
            const double h = 1e-6;
            assert_true(tr_homography_apply(H, p[i], &q[i], J));
            for (int k = 0; k < 2; k++) {
                tr_vec2 step = k ? tr_v2(0, h) : tr_v2(h, 0);
                assert_true(tr_homography_apply(H, tr_v2_add(p[i], step), &plus, NULL));
                assert_true(tr_homography_apply(H, tr_v2_sub(p[i], step), &minus, NULL));
                CHECK_NEAR(J[k], (plus.x - minus.x) / (2 * h), 1e-6);
                CHECK_NEAR(J[2 + k], (plus.y - minus.y) / (2 * h), 1e-6);
            }
        }
        assert_true(tr_homography_fit(p, q, n, &fitted));
        for (int i = 0; i < 3; i++) {
            for (int j = 0; j < 3; j++) CHECK_NEAR(fitted.m[i][j], H.m[i][j], 1e-8);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(second_minimum),
        cmocka_unit_test(best_pose_as_opencv),
        cmocka_unit_test(small_tag),
        cmocka_unit_test(many_points_as_solve_pnp),
        cmocka_unit_test(more_points_than_the_start_takes),
        cmocka_unit_test(no_pose),
        cmocka_unit_test(homography),
    };
    return cmocka_run_group_tests_name("planar", tests, NULL, NULL);
}
