/* Records as a user keeps and meets them: the built program with a store, and what it writes for
   other programs. Photos are rendered (small.h); what is read back is read by other means than the
   program's own wherever there are any. */
#include "small.h"

#include <fcntl.h>
#include <jansson.h>
#include <math.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#include "base/file.h"
#include "check/lens_age.h"
#include "records/compare.h"
#include "records/export.h"
#include "records/load.h"
#include "records/recorder.h"
#include "records/unpack.h"
#include "store/store.h"

enum { PASS = 0, FAIL = 1, NO_MEASURE = 3, USAGE = 64, LONGEST_S = 120 };

/* ---- running it ---- */

typedef struct {
    int status;
    char out[262144], err[16384];
} outcome;

static void read_text(const char *path, char *text, size_t size) {
    FILE *from = fopen(path, "rb");
    assert_non_null(from);
    size_t n = fread(text, 1, size - 1, from);
    text[n] = 0;
    assert_true(n < size - 1);
    assert_int_equal(fclose(from), 0);
}

/* Runs the program with arguments as a shell reads them; the last outcome is overwritten. */
static const outcome *run(const char *arguments) {
    static outcome o;
    char line[4096];
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    assert_true(snprintf(line, sizeof line, "exec 2>.err >.out; exec timeout %d '%s' %s", LONGEST_S,
                         program, arguments) < (int)sizeof line);
    int status = system(line);
    assert_true(WIFEXITED(status));
    o.status = WEXITSTATUS(status);
    read_text(".out", o.out, sizeof o.out);
    read_text(".err", o.err, sizeof o.err);
    unlink(".out");
    unlink(".err");
    return &o;
}

static void check_has(const char *text, const char *part) {
    if (strstr(text, part)) return;
    print_error("'%s' is not in:\n%s\n", part, text);
    fail();
}

static const outcome *run_to(int status, const char *arguments) {
    const outcome *o = run(arguments);
    if (o->status != status) {
        print_error("trammel %s\nexit status %d, not %d\n%s\n%s\n", arguments, o->status, status,
                    o->out, o->err);
        fail();
    }
    return o;
}

static json_t *parse(const char *text) {
    json_error_t why;
    json_t *json = json_loads(text, JSON_REJECT_DUPLICATES, &why);
    if (!json) print_error("%s, line %d:\n%s\n", why.text, why.line, text);
    assert_non_null(json);
    return json;
}

static const char *text_of(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    if (!text) print_error("'%s' is no string\n", key);
    assert_non_null(text);
    return text;
}

static size_t count_records(const char *store) {
    char arguments[256];
    snprintf(arguments, sizeof arguments, "records --limit 0 --json --store %s", store);
    json_t *json = parse(run_to(PASS, arguments)->out);
    size_t n = json_array_size(json_object_get(json, "records"));
    json_decref(json);
    return n;
}

static void copy_file(const char *from, const char *to) {
    uint8_t *data;
    size_t size;
    assert_true(tr_file_read(from, 1 << 26, &data, &size, NULL));
    temp_write(to, data, size);
    free(data);
}

/* ---- keeping ---- */

static void a_check_is_kept_as_it_was_read(void **state) {
    (void)state;
    const outcome *o = run_to(PASS, "check job.yaml --json");
    char *wanted = strdup(o->out);
    o = run_to(PASS, "check job.yaml --store kept.db");
    static const char TOLD[] = "Kept as record 1, ";
    char told[9] = "";
    check_has(o->out, TOLD);
    memcpy(told, strstr(o->out, TOLD) + sizeof TOLD - 1, sizeof told - 1);
    json_t *json = parse(run_to(PASS, "records show 1 --json --store kept.db")->out);
    const json_t *record = json_object_get(json, "record");
    assert_memory_equal(text_of(record, "hash"), told, 8);
    assert_string_equal(text_of(record, "kind"), "check");
    assert_string_equal(text_of(record, "job"), "SMALL-1");
    assert_string_equal(text_of(record, "vehicle"), "1M8GDM9AXKP042788");
    assert_string_equal(text_of(record, "verdict"), "pass");
    assert_true(strlen(text_of(record, "technician")) > 0); /* the login name */
    /* All files that it rests on, each with the hash of what lies on the disk. */
    static const char *const WANTED[][2] = {
        {"job", "job.yaml"},      {"lens", "lens.yaml"}, {"layout", "layout.yaml"},
        {"sheet", "mat.yaml"},    {"sheet", "p0.yaml"},  {"sheet", "p1.yaml"},
        {"sheet", "p2.yaml"},     {"sheet", "p3.yaml"},  {"photo", "1.jpg"},
        {"photo", "2.jpg"},       {"photo", "3.jpg"},    {"photo", "4.jpg"},
        {"result", "result.json"}};
    const json_t *files = json_object_get(record, "files");
    assert_int_equal(json_array_size(files), sizeof WANTED / sizeof *WANTED);
    for (size_t i = 0; i < sizeof WANTED / sizeof *WANTED; i++) {
        const json_t *file = json_array_get(files, i);
        assert_string_equal(text_of(file, "role"), WANTED[i][0]);
        assert_string_equal(text_of(file, "name"), WANTED[i][1]);
        uint8_t *data = (uint8_t *)wanted;
        size_t size = strlen(wanted);
        char sha256[65];
        bool is_result = strcmp(WANTED[i][0], "result") == 0;
        if (!is_result) assert_true(tr_file_read(WANTED[i][1], 1 << 26, &data, &size, NULL));
        tr_sha256_hex(data, size, sha256);
        assert_string_equal(text_of(file, "sha256"), sha256);
        if (!is_result) free(data);
    }
    json_decref(json);
    free(wanted);
}

