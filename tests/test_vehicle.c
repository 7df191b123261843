/* The vehicle frame from the wheel points, and placements in it. Directions and signs: the contract
   (axes as in ISO 8855:2011, 2.10 to 2.12: X forward, Y left, Z up; yaw, pitch and roll are right
   hand turns about Z, Y and X, in this order). */
#include "check.h"
#include "draw.h"

#include <string.h>

#include "vehicle/vehicle.h"

static const bool ALL[TR_N_POINTS] = {true, true, true, true};

/* A straight vehicle, in its own frame: wheelbase 2700, tracks 1760 in front, 1750 at the rear. */
static const tr_vec3 STRAIGHT[TR_N_POINTS] = {
    [TR_FRONT_LEFT] = {2700, 880, 0},
    [TR_FRONT_RIGHT] = {2700, -880, 0},
    [TR_REAR_LEFT] = {0, 875, 0},
    [TR_REAR_RIGHT] = {0, -875, 0},
};

static void check_vec3(tr_vec3 a, tr_vec3 b, double tol) {
    CHECK_NEAR(a.x, b.x, tol);
    CHECK_NEAR(a.y, b.y, tol);
    CHECK_NEAR(a.z, b.z, tol);
}

static void check_pose(tr_pose a, tr_pose b, double tol_rad, double tol_mm) {
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) CHECK_NEAR(a.R.m[i][j], b.R.m[i][j], tol_rad);
    }
    check_vec3(a.t_mm, b.t_mm, tol_mm);
}

static void check_lengths(const tr_vehicle *v, double wheelbase, double front, double rear,
                          double skew_rear, double skew_front) {
    CHECK_NEAR(v->value[TR_WHEELBASE], wheelbase, 1e-9);
    CHECK_NEAR(v->value[TR_TRACK_FRONT], front, 1e-9);
    CHECK_NEAR(v->value[TR_TRACK_REAR], rear, 1e-9);
    CHECK_NEAR(v->value[TR_SKEW_REAR], skew_rear, 1e-9);
    CHECK_NEAR(v->value[TR_SKEW_FRONT], skew_front, 1e-9);
}

/* ---- by hand ---- */

static void a_straight_vehicle_in_its_own_frame(void **state) {
    (void)state;
    static const tr_axes axes[] = {TR_AXES_CENTRELINE, TR_AXES_REAR_AXLE};
    for (int i = 0; i < 2; i++) {
        tr_vehicle v;
        assert_true(tr_vehicle_of_points(STRAIGHT, ALL, axes[i], &v));
        check_pose(v.vehicle_from_world, tr_pose_identity(), 1e-15, 1e-12);
        check_lengths(&v, 2700, 1760, 1750, 0, 0);
        assert_true(v.has_front);
        for (int k = 0; k < TR_N_POINTS; k++) {
            CHECK_NEAR(v.point_mm[k].x, STRAIGHT[k].x, 1e-12);
            CHECK_NEAR(v.point_mm[k].y, STRAIGHT[k].y, 1e-12);
        }
    }
}

/* The vehicle faces the world's +Y; its rear axle's middle stands at (100, 200), 5 mm up. */
static void a_vehicle_turned_by_a_quarter(void **state) {
    (void)state;
    static const tr_vec3 p[TR_N_POINTS] = {
        [TR_FRONT_LEFT] = {100 - 880, 2900, 5},
        [TR_FRONT_RIGHT] = {100 + 880, 2900, 5},
        [TR_REAR_LEFT] = {100 - 875, 200, 5},
        [TR_REAR_RIGHT] = {100 + 875, 200, 5},
    };
    tr_vehicle v;
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_CENTRELINE, &v));
    check_lengths(&v, 2700, 1760, 1750, 0, 0);
    /* Behind the vehicle is -X, to its left +Y, up +Z. */
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3(100, 200, 5)), tr_v3(0, 0, 0), 1e-9);
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3(100, -1600, 5)), tr_v3(-1800, 0, 0), 1e-9);
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3(70, 200, 5)), tr_v3(0, 30, 0), 1e-9);
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3(100, 200, 12)), tr_v3(0, 0, 7), 1e-9);
}

