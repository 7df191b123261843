#include "adjust/findings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/start.h"

/* A cause is believed when it takes away this part of what is too much in the residuals. */
static const double EXPLAINED_PART = 0.8;
/* Residuals this much larger (in variance) than the marks' own standard deviations say that
   something does not fit; honest photos stay below 2 (tools/bench accuracy). */
static const double SUSPECT_VARIANCE = 2.5;
static const double BLOCK_VARIANCE = 6.0;
/* A change of focal length that matters (0.4 % of 2 m are 8 mm); how far the stretch of a print
   moves its corners where it matters, and the part that always does; how many standard deviations
   make either more than chance. */
static const double FOCAL_PART = 0.004;
static const double STRETCH_MM = 2.5;
static const double STRETCH_PART = 0.005;
/* An expanded uncertainty of a print's scale above this says nothing worth telling. */
static const double MAX_STRETCH_U95 = 0.01;
static const double SIGNIFICANT_SIGMAS = 4.5;
/* The profile's standard deviations of the focal lengths are widened by this to let the photos
 * speak. */
static const double WIDEN_FOCAL = 300;
/* Share of a sheet's marks in one photo, and of all marks, that may be left out. */
static const double LEFT_OUT_OF_VIEW = 0.34;
static const double LEFT_OUT_OF_ALL = 0.10;
/* A sheet that lies further from its place than this in some photos was moved; less is told where
   it is more than chance. */
static const double MOVED_MM = 4.0;
static const double MOVED_LITTLE_MM = 1.5;
/* Chi-squared with 1 to 6 degrees of freedom is above this once in 100,000; the moves that are
   tried say much the same, and tools/campaign says how often honest jobs meet it. */
static const double CHANCE_CHI2[7] = {0, 19.5, 23.0, 25.9, 28.5, 30.9, 33.1};
static const double MOVED_OVER_NUMBER = 15;
/* Photos beyond these (a check takes no more) are not looked at one by one. */
enum { MAX_PHOTOS = 1000 };

/* ---- trying causes ---- */

typedef struct {
    tr_net_lens lens;
    tr_net_rig *rigs;
    tr_net_sheet *sheets;
    bool *is_used;
} snapshot;

static void release_snapshot(snapshot *s) {
    free(s->rigs);
    free(s->sheets);
    free(s->is_used);
}

static bool take_snapshot(const tr_network *net, snapshot *s, tr_error *err) {
    s->lens = net->lenses[0];
    s->rigs = malloc(((size_t)net->n_rigs + 1) * sizeof *s->rigs);
    s->sheets = malloc(((size_t)net->n_sheets + 1) * sizeof *s->sheets);
    s->is_used = malloc((size_t)net->n_observations + 1);
    if (!s->rigs || !s->sheets || !s->is_used) {
        release_snapshot(s);
        return tr_fail_memory(err);
    }
    memcpy(s->rigs, net->rigs, (size_t)net->n_rigs * sizeof *s->rigs);
    memcpy(s->sheets, net->sheets, (size_t)net->n_sheets * sizeof *s->sheets);
    for (int i = 0; i < net->n_observations; i++) s->is_used[i] = net->observations[i].is_used;
    return true;
}

static void restore(tr_network *net, const snapshot *s) {
    net->lenses[0] = s->lens;
    memcpy(net->rigs, s->rigs, (size_t)net->n_rigs * sizeof *s->rigs);
    memcpy(net->sheets, s->sheets, (size_t)net->n_sheets * sizeof *s->sheets);
    for (int i = 0; i < net->n_observations; i++) net->observations[i].is_used = s->is_used[i];
}

/* One cause tried: how well the network fits with it, and what it says. */
typedef struct {
    bool is_solved;
    double cost;
    int degrees_of_freedom;
    double change[2];     /* relative: of the focal lengths; of the print's width and height */
    double sd[2];         /* of those, scaled by the residuals ... */
    double difference_sd; /* ... and of one less the other */
} trial;

/* That a cause does not lead to a solution says that it is not the one. Only memory that ran out is
   a failure (err is then set): a cause that was not tried is no cause ruled out. */
