#include "lens/unknown.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double FILM_MM = 35.3;
static const double TOLD_SD = 0.07; /* of the focal length */
/* Of the longer side. */
static const double USUAL_FOCAL_PART = 0.76;
static const double USUAL_FOCAL_SD_PART = 0.4;
static const double CENTRE_SD_PART = 0.02;

static const double ASPECT_SD = 1e-3;
static const double DISTORTION_SD[TR_LENS_N] = {
    [TR_K1] = 0.2, [TR_K2] = 0.8, [TR_P1] = 2e-3, [TR_P2] = 2e-3, [TR_K3] = 1.2};

void tr_lens_unknown(const tr_camera *camera, int width_px, int height_px, tr_lens *out) {
    double side_px = fmax(width_px, height_px);
    double told_mm = camera->equivalent_focal_length_mm;
    double focal_px = side_px * (told_mm > 0 ? told_mm / FILM_MM : USUAL_FOCAL_PART);
    double focal_sd_px = told_mm > 0 ? TOLD_SD * focal_px : USUAL_FOCAL_SD_PART * side_px;
    double own_sd_px = ASPECT_SD * focal_px / sqrt(2); /* of fx and of fy */
    double centre_sd_px = CENTRE_SD_PART * side_px;
    memset(out, 0, sizeof *out);
    snprintf(out->id, sizeof out->id, "%s", TR_LENS_UNKNOWN_ID);
    out->width_px = width_px;
    out->height_px = height_px;
    out->is_unknown = out->has_covariance = true;
    out->camera = *camera;
    out->param[TR_FX] = out->param[TR_FY] = focal_px;
    out->param[TR_CX] = (width_px - 1) / 2.0;
    out->param[TR_CY] = (height_px - 1) / 2.0;
    for (int i = 0; i < TR_LENS_N; i++) {
        double sd = i < TR_CX   ? hypot(focal_sd_px, own_sd_px)
                    : i < TR_K1 ? centre_sd_px
                                : DISTORTION_SD[i];
        out->covariance[i * (TR_LENS_N + 1)] = sd * sd;
    }
    out->covariance[TR_FX * TR_LENS_N + TR_FY] = out->covariance[TR_FY * TR_LENS_N + TR_FX] =
        focal_sd_px * focal_sd_px;
}
