/* What a user can look up: each command and each file format is described once, as data (pages.h).
   From that come the help in a terminal (text.h), the man pages (roff.h), and what a shell
   completes (completion.h); the commands read their options against it (cli/options.h), and a test
   holds the formats against their readers (tests/test_help.c).

   Texts are English, UTF-8, without newlines, laid out (and in a terminal translated:
   base/language.h; tools/texts.c tells all of them) where they are shown. What a user types or
   reads literally stands between backquotes. Lists end with an element that is all zero. */
#ifndef TR_HELP_PAGE_H
#define TR_HELP_PAGE_H

#include <stdbool.h>

/* A term and what it means. */
typedef struct {
    const char *term, *text;
} tr_help_term;

/* A heading with one of: paragraphs, points, terms, lines that are shown as they stand. */
typedef struct {
    const char *heading;
    const char *const *paragraphs, *const *points;
    const tr_help_term *terms;
    const char *lines;
} tr_help_section;

/* An operand ("JOB.yaml") or an option ("--out"). */
typedef struct {
    const char *name;
    const char *value; /* of an option: what stands for its value ("FILE.pdf"); NULL: it has none */
    const char *text;
    /* What a shell offers in its place (of an option: of its value): "f yaml yml", files by their
       extensions; "d", folders; "w A4 A3", one of these words. NULL: nothing. */
    const char *complete;
} tr_help_word;

typedef struct {
    const char *name; /* "check" */
    const char *summary;
    const char *synopsis; /* behind "trammel NAME" */
    const char *const *intro;
    const tr_help_word *operands, *options;
    const tr_help_section *sections;
    const char *const *see; /* names of other pages */
} tr_help_command;

/* A key of a YAML file, or of a JSON object. */
typedef struct {
    const char *path;      /* "placements[].limits.x_mm": [] stands for each item of a list */
    const char *unit;      /* "mm"; NULL where it has none */
    const char *otherwise; /* what holds where the key is left out; NULL: it is needed; "":
                             nothing to say. Of a result NULL */
    const char *text;
} tr_help_key;

/* A file that the reader accepts; name: where it lies relative to the other examples. */
typedef struct {
    const char *name, *text;
} tr_help_example;

typedef struct {
    const char *name; /* "job" */
    const char *summary;
    bool is_result; /* JSON that a command prints; else YAML that a user writes */
    const char *const *intro;
    const tr_help_key *keys;
    const tr_help_section *sections;
    const tr_help_example *examples;
    const char *const *see;
} tr_help_format;

/* What is neither a command nor a format: the program as a whole, and what all files share. */
typedef struct {
    const char *name, *summary;
    const char *const *intro;
    const tr_help_section *sections;
} tr_help_topic;

/* An option that all commands share that look at photos. */
#define TR_HELP_THREADS                                                                            \
    {                                                                                              \
        "--threads", "N",                                                                          \
            "work on N photos at a time (default: one per processor); the result is the same for " \
            "any N",                                                                               \
            NULL                                                                                   \
    }

/* Options that all commands share whose result can be kept as a record (cli/keep.h). */
#define TR_HELP_KEEP                                                                               \
    {"--keep", NULL,                                                                               \
     "keep the result as a record in the store, with the inputs and photos as they were read",     \
     NULL},                                                                                        \
        {"--store", "STORE",                                                                       \
         "keep it in this store, a file or `postgresql://...`, not in the shop's", "f db sqlite"}, \
    {                                                                                              \
        "--by", "NAME",                                                                            \
            "who measures, for the record, where the inputs do not say (default: the login name)", \
            NULL                                                                                   \
    }

/* Sentences that pages of one kind share. */
#define TR_HELP_OPTIONS_ANYWHERE "Options may stand anywhere; after -- no word is an option."
#define TR_HELP_KEYS_RULE                                                                          \
    "[] stands for each item of a list. Keys that are not called optional are needed."
#define TR_HELP_RESULT_RULE "[] stands for each item of a list. More keys may be added later."

#endif
