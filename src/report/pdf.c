/* The report on paper: blocks one below the other, on as many pages as they need. Lengths are px of
   0.14 mm, in which drawings and letters have the size that they have in a check's picture. */
#include <cairo-pdf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "base/language.h"
#include "report/attach.h"
#include "report/content.h"
#include "report/figure.h"

static const double PX_MM = 0.14, PT_PER_MM = 72 / 25.4;
static const double MARGIN_MM = 14, TOP_MM = 11, FOOT_MM = 15;
static const double BODY_PX = 22, TABLE_PX = 20, SMALL_PX = 18;
static const double GAP_PX = 12;

typedef struct {
    tr_canvas *canvas;
    const tr_report *report;
    const tr_document *doc;
    bool is_trial; /* the pages are counted: no drawings */
    bool is_dense; /* smaller, to save a page: sections may be torn apart */
    double left, width, top, bottom, y;
    int page, n_pages;
    char title[320], full_title[320], foot[320];
    tr_error *err;
    bool ok;
} writer;

static void begin_tag(writer *w, const char *tag) {
    cairo_tag_begin(w->canvas->cr, tag, NULL);
}

static void end_tag(writer *w, const char *tag) {
    cairo_tag_end(w->canvas->cr, tag);
}

/* As many lines as it takes. */
static tr_type type_of(double size_px, bool is_bold) {
    enum { MANY = 400 };
    return (tr_type){.size_px = size_px, .is_bold = is_bold, .colour = TR_INK, .lines = MANY};
}

static void rule(writer *w, double y, double width_px, tr_colour colour) {
    cairo_t *cr = w->canvas->cr;
    tr_canvas_colour(w->canvas, colour);
    cairo_set_dash(cr, NULL, 0, 0);
    cairo_set_line_width(cr, width_px);
    cairo_move_to(cr, w->left, y);
    cairo_line_to(cr, w->left + w->width, y);
    cairo_stroke(cr);
}

/* ---- Pages ---- */

static void draw_foot(writer *w) {
    char text[64];
    tr_type type = {.size_px = SMALL_PX, .smallest_px = 12, .colour = TR_INK};
    double y = w->bottom + 18;
    rule(w, y - 6, 2, TR_FAINT);
    snprintf(text, sizeof text, TR_("page %d of %d"), w->page, w->n_pages);
    double room = tr_canvas_text_width(w->canvas, type, text) + 20;
    tr_canvas_text(w->canvas, w->left, y, w->width - room, type, w->foot);
    type.align = TR_ALIGN_RIGHT;
    tr_canvas_text(w->canvas, w->left + w->width - room, y, room, type, text);
}

/* So that no page can be taken for that of another report, or without its verdict. */
static void draw_head(writer *w) {
    static const double RADIUS = 15;
    const tr_doc_block *first = &w->doc->blocks[0];
    tr_type type = {
        .size_px = BODY_PX, .is_bold = true, .colour = tr_verdict_colour(first->verdict)};
    double word = tr_canvas_text_width(w->canvas, type, first->text) + 8;
    tr_canvas_badge(w->canvas, w->left + RADIUS, w->y + RADIUS, RADIUS, first->verdict);
    tr_canvas_text(w->canvas, w->left + 2 * RADIUS + 10, w->y, word, type, first->text);
    type = type_of(BODY_PX, false);
    type.align = TR_ALIGN_RIGHT;
    double x = w->left + 2 * RADIUS + word + 40;
    double height = tr_canvas_text(w->canvas, x, w->y, w->left + w->width - x, type, w->full_title);
    w->y += fmax(height, 2 * RADIUS) + 6;
    rule(w, w->y, 2, TR_FAINT);
    w->y += 12;
}

static void end_page(writer *w) {
    draw_foot(w);
    tr_canvas_next_page(w->canvas);
}

/* The next page begins where the height does not fit on this one. */
static bool need(writer *w, double height) {
    if (w->y + height <= w->bottom || w->y <= w->top + 60) return false;
    end_page(w);
    w->page++;
    w->y = w->top;
    draw_head(w);
    return true;
}

/* ---- Blocks ---- */

