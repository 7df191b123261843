#include "network/network.h"

#include "base/groups.h"

double tr_network_variance_of_all(const tr_network *net, const tr_lsq_result *result,
                                  const bool *is_found) {
    double sum = result->sum_squares;
    int degrees = result->degrees_of_freedom;
    for (int i = 0; i < net->n_observations; i++) {
        double chi2;
        if (net->observations[i].is_used || !is_found[i] ||
            !tr_network_residual(net, i, NULL, &chi2))
            continue;
        sum += chi2;
        degrees += 2 * net->observations[i].n_points;
    }
    return degrees > 0 ? sum / degrees : 0;
}

int tr_network_components(const tr_network *net, int *component) {
    int n = net->n_photos + net->n_sheets;
    int count = 0;
    tr_groups_init(component, n);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *obs = &net->observations[i];
        if (obs->is_used) tr_groups_join(component, obs->photo, net->n_photos + obs->sheet);
    }
    for (int i = 0; i < n; i++) component[i] = tr_group_of(component, i);
    /* What stands for a group comes first in it, so its number is there for those that follow. */
    for (int i = 0; i < n; i++) {
        component[i] = component[i] == i ? count++ : component[component[i]];
    }
    return count;
}
