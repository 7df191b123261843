#include "adjust/causes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "adjust/name_photos.h"
#include "adjust/trial.h"

/* A cause is believed when it takes away this part of what is too much in the residuals. */
static const double EXPLAINED_PART = 0.8;
/* A change of focal length that matters (0.4 % of 2 m are 8 mm); a stretch of a print that its
   prior does not explain, one way, and the difference of both ways; how many standard deviations
   make either more than chance. */
static const double FOCAL_PART = 0.004;
static const double STRETCH_PART = 0.004;
static const double STRETCH_DIFFERENCE = 0.005;
/* An expanded uncertainty of a print's scale above this says nothing worth telling. */
static const double MAX_PRINT_SCALE_U95 = 0.01;
static const double SIGNIFICANT_SIGMAS = 4.5;
/* A sheet that lies further from its place than this in some photos was moved; less is told where
   it is more than chance. */
static const double MOVED_MM = 4.0;
static const double MOVED_LITTLE_MM = 1.5;
/* Chi-squared with 1 to 6 degrees of freedom is above this once in 100,000; the moves that are
   tried say much the same, and tools/campaign says how often honest jobs meet it. */
static const double CHANCE_CHI2[7] = {0, 19.5, 23.0, 25.9, 28.5, 30.9, 33.1};
/* So many moves are listed in a job of a workshop. Where there are more, chance has more of them to
   choose from, and each must be rarer by as much (Bonferroni). */
static const double USUAL_MOVES = 100;
static const double MOVED_OVER_NUMBER = 15;
/* What each photo must gain by a camera of its own: nine unknowns take away 9 by chance. */
static const double UNSTEADY_COST = 18;

/* ---- what a trial says ---- */

/* The larger of the two changes that is significant and matters; 0 where neither does. */
static double telling_change(const tr_trial *t, double matters) {
    double best = 0;
    for (int k = 0; k < 2; k++) {
        bool is_telling =
            fabs(t->change[k]) > matters && fabs(t->change[k]) > SIGNIFICANT_SIGMAS * t->sd[k];
        if (is_telling && fabs(t->change[k]) > fabs(best)) best = t->change[k];
    }
    return best;
}

/* Whether the print is stretched by so much that it matters. How far both ways together the photos
   may tell less well than how far one way against the other; what a survey leaves open of that is
   not in the trial's standard deviations. */
static bool is_stretched(const tr_trial *t, const tr_sheet *sheet) {
    double difference = fabs(t->change[0] - t->change[1]);
    return telling_change(t, STRETCH_PART) != 0.0 ||
           (sheet->survey.n_rows == 0 && difference > STRETCH_DIFFERENCE &&
            difference > SIGNIFICANT_SIGMAS * t->difference_sd);
}

/* ---- which hypotheses are tried ---- */

/* Every hypothesis that is tried costs a solution. All that are not hopeless are, where that is
   less work than this many solutions of one observation: as in the jobs of a workshop, with up to
   some ten sheets and photos. Else the linearised test (tr_network_test) has the first word, and
   the best are tried; at least this many. */
static const double MUCH_WORK = 15000;
enum { MIN_TRIALS = 8 };

/* Where the marks fit well, a move or a stretch of which the linearised test promises less than
   this part of what is more than chance is not tried. In 4,000 jobs of tools/campaign traps with
   all tried, 1,085 moves took 26 or more from the cost; in two jobs it promised less of some of
   them, and more of another in both. */
static const double HOPELESS_PART = 0.5;

/* For all that can be tried: how promising it is, and whether it is to be tried. */
typedef struct {
    double promise;
    bool is_chosen;
} candidate;

static int compare_promise(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x < y) - (x > y);
}

static int affordable_trials(const tr_network *net) {
    double n = MUCH_WORK / fmax(1, net->n_observations);
    return n > MIN_TRIALS ? (int)n : MIN_TRIALS;
}