/* Title and shop, right of the verdict, in as many lines as they take. Returns their height. */
static double draw_title(writer *w, double x, double room) {
    tr_type title = type_of(28, true);
    tr_type shop = type_of(SMALL_PX + 2, false);
    title.align = shop.align = TR_ALIGN_RIGHT;
    double height = tr_canvas_text(w->canvas, x, w->y, room, title, w->title) + 4;
    return height +
           tr_canvas_text(w->canvas, x, w->y + height, room, shop, tr_or_empty(w->report->shop));
}

static void draw_verdict(writer *w, const tr_doc_block *block) {
    static const double RADIUS = 50, MOST_FOR_WORD = 0.7; /* of the width */
    const tr_type big = {.size_px = 78,
                         .smallest_px = 40,
                         .is_bold = true,
                         .colour = tr_verdict_colour(block->verdict)};
    double word = fmin(tr_canvas_text_width(w->canvas, big, block->text) + 6,
                       MOST_FOR_WORD * w->width - 2 * RADIUS);
    begin_tag(w, "H1");
    tr_canvas_badge(w->canvas, w->left + RADIUS, w->y + RADIUS, RADIUS, block->verdict);
    tr_canvas_text(w->canvas, w->left + 2 * RADIUS + 24, w->y + 2, word, big, block->text);
    end_tag(w, "H1");
    double x = w->left + 2 * RADIUS + 24 + word + 30;
    begin_tag(w, "P");
    double height = draw_title(w, x, w->left + w->width - x);
    end_tag(w, "P");
    w->y += fmax(height, 2 * RADIUS) + 10;
    rule(w, w->y, 3, tr_verdict_colour(block->verdict));
    w->y += 10;
}

static void add_outline(writer *w, const char *text) {
    char where[96];
    double x = w->left;
    double y = w->y;
    cairo_user_to_device(w->canvas->cr, &x, &y);
    snprintf(where, sizeof where, "page=%d pos=[%.0f %.0f]", w->page, x, y);
    cairo_pdf_surface_add_outline(w->canvas->surface, CAIRO_PDF_OUTLINE_ROOT, text, where, 0);
}

static tr_type heading_type(int level) {
    return type_of(level == 2 ? 25 : BODY_PX, true);
}

static double heading_height(writer *w, const tr_doc_block *block) {
    return tr_canvas_text_height(w->canvas, w->width, heading_type(block->level), block->text) +
           GAP_PX + 10;
}

static void draw_heading(writer *w, const tr_doc_block *block) {
    w->y += GAP_PX;
    add_outline(w, block->text);
    begin_tag(w, "H2");
    w->y += tr_canvas_text(w->canvas, w->left, w->y, w->width, heading_type(block->level),
                           block->text) +
            2;
    end_tag(w, "H2");
    rule(w, w->y, 1.5, TR_INK);
    w->y += 6;
}

static tr_type text_type(tr_doc_style style) {
    switch (style) {
    case TR_DOC_STRONG: return type_of(BODY_PX + 3, true);
    case TR_DOC_SMALL: return type_of(SMALL_PX, false);
    case TR_DOC_PLAIN:
    case TR_DOC_WARNING: break;
    }
    return type_of(TABLE_PX, false);
}

static const double INDENT_PX = 22; /* of a warning, behind its mark */

static double text_height(writer *w, const tr_doc_block *block) {
    double indent = block->style == TR_DOC_WARNING ? INDENT_PX : 0;
    return tr_canvas_text_height(w->canvas, w->width - indent, text_type(block->style),
                                 block->text) +
           6;
}

static void draw_text(writer *w, const tr_doc_block *block) {
    double height = text_height(w, block);
    need(w, height);
    double indent = block->style == TR_DOC_WARNING ? INDENT_PX : 0;
    begin_tag(w, "P");
    if (indent > 0)
        tr_canvas_text(w->canvas, w->left, w->y, INDENT_PX, type_of(TABLE_PX, true), "!");
    tr_canvas_text(w->canvas, w->left + indent, w->y, w->width - indent, text_type(block->style),
                   block->text);
    end_tag(w, "P");
    w->y += height;
}

/* ---- Terms: two side by side where both are short ---- */

static void draw_term(writer *w, double x, double label, double room, const tr_doc_cell *cells) {
    const tr_type name = type_of(SMALL_PX, false);
    const tr_type value = type_of(TABLE_PX, true);
    begin_tag(w, "P");
    tr_canvas_text(w->canvas, x, w->y + 2, label, name, cells[0].text);
    tr_canvas_text(w->canvas, x + label, w->y, room, value, cells[1].text);
    end_tag(w, "P");
}

