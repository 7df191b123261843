/* Data snooping: which marks contradict the others (Baarda, A testing procedure for use in geodetic
   networks, 1968, with the scale of the residuals estimated robustly). Private to adjust, diagnose
   and survey. */
#ifndef TR_ADJUST_OUTLIERS_H
#define TR_ADJUST_OUTLIERS_H

#include "adjust/adjust.h"

/* One round, with the network solved: an observation that contradicts the others (chi-squared with
   its degrees of freedom is that large once in 20,000, scaled by the residuals of the others) is
   rejected, together with others about as bad; one that no longer does is reinstated. Only
   observations that are possible are looked at. chi2, scratch: one place an observation. Returns
   how many changed. */
int tr_outliers_snoop(tr_network *net, const bool *is_possible, double *chi2, double *scratch);

/* Rounds of snooping, each followed by a solution, until nothing changes. Photos and sheets that
   lose what connects them to the datum sheet are taken out with all their marks. */
TR_MUST_USE bool tr_outliers_reject(tr_adjustment *adj, tr_error *err);

/* Takes the listed photos out, and solves without them. *n_rows: residuals that they had. */
TR_MUST_USE bool tr_outliers_reject_photos(tr_adjustment *adj, const bool *is_listed, int *n_rows,
                                           tr_error *err);

#endif
