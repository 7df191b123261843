#include "diagnose/moved.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/initial_values.h"
#include "base/array.h"
#include "diagnose/photo_names.h"

/* Chi-squared with 1 to 6 degrees of freedom is above this once in 100,000. The moves that are
   tried say much the same, and tools/campaign says how often honest jobs meet it. */
static const double CHANCE_CHI2[TR_POSE_N + 1] = {0, TR_MOVED_CHANCE, 23.0, 25.9, 28.5, 30.9, 33.1};
/* So many moves are listed in a job of a workshop. Where there are more, chance has more of them to
   choose from, and each must be rarer by as much (Bonferroni). */
static const double USUAL_MOVES = 100;

/* ---- as a hypothesis ---- */

/* The photos that show a sheet. */
static void list_shown(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                       bool shown[TR_MAX_PHOTOS]) {
    memset(shown, 0, TR_MAX_PHOTOS * sizeof *shown);
    for (int i = 0; i < in->n_photos; i++) {
        for (int k = 0; in->photos[i] && k < in->photos[i]->n_views; k++) {
            shown[i] = shown[i] || in->photos[i]->views[k].sheet == sheet;
        }
    }
    for (int i = 0; i < adj->net.n_observations; i++) {
        const tr_net_obs *o = &adj->net.observations[i];
        if (o->sheet == sheet) shown[o->photo] = true;
    }
}

int tr_moved_list(const tr_hypothesis_search *s, tr_hypothesis *h) {
    int n = 0;
    int last = s->in->n_photos - 1;
    for (int sheet = 0; sheet < s->in->n_sheets; sheet++) {
        bool shown[TR_MAX_PHOTOS];
        if (!s->adj->sheet_placed[sheet]) continue;
        list_shown(s->in, s->adj, sheet, shown);
        for (int is_single = 0; is_single < 2; is_single++) {
            for (int k = last; k >= 0; k--) {
                if (!shown[k]) continue;
                h[n++] = (tr_hypothesis){
                    .index = sheet, .first_photo = k, .last_photo = is_single ? k : last};
            }
        }
    }
    return n;
}

/* A difference that the marks do not tell has no score, but a trial may still be made of it where
   there are few. */
bool tr_moved_score(const tr_hypothesis_search *s, tr_hypothesis *h, int n, tr_error *err) {
    tr_net_hypothesis *tests = tr_array(n, sizeof *tests);
    if (!tests) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        tests[i] = (tr_net_hypothesis){.sheet = h[i].index,
                                       .component = TR_SHEET_RX,
                                       .n = TR_POSE_N,
                                       .first_photo = h[i].first_photo,
                                       .last_photo = h[i].last_photo};
    }
    bool ok = tr_network_test(&s->adj->net, TR_ADJUST_HUBER, tests, n, err);
    for (int i = 0; i < n && ok; i++) {
        h[i].is_scored = tests[i].is_determined;
        h[i].score = tests[i].score;
    }
    free(tests);
    return ok;
}

/* Whether a move explains more than chance does, against the scatter that it leaves: the move
   itself raises the scatter of the solution without it. */
static bool is_more_than_chance(const tr_lsq_result *without, const tr_trial *t, int n_listed) {
    int unknowns = without->degrees_of_freedom - t->degrees_of_freedom;
    double scatter = fmax(1, t->cost / fmax(1, t->degrees_of_freedom));
    if (unknowns < 1) unknowns = 1;
    if (unknowns > TR_POSE_N) unknowns = TR_POSE_N;
    /* Far out, the tail of chi-squared falls by e where it goes on by 2. */
    double rarer = 2 * log(fmax(1, n_listed / USUAL_MOVES));
    return without->cost - t->cost >= (CHANCE_CHI2[unknowns] + rarer) * scatter;
}

bool tr_moved_is_told(const tr_hypothesis_search *s, const tr_hypothesis *h) {
    return h->trial.away_mm >= s->least_move_mm &&
           (!s->beyond_chance || is_more_than_chance(s->beyond_chance, &h->trial, s->n_listed));
}

bool tr_moved_report(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_findings *findings,
                     tr_error *err) {
    bool shown[TR_MAX_PHOTOS];
    list_shown(s->in, s->adj, h->index, shown);
    for (int i = 0; i < s->in->n_photos; i++) {
        shown[i] = shown[i] && i >= h->first_photo && i <= h->last_photo;
    }
    char *names = tr_photo_names(s->in, shown, err);
    bool ok = names && tr_note(SHEET_MOVED, findings, err, s->in->sheets[h->index].id, names,
                               h->trial.away_mm);
    free(names);
    return ok;
}

/* ---- from single photos ---- */

/* Leaves in the list those photos that, each alone, have the sheet elsewhere than the network does.
   Returns the mean distance of these; 0: there is none. mm */
static double keep_displaced(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                             bool *is_listed) {
    tr_vec3 home = adj->net.sheets[sheet].world_from_sheet.t_mm;
    double sum = 0;
    int n = 0;
    for (int i = 0; i < in->n_photos; i++) {
        double mm = 0;
        for (int k = 0; is_listed[i] && k < in->photos[i]->n_views; k++) {
            const tr_sheet_view *view = &in->photos[i]->views[k];
            tr_pose pose;
            if (view->sheet != sheet || !tr_initial_floor_pose(in, adj, i, view, &pose)) continue;
            mm = hypot(pose.t_mm.x - home.x, pose.t_mm.y - home.y);
        }
        is_listed[i] = mm > TR_MOVED_MM;
        n += is_listed[i];
        sum += is_listed[i] ? mm : 0;
    }
    return n > 0 ? sum / n : 0;
}

bool tr_moved_report_displaced(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                               const bool *is_listed, bool *is_moved, tr_findings *findings,
                               tr_error *err) {
    bool is_away[TR_MAX_PHOTOS];
    memcpy(is_away, is_listed, (size_t)in->n_photos * sizeof *is_away);
    double away_mm = keep_displaced(in, adj, sheet, is_away);
    *is_moved = away_mm > 0;
    if (!*is_moved) return true;
    char *names = tr_photo_names(in, is_away, err);
    bool ok =
        names && tr_note(SHEET_AT_TWO_PLACES, findings, err, in->sheets[sheet].id, names, away_mm);
    free(names);
    return ok;
}
