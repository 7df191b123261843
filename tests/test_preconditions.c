/* What has to be seen to before measuring: a required precondition that nobody confirmed rules out
   a pass, and changes nothing else. Jobs are simulated. */
#include "check.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "findings.h"
#include "honest.h"
#include "job/preconditions.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "text.h"

static const tr_precondition TYRES = {"tyre-pressures", "Tyre pressures set", true};
static const tr_precondition TANK = {"tank-full", "Tank full", false};
static const tr_confirmation BY_T04 = {
    .precondition = 0, .is_done = true, .by = "T-04", .at = "2026-11-29T08:10"};
static const tr_confirmation NO_GAUGE = {.precondition = 0, .reason = "no gauge"};
static const tr_confirmation NO_FUEL = {.precondition = 1, .reason = "pump out of order"};

/* A check of a job with both preconditions, and what it says of them. */
static void check_with(tr_sim *sim, double off_mm, const tr_confirmation *said, int n) {
    tr_error err = {0};
    tr_sim_options o = honest(1);
    o.scene.mat_error[0] = off_mm;
    assert_true(tr_simulate(&o, sim, &err));
    tr_job *job = &sim->job;
    job->layout.preconditions = calloc(2, sizeof *job->layout.preconditions);
    job->confirmations = calloc(2, sizeof *job->confirmations);
    assert_true(job->layout.preconditions && job->confirmations);
    job->layout.preconditions[0] = TYRES;
    job->layout.preconditions[1] = TANK;
    job->layout.n_preconditions = 2;
    for (int i = 0; i < n; i++) job->confirmations[i] = said[i];
    job->n_confirmations = n;
    assert_true(tr_check_evaluate(job, &sim->check, &err));
    assert_true(tr_check_finish(&sim->check, NULL, &err));
}

static void check_verdict(double off_mm, const tr_confirmation *said, int n, tr_verdict wanted,
                          const char *sentence) {
    tr_sim sim;
    check_with(&sim, off_mm, said, n);
    const tr_check_result *r = &sim.check.result;
    const tr_finding *f = finding_of(&r->findings, "precondition_missing");
    assert_int_equal(r->verdict, wanted);
    assert_int_equal(r->targets[0].verdict, wanted);
    assert_int_equal(f != NULL, sentence != NULL);
    if (f && sentence) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(f, text);
        assert_true(tr_finding_blocks_pass(f->kind));
        if (!strstr(text, sentence)) fail_msg("%s", text);
    }
    tr_sim_release(&sim);
}

static void what_is_confirmed_passes(void **state) {
    (void)state;
    const tr_confirmation both[] = {BY_T04, NO_FUEL};
    check_verdict(0, &BY_T04, 1, TR_PASS, NULL);
    check_verdict(0, both, 2, TR_PASS, NULL); /* the tank is not required */
}

static void what_is_not_confirmed_cannot_pass(void **state) {
    (void)state;
    check_verdict(0, NULL, 0, TR_INCONCLUSIVE, "'Tyre pressures set' (tyre-pressures)");
    check_verdict(0, &NO_FUEL, 1, TR_INCONCLUSIVE, "The job does not say that this was so");
    check_verdict(0, &NO_GAUGE, 1, TR_INCONCLUSIVE, "this was not done: 'no gauge'");
}

/* A fail stays one, and what to move is told. */
static void a_fail_stays_a_fail(void **state) {
    (void)state;
    tr_sim sim;
    check_verdict(60, NULL, 0, TR_FAIL, "Tyre pressures set");
    check_verdict(60, &NO_GAUGE, 1, TR_FAIL, "no gauge");
    check_verdict(60, &BY_T04, 1, TR_FAIL, NULL);
    check_with(&sim, 60, NULL, 0);
    assert_true(sim.check.result.targets[0].is_to_move);
    tr_sim_release(&sim);
}

