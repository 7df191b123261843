/* Wheels with sheets on them, rolled, and upright boards: against the truth of simulated jobs,
   whose marks are the independent renderer's (tools/simulate/rolled.h). What is asked of a steady
   camera: thrust angle within 0.01 degrees, wheel centres across the vehicle and boards within 0.3
   mm, their yaw within 0.01 degrees. */
#include "check.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "findings.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "present/words.h"
#include "text.h"
#include "tools/simulate/rolled.h"
#include "vehicle/roll.h"

static const double DEG = TR_RAD_PER_DEG;

/* Toe, camber, run-outs of 1 mm and half a degree (with two positions as askew as the job states),
   a floor that is not quite even; a steady camera and prints that are what they should be. */
static tr_rolled_options rolled_job(uint64_t seed, int n_positions) {
    return (tr_rolled_options){.seed = seed,
                               .n_positions = n_positions,
                               .toe_rad = {0.05 * DEG, 0.1 * DEG, 0.1 * DEG, -0.05 * DEG},
                               .camber_rad = {-0.5 * DEG, -0.6 * DEG, -1.2 * DEG, -1.1 * DEG},
                               .runout_mm = 1,
                               .runout_rad = (n_positions > 2 ? 0.5 : 0.25) * DEG,
                               .floor_mm = 1,
                               .reference_sd_mm = 1,
                               .hub_tilt_sd_rad = 0.3 * DEG,
                               .floor_sd_mm = 1,
                               .noise = 1,
                               .is_steady = true};
}

static void make(const tr_rolled_options *o, tr_rolled *out) {
    tr_error err = {0};
    if (!tr_rolled_make(o, out, &err)) fail_msg("%s", err.text);
    if (!tr_check_evaluate(&out->job, &out->check, &err)) fail_msg("%s", err.text);
    if (!tr_check_finish(&out->check, NULL, &err)) fail_msg("%s", err.text);
}

static double error_of(const tr_rolled *r, int value) {
    const tr_quantity *q = &r->check.result.geometry[value];
    assert_true(q->is_measured);
    return q->value - r->truth.value[value];
}

static double board_error(const tr_rolled *r, int board, tr_axis axis) {
    const tr_axis_result *a = &r->check.result.targets[board].axis[axis];
    assert_true(a->is_measured);
    return a->measured - r->target[board][axis];
}

/* All that is measured is within twice u95 of the truth: each of some 60 values but once in
   10,000. */
static void check_honest(const tr_rolled *r) {
    for (int i = 0; i < TR_N_VEHICLE_VALUES; i++) {
        const tr_quantity *q = &r->check.result.geometry[i];
        bool is_runout = i >= TR_RUNOUT || (i >= TR_RUNOUT_TILT && i < TR_CENTRE);
        if (!q->is_measured || is_runout) continue;
        CHECK_AT_MOST(fabs(q->value - r->truth.value[i]), 2 * q->u95 + 1e-6);
    }
    for (int b = 0; b < TR_ROLLED_BOARDS; b++) {
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            CHECK_AT_MOST(fabs(board_error(r, b, k)), 2 * r->check.result.targets[b].axis[k].u95);
        }
    }
}

/* ---- what is asked ---- */

static void check_asked(const tr_rolled *r) {
    CHECK_NEAR(error_of(r, TR_THRUST_ANGLE), 0, 0.01 * DEG);
    for (int i = 0; i < TR_N_POINTS; i++) {
        CHECK_NEAR(error_of(r, TR_TOE + i), 0, 0.01 * DEG);
        CHECK_NEAR(error_of(r, TR_CENTRE + 3 * i + 1), 0, 0.3);
    }
    for (int b = 0; b < TR_ROLLED_BOARDS; b++) {
        CHECK_NEAR(board_error(r, b, TR_YAW), 0, 0.01 * DEG);
        CHECK_NEAR(board_error(r, b, TR_Y), 0, 0.3);
        CHECK_NEAR(board_error(r, b, TR_Z), 0, 0.3);
    }
}

