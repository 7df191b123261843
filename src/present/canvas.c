#include "present/canvas.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <pango/pangocairo.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "image/image.h"

static const char FONT[] = "DejaVu Sans, Sans";

/* Thin and thick strokes of a drawing (ISO 128-2: two widths, 1 : 2). px */
static const double THIN_PX = 2;

/* Pages of the document: A4 across. points */
static const double PAPER_WIDTH_PT = 297 * 72 / 25.4, PAPER_HEIGHT_PT = 210 * 72 / 25.4;
static const double PAPER_MARGIN_PT = 8 * 72 / 25.4; /* that printers leave white, and some more */

/* canvas->surface is there. */
static bool begin(tr_canvas *canvas, tr_error *err) {
    canvas->cr = cairo_create(canvas->surface);
    if (cairo_status(canvas->cr) != CAIRO_STATUS_SUCCESS) {
        tr_canvas_release(canvas);
        return tr_fail_memory(err);
    }
    canvas->fonts = pango_cairo_font_map_new();
    canvas->pango = pango_font_map_create_context(canvas->fonts);
    canvas->layout = pango_layout_new(canvas->pango);
    /* A name that is broken within a word must not get a hyphen, which would seem to be its own. */
    PangoAttrList *attributes = pango_attr_list_new();
    pango_attr_list_insert(attributes, pango_attr_insert_hyphens_new(FALSE));
    pango_layout_set_attributes(canvas->layout, attributes);
    pango_attr_list_unref(attributes);
    /* The same letters on every screen. */
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(canvas->pango, options);
    cairo_font_options_destroy(options);
    if (!canvas->stream) {
        tr_canvas_colour(canvas, TR_WHITE);
        cairo_paint(canvas->cr);
    }
    cairo_set_line_join(canvas->cr, CAIRO_LINE_JOIN_ROUND);
    return true;
}

bool tr_canvas_init(tr_canvas *canvas, int width_px, int height_px, tr_error *err) {
    memset(canvas, 0, sizeof *canvas);
    canvas->surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width_px, height_px);
    return begin(canvas, err);
}

static cairo_status_t append(void *closure, const unsigned char *data, unsigned n) {
    return fwrite(data, 1, n, closure) == n ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_NO_MEMORY;
}

/* With the date left empty cairo writes none. */
static void describe(cairo_surface_t *surface, const char *title) {
    char shown[512];
    tr_text_show(title, strlen(title), shown, sizeof shown);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, shown);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "trammel");
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, "");
}

bool tr_canvas_init_pdf(tr_canvas *canvas, int width_px, int height_px, const char *title,
                        tr_error *err) {
    memset(canvas, 0, sizeof *canvas);
    canvas->stream = open_memstream(&canvas->bytes, &canvas->n_bytes);
    if (!canvas->stream) return tr_fail_memory(err);
    canvas->surface = cairo_pdf_surface_create_for_stream(append, canvas->stream, PAPER_WIDTH_PT,
                                                          PAPER_HEIGHT_PT);
    describe(canvas->surface, title);
    if (!begin(canvas, err)) return false;
    double scale = fmin((PAPER_WIDTH_PT - 2 * PAPER_MARGIN_PT) / width_px,
                        (PAPER_HEIGHT_PT - 2 * PAPER_MARGIN_PT) / height_px);
    cairo_translate(canvas->cr, (PAPER_WIDTH_PT - scale * width_px) / 2,
                    (PAPER_HEIGHT_PT - scale * height_px) / 2);
    cairo_scale(canvas->cr, scale, scale);
    return true;
}

