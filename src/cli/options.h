/* What all commands do alike with their words: options, --help, and what is said where the words
   are wrong; and what a person at a terminal sees meanwhile. */
#ifndef TR_CLI_OPTIONS_H
#define TR_CLI_OPTIONS_H

#include "base/error.h"
#include "help/page.h"

/* An option with a value, behind '=' or in the next word, at most once; or a flag. */
typedef struct {
    const char *name;   /* "--out" */
    const char **value; /* left as it is where the option is not given; borrowed from argv */
    bool *flag;         /* of an option without a value, where value is NULL */
} tr_option;

/* Reads the options that the command's page describes, each of which has its tr_option here.
   They may stand anywhere; after "--" there are none. The other words are moved to the front of
   argv: they are argv[1] .. argv[*n_words]. Where --help or -h is met, the rest is not looked at.
 */
TR_MUST_USE bool tr_options_parse(const tr_help_command *command, int argc, char **argv,
                                  const tr_option *options, int n, int *n_words, bool *is_help,
                                  tr_error *err);

/* The value of --threads, 1 to 64; NULL, where the option is not given, is 0: one a processor. */
TR_MUST_USE bool tr_options_threads(const char *value, long *n_threads, tr_error *err);

/* "10x7" or "1600 x 1000" without blanks: two numbers above 0 and up to high. */
bool tr_options_pair(const char *text, double high, double out[2]);

/* The path ends in that extension (".pdf"), whatever its case, after a name. */
bool tr_options_ends_in(const char *path, const char *extension);

/* The command's page and the cautions on standard output. Returns TR_EXIT_PASS. */
int tr_options_help(const tr_help_command *command);

/* "trammel COMMAND: ..." on standard error, without anything that a terminal would obey. */
void tr_options_print_error(const char *command, const tr_error *err);

/* The same, and how the command is used. Returns TR_EXIT_USAGE. */
int tr_options_refuse(const tr_help_command *command, const tr_error *err);

/* "MAT-7, written to out/mat.pdf", one line on standard output. */
void tr_options_print_written(const char *id, const char *file);

/* The word as a shell reads it: between quotes where it needs them, without anything that a
   terminal would obey; cut to the size of out, which is 8 or more. */
void tr_options_quote(const char *word, char *out, size_t size);
/* The same on standard output. */
void tr_options_print_word(const char *word);

/* A tr_progress: a line on standard error where that is a terminal. */
void tr_options_show_progress(void *context, int done, int of);

#endif