static void three_positions_tell_the_thrust_line(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 4; seed++) {
        tr_rolled_options o = rolled_job(seed, 3);
        tr_rolled r;
        make(&o, &r);
        check_honest(&r);
        check_asked(&r);
        assert_int_equal(r.check.result.verdict, TR_PASS);
        assert_false(tr_findings_have(&r.check.result.findings, TR_FOUND_TWO_POSITIONS));
        tr_rolled_release(&r);
    }
}

/* A sheet on the body shows how the floor turned the vehicle. */
static void a_sheet_on_the_body_tells_it_in_two(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 4; seed++) {
        tr_rolled_options o = rolled_job(seed, 2);
        o.has_emblem = true;
        tr_rolled r;
        make(&o, &r);
        check_honest(&r);
        check_asked(&r);
        assert_false(tr_findings_have(&r.check.result.findings, TR_FOUND_TWO_POSITIONS));
        tr_rolled_release(&r);
    }
}

/* Without one 1 mm under the wheels leaves some 0.03 degrees open, and x; both are in u95. */
static void two_positions_leave_the_floor_open(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(5, 2);
    tr_rolled r;
    make(&o, &r);
    check_honest(&r);
    const tr_quantity *thrust = &r.check.result.geometry[TR_THRUST_ANGLE];
    assert_true(thrust->u95 > 0.02 * DEG && thrust->u95 < 0.06 * DEG);
    assert_true(r.check.result.targets[0].axis[TR_X].u95 > 0.8);
    assert_true(tr_findings_have(&r.check.result.findings, TR_FOUND_TWO_POSITIONS));
    tr_rolled_release(&r);
    /* On a floor that is known to be even it is told, as well as the centreline is, which each
       standoff moves: by half of 1 mm, of two on either axle. */
    o.floor_mm = 0;
    o.floor_sd_mm = 0;
    make(&o, &r);
    check_honest(&r);
    CHECK_NEAR(error_of(&r, TR_THRUST_ANGLE), 0, 0.01 * DEG);
    double by_standoffs = 2 * hypot(1 / sqrt(2), 1 / sqrt(2)) / 2700;
    assert_true(r.check.result.geometry[TR_THRUST_ANGLE].u95 < hypot(by_standoffs, 0.01 * DEG));
    tr_rolled_release(&r);
}

/* How squarely the sheets hang is all that is known then: 0.3 degrees a wheel, of two wheels the
   mean, is 0.42 with k = 2. */
static void without_a_roll_u95_has_the_tilt(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(6, 1);
    o.runout_rad = 0.3 * DEG;
    tr_rolled r;
    make(&o, &r);
    check_honest(&r);
    CHECK_NEAR(r.check.result.geometry[TR_THRUST_ANGLE].u95, 2 * 0.3 / sqrt(2) * DEG, 0.01 * DEG);
    CHECK_NEAR(r.check.result.geometry[TR_CAMBER].u95, 0.6 * DEG, 0.01 * DEG);
    assert_false(r.check.result.geometry[TR_RUNOUT].is_measured);
    tr_rolled_release(&r);
}

/* Standoffs are measured by hand: each wheel's middle may be off along its axis by as much as is
   stated, and half of what left and right differ by is in y; directions do not ask for them. */
static void standoffs_are_as_uncertain_as_stated(void **state) {
    (void)state;
    for (int n_positions = 1; n_positions <= 3; n_positions += 2) {
        tr_quantity none[TR_N_VEHICLE_VALUES];
        double none_y = 0;
        for (int k = 0; k < 2; k++) {
            tr_rolled_options o = rolled_job(6, n_positions);
            o.reference_sd_mm = k == 0 ? 0.001 : 1.5;
            o.standoff_mm = k == 0 ? 0 : 1.5;
            o.runout_mm = o.runout_rad = o.floor_mm = 0;
            tr_rolled r;
            make(&o, &r);
            check_honest(&r);
            const tr_quantity *q = r.check.result.geometry;
            double y = r.check.result.targets[0].axis[TR_Y].u95;
            if (k == 0) {
                memcpy(none, q, sizeof none);
                none_y = y;
            } else {
                CHECK_NEAR(q[TR_TRACK_REAR].u95, hypot(2 * sqrt(2) * 1.5, none[TR_TRACK_REAR].u95),
                           0.05);
                CHECK_NEAR(y, hypot(2 / sqrt(2) * 1.5, none_y), 0.1);
                CHECK_AT_MOST(fabs(error_of(&r, TR_TRACK_REAR)), 2 * q[TR_TRACK_REAR].u95);
            }
            tr_rolled_release(&r);
        }
    }
}

