/* A store where memory runs out, at every allocation in turn: what is kept is kept whole, a sound
   record is never called broken, and what cannot be done is said to be for want of memory. */
#include "faults.h"
#include "store.h"
#include "temp.h"

enum { N_RECORDS = 2 };

typedef struct {
    char folder[TEMP_SIZE], path[TEMP_SIZE];
    int kept; /* records that were reported as kept */
    sample s;
} place;

static int make_place(void **state) {
    place *p = calloc(1, sizeof *p);
    if (!p) return -1;
    temp_make(p->folder);
    temp_path(p->path, p->folder, "records.sqlite");
    store_fill(p->path, false, N_RECORDS);
    p->kept = N_RECORDS;
    *state = p;
    return 0;
}

static int remove_place(void **state) {
    temp_remove(((place *)*state)->folder);
    free(*state);
    return 0;
}

/* What is tried: opens the store anew. TR_OK: it did what it should, which is checked here, too. */
typedef tr_code attempt(place *p, long fail_at, bool lasting, long *n);

static tr_store *open_short(const place *p, tr_error *err) {
    const tr_store_place at = {.where = p->path};
    return tr_store_open(&at, err);
}

/* An error of SQLite's at the end of memory is one of the disk for all that is known. */
static tr_code verify(place *p, long fail_at, bool lasting, long *n) {
    tr_store_finding finding = {0};
    tr_error err = {0};
    fault_arm(fail_at, lasting);
    tr_store *store = open_short(p, &err);
    bool ok = store && tr_store_verify(store, NULL, &finding, &err);
    tr_store_close(store);
    *n = fault_disarm();
    if (ok && !finding.is_sound) print_error("allocation %ld: %s\n", fail_at, finding.what);
    if (ok) assert_true(finding.is_sound);
    if (ok) assert_int_equal(finding.n_records, p->kept);
    return err.code;
}

static tr_code read_one(place *p, long fail_at, bool lasting, long *n) {
    tr_record record = {0};
    tr_error err = {0};
    fault_arm(fail_at, lasting);
    tr_store *store = open_short(p, &err);
    bool ok = store && tr_store_read(store, "2", &record, &err);
    tr_store_close(store);
    *n = fault_disarm();
    if (ok) {
        assert_string_equal(record.vehicle, "V-1");
        assert_string_equal(record.details, "{\"options\":{\"a\":[1,2],\"b\":1.5}}");
    }
    tr_record_release(&record);
    return err.code;
}

static tr_code keep(place *p, long fail_at, bool lasting, long *n) {
    tr_error err = {0};
    sample_make(&p->s, p->kept);
    fault_arm(fail_at, lasting);
    tr_store *store = open_short(p, &err);
    bool ok = store && sample_keep(store, &p->s, &err);
    tr_store_close(store);
    *n = fault_disarm();
    p->kept += ok;
    return err.code;
}

static void at_every_allocation(place *p, attempt *try) {
    long n, unused;
    assert_int_equal(try(p, 0, false, &n), TR_OK);
    assert_true(n > 100);
    for (long k = 1; k <= 2 * n; k++) {
        tr_code code = try(p, k > n ? k - n : k, k > n, &unused);
        if (code != TR_OK && code != TR_NO_MEMORY) print_error("allocation %ld of %ld\n", k, n);
        assert_true(code == TR_OK || code == TR_NO_MEMORY);
        if (try == keep) store_check_sound(p->path, p->kept);
    }
}

static void a_sound_store_is_verified(void **state) {
    at_every_allocation(*state, verify);
}

static void a_record_is_read(void **state) {
    at_every_allocation(*state, read_one);
}

static void a_record_is_kept(void **state) {
    at_every_allocation(*state, keep);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_sound_store_is_verified, make_place, remove_place),
        cmocka_unit_test_setup_teardown(a_record_is_read, make_place, remove_place),
        cmocka_unit_test_setup_teardown(a_record_is_kept, make_place, remove_place),
    };
    store_use_memory_disk();
    return cmocka_run_group_tests_name("store_memory", tests, NULL, NULL);
}
