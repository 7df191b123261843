#include "adjust/adjust.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "adjust/causes.h"
#include "adjust/flatness.h"
#include "adjust/left_out.h"
#include "adjust/places.h"
#include "adjust/prints.h"
#include "adjust/relief.h"
#include "adjust/revise.h"
#include "adjust/scatter.h"
#include "adjust/start.h"
#include "adjust/ties.h"
#include "base/array.h"

/* A floor sheet's prior: workshop floors are flat within a few millimetres over a few metres. */
static const double FLOOR_Z_SD_MM = 3.0;
static const double FLOOR_TILT_SD_RAD = 0.3 * TR_RAD_PER_DEG;

/* The adjustment is done when nothing moves by more than this part of its standard deviation. */
static const double SMALL_STEP = 1e-4;
/* A rough solution, when nothing moves by more than a tenth of it. */
static const double ROUGH_STEP = 0.1;

/* Residuals of marks that fit, in their variance. */
static const double FITS_VARIANCE = 1.3;
/* What a move may leave of the contradictions that it explains: loss and noise. */
static const double LEFT_PART = 0.1;

enum { MAX_ROUNDS = 12 };

static bool allocate(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    tr_network *net = &out->net;
    int n_obs = 0;
    for (int i = 0; i < in->n_photos; i++) n_obs += in->photos[i] ? in->photos[i]->n_marks : 0;
    net->lenses = tr_array(in->n_lenses, sizeof *net->lenses);
    net->cameras = tr_array(1, sizeof *net->cameras);
    net->rigs = tr_array(in->n_photos, sizeof *net->rigs);
    /* One more than there are: trial.c asks whether a sheet lay at two places. */
    net->sheets = tr_array(in->n_sheets + 1, sizeof *net->sheets);
    net->photos = tr_array(in->n_photos, sizeof *net->photos);
    net->observations = tr_array(n_obs, sizeof *net->observations);
    out->photo_placed = tr_array(in->n_photos, sizeof *out->photo_placed);
    out->sheet_placed = tr_array(in->n_sheets, sizeof *out->sheet_placed);
    out->photo_rejected = tr_array(in->n_photos, sizeof *out->photo_rejected);
    out->conditions = tr_array(in->n_sheets, sizeof *out->conditions);
    out->covariance = tr_table(6 * in->n_sheets, 6 * in->n_sheets, sizeof *out->covariance);
    out->covariance_lens_held = tr_table(6 * in->n_sheets, 6 * in->n_sheets, sizeof(double));
    out->covariance_marks = tr_table(6 * in->n_sheets, 6 * in->n_sheets, sizeof(double));
    if (!net->lenses || !net->cameras || !net->rigs || !net->sheets || !net->photos ||
        !net->observations || !out->photo_placed || !out->sheet_placed || !out->photo_rejected ||
        !out->conditions || !out->covariance || !out->covariance_lens_held ||
        !out->covariance_marks) {
        return tr_fail_memory(err);
    }
    net->n_lenses = in->n_lenses;
    net->n_cameras = 1;
    net->n_rigs = net->n_photos = in->n_photos;
    net->n_sheets = in->n_sheets;
    return true;
}

void tr_adjustment_release(tr_adjustment *a) {
    tr_network_release(&a->net);
    free(a->covariance_places);
    free(a->covariance_calibrated);
    free(a->photo_placed);
    free(a->sheet_placed);
    free(a->photo_rejected);
    free(a->conditions);
    free(a->covariance);
    free(a->covariance_lens_held);
    free(a->covariance_marks);
    memset(a, 0, sizeof *a);
}

static void add_focal_return(tr_lens *lens) {
    for (int i = TR_FX; i <= TR_FY; i++) {
        for (int j = TR_FX; j <= TR_FY; j++) {
            lens->covariance[i * TR_LENS_N + j] +=
                TR_ADJUST_FOCAL_SD * lens->param[i] * TR_ADJUST_FOCAL_SD * lens->param[j];
        }
    }
}

