/* The floor: by hand-worked numbers, and against simulated jobs whose floor is known. */
#include "check.h"

#include <jansson.h>
#include <stdio.h>

#include "adjust/adjust.h"
#include "check/open_floor.h"
#include "findings.h"
#include "geom/dense.h"
#include "honest.h"
#include "photos/photo_set.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "present/words.h"
#include "text.h"
#include "tools/simulate/rolled.h"
#include "vehicle/floor.h"

static const double DEG = TR_RAD_PER_DEG;

/* ---- by hand ---- */

/* Slopes rise to the front and to the left. */
static tr_floor_sheet sheet_at(double x, double y, double z, double along_deg, double across_deg) {
    tr_vec3 e1 = {cos(along_deg * DEG), 0, sin(along_deg * DEG)};
    tr_vec3 e2 = {0, cos(across_deg * DEG), sin(across_deg * DEG)};
    tr_vec3 up = tr_v3_cross(e1, e2);
    up = tr_v3_scale(1 / tr_v3_norm(up), up);
    return (tr_floor_sheet){
        .vehicle_from_sheet = {tr_m3_from_columns(e1, tr_v3_cross(up, e1), up), {x, y, z}},
        .half_mm = {300, 200}};
}

enum { MOST = 12 };

typedef struct {
    tr_floor_sheet sheets[MOST];
    double value[MOST][TR_FLOOR_N], whole[TR_FLOOR_WHOLE_N];
} by_hand;

/* Of a vehicle with a wheelbase of 2700 mm and tracks of 1750 mm; with plates, four of these, with
   their points at z = 0, after the n sheets. */
static tr_floor_input stand_on(by_hand *h, int n, tr_stand stand) {
    for (int i = 0; i < 4 && stand == TR_STAND_OF_PLATES; i++) {
        h->sheets[n] = sheet_at(i < 2 ? 2700 : 0, i % 2 ? -875 : 875, 0, 0, 0);
        h->sheets[n].is_at_wheel = true;
        n++;
    }
    return (tr_floor_input){.sheets = h->sheets,
                            .n = n,
                            .stand = stand,
                            .low_mm = {0, -875},
                            .high_mm = {2700, 875},
                            .level_on = -1};
}

/* A mat 2000 mm behind the axle that lies 10 mm lower: 5 mm a metre down, atan(0.005) = 0.2865. */
static void a_mat_behind_that_lies_lower(void **state) {
    (void)state;
    by_hand h = {.sheets = {sheet_at(-2000, 0, -10, 0.4, -0.1)}};
    tr_floor_input in = stand_on(&h, 1, TR_STAND_OF_PLATES);
    h.sheets[0].is_at_target = true;
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(h.value[0][TR_FLOOR_HEIGHT], -10, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_SLOPE], -0.28648 * DEG, 1e-5 * DEG);
    CHECK_NEAR(1000 * tan(h.value[0][TR_FLOOR_SLOPE]), -5, 1e-9);
    CHECK_NEAR(h.value[0][TR_FLOOR_ALONG], 0.4 * DEG, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_ACROSS], -0.1 * DEG, 1e-12);
    assert_true(isnan(h.value[0][TR_FLOOR_LEVEL_SLOPE]));
    assert_true(isnan(h.whole[TR_FLOOR_STAND_ALONG]));
    /* From where the wheels stand, not from the axle's middle: 600 and 800 mm beyond the corner. */
    h.sheets[0] = sheet_at(3300, -1675, 5, 0, 0);
    h.sheets[0].is_at_target = true;
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(1000 * tan(h.value[0][TR_FLOOR_SLOPE]), 5, 1e-9);
    /* Over half a metre at least. */
    h.sheets[0].vehicle_from_sheet.t_mm = tr_v3(-100, 0, 5);
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(1000 * tan(h.value[0][TR_FLOOR_SLOPE]), 10, 1e-9);
    /* Of what is at no target it is not told. */
    h.sheets[0].is_at_target = false;
    tr_floor_measure(&in, h.value, h.whole);
    assert_true(isnan(h.value[0][TR_FLOOR_SLOPE]));
    CHECK_NEAR(h.value[0][TR_FLOOR_HEIGHT], 5, 1e-12);
}

/* The pitch of the contract turns about +Y: it is above 0 where the front goes down. */
static void slopes_have_the_opposite_sign_of_a_pitch(void **state) {
    (void)state;
    double placed[TR_N_AXES] = {[TR_PITCH] = -0.3 * DEG, [TR_ROLL] = 0.2 * DEG};
    double back[TR_N_AXES];
    by_hand h = {.sheets = {{.vehicle_from_sheet = tr_pose_of_placement(placed, false)}}};
    tr_floor_input in = stand_on(&h, 1, TR_STAND_OF_PLATES);
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(h.value[0][TR_FLOOR_ALONG], 0.3 * DEG, 1e-5 * DEG);
    CHECK_NEAR(h.value[0][TR_FLOOR_ACROSS], 0.2 * DEG, 1e-5 * DEG);
    /* The point of it 1 m ahead and 1 m to the left is as much higher. */
    tr_vec3 p = tr_pose_apply(h.sheets[0].vehicle_from_sheet, tr_v3(-1000, 1000, 0));
    CHECK_NEAR(p.x, 1000, 0.1);
    CHECK_NEAR(p.y, 1000, 0.1);
    CHECK_NEAR(p.z, 1000 * (tan(0.3 * DEG) + tan(0.2 * DEG)), 0.01);
    tr_placement_of(h.sheets[0].vehicle_from_sheet, false, back);
    CHECK_NEAR(back[TR_PITCH], -0.3 * DEG, 1e-12);
}