/* The front axle stands 30 mm too far left. */
static void a_front_axle_aside(void **state) {
    (void)state;
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    memcpy(p, STRAIGHT, sizeof p);
    p[TR_FRONT_LEFT].y += 30;
    p[TR_FRONT_RIGHT].y += 30;
    /* The axles are parallel: each middle lies 30 mm aside of the other's square line; the rear one
       to the right of it. */
    double wheelbase = sqrt(2700.0 * 2700 + 30 * 30);
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_REAR_AXLE, &v));
    check_lengths(&v, wheelbase, 1760, 1750, 30, -30);
    check_pose(v.vehicle_from_world, tr_pose_identity(), 1e-15, 1e-12);
    /* Along the centreline X points further left by atan(30 / 2700). */
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_CENTRELINE, &v));
    check_lengths(&v, wheelbase, 1760, 1750, 30, -30);
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3(2700, 30, 0)), tr_v3(wheelbase, 0, 0),
               1e-9);
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3(-30, 2700, 0)), tr_v3(0, wheelbase, 0),
               1e-9);
    /* So a sheet that lies straight in the world lies turned to the right in the frame. */
    double value[TR_N_AXES] = {0};
    tr_placement_of(tr_pose_mul(v.vehicle_from_world, tr_pose_of_placement(value, false)), false,
                    value);
    CHECK_NEAR(value[TR_YAW], -atan(30.0 / 2700), 1e-12);
}

/* The rear axle is turned anticlockwise by atan(0.01): left end 8.75 mm back, right end 8.75 ahead.
 */
static void a_rear_axle_askew(void **state) {
    (void)state;
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    memcpy(p, STRAIGHT, sizeof p);
    p[TR_REAR_LEFT].x = -8.75;
    p[TR_REAR_RIGHT].x = 8.75;
    double track = 1750 * sqrt(1.0001);
    /* The line square to it leaves the rear middle leftward: of it the front middle lies
       2700 sin(atan(0.01)) to the right. The front axle stands square to the centreline. */
    double skew = -2700 * 0.01 / sqrt(1.0001);
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_CENTRELINE, &v));
    check_pose(v.vehicle_from_world, tr_pose_identity(), 1e-15, 1e-12);
    check_lengths(&v, 2700, 1760, track, skew, 0);
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_REAR_AXLE, &v));
    check_lengths(&v, 2700, 1760, track, skew, 0);
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3(100, 1, 0)),
               tr_v3(100 * sqrt(1.0001), 0, 0), 1e-9);
}

/* One rear plate 40 mm forward: the rear axle turns clockwise by atan(40 / 1750), which carries the
   line square to it past the front middle, 2680 mm ahead, by 61.2 mm. */
static void one_rear_plate_ahead(void **state) {
    (void)state;
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    memcpy(p, STRAIGHT, sizeof p);
    p[TR_REAR_LEFT].x += 40;
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_CENTRELINE, &v));
    CHECK_NEAR(v.value[TR_WHEELBASE], 2680, 1e-9);
    CHECK_NEAR(v.value[TR_SKEW_REAR], 2680 * 40 / sqrt(1750.0 * 1750 + 40 * 40), 1e-9);
    CHECK_NEAR(v.value[TR_SKEW_REAR], 61.24, 0.005);
}

/* A floor that rises by 1 in 100 towards the front: lengths along it are longer than seen from
   above, and Z is square to it. */
static void a_floor_that_rises(void **state) {
    (void)state;
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    memcpy(p, STRAIGHT, sizeof p);
    for (int k = 0; k < TR_N_POINTS; k++) p[k].z = 40 + 0.01 * p[k].x;
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_CENTRELINE, &v));
    check_lengths(&v, 2700 * sqrt(1.0001), 1760, 1750, 0, 0);
    for (int k = 0; k < TR_N_POINTS; k++) {
        CHECK_NEAR(tr_pose_apply(v.vehicle_from_world, p[k]).z, 0, 1e-9);
    }
    /* 100 mm above the floor, square to it. */
    tr_vec3 up = tr_v3_scale(100 / sqrt(1.0001), tr_v3(-0.01, 0, 1));
    check_vec3(tr_pose_apply(v.vehicle_from_world, tr_v3_add(tr_v3(0, 0, 40), up)),
               tr_v3(0, 0, 100), 1e-9);
}

/* Four points that lie in no plane: (FL, RR) 4 mm up, (FR, RL) 4 mm down. The plane of least
   squares is their mean; nothing tilts. */
static void a_warped_floor(void **state) {
    (void)state;
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    memcpy(p, STRAIGHT, sizeof p);
    p[TR_FRONT_LEFT] = tr_v3(2700, 875, 4);
    p[TR_FRONT_RIGHT] = tr_v3(2700, -875, -4);
    p[TR_REAR_LEFT].z = -4;
    p[TR_REAR_RIGHT].z = 4;
    assert_true(tr_vehicle_of_points(p, ALL, TR_AXES_CENTRELINE, &v));
    check_pose(v.vehicle_from_world, tr_pose_identity(), 1e-15, 1e-12);
}

