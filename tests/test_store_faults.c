/* The store under bad luck: each write, sync, truncation and opening fails in turn; the disk is
   full; the program is killed at any instant; bytes of the file change. What was reported as kept
   is there, nothing is there by half. TRAMMEL_STORE_KILLS=N    that many kills, not 40; TMPDIR=...
   on that disk */
#include "store.h"
#include "temp.h"

#include <errno.h>
#include <sched.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#include <sqlite3.h>

/* ---- SQLite's way to the disk, with faults ---- */

typedef enum { OPEN, WRITE, SYNC, TRUNCATE, N_CALLS } call;
static const char *const CALL_NAMES[N_CALLS] = {"open", "write", "sync", "truncate"};

typedef enum {
    ONCE,    /* this one alone */
    LASTING, /* and all after it, of every kind */
    HALF,    /* a write of half of the bytes */
    FULL,    /* as of a full disk */
    N_FAULTS
} fault;

static struct {
    call which;
    fault how;
    long countdown; /* 0: none fails; 1: the next */
    bool has_failed;
} armed;

static bool fails(call c) {
    if (armed.has_failed && armed.how == LASTING && armed.countdown < 0) return true;
    if (c != armed.which || armed.countdown <= 0) return false;
    if (--armed.countdown > 0) return false;
    armed.has_failed = true;
    if (armed.how == LASTING) armed.countdown = -1;
    return true;
}

static void arm(call which, fault how, long n) {
    armed.which = which;
    armed.how = how;
    armed.countdown = n;
    armed.has_failed = false;
}

/* Whether one failed. */
static bool disarm(void) {
    armed.countdown = 0;
    return armed.has_failed;
}

typedef struct {
    sqlite3_file base;
    sqlite3_file *real; /* behind this in memory */
} shim_file;

static sqlite3_vfs *real_vfs;

static sqlite3_file *real_of(sqlite3_file *f) {
    return ((shim_file *)f)->real;
}

static int shim_close(sqlite3_file *f) {
    return real_of(f)->pMethods ? real_of(f)->pMethods->xClose(real_of(f)) : SQLITE_OK;
}
static int shim_read(sqlite3_file *f, void *to, int n, sqlite3_int64 at) {
    return real_of(f)->pMethods->xRead(real_of(f), to, n, at);
}
static int shim_write(sqlite3_file *f, const void *from, int n, sqlite3_int64 at) {
    if (!fails(WRITE)) return real_of(f)->pMethods->xWrite(real_of(f), from, n, at);
    if (armed.how == HALF) (void)real_of(f)->pMethods->xWrite(real_of(f), from, n / 2, at);
    return armed.how == FULL ? SQLITE_FULL : SQLITE_IOERR_WRITE;
}
static int shim_truncate(sqlite3_file *f, sqlite3_int64 size) {
    if (fails(TRUNCATE)) return SQLITE_IOERR_TRUNCATE;
    return real_of(f)->pMethods->xTruncate(real_of(f), size);
}
static int shim_sync(sqlite3_file *f, int flags) {
    if (fails(SYNC)) return SQLITE_IOERR_FSYNC;
    return real_of(f)->pMethods->xSync(real_of(f), flags);
}
static int shim_size(sqlite3_file *f, sqlite3_int64 *size) {
    return real_of(f)->pMethods->xFileSize(real_of(f), size);
}
static int shim_lock(sqlite3_file *f, int level) {
    return real_of(f)->pMethods->xLock(real_of(f), level);
}
static int shim_unlock(sqlite3_file *f, int level) {
    return real_of(f)->pMethods->xUnlock(real_of(f), level);
}
static int shim_reserved(sqlite3_file *f, int *out) {
    return real_of(f)->pMethods->xCheckReservedLock(real_of(f), out);
}
static int shim_control(sqlite3_file *f, int what, void *argument) {
    return real_of(f)->pMethods->xFileControl(real_of(f), what, argument);
}
static int shim_sector(sqlite3_file *f) {
    return real_of(f)->pMethods->xSectorSize(real_of(f));
}
static int shim_device(sqlite3_file *f) {
    return real_of(f)->pMethods->xDeviceCharacteristics(real_of(f));
}
static int shim_shm_map(sqlite3_file *f, int page, int size, int extend, void volatile **out) {
    return real_of(f)->pMethods->xShmMap(real_of(f), page, size, extend, out);
}
static int shim_shm_lock(sqlite3_file *f, int offset, int n, int flags) {
    return real_of(f)->pMethods->xShmLock(real_of(f), offset, n, flags);
}
static void shim_shm_barrier(sqlite3_file *f) {
    real_of(f)->pMethods->xShmBarrier(real_of(f));
}
static int shim_shm_unmap(sqlite3_file *f, int remove) {
    return real_of(f)->pMethods->xShmUnmap(real_of(f), remove);
}

