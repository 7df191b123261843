/* A page to draw on: cairo and pango behind the few strokes that the picture is made of. Lengths in
   px of the page, y down. What has no finite place is not drawn. The palette is Okabe and Ito's
   (Color Universal Design, 2008), which colour-blind people can tell apart; a verdict has a word
   and a shape besides.

   Errors do not need to be asked for after every stroke: cairo keeps the first, and
   tr_canvas_take tells it. */
#ifndef TR_PRESENT_CANVAS_H
#define TR_PRESENT_CANVAS_H

#include <cairo.h>
#include <pango/pango.h>
#include <stdint.h>
#include <stdio.h>

#include "base/error.h"
#include "geom/geom.h"
#include "present/unit.h"
#include "verdict/verdict.h"

typedef struct {
    double r, g, b;
} tr_colour;

static const tr_colour TR_WHITE = {1, 1, 1};
static const tr_colour TR_INK = {0.10, 0.10, 0.10};
static const tr_colour TR_FAINT = {0.62, 0.62, 0.62};
static const tr_colour TR_SKY = {0.337, 0.706, 0.914}; /* #56B4E9: marks that were found */

typedef struct {
    double x, y, width, height;
} tr_box;

typedef enum { TR_ALIGN_LEFT, TR_ALIGN_CENTRE, TR_ALIGN_RIGHT } tr_align;

/* All zero is a valid empty canvas. Not to be copied: a stream writes into it. */
typedef struct {
    cairo_surface_t *surface;
    cairo_t *cr;
    PangoFontMap *fonts;
    PangoContext *pango;
    PangoLayout *layout;
    FILE *stream; /* of a document; its bytes are owned */
    char *bytes;
    size_t n_bytes;
    tr_length_unit unit; /* in which lengths are written on it; millimetres unless it is set */
} tr_canvas;

/* One page of pixels. */
TR_MUST_USE bool tr_canvas_init(tr_canvas *canvas, int width_px, int height_px, tr_error *err);
/* Pages of a PDF, A4 across, each of which shows a page of that size as large as it can. The same
   pages give the same bytes: no time is written. */
TR_MUST_USE bool tr_canvas_init_pdf(tr_canvas *canvas, int width_px, int height_px,
                                    const char *title, tr_error *err);
/* Pages of a PDF of another size: width and height of the paper, and of one px, in points (1/72
   inch). made_at: the date that the document tells (ISO 8601), "" for none. */
typedef struct {
    double width_pt, height_pt, px_pt;
    const char *title, *author, *made_at;
} tr_canvas_paper;
TR_MUST_USE bool tr_canvas_init_paper(tr_canvas *canvas, const tr_canvas_paper *paper,
                                      tr_error *err);
/* One drawing as SVG. */
TR_MUST_USE bool tr_canvas_init_svg(tr_canvas *canvas, int width_px, int height_px, tr_error *err);
/* Ends a page of a PDF; each has to be ended. */
void tr_canvas_next_page(tr_canvas *canvas);
/* The bytes of a PNG or a PDF, to be taken once; owned by the caller (free), NULL on failure. name:
   of the file, for messages. */
TR_MUST_USE bool tr_canvas_take(tr_canvas *canvas, const char *name, uint8_t **data, size_t *size,
                                tr_error *err);
/* The bytes of a JPEG (quality 1..100) instead, of a page of pixels. */
TR_MUST_USE bool tr_canvas_take_jpeg(tr_canvas *canvas, const char *name, int quality,
                                     uint8_t **data, size_t *size, tr_error *err);
/* The same, written whole or not at all (base/file.h). */
TR_MUST_USE bool tr_canvas_write(tr_canvas *canvas, const char *path, tr_error *err);
void tr_canvas_release(tr_canvas *canvas);

/* Blue, vermillion, grey. */
tr_colour tr_verdict_colour(tr_verdict verdict);

void tr_canvas_colour(tr_canvas *canvas, tr_colour colour);

/* How a text is set: its size is the font's (its capitals are 0.73 of it), lines are broken at
   words. In a box of the height of `lines` lines it shrinks to `smallest_px` until it fits (smaller
   lines are more lines), then ends in "...". */
typedef struct {
    double size_px, smallest_px; /* smallest_px 0: as size_px */
    bool is_bold;
    tr_align align;
    tr_colour colour;
    int lines; /* of size_px; 0: one */
} tr_type;

/* Sets UTF-8 text into a box of that width from its top left corner; bytes that are no UTF-8 are
   shown as '?'. Returns the height used. */
double tr_canvas_text(tr_canvas *canvas, double x, double y, double width, tr_type type,
                      const char *text);
/* One line whose middle lies at (x, y), turned by angle_rad (clockwise on the page), on a
   white ground where is_on_white. */
void tr_canvas_label(tr_canvas *canvas, double x, double y, double angle_rad, tr_type type,
                     bool is_on_white, const char *text);
/* The height that tr_canvas_text would use. */
double tr_canvas_text_height(tr_canvas *canvas, double width, tr_type type, const char *text);
double tr_canvas_text_width(tr_canvas *canvas, tr_type type, const char *text);

/* A line through n points that may have gaps (a point that is not finite). The caller strokes. */
void tr_canvas_path(tr_canvas *canvas, const tr_vec2 *points, int n);
/* Strokes the path twice, so that it is seen on any ground: `casing` wide below, then `colour`. */
void tr_canvas_stroke_cased(tr_canvas *canvas, double width_px, tr_colour colour, tr_colour casing);

/* A filled arrow head at `to`, pointing away from `from`. */
void tr_canvas_head(tr_canvas *canvas, tr_vec2 from, tr_vec2 to, double length_px);

/* The verdict's shape, white on its colour: a tick in a disc, a cross in an octagon, a question
   mark in a triangle, radius_px about (x, y). */
void tr_canvas_badge(tr_canvas *canvas, double x, double y, double radius_px, tr_verdict verdict);

/* A number or a letter in the verdict's shape, white on its colour, rimmed white. */
void tr_canvas_tag(tr_canvas *canvas, double x, double y, double radius_px, tr_verdict verdict,
                   const char *text);

/* A dimension as on a workshop drawing, from a to b, both on the measured line: arrows at its ends
   (from outside where there is no room between them), text on the line. shift_px moves the line
   aside, square to a-b (to the right seen from a to b), with extension lines. */
void tr_canvas_dimension(tr_canvas *canvas, tr_vec2 a, tr_vec2 b, double shift_px, double size_px,
                         const char *text);

#endif
