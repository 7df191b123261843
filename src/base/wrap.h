/* Lines of a terminal: how wide text is, and paragraphs in lines of one width. */
#ifndef TR_BASE_WRAP_H
#define TR_BASE_WRAP_H

#include <stddef.h>
#include <stdio.h>

enum { TR_TEXT_WIDTH = 80 };

/* A paragraph of words in lines of at most TR_TEXT_WIDTH columns. The first line begins at column
   `column` (what stands before it is written already), the others are indented to `indent`. Ends
   with a newline. text: UTF-8 without control characters (tr_text_show). */
void tr_text_wrap(FILE *out, int column, int indent, const char *text);

/* How many columns of a terminal the UTF-8 text takes. */
int tr_text_columns(const char *text);

/* A cell of a table: the text at the left, or at the right, of a column so wide; where it is wider,
   it is not cut. A line of text has no newline behind it. */
void tr_text_left(FILE *out, const char *text, int columns);
void tr_text_right(FILE *out, const char *text, int columns);

/* The width of a column whose head is this, with a gap of two before it: at least so many columns.
   The head of another language may be longer. */
int tr_text_column(const char *head, int least);

/* The text as far as it fits into the columns and, with its final 0, into the bytes of out. Only
   whole characters are cut off, and "…" stands in their place. columns >= 1, size >= 4. */
void tr_text_fit(const char *text, int columns, char *out, size_t size);

#endif