static void who_measured_is_the_job_s_technician_or_by(void **state) {
    (void)state;
    char text[sizeof SMALL_JOB + 64];
    run_to(PASS, "check job.yaml --store who.db --by \"O'Brien; \\\"DROP\\\"\"");
    snprintf(text, sizeof text, "%stechnician: T-07\n", SMALL_JOB);
    small_text(".", "job-t.yaml", text);
    run_to(PASS, "check job-t.yaml --store who.db --by somebody");
    json_t *json = parse(run_to(PASS, "records --json --store who.db")->out);
    const json_t *records = json_object_get(json, "records");
    assert_string_equal(text_of(json_array_get(records, 0), "technician"), "O'Brien; \"DROP\"");
    assert_string_equal(text_of(json_array_get(records, 1), "technician"), "T-07");
    json_decref(json);
    json = parse(run_to(PASS, "records --technician T-07 --json --store who.db")->out);
    assert_int_equal(json_array_size(json_object_get(json, "records")), 1);
    json_decref(json);
}

/* The verdict is shown whatever happens to the record. */
static void what_cannot_be_kept_is_told_after_the_verdict(void **state) {
    (void)state;
    const outcome *o = run_to(NO_MEASURE, "check job.yaml --keep");
    check_has(o->out, "PASS");
    check_has(o->err, "there is no store");
    o = run_to(NO_MEASURE, "check job.yaml --store no/such/folder/s.db");
    check_has(o->out, "PASS");
    check_has(o->err, "not kept as a record");
    assert_null(strstr(o->out, "Kept as record"));
    small_text(".", "no-store.db", "this is a letter, and no store of records at all\n");
    o = run_to(NO_MEASURE, "check job.yaml --json --store no-store.db");
    check_has(o->err, "not kept as a record");
    json_decref(parse(o->out));
    /* Nothing is kept of a job that cannot be read. */
    run_to(NO_MEASURE, "check nowhere.yaml --store nothing.db");
    assert_int_equal(count_records("nothing.db"), 0);
}

/* A disk that is full: what a file may have, 12 kB, is less than a record needs. */
static void a_full_disk_keeps_nothing_and_shows_the_verdict(void **state) {
    (void)state;
    char line[1024];
    const char *program = getenv("TRAMMEL_PROGRAM");
    run_to(PASS, "check job.yaml --store full.db");
    snprintf(line, sizeof line,
             "sh -c 'trap \"\" XFSZ; ulimit -f 24; exec \"%s\" check job.yaml --store full.db' "
             ">full.out 2>full.err",
             program);
    int status = system(line);
    char out[65536], err[4096];
    read_text("full.out", out, sizeof out);
    read_text("full.err", err, sizeof err);
    assert_int_equal(WEXITSTATUS(status), NO_MEASURE);
    check_has(out, "PASS");
    assert_null(strstr(out, "Kept as record"));
    check_has(err, "not kept as a record");
    assert_int_equal(count_records("full.db"), 1);
    run_to(PASS, "records verify --store full.db");
    check_has(run_to(PASS, "check job.yaml --store full.db")->out, "Kept as record 2");
}

static void a_store_for_reading_only_keeps_nothing(void **state) {
    (void)state;
    if (geteuid() == 0) skip(); /* root writes anywhere */
    run_to(PASS, "check job.yaml --store read.db");
    assert_int_equal(chmod("read.db", 0444), 0);
    const outcome *o = run_to(NO_MEASURE, "check job.yaml --store read.db");
    check_has(o->out, "PASS");
    assert_null(strstr(o->out, "Kept as record"));
    assert_int_equal(count_records("read.db"), 1);
}

/* ---- the same again ---- */

static void a_check_is_measured_again_to_the_same_bytes(void **state) {
    (void)state;
    assert_int_equal(mkdir("away", 0777), 0);
    assert_int_equal(system("cp *.yaml *.jpg away && cp 1.jpg away/broken.jpg && "
                            "truncate -s 3000 away/broken.jpg"),
                     0);
    /* With photos that are broken, are not there, or are named as the job's folder has them. */
    run_to(PASS, "check away/job.yaml --store away.db");
    run("check --store away.db away/job.yaml away/1.jpg away/2.jpg away/3.jpg away/broken.jpg "
        "away/none.jpg 4.jpg -- away/-x.jpg");
    run("check away/job.yaml away/1.jpg p0.jpg --store away.db --threads 1");
    assert_int_equal(rename("4.jpg", "moved.jpg"), 0);
    run("check away/job.yaml 1.jpg 2.jpg 3.jpg 4.jpg --store away.db"); /* 4.jpg is beside the job
                                                                         */
    assert_int_equal(rename("moved.jpg", "4.jpg"), 0);
    size_t n = count_records("away.db");
    assert_int_equal(n, 4);
    temp_remove("away"); /* nothing of it is needed any more */
    for (size_t i = 1; i <= n; i++) {
        char arguments[64];
        snprintf(arguments, sizeof arguments, "records recheck %zu --json --store away.db", i);
        json_t *json = parse(run_to(PASS, arguments)->out);
        assert_true(json_is_true(json_object_get(json, "same_bytes")));
        assert_int_equal(json_array_size(json_object_get(json, "differences")), 0);
        json_decref(json);
    }
}

static void a_lens_is_kept_with_its_profile_and_found_again(void **state) {
    (void)state;
    run_to(PASS, "lens b1.jpg b2.jpg b3.jpg b4.jpg b5.jpg b6.jpg --squares 7x5 --pitch 60 "
                 "--out phone.yaml --steady --store lens.db --by 'T-01'");
    json_t *json = parse(run_to(PASS, "records show 1 --json --store lens.db")->out);
    const json_t *files = json_object_get(json_object_get(json, "record"), "files");
    const json_t *profile = json_array_get(files, 6);
    uint8_t *data;
    size_t size;
    char sha256[65];
    assert_string_equal(text_of(profile, "role"), "lens");
    assert_true(tr_file_read("phone.yaml", 1 << 20, &data, &size, NULL));
    tr_sha256_hex(data, size, sha256);
    free(data);
    assert_string_equal(text_of(profile, "sha256"), sha256);
    json_decref(json);
    check_has(run_to(PASS, "records recheck 1 --store lens.db")->out, "byte for byte");
    unlink("phone.yaml");
}

