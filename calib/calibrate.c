#include "calib/calibrate.h"

#include <stdlib.h>
#include <string.h>

#include "calib/uneven.h"
#include "lens/planar.h"
#include "network/network.h"

/* A board bends by more than this only when it is broken: keeps the bow from running away where the
   views say nothing about it. Part of the board's half width. */
static const double BOW_PRIOR_PART = 0.02;

/* The corners' standard deviations are not scaled down by more than this, in part of what was told
   (or of 1 px): below, residuals are the rounding of the sums, as in pictures without any noise. */
static const double SMALLEST_SCALE = 1e-3;

/* Boards that differ by less than this in direction are one view, so far as a lens goes: focal
   length and distance cannot be told apart. */
static const double SMALLEST_TURN_RAD = 5 * TR_RAD_PER_DEG;

/* With fewer photos a corner's mean residual says too little about the corner. */
enum { MIN_VIEWS_FOR_UNEVEN = 6, MAX_UNEVEN_PASSES = 6 };

tr_calib_options tr_calib_defaults(int width_px, int height_px) {
    tr_calib_options o = {.width_px = width_px,
                          .height_px = height_px,
                          .has_bow = true,
                          .has_uneven = true,
                          .huber = 2.5};
    for (int i = 0; i < TR_LENS_N; i++) o.is_free[i] = true;
    return o;
}

/* Focal lengths from the homographies of all views, with the principal point at the image's centre:
   for H = [h1 h2 h3] and w = diag(1/fx^2, 1/fy^2, 1):  h1' w h2 = 0,  h1' w h1 = h2' w h2.
   Source: Zhang, A flexible new technique for camera calibration, IEEE PAMI 22(11), 2000, eqs. 3-4.
   Views that look straight at the board carry nothing; each equation is scaled by its size. */
static bool start_focal(const tr_mat3 *H, int n, double f[2]) {
    double A[3] = {0}; /* xx, xy, yy */
    double b[2] = {0};
    for (int i = 0; i < n; i++) {
        tr_vec3 h1 = tr_m3_column(H[i], 0);
        tr_vec3 h2 = tr_m3_column(H[i], 1);
        double norm = tr_v3_norm(h1) * tr_v3_norm(h2);
        double rows[2][3] = {
            {h1.x * h2.x, h1.y * h2.y, h1.z * h2.z},
            {h1.x * h1.x - h2.x * h2.x, h1.y * h1.y - h2.y * h2.y, h1.z * h1.z - h2.z * h2.z}};
        for (int r = 0; r < 2; r++) {
            double x = rows[r][0] / norm;
            double y = rows[r][1] / norm;
            double v = -rows[r][2] / norm;
            A[0] += x * x;
            A[1] += x * y;
            A[2] += y * y;
            b[0] += x * v;
            b[1] += y * v;
        }
    }
    double det = A[0] * A[2] - A[1] * A[1];
    double wx = 0;
    double wy = 0;
    if (det > 1e-9 * A[0] * A[2]) {
        wx = (A[2] * b[0] - A[1] * b[1]) / det;
        wy = (A[0] * b[1] - A[1] * b[0]) / det;
    }
    if (!(wx > 0) || !(wy > 0) || wx > 4 * wy || wy > 4 * wx) {
        /* One focal length for both: the same rows with x + y. */
        double s = A[0] + 2 * A[1] + A[2];
        wx = wy = s > 0 ? (b[0] + b[1]) / s : 0;
    }
    if (!(wx > 0) || !isfinite(wx) || !isfinite(wy)) return false;
    f[0] = 1 / sqrt(wx);
    f[1] = 1 / sqrt(wy);
    return true;
}

