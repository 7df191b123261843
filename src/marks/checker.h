/* Measuring one checker corner: the point where two black and two white squares meet.

   Blur, tone curve and sharpening move the edges between black and white, and so does ink, which
   grows over the paper; but a checker corner looks the same when turned by half a turn, and so does
   its image after any of them: its centre stays where it is. The measurement keeps that symmetry:
   the pixels of a window that is symmetric about the corner are fitted by a symmetric model,
     I(q) = mean + contrast * s + bleed * (1 - s^2) + gradient . q
     s = 1 - 2 [B(d1 - g) B(-d2 - g) + B(-d1 - g) B(d2 - g)]
   d1 and d2 being the signed distances, px, from the two edges through the corner, B the normal
   distribution's part below d / sigma, with a sigma for each edge (motion blurs one way), and a
   rim:
   - rim He3(d / sigma) times its density, as sharpening leaves it (Gram-Charlier series). g: by how
   much the squares of s > 0 grow over the others; where g is negative the others grow over them by
   the same formula. bleed: a tone curve lifts the values half-way between black and white, where s
   is 0, against the two ends, where s is 1 or -1. Half a turn about the corner changes the signs of
   both distances, and so neither s nor these terms. Unknowns: the corner (2), the directions of
   both edges (2), both sigmas, growth, rim, mean, contrast, bleed and gradient (2). Growth, rim and
   bleed carry a weak prior, since small ones are much alike.

   The fit runs on fixed pixels, where no step is taken that does not lower its cost; then the
   window is laid about what was found, until both are at the same place.

   Covariance: from the residuals' variance, as if neighbouring residuals that are alike were one:
   what the model leaves out weighs as much as noise that is correlated over as many pixels. With a
   floor of 0.03 px the squares of errors over these variances have a mean of 1.0 in
   photos of one phone (tests/test_board.c). */
#ifndef TR_MARKS_CHECKER_H
#define TR_MARKS_CHECKER_H

#include <stdbool.h>

#include "geom/geom.h"
#include "image/image.h"

/* Why a corner was not measured. */
typedef enum {
    TR_CHECKER_MEASURED,
    TR_CHECKER_OFF_IMAGE, /* its window reaches over the image's rim */
    TR_CHECKER_TOO_SMALL, /* squares lower than 3.5 px leave no room between their edges */
    TR_CHECKER_FAINT,     /* too little contrast */
    TR_CHECKER_NO_SADDLE, /* nothing like it within reach: covered, glare */
    TR_CHECKER_BLURRED,   /* edges as wide as the window */
    TR_CHECKER_UNLIKE,    /* something like it, but the fit looks otherwise */
    TR_CHECKER_UNSETTLED, /* the fit did not come to rest */
    TR_CHECKER_N_OUTCOMES
} tr_checker_outcome;

/* Where the corner was not measured only the outcome counts. */
typedef struct {
    tr_checker_outcome outcome;
    tr_vec2 uv_px;
    double covariance[4]; /* px^2, row by row; from the fit's own residuals */
    double sigma_px;      /* blur of the edges */
    double contrast;      /* half the step between black and white, grey values, > 0 */
    double rms;           /* of the fit, grey values */
    double turn_rad;      /* by which the edge lies off its given direction that does so most */
    int n_steps;          /* that the fit tried */
} tr_checker;

/* Measures the corner near start_px. along_x_px, along_y_px: image of one step of the length of a
   square along the board's two edges (at most; the window reaches to 0.45 of it, and to 6 px at
   most). They may be up to 20 degrees off. reach_px: how far from the start the corner may
   lie. False where there is no such corner: off the image, too little contrast, not a saddle, the
   fit does not settle or does not look like a checker corner. */
bool tr_checker_measure(const tr_image *image, tr_vec2 start_px, tr_vec2 along_x_px,
                        tr_vec2 along_y_px, double reach_px, tr_checker *out);

#endif