/* What both boards have in common cancels: their relation is known far better than their places. */
static void relations_are_better_than_places(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(7, 2);
    tr_rolled r;
    make(&o, &r);
    const tr_relation_result *relation = &r.check.result.relations[0];
    assert_int_equal(r.check.result.n_relations, 1);
    for (tr_axis k = 0; k < TR_N_AXES; k++) {
        double true_value = r.target[1][k] - r.target[0][k];
        CHECK_AT_MOST(fabs(relation->axis[k].measured - true_value), 2 * relation->axis[k].u95);
    }
    assert_true(relation->axis[TR_YAW].u95 < 0.5 * r.check.result.targets[0].axis[TR_YAW].u95);
    assert_int_equal(relation->verdict, TR_PASS);
    tr_rolled_release(&r);
}

/* ---- the thrust angle's limit ---- */

static void a_vehicle_that_runs_askew_does_not_pass(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(8, 3);
    tr_rolled r;
    tr_error err = {0};
    /* It runs 0.075 degrees to the right. */
    for (int i = 0; i < 2; i++) {
        assert_true(tr_rolled_make(&o, &r, &err));
        r.job.layout.thrust_limit_rad = (i == 0 ? 0.2 : 0.05) * DEG;
        assert_true(tr_check_evaluate(&r.job, &r.check, &err));
        assert_int_equal(r.check.result.verdict, i == 0 ? TR_PASS : TR_INCONCLUSIVE);
        assert_int_equal(tr_findings_have(&r.check.result.findings, TR_FOUND_THRUST_ANGLE), i);
        tr_rolled_release(&r);
    }
}

/* ---- what is wrong is named ---- */

static void check_found(const tr_rolled_options *o, tr_finding_kind kind) {
    tr_rolled r;
    make(o, &r);
    if (!tr_findings_have(&r.check.result.findings, kind))
        fail_msg("not found: %s", tr_finding_name(kind));
    assert_int_not_equal(r.check.result.verdict, TR_PASS);
    tr_rolled_release(&r);
}

static void a_sheet_that_slipped_is_named(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(9, 3);
    o.faults.slipped = 1 + TR_REAR_LEFT;
    o.faults.slip_tilt_rad = 1 * DEG;
    tr_rolled r;
    make(&o, &r);
    bool is_named = false;
    for (int i = 0; i < r.check.result.findings.n; i++) {
        const tr_finding *f = &r.check.result.findings.items[i];
        if (f->kind == TR_FOUND_HUB_SLIPPED) is_named = strcmp(f->arguments[0].text, "HUB-RL") == 0;
    }
    assert_true(is_named);
    assert_int_not_equal(r.check.result.verdict, TR_PASS);
    tr_rolled_release(&r);
    o.faults.slip_tilt_rad = 0;
    o.faults.slip_turn_rad = 20 * DEG;
    check_found(&o, TR_FOUND_HUB_TURNED_ALONE);
}

/* No photo of the first position can be used: the rest is measured, and told not to be enough. */
static void a_position_without_photos(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(15, 2);
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    for (int i = 0; i < r.check.set.n_photos; i++) {
        if (r.check.set.photos[i].position == 0) r.check.set.photos[i].is_readable = false;
    }
    if (!tr_check_evaluate(&r.job, &r.check, &err)) fail_msg("%s", err.text);
    assert_true(tr_findings_have(&r.check.result.findings, TR_FOUND_ROLLED_TOO_LITTLE));
    assert_int_not_equal(r.check.result.verdict, TR_PASS);
    CHECK_NEAR(r.check.result.geometry[TR_CAMBER].u95, 0.6 * DEG, 0.05 * DEG);
    assert_false(r.check.result.geometry[TR_RUNOUT].is_measured);
    tr_rolled_release(&r);
}

