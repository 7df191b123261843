#include "present/picture.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "base/language.h"
#include "present/area_page.h"
#include "present/canvas.h"
#include "present/moves.h"
#include "present/catalogue.h"
#include "present/overlay.h"
#include "present/overview.h"
#include "present/page.h"
#include "present/picture_pages.h"
#include "present/plan.h"
#include "present/words.h"

/* The page, px. */
static const tr_box PHOTO = {36, 258, 770, 512};
static const tr_box DETAIL = {826, 258, 430, 560};
static const tr_box PLAN = {1290, 254, 600, 868};
static const tr_box TABLE = {36, 838, 1220, 290};

/* Why the target, or the check if it is of nothing else, has its verdict and, where a smaller u95
   would decide it, what to do for that. */
static void print_why(const tr_check_result *result, int target, char *text, size_t size) {
    char why[1024], advice[1024] = "";
    const tr_target_result *t = &result->targets[target];
    if (result->n_targets == 1) {
        tr_check_why(result, why, sizeof why);
    } else if (!result->sheets[t->sheet].is_placed) {
        tr_target_not_measured(result, why, sizeof why);
    } else if (t->verdict == TR_PASS) {
        if (result->verdict == TR_PASS)
            snprintf(why, sizeof why, "%s",
                     TR_("Every judged axis of this target lies within its limit, including its "
                         "uncertainty."));
        else
            snprintf(why, sizeof why,
                     TR_("Every judged axis of this target lies within its limit, including its "
                         "uncertainty. But the whole check: %s; see page 1."),
                     tr_verdict_headline(result->verdict));
    } else {
        char rest[512];
        tr_target_why(result, target, rest, sizeof rest);
        snprintf(why, sizeof why, TR_("Not decided: %s."), rest);
    }
    bool is_sound = !tr_target_is_unsound(result, t);
    for (tr_axis axis = 0; axis < TR_N_AXES && is_sound && !*advice; axis++) {
        const tr_axis_result *r = &t->axis[axis];
        if (!r->is_judged || !r->is_measured || r->verdict != TR_INCONCLUSIVE) continue;
        tr_source_advice(result, target, tr_largest_source(r), advice, sizeof advice);
    }
    char how[1152] = "";
    if (*advice) snprintf(how, sizeof how, TR_("To decide it: %s"), advice);
    snprintf(text, size, "%s%s%s", why, *how ? " " : "", how);
}

/* What to do, or why it is as it is. */
static void draw_message(tr_canvas *canvas, const tr_check_result *result, int target) {
    const tr_target_result *t = &result->targets[target];
    char text[2304];
    if (tr_target_needs_move(t)) {
        tr_target_moves_text(result, t, text);
    } else {
        print_why(result, target, text, sizeof text);
    }
    tr_page_draw_message(canvas, &result->findings, text);
}

/* ---- The numbers ---- */

enum { N_COLUMNS = 7 };
/* Right edge of each column but the last, which is set from its left edge. px from the table's. */
static const double COLUMN[N_COLUMNS] = {0, 400, 560, 690, 812, 936, 962};

static void draw_cell(tr_canvas *canvas, double y, int column, tr_type type, const char *cell) {
    static const double GAP = 14; /* to the column before it */
    char text[TR_MINUS_SIZE];
    tr_cell_with_minus(cell, text);
    bool is_left = column == 0 || column == N_COLUMNS - 1;
    type.align = is_left ? TR_ALIGN_LEFT : TR_ALIGN_RIGHT;
    double x = is_left ? COLUMN[column] : COLUMN[column - 1] + (column == 1 ? 244 : 0);
    double width = is_left ? 240 : COLUMN[column] - x;
    if (!is_left) {
        x += GAP;
        width -= GAP;
    }
    tr_canvas_text(canvas, TABLE.x + x, y, width, type, text);
}

static void draw_table_head(tr_canvas *canvas, double y) {
    const char *const HEADS[N_COLUMNS] = {
        "", TR_("required"), TR_("measured"), TR_("error"), TR_("u95"), TR_("limit"), ""};
    const tr_type type = {.size_px = 26, .smallest_px = 13, .colour = TR_INK};
    for (int i = 0; i < N_COLUMNS; i++) draw_cell(canvas, y, i, type, HEADS[i]);
}

