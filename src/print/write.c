#include "print/write.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cairo-pdf.h>
#include <cairo-svg.h>

#include "base/file.h"
#include "base/language.h"
#include "base/text.h"

static const double POINTS_PER_MM = 72 / 25.4;

static const double HAIR_MM = 0.2;
static const double CROP_MM = 4;       /* length of a crop mark, in the margin */
static const double CROP_GAP_MM = 0.5; /* from what is drawn */
static const double CROSS_MM = 8;      /* of a cross that two tiles share */
static const double CROSS_STEP_MM = 60;
static const double LETTERS_MM = 2.7;

/* ---- the frame of a tile ---- */

typedef struct {
    tr_artwork *artwork;
    const tr_pages *pages;
    const tr_page *page;
    cairo_t *cr; /* user units: mm, from the page's upper left corner */
} drawing;

static void line(cairo_t *cr, double x1, double y1, double x2, double y2) {
    cairo_move_to(cr, x1, y1);
    cairo_line_to(cr, x2, y2);
    cairo_stroke(cr);
}

/* The area as it lies on the page: y down, top < bottom. */
static tr_area on_page(const tr_page *page, tr_area a) {
    tr_vec2 o = page->origin_mm;
    return (tr_area){o.x + a.left, o.y - a.bottom, o.x + a.right, o.y - a.top};
}

/* Beside what is drawn, in line with each cut. */
static void draw_crop_marks(const drawing *d) {
    tr_area part = on_page(d->page, d->page->part);
    tr_area cut = on_page(d->page, d->page->cut);
    const double x[] = {cut.left, cut.right};
    const double y[] = {cut.top, cut.bottom};
    cairo_set_line_width(d->cr, HAIR_MM);
    for (int k = 0; k < 2; k++) {
        double near = part.top - CROP_GAP_MM, far = near - CROP_MM;
        line(d->cr, x[k], near, x[k], far);
        near = part.bottom + CROP_GAP_MM, far = near + CROP_MM;
        line(d->cr, x[k], near, x[k], far);
        near = part.left - CROP_GAP_MM, far = near - CROP_MM;
        line(d->cr, near, y[k], far, y[k]);
        near = part.right + CROP_GAP_MM, far = near + CROP_MM;
        line(d->cr, near, y[k], far, y[k]);
    }
}

static void draw_cross(const drawing *d, tr_vec2 at_sheet) {
    tr_vec2 o = d->page->origin_mm;
    double x = o.x + at_sheet.x;
    double y = o.y - at_sheet.y;
    line(d->cr, x - CROSS_MM / 2, y, x + CROSS_MM / 2, y);
    line(d->cr, x, y - CROSS_MM / 2, x, y + CROSS_MM / 2);
}

/* Crosses along the cut, on both tiles that it parts, where no mark and no text is. Where they
   stand depends on the sheet alone, so that both tiles have the same. */
static void draw_crosses(const drawing *d, bool is_upright, double at, double from, double to) {
    static const double TRY_STEP_MM = 2;
    double before = -INFINITY;
    int n = (int)floor((to - from - 2 * CROSS_MM) / TRY_STEP_MM);
    for (int k = 0; k <= n; k++) {
        double along = from + CROSS_MM + k * TRY_STEP_MM;
        tr_vec2 p = is_upright ? tr_v2(at, along) : tr_v2(along, at);
        if (along - before < CROSS_STEP_MM) continue;
        if (!tr_room_is_free(&d->artwork->room, tr_area_about(p, CROSS_MM, CROSS_MM))) continue;
        draw_cross(d, p);
        before = along;
    }
}

static void draw_all_crosses(const drawing *d) {
    const tr_page *p = d->page;
    cairo_set_line_width(d->cr, HAIR_MM);
    if (p->column > 0) draw_crosses(d, true, p->cut.left, p->cut.bottom, p->cut.top);
    if (p->column + 1 < d->pages->columns)
        draw_crosses(d, true, p->cut.right, p->cut.bottom, p->cut.top);
    if (p->row > 0) draw_crosses(d, false, p->cut.top, p->cut.left, p->cut.right);
    if (p->row + 1 < d->pages->rows)
        draw_crosses(d, false, p->cut.bottom, p->cut.left, p->cut.right);
}

/* Which tile this is: all of them small, this one black. */
static void draw_overview(const drawing *d, tr_area box) {
    const tr_pages *p = d->pages;
    tr_area face =
        tr_area_about(tr_v2(0, 0), d->artwork->sheet->width_mm, d->artwork->sheet->height_mm);
    double scale = fmin((box.right - box.left) / (face.right - face.left),
                        (box.bottom - box.top) / (face.top - face.bottom));
    cairo_set_line_width(d->cr, HAIR_MM);
    for (int i = 0; i < p->n; i++) {
        tr_area cut = p->pages[i].cut;
        cairo_rectangle(d->cr, box.right - (face.right - cut.left) * scale,
                        box.top + (face.top - cut.top) * scale, (cut.right - cut.left) * scale,
                        (cut.top - cut.bottom) * scale);
        if (&p->pages[i] == d->page) cairo_fill_preserve(d->cr);
        cairo_stroke(d->cr);
    }
}

