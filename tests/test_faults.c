/* Bad luck: memory that runs out at any place, a disk that is full, a folder that nobody may write
   to, a process that is killed while it writes. Whatever happens, the program ends by itself, with
   the right result or with an error that says what is wrong; it leaks nothing and leaves no half
   file. Each run is a whole trammel, in a process of its own.

   Memory: in the ordinary run one allocation fails for each call stack that allocates (of many,
   only each k-th). In the environment, TRAMMEL_FAULTS=places leaves no call stack out,
   TRAMMEL_FAULTS=all lets every single allocation fail in turn, and TRAMMEL_FAULTS=check:4711 or
   lens:4711 (4711+: and all after it) only that one, and shows where that is. */
#define _GNU_SOURCE /* unshare */
#include "small.h"

#include <fcntl.h>
#include <jansson.h>
#include <sched.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#include "base/file.h"
#include "base/module.h"
#include "image/image.h"
#include "lens/profile.h"
#include "store/store.h"
#include "tests/faults.h"

int trammel_main(int argc, char **argv); /* src/cli/main.c */
int __lsan_do_recoverable_leak_check(void) __attribute__((weak));

enum {
    PASS = 0,
    NO_MEASURE = 3,
    BROKEN_STORE = 95,
    LEAKS = 98,
    MAX_ARGS = 24,
    SAMPLES = 30,
    LASTING_SAMPLES = 6
};

/* A run of the program in the folder of the small job. */
typedef struct {
    const char *name;
    const char *arguments; /* parted by blanks */
    const char *written;   /* the file that it writes */
    int (*before)(void);   /* called in the child, where not NULL; another status than 0 ends it */
    int (*after)(int status);
} command;

static const command CHECK = {"check", "check job.yaml --json --threads 1 --picture result.png",
                              "result.png", NULL, NULL};
static const command LENS = {
    "lens",
    "lens b1.jpg b2.jpg b3.jpg b4.jpg b5.jpg b6.jpg --squares 7x5 --pitch 60 --threads 1 --json "
    "--out new.yaml",
    "new.yaml", NULL, NULL};

static const command SURVEY = {"survey", "survey survey.yaml --json --threads 1 --out new.yaml",
                               "new.yaml", NULL, NULL};
static const command PLAN = {
    "plan", "plan wide.yaml --stations stations.yaml --json --threads 1 --picture plan.png",
    "plan.png", NULL, NULL};
static const command JOB = {"job", "job --layout ./layout.yaml --lens ./lens.yaml --job J-9",
                            "jobs/J-9.yaml", NULL, NULL};
static int check_store(int status);
static const command KEEP = {
    "keep", "check job.yaml --json --threads 1 --picture result.png --store kept.sqlite",
    "result.png", NULL, check_store};
static const char SHOP_FILE[] = "shop: S\nsheets: .\nreferences:\n"
                                "  - { point: rear-left, sheet: P-0 }\n"
                                "  - { point: rear-right, sheet: P-1 }\n"
                                "  - { point: front-left, sheet: P-2 }\n"
                                "  - { point: front-right, sheet: P-3 }\n"
                                "reference_sd_mm: 1\n";
static const char SURVEY_FILE[] = "survey: S\nlens: lens.yaml\nsheets: [mat.yaml]\n"
                                  "rules: [{ sheet: MAT-S, x_mm: 100, y_mm: 100, sd_mm: 0.1 }]\n"
                                  "photos: [1.jpg, 2.jpg, 3.jpg, 4.jpg]\n";

/* What a run left behind. */
typedef struct {
    int status; /* of wait */
    uint8_t *out, *err, *written;
    size_t out_size, err_size, written_size;
} outcome;

/* Modules are loaded before all: neither the linker nor OpenCV's own start survive a lack of
   memory, as little as where everything is linked in. */
