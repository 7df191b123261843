/* Reading and writing whole files, paths, and SHA-256. */
#include "check.h"
#include "temp.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "base/file.h"
#include "base/yaml.h"

enum { NOBODY = 65534 };

static int make_folder(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    *state = folder;
    return 0;
}

static int remove_folder(void **state) {
    temp_remove(*state);
    free(*state);
    return 0;
}

static void check_content(const char *path, const char *content) {
    uint8_t *data = NULL;
    size_t size = 0;
    assert_true(tr_file_read(path, 1000, &data, &size, NULL));
    assert_int_equal(size, strlen(content));
    assert_memory_equal(data, content, size + 1);
    free(data);
}

/* The file cannot be read; the message is as wanted. */
static void check_unreadable(const char *path, size_t limit, tr_code code, const char *wanted) {
    uint8_t *data = NULL;
    size_t size = 1;
    tr_error err = {0};
    assert_false(tr_file_read(path, limit, &data, &size, &err));
    assert_null(data);
    assert_int_equal(size, 0);
    assert_int_equal(err.code, code);
    assert_string_equal(err.file, path);
    assert_string_equal(err.text, wanted);
}

static void what_is_written_is_read(void **state) {
    char path[TEMP_SIZE];
    temp_path(path, *state, "a.txt");
    assert_true(tr_file_write(path, "first", 5, NULL));
    check_content(path, "first");
    assert_true(tr_file_write(path, "second, longer", 14, NULL));
    check_content(path, "second, longer");
    assert_true(tr_file_write(path, "", 0, NULL));
    check_content(path, "");
    assert_int_equal(temp_count(*state), 1);
}

static void check_link(const char *path) {
    struct stat about;
    assert_int_equal(lstat(path, &about), 0);
    assert_true(S_ISLNK(about.st_mode));
}

/* Into the place that a link leads to; also by several of them, and where nothing is there yet. */
static void a_link_stays_a_link(void **state) {
    char folder[TEMP_SIZE], file[TEMP_SIZE], link[TEMP_SIZE], other[TEMP_SIZE];
    tr_error err = {0};
    assert_int_equal(mkdir(temp_path(folder, *state, "share"), 0700), 0);
    temp_path(file, folder, "a.png");
    assert_int_equal(symlink("share/a.png", temp_path(link, *state, "link")), 0);
    assert_int_equal(symlink(link, temp_path(other, *state, "other")), 0);
    assert_true(tr_file_write(link, "first", 5, NULL));
    check_content(file, "first");
    assert_true(tr_file_write(other, "second", 6, NULL));
    check_content(file, "second");
    check_link(link);
    check_link(other);
    assert_int_equal(temp_count(folder), 1);
    assert_int_equal(temp_count(*state), 3);
    /* Where it leads to no folder. */
    assert_int_equal(unlink(link), 0);
    assert_int_equal(symlink("none/a.png", link), 0);
    assert_false(tr_file_write(other, "third", 5, &err));
    assert_string_equal(err.file, other);
    assert_string_equal(err.text,
                        "cannot be written: its folder does not exist; make the folder first");
    /* Where it leads to itself. */
    assert_int_equal(unlink(link), 0);
    assert_int_equal(symlink("other", link), 0);
    err = (tr_error){0};
    assert_false(tr_file_write(other, "third", 5, &err));
    assert_int_equal(err.code, TR_NO_FILE);
    check_content(file, "second");
    assert_int_equal(temp_count(*state), 3);
}

static void rights_stay(void **state) {
    static const mode_t MODES[] = {0600, 0640, 0664, 0444};
    char path[TEMP_SIZE];
    struct stat about;
    temp_write(temp_path(path, *state, "a"), "older", 5);
    for (size_t i = 0; i < sizeof MODES / sizeof *MODES; i++) {
        assert_int_equal(chmod(path, MODES[i]), 0);
        assert_true(tr_file_write(path, "newer", 5, NULL));
        assert_int_equal(stat(path, &about), 0);
        assert_int_equal(about.st_mode & 0777, MODES[i]);
        check_content(path, "newer");
    }
}

