/* How much the job's own camera scatters from photo to photo: variance components of its photos'
   unknowns (camera.h), from the photos themselves and what was known before. Private to adjust.

   A photo's unknowns carry priors. Wide ones are honest for any phone, but cost most of what an
   ideal camera could tell; the photos of a job say how wide they must be. Of each lens and kind of
   scatter (lens/lens.h), with the values v of all its photos, their variances C after the
   adjustment and the priors' standard deviation s:
     r = sum(1 - C / s^2)                            degrees of freedom that the photos give
     s'^2 = (nu s0^2 + v'v) / (nu + r)               repeated until it converges
   s0 is what was known before, with the weight of nu degrees of freedom: those of the profile (for
   a hand, which is another every day, a few), or next to none for an unknown camera. Source of the
   estimator: Foerstner, Ein Verfahren zur Schaetzung von Varianz- und Kovarianzkomponenten, AVN
   1979; also Rao's MINQUE, iterated (from memory).

   So that chance does not make it too narrow, the prior is then widened to the largest s under
   which values as small as these come about once in five times (a test inverted, repeated in the
   same way until v and C are those of that s), but no larger than an unknown camera's, or than
   the estimate where that is larger:
     (nu s0^2 + v'v) / s^2 = 20 % quantile of chi-squared of nu + r degrees of freedom
   At the estimate itself r says too little: where a camera changes by less than the photos can
   see, r goes to 0 there, and the limit would be that of an unknown camera. */
#ifndef TR_ADJUST_SCATTER_H
#define TR_ADJUST_SCATTER_H

#include "adjust/adjust.h"

/* Lists in is_far (n_photos; may be NULL) the placed photos of a solved network whose camera is
   further off than any should be: 4.5 standard deviations of an unknown camera, or of what the
   profile knows. Returns their number. */
int tr_scatter_find_far(const tr_adjust_input *in, const tr_adjustment *adj, bool *is_far);

/* From a solved network: sets the priors of all photos, and solves again (result). Where no photo
   has unknowns of its own nothing is done. */
TR_MUST_USE bool tr_scatter_estimate(const tr_adjust_input *in, tr_adjustment *adj,
                                     tr_lsq_result *result, tr_error *err);

/* Fewer degrees of freedom contradict nothing: they rest on a mark or two. */
#define TR_SCATTER_LEAST_DOF 3.0

/* Whether a standard deviation is larger than another by more than chance: Paulson's approximation
   of F by the normal distribution (An approximate normalization of the analysis of variance
   distribution, Ann. Math. Stat. 13, 1942). */
bool tr_scatter_is_larger(double sd, double dof, double known, double dof_known);

#endif