/* On the stand it tells that alone; on the mat, less how that slopes against the stand. */
static void a_level_makes_slopes_absolute(void **state) {
    (void)state;
    by_hand h = {.sheets = {sheet_at(-2000, 0, -10, 0.4, -0.1), sheet_at(0, 900, 0, 0, 0)}};
    tr_floor_input in = stand_on(&h, 2, TR_STAND_OF_PLATES);
    h.sheets[0].is_at_target = true;
    in.has_level = true;
    in.level_rad[0] = 0.12 * DEG;
    in.level_rad[1] = -0.05 * DEG;
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(h.whole[TR_FLOOR_STAND_ALONG], 0.12 * DEG, 1e-12);
    CHECK_NEAR(h.whole[TR_FLOOR_STAND_ACROSS], -0.05 * DEG, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_LEVEL_ALONG], 0.52 * DEG, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_LEVEL_ACROSS], -0.15 * DEG, 1e-12);
    /* Going back to the mat the stand itself falls by 0.12. */
    CHECK_NEAR(h.value[0][TR_FLOOR_LEVEL_SLOPE], -(0.28648 + 0.12) * DEG, 1e-5 * DEG);
    assert_true(isnan(h.value[1][TR_FLOOR_LEVEL_SLOPE]));
    CHECK_NEAR(h.value[1][TR_FLOOR_LEVEL_ALONG], 0.12 * DEG, 1e-12);
    in.level_on = 0;
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(h.whole[TR_FLOOR_STAND_ALONG], (0.12 - 0.4) * DEG, 1e-12);
    CHECK_NEAR(h.whole[TR_FLOOR_STAND_ACROSS], (-0.05 + 0.1) * DEG, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_LEVEL_ALONG], 0.12 * DEG, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_LEVEL_ACROSS], -0.05 * DEG, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_LEVEL_SLOPE], (-0.28648 + 0.28) * DEG, 1e-5 * DEG);
}

/* Four corners of a square that is twisted by 1 mm up and down: each is 1 mm from the best plane.
 */
static void out_of_flat_needs_four_places(void **state) {
    (void)state;
    by_hand h = {.sheets = {sheet_at(1000, 1000, 1, 0, 0), sheet_at(-1000, 1000, -1, 0, 0),
                            sheet_at(-1000, -1000, 1, 0, 0), sheet_at(1000, -1000, -1, 0, 0)}};
    tr_floor_input in = stand_on(&h, 4, TR_STAND_UNKNOWN);
    tr_floor_measure(&in, h.value, h.whole);
    for (int i = 0; i < 4; i++) {
        CHECK_NEAR(h.value[i][TR_FLOOR_OUT_OF_FLAT], i % 2 ? -1 : 1, 1e-12);
    }
    /* A plane that rises by 1 mm in 100 to the front is flat. */
    for (int i = 0; i < 4; i++) {
        tr_vec3 *t = &h.sheets[i].vehicle_from_sheet.t_mm;
        t->z = t->x / 100;
    }
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(h.value[0][TR_FLOOR_OUT_OF_FLAT], 0, 1e-12);
    assert_true(isnan(h.whole[TR_FLOOR_PLANE_ALONG]));
    in.n = 3;
    tr_floor_measure(&in, h.value, h.whole);
    assert_true(isnan(h.value[0][TR_FLOOR_OUT_OF_FLAT]));
    in.n = 4; /* in a line */
    for (int i = 0; i < 4; i++) h.sheets[i] = sheet_at(500 * i, 0, i % 2, 0, 0);
    tr_floor_measure(&in, h.value, h.whole);
    assert_true(isnan(h.value[0][TR_FLOOR_OUT_OF_FLAT]));
}

/* Mats ahead of and behind the plates that make all of it rise: the slope by hand as sum(x z) /
   sum(x x) about the mean. */
static void the_best_plane_slopes_against_the_stand(void **state) {
    (void)state;
    by_hand h = {.sheets = {sheet_at(4350, 0, 12, 0, 0), sheet_at(-1650, 0, -12, 0, 0)}};
    tr_floor_input in = stand_on(&h, 2, TR_STAND_OF_PLATES);
    tr_floor_measure(&in, h.value, h.whole);
    double slope = 2 * 3000.0 * 12 / (2 * 3000.0 * 3000 + 4 * 1350.0 * 1350);
    CHECK_NEAR(h.whole[TR_FLOOR_PLANE_ALONG], atan(slope), 1e-12);
    CHECK_NEAR(h.whole[TR_FLOOR_PLANE_ACROSS], 0, 1e-12);
    CHECK_NEAR(h.value[0][TR_FLOOR_OUT_OF_FLAT], (12 - 3000 * slope) * cos(atan(slope)), 1e-9);
    CHECK_NEAR(h.value[2][TR_FLOOR_OUT_OF_FLAT], -1350 * slope * cos(atan(slope)), 1e-9);
}