/* Marks the most promising of n. False: memory ran out. */
static bool choose(candidate *c, int n, int most, tr_error *err) {
    double *sorted = malloc(((size_t)n + 1) * sizeof *sorted);
    if (!sorted) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) sorted[i] = c[i].promise;
    qsort(sorted, (size_t)n, sizeof *sorted, compare_promise);
    for (int i = 0; i < n; i++) {
        c[i].is_chosen = n <= most || (c[i].promise > 0 && c[i].promise >= sorted[most - 1]);
    }
    free(sorted);
    return true;
}

/* ---- causes ---- */

typedef enum { NO_CAUSE, OTHER_LENS, UNSTEADY, OTHER_SCALE, MOVED, MISFIT } cause_kind;

typedef struct {
    cause_kind kind;
    int sheet;
    tr_trial trial;
    int lens;                     /* OTHER_LENS: which ... */
    double change;                /* ... and, relative, by how much its focal length */
    double scatter[TR_SCATTER_N]; /* UNSTEADY */
    double away_mm;               /* MOVED: how far ... */
    bool in_group[TR_MAX_PHOTOS]; /* ... in which photos */
} cause;

/* With several lenses, only the photos of one. */
static bool note_other_lens(const tr_adjust_input *in, const cause *c, tr_findings *findings,
                            tr_error *err) {
    const tr_lens *lens = &in->lenses[c->lens];
    double profile_px = lens->param[TR_FX];
    double fitted_px = profile_px * (1 + c->change);
    double difference_percent = -100 * c->change / (1 + c->change);
    if (in->n_lenses == 1) {
        return tr_note(LENS_MISMATCH, findings, err, lens->id, fitted_px, profile_px,
                       difference_percent);
    }
    bool is_listed[TR_MAX_PHOTOS] = {false};
    for (int i = 0; i < in->n_photos; i++) {
        is_listed[i] = in->photos[i] && in->lens_of[i] == c->lens;
    }
    char *names = tr_name_photos(in, is_listed, err);
    bool ok = names && tr_note(LENS_MISMATCH_OF_SOME, findings, err, names, lens->id, fitted_px,
                               profile_px, difference_percent);
    free(names);
    return ok;
}

static bool note_moved(const tr_adjust_input *in, const cause *c, tr_findings *findings,
                       tr_error *err) {
    char *names = tr_name_photos(in, c->in_group, err);
    bool ok =
        names && tr_note(SHEET_MOVED, findings, err, in->sheets[c->sheet].id, names, c->away_mm);
    free(names);
    return ok;
}

static bool note_cause(const tr_adjust_input *in, const cause *c, tr_findings *findings,
                       tr_error *err) {
    const char *id = in->sheets[c->sheet].id;
    switch (c->kind) {
    case NO_CAUSE: return true;
    case OTHER_LENS: return note_other_lens(in, c, findings, err);
    case UNSTEADY:
        return tr_note(CAMERA_NOT_STEADY, findings, err, in->lenses[c->lens].id,
                       c->scatter[TR_SCATTER_SHIFT], 100 * c->scatter[TR_SCATTER_FOCAL]);
    case OTHER_SCALE:
        return tr_note(SHEET_SCALE, findings, err, id, 100 * (1 + c->trial.change[0]),
                       100 * (1 + c->trial.change[1]));
    case MOVED: return note_moved(in, c, findings, err);
    case MISFIT: return tr_note(SHEET_DOES_NOT_FIT, findings, err, id);
    }
    return true;
}

/* change, sd: of width and height. */
static void note_stretch(const double change[2], const double sd[2],
                         tr_sheet_condition *condition) {
    condition->has_print_scale = true;
    for (int k = 0; k < 2; k++) {
        condition->print_scale[k] = change[k];
        condition->print_scale_u95[k] = 2 * sd[k];
        condition->has_print_scale =
            condition->has_print_scale && condition->print_scale_u95[k] < MAX_PRINT_SCALE_U95;
    }
}

/* The stretch of every sheet by the linearised test; false: err is set. Where it cannot tell, a
   solution has to. */