/* With two positions only how askew the sheet then seems to hang can show it. */
static void a_sheet_that_tilted_much_in_two_positions(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(16, 2);
    o.runout_rad = 0.2 * DEG;
    o.faults.slipped = 1 + TR_REAR_RIGHT;
    o.faults.slip_tilt_rad = 2.5 * DEG;
    check_found(&o, TR_FOUND_HUB_HANGS_ASKEW);
    o.faults.slip_tilt_rad = 0;
    tr_rolled r;
    make(&o, &r);
    assert_true(tr_findings_have(&r.check.result.findings, TR_FOUND_SLIP_NOT_SEEN));
    assert_int_equal(r.check.result.verdict, TR_PASS);
    tr_rolled_release(&r);
    o = rolled_job(17, 3);
    o.toe_rad[TR_FRONT_LEFT] = 3 * DEG;
    check_found(&o, TR_FOUND_WHEEL_IMPLAUSIBLE);
}

/* A sheet that was moved between positions is found out, or, where the job says so, counts in each
   for itself. */
static void a_floor_sheet_that_was_moved(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(18, 3);
    o.faults.mat_moved_mm = 25;
    check_found(&o, TR_FOUND_SHEET_MOVED);
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    r.job.is_moved[TR_ROLLED_MAT] = true;
    assert_true(tr_check_evaluate(&r.job, &r.check, &err));
    assert_false(tr_findings_have(&r.check.result.findings, TR_FOUND_SHEET_MOVED));
    assert_int_equal(r.check.result.verdict, TR_PASS);
    check_honest(&r);
    tr_rolled_release(&r);
}

/* Sheets that hang farther off their axes than stated contradict the roll's other observations by
   too little for a fault, so that the variance of all of them grows alike: of a board's pitch,
   which rests on poses alone, and of its yaw, which rests on the floor under the wheels. */
static void what_disagrees_widens_all_of_a_roll(void **state) {
    (void)state;
    double variance[2][TR_N_AXES];
    for (int k = 0; k < 2; k++) {
        tr_rolled_options o = rolled_job(20, 2);
        o.noise = o.runout_rad = o.floor_mm = 0;
        o.reference_sd_mm = 0.3;
        o.runout_mm = k;
        tr_rolled r;
        make(&o, &r);
        assert_false(tr_findings_have(&r.check.result.findings, TR_FOUND_HUB_SLIPPED));
        assert_false(tr_findings_have(&r.check.result.findings, TR_FOUND_HUBS_CONTRADICT));
        for (int axis = 0; axis < TR_N_AXES; axis++) {
            const tr_axis_result *a = &r.check.result.targets[0].axis[axis];
            bool is_length = !tr_axis_is_angle((tr_axis)axis);
            /* What all prints share is no part of the roll. */
            double shared = is_length ? 2 * TR_ADJUST_SHARED_PRINT_SD * a->measured : 0;
            variance[k][axis] = a->u95 * a->u95 - shared * shared;
        }
        tr_rolled_release(&r);
    }
    double factor = variance[1][TR_PITCH] / variance[0][TR_PITCH];
    assert_true(factor > 1.5);
    CHECK_NEAR(variance[1][TR_YAW] / variance[0][TR_YAW], factor, 0.02 * factor);
    CHECK_NEAR(variance[1][TR_X] / variance[0][TR_X], factor, 0.02 * factor);
}

static void too_little_a_roll_is_told(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(10, 2);
    o.roll_rad = 10 * DEG;
    check_found(&o, TR_FOUND_ROLLED_TOO_LITTLE);
}

static void boards_the_wrong_way_round(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(11, 2);
    o.faults.board_roll_rad = TR_PI;
    check_found(&o, TR_FOUND_BOARD_UPSIDE_DOWN);
    /* One that shows its back is not seen at all. */
    o.faults.board_roll_rad = 0;
    o.faults.board_yaw_rad = TR_PI;
    check_found(&o, TR_FOUND_SHEET_NOT_FOUND);
}