/* A plate's place at the wheel is what the frame has at z = 0, not its centre. */
static void plates_count_where_the_wheel_is(void **state) {
    (void)state;
    by_hand h = {.sheets = {sheet_at(-1000, 0, 0, 0, 0)}};
    tr_floor_input in = stand_on(&h, 1, TR_STAND_OF_PLATES);
    for (int i = 1; i < 5; i++) {
        tr_vec3 at = h.sheets[i].vehicle_from_sheet.t_mm;
        h.sheets[i] = sheet_at(at.x - 100 * cos(DEG), at.y, -100 * sin(DEG), 1, 0);
        h.sheets[i].is_at_wheel = true;
        h.sheets[i].wheel_mm = tr_v2(100, 0); /* sheet_at has x forward */
    }
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(h.value[0][TR_FLOOR_HEIGHT], 0, 1e-9);
    CHECK_NEAR(h.value[1][TR_FLOOR_HEIGHT], -100 * sin(DEG), 1e-9);
}

/* Hub sheets: two mats beside the vehicle, on a floor that rises by 0.3 to the front, and falls
   behind the vehicle by 0.2; the mat of the target is not of the stand. */
static void the_stand_is_of_the_sheets_beside_the_vehicle(void **state) {
    (void)state;
    double up = tan(0.3 * DEG);
    by_hand h = {.sheets = {sheet_at(1000, 1500, 1000 * up, 0.3, 0),
                            sheet_at(1500, -1500, 1500 * up, 0.3, 0),
                            sheet_at(-2000, 0, 2000 * tan(0.2 * DEG), -0.2, 0)}};
    tr_floor_input in = stand_on(&h, 3, TR_STAND_OF_SHEETS);
    h.sheets[2].is_at_target = true;
    tr_floor_measure(&in, h.value, h.whole);
    CHECK_NEAR(h.value[0][TR_FLOOR_HEIGHT], 0, 1e-9);
    CHECK_NEAR(h.value[1][TR_FLOOR_ALONG], 0, 1e-12);
    CHECK_NEAR(h.value[2][TR_FLOOR_ALONG], -0.5 * DEG, 1e-9);
    CHECK_NEAR(h.value[2][TR_FLOOR_SLOPE], 0.5 * DEG, 1e-4 * DEG);
    /* With the target's mat alone there is nothing to compare it with. */
    h.sheets[0] = h.sheets[2];
    in.n = 1;
    tr_floor_measure(&in, h.value, h.whole);
    assert_true(isnan(h.value[0][TR_FLOOR_SLOPE]) && isnan(h.value[0][TR_FLOOR_HEIGHT]));
    in.stand = TR_STAND_UNKNOWN;
    h.sheets[0].is_at_target = false;
    tr_floor_measure(&in, h.value, h.whole);
    assert_true(isnan(h.value[0][TR_FLOOR_ALONG]));
}

/* ---- simulated ---- */

/* A steady camera and true prints, on a floor that is even but under the mat. Behind the rear axle
   it falls by this angle, and rises to the left by a third of it. */
static tr_sim_options sloping(uint64_t seed, double fall_deg) {
    tr_sim_options o = honest(seed);
    double fall = fall_deg * DEG;
    o.noise.draws_floor = false;
    o.scene.is_steady = true;
    o.scene.floor[TR_SIM_MAT] = (tr_sim_floor){-1800 * tan(fall), fall, fall / 3};
    return o;
}

static const tr_floor_place *place_of(const tr_check_result *result, int sheet) {
    for (int i = 0; i < result->floor.n_places; i++) {
        if (result->floor.places[i].sheet == sheet) return &result->floor.places[i];
    }
    fail_msg("no floor under sheet %d", sheet);
    return NULL;
}

static void check_value(const tr_floor_place *p, tr_floor_value value, double truth, double most) {
    const tr_quantity *q = &p->value[value].value;
    assert_true(q->is_measured);
    CHECK_AT_MOST(fabs(q->value - truth), 2 * q->u95);
    CHECK_NEAR(q->value, truth, most);
}

static void evaluate(tr_sim *sim) {
    tr_error err = {0};
    if (!tr_check_evaluate(&sim->job, &sim->check, &err) ||
        !tr_check_finish(&sim->check, NULL, &err)) {
        fail_msg("%s", err.text);
    }
}

