#include "calib/calibrate.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "calib/components.h"
#include "lens/planar.h"
#include "network/network.h"

/* A board bends by more than this only when it is broken: keeps the bow from running away where the
   views say nothing about it. Part of the board's half width. */
static const double BOW_PRIOR_PART = 0.02;

/* Boards that differ by less than this in direction are one view, so far as a lens goes: focal
   length and distance cannot be told apart. */
static const double SMALLEST_TURN_RAD = 5 * TR_RAD_PER_DEG;

/* A printed board before anything is known of it, in parts of its half diagonal: its corners lie
   off their places by 0.07 mm along a board of 300 mm, and 0.4 mm out of it. */
static const double WIDE_PRINT_PART = 5e-4;
static const double WIDE_HEIGHT_PART = 3e-3;

/* Printers make paper longer one way than the other by some per mille; a quarter turn of the camera
   tells that from pixels that are not square. */
static const double PRINT_SCALE_SD = 3e-3;

/* A component of fewer degrees of freedom is not told (lens.h, tr_lens_scatter_sd). */
static const double LEAST_DOF = 2;

tr_calib_options tr_calib_defaults(int width_px, int height_px) {
    tr_calib_options o = {.width_px = width_px,
                          .height_px = height_px,
                          .has_bow = true,
                          .has_corner_deviations = true,
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

/* ---- the network ---- */

/* A lens, one camera, a board, and photos of it. */
typedef struct {
    tr_network net;      /* arrays owned */
    tr_net_lens *lens;   /* of net ... */
    tr_net_sheet *board; /* ... its only ones */
} calibration_net;

static void release_net(calibration_net *c) {
    tr_network_release(&c->net);
}

static bool make_net(const tr_calib_view *views, int n_views, calibration_net *c, tr_error *err) {
    int n = 0;
    int last = 0;
    for (int i = 0; i < n_views; i++) {
        n += views[i].n;
        for (int k = 0; k < views[i].n; k++) {
            int corner = views[i].corner ? views[i].corner[k] : k;
            last = corner > last ? corner : last;
        }
    }
    tr_network *net = &c->net;
    *net = (tr_network){.lenses = tr_array(1, sizeof *net->lenses),
                        .cameras = tr_array(1, sizeof *net->cameras),
                        .sheets = tr_array(1, sizeof *net->sheets),
                        .rigs = tr_array(n_views, sizeof *net->rigs),
                        .photos = tr_array(n_views, sizeof *net->photos),
                        .observations = tr_array(n, sizeof *net->observations),
                        .offsets = tr_array(last + 1L, sizeof *net->offsets),
                        .n_lenses = 1,
                        .n_cameras = 1,
                        .n_sheets = 1,
                        .n_rigs = n_views,
                        .n_photos = n_views};
    c->lens = net->lenses;
    c->board = net->sheets;
    if (net->lenses && net->cameras && net->sheets && net->rigs && net->photos &&
        net->observations && net->offsets) {
        net->cameras[0].camera_from_rig = tr_pose_identity();
        c->board->world_from_sheet = tr_pose_identity();
        return true;
    }
    return tr_fail_memory(err);
}

/* Observations, and an offset for each corner that was seen. */
static bool fill_observations(const tr_calib_view *views, int n_views, int n_numbers,
                              tr_network *net, tr_error *err) {
    int *offset_of = tr_array(n_numbers, sizeof *offset_of); /* a corner; -1: not yet seen */
    if (!offset_of) return tr_fail_memory(err);
    for (int i = 0; i < n_numbers; i++) offset_of[i] = -1;
    for (int i = 0; i < n_views; i++) {
        for (int k = 0; k < views[i].n; k++) {
            tr_net_obs *o = &net->observations[net->n_observations++];
            *o = tr_net_obs_of(i, 0, TR_NET_POINT, 1);
            o->is_used = true;
            o->mark = views[i].corner ? views[i].corner[k] : k;
            o->p_sheet_mm[0] = views[i].p_board_mm[k];
            o->uv_px[0] = views[i].uv_px[k];
            tr_net_whiten_equal(views[i].sd_px ? views[i].sd_px[k] : 1.0, 1, o->W);
            if (offset_of[o->mark] < 0) {
                offset_of[o->mark] = net->n_offsets++;
                net->offsets[offset_of[o->mark]] =
                    (tr_net_offset){.centre_mm = views[i].p_board_mm[k]};
            }
            o->offset = offset_of[o->mark];
        }
    }
    free(offset_of);
    return true;
}

/* The lens to begin with. */
static bool begin_lens(const tr_calib_view *views, int n_views, const tr_calib_options *o,
                       tr_net_lens *lens, tr_error *err) {
    if (o->known) {
        *lens = tr_net_lens_of(o->known);
        return true;
    }
    memcpy(lens->is_free, o->is_free, sizeof lens->is_free);
    return start_lens(views, n_views, o, &lens->lens, err);
}

static bool fill_net(const tr_calib_view *views, int n_views, const tr_calib_options *o,
                     calibration_net *c, tr_error *err) {
    int n_numbers = 1;
    for (int i = 0; i < n_views; i++) {
        for (int k = 0; k < views[i].n; k++) {
            int corner = views[i].corner ? views[i].corner[k] : k;
            n_numbers = corner + 1 > n_numbers ? corner + 1 : n_numbers;
        }
    }
    half_extents(views, n_views, c->board->half_mm);
    for (int k = 0; k < 2 && o->has_bow; k++) {
        c->board->is_free[TR_BOW_X + k] = true;
        c->board->shape_sd[TR_SHAPE_BOW_X + k] = BOW_PRIOR_PART * c->board->half_mm[k];
    }
    c->board->is_free[TR_PRINT_SCALE_X] = o->has_corner_deviations;
    c->board->shape_sd[TR_SHAPE_SCALE_X] = PRINT_SCALE_SD;
    c->board->shape_about = -1;
    for (int i = 0; i < n_views; i++) {
        tr_planar_pose found[2];
        c->net.photos[i] = (tr_net_photo){.rig = i};
        if (tr_planar_poses(&c->lens->lens, views[i].p_board_mm, views[i].uv_px, views[i].n,
                            found) < 1) {
            return tr_fail(err, TR_NO_MEASURE, "the board of photo %d cannot be placed in space",
                           i + 1);
        }
        c->net.rigs[i].rig_from_world = found[0].camera_from_plane;
    }
    return fill_observations(views, n_views, n_numbers, &c->net, err);
}

/* ---- what it says ---- */

/* Residual statistics per view and as a whole. */
static bool collect(const tr_network *net, const tr_calib_view *views, int n_views,
                    double redundancy, tr_vec2 *residual_px, tr_calibration *out,
                    tr_calib_pose *poses, tr_error *err) {
    double sum = 0;
    int k = 0;
    for (int i = 0; i < n_views; i++) {
        double sum_view = 0;
        poses[i] = (tr_calib_pose){.camera_from_board = net->rigs[i].rig_from_world};
        memcpy(poses[i].camera, net->photos[i].value, sizeof poses[i].camera);
        for (int j = 0; j < views[i].n; j++, k++) {
            tr_vec2 r;
            if (!tr_network_residual(net, k, &r, NULL)) {
                return tr_fail(err, TR_NO_MEASURE, "the adjustment left the lens model's range");
            }
            if (residual_px) residual_px[k] = r;
            double d2 = tr_v2_dot(r, r);
            sum_view += d2;
            poses[i].largest_px = fmax(poses[i].largest_px, sqrt(d2));
        }
        poses[i].rms_px = sqrt(sum_view / views[i].n);
        sum += sum_view;
    }
    out->rms_px = sqrt(sum / net->n_observations);
    out->sigma_px = sqrt(sum / redundancy);
    return true;
}

static double rms_of(const tr_network *net) {
    double sum = 0;
    for (int k = 0; k < net->n_observations; k++) {
        tr_vec2 r;
        if (tr_network_residual(net, k, &r, NULL)) sum += tr_v2_dot(r, r);
    }
    return sqrt(sum / net->n_observations);
}

static void set_wide(const tr_calib_options *o, const calibration_net *c, tr_components *wide) {
    double half_mm = hypot(c->board->half_mm[0], c->board->half_mm[1]);
    *wide = (tr_components){.scale = 1};
    for (int k = 0; k < TR_SCATTER_N && !o->is_steady; k++) {
        const tr_lens_scatter *s = &c->lens->lens.scatter;
        wide->of[k].wide = tr_lens_scatter_sd(&c->lens->lens, k);
        if (!o->known || !(s->dof[k] > 0)) continue;
        wide->of[k].wide = wide->of[k].least = wide->of[k].most = s->sd[k];
    }
    /* No lens breathes by more; a board that bends from photo to photo looks like it. */
    if (!(wide->of[TR_SCATTER_FOCAL].most > 0)) {
        wide->of[TR_SCATTER_FOCAL].most = wide->of[TR_SCATTER_FOCAL].wide;
    }
    if (o->has_corner_deviations) {
        wide->of[TR_COMPONENT_PRINT].wide = WIDE_PRINT_PART * half_mm;
        wide->of[TR_COMPONENT_HEIGHT].wide = WIDE_HEIGHT_PART * half_mm;
    }
}

static void tell_components(const tr_calib_options *o, const tr_components *c,
                            tr_calibration *out) {
    tr_lens_scatter *s = &out->lens.scatter;
    const tr_component *print = &c->of[TR_COMPONENT_PRINT];
    const tr_component *height = &c->of[TR_COMPONENT_HEIGHT];
    s->is_steady = o->is_steady;
    for (int k = 0; k < TR_SCATTER_N; k++) {
        bool is_told = c->of[k].dof >= LEAST_DOF;
        out->scatter_sd[k] = c->of[k].sd;
        out->is_bound[k] = c->of[k].is_bound;
        s->sd[k] = is_told ? c->of[k].sd : 0;
        s->dof[k] = is_told ? c->of[k].dof : 0;
    }
    out->corner_deviation_mm = print->dof > 0 && !print->is_bound ? print->sd : 0;
    out->height_mm = height->dof > 0 && !height->is_bound ? height->sd : 0;
}

static void tell_lens(const calibration_net *c, const double *C, int stride, tr_calibration *out) {
    out->lens = c->lens->lens;
    out->lens.has_covariance = true;
    for (int i = 0; i < TR_LENS_N; i++) {
        for (int j = 0; j < TR_LENS_N; j++) {
            out->lens.covariance[i * TR_LENS_N + j] = C[i * stride + j];
        }
    }
    for (int k = 0; k < 2; k++) {
        int i = TR_LENS_N + k;
        out->half_mm[k] = c->board->half_mm[k];
        out->bow_mm[k] = c->board->shape[TR_SHAPE_BOW_X + k];
        out->bow_sd_mm[k] = sqrt(C[i * stride + i]);
    }
    out->differential_scale = c->board->shape[TR_SHAPE_SCALE_X];
    out->differential_scale_sd = sqrt(C[(TR_LENS_N + 2) * (stride + 1)]);
}

/* What the covariance is of: the lens, the board's bow and its differential scale. */
enum { N_ASKED = TR_LENS_N + 3 };

static void list_asked(tr_net_unknown asked[N_ASKED]) {
    for (int i = 0; i < TR_LENS_N; i++) asked[i] = (tr_net_unknown){TR_NET_LENS, 0, i};
    for (int i = 0; i < 2; i++)
        asked[TR_LENS_N + i] = (tr_net_unknown){TR_NET_SHEET, 0, TR_BOW_X + i};
    asked[TR_LENS_N + 2] = (tr_net_unknown){TR_NET_SHEET, 0, TR_PRINT_SCALE_X};
}

/* One camera in all photos and a true board: the initial values of all that follows. */
static bool solve_steady(const tr_calib_view *views, int n_views, const tr_calib_options *o,
                         calibration_net *c, tr_error *err) {
    tr_net_options plain = {0};
    tr_lsq_result result;
    if (n_views < (o->known ? 1 : 2)) {
        return tr_fail(err, TR_NO_MEASURE, "a lens needs more than one view of the board");
    }
    if (!begin_lens(views, n_views, o, c->lens, err) || !fill_net(views, n_views, o, c, err) ||
        (!o->known && !check_turns(c->net.rigs, n_views, err)) ||
        !tr_network_solve(&c->net, &plain, &result, err)) {
        return false;
    }
    if (result.degrees_of_freedom >= 1) return true;
    return tr_fail(err, TR_NO_MEASURE,
                   "the corners are just enough for a lens and leave nothing to judge it by; take "
                   "more photos of the board");
}

/* With a camera in every photo. C: of what is asked. */
static bool solve_components(const tr_calib_options *o, calibration_net *c,
                             tr_components *components, double C[N_ASKED * N_ASKED],
                             tr_error *err) {
    tr_net_options options = {.huber = o->huber};
    tr_net_unknown asked[N_ASKED];
    tr_lsq_result result;
    list_asked(asked);
    set_wide(o, c, components);
    if (!tr_components_solve(&c->net, &options, asked, N_ASKED, C, components, &result, err) ||
        (!o->known && !check_turns(c->net.rigs, c->net.n_rigs, err))) {
        return false;
    }
    if (result.has_converged) return true;
    return tr_fail(err, TR_NO_MEASURE,
                   "the adjustment of all photos did not settle; leave out photos in which the "
                   "board is blurred, bent or cut off, and add others, tilted by 20 to 40 degrees "
                   "to each side");
}

bool tr_calibrate(const tr_calib_view *views, int n_views, const tr_calib_options *o,
                  tr_calibration *out, tr_calib_pose *poses, tr_error *err) {
    calibration_net c;
    tr_components components;
    double C[N_ASKED * N_ASKED];
    memset(out, 0, sizeof *out);
    bool ok = make_net(views, n_views, &c, err) && solve_steady(views, n_views, o, &c, err);
    if (ok) {
        out->rms_steady_px = rms_of(&c.net);
        ok = solve_components(o, &c, &components, C, err);
    }
    if (ok) {
        tell_lens(&c, C, N_ASKED, out);
        tell_components(o, &components, out);
        out->degrees_of_freedom = (int)lround(components.redundancy);
        ok =
            collect(&c.net, views, n_views, components.redundancy, o->residual_px, out, poses, err);
    }
    release_net(&c);
    return ok;
}
