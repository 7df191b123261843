/* What a kind of unknown says of itself; all that counts, copies, moves, names and whitens unknowns
   goes by it (blocks.h, terms.h). Private to the network. */
#ifndef TR_NETWORK_KIND_H
#define TR_NETWORK_KIND_H

#include <stddef.h>

#include "network/stage.h"

/* What moves together: one element of the network's array of a kind. */
typedef struct {
    tr_net_kind kind;
    int index;
} tr_block;

/* A prior that blocks of a kind may have. Its residuals and derivatives, which are to all unknowns
   of its blocks, free or not, are those before whitening by W. */
typedef struct {
    int (*rows)(const tr_network *net, tr_block block); /* residuals; 0: it has none */
    /* The other block that it depends on, whose columns come after the block's own; -1: it has
       none. NULL: there is no such prior. */
    int (*other)(const tr_network *net, tr_block block);
    /* J: zero when it is called, or NULL. */
    void (*evaluate)(const tr_network *net, tr_block block, double *r, double *J);
    const double *(*W)(const tr_network *net, tr_block block); /* NULL: it is whitened */
} tr_prior;

/* Of plain values (tr_values.sd): each about 0. */
extern const tr_prior tr_prior_about_0;

enum { TR_KIND_MAX_PRIORS = 2 };

/* Where the unknowns stand in a block that is plain values: an array of them, one of the flags that
   free them, and one of the standard deviations of their priors about 0. */
typedef struct {
    size_t value, is_free, sd;
} tr_values;
#define TR_VALUES(type)                                                                            \
    { offsetof(type, value), offsetof(type, is_free), offsetof(type, sd) }

typedef struct {
    /* As messages name an unknown of it: TR_N("the place of sheet '%s'"). */
    const char *title;
    /* What stands for %s; NULL, the function or what it returns: the number, from 1. */
    const char *(*name)(const tr_network *net, int index, int component);
    /* A step of an unknown for numerical derivatives: near the cube root of the machine's epsilon
       times a scale of the unknown. */
    double (*step)(int component);
    /* The number of the block that a view depends on; -1: none. */
    int (*of)(const tr_view *view);
    /* Plain values say where they are, others how they are freed and moved: the block becomes
       `from` moved by d, which is 0 where an unknown is not free. */
    tr_values values;
    bool (*is_free)(const void *block, int component);
    void (*move)(void *block, const void *from, const double *d);
    /* Makes a block's priors ready to be solved with. NULL: they are. */
    bool (*prepare)(void *block, tr_error *err);
    const tr_prior *priors[TR_KIND_MAX_PRIORS + 1]; /* NULL comes after the last */
} tr_kind;

#define TR_KIND(NAME, name, array, n) extern const tr_kind tr_kind_##name;
TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND

/* Steps: the cube root of the machine's epsilon times 1 rad, or a metre against some metres of
   distance. */
#define TR_STEP 6e-6
#define TR_STEP_MM 6e-3

static inline double tr_pose_step(int component) {
    return component < 3 ? TR_STEP : TR_STEP_MM;
}

#endif