static bool start_lens(const tr_calib_view *views, int n_views, const tr_calib_options *o,
                       tr_lens *lens, tr_error *err) {
    bool ok = false;
    tr_mat3 *H = malloc((size_t)n_views * sizeof *H);
    tr_vec2 *centred = NULL;
    double cx = (o->width_px - 1) / 2.0;
    double cy = (o->height_px - 1) / 2.0;
    double unit = fmax(o->width_px, o->height_px);
    double f[2];
    if (!H) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < n_views; i++) {
        if (views[i].n < 4) {
            tr_fail(err, TR_NO_MEASURE,
                    "photo %d shows %d of the board's corners; a photo needs at least 4", i + 1,
                    views[i].n);
            goto out;
        }
        free(centred);
        centred = malloc((size_t)views[i].n * sizeof *centred);
        if (!centred) {
            tr_fail_memory(err);
            goto out;
        }
        for (int k = 0; k < views[i].n; k++) {
            centred[k] =
                tr_v2((views[i].uv_px[k].x - cx) / unit, (views[i].uv_px[k].y - cy) / unit);
        }
        if (!tr_homography_fit(views[i].p_board_mm, centred, views[i].n, &H[i])) {
            tr_fail(err, TR_NO_MEASURE, "the corners of photo %d lie on one line", i + 1);
            goto out;
        }
    }
    if (!start_focal(H, n_views, f)) {
        /* All nearly parallel to the image: any focal length explains them. A usual one keeps the
           adjustment going, which will find the focal length not determined, and say so. */
        f[0] = f[1] = 0.8;
    }
    memset(lens, 0, sizeof *lens);
    lens->width_px = o->width_px;
    lens->height_px = o->height_px;
    lens->param[TR_FX] = f[0] * unit;
    lens->param[TR_FY] = f[1] * unit;
    lens->param[TR_CX] = cx;
    lens->param[TR_CY] = cy;
    ok = true;
out:
    free(centred);
    free(H);
    return ok;
}

/* The boards must be seen from different directions. */
static bool check_turns(const tr_net_rig *rigs, int n, tr_error *err) {
    for (int i = 0; i < n; i++) {
        tr_vec3 a = tr_m3_column(rigs[i].rig_from_world.R, 2);
        for (int k = 0; k < i; k++) {
            tr_vec3 b = tr_m3_column(rigs[k].rig_from_world.R, 2);
            if (tr_v3_norm(tr_v3_cross(a, b)) > sin(SMALLEST_TURN_RAD)) return true;
        }
    }
    return tr_fail(
        err, TR_NO_MEASURE,
        "all photos show the board from the same direction; tilt it by 20 to 40 degrees, "
        "to each side, in at least four photos");
}

/* Half extents of the corners about the board's origin. */
static void half_extents(const tr_calib_view *views, int n_views, double half_mm[2]) {
    half_mm[0] = half_mm[1] = 1e-6;
    for (int i = 0; i < n_views; i++) {
        for (int k = 0; k < views[i].n; k++) {
            half_mm[0] = fmax(half_mm[0], fabs(views[i].p_board_mm[k].x));
            half_mm[1] = fmax(half_mm[1], fabs(views[i].p_board_mm[k].y));
        }
    }
}

static int fill_observations(const tr_calib_view *views, int n_views, tr_net_obs *obs) {
    int n = 0;
    for (int i = 0; i < n_views; i++) {
        for (int k = 0; k < views[i].n; k++) {
            obs[n] = (tr_net_obs){.photo = i, .sheet = 0, .n_points = 1, .is_used = true};
            obs[n].mark = views[i].corner ? views[i].corner[k] : k;
            obs[n].p_sheet_mm[0] = views[i].p_board_mm[k];
            obs[n].uv_px[0] = views[i].uv_px[k];
            tr_net_whiten_equal(views[i].sd_px ? views[i].sd_px[k] : 1.0, 1, obs[n].W);
            n++;
        }
    }
    return n;
}

/* Residual statistics per view and as a whole. */
static bool collect(const tr_network *net, int n_views, tr_calibration *out, tr_calib_pose *poses,
                    tr_error *err) {
    double sum = 0;
    int *count = calloc((size_t)n_views, sizeof *count);
    if (!count) return tr_fail_memory(err);
    for (int i = 0; i < n_views; i++) {
        poses[i] = (tr_calib_pose){.camera_from_board = net->rigs[i].rig_from_world};
    }
    for (int k = 0; k < net->n_observations; k++) {
        tr_vec2 r;
        int photo = net->observations[k].photo;
        if (!tr_network_residual(net, k, &r, NULL)) continue;
        double d2 = tr_v2_dot(r, r);
        sum += d2;
        poses[photo].rms_px += d2;
        poses[photo].largest_px = fmax(poses[photo].largest_px, sqrt(d2));
        count[photo]++;
    }
    for (int i = 0; i < n_views; i++) poses[i].rms_px = sqrt(poses[i].rms_px / count[i]);
    out->rms_px = sqrt(sum / net->n_observations);
    out->sigma_px = out->degrees_of_freedom > 0 ? sqrt(sum / out->degrees_of_freedom) : 0;
    free(count);
    return true;
}

