#include "diagnose/hypotheses.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "base/array.h"
#include "diagnose/moved.h"
#include "diagnose/photo_names.h"

/* A cause is believed when it takes away this part of what is too much in the residuals. */
static const double EXPLAINED_PART = 0.8;
/* A change of focal length that matters (0.4 % of 2 m are 8 mm); a print scale that its prior does
   not explain, one way, and the difference of both ways; how many standard deviations make either
   more than chance. */
static const double FOCAL_PART = 0.004;
static const double PRINT_SCALE_PART = 0.004;
static const double PRINT_SCALE_DIFFERENCE = 0.005;
static const double SIGNIFICANT_SIGMAS = 4.5;
/* Of a focal length, of which there is but one a job to be tested. The photos of a hand-held camera
   tell it so badly that a lens 4 % off departed by 3.6 to 4.3 in the trap jobs that passed with it
   (doc/measurements.md); an honest one departs by 3.5 once in two thousand. */
static const double FOCAL_SIGMAS = 3.5;
/* An expanded uncertainty of a print scale above this says nothing worth telling. */
static const double MAX_PRINT_SCALE_U95 = 0.01;
/* How much lower the cost must be with a move than with one number: it has four unknowns more. */
static const double MOVED_OVER_NUMBER = 15;
/* By what each photo must lower the cost with a camera of its own: nine unknowns lower it by 9 by
   chance. */
static const double UNSTEADY_COST = 18;
/* Above this variance factor it is tried, though the marks fit. */
static const double DOUBTFUL_VARIANCE = 1.5;
/* Without the sheet that does not fit, the variance factor falls below this at least. */
static const double REST_VARIANCE = 1.5;

/* Every trial costs a solution. All hypotheses but the hopeless are tried where that is less work
   than this many solutions of one observation: as in the jobs of a workshop, with up to some ten
   sheets and photos. Else the score test (tr_network_test) has the first word, and the best are
   tried; at least this many. */
static const double MUCH_WORK = 15000;
enum { MIN_TRIALS = 8 };

/* Where the marks fit well, a hypothesis whose score is less than this part of what is more than
   chance is not tried. In 4,000 jobs of tools/campaign traps with all tried, 1,085 moves took 26 or
   more from the cost; in two jobs the score of some of them was less, and that of another more in
   both. */
static const double HOPELESS_PART = 0.5;

/* Kinds are tried in stages; a later one only where none before it explains enough. */
typedef enum { ONE_NUMBER, SEVERAL_UNKNOWNS, WITHOUT_A_SHEET } stage;

struct tr_hypothesis_kind {
    stage stage;
    bool is_whole; /* it explains single marks that contradict, too */
    /* Lists hypotheses (index, photos); returns their number. */
    int (*list)(const tr_hypothesis_search *s, tr_hypothesis *h);
    /* Fills in the scores of n; NULL: only trials tell. */
    bool (*score)(const tr_hypothesis_search *s, tr_hypothesis *h, int n, tr_error *err);
    tr_trial (*try)(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_error *err);
    /* Whether a solved trial says that it is so. */
    bool (*is_told)(const tr_hypothesis_search *s, const tr_hypothesis *h);
    /* How badly the network fits with it, the price of its unknowns included; in one stage all are
       alike, and the lowest wins. */
    double (*cost)(const tr_hypothesis_search *s, const tr_hypothesis *h);
    bool (*report)(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_findings *findings,
                   tr_error *err);
};

static double cost_of_trial(const tr_hypothesis_search *s, const tr_hypothesis *h) {
    (void)s;
    return h->trial.cost;
}

static bool is_always_told(const tr_hypothesis_search *s, const tr_hypothesis *h) {
    (void)s;
    (void)h;
    return true;
}

/* The larger of a trial's two changes that is significant and matters; 0 where neither does. */
static double telling_change(const tr_trial *t, double matters, double sigmas) {
    double best = 0;
    for (int k = 0; k < 2; k++) {
        bool is_telling = fabs(t->change[k]) > matters && fabs(t->change[k]) > sigmas * t->sd[k];
        if (is_telling && fabs(t->change[k]) > fabs(best)) best = t->change[k];
    }
    return best;
}

