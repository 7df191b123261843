/* Text of a sheet and of its pages: pango, in mm. Sizes are the font's (its capitals are 0.73 of
   it). Text is UTF-8 and set as it is, never read as mark-up. */
#ifndef TR_PRINT_LETTERING_H
#define TR_PRINT_LETTERING_H

#include <cairo.h>
#include <pango/pango.h>

#include "base/error.h"

/* All zero is a valid empty one. */
typedef struct {
    PangoFontMap *fonts;
    PangoContext *pango;
    PangoLayout *layout;
} tr_lettering;

typedef struct {
    double size_mm;
    double width_mm; /* lines are broken at it; 0: one line, as wide as it comes */
    bool is_bold, is_centred;
} tr_letters;

void tr_lettering_init(tr_lettering *lettering);
void tr_lettering_release(tr_lettering *lettering);

/* How much room the text takes. */
void tr_lettering_measure(tr_lettering *lettering, tr_letters how, const char *text,
                          double *width_mm, double *height_mm);
/* Draws it from its top left corner; user units of cr are mm, y down. The colour is cr's. */
void tr_lettering_draw(tr_lettering *lettering, cairo_t *cr, double x, double y, tr_letters how,
                       const char *text);

#endif