/* 255 bytes are what systems allow. */
static void a_name_may_be_long(void **state) {
    char name[256], path[TEMP_SIZE + 256];
    memset(name, 'n', 255);
    name[255] = 0;
    snprintf(path, sizeof path, "%s/%s", (const char *)*state, name);
    assert_true(tr_file_write(path, "x", 1, NULL));
    check_content(path, "x");
    assert_int_equal(temp_count(*state), 1);
}

static void what_cannot_be_read_is_named(void **state) {
    char path[TEMP_SIZE];
    check_unreadable(temp_path(path, *state, "none"), 10, TR_NO_FILE,
                     "does not exist; check the path");
    check_unreadable(*state, 10, TR_NO_FILE, "is a folder; name a file in it");
    temp_write(temp_path(path, *state, "a"), "12345678901", 11);
    check_unreadable(path, 10, TR_BAD_INPUT,
                     "has 11 bytes, more than the 10 allowed; check that it is the right file");
    check_content(path, "12345678901");
    temp_path(path, *state, "a/b");
    check_unreadable(path, 10, TR_NO_FILE,
                     "does not exist: a part of its path is not a folder; check the path");
    /* A pipe that nobody writes to must not stop the program. */
    assert_int_equal(mkfifo(temp_path(path, *state, "pipe"), 0600), 0);
    check_unreadable(path, 10, TR_NO_FILE, "is not a regular file; save its content to one first");
}

static void nothing_is_left_where_nothing_can_be_written(void **state) {
    char path[TEMP_SIZE];
    tr_error err = {0};
    assert_false(tr_file_write(temp_path(path, *state, "none/a"), "x", 1, &err));
    assert_int_equal(err.code, TR_NO_FILE);
    assert_string_equal(err.file, path);
    assert_string_equal(err.text,
                        "cannot be written: its folder does not exist; make the folder first");
    assert_int_equal(temp_count(*state), 0);

    err = (tr_error){0};
    assert_int_equal(mkdir(temp_path(path, *state, "folder"), 0700), 0);
    assert_false(tr_file_write(path, "x", 1, &err));
    assert_string_equal(err.text, "already exists and is not a regular file; give another name");
    assert_int_equal(temp_count(*state), 1);
    assert_int_equal(temp_count(path), 0);
}

/* Runs in a child, since it gives up rights: 0 where the write failed as it should. */
static int write_without_right(const char *path) {
    tr_error err = {0};
    if (geteuid() == 0 && setuid(NOBODY) != 0) return 77;
    if (tr_file_write(path, "x", 1, &err)) return 1;
    return strcmp(err.text, "cannot be written: this user may not make files in its folder; change "
                            "the folder's permissions, or write to another one") == 0
               ? 0
               : 2;
}

static void an_unwritable_folder_stays_empty(void **state) {
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    assert_int_equal(chmod(*state, 0755), 0);
    assert_int_equal(mkdir(temp_path(folder, *state, "locked"), 0555), 0);
    temp_path(path, folder, "a");
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) _exit(write_without_right(path));
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    assert_int_equal(temp_count(folder), 0);
    if (WEXITSTATUS(status) == 77) skip_because("no right to give up rights");
    assert_int_equal(WEXITSTATUS(status), 0);
}

/* The disk is full half way: here, a limit on the size of files. 0 where the write failed. */
static int write_too_much(const char *path) {
    static char data[100000];
    struct rlimit limit = {5000, 5000};
    signal(SIGXFSZ, SIG_IGN);
    if (setrlimit(RLIMIT_FSIZE, &limit) != 0) return 77;
    return tr_file_write(path, data, sizeof data, NULL) ? 1 : 0;
}

static void a_write_that_fails_half_way_leaves_the_older_file(void **state) {
    char path[TEMP_SIZE];
    temp_write(temp_path(path, *state, "a"), "older", 5);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) _exit(write_too_much(path));
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 0);
    check_content(path, "older");
    assert_int_equal(temp_count(*state), 1);
}

