/* A check's result is a value: written as JSON, read back, and shown without the job and the check
   that it came from, it says the same, byte for byte. */
#include "check.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/language.h"
#include "check/check.h"
#include "findings.h"
#include "honest.h"
#include "text.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "base/json.h"
#include "present/picture.h"

typedef struct {
    char *german; /* the text in another language */
    char *text, *json;
    uint8_t *picture; /* all pages */
    size_t picture_size;
} shown;

/* Not inlined: as check_text_of. */
__attribute__((noinline)) static char *json_of(const tr_check_result *result) {
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    assert_non_null(out);
    json_t *json = tr_check_json(result);
    assert_true(json && tr_json_print(json, out));
    json_decref(json);
    assert_int_equal(fclose(out), 0);
    return text;
}

static shown show(const tr_check_result *result) {
    static const char PATH[] = "result.pdf";
    tr_error err = {0};
    shown s = {.text = check_text_of(result, true), .json = json_of(result)};
    assert_true(tr_language_set("de", &err));
    s.german = check_text_of(result, false);
    assert_true(tr_language_set("en", &err));
    if (!tr_picture_write(result, NULL, PATH, &err)) fail_msg("%s", err.text);
    assert_true(tr_file_read(PATH, (size_t)1 << 28, &s.picture, &s.picture_size, &err));
    unlink(PATH);
    return s;
}

static void release_shown(shown *s) {
    free(s->text);
    free(s->german);
    free(s->json);
    free(s->picture);
}

static tr_check_result read_back(const char *text) {
    tr_check_result result;
    tr_error err = {0};
    json_error_t why;
    json_t *json = json_loads(text, 0, &why);
    assert_non_null(json);
    if (!tr_check_json_read(json, &result, &err)) fail_msg("'%s' %s", err.key, err.text);
    json_decref(json);
    return result;
}

/* The result is taken over. */
static void check_reads_back(tr_check_result *result) {
    shown before = show(result);
    tr_check_result_release(result);
    tr_check_result read = read_back(before.json);
    shown after = show(&read);
    assert_string_equal(after.text, before.text);
    assert_string_equal(after.german, before.german);
    assert_string_not_equal(after.german, after.text);
    assert_string_equal(after.json, before.json);
    assert_int_equal(after.picture_size, before.picture_size);
    assert_memory_equal(after.picture, before.picture, before.picture_size);
    if (getenv("TRAMMEL_SHOW")) puts(after.text);
    tr_check_result_release(&read);
    release_shown(&before);
    release_shown(&after);
}

/* code: of a finding that must be among them, so that its arguments are written and read; NULL:
 * any.
 */
static void check_simulated(const tr_sim_options *options, const char *code) {
    tr_sim sim;
    tr_error why = {0};
    tr_error err = {0};
    assert_true(tr_simulate(options, &sim, &err));
    bool ok = tr_check_evaluate(&sim.job, &sim.check, &why);
    assert_true(tr_check_finish(&sim.check, ok ? NULL : &why, &err));
    tr_check_result result = tr_check_take_result(&sim.check);
    tr_sim_release(&sim); /* with its job */
    if (code && !finding_of(&result.findings, code)) fail_msg("nothing was found of %s", code);
    check_reads_back(&result);
}

/* Of an ideal camera whose profile says so. */
static tr_sim_options steady(uint64_t seed) {
    tr_sim_options o = honest(seed);
    o.scene.is_steady = true;
    return o;
}

static void an_honest_job_reads_back(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        tr_sim_options o = steady(seed);
        o.scene.mat_error[0] = 4.0 * (double)seed;
        o.scene.mat_error[2] = 0.2 * TR_RAD_PER_DEG * (double)seed;
        check_simulated(&o, NULL);
    }
}

static void jobs_with_findings_read_back(void **state) {
    (void)state;
    tr_sim_options o = steady(4);
    o.faults.mat_moved_mm = tr_v2(60, 20);
    o.faults.moved_from = 4;
    check_simulated(&o, "sheet_moved");
    o = steady(5);
    o.faults.mat_scale = 0.99;
    check_simulated(&o, "sheet_scale");
    o = steady(6);
    o.faults.lens_factor = 1.05;
    check_simulated(&o, "lens_mismatch");
    o = steady(7);
    o.faults.mat_curl_mm = 30;
    check_simulated(&o, "sheet_not_flat");
    o = steady(8);
    o.faults.plate_off_mm[TR_REAR_LEFT] = tr_v2(-40, 35);
    check_simulated(&o, "plate_off");
    o = steady(9);
    o.faults.is_mat_missing = true;
    check_simulated(&o, "sheet_not_found");
    o = steady(10);
    o.noise.reference_sd_mm = 0;
    o.scene.is_exact_lens = true;
    check_simulated(&o, "plates_taken_as_exact");
    o = steady(11);
    o.scene.has_second_mat = true;
    o.faults.are_mats_exchanged = true;
    check_simulated(&o, NULL);
}

static void an_unknown_lens_reads_back(void **state) {
    (void)state;
    tr_sim_options o = steady(12);
    o.scene.is_steady = false;
    o.scene.is_lens_unknown = true;
    check_simulated(&o, "lens_unknown");
    o.n_photos = 3; /* too few: there is no measurement */
    check_simulated(&o, NULL);
}

