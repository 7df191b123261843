/* The store of records in an SQLite file: what is kept is read back, every change shows, what is no
   store is refused. */
#include "store.h"
#include "temp.h"

#include <pthread.h>
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
        char path[TEMP_SIZE + 16];
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

/* ---- A store of an earlier version of the program ---- */

static void copy_file(const char *from, const char *to) {
    uint8_t *data;
    size_t size;
    assert_true(tr_file_read(from, 100 << 20, &data, &size, NULL));
    temp_write(to, data, size);
    free(data);
}

/* tests/good/store-1.sqlite was made by the first program that had stores. */
static void a_store_of_version_1_is_read(void **state) {
    static const char HASH[] = "b20876f36475237ad86e0a88c5d08fd1c2ba9304c236ba4053e65aced1341bdc";
    const place *p = *state;
    char good[TEMP_SIZE];
    tr_store_finding finding;
    tr_record record;
    uint8_t *data;
    size_t size;
    for (int read_only = 0; read_only < 2; read_only++) {
        temp_path(good, getenv("TRAMMEL_SOURCE"), "tests/good/store-1.sqlite");
        copy_file(good, p->path);
        tr_store_place at = {.where = p->path, .read_only = read_only};
        tr_store *store = tr_store_open(&at, NULL);
        assert_non_null(store);
        assert_string_equal(tr_store_id(store), "1d5bd5a1-ae5c-462a-affa-30aa89551d5e");
        assert_true(tr_store_verify(store, HASH, &finding, NULL));
        assert_true(finding.is_sound);
        assert_int_equal(finding.n_records, 3);
        check_found(store, (tr_record_filter){.vehicle = "'; DROP TABLE record; -- 🚗"}, 1, 1, 1);
        check_found(store, (tr_record_filter){.technician = "Zoë Ångström"}, 1, 2, 2);
        assert_true(tr_store_read(store, "2", &record, NULL));
        assert_string_equal(record.id, "c18629f3-5e8f-4ac7-8c91-dcfe0860eddd");
        assert_string_equal(record.origin_store, "bae9ff4f-62b1-47d8-80be-6143c1907c25");
        assert_int_equal(record.origin_number, 1);
        assert_true(tr_store_get(store, record.files[0].sha256, &data, &size, NULL));
        assert_memory_equal(data, "the photo of record 0", 22);
        free(data);
        tr_record_release(&record);
        sample s;
        tr_error err = {0};
        sample_make(&s, 9);
        assert_int_equal(sample_keep(store, &s, &err), !read_only);
        if (read_only) {
            assert_string_equal(err.text, "was opened to be read only; open it for writing");
        }
        tr_store_close(store);
        assert_int_equal(unlink(p->path), 0);
    }
}

/* ---- What is no store ---- */

static void check_not_opened(tr_store_place at, const char *wanted) {
    tr_error err = {0};
    tr_store *store = tr_store_open(&at, &err);
    assert_null(store);
    assert_string_equal(err.text, wanted);
    assert_string_equal(err.file, at.where);
}

static void run_sql(const char *path, const char *sql) {
    sqlite3 *db;
    char *why = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK) {
        print_error("%s: %s\n", sql, why);
        fail();
    }
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

#define NO_STORE "holds no store of records; check the path, or keep a record to make one"

static void what_is_no_store_is_refused(void **state) {
    const place *p = *state;
    char path[TEMP_SIZE];
    check_not_opened((tr_store_place){.where = p->path}, NO_STORE);
    assert_int_equal(access(p->path, F_OK), -1);
    check_not_opened((tr_store_place){.where = p->path, .make = true, .read_only = true}, NO_STORE);
    assert_int_equal(access(p->path, F_OK), -1);
    check_not_opened((tr_store_place){.where = temp_path(path, p->folder, "none/a"), .make = true},
                     "cannot be opened; check that its folder is there, and the permissions of "
                     "both");
    check_not_opened((tr_store_place){.where = p->folder, .make = true},
                     "is a folder; name the store's file in it");
    temp_write(p->path, "", 0);
    check_not_opened((tr_store_place){.where = p->path}, NO_STORE);
    check_not_opened((tr_store_place){.where = "/dev/null", .make = true},
                     "is not a regular file; name the store's file");
    static const char TEXT[] = "Not a database at all, but a text that is longer than a page's "
                               "beginning, so that it cannot be taken for one that was cut short.";
    temp_write(p->path, TEXT, sizeof TEXT);
    check_not_opened((tr_store_place){.where = p->path, .make = true},
                     "is no store of records; name the store's file");
    assert_int_equal(unlink(p->path), 0);
    run_sql(p->path, "CREATE TABLE t (a)");
    check_not_opened((tr_store_place){.where = p->path, .make = true},
                     "is an SQLite file, but no store of records; name the store's file");
    assert_int_equal(unlink(p->path), 0);
    store_fill(p->path, false, 1);
    run_sql(p->path, "PRAGMA user_version = 99");
    check_not_opened((tr_store_place){.where = p->path},
                     "is a store of version 99, this program knows 1; install the newer program "
                     "that made it");
    check_not_opened((tr_store_place){.where = p->path, .read_only = true},
                     "is a store of version 99, this program knows 1; install the newer program "
                     "that made it");
}

