/* Colour JPEG of a grey image and its tints. Private to the renderer. */
#ifndef TR_TOOLS_COLOUR_JPEG_H
#define TR_TOOLS_COLOUR_JPEG_H

#include "tools/render/render.h"

/* YCbCr with 4:2:0, so that a decoder's Y is the grey image; whole or not at all. */
TR_MUST_USE bool tr_colour_jpeg_write(const tr_image *grey, const tr_chroma *chroma, int quality,
                                      const char *path, tr_error *err);

#endif
