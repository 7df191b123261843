#include "diagnose/diagnose.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/floor_prior.h"
#include "adjust/outliers.h"
#include "adjust/scatter.h"
#include "base/array.h"
#include "diagnose/connectivity.h"
#include "diagnose/flatness.h"
#include "diagnose/hypotheses.h"
#include "diagnose/rejected.h"
#include "diagnose/two_photos.h"
#include "diagnose/unsteady.h"

/* Residuals of marks that fit, in their variance. */
static const double FITS_VARIANCE = 1.3;
/* What a move may leave of the contradictions that it explains: loss and noise. In simulated jobs
   true moves left up to 0.2 of them, false ones, where a photo was zoomed, 0.47 and more. */
static const double LEFT_PART = 0.25;

enum { MAX_ROUNDS = 12 };

static int count_placed(const tr_adjustment *adj) {
    int n = 0;
    for (int i = 0; i < adj->net.n_photos; i++) n += adj->photo_placed[i];
    return n;
}

/* ---- photos whose camera is far off ---- */

/* A state of an adjustment, to go back to. */
typedef struct {
    tr_network net;
    tr_lsq_result result;
    bool *photo_placed, *photo_rejected, *sheet_placed;
} checkpoint;

static void release_checkpoint(checkpoint *c) {
    tr_network_release(&c->net);
    free(c->photo_placed);
    free(c->photo_rejected);
    free(c->sheet_placed);
}

static bool make_checkpoint(const tr_adjustment *adj, checkpoint *out, tr_error *err) {
    size_t n_photos = (size_t)adj->net.n_photos;
    size_t n_sheets = (size_t)adj->net.n_sheets;
    *out = (checkpoint){.result = adj->result,
                        .photo_placed = tr_array(adj->net.n_photos, sizeof(bool)),
                        .photo_rejected = tr_array(adj->net.n_photos, sizeof(bool)),
                        .sheet_placed = tr_array(adj->net.n_sheets, sizeof(bool))};
    if (!out->photo_placed || !out->photo_rejected || !out->sheet_placed) {
        return tr_fail_memory(err);
    }
    memcpy(out->photo_placed, adj->photo_placed, n_photos * sizeof(bool));
    memcpy(out->photo_rejected, adj->photo_rejected, n_photos * sizeof(bool));
    memcpy(out->sheet_placed, adj->sheet_placed, n_sheets * sizeof(bool));
    return tr_network_copy(&adj->net, &out->net, err);
}

static void go_back(tr_adjustment *adj, const checkpoint *to) {
    tr_network_restore(&adj->net, &to->net);
    adj->result = to->result;
    memcpy(adj->photo_placed, to->photo_placed, (size_t)adj->net.n_photos * sizeof(bool));
    memcpy(adj->photo_rejected, to->photo_rejected, (size_t)adj->net.n_photos * sizeof(bool));
    memcpy(adj->sheet_placed, to->sheet_placed, (size_t)adj->net.n_sheets * sizeof(bool));
}

/* Whether a move explains the far photos: reported where it leaves no more than they are worth, or
   little of the whole. */
static bool test_move_of_far(const tr_adjust_input *in, tr_adjustment *adj, const bool *is_far,
                             tr_findings *findings, tr_error *err) {
    checkpoint with;
    int n_rows;
    bool ok =
        make_checkpoint(adj, &with, err) && tr_outliers_reject_photos(adj, is_far, &n_rows, err);
    if (ok) {
        double without = adj->result.cost;
        double rest = fmax(FITS_VARIANCE * n_rows, LEFT_PART * (with.result.cost - without));
        go_back(adj, &with);
        ok = tr_hypotheses_test_moves(in, adj, without + rest, findings, err);
    }
    release_checkpoint(&with);
    return ok;
}

/* Photos whose camera is further off than any should be: another zoom, a cut, a hand that moved; or
   a sheet that was moved, which their cameras bend to. Where a move explains them, it is reported;
   else they go out of the solution. */
static bool settle_far_photos(const tr_adjust_input *in, tr_adjustment *adj, tr_findings *findings,
                              tr_error *err) {
    bool *is_far = tr_array(in->n_photos, sizeof *is_far);
    if (!is_far) return tr_fail_memory(err);
    bool ok = true;
    for (int round = 0; ok && round < MAX_ROUNDS && tr_scatter_find_far(in, adj, is_far) > 0;
         round++) {
        int n_rows;
        ok = test_move_of_far(in, adj, is_far, findings, err);
        if (!ok || tr_findings_have(findings, TR_FOUND_SHEET_MOVED)) break;
        ok = tr_outliers_reject_photos(adj, is_far, &n_rows, err);
    }
    free(is_far);
    return ok;
}

/* ---- in order ---- */

/* The first solution: of all marks, with priors as wide as the job's own photos say. */
static bool detect(const tr_adjust_input *in, tr_adjustment *adj, tr_findings *findings,
                   tr_error *err) {
    if (!tr_adjust_solve(adj, err) || !tr_floor_prior_fit(in, adj, err)) return false;
    /* A few photos alone that are far off are those photos' own; with more of them it is the lens.
     */
    int n_far = tr_scatter_find_far(in, adj, NULL);
    if (n_far * 2 < count_placed(adj) && !settle_far_photos(in, adj, findings, err)) return false;
    return tr_scatter_find_far(in, adj, NULL) > 0 ||
           (tr_scatter_estimate(in, adj, &adj->result, err) && tr_floor_prior_fit(in, adj, err));
}

static bool adapt(const tr_adjust_input *in, tr_adjustment *adj, tr_findings *findings,
                  tr_error *err) {
    return tr_outliers_reject(adj, err) && settle_far_photos(in, adj, findings, err) &&
           tr_hypotheses_test_moves(in, adj, INFINITY, findings, err);
}

static bool report(const tr_adjust_input *in, tr_adjustment *adj, tr_findings *findings,
                   tr_error *err) {
    return tr_unsteady_report(in, adj, findings, err) &&
           tr_hypotheses_test_priors(in, adj, findings, err) &&
           tr_rejected_report(in, adj, findings, err) &&
           tr_connectivity_report_cut_vertices(in, adj, findings, err);
}

bool tr_diagnose(const tr_adjust_input *in, tr_adjustment *out, tr_sheet_condition *conditions,
                 tr_findings *findings, tr_error *err) {
    bool is_explained = false;
    bool ok = tr_adjust_begin(in, out, err) &&
              tr_connectivity_report_unconnected(in, out, findings, err) &&
              detect(in, out, findings, err) &&
              tr_hypotheses_identify(in, out, conditions, findings, &is_explained, err) &&
              (is_explained || adapt(in, out, findings, err)) && tr_adjust_finish(out, err) &&
              tr_two_photos_allow_for(in, out, findings, err) && report(in, out, findings, err) &&
              tr_flatness_estimate(in, out, conditions, err);
    if (!ok) tr_adjustment_release(out);
    return ok;
}