/* The corners' standard deviations are known only relative to each other: they are scaled by what
   the residuals say, so that the loss and the prior of the bow act in true units. */
static bool solve_scaled(tr_network *net, const tr_net_options *options, tr_lsq_result *result,
                         tr_error *err) {
    tr_net_options plain = {.max_iterations = options->max_iterations};
    double scale = 1;
    if (!tr_network_solve(net, &plain, result, err)) return false;
    for (int pass = 0; pass < 2; pass++) {
        double wanted = fmax(scale * sqrt(result->variance_factor), SMALLEST_SCALE);
        double factor = scale / wanted;
        scale = wanted;
        for (int i = 0; i < net->n_observations; i++) {
            for (int k = 0; k < 4; k++) net->observations[i].W[k] *= factor;
        }
        if (!tr_network_solve(net, options, result, err)) return false;
    }
    return true;
}

/* A board that is not quite true: the lens that the same corners give when each of them may lie off
   its place differs from the lens of a true board. Which of the two is nearer cannot be told (the
   offsets can hide faults of the lens model as well), so the true board's is kept, and the
   difference counts as an error that was not corrected: it is added to the covariance (JCGM
   100:2008, F.2.4.5). The network stays as it is. */
static bool add_unevenness(const tr_network *solved, const tr_net_options *options,
                           tr_calibration *out, tr_error *err) {
    bool ok = false;
    tr_uneven uneven = {0};
    tr_net_options plain = {.huber = options->huber, .max_iterations = options->max_iterations};
    tr_lsq_result result = {.is_settled = true};
    tr_network net = *solved;
    tr_net_lens lens = solved->lenses[0];
    tr_net_sheet board = solved->sheets[0];
    net.lenses = &lens;
    net.sheets = &board;
    net.rigs = malloc(((size_t)net.n_rigs + 1) * sizeof *net.rigs);
    net.observations = malloc(((size_t)net.n_observations + 1) * sizeof *net.observations);
    if (!net.rigs || !net.observations) {
        tr_fail_memory(err);
        goto out;
    }
    memcpy(net.rigs, solved->rigs, (size_t)net.n_rigs * sizeof *net.rigs);
    memcpy(net.observations, solved->observations,
           (size_t)net.n_observations * sizeof *net.observations);
    if (!tr_uneven_free_corners(&net, &uneven, &out->uneven_mm, err)) goto out;
    bool grows = out->uneven_mm > 0;
    for (int pass = 0; pass < MAX_UNEVEN_PASSES && grows; pass++) {
        if (!solve_scaled(&net, &plain, &result, err)) goto out;
        grows = tr_uneven_widen(&uneven, &out->uneven_mm);
    }
    ok = true;
    for (int i = 0; i < TR_LENS_N && result.is_settled; i++) {
        for (int j = 0; j < TR_LENS_N; j++) {
            out->lens.covariance[i * TR_LENS_N + j] += (lens.lens.param[i] - out->lens.param[i]) *
                                                       (lens.lens.param[j] - out->lens.param[j]);
        }
    }
out:
    tr_uneven_release(&uneven);
    free(net.rigs);
    free(net.observations);
    return ok;
}