static void paths_join(void **state) {
    (void)state;
    static const struct {
        const char *from, *path, *joined;
    } CASES[] = {
        {"jobs/j.yaml", "lens/a.yaml", "jobs/lens/a.yaml"},
        {"j.yaml", "lens/a.yaml", "lens/a.yaml"},
        {"/jobs/j.yaml", "../a.yaml", "/jobs/../a.yaml"},
        {"jobs/j.yaml", "/lens/a.yaml", "/lens/a.yaml"},
        {"/j.yaml", "a", "/a"},
        {"", "a", "a"},
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        char *joined = tr_path_beside(CASES[i].from, CASES[i].path);
        assert_non_null(joined);
        assert_string_equal(joined, CASES[i].joined);
        free(joined);
    }
}

static void check_joined(const char *from, const char *path, const char *wanted) {
    char *joined = tr_path_beside(from, path);
    assert_non_null(joined);
    assert_string_equal(joined, wanted);
    free(joined);
}

static bool was_kept_as(void *context, const char *path) {
    return strcmp(context, path) == 0;
}

/* A folder that ".." takes back is left out, where that leads to the same file. */
static void joined_paths_are_short(void **state) {
    char here[TEMP_SIZE];
    assert_non_null(getcwd(here, sizeof here));
    assert_int_equal(chdir(*state), 0);
    assert_int_equal(mkdir("jobs", 0700) + mkdir("jobs/old", 0700) + mkdir("far", 0700), 0);
    assert_int_equal(symlink("far", "link"), 0);
    check_joined("jobs/j.yaml", "../layouts/a.yaml", "layouts/a.yaml");
    check_joined("./jobs/j.yaml", "../layouts/a.yaml", "./layouts/a.yaml");
    check_joined("jobs/old/j.yaml", "../../a.yaml", "a.yaml");
    check_joined("jobs/old/j.yaml", "../a.yaml", "jobs/a.yaml");
    check_joined("jobs/j.yaml", "../jobs/old/../a.yaml", "jobs/a.yaml");
    check_joined("jobs/j.yaml", "../../x/a.yaml", "../x/a.yaml");
    check_joined("jobs/j.yaml", "..x/a.yaml", "jobs/..x/a.yaml");
    check_joined("jobs/j.yaml", "..", "jobs/..");
    check_joined("jobs/j.yaml", "../", "jobs/../");
    /* Through a link it leads elsewhere, and of what is not there nothing is known. */
    check_joined("link/j.yaml", "../a.yaml", "link/../a.yaml");
    check_joined("jobs/j.yaml", "../link/../a.yaml", "jobs/../link/../a.yaml");
    check_joined("none/j.yaml", "../a.yaml", "none/../a.yaml");
    check_joined("jobs//j.yaml", "../a.yaml", "jobs//../a.yaml");
    check_joined("jobs/./j.yaml", "../a.yaml", "jobs/./../a.yaml");
    /* What the user named, and what is relative to no folder, stays. */
    check_joined("", "jobs/../a.yaml", "jobs/../a.yaml");
    check_joined("jobs/j.yaml", "/jobs/../a.yaml", "/jobs/../a.yaml");
    assert_int_equal(chdir("jobs"), 0);
    check_joined("../jobs/j.yaml", "../a.yaml", "../a.yaml");
    check_joined("../../none/j.yaml", "../a.yaml", "../../none/../a.yaml");
    assert_int_equal(chdir(here), 0);
    /* Kept files are asked for as they were kept, whatever the disk has. */
    char kept[] = "none/../a.yaml";
    tr_file_overlay overlay = {.context = kept, .knows = was_kept_as};
    tr_file_overlay_set(&overlay);
    check_joined("none/j.yaml", "../a.yaml", "none/../a.yaml");
    check_joined("none/j.yaml", "../b.yaml", "b.yaml");
    overlay.knows = NULL;
    check_joined("none/j.yaml", "../b.yaml", "none/../b.yaml");
    tr_file_overlay_set(NULL);
}

static void names_have_no_folders(void **state) {
    (void)state;
    assert_string_equal(tr_path_name("jobs/photos/1.jpg"), "1.jpg");
    assert_string_equal(tr_path_name("/1.jpg"), "1.jpg");
    assert_string_equal(tr_path_name("1.jpg"), "1.jpg");
    assert_string_equal(tr_path_name("jobs/"), "");
    assert_string_equal(tr_path_name(""), "");
}

