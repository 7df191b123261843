/* The program as a shell sees it: exit status, what stands on which stream. Only what needs no
   photos; whole jobs are run elsewhere. */
#include "check.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { PASS = 0, NO_MEASURE = 3, USAGE = 64 };

typedef struct {
    int status;
    char out[16384], err[4096];
} outcome;

static void read_all(const char *path, char *text, size_t size) {
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    text[fread(text, 1, size - 1, file)] = 0;
    fclose(file);
    unlink(path);
}

/* Runs a program with arguments (and redirections) as a shell reads them. */
static outcome run_program(const char *program, const char *arguments) {
    outcome o = {.status = -1};
    char line[2048];
    unlink("cli.out");
    snprintf(line, sizeof line, "exec 2>cli.err >cli.out; '%s' %s", program, arguments);
    int status = system(line);
    assert_true(WIFEXITED(status));
    o.status = WEXITSTATUS(status);
    read_all("cli.out", o.out, sizeof o.out);
    read_all("cli.err", o.err, sizeof o.err);
    return o;
}

static outcome run(const char *arguments) {
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    return run_program(program, arguments);
}

static void check_has(const char *text, const char *part) {
    if (!strstr(text, part)) print_error("'%s' is not in:\n%s\n", part, text);
    assert_non_null(strstr(text, part));
}

static void help_is_complete(void **state) {
    (void)state;
    static const char *const ASKED[] = {
        "--help",    "help",      "help check",   "check --help",  "check a.yaml --help",
        "help lens", "help help", "help version", "help --version"};
    for (size_t i = 0; i < sizeof ASKED / sizeof *ASKED; i++) {
        outcome o = run(ASKED[i]);
        assert_int_equal(o.status, PASS);
        assert_string_equal(o.err, "");
        check_has(o.out, "usage:");
        check_has(o.out, "wrong usage");
        check_has(o.out, "chock"); /* the cautions */
    }
    check_has(run("--version").out, "trammel 1");
}

static void wrong_usage_is_64_and_says_what_is_wrong(void **state) {
    (void)state;
    static const char *const WRONG[][2] = {
        {"", "which command?"},
        {"check", "no job file is named"},
        {"check --json", "no job file is named"},
        {"check job.yaml --frob", "there is no option '--frob'"},
        {"check job.yaml --jsonx", "there is no option '--jsonx'"},
        {"check job.yaml --picture", "'--picture' needs a value"},
        {"check job.yaml --picture photo.jpg", "the picture is a PNG"},
        {"check job.yaml --picture=a.png --picture b.png", "given twice"},
        {"check job.yaml --threads 0", "not a number from 1 to 64"},
        {"check job.yaml --threads=two", "not a number from 1 to 64"},
    };
    for (size_t i = 0; i < sizeof WRONG / sizeof *WRONG; i++) {
        outcome o = run(WRONG[i][0]);
        assert_int_equal(o.status, USAGE);
        assert_string_equal(o.out, "");
        check_has(o.err, WRONG[i][1]);
        check_has(o.err, "usage:");
    }
}

/* One line, which no usage pushes off the screen. */
static void a_word_that_is_no_command_is_told_with_the_nearest(void **state) {
    (void)state;
    static const char *const WRONG[][2] = {
        {"measure", "there is no command 'measure'; 'trammel help' lists them."},
        {"help measure", "there is no command 'measure'; 'trammel help' lists them."},
        {"chek", "there is no command 'chek'; did you mean 'check'? 'trammel help' lists them."},
        {"rekord", "there is no command 'rekord'; did you mean 'records'? 'trammel help' lists "
                   "them."},
        {"hlep", "there is no command 'hlep'; did you mean 'help'? 'trammel help' lists them."},
        {"help plann", "there is no command 'plann'; did you mean 'plan'? 'trammel help' lists "
                       "them."},
        {"help layuot", "there is no command 'layuot'; did you mean 'layout'? 'trammel help' lists "
                        "them."},
        {"layout", "there is no command 'layout'; 'trammel help' lists them."},
        {"foo", "there is no command 'foo'; 'trammel help' lists them."},
        {"''", "there is no command ''; 'trammel help' lists them."},
        {"checkcheckcheckcheckcheckcheckcheck",
         "there is no command 'checkcheckcheckcheckcheckcheckcheck'; 'trammel help' lists them."},
    };
    for (size_t i = 0; i < sizeof WRONG / sizeof *WRONG; i++) {
        char wanted[256];
        outcome o = run(WRONG[i][0]);
        snprintf(wanted, sizeof wanted, "trammel: %s\n", WRONG[i][1]);
        assert_int_equal(o.status, USAGE);
        assert_string_equal(o.out, "");
        assert_string_equal(o.err, wanted);
    }
}