/* With the rear points alone the floor is the world's z = 0, whatever their own heights say. */
static void two_points_alone(void **state) {
    (void)state;
    static const bool rear[TR_N_POINTS] = {[TR_REAR_LEFT] = true, [TR_REAR_RIGHT] = true};
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    memcpy(p, STRAIGHT, sizeof p);
    p[TR_REAR_LEFT].z = 12;
    p[TR_FRONT_LEFT] = tr_v3(NAN, NAN, NAN); /* not there: not read */
    assert_true(tr_vehicle_of_points(p, rear, TR_AXES_REAR_AXLE, &v));
    check_pose(v.vehicle_from_world, tr_pose_identity(), 1e-15, 1e-12);
    assert_false(v.has_front);
    check_lengths(&v, 0, 0, 1750, 0, 0);
    assert_false(tr_vehicle_of_points(p, rear, TR_AXES_CENTRELINE, &v));
}

/* Three points give a floor, but no front axle. */
static void three_points(void **state) {
    (void)state;
    static const bool three[TR_N_POINTS] = {
        [TR_FRONT_RIGHT] = true, [TR_REAR_LEFT] = true, [TR_REAR_RIGHT] = true};
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    memcpy(p, STRAIGHT, sizeof p);
    for (int k = 0; k < TR_N_POINTS; k++) p[k].z = 0.01 * p[k].x;
    assert_true(tr_vehicle_of_points(p, three, TR_AXES_REAR_AXLE, &v));
    assert_false(v.has_front);
    CHECK_NEAR(tr_pose_apply(v.vehicle_from_world, p[TR_FRONT_RIGHT]).z, 0, 1e-9);
    CHECK_NEAR(v.point_mm[TR_FRONT_RIGHT].x, 2700 * sqrt(1.0001), 1e-9);
    assert_false(tr_vehicle_of_points(p, three, TR_AXES_CENTRELINE, &v));
}

static void what_gives_no_frame(void **state) {
    (void)state;
    tr_vec3 p[TR_N_POINTS];
    tr_vehicle v;
    /* The thrust line needs the directions of the wheels. */
    assert_false(tr_vehicle_of_points(STRAIGHT, ALL, TR_AXES_THRUST, &v));
    for (int missing = TR_REAR_LEFT; missing <= TR_REAR_RIGHT; missing++) {
        bool is_there[TR_N_POINTS] = {true, true, true, true};
        is_there[missing] = false;
        assert_false(tr_vehicle_of_points(STRAIGHT, is_there, TR_AXES_REAR_AXLE, &v));
        assert_false(tr_vehicle_of_points(STRAIGHT, is_there, TR_AXES_CENTRELINE, &v));
    }
    static const tr_axes axes[] = {TR_AXES_CENTRELINE, TR_AXES_REAR_AXLE};
    for (int i = 0; i < 2; i++) {
        /* The rear points coincide; the front ones do. */
        memcpy(p, STRAIGHT, sizeof p);
        p[TR_REAR_LEFT] = p[TR_REAR_RIGHT];
        assert_false(tr_vehicle_of_points(p, ALL, axes[i], &v));
        memcpy(p, STRAIGHT, sizeof p);
        p[TR_FRONT_LEFT] = p[TR_FRONT_RIGHT];
        assert_false(tr_vehicle_of_points(p, ALL, axes[i], &v));
        /* All on one line: no floor. */
        for (int k = 0; k < TR_N_POINTS; k++) p[k] = tr_v3(0, 900 * k, 0);
        assert_false(tr_vehicle_of_points(p, ALL, axes[i], &v));
        for (int k = 0; k < TR_N_POINTS; k++) {
            static const double bad[] = {NAN, INFINITY};
            for (int b = 0; b < 2; b++) {
                memcpy(p, STRAIGHT, sizeof p);
                p[k].x = bad[b];
                assert_false(tr_vehicle_of_points(p, ALL, axes[i], &v));
                memcpy(p, STRAIGHT, sizeof p);
                p[k].z = bad[b];
                assert_false(tr_vehicle_of_points(p, ALL, axes[i], &v));
            }
        }
    }
    /* Both axles have one middle: no centreline. */
    memcpy(p, STRAIGHT, sizeof p);
    p[TR_FRONT_LEFT] = tr_v3(880, 0, 0);
    p[TR_FRONT_RIGHT] = tr_v3(-880, 0, 0);
    assert_false(tr_vehicle_of_points(p, ALL, TR_AXES_CENTRELINE, &v));
}

/* ---- properties ---- */

