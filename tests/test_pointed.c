/* Targets without tags, by the pointers laid at them: the pose of least squares against poses that
   are known; then whole simulated jobs. */
#include "check.h"

#include <stdio.h>
#include <string.h>

#include "tools/simulate/simulate.h"
#include "vehicle/pointed.h"

/* ---- the pose ---- */

static tr_pose made_pose(double yaw, double pitch, double roll) {
    double value[TR_N_AXES] = {3100, -450, 12, yaw, pitch, roll};
    return tr_pose_of_placement(value, false);
}

static void check_pose(tr_pose got, tr_pose wanted, double mm, double rad) {
    tr_pose d = tr_pose_mul(tr_pose_inverse(wanted), got);
    CHECK_AT_MOST(tr_v3_norm(d.t_mm), mm);
    CHECK_AT_MOST(tr_v3_norm(tr_vector_from_rotation(d.R)), rad);
}

static void lay(const tr_vec3 *points, int n, tr_pose pose, tr_pointed_tip *tips) {
    for (int i = 0; i < n; i++)
        tips[i] = (tr_pointed_tip){points[i], tr_pose_apply(pose, points[i])};
}

static void exact_tips_give_the_pose(void **state) {
    (void)state;
    static const tr_vec3 FEET[] = {
        {-350, -1100, 150}, {350, -1100, 150}, {0, -1100, -400}, {10, 200, 90}};
    tr_pointed_tip tips[4];
    for (int n = 3; n <= 4; n++) {
        for (int k = 0; k < 8; k++) {
            tr_pose pose = made_pose(0.8 * k - 3, 0.1 * k - 0.4, 1.5);
            tr_pose got;
            lay(FEET, n, pose, tips);
            assert_true(tr_pointed_pose(&(tr_pointed){tips, n, 1, 1, 0, {0, 0}}, &got));
            check_pose(got, pose, 1e-6, 1e-9);
        }
    }
}

/* Two tips of a mat tell all but its tilt about the line between them: that is the level's. */
static void two_tips_of_what_lies(void **state) {
    (void)state;
    static const tr_vec3 CORNERS[] = {{-600, -400, 0}, {600, -400, 0}};
    tr_pointed_tip tips[2];
    tr_pose got;
    tr_pose pose = made_pose(2.1, 0, 0);
    lay(CORNERS, 2, pose, tips);
    tr_pointed p = {tips, 2, 0.01, 0.01, 0.005, {0, 0}};
    assert_true(tr_pointed_pose(&p, &got));
    check_pose(got, pose, 1e-6, 1e-9);
    /* Held to lean, it does, about that line: of 0.01 along x of the world what is across it. */
    p.lean_rad[0] = 0.01;
    assert_true(tr_pointed_pose(&p, &got));
    CHECK_NEAR(tr_v3_norm(tr_v3_sub(tr_pose_apply(got, CORNERS[0]), tips[0].tip_mm)), 0, 0.1);
    tr_vec3 along = tr_v3_sub(tips[1].tip_mm, tips[0].tip_mm);
    double across = fabs(along.y) / tr_v3_norm(along);
    CHECK_NEAR(acos(tr_m3_column(got.R, 2).z), 0.01 * across, 2e-4);
}

/* One tip of four that is off takes the pose along by its share, as the mean does. */
static void tips_share_what_is_off(void **state) {
    (void)state;
    static const tr_vec3 CORNERS[] = {
        {-600, -400, 0}, {600, -400, 0}, {600, 400, 0}, {-600, 400, 0}};
    tr_pointed_tip tips[4];
    tr_pose got;
    tr_pose pose = made_pose(0, 0, 0);
    lay(CORNERS, 4, pose, tips);
    tips[2].tip_mm.x += 4;
    assert_true(tr_pointed_pose(&(tr_pointed){tips, 4, 1, 1, 0.005, {0, 0}}, &got));
    CHECK_NEAR(got.t_mm.x - pose.t_mm.x, 1, 1e-3);
    CHECK_NEAR(got.t_mm.y - pose.t_mm.y, 0, 1e-3);
    /* R = sum of (p x d) / sum of |p|^2, p about their middle: the corner is at (400, -600) of the
       world. */
    CHECK_NEAR(tr_vector_from_rotation(tr_m3_mul(got.R, tr_m3_transpose(pose.R))).z,
               600 * 4.0 / (4 * (600.0 * 600 + 400 * 400)), 1e-6);
}

static void tips_that_do_not_tell_are_refused(void **state) {
    (void)state;
    static const tr_vec3 LINE[] = {{-300, 0, 0}, {0, 0, 0}, {300, 0, 0}};
    tr_pointed_tip tips[3];
    tr_pose got;
    lay(LINE, 3, made_pose(1, 0, 0), tips);
    assert_false(tr_pointed_pose(&(tr_pointed){tips, 3, 1, 1, 0, {0, 0}}, &got));
    assert_false(tr_pointed_pose(&(tr_pointed){tips, 1, 1, 1, 0.005, {0, 0}}, &got));
    assert_false(tr_pointed_pose(&(tr_pointed){tips, 0, 1, 1, 0.005, {0, 0}}, &got));
    assert_true(tr_pointed_pose(&(tr_pointed){tips, 3, 1, 1, 0.005, {0, 0}}, &got));
}

