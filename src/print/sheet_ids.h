/* Tag ids for a new sheet: which are free, and which the sheets of a folder have. */
#ifndef TR_PRINT_SHEET_IDS_H
#define TR_PRINT_SHEET_IDS_H

#include <stdio.h>

#include "sheet/folder.h"

/* The n lowest ids from low to high that no sheet has. Fails where there are not so many. */
TR_MUST_USE bool tr_sheet_ids_choose(const tr_sheet_folder *folder, const char *family, int low,
                                     int high, int n, int *ids, tr_error *err);

/* Prints the sheet's tag ids of the range in lines of a terminal, runs of them as "40 to 47",
   behind `column` columns that are written already; further lines are indented to `indent`. Ends
   with a newline. */
void tr_sheet_ids_print(const tr_sheet *sheet, int low, int high, int column, int indent,
                        FILE *out);

/* Prints which ids of the range are taken, a line a sheet: "  MAT-7: 40 to 47". */
void tr_sheet_ids_print_taken(const tr_sheet_folder *folder, const char *family, int low, int high,
                              FILE *out);

#endif
