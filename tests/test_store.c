/* The store of records in an SQLite file: what is kept is read back, every change shows, what is no
   store is refused. */
#include "store.h"
#include "temp.h"

#include <pthread.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include <jansson.h>
#include <sqlite3.h>

enum { NOBODY = 65534 };

typedef struct {
    char folder[TEMP_SIZE], path[TEMP_SIZE];
} place;

static int make_place(void **state) {
    place *p = malloc(sizeof *p);
    if (!p) return -1;
    temp_make(p->folder);
    temp_path(p->path, p->folder, "records.sqlite");
    *state = p;
    return 0;
}

static int remove_place(void **state) {
    temp_remove(((place *)*state)->folder);
    free(*state);
    return 0;
}

/* ---- What is kept is read back ---- */

static void check_same_text(const char *a, const char *b) {
    assert_string_equal(a ? a : "", b ? b : "");
}

static void check_same(const tr_record *a, const tr_record *b) {
    assert_int_equal(a->number, b->number);
    assert_string_equal(a->id, b->id);
    assert_string_equal(a->previous, b->previous);
    assert_string_equal(a->hash, b->hash);
    assert_string_equal(a->origin_store, b->origin_store);
    assert_string_equal(a->made_at, b->made_at);
    check_same_text(a->kind, b->kind);
    check_same_text(a->program, b->program);
    check_same_text(a->job, b->job);
    check_same_text(a->vehicle, b->vehicle);
    check_same_text(a->technician, b->technician);
    check_same_text(a->verdict, b->verdict);
    assert_int_equal(a->n_sheets, b->n_sheets);
    for (int i = 0; i < a->n_sheets; i++) assert_string_equal(a->sheets[i], b->sheets[i]);
    assert_int_equal(a->n_files, b->n_files);
    for (int i = 0; i < a->n_files; i++) {
        assert_string_equal(a->files[i].role, b->files[i].role);
        assert_string_equal(a->files[i].name, b->files[i].name);
        assert_string_equal(a->files[i].sha256, b->files[i].sha256);
        assert_int_equal(a->files[i].size, b->files[i].size);
    }
}

static void check_read(tr_store *store, const char *which, const tr_record *wanted) {
    tr_record record;
    tr_error err = {0};
    assert_true(tr_store_read(store, which, &record, &err));
    check_same(&record, wanted);
    tr_record_release(&record);
}

static void what_is_kept_is_read(void **state) {
    const place *p = *state;
    sample s;
    tr_record record;
    uint8_t *data;
    size_t size;
    char hash[TR_HASH_SIZE], beginning[9], number[24];
    int64_t newest;
    for (int in_folder = 0; in_folder < 2; in_folder++) {
        char path[TEMP_SIZE + 8];
        snprintf(path, sizeof path, "%s-%d", p->path, in_folder);
        tr_store *store = store_open(path, in_folder);
        assert_true(tr_store_newest(store, &newest, hash, NULL));
        assert_int_equal(newest, 0);
        for (int i = 0; i < 25; i++) store_keep(store, i);
        sample_make(&s, 25);
        assert_true(sample_keep(store, &s, NULL));
        assert_int_equal(s.record.number, 26);
        tr_store_close(store);

        store = store_open(path, false);
        assert_true(tr_store_newest(store, &newest, hash, NULL));
        assert_int_equal(newest, 26);
        assert_string_equal(hash, s.record.hash);
        snprintf(beginning, sizeof beginning, "%.8s", s.record.hash);
        snprintf(number, sizeof number, "%lld", (long long)s.record.number);
        check_read(store, number, &s.record);
        check_read(store, s.record.id, &s.record);
        check_read(store, s.record.hash, &s.record);
        if (strspn(beginning, "0123456789") < 8) check_read(store, beginning, &s.record);
        assert_true(tr_store_read(store, "26", &record, NULL));
        assert_string_equal(record.details, "{\"options\":{\"a\":[1,2],\"b\":1.5}}");
        tr_record_release(&record);
        assert_true(tr_store_get(store, s.files[0].sha256, &data, &size, NULL));
        assert_int_equal(size, strlen(s.photo));
        assert_memory_equal(data, s.photo, size);
        free(data);
        tr_store_close(store);
        store_check_sound(path, 26);
    }
}