static double label_width(writer *w, const tr_doc_block *block) {
    double label = 0;
    for (int i = 0; i < block->n_cells; i += 2) {
        label = fmax(
            label, tr_canvas_text_width(w->canvas, type_of(SMALL_PX, false), block->cells[i].text));
    }
    return fmin(label + 18, 0.3 * w->width);
}

/* Draws them, or only says how much height they take. */
static double lay_terms(writer *w, const tr_doc_block *block, bool is_drawn) {
    static const double APART_PX = 4; /* from what is above and below */
    const tr_type value = type_of(TABLE_PX, true);
    double half = w->width / 2;
    double label = label_width(w, block);
    double total = 2 * APART_PX;
    if (is_drawn) w->y += APART_PX;
    for (int i = 0; i + 1 < block->n_cells;) {
        const tr_doc_cell *cells = &block->cells[i];
        bool is_pair = i + 3 < block->n_cells;
        for (int k = 1; k <= 3 && is_pair; k += 2) {
            is_pair = label + tr_canvas_text_width(w->canvas, value, cells[k].text) < half - 20;
        }
        double room = (is_pair ? half - 20 : w->width) - label;
        double height = tr_canvas_text_height(w->canvas, room, value, cells[1].text) + 4;
        total += height;
        i += is_pair ? 4 : 2;
        if (!is_drawn) continue;
        need(w, height);
        draw_term(w, w->left, label, room, cells);
        if (is_pair) draw_term(w, w->left + half, label, room, cells + 2);
        w->y += height;
    }
    if (is_drawn) w->y += APART_PX;
    return total;
}

/* ---- Tables ---- */

typedef struct {
    const tr_doc_block *block;
    double size_px;
    double x[TR_DOC_MAX_COLUMNS], width[TR_DOC_MAX_COLUMNS]; /* x from the table's left */
    double total;
    int n_side; /* tables side by side */
} grid;

static const double PAD_PX = 9, SIDE_GAP_PX = 30;
static const double TABLE_GAP_PX = 8; /* below a table */

static tr_type cell_type(const grid *g, const tr_doc_cell *cell, int column, bool is_head) {
    tr_type type =
        type_of(is_head ? 0.9 * g->size_px : g->size_px, cell->is_strong || cell->has_verdict);
    if (!g->block->is_text[column]) type.align = TR_ALIGN_RIGHT;
    if (cell->has_verdict) type.colour = tr_verdict_colour(cell->verdict);
    return type;
}

/* Paper has no room for whole hashes; whoever needs one finds it in the attached result. */
static const char *cell_text(const tr_doc_cell *cell, char out[32]) {
    enum { DIGITS = 16 };
    if (!cell->is_hash) return cell->text;
    snprintf(out, 32, "%.*s", DIGITS, cell->text);
    return out;
}

static double badge_room(const grid *g, const tr_doc_cell *cell) {
    return cell->has_verdict ? 1.4 * g->size_px : 0;
}

static double cell_width(writer *w, const grid *g, int i) {
    const tr_doc_cell *cell = &g->block->cells[i];
    char shown[32];
    int column = i % g->block->n_columns;
    return tr_canvas_text_width(w->canvas, cell_type(g, cell, column, i < g->block->n_columns),
                                cell_text(cell, shown)) +
           badge_room(g, cell) + 2 * PAD_PX + 1;
}

static double sum_of(const double *values, int n) {
    double sum = 0;
    for (int i = 0; i < n; i++) sum += values[i];
    return sum;
}

static double room_of(const writer *w, const grid *g) {
    return (w->width - (g->n_side - 1) * SIDE_GAP_PX) / g->n_side;
}

/* What each column would like to have. */
static void set_natural_widths(writer *w, grid *g) {
    int n = g->block->n_columns;
    memset(g->width, 0, sizeof g->width);
    for (int i = 0; i < g->block->n_cells; i++) {
        g->width[i % n] = fmax(g->width[i % n], cell_width(w, g, i));
    }
    if (sum_of(g->width, n) > room_of(w, g)) g->n_side = 1;
}

