#include "present/overview.h"

#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "present/moves.h"
#include "present/page.h"
#include "present/plan.h"
#include "present/words.h"

static const tr_box PLAN = {36, 254, 880, 868};
static const tr_box LIST = {950, 262, 934, 860};

/* What one row says. */
typedef struct {
    char tag[16], name[160], why[TR_MOVES_SIZE + 8];
    tr_verdict verdict;
    const char *word;
} row;

/* True minus signs, as in all drawings. */
static void put_minus(row *r) {
    char text[sizeof r->why];
    size_t n = 0;
    for (const char *c = r->why; *c && n + 4 < sizeof text; c++) {
        bool is_minus = *c == '-' && c > r->why && c[-1] == ' ';
        n += (size_t)snprintf(text + n, sizeof text - n, "%s", is_minus ? "−" : (char[2]){*c, 0});
    }
    memcpy(r->why, text, n + 1);
}

static row row_of_target(const tr_check_result *result, int target) {
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *sheet = &result->sheets[t->sheet];
    row r = {.verdict = t->verdict, .word = tr_verdict_word(t->verdict)};
    char why[512];
    snprintf(r.tag, sizeof r.tag, "%d", target + 1);
    snprintf(r.name, sizeof r.name, "%s", sheet->id);
    tr_target_why(result, target, why, sizeof why);
    if (t->verdict == TR_PASS) {
        snprintf(r.why, sizeof r.why, "%s", sheet->title);
    } else if (tr_target_needs_move(t)) {
        char moves[TR_MOVES_SIZE];
        tr_target_moves_text(result, t, moves);
        snprintf(r.why, sizeof r.why, "► %s", moves);
    } else {
        snprintf(r.why, sizeof r.why, "%s", why);
    }
    put_minus(&r);
    return r;
}

static row row_of_relation(const tr_check_result *result, int relation) {
    const tr_relation_result *rel = &result->relations[relation];
    row r = {.verdict = rel->verdict, .word = tr_verdict_word(rel->verdict)};
    tr_relation_letter(relation, r.tag);
    snprintf(r.name, sizeof r.name, TR_("From %s to %s"),
             result->sheets[result->targets[rel->targets[0]].sheet].id,
             result->sheets[result->targets[rel->targets[1]].sheet].id);
    tr_relation_why(rel, r.why, sizeof r.why);
    put_minus(&r);
    return r;
}

/* The tag, the name, shape and word of the verdict, and below them, in up to two lines, the rest.
 */
static void draw_row(tr_canvas *canvas, double y, double height, const row *r) {
    static const double WORD_X = 640, WORDS_PX = 294;
    double size = fmin(28, 0.36 * height);
    double radius = fmin(30, 0.36 * height);
    double x = LIST.x + 2 * radius + 20;
    double room = LIST.width - 2 * radius - 20;
    tr_type type = {.size_px = size, .smallest_px = 0.45 * size, .is_bold = true, .colour = TR_INK};
    tr_canvas_colour(canvas, TR_FAINT);
    cairo_set_line_width(canvas->cr, 1);
    cairo_move_to(canvas->cr, LIST.x, y);
    cairo_line_to(canvas->cr, LIST.x + LIST.width, y);
    cairo_stroke(canvas->cr);
    tr_canvas_tag(canvas, LIST.x + radius, y + height / 2, radius, r->verdict, r->tag);
    tr_canvas_text(canvas, x, y + 0.04 * height, LIST.x + WORD_X - x - 10, type, r->name);
    type.colour = tr_verdict_colour(r->verdict);
    tr_canvas_badge(canvas, LIST.x + WORD_X + 0.6 * size, y + 0.04 * height + 0.6 * size,
                    0.5 * size, r->verdict);
    tr_canvas_text(canvas, LIST.x + WORD_X + 1.4 * size, y + 0.04 * height, WORDS_PX - 1.4 * size,
                   type, r->word);
    type =
        (tr_type){.size_px = 0.8 * size, .smallest_px = 0.45 * size, .colour = TR_INK, .lines = 2};
    tr_canvas_text(canvas, x, y + 0.04 * height + 1.3 * size, room, type, r->why);
}

static void draw_list(tr_canvas *canvas, const tr_check_result *result) {
    enum { MOST = 20 };
    int n = result->n_targets + result->n_relations;
    int shown = n <= MOST ? n : MOST - 1;
    double height = fmin(112, LIST.height / (n <= MOST ? n : MOST));
    for (int i = 0; i < shown; i++) {
        row r = i < result->n_targets ? row_of_target(result, i)
                                      : row_of_relation(result, i - result->n_targets);
        draw_row(canvas, LIST.y + i * height, height, &r);
    }
    if (shown == n) return;
    const tr_type type = {.size_px = 24, .colour = TR_INK};
    char text[64];
    snprintf(text, sizeof text, TR_("And %d more: see the text."), n - shown);
    tr_canvas_text(canvas, LIST.x, LIST.y + shown * height + 6, LIST.width, type, text);
}

void tr_overview_draw(tr_canvas *canvas, const tr_check_result *result, const char *third) {
    char first[160], second[512], why[1024];
    snprintf(first, sizeof first, TR_("%d targets"), result->n_targets);
    tr_page_job(result, second, sizeof second);
    const tr_page_head head = {result->verdict, tr_verdict_headline(result->verdict), first, second,
                               third};
    tr_page_draw_head(canvas, &head);
    tr_check_why(result, why, sizeof why);
    tr_page_draw_message(canvas, &result->findings, why);
    tr_page_draw_rule(canvas, TR_PAGE_RULE_PX);
    tr_plan_draw_all(canvas, PLAN, result);
    draw_list(canvas, result);
    tr_page_draw_foot(canvas);
}