static void solve_trial(tr_network *net, const tr_net_unknown wanted[2], const double scale[2],
                        trial *t, tr_error *err) {
    double C[4] = {0};
    tr_lsq_result result;
    tr_error why = {0};
    /* A hundredth of a standard deviation is close enough to tell a cause. */
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = 0.01, .max_iterations = 30};
    if (wanted) {
        options.wanted = wanted;
        options.n_wanted = 2;
        options.covariance = C;
    }
    t->is_solved = tr_network_solve(net, &options, &result, &why);
    if (why.code == TR_NO_MEMORY) tr_fail_memory(err);
    if (!t->is_solved) return;
    t->cost = result.cost;
    t->degrees_of_freedom = result.degrees_of_freedom;
    double s2 = fmax(1, result.variance_factor);
    if (!wanted) return;
    for (int k = 0; k < 2; k++) t->sd[k] = sqrt(s2 * C[3 * k]) * scale[k];
    double v = t->sd[0] * t->sd[0] + t->sd[1] * t->sd[1] - 2 * s2 * C[1] * scale[0] * scale[1];
    t->difference_sd = sqrt(fmax(v, 0));
}

/* The photos themselves say what the focal lengths are. */
static trial try_lens(tr_network *net, const tr_lens *profile, tr_error *err) {
    trial t = {0};
    tr_net_lens *lens = &net->lenses[0];
    double stated[2] = {profile->param[TR_FX], profile->param[TR_FY]};
    double prior_sd[2] = {0, 0};
    if (lens->has_prior) {
        for (int k = 0; k < 2; k++) {
            prior_sd[k] = sqrt(profile->covariance[(TR_FX + k) * (TR_LENS_N + 1)]) / stated[k];
        }
        for (int i = 0; i < TR_LENS_N * TR_LENS_N; i++) {
            bool is_row = i / TR_LENS_N == TR_FX || i / TR_LENS_N == TR_FY;
            bool is_column = i % TR_LENS_N == TR_FX || i % TR_LENS_N == TR_FY;
            lens->lens.covariance[i] *= (is_row ? WIDEN_FOCAL : 1) * (is_column ? WIDEN_FOCAL : 1);
        }
    } else {
        lens->is_free[TR_FX] = lens->is_free[TR_FY] = true;
    }
    tr_net_unknown wanted[2] = {{TR_NET_LENS, 0, TR_FX}, {TR_NET_LENS, 0, TR_FY}};
    double scale[2] = {1 / stated[0], 1 / stated[1]};
    solve_trial(net, wanted, scale, &t, err);
    for (int k = 0; k < 2; k++) {
        t.change[k] = lens->lens.param[TR_FX + k] / stated[k] - 1;
        t.sd[k] = hypot(t.sd[k], prior_sd[k]);
    }
    return t;
}

/* The sheet's print is wider or higher than its file says. */
static trial try_scale(tr_network *net, int sheet, tr_error *err) {
    trial t = {0};
    tr_net_sheet *s = &net->sheets[sheet];
    s->is_free[TR_STRETCH_X] = s->is_free[TR_STRETCH_Y] = true;
    tr_net_unknown wanted[2] = {{TR_NET_SHEET, sheet, TR_STRETCH_X},
                                {TR_NET_SHEET, sheet, TR_STRETCH_Y}};
    double scale[2] = {1, 1};
    solve_trial(net, wanted, scale, &t, err);
    t.change[0] = s->shape[0];
    t.change[1] = s->shape[1];
    return t;
}

/* Without the sheet, the rest fits. */
static trial try_without(tr_network *net, int sheet, tr_error *err) {
    trial t = {0};
    for (int i = 0; i < net->n_observations; i++) {
        if (net->observations[i].sheet == sheet) net->observations[i].is_used = false;
    }
    tr_net_sheet *s = &net->sheets[sheet];
    memset(s->is_free, 0, sizeof s->is_free);
    solve_trial(net, NULL, NULL, &t, err);
    return t;
}

/* The sheet lay at another place in some photos: those get a sheet of their own, in the slot that
   the network keeps free behind the job's sheets. Where only one side shows enough of it, nothing
   is tried. */