static void a_known_slope_is_measured(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 4; seed++) {
        double fall = 0.2 * (double)seed;
        tr_sim_options o = sloping(seed, fall);
        tr_sim sim;
        tr_error err = {0};
        assert_true(tr_simulate(&o, &sim, &err));
        evaluate(&sim);
        const tr_floor_place *mat = place_of(&sim.check.result, TR_SIM_MAT);
        check_value(mat, TR_FLOOR_HEIGHT, -1800 * tan(fall * DEG), 0.5);
        check_value(mat, TR_FLOOR_SLOPE, -fall * DEG, 0.02 * DEG);
        check_value(mat, TR_FLOOR_ALONG, fall * DEG, 0.03 * DEG);
        check_value(mat, TR_FLOOR_ACROSS, fall / 3 * DEG, 0.03 * DEG);
        /* Against its own axes, a hair's breadth from the vehicle's, the target says the same. */
        const tr_axis_result *axis = sim.check.result.targets[0].axis;
        CHECK_NEAR(axis[TR_Z].measured, mat->value[TR_FLOOR_HEIGHT].value.value, 0.3);
        CHECK_NEAR(axis[TR_PITCH].measured, -mat->value[TR_FLOOR_ALONG].value.value, 0.02 * DEG);
        CHECK_NEAR(axis[TR_ROLL].measured, mat->value[TR_FLOOR_ACROSS].value.value, 0.02 * DEG);
        for (int p = 0; p < TR_N_POINTS; p++) {
            const tr_floor_place *plate = place_of(&sim.check.result, TR_SIM_PLATE + p);
            assert_true(plate->is_at_wheel);
            check_value(plate, TR_FLOOR_HEIGHT, 0, 0.5);
            assert_false(plate->value[TR_FLOOR_SLOPE].value.is_measured);
        }
        assert_int_equal(sim.check.result.verdict, TR_PASS);
        tr_sim_release(&sim);
    }
}

/* ---- u95, and what the network takes for granted ---- */

/* The floor's truth under the mat, the other values as the plates at 0 have it. */
static void true_floor(double fall_deg, double value[TR_FLOOR_N]) {
    double fall = fall_deg * DEG;
    by_hand h = {.sheets = {sheet_at(-1800, 0, -1800 * tan(fall), fall_deg, fall_deg / 3)}};
    tr_floor_input in = stand_on(&h, 1, TR_STAND_OF_PLATES);
    h.sheets[0].is_at_target = true;
    tr_floor_measure(&in, h.value, h.whole);
    memcpy(value, h.value[0], sizeof h.value[0]);
}

/* Values of the mat's place that lie within u95, of n jobs. */
typedef struct {
    int n, n_inside[TR_FLOOR_N];
    double height_off; /* the mean */
} covered;

static void cover(uint64_t seed, double fall_deg, int n_photos, covered *c) {
    tr_sim_options o = sloping(seed, fall_deg);
    tr_random random = tr_random_seed(seed + 1000);
    double truth[TR_FLOOR_N];
    tr_sim sim;
    tr_error err = {0};
    true_floor(fall_deg, truth);
    o.n_photos = n_photos;
    o.scene.is_steady = false;
    for (int i = 0; i <= TR_SIM_PLATE + TR_REAR_RIGHT; i++) {
        bool is_mat = i == TR_SIM_MAT;
        o.scene.floor[i] =
            tr_sim_lie(o.scene.floor[i], is_mat ? 1600 : 250, is_mat ? 1000 : 200, &random);
    }
    assert_true(tr_simulate(&o, &sim, &err));
    evaluate(&sim);
    if (sim.check.result.sheets[TR_SIM_MAT].is_placed) {
        const tr_floor_place *mat = place_of(&sim.check.result, TR_SIM_MAT);
        for (tr_floor_value k = TR_FLOOR_HEIGHT; k <= TR_FLOOR_SLOPE; k++) {
            const tr_quantity *q = &mat->value[k].value;
            c->n_inside[k] += fabs(q->value - truth[k]) <= q->u95;
        }
        c->height_off += mat->value[TR_FLOOR_HEIGHT].value.value - truth[TR_FLOOR_HEIGHT];
        c->n++;
    }
    tr_sim_release(&sim);
}

/* Four photos tell a height to some 5 mm. What the network takes for granted, that floors are even
   within 3 mm, would pull 24 mm to 18: that is not in u95, and must not be in the value. */
static void u95_covers_even_and_steep_floors(void **state) {
    (void)state;
    enum { N_JOBS = 50 };
    for (int i = 0; i < 2; i++) {
        covered c = {.n = 0};
        int n_photos = i == 0 ? 4 : 7;
        double fall = i == 0 ? 0.75 : 0;
        for (uint64_t seed = 1; seed <= N_JOBS; seed++) cover(seed, fall, n_photos, &c);
        print_message("%.2f degrees, %d photos: of %d inside u95 height %d, out of flat %d, along "
                      "%d, across %d, slope %d; height off by %.2f mm\n",
                      fall, n_photos, c.n, c.n_inside[0], c.n_inside[1], c.n_inside[2],
                      c.n_inside[3], c.n_inside[4], c.height_off / c.n);
        assert_true(c.n > N_JOBS / 2);
        /* Of 50, 95 % are 43 or more in 97 of 100 cases. */
        for (int k = 0; k <= TR_FLOOR_SLOPE; k++) CHECK_AT_MOST(0.86 * c.n, c.n_inside[k]);
        CHECK_NEAR(c.height_off / c.n, 0, 1.5);
    }
}

/* A network in which the prior is as weak as tr_open_floor leaves it: by ten in standard deviation.
 */