/* ---- jobs ---- */

typedef struct {
    tr_sim sim;
    tr_verdict verdict;
    const tr_target_result *mat;
} outcome;

static tr_sim_options honest(uint64_t seed, int n_pointers) {
    return (tr_sim_options){.seed = seed,
                            .n_photos = 8,
                            .scene = {.n_pointers = n_pointers, .mat_error = {2, -1, 0.001}},
                            .noise = {.marks = 1,
                                      .reference_sd_mm = 1,
                                      .pointer_sd_mm = 1,
                                      .draws_lens = true,
                                      .draws_prints = true,
                                      .draws_floor = true}};
}

static void measure(const tr_sim_options *options, outcome *o) {
    tr_error err = {0};
    memset(o, 0, sizeof *o);
    assert_true(tr_simulate(options, &o->sim, &err));
    if (!tr_check_evaluate(&o->sim.job, &o->sim.check, &err)) fail_msg("%s", err.text);
    o->verdict = o->sim.check.result.verdict;
    o->mat = &o->sim.check.result.targets[0];
}

static bool is_found(const outcome *o, tr_finding_kind kind) {
    const tr_findings *f = &o->sim.check.result.findings;
    for (int i = 0; i < f->n; i++) {
        if (f->items[i].kind == kind) return true;
    }
    return false;
}

static void exact_pointers_give_the_exact_place(void **state) {
    (void)state;
    for (int n = 2; n <= 4; n++) {
        tr_sim_options options = honest(5, n);
        outcome o;
        options.noise = (tr_sim_noise){.pointer_sd_mm = 0.2};
        options.scene.is_exact_lens = true;
        /* What is drawn of the pointers is not drawn: exact tips. */
        options.noise.pointer_sd_mm = 1e-6;
        measure(&options, &o);
        assert_true(o.mat->axis[TR_X].is_measured);
        assert_int_equal(o.mat->by, TR_BY_POINTERS);
        CHECK_NEAR(o.mat->axis[TR_X].measured, o.sim.truth[0], 1e-3);
        CHECK_NEAR(o.mat->axis[TR_Y].measured, o.sim.truth[1], 1e-3);
        CHECK_NEAR(o.mat->axis[TR_YAW].measured, o.sim.truth[2], 1e-6);
        tr_sim_release(&o.sim);
    }
}

/* Two tips at opposite corners: the centre is their middle, so that its share of u95 is that of one
   over the root of two; the yaw's is the distance's. */
static void the_tips_are_in_the_budget(void **state) {
    (void)state;
    tr_sim_options options = honest(6, 2);
    outcome o;
    options.noise.pointer_sd_mm = 1.5;
    measure(&options, &o);
    CHECK_NEAR(o.mat->axis[TR_X].u95_of[TR_FROM_POINTERS], 2 * 1.5 / sqrt(2), 0.02);
    CHECK_NEAR(o.mat->axis[TR_Y].u95_of[TR_FROM_POINTERS], 2 * 1.5 / sqrt(2), 0.02);
    CHECK_NEAR(o.mat->axis[TR_YAW].u95_of[TR_FROM_POINTERS], 2 * 1.5 * sqrt(2) / hypot(1600, 1000),
               2e-5);
    for (tr_axis axis = TR_X; axis <= TR_YAW; axis += axis == TR_Y ? 2 : 1) {
        const tr_axis_result *a = &o.mat->axis[axis];
        double sum = 0;
        for (int k = 0; k < TR_N_SOURCES; k++) sum += a->u95_of[k] * a->u95_of[k];
        CHECK_NEAR(sqrt(sum) / a->u95, 1, 1e-9);
    }
    tr_sim_release(&o.sim);
}

/* u95 holds, and no honest pointer is called mislaid: 40 jobs of each number, of which by chance 2
   axes of 40 are off by more than u95; 8 are one in 1,300. */
static void u95_holds(void **state) {
    (void)state;
    enum { JOBS = 40, MOST_OFF = 7 };
    for (int n = 2; n <= 4; n++) {
        int n_off[3] = {0};
        int n_mislaid = 0;
        for (int i = 0; i < JOBS; i++) {
            static const tr_axis AXES[3] = {TR_X, TR_Y, TR_YAW};
            tr_sim_options options = honest(1000 + 100 * (uint64_t)n + (uint64_t)i, n);
            outcome o;
            measure(&options, &o);
            for (int k = 0; k < 3; k++) {
                const tr_axis_result *a = &o.mat->axis[AXES[k]];
                n_off[k] += fabs(a->measured - o.sim.truth[k]) > a->u95;
            }
            n_mislaid += is_found(&o, TR_FOUND_POINTER_MISLAID) ||
                         is_found(&o, TR_FOUND_POINTERS_CONTRADICT);
            tr_sim_release(&o.sim);
        }
        print_message("%d pointers: off by more than u95: x %d, y %d, yaw %d of %d; mislaid %d\n",
                      n, n_off[0], n_off[1], n_off[2], JOBS, n_mislaid);
        for (int k = 0; k < 3; k++) assert_in_range(n_off[k], 0, MOST_OFF);
        assert_in_range(n_mislaid, 0, 1);
    }
}

