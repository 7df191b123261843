#include "adjust/camera.h"

static const double FAR_SIGMAS = 4.5;

/* The scatter of each unknown of a photo. */
int tr_camera_scatter_of(int component) {
    return component < TR_PHOTO_FOCAL    ? TR_SCATTER_SHIFT
           : component == TR_PHOTO_FOCAL ? TR_SCATTER_FOCAL
           : component < TR_PHOTO_TRAVEL ? TR_SCATTER_TURN
                                         : TR_SCATTER_TRAVEL;
}

void tr_camera_free(const tr_lens *lens, bool is_placed, tr_net_photo *photo) {
    for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
        photo->value[k] = 0;
        photo->sd[k] = tr_lens_scatter_sd(lens, tr_camera_scatter_of(k));
        photo->is_free[k] = is_placed && photo->sd[k] > 0;
    }
}

bool tr_camera_is_far(const tr_lens *lens, const tr_net_photo *photo, int component) {
    double sd = tr_lens_scatter_sd(lens, tr_camera_scatter_of(component));
    return sd > 0 && fabs(photo->value[component]) > FAR_SIGMAS * sd;
}

void tr_camera_hold(tr_network *net, bool is_held) {
    for (int i = 0; i < net->n_photos; i++) {
        tr_net_photo *photo = &net->photos[i];
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            photo->is_free[k] = !is_held && photo->sd[k] > 0 && !net->rigs[photo->rig].is_held;
        }
    }
}

double tr_camera_focal_change(const tr_network *net, int lens, double *prior_sd) {
    const tr_net_lens *l = &net->lenses[lens];
    double sum = 0;
    double sd = 0;
    int n = 0;
    for (int i = 0; i < net->n_photos; i++) {
        const tr_net_photo *photo = &net->photos[i];
        if (photo->lens != lens || net->rigs[photo->rig].is_held) continue;
        sum += photo->value[TR_PHOTO_FOCAL];
        sd = photo->sd[TR_PHOTO_FOCAL];
        n++;
    }
    double own = 0;
    double variance = n > 0 ? sd * sd / n : 0;
    if (l->has_prior && l->is_prior_kept) {
        own = l->lens.param[TR_FX] / l->prior[TR_FX] - 1;
        if (l->is_free[TR_FX]) {
            double f = l->prior[TR_FX];
            variance += l->lens.covariance[TR_FX * (TR_LENS_N + 1)] / (f * f);
        }
    }
    *prior_sd = sqrt(variance);
    return own + (n > 0 ? sum / n : 0);
}

void tr_camera_add_focal_return(tr_lens *lens) {
    for (int i = TR_FX; i <= TR_FY; i++) {
        for (int j = TR_FX; j <= TR_FY; j++) {
            lens->covariance[i * TR_LENS_N + j] +=
                TR_ADJUST_FOCAL_SD * lens->param[i] * TR_ADJUST_FOCAL_SD * lens->param[j];
        }
    }
}
