/* The first page of a picture of several targets: the vehicle from above with all of them, and a
   list of what each of them is and lacks. */
#ifndef TR_PRESENT_OVERVIEW_H
#define TR_PRESENT_OVERVIEW_H

#include "check/result.h"
#include "present/canvas.h"

/* third: which page of which check it is (present/page.h). */
void tr_overview_draw(tr_canvas *canvas, const tr_check_result *result, const char *third);

#endif