/* ---- another lens ---- */

/* Photos of a lens in the solution. */
static int count_photos(const tr_adjustment *adj, int lens) {
    int n = 0;
    for (int i = 0; i < adj->net.n_photos; i++) {
        n += adj->photo_placed[i] && adj->net.photos[i].lens == lens;
    }
    return n;
}

static int list_lenses(const tr_hypothesis_search *s, tr_hypothesis *h) {
    int n = 0;
    for (int i = 0; i < s->in->n_lenses; i++) {
        if (s->in->lenses[i].is_unknown || count_photos(s->adj, i) == 0) continue;
        h[n++] = (tr_hypothesis){.index = i};
    }
    return n;
}

static tr_trial try_lens(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_error *err) {
    return tr_trial_lens(&s->adj->net, s->base, h->index, &s->in->lenses[h->index], err);
}

static bool is_lens_told(const tr_hypothesis_search *s, const tr_hypothesis *h) {
    (void)s;
    return telling_change(&h->trial, FOCAL_PART, FOCAL_SIGMAS) != 0.0;
}

/* change: of the focal length, relative. With several lenses, only the photos of one are meant. */
static bool report_focal_change(const tr_adjust_input *in, int number, double change,
                                tr_findings *findings, tr_error *err) {
    const tr_lens *lens = &in->lenses[number];
    double profile_px = lens->param[TR_FX];
    double fitted_px = profile_px * (1 + change);
    double difference_percent = -100 * change / (1 + change);
    if (in->n_lenses == 1) {
        return tr_note(LENS_MISMATCH, findings, err, lens->id, fitted_px, profile_px,
                       difference_percent);
    }
    bool is_listed[TR_MAX_PHOTOS] = {false};
    for (int i = 0; i < in->n_photos; i++) {
        is_listed[i] = in->photos[i] && in->lens_of[i] == number;
    }
    char *names = tr_photo_names(in, is_listed, err);
    bool ok = names && tr_note(LENS_MISMATCH_OF_SOME, findings, err, names, lens->id, fitted_px,
                               profile_px, difference_percent);
    free(names);
    return ok;
}

static bool report_lens(const tr_hypothesis_search *s, const tr_hypothesis *h,
                        tr_findings *findings, tr_error *err) {
    double change = telling_change(&h->trial, FOCAL_PART, FOCAL_SIGMAS);
    return report_focal_change(s->in, h->index, change, findings, err);
}

/* ---- another print scale ---- */

static int list_prints(const tr_hypothesis_search *s, tr_hypothesis *h) {
    int n = 0;
    for (int i = 0; i < s->in->n_sheets; i++) {
        if (s->adj->sheet_placed[i]) h[n++] = (tr_hypothesis){.index = i};
    }
    return n;
}

/* change, sd: of width and height. */
static void note_print_scale(const double change[2], const double sd[2],
                             tr_sheet_condition *condition) {
    condition->has_print_scale = true;
    for (int k = 0; k < 2; k++) {
        condition->print_scale[k] = change[k];
        condition->print_scale_u95[k] = 2 * sd[k];
        condition->has_print_scale =
            condition->has_print_scale && condition->print_scale_u95[k] < MAX_PRINT_SCALE_U95;
    }
}

/* Where the score test cannot tell, a solution has to. */
static bool score_prints(const tr_hypothesis_search *s, tr_hypothesis *h, int n, tr_error *err) {
    double scale = sqrt(fmax(1, s->adj->result.variance_factor));
    tr_net_hypothesis *tests = tr_array(n, sizeof *tests);
    if (!tests) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        tests[i] = (tr_net_hypothesis){.sheet = h[i].index,
                                       .component = TR_PRINT_SCALE_X,
                                       .n = 2,
                                       .last_photo = s->in->n_photos - 1};
    }
    bool ok = tr_network_test(&s->adj->net, TR_ADJUST_HUBER, tests, n, err);
    for (int i = 0; i < n && ok; i++) {
        double sd[2] = {scale * sqrt(tests[i].variance[0]), scale * sqrt(tests[i].variance[1])};
        if (!tests[i].is_determined) continue;
        h[i].is_scored = true;
        h[i].score = tests[i].score;
        note_print_scale(tests[i].step, sd, &s->conditions[h[i].index]);
    }
    free(tests);
    return ok;
}