/* Of a text that may be broken, how much the column can give away. */
static double spare_width(const grid *g, int column) {
    static const double LEAST_PX = 90;
    int n = g->block->n_columns;
    if (!g->block->is_text[column]) return 0;
    for (int i = column; i < g->block->n_cells; i += n) {
        if (g->block->cells[i].is_hash || g->block->cells[i].has_verdict) return 0;
    }
    return fmax(g->width[column] - LEAST_PX, 0);
}

/* Natural widths; where they are too much, columns of text give way, then all do. Where there is
   more, the columns stand a little further apart. */
static void set_widths(writer *w, grid *g) {
    static const double MOST_APART_PX = 44;
    int n = g->block->n_columns;
    set_natural_widths(w, g);
    double room = room_of(w, g);
    double spare[TR_DOC_MAX_COLUMNS];
    for (int k = 0; k < n; k++) spare[k] = spare_width(g, k);
    double excess = sum_of(g->width, n) - room;
    double all_spare = sum_of(spare, n);
    for (int k = 0; k < n && excess > 0 && all_spare > 0; k++)
        g->width[k] -= spare[k] * fmin(excess / all_spare, 1);
    double total = sum_of(g->width, n);
    double apart = n > 1 ? fmin((room - total) / (n - 1), MOST_APART_PX) : 0;
    double factor = total > room ? room / total : 1;
    double x = 0;
    for (int k = 0; k < n; k++) {
        g->width[k] *= factor;
        if (k > 0 && apart > 0) x += apart;
        g->x[k] = x;
        x += g->width[k];
    }
    g->total = x;
}

static double row_height(writer *w, const grid *g, int row) {
    static const double PAD_Y_PX = 7;
    double height = 0;
    char shown[32];
    int n = g->block->n_columns;
    for (int k = 0; k < n; k++) {
        const tr_doc_cell *cell = &g->block->cells[row * n + k];
        double room = g->width[k] - 2 * PAD_PX - badge_room(g, cell);
        height =
            fmax(height, tr_canvas_text_height(w->canvas, room, cell_type(g, cell, k, row == 0),
                                               cell_text(cell, shown)));
    }
    return height + PAD_Y_PX;
}

static void draw_row(writer *w, const grid *g, double left, int row) {
    static const double PAD_Y_PX = 3;
    char shown[32];
    int n = g->block->n_columns;
    begin_tag(w, "TR");
    for (int k = 0; k < n; k++) {
        const tr_doc_cell *cell = &g->block->cells[row * n + k];
        const char *tag = row == 0 || k == 0 ? "TH" : "TD";
        double room = badge_room(g, cell);
        double x = left + g->x[k] + PAD_PX;
        begin_tag(w, tag);
        if (room > 0) {
            tr_canvas_badge(w->canvas, x + 0.55 * g->size_px, w->y + PAD_Y_PX + 0.6 * g->size_px,
                            0.5 * g->size_px, cell->verdict);
        }
        tr_canvas_text(w->canvas, x + room, w->y + PAD_Y_PX, g->width[k] - 2 * PAD_PX - room,
                       cell_type(g, cell, k, row == 0), cell_text(cell, shown));
        end_tag(w, tag);
    }
    end_tag(w, "TR");
}

static void draw_rule_of(writer *w, const grid *g, double y, tr_colour colour) {
    cairo_t *cr = w->canvas->cr;
    double apart = (w->width + SIDE_GAP_PX) / g->n_side;
    tr_canvas_colour(w->canvas, colour);
    cairo_set_line_width(cr, 1);
    for (int i = 0; i < g->n_side; i++) {
        cairo_move_to(cr, w->left + i * apart, y);
        cairo_line_to(cr, w->left + i * apart + g->total, y);
        cairo_stroke(cr);
    }
}

static void draw_table_head(writer *w, const grid *g) {
    double apart = (w->width + SIDE_GAP_PX) / g->n_side;
    begin_tag(w, "Table");
    for (int i = 0; i < g->n_side; i++) draw_row(w, g, w->left + i * apart, 0);
    w->y += row_height(w, g, 0);
}

static grid grid_of(writer *w, const tr_doc_block *block) {
    grid g = {.block = block,
              .size_px = block->is_folded ? SMALL_PX : TABLE_PX,
              .n_side = block->is_folded ? 2 : 1};
    set_widths(w, &g);
    return g;
}