/* The mat of the job, by its own printed rule. */
static void a_survey_is_kept_with_its_sheet_and_made_again(void **state) {
    (void)state;
    small_text(".", "survey.yaml",
               "survey: MAT-S by its rule\nlens: lens.yaml\nsheets: [mat.yaml]\n"
               "rules: [{ sheet: MAT-S, x_mm: 100, y_mm: 100, sd_mm: 0.1 }]\n"
               "photos: [1.jpg, 2.jpg, 3.jpg, 4.jpg]\n");
    run_to(PASS, "survey survey.yaml --out surveyed.yaml --store survey.db");
    json_t *json = parse(run_to(PASS, "records show 1 --json --store survey.db")->out);
    const json_t *record = json_object_get(json, "record");
    assert_string_equal(text_of(json_array_get(json_object_get(record, "files"), 0), "role"),
                        "survey");
    assert_string_equal(json_string_value(json_array_get(json_object_get(record, "sheets"), 0)),
                        "MAT-S");
    json_decref(json);
    /* An older survey where the new one goes is no input of it. */
    run_to(PASS, "survey survey.yaml --out surveyed.yaml --store survey.db");
    unlink("surveyed.yaml");
    check_has(run_to(PASS, "records recheck 1 --store survey.db")->out, "byte for byte");
    check_has(run_to(PASS, "records recheck 2 --store survey.db")->out, "byte for byte");
    assert_true(access("surveyed.yaml", F_OK) != 0); /* nothing is written */
    run_to(PASS, "records files 2 --out survey-files --store survey.db");
    assert_int_equal(access("survey-files/results/surveyed.yaml", F_OK), 0);
}

/* What a store says must not choose what is loaded. */
static void a_kind_that_is_unknown_is_not_loaded(void **state) {
    static char *const KINDS[] = {"x/../../evil", "opencv", "", "check/"};
    (void)state;
    tr_error err = {0};
    run_to(PASS, "check job.yaml --store kind.db");
    const tr_store_place place = {.where = "kind.db"};
    tr_store *store = tr_store_open(&place, &err);
    assert_non_null(store);
    for (size_t i = 0; i < sizeof KINDS / sizeof *KINDS; i++) {
        tr_record record = {0};
        assert_true(tr_store_read(store, "1", &record, &err));
        record.id[0] = 0;
        free(record.kind);
        record.kind = strdup(KINDS[i]);
        if (!tr_store_append(store, &record, &err)) fail_msg("%s", err.text);
        tr_record_release(&record);
    }
    tr_store_close(store);
    for (size_t i = 0; i < sizeof KINDS / sizeof *KINDS; i++) {
        char arguments[64], wanted[96];
        snprintf(arguments, sizeof arguments, "records recheck %zu --store kind.db", i + 2);
        snprintf(wanted, sizeof wanted, "record %zu is of the kind '%s', which", i + 2, KINDS[i]);
        check_has(run_to(NO_MEASURE, arguments)->err, wanted);
    }
}

/* Another version, whose record says other numbers: its differences are told against u95. */
static void another_version_is_compared_against_u95(void **state) {
    (void)state;
    tr_error err = {0};
    run_to(PASS, "check job.yaml --store older.db");
    const tr_store_place place = {.where = "older.db"};
    tr_store *store = tr_store_open(&place, &err);
    assert_non_null(store);
    for (int k = 0; k < 2; k++) {
        tr_record record = {0};
        assert_true(tr_store_read(store, "1", &record, &err));
        json_t *result = tr_record_result(store, &record, &err);
        assert_non_null(result);
        json_t *axis =
            json_object_get(json_array_get(json_object_get(result, "targets"), 0), "x_mm");
        double u95 = json_number_value(json_object_get(axis, "u95"));
        double x = json_number_value(json_object_get(axis, "measured"));
        /* By half of u95, then by twice that much. */
        json_object_set_new(axis, "measured", json_real(x + (k == 0 ? 0.5 : 2) * u95));
        char *text = json_dumps(result, JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(17));
        tr_record_file *file = NULL;
        for (int i = 0; i < record.n_files; i++) {
            if (strcmp(record.files[i].role, "result") == 0) file = &record.files[i];
        }
        assert_non_null(file);
        file->size = strlen(text);
        assert_true(tr_store_put(store, text, strlen(text), file->sha256, &err));
        record.id[0] = 0;
        free(record.program);
        record.program = strdup("0.9.0");
        if (!tr_store_append(store, &record, &err)) fail_msg("%s", err.text);
        tr_record_release(&record);
        json_decref(result);
        free(text);
    }
    tr_store_close(store);
    for (int k = 0; k < 2; k++) {
        char arguments[64];
        snprintf(arguments, sizeof arguments, "records recheck %d --json --store older.db", k + 2);
        json_t *json = parse(run_to(k == 0 ? PASS : FAIL, arguments)->out);
        const json_t *pair = json_array_get(json_object_get(json, "differences"), 0);
        assert_int_equal(json_array_size(json_object_get(json, "differences")), 1);
        assert_string_equal(text_of(pair, "value"), "targets.MAT-S.x_mm");
        assert_true(fabs(json_number_value(json_object_get(pair, "share")) - (k == 0 ? 0.5 : 2)) <
                    1e-6);
        assert_string_equal(text_of(json_object_get(json, "program"), "then"), "0.9.0");
        json_decref(json);
    }
    check_has(run_to(FAIL, "records recheck 3 --store older.db")->out, "MAT-S.x_mm");
}

/* ---- giving back ---- */

static void the_files_are_given_back_as_they_were(void **state) {
    (void)state;
    assert_int_equal(mkdir("deep", 0777), 0);
    assert_int_equal(mkdir("deep/er", 0777), 0);
    assert_int_equal(chdir("deep/er"), 0);
    run_to(PASS, "check ../../job.yaml --store ../../given.db");
    assert_int_equal(chdir("../.."), 0);
    const outcome *o = run_to(PASS, "records files 1 --out given --store given.db");
    check_has(o->out, "13");
    check_has(o->out, "in/in");
    assert_int_equal(system("cmp -s job.yaml given/job.yaml && cmp -s 3.jpg given/3.jpg && "
                            "cmp -s p3.yaml given/p3.yaml && test -d given/results"),
                     0);
    o = run_to(NO_MEASURE, "records files 1 --out given --store given.db");
    check_has(o->err, "no empty folder");
}

