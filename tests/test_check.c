/* From marks to the verdict, on simulated jobs: right values, honest verdicts, and no way to a pass
   for a job that is wrong. */
#include "check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/mark_covariance.h"
#include "diagnose/diagnose.h"
#include "diagnose/rejected.h"
#include "check/check.h"
#include "findings.h"
#include "honest.h"
#include "present/moves.h"
#include "present/words.h"

typedef struct {
    tr_sim sim;
    bool is_measured;
    tr_error err;
} outcome;

static outcome run(const tr_sim_options *options) {
    outcome o = {0};
    if (!tr_simulate(options, &o.sim, &o.err)) fail_msg("%s", o.err.text);
    o.is_measured = tr_check_evaluate(&o.sim.job, &o.sim.check, &o.err);
    return o;
}

static bool warns(const outcome *o, const char *code) {
    return finding_of(&o->sim.check.result.findings, code) != NULL;
}

static void print_warnings(const outcome *o) {
    for (int i = 0; i < o->sim.check.result.findings.n; i++) {
        const tr_finding *f = &o->sim.check.result.findings.items[i];
        print_message("  %s: %s\n", tr_finding_code(f->kind), finding_text(f));
    }
}

/* The job must not pass, and one of the named findings (separated by blanks) must be given. */
static void expect_no_pass(const char *what, const tr_sim_options *options, const char *codes) {
    outcome o = run(options);
    char list[256];
    bool is_named = false;
    snprintf(list, sizeof list, "%s", codes);
    for (char *code = strtok(list, " "); code; code = strtok(NULL, " "))
        is_named |= warns(&o, code);
    if (!o.is_measured) fail_msg("%s: %s", what, o.err.text);
    if (o.sim.check.result.verdict == TR_PASS || o.sim.check.result.targets[0].verdict == TR_PASS ||
        !is_named) {
        print_message("%s: verdict %s\n", what, tr_verdict_name(o.sim.check.result.verdict));
        print_warnings(&o);
        fail_msg("%s: must not pass and must warn of: %s", what, codes);
    }
    tr_sim_release(&o.sim);
}

/* ---- right values ---- */

static void test_exact(void **state) {
    (void)state;
    tr_sim_options options = {.seed = 3, .scene.mat_error = {4.25, -2.5, 0.2 * TR_RAD_PER_DEG}};
    outcome o = run(&options);
    assert_true(o.is_measured);
    const tr_axis_result *a = o.sim.check.result.targets[0].axis;
    CHECK_NEAR(a[TR_X].measured, o.sim.truth[0], 1e-5);
    CHECK_NEAR(a[TR_Y].measured, o.sim.truth[1], 1e-5);
    CHECK_NEAR(a[TR_YAW].measured, o.sim.truth[2], 1e-8);
    CHECK_NEAR(a[TR_Z].measured, 0, 1e-5);
    CHECK_NEAR(a[TR_X].error, 4.25, 1e-5);
    CHECK_NEAR(o.sim.check.result.wheelbase.measured_mm, 2700, 1e-5);
    CHECK_NEAR(o.sim.check.result.track_front.measured_mm, 1760, 1e-5);
    CHECK_NEAR(o.sim.check.result.track_rear.measured_mm, 1750, 1e-5);
    assert_int_equal(o.sim.check.result.verdict, TR_PASS);
    /* No photo of these shows plates of both sides; and no plate sits exactly. */
    assert_int_equal(o.sim.check.result.findings.n, 2);
    assert_true(warns(&o, "only_tie"));
    assert_true(warns(&o, "plates_taken_as_exact"));
    assert_false(tr_findings_block_pass(&o.sim.check.result.findings));
    tr_sim_release(&o.sim);
}

/* The budget's parts add up, and the plates' part is what geometry says: with both rear points
   moved by u along X, the middle moves by u / sqrt(2). */
static void test_budget(void **state) {
    (void)state;
    tr_sim_options options = {.seed = 5, .noise.reference_sd_mm = 1.5};
    outcome o = run(&options);
    assert_true(o.is_measured);
    for (int k = 0; k < TR_N_AXES; k++) {
        const tr_axis_result *a = &o.sim.check.result.targets[0].axis[k];
        double sum = a->u95_of[TR_FROM_MARKS] * a->u95_of[TR_FROM_MARKS] +
                     a->u95_of[TR_FROM_LENS] * a->u95_of[TR_FROM_LENS] +
                     a->u95_of[TR_FROM_PLATES] * a->u95_of[TR_FROM_PLATES] +
                     a->u95_of[TR_FROM_SHEETS] * a->u95_of[TR_FROM_SHEETS];
        CHECK_NEAR(a->u95, sqrt(sum), 1e-9);
    }
    CHECK_NEAR(o.sim.check.result.targets[0].axis[TR_X].u95_of[TR_FROM_PLATES], 2 * 1.5 / sqrt(2.0),
               0.02);
    assert_false(warns(&o, "plates_taken_as_exact"));
    /* yaw: both middles move sideways by u / sqrt(2) against each other over the wheelbase. */
    CHECK_NEAR(o.sim.check.result.targets[0].axis[TR_YAW].u95_of[TR_FROM_PLATES], 2 * 1.5 / 2700,
               2e-5);
    tr_sim_release(&o.sim);
}

/* Sheets that were surveyed: their places have a row of the budget, and the parts still add up.
   What is wrong with a place is wrong in every photo: were it taken for noise, the sheets' part
   would be part of the marks' and fall with the root of their number. */