static void hub_sheets_on_the_wrong_wheels(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(12, 2);
    o.faults.exchanged_hubs[0] = TR_FRONT_LEFT;
    o.faults.exchanged_hubs[1] = TR_FRONT_RIGHT;
    check_found(&o, TR_FOUND_AXLE_PLATES_SWAPPED);
    o.faults.exchanged_hubs[1] = TR_REAR_LEFT;
    tr_rolled r;
    make(&o, &r);
    assert_int_not_equal(r.check.result.verdict, TR_PASS);
    tr_rolled_release(&r);
}

/* Nobody is told of plates where hub sheets mark the wheels. */
static void check_words(tr_rolled *r, const char *words) {
    bool is_said = false;
    char why[1000];
    if (!tr_check_evaluate(&r->job, &r->check, &(tr_error){0})) fail_msg("not evaluated");
    const tr_check_result *result = &r->check.result;
    for (int i = 0; i < result->findings.n; i++) {
        const char *text = finding_text(&result->findings.items[i]);
        if (strstr(text, "plate") || strstr(text, "plumb")) fail_msg("%s", text);
        is_said = is_said || strstr(text, words);
    }
    if (!is_said) fail_msg("not said: %s", words);
    tr_check_why(result, why, sizeof why);
    assert_null(strstr(why, "plate"));
    tr_rolled_release(r);
}

static void hub_sheets_are_called_by_their_name(void **state) {
    (void)state;
    tr_error err = {0};
    tr_rolled r;
    tr_rolled_options o = rolled_job(12, 2);
    o.faults.exchanged_hubs[0] = TR_FRONT_LEFT;
    o.faults.exchanged_hubs[1] = TR_FRONT_RIGHT;
    assert_true(tr_rolled_make(&o, &r, &err));
    check_words(&r, "The sheets of the front wheels are swapped: ");
    o = rolled_job(12, 2);
    assert_true(tr_rolled_make(&o, &r, &err));
    r.job.layout.wheelbase_mm += 100;
    check_words(&r, "a sheet is off the centre of its wheel, or this is another vehicle.");
    assert_true(tr_rolled_make(&o, &r, &err));
    r.job.reference_sd_mm = 0;
    check_words(&r, "the sheets were taken to hang exactly on their wheels' axes");
}

/* Without a roll it is most of u95; with one it would have been found. */
static void a_tilt_taken_as_none_is_told(void **state) {
    (void)state;
    for (int n = 1; n <= 3; n++) {
        tr_rolled_options o = rolled_job(6, n);
        o.runout_rad = 0;
        for (int k = 0; k < 2; k++) {
            tr_rolled r;
            o.hub_tilt_sd_rad = k == 0 ? 0.3 * DEG : 0;
            make(&o, &r);
            const tr_findings *f = &r.check.result.findings;
            const tr_finding *told = finding_of(f, "plates_taken_as_exact");
            assert_int_equal(told != NULL, k);
            if (told) assert_int_equal(told->kind, TR_FOUND_HUBS_TAKEN_AS_SQUARE);
            assert_false(tr_finding_blocks_pass(TR_FOUND_HUBS_TAKEN_AS_SQUARE));
            tr_rolled_release(&r);
        }
    }
    tr_rolled_options o = rolled_job(6, 1);
    o.reference_sd_mm = o.hub_tilt_sd_rad = 0;
    tr_rolled r;
    make(&o, &r);
    bool is_told[2] = {false, false};
    for (int i = 0; i < r.check.result.findings.n; i++) {
        tr_finding_kind kind = r.check.result.findings.items[i].kind;
        is_told[0] = is_told[0] || kind == TR_FOUND_HUBS_TAKEN_AS_EXACT;
        is_told[1] = is_told[1] || kind == TR_FOUND_HUBS_TAKEN_AS_SQUARE;
    }
    assert_true(is_told[0] && is_told[1]);
    tr_rolled_release(&r);
}

