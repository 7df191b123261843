/* How a camera shows the pattern of a tag about one of its edges: blurred in linear light, then
   sent through a tone curve. And the products of all that the grey values there are made of, which
   is what a least squares fit needs of them.

   Many pixels at once and in single precision (1e-6 of the step from black to white), so that the
   compiler makes vector instructions of the loops. */
#ifndef TR_MARKS_EDGE_MODEL_H
#define TR_MARKS_EDGE_MODEL_H

#include <math.h>

/* Pixels of one edge at a time: whole lanes (marks/lanes.h). */
enum { TR_EDGE_MAX_PIXELS = 96 };
enum { TR_EDGE_N_TONE = 3 };

/* What the grey values of an edge are made of: black's level, the step to white, the place of the
   edge, the blur across it and the coefficients of the tone curve. The grey values come last. */
enum {
    TR_EDGE_LEVEL,
    TR_EDGE_STEP,
    TR_EDGE_PLACE,
    TR_EDGE_SIGMA,
    TR_EDGE_TONE,
    TR_EDGE_GREY = TR_EDGE_TONE + TR_EDGE_N_TONE,
    TR_EDGE_N_BASIS
};

typedef struct {
    /* Colours about the edge, 1 white: of the cells before it, beside it and after it along the
       edge (0..2), of the two below and the two above it (0..3). */
    float colour[3][4];
    float cell_px[2];  /* height of the cell below and of that above it */
    float sigma_px;    /* blur across the edge */
    float sigma_along; /* of the edges that cross this one, in cells along it */
    /* Cosine between the normals of this edge and of those that cross it. The blur is round in the
       image, so that the blurs along both are correlated by it. */
    float skew;
    float tone[TR_EDGE_N_TONE];
} tr_edge_model;

typedef struct {
    int n;
    float along[TR_EDGE_MAX_PIXELS];  /* cells from the middle of the edge */
    float across[TR_EDGE_MAX_PIXELS]; /* px along its normal */
    float grey[TR_EDGE_MAX_PIXELS];   /* of any zero: the level takes it up */
} tr_edge_pixels;

/* Row by row what a grey value is made of, pixel by pixel:
     I = level + step S(across - place; sigma, tone)
   1, S, dS/dplace, dS/dsigma, dS/dtone, I; the derivatives are of one unit of step. S runs from
   -0.5 (black) to 0.5 (white). */
typedef float tr_edge_basis[TR_EDGE_N_BASIS][TR_EDGE_MAX_PIXELS];

void tr_edge_model_basis(const tr_edge_model *model, const tr_edge_pixels *pixels,
                         tr_edge_basis basis);

/* Sums over n pixels of the products of each two rows; row >= column is filled. */
void tr_edge_products(tr_edge_basis basis, int n, double product[TR_EDGE_N_BASIS][TR_EDGE_N_BASIS]);

/* What camera and sharpening make of the light, -0.5 black .. 0.5 white: a square root, about as
   cameras encode light (IEC 61966-2-1), and the lowest polynomials that leave black and white where
   they are. Derivative by the light, and by each coefficient. */
static inline float tr_edge_tone(const float tone[TR_EDGE_N_TONE], float light, float *by_light,
                                 float by_tone[TR_EDGE_N_TONE]) {
    const float black_part =
        0.03F; /* black reflects about that part of the light that white does */
    float dark = sqrtf(black_part);
    float range = sqrtf(1 + black_part) - dark;
    float root = sqrtf((light > 0 ? light : 0) + black_part);
    float bend = light * (1 - light);
    float slope = 1 - 2 * light;
    by_tone[0] = bend;
    by_tone[1] = bend * slope;
    by_tone[2] = bend * slope * slope;
    *by_light = 0.5F / (root * range) + tone[0] * slope + tone[1] * (slope * slope - 2 * bend) +
                tone[2] * slope * (slope * slope - 4 * bend);
    return (root - dark) / range - 0.5F + tone[0] * by_tone[0] + tone[1] * by_tone[1] +
           tone[2] * by_tone[2];
}

/* The light, 0 black .. 1 white, that the tone curve shows half-way between black and white. */
double tr_edge_half_light(const float tone[TR_EDGE_N_TONE]);

#endif