/* The profile's lens, with focal lengths that return less well than one calibration knows them. A
   profile that takes them as exact is taken at its word, and an unknown lens is the job's own. The
   prior draws to the profile, wherever the solution starts. */
static tr_net_lens set_up_lens(const tr_lens *profile, const tr_lens *start) {
    tr_net_lens lens = tr_net_lens_of(profile);
    if (lens.is_free[TR_FX] && lens.is_free[TR_FY] && !profile->is_unknown) {
        add_focal_return(&lens.lens);
    }
    memcpy(lens.prior, profile->param, sizeof lens.prior);
    lens.is_prior_kept = true;
    memcpy(lens.lens.param, start->param, sizeof start->param);
    return lens;
}

static void set_up_sheet(const tr_sheet *sheet, bool is_placed, bool is_root, tr_net_sheet *out) {
    out->half_mm[0] = sheet->width_mm / 2;
    out->half_mm[1] = sheet->height_mm / 2;
    for (int k = 0; k < 6; k++) out->is_free[k] = is_placed;
    if (is_root)
        out->is_free[TR_SHEET_RZ] = out->is_free[TR_SHEET_TX] = out->is_free[TR_SHEET_TY] = false;
    if (tr_sheet_lies_on_floor(sheet)) {
        out->floor_z_sd_mm = FLOOR_Z_SD_MM;
        out->floor_tilt_sd_rad = FLOOR_TILT_SD_RAD;
    }
}

/* One observation a mark, in the order of photos and marks. */
static void set_up_observations(const tr_adjust_input *in, tr_adjustment *out) {
    tr_network *net = &out->net;
    for (int i = 0; i < in->n_photos; i++) {
        net->photos[i] = (tr_net_photo){.lens = in->lens_of ? in->lens_of[i] : 0, .rig = i};
        net->rigs[i].is_held = !out->photo_placed[i];
        tr_camera_free(&in->lenses[net->photos[i].lens], out->photo_placed[i], &net->photos[i]);
        for (int k = 0; in->photos[i] && k < in->photos[i]->n_marks; k++) {
            const tr_mark *m = &in->photos[i]->marks[k];
            tr_net_obs *o = &net->observations[net->n_observations++];
            int first = m->kind == TR_MARK_TAG ? 0 : in->sheets[m->sheet].n_tags;
            *o = (tr_net_obs){
                .photo = i, .sheet = m->sheet, .mark = first + m->index, .n_points = m->n_points};
            memcpy(o->p_sheet_mm, m->p_sheet_mm, sizeof o->p_sheet_mm);
            memcpy(o->uv_px, m->uv_px, sizeof o->uv_px);
            o->is_used = out->photo_placed[i] && out->sheet_placed[m->sheet] &&
                         tr_net_whiten(m->covariance, m->n_points, o->W);
        }
    }
}

/* An observation that the start has behind the camera or outside the lens model can only be of a
   mark that is not what it seems. */
static void drop_impossible(tr_network *net) {
    for (int i = 0; i < net->n_observations; i++) {
        if (net->observations[i].is_used && !tr_network_residual(net, i, NULL, NULL)) {
            net->observations[i].is_used = false;
        }
    }
}

/* Photos and sheets that lost what held them to the root go out of the solution, with all their
   marks for good. */
static bool drop_unsupported(tr_adjustment *adj, bool *is_possible, tr_error *err) {
    tr_network *net = &adj->net;
    int n = net->n_photos + net->n_sheets;
    int *component = tr_array(n, sizeof *component);
    int *points = tr_array(n, sizeof *points);
    if (!component || !points) {
        free(component);
        free(points);
        return tr_fail_memory(err);
    }
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used) continue;
        points[o->photo] += o->n_points;
        points[net->n_photos + o->sheet] += o->n_points;
    }
    tr_network_components(net, component);
    int home = component[net->n_photos + adj->root];
    for (int i = 0; i < net->n_photos; i++) {
        bool is_supported = component[i] == home && points[i] >= 4;
        adj->photo_rejected[i] |= adj->photo_placed[i] && !is_supported;
        adj->photo_placed[i] = adj->photo_placed[i] && is_supported;
        net->rigs[i].is_held = !adj->photo_placed[i];
    }
    tr_camera_hold(net, false);
    for (int i = 0; i < net->n_sheets; i++) {
        int k = net->n_photos + i;
        adj->sheet_placed[i] = adj->sheet_placed[i] && component[k] == home && points[k] >= 4;
        if (adj->sheet_placed[i]) continue;
        memset(net->sheets[i].is_free, 0, sizeof net->sheets[i].is_free);
        tr_prints_untie(net, i);
    }
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (adj->photo_placed[o->photo] && adj->sheet_placed[o->sheet]) continue;
        o->is_used = is_possible[i] = false;
    }
    free(component);
    free(points);
    return true;
}

