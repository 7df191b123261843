/* The words of a command: options that take a value, behind '=' or in the next word, each at most
   once; --help; and the other words. */
#ifndef TR_CLI_OPTIONS_H
#define TR_CLI_OPTIONS_H

#include "base/error.h"

typedef struct {
    const char *name;   /* "--out" */
    const char **value; /* left as it is where the option is not given; borrowed from argv */
} tr_option;

/* One word at most may stand besides the options; it goes to *word (NULL: none was given).
   what: what that word is, for messages: "a sheet file". */
TR_MUST_USE bool tr_options_parse(int argc, char **argv, const tr_option *options, int n,
                                  const char *what, const char **word, bool *is_help,
                                  tr_error *err);

/* "10x7" or "1600 x 1000" without blanks: two numbers above 0 and up to high. */
bool tr_options_pair(const char *text, double high, double out[2]);

/* The path ends in that extension (".pdf"), whatever its case, after a name. */
bool tr_options_ends_in(const char *path, const char *extension);

/* "trammel COMMAND: ..." on standard error, without anything that a terminal would obey. */
void tr_options_print_error(const char *command, const tr_error *err);

#endif