static bool test_scales(const tr_adjust_input *in, tr_adjustment *adj, double variance,
                        candidate *candidates, tr_error *err) {
    int n = 0;
    double scale = sqrt(fmax(1, variance));
    tr_net_hypothesis *h = calloc((size_t)in->n_sheets + 1, sizeof *h);
    if (!h) return tr_fail_memory(err);
    for (int i = 0; i < in->n_sheets; i++) {
        h[n] =
            (tr_net_hypothesis){.sheet = i, .is_print_scale = true, .last_photo = in->n_photos - 1};
        n += adj->sheet_placed[i];
    }
    bool ok = tr_network_test(&adj->net, TR_ADJUST_HUBER, h, n, err);
    for (int i = 0; i < n && ok; i++) {
        double sd[2] = {scale * sqrt(h[i].variance[0]), scale * sqrt(h[i].variance[1])};
        candidates[h[i].sheet].promise = h[i].is_determined ? h[i].score : INFINITY;
        if (h[i].is_determined) note_stretch(h[i].step, sd, &adj->conditions[h[i].sheet]);
    }
    free(h);
    return ok;
}

/* Photos of a lens in the solution. */
static int count_photos(const tr_adjustment *adj, int lens) {
    int n = 0;
    for (int i = 0; i < adj->net.n_photos; i++) {
        n += adj->photo_placed[i] && adj->net.photos[i].lens == lens;
    }
    return n;
}

static bool is_lens_in_use(const tr_adjustment *adj, int lens) {
    return count_photos(adj, lens) > 0;
}

/* Another lens, or a sheet printed at another scale: one number each. One parameter more always
   takes some cost away, so only what is telling competes. */
static void try_numbers(const tr_adjust_input *in, tr_adjustment *adj, const tr_network *base,
                        double variance, double *lowest, cause *best, tr_error *err) {
    for (int i = 0; i < in->n_lenses; i++) {
        if (in->lenses[i].is_unknown || !is_lens_in_use(adj, i)) continue;
        tr_trial t = tr_try_lens(&adj->net, base, i, &in->lenses[i], err);
        double change = t.is_solved ? telling_change(&t, FOCAL_PART) : 0;
        if (change == 0.0 || t.cost >= *lowest) continue;
        *best = (cause){.kind = OTHER_LENS, .trial = t, .lens = i, .change = change};
        *lowest = t.cost;
    }
    int most = affordable_trials(&adj->net);
    candidate *candidates = calloc((size_t)in->n_sheets + 1, sizeof *candidates);
    if (!candidates) {
        tr_fail_memory(err);
        return;
    }
    bool fits = variance <= TR_SUSPECT_VARIANCE;
    double least = fits ? HOPELESS_PART * SIGNIFICANT_SIGMAS * SIGNIFICANT_SIGMAS : 0;
    bool ok =
        ((!fits && in->n_sheets <= most) || test_scales(in, adj, variance, candidates, err)) &&
        choose(candidates, in->n_sheets, most, err);
    for (int i = 0; i < in->n_sheets && ok; i++) {
        if (!adj->sheet_placed[i] || !candidates[i].is_chosen || candidates[i].promise < least) {
            continue;
        }
        tr_trial t = tr_try_scale(&adj->net, base, i, err);
        adj->conditions[i].has_print_scale = false;
        if (t.is_solved) note_stretch(t.change, t.sd, &adj->conditions[i]);
        if (!t.is_solved || !is_stretched(&t, &in->sheets[i]) || t.cost >= *lowest) continue;
        *best = (cause){.kind = OTHER_SCALE, .sheet = i, .trial = t};
        *lowest = t.cost;
    }
    free(candidates);
}

/* Which photos show which sheets: [sheet * n_photos + photo]. NULL: memory ran out. */
static bool *list_shown(const tr_adjust_input *in, const tr_adjustment *adj) {
    size_t n = (size_t)in->n_photos;
    bool *shows = calloc(n * (size_t)in->n_sheets + 1, sizeof *shows);
    for (size_t i = 0; i < n && shows; i++) {
        for (int k = 0; in->photos[i] && k < in->photos[i]->n_views; k++) {
            shows[(size_t)in->photos[i]->views[k].sheet * n + i] = true;
        }
    }
    for (int i = 0; i < adj->net.n_observations && shows; i++) {
        const tr_net_obs *o = &adj->net.observations[i];
        shows[(size_t)o->sheet * n + (size_t)o->photo] = true;
    }
    return shows;
}

