/* What the commands that measure do alike to keep what they measured as a record: options, the
   store, the observer, and what a person is told.

     tr_keep_begin   before anything is read: opens the store, and observes
     tr_keep_add     a file that was written
     tr_keep_result  after the verdict was shown: keeps the record, and says so
     tr_keep_end     where there is nothing to keep

   What goes wrong stands against no measurement: it is told at the end, and is then the command's
   exit status. Without --keep, and where the shop (trammel.yaml) does not ask for it, none of these
   does anything. */
#ifndef TR_CLI_KEEP_H
#define TR_CLI_KEEP_H

#include <jansson.h>

#include "base/error.h"
#include "base/file.h"
#include "records/recorder.h"
#include "shop/shop.h"

/* What the words say; borrowed from argv. */
typedef struct {
    bool is_asked;     /* --keep */
    const char *store; /* --store, which is --keep, too */
    const char *by;    /* --by */
    bool is_never;     /* nothing is kept: the store is only asked, for confirmations */
} tr_keep_options;

/* For a command's list of tr_option, and (help/page.h: TR_HELP_KEEP) for its page. */
#define TR_KEEP_OPTIONS(o)                                                                         \
    {"--keep", NULL, &(o).is_asked}, {"--store", &(o).store, NULL}, {                              \
        "--by", &(o).by, NULL                                                                      \
    }

/* All zero is one that keeps nothing. */
typedef struct {
    tr_keep_options options;
    tr_shop shop; /* whose rules hold; all zero: there is none */
    bool is_wanted;
    char made_at[TR_TIME_SIZE]; /* when it began, UTC */
    tr_recorder *recorder;      /* NULL: there is none, or it could not be opened: */
    tr_error why;
} tr_keep;

/* near: a file of the shop, where that is not the one that the program works in; or NULL. */
void tr_keep_begin(tr_keep *keep, const tr_keep_options *options, const char *near);

/* Nothing is observed from here on, or again. */
void tr_keep_pause(tr_keep *keep);
void tr_keep_resume(tr_keep *keep);

/* A file that came out of the measurement, once it is written. */
void tr_keep_add(tr_keep *keep, const char *role, const char *name, const void *data, size_t size);

/* When the i-th lens profile that was read was last confirmed or found to differ, as the store's
   records tell; "" where they do not. Also where nothing is kept, but the shop asks for
   confirmations. */
void tr_keep_confirmation(tr_keep *keep, int i, char made_at[TR_TIME_SIZE], bool *differs);

/* Keeps what is to be kept: its kind is the command's name; its technician is "" where the inputs
   do not tell, and then --by, or the user's login name. json: its result, which is taken over;
   NULL: memory ran out for it. Where keep->why is set before, it is told, and nothing is kept.
   is_json: standard output is for the result alone. False: it was wanted, and could not be kept;
   why was told on standard error. Ends it in any case. */
bool tr_keep_result(tr_keep *keep, const tr_measurement *measurement, json_t *json, bool is_json);

/* Ends it without a record; once it has ended nothing more happens. */
void tr_keep_end(tr_keep *keep);

#endif
