/* From linear light to the grey values of a photo. Private to the renderer. */
#ifndef TR_TOOLS_DEVELOP_H
#define TR_TOOLS_DEVELOP_H

#include "tools/render/render.h"

/* light: width x height, used up. On failure *out is empty. */
TR_MUST_USE bool tr_develop(float *light, int width, int height, const tr_imaging *imaging,
                            tr_image *out, tr_error *err);

#endif