static int shim_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *f, int flags, int *out) {
    static const sqlite3_io_methods METHODS = {
        .iVersion = 2,
        .xClose = shim_close,
        .xRead = shim_read,
        .xWrite = shim_write,
        .xTruncate = shim_truncate,
        .xSync = shim_sync,
        .xFileSize = shim_size,
        .xLock = shim_lock,
        .xUnlock = shim_unlock,
        .xCheckReservedLock = shim_reserved,
        .xFileControl = shim_control,
        .xSectorSize = shim_sector,
        .xDeviceCharacteristics = shim_device,
        .xShmMap = shim_shm_map,
        .xShmLock = shim_shm_lock,
        .xShmBarrier = shim_shm_barrier,
        .xShmUnmap = shim_shm_unmap,
    };
    shim_file *s = (shim_file *)f;
    (void)vfs;
    s->base.pMethods = NULL;
    s->real = (sqlite3_file *)(s + 1);
    if (fails(OPEN)) return SQLITE_CANTOPEN;
    int code = real_vfs->xOpen(real_vfs, name, s->real, flags, out);
    if (s->real->pMethods) s->base.pMethods = &METHODS;
    return code;
}

/* In the place of SQLite's own. */
static void install_faults(void) {
    static sqlite3_vfs shim;
    real_vfs = sqlite3_vfs_find(NULL);
    shim = *real_vfs;
    shim.zName = "faults";
    shim.szOsFile = (int)sizeof(shim_file) + real_vfs->szOsFile;
    shim.xOpen = shim_open;
    assert_int_equal(sqlite3_vfs_register(&shim, 1), SQLITE_OK);
}

/* ---- A folder for each test ---- */

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

static void empty_folder(const place *p) {
    static const char *const BESIDE[] = {"", "-wal", "-shm", "-journal"};
    char command[TEMP_SIZE + 32];
    for (size_t i = 0; i < sizeof BESIDE / sizeof *BESIDE; i++) {
        snprintf(command, sizeof command, "%s%s", p->path, BESIDE[i]);
        (void)unlink(command);
    }
    if (temp_count(p->folder) == 0) return;
    snprintf(command, sizeof command, "rm -rf '%s'/*", p->folder);
    assert_int_equal(system(command), 0);
}

/* ---- Every call fails in turn ---- */

enum { N_KEPT = 3 };

/* Keeps records until the end or the first that fails, each with a second trial where the fault has
   passed. ids: of those whose append returned true. Their number. */
static int keep_some(const place *p, bool in_folder, char ids[N_KEPT][TR_RECORD_ID_SIZE]) {
    tr_error err = {0};
    tr_store_place at = {.where = p->path, .make = true, .in_folder = in_folder};
    tr_store *store = tr_store_open(&at, &err);
    int n = 0;
    for (int i = 0; i < N_KEPT && store; i++) {
        sample s;
        sample_make(&s, i);
        err = (tr_error){0};
        bool ok = sample_keep(store, &s, &err);
        if (!ok && err.text[0] == 0) return -1;
        if (!ok && armed.how != LASTING) {
            /* The same record once more: it is kept once. */
            err = (tr_error){0};
            ok = sample_keep(store, &s, &err);
            if (!ok) {
                print_error("not even the second time: %s\n", err.text);
                tr_store_close(store);
                return -1;
            }
        }
        if (!ok) break;
        memcpy(ids[n++], s.record.id, TR_RECORD_ID_SIZE);
    }
    if (!store && (err.code == TR_OK || err.text[0] == 0)) return -1;
    tr_store_close(store);
    return n;
}

/* What was kept is there and sound. Only a record whose append failed at the very end may be there
   besides, whole. */
static void check_kept(const place *p, bool in_folder, char ids[N_KEPT][TR_RECORD_ID_SIZE], int n) {
    tr_store *store = store_open(p->path, in_folder);
    tr_store_finding finding;
    tr_error err = {0};
    bool ok = tr_store_verify(store, NULL, &finding, &err);
    if (!ok || !finding.is_sound) print_error("%s%s\n", err.text, finding.what);
    assert_true(ok && finding.is_sound);
    assert_true(finding.n_records == n || (armed.how == LASTING && finding.n_records == n + 1));
    for (int i = 0; i < n; i++) {
        tr_record record;
        assert_true(tr_store_read(store, ids[i], &record, NULL));
        assert_int_equal(record.number, i + 1);
        tr_record_release(&record);
    }
    /* It goes on. */
    store_keep(store, 77);
    tr_store_close(store);
}

