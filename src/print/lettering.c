#include "print/lettering.h"

#include <string.h>

#include <pango/pangocairo.h>

#include "base/text.h"

static const char FONT[] = "DejaVu Sans, Sans";

/* Text is laid out in units this small, so that what pango rounds to whole units is nothing. */
static const double UNITS_PER_MM = 100;

void tr_lettering_init(tr_lettering *l) {
    l->fonts = pango_cairo_font_map_new();
    l->pango = pango_font_map_create_context(l->fonts);
    l->layout = pango_layout_new(l->pango);
    /* The same letters at every size. */
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(l->pango, options);
    cairo_font_options_destroy(options);
    pango_context_set_round_glyph_positions(l->pango, FALSE);
}

void tr_lettering_release(tr_lettering *l) {
    if (l->layout) g_object_unref(l->layout);
    if (l->pango) g_object_unref(l->pango);
    if (l->fonts) g_object_unref(l->fonts);
    memset(l, 0, sizeof *l);
}

static void set(tr_lettering *l, tr_letters how, const char *text) {
    char shown[1024];
    tr_text_show(text, strlen(text), shown, sizeof shown);
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, FONT);
    pango_font_description_set_weight(font, how.is_bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font, how.size_mm * UNITS_PER_MM * PANGO_SCALE);
    pango_layout_set_font_description(l->layout, font);
    pango_font_description_free(font);
    pango_layout_set_text(l->layout, shown, -1);
    pango_layout_set_width(
        l->layout, how.width_mm > 0 ? (int)(how.width_mm * UNITS_PER_MM * PANGO_SCALE) : -1);
    pango_layout_set_wrap(l->layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_alignment(l->layout, how.is_centred ? PANGO_ALIGN_CENTER : PANGO_ALIGN_LEFT);
}

void tr_lettering_measure(tr_lettering *l, tr_letters how, const char *text, double *width_mm,
                          double *height_mm) {
    PangoRectangle logical;
    set(l, how, text);
    pango_layout_get_extents(l->layout, NULL, &logical);
    *width_mm = logical.width / UNITS_PER_MM / PANGO_SCALE;
    *height_mm = logical.height / UNITS_PER_MM / PANGO_SCALE;
}

void tr_lettering_draw(tr_lettering *l, cairo_t *cr, double x, double y, tr_letters how,
                       const char *text) {
    set(l, how, text);
    cairo_save(cr);
    cairo_translate(cr, x, y);
    cairo_scale(cr, 1 / UNITS_PER_MM, 1 / UNITS_PER_MM);
    cairo_move_to(cr, 0, 0);
    pango_cairo_show_layout(cr, l->layout);
    cairo_restore(cr);
}