bool tr_canvas_init_paper(tr_canvas *canvas, const tr_canvas_paper *paper, tr_error *err) {
    char author[256];
    memset(canvas, 0, sizeof *canvas);
    canvas->stream = open_memstream(&canvas->bytes, &canvas->n_bytes);
    if (!canvas->stream) return tr_fail_memory(err);
    canvas->surface = cairo_pdf_surface_create_for_stream(append, canvas->stream, paper->width_pt,
                                                          paper->height_pt);
    describe(canvas->surface, paper->title);
    if (*paper->author) {
        tr_text_show(paper->author, strlen(paper->author), author, sizeof author);
        cairo_pdf_surface_set_metadata(canvas->surface, CAIRO_PDF_METADATA_AUTHOR, author);
    }
    if (*paper->made_at) {
        cairo_pdf_surface_set_metadata(canvas->surface, CAIRO_PDF_METADATA_CREATE_DATE,
                                       paper->made_at);
    }
    if (!begin(canvas, err)) return false;
    cairo_scale(canvas->cr, paper->px_pt, paper->px_pt);
    return true;
}

bool tr_canvas_init_svg(tr_canvas *canvas, int width_px, int height_px, tr_error *err) {
    memset(canvas, 0, sizeof *canvas);
    canvas->stream = open_memstream(&canvas->bytes, &canvas->n_bytes);
    if (!canvas->stream) return tr_fail_memory(err);
    canvas->surface =
        cairo_svg_surface_create_for_stream(append, canvas->stream, width_px, height_px);
    return begin(canvas, err);
}

void tr_canvas_next_page(tr_canvas *canvas) {
    cairo_show_page(canvas->cr);
}

void tr_canvas_release(tr_canvas *canvas) {
    if (canvas->layout) g_object_unref(canvas->layout);
    if (canvas->pango) g_object_unref(canvas->pango);
    if (canvas->fonts) g_object_unref(canvas->fonts);
    if (canvas->cr) cairo_destroy(canvas->cr);
    if (canvas->surface) cairo_surface_destroy(canvas->surface);
    if (canvas->stream) (void)fclose(canvas->stream);
    free(canvas->bytes);
    memset(canvas, 0, sizeof *canvas);
}

/* Three bytes a pixel; owned by the caller (free). A pixel of cairo's is 0xXXRRGGBB. */
static uint8_t *rgb_of(tr_canvas *canvas, int *width, int *height, tr_error *err) {
    *width = cairo_image_surface_get_width(canvas->surface);
    *height = cairo_image_surface_get_height(canvas->surface);
    int stride = cairo_image_surface_get_stride(canvas->surface);
    const unsigned char *px = cairo_image_surface_get_data(canvas->surface);
    uint8_t *rgb = malloc(3 * (size_t)*width * (size_t)*height);
    uint8_t *to = rgb;
    if (!rgb) tr_fail_memory(err);
    for (int v = 0; v < *height && rgb; v++) {
        for (int u = 0; u < *width; u++, to += 3) {
            uint32_t pixel;
            memcpy(&pixel, px + (long)v * stride + 4L * u, sizeof pixel);
            to[0] = (uint8_t)(pixel >> 16);
            to[1] = (uint8_t)(pixel >> 8);
            to[2] = (uint8_t)pixel;
        }
    }
    return rgb;
}

/* Cairo writes PNGs too, but takes several times as long over it. */
static bool take_pixels(tr_canvas *canvas, const char *name, uint8_t **data, size_t *size,
                        tr_error *err) {
    int width, height;
    uint8_t *rgb = rgb_of(canvas, &width, &height, err);
    bool ok = rgb && tr_rgb_encode_png(rgb, width, height, name, data, size, err);
    free(rgb);
    return ok;
}

bool tr_canvas_take_jpeg(tr_canvas *canvas, const char *name, int quality, uint8_t **data,
                         size_t *size, tr_error *err) {
    int width, height;
    *data = NULL;
    *size = 0;
    cairo_surface_flush(canvas->surface);
    if (cairo_status(canvas->cr) != CAIRO_STATUS_SUCCESS) return tr_fail_memory(err);
    uint8_t *rgb = rgb_of(canvas, &width, &height, err);
    bool ok = rgb && tr_rgb_encode_jpeg(rgb, width, height, quality, name, data, size, err);
    free(rgb);
    return ok;
}