static int set_up(void **state) {
    static const char *const MODULES[][2] = {{"check", "tr_cmd_check"},
                                             {"lens", "tr_cmd_lens"},
                                             {"plan", "tr_cmd_plan"},
                                             {"survey", "tr_cmd_survey"},
                                             {"job", "tr_cmd_job"},
                                             {"picture", "tr_picture_write"},
                                             {"opencv", "tr_opencv_module_find"}};
    for (size_t i = 0; i < sizeof MODULES / sizeof *MODULES; i++) {
        if (!tr_module_function(MODULES[i][0], MODULES[i][1], NULL)) return -1;
    }
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    small_job_make(folder);
    small_boards_make(folder);
    small_plan_make(folder);
    small_text(folder, "survey.yaml", SURVEY_FILE);
    small_text(folder, "trammel.yaml", SHOP_FILE);
    if (chdir(folder) != 0) return -1;
    *state = folder;
    return 0;
}

static int tear_down(void **state) {
    if (chdir("/") != 0) return -1;
    temp_remove(*state);
    free(*state);
    return 0;
}

/* ---- one run ---- */

/* cmocka catches what would end this process, and would go on with the next test in the child. */
static void die_of_signals(void) {
    static const int SIGNALS[] = {SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGSYS, SIGABRT};
    for (size_t i = 0; i < sizeof SIGNALS / sizeof *SIGNALS; i++) signal(SIGNALS[i], SIG_DFL);
}

static void redirect(int fd, const char *path) {
    int to = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    if (to < 0 || dup2(to, fd) != fd) _exit(97);
    close(to);
}

static void save(const char *path, const void *data, size_t size) {
    FILE *to = fopen(path, "wb");
    if (!to || fwrite(data, 1, size, to) != size || fclose(to) != 0) _exit(97);
}

static tr_store *open_store(tr_error *err) {
    const tr_store_place place = {.where = "kept.sqlite", .read_only = true};
    return tr_store_open(&place, err);
}

/* A run that ended well has kept its record, one that did not may have; nothing is half kept. The
   store is taken away, so that the next run makes it. */
static int check_store(int status) {
    tr_store_finding finding = {0};
    tr_error err = {0};
    tr_store *store = access("kept.sqlite", F_OK) == 0 ? open_store(&err) : NULL;
    bool is_sound = store && tr_store_verify(store, NULL, &finding, &err) && finding.is_sound;
    tr_store_close(store);
    unlink("kept.sqlite");
    unlink("kept.sqlite-wal");
    unlink("kept.sqlite-shm");
    if (status == PASS) return is_sound && finding.n_records == 1 ? PASS : BROKEN_STORE;
    return !store || (is_sound && finding.n_records <= 1) ? status : BROKEN_STORE;
}

/* How many allocations there were, at how many places, and the first of each place. */
static void save_places(long total) {
    static long numbers[2 + FAULT_MAX_PLACES];
    const long *first;
    int n = fault_places(&first);
    numbers[0] = total;
    numbers[1] = n;
    memcpy(numbers + 2, first, (size_t)n * sizeof *first);
    save("places", numbers, ((size_t)n + 2) * sizeof *numbers);
}

static _Noreturn void run_in_child(const command *c, long fail_at, bool lasting) {
    char line[256];
    char program[] = "trammel";
    char *argv[MAX_ARGS + 1] = {program};
    int argc = 1;
    snprintf(line, sizeof line, "%s", c->arguments);
    for (char *word = strtok(line, " "); word && argc < MAX_ARGS; word = strtok(NULL, " "))
        argv[argc++] = word;
    int unready = c->before ? c->before() : 0;
    if (unready != 0) _exit(unready);
    fault_arm(fail_at, lasting);
    int status = trammel_main(argc, argv);
    long total = fault_disarm();
    if (c->after) status = c->after(status);
    if (fail_at == 0) save_places(total);
    save("status", &status, sizeof status);
    if (__lsan_do_recoverable_leak_check && __lsan_do_recoverable_leak_check()) status = LEAKS;
    _exit(status);
}