static void test_surveyed_sheets(void **state) {
    (void)state;
    tr_sim_options options = {.seed = 5, .scene.is_exact_lens = true, .scene.is_steady = true};
    /* As their files say: what is known of the size of a print is in the budget, too. */
    outcome as_file = run(&options);
    assert_true(as_file.is_measured);
    assert_true(as_file.sim.check.result.targets[0].axis[TR_X].u95_of[TR_FROM_SHEETS] > 0.5);
    options.noise.survey_sd_mm = 1e-4;
    options.noise.survey_scale_sd = 3e-4;
    outcome scaled = run(&options);
    assert_true(scaled.is_measured);
    for (int k = 0; k < TR_N_AXES; k++) {
        const tr_axis_result *a = &scaled.sim.check.result.targets[0].axis[k];
        double sum = a->u95_of[TR_FROM_MARKS] * a->u95_of[TR_FROM_MARKS] +
                     a->u95_of[TR_FROM_LENS] * a->u95_of[TR_FROM_LENS] +
                     a->u95_of[TR_FROM_PLATES] * a->u95_of[TR_FROM_PLATES] +
                     a->u95_of[TR_FROM_SHEETS] * a->u95_of[TR_FROM_SHEETS];
        CHECK_NEAR(a->u95, sqrt(sum), 1e-9);
    }
    /* A scale that all sheets share stretches everything: 1800 mm behind the axle, 2700 mm long. */
    const tr_axis_result *x = &scaled.sim.check.result.targets[0].axis[TR_X];
    CHECK_NEAR(x->u95_of[TR_FROM_SHEETS], 2 * 3e-4 * 1800, 0.02);
    CHECK_NEAR(scaled.sim.check.result.wheelbase.u95_mm, 2 * 3e-4 * 2700, 0.3);
    /* With every photo twice as exact the sheets' part stays. */
    options.noise.mark_sd = 0.5;
    outcome sharper = run(&options);
    assert_true(sharper.is_measured);
    CHECK_NEAR(sharper.sim.check.result.targets[0].axis[TR_X].u95_of[TR_FROM_SHEETS],
               x->u95_of[TR_FROM_SHEETS], 0.02);
    assert_true(sharper.sim.check.result.targets[0].axis[TR_X].u95_of[TR_FROM_MARKS] <
                0.7 * x->u95_of[TR_FROM_MARKS]);
    tr_sim_release(&as_file.sim);
    tr_sim_release(&scaled.sim);
    tr_sim_release(&sharper.sim);
}

/* A survey of which all variances are 0 removes even what is known of a print: that is told of the
   sheets on which the result rests, and blocks nothing. */
static void test_exact_survey_is_told(void **state) {
    (void)state;
    for (int k = 0; k < 3; k++) {
        tr_sim_options options = {
            .seed = 5, .scene.is_steady = true, .noise.reference_sd_mm = 1, .noise.marks = 1};
        options.noise.survey_sd_mm = k == 0 ? 0 : 1e-4;
        outcome o = {0};
        tr_error err = {0};
        assert_true(tr_simulate(&options, &o.sim, &err));
        for (int i = 0; i < o.sim.job.n_sheets && k == 2; i++) {
            tr_sheet_survey *s = &o.sim.job.sheets[i].survey;
            memset(s->covariance, 0, (size_t)s->n_rows * (size_t)s->n_rows * sizeof *s->covariance);
        }
        assert_true(tr_check_evaluate(&o.sim.job, &o.sim.check, &err));
        int n_told = 0;
        int n_needed = 0;
        for (int i = 0; i < o.sim.check.result.findings.n; i++) {
            const tr_finding *f = &o.sim.check.result.findings.items[i];
            n_told += f->kind == TR_FOUND_SHEET_TAKEN_AS_EXACT;
        }
        for (int i = 0; i < o.sim.job.n_sheets; i++) n_needed += tr_job_needs_sheet(&o.sim.job, i);
        assert_true(n_needed > 0);
        assert_int_equal(n_told, k == 2 ? n_needed : 0);
        assert_false(tr_findings_block_pass(&o.sim.check.result.findings));
        tr_sim_release(&o.sim);
    }
}

static void test_lens_is_a_prior(void **state) {
    (void)state;
    tr_sim_options options = {.seed = 6, .noise.reference_sd_mm = 1, .scene.is_steady = true};
    outcome with = run(&options);
    options.scene.is_exact_lens = true;
    outcome without = run(&options);
    assert_true(with.is_measured && without.is_measured);
    assert_true(with.sim.check.result.targets[0].axis[TR_X].u95_of[TR_FROM_LENS] > 0.01);
    CHECK_NEAR(without.sim.check.result.targets[0].axis[TR_X].u95_of[TR_FROM_LENS], 0, 1e-4); /* the
        root of a difference of variances that should be equal, to 1e-11 of them */
    assert_true(warns(&without, "lens_without_covariance"));
    tr_sim_release(&with.sim);
    tr_sim_release(&without.sim);
}

static void test_fail_and_moves(void **state) {
    (void)state;
    tr_sim_options options = honest(7);
    options.scene.mat_error[0] = -24;
    options.scene.mat_error[1] = 13;
    options.scene.mat_error[2] = 1.2 * TR_RAD_PER_DEG;
    outcome o = run(&options);
    assert_true(o.is_measured);
    assert_int_equal(o.sim.check.result.verdict, TR_FAIL);
    const tr_target_result *t = &o.sim.check.result.targets[0];
    assert_int_equal(t->axis[TR_X].verdict, TR_FAIL);
    assert_int_equal(t->axis[TR_YAW].verdict, TR_FAIL);
    char moves[TR_MAX_MOVES][TR_MOVE_SIZE];
    assert_true(tr_check_finish(&o.sim.check, NULL, NULL));
    assert_true(tr_target_moves(&o.sim.check.result, t, moves) >= 1);
    double along;
    double aside;
    double turn;
    int n =
        sscanf(moves[0],
               "Slide the mat %lf mm forward and %lf mm to the vehicle's right, then turn it %lf° "
               "clockwise seen from above.",
               &along, &aside, &turn);
    assert_int_equal(n, 3);
    /* Doing exactly that lands on the required place, but for rounding. */
    CHECK_NEAR(t->axis[TR_X].measured + along, -1800, 0.51);
    CHECK_NEAR(t->axis[TR_Y].measured - aside, 0, 0.51);
    CHECK_NEAR(t->axis[TR_YAW].measured * TR_DEG_PER_RAD - turn, 0, 0.051);
    tr_sim_release(&o.sim);
}

static void test_inconclusive_when_unsure(void **state) {
    (void)state;
    tr_sim_options options = honest(8);
    options.noise.reference_sd_mm = 12;
    outcome o = run(&options);
    assert_true(o.is_measured);
    assert_true(o.sim.check.result.targets[0].axis[TR_X].u95 > 10);
    assert_int_not_equal(o.sim.check.result.verdict, TR_PASS);
    tr_sim_release(&o.sim);
}

/* ---- traps: none may pass, each is named ---- */

enum { SEEDS = 6 };

static void test_trap_turned(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.scene.mat_error[2] = TR_PI;
        expect_no_pass("mat turned by 180 degrees", &options, "sheet_turned");
    }
}