static void draw_row(tr_canvas *canvas, double y, double height, tr_axis axis,
                     const tr_axis_result *r) {
    tr_axis_cells cells;
    tr_axis_cells_of(axis, r, &cells);
    char title[48];
    snprintf(title, sizeof title, "%s, %s", tr_axis_title(axis), tr_axis_unit(axis));
    double size = fmin(30, 0.72 * height);
    tr_type type = {.size_px = size, .smallest_px = 0.45 * size, .colour = TR_INK};
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
    tr_canvas_text(canvas, TABLE.x + COLUMN[6] + 46, y, 220, type, tr_verdict_word(r->verdict));
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
    const tr_type type = {.size_px = 26, .smallest_px = 14, .colour = TR_INK};
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
    snprintf(text, sizeof text,
             TR_("%s · dashed: required · solid: measured · arrows not to scale"),
             result->photos[photo].name);
    const tr_type type = {.size_px = 22, .smallest_px = 12, .colour = TR_INK};
    tr_canvas_text(canvas, PHOTO.x, PHOTO.y + PHOTO.height + 6, PHOTO.width, type, text);
}

/* Of several targets the page has the verdict of its own large, and that of the whole check beside
   it. */
static void draw_target_head(tr_canvas *canvas, const tr_check_result *result, int target,
                             const char *third) {
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *sheet = &result->sheets[t->sheet];
    char first[320], second[640], whole[128] = "", job[512];
    snprintf(first, sizeof first, "%s · %s", sheet->id, sheet->title);
    tr_verdict verdict = result->verdict;
    if (result->n_targets > 1) {
        verdict = t->verdict;
        snprintf(first, sizeof first, TR_("%d of %d: %s · %s"), target + 1, result->n_targets,
                 sheet->id, sheet->title);
        snprintf(whole, sizeof whole, TR_("whole check %s %s"), tr_verdict_shape(result->verdict),
                 tr_verdict_headline(result->verdict));
    }
    tr_page_job(result, job, sizeof job);
    snprintf(second, sizeof second, "%s%s%s", whole, *whole ? " · " : "", job);
    const tr_page_head head = {verdict, tr_verdict_headline(verdict), first, second, third};
    tr_page_draw_head(canvas, &head);
}

static bool draw_target(tr_canvas *canvas, const tr_check_result *result,
                        const tr_photo_set *photos, int target, const char *third, tr_error *err) {
    static const double WORDS_PX = 24; /* below the detail */
    const tr_target_result *t = &result->targets[target];
    draw_target_head(canvas, result, target, third);
    draw_message(canvas, result, target);
    tr_page_draw_rule(canvas, TR_PAGE_RULE_PX);
    if (!tr_overlay_draw(canvas, PHOTO, result, photos, target, t->photo, err)) return false;
    draw_caption(canvas, result, t->photo);
    tr_plan_draw_detail(canvas, DETAIL, result, target, WORDS_PX);
    tr_plan_draw(canvas, PLAN, result, target);
    draw_table(canvas, t);
    tr_page_draw_foot(canvas);
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
        y += 14 + tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, y, tr_page_width(), type, text);
    }
    for (int i = 0; i < result->n_photos && y < LAST_Y; i++) {
        const tr_photo_result *photo = &result->photos[result->order[i]];
        if (photo->is_used || photo->why_not.n == 0) continue;
        tr_reason_text(photo->why_not.items, sentence);
        snprintf(text, sizeof text, "%s: %s", photo->name, sentence);
        y += 14 + tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, y, tr_page_width(), type, text);
    }
}

static void draw_failed(tr_canvas *canvas, const tr_check_result *result) {
    char first[160] = "", text[1024];
    if (result->has_job) snprintf(first, sizeof first, TR_("Job %s"), result->job);
    const tr_page_head head = {TR_INCONCLUSIVE, TR_("NO MEASUREMENT"), first, result->layout, NULL};
    tr_page_draw_head(canvas, &head);
    tr_check_why_text(result, text, sizeof text);
    const tr_type type = {
        .size_px = 42, .smallest_px = 24, .is_bold = true, .colour = TR_INK, .lines = 4};
    tr_canvas_text(canvas, TR_PAGE_MARGIN_PX, 170, tr_page_width(), type, text);
    draw_reasons(canvas, result);
    tr_page_draw_foot(canvas);
}