static void solve_open(const tr_adjust_input *in, tr_adjustment *out) {
    tr_error err = {0};
    assert_true(tr_adjust_begin(in, out, &err));
    for (int i = 0; i < out->net.n_sheets; i++) {
        out->net.sheets[i].floor_z_sd_mm *= 10;
        out->net.sheets[i].floor_tilt_sd_rad *= 10;
    }
    assert_true(tr_adjust_solve(out, &err) && tr_adjust_finish(out, &err));
}

/* The height of the mat over the plane of the plates, which the world's own level is not in: it
   lies 1800 mm behind, and the axles are 2700 mm apart. */
static const double OVER_PLATES[] = {[TR_SIM_MAT] = 1,
                                     [TR_SIM_PLATE + TR_FRONT_LEFT] = 1.0 / 3,
                                     [TR_SIM_PLATE + TR_FRONT_RIGHT] = 1.0 / 3,
                                     [TR_SIM_PLATE + TR_REAR_LEFT] = -5.0 / 6,
                                     [TR_SIM_PLATE + TR_REAR_RIGHT] = -5.0 / 6};
enum { N_OVER_PLATES = sizeof OVER_PLATES / sizeof *OVER_PLATES };

static double height_of(const tr_adjustment *adj, const double *shift) {
    double z = 0;
    for (int i = 0; i < N_OVER_PLATES; i++) {
        z += OVER_PLATES[i] * (adj->net.sheets[i].world_from_sheet.t_mm.z +
                               (shift ? shift[TR_POSE_N * i + TR_SHEET_TZ] : 0));
    }
    return z;
}

/* Solved anew, and opened afterwards, both are the same, to first order; also where the places of
   marks add to the covariance. */
static void an_opened_floor_is_that_of_a_weaker_prior(void **state) {
    (void)state;
    for (int i = 0; i < 2; i++) {
        tr_sim_options o = sloping(3, 0.6);
        tr_sim sim;
        tr_error err = {0};
        tr_photo_input input = {0};
        tr_adjustment held = {0};
        tr_adjustment weak = {0};
        tr_open_floor open;
        double gradient[TR_POSE_N * N_OVER_PLATES] = {0};
        o.n_photos = 4;
        o.noise.survey_sd_mm = 0.05 * i;
        o.noise.survey_scale_sd = 2e-4 * i;
        assert_true(tr_simulate(&o, &sim, &err));
        evaluate(&sim);
        assert_true(tr_photo_set_input(&sim.check.set, &input, &err));
        assert_true(tr_adjust_begin(&input.in, &held, &err) && tr_adjust_solve(&held, &err) &&
                    tr_adjust_finish(&held, &err));
        solve_open(&input.in, &weak);
        assert_true(tr_open_floor_make(&held, &open, &err) && open.is_told);
        for (int k = 0; k < N_OVER_PLATES; k++) {
            gradient[TR_POSE_N * k + TR_SHEET_TZ] = OVER_PLATES[k];
        }
        double u = sqrt(tr_dense_quadratic(gradient, weak.covariance, open.n_poses));
        double before = sqrt(tr_dense_quadratic(gradient, held.covariance, open.n_poses));
        double pulled = height_of(&weak, NULL) - height_of(&held, NULL);
        print_message("%s: u %.2f mm, opened %.2f; the prior pulled by %.2f mm, opened by %.2f\n",
                      i ? "surveyed" : "not surveyed", before, u, pulled,
                      height_of(&held, open.shift) - height_of(&held, NULL));
        CHECK_NEAR(sqrt(tr_open_floor_variance(&open, gradient)), u, 0.02 * u);
        CHECK_NEAR(height_of(&held, open.shift), height_of(&weak, NULL), 0.05 * fabs(pulled));
        /* There is something to be opened. */
        CHECK_AT_MOST(0.5 * u, fabs(pulled));
        CHECK_AT_MOST((i ? 1 : 1.05) * before, u);
        tr_open_floor_release(&open);
        tr_adjustment_release(&held);
        tr_adjustment_release(&weak);
        tr_photo_input_release(&input);
        tr_sim_release(&sim);
    }
}

/* ---- limits ---- */

static const tr_floor_judged *judged(const tr_sim *sim, int sheet, tr_floor_value value) {
    const tr_floor_judged *v = &place_of(&sim->check.result, sheet)->value[value];
    assert_true(v->is_judged);
    return v;
}

typedef struct {
    tr_floor_limit limit;
    double value; /* degrees or mm */
} limited;

/* limits: ends with a value of 0. */
static void judge(tr_sim_options o, const limited *limits, tr_sim *sim) {
    tr_error err = {0};
    assert_true(tr_simulate(&o, sim, &err));
    for (int i = 0; limits[i].value > 0; i++) {
        sim->job.layout.floor_limit[limits[i].limit] =
            limits[i].value * (tr_floor_limit_is_angle(limits[i].limit) ? DEG : 1);
    }
    evaluate(sim);
}

