/* bench store: how quick a store of many records is, an SQLite file and a PostgreSQL database side
   by side: a server of its own, by the socket, in the same folder's file system. Each record has a
   small photo of its own and a result that ten share. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "store/store.h"
#include "tests/postgres.h"
#include "tools/bench/bench.h"
#include "tools/bench/process.h"

enum { REPEATS = 11 };

typedef enum { APPEND, LIST, VEHICLE, DATES, SHEET, RARE, READ, VERIFY, N_TASKS } task;
static const char *const NAMES[N_TASKS] = {
    [APPEND] = "append, with two files (records a second)",
    [LIST] = "list the newest 20 (ms)",
    [VEHICLE] = "filter by vehicle and dates (ms)",
    [DATES] = "filter by one day (ms)",
    [SHEET] = "filter by a sheet, newest 20 (ms)",
    [RARE] = "filter by a technician who is not there (ms)",
    [READ] = "read one by its hash, with its photo (ms)",
    [VERIFY] = "verify the whole store (s)",
};

static double now_s(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static bool keep(tr_store *store, long i, tr_error *err) {
    char photo[256], result[2048], vehicle[32];
    static char *const VERDICTS[] = {"pass", "pass", "fail", "inconclusive"};
    char *sheets[] = {"MAT-7", i % 50 ? "BOARD-2" : "BOARD-3"};
    tr_record_file files[] = {{.role = "photo", .name = "photos/a.jpg", .size = sizeof photo},
                              {.role = "result", .name = "result.json", .size = sizeof result}};
    tr_record record = {.kind = "check",
                        .program = "1.0.0",
                        .job = "job.yaml",
                        .vehicle = vehicle,
                        .technician = i % 2 ? "M. Okafor" : "J. Lindqvist",
                        .verdict = VERDICTS[i % 4],
                        .sheets = sheets,
                        .n_sheets = 2,
                        .details = "{\"options\":{}}",
                        .files = files,
                        .n_files = 2};
    time_t t = 1767225600 + 300 * i; /* one in five minutes, from 2026-01-01 on */
    struct tm utc;
    snprintf(vehicle, sizeof vehicle, "V-%ld", i % 5000);
    if (!gmtime_r(&t, &utc)) return false;
    strftime(record.made_at, sizeof record.made_at, "%Y-%m-%dT%H:%M:%SZ", &utc);
    memset(photo, 0, sizeof photo);
    memset(result, 0, sizeof result);
    snprintf(photo, sizeof photo, "photo %ld", i);
    snprintf(result, sizeof result, "result %ld", i / 10);
    return tr_store_put(store, photo, sizeof photo, files[0].sha256, err) &&
           tr_store_put(store, result, sizeof result, files[1].sha256, err) &&
           tr_store_append(store, &record, err);
}

static bool count(const tr_record *record, void *user) {
    (void)record;
    ++*(long *)user;
    return true;
}

static bool find(tr_store *store, const tr_record_filter *filter, double *ms, long *n,
                 tr_error *err) {
    double times[REPEATS];
    for (int k = 0; k < REPEATS; k++) {
        double begin = now_s();
        *n = 0;
        if (!tr_store_find(store, filter, count, n, err)) return false;
        times[k] = 1e3 * (now_s() - begin);
    }
    *ms = bench_median(times, REPEATS);
    return true;
}

static bool read_one(tr_store *store, double *ms, tr_error *err) {
    double times[REPEATS];
    for (int k = 0; k < REPEATS; k++) {
        int64_t newest;
        char hash[TR_HASH_SIZE];
        tr_record record;
        uint8_t *data;
        size_t size;
        if (!tr_store_newest(store, &newest, hash, err)) return false;
        double begin = now_s();
        if (!tr_store_read(store, hash, &record, err)) return false;
        bool ok = tr_store_get(store, record.files[0].sha256, &data, &size, err);
        tr_record_release(&record);
        if (!ok) return false;
        free(data);
        times[k] = 1e3 * (now_s() - begin);
    }
    *ms = bench_median(times, REPEATS);
    return true;
}

static bool measure(tr_store *store, long n, double out[N_TASKS], long found[N_TASKS],
                    tr_error *err) {
    double begin = now_s();
    tr_store_finding finding;
    for (long i = 0; i < n; i++) {
        if (!keep(store, i, err)) return false;
    }
    out[APPEND] = (double)n / (now_s() - begin);
    const tr_record_filter list = {.limit = 20};
    const tr_record_filter vehicle = {
        .vehicle = "V-77", .from = "2026-01-01", .until = "2026-06-30"};
    const tr_record_filter dates = {.from = "2026-01-02", .until = "2026-01-02"};
    const tr_record_filter sheet = {.sheet = "BOARD-3", .limit = 20};
    const tr_record_filter rare = {.technician = "nobody", .limit = 20};
    if (!find(store, &list, &out[LIST], &found[LIST], err) ||
        !find(store, &vehicle, &out[VEHICLE], &found[VEHICLE], err) ||
        !find(store, &dates, &out[DATES], &found[DATES], err) ||
        !find(store, &sheet, &out[SHEET], &found[SHEET], err) ||
        !find(store, &rare, &out[RARE], &found[RARE], err) || !read_one(store, &out[READ], err)) {
        return false;
    }
    begin = now_s();
    if (!tr_store_verify(store, NULL, &finding, err)) return false;
    out[VERIFY] = now_s() - begin;
    if (!finding.is_sound) return tr_fail(err, TR_BAD_INPUT, "%s", finding.what);
    found[VERIFY] = (long)finding.n_records;
    return true;
}

static bool run(const char *where, long n, double out[N_TASKS], long found[N_TASKS]) {
    tr_error err = {0};
    char text[1024];
    tr_store_place place = {.where = where, .make = true};
    tr_store *store = tr_store_open(&place, &err);
    bool ok = store && measure(store, n, out, found, &err);
    tr_store_close(store);
    if (ok) return true;
    tr_error_print(&err, text, sizeof text);
    fprintf(stderr, "%s\n", text);
    return false;
}

int bench_store(const bench_options *o) {
    const char *base = getenv("TMPDIR");
    char folder[128], path[160];
    double sqlite[N_TASKS], postgres[N_TASKS];
    long found[N_TASKS] = {0};
    postgres_server server;
    long n = o->n_records > 0 ? o->n_records : 100000;
    snprintf(folder, sizeof folder, "%.80s/trammel-bench-XXXXXX", base ? base : "/tmp");
    if (!mkdtemp(folder)) return 1;
    snprintf(path, sizeof path, "%s/records.sqlite", folder);
    bool ok = run(path, n, sqlite, found);
    bool has_server = ok && postgres_start(&server);
    if (has_server) {
        ok = run(server.where, n, postgres, found);
        postgres_stop(&server);
    }
    if (ok) {
        printf("%ld records                                       SQLite  PostgreSQL   found\n", n);
        for (int i = 0; i < N_TASKS; i++) {
            printf("%-46s %10.1f", NAMES[i], sqlite[i]);
            if (has_server) printf("  %10.1f", postgres[i]);
            if (!has_server) printf("           -");
            printf("  %6ld\n", found[i]);
        }
    }
    (void)unlink(path);
    return rmdir(folder) == 0 && ok ? 0 : 1;
}
