/* Pictures that are not as a camera stored them: a lens profile says nothing of those. What is told
   is a guess from size and EXIF, for the sentence about a picture that could not be used anyway. */
#ifndef TR_IMAGE_KIND_H
#define TR_IMAGE_KIND_H

#include "image/exif.h"

typedef enum {
    TR_PICTURE_PLAIN,      /* nothing is known against it */
    TR_PICTURE_PANORAMA,   /* longer than any sensor */
    TR_PICTURE_SCREENSHOT, /* a PNG of a screen's proportions without a camera */
    TR_PICTURE_CUT,        /* EXIF has another shape */
    TR_PICTURE_SHRUNK,     /* EXIF has the same shape, larger */
    TR_PICTURE_COPY        /* small, and without a camera, as messengers send it */
} tr_picture_kind;

tr_picture_kind tr_picture_kind_of(const tr_exif *exif, int width_px, int height_px);

/* What it looks like and what to do, behind "it": "looks like a screenshot; use ...". NULL of a
   plain one. */
const char *tr_picture_advice(tr_picture_kind kind);

#endif
