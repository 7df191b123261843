/* Random numbers for tests: the same on every machine, seeded by a case's name so that a failure
   repeats. */
#ifndef TR_TESTS_DRAW_H
#define TR_TESTS_DRAW_H

#include <math.h>
#include <stdint.h>

typedef struct {
    uint64_t state;
} tr_draw;

/* FNV-1a of the name. */
static inline tr_draw draw_seeded(const char *name) {
    tr_draw d = {0xcbf29ce484222325u};
    for (; *name; name++) d.state = (d.state ^ (uint64_t)(unsigned char)*name) * 0x100000001b3u;
    return d;
}

/* Even on [0, 1). SplitMix64 (Steele, Lea, Flood, OOPSLA 2014). */
static inline double draw_even(tr_draw *d) {
    uint64_t z = d->state += 0x9e3779b97f4a7c15u;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

static inline double draw_between(tr_draw *d, double low, double high) {
    return low + (high - low) * draw_even(d);
}

/* Mean 0, standard deviation 1 (Box and Muller, Ann. Math. Stat. 29, 1958). */
static inline double draw_normal(tr_draw *d) {
    double u = 1 - draw_even(d);
    double v = draw_even(d);
    return sqrt(-2 * log(u)) * cos(2 * 3.14159265358979323846 * v);
}

#endif