static trial try_moved(tr_network *net, int sheet, const bool *in_group, double *away_mm,
                       tr_error *err) {
    trial t = {0};
    int other = net->n_sheets++;
    int n[2] = {0, 0};
    net->sheets[other] = net->sheets[sheet];
    for (int k = 0; k < 6; k++) net->sheets[other].is_free[k] = true;
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (o->sheet != sheet) continue;
        n[in_group[o->photo]] += o->is_used ? o->n_points : 0;
        if (in_group[o->photo]) o->sheet = other;
    }
    if (n[0] >= 4 && n[1] >= 4) solve_trial(net, NULL, NULL, &t, err);
    tr_vec3 d = tr_v3_sub(net->sheets[other].world_from_sheet.t_mm,
                          net->sheets[sheet].world_from_sheet.t_mm);
    *away_mm = tr_v3_norm(d);
    for (int i = 0; i < net->n_observations; i++) {
        if (net->observations[i].sheet == other) net->observations[i].sheet = sheet;
    }
    net->n_sheets--;
    return t;
}

/* The larger of the two changes that is significant and matters; 0 where neither does. */
static double telling_change(const trial *t, double matters) {
    double best = 0;
    for (int k = 0; k < 2; k++) {
        bool is_telling =
            fabs(t->change[k]) > matters && fabs(t->change[k]) > SIGNIFICANT_SIGMAS * t->sd[k];
        if (is_telling && fabs(t->change[k]) > fabs(best)) best = t->change[k];
    }
    return best;
}

/* ---- words ---- */

/* "1.jpg, 2.jpg and 3.jpg" of the photos marked in the list; at most four are named. */
static void name_photos(const tr_adjust_input *in, const bool *is_listed, char *out, size_t size) {
    int total = 0;
    int named = 0;
    size_t used = 0;
    for (int i = 0; i < in->n_photos; i++) total += is_listed[i];
    int most = total > 4 ? 3 : total;
    out[0] = 0;
    for (int i = 0; i < in->n_photos && named < most; i++) {
        if (!is_listed[i]) continue;
        const char *slash = strrchr(in->photo_names[i], '/');
        const char *name = slash ? slash + 1 : in->photo_names[i];
        const char *joint = named == 0 ? "" : named + 1 == total ? " and " : ", ";
        int n = snprintf(out + used, size - used, "%s%.60s", joint, name);
        if (n < 0 || (size_t)n >= size - used) return;
        used += (size_t)n;
        named++;
    }
    if (total > most) snprintf(out + used, size - used, " and %d more", total - most);
}

/* Where a sheet lies in each photo alone, against its place in the network. */
typedef struct {
    bool is_away[MAX_PHOTOS]; /* photos that have it elsewhere */
    bool is_seen[MAX_PHOTOS]; /* photos that have it at all */
    int n_away, n_seen;
    double away_mm; /* mean distance of those */
} displacement;

static void find_displacement(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                              tr_pose home, displacement *d) {
    memset(d, 0, sizeof *d);
    for (int i = 0; i < in->n_photos && i < MAX_PHOTOS; i++) {
        if (!adj->photo_placed[i]) continue;
        for (int k = 0; k < in->photos[i]->n_views; k++) {
            const tr_sheet_view *view = &in->photos[i]->views[k];
            tr_pose pose;
            if (view->sheet != sheet || !tr_adjust_floor_pose(in, adj, i, view, &pose)) continue;
            double mm = hypot(pose.t_mm.x - home.t_mm.x, pose.t_mm.y - home.t_mm.y);
            d->is_seen[i] = true;
            d->n_seen++;
            if (mm <= MOVED_MM) continue;
            d->is_away[i] = true;
            d->n_away++;
            d->away_mm += mm;
        }
    }
    if (d->n_away > 0) d->away_mm /= d->n_away;
}

/* Whether the print is stretched by so much that it matters. How far both ways together the photos
   may tell less well than how far one way against the other; what a survey leaves open of that is
   not in the trial's standard deviations. */
static bool is_stretched(const trial *t, const tr_sheet *sheet) {
    double corner_mm = tr_v2_norm(tr_v2(sheet->width_mm, sheet->height_mm)) / 2;
    double matters = fmin(STRETCH_PART, STRETCH_MM / corner_mm);
    double difference = fabs(t->change[0] - t->change[1]);
    return telling_change(t, matters) != 0.0 ||
           (sheet->survey.n_rows == 0 && difference > matters &&
            difference > SIGNIFICANT_SIGMAS * t->difference_sd);
}

/* ---- which hypotheses are tried ---- */

/* Every hypothesis that is tried costs a solution. All that are not hopeless are, where that is
   less work than this many solutions of one observation: as in the jobs of a workshop, with up to
   some ten sheets and photos. Else the linearised test (tr_network_test) has the first word, and
   the best are tried; at least this many. */
