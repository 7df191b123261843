/* Records for the tests of the store. */
#ifndef TR_TESTS_STORE_H
#define TR_TESTS_STORE_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check.h"

#include "base/file.h"
#include "store/store.h"

/* What tr_store_append takes, without allocations: texts are the caller's, and it is not released.
 */
typedef struct {
    tr_record record;
    tr_record_file files[2];
    char *sheets[2];
    char photo[64], result[64];
} sample;

/* Record i: a photo of its own, a result that every tenth has, vehicle V-(i % 100), verdicts in
   turn, one record a minute from 2026-01-01 on. */
static inline void sample_make(sample *s, int i) {
    static char *VERDICTS[] = {"pass", "fail", "inconclusive"};
    char text[64];
    static char VEHICLES[100][16], JOBS[100][16];
    snprintf(VEHICLES[i % 100], sizeof VEHICLES[0], "V-%d", i % 100);
    snprintf(JOBS[i % 100], sizeof JOBS[0], "J-%d", i % 100);
    memset(s, 0, sizeof *s);
    s->record.kind = "check";
    s->record.program = "1.0.0";
    s->record.job = JOBS[i % 100];
    s->record.vehicle = VEHICLES[i % 100];
    s->record.technician = i % 2 ? "M. Okafor" : "J. Lindqvist";
    s->record.verdict = VERDICTS[i % 3];
    s->record.details = "{\"options\": {\"b\": 1.5, \"a\": [1, 2]}}";
    snprintf(text, sizeof text, "2026-01-%02dT%02d:%02d:00Z", 1 + i / 1440 % 28, i / 60 % 24,
             i % 60);
    memcpy(s->record.made_at, text, sizeof s->record.made_at);
    s->sheets[0] = "MAT-7";
    s->sheets[1] = i % 5 ? "BOARD-2" : "BOARD-3";
    s->record.sheets = s->sheets;
    s->record.n_sheets = 2;
    snprintf(s->photo, sizeof s->photo, "the photo of record %d", i);
    snprintf(s->result, sizeof s->result, "the result of record %d", i / 10);
    s->files[0] = (tr_record_file){.role = "photo", .name = "photos/a.jpg"};
    s->files[1] = (tr_record_file){.role = "result", .name = "result.json"};
    s->record.files = s->files;
    s->record.n_files = 2;
}

/* Puts the sample's files, and appends it. */
static inline bool sample_keep(tr_store *store, sample *s, tr_error *err) {
    const char *contents[] = {s->photo, s->result};
    for (int i = 0; i < 2; i++) {
        s->files[i].size = strlen(contents[i]);
        if (!tr_store_put(store, contents[i], strlen(contents[i]), s->files[i].sha256, err)) {
            return false;
        }
    }
    return tr_store_append(store, &s->record, err);
}

/* A memory disk for the test's folder, where there is one: these tests wait for the disk thousands
   of times, and neither a kill nor a change of bytes is seen differently there. TMPDIR stays where
   it was set. */
static inline void store_use_memory_disk(void) {
    if (access("/dev/shm", R_OK | W_OK | X_OK) == 0) setenv("TMPDIR", "/dev/shm", 0);
}

/* Opens or makes; the test fails where that does. */
static inline tr_store *store_open(const char *where, bool in_folder) {
    tr_error err = {0};
    tr_store_place place = {.where = where, .make = true, .in_folder = in_folder};
    tr_store *store = tr_store_open(&place, &err);
    if (!store) print_error("%s: %s\n", err.file, err.text);
    assert_non_null(store);
    return store;
}

static inline void store_keep(tr_store *store, int i) {
    sample s;
    tr_error err = {0};
    sample_make(&s, i);
    bool ok = sample_keep(store, &s, &err);
    if (!ok) print_error("record %d: %s: %s\n", i, err.file, err.text);
    assert_true(ok);
}

/* A store of n records at the path. */
static inline void store_fill(const char *where, bool in_folder, int n) {
    tr_store *store = store_open(where, in_folder);
    for (int i = 0; i < n; i++) store_keep(store, i);
    tr_store_close(store);
}

/* It is sound and has n records. */
static inline void store_check_sound(const char *where, int64_t n) {
    tr_store_finding finding;
    tr_error err = {0};
    tr_store *store = store_open(where, false);
    bool ok = tr_store_verify(store, NULL, &finding, &err);
    if (!ok) print_error("%s: %s\n", err.file, err.text);
    assert_true(ok);
    if (!finding.is_sound) print_error("%s\n", finding.what);
    assert_true(finding.is_sound);
    assert_int_equal(finding.n_records, n);
    tr_store_close(store);
}

#endif
