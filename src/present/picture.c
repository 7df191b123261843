#include "present/picture.h"

#include <stdio.h>

#include "present/canvas.h"
#include "present/catalogue.h"
#include "present/cautions.h"
#include "present/overlay.h"
#include "present/plan.h"
#include "present/words.h"

/* The page, px. */
static const double MARGIN = 36;
static const tr_box PHOTO = {36, 258, 770, 512};
static const tr_box DETAIL = {826, 258, 430, 560};
static const tr_box PLAN = {1290, 254, 600, 868};
static const tr_box TABLE = {36, 838, 1220, 290};
static const double FOOT_Y = 1138;

static double page_width(void) {
    return TR_PICTURE_WIDTH_PX - 2 * MARGIN;
}

static void draw_rule(tr_canvas *canvas, double y) {
    tr_canvas_colour(canvas, TR_FAINT);
    cairo_set_line_width(canvas->cr, 2);
    cairo_move_to(canvas->cr, MARGIN, y);
    cairo_line_to(canvas->cr, MARGIN + page_width(), y);
    cairo_stroke(canvas->cr);
}

/* Badge and word; to the right of them what was checked. */
static void draw_head(tr_canvas *canvas, tr_verdict verdict, const char *word, const char *first,
                      const char *second) {
    static const double RADIUS = 52, Y = 66;
    tr_canvas_badge(canvas, MARGIN + RADIUS, Y, RADIUS, verdict);
    const tr_type big = {.size_px = 84, .is_bold = true, .colour = tr_verdict_colour(verdict)};
    double x = MARGIN + 2 * RADIUS + 28;
    double width = tr_canvas_text_width(canvas, big, word);
    tr_canvas_text(canvas, x, Y - 50, width + 4, big, word);
    x += width + 60;
    double room = MARGIN + page_width() - x;
    tr_type type = {.size_px = 34,
                    .smallest_px = 26,
                    .is_bold = true,
                    .colour = TR_INK,
                    .align = TR_ALIGN_RIGHT};
    tr_canvas_text(canvas, x, 18, room, type, first);
    type.size_px = 28;
    type.smallest_px = 22;
    type.is_bold = false;
    tr_canvas_text(canvas, x, 68, room, type, second);
}

static void draw_foot(tr_canvas *canvas) {
    const tr_type type = {.size_px = 20, .smallest_px = 15, .colour = TR_INK, .lines = 2};
    draw_rule(canvas, FOOT_Y - 6);
    tr_canvas_text(canvas, MARGIN, FOOT_Y, page_width(), type, tr_cautions());
}

/* The first that stands against a pass, else the first of all. */
static const tr_finding *most_important(const tr_findings *findings) {
    for (int i = 0; i < findings->n; i++) {
        if (tr_finding_blocks_pass(findings->items[i].kind)) return &findings->items[i];
    }
    return findings->n > 0 ? &findings->items[0] : NULL;
}

/* Why the check has its verdict and, where a smaller u95 would decide it, what to do for that. */
static void print_why(const tr_check_result *result, int target, char *text, size_t size) {
    char why[768], advice[512] = "";
    const tr_target_result *t = &result->targets[target];
    tr_check_why(result, why, sizeof why);
    for (tr_axis axis = 0; axis < TR_N_AXES && !*advice; axis++) {
        const tr_axis_result *r = &t->axis[axis];
        if (!r->is_judged || !r->is_measured || r->verdict != TR_INCONCLUSIVE) continue;
        tr_source_advice(result, target, tr_largest_source(r), advice, sizeof advice);
    }
    snprintf(text, size, "%s%s%s", why, *advice ? " To decide it: " : "", advice);
}

/* What to do, or why it is as it is. */
static void draw_message(tr_canvas *canvas, const tr_check_result *result, int target) {
    const tr_target_result *t = &result->targets[target];
    char text[1536], sentence[TR_FINDING_TEXT_SIZE];
    const tr_finding *finding = most_important(&result->findings);
    if (tr_target_needs_move(t)) {
        snprintf(text, sizeof text, "%s %s", t->moves[0], t->n_moves > 1 ? t->moves[1] : "");
    } else {
        print_why(result, target, text, sizeof text);
    }
    const tr_type type = {
        .size_px = 36, .smallest_px = 26, .is_bold = true, .colour = TR_INK, .lines = 2};
    double height = tr_canvas_text(canvas, MARGIN, 128, page_width(), type, text);
    int n = result->findings.n;
    if (!finding) return;
    tr_finding_text(finding, sentence);
    snprintf(text, sizeof text, "! %s%s", sentence, n > 1 ? " And more: see the text." : "");
    const tr_type small = {
        .size_px = 26, .smallest_px = 18, .colour = TR_INK, .lines = height > 50 ? 1 : 2};
    tr_canvas_text(canvas, MARGIN, 128 + height, page_width(), small, text);
}