static int count_placed(const tr_adjustment *adj) {
    int n = 0;
    for (int i = 0; i < adj->net.n_photos; i++) n += adj->photo_placed[i];
    return n;
}

static bool leave_out(tr_adjustment *adj, tr_lsq_result *result, tr_error *err) {
    tr_network *net = &adj->net;
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = SMALL_STEP};
    bool ok = false;
    double *chi2 = tr_array(net->n_observations, sizeof *chi2);
    double *scratch = tr_array(net->n_observations, sizeof *scratch);
    bool *is_possible = tr_array(net->n_observations, sizeof *is_possible);
    if (!chi2 || !scratch || !is_possible) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < net->n_observations; i++) is_possible[i] = net->observations[i].is_used;
    for (int round = 0; round < MAX_ROUNDS; round++) {
        if (tr_revise(net, is_possible, chi2, scratch) == 0) break;
        if (!drop_unsupported(adj, is_possible, err)) goto out;
        if (!tr_network_solve(net, &options, result, err)) goto out;
    }
    ok = true;
out:
    free(chi2);
    free(scratch);
    free(is_possible);
    return ok;
}

/* Takes the listed photos out of the solution and solves without them. *n_rows: of what they had in
   it. */
static bool solve_without(tr_adjustment *adj, const bool *is_listed, int *n_rows,
                          tr_lsq_result *result, tr_error *err) {
    tr_network *net = &adj->net;
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = SMALL_STEP};
    bool *is_possible = tr_array(net->n_observations, sizeof *is_possible);
    if (!is_possible) return tr_fail_memory(err);
    *n_rows = 0;
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (!o->is_used || !is_listed[o->photo]) continue;
        *n_rows += 2 * o->n_points;
        o->is_used = false;
    }
    bool ok =
        drop_unsupported(adj, is_possible, err) && tr_network_solve(net, &options, result, err);
    free(is_possible);
    return ok;
}

/* Photos whose camera is further off than any should be: another zoom, a cut, a hand that moved; or
   a sheet that was moved, which their cameras bend to. Where a move explains them, it is named;
   else they go out of the solution. */
static bool settle_far_photos(const tr_adjust_input *in, tr_adjustment *adj, tr_lsq_result *result,
                              tr_findings *findings, tr_error *err) {
    bool ok = false;
    tr_network with = {0};
    tr_lsq_result without;
    bool *is_far = tr_array(in->n_photos, sizeof *is_far);
    bool *placed = tr_array((long)2 * in->n_photos + in->n_sheets, sizeof *placed);
    if (!is_far || !placed) {
        tr_fail_memory(err);
        goto out;
    }
    for (int round = 0; round < MAX_ROUNDS && tr_scatter_find_far(in, adj, is_far) > 0; round++) {
        int n_rows;
        size_t n = (size_t)in->n_photos;
        if (!tr_network_copy(&adj->net, &with, err)) goto out;
        memcpy(placed, adj->photo_placed, n);
        memcpy(placed + n, adj->photo_rejected, n);
        memcpy(placed + 2 * n, adj->sheet_placed, (size_t)in->n_sheets);
        if (!solve_without(adj, is_far, &n_rows, &without, err)) goto out;
        /* A move has to leave no more than those photos are worth, or little of the whole. */
        double rest = fmax(FITS_VARIANCE * n_rows, LEFT_PART * (result->cost - without.cost));
        double most_cost = without.cost + rest;
        tr_network_restore(&adj->net, &with);
        tr_network_release(&with);
        memcpy(adj->photo_placed, placed, n);
        memcpy(adj->photo_rejected, placed + n, n);
        memcpy(adj->sheet_placed, placed + 2 * n, (size_t)in->n_sheets);
        if (!tr_find_moved(in, adj, result, most_cost, findings, err)) goto out;
        if (tr_findings_have(findings, TR_FOUND_SHEET_MOVED)) break;
        if (!solve_without(adj, is_far, &n_rows, result, err)) goto out;
    }
    ok = true;
out:
    tr_network_release(&with);
    free(is_far);
    free(placed);
    return ok;
}

