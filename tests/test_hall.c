/* Large jobs, where most causes are judged by the linearised test alone: right values, and what is
   wrong is still found. */
#include "check.h"

#include <string.h>

#include "check/check.h"
#include "findings.h"
#include "tools/simulate/hall.h"

static const tr_hall_options LARGE = {.seed = 3, .n_photos = 40, .n_sheets = 20};

static void run(const tr_hall_options *options, tr_hall *hall) {
    tr_error err = {0};
    if (!tr_hall_simulate(options, hall, &err)) fail_msg("%s", err.text);
    if (!tr_check_evaluate(&hall->job, &hall->check, &err)) fail_msg("%s", err.text);
}

static void all_is_right(void **state) {
    (void)state;
    tr_hall hall;
    double sum = 0;
    int n = 0;
    run(&LARGE, &hall);
    const tr_check *check = &hall.check;
    assert_false(tr_findings_block_pass(&check->result.findings));
    assert_int_equal(check->result.n_rejected, 0);
    for (int i = 0; i < hall.job.layout.n_placements; i++) {
        const tr_target_result *t = &check->result.targets[i];
        const tr_sheet_condition *c = &check->result.sheets[t->sheet].condition;
        tr_vec3 truth = hall.vehicle_from_sheet[t->sheet].t_mm;
        double error[2] = {t->axis[TR_X].measured - truth.x, t->axis[TR_Y].measured - truth.y};
        double u[2] = {t->axis[TR_X].u95 / 2, t->axis[TR_Y].u95 / 2};
        for (int k = 0; k < 2; k++) {
            assert_true(u[k] > 0);
            CHECK_AT_MOST(fabs(error[k]), 4.5 * u[k]);
            sum += error[k] * error[k] / (u[k] * u[k]);
            n++;
        }
        assert_true(c->has_print_scale && c->has_flatness);
        for (int k = 0; k < 2; k++)
            CHECK_AT_MOST(fabs(c->print_scale[k]), 2.25 * c->print_scale_u95[k]);
        assert_int_equal(check->result.sheets[t->sheet].flatness_verdict, TR_PASS);
    }
    /* The frame is common to all, so that this is no more than an order of size; the plates lie
       exactly right here. */
    CHECK_AT_MOST(sum / n, 2);
    tr_hall_release(&hall);
}

/* Told, of that sheet and no other, and no pass. */
static void expect_moved(const tr_hall_options *options) {
    tr_hall hall;
    run(options, &hall);
    const char *id = hall.job.sheets[options->moved_sheet].id;
    const tr_finding *moved = finding_of(&hall.check.result.findings, "sheet_moved");
    const char *said = moved ? finding_text(moved) : NULL;
    if (!said || strncmp(said, id, strlen(id)) != 0) {
        fail_msg("%s was moved, said is: %s", id, said ? said : "nothing");
    }
    assert_int_not_equal(hall.check.result.verdict, TR_PASS);
    tr_hall_release(&hall);
}

static void a_moved_mat_is_found(void **state) {
    (void)state;
    tr_hall_options options = LARGE;
    const tr_vec2 by[] = {{5, -3}, {8, 5}, {-60, 20}};
    for (size_t i = 0; i < sizeof by / sizeof *by; i++) {
        options.moved_sheet = 7 + 3 * (int)i;
        options.moved_mm = by[i];
        options.moved_from = 20;
        expect_moved(&options);
    }
}

static void a_nudged_plate_is_found(void **state) {
    (void)state;
    tr_hall_options options = LARGE;
    options.moved_sheet = 1;
    options.moved_mm = tr_v2(6, 3);
    options.moved_from = 15;
    expect_moved(&options);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_is_right),
        cmocka_unit_test(a_moved_mat_is_found),
        cmocka_unit_test(a_nudged_plate_is_found),
    };
    return cmocka_run_group_tests_name("hall", tests, NULL, NULL);
}
