/* What a technician does first: calibrates the lens, with the same phone. */
#ifndef TR_TOOLS_BENCH_PHONE_H
#define TR_TOOLS_BENCH_PHONE_H

#include "tools/bench/bench.h"
#include "tools/simulate/simulate.h"

/* Renders 14 photos of a board (bent by 0.3 mm) into a folder, each with a phone's effects, and
   calibrates the lens from them. Prints how far each parameter is off, px or 1, over its stated sd.
   is_good: each within 3 of these. */
TR_MUST_USE bool bench_phone_lens(const bench_options *options, const char *folder, tr_lens *out,
                                  bool *is_good, tr_error *err);

#endif
