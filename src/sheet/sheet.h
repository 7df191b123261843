/* What is printed: a sheet is one flat face that carries marks (contract, "Words").
   Sheet frame: origin at the sheet's centre, x right, y up, z out of the printed face; mm. */
#ifndef TR_SHEET_SHEET_H
#define TR_SHEET_SHEET_H

#include "base/error.h"
#include "geom/geom.h"

typedef enum { TR_SHEET_MAT, TR_SHEET_BOARD, TR_SHEET_PLATE, TR_SHEET_HUB } tr_sheet_kind;

typedef struct {
    int id;            /* number within the family */
    tr_vec2 centre_mm; /* on the sheet */
    double size_mm;    /* edge of the square whose corners the detector reports */
    double turn_rad;   /* anticlockwise on the sheet; 0 = as the family's official image */
    int line;          /* in the sheet file, for messages */
} tr_tag;

typedef struct {
    char *path; /* the file it was read from, for messages */
    char id[64];
    char title[128];
    tr_sheet_kind kind;
    double width_mm, height_mm;
    char tag_family[32];
    tr_tag *tags;
    int n_tags;
    tr_vec2 *corners_mm; /* checker corners */
    int n_corners;
} tr_sheet;

/* Reads a sheet file. On failure err names file, line and key, and *out is empty.
   The tag family must be one that tr_sheet_family_size knows, every id within it; a tag and every
   corner must lie on the face. */
TR_MUST_USE bool tr_sheet_read(const char *path, tr_sheet *out, tr_error *err);
void tr_sheet_release(tr_sheet *sheet);

/* Writes a sheet file from which the same sheet is read, bit by bit (a turn to its last bit but
   one); whole or not at all (base/file.h). The sheet must be one that tr_sheet_read would accept.
 */
TR_MUST_USE bool tr_sheet_write(const char *path, const tr_sheet *sheet, tr_error *err);

/* How many ids a tag family has (tag36h11: 587); 0 for a family that is not known. */
int tr_sheet_family_size(const char *family);

const char *tr_sheet_kind_name(tr_sheet_kind kind); /* "mat", "board", "plate", "hub" */

/* Corner k of a tag, on the sheet, mm: 0 bottom left, 1 bottom right, 2 top right, 3 top left of
   the tag as its family's official image shows it (libapriltag's order). */
tr_vec2 tr_tag_corner(const tr_tag *tag, int k);

#endif