static void bad_job_is_3_with_one_json_object(void **state) {
    (void)state;
    outcome o = run("check no-such-job.yaml --json --threads 2");
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "no-such-job.yaml");
    json_t *json = json_loads(o.out, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(json);
    assert_true(json_is_null(json_object_get(json, "verdict")));
    json_t *error = json_object_get(json, "error");
    assert_string_equal(json_string_value(json_object_get(error, "file")), "no-such-job.yaml");
    json_decref(json);
    /* For people there is nothing to say but the error. */
    o = run("check -- --json");
    assert_int_equal(o.status, NO_MEASURE);
    assert_string_equal(o.out, "");
    check_has(o.err, "--json");
}

static void no_measurement_replaces_an_older_picture(void **state) {
    (void)state;
    outcome o = run("check no-such-job.yaml --picture cli.png");
    assert_int_equal(o.status, NO_MEASURE);
    assert_int_equal(access("cli.png", R_OK), 0);
    unlink("cli.png");
    o = run("check no-such-job.yaml --picture no-such-folder/cli.png");
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "no-such-folder/cli.png");
}

static void picture_never_replaces_an_input(void **state) {
    (void)state;
    FILE *file = fopen("cli-photo.png", "w");
    assert_non_null(file);
    fputs("mine", file);
    fclose(file);
    outcome o = run("check job.yaml cli-photo.png --picture ./cli-photo.png");
    assert_int_equal(o.status, USAGE);
    char text[16];
    read_all("cli-photo.png", text, sizeof text);
    assert_string_equal(text, "mine");
}

static void output_that_cannot_be_written_is_noticed(void **state) {
    (void)state;
    static const char *const BROKEN[] = {
        "--version >/dev/full",
        "--version >&-",
        "help check >/dev/full",
        "check no-such-job.yaml --json >/dev/full",
        "check no-such-job.yaml --json >&- <&-",
    };
    for (size_t i = 0; i < sizeof BROKEN / sizeof *BROKEN; i++) {
        outcome o = run(BROKEN[i]);
        assert_int_equal(o.status, NO_MEASURE);
        check_has(o.err, "could not be written");
    }
    /* A reader that went away: an error, not a signal. */
    outcome o = run("--version | true; exec 2>>cli.err; for i in 1 2 3 4 5 6 7 8 9; do "
                    "{ sleep 0.1; \"$TRAMMEL_PROGRAM\" help check; echo $? >&2; } | true; done");
    assert_int_equal(o.status, 0);
    check_has(o.err, "could not be written");
    check_has(o.err, "\n3\n");
    assert_null(strstr(o.err, "141"));
}

/* LD_TRACE_LOADED_OBJECTS: ld.so(8) names what it would load, and runs nothing. So it does for a
   module (a file that holds a slash), libraries of libraries included. */
static outcome libraries_of(const char *file) {
    char arguments[1024];
    snprintf(arguments, sizeof arguments,
             "-c 'LD_TRACE_LOADED_OBJECTS=1 /lib64/ld-linux-x86-64.so.2 "
             "\"$(dirname \"$TRAMMEL_PROGRAM\")\"/%s'",
             file);
    outcome o = run_program("sh", arguments);
    assert_int_equal(o.status, 0);
    check_has(o.out, "libc.so");
    return o;
}

