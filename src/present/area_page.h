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

/* One photo with the free areas drawn into it, and below it what it shows of them. False only where
   memory ran out. */
TR_MUST_USE bool tr_area_photo_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                                    const tr_photo_set *photos, int photo, tr_error *err);
/* Of the photos that see an area, those of a page: by name, those that show all of one first.
   Returns their number. */
int tr_area_page_photos(const tr_check_result *result, int first, int photos[TR_AREA_PAGE_PHOTOS]);

#endif
