/* How a camera shows the pattern of a tag about one of its edges: blurred in linear light, then
   sent through a tone curve. And the products of all that the grey values there are made of, which
   is what a least squares fit needs of them.

   Many pixels at once and in single precision (1e-6 of the step from black to white), so that the
   compiler makes vector instructions of the loops. */
#ifndef TR_MARKS_EDGE_MODEL_H
#define TR_MARKS_EDGE_MODEL_H

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

/* The light, 0 black .. 1 white, that the tone curve shows half-way between black and white. */
double tr_edge_half_light(const float tone[TR_EDGE_N_TONE]);

#endif