static void it_is_told_and_read_back(void **state) {
    (void)state;
    const tr_confirmation said[] = {BY_T04, NO_FUEL};
    tr_sim sim;
    tr_check_result read;
    tr_error err = {0};
    check_with(&sim, 0, said, 2);
    char *text = check_text_of(&sim.check.result, false);
    assert_non_null(strstr(text, "Before measuring\n"
                                 "  - Tyre pressures set: confirmed by T-04, 2026-11-29T08:10\n"
                                 "  - Tank full: not done; not required: pump out of order\n"));
    json_t *json = tr_check_json(&sim.check.result);
    const json_t *all = json_object_get(json, "preconditions");
    assert_int_equal(json_array_size(all), 2);
    const json_t *first = json_array_get(all, 0);
    assert_string_equal(json_string_value(json_object_get(first, "id")), "tyre-pressures");
    assert_string_equal(json_string_value(json_object_get(first, "state")), "confirmed");
    assert_string_equal(json_string_value(json_object_get(first, "by")), "T-04");
    assert_string_equal(json_string_value(json_object_get(first, "at")), "2026-11-29T08:10");
    assert_true(json_is_true(json_object_get(first, "required")));
    assert_true(json_is_null(json_object_get(first, "reason")));
    if (!tr_check_json_read(json, &read, &err)) fail_msg("'%s' %s", err.key, err.text);
    char *again = check_text_of(&read, false);
    json_t *json_again = tr_check_json(&read);
    assert_string_equal(again, text);
    assert_true(json_equal(json_again, json));
    json_object_set_new(json_array_get(all, 1), "state", json_string("maybe"));
    tr_check_result_release(&read);
    assert_false(tr_check_json_read(json, &read, &err));
    assert_string_equal(err.key, "state");
    tr_check_result_release(&read);
    json_decref(json);
    json_decref(json_again);
    free(text);
    free(again);
    tr_sim_release(&sim);
}

static void a_layout_without_any_says_nothing(void **state) {
    (void)state;
    tr_sim sim;
    tr_error err = {0};
    tr_sim_options o = honest(1);
    assert_true(tr_simulate(&o, &sim, &err) && tr_check_evaluate(&sim.job, &sim.check, &err) &&
                tr_check_finish(&sim.check, NULL, &err));
    json_t *json = tr_check_json(&sim.check.result);
    assert_null(json_object_get(json, "preconditions"));
    json_decref(json);
    tr_sim_release(&sim);
}

/* ISO 8601-1: calendar dates, times of day, differences to UTC. Leap years by the Gregorian rule.
 */
static void times_are_those_of_the_calendar(void **state) {
    (void)state;
    static const char *const GOOD[] = {"2026-11-29T08:10",      "2026-11-29T23:59:59",
                                       "2024-02-29T00:00",      "2000-02-29T12:00",
                                       "2026-11-29T08:10:00Z",  "2026-11-29T08:10:00+01:00",
                                       "2026-11-29T08:10-03:30"};
    static const char *const BAD[] = {"",
                                      "2026-11-29",
                                      "2026-11-29 08:10",
                                      "2026-11-31T08:10",
                                      "2026-02-29T08:10",
                                      "1900-02-29T08:10",
                                      "2026-13-01T08:10",
                                      "2026-00-01T08:10",
                                      "2026-11-00T08:10",
                                      "2026-11-29T24:00",
                                      "2026-11-29T08:60",
                                      "2026-11-29T08:10:60",
                                      "2026-11-29T08:10+1",
                                      "2026-11-29T08:10+01:00x",
                                      "2026-11-29T8:10",
                                      "29.11.2026 08:10",
                                      "2026-11-29T08:10 ",
                                      "0000-01-01T00:00"};
    for (size_t i = 0; i < sizeof GOOD / sizeof *GOOD; i++) assert_true(tr_time_is_valid(GOOD[i]));
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        if (tr_time_is_valid(BAD[i])) fail_msg("'%s' is taken for a time", BAD[i]);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_confirmed_passes),
        cmocka_unit_test(what_is_not_confirmed_cannot_pass),
        cmocka_unit_test(a_fail_stays_a_fail),
        cmocka_unit_test(it_is_told_and_read_back),
        cmocka_unit_test(a_layout_without_any_says_nothing),
        cmocka_unit_test(times_are_those_of_the_calendar),
    };
    return cmocka_run_group_tests_name("preconditions", tests, NULL, NULL);
}
