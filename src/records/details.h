/* The details of a record (tr_record.details): what is needed beside its files to make the
   measurement again.

     {"words": ["check", "--", "job.yaml"],       the command's words
      "unread": {"9.jpg": {"code", "text"}},      files that could not be read, and why
      "there": {"photos/9.jpg": true},            names that were asked for, and were there
      "moment": {...},                            what is of no file, such as the time
      "shop": "Bay 2"}                            whose measurement it is

   The last four only where there is something to say. */
#ifndef TR_RECORDS_DETAILS_H
#define TR_RECORDS_DETAILS_H

#include <jansson.h>

#include "base/error.h"

/* An item of "unread". New references; NULL when memory ran out. */
json_t *tr_unread_json(const tr_error *why);
/* Fills err with what that item says of path. */
bool tr_unread_fail(const json_t *unread, const char *path, tr_error *err);

/* unread, there: objects by path. moment: a JSON object's text, or
   NULL. *out is owned by the caller (free). */
TR_MUST_USE bool tr_details_print(const char *const *words, int n_words, const json_t *unread,
                                  const json_t *there, const char *moment, const char *shop,
                                  char **out, tr_error *err);

#endif