static void check_verdicts(const tr_sim *sim, tr_verdict floor, tr_verdict job, const char *code) {
    assert_true(sim->check.result.floor.is_judged);
    assert_int_equal(sim->check.result.floor.verdict, floor);
    assert_int_equal(sim->check.result.verdict, job);
    if (code && !finding_of(&sim->check.result.findings, code)) fail_msg("no finding %s", code);
    char why[512];
    tr_check_why(&sim->check.result, why, sizeof why);
    assert_int_equal(strstr(why, "the floor") != NULL, floor != TR_PASS);
    if (!code) assert_false(tr_findings_block_pass(&sim->check.result.findings));
}

/* It falls by 0.4, known to 0.01 or so. */
static void a_floor_beyond_its_limit_is_never_a_pass(void **state) {
    (void)state;
    static const limited WIDE[] = {
        {TR_LIMIT_SLOPE, 0.6}, {TR_LIMIT_TILT, 0.6}, {TR_LIMIT_OUT_OF_FLAT, 20}, {0}};
    static const limited SLOPE[] = {{TR_LIMIT_SLOPE, 0.3}, {0}};
    static const limited UNDECIDED[] = {{TR_LIMIT_SLOPE, 0.401}, {0}};
    static const limited TILT[] = {{TR_LIMIT_TILT, 0.2}, {0}};
    static const limited FLAT[] = {{TR_LIMIT_OUT_OF_FLAT, 3}, {0}};
    tr_sim sim;
    judge(sloping(1, 0.4), WIDE, &sim);
    check_verdicts(&sim, TR_PASS, TR_PASS, NULL);
    tr_sim_release(&sim);
    judge(sloping(1, 0.4), SLOPE, &sim);
    check_verdicts(&sim, TR_FAIL, TR_INCONCLUSIVE, "floor_slope");
    assert_int_equal(judged(&sim, TR_SIM_MAT, TR_FLOOR_SLOPE)->verdict, TR_FAIL);
    assert_non_null(strstr(finding_text(finding_of(&sim.check.result.findings, "floor_slope")),
                           "to MAT-SIM the floor falls by 0.4"));
    tr_sim_release(&sim);
    judge(sloping(1, 0.4), UNDECIDED, &sim);
    check_verdicts(&sim, TR_INCONCLUSIVE, TR_INCONCLUSIVE, "floor_slope");
    assert_non_null(strstr(finding_text(finding_of(&sim.check.result.findings, "floor_slope")),
                           "which may be beyond the 0.40°"));
    tr_sim_release(&sim);
    judge(sloping(1, 0.4), TILT, &sim);
    check_verdicts(&sim, TR_FAIL, TR_INCONCLUSIVE, "floor_slope");
    assert_int_equal(judged(&sim, TR_SIM_MAT, TR_FLOOR_ALONG)->verdict, TR_FAIL);
    assert_int_equal(judged(&sim, TR_SIM_MAT, TR_FLOOR_ACROSS)->verdict, TR_PASS);
    assert_non_null(strstr(finding_text(finding_of(&sim.check.result.findings, "floor_slope")),
                           "rises towards the front by 0.4"));
    tr_sim_release(&sim);
    judge(sloping(1, 0.4), FLAT, &sim);
    check_verdicts(&sim, TR_FAIL, TR_INCONCLUSIVE, "floor_not_flat");
    assert_int_equal(judged(&sim, TR_SIM_MAT, TR_FLOOR_OUT_OF_FLAT)->verdict, TR_FAIL);
    assert_non_null(strstr(finding_text(finding_of(&sim.check.result.findings, "floor_not_flat")),
                           "below the best plane"));
    tr_sim_release(&sim);
}

/* A target that lies wrong fails, whatever the floor is like. */
static void a_target_that_fails_still_fails(void **state) {
    (void)state;
    static const limited SLOPE[] = {{TR_LIMIT_SLOPE, 0.3}, {0}};
    tr_sim_options o = sloping(2, 0.4);
    tr_sim sim;
    o.scene.mat_error[0] = 40;
    judge(o, SLOPE, &sim);
    check_verdicts(&sim, TR_FAIL, TR_FAIL, "floor_slope");
    /* Where it lies is as well known as on another floor, and so is where it should. */
    assert_true(sim.check.result.targets[0].is_to_move);
    tr_sim_release(&sim);
}

/* The stand rises by 0.2 to the front, or the mat by 0.2 + 0.4: the same reading of the same floor.
 */