static void check_sha256(const char *message, const char *wanted) {
    char hex[65];
    tr_sha256_hex(message, strlen(message), hex);
    assert_string_equal(hex, wanted);
}

/* Examples of FIPS 180-4 and its predecessors; the long message as published by NIST. */
static void sha256_has_published_values(void **state) {
    (void)state;
    check_sha256("", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    check_sha256("abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    check_sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
                 "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    check_sha256("abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmno"
                 "ijklmnopjklmnopqklmnopqrlmnopqrsmnopqrstnopqrstu",
                 "cf5b16a778af8380036ce59e7b0492370b249b11e8f07a51afac45037afee9d1");
    char *million = malloc(1000001);
    assert_non_null(million);
    memset(million, 'a', 1000000);
    million[1000000] = 0;
    check_sha256(million, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(million);
}

/* ---- who observes, and what is read in place of the disk ---- */

/* What an observer was told, one line a call. */
static char heard[1024];

static void hear(const char *what, const char *path, const char *more) {
    size_t n = strlen(heard);
    snprintf(heard + n, sizeof heard - n, "%s %s %s\n", what, tr_path_name(path), more);
}

static void hear_saw(void *context, const char *path, const uint8_t *data, size_t size) {
    char text[64];
    (void)context;
    snprintf(text, sizeof text, "%zu %.*s", size, (int)size, (const char *)data);
    hear("saw", path, text);
}

static void hear_failed(void *context, const char *path, const tr_error *why) {
    (void)context;
    hear("failed", path, why->text);
}

static void hear_asked(void *context, const char *path, bool is_there) {
    (void)context;
    hear("asked", path, is_there ? "yes" : "no");
}

static void hear_role(void *context, const char *path, const char *role) {
    (void)context;
    hear("is", path, role);
}

static const tr_file_observer EAR = {
    .saw = hear_saw, .failed = hear_failed, .asked = hear_asked, .say_role = hear_role};

static void an_observer_is_told_what_is_read(void **state) {
    char path[TEMP_SIZE], none[TEMP_SIZE];
    uint8_t *data;
    size_t size;
    temp_path(path, *state, "seen.txt");
    temp_path(none, *state, "none.txt");
    assert_true(tr_file_write(path, "bytes", 5, NULL));
    heard[0] = 0;
    tr_file_observe(&EAR);
    check_content(path, "bytes");
    tr_file_say_role(path, "letter");
    assert_false(tr_file_read(none, 10, &data, &size, NULL));
    assert_false(tr_file_read(path, 4, &data, &size, NULL));
    assert_true(tr_file_is_there(path));
    assert_false(tr_file_is_there(none));
    tr_file_observe(NULL);
    check_content(path, "bytes");
    assert_string_equal(heard,
                        "saw seen.txt 5 bytes\n"
                        "is seen.txt letter\n"
                        "failed none.txt does not exist; check the path\n"
                        "failed seen.txt has 5 bytes, more than the 4 allowed; check that it is "
                        "the right file\n"
                        "asked seen.txt yes\n"
                        "asked none.txt no\n");
}

/* The first key of its reader says what a file is. */
static void a_yaml_file_is_what_its_first_key_says(void **state) {
    char path[TEMP_SIZE];
    temp_path(path, *state, "thing.yaml");
    assert_true(tr_file_write(path, "size: 3\nthing: { size: 4 }\n", 27, NULL));
    heard[0] = 0;
    tr_file_observe(&EAR);
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "thing? size");
    tr_yaml_keys(tr_yaml_at(y, "thing"), "size");
    assert_true(tr_yaml_close(y, NULL));
    tr_file_observe(NULL);
    const char *is = strstr(heard, "is thing.yaml");
    assert_non_null(is);
    assert_string_equal(is, "is thing.yaml thing\n");
}

static bool give(void *context, const char *path, uint8_t **data, size_t *size, tr_error *err) {
    (void)context;
    if (strcmp(path, "virtual.txt") != 0)
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "does not exist; check the path");
    *data = (uint8_t *)strdup("from elsewhere");
    *size = strlen("from elsewhere");
    return *data || tr_fail_memory(err);
}