/* A sheet that lay elsewhere in one photo, and from one photo on, for all sheets and photos that
   show them: as tr_network_test likes them. Returns their number; h: room for two a view. */
static int list_moves(const tr_adjust_input *in, const tr_adjustment *adj, const bool *shows,
                      tr_net_hypothesis *h) {
    int n = 0;
    int last = in->n_photos - 1;
    for (int s = 0; s < in->n_sheets; s++) {
        const bool *shown = shows + (size_t)s * (size_t)in->n_photos;
        for (int is_single = 0; is_single < 2 && adj->sheet_placed[s]; is_single++) {
            for (int k = last; k >= 0; k--) {
                if (!shown[k]) continue;
                h[n++] = (tr_net_hypothesis){
                    .sheet = s, .first_photo = k, .last_photo = is_single ? k : last};
            }
        }
    }
    return n;
}

/* Where two explain alike, the first sheet has it, the first photo, one photo rather than all that
   follow. */
static int compare_moves(const void *a, const void *b) {
    const tr_net_hypothesis *x = a;
    const tr_net_hypothesis *y = b;
    if (x->sheet != y->sheet) return x->sheet - y->sheet;
    if (x->first_photo != y->first_photo) return x->first_photo - y->first_photo;
    return x->last_photo - y->last_photo;
}

/* Leaves the moves that are to be tried; *n becomes their number. least_gain: what a move must take
   from the cost at least; 0 where the linearised test may be far off, and rules out nothing. */
static bool choose_moves(tr_adjustment *adj, double least_gain, tr_net_hypothesis *moves, int *n,
                         tr_error *err) {
    int most = affordable_trials(&adj->net);
    int kept = 0;
    if (*n > 0 && (least_gain > 0 || *n > most)) {
        candidate *candidates = calloc((size_t)*n, sizeof *candidates);
        if (!candidates) return tr_fail_memory(err);
        bool ok = tr_network_test(&adj->net, TR_ADJUST_HUBER, moves, *n, err);
        for (int i = 0; i < *n; i++) {
            if (moves[i].is_determined && moves[i].score < HOPELESS_PART * least_gain) continue;
            candidates[kept].promise = moves[i].score;
            moves[kept++] = moves[i];
        }
        *n = kept;
        kept = 0;
        ok = ok && choose(candidates, *n, most, err);
        for (int i = 0; i < *n; i++) {
            if (candidates[i].is_chosen) moves[kept++] = moves[i];
        }
        free(candidates);
        if (!ok) return false;
        *n = kept;
    }
    qsort(moves, (size_t)*n, sizeof *moves, compare_moves);
    return true;
}

/* Whether a move explains more than chance does, against the scatter that it leaves: it raises what
   there was without it. n_moves: among which chance could choose. */
static bool is_more_than_chance(const tr_lsq_result *without, const tr_trial *t, int n_moves) {
    int unknowns = without->degrees_of_freedom - t->degrees_of_freedom;
    double scatter = fmax(1, t->cost / fmax(1, t->degrees_of_freedom));
    if (unknowns < 1) unknowns = 1;
    if (unknowns > 6) unknowns = 6;
    /* Far out, the tail of chi-squared falls by e where it goes on by 2. */
    double rarer = 2 * log(fmax(1, n_moves / USUAL_MOVES));
    return without->cost - t->cost >= (CHANCE_CHI2[unknowns] + rarer) * scatter;
}

/* A sheet that lay elsewhere in one photo, or from one photo on. without: the solution of which a
   move must explain more than chance; NULL: *lowest alone decides. */