static void test_trap_swapped(void **state) {
    (void)state;
    static const struct {
        const char *what;
        tr_wheel_point at[TR_N_POINTS];
    } cases[] = {
        {"left and right", {TR_FRONT_RIGHT, TR_FRONT_LEFT, TR_REAR_RIGHT, TR_REAR_LEFT}},
        {"front and rear", {TR_REAR_LEFT, TR_REAR_RIGHT, TR_FRONT_LEFT, TR_FRONT_RIGHT}},
        {"rear ones", {TR_FRONT_LEFT, TR_FRONT_RIGHT, TR_REAR_RIGHT, TR_REAR_LEFT}},
        {"front ones", {TR_FRONT_RIGHT, TR_FRONT_LEFT, TR_REAR_LEFT, TR_REAR_RIGHT}},
        {"left ones", {TR_REAR_LEFT, TR_FRONT_RIGHT, TR_FRONT_LEFT, TR_REAR_RIGHT}},
        {"crosswise", {TR_REAR_RIGHT, TR_REAR_LEFT, TR_FRONT_RIGHT, TR_FRONT_LEFT}},
        {"front left and rear right", {TR_REAR_RIGHT, TR_FRONT_RIGHT, TR_REAR_LEFT, TR_FRONT_LEFT}},
    };
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        tr_sim_options options = honest(11 + c);
        memcpy(options.faults.plate_at, cases[c].at, sizeof options.faults.plate_at);
        options.faults.has_plate_at = true;
        /* Exchanged crosswise the plates make a sound vehicle that faces the other way; only the
           mat is then not where it should be, and turned. */
        expect_no_pass(cases[c].what, &options,
                       "plates_swapped wheelbase_off axles_not_square track_off sheet_turned");
    }
}

static void test_trap_scale(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.faults.mat_scale = 0.97;
        expect_no_pass("mat printed at 97 %", &options, "sheet_scale");
    }
}

/* Edges that stand up: told with the height; less than the limit is measured, and passes. */
static void test_trap_curled(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.faults.mat_curl_mm = 12;
        expect_no_pass("mat curled by 12 mm", &options, "sheet_not_flat");
        options = (tr_sim_options){.seed = seed, .noise.marks = 1, .faults.mat_curl_mm = 2};
        outcome o = run(&options);
        assert_true(o.is_measured);
        const tr_sheet_condition *c = &o.sim.check.result.sheets[0].condition;
        assert_true(c->has_flatness);
        /* The outermost marks are those at x = 740: 2 (740/800)^2 = 1.71 mm over the middle ones.
         */
        CHECK_NEAR(c->flatness_mm, 1.71, fmax(0.35, 1.5 * c->flatness_u95_mm));
        tr_sim_release(&o.sim);
    }
}

static void test_trap_lens(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.faults.lens_factor = seed % 2 ? 1.04 : 0.96;
        options.scene.is_exact_lens = seed > SEEDS / 2;
        expect_no_pass("lens of another camera", &options, "lens_mismatch");
    }
}

static void test_trap_moved(void **state) {
    (void)state;
    /* 30 mm in eight directions, after each photo. */
    for (int k = 0; k < 8; k++) {
        tr_sim_options options = honest(21 + (uint64_t)k);
        double a = k * TR_PI / 4;
        options.faults.mat_moved_mm = tr_v2(30 * cos(a), 30 * sin(a));
        options.faults.moved_from = 1;
        expect_no_pass("mat moved by 30 mm", &options, "sheet_moved marks_contradict does_not_fit");
    }
}

/* Four photos of which only the mat ties the left plates to the right: there a stretch of 0.5 % one
   way once put it 10 mm off, with u95 3 mm, and passed. What the prior of prints does not explain
   is named; less is in u95. */
static void test_trap_stretched_one_way(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 2 * SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.scene.is_steady = true;
        options.n_photos = 4;
        options.faults.mat_print_scale[seed % 2] = seed % 4 < 2 ? 0.008 : -0.008;
        expect_no_pass("mat stretched by 0.8 % one way", &options, "sheet_scale");
        options.faults.mat_print_scale[seed % 2] = seed % 4 < 2 ? 0.005 : -0.005;
        outcome o = run(&options);
        for (int k = 0; k < 3 && o.sim.check.result.verdict == TR_PASS; k++) {
            const tr_axis_result *a =
                &o.sim.check.result.targets[0].axis[k == 2 ? TR_YAW : TR_X + k];
            CHECK_AT_MOST(fabs(a->measured - o.sim.truth[k]), 1.5 * a->u95);
        }
        tr_sim_release(&o.sim);
    }
}

/* All plates come from one printer that is 0.2 % off, which is two standard deviations, the mat
   from another; the mat lies 13 mm off, its limit is 10. Four photos of which two from behind, one
   of each side: that once passed in 142 of 200 jobs, with u95 2 mm. */
static void test_trap_plates_of_another_printer(void **state) {
    (void)state;
    enum { JOBS = 100 };
    int passes = 0;
    for (uint64_t seed = 1; seed <= JOBS; seed++) {
        tr_sim_options options = honest(seed);
        options.n_photos = 4;
        options.noise.draws_prints = false;
        options.scene.mat_error[0] = seed % 2 ? 13 : -13;
        for (int p = 0; p < TR_N_POINTS; p++)
            options.faults.plate_scale[p] = seed % 4 < 2 ? 1.002 : 0.998;
        outcome o = run(&options);
        if (o.sim.check.result.verdict == TR_PASS) {
            const tr_axis_result *x = &o.sim.check.result.targets[0].axis[TR_X];
            passes++;
            CHECK_AT_MOST(fabs(x->measured - o.sim.truth[0]), 2 * x->u95);
        }
        tr_sim_release(&o.sim);
    }
    print_message("%d of %d passed\n", passes, JOBS);
    CHECK_AT_MOST(passes, JOBS / 10);
}

/* All sheets from one printer, whose error no photo tells: 0.15 % is within what the README's rules
   show, and makes 4.5 mm of three metres. */
static void test_trap_prints_of_one_printer(void **state) {
    (void)state;
    enum { JOBS = 40 };
    int passes = 0;
    for (uint64_t seed = 1; seed <= JOBS; seed++) {
        double scale = seed % 2 ? 1.0015 : 0.9985;
        tr_sim_options options = honest(seed);
        options.n_photos = 7;
        options.noise.draws_prints = false;
        options.scene.mat_x_mm = -3000;
        options.scene.mat_error[0] = seed % 2 ? -12 : 12; /* which the print hides */
        options.faults.mat_scale = scale;
        for (int p = 0; p < TR_N_POINTS; p++) options.faults.plate_scale[p] = scale;
        outcome o = run(&options);
        const tr_axis_result *x = &o.sim.check.result.targets[0].axis[TR_X];
        CHECK_AT_MOST(fabs(x->measured - o.sim.truth[0]), 1.3 * x->u95);
        passes += o.sim.check.result.verdict == TR_PASS;
        tr_sim_release(&o.sim);
    }
    CHECK_AT_MOST(passes, JOBS / 10);
}