static void read_whole(const char *path, uint8_t **data, size_t *size) {
    *data = NULL;
    *size = 0;
    if (access(path, F_OK) == 0) assert_true(tr_file_read(path, 1 << 26, data, size, NULL));
}

static void release(outcome *o) {
    free(o->out);
    free(o->err);
    free(o->written);
    *o = (outcome){0};
}

static outcome run(const command *c, long fail_at, bool lasting) {
    outcome o = {0};
    unlink(c->written);
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        die_of_signals();
        redirect(STDOUT_FILENO, "stdout");
        redirect(STDERR_FILENO, "stderr");
        run_in_child(c, fail_at, lasting);
    }
    assert_int_equal(waitpid(child, &o.status, 0), child);
    read_whole("stdout", &o.out, &o.out_size);
    read_whole("stderr", &o.err, &o.err_size);
    read_whole(c->written, &o.written, &o.written_size);
    return o;
}

/* ---- memory ---- */

static bool is_same(const uint8_t *a, size_t a_size, const uint8_t *b, size_t b_size) {
    return a && b && a_size == b_size && memcmp(a, b, a_size) == 0;
}

/* OpenCV has words of its own for memory that ran out, or none: then the photo is told to be of no
   use, and the lens comes from the others. */
static bool tells_of_a_photo(const command *c, const outcome *o) {
    json_t *json = json_loadb((const char *)o->out, o->out_size, 0, NULL);
    json_t *photos = json_object_get(json, "photos");
    bool tells = false;
    for (size_t i = 0; c == &LENS && i < json_array_size(photos); i++)
        tells |= json_is_false(json_object_get(json_array_get(photos, i), "used"));
    json_decref(json);
    return tells;
}

/* A result that is not the right one is a JSON object that passes nothing, or nothing at all. */
static const char *fault_of_output(const outcome *o, const outcome *good) {
    if (o->out_size == 0 || is_same(o->out, o->out_size, good->out, good->out_size)) return NULL;
    json_t *json = json_loadb((const char *)o->out, o->out_size, 0, NULL);
    const char *verdict = json_string_value(json_object_get(json, "verdict"));
    bool is_fine = json != NULL && (!verdict || strcmp(verdict, "pass") != 0);
    json_decref(json);
    return is_fine ? NULL
                   : "standard output holds a pass that is not the result, or half an object";
}

static const char *fault_of_file(const command *c, const outcome *o, const outcome *good) {
    if (!o->written || is_same(o->written, o->written_size, good->written, good->written_size)) {
        return NULL;
    }
    if (c != &CHECK && c != &KEEP && c != &PLAN) return "the file written is not the right one";
    tr_image picture;
    if (!tr_image_decode(o->written, o->written_size, c->written, &picture, NULL)) {
        return "the picture is not whole";
    }
    tr_image_release(&picture);
    return NULL;
}

/* NULL where the run ended as it may. */
static const char *fault_of(const command *c, const outcome *o, const outcome *good) {
    if (!WIFEXITED(o->status)) return "the program crashed";
    const char *fault = fault_of_output(o, good);
    bool is_of_fewer = !fault && tells_of_a_photo(c, o);
    if (!fault && !is_of_fewer) fault = fault_of_file(c, o, good);
    if (fault) return fault;
    switch (WEXITSTATUS(o->status)) {
    case PASS:
        if (is_of_fewer && o->written) return NULL;
        if (is_same(o->out, o->out_size, good->out, good->out_size) &&
            is_same(o->written, o->written_size, good->written, good->written_size)) {
            return NULL;
        }
        return "exit status 0, but the result is not the right one";
    case NO_MEASURE: return o->err_size > 0 ? NULL : "no error is printed";
    case LEAKS: return "memory leaks";
    case BROKEN_STORE: return "the record is not kept, or the store is broken";
    default: return "wrong exit status";
    }
}

/* Once in some hundred runs LeakSanitizer itself falls over, in a child that was forked: then
   nothing is known of leaks, and the exit status is its own. */
