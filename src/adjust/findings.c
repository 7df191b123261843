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
/* A change of focal length or of a print's scale that matters (0.4 % of 2 m are 8 mm), and how many
   standard deviations make it more than chance. */
static const double FOCAL_PART = 0.004;
static const double SCALE_PART = 0.005;
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
   it is more than chance: chi-squared with 6 degrees of freedom is above MOVED_CHI2 once in ten
   million, and some hundred moves are tried. */
static const double MOVED_MM = 4.0;
static const double MOVED_LITTLE_MM = 1.5;
static const double MOVED_CHI2 = 32;
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
    double change[2]; /* relative: of the focal lengths; of the print's width and height */
    double sd[2];     /* of those, scaled by the residuals */
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
    for (int k = 0; k < 2 && wanted; k++) t->sd[k] = sqrt(s2 * C[3 * k]) * scale[k];
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

static void note_stretch(const trial *t, tr_sheet_condition *condition) {
    condition->has_stretch = t->is_solved;
    for (int k = 0; k < 2; k++) {
        condition->stretch[k] = t->change[k];
        condition->stretch_u95[k] = 2 * t->sd[k];
        condition->has_stretch =
            condition->has_stretch && condition->stretch_u95[k] < MAX_STRETCH_U95;
    }
}

/* Another lens, or a sheet printed at another scale: one number each. One parameter more always
   takes some cost away, so only what is telling competes. */
static void try_numbers(const tr_adjust_input *in, tr_adjustment *adj, const snapshot *base,
                        double *lowest, cause *best, tr_error *err) {
    trial t = try_lens(&adj->net, in->lens, err);
    double change = t.is_solved ? telling_change(&t, FOCAL_PART) : 0;
    if (change != 0.0 && t.cost < *lowest) {
        *best = (cause){.kind = OTHER_LENS, .trial = t, .change = change};
        *lowest = t.cost;
    }
    restore(&adj->net, base);
    for (int i = 0; i < in->n_sheets; i++) {
        if (!adj->sheet_placed[i]) continue;
        t = try_scale(&adj->net, i, err);
        restore(&adj->net, base);
        note_stretch(&t, &adj->conditions[i]);
        if (!t.is_solved || telling_change(&t, SCALE_PART) == 0.0 || t.cost >= *lowest) continue;
        *best = (cause){.kind = OTHER_SCALE, .sheet = i, .trial = t};
        *lowest = t.cost;
    }
}

/* A sheet that lay elsewhere in one photo, or from one photo on. */
static void try_all_moved(const tr_adjust_input *in, tr_adjustment *adj, const snapshot *base,
                          double least_mm, double *lowest, cause *best, tr_error *err) {
    int n = in->n_photos < MAX_PHOTOS ? in->n_photos : MAX_PHOTOS;
    for (int s = 0; s < in->n_sheets; s++) {
        if (!adj->sheet_placed[s]) continue;
        for (int k = 0; k < n; k++) {
            for (int from_here_on = 0; from_here_on < 2; from_here_on++) {
                cause c = {.kind = MOVED, .sheet = s};
                for (int i = k; i < (from_here_on ? n : k + 1); i++) c.in_group[i] = true;
                c.trial = try_moved(&adj->net, s, c.in_group, &c.away_mm, err);
                restore(&adj->net, base);
                if (!c.trial.is_solved || c.away_mm < least_mm || c.trial.cost >= *lowest) continue;
                *best = c;
                *lowest = c.trial.cost;
            }
        }
    }
    /* Name only photos that show the sheet. */
    for (int i = 0; i < n && best->kind == MOVED; i++) {
        bool shows = false;
        for (int k = 0; in->photos[i] && k < in->photos[i]->n_views; k++) {
            shows |= in->photos[i]->views[k].sheet == best->sheet;
        }
        best->in_group[i] = best->in_group[i] && shows;
    }
}

/* A sheet without which the rest fits. */
static void try_misfits(const tr_adjust_input *in, tr_adjustment *adj, const snapshot *base,
                        double variance, cause *best, tr_error *err) {
    double lowest = fmax(1.5, 1 + (1 - EXPLAINED_PART) * (variance - 1));
    for (int i = 0; i < in->n_sheets; i++) {
        if (!adj->sheet_placed[i] || i == adj->root) continue;
        trial t = try_without(&adj->net, i, err);
        restore(&adj->net, base);
        double v = t.is_solved ? t.cost / fmax(1, t.degrees_of_freedom) : INFINITY;
        if (v >= lowest) continue;
        *best = (cause){.kind = MISFIT, .sheet = i, .trial = t};
        lowest = v;
    }
}

