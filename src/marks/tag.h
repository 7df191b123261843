/* Measuring one square tag: its four corners, at full resolution, through the lens.

   Optics blur in linear light; cameras then apply a tone curve and sharpen. So in a photo the edge
   of a black cell lies off its true place, by tenths of a pixel, always to the same side: white
   cells look larger, black ones smaller (the edges bleed). No outline of the border alone can tell
   this from a smaller tag. But the inner cells have edges of both polarities, which bleed in
   opposite directions: so every edge between a black and a white cell of the tag's known pattern is
   measured, and the bleed is one more unknown (one along each axis of the tag, since motion blurs
   one way). What is left is free of it, whatever the tone curve is.

   1. Each edge of a cell gives its offset from the prediction along its normal, by least squares on
      the pixels near it: I = b + a S(d - offset), S being the known pattern about that edge,
      blurred (a round Gaussian, in linear light) and sent through a tone curve. Black and white
      levels are each edge's own, so that uneven light and shadows do no harm. Blur and tone curve
      (what camera and sharpening made of the light) are unknowns of the tag as a whole.
   2. The offsets of all edges give the corners: unknowns are the four corners, moved in the image
      and joined through the lens model by a homography, how the paper between them is bent (it is
      never flat, and a bent edge leads away from the corner), and what bleed the tone curve has
      left. Edges that disagree (something lies over them) are left out.
   Both are repeated until the corners rest. */
#ifndef TR_MARKS_TAG_H
#define TR_MARKS_TAG_H

#include <stdbool.h>

#include "geom/geom.h"
#include "image/image.h"
#include "lens/lens.h"
#include "tags/family.h"

/* Tags with less height in a photo than this, px, cannot be measured. */
enum { TR_TAG_MIN_PX = 10 };
/* Blur (sigma) beyond this part of a cell leaves edges that run into each other. */
#define TR_TAG_BLURRED_CELLS 0.75

/* Why a tag was not measured. */
typedef enum {
    TR_TAG_MEASURED,
    TR_TAG_OFF_IMAGE, /* so much of it lies outside that the rest tells too little */
    TR_TAG_TOO_SMALL, /* cells lower than some 1.25 px */
    TR_TAG_FAINT,     /* too little contrast */
    TR_TAG_BLURRED,   /* edges as wide as cells */
    TR_TAG_UNLIKE,    /* too much of it is not as the pattern says: covered, or not this tag */
    TR_TAG_UNSETTLED, /* the fit did not come to rest */
    TR_TAG_N_OUTCOMES
} tr_tag_outcome;

/* Where the tag was not measured only outcome and n_possible count. */
typedef struct {
    tr_tag_outcome outcome;
    tr_vec2 corner_px[4];  /* order of tr_tag_corner */
    double covariance[64]; /* of u0 v0 u1 v1 ..., px^2, row by row */
    /* By which white grows: at edges that stand upright on the tag, and at edges that lie. */
    double bleed_px[2];
    double sigma_px[2]; /* blur across those edges */
    double contrast;    /* median step between black and white, grey values */
    int n_edges;        /* edges used, or cells of a tag that is fitted as a whole ... */
    int n_possible;     /* ... of those that the pattern has in the image and large enough */
    double rms_px;      /* of the edges' offsets after the fit */
} tr_tag_fit;

/* Measures the tag near start_px (four corners, order of tr_tag_corner, within some 2 px or a third
   of a cell). False where it is not there as the pattern says, is too small, or too much of it is
   hidden. */
bool tr_tag_measure(const tr_image *image, const tr_lens *lens, const tr_tag_pattern *pattern,
                    const tr_vec2 start_px[4], tr_tag_fit *out);

#endif