/* A path is a path, whatever SQLite would make of the name. */
static void special_names_are_files(void **state) {
    static const char *const NAMES[] = {":memory:", "file:x?mode=memory", "a b%20c?d#e", "ä'\"🚗"};
    const place *p = *state;
    char before[TEMP_SIZE];
    assert_non_null(getcwd(before, sizeof before));
    assert_int_equal(chdir(p->folder), 0);
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++) {
        store_fill(NAMES[i], false, 1);
        assert_int_equal(access(NAMES[i], F_OK), 0);
        store_check_sound(NAMES[i], 1);
        tr_store *store =
            tr_store_open(&(tr_store_place){.where = NAMES[i], .read_only = true}, NULL);
        assert_non_null(store);
        tr_store_close(store);
    }
    assert_int_equal(chdir(before), 0);
}

static void one_that_is_cut_short_is_refused(void **state) {
    const place *p = *state;
    tr_error err = {0};
    struct stat about;
    store_fill(p->path, false, 20);
    assert_int_equal(stat(p->path, &about), 0);
    for (off_t size = about.st_size - 1; size > 100; size -= about.st_size / 13) {
        tr_store_finding finding = {0};
        assert_int_equal(truncate(p->path, size), 0);
        err = (tr_error){0};
        tr_store *store = tr_store_open(&(tr_store_place){.where = p->path}, &err);
        bool is_read = store && tr_store_verify(store, NULL, &finding, &err);
        assert_false(is_read && finding.is_sound);
        if (!is_read) assert_true(err.text[0] && err.file[0]);
        tr_store_close(store);
    }
}

/* ---- Permissions; a lock ---- */

/* As a user who is nobody; the child's status. */
static int as_nobody(int (*run)(const char *path), const char *path) {
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        if (geteuid() == 0 && (setgid(NOBODY) != 0 || setuid(NOBODY) != 0)) _exit(100);
        _exit(run(path));
    }
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static int read_and_fail_to_write(const char *path) {
    tr_error err = {0};
    tr_store_finding finding;
    tr_store *store = tr_store_open(&(tr_store_place){.where = path, .read_only = true}, &err);
    if (!store) return 1;
    bool ok =
        tr_store_verify(store, NULL, &finding, &err) && finding.is_sound && finding.n_records == 3;
    tr_store_close(store);
    if (!ok) return 2;
    sample s;
    sample_make(&s, 3);
    store = tr_store_open(&(tr_store_place){.where = path, .make = true}, &err);
    ok = store && sample_keep(store, &s, &err);
    tr_store_close(store);
    if (ok) return 3;
    if (strstr(err.text, "may not be written by this user") ||
        strstr(err.text, "cannot be opened")) {
        return 0;
    }
    fprintf(stderr, "%s\n", err.text);
    return 4;
}

/* Its folder may not be entered: nobody knows whether there is one. */
static int fail_to_reach(const char *path) {
    tr_error err = {0};
    tr_store *store = tr_store_open(&(tr_store_place){.where = path, .read_only = true}, &err);
    return !store && strstr(err.text, "cannot be reached (Permission denied)") ? 0 : 1;
}

static int fail_to_reach_files(const char *path) {
    tr_error err = {0};
    tr_store *store = tr_store_open(&(tr_store_place){.where = path, .read_only = true}, &err);
    return !store && strstr(err.text, "may not be read") ? 0 : 1;
}

static void one_that_cannot_be_reached_is_not_called_missing(void **state) {
    const place *p = *state;
    char path[TEMP_SIZE + 8];
    store_fill(p->path, true, 1);
    assert_int_equal(chmod(p->folder, 0755), 0);
    snprintf(path, sizeof path, "%s.files", p->path);
    assert_int_equal(chmod(path, 0), 0);
    assert_int_equal(as_nobody(fail_to_reach_files, p->path), 0);
    assert_int_equal(chmod(path, 0755), 0);
    assert_int_equal(chmod(p->folder, 0600), 0);
    assert_int_equal(as_nobody(fail_to_reach, p->path), 0);
    assert_int_equal(chmod(p->folder, 0755), 0);
    snprintf(path, sizeof path, "%s/a", p->path);
    check_not_opened((tr_store_place){.where = path},
                     "cannot be reached (Not a directory); check the path, and that this user may "
                     "enter its folders");
}

static void one_that_may_only_be_read_is_read(void **state) {
    const place *p = *state;
    store_fill(p->path, false, 3);
    assert_int_equal(chmod(p->folder, 0555), 0);
    assert_int_equal(chmod(p->path, 0444), 0);
    assert_int_equal(as_nobody(read_and_fail_to_write, p->path), 0);
    assert_int_equal(chmod(p->folder, 0755), 0);
    store_check_sound(p->path, 3);
}

/* A link to a store in a folder that cannot be written, with records in its log. */
static int see_two_records(const char *link) {
    tr_error err = {0};
    tr_store_finding finding;
    tr_store *store = tr_store_open(&(tr_store_place){.where = link, .read_only = true}, &err);
    if (!store) return strstr(err.text, "cannot be opened") ? 0 : 1;
    bool ok = tr_store_verify(store, NULL, &finding, &err);
    tr_store_close(store);
    return ok && finding.is_sound && finding.n_records == 2 ? 0 : 2;
}

