/* Parts of a job's file as text. Private to shop. */
#ifndef TR_SHOP_JOB_TEXT_H
#define TR_SHOP_JOB_TEXT_H

#include <stdio.h>

#include "job/usual.h"
#include "job/preconditions.h"

/* The time now where the program runs, such as 2026-11-29T08:10:00+01:00. */
void tr_local_time(char out[TR_LOCAL_TIME_SIZE]);

/* The text as a YAML value: plain where it cannot be taken for anything else, else quoted. */
void tr_put_word(const char *text, FILE *to);

/* { id: X, by: Y, at: Z }; or, where not_done is not NULL, with that as the reason. */
void tr_put_confirmation(const char *id, const char *by, const char *at, const char *not_done,
                         FILE *to);

/* { point: rear-left, sheet: PLATE-A, at_mm: [95, 0] } */
void tr_put_reference(const tr_usual_reference *reference, FILE *to);

/* The next word of a list with commas between, or NULL at its end; *list moves behind it. Words are
   cut to size - 1 bytes: so large that no id is. */
const char *tr_next_of_list(const char **list, char *word, size_t size);

#endif