/* Of the rows that stand side by side from that one on. */
static double line_height(writer *w, const grid *g, int row) {
    int n_rows = g->block->n_cells / g->block->n_columns;
    double height = 0;
    for (int i = 0; i < g->n_side && row + i < n_rows; i++)
        height = fmax(height, row_height(w, g, row + i));
    return height;
}

/* below: what has to stand on the page of its last row. */
static void draw_table(writer *w, const tr_doc_block *block, double below) {
    grid g = grid_of(w, block);
    int n_rows = block->n_cells / block->n_columns;
    double apart = (w->width + SIDE_GAP_PX) / g.n_side;
    draw_table_head(w, &g);
    for (int row = 1; row < n_rows; row += g.n_side) {
        double height = line_height(w, &g, row);
        double wanted = height + (row + g.n_side >= n_rows ? below : 0);
        if (w->y + wanted > w->bottom) {
            end_tag(w, "Table");
            need(w, wanted);
            draw_table_head(w, &g);
        }
        draw_rule_of(w, &g, w->y, row == 1 ? TR_INK : TR_FAINT);
        for (int i = 0; i < g.n_side && row + i < n_rows; i++)
            draw_row(w, &g, w->left + i * apart, row + i);
        w->y += height;
    }
    end_tag(w, "Table");
    w->y += TABLE_GAP_PX;
}

/* ---- Drawings ---- */

static const double CAPTION_PX = 26;

static double figures_height(const tr_doc_block *block) {
    double height = 0;
    for (int i = 0; i < block->n_figures; i++) {
        const tr_doc_figure *f = &block->figures[i];
        height = fmax(height, f->box.y + f->box.height + (*f->caption ? CAPTION_PX : 0));
    }
    return height + 4;
}

static void draw_figures(writer *w, const tr_doc_block *block) {
    tr_type type = {.size_px = SMALL_PX, .smallest_px = 12, .colour = TR_INK};
    double height = figures_height(block);
    need(w, height);
    for (int i = 0; i < block->n_figures; i++) {
        const tr_doc_figure *f = &block->figures[i];
        tr_box box = {w->left + f->box.x * w->width, w->y + f->box.y, f->box.width * w->width,
                      f->box.height};
        begin_tag(w, "Figure");
        cairo_save(w->canvas->cr);
        if (!w->is_trial && w->ok) w->ok = tr_figure_draw(w->canvas, box, w->report, f, w->err);
        cairo_restore(w->canvas->cr);
        end_tag(w, "Figure");
        if (!*f->caption) continue;
        type.align = tr_figure_has_photo(f) ? TR_ALIGN_LEFT : TR_ALIGN_CENTRE;
        begin_tag(w, "P");
        tr_canvas_text(w->canvas, box.x, box.y + box.height + 3, box.width, type, f->caption);
        end_tag(w, "P");
    }
    w->y += height;
}

static const double SIGNATURE_PX = 104;

static void draw_signature(writer *w, const tr_doc_block *block) {
    static const double APART_PX = 40;
    need(w, SIGNATURE_PX);
    double width = (w->width - (block->n_columns - 1) * APART_PX) / block->n_columns;
    begin_tag(w, "P");
    for (int i = 0; i < block->n_columns; i++) {
        double x = w->left + i * (width + APART_PX);
        tr_canvas_colour(w->canvas, TR_INK);
        cairo_set_line_width(w->canvas->cr, 1.5);
        cairo_move_to(w->canvas->cr, x, w->y + SIGNATURE_PX - 30);
        cairo_line_to(w->canvas->cr, x + width, w->y + SIGNATURE_PX - 30);
        cairo_stroke(w->canvas->cr);
        tr_canvas_text(w->canvas, x, w->y + SIGNATURE_PX - 26, width, type_of(SMALL_PX, false),
                       block->cells[i].text);
    }
    end_tag(w, "P");
    w->y += SIGNATURE_PX;
}

/* ---- The whole ---- */

static double table_height(writer *w, const tr_doc_block *block, int most_rows) {
    grid g = grid_of(w, block);
    int n_rows = block->n_cells / block->n_columns;
    double height = row_height(w, &g, 0);
    for (int row = 1; row < n_rows && row < most_rows; row += g.n_side)
        height += line_height(w, &g, row);
    return height + TABLE_GAP_PX;
}