static void a_link_leads_to_the_store(void **state) {
    const place *p = *state;
    char link[TEMP_SIZE], links[TEMP_SIZE], folder[TEMP_SIZE + 8], wal[TEMP_SIZE + 8];
    temp_path(links, p->folder, "links");
    assert_int_equal(mkdir(links, 0777), 0);
    temp_path(link, links, "records.sqlite");
    assert_int_equal(symlink("../records.sqlite", link), 0);
    /* Made through the link, opened by its own name, and the other way about. */
    store_fill(link, true, 2);
    store_check_sound(p->path, 2);
    store_fill(p->path, true, 1);
    store_check_sound(link, 3);
    snprintf(folder, sizeof folder, "%s.files", p->path);
    assert_int_equal(access(folder, F_OK), 0);
    assert_int_equal(temp_count(links), 1);
    /* A copy as another program has it open: one record in the file, one in the log. */
    char store[TEMP_SIZE], copy[TEMP_SIZE], away[TEMP_SIZE];
    temp_path(store, p->folder, "open");
    tr_store *open = store_open(store, false);
    store_keep(open, 0);
    tr_store_close(open);
    open = store_open(store, false);
    store_keep(open, 1);
    assert_int_equal(mkdir(temp_path(away, p->folder, "away"), 0777), 0);
    copy_file(store, temp_path(copy, away, "records.sqlite"));
    snprintf(wal, sizeof wal, "%s-wal", store);
    snprintf(folder, sizeof folder, "%s-wal", copy);
    copy_file(wal, folder);
    tr_store_close(open);
    assert_int_equal(unlink(link), 0);
    assert_int_equal(symlink(copy, link), 0);
    assert_int_equal(chmod(p->folder, 0755), 0);
    assert_int_equal(chmod(copy, 0444), 0);
    assert_int_equal(chmod(folder, 0444), 0);
    assert_int_equal(chmod(away, 0555), 0);
    assert_int_equal(as_nobody(see_two_records, link), 0);
    assert_int_equal(chmod(away, 0755), 0);
    store_check_sound(link, 2);
}