/* All photos of a position but the first lose the marks of a sheet. */
static void hide_sheet(tr_rolled *r, int sheet, int position) {
    int first = -1;
    for (int i = 0; i < r->check.set.n_photos; i++) {
        tr_photo *p = &r->check.set.photos[i];
        int n = 0;
        if (p->position != position) continue;
        for (int k = 0; k < p->marks.n_marks; k++) {
            bool is_its = p->marks.marks[k].sheet == sheet;
            if (is_its && first < 0) first = i;
            if (!is_its || first == i) p->marks.marks[n++] = p->marks.marks[k];
        }
        p->marks.n_marks = n;
    }
}

/* Photos of other positions say nothing of where a hub sheet stands in the last. */
static void a_hub_sheet_seen_once_in_the_last_position(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(19, 3);
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    hide_sheet(&r, TR_ROLLED_HUB + TR_REAR_LEFT, 2);
    if (!tr_check_evaluate(&r.job, &r.check, &err)) fail_msg("%s", err.text);
    assert_true(r.check.result.sheets[TR_ROLLED_HUB + TR_REAR_LEFT].n_photos > 1);
    const tr_finding *f = finding_of(&r.check.result.findings, "seen_once");
    assert_non_null(f);
    assert_non_null(strstr(finding_text(f), "was measured in only one photo, so"));
    assert_int_equal(f->kind, TR_FOUND_SEEN_ONCE_IN_LAST);
    tr_rolled_release(&r);
}

/* ---- what coordinates count from ---- */

static tr_vec3 true_centre(const tr_rolled *r, const char *id) {
    const tr_scene *scene = &r->scenes[r->job.n_positions - 1];
    for (int i = 0; i < scene->n_sheets; i++) {
        if (strcmp(scene->sheets[i].sheet.id, id) != 0) continue;
        return tr_pose_apply(r->truth.vehicle_from_world, scene->sheets[i].vehicle_from_sheet.t_mm);
    }
    fail();
    return tr_v3(0, 0, 0);
}

/* A tag on the body, a wheel's centre, another board; u95 has what each of them leaves open. */
static void coordinates_count_from_what_is_named(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(14, 3);
    o.has_emblem = true;
    o.reference_sd_mm = 0.2; /* how well the tag is stuck on its point */
    o.runout_mm = 0.2;
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    tr_origin *from = r.job.layout.placements[1].from;
    from[0] = (tr_origin){TR_FROM_POINT, "front-left", TR_FRONT_LEFT};
    from[1] = (tr_origin){TR_FROM_SHEET, "BOARD-1", TR_ROLLED_BOARD};
    from[2] = (tr_origin){TR_FROM_POINT, "emblem", TR_N_POINTS};
    assert_true(tr_check_evaluate(&r.job, &r.check, &err));
    const tr_axis_result *a = r.check.result.targets[1].axis;
    tr_vec3 board = true_centre(&r, "BOARD-2");
    double x = board.x - r.truth.value[TR_CENTRE + 3 * TR_FRONT_LEFT];
    double y = board.y - true_centre(&r, "BOARD-1").y;
    double z = board.z - true_centre(&r, "TAG-90").z;
    CHECK_AT_MOST(fabs(a[TR_X].measured - x), 2 * a[TR_X].u95);
    CHECK_AT_MOST(fabs(a[TR_Y].measured - y), 2 * a[TR_Y].u95);
    CHECK_AT_MOST(fabs(a[TR_Z].measured - z), 2 * a[TR_Z].u95);
    CHECK_NEAR(a[TR_X].measured, x, 1);
    CHECK_NEAR(a[TR_Y].measured, y, 0.3);
    CHECK_NEAR(a[TR_Z].measured, z, 1);
    tr_rolled_release(&r);
}

/* A triangle up to 300 mm. */
static void add_free_area(tr_layout *layout, tr_origin x, tr_origin y) {
    static const tr_vec2 CORNERS[3] = {{600, 400}, {1200, 400}, {600, -400}};
    tr_free_area *area = calloc(1, sizeof *area);
    assert_non_null(area);
    *area = (tr_free_area){.name = "lane", .from = {x, y}, .height_mm = 300, .n_corners = 3};
    area->corners_mm = malloc(sizeof CORNERS);
    assert_non_null(area->corners_mm);
    memcpy(area->corners_mm, CORNERS, sizeof CORNERS);
    layout->free_areas = area;
    layout->n_free_areas = 1;
}