/* Some vehicle with axles askew, flat on z = 0. */
static void draw_points(tr_draw *d, tr_vec3 p[TR_N_POINTS]) {
    for (int k = 0; k < TR_N_POINTS; k++) {
        p[k] = tr_v3_add(STRAIGHT[k], tr_v3(draw_between(d, -60, 60), draw_between(d, -60, 60), 0));
    }
}

static tr_pose draw_motion(tr_draw *d, double tilt_rad) {
    tr_mat3 turn = tr_rotation_z(draw_between(d, -3.1, 3.1));
    tr_mat3 tilt = tr_rotation_from_vector(
        tr_v3(draw_between(d, -tilt_rad, tilt_rad), draw_between(d, -tilt_rad, tilt_rad), 0));
    return (tr_pose){tr_m3_mul(tilt, turn),
                     tr_v3(draw_between(d, -5000, 5000), draw_between(d, -5000, 5000),
                           draw_between(d, -500, 500))};
}

static void check_same(const tr_vehicle *a, const tr_vehicle *b) {
    for (int k = 0; k < TR_N_POINTS; k++) {
        CHECK_NEAR(a->point_mm[k].x, b->point_mm[k].x, 1e-8);
        CHECK_NEAR(a->point_mm[k].y, b->point_mm[k].y, 1e-8);
    }
    CHECK_NEAR(a->value[TR_WHEELBASE], b->value[TR_WHEELBASE], 1e-8);
    CHECK_NEAR(a->value[TR_TRACK_FRONT], b->value[TR_TRACK_FRONT], 1e-8);
    CHECK_NEAR(a->value[TR_TRACK_REAR], b->value[TR_TRACK_REAR], 1e-8);
    CHECK_NEAR(a->value[TR_SKEW_REAR], b->value[TR_SKEW_REAR], 1e-8);
    CHECK_NEAR(a->value[TR_SKEW_FRONT], b->value[TR_SKEW_FRONT], 1e-8);
}

/* The whole scene turned, shifted and tilted: the same vehicle, and a sheet lies where it lay. */
static void the_scene_may_lie_anywhere(void **state) {
    (void)state;
    tr_draw d = draw_seeded("the scene may lie anywhere");
    for (int i = 0; i < 200; i++) {
        tr_axes axes = i % 2 ? TR_AXES_CENTRELINE : TR_AXES_REAR_AXLE;
        tr_vec3 p[TR_N_POINTS];
        tr_vec3 moved[TR_N_POINTS];
        tr_vehicle a;
        tr_vehicle b;
        draw_points(&d, p);
        tr_pose other_from_world = draw_motion(&d, 0.15);
        for (int k = 0; k < TR_N_POINTS; k++) moved[k] = tr_pose_apply(other_from_world, p[k]);
        assert_true(tr_vehicle_of_points(p, ALL, axes, &a));
        assert_true(tr_vehicle_of_points(moved, ALL, axes, &b));
        check_same(&a, &b);
        check_pose(tr_pose_mul(b.vehicle_from_world, other_from_world), a.vehicle_from_world, 1e-11,
                   1e-7);
        double value[TR_N_AXES] = {-1800, 30, 2, 0.02, -0.003, 0.004};
        double again[TR_N_AXES];
        tr_pose world_from_sheet =
            tr_pose_mul(tr_pose_inverse(a.vehicle_from_world), tr_pose_of_placement(value, false));
        tr_pose other_from_sheet = tr_pose_mul(other_from_world, world_from_sheet);
        tr_placement_of(tr_pose_mul(b.vehicle_from_world, other_from_sheet), false, again);
        for (int k = 0; k < TR_N_AXES; k++) {
            CHECK_NEAR(again[k], value[k], tr_axis_is_angle((tr_axis)k) ? 1e-11 : 1e-7);
        }
    }
}