bool tr_calibrate(const tr_calib_view *views, int n_views, const tr_calib_options *o,
                  tr_calibration *out, tr_calib_pose *poses, tr_error *err) {
    enum { WANTED = TR_LENS_N + 2 };
    bool ok = false;
    int n_corners = 0;
    tr_net_lens lens = {.has_prior = false};
    tr_net_camera camera = {.camera_from_rig = tr_pose_identity()};
    tr_net_sheet board = {.world_from_sheet = tr_pose_identity()};
    tr_net_rig *rigs = calloc((size_t)n_views + 1, sizeof *rigs);
    tr_net_photo *photos = calloc((size_t)n_views + 1, sizeof *photos);
    tr_net_obs *obs = NULL;
    memset(out, 0, sizeof *out);
    for (int i = 0; i < n_views; i++) n_corners += views[i].n;
    obs = calloc((size_t)n_corners + 1, sizeof *obs);
    if (!rigs || !photos || !obs) {
        tr_fail_memory(err);
        goto out;
    }
    if (n_views < 2) {
        tr_fail(err, TR_NO_MEASURE, "a lens needs more than one view of the board");
        goto out;
    }
    if (!start_lens(views, n_views, o, &lens.lens, err)) goto out;
    memcpy(lens.is_free, o->is_free, sizeof lens.is_free);
    half_extents(views, n_views, board.half_mm);
    for (int k = 0; k < 2 && o->has_bow; k++) {
        board.is_free[TR_BOW_X + k] = true;
        board.shape_sd[2 + k] = BOW_PRIOR_PART * board.half_mm[k];
    }
    for (int i = 0; i < n_views; i++) {
        tr_planar_pose found[2];
        photos[i] = (tr_net_photo){.rig = i};
        if (tr_planar_poses(&lens.lens, views[i].p_board_mm, views[i].uv_px, views[i].n, found) <
            1) {
            tr_fail(err, TR_NO_MEASURE, "the board of photo %d cannot be placed in space", i + 1);
            goto out;
        }
        rigs[i].rig_from_world = found[0].camera_from_plane;
    }
    tr_network net = {.lenses = &lens,
                      .cameras = &camera,
                      .rigs = rigs,
                      .sheets = &board,
                      .photos = photos,
                      .observations = obs,
                      .n_lenses = 1,
                      .n_cameras = 1,
                      .n_rigs = n_views,
                      .n_sheets = 1,
                      .n_photos = n_views,
                      .n_observations = fill_observations(views, n_views, obs)};
    tr_net_unknown wanted[WANTED];
    double C[WANTED * WANTED];
    for (int i = 0; i < TR_LENS_N; i++) wanted[i] = (tr_net_unknown){TR_NET_LENS, 0, i};
    for (int i = 0; i < 2; i++)
        wanted[TR_LENS_N + i] = (tr_net_unknown){TR_NET_SHEET, 0, TR_BOW_X + i};
    tr_net_options options = {
        .huber = o->huber, .wanted = wanted, .n_wanted = WANTED, .covariance = C};
    tr_lsq_result result;
    if (!check_turns(rigs, n_views, err) || !solve_scaled(&net, &options, &result, err) ||
        !check_turns(rigs, n_views, err)) {
        goto out;
    }
    if (!result.is_settled) {
        tr_fail(
            err, TR_NO_MEASURE,
            "the corners of the photos contradict each other; leave out photos in which the board "
            "is blurred, bent or cut off, and check that all were taken with one zoom and focus");
        goto out;
    }
    if (result.degrees_of_freedom < 1) {
        tr_fail(err, TR_NO_MEASURE,
                "the corners are just enough for a lens and leave nothing to tell how good it is; "
                "take more photos of the board");
        goto out;
    }
    out->lens = lens.lens;
    out->lens.has_covariance = true;
    for (int i = 0; i < TR_LENS_N; i++) {
        for (int j = 0; j < TR_LENS_N; j++) {
            out->lens.covariance[i * TR_LENS_N + j] = result.variance_factor * C[i * WANTED + j];
        }
    }
    if (o->has_uneven && n_views >= MIN_VIEWS_FOR_UNEVEN &&
        !add_unevenness(&net, &options, out, err)) {
        goto out;
    }
    for (int k = 0; k < 2; k++) {
        int i = TR_LENS_N + k;
        out->half_mm[k] = board.half_mm[k];
        out->bow_mm[k] = board.shape[2 + k];
        out->bow_sd_mm[k] = sqrt(result.variance_factor * C[i * WANTED + i]);
    }
    out->degrees_of_freedom = result.degrees_of_freedom;
    ok = collect(&net, n_views, out, poses, err);
out:
    free(rigs);
    free(photos);
    free(obs);
    return ok;
}
