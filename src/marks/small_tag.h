/* A tag whose cells are too low in the image for an edge of their own: fitted as a whole.

   All pixels of the tag are met by the tag's known pattern, laid into the image by a homography and
   the lens, blurred by a round Gaussian in linear light, and sent through the tone curve of
   marks/edge_model.h. Unknowns: the homography (8), the blur, black's level and its slope across
   the image (3), the step to white, and the tone curve. Steps are taken only where they lower the
   cost. */
#ifndef TR_MARKS_SMALL_TAG_H
#define TR_MARKS_SMALL_TAG_H

#include "marks/tag.h"

/* As tr_tag_measure, for a tag whose cells have cell_px of height; fills out but for its outcome.
 */
tr_tag_outcome tr_small_tag_measure(const tr_image *image, const tr_lens *lens,
                                    const tr_tag_pattern *pattern, const tr_vec2 start_px[4],
                                    tr_tag_fit *out);

#endif
