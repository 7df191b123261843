/* Which marks contradict the others. Private to adjust and survey. */
#ifndef TR_ADJUST_REVISE_H
#define TR_ADJUST_REVISE_H

#include "network/network.h"

/* One round of leaving out and taking back, with the network solved: an observation that
   contradicts the others (chi-squared with its degrees of freedom is that large once in 20,000,
   scaled by the residuals of the others) is left out, together with others about as bad; one that
   no longer does comes back. Only observations that are possible are looked at. chi2, scratch: one
   place an observation. Returns how many changed. */
int tr_revise(tr_network *net, const bool *is_possible, double *chi2, double *scratch);

#endif