static bool leak_search_failed(const outcome *o) {
    return o->err && strstr((const char *)o->err, "LeakSanitizer has encountered a fatal error");
}

static void take_saved_status(outcome *o) {
    uint8_t *data;
    size_t size;
    int status = 0;
    read_whole("status", &data, &size);
    assert_int_equal(size, sizeof status);
    memcpy(&status, data, size);
    free(data);
    o->status = status << 8; /* as waitpid gives it */
}

static bool try_allocation(const command *c, const outcome *good, int n_files, long n,
                           bool lasting) {
    outcome o = run(c, n, lasting);
    if (leak_search_failed(&o)) take_saved_status(&o);
    const char *fault = fault_of(c, &o, good);
    int written = o.written != NULL;
    unlink(c->written);
    if (!fault && temp_count(".") != n_files) fault = "a file is left behind";
    if (fault) {
        print_error("%s, allocation %ld%s: %s (status 0x%x, a file written: %d)\n%.3000s\n",
                    c->name, n, lasting ? " and all after it" : "", fault, (unsigned)o.status,
                    written, o.err ? (const char *)o.err : "");
    }
    release(&o);
    return !fault;
}

/* Every k-th of the places, so that about `samples` are tried. */
static int try_places(const command *c, const outcome *good, int n_files, const long *place, long n,
                      long samples, bool lasting) {
    long stride = samples > 0 && n > samples ? (n + samples - 1) / samples : 1;
    int failed = 0;
    int tried = 0;
    for (long i = 0; i < n; i += stride) {
        failed += !try_allocation(c, good, n_files, place ? place[i] : i + 1, lasting);
        tried++;
    }
    print_message("%s: %d of %ld allocations failed%s, %d times wrongly\n", c->name, tried, n,
                  lasting ? " with all after them" : "", failed);
    return failed;
}

/* Lets the one allocation fail that the environment names, and shows what came of it. */
static void show_one(const command *c, const outcome *good, const char *wanted) {
    char name[16];
    char plus = 0;
    long n = 0;
    if (sscanf(wanted, "%15[a-z]:%ld%c", name, &n, &plus) < 2 || strcmp(name, c->name) != 0) return;
    setenv("TRAMMEL_FAULT_TRACE", "1", 1);
    outcome o = run(c, n, plus == '+');
    const char *fault = fault_of(c, &o, good);
    printf("%s: %s (status 0x%x)\n%s\n%s\n", wanted, fault ? fault : "fine", (unsigned)o.status,
           o.out ? (const char *)o.out : "", o.err ? (const char *)o.err : "");
    release(&o);
}

static void run_out_of_memory(const command *c) {
    const char *wanted = getenv("TRAMMEL_FAULTS");
    bool all = wanted && strcmp(wanted, "all") == 0;
    bool places = wanted && strcmp(wanted, "places") == 0;
    outcome good = run(c, 0, false);
    if (!WIFEXITED(good.status) || WEXITSTATUS(good.status) != PASS)
        fail_msg("undisturbed, %s fails: %s", c->name, good.err ? (const char *)good.err : "");
    assert_true(good.out_size > 0 && good.written_size > 0);
    if (wanted && !all && !places) {
        show_one(c, &good, wanted);
        release(&good);
        return;
    }
    uint8_t *data;
    size_t size;
    read_whole("places", &data, &size);
    assert_true(size >= 2 * sizeof(long));
    const long *numbers = (const long *)(const void *)data;
    long total = numbers[0];
    long n = numbers[1];
    assert_int_equal(size, ((size_t)n + 2) * sizeof(long));
    assert_true(n > 50 && total >= n);
    print_message("%s: %ld allocations at %ld places\n", c->name, total, n);
    unlink(c->written);
    int n_files = temp_count(".");
    int failed = all ? try_places(c, &good, n_files, NULL, total, 0, false)
                     : try_places(c, &good, n_files, numbers + 2, n, places ? 0 : SAMPLES, false);
    failed += try_places(c, &good, n_files, numbers + 2, n, wanted ? 0 : LASTING_SAMPLES, true);
    free(data);
    release(&good);
    assert_int_equal(failed, 0);
}

