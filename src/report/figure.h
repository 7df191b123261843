/* The drawings of a report, on any canvas. Private to report. */
#ifndef TR_REPORT_FIGURE_H
#define TR_REPORT_FIGURE_H

#include "report/document.h"
#include "report/report.h"

/* A photo that cannot be read any more is a box that says why. False only where memory ran out. */
TR_MUST_USE bool tr_figure_draw(tr_canvas *canvas, tr_box box, const tr_report *report,
                                const tr_doc_figure *figure, tr_error *err);

/* It shows a photo; else it is lines and letters alone. */
bool tr_figure_has_photo(const tr_doc_figure *figure);

#endif
