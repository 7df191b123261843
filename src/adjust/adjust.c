#include "adjust/adjust.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "adjust/covariance.h"
#include "adjust/initial_values.h"
#include "adjust/mark_covariance.h"
#include "adjust/print_scale.h"
#include "adjust/relief.h"
#include "base/array.h"

/* A rough solution is done when nothing moves by more than this part of its standard deviation. */
static const double ROUGH_STEP = 0.1;

static bool allocate(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    tr_network *net = &out->net;
    int n_obs = 0;
    for (int i = 0; i < in->n_photos; i++) n_obs += in->photos[i] ? in->photos[i]->n_marks : 0;
    net->lenses = tr_array(in->n_lenses, sizeof *net->lenses);
    net->cameras = tr_array(1, sizeof *net->cameras);
    net->rigs = tr_array(in->n_photos, sizeof *net->rigs);
    /* One more than there are: for the trial that a sheet lay at two places. */
    net->sheets = tr_array(in->n_sheets + 1, sizeof *net->sheets);
    net->photos = tr_array(in->n_photos, sizeof *net->photos);
    net->observations = tr_array(n_obs, sizeof *net->observations);
    out->photo_placed = tr_array(in->n_photos, sizeof *out->photo_placed);
    out->sheet_placed = tr_array(in->n_sheets, sizeof *out->sheet_placed);
    out->sheet_names = tr_array(in->n_sheets + 1, sizeof *out->sheet_names);
    out->photo_rejected = tr_array(in->n_photos, sizeof *out->photo_rejected);
    out->covariance =
        tr_table(TR_POSE_N * in->n_sheets, TR_POSE_N * in->n_sheets, sizeof *out->covariance);
    out->inverse =
        tr_table(TR_POSE_N * in->n_sheets, TR_POSE_N * in->n_sheets, sizeof *out->inverse);
    out->covariance_lens_held =
        tr_table(TR_POSE_N * in->n_sheets, TR_POSE_N * in->n_sheets, sizeof(double));
    out->covariance_marks =
        tr_table(TR_POSE_N * in->n_sheets, TR_POSE_N * in->n_sheets, sizeof(double));
    if (!net->lenses || !net->cameras || !net->rigs || !net->sheets || !net->photos ||
        !net->observations || !out->photo_placed || !out->sheet_placed || !out->sheet_names ||
        !out->photo_rejected || !out->covariance || !out->inverse || !out->covariance_lens_held ||
        !out->covariance_marks) {
        return tr_fail_memory(err);
    }
    for (int i = 0; i < in->n_sheets; i++) out->sheet_names[i] = in->sheets[i].id;
    net->photo_names = in->photo_names;
    net->sheet_names = out->sheet_names;
    net->n_lenses = in->n_lenses;
    net->n_cameras = 1;
    net->n_rigs = net->n_photos = in->n_photos;
    net->n_sheets = in->n_sheets;
    return true;
}

void tr_adjustment_release(tr_adjustment *a) {
    tr_network_release(&a->net);
    tr_mark_covariance_release(&a->marks);
    free(a->covariance_coordinates);
    free(a->covariance_calibrated);
    free(a->photo_placed);
    free(a->sheet_placed);
    free(a->sheet_names);
    free(a->photo_rejected);
    free(a->covariance);
    free(a->inverse);
    free(a->covariance_lens_held);
    free(a->covariance_marks);
    memset(a, 0, sizeof *a);
}

/* The profile's lens, with focal lengths that return less well than one calibration knows them. A
   profile that states them as exact is believed, and an unknown lens is the job's own. The prior is
   centred on the profile, whatever the initial values. */
static tr_net_lens set_up_lens(const tr_lens *profile, const tr_lens *start) {
    tr_net_lens lens = tr_net_lens_of(profile);
    if (lens.is_free[TR_FX] && lens.is_free[TR_FY] && !profile->is_unknown) {
        tr_camera_add_focal_return(&lens.lens);
    }
    memcpy(lens.prior, profile->param, sizeof lens.prior);
    lens.is_prior_kept = true;
    memcpy(lens.lens.param, start->param, sizeof start->param);
    return lens;
}