static void try_all_moved(const tr_adjust_input *in, tr_adjustment *adj, const tr_network *base,
                          double least_mm, const tr_lsq_result *without, double *lowest,
                          cause *best, tr_error *err) {
    bool *shows = list_shown(in, adj);
    int n_views = 0;
    for (int i = 0; i < in->n_photos * in->n_sheets && shows; i++) n_views += shows[i];
    tr_net_hypothesis *moves = calloc(2 * (size_t)n_views + 1, sizeof *moves);
    if (!shows || !moves) {
        tr_fail_memory(err);
        goto out;
    }
    int n = list_moves(in, adj, shows, moves);
    int n_listed = n;
    bool fits = without && without->variance_factor <= TR_SUSPECT_VARIANCE;
    double least_gain = fits ? CHANCE_CHI2[1] : 0;
    if (!choose_moves(adj, least_gain, moves, &n, err)) goto out;
    for (int i = 0; i < n; i++) {
        const tr_net_hypothesis *m = &moves[i];
        cause c = {.kind = MOVED, .sheet = m->sheet};
        for (int k = m->first_photo; k <= m->last_photo; k++) {
            c.in_group[k] = shows[m->sheet * in->n_photos + k];
        }
        c.trial = tr_try_moved(&adj->net, base, m->sheet, c.in_group, &c.away_mm, err);
        if (!c.trial.is_solved || c.away_mm < least_mm || c.trial.cost >= *lowest) continue;
        if (without && !is_more_than_chance(without, &c.trial, n_listed)) continue;
        *best = c;
        *lowest = c.trial.cost;
    }
out:
    free(shows);
    free(moves);
}

/* How well the rest fits without each sheet, were nothing adjusted anew. False: memory ran out. */
static bool judge_rests(const tr_adjust_input *in, const tr_adjustment *adj,
                        const tr_lsq_result *result, candidate *candidates, tr_error *err) {
    double *cost = calloc(2 * (size_t)in->n_sheets + 1, sizeof *cost);
    if (!cost) return tr_fail_memory(err);
    double *rows = cost + in->n_sheets;
    for (int i = 0; i < adj->net.n_observations; i++) {
        const tr_net_obs *o = &adj->net.observations[i];
        double chi2;
        double rho;
        if (!o->is_used || !tr_network_residual(&adj->net, i, NULL, &chi2)) continue;
        (void)tr_lsq_weight(TR_ADJUST_HUBER, 2 * o->n_points, chi2, &rho);
        cost[o->sheet] += rho;
        rows[o->sheet] += 2 * o->n_points;
    }
    for (int i = 0; i < in->n_sheets; i++) {
        double rest = (result->cost - cost[i]) / fmax(1, result->degrees_of_freedom - rows[i]);
        candidates[i].promise = adj->sheet_placed[i] && i != adj->root ? 1 / fmax(rest, 1e-12) : 0;
    }
    free(cost);
    return true;
}

/* A sheet without which the rest fits. */
static void try_misfits(const tr_adjust_input *in, tr_adjustment *adj, const tr_network *base,
                        const tr_lsq_result *result, cause *best, tr_error *err) {
    double lowest = fmax(1.5, 1 + (1 - EXPLAINED_PART) * (result->variance_factor - 1));
    candidate *candidates = calloc((size_t)in->n_sheets + 1, sizeof *candidates);
    if (!candidates) {
        tr_fail_memory(err);
        return;
    }
    bool ok = judge_rests(in, adj, result, candidates, err) &&
              choose(candidates, in->n_sheets, affordable_trials(&adj->net), err);
    for (int i = 0; i < in->n_sheets && ok; i++) {
        if (!candidates[i].is_chosen || !adj->sheet_placed[i] || i == adj->root) continue;
        tr_trial t = tr_try_without(&adj->net, base, i, err);
        double v = t.is_solved ? t.cost / fmax(1, t.degrees_of_freedom) : INFINITY;
        if (v >= lowest) continue;
        *best = (cause){.kind = MISFIT, .sheet = i, .trial = t};
        lowest = v;
    }
    free(candidates);
}

/* A camera that is not as steady as its profile says explains much of anything, with nine unknowns
   a photo. */
static void try_unsteady(const tr_adjust_input *in, tr_adjustment *adj, const tr_network *base,
                         double *lowest, cause *best, tr_error *err) {
    for (int i = 0; i < in->n_lenses; i++) {
        cause c = {.kind = UNSTEADY, .lens = i};
        if (!in->lenses[i].scatter.is_steady || !is_lens_in_use(adj, i)) continue;
        c.trial = tr_try_unsteady(&adj->net, base, i, c.scatter, err);
        double cost = c.trial.cost + UNSTEADY_COST * count_photos(adj, i);
        if (!c.trial.is_solved || cost >= *lowest) continue;
        *best = c;
        *lowest = cost;
    }
}

