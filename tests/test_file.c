/* Reading and writing whole files, paths, and SHA-256. */
#include "check.h"
#include "temp.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "base/file.h"

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
    return strcmp(err.text, "may not be read or written by this user; check its permissions") == 0
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
        cmocka_unit_test(paths_join),
        cmocka_unit_test(names_have_no_folders),
        cmocka_unit_test(sha256_has_published_values),
    };
    return cmocka_run_group_tests_name("file", tests, NULL, NULL);
}