/* How many calls of the kind there are. */
static long fail_each(const place *p, call which, fault how, bool in_folder, bool is_there) {
    for (long k = 1;; k++) {
        char ids[N_KEPT][TR_RECORD_ID_SIZE];
        empty_folder(p);
        if (is_there) tr_store_close(store_open(p->path, in_folder));
        arm(which, how, k);
        int n = keep_some(p, in_folder, ids);
        bool has_failed = disarm();
        if (n < 0) print_error("%s %ld, fault %d\n", CALL_NAMES[which], k, how);
        assert_true(n >= 0);
        if (!has_failed) {
            assert_int_equal(n, N_KEPT);
            return k - 1;
        }
        check_kept(p, in_folder, ids, n);
    }
}

static void every_call_fails_in_turn(void **state) {
    const place *p = *state;
    for (int c = 0; c < N_CALLS; c++) {
        long n = 0;
        for (int f = 0; f < N_FAULTS; f++) {
            if ((f == HALF || f == FULL) && c != WRITE) continue;
            n = fail_each(p, (call)c, (fault)f, false, true);
            if (f == HALF || f == FULL) continue;
            n = fail_each(p, (call)c, (fault)f, true, true);
            n = fail_each(p, (call)c, (fault)f, false, false); /* while the store is made, too */
        }
        print_message("%s: %ld calls\n", CALL_NAMES[c], n);
        if (c != TRUNCATE) assert_true(n > 0);
    }
}

/* From store to store: after any fault a second push brings the rest, each once. */
static void every_call_fails_in_a_push(void **state) {
    const place *p = *state;
    char from[TEMP_SIZE];
    for (int c = 0; c < N_CALLS; c++) {
        for (int f = ONCE; f <= LASTING; f++) {
            for (long k = 1;; k++) {
                tr_error err = {0};
                int64_t n = 0;
                empty_folder(p);
                store_fill(temp_path(from, p->folder, "from"), false, 3);
                tr_store *a = store_open(from, false);
                tr_store *b = store_open(p->path, false);
                arm((call)c, (fault)f, k);
                bool ok = tr_store_push(a, b, &n, &err);
                bool has_failed = disarm();
                tr_store_close(a);
                tr_store_close(b);
                assert_true(ok || err.text[0]);
                a = store_open(from, false);
                b = store_open(p->path, false);
                assert_true(tr_store_push(a, b, &n, NULL));
                tr_store_close(a);
                tr_store_close(b);
                store_check_sound(p->path, 3);
                if (!has_failed) break;
            }
        }
    }
}

/* ---- A full disk ---- */

/* In a child, so that what is mounted there is gone with it: numbers of what failed, or 0. */
static int fill_disk(const char *folder, bool in_folder) {
    char path[TEMP_SIZE], filler[TEMP_SIZE];
    tr_error err = {0};
    temp_path(path, folder, "records.sqlite");
    static const char BLOCK[200 << 10];
    temp_write(temp_path(filler, folder, "filler"), BLOCK, sizeof BLOCK);
    tr_store_place at = {.where = path, .make = true, .in_folder = in_folder};
    tr_store *store = tr_store_open(&at, &err);
    if (!store) return 1;
    int n = 0;
    for (;; n++) {
        sample s;
        sample_make(&s, n);
        if (!sample_keep(store, &s, &err)) break;
        if (n > 100000) return 2;
    }
    bool is_told = strstr(err.text, "does not fit on the disk") || strstr(err.text, "has room") ||
                   strstr(err.text, "File too large") || strstr(err.text, "No space left");
    if (!is_told) fprintf(stderr, "%s\n", err.text);
    tr_store_close(store);
    if (!is_told) return 3;
    /* Opened while it is full: either way, no crash. */
    tr_store_close(tr_store_open(&at, NULL));
    if (unlink(filler) != 0) return 4;
    store = tr_store_open(&at, NULL);
    tr_store_finding finding;
    if (!store || !tr_store_verify(store, NULL, &finding, NULL)) return 5;
    if (!finding.is_sound || finding.n_records != n) return 6;
    sample s;
    sample_make(&s, n);
    bool goes_on = sample_keep(store, &s, &err);
    tr_store_close(store);
    return goes_on && n > 10 ? 0 : 7;
}