static void a_limit_against_the_horizontal_needs_a_level(void **state) {
    (void)state;
    static const limited LEVEL[] = {{TR_LIMIT_LEVEL, 0.8}, {0}};
    tr_sim sim;
    judge(sloping(3, 0.4), LEVEL, &sim);
    check_verdicts(&sim, TR_INCONCLUSIVE, TR_INCONCLUSIVE, "level_not_read");
    assert_true(tr_findings_have(&sim.check.result.findings, TR_FOUND_LEVEL_NOT_READ));
    tr_sim_release(&sim);
    for (int i = 0; i < 4; i++) {
        tr_sim_options o = sloping(3, 0.4);
        bool is_on_mat = i % 2 == 1;
        tr_error err = {0};
        assert_true(tr_simulate(&o, &sim, &err));
        sim.job.layout.floor_limit[TR_LIMIT_LEVEL] = (i < 2 ? 0.8 : 0.45) * DEG;
        sim.job.level = (tr_level){.is_given = true,
                                   .sheet = is_on_mat ? TR_SIM_MAT : -1,
                                   .along_rad = (is_on_mat ? 0.6 : 0.2) * DEG,
                                   .across_rad = (is_on_mat ? 0.4 / 3 : 0) * DEG,
                                   .sd_rad = 0.02 * DEG};
        evaluate(&sim);
        const tr_floor_result *f = &sim.check.result.floor;
        const tr_quantity *along = &f->whole[TR_FLOOR_STAND_ALONG].value;
        const tr_floor_place *mat = place_of(&sim.check.result, TR_SIM_MAT);
        CHECK_NEAR(along->value, 0.2 * DEG, 0.03 * DEG);
        CHECK_NEAR(f->whole[TR_FLOOR_STAND_ACROSS].value.value, 0, 0.03 * DEG);
        check_value(mat, TR_FLOOR_LEVEL_ALONG, 0.6 * DEG, 0.03 * DEG);
        check_value(mat, TR_FLOOR_LEVEL_SLOPE, -0.6 * DEG, 0.04 * DEG);
        /* The reading's own 2 x 0.02 alone on the stand; how the mat lies comes on top of it. */
        const tr_quantity *tilt = &mat->value[TR_FLOOR_ALONG].value;
        CHECK_NEAR(along->u95, is_on_mat ? hypot(0.04 * DEG, tilt->u95) : 0.04 * DEG, 1e-3 * DEG);
        CHECK_NEAR(mat->value[TR_FLOOR_LEVEL_ALONG].value.u95,
                   is_on_mat ? 0.04 * DEG : hypot(0.04 * DEG, tilt->u95), 1e-3 * DEG);
        if (i < 2)
            check_verdicts(&sim, TR_PASS, TR_PASS, NULL);
        else
            check_verdicts(&sim, TR_FAIL, TR_INCONCLUSIVE, "floor_not_level");
        tr_sim_release(&sim);
    }
}

/* The level lay on a mat that no photo shows. */
static void a_level_on_a_sheet_that_is_not_found(void **state) {
    (void)state;
    tr_sim_options o = sloping(4, 0.1);
    tr_sim sim;
    tr_error err = {0};
    o.scene.has_second_mat = true;
    o.faults.is_mat_missing = true;
    assert_true(tr_simulate(&o, &sim, &err));
    sim.job.layout.floor_limit[TR_LIMIT_LEVEL] = DEG;
    sim.job.level = (tr_level){.is_given = true, .sheet = TR_SIM_MAT, .sd_rad = 0.02 * DEG};
    evaluate(&sim);
    check_verdicts(&sim, TR_INCONCLUSIVE, TR_INCONCLUSIVE, "level_not_read");
    assert_true(tr_findings_have(&sim.check.result.findings, TR_FOUND_LEVEL_SHEET_NOT_FOUND));
    assert_false(sim.check.result.floor.whole[TR_FLOOR_STAND_ALONG].value.is_measured);
    tr_sim_release(&sim);
}

/* Plates at the rear wheels alone do not tell how the stand slopes along the vehicle. */
static void rear_plates_do_not_tell_the_stand(void **state) {
    (void)state;
    tr_sim_options o = sloping(5, 0.1);
    tr_sim sim;
    tr_error err = {0};
    assert_true(tr_simulate(&o, &sim, &err));
    sim.job.layout.axes = TR_AXES_REAR_AXLE;
    sim.job.layout.floor_limit[TR_LIMIT_SLOPE] = DEG;
    memmove(sim.job.references, sim.job.references + TR_REAR_LEFT, 2 * sizeof *sim.job.references);
    sim.job.n_references = 2;
    evaluate(&sim);
    check_verdicts(&sim, TR_INCONCLUSIVE, TR_INCONCLUSIVE, "floor_not_measured");
    assert_true(tr_findings_have(&sim.check.result.findings, TR_FOUND_STAND_NOT_SEEN));
    /* How flat it is needs no stand. */
    assert_true(
        place_of(&sim.check.result, TR_SIM_MAT)->value[TR_FLOOR_OUT_OF_FLAT].value.is_measured);
    tr_sim_release(&sim);
}

/* ---- boards and hub sheets ---- */

static tr_rolled_options boards(void) {
    return (tr_rolled_options){.seed = 1,
                               .n_positions = 1,
                               .reference_sd_mm = 1,
                               .hub_tilt_sd_rad = 0.3 * DEG,
                               .floor_sd_mm = 1,
                               .noise = 1,
                               .is_steady = true};
}

/* Both stand beside the third sheet on the floor; the others, beside the vehicle, tell its stand.
 */