static const double MUCH_WORK = 60000;
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

/* ---- causes of the whole ---- */

typedef enum { NO_CAUSE, OTHER_LENS, OTHER_SCALE, MOVED, MISFIT } cause_kind;

typedef struct {
    cause_kind kind;
    int sheet;
    trial trial;
    double change;             /* OTHER_LENS: relative, of the focal length */
    double away_mm;            /* MOVED: how far ... */
    bool in_group[MAX_PHOTOS]; /* ... in which photos */
} cause;

static bool warn_cause(const tr_adjust_input *in, const cause *c, tr_warnings *warnings,
                       tr_error *err) {
    const char *id = in->sheets[c->sheet].id;
    double f = in->lens->param[TR_FX];
    char list[256];
    switch (c->kind) {
    case NO_CAUSE: return true;
    case OTHER_LENS:
        return tr_warn(
            warnings, err, true, "lens_mismatch",
            "These photos were not taken with the lens of profile '%s': they fit a focal length "
            "of %.0f px, the profile says %.0f px (%+.1f %%). Use the profile of this camera, at "
            "this zoom and image size, or calibrate it with 'trammel lens'.",
            in->lens->id, f * (1 + c->change), f, -100 * c->change / (1 + c->change));
    case OTHER_SCALE:
        return tr_warn(
            warnings, err, true, "sheet_scale",
            "%s is not printed at the size that its file says: its width measures %.1f %%, its "
            "height %.1f %% of it. Check the sheet with a rule; print it at 100 %% or correct "
            "the file.",
            id, 100 * (1 + c->trial.change[0]), 100 * (1 + c->trial.change[1]));
    case MOVED:
        name_photos(in, c->in_group, list, sizeof list);
        return tr_warn(
            warnings, err, true, "sheet_moved",
            "%s was moved between the photos: in %s it lies %.0f mm away from where the other "
            "photos have it. Leave everything where it is and take all photos anew.",
            id, list, c->away_mm);
    case MISFIT:
        return tr_warn(
            warnings, err, true, "sheet_does_not_fit",
            "%s contradicts all other sheets: it is bent, was moved between photos, or is not "
            "what its sheet file says. Flatten it, check it with a rule, and take the photos "
            "anew.",
            id);
    }
    return true;
}

/* change, sd: of width and height. */
static void note_stretch(const double change[2], const double sd[2],
                         tr_sheet_condition *condition) {
    condition->has_stretch = true;
    for (int k = 0; k < 2; k++) {
        condition->stretch[k] = change[k];
        condition->stretch_u95[k] = 2 * sd[k];
        condition->has_stretch =
            condition->has_stretch && condition->stretch_u95[k] < MAX_STRETCH_U95;
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
        h[n] = (tr_net_hypothesis){.sheet = i, .is_stretch = true, .last_photo = in->n_photos - 1};
        n += adj->sheet_placed[i];
    }
    bool ok = tr_network_test(&adj->net, TR_ADJUST_HUBER, h, n, err);
    for (int i = 0; i < n && ok; i++) {
        double sd[2] = {scale * sqrt(h[i].variance[0]), scale * sqrt(h[i].variance[1])};
        candidates[h[i].sheet].promise = h[i].is_determined ? h[i].gain : INFINITY;
        if (h[i].is_determined) note_stretch(h[i].step, sd, &adj->conditions[h[i].sheet]);
    }
    free(h);
    return ok;
}

/* Another lens, or a sheet printed at another scale: one number each. One parameter more always
   takes some cost away, so only what is telling competes. */