static int in_child(int (*run)(const char *folder, bool in_folder), const char *folder,
                    bool in_folder) {
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) _exit(run(folder, in_folder));
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

enum { CANNOT = 99 };

static int on_small_disk(const char *folder, bool in_folder) {
    if (unshare(CLONE_NEWNS) != 0 || mount(NULL, "/", NULL, MS_REC | MS_PRIVATE, NULL) != 0 ||
        mount("none", folder, "tmpfs", 0, "size=1m") != 0) {
        return CANNOT;
    }
    return fill_disk(folder, in_folder);
}

/* Files may not grow beyond a size. */
static int with_small_files(const char *folder, bool in_folder) {
    const struct rlimit least = {.rlim_cur = 400 << 10, .rlim_max = RLIM_INFINITY};
    char path[TEMP_SIZE];
    tr_error err = {0};
    int n = 0;
    (void)signal(SIGXFSZ, SIG_IGN);
    tr_store_place at = {
        .where = temp_path(path, folder, "small.sqlite"), .make = true, .in_folder = in_folder};
    tr_store *store = tr_store_open(&at, &err);
    if (!store || setrlimit(RLIMIT_FSIZE, &least) != 0) return 1;
    for (; n < 5000; n++) {
        sample s;
        sample_make(&s, n);
        if (!sample_keep(store, &s, &err)) break;
    }
    tr_store_close(store);
    if (n == 5000 || err.text[0] == 0) return 2;
    const struct rlimit any = {.rlim_cur = RLIM_INFINITY, .rlim_max = RLIM_INFINITY};
    if (setrlimit(RLIMIT_FSIZE, &any) != 0) return 3;
    tr_store_finding finding;
    store = tr_store_open(&at, NULL);
    if (!store || !tr_store_verify(store, NULL, &finding, NULL)) return 4;
    tr_store_close(store);
    return finding.is_sound && finding.n_records == n ? 0 : 5;
}

static void a_full_disk_is_told(void **state) {
    const place *p = *state;
    for (int in_folder = 0; in_folder < 2; in_folder++) {
        int status = in_child(on_small_disk, p->folder, in_folder);
        if (status == CANNOT) {
            print_message("no disk can be mounted here\n");
        } else {
            assert_int_equal(status, 0);
        }
        assert_int_equal(in_child(with_small_files, p->folder, in_folder), 0);
        empty_folder(p);
    }
}

/* ---- Killed at any instant ---- */

static unsigned long random_state = 12345;

/* 0 .. n - 1: Knuth's MMIX generator. */
static unsigned long draw(unsigned long n) {
    random_state = random_state * 6364136223846793005UL + 1442695040888963407UL;
    return (random_state >> 33) % n;
}

static int number_of_kills(int usual) {
    const char *text = getenv("TRAMMEL_STORE_KILLS");
    return text ? (int)strtol(text, NULL, 10) : usual;
}

/* What the child says of each record once its append has returned. */
typedef struct {
    int64_t number;
    char id[TR_RECORD_ID_SIZE];
} told;

/* Keeps records for ever, and tells each. */
static void keep_for_ever(const char *path, bool in_folder, int from, int to_parent) {
    tr_store_place at = {.where = path, .make = true, .in_folder = in_folder};
    tr_store *store = tr_store_open(&at, NULL);
    if (!store) _exit(1);
    for (int i = from;; i++) {
        sample s;
        tr_error err = {0};
        told t = {0};
        sample_make(&s, i);
        if (!sample_keep(store, &s, &err)) {
            fprintf(stderr, "%s\n", err.text);
            _exit(2);
        }
        t.number = s.record.number;
        memcpy(t.id, s.record.id, sizeof t.id);
        if (write(to_parent, &t, sizeof t) != (ssize_t)sizeof t) _exit(3);
    }
}

static void wait_us(unsigned long us) {
    const struct timespec t = {.tv_sec = (time_t)(us / 1000000),
                               .tv_nsec = (long)(us % 1000000) * 1000};
    (void)nanosleep(&t, NULL);
}

