/* How a sheet comes onto paper: on one page of its own size, for a roll printer or a print shop; on
   one page of a common paper size, where it fits; or in tiles that are cut and laid together.

   Tiles: the face is cut along straight lines, where possible so that no mark is cut. Each tile
   shows half of the overlap beyond its cuts. On its page it stands inside a frame that holds the
   crop marks, two 100 mm rules and the tile's number; a margin all round is left to the printer. */
#ifndef TR_PRINT_PAGES_H
#define TR_PRINT_PAGES_H

#include "print/artwork.h"

typedef struct {
    const char *name;
    double width_mm, height_mm; /* upright */
} tr_paper;

/* A4 and A3 (ISO 216), Letter (ANSI/ASME Y14.1 size A). By name, whatever its case; NULL: unknown.
 */
const tr_paper *tr_paper_by_name(const char *name);
/* The paper of that size, upright or on its side; NULL: none has it. */
const tr_paper *tr_paper_of_size(double width_mm, double height_mm);
/* "A4, A3, Letter". */
const char *tr_paper_names(void);

#define TR_OVERLAP_MM 10.0 /* usual */
#define TR_MAX_OVERLAP_MM 50.0

typedef struct {
    int column, row;   /* from the upper left, from 0 */
    tr_area cut;       /* of the face: what remains of the tile once it is cut. Sheet frame, mm */
    tr_area part;      /* of the face: what is drawn; the cut and the overlap */
    tr_vec2 origin_mm; /* of the sheet, on the page: from its upper left corner, y down */
} tr_page;

typedef struct {
    const tr_paper *paper;      /* NULL: pages have the sheet's own size */
    double width_mm, height_mm; /* of every page */
    bool has_frame;             /* crop marks, rules and numbers round the tile */
    double overlap_mm;
    int columns, rows, n;
    tr_page *pages; /* row by row; owned */
} tr_pages;

/* Pages for the artwork: paper NULL for its own size. Fails where there would be too many, or a
   page larger than a PDF can tell. */
TR_MUST_USE bool tr_pages_plan(const tr_artwork *artwork, const tr_paper *paper, double overlap_mm,
                               tr_pages *out, tr_error *err);
void tr_pages_release(tr_pages *pages);

/* Printers leave out up to some 6 mm at each edge of a page: nothing stands nearer. */
#define TR_PAGE_MARGIN_MM 10.0
/* Inside the margin, left and below of the tile: the strips that hold the rules. */
#define TR_STRIP_LEFT_MM 8.0
#define TR_STRIP_BOTTOM_MM 26.0

#endif
