/* Pictures that are not as a camera stored them: a lens profile says nothing of those. What is told
   is a guess from size and EXIF, for the sentence about a picture that could not be used anyway. */
#ifndef TR_IMAGE_KIND_H
#define TR_IMAGE_KIND_H

#include "base/finding.h"
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

/* Notes what it looks like, a part of a sentence; of a plain one nothing. False: memory ran out. */
TR_MUST_USE bool tr_picture_note(tr_picture_kind kind, tr_findings *looks, tr_error *err);

#endif
