/* The condition of a sheet, from its own marks. */
#ifndef TR_DIAGNOSE_SHEET_CONDITION_H
#define TR_DIAGNOSE_SHEET_CONDITION_H

#include <stdbool.h>

#include "geom/geom.h"

/* Is a sheet flat, and printed at the size that its file says? From its own marks; expanded
   uncertainties with k = 2. */
typedef struct {
    bool has_flatness;
    /* Distance between the two planes, parallel to the least-squares plane through the points of
       the marks (a tag has its four corners), that hold all of them between them (as the
       peak-to-valley flatness deviation of ISO 12781-1). */
    double flatness_mm, flatness_u95_mm;
    tr_vec2 highest_mm; /* the point of a mark furthest above that plane, on the sheet */
    bool has_print_scale;
    /* Relative, along the sheet's x and y, against what the other sheets' sizes say: 0.001 is 1 mm
       in a metre too large. A scale common to all sheets cannot be seen. */
    double print_scale[2], print_scale_u95[2];
} tr_sheet_condition;

#endif