static void a_pointer_at_the_wrong_corner_is_noticed(void **state) {
    (void)state;
    static const struct {
        int n, at[TR_SIM_MAX_POINTERS];
        tr_finding_kind kind;
    } CASES[] = {{2, {0, 2, 0, 0}, TR_FOUND_POINTERS_CONTRADICT},
                 {3, {0, 1, 3, 0}, TR_FOUND_POINTER_MISLAID},
                 {3, {1, 0, 2, 0}, TR_FOUND_POINTER_MISLAID},
                 {4, {0, 1, 3, 2}, TR_FOUND_POINTER_MISLAID}};
    for (size_t k = 0; k < sizeof CASES / sizeof *CASES; k++) {
        tr_sim_options options = honest(20 + k, CASES[k].n);
        outcome o;
        options.faults.has_pointer_at = true;
        memcpy(options.faults.pointer_at, CASES[k].at, sizeof CASES[k].at);
        measure(&options, &o);
        if (!is_found(&o, CASES[k].kind)) fail_msg("case %zu: not noticed", k);
        assert_int_not_equal(o.verdict, TR_PASS);
        tr_sim_release(&o.sim);
    }
}

/* Two opposite corners exchanged are the mat turned round. */
static void exchanged_pointers_turn_the_mat(void **state) {
    (void)state;
    tr_sim_options options = honest(30, 2);
    outcome o;
    options.faults.has_pointer_at = true;
    options.faults.pointer_at[0] = 1;
    options.faults.pointer_at[1] = 0;
    measure(&options, &o);
    assert_true(is_found(&o, TR_FOUND_SHEET_TURNED_ROUND));
    assert_int_equal(o.verdict, TR_FAIL);
    tr_sim_release(&o.sim);
}

/* Three tips show one that is off by much more than they are said to be. */
static void a_pointer_that_is_off_is_named(void **state) {
    (void)state;
    tr_sim_options options = honest(40, 4);
    outcome o;
    options.faults.pointer_off_mm[2] = tr_v2(14, -9);
    measure(&options, &o);
    const tr_findings *f = &o.sim.check.result.findings;
    bool is_named = false;
    for (int i = 0; i < f->n; i++) {
        is_named = is_named || (f->items[i].kind == TR_FOUND_POINTER_MISLAID &&
                                strcmp(f->items[i].arguments[0].text, "POINTER-3") == 0);
    }
    assert_true(is_named);
    assert_int_not_equal(o.verdict, TR_PASS);
    tr_sim_release(&o.sim);
}

/* What was not photographed cannot tell: that is said. */
static void too_few_pointers_are_told(void **state) {
    (void)state;
    tr_sim_options options = honest(50, 2);
    outcome o;
    memset(&o, 0, sizeof o);
    tr_error err = {0};
    assert_true(tr_simulate(&options, &o.sim, &err));
    tr_photo_set *set = &o.sim.check.set;
    for (int i = 0; i < set->n_photos; i++) {
        tr_photo_marks *m = &set->photos[i].marks;
        int n = 0;
        for (int k = 0; k < m->n_marks; k++) {
            if (m->marks[k].sheet != TR_SIM_POINTER + 1) m->marks[n++] = m->marks[k];
        }
        m->n_marks = n;
        n = 0;
        for (int k = 0; k < m->n_views; k++) {
            if (m->views[k].sheet != TR_SIM_POINTER + 1) m->views[n++] = m->views[k];
        }
        m->n_views = n;
    }
    assert_true(tr_check_evaluate(&o.sim.job, &o.sim.check, &err));
    assert_true(is_found(&o, TR_FOUND_TOO_FEW_POINTERS));
    assert_int_equal(o.sim.check.result.verdict, TR_INCONCLUSIVE);
    tr_sim_release(&o.sim);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exact_tips_give_the_pose),
        cmocka_unit_test(two_tips_of_what_lies),
        cmocka_unit_test(tips_share_what_is_off),
        cmocka_unit_test(tips_that_do_not_tell_are_refused),
        cmocka_unit_test(exact_pointers_give_the_exact_place),
        cmocka_unit_test(the_tips_are_in_the_budget),
        cmocka_unit_test(u95_holds),
        cmocka_unit_test(a_pointer_at_the_wrong_corner_is_noticed),
        cmocka_unit_test(exchanged_pointers_turn_the_mat),
        cmocka_unit_test(a_pointer_that_is_off_is_named),
        cmocka_unit_test(too_few_pointers_are_told),
    };
    return cmocka_run_group_tests_name("pointed", tests, NULL, NULL);
}
