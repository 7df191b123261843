#include "cli/options.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "base/language.h"
#include "base/number.h"
#include "base/parallel.h"
#include "base/text.h"
#include "base/wrap.h"
#include "cli/commands.h"
#include "help/text.h"
#include "present/cautions.h"

static bool is_described(const tr_help_word *options, const char *word, size_t length) {
    for (; options->name; options++) {
        if (strlen(options->name) == length && strncmp(word, options->name, length) == 0)
            return true;
    }
    return false;
}

static bool take_option(const tr_help_word *described, int argc, char **argv, int *i,
                        const tr_option *options, int n, tr_error *err) {
    const char *word = argv[*i];
    size_t length = strcspn(word, "=");
    if (!is_described(described, word, length)) n = 0;
    for (int k = 0; k < n; k++) {
        const tr_option *o = &options[k];
        if (strlen(o->name) != length || strncmp(word, o->name, length) != 0) continue;
        if (!o->value) {
            *o->flag = true;
            return !word[length] || tr_fail(err, TR_BAD_INPUT, "'%s' takes no value", o->name);
        }
        if (*o->value) return tr_fail(err, TR_BAD_INPUT, "'%s' is given twice", o->name);
        if (word[length] == '=') {
            *o->value = word + length + 1;
        } else if (*i + 1 < argc) {
            *o->value = argv[++*i];
        } else {
            return tr_fail(err, TR_BAD_INPUT, "'%s' needs a value", o->name);
        }
        return true;
    }
    return tr_fail(err, TR_BAD_INPUT, "there is no option '%.80s'", word);
}

bool tr_options_parse(const tr_help_command *command, int argc, char **argv,
                      const tr_option *options, int n, int *n_words, bool *is_help, tr_error *err) {
    bool are_options_over = false;
    *n_words = 0;
    *is_help = false;
    for (int i = 1; i < argc; i++) {
        if (are_options_over || argv[i][0] != '-' || argv[i][1] == 0) {
            argv[++*n_words] = argv[i];
        } else if (strcmp(argv[i], "--") == 0) {
            are_options_over = true;
        } else if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0) {
            *is_help = true;
            return true;
        } else if (!take_option(command->options, argc, argv, &i, options, n, err)) {
            return false;
        }
    }
    return true;
}

bool tr_options_threads(const char *value, long *n_threads, tr_error *err) {
    *n_threads = 0;
    return !value ||
           (tr_integer_parse(value, n_threads) && *n_threads >= 1 &&
            *n_threads <= TR_MAX_THREADS) ||
           tr_fail(err, TR_BAD_INPUT, "'--threads %.40s' is not a number from 1 to %d", value,
                   TR_MAX_THREADS);
}

bool tr_options_pair(const char *text, double high, double out[2]) {
    char first[TR_NUMBER_SIZE];
    const char *x = strpbrk(text, "xX");
    if (!x || (size_t)(x - text) >= sizeof first) return false;
    memcpy(first, text, (size_t)(x - text));
    first[x - text] = 0;
    return tr_number_parse(first, &out[0]) && tr_number_parse(x + 1, &out[1]) && out[0] > 0 &&
           out[1] > 0 && out[0] <= high && out[1] <= high;
}

bool tr_options_ends_in(const char *path, const char *extension) {
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;
    size_t n = strlen(name);
    size_t k = strlen(extension);
    return n > k && strcasecmp(name + n - k, extension) == 0;
}

int tr_options_help(const tr_help_command *command) {
    tr_help_command_text(command, stdout);
    fputc('\n', stdout);
    tr_text_wrap(stdout, 0, 0, tr_cautions());
    return TR_EXIT_PASS;
}

void tr_options_print_error(const char *command, const tr_error *err) {
    char line[1024], shown[1024];
    tr_error_print(err, line, sizeof line);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fprintf(stderr, "trammel %s: %s\n", command, shown);
}

int tr_options_refuse(const tr_help_command *command, const tr_error *err) {
    tr_options_print_error(command->name, err);
    char prefix[64];
    snprintf(prefix, sizeof prefix, "%s ", TR_("usage:"));
    tr_help_usage_text(command, prefix, stderr);
    fprintf(stderr, TR_("More: trammel %s --help"), command->name);
    fputc('\n', stderr);
    return TR_EXIT_USAGE;
}

void tr_options_quote(const char *word, char *out, size_t size) {
    static const char PLAIN[] =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-+=:,.@%/";
    char shown[1024];
    tr_text_show(word, strlen(word), shown, sizeof shown);
    bool is_plain = *shown && strspn(shown, PLAIN) == strlen(shown);
    size_t n = 0;
    if (!is_plain) n += (size_t)snprintf(out + n, size - n, "'");
    enum { MOST = 6 }; /* a quote that is one itself, the last one, and the end */
    for (const char *c = shown; *c && n + MOST <= size; c++) {
        if (*c == '\'')
            n += (size_t)snprintf(out + n, size - n, "'\\''");
        else
            out[n++] = *c;
    }
    out[n] = 0;
    if (!is_plain) snprintf(out + n, size - n, "'");
}

void tr_options_print_word(const char *word) {
    char quoted[4200]; /* four bytes for each that tr_text_show leaves of it */
    tr_options_quote(word, quoted, sizeof quoted);
    fputs(quoted, stdout);
}

void tr_options_print_written(const char *id, const char *file) {
    char shown[2][256];
    tr_text_show(id, strlen(id), shown[0], sizeof shown[0]);
    tr_text_show(file, strlen(file), shown[1], sizeof shown[1]);
    printf(TR_("%s, written to %s"), shown[0], shown[1]);
    putchar('\n');
}

void tr_options_show_progress(void *context, int done, int of) {
    (void)context;
    if (!isatty(STDERR_FILENO)) return;
    fputc('\r', stderr);
    fprintf(stderr, TR_("%d of %d photos"), done, of);
    if (done == of) fputs("\r\033[K", stderr);
    fflush(stderr);
}
