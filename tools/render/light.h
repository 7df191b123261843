/* From a scene to linear light: rays, cells, and the point spread of pixel and optics. Private to
   the renderer. */
#ifndef TR_TOOLS_LIGHT_H
#define TR_TOOLS_LIGHT_H

#include "tools/render/render.h"

/* As tr_scene_light. tint: where not NULL, its planes (width x height) are filled with 128 + the
   tint of what each pixel's centre sees. */
float *tr_light_make(const tr_scene *scene, int camera, tr_chroma *tint, tr_error *err);

#endif
