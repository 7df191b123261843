/* Reading YAML input files strictly. Every value keeps its line; every error names file, line and
   the path of keys, for example placements[0].limits.x_mm.

   A reader is a list of its keys, without a test after each:

     tr_yaml y = tr_yaml_open(path);
     tr_yaml_keys(y, "lens image_px note?");
     tr_yaml_text(tr_yaml_at(y, "lens"), lens.id, sizeof lens.id);
     ...
     if (!tr_yaml_close(y, err)) ...

   The first error stays in the open file. From then on every getter writes nothing and returns
   zero, counts are 0, so that loops end; tr_yaml_close tells. A getter is as quiet about an
   optional key that is not there.

   A file is at most 4 MB of UTF-8, with or without a byte order mark, one document, nested at most
   16 deep. Anchors, aliases and tags (& * !) are refused: a short file could blow up through them,
   and what is written out can be checked by eye. Numbers are read as in base/number.h; one in
   quotes is text, not a number. */
#ifndef TR_BASE_YAML_H
#define TR_BASE_YAML_H

#include "base/error.h"

typedef struct tr_yaml_file tr_yaml_file;

/* A value of an open file. Passed by value; valid until the file is closed. */
typedef struct {
    tr_yaml_file *file;
    int node; /* 0: not there */
} tr_yaml;

/* The root value. Never fails as such: what went wrong is told by tr_yaml_close. */
tr_yaml tr_yaml_open(const char *path);
/* Closes the file of y. False, and err filled, if anything failed since it was opened. */
TR_MUST_USE bool tr_yaml_close(tr_yaml y, tr_error *err);

/* y is a mapping of exactly these keys, each once; names with a blank between, '?' after one that
   may be left out. The first key of a root names what the file is ("job", "layout", "lens"): that
   is its role for whoever observes (base/file.h). */
void tr_yaml_keys(tr_yaml y, const char *keys);
/* The value of a key; not there where the mapping has no such key. */
tr_yaml tr_yaml_at(tr_yaml y, const char *key);
bool tr_yaml_has(tr_yaml y);
bool tr_yaml_is_list(tr_yaml y); /* for what may be a list or one value alone */
bool tr_yaml_is_mapping(tr_yaml y);
bool tr_yaml_is_word(tr_yaml y, const char *word); /* y is this text */
int tr_yaml_line(tr_yaml y);                       /* 0 where it is not there */

/* y is a list of min to max items: one zeroed element of size bytes each, owned by the caller
   (free). *n is 0 and the result NULL on failure and for an empty list. */
void *tr_yaml_array(tr_yaml y, int min, int max, size_t size, int *n);
int tr_yaml_count(tr_yaml y);           /* y is a list: how many items it has */
tr_yaml tr_yaml_item(tr_yaml y, int i); /* 0 <= i; not there from the list's count on */

/* One line of text, not empty, at most size - 1 bytes. Digits without quotes are text, too. */
void tr_yaml_text(tr_yaml y, char *out, size_t size);
/* A path relative to the file, as it can be opened; owned by the caller (free). NULL on failure. */
char *tr_yaml_path(tr_yaml y);
/* The index of the one of n words that y is. */
int tr_yaml_choice(tr_yaml y, const char *const *words, int n);
int tr_yaml_integer(tr_yaml y, int low, int high);
double tr_yaml_number(tr_yaml y, double low, double high);
/* 0 < number <= high. */
double tr_yaml_size(tr_yaml y, double high);
/* A list of exactly n of them. */
void tr_yaml_integers(tr_yaml y, int *out, int n, int low, int high);
void tr_yaml_numbers(tr_yaml y, double *out, int n, double low, double high);
void tr_yaml_sizes(tr_yaml y, double *out, int n, double high);

/* For what the caller finds wrong with a value: the rest of a sentence that begins with the key. */
void tr_yaml_fail(tr_yaml y, const char *format, ...) TR_PRINTF(2, 3);
/* Reading a file that y names failed. Where that file cannot be opened, the fault lies in y. */
void tr_yaml_fail_inside(tr_yaml y, const tr_error *cause);
void tr_yaml_fail_memory(tr_yaml y);

#endif