static double height_of(writer *w, const tr_doc_block *block) {
    switch (block->kind) {
    case TR_DOC_HEADING: return heading_height(w, block);
    case TR_DOC_TABLE: return table_height(w, block, block->n_cells);
    case TR_DOC_TEXT: return text_height(w, block);
    case TR_DOC_TERMS: return lay_terms(w, block, false);
    case TR_DOC_FIGURES: return figures_height(block);
    case TR_DOC_SIGNATURE: return SIGNATURE_PX;
    case TR_DOC_VERDICT: break; /* the first of the first page */
    }
    return 0;
}

static bool is_kind(const writer *w, int i, tr_doc_kind kind) {
    return i < w->doc->n && w->doc->blocks[i].kind == kind;
}

/* Of the paragraph that explains the table before it, which belongs to its last row. */
static double height_below_table(writer *w, int i) {
    return is_kind(w, i + 1, TR_DOC_TEXT) ? text_height(w, &w->doc->blocks[i + 1]) : 0;
}

/* What has to stand on one page of what begins with that block: of a short table all, with the
   paragraph that belongs to it; of a paragraph before a table that one, too. */
static double least_height(writer *w, int i) {
    enum { WHOLE_ROWS = 11, FIRST_ROWS = 4 };
    const tr_doc_block *block = &w->doc->blocks[i];
    if (block->kind == TR_DOC_TABLE) {
        bool is_whole = block->n_cells / block->n_columns <= WHOLE_ROWS;
        return is_whole ? height_of(w, block) + height_below_table(w, i)
                        : table_height(w, block, FIRST_ROWS);
    }
    if (block->kind == TR_DOC_TEXT && is_kind(w, i + 1, TR_DOC_TABLE))
        return height_of(w, block) + least_height(w, i + 1);
    return height_of(w, block);
}

/* All from there to the end; INFINITY where that is more than most. */
static double height_of_rest(writer *w, int i, double most) {
    double height = 0;
    for (; i < w->doc->n && height <= most; i++) height += height_of(w, &w->doc->blocks[i]);
    return height <= most ? height : INFINITY;
}

/* What has to fit on the page for a heading to stand on it: all up to the next one where that is
   little, else how it begins. The end of the report stays together, so that nobody signs a page on
   which nothing else stands. */
static double height_with_heading(writer *w, int heading) {
    static const double LITTLE = 0.2, LITTLE_WITH_FIGURES = 0.42, END = 0.3; /* of a page */
    double page = w->bottom - w->top;
    double rest = height_of_rest(w, heading, END * page);
    if (isfinite(rest)) return rest;
    double little = w->is_dense ? 0 : LITTLE;
    double whole = heading_height(w, &w->doc->blocks[heading]);
    double begin = whole;
    if (heading + 1 < w->doc->n) begin += least_height(w, heading + 1);
    for (int i = heading + 1; i < w->doc->n && w->doc->blocks[i].kind != TR_DOC_HEADING; i++) {
        whole += height_of(w, &w->doc->blocks[i]);
        if (w->doc->blocks[i].kind == TR_DOC_FIGURES) little = LITTLE_WITH_FIGURES;
    }
    return whole <= little * page ? whole : begin;
}

static void draw_block(writer *w, int i) {
    const tr_doc_block *block = &w->doc->blocks[i];
    switch (block->kind) {
    case TR_DOC_VERDICT: draw_verdict(w, block); break;
    case TR_DOC_HEADING:
        need(w, height_with_heading(w, i));
        draw_heading(w, block);
        break;
    case TR_DOC_TEXT: draw_text(w, block); break;
    case TR_DOC_TERMS: (void)lay_terms(w, block, true); break;
    case TR_DOC_TABLE:
        need(w, least_height(w, i));
        draw_table(w, block, height_below_table(w, i));
        break;
    case TR_DOC_FIGURES: draw_figures(w, block); break;
    case TR_DOC_SIGNATURE: draw_signature(w, block); break;
    }
}

static tr_canvas_paper paper_of(const tr_report *report, const char *title, double scale) {
    tr_canvas_paper paper = {.width_pt = 210 * PT_PER_MM,
                             .height_pt = 297 * PT_PER_MM,
                             .px_pt = scale * PX_MM * PT_PER_MM,
                             .title = title,
                             .author = tr_or_empty(report->shop),
                             .made_at = tr_or_empty(report->record.made_at)};
    if (report->paper == TR_PAPER_LETTER) {
        paper.width_pt = 8.5 * 72;
        paper.height_pt = 11.0 * 72;
    }
    return paper;
}