static void free_areas_stand_where_they_count_from(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(15, 3);
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    add_free_area(&r.job.layout, (tr_origin){TR_FROM_FRONT_AXLE, "", 0},
                  (tr_origin){TR_FROM_SHEET, "BOARD-1", TR_ROLLED_BOARD});
    tr_check required;
    assert_true(tr_check_require(&r.job, &required, &err));
    assert_int_equal(required.result.n_free_areas, 1);
    assert_false(required.result.free_areas[0].is_placed);
    CHECK_NEAR(required.result.free_areas[0].corners_mm[1].x, r.job.layout.wheelbase_mm + 1200,
               1e-9);
    tr_check_release(&required);
    assert_true(tr_check_evaluate(&r.job, &r.check, &err));
    const tr_free_area_result *area = &r.check.result.free_areas[0];
    assert_int_equal(r.check.result.n_free_areas, 1);
    assert_true(area->is_placed);
    assert_int_equal(area->n_corners, 3);
    double y = true_centre(&r, "BOARD-1").y;
    CHECK_NEAR(area->corners_mm[2].x, r.truth.value[TR_WHEELBASE] + 600, 1);
    CHECK_NEAR(area->corners_mm[2].y, y - 400, 0.3);
    CHECK_NEAR(area->corners_mm[1].x - area->corners_mm[0].x, 600, 1e-9);
    tr_rolled_release(&r);
}

/* ---- the result ---- */

static void the_result_is_read_back(void **state) {
    (void)state;
    tr_rolled_options o = rolled_job(13, 2);
    o.has_emblem = true;
    tr_rolled r;
    tr_error err = {0};
    make(&o, &r);
    json_t *json = tr_check_json(&r.check.result);
    tr_check_result read;
    assert_non_null(json);
    if (!tr_check_json_read(json, &read, &err)) fail_msg("%s: %s", err.key, err.text);
    char *a = check_text_of(&r.check.result, false);
    char *b = check_text_of(&read, false);
    assert_string_equal(a, b);
    assert_non_null(strstr(a, "thrust angle"));
    assert_non_null(strstr(a, "From BOARD-1 to BOARD-2"));
    free(a);
    free(b);
    json_decref(json);
    tr_check_result_release(&read);
    tr_rolled_release(&r);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_positions_tell_the_thrust_line),
        cmocka_unit_test(a_sheet_on_the_body_tells_it_in_two),
        cmocka_unit_test(two_positions_leave_the_floor_open),
        cmocka_unit_test(without_a_roll_u95_has_the_tilt),
        cmocka_unit_test(standoffs_are_as_uncertain_as_stated),
        cmocka_unit_test(relations_are_better_than_places),
        cmocka_unit_test(a_vehicle_that_runs_askew_does_not_pass),
        cmocka_unit_test(a_sheet_that_slipped_is_named),
        cmocka_unit_test(a_position_without_photos),
        cmocka_unit_test(a_sheet_that_tilted_much_in_two_positions),
        cmocka_unit_test(a_floor_sheet_that_was_moved),
        cmocka_unit_test(what_disagrees_widens_all_of_a_roll),
        cmocka_unit_test(too_little_a_roll_is_told),
        cmocka_unit_test(boards_the_wrong_way_round),
        cmocka_unit_test(hub_sheets_on_the_wrong_wheels),
        cmocka_unit_test(hub_sheets_are_called_by_their_name),
        cmocka_unit_test(a_tilt_taken_as_none_is_told),
        cmocka_unit_test(a_hub_sheet_seen_once_in_the_last_position),
        cmocka_unit_test(coordinates_count_from_what_is_named),
        cmocka_unit_test(free_areas_stand_where_they_count_from),
        cmocka_unit_test(the_result_is_read_back),
    };
    return cmocka_run_group_tests_name("wheels", tests, NULL, NULL);
}
