#include "diagnose/trial.h"

#include <string.h>

#include "adjust/camera.h"
#include "adjust/print_scale.h"

/* The profile's standard deviations of the focal lengths are widened by this to let the photos
   speak. */
static const double WIDEN_FOCAL = 300;

/* wanted: two unknowns whose standard deviations are to be told, each times its scale; NULL: none.
 */
static void solve_trial(tr_network *net, const tr_net_unknown wanted[2], const double scale[2],
                        tr_trial *t, tr_error *err) {
    double C[4] = {0};
    tr_lsq_result result;
    tr_error why = {0};
    /* A hundredth of a standard deviation is close enough to tell a cause. */
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = 0.01, .max_iterations = 30};
    tr_net_solution *s = tr_net_solution_new(net, &options, &result, &why);
    t->is_solved = s && (!wanted || tr_net_solution_covariance(s, wanted, 2, C, &why));
    tr_net_solution_free(s);
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

tr_trial tr_trial_lens(tr_network *net, const tr_network *base, int number, const tr_lens *profile,
                       tr_error *err) {
    tr_trial t = {0};
    tr_net_lens *lens = &net->lenses[number];
    double stated[2] = {profile->param[TR_FX], profile->param[TR_FY]};
    double prior_sd = 0;
    if (lens->is_free[TR_FX] && lens->is_free[TR_FY]) {
        (void)tr_camera_focal_change(net, number, &prior_sd);
        for (int i = 0; i < TR_LENS_N * TR_LENS_N; i++) {
            bool is_row = i / TR_LENS_N == TR_FX || i / TR_LENS_N == TR_FY;
            bool is_column = i % TR_LENS_N == TR_FX || i % TR_LENS_N == TR_FY;
            lens->lens.covariance[i] *= (is_row ? WIDEN_FOCAL : 1) * (is_column ? WIDEN_FOCAL : 1);
        }
    } else {
        lens->is_free[TR_FX] = lens->is_free[TR_FY] = true;
    }
    tr_net_unknown wanted[2] = {{TR_NET_LENS, number, TR_FX}, {TR_NET_LENS, number, TR_FY}};
    double scale[2] = {1 / stated[0], 1 / stated[1]};
    solve_trial(net, wanted, scale, &t, err);
    for (int k = 0; k < 2; k++) {
        t.change[k] = lens->lens.param[TR_FX + k] / stated[k] - 1;
        t.sd[k] = hypot(t.sd[k], prior_sd);
    }
    tr_network_restore(net, base);
    return t;
}

tr_trial tr_trial_unsteady(tr_network *net, const tr_network *base, int number, tr_error *err) {
    tr_trial t = {0};
    int n[TR_SCATTER_N] = {0};
    double *scatter = t.scatter;
    tr_lens unknown = net->lenses[number].lens;
    unknown.scatter = (tr_lens_scatter){0};
    for (int i = 0; i < net->n_photos; i++) {
        bool is_placed = !net->rigs[net->photos[i].rig].is_held;
        if (net->photos[i].lens == number) tr_camera_free(&unknown, is_placed, &net->photos[i]);
    }
    solve_trial(net, NULL, NULL, &t, err);
    for (int i = 0; i < net->n_photos; i++) {
        const tr_net_photo *photo = &net->photos[i];
        if (photo->lens != number || net->rigs[photo->rig].is_held) continue;
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            scatter[tr_camera_scatter_of(k)] += photo->value[k] * photo->value[k];
            n[tr_camera_scatter_of(k)]++;
        }
    }
    for (int k = 0; k < TR_SCATTER_N; k++) scatter[k] = n[k] > 0 ? sqrt(scatter[k] / n[k]) : 0;
    tr_network_restore(net, base);
    return t;
}

tr_trial tr_trial_scale(tr_network *net, const tr_network *base, int sheet, tr_error *err) {
    tr_trial t = {0};
    tr_net_sheet *s = &net->sheets[sheet];
    s->is_free[TR_PRINT_SCALE_X] = s->is_free[TR_PRINT_SCALE_Y] = true;
    s->shape_sd[TR_SHAPE_SCALE_X] = s->shape_sd[TR_SHAPE_SCALE_Y] = 0;
    tr_print_scale_untie(net, sheet);
    tr_net_unknown wanted[2] = {{TR_NET_SHEET, sheet, TR_PRINT_SCALE_X},
                                {TR_NET_SHEET, sheet, TR_PRINT_SCALE_Y}};
    double scale[2] = {1, 1};
    solve_trial(net, wanted, scale, &t, err);
    for (int k = 0; k < 2; k++) t.change[k] = s->shape[TR_SHAPE_SCALE_X + k];
    tr_network_restore(net, base);
    return t;
}

tr_trial tr_trial_without(tr_network *net, const tr_network *base, int sheet, tr_error *err) {
    tr_trial t = {0};
    for (int i = 0; i < net->n_observations; i++) {
        if (net->observations[i].sheet == sheet) net->observations[i].is_used = false;
    }
    tr_net_sheet *s = &net->sheets[sheet];
    memset(s->is_free, 0, sizeof s->is_free);
    tr_print_scale_untie(net, sheet);
    solve_trial(net, NULL, NULL, &t, err);
    tr_network_restore(net, base);
    return t;
}

tr_trial tr_trial_moved(tr_network *net, const tr_network *base, int sheet, int first_photo,
                        int last_photo, tr_error *err) {
    tr_trial t = {0};
    int other = net->n_sheets++;
    int n[2] = {0, 0};
    net->sheets[other] = net->sheets[sheet];
    for (int k = 0; k < TR_POSE_N; k++) net->sheets[other].is_free[k] = true;
    if (net->sheets[other].shape_sd[0] > 0) { /* it has kept its size */
        net->sheets[other].shape_about = sheet;
        for (int k = 0; k < 2; k++) net->sheets[other].shape_sd[k] = TR_ADJUST_SAME_PRINT_SD;
    }
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (o->sheet != sheet) continue;
        bool is_moved = o->photo >= first_photo && o->photo <= last_photo;
        n[is_moved] += o->is_used ? o->n_points : 0;
        if (is_moved) o->sheet = other;
    }
    if (n[0] >= 4 && n[1] >= 4) solve_trial(net, NULL, NULL, &t, err);
    tr_vec3 d = tr_v3_sub(net->sheets[other].world_from_sheet.t_mm,
                          net->sheets[sheet].world_from_sheet.t_mm);
    t.away_mm = tr_v3_norm(d);
    for (int i = 0; i < net->n_observations; i++) {
        if (net->observations[i].sheet == other) net->observations[i].sheet = sheet;
    }
    net->n_sheets--;
    tr_network_restore(net, base);
    return t;
}