/* Names that lead elsewhere lead nowhere. */
static void nothing_is_written_outside_of_the_folder(void **state) {
    (void)state;
    tr_error err = {0};
    const tr_store_place place = {.where = "evil.db", .make = true};
    tr_store *store = tr_store_open(&place, &err);
    assert_non_null(store);
    static const char *const NAMES[] = {"../../../evil-1", "/tmp/../../evil-2",
                                        "a/../../../../evil-3", "./x/.././../evil-4",
                                        "a b/'\"\n/evil-5"};
    enum { N = sizeof NAMES / sizeof *NAMES };
    tr_record_file files[N];
    tr_record record = {.kind = "check",
                        .program = "1",
                        .job = "J",
                        .vehicle = "",
                        .technician = "",
                        .verdict = "",
                        .details = "",
                        .files = files,
                        .n_files = N};
    for (int i = 0; i < N; i++) {
        files[i] = (tr_record_file){.role = "photo", .name = (char *)NAMES[i], .size = 1};
        char data = (char)('a' + i);
        assert_true(tr_store_put(store, &data, 1, files[i].sha256, &err));
    }
    if (!tr_store_append(store, &record, &err)) fail_msg("%s", err.text);
    assert_int_equal(mkdir("cage", 0777), 0);
    assert_int_equal(mkdir("cage/bars", 0777), 0);
    char begin[TR_UNPACK_SIZE];
    int n = 0;
    if (!tr_record_unpack(store, &record, "cage/bars/inside", begin, &n, &err))
        fail_msg("%s: %s", err.file, err.text);
    assert_int_equal(n, N);
    assert_int_equal(temp_count("cage"), 1);
    assert_int_equal(temp_count("cage/bars"), 1);
    assert_int_equal(
        system("test \"$(find cage/bars/inside -type f -name 'evil-?' -printf x)\" = xxxxx"), 0);
    tr_store_close(store);
}

/* ---- what was changed ---- */

static void a_change_of_the_store_is_named(void **state) {
    (void)state;
    run_to(PASS, "check job.yaml --store true.db");
    run_to(PASS, "check job.yaml --store true.db");
    json_t *json = parse(run_to(PASS, "records verify --json --store true.db")->out);
    assert_true(json_is_true(json_object_get(json, "sound")));
    char hash[80];
    snprintf(hash, sizeof hash, "%s", text_of(json, "hash"));
    json_decref(json);
    char arguments[256];
    snprintf(arguments, sizeof arguments, "records verify --hash %s --store true.db", hash);
    run_to(PASS, arguments);
    /* Another store has not the hash that was noted. */
    run_to(PASS, "check job.yaml --store other.db");
    snprintf(arguments, sizeof arguments, "records verify --hash %s --store other.db", hash);
    run_to(FAIL, arguments);
    /* One digit of a kept result, in the file itself. */
    uint8_t *data;
    size_t size;
    static const char PART[] = "\"technician\"";
    assert_true(tr_file_read("true.db", 1 << 28, &data, &size, NULL));
    int n_changed = 0;
    for (size_t i = 0; i + sizeof PART < size && n_changed == 0; i++) {
        if (memcmp(data + i, PART, sizeof PART - 1) != 0) continue;
        data[i + 1] = 'T';
        n_changed++;
    }
    assert_int_equal(n_changed, 1);
    temp_write("true.db", data, size);
    free(data);
    const outcome *o = run("records verify --store true.db");
    if (o->status == PASS) fail_msg("not noticed:\n%s", o->out);
    assert_true(o->status == FAIL || o->status == NO_MEASURE);
}

/* Zeroes the first page of the database that has the text. */
static void zero_page(const char *path, const char *text) {
    enum { PAGE_SIZE = 4096 };
    uint8_t *data;
    size_t size;
    size_t at = 0;
    assert_true(tr_file_read(path, 1 << 28, &data, &size, NULL));
    while (at + strlen(text) <= size && memcmp(data + at, text, strlen(text)) != 0) at++;
    assert_true(at + strlen(text) <= size);
    memset(data + at / PAGE_SIZE * PAGE_SIZE, 0, PAGE_SIZE);
    temp_write(path, data, size);
    free(data);
}

/* Also of the newest record, which is then not the last that was verified. */
static void damage_is_a_finding(void **state) {
    (void)state;
    run_to(PASS, "check job.yaml --by FIRST --store page.db");
    json_t *before = parse(run_to(PASS, "records verify --json --store page.db")->out);
    run_to(PASS, "check job.yaml --by SECOND --store page.db");
    zero_page("page.db", "\"technician\":\"SECOND\"");
    json_t *json = parse(run_to(FAIL, "records verify --json --store page.db")->out);
    assert_true(json_is_false(json_object_get(json, "sound")));
    assert_int_equal(json_integer_value(json_object_get(json, "broken_at")), 2);
    assert_int_equal(json_integer_value(json_object_get(json, "records")), 1);
    assert_int_equal(json_integer_value(json_object_get(json, "newest")), 1);
    assert_true(json_equal(json_object_get(json, "hash"), json_object_get(before, "hash")));
    json_decref(before);
    json_decref(json);
    check_has(run_to(FAIL, "records verify --store page.db")->out, "Broken at record 2");
}

/* A shell's variable that is empty must not verify nothing. */
static void an_empty_hash_is_refused(void **state) {
    (void)state;
    run_to(PASS, "check job.yaml --store hash.db");
    check_has(run_to(NO_MEASURE, "records verify --hash '' --store hash.db")->err,
              "is no hash of a record");
}

/* ---- for other programs ---- */

