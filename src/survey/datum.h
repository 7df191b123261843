/* The frame of a sheet, from the places of its marks. Private to survey.

   Photos and known lengths tell where the marks lie to each other, but not where the sheet's frame
   is: a free network, whose datum is laid down afterwards, by named marks or by all
   (S-transformation: Baarda, S-transformations and criterion matrices, 1973; Teunissen, Zero order
   design: generalized inverses, adjustment, the datum problem and S-transformations, 1985). The
   frame follows from
     r_i = R(-theta) (m_i - t) - S k_i        m_i measured, k_i nominal, S = diag(s_x, s_y)
   by least squares over the datum marks' known coordinates. s, the print scale, is a nuisance here:
   the origin is where the print has it, not where a print of the right size would have had it. */
#ifndef TR_SURVEY_DATUM_H
#define TR_SURVEY_DATUM_H

#include <stdbool.h>

#include "base/error.h"
#include "geom/geom.h"

typedef struct {
    tr_vec2 measured_mm;
    tr_vec2 nominal_mm;
    bool is_known[2]; /* which nominal coordinates are */
    double weight;    /* 0: it takes no part */
} tr_datum_mark;

typedef struct {
    double theta_rad;
    tr_vec2 t_mm;
    double scale[2];
    int n_scales;  /* 0: held at 1; 1: common; 2: each its own */
    double rms_mm; /* of the residuals, weighted, over redundancy; 0 where there is none */
    int redundancy;
} tr_datum;

/* As many scales as the marks determine. Where coordinates are so few that two places are possible
   (two marks on one line), the last mark lies above the first, or to its right. False where not
   even three coordinates are known, or they do not determine a frame. */
bool tr_datum_fit(const tr_datum_mark *marks, int n, tr_datum *out);

/* The same after marks that contradict the rest were given less weight, down to 0 (Tukey's
   biweight, Huber, Robust Statistics, 1981, ch. 4; start by the median). marks' weights are
   changed. All coordinates must be known. Fewer than five marks: as tr_datum_fit. False: as there,
   or memory ran out (err is then set). */
bool tr_datum_fit_robust(tr_datum_mark *marks, int n, tr_datum *out, tr_error *err);

/* A measured place in the sheet's frame. */
tr_vec2 tr_datum_apply(const tr_datum *datum, tr_vec2 measured_mm);

/* How frame and scales respond to the measured places, these given along the new frame's axes: G is
   5 x 2n by rows, d(shift x, shift y, turn, s_x, s_y) / d(x_0, y_0, x_1, ...), so that
     p_new = p + (-shift - turn x p)  and  turn_new = turn - turn of G
   to first order. False: as tr_datum_fit. inverse (5 x 5, may be NULL): of the normal equations,
   for the scatter of the marks themselves; rows of what is held are 0. */
bool tr_datum_sensitivity(const tr_datum *datum, const tr_datum_mark *marks, int n, double *G,
                          double inverse[25]);

#endif