/* Solves for the covariance C of all sheets' poses. With surveyed sheets (places->n_rows > 0) what
   C has of their marks' places is taken out, and `whole`, n x n, is what they add. */
static bool covariance_of(tr_network *net, const tr_places *places, tr_net_options *options,
                          double *C, double *whole, tr_lsq_result *result, tr_error *err) {
    int n = options->n_wanted;
    bool ok = false;
    double *once = NULL;
    options->covariance = C;
    if (places->n_rows == 0) return tr_network_solve(net, options, result, err);
    once = tr_table(n, n, sizeof *once);
    options->gain = tr_table(n, net->n_observations, TR_OFFSET_N * sizeof *options->gain);
    if (!once || !options->gain) {
        tr_fail_memory(err);
    } else if (tr_network_solve(net, options, result, err) &&
               tr_places_propagate(places, net, options->gain, n, once, whole, err)) {
        for (int i = 0; i < n * n; i++) C[i] -= once[i];
        ok = true;
    }
    free(once);
    free(options->gain);
    options->gain = NULL;
    return ok;
}

static void hold_prints(tr_network *net, bool (*is_free)[2]) {
    for (int i = 0; i < net->n_sheets; i++) {
        bool *now = &net->sheets[i].is_free[TR_PRINT_SCALE_X];
        for (int k = 0; k < 2; k++) now[k] = is_free && is_free[i][k];
    }
}

static bool is_any_unknown(const tr_network *net) {
    for (int i = 0; i < net->n_lenses; i++) {
        if (net->lenses[i].lens.is_unknown) return true;
    }
    return false;
}

/* As though the unknown lenses had profiles. */
static void calibrate_unknown(tr_network *net) {
    for (int i = 0; i < net->n_lenses; i++) {
        tr_net_lens *l = &net->lenses[i];
        if (!l->lens.is_unknown) continue;
        memset(l->lens.covariance, 0, sizeof l->lens.covariance);
        memset(l->is_free, 0, sizeof l->is_free);
        add_focal_return(&l->lens);
        l->is_free[TR_FX] = l->is_free[TR_FY] = true;
        l->is_prior_kept = false;
    }
}

/* What a calibration of unknown lenses would leave; options as for the other covariances. */
static bool covariance_if_calibrated(tr_adjustment *adj, const tr_places *places,
                                     tr_net_options *options, double *whole, tr_error *err) {
    tr_network *net = &adj->net;
    tr_network copy = {0};
    tr_lsq_result ignored;
    adj->covariance_calibrated =
        tr_table(options->n_wanted, options->n_wanted, sizeof *adj->covariance_calibrated);
    if (!adj->covariance_calibrated) return tr_fail_memory(err);
    if (!tr_network_copy(net, &copy, err)) return false;
    calibrate_unknown(&copy);
    bool ok =
        covariance_of(&copy, places, options, adj->covariance_calibrated, whole, &ignored, err);
    tr_network_release(&copy);
    return ok;
}

/* Solves once more for the covariance of all sheets' poses: with all free; with the lens held, and
   what the camera adds in each photo; with sizes and heights of the prints held, too. */