/* RFC 4180, by its grammar: fields of one record into `field`; where the next one begins. */
static const char *read_row(const char *at, char field[32][512], int *n) {
    for (*n = 0; *n < 32;) {
        char *to = field[(*n)++];
        bool is_quoted = *at == '"';
        at += is_quoted;
        while (*at && (is_quoted ? *at != '"' || at[1] == '"' : *at != ',' && *at != '\r')) {
            if (!is_quoted) assert_true(*at != '"' && *at != '\n');
            at += is_quoted && *at == '"';
            assert_true(to < field[*n - 1] + 511);
            *to++ = *at++;
        }
        *to = 0;
        at += is_quoted;
        if (*at == ',') {
            at++;
            continue;
        }
        assert_true(at[0] == '\r' && at[1] == '\n');
        return at + 2;
    }
    fail_msg("too many fields");
    return NULL;
}

static void csv_gives_back_every_text(void **state) {
    (void)state;
    static const char *const TEXTS[] = {"plain",
                                        "a, \"quoted\" name",
                                        "Jürgen 🚗",
                                        "two\nlines\r\n",
                                        "=HYPERLINK(\"x\")",
                                        "+1",
                                        "-1",
                                        "@SUM(A1)",
                                        "\tx",
                                        ""};
    enum { N = sizeof TEXTS / sizeof *TEXTS };
    tr_error err = {0};
    const tr_store_place place = {.where = "csv.db", .make = true};
    tr_store *store = tr_store_open(&place, &err);
    assert_non_null(store);
    tr_record_file file = {.role = "result", .name = "result.json", .size = 2};
    assert_true(tr_store_put(store, "{}", 2, file.sha256, &err));
    for (int i = 0; i < N; i++) {
        tr_record record = {.kind = "survey",
                            .program = "1",
                            .job = (char *)TEXTS[i],
                            .vehicle = "",
                            .technician = "",
                            .verdict = "",
                            .details = "",
                            .files = &file,
                            .n_files = 1};
        if (!tr_store_append(store, &record, &err)) fail_msg("%s", err.text);
    }
    tr_store_close(store);
    const outcome *o = run_to(PASS, "records export --csv - --store csv.db");
    char field[32][512];
    int n;
    const char *at = read_row(o->out, field, &n);
    int n_columns = n;
    assert_string_equal(field[5], "job");
    for (int i = 0; i < N; i++) {
        at = read_row(at, field, &n);
        assert_int_equal(n, n_columns);
        bool is_formula = *TEXTS[i] && strchr("=+-@\t", *TEXTS[i]);
        assert_string_equal(field[5] + is_formula, TEXTS[i]);
        if (is_formula) assert_int_equal(field[5][0], '\'');
    }
    assert_string_equal(at, "");
}

static void exports_have_the_numbers_of_the_result(void **state) {
    (void)state;
    run_to(PASS, "check job.yaml --store numbers.db");
    run_to(USAGE, "records export --csv n.csv --jsonl n.jsonl --store numbers.db");
    run_to(PASS, "records export --csv n.csv --store numbers.db");
    run_to(PASS, "records export --jsonl n.jsonl --store numbers.db");
    char csv[16384], field[32][512];
    static char jsonl[131072];
    int n;
    read_text("n.csv", csv, sizeof csv);
    read_text("n.jsonl", jsonl, sizeof jsonl);
    json_t *line = parse(jsonl);
    const json_t *target =
        json_array_get(json_object_get(json_object_get(line, "result"), "targets"), 0);
    static const char *const AXES[] = {"x_mm", "y_mm", "z_mm", "yaw_deg", "pitch_deg", "roll_deg"};
    const char *at = read_row(csv, field, &n);
    for (size_t i = 0; i < 6; i++) {
        at = read_row(at, field, &n);
        const json_t *axis = json_object_get(target, AXES[i]);
        assert_string_equal(field[10], "MAT-S");
        assert_int_equal(strncmp(AXES[i], field[12], strlen(field[12])), 0);
        assert_true(strtod(field[15], NULL) ==
                    json_number_value(json_object_get(axis, "measured")));
        assert_true(strtod(field[17], NULL) == json_number_value(json_object_get(axis, "u95")));
        const char *verdict = json_string_value(json_object_get(axis, "verdict"));
        assert_string_equal(field[19], verdict ? verdict : "");
    }
    assert_string_equal(at, "");
    json_decref(line);
}

/* A slip of the fingers must not cost the records. */
static void an_export_never_replaces_a_store(void **state) {
    (void)state;
    run_to(PASS, "check job.yaml --store precious.db");
    static const char *const COMMANDS[] = {"records export --csv precious.db --store precious.db",
                                           "records export --jsonl precious.db --store numbers.db"};
    for (size_t i = 0; i < sizeof COMMANDS / sizeof *COMMANDS; i++)
        check_has(run_to(NO_MEASURE, COMMANDS[i])->err, "an export would replace");
    check_has(run_to(PASS, "records verify --store precious.db")->out, "Records: 1");
}

/* ---- in a shop ---- */

static void make_shop(const char *folder, const char *rules) {
    char line[512];
    snprintf(line, sizeof line,
             "mkdir %s && cp *.jpg *.yaml %s && printf 'shop: Test\\n%s' >%s/trammel.yaml", folder,
             folder, rules, folder);
    assert_int_equal(system(line), 0);
    assert_int_equal(chdir(folder), 0);
}

static void a_shop_keeps_without_being_asked(void **state) {
    (void)state;
    make_shop("shop-1", "keep: true\\nstore: kept/all.db\\n");
    assert_int_equal(mkdir("kept", 0777), 0);
    check_has(run_to(PASS, "check job.yaml")->out, "Kept as record 1");
    check_has(run_to(PASS, "records")->out, "SMALL-1");
    /* From elsewhere, too: the shop is the one that the job lies in. */
    assert_int_equal(chdir(*state), 0);
    check_has(run_to(PASS, "check shop-1/job.yaml")->out, "Kept as record 2");
    check_has(run_to(NO_MEASURE, "records")->err, "there is no store here");
    /* A shop that cannot be read may ask for it: that is told. */
    small_text("shop-1", "trammel.yaml", "shop: Test\nkeep: maybe\n");
    const outcome *o = run("check shop-1/job.yaml");
    assert_int_equal(o->status, NO_MEASURE);
    check_has(o->err, "keep");
}