/* A mat on a floor that falls behind the vehicle, from few photos of a phone: the prior of an even
   floor must not pull it, and what is measured on it, towards the level. */
static void test_trap_floor_that_falls(void **state) {
    (void)state;
    enum { JOBS = 40 };
    double sum = 0;
    int within = 0;
    for (uint64_t seed = 1; seed <= JOBS; seed++) {
        tr_sim_options options = honest(seed);
        options.n_photos = 5;
        options.scene.is_steady = false;
        options.noise.phone = tr_sim_phone_full(1);
        options.scene.floor[TR_SIM_MAT] = (tr_sim_floor){.height_mm = -40, .along_rad = -0.0227};
        outcome o = run(&options);
        const tr_axis_result *x = &o.sim.check.result.targets[0].axis[TR_X];
        sum += x->measured - o.sim.truth[0];
        within += fabs(x->measured - o.sim.truth[0]) <= x->u95;
        tr_sim_release(&o.sim);
    }
    print_message("x is off by %.2f mm in the mean; %d of %d within u95\n", sum / JOBS, within,
                  JOBS);
    CHECK_AT_MOST(fabs(sum / JOBS), 1.5);
    CHECK_AT_MOST(36, within);
}

/* A flatness so near its limit that it is not decided stands against a pass. */
static void test_trap_flatness_undecided(void **state) {
    (void)state;
    tr_sim_options options = honest(7);
    options.n_photos = 7;
    outcome o = run(&options);
    tr_error err = {0};
    const tr_sheet_result *mat = &o.sim.check.result.sheets[o.sim.check.result.targets[0].sheet];
    assert_int_equal(o.sim.check.result.verdict, TR_PASS);
    o.sim.job.layout.flatness_mm = mat->condition.flatness_mm + mat->condition.flatness_u95_mm / 2;
    tr_check_result_release(&o.sim.check.result);
    assert_true(tr_check_evaluate(&o.sim.job, &o.sim.check, &err));
    assert_int_equal(o.sim.check.result.verdict, TR_INCONCLUSIVE);
    assert_true(tr_findings_have(&o.sim.check.result.findings, TR_FOUND_FLATNESS_UNDECIDED));
    tr_sim_release(&o.sim);
}

/* By so little, and with marks so coarse, that no mark alone shows it: all of them together do. */
static void test_trap_moved_little(void **state) {
    (void)state;
    for (int k = 0; k < 8; k++) {
        tr_sim_options options = honest(41 + (uint64_t)k);
        double a = k * TR_PI / 4;
        options.n_photos = 8;
        options.noise.mark_sd = 3;
        options.faults.mat_moved_mm = tr_v2(6 * cos(a), 6 * sin(a));
        options.faults.moved_from = 2;
        expect_no_pass("mat moved by 6 mm", &options, "sheet_moved");
    }
}

/* A plate was pushed after two photos. */
static void test_trap_nudged(void **state) {
    (void)state;
    for (int k = 0; k < 4; k++) {
        tr_sim_options options = honest(51);
        double a = k * TR_PI / 2;
        options.n_photos = 8;
        options.noise.mark_sd = 3;
        options.faults.plate_nudge_mm[TR_REAR_LEFT] = tr_v2(8 * cos(a), 8 * sin(a));
        options.faults.nudged_from = 2;
        expect_no_pass("plate nudged by 8 mm", &options, "sheet_moved");
    }
}

/* The photos that show a plate; returns their number. */
static int photos_of(const tr_sim *sim, int sheet, int photos[TR_SIM_MAX_PHOTOS]) {
    int n = 0;
    for (int i = 0; i < sim->check.set.n_photos; i++) {
        bool is_shown = false;
        const tr_photo_marks *marks = &sim->check.set.photos[i].marks;
        for (int k = 0; k < marks->n_marks; k++) is_shown |= marks->marks[k].sheet == sheet;
        if (is_shown) photos[n++] = i;
    }
    return n;
}

/* As run, with plates that carry their marks on the floor or, as far as the job says, elsewhere on
   the vehicle. */
static outcome run_on(const tr_sim_options *options, tr_support support) {
    outcome o = {0};
    if (!tr_simulate(options, &o.sim, &o.err)) fail_msg("%s", o.err.text);
    for (int p = 0; p < TR_N_POINTS; p++) o.sim.job.sheets[TR_SIM_PLATE + p].support = support;
    o.is_measured = tr_check_evaluate(&o.sim.job, &o.sim.check, &o.err);
    if (!o.is_measured) fail_msg("%s", o.err.text);
    return o;
}

/* Counts: pushed plates, those told of, results beyond u95 that nothing blocks, and those told of
   where nothing was pushed. */
typedef struct {
    int all, told, beyond, told_falsely;
} pushes;

static void push(uint64_t seed, tr_support support, pushes *n) {
    tr_sim_options options = honest(seed);
    tr_wheel_point plate = seed % TR_N_POINTS;
    double way = (double)seed;
    int photos[TR_SIM_MAX_PHOTOS];
    options.n_photos = 5;
    options.noise.draws_prints = false;
    options.noise.survey_sd_mm = 0.05;
    options.noise.reference_sd_mm = 0.1;
    outcome still = run_on(&options, support);
    bool is_in_two = photos_of(&still.sim, TR_SIM_PLATE + (int)plate, photos) == 2;
    n->told_falsely += is_in_two && warns(&still, "two_photos_disagree");
    tr_sim_release(&still.sim);
    if (!is_in_two) return;
    options.faults.plate_nudge_mm[plate] = tr_v2(8 * cos(way), 8 * sin(way));
    options.faults.nudged_from = photos[1];
    outcome pushed = run_on(&options, support);
    const tr_check_result *result = &pushed.sim.check.result;
    bool is_beyond = false;
    for (int k = 0; k < 2; k++) {
        const tr_axis_result *a = &result->targets[0].axis[k == 0 ? TR_X : TR_Y];
        is_beyond = is_beyond || fabs(a->measured - pushed.sim.truth[k]) > a->u95;
    }
    n->all++;
    n->told += warns(&pushed, "two_photos_disagree");
    n->beyond += is_beyond && !tr_findings_block_pass(&result->findings);
    tr_sim_release(&pushed.sim);
}

/* A plate that two photos show, pushed by 8 mm in between: where the two disagree, u95 has what the
   push may do; of honest jobs few are told of any. */
