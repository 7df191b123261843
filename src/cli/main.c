/* trammel: which command is meant, and what goes for all of them. */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#ifdef __GLIBC__
#include <malloc.h>
#endif
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "cli/commands.h"
#include "cli/options.h"
#include "help/pages.h"
#include "help/text.h"
#include "present/cautions.h"

static void print_usage(FILE *out) {
    fprintf(out, "%s\n", TR_("usage:"));
    for (int i = 0; tr_help_commands[i]; i++) tr_help_usage_text(tr_help_commands[i], "  ", out);
    fputs("  trammel help [COMMAND | FORMAT | files]\n  trammel --version\n", out);
}

static int end_help(void) {
    fputc('\n', stdout);
    tr_text_wrap(stdout, 0, 0, tr_cautions());
    return TR_EXIT_PASS;
}

static int print_help(void) {
    tr_help_term summaries[32] = {{0}};
    for (int i = 0; tr_help_commands[i]; i++) {
        summaries[i] = (tr_help_term){tr_help_commands[i]->name, tr_help_commands[i]->summary};
    }
    tr_help_intro_text(&tr_help_program, stdout);
    fputc('\n', stdout);
    print_usage(stdout);
    fputc('\n', stdout);
    tr_help_list_text(summaries, stdout);
    tr_help_sections_text(tr_help_program.sections, stdout);
    return end_help();
}

/* What all files share, and which formats there are. */
static int print_files(void) {
    tr_help_term summaries[32] = {{0}};
    for (int i = 0; tr_help_formats[i]; i++) {
        summaries[i] = (tr_help_term){tr_help_formats[i]->name, tr_help_formats[i]->summary};
    }
    tr_help_intro_text(&tr_help_files, stdout);
    printf("\n%s\n", TR_("Formats (`trammel help FORMAT` describes one):"));
    tr_help_list_text(summaries, stdout);
    tr_help_sections_text(tr_help_files.sections, stdout);
    return end_help();
}

/* ---- a word that is no command ---- */

enum { MAX_WORD = 24, FARTHEST = 2 };

/* How many letters must be put in, left out or exchanged for others to make the one word of the
   other (Levenshtein). Of words up to MAX_WORD long. */
static int distance(const char *a, const char *b) {
    int to[MAX_WORD + 1]; /* from as much of a as was seen, to each beginning of b */
    int n = (int)strlen(b);
    for (int k = 0; k <= n; k++) to[k] = k;
    for (int i = 1; a[i - 1]; i++) {
        int before = to[0]; /* one letter of each less */
        to[0] = i;
        for (int k = 1; k <= n; k++) {
            int exchanged = before + (a[i - 1] != b[k - 1]);
            before = to[k];
            to[k] = to[k] < to[k - 1] ? to[k] + 1 : to[k - 1] + 1;
            if (exchanged < to[k]) to[k] = exchanged;
        }
    }
    return to[n];
}

/* Takes the word in the place of *nearest where it is nearer. Of a short word more than one letter
   has to be right. */
static void take_nearer(const char *name, const char *word, const char **nearest, int *least) {
    if (strlen(word) > MAX_WORD) return;
    int d = distance(name, word);
    if (d >= *least || d + 1 >= (int)strlen(word)) return;
    *nearest = word;
    *least = d;
}

/* The command, and in help the format, that was probably meant; NULL: none is near. */
static const char *nearest_to(const char *name, bool is_in_help) {
    const char *nearest = NULL;
    int least = FARTHEST + 1;
    if (strlen(name) > MAX_WORD) return NULL;
    for (int i = 0; tr_help_commands[i]; i++)
        take_nearer(name, tr_help_commands[i]->name, &nearest, &least);
    for (int i = 0; is_in_help && tr_help_formats[i]; i++)
        take_nearer(name, tr_help_formats[i]->name, &nearest, &least);
    take_nearer(name, is_in_help ? tr_help_files.name : "help", &nearest, &least);
    return nearest;
}

/* One line: the whole usage would push it off the screen. */
static int wrong_command(const char *name, bool is_in_help) {
    char shown[64];
    const char *nearest = nearest_to(name, is_in_help);
    tr_text_show(name, strlen(name), shown, sizeof shown);
    fputs("trammel: ", stderr);
    if (nearest) {
        fprintf(stderr,
                TR_("there is no command '%s'; did you mean '%s'? 'trammel help' lists them."),
                shown, nearest);
    } else {
        fprintf(stderr, TR_("there is no command '%s'; 'trammel help' lists them."), shown);
    }
    fputc('\n', stderr);
    return TR_EXIT_USAGE;
}

static int run_command(const char *name, int argc, char **argv) {
    char function[32];
    tr_error err = {0};
    snprintf(function, sizeof function, "tr_cmd_%s", name);
    for (char *c = function; *c; c++) {
        if (*c == '-') *c = '_';
    }
    tr_command *run = (tr_command *)tr_module_function(name, function, &err);
    if (run) return run(argc, argv);
    tr_options_print_error(name, &err);
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
    const tr_help_command *command = tr_help_find_command(name);
    const tr_help_format *format = tr_help_find_format(name);
    if (command && !format) return tr_options_help(command);
    if (strcmp(name, tr_help_files.name) == 0) return print_files();
    if (!format) return is_explained_by_help(name) ? print_help() : wrong_command(name, true);
    if (command) { /* and the file that it makes */
        tr_help_command_text(command, stdout);
        printf("\n%s\n\n", TR_("The file"));
    }
    tr_help_format_text(format, stdout);
    return end_help();
}

static int run(int argc, char **argv) {
    tr_error err = {0};
    if (!tr_language_check(&err)) {
        fprintf(stderr, "trammel: TRAMMEL_LANGUAGE: %s\n", err.text);
        return TR_EXIT_USAGE;
    }
    if (argc < 2) {
        fprintf(stderr, "trammel: %s\n", TR_("which command?"));
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
    return tr_help_find_command(name) ? run_command(name, argc - 1, argv + 1)
                                      : wrong_command(name, false);
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

/* Photos and what the searches in them need are large and short-lived. By default each of these
   goes back to the system when it is freed, and comes back as new pages, all of which the system
   has to clear: a third of the time of a search at full size. So what is freed is kept, in one
   heap, where a thread finds what another has left. */
static void reuse_memory(void) {
#ifdef __GLIBC__
    mallopt(M_ARENA_MAX, 1);
    mallopt(M_MMAP_MAX, 0);
    mallopt(M_TRIM_THRESHOLD, INT_MAX);
#endif
}

int main(int argc, char **argv) {
    if (!keep_standard_streams()) return TR_EXIT_NO_MEASURE;
    reuse_memory();
    signal(SIGPIPE, SIG_IGN); /* a pipe that was closed is an error of writing, noticed below */
    int status = run(argc, argv);
    errno = 0;
    bool was_written = !ferror(stdout);
    if (fclose(stdout) != 0) was_written = false;
    if (was_written) return status;
    if (status != TR_EXIT_NO_MEASURE) {
        fprintf(stderr, "trammel: %s%s%s\n",
                TR_("the result could not be written to standard output"), errno ? ": " : "",
                errno ? tr_translated(strerror(errno)) : "");
    }
    return TR_EXIT_NO_MEASURE;
}