/* One child, killed; what it told is there. Returns how many it told. */
static int kill_one(const char *path, bool in_folder, int from, unsigned long most_us) {
    int ends[2];
    told t;
    int n = 0;
    assert_int_equal(pipe(ends), 0);
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        close(ends[0]);
        keep_for_ever(path, in_folder, from, ends[1]);
    }
    close(ends[1]);
    /* One in four before it can have kept anything; the others after their first, or later. */
    bool awaits = draw(4) > 0;
    if (awaits && read(ends[0], &t, sizeof t) == (ssize_t)sizeof t) n++;
    told first = t;
    wait_us(draw(awaits ? most_us : most_us / 4));
    assert_int_equal(kill(child, SIGKILL), 0);
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status));
    tr_store *store = store_open(path, in_folder);
    for (int k = 0; n > k || read(ends[0], &t, sizeof t) == (ssize_t)sizeof t; k++) {
        tr_record record;
        if (n > k) {
            t = first;
        } else {
            n++;
        }
        assert_true(tr_store_read(store, t.id, &record, NULL));
        assert_int_equal(record.number, t.number);
        tr_record_release(&record);
    }
    tr_store_close(store);
    close(ends[0]);
    return n;
}

static void kills_lose_nothing(const place *p, bool in_folder, int n_kills) {
    long n_told = 0;
    empty_folder(p);
    for (int k = 0; k < n_kills; k++) {
        n_told += kill_one(p->path, in_folder, 1000 * k, 20000);
        if (k % 10 > 0 && k + 1 < n_kills) continue;
        tr_store_finding finding;
        tr_store *store = store_open(p->path, in_folder);
        assert_true(tr_store_verify(store, NULL, &finding, NULL));
        if (!finding.is_sound) print_error("%s\n", finding.what);
        assert_true(finding.is_sound);
        /* Killed between commit and telling, it may have one more each time. */
        assert_true(finding.n_records >= n_told && finding.n_records <= n_told + k + 1);
        tr_store_close(store);
    }
    print_message("%d kills, %ld records\n", n_kills, n_told);
}

static void killed_while_it_keeps(void **state) {
    kills_lose_nothing(*state, false, number_of_kills(40));
}

static void killed_while_it_keeps_files_in_a_folder(void **state) {
    kills_lose_nothing(*state, true, number_of_kills(40));
}

static void push_for_ever(const char *from, const char *to) {
    tr_store *a = tr_store_open(&(tr_store_place){.where = from}, NULL);
    tr_store *b =
        tr_store_open(&(tr_store_place){.where = to, .make = true, .in_folder = true}, NULL);
    int64_t n;
    if (!a || !b) _exit(1);
    _exit(tr_store_push(a, b, &n, NULL) ? 0 : 2);
}

/* Two stores into one, at once, each killed and begun again until all arrived. */
static void killed_while_it_pushes(void **state) {
    const place *p = *state;
    char from[2][TEMP_SIZE];
    const int n_records = 60;
    int n_kills = 0;
    for (int k = 0; k < 2; k++) {
        store_fill(temp_path(from[k], p->folder, k ? "b" : "a"), false, n_records);
    }
    for (int round = 0; n_kills < number_of_kills(40) && round < 10000; round++) {
        pid_t children[2];
        int n_done = 0;
        fflush(NULL);
        for (int k = 0; k < 2; k++) {
            children[k] = fork();
            assert_true(children[k] >= 0);
            if (children[k] == 0) push_for_ever(from[k], p->path);
        }
        for (int k = 0; k < 2; k++) {
            int status;
            wait_us(draw(6000));
            (void)kill(children[k], SIGKILL);
            assert_int_equal(waitpid(children[k], &status, 0), children[k]);
            if (WIFSIGNALED(status)) n_kills++;
            if (WIFEXITED(status)) {
                assert_int_equal(WEXITSTATUS(status), 0);
                n_done++;
            }
        }
        /* All there: from the beginning again. */
        if (n_done == 2) {
            store_check_sound(p->path, 2 * n_records);
            assert_int_equal(unlink(p->path), 0);
            char command[2 * TEMP_SIZE + 64];
            snprintf(command, sizeof command, "rm -rf '%s'-* '%s'.files", p->path, p->path);
            assert_int_equal(system(command), 0);
        }
    }
    for (int k = 0; k < 2; k++) {
        int64_t n;
        tr_store *a = store_open(from[k], false);
        tr_store *b = store_open(p->path, true);
        assert_true(tr_store_push(a, b, &n, NULL));
        assert_true(tr_store_push(a, b, &n, NULL));
        assert_int_equal(n, 0);
        tr_store_close(a);
        tr_store_close(b);
    }
    store_check_sound(p->path, 2 * n_records);
    print_message("%d kills\n", n_kills);
}