/* What codes in photos say: of a vehicle that the job states, that it does not, and of none. */
static void what_codes_say_reads_back(void **state) {
    (void)state;
    for (int k = 0; k < 3; k++) {
        tr_sim sim;
        tr_error err = {0};
        tr_sim_options o = steady(13);
        assert_true(tr_simulate(&o, &sim, &err));
        assert_true(tr_check_evaluate(&sim.job, &sim.check, &err));
        tr_identity *identity = &sim.check.result.identity;
        *identity = (tr_identity){.is_asked = true,
                                  .symbology = "code-39",
                                  .photo = "photos/vin.jpg",
                                  .has_stated = k == 0,
                                  .sheets = calloc(2, sizeof *identity->sheets),
                                  .codes = calloc(1, sizeof *identity->codes),
                                  .n_sheets = 2,
                                  .n_codes = 1};
        assert_true(identity->sheets && identity->codes);
        if (k < 2) snprintf(identity->vehicle, sizeof identity->vehicle, "1M8GDM9AXKP042788");
        identity->sheets[0] = (tr_label_result){"MAT-7", "no 4711", "photos/1.jpg"};
        identity->sheets[1] = (tr_label_result){"MAT-8", "", ""};
        identity->codes[0] = (tr_code_result){"1M8GDM9AXKP042788", "code-39", "photos/vin.jpg"};
        if (k == 0) {
            assert_true(tr_note(VEHICLE_ID_DIFFERS, &sim.check.result.findings, &err,
                                "1G4AH59H45G118341", "1M8GDM9AXKP042788", "photos/vin.jpg"));
        }
        assert_true(tr_check_finish(&sim.check, NULL, &err));
        tr_check_result result = tr_check_take_result(&sim.check);
        tr_sim_release(&sim);
        if (k == 1) assert_string_equal(result.vehicle_id, "1M8GDM9AXKP042788");
        if (k == 2) {
            result.identity.photo[0] = result.identity.symbology[0] = 0;
        }
        check_reads_back(&result);
    }
}

/* The job's photos, one that is not there, and the first again: two that are not used. */
static void read_photos(const tr_job *job, tr_check *check) {
    char *files[32];
    int n = job->n_photos;
    tr_error err = {0};
    char missing[] = "none.jpg";
    assert_true(n + 2 <= (int)(sizeof files / sizeof *files));
    for (int i = 0; i < n; i++) files[i] = job->photos[i];
    files[n++] = missing;
    files[n++] = job->photos[0];
    if (!tr_check_photos(job, files, n, &(tr_workers){.n_threads = 1}, check, &err)) {
        fail_msg("%s", err.text);
    }
}

/* With photos that are there to be drawn. */
static void the_demo_reads_back(void **state) {
    (void)state;
    static const char *const JOBS[] = {"demo-pass.yaml", "demo-fail.yaml"};
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    for (int i = 0; i < 2; i++) {
        char path[1024];
        tr_job job;
        tr_check check;
        tr_error err = {0};
        snprintf(path, sizeof path, "%s/testimages/%s", source, JOBS[i]);
        if (!tr_job_read(path, &job, &err)) fail_msg("%s: %s", path, err.text);
        read_photos(&job, &check);
        assert_true(tr_check_evaluate(&job, &check, &err) && tr_check_finish(&check, NULL, &err));
        tr_check_result result = tr_check_take_result(&check);
        const int job_photos = job.n_photos;
        tr_check_release(&check);
        tr_job_release(&job);
        assert_true(result.targets[0].photo >= 0);
        assert_int_equal(result.photos[job_photos].why_not.items[0].kind, TR_FOUND_SAID);
        assert_int_equal(result.photos[job_photos + 1].why_not.items[0].kind, TR_FOUND_SAME_PHOTO);
        assert_non_null(finding_of(&result.findings, "photo_not_used"));
        check_reads_back(&result);
    }
}

static void a_check_without_a_job_reads_back(void **state) {
    (void)state;
    tr_check_result result = {.has_job = false};
    tr_fail_at(&result.why, TR_BAD_INPUT, "job.yaml", 3, "lens", "is missing");
    result.order = calloc(1, sizeof *result.order);
    check_reads_back(&result);
}

/* Each key that a reader needs is taken out in turn: an error that names it, and no crash. */
static void what_is_missing_is_named(void **state) {
    (void)state;
    static const char *const KEYS[] = {"verdict", "targets",  "references", "sheets",
                                       "photos",  "warnings", "left_out",   "degrees_of_freedom",
                                       "job",     "program",  "vehicle_id"};
    enum { N_NEEDED = 8 };
    tr_sim sim;
    tr_error err = {0};
    tr_sim_options o = steady(1);
    assert_true(tr_simulate(&o, &sim, &err) && tr_check_evaluate(&sim.job, &sim.check, &err) &&
                tr_check_finish(&sim.check, NULL, &err));
    for (size_t i = 0; i < sizeof KEYS / sizeof *KEYS; i++) {
        tr_check_result read;
        tr_error why = {0};
        bool is_needed = i < N_NEEDED;
        json_t *json = tr_check_json(&sim.check.result);
        json_object_del(json, KEYS[i]);
        assert_int_equal(tr_check_json_read(json, &read, &why), !is_needed);
        if (is_needed) assert_string_equal(why.key, KEYS[i]);
        tr_check_result_release(&read);
        json_decref(json);
    }
    tr_sim_release(&sim);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_honest_job_reads_back),
        cmocka_unit_test(jobs_with_findings_read_back),
        cmocka_unit_test(an_unknown_lens_reads_back),
        cmocka_unit_test(what_codes_say_reads_back),
        cmocka_unit_test(the_demo_reads_back),
        cmocka_unit_test(a_check_without_a_job_reads_back),
        cmocka_unit_test(what_is_missing_is_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