bool tr_find_cause(const tr_adjust_input *in, tr_adjustment *adj, const tr_lsq_result *result,
                   tr_findings *findings, bool *is_explained, tr_error *err) {
    tr_network base;
    cause best = {0};
    double lowest = result->cost;
    tr_error failure = {0};
    *is_explained = false;
    if (!tr_network_copy(&adj->net, &base, err)) return false;
    try_numbers(in, adj, &base, result->variance_factor, &lowest, &best, &failure);
    if (result->variance_factor > TR_SUSPECT_VARIANCE) {
        /* A cause must take away most of what is too much. */
        double explained =
            result->cost - EXPLAINED_PART * (result->cost - result->degrees_of_freedom);
        if (lowest > explained) {
            best = (cause){0};
            lowest = explained;
            try_all_moved(in, adj, &base, MOVED_MM, NULL, &lowest, &best, &failure);
            try_unsteady(in, adj, &base, &lowest, &best, &failure);
        }
        if (best.kind == NO_CAUSE) {
            try_misfits(in, adj, &base, result, &best, &failure);
        }
    } else if (best.kind != NO_CAUSE) {
        /* What one number explains, a small move of a sheet may explain better; it has four
           unknowns more. */
        lowest -= MOVED_OVER_NUMBER;
        try_all_moved(in, adj, &base, MOVED_LITTLE_MM, NULL, &lowest, &best, &failure);
    }
    tr_network_release(&base);
    if (failure.code != TR_OK) {
        *err = failure;
        return false;
    }
    *is_explained = best.kind == OTHER_LENS || best.kind == OTHER_SCALE;
    return note_cause(in, &best, findings, err);
}

bool tr_find_moved(const tr_adjust_input *in, tr_adjustment *adj, const tr_lsq_result *result,
                   double most_cost, tr_findings *findings, tr_error *err) {
    tr_network base;
    cause best = {0};
    double lowest = fmin(result->cost, most_cost);
    tr_error failure = {0};
    if (tr_findings_have(findings, TR_FOUND_SHEET_MOVED)) return true;
    if (!tr_network_copy(&adj->net, &base, err)) return false;
    try_all_moved(in, adj, &base, MOVED_LITTLE_MM, result, &lowest, &best, &failure);
    tr_network_release(&base);
    if (failure.code != TR_OK) {
        *err = failure;
        return false;
    }
    return note_cause(in, &best, findings, err);
}

bool tr_find_contradicted(const tr_adjust_input *in, const tr_adjustment *adj,
                          tr_findings *findings, tr_error *err) {
    cause c = {.kind = OTHER_LENS};
    if (tr_findings_have(findings, TR_FOUND_LENS_MISMATCH) ||
        tr_findings_have(findings, TR_FOUND_SHEET_SCALE)) {
        return true;
    }
    for (c.lens = 0; c.lens < in->n_lenses; c.lens++) {
        double prior_sd;
        if (in->lenses[c.lens].is_unknown) continue;
        c.change = tr_camera_focal_change(&adj->net, c.lens, &prior_sd);
        if (adj->net.lenses[c.lens].is_free[TR_FX] &&
            fabs(c.change) > SIGNIFICANT_SIGMAS * fmax(prior_sd, TR_ADJUST_FOCAL_SD)) {
            return note_cause(in, &c, findings, err);
        }
    }
    for (int i = 0; i < in->n_sheets; i++) {
        const tr_net_sheet *s = &adj->net.sheets[i];
        if (!s->is_free[TR_PRINT_SCALE_X] ||
            fmax(fabs(s->shape[0]), fabs(s->shape[1])) <= SIGNIFICANT_SIGMAS * TR_ADJUST_PRINT_SD) {
            continue;
        }
        c = (cause){.kind = OTHER_SCALE, .sheet = i};
        for (int k = 0; k < 2; k++) c.trial.change[k] = s->shape[k];
        return note_cause(in, &c, findings, err);
    }
    return true;
}