/* The hash is what store.h says, built here anew from the text there; by sha256sum, too. */
static void the_hash_is_as_documented(void **state) {
    const place *p = *state;
    sample s;
    char text[1024], hash[TR_HASH_SIZE], body_hash[TR_HASH_SIZE], command[2048];
    tr_store *store = store_open(p->path, false);
    store_keep(store, 0);
    sample_make(&s, 1);
    assert_true(sample_keep(store, &s, NULL));
    tr_store_close(store);
    json_t *body =
        json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:[s, s], s:{s:{s:f, s:[i, i]}},"
                  " s:[{s:s, s:s, s:s, s:i}, {s:s, s:s, s:s, s:i}]}",
                  "id", s.record.id, "made_at", "2026-01-01T00:01:00Z", "kind", "check", "program",
                  "1.0.0", "job", "J-1", "vehicle", "V-1", "technician", "M. Okafor", "verdict",
                  "fail", "sheets", "MAT-7", "BOARD-2", "details", "options", "b", 1.5, "a", 1, 2,
                  "files", "role", "photo", "name", "photos/a.jpg", "sha256", s.files[0].sha256,
                  "size", (int)strlen(s.photo), "role", "result", "name", "result.json", "sha256",
                  s.files[1].sha256, "size", (int)strlen(s.result));
    assert_non_null(body);
    char *dump = json_dumps(body, JSON_SORT_KEYS | JSON_COMPACT);
    tr_sha256_hex(dump, strlen(dump), body_hash);
    snprintf(text, sizeof text, "trammel record 1\n2\n%s\n-\n%s\n", s.record.previous, body_hash);
    tr_sha256_hex(text, strlen(text), hash);
    assert_string_equal(hash, s.record.hash);
    snprintf(command, sizeof command, "printf '%s' | sha256sum", text);
    FILE *sum = popen(command, "r");
    assert_non_null(sum);
    assert_int_equal(fread(hash, 1, TR_HASH_SIZE - 1, sum), TR_HASH_SIZE - 1);
    pclose(sum);
    assert_string_equal(hash, s.record.hash);
    free(dump);
    json_decref(body);
}

/* FIPS 180-4's examples as NIST gives them (csrc.nist.gov, "SHA256.pdf"), and its older one of a
   million letters. */