static void one_that_is_locked_is_told(void **state) {
    const place *p = *state;
    sqlite3 *db;
    sample s;
    tr_error err = {0};
    store_fill(p->path, false, 1);
    tr_store *store = store_open(p->path, false);
    assert_int_equal(sqlite3_open(p->path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    sample_make(&s, 1);
    assert_false(sample_keep(store, &s, &err));
    assert_string_equal(err.text, "is held by another program for longer than 10 seconds; wait "
                                  "until that has ended, then try again");
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
    assert_true(sample_keep(store, &s, NULL));
    tr_store_close(store);
    store_check_sound(p->path, 2);
}

/* ---- Two programs and more ---- */

typedef struct {
    const char *path;
    int from;
} part;

static void *keep_part(void *context) {
    const part *t = context;
    tr_store *store = tr_store_open(&(tr_store_place){.where = t->path, .make = true}, NULL);
    bool ok = store != NULL;
    for (int i = t->from; i < t->from + 20 && ok; i++) {
        sample s;
        tr_error err = {0};
        sample_make(&s, i);
        ok = sample_keep(store, &s, &err);
        if (!ok) fprintf(stderr, "%s\n", err.text);
    }
    tr_store_close(store);
    return ok ? context : NULL;
}

/* Again and again: it is a matter of milliseconds who comes when. */
static void several_programs_make_it_at_once(void **state) {
    enum { ROUNDS = 150, PROGRAMS = 4 };
    const place *p = *state;
    for (int round = 0; round < ROUNDS; round++) {
        char path[TEMP_SIZE + 16];
        pid_t children[PROGRAMS];
        snprintf(path, sizeof path, "%s-%d", p->path, round);
        for (int k = 0; k < PROGRAMS; k++) {
            children[k] = fork();
            assert_true(children[k] >= 0);
            if (children[k] != 0) continue;
            tr_error err = {0};
            tr_store_place at = {.where = path, .make = true};
            tr_store *store = tr_store_open(&at, &err);
            if (!store) fprintf(stderr, "%s\n", err.text);
            tr_store_close(store);
            _exit(store ? 0 : 1);
        }
        for (int k = 0; k < PROGRAMS; k++) {
            int status;
            assert_int_equal(waitpid(children[k], &status, 0), children[k]);
            assert_int_equal(status, 0);
        }
    }
}

/* From the store's making on. */
static void several_programs_keep_at_once(void **state) {
    const place *p = *state;
    pid_t children[3];
    for (int k = 0; k < 3; k++) {
        children[k] = fork();
        assert_true(children[k] >= 0);
        if (children[k] == 0) _exit(keep_part(&(part){p->path, 100 * k}) ? 0 : 1);
    }
    for (int k = 0; k < 3; k++) {
        int status;
        assert_int_equal(waitpid(children[k], &status, 0), children[k]);
        assert_int_equal(status, 0);
    }
    store_check_sound(p->path, 60);
}

static void several_threads_keep_at_once(void **state) {
    const place *p = *state;
    pthread_t threads[3];
    part parts[3];
    for (int k = 0; k < 3; k++) {
        parts[k] = (part){p->path, 100 * k};
        assert_int_equal(pthread_create(&threads[k], NULL, keep_part, &parts[k]), 0);
    }
    for (int k = 0; k < 3; k++) {
        void *result;
        assert_int_equal(pthread_join(threads[k], &result), 0);
        assert_non_null(result);
    }
    store_check_sound(p->path, 60);
}

/* ---- Every change shows ---- */

/* By somebody who knows SQL, and takes the triggers away first. */
static void tamper(const char *path, const char *sql) {
    static const char *const TRIGGERS[] = {
        "record_follows",         "record_no_update",       "record_no_delete",
        "record_sheet_no_update", "record_sheet_no_delete", "file_no_update",
        "file_no_delete",         "store_no_update",        "store_no_delete"};
    char drop[64];
    for (size_t i = 0; i < sizeof TRIGGERS / sizeof *TRIGGERS; i++) {
        snprintf(drop, sizeof drop, "DROP TRIGGER %s", TRIGGERS[i]);
        run_sql(path, drop);
    }
    char *both = malloc(strlen(sql) + 64);
    assert_non_null(both);
    sprintf(both, "PRAGMA ignore_check_constraints = ON; %s", sql);
    run_sql(path, both);
    free(both);
}

static tr_store_finding verify(const char *path, const char *known) {
    tr_store_finding finding = {0};
    tr_error err = {0};
    tr_store *store = store_open(path, false);
    bool ok = tr_store_verify(store, known, &finding, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
    tr_store_close(store);
    return finding;
}

static void check_broken(tr_store_finding finding, int64_t number, const char *what) {
    if (finding.is_sound || finding.number != number || !strstr(finding.what, what)) {
        print_error("record %lld: %s\nwanted: record %lld, %s\n", (long long)finding.number,
                    finding.what, (long long)number, what);
        fail();
    }
}

#define PHOTO_OF_4 "(SELECT json_extract(body, '$.files[0].sha256') FROM record WHERE number = 4)"
#define OTHER_DIGIT(hash)                                                                          \
    "CASE substr(" hash ", 1, 1) WHEN '0' THEN '1' ELSE '0' END || substr(" hash ", 2)"
#define SWAP(a, b)                                                                                 \
    "UPDATE record SET number = 99 WHERE number = " #a ";"                                         \
    "UPDATE record SET number = " #a " WHERE number = " #b ";"                                     \
    "UPDATE record SET number = " #b " WHERE number = 99;"

static void every_change_shows(void **state) {
    static const struct {
        const char *sql;
        int64_t number;
        const char *what;
    } CASES[] = {
        {"UPDATE record SET vehicle = 'V-X' WHERE number = 4", 4, "its column 'vehicle'"},
        {"UPDATE record SET job = '' WHERE number = 4", 4, "its column 'job'"},
        {"UPDATE record SET kind = 'lens' WHERE number = 4", 4, "its column 'kind'"},
        {"UPDATE record SET technician = 'X' WHERE number = 4", 4, "its column 'technician'"},
        {"UPDATE record SET verdict = 'pass' WHERE number = 5", 5, "its column 'verdict'"},
        {"UPDATE record SET made_at = '2026-01-01T00:00:01Z' WHERE number = 1", 1,
         "its column 'made_at'"},
        {"UPDATE record SET id = 'x' WHERE number = 10", 10, "its column 'id'"},
        {"UPDATE record SET body = replace(body, 'fail', 'pass') WHERE number = 5", 5,
         "record 5 was changed after it was kept: its content does not have the hash"},
        {"UPDATE record SET body = replace(body, 'fail', 'pass'), verdict = 'pass' WHERE number = "
         "5",
         5, "was changed"},
        {"UPDATE record SET body = body || char(0) || ' ' WHERE number = 5", 5, "was changed"},
        {"UPDATE record SET body = '' WHERE number = 5", 5, "was changed"},
        {"UPDATE record SET body = CAST(body AS BLOB) || x'00' WHERE number = 5", 5, "was changed"},
        {"UPDATE record SET hash = " OTHER_DIGIT("hash") " WHERE number = 5", 5, "was changed"},
        {"UPDATE record SET previous = " OTHER_DIGIT("previous") " WHERE number = 5", 5,
         "does not follow"},
        {"UPDATE record SET origin_store = '095d54af-6972-4db4-b8b7-d9507fbd8ded',"
         " origin_number = 1, origin_hash = hash WHERE number = 5",
         5, "was changed"},
        {"UPDATE record SET origin_number = 1 WHERE number = 5", 5, "was changed"},
        {"UPDATE file SET data = zeroblob(length(data)) WHERE sha256 = " PHOTO_OF_4, 4,
         "the file 'photos/a.jpg' of record 4 was changed after it was kept"},
        {"UPDATE file SET data = NULL WHERE sha256 = " PHOTO_OF_4, 4,
         "of record 4 has no content any more"},
        {"UPDATE file SET size = 7 WHERE sha256 = " PHOTO_OF_4, 4, "of record 4 was changed"},
        {"DELETE FROM file WHERE sha256 = " PHOTO_OF_4, 4, "is not in the store"},
        {"DELETE FROM record WHERE number = 1", 1, "record 1 is missing"},
        {"DELETE FROM record WHERE number = 5", 5, "record 5 is missing"},
        {"DELETE FROM record WHERE number = 10", 0, "is not in the store: records were taken away"},
        {"DELETE FROM record WHERE number > 3", 0, "is not in the store: records were taken away"},
        {"DELETE FROM record", 0, "is not in the store: records were taken away"},
        {"DELETE FROM record WHERE number = 5; UPDATE record SET number = number - 1 WHERE number "
         "> 5",
         5, "does not follow"},
        {SWAP(4, 5), 4, "does not follow"},
        {SWAP(1, 2), 1, "does not follow"},
        {"INSERT INTO record_sheet VALUES (6, 'BOARD-9')", 6, "its column 'sheet'"},
        {"DELETE FROM record_sheet WHERE number = 6 AND sheet = 'MAT-7'", 6, "its column 'sheet'"},
        {"UPDATE record_sheet SET sheet = 'x' WHERE number = 6 AND sheet = 'MAT-7'", 6,
         "its column 'sheet'"},
        {"INSERT INTO record SELECT -1, 'x', 'y', hash || 'x', '', 0, '', made_at, kind, job,"
         " vehicle, technician, verdict, body FROM record WHERE number = 1",
         -1, "which no store gives"},
        {"UPDATE record SET number = 0 WHERE number = 1", 0, "which no store gives"},
    };
    const place *p = *state;
    char copy[TEMP_SIZE], hash[TR_HASH_SIZE];
    int64_t number;
    store_fill(p->path, false, 10);
    tr_store *store = store_open(p->path, false);
    assert_true(tr_store_newest(store, &number, hash, NULL));
    tr_store_close(store);
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        copy_file(p->path, temp_path(copy, p->folder, "copy"));
        assert_true(verify(copy, hash).is_sound);
        tamper(copy, CASES[i].sql);
        check_broken(verify(copy, hash), CASES[i].number, CASES[i].what);
    }
    /* What was noted must be a hash. */
    tr_store_finding finding;
    tr_error err = {0};
    store = store_open(p->path, false);
    assert_false(tr_store_verify(store, "abc", &finding, &err));
    err = (tr_error){0};
    assert_false(tr_store_verify(store, "", &finding, &err));
    assert_string_equal(err.text, "'' is no hash of a record; give at least its first 8 digits "
                                  "(0-9, a-f)");
    hash[10] = 0;
    assert_true(tr_store_verify(store, hash, &finding, NULL));
    assert_true(finding.is_sound);
    tr_store_close(store);
}

/* One that was changed is neither read nor found, and the error names it. */
static void what_was_changed_is_not_read(void **state) {
    static const char WHY[] = "has a record, number 5, that was changed after it was kept; verify "
                              "the store, and restore a copy";
    const place *p = *state;
    tr_record record;
    seen s = {0};
    store_fill(p->path, false, 6);
    tamper(p->path, "UPDATE record SET body = replace(body, 'fail', 'pass'), verdict = 'pass'"
                    " WHERE number = 5");
    tr_store *store = store_open(p->path, false);
    for (int k = 0; k < 2; k++) {
        tr_error err = {0};
        assert_false(k == 0 ? tr_store_read(store, "5", &record, &err)
                            : tr_store_find(store, &(tr_record_filter){0}, count, &s, &err));
        assert_string_equal(err.text, WHY);
        assert_string_equal(err.file, p->path);
    }
    assert_int_equal(s.n, 4);
    assert_true(tr_store_read(store, "6", &record, NULL));
    tr_record_release(&record);
    check_found(store, (tr_record_filter){.first_number = 6}, 1, 6, 6);
    tr_store_close(store);
}

/* Whoever makes all hashes from a record on anew is found by a hash that was noted elsewhere. */
static void hashes_made_anew_show(void **state) {
    const place *p = *state;
    char known[TR_HASH_SIZE], hash[TR_HASH_SIZE], previous[TR_HASH_SIZE], text[512];
    int64_t number;
    store_fill(p->path, false, 10);
    tr_store *store = store_open(p->path, false);
    assert_true(tr_store_newest(store, &number, known, NULL));
    tr_store_close(store);
    tamper(p->path, "UPDATE record SET body = replace(body, 'fail', 'pass'), verdict = 'pass'"
                    " WHERE number = 5");
    sqlite3 *db;
    sqlite3_stmt *s;
    assert_int_equal(sqlite3_open(p->path, &db), SQLITE_OK);
    for (int i = 5; i <= 10; i++) {
        char body[TR_HASH_SIZE];
        snprintf(text, sizeof text,
                 "SELECT body, (SELECT hash FROM record WHERE number = %d) FROM record"
                 " WHERE number = %d",
                 i - 1, i);
        assert_int_equal(sqlite3_prepare_v2(db, text, -1, &s, NULL), SQLITE_OK);
        assert_int_equal(sqlite3_step(s), SQLITE_ROW);
        tr_sha256_hex(sqlite3_column_text(s, 0), (size_t)sqlite3_column_bytes(s, 0), body);
        snprintf(previous, sizeof previous, "%s", (const char *)sqlite3_column_text(s, 1));
        assert_int_equal(sqlite3_finalize(s), SQLITE_OK);
        snprintf(text, sizeof text, "trammel record 1\n%d\n%s\n-\n%s\n", i, previous, body);
        tr_sha256_hex(text, strlen(text), hash);
        snprintf(text, sizeof text,
                 "UPDATE record SET previous = '%s', hash = '%s' WHERE number = %d", previous, hash,
                 i);
        assert_int_equal(sqlite3_exec(db, text, NULL, NULL, NULL), SQLITE_OK);
    }
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
    assert_true(verify(p->path, NULL).is_sound);
    check_broken(verify(p->path, known), 0, "is not in the store");
}

static void triggers_refuse_changes(void **state) {
    static const char *const CHANGES[] = {
        "UPDATE record SET verdict = 'pass'",
        "DELETE FROM record WHERE number = 3",
        "DELETE FROM record",
        "UPDATE record_sheet SET sheet = 'x'",
        "DELETE FROM record_sheet",
        "UPDATE file SET data = NULL",
        "DELETE FROM file",
        "UPDATE store SET id = 'x'",
        "DELETE FROM store",
        "INSERT INTO record SELECT 9, 'x', 'y', 'z', '', 0, '', made_at, kind, job, vehicle,"
        " technician, verdict, body FROM record WHERE number = 1",
    };
    const place *p = *state;
    sqlite3 *db;
    store_fill(p->path, false, 3);
    assert_int_equal(sqlite3_open(p->path, &db), SQLITE_OK);
    for (size_t i = 0; i < sizeof CHANGES / sizeof *CHANGES; i++) {
        assert_int_equal(sqlite3_exec(db, CHANGES[i], NULL, NULL, NULL), SQLITE_CONSTRAINT);
    }
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
    store_check_sound(p->path, 3);
}

/* ---- Damaged pages ---- */

enum { PAGE_SIZE = 4096 };

/* Records that fill more than half a page each, with photos of several pages: 'a' of record 1, ...
 */
static void fill_pages(const char *path, int n) {
    static char photo[5 * PAGE_SIZE], details[PAGE_SIZE];
    snprintf(details, sizeof details, "{\"text\":\"%0*d\"}", 2500, 0);
    tr_store *store = store_open(path, false);
    for (int i = 0; i < n; i++) {
        sample s;
        sample_make(&s, i);
        s.record.details = details;
        s.record.n_files = 1;
        memset(photo, 'a' + i, sizeof photo);
        s.files[0].size = sizeof photo;
        assert_true(tr_store_put(store, photo, sizeof photo, s.files[0].sha256, NULL));
        assert_true(tr_store_append(store, &s.record, NULL));
    }
    tr_store_close(store);
}

/* Zeroes the first page that has these bytes. */
static void zero_page(const char *path, const void *bytes, size_t n) {
    uint8_t *data;
    size_t size;
    size_t at = 0;
    assert_true(tr_file_read(path, 100 << 20, &data, &size, NULL));
    while (at + n <= size && memcmp(data + at, bytes, n) != 0) at++;
    assert_true(at + n <= size);
    memset(data + at / PAGE_SIZE * PAGE_SIZE, 0, PAGE_SIZE);
    temp_write(path, data, size);
    free(data);
}

static void check_damaged(const char *path, int64_t number, int64_t n_sound, const char *what) {
    tr_store_finding f = verify(path, NULL);
    check_broken(f, number, what);
    assert_int_equal(f.n_records, n_sound);
    assert_int_equal(f.newest, n_sound);
    assert_int_equal(strlen(f.hash), n_sound > 0 ? TR_HASH_SIZE - 1 : 0);
}

/* The record at which it breaks is named, and those before are told to be sound. */
static void a_damaged_page_names_its_record(void **state) {
    static const char UNREADABLE[] = "the database is damaged: from record";
    const place *p = *state;
    char copy[TEMP_SIZE], text[64], photo[PAGE_SIZE - 4];
    temp_path(copy, p->folder, "copy");
    for (int i = 1; i <= 4; i++) {
        (void)unlink(copy);
        fill_pages(copy, 4);
        int n = snprintf(text, sizeof text, "\"vehicle\":\"V-%d\"", i - 1);
        zero_page(copy, text, (size_t)n);
        check_damaged(copy, i, i - 1, UNREADABLE);
        (void)unlink(copy);
        fill_pages(copy, 4);
        memset(photo, 'a' + i - 1, sizeof photo);
        zero_page(copy, photo, sizeof photo);
        snprintf(text, sizeof text, "'photos/a.jpg' of record %d cannot be read", i);
        check_damaged(copy, i, i - 1, text);
    }
    /* What breaks first is told. */
    zero_page(copy, "\"vehicle\":\"V-2\"", 15);
    check_damaged(copy, 3, 2, UNREADABLE);
    /* An index, which is not needed to read records: an entry of SQLite's (3 bytes of header, 3 of
       text, the number 1). */
    (void)unlink(copy);
    fill_pages(copy, 4);
    zero_page(copy, "\x03\x13\x09V-0", 6);
    check_damaged(copy, 0, 4, "every record is as it was kept, but the database is damaged");
}

/* ---- Files in a folder ---- */

static void changes_in_the_folder_show(void **state) {
    const place *p = *state;
    char folder[TEMP_SIZE + 8], aside[TEMP_SIZE], file[2 * TEMP_SIZE];
    sample s;
    store_fill(p->path, true, 3);
    tr_store *store = store_open(p->path, false);
    sample_make(&s, 3);
    assert_true(sample_keep(store, &s, NULL));
    tr_store_close(store);
    assert_true(verify(p->path, NULL).is_sound);
    snprintf(folder, sizeof folder, "%s.files", p->path);
    snprintf(file, sizeof file, "%s/%.2s/%s", folder, s.files[0].sha256, s.files[0].sha256 + 2);
    temp_write(file, "the photo of record X", 21);
    check_broken(verify(p->path, NULL), 4, "of record 4 was changed");
    temp_write(file, "the photo", 9);
    check_broken(verify(p->path, NULL), 4, "of record 4 was changed");
    assert_int_equal(unlink(file), 0);
    check_broken(verify(p->path, NULL), 4, "of record 4 has no content any more");
    /* Put again, it is whole again, whatever came of it. */
    static const char *const DAMAGED[] = {NULL, "", "the photo", "the photo of record X"};
    for (size_t i = 0; i < sizeof DAMAGED / sizeof *DAMAGED; i++) {
        if (DAMAGED[i]) temp_write(file, DAMAGED[i], strlen(DAMAGED[i]));
        store = store_open(p->path, false);
        assert_true(sample_keep(store, &s, NULL));
        assert_int_equal(s.record.number, 4);
        tr_store_close(store);
        assert_true(verify(p->path, NULL).is_sound);
    }
    /* The folder is not there; another store's is. */
    tr_error err = {0};
    assert_int_equal(rename(folder, temp_path(aside, p->folder, "aside")), 0);
    assert_null(tr_store_open(&(tr_store_place){.where = p->path}, &err));
    assert_string_equal(err.text, "is not there or does not hold the store's files; see that its "
                                  "disk is mounted, or put them back there");
    store = tr_store_open(&(tr_store_place){.where = p->path, .folder = aside}, NULL);
    assert_non_null(store);
    tr_store_close(store);
    char other[TEMP_SIZE], its_folder[TEMP_SIZE + 8];
    store_fill(temp_path(other, p->folder, "other"), true, 1);
    snprintf(its_folder, sizeof its_folder, "%s.files", other);
    err = (tr_error){0};
    assert_null(tr_store_open(&(tr_store_place){.where = p->path, .folder = its_folder}, &err));
    assert_string_equal(err.text,
                        "holds the files of another store; put the folder of this one there");
}

/* What may not be read is not called gone. */
static int fail_to_verify(const char *path) {
    tr_error err = {0};
    tr_store_finding finding;
    tr_store *store = tr_store_open(&(tr_store_place){.where = path, .read_only = true}, &err);
    bool is_verified = store && tr_store_verify(store, NULL, &finding, &err);
    tr_store_close(store);
    if (is_verified) return 1;
    return strstr(err.text, "may not be read or written by this user") ? 0 : 2;
}

static void a_file_that_may_not_be_read_is_no_finding(void **state) {
    const place *p = *state;
    char file[2 * TEMP_SIZE], within[TEMP_SIZE + 16];
    sample s;
    store_fill(p->path, true, 1);
    tr_store *store = store_open(p->path, false);
    sample_make(&s, 1);
    assert_true(sample_keep(store, &s, NULL));
    tr_store_close(store);
    snprintf(within, sizeof within, "%s.files/%.2s", p->path, s.files[0].sha256);
    snprintf(file, sizeof file, "%s/%s", within, s.files[0].sha256 + 2);
    assert_int_equal(chmod(p->folder, 0755), 0);
    assert_int_equal(chmod(file, 0), 0);
    assert_int_equal(as_nobody(fail_to_verify, p->path), 0);
    assert_int_equal(chmod(file, 0644), 0);
    assert_int_equal(chmod(within, 0), 0);
    assert_int_equal(as_nobody(fail_to_verify, p->path), 0);
    assert_int_equal(chmod(within, 0755), 0);
    store_check_sound(p->path, 2);
    /* A folder of its name is not the file. */
    assert_int_equal(unlink(file), 0);
    assert_int_equal(mkdir(file, 0777), 0);
    check_broken(verify(p->path, NULL), 2, "of record 2 has no content any more");
    assert_int_equal(rmdir(file), 0);
    /* Larger than any that was kept. */
    temp_write(file, "", 0);
    assert_int_equal(truncate(file, (off_t)600 << 20), 0);
    check_broken(verify(p->path, NULL), 2, "of record 2 was changed");
}

/* ---- Nothing rests on a damaged file ---- */

/* A sample whose photo is the same as of record 1, which has `size` bytes. */
static bool keep_with_photo(tr_store *store, int i, size_t size, tr_error *err) {
    sample s;
    char *photo = malloc(size);
    assert_non_null(photo);
    memset(photo, 'p', size);
    sample_make(&s, i);
    s.record.n_files = 1;
    s.files[0].size = size;
    bool ok = tr_store_put(store, photo, size, s.files[0].sha256, err) &&
              tr_store_append(store, &s.record, err);
    free(photo);
    return ok;
}

static void nothing_is_kept_on_a_damaged_file(void **state) {
    static const struct {
        const char *sql, *why;
    } CASES[] = {
        {"UPDATE file SET data = zeroblob(length(data))", "with another content than was kept"},
        {"UPDATE file SET data = NULL", "does not hold the file"},
        {"UPDATE file SET size = 7", "with another content than was kept"},
    };
    static const size_t SIZES[] = {100, 100000}; /* sent at once, and asked for first */
    const place *p = *state;
    char copy[TEMP_SIZE], from[TEMP_SIZE];
    int64_t n;
    for (int k = 0; k < 2; k++) {
        tr_store *store = store_open(temp_path(from, p->folder, k ? "from-1" : "from-0"), false);
        assert_true(keep_with_photo(store, 0, SIZES[k], NULL));
        tr_store_close(store);
        for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
            tr_error err = {0};
            (void)unlink(temp_path(copy, p->folder, "copy"));
            store = store_open(copy, false);
            assert_true(keep_with_photo(store, 1, SIZES[k], NULL));
            tr_store_close(store);
            tamper(copy, CASES[i].sql);
            store = store_open(copy, false);
            assert_false(keep_with_photo(store, 2, SIZES[k], &err));
            assert_non_null(strstr(err.text, CASES[i].why));
            tr_store *source = store_open(from, false);
            err = (tr_error){0};
            assert_false(tr_store_push(source, store, &n, &err));
            assert_non_null(strstr(err.text, CASES[i].why));
            assert_int_equal(n, 0);
            tr_store_close(source);
            tr_store_close(store);
            assert_int_equal(verify(copy, NULL).number, 1);
        }
    }
}

/* ---- From store to store ---- */

static int64_t push(const char *from, const char *to) {
    int64_t n;
    tr_error err = {0};
    tr_store *a = store_open(from, false);
    tr_store *b = store_open(to, false);
    bool ok = tr_store_push(a, b, &n, &err);
    if (!ok) print_error("%s: %s\n", err.file, err.text);
    assert_true(ok);
    tr_store_close(a);
    tr_store_close(b);
    return n;
}

static void records_go_from_store_to_store(void **state) {
    const place *p = *state;
    char a[TEMP_SIZE], b[TEMP_SIZE], c[TEMP_SIZE], d[TEMP_SIZE];
    store_fill(temp_path(a, p->folder, "a"), false, 5);
    store_fill(temp_path(b, p->folder, "b"), true, 7);
    store_fill(temp_path(c, p->folder, "c"), true, 2);
    temp_path(d, p->folder, "d");
    assert_int_equal(push(a, c), 5);
    assert_int_equal(push(b, c), 7);
    assert_int_equal(push(a, c), 0);
    store_fill(a, false, 3);
    assert_int_equal(push(a, c), 3);
    store_check_sound(c, 17);
    /* On to a fourth: where each was first stays. */
    assert_int_equal(push(c, d), 17);
    assert_int_equal(push(a, d), 0);
    store_check_sound(d, 17);
    tr_store *first = store_open(a, false);
    tr_store *last = store_open(d, false);
    tr_record was, is;
    assert_true(tr_store_read(first, "6", &was, NULL));
    assert_true(tr_store_read(last, was.id, &is, NULL));
    assert_int_equal(is.number, 15);
    assert_string_equal(is.origin_store, tr_store_id(first));
    assert_int_equal(is.origin_number, 6);
    assert_string_equal(is.origin_hash, was.hash);
    tr_record_release(&was);
    tr_record_release(&is);
    tr_error err = {0};
    int64_t n;
    assert_false(tr_store_push(first, first, &n, &err));
    assert_non_null(strstr(err.text, "is the same store"));
    tr_store_close(first);
    tr_store_close(last);
}

/* One that was changed goes nowhere. */
static void what_was_changed_is_not_handed_on(void **state) {
    static const char *const SQL[] = {
        "UPDATE record SET body = replace(body, 'fail', 'pass') WHERE number = 5",
        "UPDATE file SET data = zeroblob(length(data)) WHERE sha256 = (SELECT"
        " json_extract(body, '$.files[0].sha256') FROM record WHERE number = 5)",
    };
    static const char *const WHY[] = {"was changed after it was kept",
                                      "with another content than was kept"};
    const place *p = *state;
    char copy[TEMP_SIZE], to[TEMP_SIZE];
    store_fill(p->path, false, 6);
    for (int i = 0; i < 2; i++) {
        tr_error err = {0};
        int64_t n;
        copy_file(p->path, temp_path(copy, p->folder, "copy"));
        tamper(copy, SQL[i]);
        tr_store *a = store_open(copy, false);
        tr_store *b = store_open(temp_path(to, p->folder, i ? "to-1" : "to-0"), false);
        assert_false(tr_store_push(a, b, &n, &err));
        assert_int_equal(n, 4);
        assert_non_null(strstr(err.text, WHY[i]));
        tr_store_close(a);
        tr_store_close(b);
        store_check_sound(to, 4);
        /* From a sound copy all arrive. */
        assert_int_equal(push(p->path, to), 2);
        store_check_sound(to, 6);
    }
    /* The same id, another content. */
    copy_file(p->path, temp_path(copy, p->folder, "copy"));
    tamper(copy, "UPDATE record SET body = replace(body, 'fail', 'pass') WHERE number = 2");
    tr_error err = {0};
    int64_t n;
    tr_store *a = store_open(copy, false);
    tr_store *b = store_open(to, false);
    assert_false(tr_store_push(a, b, &n, &err));
    assert_non_null(strstr(err.text, "holds another record of the id"));
    tr_store_close(a);
    tr_store_close(b);
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
        cmocka_unit_test_setup_teardown(a_store_of_version_1_is_read, make_place, remove_place),
        cmocka_unit_test_setup_teardown(what_is_no_store_is_refused, make_place, remove_place),
        cmocka_unit_test_setup_teardown(special_names_are_files, make_place, remove_place),
        cmocka_unit_test_setup_teardown(one_that_is_cut_short_is_refused, make_place, remove_place),
        cmocka_unit_test_setup_teardown(one_that_cannot_be_reached_is_not_called_missing,
                                        make_place, remove_place),
        cmocka_unit_test_setup_teardown(one_that_may_only_be_read_is_read, make_place,
                                        remove_place),
        cmocka_unit_test_setup_teardown(a_link_leads_to_the_store, make_place, remove_place),
        cmocka_unit_test_setup_teardown(one_that_is_locked_is_told, make_place, remove_place),
        cmocka_unit_test_setup_teardown(several_programs_make_it_at_once, make_place, remove_place),
        cmocka_unit_test_setup_teardown(several_programs_keep_at_once, make_place, remove_place),
        cmocka_unit_test_setup_teardown(several_threads_keep_at_once, make_place, remove_place),
        cmocka_unit_test_setup_teardown(every_change_shows, make_place, remove_place),
        cmocka_unit_test_setup_teardown(what_was_changed_is_not_read, make_place, remove_place),
        cmocka_unit_test_setup_teardown(hashes_made_anew_show, make_place, remove_place),
        cmocka_unit_test_setup_teardown(triggers_refuse_changes, make_place, remove_place),
        cmocka_unit_test_setup_teardown(a_damaged_page_names_its_record, make_place, remove_place),
        cmocka_unit_test_setup_teardown(changes_in_the_folder_show, make_place, remove_place),
        cmocka_unit_test_setup_teardown(a_file_that_may_not_be_read_is_no_finding, make_place,
                                        remove_place),
        cmocka_unit_test_setup_teardown(nothing_is_kept_on_a_damaged_file, make_place,
                                        remove_place),
        cmocka_unit_test_setup_teardown(records_go_from_store_to_store, make_place, remove_place),
        cmocka_unit_test_setup_teardown(what_was_changed_is_not_handed_on, make_place,
                                        remove_place),
    };
    store_use_memory_disk();
    return cmocka_run_group_tests(tests, NULL, NULL);
}
