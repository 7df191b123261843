/* Measuring one checker corner: the point where two black and two white squares meet.

   Blur, tone curve and sharpening move the edges between black and white, but a checker corner
   looks the same when turned by half a turn, and so does its image after any of them: its centre
   stays where it is. The measurement keeps that symmetry: the pixels of a window that is symmetric
   about the corner are fitted by a symmetric model,
     I(q) = mean + contrast * s + bleed * (1 - s^2) + gradient . q
     s = E(d1) * E(d2)    E(d) = erf(d / (sqrt(2) sigma))
   d1 and d2 being the signed distances, px, from the two edges through the corner. bleed: a tone
   curve lifts the values half-way between black and white, where s is 0, against the two ends,
   where s is 1 or -1. Half a turn about the corner changes the signs of both distances, and so
   neither s nor this term. Unknowns: the corner (2), the directions of both edges (2), sigma, mean,
   contrast, bleed and gradient (2). */
#ifndef TR_MARKS_CHECKER_H
#define TR_MARKS_CHECKER_H

#include <stdbool.h>

#include "geom/geom.h"
#include "image/image.h"

typedef struct {
    tr_vec2 uv_px;
    double covariance[4]; /* px^2, row by row; from the fit's own residuals */
    double sigma_px;      /* blur of the edges */
    double contrast;      /* half the step between black and white, grey values, > 0 */
    double rms;           /* of the fit, grey values */
} tr_checker;

/* Measures the corner near start_px. along_x_px, along_y_px: image of one step of the length of a
   square along the board's two edges (at most; the window reaches to 0.45 of it, and to 6 px at
   most). They may be up to some 10 degrees off. reach_px: how far from the start the corner may
   lie. False where there is no such corner: off the image, too little contrast, not a saddle, the
   fit does not settle or does not look like a checker corner. */
bool tr_checker_measure(const tr_image *image, tr_vec2 start_px, tr_vec2 along_x_px,
                        tr_vec2 along_y_px, double reach_px, tr_checker *out);

#endif