/* Left and right exchanged, as in a mirror: skews change their sign, lengths do not. */
static void mirrored(void **state) {
    (void)state;
    tr_draw d = draw_seeded("mirrored");
    for (int i = 0; i < 50; i++) {
        tr_axes axes = i % 2 ? TR_AXES_CENTRELINE : TR_AXES_REAR_AXLE;
        static const int other[TR_N_POINTS] = {[TR_FRONT_LEFT] = TR_FRONT_RIGHT,
                                               [TR_FRONT_RIGHT] = TR_FRONT_LEFT,
                                               [TR_REAR_LEFT] = TR_REAR_RIGHT,
                                               [TR_REAR_RIGHT] = TR_REAR_LEFT};
        tr_vec3 p[TR_N_POINTS];
        tr_vec3 q[TR_N_POINTS];
        tr_vehicle a;
        tr_vehicle b;
        draw_points(&d, p);
        for (int k = 0; k < TR_N_POINTS; k++) q[other[k]] = tr_v3(p[k].x, -p[k].y, p[k].z);
        assert_true(tr_vehicle_of_points(p, ALL, axes, &a));
        assert_true(tr_vehicle_of_points(q, ALL, axes, &b));
        for (int k = 0; k < TR_N_POINTS; k++) {
            CHECK_NEAR(b.point_mm[other[k]].x, a.point_mm[k].x, 1e-9);
            CHECK_NEAR(b.point_mm[other[k]].y, -a.point_mm[k].y, 1e-9);
        }
        CHECK_NEAR(b.value[TR_WHEELBASE], a.value[TR_WHEELBASE], 1e-9);
        CHECK_NEAR(b.value[TR_SKEW_REAR], -a.value[TR_SKEW_REAR], 1e-9);
        CHECK_NEAR(b.value[TR_SKEW_FRONT], -a.value[TR_SKEW_FRONT], 1e-9);
    }
}

/* The frame is one: right-handed, its origin under the middle of the rear axle, X through the front
   one (centreline) or square to the rear one. */
static void what_a_frame_must_be(void **state) {
    (void)state;
    tr_draw d = draw_seeded("what a frame must be");
    for (int i = 0; i < 100; i++) {
        tr_axes axes = i % 2 ? TR_AXES_CENTRELINE : TR_AXES_REAR_AXLE;
        tr_vec3 p[TR_N_POINTS];
        tr_vehicle v;
        draw_points(&d, p);
        for (int k = 0; k < TR_N_POINTS; k++) p[k].z = draw_between(&d, -3, 3);
        assert_true(tr_vehicle_of_points(p, ALL, axes, &v));
        CHECK_NEAR(tr_m3_det(v.vehicle_from_world.R), 1, 1e-12);
        tr_vec3 rl = v.point_mm[TR_REAR_LEFT];
        tr_vec3 rr = v.point_mm[TR_REAR_RIGHT];
        CHECK_NEAR(rl.x + rr.x, 0, 1e-8);
        CHECK_NEAR(rl.y + rr.y, 0, 1e-8);
        assert_true(rl.y > 0);
        if (axes == TR_AXES_CENTRELINE) {
            CHECK_NEAR(v.point_mm[TR_FRONT_LEFT].y + v.point_mm[TR_FRONT_RIGHT].y, 0, 1e-8);
        } else {
            CHECK_NEAR(rl.x, 0, 1e-8);
        }
        /* The four heights add up to nothing, and tilt nothing: least squares. */
        double sum[3] = {0};
        for (int k = 0; k < TR_N_POINTS; k++) {
            tr_vec3 q = tr_pose_apply(v.vehicle_from_world, p[k]);
            sum[0] += q.z;
            sum[1] += q.z * q.x;
            sum[2] += q.z * q.y;
        }
        CHECK_NEAR(sum[0], 0, 1e-8);
        /* Heights are measured along the world's z, not square to the floor: 3 mm / 1 m squared. */
        CHECK_NEAR(sum[1] / 2700, 0, 1e-3);
        CHECK_NEAR(sum[2] / 1750, 0, 1e-3);
    }
}

/* ---- placements ---- */

static tr_pose placed(double x, double y, double z, double yaw_deg, double pitch_deg,
                      double roll_deg) {
    double value[TR_N_AXES] = {[TR_X] = x,
                               [TR_Y] = y,
                               [TR_Z] = z,
                               [TR_YAW] = yaw_deg * TR_RAD_PER_DEG,
                               [TR_PITCH] = pitch_deg * TR_RAD_PER_DEG,
                               [TR_ROLL] = roll_deg * TR_RAD_PER_DEG};
    return tr_pose_of_placement(value, false);
}

/* Contract: at yaw 0 the sheet's up direction (+y) points forward, its right (+x) to the vehicle's
   right; yaw turns anticlockwise seen from above. */