static void nothing_is_loaded_that_is_not_needed(void **state) {
    (void)state;
    static const struct {
        const char *file, *needed, *spared[6];
    } PARTS[] = {
        {"trammel", "libc.", {"cairo", "cholmod", "apriltag", "jansson", "jpeg", "yaml"}},
        {"trammel-check.so", "cholmod", {"cairo", "pango", "opencv", "de265", "dav1d"}},
        {"trammel-lens.so", "cholmod", {"cairo", "pango", "apriltag", "opencv", "de265", "dav1d"}},
        {"trammel-survey.so", "cholmod", {"cairo", "pango", "opencv", "de265", "dav1d"}},
        {"trammel-print.so", "cairo", {"cholmod", "jpeg", "jansson", "opencv"}},
        {"trammel-design.so", "yaml", {"cholmod", "jpeg", "jansson", "opencv"}},
        {"trammel-picture.so",
         "pango",
         {"cholmod", "apriltag", "jansson", "opencv", "de265", "dav1d"}},
        {"trammel-heif.so", "de265", {"cairo", "cholmod", "jpeg", "opencv"}},
    };
    for (size_t i = 0; i < sizeof PARTS / sizeof *PARTS; i++) {
        outcome o = libraries_of(PARTS[i].file);
        check_has(o.out, PARTS[i].needed);
        for (int k = 0; k < 6 && PARTS[i].spared[k]; k++) {
            if (strstr(o.out, PARTS[i].spared[k]))
                print_error("%s loads %s\n", PARTS[i].file, PARTS[i].spared[k]);
            assert_null(strstr(o.out, PARTS[i].spared[k]));
        }
    }
}

/* trammel-NAME.so in the program's folder. */
static const char *module_beside(const char *program, const char *name, char path[512]) {
    const char *slash = strrchr(program, '/');
    assert_non_null(slash);
    snprintf(path, 512, "%.*s/trammel-%s.so", (int)(slash - program), program, name);
    return path;
}

/* By another name, from another folder, and alone. */
static void modules_are_found(void **state) {
    (void)state;
    static const char LENS[] = "lens cli-none.jpg --squares 10x7 --pitch 40 --out cli-none.yaml";
    char folder[] = "/tmp/trammel-cli-XXXXXX";
    char line[1024];
    char link[64];
    char copy[64];
    char module[64];
    char beside[512];
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    assert_non_null(mkdtemp(folder));
    snprintf(link, sizeof link, "%s/link", folder);
    snprintf(copy, sizeof copy, "%s/copy", folder);
    snprintf(module, sizeof module, "%s/trammel-lens.so", folder);
    assert_int_equal(symlink(program, link), 0);
    snprintf(line, sizeof line, "cp '%s' '%s'", program, copy);
    assert_int_equal(system(line), 0);
    outcome o = run_program(link, LENS);
    assert_int_equal(o.status, NO_MEASURE);
    assert_null(strstr(o.err, "trammel-"));
    check_has(o.err, "cli-none.jpg");
    o = run_program(copy, LENS);
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "keep trammel-lens.so beside the program");
    assert_null(strchr(strchr(o.err, '\n') + 1, '\n'));
    o = run_program(copy, "--version");
    assert_int_equal(o.status, PASS);
    /* What one module loads is looked for beside the program, too. */
    snprintf(line, sizeof line, "cp '%s' '%s'", module_beside(program, "lens", beside), module);
    assert_int_equal(system(line), 0);
    o = run_program(copy, LENS);
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "keep trammel-opencv.so beside the program");
    unlink(module);
    snprintf(module, sizeof module, "%s/trammel-check.so", folder);
    snprintf(line, sizeof line, "cp '%s' '%s'", module_beside(program, "check", beside), module);
    assert_int_equal(system(line), 0);
    o = run_program(copy, "check no-such-job.yaml --json --picture none.png");
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.out, "\"verdict\": null");
    check_has(o.err, "keep trammel-picture.so beside the program");
    unlink(module);
    unlink(link);
    unlink(copy);
    rmdir(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(help_is_complete),
        cmocka_unit_test(wrong_usage_is_64_and_says_what_is_wrong),
        cmocka_unit_test(a_word_that_is_no_command_is_told_with_the_nearest),
        cmocka_unit_test(bad_job_is_3_with_one_json_object),
        cmocka_unit_test(no_measurement_replaces_an_older_picture),
        cmocka_unit_test(picture_never_replaces_an_input),
        cmocka_unit_test(output_that_cannot_be_written_is_noticed),
        cmocka_unit_test(nothing_is_loaded_that_is_not_needed),
        cmocka_unit_test(modules_are_found),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
