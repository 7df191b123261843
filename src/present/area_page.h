/* A page of photos with the free areas drawn into them, for a person to look whether anything
   stands there. */
#ifndef TR_PRESENT_AREA_PAGE_H
#define TR_PRESENT_AREA_PAGE_H

#include "check/result.h"
#include "present/canvas.h"

/* Photos of a page. */
enum { TR_AREA_PAGE_PHOTOS = 4 };

/* Those of the photos that see a free area, from the first-th on: by name, but those that show all
   of one before the others. third: which page of
   which check this is. False only where memory ran out. */
TR_MUST_USE bool tr_area_page_draw(tr_canvas *canvas, const tr_check_result *result,
                                   const tr_photo_set *photos, int first, const char *third,
                                   tr_error *err);

#endif