static void test_trap_pushed_between_its_two_photos(void **state) {
    (void)state;
    enum { JOBS = 80 };
    static const tr_support SUPPORTS[] = {TR_ON_FLOOR, TR_ON_VEHICLE};
    for (int i = 0; i < 2; i++) {
        pushes n = {0};
        for (uint64_t seed = 1; seed <= JOBS; seed++) push(seed, SUPPORTS[i], &n);
        print_message("%d pushed: %d told, %d beyond u95 and not blocked; %d told where none was\n",
                      n.all, n.told, n.beyond, n.told_falsely);
        CHECK_AT_MOST(n.all / 2, n.told);
        CHECK_AT_MOST(n.beyond, n.all / 10);
        CHECK_AT_MOST(n.told_falsely, n.all / 20);
    }
}

/* Moves what the photo alone says of where the sheet lies, along the sheet. */
static void shift_view(tr_photo_marks *marks, int sheet, double mm) {
    for (int k = 0; k < marks->n_views; k++) {
        if (marks->views[k].sheet != sheet) continue;
        for (int p = 0; p < 2; p++) {
            tr_pose *pose = &marks->views[k].pose[p].camera_from_plane;
            *pose = tr_pose_mul(*pose, (tr_pose){tr_m3_identity(), {mm, 0, 0}});
        }
    }
}

/* Marks were left out of two photos, of which one has the mat elsewhere; so has a third, whose
   marks fit. The photo named is the one whose distance is told. */
static void test_moved_sheet_is_told_of_one_photo(void **state) {
    (void)state;
    tr_sim_options options = {.seed = 3, .n_photos = 8};
    tr_sim sim;
    tr_error err = {0};
    tr_findings findings = {0};
    tr_adjustment adj;
    const tr_photo_marks *photos[8];
    static const char *const NAMES[8] = {"0", "1", "2", "3", "4", "5", "6", "7"};
    int shows[3], n = 0;
    assert_true(tr_simulate(&options, &sim, &err));
    for (int i = 0; i < 8; i++) photos[i] = &sim.check.set.photos[i].marks;
    tr_adjust_input in = {.lenses = sim.job.lenses,
                          .n_lenses = 1,
                          .sheets = sim.job.sheets,
                          .n_sheets = sim.job.n_sheets,
                          .photos = photos,
                          .photo_names = NAMES,
                          .n_photos = 8};
    tr_sheet_condition conditions[16] = {0};
    assert_true(tr_diagnose(&in, &adj, conditions, &findings, &err));
    for (int i = 0; i < 8 && n < 3; i++) {
        bool shows_mat = false;
        for (int k = 0; k < photos[i]->n_views; k++) shows_mat |= photos[i]->views[k].sheet == 0;
        if (shows_mat) shows[n++] = i;
    }
    assert_int_equal(n, 3);
    for (int i = 0; i < adj.net.n_observations; i++) {
        tr_net_obs *o = &adj.net.observations[i];
        if (o->sheet == 0 && (o->photo == shows[0] || o->photo == shows[1])) o->is_used = false;
    }
    shift_view(&sim.check.set.photos[shows[1]].marks, 0, 40);
    shift_view(&sim.check.set.photos[shows[2]].marks, 0, 200);
    tr_findings_release(&findings);
    assert_true(tr_rejected_report(&in, &adj, &findings, &err));
    char wanted[128];
    snprintf(wanted, sizeof wanted, "in %s it is about 40 mm away", NAMES[shows[1]]);
    const char *text = finding_text(&findings.items[0]);
    if (!strstr(text, wanted)) print_error("%s\n", text);
    assert_int_equal(findings.items[0].kind, TR_FOUND_SHEET_AT_TWO_PLACES);
    assert_non_null(strstr(text, wanted));
    tr_findings_release(&findings);
    tr_adjustment_release(&adj);
    tr_sim_release(&sim);
}

/* All of one photo contradicts the others: it is left out, but not in silence. */
static void test_trap_zoomed(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.n_photos = 8;
        options.faults.zoom[6] = 1.3;
        expect_no_pass("one photo zoomed", &options, "photo_contradicts");
    }
}

/* A sheet that was moved bends the cameras of photos that show it, as a zoom does: what is said is
   what was. The moves are of those that leave most of the contradictions (0.13 and 0.15 of them),
   the zooms of those that a move comes nearest to explaining (it leaves 0.47). */
static void test_trap_moved_or_zoomed(void **state) {
    (void)state;
    static const struct {
        uint64_t seed;
        int plate, from;
        tr_vec2 moved_mm;
    } MOVED[] = {{99, TR_REAR_LEFT, 3, {-183, 81}}, {134, TR_FRONT_RIGHT, 2, {64, -189}}};
    static const struct {
        uint64_t seed;
        int photo;
        double zoom;
    } ZOOMED[] = {{117, 2, 1.15}, {165, 3, 1.3}};
    for (int i = 0; i < 2; i++) {
        tr_sim_options options = {
            .seed = MOVED[i].seed,
            .noise = {.marks = 1, .reference_sd_mm = 1, .phone = tr_sim_phone_full(1)},
            .faults.nudged_from = MOVED[i].from};
        options.faults.plate_nudge_mm[MOVED[i].plate] = MOVED[i].moved_mm;
        expect_no_pass("a plate moved", &options, "sheet_moved");
    }
    for (int i = 0; i < 2; i++) {
        tr_sim_options options = {
            .seed = ZOOMED[i].seed,
            .n_photos = 5,
            .noise = {.marks = 1, .reference_sd_mm = 1, .phone = tr_sim_phone_full(1)}};
        options.faults.zoom[ZOOMED[i].photo] = ZOOMED[i].zoom;
        options.faults.zoom_shift_px[ZOOMED[i].photo] = tr_v2(60, -40);
        expect_no_pass("one photo zoomed", &options, "photo_contradicts");
    }
}

/* A phone whose profile says that it is a machine camera. */
static void test_trap_not_steady(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.scene.is_steady = true;
        options.noise.phone = tr_sim_phone_full(1);
        expect_no_pass("a phone that is said to be steady", &options, "camera_not_steady");
    }
}

/* A camera that scatters more than when it was calibrated: it is told, stands against no pass, and
   the uncertainty holds. */