/* The age of a lens is a part of the record, and so measured again alike. */
static void a_shop_asks_when_a_lens_was_confirmed(void **state) {
    (void)state;
    enum { INCONCLUSIVE = 2 };
    make_shop("shop-2", "lens_check_hours: 24\\nlens_check: demand\\n");
    const outcome *o = run_to(INCONCLUSIVE, "check job.yaml --keep");
    check_has(o->out, "lens_confirmation_demanded");
    run_to(PASS, "lens-check lens.yaml b1.jpg b2.jpg b3.jpg b4.jpg b5.jpg b6.jpg --squares 7x5 "
                 "--pitch 60 --keep");
    o = run_to(PASS, "check job.yaml --keep");
    assert_null(strstr(o->out, "lens_confirm"));
    o = run_to(PASS, "check job.yaml"); /* without a record, too */
    assert_null(strstr(o->out, "lens_confirm"));
    check_has(run_to(PASS, "records recheck 1")->out, "byte for byte");
    check_has(run_to(PASS, "records recheck 2")->out, "byte for byte");
    check_has(run_to(PASS, "records recheck 3")->out, "byte for byte");
    /* Another profile, by one digit, is not confirmed. */
    assert_int_equal(system("sed -i 's/^fx_px: 330$/fx_px: 330.0/' lens.yaml"), 0);
    run_to(INCONCLUSIVE, "check job.yaml");
    small_text(".", "trammel.yaml", "shop: Test\nlens_check_hours: 24\nlens_check: tell\n");
    o = run_to(PASS, "check job.yaml");
    check_has(o->out, "lens_unconfirmed");
    assert_int_equal(chdir(*state), 0);
}

/* What the last lens-check found stands against a pass, demanded or not. */
static void a_lens_that_differs_passes_nothing(void **state) {
    (void)state;
    make_shop("shop-3", "lens_check_hours: 24\\nkeep: true\\nfiles: folder\\n");
    const char check[] = "lens-check lens.yaml b1.jpg b2.jpg b3.jpg b4.jpg b5.jpg b6.jpg "
                         "--squares 7x5 --pitch 60";
    run_to(PASS, check);
    assert_null(strstr(run_to(PASS, "check job.yaml")->out, "lens_"));
    assert_int_equal(system("sed -i 's/^f\\([xy]\\)_px: .*/f\\1_px: 400/' lens.yaml"), 0);
    run_to(FAIL, check);
    const outcome *o = run("check job.yaml --json");
    assert_true(o->status != PASS);
    check_has(o->out, "lens_differs");
    /* The files of these records lie in a folder. */
    run_to(PASS, "report 2 --out kept.html");
    check_has(run_to(PASS, "records recheck 2")->out, "byte for byte");
    assert_int_equal(chdir(*state), 0);
}

/* A clock that was ahead confirms nothing for the days to come. */
static void a_confirmation_to_come_is_none(void **state) {
    (void)state;
    static const struct {
        const char *confirmed;
        int n;
    } CASES[] = {{"2026-03-01T08:00:00Z", 0}, {"2026-03-02T07:00:00Z", 0}, {"2027-03-01", 1}};
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        tr_job job = {.n_lenses = 1};
        tr_lens_ages ages = {.hours = 24, .is_demanded = true, .at = "2026-03-01T09:00:00Z"};
        tr_findings findings = {0};
        snprintf(ages.confirmed[0], sizeof ages.confirmed[0], "%s", CASES[i].confirmed);
        assert_true(tr_lens_ages_note(&job, &ages, &findings, NULL));
        assert_int_equal(findings.n, CASES[i].n);
        tr_findings_release(&findings);
    }
}

static void hours_are_those_of_the_calendar(void **state) {
    (void)state;
    static const struct {
        const char *from, *to;
        double hours;
    } CASES[] = {{"2026-03-01T08:00:00Z", "2026-03-01T09:30:00Z", 1.5},
                 {"2026-02-28", "2026-03-01T00:00:00Z", 24},
                 {"2024-02-28", "2024-03-01", 48},                     /* a leap year */
                 {"2000-02-28", "2000-03-01", 48},                     /* one, too */
                 {"2100-02-28", "2100-03-01", 24},                     /* none */
                 {"1970-01-01", "2026-11-29T00:00:00Z", 20786 * 24.0}, /* date -d 2026-11-29 +%s */
                 {"2026-03-01T09:00:00Z", "2026-03-01T08:00:00Z", -1}};
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++)
        assert_true(fabs(tr_hours_between(CASES[i].from, CASES[i].to) - CASES[i].hours) < 1e-9);
    assert_true(isnan(tr_hours_between("", "2026-03-01")));
    assert_true(isnan(tr_hours_between("2026-03-01", "yesterday")));
}

/* ---- the recorder ---- */

static tr_recorder *open_recorder(const char *path, const char *made_at) {
    const tr_store_place place = {.where = path, .make = true};
    tr_error err = {0};
    tr_recorder *r = tr_recorder_open(&place, made_at, &err);
    if (!r) fail_msg("%s", err.text);
    return r;
}

static bool keep(tr_recorder *r, const char *kind, const char *verdict, tr_error *err) {
    static const char *const WORDS[] = {"check", "job.yaml"};
    const tr_measurement m = {.kind = kind,
                              .job = "J",
                              .vehicle = "",
                              .technician = "T",
                              .verdict = verdict,
                              .words = WORDS,
                              .n_words = 2,
                              .result = "{}\n",
                              .result_size = 3};
    int64_t number;
    char hash[TR_HASH_SIZE];
    bool ok = tr_recorder_keep(r, &m, &number, hash, err);
    tr_recorder_close(r);
    return ok;
}