bool tr_find_cause(const tr_adjust_input *in, tr_adjustment *adj, const tr_lsq_result *result,
                   tr_warnings *warnings, bool *is_explained, tr_error *err) {
    snapshot base;
    cause best = {0};
    double lowest = result->cost;
    tr_error memory = {0};
    *is_explained = false;
    if (!take_snapshot(&adj->net, &base, err)) return false;
    try_numbers(in, adj, &base, &lowest, &best, &memory);
    if (result->variance_factor > SUSPECT_VARIANCE) {
        /* A cause must take away most of what is too much. */
        double explained =
            result->cost - EXPLAINED_PART * (result->cost - result->degrees_of_freedom);
        if (lowest > explained) {
            best = (cause){0};
            lowest = explained;
            try_all_moved(in, adj, &base, MOVED_MM, &lowest, &best, &memory);
        }
        if (best.kind == NO_CAUSE) {
            try_misfits(in, adj, &base, result->variance_factor, &best, &memory);
        }
    } else if (best.kind != NO_CAUSE) {
        /* What one number explains, a small move of a sheet may explain better; it has four
           unknowns more. */
        lowest -= MOVED_OVER_NUMBER;
        try_all_moved(in, adj, &base, MOVED_LITTLE_MM, &lowest, &best, &memory);
    }
    release_snapshot(&base);
    if (memory.code != TR_OK) return tr_fail_memory(err);
    *is_explained = best.kind == OTHER_LENS || best.kind == OTHER_SCALE;
    return warn_cause(in, &best, warnings, err);
}

bool tr_find_moved(const tr_adjust_input *in, tr_adjustment *adj, const tr_lsq_result *result,
                   tr_warnings *warnings, tr_error *err) {
    snapshot base;
    cause best = {0};
    double lowest = result->cost - MOVED_CHI2 * fmax(1, result->variance_factor);
    tr_error memory = {0};
    if (tr_warnings_have(warnings, "sheet_moved")) return true;
    if (!take_snapshot(&adj->net, &base, err)) return false;
    try_all_moved(in, adj, &base, MOVED_LITTLE_MM, &lowest, &best, &memory);
    release_snapshot(&base);
    if (memory.code != TR_OK) return tr_fail_memory(err);
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

/* ---- marks left out ---- */

/* Points of the observations of one photo and sheet (either -1: all), in all and left out. */
static void count_points(const tr_adjustment *adj, int photo, int sheet, int *all, int *left_out) {
    *all = *left_out = 0;
    for (int i = 0; i < adj->net.n_observations; i++) {
        const tr_net_obs *o = &adj->net.observations[i];
        if ((photo >= 0 && o->photo != photo) || (sheet >= 0 && o->sheet != sheet)) continue;
        if (!adj->photo_placed[o->photo] || !adj->sheet_placed[o->sheet]) continue;
        *all += o->n_points;
        if (!o->is_used) *left_out += o->n_points;
    }
}

/* Photos of one sheet from which much of it was left out. */
static bool warn_views(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                       tr_warnings *warnings, tr_error *err) {
    bool is_listed[MAX_PHOTOS] = {false};
    char list[256];
    displacement d;
    int n = 0;
    for (int i = 0; i < in->n_photos && i < MAX_PHOTOS; i++) {
        int all;
        int left_out;
        count_points(adj, i, sheet, &all, &left_out);
        if (all == 0 || left_out <= LEFT_OUT_OF_VIEW * all) continue;
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

/* A tag that is left out wherever it was seen is not where its sheet file says. */
static bool warn_tags(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                      tr_warnings *warnings, tr_error *err) {
    const tr_sheet *s = &in->sheets[sheet];
    for (int t = 0; t < s->n_tags; t++) {
        tr_vec2 at = tr_tag_corner(&s->tags[t], 0);
        int all = 0;
        int left_out = 0;
        double away = 0;
        for (int i = 0; i < adj->net.n_observations; i++) {
            const tr_net_obs *o = &adj->net.observations[i];
            if (o->sheet != sheet || o->n_points != 4 || !adj->photo_placed[o->photo]) continue;
            if (o->p_sheet_mm[0].x != at.x || o->p_sheet_mm[0].y != at.y) continue;
            all++;
            left_out += !o->is_used;
            tr_vec2 r[4];
            if (!o->is_used && tr_network_residual(&adj->net, i, r, NULL)) {
                double px = tr_v2_norm(tr_v2_sub(o->uv_px[0], o->uv_px[1]));
                away = fmax(away, tr_v2_norm(r[0]) * s->tags[t].size_mm / fmax(px, 1));
            }
        }
        if (all < 2 || 2 * left_out <= all) continue;
        if (!tr_warn(warnings, err, true, "tag_misplaced",
                     "Tag %d of %s is not where the sheet file says (some %.0f mm off): check the "
                     "file, and "
                     "that the sheet lies flat.",
                     s->tags[t].id, s->id, fmax(1, away))) {
            return false;
        }
    }
    return true;
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
    int all;
    int left_out;
    if (!warn_rejected(in, adj, warnings, err)) return false;
    count_points(adj, -1, -1, &all, &left_out);
    for (int s = 0; s < in->n_sheets; s++) {
        if (!adj->sheet_placed[s]) continue;
        if (!warn_views(in, adj, s, warnings, err) || !warn_tags(in, adj, s, warnings, err)) {
            return false;
        }
    }
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
