#include "adjust/covariance.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "adjust/mark_covariance.h"
#include "adjust/relief.h"
#include "base/array.h"

/* What is asked of the network: the covariance of the poses of all sheets. */
typedef struct {
    const tr_mark_covariance *marks;
    tr_net_unknown *unknowns;
    int n;
    double *ignored; /* n x n, where a sheet was surveyed; else NULL */
} request;

static void release_request(request *q) {
    free(q->unknowns);
    free(q->ignored);
}

/* Also allocates what is not always there of the covariances. q is to be released in any case. */
static bool make_request(tr_adjustment *adj, bool has_unknown_lens, request *q, tr_error *err) {
    int n = TR_POSE_N * adj->net.n_sheets;
    *q = (request){.marks = &adj->marks, .n = n, .unknowns = tr_array(n, sizeof *q->unknowns)};
    if (!q->unknowns) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        q->unknowns[i] = (tr_net_unknown){TR_NET_SHEET, i / TR_POSE_N, i % TR_POSE_N};
    }
    if (has_unknown_lens) {
        adj->covariance_calibrated = tr_table(n, n, sizeof *adj->covariance_calibrated);
        if (!adj->covariance_calibrated) return tr_fail_memory(err);
    }
    if (q->marks->n_rows == 0) return true;
    adj->covariance_coordinates = tr_table(n, n, sizeof *adj->covariance_coordinates);
    q->ignored = tr_table(n, n, sizeof *q->ignored);
    return (adj->covariance_coordinates && q->ignored) || tr_fail_memory(err);
}

/* C of a solution. With surveyed sheets what C has of their marks' coordinates is taken out, and
   `whole`, n x n, is what they add. inverse: C with it, as the normal equations have it; may be
   NULL. */
static bool covariance_of(tr_net_solution *s, const tr_network *net, const request *q, double *C,
                          double *whole, double *inverse, tr_error *err) {
    int n = q->n;
    bool ok = false;
    if (!tr_net_solution_covariance(s, q->unknowns, n, C, err)) return false;
    if (inverse) memcpy(inverse, C, (size_t)n * (size_t)n * sizeof *C);
    if (q->marks->n_rows == 0) return true;
    double *once = tr_table(n, n, sizeof *once);
    double *sensitivity = tr_table(n, net->n_observations, TR_OFFSET_N * sizeof *sensitivity);
    if (!once || !sensitivity) {
        tr_fail_memory(err);
    } else if (tr_net_solution_sensitivity(s, q->unknowns, n, sensitivity, err) &&
               tr_mark_covariance_propagate(q->marks, net, sensitivity, n, once, whole, err)) {
        for (int i = 0; i < n * n; i++) C[i] -= once[i];
        ok = true;
    }
    free(once);
    free(sensitivity);
    return ok;
}

/* Solves for C alone. */
static bool solve_covariance(tr_network *net, const request *q, double *C, tr_error *err) {
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = TR_ADJUST_SMALL_STEP};
    tr_lsq_result ignored;
    tr_net_solution *s = tr_net_solution_new(net, &options, &ignored, err);
    bool ok = s && covariance_of(s, net, q, C, q->ignored, NULL, err);
    tr_net_solution_free(s);
    return ok;
}

/* ---- all free ---- */

/* Variances of the lenses' focal lengths, px^2. */
static bool focal_variances(const tr_net_solution *s, int n_lenses, double *out, tr_error *err) {
    static const double one = 1;
    tr_net_unknown focal[TR_MAX_LENSES];
    tr_net_function functions[TR_MAX_LENSES];
    for (int i = 0; i < n_lenses; i++) {
        focal[i] = (tr_net_unknown){TR_NET_LENS, i, TR_FX};
        functions[i] = (tr_net_function){&focal[i], &one, 1};
    }
    return tr_net_solution_variances(s, functions, n_lenses, out, err);
}

static bool estimate_whole(tr_adjustment *adj, const request *q, bool has_unknown_lens,
                           tr_error *err) {
    tr_network *net = &adj->net;
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = TR_ADJUST_SMALL_STEP};
    tr_net_solution *s = tr_net_solution_new(net, &options, &adj->result, err);
    bool ok =
        s &&
        covariance_of(s, net, q, adj->covariance, adj->covariance_coordinates, adj->inverse, err) &&
        (!has_unknown_lens || focal_variances(s, net->n_lenses, adj->focal_sd, err));
    tr_net_solution_free(s);
    return ok;
}

/* ---- as though the unknown lenses had profiles ---- */

static bool is_any_unknown(const tr_network *net) {
    for (int i = 0; i < net->n_lenses; i++) {
        if (net->lenses[i].lens.is_unknown) return true;
    }
    return false;
}

