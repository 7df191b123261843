/* The least that any program must do with a photo: read its file and decode its grey values, by
   libjpeg alone. */
#ifndef TR_TOOLS_BENCH_FLOOR_H
#define TR_TOOLS_BENCH_FLOOR_H

#include "base/error.h"

/* The pixels are decoded and forgotten. Files of the renderer's only. */
TR_MUST_USE bool bench_decode(const char *path, tr_error *err);

#endif