static void try_numbers(const tr_adjust_input *in, tr_adjustment *adj, const snapshot *base,
                        double variance, double *lowest, cause *best, tr_error *err) {
    trial t = try_lens(&adj->net, in->lens, err);
    double change = t.is_solved ? telling_change(&t, FOCAL_PART) : 0;
    if (change != 0.0 && t.cost < *lowest) {
        *best = (cause){.kind = OTHER_LENS, .trial = t, .change = change};
        *lowest = t.cost;
    }
    restore(&adj->net, base);
    int most = affordable_trials(&adj->net);
    candidate *candidates = calloc((size_t)in->n_sheets + 1, sizeof *candidates);
    if (!candidates) {
        tr_fail_memory(err);
        return;
    }
    bool fits = variance <= SUSPECT_VARIANCE;
    double least = fits ? HOPELESS_PART * SIGNIFICANT_SIGMAS * SIGNIFICANT_SIGMAS : 0;
    bool ok =
        ((!fits && in->n_sheets <= most) || test_scales(in, adj, variance, candidates, err)) &&
        choose(candidates, in->n_sheets, most, err);
    for (int i = 0; i < in->n_sheets && ok; i++) {
        if (!adj->sheet_placed[i] || !candidates[i].is_chosen || candidates[i].promise < least) {
            continue;
        }
        t = try_scale(&adj->net, i, err);
        restore(&adj->net, base);
        adj->conditions[i].has_stretch = false;
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
    int last = (in->n_photos < MAX_PHOTOS ? in->n_photos : MAX_PHOTOS) - 1;
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
            if (moves[i].is_determined && moves[i].gain < HOPELESS_PART * least_gain) continue;
            candidates[kept].promise = moves[i].gain;
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
   there was without it. */
static bool is_more_than_chance(const tr_lsq_result *without, const trial *t) {
    int unknowns = without->degrees_of_freedom - t->degrees_of_freedom;
    double scatter = fmax(1, t->cost / fmax(1, t->degrees_of_freedom));
    if (unknowns < 1) unknowns = 1;
    if (unknowns > 6) unknowns = 6;
    return without->cost - t->cost >= CHANCE_CHI2[unknowns] * scatter;
}

/* A sheet that lay elsewhere in one photo, or from one photo on. without: the solution of which a
   move must explain more than chance; NULL: *lowest alone decides. */
static void try_all_moved(const tr_adjust_input *in, tr_adjustment *adj, const snapshot *base,
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
    bool fits = without && without->variance_factor <= SUSPECT_VARIANCE;
    double least_gain = fits ? CHANCE_CHI2[1] : 0;
    if (!choose_moves(adj, least_gain, moves, &n, err)) goto out;
    for (int i = 0; i < n; i++) {
        const tr_net_hypothesis *m = &moves[i];
        cause c = {.kind = MOVED, .sheet = m->sheet};
        for (int k = m->first_photo; k <= m->last_photo; k++) {
            c.in_group[k] = shows[m->sheet * in->n_photos + k];
        }
        c.trial = try_moved(&adj->net, m->sheet, c.in_group, &c.away_mm, err);
        restore(&adj->net, base);
        if (!c.trial.is_solved || c.away_mm < least_mm || c.trial.cost >= *lowest) continue;
        if (without && !is_more_than_chance(without, &c.trial)) continue;
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
static void try_misfits(const tr_adjust_input *in, tr_adjustment *adj, const snapshot *base,
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
        trial t = try_without(&adj->net, i, err);
        restore(&adj->net, base);
        double v = t.is_solved ? t.cost / fmax(1, t.degrees_of_freedom) : INFINITY;
        if (v >= lowest) continue;
        *best = (cause){.kind = MISFIT, .sheet = i, .trial = t};
        lowest = v;
    }
    free(candidates);
}

bool tr_find_cause(const tr_adjust_input *in, tr_adjustment *adj, const tr_lsq_result *result,
                   tr_warnings *warnings, bool *is_explained, tr_error *err) {
    snapshot base;
    cause best = {0};
    double lowest = result->cost;
    tr_error failure = {0};
    *is_explained = false;
    if (!take_snapshot(&adj->net, &base, err)) return false;
    try_numbers(in, adj, &base, result->variance_factor, &lowest, &best, &failure);
    if (result->variance_factor > SUSPECT_VARIANCE) {
        /* A cause must take away most of what is too much. */
        double explained =
            result->cost - EXPLAINED_PART * (result->cost - result->degrees_of_freedom);
        if (lowest > explained) {
            best = (cause){0};
            lowest = explained;
            try_all_moved(in, adj, &base, MOVED_MM, NULL, &lowest, &best, &failure);
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
    release_snapshot(&base);
    if (failure.code != TR_OK) {
        *err = failure;
        return false;
    }
    *is_explained = best.kind == OTHER_LENS || best.kind == OTHER_SCALE;
    return warn_cause(in, &best, warnings, err);
}

bool tr_find_moved(const tr_adjust_input *in, tr_adjustment *adj, const tr_lsq_result *result,
                   tr_warnings *warnings, tr_error *err) {
    snapshot base;
    cause best = {0};
    double lowest = result->cost;
    tr_error failure = {0};
    if (tr_warnings_have(warnings, "sheet_moved")) return true;
    if (!take_snapshot(&adj->net, &base, err)) return false;
    try_all_moved(in, adj, &base, MOVED_LITTLE_MM, result, &lowest, &best, &failure);
    release_snapshot(&base);
    if (failure.code != TR_OK) {
        *err = failure;
        return false;
    }
    return warn_cause(in, &best, warnings, err);
}

/* ---- what is not connected ---- */

bool tr_find_unconnected(const tr_adjust_input *in, const tr_adjustment *adj, tr_warnings *warnings,
                         tr_error *err) {
    for (int s = 0; s < in->n_sheets; s++) {
        char list[256];
        bool shows[MAX_PHOTOS] = {false};
        int n = 0;
        if (adj->sheet_placed[s]) continue;
        for (int i = 0; i < in->n_photos && i < MAX_PHOTOS; i++) {
            for (int k = 0; in->photos[i] && k < in->photos[i]->n_views; k++) {
                if (in->photos[i]->views[k].sheet == s) shows[i] = true;
            }
            n += shows[i];
        }
        if (n == 0) continue; /* not seen at all: told elsewhere */
        name_photos(in, shows, list, sizeof list);
        if (!tr_warn(warnings, err, true, "sheet_not_connected",
                     "%s is seen only in %s, which show%s nothing that ties it to the other "
                     "sheets. Take "
                     "two more photos that show %s together with a neighbouring sheet.",
                     in->sheets[s].id, list, n == 1 ? "s" : "", in->sheets[s].id)) {
            return false;
        }
    }
    for (int i = 0; i < in->n_photos; i++) {
        if (!in->photos[i] || adj->photo_placed[i] || in->photos[i]->n_views == 0) continue;
        if (!tr_warn(warnings, err, false, "photo_not_connected",
                     "Photo %s shows no sheet that the other photos share; it is not used.",
                     in->photo_names[i])) {
            return false;
        }
    }
    return true;
}

/* What finding the only ties needs: of every observation, photo, and photo and sheet. */
typedef struct {
    bool *is_used, *shows, *shows_others;
    int *component;
} ties;

/* Whether the sheet alone ties photos that show other sheets too. in_part: those that hang together
   with the first of them without it. */
static bool is_only_tie(tr_network *net, int sheet, ties *t, bool *in_part) {
    int first = -1;
    bool is_only = false;
    for (int i = 0; i < net->n_photos; i++) t->shows[i] = t->shows_others[i] = false;
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        t->is_used[i] = o->is_used;
        if (!o->is_used) continue;
        bool *shows = o->sheet == sheet ? t->shows : t->shows_others;
        shows[o->photo] = true;
        o->is_used = o->sheet != sheet;
    }
    tr_network_components(net, t->component);
    for (int i = 0; i < net->n_observations; i++) net->observations[i].is_used = t->is_used[i];
    for (int i = 0; i < net->n_photos && i < MAX_PHOTOS; i++) {
        in_part[i] = false;
        if (!t->shows[i] || !t->shows_others[i]) continue;
        if (first < 0) first = i;
        in_part[i] = t->component[i] == t->component[first];
        is_only = is_only || !in_part[i];
    }
    return is_only;
}

bool tr_find_only_ties(const tr_adjust_input *in, tr_adjustment *adj, tr_warnings *warnings,
                       tr_error *err) {
    tr_network *net = &adj->net;
    bool ok = false;
    bool in_part[MAX_PHOTOS];
    char list[256];
    size_t n_photos = (size_t)net->n_photos;
    ties t = {.is_used = calloc((size_t)net->n_observations + 1, sizeof *t.is_used),
              .shows = calloc(n_photos + 1, sizeof *t.shows),
              .shows_others = calloc(n_photos + 1, sizeof *t.shows_others),
              .component = calloc(n_photos + (size_t)net->n_sheets + 1, sizeof *t.component)};
    if (!t.is_used || !t.shows || !t.shows_others || !t.component) {
        tr_fail_memory(err);
        goto out;
    }
    for (int s = 0; s < in->n_sheets; s++) {
        if (!adj->sheet_placed[s] || !is_only_tie(net, s, &t, in_part)) continue;
        name_photos(in, in_part, list, sizeof list);
        if (!tr_warn(warnings, err, false, "only_tie",
                     "Only %s ties %s to the other photos: that it lay still in between cannot be "
                     "shown. Take another photo that shows a sheet of the one side together with "
                     "one of the other.",
                     in->sheets[s].id, list)) {
            goto out;
        }
    }
    ok = true;
out:
    free(t.is_used);
    free(t.shows);
    free(t.shows_others);
    free(t.component);
    return ok;
}

/* ---- marks left out ---- */

/* Points of one sheet in one photo: in all, and left out. */
typedef struct {
    int all, left_out;
} point_count;

/* Of every view: [sheet * n_photos + photo]. NULL: memory ran out. */
static point_count *count_points(const tr_adjustment *adj) {
    const tr_network *net = &adj->net;
    point_count *counts = calloc((size_t)net->n_sheets * (size_t)net->n_photos + 1, sizeof *counts);
    for (int i = 0; i < net->n_observations && counts; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!adj->photo_placed[o->photo] || !adj->sheet_placed[o->sheet]) continue;
        point_count *c = &counts[o->sheet * net->n_photos + o->photo];
        c->all += o->n_points;
        if (!o->is_used) c->left_out += o->n_points;
    }
    return counts;
}

/* Photos of one sheet from which much of it was left out. */
static bool warn_views(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                       const point_count *counts, tr_warnings *warnings, tr_error *err) {
    bool is_listed[MAX_PHOTOS] = {false};
    char list[256];
    displacement d;
    int n = 0;
    for (int i = 0; i < in->n_photos && i < MAX_PHOTOS; i++) {
        point_count c = counts[sheet * in->n_photos + i];
        if (c.all == 0 || c.left_out <= LEFT_OUT_OF_VIEW * c.all) continue;
        is_listed[i] = true;
        n++;
    }
    if (n == 0) return true;
    find_displacement(in, adj, sheet, adj->net.sheets[sheet].world_from_sheet, &d);
    name_photos(in, is_listed, list, sizeof list);
    if (tr_warnings_have(warnings, "sheet_moved")) return true; /* said already */
    if (d.n_away > 0) {
        return tr_warn(
            warnings, err, true, "sheet_moved",
            "%s does not lie at one place: in %s it is some %.0f mm away from where the other "
            "photos have it. Something was moved between the photos; take them all anew.",
            in->sheets[sheet].id, list, d.away_mm);
    }
    return tr_warn(
        warnings, err, true, "marks_contradict",
        "Much of %s contradicts the other photos in %s: it is hidden in part, bent, or not what "
        "its file says. Take the photo anew with the whole sheet in view, lying flat.",
        in->sheets[sheet].id, list);
}

/* How often a tag was seen, and left out, and how far off it lay then at most. */
typedef struct {
    int all, left_out;
    double away_mm;
} tag_count;

/* The tag of its sheet that an observation is of, -1 where it is none's. */
static int find_tag(const tr_sheet *sheet, const tr_net_obs *o) {
    for (int t = 0; t < sheet->n_tags && o->n_points == 4; t++) {
        tr_vec2 at = tr_tag_corner(&sheet->tags[t], 0);
        if (o->p_sheet_mm[0].x == at.x && o->p_sheet_mm[0].y == at.y) return t;
    }
    return -1;
}

/* Counts of all tags of all sheets; first: where each sheet's begin. */
static void count_tags(const tr_adjust_input *in, const tr_adjustment *adj, const int *first,
                       tag_count *counts) {
    for (int i = 0; i < adj->net.n_observations; i++) {
        const tr_net_obs *o = &adj->net.observations[i];
        const tr_sheet *s = &in->sheets[o->sheet];
        tr_vec2 r[4];
        if (!adj->photo_placed[o->photo] || !adj->sheet_placed[o->sheet]) continue;
        int t = find_tag(s, o);
        if (t < 0) continue;
        tag_count *c = &counts[first[o->sheet] + t];
        c->all++;
        c->left_out += !o->is_used;
        if (o->is_used || !tr_network_residual(&adj->net, i, r, NULL)) continue;
        double px = tr_v2_norm(tr_v2_sub(o->uv_px[0], o->uv_px[1]));
        c->away_mm = fmax(c->away_mm, tr_v2_norm(r[0]) * s->tags[t].size_mm / fmax(px, 1));
    }
}

/* A tag that is left out wherever it was seen is not where its sheet file says. */
static bool warn_tags(const tr_sheet *s, const tag_count *counts, tr_warnings *warnings,
                      tr_error *err) {
    for (int t = 0; t < s->n_tags; t++) {
        const tag_count *c = &counts[t];
        if (c->all < 2 || 2 * c->left_out <= c->all) continue;
        if (!tr_warn(warnings, err, true, "tag_misplaced",
                     "Tag %d of %s is not where the sheet file says (some %.0f mm off): check the "
                     "file, and that the sheet lies flat.",
                     s->tags[t].id, s->id, fmax(1, c->away_mm))) {
            return false;
        }
    }
    return true;
}

/* What was left out of single views and tags. */
static bool warn_sheets(const tr_adjust_input *in, const tr_adjustment *adj,
                        const point_count *points, tr_warnings *warnings, tr_error *err) {
    bool ok = false;
    int n_tags = 0;
    int *first = calloc((size_t)in->n_sheets + 1, sizeof *first);
    for (int s = 0; s < in->n_sheets && first; s++) {
        first[s] = n_tags;
        n_tags += in->sheets[s].n_tags;
    }
    tag_count *tags = calloc((size_t)n_tags + 1, sizeof *tags);
    if (!first || !tags) {
        tr_fail_memory(err);
        goto out;
    }
    count_tags(in, adj, first, tags);
    for (int s = 0; s < in->n_sheets; s++) {
        if (!adj->sheet_placed[s]) continue;
        if (!warn_views(in, adj, s, points, warnings, err) ||
            !warn_tags(&in->sheets[s], tags + first[s], warnings, err)) {
            goto out;
        }
    }
    ok = true;
out:
    free(first);
    free(tags);
    return ok;
}

/* A photo that had to be left out as a whole. */
static bool warn_rejected(const tr_adjust_input *in, const tr_adjustment *adj,
                          tr_warnings *warnings, tr_error *err) {
    for (int i = 0; i < in->n_photos; i++) {
        if (adj->photo_rejected[i] &&
            !tr_warn(warnings, err, true, "photo_contradicts",
                     "Photo %s contradicts the others and is not used: something was moved, or it "
                     "is of another job, another camera or another zoom. Leave it out only if you "
                     "know why; else take all photos anew.",
                     in->photo_names[i])) {
            return false;
        }
    }
    return true;
}

bool tr_find_left_out(const tr_adjust_input *in, const tr_adjustment *adj, tr_warnings *warnings,
                      tr_error *err) {
    int all = 0;
    int left_out = 0;
    if (!warn_rejected(in, adj, warnings, err)) return false;
    point_count *counts = count_points(adj);
    if (!counts) return tr_fail_memory(err);
    for (int i = 0; i < in->n_sheets * in->n_photos; i++) {
        all += counts[i].all;
        left_out += counts[i].left_out;
    }
    bool ok = warn_sheets(in, adj, counts, warnings, err);
    free(counts);
    if (!ok) return false;
    if (left_out > 0 &&
        !tr_warn(warnings, err, left_out > LEFT_OUT_OF_ALL * all, "marks_left_out",
                 "%d of %d marks contradict the others and were left out.", left_out, all)) {
        return false;
    }
    /* A cause that was named says it all. */
    if (tr_warnings_have(warnings, "lens_mismatch") || tr_warnings_have(warnings, "sheet_scale")) {
        return true;
    }
    if (adj->variance_factor > BLOCK_VARIANCE || !adj->is_settled) {
        return tr_warn(
            warnings, err, true, "does_not_fit",
            "The photos contradict each other: marks lie %.1f times further from their places "
            "than they can be measured. Something was moved, is bent, or the lens profile is "
            "not of this camera. Check both, and take all photos anew.",
            sqrt(adj->variance_factor));
    }
    if (adj->variance_factor > SUSPECT_VARIANCE) {
        return tr_warn(
            warnings, err, false, "fits_poorly",
            "Marks lie %.1f times further from their places than they can be measured; the "
            "uncertainty was raised by that. A new lens calibration or flatter sheets would "
            "help.",
            sqrt(adj->variance_factor));
    }
    return true;
}
