/* The sheets that a shop has already: every sheet file of one folder. A tag id that one of them has
   is never given to another, since two sheets with the same tag cannot be told apart. */
#ifndef TR_SHEET_FOLDER_H
#define TR_SHEET_FOLDER_H

#include "sheet/sheet.h"

/* All zero is a valid empty one. */
typedef struct {
    tr_sheet *sheets; /* in the order of their files' names */
    int n;
} tr_sheet_folder;

/* Reads the sheet files of a folder ("": the one the program works in): those in .yaml or .yml that
   have `sheet` or `tags`; others, as layouts and jobs, are none. Its sub-folders are not searched.
   One that cannot be read is an error: its ids would not be known. */
TR_MUST_USE bool tr_sheet_folder_read(const char *folder, tr_sheet_folder *out, tr_error *err);
void tr_sheet_folder_release(tr_sheet_folder *folder);

/* The sheet that has this tag; NULL: none. */
const tr_sheet *tr_sheet_folder_owner(const tr_sheet_folder *folder, const char *family, int id);
/* The sheet of that id; NULL: none. */
const tr_sheet *tr_sheet_folder_sheet(const tr_sheet_folder *folder, const char *sheet_id);

#endif