static void boards_stand_where_a_sheet_lies(void **state) {
    (void)state;
    enum { AHEAD = TR_ROLLED_MAT + 2 };
    tr_rolled_options o = boards();
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    r.job.layout.floor_limit[TR_LIMIT_SLOPE] = 0.5 * DEG;
    if (!tr_check_evaluate(&r.job, &r.check, &err)) fail_msg("%s", err.text);
    const tr_check_result *result = &r.check.result;
    const tr_floor_place *ahead = place_of(result, AHEAD);
    assert_int_equal(result->floor.n_places, TR_ROLLED_FLOOR);
    assert_int_equal(result->floor.stand, TR_STAND_OF_SHEETS);
    for (int i = 0; i < TR_ROLLED_BOARDS; i++) {
        assert_int_equal(result->floor.places[result->targets[i].floor_place].sheet, AHEAD);
    }
    check_value(ahead, TR_FLOOR_SLOPE, 0, 0.1 * DEG);
    check_value(ahead, TR_FLOOR_ALONG, 0, 0.1 * DEG);
    assert_int_equal(result->floor.verdict, TR_PASS);
    tr_rolled_release(&r);
}

static void boards_need_a_sheet_at_their_feet(void **state) {
    (void)state;
    tr_rolled_options o = boards();
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    r.job.layout.floor_limit[TR_LIMIT_SLOPE] = 0.5 * DEG;
    r.job.layout.floor_limit[TR_LIMIT_OUT_OF_FLAT] = 5;
    r.job.sheets[TR_ROLLED_MAT + 2].support = TR_ON_STAND; /* it hangs somewhere */
    if (!tr_check_evaluate(&r.job, &r.check, &err)) fail_msg("%s", err.text);
    const tr_check_result *result = &r.check.result;
    for (int i = 0; i < TR_ROLLED_BOARDS; i++) assert_int_equal(result->targets[i].floor_place, -1);
    assert_true(tr_findings_have(&result->findings, TR_FOUND_FLOOR_NOT_SEEN));
    assert_true(tr_findings_have(&result->findings, TR_FOUND_FLOOR_FEW_SHEETS));
    assert_int_equal(result->floor.verdict, TR_INCONCLUSIVE);
    assert_int_not_equal(result->verdict, TR_PASS);
    tr_rolled_release(&r);
}

/* ---- what is shown ---- */

static void the_floor_is_shown_and_read_back(void **state) {
    (void)state;
    for (int i = 0; i < 3; i++) {
        tr_sim_options o = sloping(6, 0.4);
        tr_sim sim;
        tr_error err = {0};
        assert_true(tr_simulate(&o, &sim, &err));
        for (int k = 0; k < TR_N_FLOOR_LIMITS && i > 0; k++) {
            sim.job.layout.floor_limit[k] = tr_floor_limit_is_angle(k) ? 0.5 * DEG : 3;
        }
        sim.job.level = (tr_level){.is_given = i == 2,
                                   .sheet = TR_SIM_MAT,
                                   .along_rad = 0.3 * DEG,
                                   .across_rad = -0.05 * DEG,
                                   .sd_rad = 0.05 * DEG};
        evaluate(&sim);
        tr_check_result read;
        json_t *json = tr_check_json(&sim.check.result);
        assert_non_null(json);
        if (!tr_check_json_read(json, &read, &err)) fail_msg("%s: %s", err.key, err.text);
        json_t *again = tr_check_json(&read);
        assert_true(json_equal(json, again));
        char *before = check_text_of(&sim.check.result, false);
        char *after = check_text_of(&read, false);
        if (getenv("TRAMMEL_SHOW")) puts(before);
        assert_string_equal(before, after);
        assert_non_null(strstr(before, "to MAT-SIM, °"));
        assert_true((strstr(before, "stand along, °") != NULL) == (i == 2));
        assert_true((strstr(before, "out of flat, MAT-SIM, mm") != NULL) == (i > 0));
        free(before);
        free(after);
        json_decref(json);
        json_decref(again);
        tr_check_result_release(&read);
        tr_sim_release(&sim);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_mat_behind_that_lies_lower),
        cmocka_unit_test(slopes_have_the_opposite_sign_of_a_pitch),
        cmocka_unit_test(a_level_makes_slopes_absolute),
        cmocka_unit_test(out_of_flat_needs_four_places),
        cmocka_unit_test(the_best_plane_slopes_against_the_stand),
        cmocka_unit_test(plates_count_where_the_wheel_is),
        cmocka_unit_test(the_stand_is_of_the_sheets_beside_the_vehicle),
        cmocka_unit_test(a_known_slope_is_measured),
        cmocka_unit_test(u95_covers_even_and_steep_floors),
        cmocka_unit_test(an_opened_floor_is_that_of_a_weaker_prior),
        cmocka_unit_test(a_floor_beyond_its_limit_is_never_a_pass),
        cmocka_unit_test(a_target_that_fails_still_fails),
        cmocka_unit_test(a_limit_against_the_horizontal_needs_a_level),
        cmocka_unit_test(a_level_on_a_sheet_that_is_not_found),
        cmocka_unit_test(rear_plates_do_not_tell_the_stand),
        cmocka_unit_test(boards_stand_where_a_sheet_lies),
        cmocka_unit_test(boards_need_a_sheet_at_their_feet),
        cmocka_unit_test(the_floor_is_shown_and_read_back),
    };
    return cmocka_run_group_tests_name("floor", tests, NULL, NULL);
}
