/* Artwork and pages as files: vector PDF or SVG, at exactly 1:1 (1 mm is 72/25.4 points). The same
   sheet gives the same bytes: no time is written. Files are written whole or not at all. */
#ifndef TR_PRINT_WRITE_H
#define TR_PRINT_WRITE_H

#include "print/pages.h"

TR_MUST_USE bool tr_print_pdf(tr_artwork *artwork, const tr_pages *pages, const char *path,
                              tr_error *err);
/* One page, the sheet's own size. pages: as tr_pages_plan gives it without a paper. */
TR_MUST_USE bool tr_print_svg(tr_artwork *artwork, const tr_pages *pages, const char *path,
                              tr_error *err);

#endif
