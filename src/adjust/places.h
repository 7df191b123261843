/* Surveyed sheets in the network of a job: their marks are known with an uncertainty, and a mark
   that is wrong is wrong in the same way in every photo, so that no number of photos averages it
   away. Private to adjust.

   The adjustment weighs each observation with its pixels' covariance plus that of its mark's place,
   W'W = (C_px + J C_mark J')^-1, as if the place were drawn anew for each photo. What it says of
   the uncertainty is then put right by the law of propagation with the gains K of the estimate
   (JCGM 102:2011, 6.2; the estimate is linear in pixels and places to first order):
     C = H^-1 - sum over observations of S_o C_mark S_o'  +  S C_places S',    S = sum of S_o
   where S_o is d(estimate)/d(mark) by one observation (network.h, gain), and C_places the whole
   covariance of all marks of all surveyed sheets. Sheets of one survey share the error of its
   scale. A job without surveyed sheets has no such rows, and nothing of this is computed. */
#ifndef TR_ADJUST_PLACES_H
#define TR_ADJUST_PLACES_H

#include "adjust/adjust.h"

/* All zero: no sheet was surveyed. */
typedef struct {
    int n_rows;  /* of all surveyed sheets */
    double *C;   /* n_rows square */
    int *row_of; /* of each observation's mark, the first; -1: not of a surveyed sheet */
} tr_places;

/* With observations set up in the order of photos and marks, their offsets (relief.h), and start
   values there: gives those of surveyed sheets their weights. */
TR_MUST_USE bool tr_places_set_up(const tr_adjust_input *in, tr_network *net, tr_places *out,
                                  tr_error *err);
void tr_places_release(tr_places *places);

/* From the gains of n unknowns (n x n_observations x TR_OFFSET_N): `once`, what H^-1 has of the
   places already, and `whole`, what it should have; n x n each. */
TR_MUST_USE bool tr_places_propagate(const tr_places *places, const tr_network *net,
                                     const double *gain, int n, double *once, double *whole,
                                     tr_error *err);

#endif
