/* trammel: which command is meant, and what goes for all of them. */
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "base/wrap.h"
#include "cli/commands.h"
#include "cli/options.h"
#include "present/cautions.h"

typedef struct {
    const char *name;
    const char *usage, *summary;
} command;

static const command COMMANDS[] = {
    {"check", "trammel check JOB.yaml [PHOTO...] [--json] [--picture OUT.png]",
     "whether a mat lies where the job's layout requires it"},
    {"design", "trammel design plate|hub|mat|checkerboard --name ID --out SHEET.yaml",
     "a sheet file from a few numbers, with tag ids that no other sheet has"},
    {"lens", "trammel lens PHOTO... --squares COLSxROWS --pitch MM --out LENS.yaml [--json]",
     "the lens of a camera, from photos of a checkerboard"},
    {"print", "trammel print SHEET.yaml --out FILE.pdf [--page own|A4|A3|Letter]",
     "a sheet at exactly 1:1, as PDF or SVG"},
    {"survey", "trammel survey SURVEY.yaml [PHOTO...] --out SHEET.yaml [--align MARK,...]",
     "where the marks of a printed sheet, or tags stuck on it, really are"},
};
enum { N_COMMANDS = sizeof COMMANDS / sizeof *COMMANDS };

static void print_usage(FILE *out) {
    fputs("usage:\n", out);
    for (int i = 0; i < N_COMMANDS; i++) fprintf(out, "  %s\n", COMMANDS[i].usage);
    fputs("  trammel help [COMMAND]\n  trammel --version\n", out);
}

static int print_help(void) {
    puts("trammel measures from photos of any calibrated camera whether a patterned mat\n"
         "or board lies where a calibration procedure requires it in the vehicle's frame,\n"
         "with its uncertainty and a verdict: pass, fail or inconclusive.\n");
    print_usage(stdout);
    puts("");
    for (int i = 0; i < N_COMMANDS; i++)
        printf("  %-6s %s\n", COMMANDS[i].name, COMMANDS[i].summary);
    puts("\n"
         "First `trammel print`, for the sheets; then `trammel lens`, once for each camera\n"
         "at one focus and image size; then `trammel check`, for each vehicle. `trammel\n"
         "survey` measures a sheet whose marks are not where its file says.\n"
         "`trammel help COMMAND` tells more.\n"
         "\n"
         "Exit status: 0 pass (or done), 1 fail, 2 inconclusive, 3 no measurement, or\n"
         "something asked for could not be written, 64 wrong usage.\n");
    tr_text_wrap(stdout, 0, 0, tr_cautions());
    return TR_EXIT_PASS;
}

static const command *find(const char *name) {
    for (int i = 0; i < N_COMMANDS; i++) {
        if (strcmp(COMMANDS[i].name, name) == 0) return &COMMANDS[i];
    }
    return NULL;
}

static int wrong_command(const char *name) {
    char shown[64];
    tr_text_show(name, strlen(name), shown, sizeof shown);
    fprintf(stderr, "trammel: there is no command '%s'\n", shown);
    print_usage(stderr);
    return TR_EXIT_USAGE;
}

static int run_command(const command *c, int argc, char **argv) {
    char function[32];
    tr_error err = {0};
    snprintf(function, sizeof function, "tr_cmd_%s", c->name);
    tr_command *run = (tr_command *)tr_module_function(c->name, function, &err);
    if (run) return run(argc, argv);
    tr_options_print_error(c->name, &err);
    return TR_EXIT_NO_MEASURE;
}

/* Words of the usage that are no command. */
static bool is_explained_by_help(const char *name) {
    static const char *const WORDS[] = {"help", "--help", "-h", "version", "--version"};
    for (size_t i = 0; i < sizeof WORDS / sizeof *WORDS; i++) {
        if (strcmp(name, WORDS[i]) == 0) return true;
    }
    return false;
}

static int help_on(const char *name) {
    char help[] = "--help";
    const command *c = find(name);
    if (!c) return is_explained_by_help(name) ? print_help() : wrong_command(name);
    char own_name[16];
    snprintf(own_name, sizeof own_name, "%s", c->name);
    char *argv[] = {own_name, help, NULL};
    return run_command(c, 2, argv);
}

static int run(int argc, char **argv) {
    if (argc < 2) {
        fputs("trammel: which command?\n", stderr);
        print_usage(stderr);
        return TR_EXIT_USAGE;
    }
    const char *name = argv[1];
    if (strcmp(name, "--version") == 0) {
        puts("trammel " TRAMMEL_VERSION);
        return TR_EXIT_PASS;
    }
    if (strcmp(name, "help") == 0 || strcmp(name, "--help") == 0 || strcmp(name, "-h") == 0) {
        return argc > 2 ? help_on(argv[2]) : print_help();
    }
    const command *c = find(name);
    return c ? run_command(c, argc - 1, argv + 1) : wrong_command(name);
}

/* A program started with a standard stream closed would get a photo, or the picture it writes, as
   that stream's number, and print into it. What takes its place can be read but not written, so
   that printing to it fails and is noticed. */
static bool keep_standard_streams(void) {
    for (int fd = 0; fd <= 2; fd++) {
        if (fcntl(fd, F_GETFD) < 0 && open("/dev/null", O_RDONLY) != fd) return false;
    }
    return true;
}

int main(int argc, char **argv) {
    if (!keep_standard_streams()) return TR_EXIT_NO_MEASURE;
    signal(SIGPIPE, SIG_IGN); /* a pipe that was closed is an error of writing, noticed below */
    int status = run(argc, argv);
    errno = 0;
    bool was_written = !ferror(stdout);
    if (fclose(stdout) != 0) was_written = false;
    if (was_written) return status;
    if (status != TR_EXIT_NO_MEASURE) {
        fprintf(stderr, "trammel: the result could not be written to standard output%s%s\n",
                errno ? ": " : "", errno ? strerror(errno) : "");
    }
    return TR_EXIT_NO_MEASURE;
}