/* ---- Pages and files ---- */

typedef struct {
    const tr_check_result *result;
    const tr_photo_set *photos;
    tr_picture_pages pages;
    char mark[TR_CHECK_MARK_SIZE];
} drawing;

static bool draw_page(const drawing *d, int page, tr_canvas *canvas, tr_error *err) {
    const tr_picture_page *p = &d->pages.items[page];
    char text[96];
    snprintf(text, sizeof text, TR_("page %d of %d · check %s"), page + 1, d->pages.n, d->mark);
    const char *third = d->pages.n > 1 ? text : NULL;
    switch (p->kind) {
    case TR_PAGE_FAILED: draw_failed(canvas, d->result); return true;
    case TR_PAGE_OVERVIEW: tr_overview_draw(canvas, d->result, third); return true;
    case TR_PAGE_TARGET: return draw_target(canvas, d->result, d->photos, p->target, third, err);
    case TR_PAGE_AREAS:
        return tr_area_page_draw(canvas, d->result, d->photos, p->first, third, err);
    }
    return false;
}

/* All pages as one document. */
static bool draw_document(const drawing *d, tr_new_file *file, tr_error *err) {
    tr_canvas canvas;
    uint8_t *data = NULL;
    char title[256];
    snprintf(title, sizeof title, TR_("Job %s, layout %s"), d->result->job, d->result->layout);
    if (!tr_canvas_init_pdf(&canvas, TR_PICTURE_WIDTH_PX, TR_PICTURE_HEIGHT_PX, title, err))
        return false;
    bool ok = true;
    for (int i = 0; i < d->pages.n && ok; i++) {
        ok = draw_page(d, i, &canvas, err);
        tr_canvas_next_page(&canvas);
    }
    ok = ok && tr_canvas_take(&canvas, file->path, &data, &file->size, err);
    file->data = data;
    tr_canvas_release(&canvas);
    return ok;
}

static bool draw_picture(const drawing *d, int page, tr_new_file *file, tr_error *err) {
    tr_canvas canvas;
    uint8_t *data = NULL;
    if (!tr_canvas_init(&canvas, TR_PICTURE_WIDTH_PX, TR_PICTURE_HEIGHT_PX, err)) return false;
    bool ok = draw_page(d, page, &canvas, err) &&
              tr_canvas_take(&canvas, file->path, &data, &file->size, err);
    file->data = data;
    tr_canvas_release(&canvas);
    return ok;
}

/* A name that was made up here could be that of a photo. */
static bool is_no_photo(const tr_check_result *result, const char *path, tr_error *err) {
    for (int i = 0; i < result->n_photos; i++) {
        if (tr_file_is_same(path, result->photos[i].file)) {
            return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                              "is one of the photos, which a page of the picture would replace; "
                              "give the picture another name");
        }
    }
    return true;
}

/* Everything is drawn before anything is written. */
static bool write_all(const drawing *d, tr_error *err) {
    int n = d->pages.is_pdf ? 1 : d->pages.n;
    tr_new_file *files = calloc((size_t)n + 1, sizeof *files);
    bool ok = files || tr_fail_memory(err);
    for (int i = 0; i < n && ok; i++) {
        files[i].path = d->pages.items[i].file;
        ok = is_no_photo(d->result, files[i].path, err) &&
             (d->pages.is_pdf ? draw_document(d, &files[i], err)
                              : draw_picture(d, i, &files[i], err));
    }
    ok = ok && tr_files_write(files, n, err);
    for (int i = 0; i < n && files; i++) free((void *)files[i].data);
    free(files);
    return ok;
}

bool tr_picture_write(const tr_check_result *result, const tr_photo_set *photos, const char *path,
                      tr_error *err) {
    drawing d = {.result = result, .photos = photos};
    tr_check_mark(result, d.mark);
    bool ok = tr_picture_pages_of(result, path, &d.pages, err) && write_all(&d, err);
    tr_picture_pages_release(&d.pages);
    return ok;
}