static bool covariances(tr_adjustment *adj, int n_sheets, const tr_places *places,
                        tr_lsq_result *result, tr_error *err) {
    tr_network *net = &adj->net;
    bool ok = false;
    int n = 6 * n_sheets;
    double *ignored = NULL;
    bool(*is_print_free)[2] = tr_array(n_sheets, sizeof *is_print_free);
    tr_net_unknown *wanted = tr_array(n, sizeof *wanted);
    tr_net_lens *lenses = tr_array(net->n_lenses, sizeof *lenses);
    if (!wanted || !is_print_free || !lenses) {
        tr_fail_memory(err);
        goto out;
    }
    if (places->n_rows > 0) {
        adj->covariance_places = tr_table(n, n, sizeof *adj->covariance_places);
        ignored = tr_table(n, n, sizeof *ignored);
        if (!adj->covariance_places || !ignored) {
            tr_fail_memory(err);
            goto out;
        }
    }
    for (int i = 0; i < n; i++) wanted[i] = (tr_net_unknown){TR_NET_SHEET, i / 6, i % 6};
    tr_net_options options = {
        .huber = TR_ADJUST_HUBER, .small_step = SMALL_STEP, .wanted = wanted, .n_wanted = n};
    tr_lsq_result held;
    static const double one = 1;
    tr_net_unknown focal[TR_MAX_LENSES];
    tr_net_function functions[TR_MAX_LENSES];
    for (int i = 0; i < net->n_lenses; i++) {
        focal[i] = (tr_net_unknown){TR_NET_LENS, i, TR_FX};
        functions[i] = (tr_net_function){&focal[i], &one, 1};
    }
    bool has_unknown = is_any_unknown(net);
    options.functions = functions;
    options.n_functions = has_unknown ? net->n_lenses : 0;
    options.variances = adj->focal_sd;
    if (!covariance_of(net, places, &options, adj->covariance, adj->covariance_places, result,
                       err)) {
        goto out;
    }
    options.n_functions = 0;
    if (has_unknown && !covariance_if_calibrated(adj, places, &options, ignored, err)) goto out;
    for (int i = 0; i < net->n_lenses; i++) {
        lenses[i] = net->lenses[i];
        memset(net->lenses[i].is_free, 0, sizeof net->lenses[i].is_free);
        net->lenses[i].has_prior = false;
    }
    tr_camera_hold(net, true);
    if (!covariance_of(net, places, &options, adj->covariance_lens_held, ignored, &held, err)) {
        goto out;
    }
    for (int i = 0; i < n_sheets; i++) {
        memcpy(is_print_free[i], &net->sheets[i].is_free[TR_PRINT_SCALE_X], sizeof *is_print_free);
    }
    hold_prints(net, NULL);
    tr_relief_hold(net, true);
    if (!covariance_of(net, places, &options, adj->covariance_marks, ignored, &held, err)) {
        goto out;
    }
    hold_prints(net, is_print_free);
    tr_relief_hold(net, false);
    tr_camera_hold(net, false);
    for (int i = 0; i < net->n_lenses; i++) {
        net->lenses[i].has_prior = lenses[i].has_prior;
        memcpy(net->lenses[i].is_free, lenses[i].is_free, sizeof lenses[i].is_free);
    }
    double factor = fmax(1, result->variance_factor);
    for (int i = 0; i < n * n; i++) {
        adj->covariance[i] *= factor;
        adj->covariance_lens_held[i] *= factor;
        adj->covariance_marks[i] *= factor;
        if (adj->covariance_places) adj->covariance[i] += adj->covariance_places[i];
        if (!has_unknown) continue;
        adj->covariance_calibrated[i] *= factor;
        if (adj->covariance_places) adj->covariance_calibrated[i] += adj->covariance_places[i];
    }
    for (int i = 0; i < net->n_lenses; i++) {
        const tr_lens *lens = &net->lenses[i].lens;
        double sd = sqrt(factor * fmax(0, adj->focal_sd[i])) / lens->param[TR_FX];
        adj->focal_sd[i] = lens->is_unknown ? sd : 0;
    }
    ok = true;
out:
    free(lenses);
    free(is_print_free);
    free(ignored);
    free(wanted);
    return ok;
}