static void test_camera_scatters(void **state) {
    (void)state;
    int n_told = 0;
    int n_within = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.noise.phone = tr_sim_phone_full(1);
        tr_sim sim;
        tr_error err = {0};
        assert_true(tr_simulate(&options, &sim, &err));
        sim.job.lenses[0].scatter =
            (tr_lens_scatter){.sd = {1, 2e-4, 5e-5, 0.05}, .dof = {20, 10, 30, 10}};
        assert_true(tr_check_evaluate(&sim.job, &sim.check, &err));
        n_told += tr_findings_have(&sim.check.result.findings, TR_FOUND_CAMERA_SHIFTS_MORE);
        assert_false(tr_findings_block_pass(&sim.check.result.findings));
        for (int k = 0; k < 3; k++) {
            const tr_axis_result *a = &sim.check.result.targets[0].axis[k == 2 ? TR_YAW : TR_X + k];
            n_within += fabs(a->measured - sim.truth[k]) <= a->u95;
        }
        /* As it was when it was calibrated, nothing is told. */
        tr_sim_release(&sim);
        assert_true(tr_simulate(&options, &sim, &err));
        sim.job.lenses[0].scatter =
            (tr_lens_scatter){.sd = {10, 2e-3, 5.2e-4, 0.4}, .dof = {20, 10, 30, 10}};
        assert_true(tr_check_evaluate(&sim.job, &sim.check, &err));
        assert_false(tr_findings_have(&sim.check.result.findings, TR_FOUND_CAMERA_SHIFTS_MORE));
        tr_sim_release(&sim);
    }
    CHECK_AT_MOST(0.8 * SEEDS, n_told);
    CHECK_AT_MOST(0.85 * 3 * SEEDS, n_within);
}

static void test_trap_missing(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        tr_sim_options options = honest(seed);
        options.n_photos = seed % 2 ? 5 : 8;
        options.faults.is_mat_missing = true;
        expect_no_pass("no mat", &options, "sheet_not_found");
        outcome o = run(&options);
        assert_int_equal(o.sim.check.result.verdict, TR_INCONCLUSIVE);
        assert_false(o.sim.check.result.targets[0].axis[TR_X].is_measured);
        tr_sim_release(&o.sim);
    }
}

/* A sheet in one photo only: nothing checks its size, nor that it lay still. A mat printed at 99 %
   once passed so, 22 mm off. */
static void test_trap_seen_once(void **state) {
    (void)state;
    int n_once = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        for (int n = 1; n <= 5; n++) {
            tr_sim_options options = honest(seed);
            options.n_photos = n;
            options.faults.mat_scale = 0.99;
            outcome o = run(&options);
            bool is_once = false;
            for (int i = 0; o.is_measured && i < o.sim.job.n_sheets; i++)
                is_once |= o.sim.check.result.sheets[i].is_placed &&
                           o.sim.check.result.sheets[i].n_photos == 1;
            if (is_once) assert_true(warns(&o, "seen_once"));
            if (o.is_measured) assert_int_not_equal(o.sim.check.result.verdict, TR_PASS);
            n_once += is_once;
            tr_sim_release(&o.sim);
        }
    }
    assert_true(n_once > 0);
}

static void test_trap_plate_off(void **state) {
    (void)state;
    for (int p = 0; p < TR_N_POINTS; p++) {
        for (int k = 0; k < 4; k++) {
            tr_sim_options options = honest(31 + (uint64_t)(4 * p + k));
            double a = k * TR_PI / 2;
            options.faults.plate_off_mm[p] = tr_v2(40 * cos(a), 40 * sin(a));
            expect_no_pass("plate 40 mm off", &options, "plate_off");
        }
    }
}

/* ---- properties ---- */

static void test_same_again(void **state) {
    (void)state;
    tr_sim_options options = honest(9);
    outcome a = run(&options);
    outcome b = run(&options);
    assert_true(a.is_measured && b.is_measured);
    assert_memory_equal(a.sim.check.result.targets[0].axis, b.sim.check.result.targets[0].axis,
                        sizeof a.sim.check.result.targets[0].axis);
    tr_sim_release(&a.sim);
    tr_sim_release(&b.sim);
}

