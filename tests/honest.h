/* A simulated job in which all is as the job says, within what it allows for. */
#ifndef TESTS_HONEST_H
#define TESTS_HONEST_H

#include "tools/simulate/simulate.h"

/* Of an ideal camera that nothing is known of. */
static inline tr_sim_options honest(uint64_t seed) {
    return (tr_sim_options){.seed = seed,
                            .noise.marks = 1,
                            .noise.reference_sd_mm = 1,
                            .noise.draws_lens = true,
                            .noise.draws_prints = true,
                            .noise.draws_floor = true};
}

#endif