static bool count_left_out(tr_adjustment *adj, const tr_lsq_result *result, tr_error *err) {
    const tr_network *net = &adj->net;
    bool *is_found = tr_array(net->n_observations, sizeof *is_found);
    if (!is_found) return tr_fail_memory(err);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        is_found[i] = adj->photo_placed[o->photo] && adj->sheet_placed[o->sheet];
        adj->n_left_out += is_found[i] && !o->is_used ? o->n_points : 0;
    }
    adj->variance_of_all = tr_network_variance_of_all(net, result, is_found);
    free(is_found);
    return true;
}

/* The network of the job, at its start values. */
static bool set_up(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    tr_network *net = &out->net;
    memset(out, 0, sizeof *out);
    if (in->n_photos > TR_MAX_PHOTOS) {
        return tr_fail(err, TR_BAD_INPUT, "%d photos are more than can be adjusted together (%d)",
                       in->n_photos, TR_MAX_PHOTOS);
    }
    if (!allocate(in, out, err) || !tr_adjust_start(in, out, err)) return false;
    for (int i = 0; i < in->n_lenses; i++) {
        net->lenses[i] = set_up_lens(&in->lenses[i], in->starts ? &in->starts[i] : &in->lenses[i]);
    }
    net->cameras[0].camera_from_rig = tr_pose_identity();
    for (int i = 0; i < in->n_sheets; i++) {
        set_up_sheet(&in->sheets[i], out->sheet_placed[i], i == out->root, &net->sheets[i]);
    }
    tr_prints_set_up(in, out);
    set_up_observations(in, out);
    if (!tr_relief_set_up(in, out, err)) return false;
    drop_impossible(net);
    return true;
}

bool tr_adjust_roughly(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = ROUGH_STEP};
    tr_lsq_result result;
    if (set_up(in, out, err) && tr_network_solve(&out->net, &options, &result, err)) return true;
    tr_adjustment_release(out);
    return false;
}

bool tr_adjust(const tr_adjust_input *in, tr_adjustment *out, tr_findings *findings,
               tr_error *err) {
    tr_network *net = &out->net;
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = SMALL_STEP};
    tr_lsq_result result;
    bool is_explained;
    tr_places places = {0};
    if (!set_up(in, out, err)) goto fail;
    if (!tr_find_unconnected(in, out, findings, err)) goto fail;
    if (!tr_places_set_up(in, net, &places, err)) goto fail;
    if (!tr_network_solve(net, &options, &result, err)) goto fail;
    /* A few photos alone that are far off are those photos' own; with more of them it is the lens.
     */
    int n_far = tr_scatter_find_far(in, out, NULL);
    if (n_far * 2 < count_placed(out) && !settle_far_photos(in, out, &result, findings, err)) {
        goto fail;
    }
    if (tr_scatter_find_far(in, out, NULL) == 0 && !tr_scatter_estimate(in, out, &result, err)) {
        goto fail;
    }
    if (!tr_find_cause(in, out, &result, findings, &is_explained, err)) goto fail;
    if (!is_explained &&
        (!leave_out(out, &result, err) || !settle_far_photos(in, out, &result, findings, err) ||
         !tr_find_moved(in, out, &result, INFINITY, findings, err))) {
        goto fail;
    }
    if (!covariances(out, in->n_sheets, &places, &result, err)) goto fail;
    out->has_converged = result.has_converged;
    out->variance_factor = result.variance_factor;
    out->degrees_of_freedom = result.degrees_of_freedom;
    if (!count_left_out(out, &result, err)) goto fail;
    if (!tr_scatter_judge(in, out, findings, err) ||
        !tr_find_contradicted(in, out, findings, err) ||
        !tr_find_left_out(in, out, findings, err) || !tr_find_only_ties(in, out, findings, err)) {
        goto fail;
    }
    if (!tr_find_flatness(in, out, out->conditions, err)) goto fail;
    tr_places_release(&places);
    return true;
fail:
    tr_places_release(&places);
    tr_adjustment_release(out);
    return false;
}