static void draw_words(const drawing *d, double x, double y, double width) {
    const tr_pages *p = d->pages;
    const char *id = d->artwork->sheet->id;
    char where[256], text[1280];
    snprintf(where, sizeof where, TR_("%s, page %d of %d"), id,
             d->page->row * p->columns + d->page->column + 1, p->n);
    tr_lettering_draw(&d->artwork->lettering, d->cr, x, y,
                      (tr_letters){.size_mm = 1.3 * LETTERS_MM, .is_bold = true}, where);
    char tile[640] = "";
    if (p->n > 1) {
        snprintf(
            tile, sizeof tile,
            TR_("Row %d of %d, column %d of %d. Where this tile joins another on the right or "
                "below, "
                "cut it at the crop marks there, lay it over that neighbour so that the crosses "
                "meet, and glue all on a flat board."),
            d->page->row + 1, p->rows, d->page->column + 1, p->columns);
    }
    snprintf(text, sizeof text, "%s%s%s",
             TR_("Print at 100 %, not “fit to page”; every rule on this page must measure 100 mm."),
             *tile ? " " : "", tile);
    tr_lettering_draw(&d->artwork->lettering, d->cr, x, y + 1.8 * LETTERS_MM,
                      (tr_letters){.size_mm = LETTERS_MM, .width_mm = width}, text);
}

static void draw_frame(const drawing *d) {
    static const double OVERVIEW_MM = 22, GAP_MM = 6, CLEAR_OF_CROP_MM = 30;
    double left = TR_PAGE_MARGIN_MM;
    double right = d->pages->width_mm - TR_PAGE_MARGIN_MM;
    double bottom = d->pages->height_mm - TR_PAGE_MARGIN_MM;
    double top = bottom - TR_STRIP_BOTTOM_MM + GAP_MM;
    bool has_overview = d->pages->n > 1;
    cairo_set_source_rgb(d->cr, 0, 0, 0);
    draw_crop_marks(d);
    draw_all_crosses(d);
    tr_lettering *letters = &d->artwork->lettering;
    tr_rule_draw(letters, d->cr, left, bottom, false);
    tr_rule_draw(letters, d->cr, left + TR_RULE_WIDTH_MM, top - GAP_MM - CLEAR_OF_CROP_MM, true);
    double words_right = has_overview ? right - OVERVIEW_MM - GAP_MM : right;
    draw_words(d, left, top, words_right - left);
    if (has_overview) draw_overview(d, (tr_area){right - OVERVIEW_MM, bottom, right, top});
}

/* ---- a page ---- */

static bool draw_page(const drawing *d, tr_error *err) {
    tr_area part = on_page(d->page, d->page->part);
    cairo_save(d->cr);
    cairo_rectangle(d->cr, part.left, part.top, part.right - part.left, part.bottom - part.top);
    cairo_clip(d->cr);
    cairo_translate(d->cr, d->page->origin_mm.x, d->page->origin_mm.y);
    bool ok = tr_artwork_draw(d->artwork, d->page->cut, d->cr, err);
    cairo_restore(d->cr);
    if (ok && d->pages->has_frame) draw_frame(d);
    return ok;
}

static bool draw_pages(tr_artwork *a, const tr_pages *pages, cairo_surface_t *surface,
                       double units_per_mm, bool is_paper_white, tr_error *err) {
    cairo_t *cr = cairo_create(surface);
    bool ok = true;
    for (int i = 0; i < pages->n && ok; i++) {
        drawing d = {a, pages, &pages->pages[i], cr};
        cairo_save(cr);
        cairo_scale(cr, units_per_mm, units_per_mm);
        if (is_paper_white) {
            cairo_set_source_rgb(cr, 1, 1, 1);
            cairo_paint(cr);
        }
        ok = draw_page(&d, err);
        cairo_restore(cr);
        cairo_show_page(cr);
    }
    cairo_destroy(cr);
    return ok;
}

/* ---- files ---- */

static cairo_status_t append(void *closure, const unsigned char *data, unsigned n) {
    return fwrite(data, 1, n, closure) == n ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_NO_MEMORY;
}

/* Ends the surface; its bytes are in *data when the stream is closed. */
static bool finish(cairo_surface_t *surface, const char *path, tr_error *err) {
    cairo_surface_finish(surface);
    cairo_status_t status = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    if (status == CAIRO_STATUS_SUCCESS) return true;
    if (status == CAIRO_STATUS_NO_MEMORY) return tr_fail_memory(err);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "could not be drawn: %s",
                      cairo_status_to_string(status));
}

/* With the date left empty cairo writes none. */
static void describe(cairo_surface_t *surface, const tr_sheet *s) {
    char title[512], shown[512];
    snprintf(title, sizeof title, "%s: %s", s->id, s->title);
    tr_text_show(title, strlen(title), shown, sizeof shown);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, shown);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "trammel");
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, "");
}

static bool write_file(tr_artwork *a, const tr_pages *pages, bool is_pdf, const char *path,
                       tr_error *err) {
    char *data = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&data, &size);
    if (!to) return tr_fail_memory(err);
    double units = is_pdf ? POINTS_PER_MM : 1;
    double width = pages->width_mm * units;
    double height = pages->height_mm * units;
    cairo_surface_t *surface = is_pdf
                                   ? cairo_pdf_surface_create_for_stream(append, to, width, height)
                                   : cairo_svg_surface_create_for_stream(append, to, width, height);
    if (is_pdf) {
        describe(surface, a->sheet);
    } else {
        cairo_svg_surface_set_document_unit(surface, CAIRO_SVG_UNIT_MM);
    }
    bool ok = draw_pages(a, pages, surface, units, !is_pdf, err);
    ok = finish(surface, path, err) && ok;
    if (ferror(to)) ok = tr_fail_memory(err);
    if (fclose(to) != 0 || !data) ok = tr_fail_memory(err); /* NULL: its last allocation failed */
    ok = ok && tr_file_write(path, data, size, err);
    free(data);
    return ok;
}

bool tr_print_pdf(tr_artwork *artwork, const tr_pages *pages, const char *path, tr_error *err) {
    return write_file(artwork, pages, true, path, err);
}

bool tr_print_svg(tr_artwork *artwork, const tr_pages *pages, const char *path, tr_error *err) {
    return write_file(artwork, pages, false, path, err);
}