/* ---- Changed bytes ---- */

enum { N_RECORDS = 12 };

/* Hashes of all that is shown of the records, in their order. */
typedef struct {
    char hashes[N_RECORDS][TR_HASH_SIZE];
    int n;
    tr_store *store;
    bool has_files;
} content;

static bool note(const tr_record *r, void *user) {
    content *c = user;
    char text[8192];
    if (c->n == N_RECORDS) return false;
    int n = snprintf(text, sizeof text, "%lld|%s|%s|%s|%s|%s|%s|%s|%s|%s|%s|%s",
                     (long long)r->number, r->id, r->previous, r->hash, r->made_at, r->kind,
                     r->program, r->job, r->vehicle, r->technician, r->verdict, r->details);
    for (int i = 0; i < r->n_sheets; i++) {
        n += snprintf(text + n, sizeof text - (size_t)n, "|%s", r->sheets[i]);
    }
    for (int i = 0; i < r->n_files; i++) {
        uint8_t *data;
        size_t size;
        n += snprintf(text + n, sizeof text - (size_t)n, "|%s|%s|%s", r->files[i].role,
                      r->files[i].name, r->files[i].sha256);
        c->has_files =
            tr_store_get(c->store, r->files[i].sha256, &data, &size, NULL) && c->has_files;
        free(data);
    }
    tr_sha256_hex(text, (size_t)n, c->hashes[c->n++]);
    return true;
}

static bool read_content(tr_store *store, content *c) {
    *c = (content){.store = store, .has_files = true};
    return tr_store_find(store, &(tr_record_filter){0}, note, c, NULL) && c->n == N_RECORDS &&
           c->has_files;
}

/* Not one bit of what a record says changes without being noticed. */
static void changed_bytes_show(void **state) {
    const place *p = *state;
    char copy[TEMP_SIZE];
    uint8_t *data;
    size_t size;
    content was, is;
    int n_sound = 0;
    const int n_trials = 400;
    store_fill(p->path, false, N_RECORDS);
    tr_store *store = store_open(p->path, false);
    assert_true(read_content(store, &was));
    tr_store_close(store);
    assert_true(tr_file_read(p->path, 10 << 20, &data, &size, NULL));
    temp_path(copy, p->folder, "copy");
    for (int k = 0; k < n_trials; k++) {
        size_t at[8];
        uint8_t before[8];
        int n = 1 + (int)draw(8);
        for (int i = 0; i < n; i++) {
            at[i] = draw(size);
            before[i] = data[at[i]];
            data[at[i]] ^= (uint8_t)(1 + draw(255));
        }
        temp_write(copy, data, size);
        for (int i = n - 1; i >= 0; i--) data[at[i]] = before[i];
        tr_error err = {0};
        tr_store_finding finding = {0};
        store = tr_store_open(&(tr_store_place){.where = copy}, &err);
        bool is_sound = store && tr_store_verify(store, NULL, &finding, &err) && finding.is_sound;
        if (is_sound) {
            assert_true(read_content(store, &is));
            assert_memory_equal(is.hashes, was.hashes, sizeof is.hashes);
            n_sound++;
        } else {
            assert_true(err.text[0] || finding.what[0]);
        }
        tr_store_close(store);
        (void)unlink(copy);
        char wal[TEMP_SIZE + 8];
        snprintf(wal, sizeof wal, "%s-wal", copy);
        (void)unlink(wal);
        snprintf(wal, sizeof wal, "%s-shm", copy);
        (void)unlink(wal);
    }
    free(data);
    print_message("%d of %d changes touched nothing that is kept\n", n_sound, n_trials);
    assert_true(n_sound < n_trials);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(every_call_fails_in_turn, make_place, remove_place),
        cmocka_unit_test_setup_teardown(every_call_fails_in_a_push, make_place, remove_place),
        cmocka_unit_test_setup_teardown(a_full_disk_is_told, make_place, remove_place),
        cmocka_unit_test_setup_teardown(killed_while_it_keeps, make_place, remove_place),
        cmocka_unit_test_setup_teardown(killed_while_it_keeps_files_in_a_folder, make_place,
                                        remove_place),
        cmocka_unit_test_setup_teardown(killed_while_it_pushes, make_place, remove_place),
        cmocka_unit_test_setup_teardown(changed_bytes_show, make_place, remove_place),
    };
    store_use_memory_disk();
    install_faults();
    return cmocka_run_group_tests(tests, NULL, NULL);
}