/* Read twice, it must be the same. */
static void a_file_that_changes_meanwhile_is_not_kept(void **state) {
    (void)state;
    const tr_error why = {.code = TR_NO_FILE, .text = "does not exist"};
    for (int k = 0; k < 4; k++) {
        tr_recorder *r = open_recorder("changes.db", NULL);
        const tr_file_observer *o = tr_recorder_observer(r);
        tr_error err = {0};
        if (k == 3) o->failed(o->context, "a.jpg", &why);
        o->saw(o->context, "a.jpg", (const uint8_t *)"first", 5);
        if (k == 0) o->saw(o->context, "a.jpg", (const uint8_t *)"first", 5);
        if (k == 1) o->saw(o->context, "a.jpg", (const uint8_t *)"other", 5);
        if (k == 2) o->failed(o->context, "a.jpg", &why);
        assert_true(keep(r, "check", "pass", &err) == (k == 0));
        if (k == 0) continue;
        assert_string_equal(err.file, "a.jpg");
        check_has(err.text, "was changed while it was measured");
    }
    assert_int_equal(count_records("changes.db"), 1);
}

static void a_name_that_is_no_utf8_is_refused(void **state) {
    (void)state;
    tr_recorder *r = open_recorder("utf8.db", NULL);
    const tr_file_observer *o = tr_recorder_observer(r);
    tr_error err = {0};
    o->saw(o->context, "photo-\xff.jpg", (const uint8_t *)"first", 5);
    assert_false(keep(r, "check", "pass", &err));
    check_has(err.text, "not UTF-8");
    assert_int_equal(count_records("utf8.db"), 0);
}

/* A profile is confirmed when it is made, and by a lens-check that agrees; by nothing else. The
   last word counts, in the order of the store, whatever the clock said. */
static void the_last_confirmation_of_a_profile_is_found(void **state) {
    (void)state;
    static const struct {
        const char *kind, *verdict, *profile, *made_at, *last;
        bool differs;
    } STEPS[] = {
        {"check", "pass", "A", "2026-03-01T08:00:00Z", "", false},
        {"lens", "", "A", "2026-03-01T09:00:00Z", "2026-03-01T09:00:00Z", false},
        {"lens-check", "differs", "A", "2026-03-02T08:00:00Z", "2026-03-02T08:00:00Z", true},
        {"lens-check", "agrees", "B", "2026-03-02T08:30:00Z", "2026-03-02T08:00:00Z", true},
        {"lens-check", "not enough", "A", "2026-03-02T08:40:00Z", "2026-03-02T08:00:00Z", true},
        {"lens-check", "agrees", "A", "2027-03-02T09:00:00Z", "2027-03-02T09:00:00Z", false},
        {"lens-check", "agrees", "A", "2026-03-03T07:00:00Z", "2026-03-03T07:00:00Z", false},
        {"lens-check", "differs", "A", "2026-03-03T08:00:00Z", "2026-03-03T08:00:00Z", true}};
    char sha256[65];
    tr_sha256_hex("A", 1, sha256);
    for (size_t i = 0; i < sizeof STEPS / sizeof *STEPS; i++) {
        tr_error err = {0};
        char last[TR_TIME_SIZE];
        tr_recorder *r = open_recorder("confirmed.db", STEPS[i].made_at);
        const tr_file_observer *o = tr_recorder_observer(r);
        o->say_role(o->context, "lens.yaml", "lens");
        o->saw(o->context, "lens.yaml", (const uint8_t *)STEPS[i].profile, 1);
        const char *kept = tr_recorder_hash(r, "lens", 0);
        assert_non_null(kept);
        assert_int_equal(strcmp(kept, sha256) == 0, *STEPS[i].profile == 'A');
        assert_null(tr_recorder_hash(r, "lens", 1));
        assert_true(keep(r, STEPS[i].kind, STEPS[i].verdict, &err));
        r = open_recorder("confirmed.db", NULL);
        bool differs;
        assert_true(tr_recorder_confirmation(r, sha256, last, &differs, &err));
        assert_string_equal(last, STEPS[i].last);
        assert_int_equal(differs, STEPS[i].differs);
        tr_recorder_close(r);
    }
}

static void the_check_before_is_found(void **state) {
    (void)state;
    tr_error err = {0};
    tr_record record, before;
    static const char *const VERDICTS[] = {"fail", "no measurement", "pass"};
    for (int i = 0; i < 3; i++)
        assert_true(keep(open_recorder("before.db", NULL), "check", VERDICTS[i], &err));
    const tr_store_place place = {.where = "before.db", .read_only = true};
    tr_store *store = tr_store_open(&place, &err);
    assert_non_null(store);
    for (int i = 0; i < 3; i++) {
        char which[8];
        snprintf(which, sizeof which, "%d", i + 1);
        assert_true(tr_store_read(store, which, &record, &err));
        assert_true(tr_record_before(store, &record, &before, &err));
        assert_int_equal(before.number, i > 0);
        tr_record_release(&before);
        tr_record_release(&record);
    }
    tr_store_close(store);
}

/* ---- several programs, and one that is killed ---- */

static pid_t start(const char *store) {
    const char *program = getenv("TRAMMEL_PROGRAM");
    pid_t child = fork();
    assert_true(child >= 0);
    if (child > 0) return child;
    int nowhere = open("/dev/null", O_WRONLY);
    char name[64];
    snprintf(name, sizeof name, "told-%ld", (long)getpid());
    int told = open(name, O_WRONLY | O_CREAT | O_TRUNC, 0666);
    dup2(told, STDOUT_FILENO);
    dup2(nowhere, STDERR_FILENO);
    execl(program, program, "check", "job.yaml", "--store", store, (char *)NULL);
    _exit(127);
}

/* Whether that run had said that it kept a record. */
static bool has_told(pid_t child) {
    char name[64];
    static char text[65536];
    snprintf(name, sizeof name, "told-%ld", (long)child);
    if (access(name, F_OK) != 0) return false; /* it had not even begun */
    read_text(name, text, sizeof text);
    unlink(name);
    return strstr(text, "Kept as record");
}