static void directions_of_a_floor_sheet(void **state) {
    (void)state;
    static const tr_vec3 x = {1, 0, 0};
    static const tr_vec3 y = {0, 1, 0};
    static const tr_vec3 z = {0, 0, 1};
    double s = sin(30 * TR_RAD_PER_DEG);
    double c = cos(30 * TR_RAD_PER_DEG);
    tr_pose flat = placed(-1800, 20, 3, 0, 0, 0);
    check_vec3(flat.t_mm, tr_v3(-1800, 20, 3), 0);
    check_vec3(tr_m3_apply(flat.R, y), tr_v3(1, 0, 0), 1e-15);
    check_vec3(tr_m3_apply(flat.R, x), tr_v3(0, -1, 0), 1e-15);
    check_vec3(tr_m3_apply(flat.R, z), tr_v3(0, 0, 1), 1e-15);
    /* A quarter anticlockwise: up points left, right points forward. */
    tr_pose turned = placed(0, 0, 0, 90, 0, 0);
    check_vec3(tr_m3_apply(turned.R, y), tr_v3(0, 1, 0), 1e-15);
    check_vec3(tr_m3_apply(turned.R, x), tr_v3(1, 0, 0), 1e-15);
    /* The side edges of a mat 1600 mm wide, turned by 1 degree: 800 sin(1 deg) = 13.96 mm. */
    CHECK_NEAR(tr_pose_apply(placed(0, 0, 0, 1, 0, 0), tr_v3(800, 0, 0)).x, 13.96, 0.005);
    /* Pitch, about the left: forward goes down. Roll, about forward: left goes up. */
    tr_pose pitched = placed(0, 0, 0, 0, 30, 0);
    check_vec3(tr_m3_apply(pitched.R, y), tr_v3(c, 0, -s), 1e-15);
    check_vec3(tr_m3_apply(pitched.R, x), tr_v3(0, -1, 0), 1e-15);
    tr_pose rolled = placed(0, 0, 0, 0, 0, 30);
    check_vec3(tr_m3_apply(rolled.R, y), tr_v3(1, 0, 0), 1e-15);
    check_vec3(tr_m3_apply(rolled.R, x), tr_v3(0, -c, -s), 1e-15);
    /* Yaw comes last: a pitched sheet that is turned by a quarter falls off to the left. */
    tr_pose both = placed(0, 0, 0, 90, 30, 0);
    check_vec3(tr_m3_apply(both.R, y), tr_v3(0, c, -s), 1e-15);
}

/* Euler angles z-y-x, element by element. Source: Diebel, Representing attitude, Stanford 2006,
   sequence (1, 2, 3), transposed. */
static void rotation_element_by_element(void **state) {
    (void)state;
    tr_draw d = draw_seeded("rotation element by element");
    for (int i = 0; i < 50; i++) {
        double v[TR_N_AXES] = {0};
        for (int k = TR_YAW; k <= TR_ROLL; k++) v[k] = draw_between(&d, -1.5, 1.5);
        double cy = cos(v[TR_YAW]), sy = sin(v[TR_YAW]);
        double cp = cos(v[TR_PITCH]), sp = sin(v[TR_PITCH]);
        double cr = cos(v[TR_ROLL]), sr = sin(v[TR_ROLL]);
        tr_vec3 forward = tr_v3(cp * cy, cp * sy, -sp);
        tr_vec3 left = tr_v3(sr * sp * cy - cr * sy, sr * sp * sy + cr * cy, sr * cp);
        tr_vec3 up = tr_v3(cr * sp * cy + sr * sy, cr * sp * sy - sr * cy, cr * cp);
        tr_mat3 R = tr_pose_of_placement(v, false).R;
        check_vec3(tr_m3_column(R, 1), forward, 1e-14); /* the sheet's y */
        check_vec3(tr_m3_column(R, 0), tr_v3_scale(-1, left), 1e-14);
        check_vec3(tr_m3_column(R, 2), up, 1e-14);
    }
}

static void placements_go_there_and_back(void **state) {
    (void)state;
    tr_draw d = draw_seeded("placements go there and back");
    for (int i = 0; i < 500; i++) {
        double v[TR_N_AXES];
        double w[TR_N_AXES];
        for (int k = TR_X; k <= TR_Z; k++) v[k] = draw_between(&d, -4000, 4000);
        v[TR_YAW] = draw_between(&d, -TR_PI, TR_PI);
        v[TR_PITCH] = draw_between(&d, -1.5, 1.5);
        v[TR_ROLL] = draw_between(&d, -TR_PI, TR_PI);
        bool is_upright = i % 2;
        tr_pose pose = tr_pose_of_placement(v, is_upright);
        CHECK_NEAR(tr_m3_det(pose.R), 1, 1e-13);
        tr_placement_of(pose, is_upright, w);
        for (int k = 0; k < TR_N_AXES; k++) CHECK_NEAR(w[k], v[k], 1e-12);
        check_pose(tr_pose_of_placement(w, is_upright), pose, 1e-13, 0);
    }
    /* On its edge yaw and roll turn about one line: the angles may differ, the pose may not. */
    tr_pose edge = placed(0, 0, 0, 40, 90, 10);
    double w[TR_N_AXES];
    tr_placement_of(edge, false, w);
    CHECK_NEAR(w[TR_PITCH], TR_PI / 2, 1e-7);
    check_pose(tr_pose_of_placement(w, false), edge, 1e-7, 0);
}