/* The stream's bytes are there when it is closed. */
static bool take_stream(tr_canvas *canvas, uint8_t **data, size_t *size, tr_error *err) {
    bool ok = !ferror(canvas->stream);
    ok = fclose(canvas->stream) == 0 && ok;
    canvas->stream = NULL;
    if (!ok || !canvas->bytes) return tr_fail_memory(err);
    *data = (uint8_t *)canvas->bytes;
    *size = canvas->n_bytes;
    canvas->bytes = NULL;
    return true;
}

bool tr_canvas_take(tr_canvas *canvas, const char *name, uint8_t **data, size_t *size,
                    tr_error *err) {
    *data = NULL;
    *size = 0;
    cairo_status_t status = cairo_status(canvas->cr);
    if (canvas->stream) {
        cairo_surface_finish(canvas->surface);
        if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(canvas->surface);
    } else {
        cairo_surface_flush(canvas->surface);
    }
    if (status == CAIRO_STATUS_NO_MEMORY) return tr_fail_memory(err);
    if (status != CAIRO_STATUS_SUCCESS) {
        return tr_fail_at(err, TR_NO_FILE, name, 0, NULL, "the picture could not be drawn: %s",
                          cairo_status_to_string(status));
    }
    return canvas->stream ? take_stream(canvas, data, size, err)
                          : take_pixels(canvas, name, data, size, err);
}

bool tr_canvas_write(tr_canvas *canvas, const char *path, tr_error *err) {
    uint8_t *data;
    size_t size;
    bool ok =
        tr_canvas_take(canvas, path, &data, &size, err) && tr_file_write(path, data, size, err);
    free(data);
    return ok;
}

tr_colour tr_verdict_colour(tr_verdict verdict) {
    static const tr_colour BLUE = {0, 0.447, 0.698};       /* #0072B2 */
    static const tr_colour VERMILLION = {0.835, 0.369, 0}; /* #D55E00 */
    static const tr_colour GREY = {0.373, 0.373, 0.373};   /* dark enough for white on it */
    return verdict == TR_PASS ? BLUE : verdict == TR_FAIL ? VERMILLION : GREY;
}

void tr_canvas_colour(tr_canvas *canvas, tr_colour c) {
    cairo_set_source_rgb(canvas->cr, c.r, c.g, c.b);
}

/* ---- Text ---- */

static void set_font(tr_canvas *canvas, tr_type type, double size_px) {
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, FONT);
    pango_font_description_set_weight(font, type.is_bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font, size_px * PANGO_SCALE);
    pango_layout_set_font_description(canvas->layout, font);
    pango_font_description_free(font);
}

/* Text is set as it is, never read as mark-up. */
static void set_text(tr_canvas *canvas, const char *text) {
    char shown[2048];
    tr_text_show(text, strlen(text), shown, sizeof shown);
    pango_layout_set_text(canvas->layout, shown, -1);
}

static void line_size(tr_canvas *canvas, double *width, double *height) {
    PangoRectangle logical;
    pango_layout_get_extents(canvas->layout, NULL, &logical);
    *width = (double)logical.width / PANGO_SCALE;
    *height = (double)logical.height / PANGO_SCALE;
}

/* How many lines of that size take the room that the type's lines have at its own. */
static int lines_at(tr_type type, double size_px) {
    return (int)((type.lines > 0 ? type.lines : 1) * type.size_px / size_px + 1e-9);
}