/* ---- The numbers ---- */

enum { N_COLUMNS = 7 };
/* Right edge of each column but the last, which is set from its left edge. px from the table's. */
static const double COLUMN[N_COLUMNS] = {0, 400, 560, 690, 812, 936, 962};

static void draw_cell(tr_canvas *canvas, double y, int column, tr_type type, const char *cell) {
    char text[TR_MINUS_SIZE];
    tr_cell_with_minus(cell, text);
    bool is_left = column == 0 || column == N_COLUMNS - 1;
    type.align = is_left ? TR_ALIGN_LEFT : TR_ALIGN_RIGHT;
    double x = is_left ? COLUMN[column] : COLUMN[column - 1] + (column == 1 ? 244 : 0);
    double width = is_left ? 240 : COLUMN[column] - x;
    tr_canvas_text(canvas, TABLE.x + x, y, width, type, text);
}

static void draw_table_head(tr_canvas *canvas, double y) {
    static const char *const HEADS[N_COLUMNS] = {"",    "required", "measured", "error",
                                                 "u95", "limit",    ""};
    const tr_type type = {.size_px = 26, .smallest_px = 20, .colour = TR_INK};
    for (int i = 0; i < N_COLUMNS; i++) draw_cell(canvas, y, i, type, HEADS[i]);
}

static void draw_row(tr_canvas *canvas, double y, double height, tr_axis axis,
                     const tr_axis_result *r) {
    tr_axis_cells cells;
    tr_axis_cells_of(axis, r, &cells);
    char title[48];
    snprintf(title, sizeof title, "%s, %s", tr_axis_title(axis), tr_axis_unit(axis));
    double size = fmin(30, 0.72 * height);
    tr_type type = {.size_px = size, .smallest_px = 0.6 * size, .colour = TR_INK};
    draw_cell(canvas, y, 0, type, title);
    draw_cell(canvas, y, 1, type, cells.required);
    draw_cell(canvas, y, 2, type, r->is_measured ? cells.measured : "–");
    draw_cell(canvas, y, 4, type, cells.u95);
    draw_cell(canvas, y, 5, type, cells.limit);
    type.is_bold = true;
    draw_cell(canvas, y, 3, type, cells.error);
    if (!r->is_judged) return;
    type.colour = tr_verdict_colour(r->verdict);
    tr_canvas_badge(canvas, TABLE.x + COLUMN[6] + 22, y + 0.6 * size, 0.5 * size, r->verdict);
    tr_canvas_text(canvas, TABLE.x + COLUMN[6] + 46, y, 220, type, tr_verdict_name(r->verdict));
}

/* The axes that the layout does not ask for, in one line. */
static void draw_others(tr_canvas *canvas, double y, const tr_target_result *t) {
    char text[256] = "";
    size_t n = 0;
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        const tr_axis_result *r = &t->axis[axis];
        if (r->is_required || !r->is_measured) continue;
        tr_axis_cells cells;
        char measured[TR_MINUS_SIZE];
        tr_axis_cells_of(axis, r, &cells);
        tr_cell_with_minus(cells.measured, measured);
        n += (size_t)snprintf(text + n, sizeof text - n, "%s%s %s %s %s", n ? "   ·   " : "",
                              tr_axis_title(axis), measured, cells.u95, tr_axis_unit(axis));
        if (n >= sizeof text) return;
    }
    const tr_type type = {.size_px = 26, .smallest_px = 18, .colour = TR_INK};
    tr_canvas_text(canvas, TABLE.x, y, TABLE.width, type, text);
}

static void draw_table(tr_canvas *canvas, const tr_target_result *t) {
    static const double HEAD_PX = 40, OTHERS_PX = 44;
    int rows = 0;
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) rows += t->axis[axis].is_required;
    bool has_others = rows < TR_N_AXES;
    double room = TABLE.height - HEAD_PX - (has_others ? OTHERS_PX : 0);
    double height = fmin(54, room / rows);
    double y = TABLE.y;
    draw_table_head(canvas, y);
    y += HEAD_PX;
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        if (!t->axis[axis].is_required) continue;
        tr_canvas_colour(canvas, TR_FAINT);
        cairo_set_line_width(canvas->cr, 1);
        cairo_move_to(canvas->cr, TABLE.x, y);
        cairo_line_to(canvas->cr, TABLE.x + TABLE.width, y);
        cairo_stroke(canvas->cr);
        draw_row(canvas, y + 4, height, axis, &t->axis[axis]);
        y += height;
    }
    if (has_others) draw_others(canvas, TABLE.y + TABLE.height - OTHERS_PX, t);
}