static void memory_runs_out_in_a_check(void **state) {
    (void)state;
    run_out_of_memory(&CHECK);
}

static void memory_runs_out_in_a_check_that_is_kept(void **state) {
    (void)state;
    run_out_of_memory(&KEEP);
}

static void memory_runs_out_in_a_calibration(void **state) {
    (void)state;
    run_out_of_memory(&LENS);
}

static void memory_runs_out_in_a_survey(void **state) {
    (void)state;
    run_out_of_memory(&SURVEY);
}

static void memory_runs_out_in_a_plan(void **state) {
    (void)state;
    run_out_of_memory(&PLAN);
}

static void memory_runs_out_in_a_job(void **state) {
    (void)state;
    run_out_of_memory(&JOB);
}

/* ---- disks ---- */

enum { SKIPPED = 77, TOUCHED = 96, DISK_BYTES = 2 * 4096, FILLED_BYTES = 4096 };
/* A profile: `lens` replaces nothing else. */
static const char OLDER[] = "lens: older\nmodel: brown5\nimage_px: [504, 378]\nfx_px: 330\n"
                            "fy_px: 330\ncx_px: 252\ncy_px: 188\ndistortion: [0, 0, 0, 0, 0]\n";

/* A small disk of its own for this process alone, at the folder `disk`, with an older picture and
   an older profile on it and some room left: 4096 bytes are less than either needs. */
static int mount_disk(void) {
    char size[32];
    snprintf(size, sizeof size, "size=%d", FILLED_BYTES + DISK_BYTES);
    if (mkdir("disk", 0755) != 0) return 97;
    if (unshare(CLONE_NEWNS) != 0 || mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) != 0 ||
        mount("none", "disk", "tmpfs", 0, size) != 0) {
        return SKIPPED;
    }
    save("disk/result.png", OLDER, sizeof OLDER - 1);
    save("disk/new.yaml", OLDER, sizeof OLDER - 1);
    return 0;
}

static int fill_disk(void) {
    static const char filling[FILLED_BYTES];
    int unready = mount_disk();
    if (unready == 0) save("disk/filling", filling, sizeof filling);
    return unready;
}

static int protect_disk(void) {
    int unready = mount_disk();
    if (unready != 0) return unready;
    return mount("none", "disk", NULL, MS_REMOUNT | MS_RDONLY, NULL) == 0 ? 0 : SKIPPED;
}

/* The older files are there as they were, and nothing else. */
static int check_disk(int status) {
    int n_files = 2 + (access("disk/filling", F_OK) == 0);
    if (temp_count("disk") != n_files) return TOUCHED;
    const char *const older[] = {"disk/result.png", "disk/new.yaml"};
    for (int i = 0; i < 2; i++) {
        uint8_t *data = NULL;
        size_t size = 0;
        read_whole(older[i], &data, &size);
        bool is_same_file = is_same(data, size, (const uint8_t *)OLDER, sizeof OLDER - 1);
        free(data);
        if (!is_same_file) return TOUCHED;
    }
    return status;
}

static void expect_no_file(const char *arguments, int (*before)(void), const char *said) {
    command c = {"disk", arguments, "nothing", before, check_disk};
    outcome o = run(&c, 0, false);
    rmdir("disk");
    assert_true(WIFEXITED(o.status));
    int status = WEXITSTATUS(o.status);
    if (status != SKIPPED) {
        const char *err = o.err ? (const char *)o.err : "";
        if (status != NO_MEASURE || !strstr(err, said)) print_error("%s: %s\n", arguments, err);
        assert_int_equal(status, NO_MEASURE);
        assert_non_null(strstr(err, said));
    }
    release(&o);
    if (status == SKIPPED) skip_because("no right to mount anything");
}