static tr_trial try_print(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_error *err) {
    tr_trial t = tr_trial_scale(&s->adj->net, s->base, h->index, err);
    s->conditions[h->index].has_print_scale = false;
    if (t.is_solved) note_print_scale(t.change, t.sd, &s->conditions[h->index]);
    return t;
}

/* The photos may determine the mean print scale less well than the difference of the two axes. What
   a survey leaves open of that is not in the trial's standard deviations. */
static bool is_print_told(const tr_hypothesis_search *s, const tr_hypothesis *h) {
    const tr_trial *t = &h->trial;
    double difference = fabs(t->change[0] - t->change[1]);
    return telling_change(t, PRINT_SCALE_PART, SIGNIFICANT_SIGMAS) != 0.0 ||
           (s->in->sheets[h->index].survey.n_rows == 0 && difference > PRINT_SCALE_DIFFERENCE &&
            difference > SIGNIFICANT_SIGMAS * t->difference_sd);
}

static bool report_print_scale(const tr_adjust_input *in, int sheet, const double change[2],
                               tr_findings *findings, tr_error *err) {
    return tr_note(SHEET_SCALE, findings, err, in->sheets[sheet].id, 100 * (1 + change[0]),
                   100 * (1 + change[1]));
}

static bool report_print(const tr_hypothesis_search *s, const tr_hypothesis *h,
                         tr_findings *findings, tr_error *err) {
    return report_print_scale(s->in, h->index, h->trial.change, findings, err);
}

/* ---- moved: moved.h ---- */

static tr_trial try_move(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_error *err) {
    return tr_trial_moved(&s->adj->net, s->base, h->index, h->first_photo, h->last_photo, err);
}

/* ---- a camera that is not steady ---- */

static int list_steady_lenses(const tr_hypothesis_search *s, tr_hypothesis *h) {
    int n = 0;
    for (int i = 0; i < s->in->n_lenses; i++) {
        if (!s->in->lenses[i].scatter.is_steady || count_photos(s->adj, i) == 0) continue;
        h[n++] = (tr_hypothesis){.index = i};
    }
    return n;
}

static tr_trial try_unsteady(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_error *err) {
    return tr_trial_unsteady(&s->adj->net, s->base, h->index, err);
}

/* A camera of its own in every photo explains much of anything. */
static double cost_of_unsteady(const tr_hypothesis_search *s, const tr_hypothesis *h) {
    return h->trial.cost + UNSTEADY_COST * count_photos(s->adj, h->index);
}

static bool report_unsteady(const tr_hypothesis_search *s, const tr_hypothesis *h,
                            tr_findings *findings, tr_error *err) {
    return tr_note(CAMERA_NOT_STEADY, findings, err, s->in->lenses[h->index].id,
                   h->trial.scatter[TR_SCATTER_SHIFT], 100 * h->trial.scatter[TR_SCATTER_FOCAL]);
}

/* ---- a sheet that does not fit ---- */

static int list_removable(const tr_hypothesis_search *s, tr_hypothesis *h) {
    int n = 0;
    for (int i = 0; i < s->in->n_sheets; i++) {
        if (s->adj->sheet_placed[i] && i != s->adj->datum_sheet) {
            h[n++] = (tr_hypothesis){.index = i};
        }
    }
    return n;
}

