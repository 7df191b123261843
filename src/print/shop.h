/* The sheets that a shop has already: every sheet file of one folder. A tag id that one of them has
   is never given to another, since two sheets with the same tag cannot be told apart. */
#ifndef TR_PRINT_SHOP_H
#define TR_PRINT_SHOP_H

#include <stdio.h>

#include "sheet/sheet.h"

/* All zero is a valid empty one. */
typedef struct {
    tr_sheet *sheets; /* in the order of their files' names */
    int n;
} tr_shop;

/* Reads the sheet files of a folder ("": the one the program works in): those in .yaml or .yml that
   have `tags`; others, as layouts and jobs, are none. Its sub-folders are not searched. One that
   cannot be read is an error: its ids would not be known. */
TR_MUST_USE bool tr_shop_read(const char *folder, tr_shop *out, tr_error *err);
void tr_shop_release(tr_shop *shop);

/* The sheet that has this tag; NULL: none. */
const tr_sheet *tr_shop_owner(const tr_shop *shop, const char *family, int id);
/* The sheet of that id; NULL: none. */
const tr_sheet *tr_shop_sheet(const tr_shop *shop, const char *sheet_id);

/* The n lowest ids from low to high that no sheet has. Fails where there are not so many. */
TR_MUST_USE bool tr_shop_choose(const tr_shop *shop, const char *family, int low, int high, int n,
                                int *ids, tr_error *err);

/* Prints the sheet's tag ids of the range in lines of a terminal, runs of them as "40 to 47",
   behind `column` columns that are written already; further lines are indented to `indent`. Ends
   with a newline. */
void tr_shop_print_ids(const tr_sheet *sheet, int low, int high, int column, int indent, FILE *out);

/* Prints which ids of the range are taken, a line a sheet: "  MAT-7: 40 to 47". */
void tr_shop_print_taken(const tr_shop *shop, const char *family, int low, int high, FILE *out);

#endif
