#include "present/page.h"

#include <stdio.h>

#include "base/language.h"
#include "present/catalogue.h"
#include "present/cautions.h"
#include "present/picture.h"

static const double HEAD_Y = 66;

double tr_page_width(void) {
    return TR_PICTURE_WIDTH_PX - 2 * TR_PAGE_MARGIN_PX;
}

void tr_page_draw_rule(tr_canvas *canvas, double y) {
    tr_canvas_colour(canvas, TR_FAINT);
    cairo_set_line_width(canvas->cr, 2);
    cairo_move_to(canvas->cr, TR_PAGE_MARGIN_PX, y);
    cairo_line_to(canvas->cr, TR_PAGE_MARGIN_PX + tr_page_width(), y);
    cairo_stroke(canvas->cr);
}

/* From x on. */
static void draw_lines(tr_canvas *canvas, double x, const tr_page_head *head) {
    double room = TR_PAGE_MARGIN_PX + tr_page_width() - x;
    tr_type type = {.size_px = 34,
                    .smallest_px = 18,
                    .is_bold = true,
                    .colour = TR_INK,
                    .align = TR_ALIGN_RIGHT};
    tr_canvas_text(canvas, x, head->third ? 8 : 18, room, type, head->first);
    type.size_px = head->third ? 26 : 28;
    type.smallest_px = 14;
    type.is_bold = false;
    tr_canvas_text(canvas, x, head->third ? 54 : 68, room, type, head->second);
    if (!head->third) return;
    type.size_px = 22;
    type.smallest_px = 12;
    tr_canvas_text(canvas, x, 90, room, type, head->third);
}

void tr_page_draw_head(tr_canvas *canvas, const tr_page_head *head) {
    static const double RADIUS = 52;
    tr_canvas_badge(canvas, TR_PAGE_MARGIN_PX + RADIUS, HEAD_Y, RADIUS, head->verdict);
    const tr_type big = {
        .size_px = 84, .is_bold = true, .colour = tr_verdict_colour(head->verdict)};
    double x = TR_PAGE_MARGIN_PX + 2 * RADIUS + 28;
    double width = tr_canvas_text_width(canvas, big, head->word);
    tr_canvas_text(canvas, x, HEAD_Y - 50, width + 4, big, head->word);
    draw_lines(canvas, x + width + 60, head);
}

void tr_page_draw_title(tr_canvas *canvas, const char *title, const tr_page_head *head) {
    const tr_type big = {.size_px = 60, .is_bold = true, .colour = TR_INK};
    double width = tr_canvas_text_width(canvas, big, title);
    tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, HEAD_Y - 36, width + 4, big, title);
    draw_lines(canvas, TR_PAGE_MARGIN_PX + width + 60, head);
}

/* The first that stands against a pass, else the first of all. */
static const tr_finding *most_important(const tr_findings *findings) {
    for (int i = 0; i < findings->n; i++) {
        if (tr_finding_blocks_pass(findings->items[i].kind)) return &findings->items[i];
    }
    return findings->n > 0 ? &findings->items[0] : NULL;
}

void tr_page_draw_message(tr_canvas *canvas, const tr_findings *findings, const char *text) {
    char finding_text[TR_FINDING_TEXT_SIZE + 96], sentence[TR_FINDING_TEXT_SIZE], which[80] = "";
    const tr_finding *finding = most_important(findings);
    const tr_type type = {
        .size_px = 36, .smallest_px = 20, .is_bold = true, .colour = TR_INK, .lines = 2};
    double height = tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, 128, tr_page_width(), type, text);
    if (!finding) return;
    tr_finding_text(finding, sentence);
    if (findings->n > 1)
        snprintf(which, sizeof which, TR_("One of %d warnings, see the text: "), findings->n);
    snprintf(finding_text, sizeof finding_text, "! %s%s", which, sentence);
    const tr_type small = {
        .size_px = 26, .smallest_px = 13, .colour = TR_INK, .lines = height > 50 ? 1 : 2};
    tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, 128 + height, tr_page_width(), small, finding_text);
}

void tr_page_job(const tr_check_result *result, char *out, size_t size) {
    char job[sizeof result->job + 32];
    snprintf(job, sizeof job, TR_("Job %s"), result->job);
    snprintf(out, size, "%s · %s · %s%s%s", job, result->layout, result->vehicle,
             *result->vehicle_id ? " · " : "", result->vehicle_id);
}

void tr_page_draw_foot(tr_canvas *canvas) {
    const tr_type type = {.size_px = 20, .smallest_px = 12, .colour = TR_INK, .lines = 2};
    tr_page_draw_rule(canvas, TR_PAGE_FOOT_PX - 6);
    tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, TR_PAGE_FOOT_PX, tr_page_width(), type,
                   tr_cautions());
}