/* How well the rest fits without each sheet, were nothing adjusted anew. */
static bool score_removable(const tr_hypothesis_search *s, tr_hypothesis *h, int n, tr_error *err) {
    const tr_network *net = &s->adj->net;
    const tr_lsq_result *result = &s->adj->result;
    double *cost = tr_table(2, net->n_sheets, sizeof *cost);
    if (!cost) return tr_fail_memory(err);
    double *rows = cost + net->n_sheets;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        double chi2;
        double rho;
        if (!o->is_used || !tr_network_residual(net, i, NULL, &chi2)) continue;
        (void)tr_lsq_weight(TR_ADJUST_HUBER, 2 * o->n_points, chi2, &rho);
        cost[o->sheet] += rho;
        rows[o->sheet] += 2 * o->n_points;
    }
    for (int i = 0; i < n; i++) {
        int sheet = h[i].index;
        double rest =
            (result->cost - cost[sheet]) / fmax(1, result->degrees_of_freedom - rows[sheet]);
        h[i].is_scored = true;
        h[i].score = 1 / fmax(rest, 1e-12);
    }
    free(cost);
    return true;
}

static tr_trial try_without(const tr_hypothesis_search *s, const tr_hypothesis *h, tr_error *err) {
    return tr_trial_without(&s->adj->net, s->base, h->index, err);
}

/* The variance factor of the rest: each has other observations. */
static double variance_of_rest(const tr_hypothesis_search *s, const tr_hypothesis *h) {
    (void)s;
    return h->trial.cost / fmax(1, h->trial.degrees_of_freedom);
}

static bool report_unfit(const tr_hypothesis_search *s, const tr_hypothesis *h,
                         tr_findings *findings, tr_error *err) {
    return tr_note(SHEET_DOES_NOT_FIT, findings, err, s->in->sheets[h->index].id);
}

/* ---- the table ---- */

enum { ANOTHER_LENS, ANOTHER_SCALE, MOVED, NOT_STEADY, NOT_FIT, N_KINDS };
static const tr_hypothesis_kind KINDS[N_KINDS] = {
    [ANOTHER_LENS] = {ONE_NUMBER, true, list_lenses, NULL, try_lens, is_lens_told, cost_of_trial,
                      report_lens},
    [ANOTHER_SCALE] = {ONE_NUMBER, true, list_prints, score_prints, try_print, is_print_told,
                       cost_of_trial, report_print},
    [MOVED] = {SEVERAL_UNKNOWNS, false, tr_moved_list, tr_moved_score, try_move, tr_moved_is_told,
               cost_of_trial, tr_moved_report},
    [NOT_STEADY] = {SEVERAL_UNKNOWNS, false, list_steady_lenses, NULL, try_unsteady, is_always_told,
                    cost_of_unsteady, report_unsteady},
    [NOT_FIT] = {WITHOUT_A_SHEET, false, list_removable, score_removable, try_without,
                 is_always_told, variance_of_rest, report_unfit},
};

/* ---- the search ---- */

static int compare_score(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x < y) - (x > y);
}

/* Ties go to the first sheet or lens, then to the first photo, then to a single photo rather than
   all that follow. */
static int compare_place(const void *a, const void *b) {
    const tr_hypothesis *x = a;
    const tr_hypothesis *y = b;
    if (x->index != y->index) return x->index - y->index;
    if (x->first_photo != y->first_photo) return x->first_photo - y->first_photo;
    return x->last_photo - y->last_photo;
}

static int affordable_trials(const tr_network *net) {
    double n = MUCH_WORK / fmax(1, net->n_observations);
    return n > MIN_TRIALS ? (int)n : MIN_TRIALS;
}

/* Leaves those with the highest scores, no more than `most`, and puts them in order; *n becomes
   their number. */
static bool choose(tr_hypothesis *h, int *n, int most, tr_error *err) {
    if (*n > most) {
        double *sorted = tr_array(*n, sizeof *sorted);
        if (!sorted) return tr_fail_memory(err);
        for (int i = 0; i < *n; i++) sorted[i] = h[i].score;
        qsort(sorted, (size_t)*n, sizeof *sorted, compare_score);
        double least = sorted[most - 1];
        free(sorted);
        int kept = 0;
        for (int i = 0; i < *n; i++) {
            if (h[i].score > 0 && h[i].score >= least) h[kept++] = h[i];
        }
        *n = kept;
    }
    qsort(h, (size_t)*n, sizeof *h, compare_place);
    return true;
}

