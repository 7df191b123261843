#include "cli/options.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "base/number.h"
#include "base/text.h"

static bool take_option(int argc, char **argv, int *i, const tr_option *options, int n,
                        tr_error *err) {
    const char *word = argv[*i];
    size_t length = strcspn(word, "=");
    for (int k = 0; k < n; k++) {
        const char *name = options[k].name;
        if (strlen(name) != length || strncmp(word, name, length) != 0) continue;
        if (*options[k].value) return tr_fail(err, TR_BAD_INPUT, "'%s' is given twice", name);
        if (word[length] == '=') {
            *options[k].value = word + length + 1;
        } else if (*i + 1 < argc) {
            *options[k].value = argv[++*i];
        } else {
            return tr_fail(err, TR_BAD_INPUT, "'%s' needs a value", name);
        }
        return true;
    }
    return tr_fail(err, TR_BAD_INPUT, "there is no option '%.80s'", word);
}

bool tr_options_parse(int argc, char **argv, const tr_option *options, int n, const char *what,
                      const char **word, bool *is_help, tr_error *err) {
    bool are_options_over = false;
    *word = NULL;
    *is_help = false;
    for (int i = 1; i < argc; i++) {
        if (are_options_over || argv[i][0] != '-' || argv[i][1] == 0) {
            if (*word) {
                return tr_fail(err, TR_BAD_INPUT, "'%.80s' is one word too many; name one %s",
                               argv[i], what);
            }
            *word = argv[i];
        } else if (strcmp(argv[i], "--") == 0) {
            are_options_over = true;
        } else if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0) {
            *is_help = true;
            return true;
        } else if (!take_option(argc, argv, &i, options, n, err)) {
            return false;
        }
    }
    return true;
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

void tr_options_print_error(const char *command, const tr_error *err) {
    char line[1024], shown[1024];
    tr_error_print(err, line, sizeof line);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fprintf(stderr, "trammel %s: %s\n", command, shown);
}