static void test_no_marks(void **state) {
    (void)state;
    tr_sim_options options = honest(9);
    tr_sim sim;
    tr_error err = {0};
    assert_true(tr_simulate(&options, &sim, &err));
    for (int i = 0; i < sim.check.set.n_photos; i++) {
        sim.check.set.photos[i].marks.n_marks = 0;
        sim.check.set.photos[i].marks.n_views = 0;
    }
    assert_false(tr_check_evaluate(&sim.job, &sim.check, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    assert_true(strlen(err.text) > 0);
    tr_sim_release(&sim);
}

enum { LONG = 600 };

/* A folder whose name is longer than a finding. */
static void print_long(char out[LONG], const char *end) {
    memset(out, 'x', LONG);
    for (int i = 100; i < 500; i += 100) out[i] = '/';
    snprintf(out + 500, LONG - 500, "/%s", end);
}

static void test_long_paths_leave_room_for_advice(void **state) {
    (void)state;
    tr_sim_options options = honest(1);
    options.n_photos = 8;
    options.faults.zoom[6] = 1.3;
    tr_sim sim;
    tr_error err = {0};
    assert_true(tr_simulate(&options, &sim, &err));
    for (int i = 0; i < sim.check.set.n_photos; i++) {
        char path[LONG], name[32];
        snprintf(name, sizeof name, "%s/Ä-%d.jpg", i < 6 ? "a" : "b", i < 6 ? i : i - 6);
        print_long(path, name);
        free(sim.check.set.photos[i].file);
        sim.check.set.photos[i].file = strdup(path);
    }
    assert_true(tr_check_evaluate(&sim.job, &sim.check, &err));
    bool has_advice = false;
    for (int i = 0; i < sim.check.result.findings.n; i++) {
        const tr_finding *w = &sim.check.result.findings.items[i];
        const char *text = finding_text(w);
        assert_null(strstr(text, "xx"));
        if (!has_code(w, "photo_contradicts")) continue;
        /* There is another of that name. */
        has_advice = strstr(text, "Photo b/Ä-0.jpg contradicts") &&
                     strstr(text, "otherwise take all photos again.");
    }
    assert_true(has_advice);
    tr_sim_release(&sim);
}

/* ---- an unknown lens ---- */

static double focal_of(const outcome *o) {
    return o->sim.check.lenses[0].param[TR_FX];
}

/* Whatever EXIF says of the focal length, or nothing: the marks tell it. */
static void test_unknown_lens(void **state) {
    (void)state;
    static const double TOLD[] = {0, 1, 0.75, 1.25};
    for (size_t i = 0; i < sizeof TOLD / sizeof *TOLD; i++) {
        tr_sim_options options = {.seed = 3,
                                  .scene.mat_error = {4.25, -2.5, 0.2 * TR_RAD_PER_DEG},
                                  .scene.is_lens_unknown = true,
                                  .scene.told_focal_factor = TOLD[i]};
        outcome o = run(&options);
        if (!o.is_measured) fail_msg("%g: %s", TOLD[i], o.err.text);
        const tr_axis_result *a = o.sim.check.result.targets[0].axis;
        /* No noise: it is the priors alone that draw. */
        CHECK_NEAR(focal_of(&o) / o.sim.true_lens.param[TR_FX], 1, 5e-4);
        CHECK_AT_MOST(o.sim.check.result.focal_u95, 0.01);
        CHECK_NEAR(a[TR_X].measured, o.sim.truth[0], 0.5 * a[TR_X].u95);
        CHECK_NEAR(a[TR_Y].measured, o.sim.truth[1], 0.5 * a[TR_Y].u95);
        CHECK_NEAR(a[TR_YAW].measured, o.sim.truth[2], 0.5 * a[TR_YAW].u95);
        CHECK_AT_MOST(hypot(a[TR_X].u95, a[TR_Y].u95), 5);
        assert_int_equal(o.sim.check.result.verdict, TR_PASS);
        assert_true(warns(&o, "lens_unknown"));
        assert_false(warns(&o, "lens_without_covariance"));
        tr_sim_release(&o.sim);
    }
}

/* Its share is in the budget, and a profile would take most of it away. */
static void test_unknown_lens_in_budget(void **state) {
    (void)state;
    for (uint64_t seed = 11; seed < 15; seed++) {
        tr_sim_options options = honest(seed);
        options.scene.is_lens_unknown = true;
        options.scene.told_focal_factor = 1;
        outcome o = run(&options);
        assert_true(o.is_measured);
        assert_true(o.sim.check.result.focal_u95 > 0 && o.sim.check.result.focal_u95 < 0.02);
        CHECK_AT_MOST(fabs(focal_of(&o) / o.sim.true_lens.param[TR_FX] - 1),
                      1.5 * o.sim.check.result.focal_u95);
        for (int k = 0; k < TR_N_AXES; k++) {
            const tr_axis_result *a = &o.sim.check.result.targets[0].axis[k];
            CHECK_AT_MOST(a->u95_calibrated, a->u95);
            assert_true(a->u95_calibrated >
                        0.5 * hypot(a->u95_of[TR_FROM_MARKS], a->u95_of[TR_FROM_PLATES]));
        }
        assert_false(tr_findings_block_pass(&o.sim.check.result.findings));
        tr_sim_release(&o.sim);
    }
}

/* What is wrong keeps its name, and is not taken for the lens. */
static void test_traps_with_unknown_lens(void **state) {
    (void)state;
    tr_sim_options options = honest(5);
    options.scene.is_lens_unknown = true;
    options.scene.told_focal_factor = 1;
    options.faults.mat_scale = 0.985;
    expect_no_pass("mat at 98.5 %", &options, "sheet_scale");
    options.faults.mat_scale = 0;
    options.faults.mat_moved_mm = tr_v2(8, 0);
    options.faults.moved_from = 3;
    expect_no_pass("mat moved by 8 mm", &options, "sheet_moved");
}

static void expect_lens_not_told(const tr_sim_options *options, const char *words) {
    outcome o = run(options);
    assert_false(o.is_measured);
    assert_int_equal(o.err.code, TR_NO_MEASURE);
    if (!strstr(o.err.text, words)) fail_msg("%s", o.err.text);
    assert_non_null(strstr(o.err.text, "trammel lens"));
    tr_sim_release(&o.sim);
}

/* What the photos cannot tell is refused with what to do. */
static void test_unknown_lens_is_not_told(void **state) {
    (void)state;
    tr_sim_options options = honest(21);
    options.scene.is_lens_unknown = true;
    options.n_photos = 3;
    expect_lens_not_told(&options, "the number of usable photos, 3, is too small");
    options.n_photos = 5;
    options.noise.marks = 0; /* marks that are better than they say, so that none is left out */
    options.noise.mark_sd = 1000;
    expect_lens_not_told(&options, "these photos do not determine it");
}

/* Photos of another size are refused by name; the others go on. */
static void test_unknown_lens_of_one_size(void **state) {
    (void)state;
    outcome o = {0};
    tr_sim_options options = {.seed = 3, .n_photos = 8, .scene.is_lens_unknown = true};
    assert_true(tr_simulate(&options, &o.sim, &o.err));
    o.sim.check.set.photos[6].width_px /= 2;
    o.sim.check.set.photos[6].height_px /= 2;
    assert_true(tr_check_evaluate(&o.sim.job, &o.sim.check, &o.err));
    const tr_photo *p = &o.sim.check.set.photos[6];
    assert_false(p->is_used);
    assert_int_equal(p->fit, TR_PHOTO_OTHER_SIZE);
    assert_string_equal(
        reason_text(&p->why_not),
        "it has 2016 x 1512 pixels, but 1.jpg has 4032 x 3024, and photos of an "
        "unknown lens must be of one size; use the same camera, zoom and image size "
        "for all");
    assert_true(o.sim.check.set.photos[5].is_used);
    tr_sim_release(&o.sim);
}

static void test_photos_are_named_so_that_they_are_told_apart(void **state) {
    (void)state;
    static const char *const NAMED[][2] = {{"a/none.jpg", "a/none.jpg"},
                                           {"a/b/none.jpg", "b/none.jpg"},
                                           {"b/a/none.jpg", "b/a/none.jpg"},
                                           {"b/other.jpg", "b/other.jpg"}};
    enum { N = sizeof NAMED / sizeof *NAMED };
    tr_sim_options options = honest(1);
    tr_sim sim;
    tr_check check;
    tr_error err = {0};
    char paths[N][LONG];
    char *files[N];
    assert_true(tr_simulate(&options, &sim, &err));
    for (int i = 0; i < N; i++) {
        print_long(paths[i], NAMED[i][0]);
        files[i] = paths[i];
    }
    files[0] = paths[0] + 501; /* "a/none.jpg" alone */
    assert_true(tr_check_photos(&sim.job, files, N, &(tr_workers){.n_threads = 1}, &check, &err));
    assert_int_equal(check.result.findings.n, N);
    for (int i = 0; i < N; i++) {
        char wanted[128];
        bool is_said = false;
        snprintf(wanted, sizeof wanted, "Photo %s is not used: does not exist; check the path.",
                 NAMED[i][1]);
        for (int k = 0; k < N; k++) {
            is_said |= strcmp(finding_text(&check.result.findings.items[k]), wanted) == 0;
        }
        if (!is_said) fail_msg("no warning says: %s", wanted);
        assert_string_equal(check.set.photos[i].file, files[i]);
    }
    assert_false(tr_check_evaluate(&sim.job, &check, &err));
    assert_int_equal(err.code, TR_NO_PHOTO);
    assert_true(tr_check_finish(&check, &err, NULL));
    tr_check_name_reason(&check.result);
    const char *why = check.result.why.text;
    assert_non_null(strstr(why, "be used; a/none.jpg: does not exist; check the path"));
    assert_null(strstr(why, "xx"));
    tr_check_release(&check);
    tr_sim_release(&sim);
}

/* One photo more than the flags of all photos have room for. */
static void test_too_many_photos(void **state) {
    (void)state;
    tr_adjust_input in = {.n_photos = TR_MAX_PHOTOS + 1};
    tr_adjustment adjustment;
    tr_findings findings = {0};
    tr_error err = {0};
    assert_false(tr_diagnose(&in, &adjustment, NULL, &findings, &err));
    assert_int_equal(err.code, TR_BAD_INPUT);
    assert_non_null(strstr(err.text, "1001 photos"));
}

/* Rows whose joint covariance would take more memory than there is are refused; a sheet that stands
   at several places has its rows once. */
static void test_too_many_survey_rows(void **state) {
    (void)state;
    enum { N = 42, FITTING = 4 };
    static double covariance[TR_SHEET_MAX_ROWS * TR_SHEET_MAX_ROWS];
    static tr_vec2 corners[TR_SHEET_MAX_ROWS / TR_CORNER_N];
    tr_sheet sheets[N];
    int print_of[N];
    for (int i = 0; i < N; i++) {
        sheets[i] = (tr_sheet){.survey.n_rows = TR_SHEET_MAX_ROWS,
                               .survey.covariance = covariance,
                               .corners_mm = corners,
                               .n_corners = TR_SHEET_MAX_ROWS / TR_CORNER_N};
        snprintf(sheets[i].id, sizeof sheets[i].id, "S-%d", i + 1);
        print_of[i] = i % FITTING;
    }
    tr_network net = {0};
    tr_mark_covariance marks;
    tr_error err = {0};
    tr_adjust_input in = {.sheets = sheets, .n_sheets = N};
    bool is_taken = tr_mark_covariance_set_up(&in, &net, &marks, &err);
    tr_mark_covariance_release(&marks);
    assert_false(is_taken);
    assert_int_equal(err.code, TR_BAD_INPUT);
    assert_non_null(strstr(err.text, "the sheets up to S-41 have more than 16000 rows"));
    in.print_of = print_of;
    assert_true(tr_mark_covariance_set_up(&in, &net, &marks, &err));
    assert_int_equal(marks.n_rows, FITTING * TR_SHEET_MAX_ROWS);
    tr_mark_covariance_release(&marks);
}

/* The two rear plates alone carry the frame with axes: rear-axle. */
static void test_rear_axle(void **state) {
    (void)state;
    tr_sim_options options = {
        .seed = 12, .noise.reference_sd_mm = 1, .scene.mat_error = {3, 2, 0.001}};
    tr_sim sim;
    tr_error err = {0};
    assert_true(tr_simulate(&options, &sim, &err));
    sim.job.layout.axes = TR_AXES_REAR_AXLE;
    int n = 0;
    for (int i = 0; i < sim.job.n_references; i++) {
        tr_reference r = sim.job.references[i];
        if (r.point == TR_REAR_LEFT || r.point == TR_REAR_RIGHT) sim.job.references[n++] = r;
    }
    sim.job.n_references = n;
    assert_true(tr_check_evaluate(&sim.job, &sim.check, &err));
    const tr_axis_result *a = sim.check.result.targets[0].axis;
    /* The plates' own placement errors (1 mm) turn and shift the frame. */
    CHECK_NEAR(a[TR_X].measured, sim.truth[0], 6);
    CHECK_NEAR(a[TR_YAW].measured, sim.truth[2], 4e-3);
    assert_true(tr_findings_have(&sim.check.result.findings, TR_FOUND_REAR_PLATES_ONLY));
    assert_false(sim.check.result.wheelbase.is_measured);
    tr_sim_release(&sim);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_exact),
        cmocka_unit_test(test_budget),
        cmocka_unit_test(test_surveyed_sheets),
        cmocka_unit_test(test_exact_survey_is_told),
        cmocka_unit_test(test_lens_is_a_prior),
        cmocka_unit_test(test_fail_and_moves),
        cmocka_unit_test(test_inconclusive_when_unsure),
        cmocka_unit_test(test_trap_turned),
        cmocka_unit_test(test_trap_swapped),
        cmocka_unit_test(test_trap_scale),
        cmocka_unit_test(test_trap_curled),
        cmocka_unit_test(test_trap_lens),
        cmocka_unit_test(test_trap_moved),
        cmocka_unit_test(test_trap_stretched_one_way),
        cmocka_unit_test(test_trap_plates_of_another_printer),
        cmocka_unit_test(test_trap_prints_of_one_printer),
        cmocka_unit_test(test_trap_floor_that_falls),
        cmocka_unit_test(test_trap_flatness_undecided),
        cmocka_unit_test(test_trap_moved_little),
        cmocka_unit_test(test_trap_nudged),
        cmocka_unit_test(test_trap_pushed_between_its_two_photos),
        cmocka_unit_test(test_moved_sheet_is_told_of_one_photo),
        cmocka_unit_test(test_trap_zoomed),
        cmocka_unit_test(test_trap_moved_or_zoomed),
        cmocka_unit_test(test_trap_not_steady),
        cmocka_unit_test(test_camera_scatters),
        cmocka_unit_test(test_trap_missing),
        cmocka_unit_test(test_trap_seen_once),
        cmocka_unit_test(test_trap_plate_off),
        cmocka_unit_test(test_same_again),
        cmocka_unit_test(test_no_marks),
        cmocka_unit_test(test_long_paths_leave_room_for_advice),
        cmocka_unit_test(test_unknown_lens),
        cmocka_unit_test(test_unknown_lens_in_budget),
        cmocka_unit_test(test_traps_with_unknown_lens),
        cmocka_unit_test(test_unknown_lens_is_not_told),
        cmocka_unit_test(test_unknown_lens_of_one_size),
        cmocka_unit_test(test_photos_are_named_so_that_they_are_told_apart),
        cmocka_unit_test(test_too_many_photos),
        cmocka_unit_test(test_too_many_survey_rows),
        cmocka_unit_test(test_rear_axle),
    };
    return cmocka_run_group_tests_name("check", tests, NULL, NULL);
}