/* The hypotheses of a kind that are to be tried. A score below least_score rules out; 0: none does,
   as where the marks fit badly and the score test may be far off. */
static bool list_kind(tr_hypothesis_search *s, const tr_hypothesis_kind *kind, double least_score,
                      tr_hypothesis *h, int *n, tr_error *err) {
    int most = affordable_trials(&s->adj->net);
    int kept = 0;
    *n = s->n_listed = kind->list(s, h);
    for (int i = 0; i < *n; i++) {
        h[i].kind = kind;
        h[i].score = INFINITY;
    }
    bool is_scored = kind->score && *n > 0 && (least_score > 0 || *n > most);
    if (is_scored && !kind->score(s, h, *n, err)) return false;
    for (int i = 0; i < *n; i++) {
        if (!h[i].is_scored || h[i].score >= least_score) h[kept++] = h[i];
    }
    *n = kept;
    return choose(h, n, most, err);
}

/* Tries a kind: the best of it becomes *best where it costs less than *lowest, which follows. */
static bool try_kind(tr_hypothesis_search *s, const tr_hypothesis_kind *kind, double least_score,
                     double *lowest, tr_hypothesis *best, tr_error *err) {
    tr_error failure = {0};
    int n;
    int room = s->in->n_lenses + s->in->n_sheets + 2 * s->in->n_photos * s->in->n_sheets;
    tr_hypothesis *h = tr_array(room, sizeof *h);
    if (!h) return tr_fail_memory(err);
    bool ok = list_kind(s, kind, least_score, h, &n, err);
    for (int i = 0; i < n && ok; i++) {
        h[i].trial = kind->try(s, &h[i], &failure);
        if (!h[i].trial.is_solved || !kind->is_told(s, &h[i])) continue;
        double cost = kind->cost(s, &h[i]);
        if (cost >= *lowest) continue;
        *best = h[i];
        *lowest = cost;
    }
    free(h);
    if (failure.code != TR_OK) *err = failure;
    return ok && failure.code == TR_OK;
}

static bool try_stage(tr_hypothesis_search *s, stage which, double least_score, double *lowest,
                      tr_hypothesis *best, tr_error *err) {
    for (int k = 0; k < N_KINDS; k++) {
        if (KINDS[k].stage == which && !try_kind(s, &KINDS[k], least_score, lowest, best, err)) {
            return false;
        }
    }
    return true;
}

/* Where the marks fit badly: what takes away most of what is too much; else a sheet without which
   the rest fits. best, lowest: of one number. */
static bool explain_poor_fit(tr_hypothesis_search *s, double lowest, tr_hypothesis *best,
                             tr_error *err) {
    const tr_lsq_result *result = &s->adj->result;
    double too_much = result->cost - result->degrees_of_freedom;
    double explained = result->cost - EXPLAINED_PART * too_much;
    if (lowest > explained) {
        *best = (tr_hypothesis){0};
        lowest = explained;
        if (!try_stage(s, SEVERAL_UNKNOWNS, 0, &lowest, best, err)) return false;
    }
    if (best->kind) return true;
    lowest = fmax(REST_VARIANCE, 1 + (1 - EXPLAINED_PART) * (result->variance_factor - 1));
    return try_stage(s, WITHOUT_A_SHEET, 0, &lowest, best, err);
}

