#include "calib/uneven.h"

#include <stdlib.h>
#include <string.h>

/* How far above chance, in its own standard deviations, the scatter of the corners' mean residuals
   must lie: 1 calibration in some millions of a true board. */
static const double SIGNIFICANT_SIGMAS = 5.0;
static const double OUT_OF_PLANE_FACTOR = 2.0;
static const double GROSS_SIGMAS = 4.5;
/* Priors that grow by less than this part are the right size. */
static const double SMALL_CHANGE = 0.05;

/* Sums over one corner of the board. */
typedef struct {
    tr_vec2 sum; /* of whitened residuals */
    int n;
} corner;

/* Millimetres on the board for one pixel, in the mean over the photos. */
static double mm_per_px(const tr_network *net) {
    double sum = 0;
    for (int i = 0; i < net->n_rigs; i++) sum += tr_v3_norm(net->rigs[i].rig_from_world.t_mm);
    return sum / net->n_rigs / net->lenses[0].lens.param[TR_FX];
}

static double scatter_mm(const tr_network *net, const corner *corners, int n) {
    double T = 0; /* about 1 for a true board: 2n squares of unit normals over 2n */
    double sightings = 0;
    double weight = 0;
    for (int i = 0; i < n; i++) {
        T += tr_v2_dot(corners[i].sum, corners[i].sum) / corners[i].n / (2.0 * n);
        sightings += (double)corners[i].n / n;
    }
    for (int i = 0; i < net->n_observations; i++) {
        weight += net->observations[i].W[0] / net->n_observations;
    }
    if (T <= 1 + SIGNIFICANT_SIGMAS / sqrt(n)) return 0;
    return sqrt((T - 1) / sightings) / weight * mm_per_px(net);
}

static int last_mark(const tr_network *net) {
    int last = 0;
    for (int i = 0; i < net->n_observations; i++) {
        if (net->observations[i].mark > last) last = net->observations[i].mark;
    }
    return last;
}

/* Corners are numbered as they come, from 1, as offsets are. */
bool tr_uneven_free_corners(tr_network *net, tr_uneven *u, double *sd_mm, tr_error *err) {
    int n = 0;
    bool ok = false;
    corner *corners = calloc((size_t)net->n_observations + 1, sizeof *corners);
    int *number_of = calloc((size_t)last_mark(net) + 1, sizeof *number_of);
    *sd_mm = 0;
    if (!corners || !number_of) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        tr_vec2 r;
        if (number_of[o->mark] == 0) number_of[o->mark] = ++n;
        if (!tr_network_residual(net, i, &r, NULL)) continue;
        /* One corner gone wrong in one photo is not the board's fault. */
        if (o->W[0] * tr_v2_norm(r) > GROSS_SIGMAS) continue;
        corner *c = &corners[number_of[o->mark] - 1];
        c->sum = tr_v2_add(c->sum, tr_v2_scale(o->W[0], r));
        c->n++;
    }
    ok = true;
    for (int i = 0; i < n; i++) {
        if (corners[i].n == 0) goto out; /* a corner without a residual: leave all as it is */
    }
    *sd_mm = scatter_mm(net, corners, n);
    if (*sd_mm == 0.0) goto out;
    u->offsets = calloc((size_t)n + 1, sizeof *u->offsets);
    if (!u->offsets) {
        ok = tr_fail_memory(err);
        goto out;
    }
    u->n = n;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < 3; k++) {
            u->offsets[i].is_free[k] = true;
            u->offsets[i].sd[k] = *sd_mm * (k == 2 ? OUT_OF_PLANE_FACTOR : 1);
        }
    }
    for (int i = 0; i < net->n_observations; i++) {
        net->observations[i].offset = number_of[net->observations[i].mark];
    }
    net->offsets = u->offsets;
    net->n_offsets = n;
out:
    free(corners);
    free(number_of);
    return ok;
}

bool tr_uneven_widen(tr_uneven *u, double *sd_mm) {
    double sum[3] = {0, 0, 0};
    bool has_changed = false;
    for (int i = 0; i < u->n; i++) {
        for (int k = 0; k < 3; k++) {
            sum[k] += u->offsets[i].value[k] * u->offsets[i].value[k] / u->n;
        }
    }
    double size[3] = {sqrt((sum[0] + sum[1]) / 2), sqrt((sum[0] + sum[1]) / 2), sqrt(sum[2])};
    for (int i = 0; i < u->n; i++) {
        for (int k = 0; k < 3; k++) {
            double *sd = &u->offsets[i].sd[k];
            has_changed |= size[k] > *sd * (1 + SMALL_CHANGE);
            *sd = fmax(*sd, size[k]);
        }
    }
    *sd_mm = u->offsets[0].sd[TR_OFFSET_X];
    return has_changed;
}

void tr_uneven_release(tr_uneven *u) {
    free(u->offsets);
    memset(u, 0, sizeof *u);
}
