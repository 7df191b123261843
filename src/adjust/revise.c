#include "adjust/revise.h"

#include "base/median.h"

/* |W r|^2 beyond which an observation contradicts the others, by its number of points: chi-squared
   with 2 and 8 degrees of freedom is above these once in 20,000. Scaled by the residuals of the
   others. */
static double contradiction_limit(int n_points) {
    return n_points == 1 ? 20 : 34;
}
/* Medians of chi-squared, 2 and 8 degrees of freedom. */
static double median_chi2(int n_points) {
    return n_points == 1 ? 1.386 : 7.344;
}
/* In one round only what is not far below the worst is left out: the others may come back into
   line when the worst are gone. */
static const double ROUND_PART = 0.4;

/* Robust scale of the residuals' variance: the median observation against what it should be. */
static double robust_variance(const tr_network *net, const double *chi2, double *scratch) {
    int n = 0;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (o->is_used) scratch[n++] = chi2[i] / median_chi2(o->n_points);
    }
    if (n == 0) return 1;
    return fmax(1, tr_upper_median(scratch, n));
}

int tr_revise(tr_network *net, const bool *is_possible, double *chi2, double *scratch) {
    double worst = 0;
    int changed = 0;
    for (int i = 0; i < net->n_observations; i++) {
        chi2[i] = INFINITY;
        if (is_possible[i]) (void)tr_network_residual(net, i, NULL, &chi2[i]);
    }
    double variance = robust_variance(net, chi2, scratch);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (o->is_used) worst = fmax(worst, chi2[i] / contradiction_limit(o->n_points) / variance);
    }
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (!is_possible[i]) continue;
        double size = chi2[i] / contradiction_limit(o->n_points) / variance;
        if (o->is_used && size > 1 && size > ROUND_PART * worst) {
            o->is_used = false;
            changed++;
        } else if (!o->is_used && size < 1) {
            o->is_used = true;
            changed++;
        }
    }
    return changed;
}
