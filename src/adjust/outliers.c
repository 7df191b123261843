#include "adjust/outliers.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "adjust/print_scale.h"
#include "base/array.h"
#include "base/median.h"

enum { MAX_ROUNDS = 12 };

/* Of |W r|^2, by the number of points of an observation: chi-squared with 2 degrees of freedom a
   point. Its median, and the limit that it exceeds once in 20,000 (the 1 - 5e-5 quantile; rounded).
   Source: the chi-squared distribution, by its closed form for even degrees of freedom (Abramowitz
   and Stegun, Handbook of mathematical functions, 26.4.4). */
static const struct {
    double median, limit;
} CHI2[TR_OBS_MAX_POINTS + 1] = {
    [1] = {1.386, 20}, [2] = {3.357, 25}, [3] = {5.348, 30}, [4] = {7.344, 34}};

/* In one round only what is not far below the worst is rejected: the others may fit once the worst
   are gone. */
static const double ROUND_PART = 0.4;

/* Robust scale of the residuals' variance: the median observation against what it should be. */
static double robust_variance(const tr_network *net, const double *chi2, double *scratch) {
    int n = 0;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (o->is_used) scratch[n++] = chi2[i] / CHI2[o->n_points].median;
    }
    if (n == 0) return 1;
    return fmax(1, tr_upper_median(scratch, n));
}

int tr_outliers_snoop(tr_network *net, const bool *is_possible, double *chi2, double *scratch) {
    double worst = 0;
    int changed = 0;
    for (int i = 0; i < net->n_observations; i++) {
        chi2[i] = INFINITY;
        if (is_possible[i]) (void)tr_network_residual(net, i, NULL, &chi2[i]);
    }
    double variance = robust_variance(net, chi2, scratch);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (o->is_used) worst = fmax(worst, chi2[i] / CHI2[o->n_points].limit / variance);
    }
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (!is_possible[i]) continue;
        double size = chi2[i] / CHI2[o->n_points].limit / variance;
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

/* Photos and sheets that lost what connects them to the datum sheet go out of the solution, with
   all their marks for good. */
static bool drop_unsupported(tr_adjustment *adj, bool *is_possible, tr_error *err) {
    tr_network *net = &adj->net;
    int n = net->n_photos + net->n_sheets;
    int *component = tr_array(n, sizeof *component);
    int *points = tr_array(n, sizeof *points);
    if (!component || !points) {
        free(component);
        free(points);
        return tr_fail_memory(err);
    }
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used) continue;
        points[o->photo] += o->n_points;
        points[net->n_photos + o->sheet] += o->n_points;
    }
    tr_network_components(net, component);
    int home = component[net->n_photos + adj->datum_sheet];
    for (int i = 0; i < net->n_photos; i++) {
        bool is_supported = component[i] == home && points[i] >= 4;
        adj->photo_rejected[i] |= adj->photo_placed[i] && !is_supported;
        adj->photo_placed[i] = adj->photo_placed[i] && is_supported;
        net->rigs[i].is_held = !adj->photo_placed[i];
    }
    tr_camera_hold(net, false);
    for (int i = 0; i < net->n_sheets; i++) {
        int k = net->n_photos + i;
        adj->sheet_placed[i] = adj->sheet_placed[i] && component[k] == home && points[k] >= 4;
        if (adj->sheet_placed[i]) continue;
        memset(net->sheets[i].is_free, 0, sizeof net->sheets[i].is_free);
        tr_print_scale_untie(net, i);
    }
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (adj->photo_placed[o->photo] && adj->sheet_placed[o->sheet]) continue;
        o->is_used = is_possible[i] = false;
    }
    free(component);
    free(points);
    return true;
}

bool tr_outliers_reject(tr_adjustment *adj, tr_error *err) {
    tr_network *net = &adj->net;
    bool ok = false;
    double *chi2 = tr_array(net->n_observations, sizeof *chi2);
    double *scratch = tr_array(net->n_observations, sizeof *scratch);
    bool *is_possible = tr_array(net->n_observations, sizeof *is_possible);
    if (!chi2 || !scratch || !is_possible) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < net->n_observations; i++) is_possible[i] = net->observations[i].is_used;
    for (int round = 0; round < MAX_ROUNDS; round++) {
        if (tr_outliers_snoop(net, is_possible, chi2, scratch) == 0) break;
        if (!drop_unsupported(adj, is_possible, err)) goto out;
        if (!tr_adjust_solve(adj, err)) goto out;
    }
    ok = true;
out:
    free(chi2);
    free(scratch);
    free(is_possible);
    return ok;
}

bool tr_outliers_reject_photos(tr_adjustment *adj, const bool *is_listed, int *n_rows,
                               tr_error *err) {
    tr_network *net = &adj->net;
    bool *is_possible = tr_array(net->n_observations, sizeof *is_possible);
    if (!is_possible) return tr_fail_memory(err);
    *n_rows = 0;
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (!o->is_used || !is_listed[o->photo]) continue;
        *n_rows += 2 * o->n_points;
        o->is_used = false;
    }
    bool ok = drop_unsupported(adj, is_possible, err) && tr_adjust_solve(adj, err);
    free(is_possible);
    return ok;
}
