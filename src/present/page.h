/* What all pages of a picture have alike: their size, head and foot. Lengths in px of the page. */
#ifndef TR_PRESENT_PAGE_H
#define TR_PRESENT_PAGE_H

#include "check/result.h"
#include "present/canvas.h"

static const double TR_PAGE_MARGIN_PX = 36;
static const double TR_PAGE_RULE_PX = 246; /* below the head and the message */
static const double TR_PAGE_FOOT_PX = 1138;

/* Between the margins. */
double tr_page_width(void);
void tr_page_draw_rule(tr_canvas *canvas, double y);

/* Badge and word; to the right of them what was checked, and which page of which check this is. */
typedef struct {
    tr_verdict verdict;
    const char *word, *first, *second, *third;
} tr_page_head;
void tr_page_draw_head(tr_canvas *canvas, const tr_page_head *head);
/* A title in the place of badge and word. */
void tr_page_draw_title(tr_canvas *canvas, const char *title, const tr_page_head *head);

/* What to do or why it is so, in up to two lines, and below it the finding that matters most. */
void tr_page_draw_message(tr_canvas *canvas, const tr_findings *findings, const char *text);

/* "Job J-1 · layout · vehicle · its number", as a head's second line has it. */
void tr_page_job(const tr_check_result *result, char *out, size_t size);

/* The cautions. */
void tr_page_draw_foot(tr_canvas *canvas);

#endif
