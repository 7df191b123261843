/* A check as a person reads it in a terminal: UTF-8, at most 80 columns, the verdict last where the
   eye rests. Colours (Okabe and Ito's, by ANSI sequences) only where asked for; word and shape tell
   the same without them. Text that came from outside is shown without control characters. */
#ifndef TR_PRESENT_CHECK_TEXT_H
#define TR_PRESENT_CHECK_TEXT_H

#include <stdio.h>

#include "check/check.h"

enum { TR_TEXT_WIDTH = 80 };

/* Whether it could be written is asked of out (ferror). */
void tr_check_text(const tr_check *check, bool is_coloured, FILE *out);

/* For a check that ended without a measurement: its photos, its warnings, why. check may be NULL.
 */
void tr_check_text_failed(const tr_check *check, const tr_error *why, bool is_coloured, FILE *out);

/* A paragraph of words in lines of at most TR_TEXT_WIDTH columns. The first line begins at column
   `column` (what stands before it is written already), the others are indented to `indent`. Ends
   with a newline. */
void tr_text_wrap(FILE *out, int column, int indent, const char *text);

/* How many columns of a terminal the UTF-8 text takes. */
int tr_text_columns(const char *text);

#endif