static void calibrate_unknown(tr_network *net) {
    for (int i = 0; i < net->n_lenses; i++) {
        tr_net_lens *l = &net->lenses[i];
        if (!l->lens.is_unknown) continue;
        memset(l->lens.covariance, 0, sizeof l->lens.covariance);
        memset(l->is_free, 0, sizeof l->is_free);
        tr_camera_add_focal_return(&l->lens);
        l->is_free[TR_FX] = l->is_free[TR_FY] = true;
        l->is_prior_kept = false;
    }
}

static bool estimate_calibrated(tr_adjustment *adj, const request *q, tr_error *err) {
    tr_network copy = {0};
    if (!tr_network_copy(&adj->net, &copy, err)) return false;
    calibrate_unknown(&copy);
    bool ok = solve_covariance(&copy, q, adj->covariance_calibrated, err);
    tr_network_release(&copy);
    return ok;
}

/* ---- with more and more held ---- */

/* What of the network is held meanwhile. */
typedef struct {
    tr_net_lens *lenses;
    bool (*is_print_free)[2]; /* of each sheet */
} freedom;

static void hold_lenses(tr_network *net, freedom *kept) {
    for (int i = 0; i < net->n_lenses; i++) {
        kept->lenses[i] = net->lenses[i];
        memset(net->lenses[i].is_free, 0, sizeof net->lenses[i].is_free);
        net->lenses[i].has_prior = false;
    }
    tr_camera_hold(net, true);
}

static void hold_prints(tr_network *net, freedom *kept) {
    for (int i = 0; i < net->n_sheets; i++) {
        bool *is_free = &net->sheets[i].is_free[TR_PRINT_SCALE_X];
        memcpy(kept->is_print_free[i], is_free, sizeof *kept->is_print_free);
        is_free[0] = is_free[1] = false;
    }
    tr_relief_hold(net, true);
}

static void free_again(tr_network *net, const freedom *kept) {
    for (int i = 0; i < net->n_sheets; i++) {
        memcpy(&net->sheets[i].is_free[TR_PRINT_SCALE_X], kept->is_print_free[i],
               sizeof *kept->is_print_free);
    }
    tr_relief_hold(net, false);
    tr_camera_hold(net, false);
    for (int i = 0; i < net->n_lenses; i++) {
        net->lenses[i].has_prior = kept->lenses[i].has_prior;
        memcpy(net->lenses[i].is_free, kept->lenses[i].is_free, sizeof kept->lenses[i].is_free);
    }
}

static bool estimate_shares(tr_adjustment *adj, const request *q, tr_error *err) {
    tr_network *net = &adj->net;
    bool ok = false;
    freedom kept = {.lenses = tr_array(net->n_lenses, sizeof *kept.lenses),
                    .is_print_free = tr_array(net->n_sheets, sizeof *kept.is_print_free)};
    if (!kept.lenses || !kept.is_print_free) {
        tr_fail_memory(err);
        goto out;
    }
    hold_lenses(net, &kept);
    if (!solve_covariance(net, q, adj->covariance_lens_held, err)) goto out;
    hold_prints(net, &kept);
    if (!solve_covariance(net, q, adj->covariance_marks, err)) goto out;
    free_again(net, &kept);
    ok = true;
out:
    free(kept.lenses);
    free(kept.is_print_free);
    return ok;
}

/* ---- all of it ---- */

/* By the variance factor, where that is above 1; what the marks' coordinates add is not of the
   photos, and is not scaled. */
static void scale(tr_adjustment *adj, int n, bool has_unknown_lens) {
    double factor = fmax(1, adj->result.variance_factor);
    const double *coordinates = adj->covariance_coordinates;
    for (int i = 0; i < n * n; i++) {
        adj->covariance[i] *= factor;
        adj->covariance_lens_held[i] *= factor;
        adj->covariance_marks[i] *= factor;
        if (coordinates) adj->covariance[i] += coordinates[i];
        if (!has_unknown_lens) continue;
        adj->covariance_calibrated[i] *= factor;
        if (coordinates) adj->covariance_calibrated[i] += coordinates[i];
    }
    for (int i = 0; i < adj->net.n_lenses; i++) {
        const tr_lens *lens = &adj->net.lenses[i].lens;
        double sd = sqrt(factor * fmax(0, adj->focal_sd[i])) / lens->param[TR_FX];
        adj->focal_sd[i] = lens->is_unknown ? sd : 0;
    }
}

bool tr_covariance_estimate(tr_adjustment *adj, tr_error *err) {
    request q;
    bool has_unknown_lens = is_any_unknown(&adj->net);
    bool ok = make_request(adj, has_unknown_lens, &q, err) &&
              estimate_whole(adj, &q, has_unknown_lens, err) &&
              (!has_unknown_lens || estimate_calibrated(adj, &q, err)) &&
              estimate_shares(adj, &q, err);
    if (ok) scale(adj, q.n, has_unknown_lens);
    release_request(&q);
    return ok;
}