static bool is_given(void *context, const char *path) {
    (void)context;
    return strcmp(path, "virtual.txt") == 0;
}

static void an_overlay_takes_the_place_of_the_disk(void **state) {
    static const tr_file_overlay OVERLAY = {.read = give, .is_there = is_given};
    char path[TEMP_SIZE];
    temp_path(path, *state, "real.txt");
    assert_true(tr_file_write(path, "bytes", 5, NULL));
    tr_file_overlay_set(&OVERLAY);
    check_content("virtual.txt", "from elsewhere");
    check_unreadable(path, 100, TR_NO_FILE, "does not exist; check the path");
    assert_true(tr_file_is_there("virtual.txt"));
    assert_false(tr_file_is_there(path));
    assert_false(tr_file_is_same(path, path));
    tr_file_overlay_set(NULL);
    check_content(path, "bytes");
    assert_false(tr_file_is_there("virtual.txt"));
    assert_true(tr_file_is_same(path, path));
}

/* ---- written piece by piece ---- */

static void a_stream_takes_its_place_when_it_is_whole(void **state) {
    char path[TEMP_SIZE];
    tr_file_stream stream;
    int n = temp_count(*state);
    temp_path(path, *state, "stream.txt");
    assert_true(tr_file_begin(path, &stream, NULL));
    for (int i = 0; i < 3; i++) fprintf(stream.to, "%d;", i);
    assert_true(access(path, F_OK) != 0);
    assert_true(tr_file_end(&stream, true, NULL));
    check_content(path, "0;1;2;");
    /* One that is given up leaves the older file, and nothing else. */
    assert_true(tr_file_begin(path, &stream, NULL));
    fputs("half", stream.to);
    assert_false(tr_file_end(&stream, false, NULL));
    check_content(path, "0;1;2;");
    assert_int_equal(temp_count(*state), n + 1);
    tr_error err = {0};
    assert_false(tr_file_begin(temp_path(path, *state, "no/folder.txt"), &stream, &err));
    assert_string_equal(err.text,
                        "cannot be written: its folder does not exist; make the folder first");
    assert_false(tr_file_begin(*state, &stream, NULL));
}

static void a_stream_that_does_not_fit_leaves_nothing(void **state) {
    char path[TEMP_SIZE];
    temp_path(path, *state, "large.txt");
    int n = temp_count(*state);
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        const struct rlimit limit = {10000, 10000};
        tr_file_stream stream;
        tr_error err = {0};
        signal(SIGXFSZ, SIG_IGN);
        if (setrlimit(RLIMIT_FSIZE, &limit) != 0 || !tr_file_begin(path, &stream, &err)) _exit(2);
        for (int i = 0; i < 20000; i++) fputc('x', stream.to);
        bool ok = tr_file_end(&stream, true, &err);
        _exit(!ok && err.code == TR_NO_FILE && strcmp(err.file, path) == 0 ? 0 : 1);
    }
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_int_equal(status, 0);
    assert_int_equal(temp_count(*state), n);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_is_written_is_read, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(a_link_stays_a_link, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(rights_stay, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(a_name_may_be_long, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(what_cannot_be_read_is_named, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(nothing_is_left_where_nothing_can_be_written, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(an_unwritable_folder_stays_empty, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_write_that_fails_half_way_leaves_the_older_file,
                                        make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(an_observer_is_told_what_is_read, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_yaml_file_is_what_its_first_key_says, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(an_overlay_takes_the_place_of_the_disk, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_stream_takes_its_place_when_it_is_whole, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_stream_that_does_not_fit_leaves_nothing, make_folder,
                                        remove_folder),
        cmocka_unit_test(paths_join),
        cmocka_unit_test_setup_teardown(joined_paths_are_short, make_folder, remove_folder),
        cmocka_unit_test(names_have_no_folders),
        cmocka_unit_test(sha256_has_published_values),
    };
    return cmocka_run_group_tests_name("file", tests, NULL, NULL);
}