static void set_up_sheet(const tr_sheet *sheet, bool is_placed, bool is_datum, tr_net_sheet *out) {
    out->half_mm[0] = sheet->width_mm / 2;
    out->half_mm[1] = sheet->height_mm / 2;
    for (int k = 0; k < TR_POSE_N; k++) out->is_free[k] = is_placed;
    out->shape_about = -1;
    if (is_datum)
        out->is_free[TR_SHEET_RZ] = out->is_free[TR_SHEET_TX] = out->is_free[TR_SHEET_TY] = false;
    if (sheet->support == TR_ON_FLOOR) {
        out->floor_z_sd_mm = TR_ADJUST_FLOOR_Z_SD_MM;
        out->floor_tilt_sd_rad = TR_ADJUST_FLOOR_TILT_SD_RAD;
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
            *o = tr_net_obs_of(i, m->sheet, m->kind == TR_MARK_TAG ? TR_NET_TAG : TR_NET_POINT,
                               m->n_points);
            o->mark = tr_mark_number(&in->sheets[m->sheet], m);
            memcpy(o->p_sheet_mm, m->p_sheet_mm, sizeof o->p_sheet_mm);
            memcpy(o->uv_px, m->uv_px, sizeof o->uv_px);
            o->is_used = out->photo_placed[i] && out->sheet_placed[m->sheet] &&
                         tr_net_whiten(m->covariance, m->n_points, o->W);
        }
    }
}

/* An observation that the initial values have behind the camera or outside the lens model can only
   be of a mark that is not what it seems. */
static void drop_impossible(tr_network *net) {
    for (int i = 0; i < net->n_observations; i++) {
        if (net->observations[i].is_used && !tr_network_residual(net, i, NULL, NULL)) {
            net->observations[i].is_used = false;
        }
    }
}

static bool count_rejected(tr_adjustment *adj, tr_error *err) {
    const tr_network *net = &adj->net;
    bool *is_found = tr_array(net->n_observations, sizeof *is_found);
    if (!is_found) return tr_fail_memory(err);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        is_found[i] = adj->photo_placed[o->photo] && adj->sheet_placed[o->sheet];
        adj->n_rejected += is_found[i] && !o->is_used ? o->n_points : 0;
    }
    adj->variance_of_all = tr_network_variance_of_all(net, &adj->result, is_found);
    free(is_found);
    return true;
}

/* The network of the job, at its initial values. */
static bool set_up(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    tr_network *net = &out->net;
    memset(out, 0, sizeof *out);
    if (in->n_photos > TR_MAX_PHOTOS) {
        return tr_fail(err, TR_BAD_INPUT, "%d photos are more than can be adjusted together (%d)",
                       in->n_photos, TR_MAX_PHOTOS);
    }
    if (!allocate(in, out, err) || !tr_initial_values(in, out, err)) return false;
    for (int i = 0; i < in->n_lenses; i++) {
        net->lenses[i] = set_up_lens(&in->lenses[i],
                                     in->initial_lenses ? &in->initial_lenses[i] : &in->lenses[i]);
    }
    net->cameras[0].camera_from_rig = tr_pose_identity();
    for (int i = 0; i < in->n_sheets; i++) {
        set_up_sheet(&in->sheets[i], out->sheet_placed[i], i == out->datum_sheet, &net->sheets[i]);
    }
    tr_print_scale_set_up(in, out);
    set_up_observations(in, out);
    if (!tr_relief_set_up(in, out, err)) return false;
    drop_impossible(net);
    return true;
}

bool tr_adjust_begin(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    return set_up(in, out, err) && tr_mark_covariance_set_up(in, &out->net, &out->marks, err);
}

bool tr_adjust_solve(tr_adjustment *adj, tr_error *err) {
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = TR_ADJUST_SMALL_STEP};
    return tr_network_solve(&adj->net, &options, &adj->result, err);
}

bool tr_adjust_finish(tr_adjustment *adj, tr_error *err) {
    return tr_covariance_estimate(adj, err) && count_rejected(adj, err);
}

void tr_adjust_widen(tr_adjustment *adj, const double *change) {
    int n = TR_POSE_N * adj->net.n_sheets;
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            double v = change[i] * change[j];
            adj->covariance[(long)i * n + j] += v;
            adj->covariance_lens_held[(long)i * n + j] += v;
            adj->covariance_marks[(long)i * n + j] += v;
            if (adj->covariance_calibrated) adj->covariance_calibrated[(long)i * n + j] += v;
        }
    }
}

bool tr_adjust_roughly(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = ROUGH_STEP};
    if (set_up(in, out, err) && tr_network_solve(&out->net, &options, &out->result, err))
        return true;
    tr_adjustment_release(out);
    return false;
}