/* ---- upright boards ---- */

/* At yaw 0 a board looks backward, top up, its right to the vehicle's right; then the contract's
   own words for each turn. */
static void directions_of_a_board(void **state) {
    (void)state;
    double v[TR_N_AXES] = {0};
    tr_pose board = tr_pose_of_placement(v, true);
    check_vec3(tr_m3_column(board.R, 0), tr_v3(0, -1, 0), 1e-15);
    check_vec3(tr_m3_column(board.R, 1), tr_v3(0, 0, 1), 1e-15);
    check_vec3(tr_m3_column(board.R, 2), tr_v3(-1, 0, 0), 1e-15);
    /* At yaw 90 it looks to the vehicle's right: anticlockwise from backward. */
    v[TR_YAW] = TR_PI / 2;
    check_vec3(tr_m3_column(tr_pose_of_placement(v, true).R, 2), tr_v3(0, -1, 0), 1e-15);
    /* A positive pitch tips the top away from the side that it looks to: forward here. */
    v[TR_YAW] = 0;
    v[TR_PITCH] = 0.1;
    tr_vec3 top = tr_m3_column(tr_pose_of_placement(v, true).R, 1);
    CHECK_NEAR(top.x, sin(0.1), 1e-15);
    CHECK_NEAR(top.z, cos(0.1), 1e-15);
    /* A positive roll is clockwise for who faces the print, and so looks forward: what is left of
       him, +Y, goes up. */
    v[TR_PITCH] = 0;
    v[TR_ROLL] = 0.1;
    tr_vec3 right = tr_m3_column(tr_pose_of_placement(v, true).R, 0);
    CHECK_NEAR(right.z, -sin(0.1), 1e-15);
    CHECK_NEAR(right.y, -cos(0.1), 1e-15);
}

/* ---- wheels ---- */

static const tr_floor LEVEL = {{0, 0, 1}, {0, 0, 0}};

/* A wheel whose front edge is nearer to the vehicle's middle by toe, whose top leans outward by
   camber: built by turning the axis of a straight wheel by hand. */
static tr_wheel wheel_at(tr_vec3 at, double toe, double camber) {
    double side = at.y > 0 ? 1 : -1;
    /* The axis points outward; toe-in turns a left wheel to the right (clockwise), so its axis
       swings forward; a top that leans outward lowers the axis's outer end. */
    tr_vec3 axis = {sin(toe) * cos(camber), side * cos(toe) * cos(camber), -sin(camber)};
    return (tr_wheel){.is_there = true, .has_axis = true, .at_mm = at, .axis = axis};
}

static void set_wheels(const double toe[TR_N_POINTS], const double camber[TR_N_POINTS],
                       tr_wheel wheels[TR_N_POINTS]) {
    static const tr_vec3 AT[TR_N_POINTS] = {[TR_FRONT_LEFT] = {2700, 770, 310},
                                            [TR_FRONT_RIGHT] = {2700, -770, 310},
                                            [TR_REAR_LEFT] = {0, 760, 310},
                                            [TR_REAR_RIGHT] = {0, -760, 310}};
    for (int i = 0; i < TR_N_POINTS; i++) wheels[i] = wheel_at(AT[i], toe[i], camber[i]);
}

/* Identities of the trade (common practice, no source): the thrust angle is half the difference of
   the rear toes, to the left where the right wheel toes in more; total toe is what it was; front
   toe is against the thrust line. */
static void toe_camber_and_thrust(void **state) {
    (void)state;
    static const double toe[TR_N_POINTS] = {0.001, 0.002, 0.0005, 0.0025};
    static const double camber[TR_N_POINTS] = {-0.01, -0.012, -0.02, 0.005};
    tr_wheel wheels[TR_N_POINTS];
    tr_vehicle v;
    set_wheels(toe, camber, wheels);
    assert_true(tr_vehicle_frame(wheels, &LEVEL, TR_AXES_CENTRELINE, &v));
    double thrust = (toe[TR_REAR_RIGHT] - toe[TR_REAR_LEFT]) / 2;
    CHECK_NEAR(v.value[TR_THRUST_ANGLE], thrust, 1e-15);
    CHECK_NEAR(v.value[TR_TOE + TR_REAR_LEFT], toe[TR_REAR_LEFT], 1e-15);
    CHECK_NEAR(v.value[TR_TOE + TR_REAR_RIGHT], toe[TR_REAR_RIGHT], 1e-15);
    /* Against a line that points to the left, a left wheel toes in more, a right one less. */
    CHECK_NEAR(v.value[TR_TOE + TR_FRONT_LEFT], toe[TR_FRONT_LEFT] + thrust, 1e-15);
    CHECK_NEAR(v.value[TR_TOE + TR_FRONT_RIGHT], toe[TR_FRONT_RIGHT] - thrust, 1e-15);
    for (int i = 0; i < TR_N_POINTS; i++) CHECK_NEAR(v.value[TR_CAMBER + i], camber[i], 1e-15);
    /* Along the thrust line X points to the left of the centreline by the thrust angle. */
    assert_true(tr_vehicle_frame(wheels, &LEVEL, TR_AXES_THRUST, &v));
    tr_vec3 ahead =
        tr_pose_apply(v.vehicle_from_world, tr_v3(1000 * cos(thrust), 1000 * sin(thrust), 0));
    check_vec3(ahead, tr_v3(1000, 0, 0), 1e-9);
    CHECK_NEAR(v.value[TR_THRUST_ANGLE], thrust, 1e-15);
    CHECK_NEAR(v.value[TR_CENTRE + 3 * TR_REAR_LEFT + 2], 310, 1e-12);
}

