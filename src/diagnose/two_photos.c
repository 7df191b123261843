#include "diagnose/two_photos.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "diagnose/photo_names.h"

/* Chi-squared with 3 and with 6 degrees of freedom is above this once in twenty (NIST/SEMATECH
   e-Handbook of Statistical Methods, 1.3.6.7.4). What lies on the floor can be pushed along it;
   what hangs or stands, in any way. */
static const double CHANCE_ON_FLOOR = 7.815;
static const double CHANCE_ELSEWHERE = 12.592;

/* A sheet, and the two photos that show it. */
typedef struct {
    int sheet, photo[2];
} pair;

static bool is_on_floor(const tr_adjust_input *in, const pair *p) {
    return in->sheets[p->sheet].support == TR_ON_FLOOR;
}

static int list_pairs(const tr_adjustment *adj, int n_sheets, pair *pairs) {
    int n = 0;
    for (int i = 0; i < n_sheets; i++) {
        pair p = {.sheet = i, .photo = {-1, -1}};
        int n_photos = 0;
        for (int k = 0; k < adj->net.n_observations; k++) { /* in the order of the photos */
            const tr_net_obs *o = &adj->net.observations[k];
            if (o->sheet != i || !o->is_used || o->photo == p.photo[1]) continue;
            p.photo[0] = p.photo[1];
            p.photo[1] = o->photo;
            n_photos++;
        }
        if (n_photos == 2) pairs[n++] = p;
    }
    return n;
}

/* Leaves the pairs that disagree. away_mm: by how much. */
static bool keep_disagreeing(const tr_adjust_input *in, tr_adjustment *adj, pair *pairs,
                             double *away_mm, int *n, tr_error *err) {
    int kept = 0;
    double scatter = fmax(1, adj->result.variance_factor);
    tr_net_hypothesis *tests = tr_array(*n, sizeof *tests);
    if (!tests) return tr_fail_memory(err);
    for (int i = 0; i < *n; i++) {
        bool is_flat = is_on_floor(in, &pairs[i]);
        tests[i] = (tr_net_hypothesis){.sheet = pairs[i].sheet,
                                       .component = is_flat ? TR_SHEET_RZ : TR_SHEET_RX,
                                       .n = is_flat ? 3 : TR_POSE_N,
                                       .first_photo = pairs[i].photo[1],
                                       .last_photo = pairs[i].photo[1]};
    }
    bool ok = tr_network_test(&adj->net, TR_ADJUST_HUBER, tests, *n, err);
    for (int i = 0; i < *n && ok; i++) {
        const tr_net_hypothesis *t = &tests[i];
        bool is_flat = is_on_floor(in, &pairs[i]);
        const double *shift_mm = &t->step[TR_SHEET_TX - t->component];
        if (t->score < scatter * (is_flat ? CHANCE_ON_FLOOR : CHANCE_ELSEWHERE)) continue;
        away_mm[kept] = hypot(hypot(shift_mm[0], shift_mm[1]), is_flat ? 0 : shift_mm[2]);
        pairs[kept++] = pairs[i];
    }
    *n = kept;
    free(tests);
    return ok;
}

/* By how much the poses of all sheets would change without one of the two views; base: a copy of
   the network. Where the rest has no solution without it, nothing disagrees with it: all 0. */
static bool find_change(tr_adjustment *adj, const tr_network *base, const pair *p, int view,
                        double *change, tr_error *err) {
    tr_network *net = &adj->net;
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = TR_ADJUST_SMALL_STEP};
    tr_lsq_result ignored;
    tr_error why = {0};
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (o->sheet == p->sheet && o->photo == p->photo[view]) o->is_used = false;
    }
    memset(change, 0, (size_t)net->n_sheets * TR_POSE_N * sizeof *change);
    bool is_solved = tr_network_solve(net, &options, &ignored, &why);
    for (int i = 0; i < net->n_sheets && is_solved; i++) {
        tr_pose_change(base->sheets[i].world_from_sheet, net->sheets[i].world_from_sheet,
                       change + (long)TR_POSE_N * i);
    }
    tr_network_restore(net, base);
    return why.code != TR_NO_MEMORY || tr_fail_memory(err);
}

static bool note(const tr_adjust_input *in, const pair *p, double away_mm, tr_findings *findings,
                 tr_error *err) {
    bool is_listed[TR_MAX_PHOTOS] = {false};
    is_listed[p->photo[0]] = is_listed[p->photo[1]] = true;
    char *names = tr_photo_names(in, is_listed, err);
    bool ok = names &&
              tr_note(TWO_PHOTOS_DISAGREE, findings, err, in->sheets[p->sheet].id, names, away_mm);
    free(names);
    return ok;
}

static bool allow_for(const tr_adjust_input *in, tr_adjustment *adj, const pair *pairs,
                      const double *away_mm, int n, tr_findings *findings, tr_error *err) {
    tr_network base = {0};
    double *change = tr_array(adj->net.n_sheets, TR_POSE_N * sizeof *change);
    bool ok = (change || tr_fail_memory(err)) && tr_network_copy(&adj->net, &base, err);
    for (int i = 0; i < n && ok; i++) {
        for (int view = 0; view < 2 && ok; view++) {
            ok = find_change(adj, &base, &pairs[i], view, change, err);
            if (ok) tr_adjust_widen(adj, change);
        }
        ok = ok && note(in, &pairs[i], away_mm[i], findings, err);
    }
    tr_network_release(&base);
    free(change);
    return ok;
}

bool tr_two_photos_allow_for(const tr_adjust_input *in, tr_adjustment *adj, tr_findings *findings,
                             tr_error *err) {
    pair *pairs = tr_array(in->n_sheets, sizeof *pairs);
    double *away_mm = tr_array(in->n_sheets, sizeof *away_mm);
    bool ok = (pairs && away_mm) || tr_fail_memory(err);
    int n = ok ? list_pairs(adj, in->n_sheets, pairs) : 0;
    if (ok && n > 0) ok = keep_disagreeing(in, adj, pairs, away_mm, &n, err);
    if (ok && n > 0) ok = allow_for(in, adj, pairs, away_mm, n, findings, err);
    free(pairs);
    free(away_mm);
    return ok;
}