/* One run over all pages; *n_pages: counted in the trial, told in the other. scale: 1, or smaller.
 */
static bool draw_all(const tr_report *report, const tr_document *doc, double scale, bool is_trial,
                     int *n_pages, tr_canvas *canvas, tr_error *err) {
    writer w = {.canvas = canvas,
                .report = report,
                .doc = doc,
                .is_trial = is_trial,
                .is_dense = scale < 1,
                .page = 1,
                .n_pages = *n_pages,
                .err = err,
                .ok = true};
    tr_report_title(report, w.title, sizeof w.title);
    tr_report_full_title(report, w.full_title, sizeof w.full_title);
    tr_report_foot(report, w.foot, sizeof w.foot);
    tr_canvas_paper paper = paper_of(report, w.full_title, scale);
    if (!tr_canvas_init_paper(canvas, &paper, err)) return false;
    const double px_mm = scale * PX_MM;
    w.left = MARGIN_MM / px_mm;
    w.width = paper.width_pt / paper.px_pt - 2 * w.left;
    w.top = TOP_MM / px_mm;
    w.bottom = paper.height_pt / paper.px_pt - FOOT_MM / px_mm;
    w.y = w.top;
    for (int i = 0; i < doc->n && w.ok; i++) draw_block(&w, i);
    end_page(&w);
    *n_pages = w.page;
    return w.ok;
}

static int count_figures(const tr_document *doc) {
    int n = 0;
    for (int i = 0; i < doc->n; i++) n += doc->blocks[i].n_figures;
    return n;
}

static bool add_extras(const tr_report *report, const tr_document *doc, uint8_t **data,
                       size_t *size, tr_error *err) {
    int n = count_figures(doc);
    const char **alternatives = tr_array(n, sizeof *alternatives);
    if (!alternatives) return tr_fail_memory(err);
    n = 0;
    for (int i = 0; i < doc->n; i++) {
        for (int k = 0; k < doc->blocks[i].n_figures; k++)
            alternatives[n++] = doc->blocks[i].figures[k].alternative;
    }
    const tr_pdf_extras extras = {.language = report->language ? report->language : "en",
                                  .name = "result.json",
                                  .description = TR_("The result, for programs"),
                                  .attachment = report->json,
                                  .size = report->json_size,
                                  .made_at = tr_or_empty(report->record.made_at),
                                  .alternatives = alternatives,
                                  .n_alternatives = n};
    bool ok = tr_pdf_add(data, size, &extras, err);
    free(alternatives);
    return ok;
}

static bool count_pages(const tr_report *report, const tr_document *doc, double scale, int *n_pages,
                        tr_error *err) {
    tr_canvas canvas = {0};
    *n_pages = 1;
    bool ok = draw_all(report, doc, scale, true, n_pages, &canvas, err);
    tr_canvas_release(&canvas);
    return ok;
}

/* A little smaller where that saves a page: 6.6 points is the least then. */
static bool choose_scale(const tr_report *report, const tr_document *doc, double *scale,
                         int *n_pages, tr_error *err) {
    static const double SMALLER = 0.93;
    int n;
    *scale = 1;
    if (!count_pages(report, doc, 1, n_pages, err) || !count_pages(report, doc, SMALLER, &n, err))
        return false;
    if (n < *n_pages) {
        *scale = SMALLER;
        *n_pages = n;
    }
    return true;
}

bool tr_report_pdf(const tr_report *report, uint8_t **data, size_t *size, tr_error *err) {
    tr_document doc = {0};
    tr_canvas canvas = {0};
    double scale;
    int n_pages;
    *data = NULL;
    *size = 0;
    tr_report_content(report, &doc);
    bool ok = !doc.is_full || tr_fail_memory(err);
    ok = ok && choose_scale(report, &doc, &scale, &n_pages, err) &&
         draw_all(report, &doc, scale, false, &n_pages, &canvas, err) &&
         tr_canvas_take(&canvas, "report", data, size, err) &&
         add_extras(report, &doc, data, size, err);
    tr_canvas_release(&canvas);
    tr_document_release(&doc);
    if (!ok) {
        free(*data);
        *data = NULL;
    }
    return ok;
}