static bool identify(tr_hypothesis_search *s, tr_hypothesis *best, tr_error *err) {
    bool fits = s->adj->result.variance_factor <= TR_SUSPECT_VARIANCE;
    double more_than_chance = SIGNIFICANT_SIGMAS * SIGNIFICANT_SIGMAS;
    double lowest = s->adj->result.cost;
    if (!try_stage(s, ONE_NUMBER, fits ? HOPELESS_PART * more_than_chance : 0, &lowest, best,
                   err)) {
        return false;
    }
    if (!fits) return explain_poor_fit(s, lowest, best, err);
    /* Few photos of a camera that is not steady fit well enough, and bend to anything. */
    bool is_doubtful = s->adj->result.variance_factor > DOUBTFUL_VARIANCE;
    if (is_doubtful && !try_kind(s, &KINDS[NOT_STEADY], 0, &lowest, best, err)) return false;
    if (!best->kind) return true;
    /* What one number explains, a small move of a sheet may explain better. */
    lowest -= MOVED_OVER_NUMBER;
    s->least_move_mm = TR_MOVED_LITTLE_MM;
    return try_kind(s, &KINDS[MOVED], 0, &lowest, best, err);
}

bool tr_hypotheses_identify(const tr_adjust_input *in, tr_adjustment *adj,
                            tr_sheet_condition *conditions, tr_findings *findings,
                            bool *is_explained, tr_error *err) {
    tr_network base;
    tr_hypothesis best = {0};
    *is_explained = false;
    if (!tr_network_copy(&adj->net, &base, err)) return false;
    tr_hypothesis_search s = {.in = in,
                              .adj = adj,
                              .base = &base,
                              .conditions = conditions,
                              .least_move_mm = TR_MOVED_MM};
    bool ok = identify(&s, &best, err);
    tr_network_release(&base);
    *is_explained = ok && best.kind && best.kind->is_whole;
    return ok && (!best.kind || best.kind->report(&s, &best, findings, err));
}

bool tr_hypotheses_test_moves(const tr_adjust_input *in, tr_adjustment *adj, double most_cost,
                              tr_findings *findings, tr_error *err) {
    tr_network base;
    tr_hypothesis best = {0};
    const tr_lsq_result *result = &adj->result;
    double lowest = fmin(result->cost, most_cost);
    bool fits = result->variance_factor <= TR_SUSPECT_VARIANCE;
    if (tr_findings_have(findings, TR_FOUND_SHEET_MOVED)) return true;
    if (!tr_network_copy(&adj->net, &base, err)) return false;
    tr_hypothesis_search s = {.in = in,
                              .adj = adj,
                              .base = &base,
                              .least_move_mm = TR_MOVED_LITTLE_MM,
                              .beyond_chance = result};
    bool ok = try_kind(&s, &KINDS[MOVED], fits ? HOPELESS_PART * TR_MOVED_CHANCE : 0, &lowest,
                       &best, err);
    tr_network_release(&base);
    return ok && (!best.kind || best.kind->report(&s, &best, findings, err));
}

/* ---- against the priors ---- */

bool tr_hypotheses_test_priors(const tr_adjust_input *in, const tr_adjustment *adj,
                               tr_findings *findings, tr_error *err) {
    if (tr_findings_have(findings, TR_FOUND_LENS_MISMATCH) ||
        tr_findings_have(findings, TR_FOUND_SHEET_SCALE)) {
        return true;
    }
    for (int i = 0; i < in->n_lenses; i++) {
        double prior_sd;
        if (in->lenses[i].is_unknown) continue;
        double change = tr_camera_focal_change(&adj->net, i, &prior_sd);
        if (adj->net.lenses[i].is_free[TR_FX] &&
            fabs(change) > FOCAL_SIGMAS * fmax(prior_sd, TR_ADJUST_FOCAL_SD)) {
            return report_focal_change(in, i, change, findings, err);
        }
    }
    for (int i = 0; i < in->n_sheets; i++) {
        const tr_net_sheet *s = &adj->net.sheets[i];
        if (!s->is_free[TR_PRINT_SCALE_X] ||
            fmax(fabs(s->shape[TR_SHAPE_SCALE_X]), fabs(s->shape[TR_SHAPE_SCALE_Y])) <=
                SIGNIFICANT_SIGMAS * TR_ADJUST_PRINT_SD) {
            continue;
        }
        return report_print_scale(in, i, &s->shape[TR_SHAPE_SCALE_X], findings, err);
    }
    return true;
}