static void two_checks_at_once_are_both_kept(void **state) {
    (void)state;
    pid_t children[4];
    int status;
    for (int i = 0; i < 4; i++) children[i] = start("two.db");
    for (int i = 0; i < 4; i++) {
        assert_int_equal(waitpid(children[i], &status, 0), children[i]);
        assert_true(WIFEXITED(status) && WEXITSTATUS(status) == PASS);
        assert_true(has_told(children[i]));
    }
    assert_int_equal(count_records("two.db"), 4);
    run_to(PASS, "records verify --store two.db");
}

/* What was told to be kept is there; what was not may be, whole. */
static void a_check_that_is_killed_keeps_all_or_nothing(void **state) {
    (void)state;
    size_t n_told = 0;
    size_t n_runs = 12;
    for (size_t i = 0; i < n_runs; i++) {
        int status;
        pid_t child = start("killed.db");
        nanosleep(&(struct timespec){.tv_nsec = (long)i * 40000000}, NULL);
        kill(child, SIGKILL);
        assert_int_equal(waitpid(child, &status, 0), child);
        n_told += has_told(child);
    }
    run_to(PASS, "check job.yaml --store killed.db");
    size_t n = count_records("killed.db");
    assert_true(n >= n_told + 1 && n <= n_runs + 1);
    run_to(PASS, "records verify --store killed.db");
}

/* ---- handing on ---- */

static void records_are_handed_on_once(void **state) {
    (void)state;
    copy_file("job.yaml", "push.yaml");
    run_to(PASS, "check push.yaml --store from.db");
    check_has(run_to(PASS, "records push to.db --store from.db")->out, "1");
    check_has(run_to(PASS, "records push to.db --store from.db")->out, "0");
    assert_int_equal(count_records("to.db"), 1);
    check_has(run_to(PASS, "records recheck 1 --store to.db")->out, "byte for byte");
}

static void wrong_usage_is_told(void **state) {
    (void)state;
    static const char *const WRONG[][2] = {
        {"records frob", "'frob' is not"},
        {"records show", "needs a record"},
        {"records show 1 2", "takes no '2'"},
        {"records list 1", "takes no '1'"},
        {"records list --hash abc", "'--hash' is no option of"},
        {"records export", "say where to"},
        {"records files 1", "'--out' is missing"},
        {"records --from yesterday", "is no date"},
        {"records --until 2026-1-1", "is no date"},
        {"records --from 2026-02-30", "'--from 2026-02-30' is no date of the calendar"},
        {"records --until 2100-02-29", "is no date of the calendar"},
        {"records --from 2026-01-31T24:00:00Z", "or no time of a day"},
        {"records --limit -1", "is no number of records"},
    };
    for (size_t i = 0; i < sizeof WRONG / sizeof *WRONG; i++) {
        char arguments[256];
        snprintf(arguments, sizeof arguments, "%s --store x.db", WRONG[i][0]);
        check_has(run_to(USAGE, arguments)->err, WRONG[i][1]);
        assert_true(access("x.db", F_OK) != 0);
    }
    check_has(run_to(NO_MEASURE, "records --store x.db")->err, "x.db");
    assert_true(access("x.db", F_OK) != 0);
    run_to(PASS, "check job.yaml --store list.db");
    check_has(run_to(PASS, "records --store list.db --from 2020-01-01")->out, "SMALL-1");
    check_has(run_to(PASS, "records --store list.db --until 2020-01-01")->out, "No record");
    check_has(run_to(NO_MEASURE, "records show 9 --store list.db")->err, "9");
    check_has(run_to(PASS, "records show 1 --store list.db")->out, "MAT-S");
}

static int set_up(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    *state = folder;
    temp_make(folder);
    if (chdir(folder) != 0) return -1;
    small_job_make(".");
    small_boards_make(".");
    return 0;
}

static int tear_down(void **state) {
    if (chdir("/") != 0) return -1;
    temp_remove(*state);
    free(*state);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_check_is_kept_as_it_was_read),
        cmocka_unit_test(who_measured_is_the_job_s_technician_or_by),
        cmocka_unit_test(what_cannot_be_kept_is_told_after_the_verdict),
        cmocka_unit_test(a_full_disk_keeps_nothing_and_shows_the_verdict),
        cmocka_unit_test(a_store_for_reading_only_keeps_nothing),
        cmocka_unit_test(a_check_is_measured_again_to_the_same_bytes),
        cmocka_unit_test(a_lens_is_kept_with_its_profile_and_found_again),
        cmocka_unit_test(a_survey_is_kept_with_its_sheet_and_made_again),
        cmocka_unit_test(a_kind_that_is_unknown_is_not_loaded),
        cmocka_unit_test(another_version_is_compared_against_u95),
        cmocka_unit_test(the_files_are_given_back_as_they_were),
        cmocka_unit_test(nothing_is_written_outside_of_the_folder),
        cmocka_unit_test(a_change_of_the_store_is_named),
        cmocka_unit_test(damage_is_a_finding),
        cmocka_unit_test(an_empty_hash_is_refused),
        cmocka_unit_test(csv_gives_back_every_text),
        cmocka_unit_test(exports_have_the_numbers_of_the_result),
        cmocka_unit_test(an_export_never_replaces_a_store),
        cmocka_unit_test(a_shop_keeps_without_being_asked),
        cmocka_unit_test(a_shop_asks_when_a_lens_was_confirmed),
        cmocka_unit_test(a_lens_that_differs_passes_nothing),
        cmocka_unit_test(a_confirmation_to_come_is_none),
        cmocka_unit_test(hours_are_those_of_the_calendar),
        cmocka_unit_test(a_file_that_changes_meanwhile_is_not_kept),
        cmocka_unit_test(a_name_that_is_no_utf8_is_refused),
        cmocka_unit_test(the_last_confirmation_of_a_profile_is_found),
        cmocka_unit_test(the_check_before_is_found),
        cmocka_unit_test(two_checks_at_once_are_both_kept),
        cmocka_unit_test(a_check_that_is_killed_keeps_all_or_nothing),
        cmocka_unit_test(records_are_handed_on_once),
        cmocka_unit_test(wrong_usage_is_told),
    };
    return cmocka_run_group_tests_name("records", tests, set_up, tear_down);
}