static void draw_caption(tr_canvas *canvas, const tr_check_result *result, int photo) {
    if (photo < 0) return;
    char text[512];
    snprintf(text, sizeof text, "%s · dashed: required · solid: measured · arrows not to scale",
             result->photos[photo].name);
    const tr_type type = {.size_px = 22, .smallest_px = 16, .colour = TR_INK};
    tr_canvas_text(canvas, PHOTO.x, PHOTO.y + PHOTO.height + 6, PHOTO.width, type, text);
}

static bool draw(tr_canvas *canvas, const tr_check_result *result, const tr_photo_set *photos,
                 tr_error *err) {
    int target = tr_check_worst_target(result);
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *sheet = &result->sheets[t->sheet];
    char first[320], second[512];
    snprintf(first, sizeof first, "%s · %s", sheet->id, sheet->title);
    snprintf(second, sizeof second, "Job %s · %s · %s%s%s", result->job, result->layout,
             result->vehicle, *result->vehicle_id ? " · " : "", result->vehicle_id);
    draw_head(canvas, result->verdict, tr_verdict_headline(result->verdict), first, second);
    draw_message(canvas, result, target);
    draw_rule(canvas, 246);
    if (!tr_overlay_draw(canvas, PHOTO, result, photos, target, t->photo, err)) return false;
    draw_caption(canvas, result, t->photo);
    tr_plan_draw_detail(canvas, DETAIL, result, target);
    tr_plan_draw(canvas, PLAN, result, target);
    draw_table(canvas, t);
    draw_foot(canvas);
    return true;
}

/* Photos that are not used, and findings, as far as there is room. */
static void draw_reasons(tr_canvas *canvas, const tr_check_result *result) {
    const tr_type type = {.size_px = 30, .smallest_px = 24, .colour = TR_INK, .lines = 2};
    double y = 420;
    static const double LAST_Y = 1040;
    char text[TR_FINDING_TEXT_SIZE + TR_PHOTO_NAME_SIZE + 2], sentence[TR_FINDING_TEXT_SIZE];
    for (int i = 0; i < result->findings.n && y < LAST_Y; i++) {
        tr_finding_text(&result->findings.items[i], sentence);
        snprintf(text, sizeof text, "! %s", sentence);
        y += 14 + tr_canvas_text(canvas, MARGIN, y, page_width(), type, text);
    }
    for (int i = 0; i < result->n_photos && y < LAST_Y; i++) {
        const tr_photo_result *photo = &result->photos[result->order[i]];
        if (photo->is_used || photo->why_not.n == 0) continue;
        tr_reason_text(photo->why_not.items, sentence);
        snprintf(text, sizeof text, "%s: %s", photo->name, sentence);
        y += 14 + tr_canvas_text(canvas, MARGIN, y, page_width(), type, text);
    }
}

static void draw_failed(tr_canvas *canvas, const tr_check_result *result) {
    char first[160] = "", text[1024];
    if (result->has_job) snprintf(first, sizeof first, "Job %s", result->job);
    draw_head(canvas, TR_INCONCLUSIVE, "NO MEASUREMENT", first, result->layout);
    tr_error_print(&result->why, text, sizeof text);
    const tr_type type = {
        .size_px = 42, .smallest_px = 30, .is_bold = true, .colour = TR_INK, .lines = 4};
    tr_canvas_text(canvas, MARGIN, 170, page_width(), type, text);
    draw_reasons(canvas, result);
    draw_foot(canvas);
}

bool tr_picture_write(const tr_check_result *result, const tr_photo_set *photos, const char *path,
                      tr_error *err) {
    tr_canvas canvas;
    if (!tr_canvas_init(&canvas, TR_PICTURE_WIDTH_PX, TR_PICTURE_HEIGHT_PX, err)) return false;
    bool ok = true;
    if (result->why.code != TR_OK) {
        draw_failed(&canvas, result);
    } else {
        ok = draw(&canvas, result, photos, err);
    }
    ok = ok && tr_canvas_write(&canvas, path, err);
    tr_canvas_release(&canvas);
    return ok;
}
