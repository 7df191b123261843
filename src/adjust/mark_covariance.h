/* Surveyed sheets in the network of a job: the coordinates of their marks are known with a
   covariance, and a mark that is wrong is wrong in the same way in every photo, so that no number
   of photos averages it away. Private to adjust.

   The adjustment weighs each observation with its pixels' covariance plus that of its mark's
   coordinates, W'W = (C_px + J C_mark J')^-1, as if they were drawn anew for each photo. What it
   says of the uncertainty is then put right by the law of propagation with the sensitivities of the
   estimate (JCGM 102:2011, 6.2; the estimate is linear in pixels and coordinates to first order):
     C = H^-1 - sum over observations of S_o C_mark S_o'  +  S C_marks S',    S = sum of S_o
   where S_o is d(estimate)/d(mark) by one observation (tr_net_solution_sensitivity), and C_marks
   the whole covariance of all marks of all surveyed sheets. Sheets of one survey share the error of
   its scale. A job without surveyed sheets has no such rows, and nothing of this is computed. */
#ifndef TR_ADJUST_MARK_COVARIANCE_H
#define TR_ADJUST_MARK_COVARIANCE_H

#include "adjust/adjust.h"

/* With observations set up in the order of photos and marks, their offsets (relief.h), and initial
   values there: gives those of surveyed sheets their weights. */
TR_MUST_USE bool tr_mark_covariance_set_up(const tr_adjust_input *in, tr_network *net,
                                           tr_mark_covariance *out, tr_error *err);
void tr_mark_covariance_release(tr_mark_covariance *marks);

/* From the sensitivities of n unknowns (n x n_observations x TR_OFFSET_N): `once`, what H^-1 has of
   the coordinates already, and `whole`, what it should have; n x n each. */
TR_MUST_USE bool tr_mark_covariance_propagate(const tr_mark_covariance *marks,
                                              const tr_network *net, const double *sensitivity,
                                              int n, double *once, double *whole, tr_error *err);

#endif
