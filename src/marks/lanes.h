/* What the models of edges and corners do to many pixels at once, in single precision, so that the
   compiler makes vector instructions of their loops. Rows of pixels have room for whole lanes. */
#ifndef TR_MARKS_LANES_H
#define TR_MARKS_LANES_H

#include <math.h>

/* Sums are made in so many lanes side by side. */
enum { TR_LANES = 8 };

/* The normal distribution: part below t, and density. Source: Abramowitz and Stegun, Handbook of
   Mathematical Functions, 7.1.26 (error below 1.5e-7); the exponential function is the 16th power
   of the first terms of its series. */
static inline float tr_normal_below(float t, float *density) {
    float x = 0.5F * t * t;
    x = x < 12 ? x : 12;
    float y = x / 16;
    float e = 1 - y * (1 - y * (1.F / 2 - y * (1.F / 6 - y * (1.F / 24 - y * (1.F / 120)))));
    e *= e;
    e *= e;
    e *= e;
    e *= e;
    float s = 1 / (1 + 0.231641889F * fabsf(t));
    float series =
        s * (0.254829592F +
             s * (-0.284496736F + s * (1.421413741F + s * (-1.453152027F + s * 1.061405429F))));
    float tail = 0.5F * e * series;
    *density = 0.39894228F * e;
    return t < 0 ? tail : 1 - tail;
}

/* Zeros after n pixels, up to whole lanes. Returns how many pixels that are. */
static inline int tr_fill_lanes(float *row, int n) {
    int whole = (n + TR_LANES - 1) / TR_LANES * TR_LANES;
    for (int i = n; i < whole; i++) row[i] = 0;
    return whole;
}

/* n: whole lanes. */
static inline double tr_sum_of_products(const float *a, const float *b, int n) {
    float lane[TR_LANES] = {0};
    for (int i = 0; i < n; i += TR_LANES) {
        for (int k = 0; k < TR_LANES; k++) lane[k] += a[i + k] * b[i + k];
    }
    double sum = 0;
    for (int k = 0; k < TR_LANES; k++) sum += (double)lane[k];
    return sum;
}

#endif