static void sha256_is_that_of_fips_180_4(void **state) {
    char hash[TR_HASH_SIZE];
    char *million = malloc(1000000);
    (void)state;
    assert_non_null(million);
    memset(million, 'a', 1000000);
    tr_sha256_hex("abc", 3, hash);
    assert_string_equal(hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    tr_sha256_hex("", 0, hash);
    assert_string_equal(hash, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    static const char TWO[] = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    tr_sha256_hex(TWO, strlen(TWO), hash);
    assert_string_equal(hash, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    tr_sha256_hex(million, 1000000, hash);
    assert_string_equal(hash, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(million);
}

/* ---- Finding ---- */

typedef struct {
    int n, most;
    int64_t first, last;
} seen;

static bool count(const tr_record *record, void *user) {
    seen *s = user;
    if (s->n++ == 0) s->first = record->number;
    assert_true(record->number > s->last);
    s->last = record->number;
    return s->most == 0 || s->n < s->most;
}

static void check_found(tr_store *store, tr_record_filter filter, int n, int64_t first,
                        int64_t last) {
    seen s = {0};
    tr_error err = {0};
    bool ok = tr_store_find(store, &filter, count, &s, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
    assert_int_equal(s.n, n);
    if (n == 0) return;
    assert_int_equal(s.first, first);
    assert_int_equal(s.last, last);
}

static void filters_find(void **state) {
    const place *p = *state;
    store_fill(p->path, false, 500);
    tr_store *store = store_open(p->path, false);
    seen s = {.most = 3};
    tr_error err = {0};
    check_found(store, (tr_record_filter){0}, 500, 1, 500);
    check_found(store, (tr_record_filter){.vehicle = "V-7"}, 5, 8, 408);
    check_found(store, (tr_record_filter){.job = "J-99"}, 5, 100, 500);
    check_found(store, (tr_record_filter){.kind = "lens"}, 0, 0, 0);
    check_found(store, (tr_record_filter){.verdict = "pass"}, 167, 1, 499);
    check_found(store, (tr_record_filter){.technician = "M. Okafor"}, 250, 2, 500);
    check_found(store, (tr_record_filter){.sheet = "BOARD-3"}, 100, 1, 496);
    check_found(store, (tr_record_filter){.sheet = "MAT-7", .limit = 20}, 20, 481, 500);
    check_found(store, (tr_record_filter){.limit = 20}, 20, 481, 500);
    check_found(store, (tr_record_filter){.limit = 2, .vehicle = "V-7"}, 2, 308, 408);
    check_found(store, (tr_record_filter){.first_number = 300, .vehicle = "V-7"}, 2, 308, 408);
    check_found(store, (tr_record_filter){.limit = 1000}, 500, 1, 500);
    check_found(store, (tr_record_filter){.limit = 5, .vehicle = "none"}, 0, 0, 0);
    check_found(store, (tr_record_filter){.from = "2026-01-01", .until = "2026-01-01"}, 500, 1,
                500);
    check_found(store, (tr_record_filter){.from = "2026-01-02"}, 0, 0, 0);
    check_found(store, (tr_record_filter){.until = "2025-12-31"}, 0, 0, 0);
    check_found(store,
                (tr_record_filter){.from = "2026-01-01T01:00:00Z", .until = "2026-01-01T01:59:59Z"},
                60, 61, 120);
    check_found(store,
                (tr_record_filter){.vehicle = "V-7",
                                   .sheet = "BOARD-2",
                                   .verdict = "fail",
                                   .technician = "M. Okafor",
                                   .kind = "check",
                                   .job = "J-7",
                                   .from = "2026-01-01",
                                   .until = "2026-12-31",
                                   .limit = 10},
                2, 8, 308);
    assert_true(tr_store_find(store, &(tr_record_filter){0}, count, &s, NULL));
    assert_int_equal(s.n, 3);
    assert_false(tr_store_find(store, &(tr_record_filter){.from = "1.2.2026"}, count, &s, &err));
    assert_string_equal(err.text, "'1.2.2026' is no date; write it as 2026-01-31, or with a time "
                                  "(UTC) as 2026-01-31T09:30:00Z");
    tr_store_close(store);
}

/* A visitor may read, and keep, in the store that it visits. */
static bool keep_another(const tr_record *record, void *user) {
    tr_store *store = user;
    tr_record again;
    uint8_t *data;
    size_t size;
    char number[24];
    snprintf(number, sizeof number, "%lld", (long long)record->number);
    assert_true(tr_store_read(store, number, &again, NULL));
    assert_true(tr_store_get(store, again.files[0].sha256, &data, &size, NULL));
    free(data);
    tr_record_release(&again);
    store_keep(store, 1000 + (int)record->number);
    return true;
}

static void a_visitor_may_use_the_store(void **state) {
    const place *p = *state;
    store_fill(p->path, false, 5);
    tr_store *store = store_open(p->path, false);
    assert_true(tr_store_find(store, &(tr_record_filter){0}, keep_another, store, NULL));
    tr_store_close(store);
    store_check_sound(p->path, 10);
}

/* ---- Names ---- */

static void names_are_kept_whatever_they_are(void **state) {
    const place *p = *state;
    char *longest = malloc(10001);
    assert_non_null(longest);
    memset(longest, 'x', 10000);
    memcpy(longest, "\"'ä", 4);
    longest[10000] = 0;
    const char *names[] = {
        "'; DROP TABLE record; --",
        "\"quoted\" and 'single'",
        "Jörg Müßig-Ångström",
        "🚗 田中 محمد",
        "back\\slash %s %n $1 ?1 :a",
        "two\nlines\tand\x01\x1f\x7f",
        longest,
        " ",
        "null",
        "0",
    };
    int n = sizeof names / sizeof *names;
    tr_store *store = store_open(p->path, false);
    for (int i = 0; i < n; i++) {
        sample s;
        char *name = (char *)(uintptr_t)names[i];
        sample_make(&s, i);
        s.record.job = s.record.vehicle = s.record.technician = s.record.verdict = name;
        s.record.kind = s.record.program = s.sheets[1] = s.files[0].name = s.files[0].role = name;
        assert_true(sample_keep(store, &s, NULL));
        tr_record_filter all = {.kind = name,
                                .job = name,
                                .vehicle = name,
                                .technician = name,
                                .verdict = name,
                                .sheet = name};
        check_found(store, all, 1, i + 1, i + 1);
        check_read(store, s.record.id, &s.record);
    }
    tr_store_close(store);
    store_check_sound(p->path, n);
    free(longest);
}

static void check_refused(tr_store *store, sample *s, const char *wanted) {
    tr_error err = {0};
    assert_false(sample_keep(store, s, &err));
    assert_string_equal(err.text, wanted);
}

static void what_is_no_record_is_refused(void **state) {
    const place *p = *state;
    sample s;
    char same_id[TR_RECORD_ID_SIZE];
    tr_error err = {0};
    int64_t number;
    char hash[TR_HASH_SIZE];
    tr_store *store = store_open(p->path, false);
    sample_make(&s, 0);
    s.record.vehicle = "M\xfcller";
    check_refused(store, &s,
                  "the vehicle 'M?ller' of a record is not UTF-8; write it in that "
                  "encoding");
    sample_make(&s, 0);
    s.record.details = "[1]";
    check_refused(store, &s, "the details of a record are no JSON object (another value)");
    s.record.details = "{\"a\":";
    assert_false(sample_keep(store, &s, &err));
    assert_non_null(strstr(err.text, "are no JSON object"));
    sample_make(&s, 0);
    strcpy(s.record.made_at, "2026-13-01T00:00:00Z");
    check_refused(store, &s,
                  "'2026-13-01T00:00:00Z' is no time of a record; write it as "
                  "2026-01-31T09:30:00Z");
    sample_make(&s, 0);
    strcpy(s.record.id, "1234");
    check_refused(store, &s, "'1234' is no id of a record; leave it empty, to get one");
    /* Files that were not put, or have another size. */
    sample_make(&s, 0);
    memset(s.files[0].sha256, 'a', 64);
    memset(s.files[1].sha256, 'b', 64);
    err = (tr_error){0};
    assert_false(tr_store_append(store, &s.record, &err));
    assert_string_equal(err.text, "does not hold the record's file 'photos/a.jpg' "
                                  "(aaaaaaaaaaaa...); put it there before the record");
    assert_true(tr_store_newest(store, &number, hash, NULL));
    assert_int_equal(number, 0);
    /* The same record again is the same; another of its id is not. */
    sample_make(&s, 0);
    assert_true(sample_keep(store, &s, NULL));
    strcpy(same_id, s.record.id);
    strcpy(hash, s.record.hash);
    assert_true(tr_store_append(store, &s.record, NULL));
    assert_int_equal(s.record.number, 1);
    assert_string_equal(s.record.hash, hash);
    s.record.verdict = "fail";
    err = (tr_error){0};
    assert_false(tr_store_append(store, &s.record, &err));
    assert_non_null(strstr(err.text, "holds another record of the id"));
    /* Not found. */
    tr_record record;
    err = (tr_error){0};
    assert_false(tr_store_read(store, "77", &record, &err));
    assert_string_equal(err.text, "holds no record '77'; give its number, its id, or at least 8 "
                                  "digits of its hash");
    assert_false(tr_store_read(store, "' OR 1=1 --", &record, NULL));
    tr_store_close(store);
    store_check_sound(p->path, 1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sha256_is_that_of_fips_180_4),
        cmocka_unit_test_setup_teardown(what_is_kept_is_read, make_place, remove_place),
        cmocka_unit_test_setup_teardown(the_hash_is_as_documented, make_place, remove_place),
        cmocka_unit_test_setup_teardown(filters_find, make_place, remove_place),
        cmocka_unit_test_setup_teardown(a_visitor_may_use_the_store, make_place, remove_place),
        cmocka_unit_test_setup_teardown(names_are_kept_whatever_they_are, make_place, remove_place),
        cmocka_unit_test_setup_teardown(what_is_no_record_is_refused, make_place, remove_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
