/* A lens of the network. Its unknowns are the parameters of lens/lens.h, in their order, and
     uv = project(lens, q)    q: the point in front of the camera, mm */
#ifndef TR_NETWORK_LENS_H
#define TR_NETWORK_LENS_H

#include "lens/lens.h"

typedef struct {
    tr_lens lens;
    bool is_free[TR_LENS_N]; /* which parameters are unknowns */
    /* Where this is set, the lens's own covariance is the prior of its free parameters. The prior
       is centred on the values that the lens had when it was first solved with it: they are kept
       here, so that solving again does not centre it on what the same marks said before. */
    bool has_prior;
    bool is_prior_kept;
    double prior[TR_LENS_N];
    double prior_W[TR_LENS_N * TR_LENS_N]; /* whitening of the free ones; the network's own */
} tr_net_lens;

/* The lens of a profile: its covariance is the prior. A parameter that calibration held has no
   variance, and is held here too. */
tr_net_lens tr_net_lens_of(const tr_lens *profile);

#endif