/* Sets the text's lines, in the size in which they fit. */
static void break_lines(tr_canvas *canvas, double width, tr_type type, const char *text) {
    static const PangoAlignment ALIGN[] = {PANGO_ALIGN_LEFT, PANGO_ALIGN_CENTER, PANGO_ALIGN_RIGHT};
    double smallest = type.smallest_px > 0 ? type.smallest_px : type.size_px;
    set_text(canvas, text);
    pango_layout_set_width(canvas->layout, (int)(width * PANGO_SCALE));
    pango_layout_set_wrap(canvas->layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_alignment(canvas->layout, ALIGN[type.align]);
    pango_layout_set_ellipsize(canvas->layout, PANGO_ELLIPSIZE_NONE);
    double size = type.size_px;
    set_font(canvas, type, size);
    while (pango_layout_get_line_count(canvas->layout) > lines_at(type, size) &&
           size - 1 >= smallest) {
        size -= 1;
        set_font(canvas, type, size);
    }
    pango_layout_set_height(canvas->layout, -lines_at(type, size));
    pango_layout_set_ellipsize(canvas->layout, PANGO_ELLIPSIZE_END);
}

double tr_canvas_text(tr_canvas *canvas, double x, double y, double width, tr_type type,
                      const char *text) {
    break_lines(canvas, width, type, text);
    tr_canvas_colour(canvas, type.colour);
    cairo_move_to(canvas->cr, x, y);
    pango_cairo_show_layout(canvas->cr, canvas->layout);
    double used_width, used_height;
    line_size(canvas, &used_width, &used_height);
    return used_height;
}

double tr_canvas_text_height(tr_canvas *canvas, double width, tr_type type, const char *text) {
    double used_width, used_height;
    break_lines(canvas, width, type, text);
    line_size(canvas, &used_width, &used_height);
    return used_height;
}

static void set_line(tr_canvas *canvas, tr_type type, const char *text) {
    set_text(canvas, text);
    set_font(canvas, type, type.size_px);
    pango_layout_set_width(canvas->layout, -1);
    pango_layout_set_height(canvas->layout, -1);
    pango_layout_set_alignment(canvas->layout, PANGO_ALIGN_LEFT);
    pango_layout_set_ellipsize(canvas->layout, PANGO_ELLIPSIZE_NONE);
}

double tr_canvas_text_width(tr_canvas *canvas, tr_type type, const char *text) {
    double width, height;
    set_line(canvas, type, text);
    line_size(canvas, &width, &height);
    return width;
}

void tr_canvas_label(tr_canvas *canvas, double x, double y, double angle_rad, tr_type type,
                     bool is_on_white, const char *text) {
    double width, height;
    if (!isfinite(x) || !isfinite(y) || !isfinite(angle_rad)) return;
    set_line(canvas, type, text);
    line_size(canvas, &width, &height);
    cairo_save(canvas->cr);
    cairo_translate(canvas->cr, x, y);
    cairo_rotate(canvas->cr, angle_rad);
    if (is_on_white) {
        tr_canvas_colour(canvas, TR_WHITE);
        cairo_rectangle(canvas->cr, -width / 2 - 4, -height / 2, width + 8, height);
        cairo_fill(canvas->cr);
    }
    tr_canvas_colour(canvas, type.colour);
    cairo_move_to(canvas->cr, -width / 2, -height / 2);
    pango_cairo_show_layout(canvas->cr, canvas->layout);
    cairo_restore(canvas->cr);
}

/* ---- Lines ---- */

void tr_canvas_path(tr_canvas *canvas, const tr_vec2 *points, int n) {
    bool is_down = false;
    for (int i = 0; i < n; i++) {
        if (!isfinite(points[i].x) || !isfinite(points[i].y)) {
            is_down = false;
        } else if (is_down) {
            cairo_line_to(canvas->cr, points[i].x, points[i].y);
        } else {
            cairo_move_to(canvas->cr, points[i].x, points[i].y);
            is_down = true;
        }
    }
}

void tr_canvas_stroke_cased(tr_canvas *canvas, double width_px, tr_colour colour,
                            tr_colour casing) {
    static const double CASING_PX = 2; /* to each side */
    tr_canvas_colour(canvas, casing);
    cairo_set_line_width(canvas->cr, width_px + 2 * CASING_PX);
    cairo_stroke_preserve(canvas->cr);
    tr_canvas_colour(canvas, colour);
    cairo_set_line_width(canvas->cr, width_px);
    cairo_stroke(canvas->cr);
}

void tr_canvas_head(tr_canvas *canvas, tr_vec2 from, tr_vec2 to, double length_px) {
    static const double HALF_WIDTH = 0.3; /* of the length */
    tr_vec2 d = tr_v2_sub(to, from);
    double norm = tr_v2_norm(d);
    if (!isfinite(norm) || !(norm > 0)) return;
    tr_vec2 along = tr_v2_scale(length_px / norm, d);
    tr_vec2 aside = tr_v2_scale(HALF_WIDTH, tr_v2(-along.y, along.x));
    tr_vec2 base = tr_v2_sub(to, along);
    cairo_move_to(canvas->cr, to.x, to.y);
    cairo_line_to(canvas->cr, base.x + aside.x, base.y + aside.y);
    cairo_line_to(canvas->cr, base.x - aside.x, base.y - aside.y);
    cairo_close_path(canvas->cr);
    cairo_fill(canvas->cr);
}

static void line(tr_canvas *canvas, tr_vec2 a, tr_vec2 b) {
    cairo_move_to(canvas->cr, a.x, a.y);
    cairo_line_to(canvas->cr, b.x, b.y);
    cairo_stroke(canvas->cr);
}

void tr_canvas_dimension(tr_canvas *canvas, tr_vec2 a, tr_vec2 b, double shift_px, double size_px,
                         const char *text) {
    static const double HEAD_PX = 16, OVERSHOOT_PX = 6, OUTSIDE_PX = 34;
    tr_vec2 d = tr_v2_sub(b, a);
    double length = tr_v2_norm(d);
    if (!isfinite(length)) return;
    tr_vec2 e = length > 0 ? tr_v2_scale(1 / length, d) : tr_v2(1, 0);
    tr_vec2 n = tr_v2(-e.y, e.x);
    double side = shift_px < 0 ? -1 : 1;
    tr_vec2 p = tr_v2_add(a, tr_v2_scale(shift_px, n));
    tr_vec2 q = tr_v2_add(b, tr_v2_scale(shift_px, n));
    tr_vec2 over = tr_v2_scale(side * OVERSHOOT_PX, n);
    tr_canvas_colour(canvas, TR_INK);
    cairo_set_line_width(canvas->cr, THIN_PX);
    cairo_set_dash(canvas->cr, NULL, 0, 0);
    line(canvas, a, tr_v2_add(p, over));
    line(canvas, b, tr_v2_add(q, over));
    const tr_type type = {.size_px = size_px, .colour = TR_INK};
    double width = tr_canvas_text_width(canvas, type, text);
    /* Read from the bottom or the right of the page. */
    double angle = atan2(e.y, e.x);
    if (angle > TR_PI / 2 - 1e-6) angle -= TR_PI;
    if (angle < -TR_PI / 2 - 1e-6) angle += TR_PI;
    bool has_room = length > 3 * HEAD_PX;
    tr_vec2 middle = tr_v2_scale(0.5, tr_v2_add(p, q));
    if (has_room) {
        line(canvas, p, q);
        tr_canvas_head(canvas, p, q, HEAD_PX);
        tr_canvas_head(canvas, q, p, HEAD_PX);
    } else {
        tr_vec2 before = tr_v2_sub(p, tr_v2_scale(OUTSIDE_PX, e));
        tr_vec2 after = tr_v2_add(q, tr_v2_scale(OUTSIDE_PX, e));
        line(canvas, before, p);
        line(canvas, q, after);
        tr_canvas_head(canvas, before, p, HEAD_PX);
        tr_canvas_head(canvas, after, q, HEAD_PX);
    }
    if (!has_room || width + 5 * HEAD_PX > length) {
        /* Beside the line, away from what is measured. */
        middle = tr_v2_add(middle, tr_v2_scale(side * (0.9 * size_px), n));
    }
    tr_canvas_label(canvas, middle.x, middle.y, angle, type, true, text);
}

/* ---- Badges ---- */

static void polygon(tr_canvas *canvas, double x, double y, double radius, int n, double first_rad) {
    for (int i = 0; i < n; i++) {
        double a = first_rad + 2 * TR_PI * i / n;
        cairo_line_to(canvas->cr, x + radius * cos(a), y + radius * sin(a));
    }
    cairo_close_path(canvas->cr);
    cairo_fill(canvas->cr);
}

static void draw_tick(tr_canvas *canvas, double x, double y, double r) {
    cairo_move_to(canvas->cr, x - 0.45 * r, y + 0.02 * r);
    cairo_line_to(canvas->cr, x - 0.12 * r, y + 0.38 * r);
    cairo_line_to(canvas->cr, x + 0.48 * r, y - 0.36 * r);
    cairo_stroke(canvas->cr);
}

static void draw_cross(tr_canvas *canvas, double x, double y, double r) {
    double a = 0.38 * r;
    line(canvas, tr_v2(x - a, y - a), tr_v2(x + a, y + a));
    line(canvas, tr_v2(x - a, y + a), tr_v2(x + a, y - a));
}

/* The triangle of what is inconclusive reaches as far as the other shapes, and lies lower than its
   middle, as parts of their radius. */
static const double TRIANGLE = 1.15, TRIANGLE_DOWN = 0.2;

/* The verdict's shape, filled with the colour that is set. */
static void fill_shape(tr_canvas *canvas, double x, double y, double r, tr_verdict verdict) {
    cairo_new_path(canvas->cr);
    if (verdict == TR_PASS) {
        cairo_arc(canvas->cr, x, y, r, 0, 2 * TR_PI);
        cairo_fill(canvas->cr);
    } else if (verdict == TR_FAIL) {
        polygon(canvas, x, y, r, 8, TR_PI / 8);
    } else {
        polygon(canvas, x, y + TRIANGLE_DOWN * r, TRIANGLE * r, 3, -TR_PI / 2);
    }
}

void tr_canvas_tag(tr_canvas *canvas, double x, double y, double r, tr_verdict verdict,
                   const char *text) {
    static const double RIM = 0.14;
    /* The triangle has the least room for letters, and the most of it below. */
    bool is_triangle = verdict == TR_INCONCLUSIVE;
    double size = (is_triangle ? 0.8 : 1.1) * r / (strlen(text) > 1 ? 1.25 : 1);
    const tr_type type = {.size_px = size, .is_bold = true, .colour = TR_WHITE};
    tr_canvas_colour(canvas, TR_WHITE);
    fill_shape(canvas, x, y, (1 + RIM) * r, verdict);
    tr_canvas_colour(canvas, tr_verdict_colour(verdict));
    fill_shape(canvas, x, y, r, verdict);
    tr_canvas_label(canvas, x, y + (is_triangle ? TRIANGLE_DOWN * r : 0), 0, type, false, text);
}

void tr_canvas_badge(tr_canvas *canvas, double x, double y, double r, tr_verdict verdict) {
    cairo_save(canvas->cr);
    tr_canvas_colour(canvas, tr_verdict_colour(verdict));
    fill_shape(canvas, x, y, r, verdict);
    tr_canvas_colour(canvas, TR_WHITE);
    cairo_set_line_width(canvas->cr, 0.22 * r);
    cairo_set_line_cap(canvas->cr, CAIRO_LINE_CAP_ROUND);
    cairo_set_dash(canvas->cr, NULL, 0, 0);
    if (verdict == TR_PASS) {
        draw_tick(canvas, x, y, r);
    } else if (verdict == TR_FAIL) {
        draw_cross(canvas, x, y, r);
    } else {
        tr_type type = {.size_px = 1.0 * r, .is_bold = true, .colour = TR_WHITE};
        tr_canvas_label(canvas, x, y + TRIANGLE_DOWN * r, 0, type, false, "?");
    }
    cairo_restore(canvas->cr);
}