static const char CHECK_TO_DISK[] = "check job.yaml --threads 1 --picture disk/result.png";
static const char LENS_TO_DISK[] = "lens b1.jpg b2.jpg b3.jpg b4.jpg b5.jpg b6.jpg --squares 7x5 "
                                   "--pitch 60 --threads 1 --out disk/new.yaml";

static void a_full_disk_keeps_the_older_files(void **state) {
    (void)state;
    expect_no_file(CHECK_TO_DISK, fill_disk, "disk/result.png: does not fit on the disk");
    expect_no_file(LENS_TO_DISK, fill_disk, "disk/new.yaml: does not fit on the disk");
}

static void a_folder_that_nobody_may_write_to_stays_as_it_is(void **state) {
    (void)state;
    expect_no_file(CHECK_TO_DISK, protect_disk, "disk/result.png: may not be read or written");
    expect_no_file(LENS_TO_DISK, protect_disk, "disk/new.yaml: may not be read or written");
}

/* ---- being killed ---- */

enum { KILLS = 60, BIG = 1 << 20 };

static void write_profiles(void) {
    tr_lens lens;
    if (!tr_lens_profile_read("lens.yaml", &lens, NULL)) return;
    while (tr_lens_profile_write("killed.yaml", &lens, NULL)) lens.param[TR_FX] += 1e-3;
}

static void write_big_files(void) {
    static uint8_t data[BIG];
    do memset(data, data[0] + 1, sizeof data);
    while (tr_file_write("killed.bin", data, sizeof data, NULL));
}

static bool is_whole_profile(void) {
    tr_lens lens;
    return tr_lens_profile_read("killed.yaml", &lens, NULL);
}

static bool is_whole_big_file(void) {
    uint8_t *data = NULL;
    size_t size = 0;
    read_whole("killed.bin", &data, &size);
    bool is_whole = size == BIG && memcmp(data, data + 1, size - 1) == 0;
    free(data);
    return is_whole;
}

/* Long enough for a first file on a machine that is busy with other things. */
static void wait_for_file(const char *path) {
    struct timespec wait = {.tv_nsec = 1000000L};
    for (int i = 0; i < 60000 && access(path, F_OK) != 0; i++) nanosleep(&wait, NULL);
}

/* Kills a process that writes again and again; each time the file must be whole. */
static void kill_again_and_again(void (*write_forever)(void), bool (*is_whole)(void),
                                 const char *path) {
    int n_there = 0;
    for (int i = 0; i < KILLS; i++) {
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            write_forever();
            _exit(0);
        }
        struct timespec wait = {.tv_nsec = 1000000L + i * 7919L % KILLS * 200000L};
        if (i == KILLS / 2) wait_for_file(path);
        nanosleep(&wait, NULL);
        assert_int_equal(kill(child, SIGKILL), 0);
        int status = 0;
        assert_int_equal(waitpid(child, &status, 0), child);
        assert_true(WIFSIGNALED(status));
        if (access(path, F_OK) != 0) continue;
        n_there++;
        assert_true(is_whole());
    }
    assert_true(n_there > 0);
}

static void a_killed_writer_leaves_no_half_file(void **state) {
    (void)state;
    kill_again_and_again(write_profiles, is_whole_profile, "killed.yaml");
    kill_again_and_again(write_big_files, is_whole_big_file, "killed.bin");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_full_disk_keeps_the_older_files),
        cmocka_unit_test(a_folder_that_nobody_may_write_to_stays_as_it_is),
        cmocka_unit_test(a_killed_writer_leaves_no_half_file),
        cmocka_unit_test(memory_runs_out_in_a_check),
        cmocka_unit_test(memory_runs_out_in_a_check_that_is_kept),
        cmocka_unit_test(memory_runs_out_in_a_calibration),
        cmocka_unit_test(memory_runs_out_in_a_survey),
        cmocka_unit_test(memory_runs_out_in_a_plan),
        cmocka_unit_test(memory_runs_out_in_a_job),
    };
    return cmocka_run_group_tests_name("faults", tests, set_up, tear_down);
}