static void set_back_and_wheelbases(void **state) {
    (void)state;
    static const double none[TR_N_POINTS] = {0};
    tr_wheel wheels[TR_N_POINTS];
    tr_vehicle v;
    set_wheels(none, none, wheels);
    wheels[TR_FRONT_LEFT].at_mm.x += 6;
    wheels[TR_FRONT_RIGHT].at_mm.x -= 2;
    wheels[TR_REAR_LEFT].at_mm.x += 1;
    wheels[TR_REAR_RIGHT].at_mm.x -= 1;
    assert_true(tr_vehicle_frame(wheels, &LEVEL, TR_AXES_CENTRELINE, &v));
    CHECK_NEAR(v.value[TR_SET_BACK], 8, 1e-9);
    CHECK_NEAR(v.value[TR_WHEELBASE_LEFT], 2705, 1e-9);
    CHECK_NEAR(v.value[TR_WHEELBASE_RIGHT], 2699, 1e-9);
    CHECK_NEAR(v.value[TR_WHEELBASE], 2702, 1e-9);
    CHECK_NEAR(v.value[TR_THRUST_ANGLE], 0, 1e-15);
}

/* The thrust line needs both rear wheels' axes; toe against the centreline needs the front. */
static void what_wheels_do_not_tell(void **state) {
    (void)state;
    static const double none[TR_N_POINTS] = {0};
    tr_wheel wheels[TR_N_POINTS];
    tr_vehicle v;
    set_wheels(none, none, wheels);
    wheels[TR_REAR_LEFT].has_axis = false;
    assert_false(tr_vehicle_frame(wheels, &LEVEL, TR_AXES_THRUST, &v));
    assert_true(tr_vehicle_frame(wheels, &LEVEL, TR_AXES_CENTRELINE, &v));
    assert_false(v.has[TR_THRUST_ANGLE]);
    assert_false(v.has[TR_TOE + TR_REAR_RIGHT]);
    assert_true(v.has[TR_CAMBER + TR_REAR_RIGHT]);
    set_wheels(none, none, wheels);
    wheels[TR_FRONT_LEFT].is_there = false;
    assert_true(tr_vehicle_frame(wheels, &LEVEL, TR_AXES_THRUST, &v));
    assert_false(v.has[TR_THRUST_ANGLE]);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_straight_vehicle_in_its_own_frame),
        cmocka_unit_test(a_vehicle_turned_by_a_quarter),
        cmocka_unit_test(a_front_axle_aside),
        cmocka_unit_test(a_rear_axle_askew),
        cmocka_unit_test(one_rear_plate_ahead),
        cmocka_unit_test(a_floor_that_rises),
        cmocka_unit_test(a_warped_floor),
        cmocka_unit_test(two_points_alone),
        cmocka_unit_test(three_points),
        cmocka_unit_test(what_gives_no_frame),
        cmocka_unit_test(the_scene_may_lie_anywhere),
        cmocka_unit_test(mirrored),
        cmocka_unit_test(what_a_frame_must_be),
        cmocka_unit_test(directions_of_a_floor_sheet),
        cmocka_unit_test(rotation_element_by_element),
        cmocka_unit_test(placements_go_there_and_back),
        cmocka_unit_test(directions_of_a_board),
        cmocka_unit_test(toe_camber_and_thrust),
        cmocka_unit_test(set_back_and_wheelbases),
        cmocka_unit_test(what_wheels_do_not_tell),
    };
    return cmocka_run_group_tests_name("vehicle", tests, NULL, NULL);
}
