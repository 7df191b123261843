/* The joint adjustment: derivatives, priors, covariances. */
#include "network/network.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"

#include "draw.h"

/* ---- small helpers ---- */

static double square(double x) {
    return x * x;
}

/* Cholesky factor (lower) in place of A, n x n. */
static void factor_lower(double *A, int n) {
    for (int j = 0; j < n; j++) {
        for (int i = j; i < n; i++) {
            double sum = A[i * n + j];
            for (int k = 0; k < j; k++) sum -= A[i * n + k] * A[j * n + k];
            if (i == j) {
                assert_true(sum > 0);
                A[j * n + j] = sqrt(sum);
            } else {
                A[i * n + j] = sum / A[j * n + j];
            }
        }
        for (int k = j + 1; k < n; k++) A[j * n + k] = 0;
    }
}

/* The inverse of a positive definite matrix, in place (Gauss-Jordan on scaled unknowns). */
static void invert(double *A, int n) {
    double scale[64];
    assert_true(n <= 64);
    for (int i = 0; i < n; i++) {
        assert_true(A[i * n + i] > 0);
        scale[i] = 1 / sqrt(A[i * n + i]);
    }
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) A[i * n + j] *= scale[i] * scale[j];
    }
    for (int k = 0; k < n; k++) {
        double pivot = A[k * n + k];
        A[k * n + k] = 1;
        for (int j = 0; j < n; j++) A[k * n + j] /= pivot;
        for (int i = 0; i < n; i++) {
            if (i == k) continue;
            double f = A[i * n + k];
            A[i * n + k] = 0;
            for (int j = 0; j < n; j++) A[i * n + j] -= f * A[k * n + j];
        }
    }
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) A[i * n + j] *= scale[i] * scale[j];
    }
}

/* e' C^-1 e */
static double mahalanobis(const double *C, const double *e, int n) {
    double L[64 * 64];
    double sum = 0;
    double z[64];
    assert_true(n <= 64);
    memcpy(L, C, (size_t)(n * n) * sizeof *L);
    factor_lower(L, n);
    for (int i = 0; i < n; i++) {
        z[i] = e[i];
        for (int k = 0; k < i; k++) z[i] -= L[i * n + k] * z[k];
        z[i] /= L[i * n + i];
        sum += z[i] * z[i];
    }
    return sum;
}

/* A covariance of n unknowns with the sd given and correlations drawn at random. */
static void random_covariance(tr_draw *d, const double *sd, int n, double *C) {
    double A[16 * 16];
    assert_true(n <= 16);
    for (int i = 0; i < n * n; i++) A[i] = draw_normal(d);
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            C[i * n + j] = i == j ? 1 : 0;
            for (int k = 0; k < n; k++) C[i * n + j] += A[i * n + k] * A[j * n + k];
        }
    }
    double diagonal[16];
    for (int i = 0; i < n; i++) diagonal[i] = sqrt(C[i * n + i]);
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) C[i * n + j] *= sd[i] * sd[j] / (diagonal[i] * diagonal[j]);
    }
}

static void correlated_noise(tr_draw *d, const double *C, int n, double *out) {
    double L[16 * 16];
    double z[16];
    assert_true(n <= 16);
    memcpy(L, C, (size_t)(n * n) * sizeof *L);
    factor_lower(L, n);
    for (int i = 0; i < n; i++) z[i] = draw_normal(d);
    for (int i = 0; i < n; i++) {
        out[i] = 0;
        for (int k = 0; k <= i; k++) out[i] += L[i * n + k] * z[k];
    }
}

/* ---- whitening ---- */

static void whiten_round_trip(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("whiten_round_trip");
    for (int n_points = 1; n_points <= TR_OBS_MAX_POINTS; n_points++) {
        int n = 2 * n_points;
        for (int trial = 0; trial < 20; trial++) {
            double sd[8], C[64], W[64];
            for (int i = 0; i < n; i++) sd[i] = exp(draw_between(&d, -4, 1));
            random_covariance(&d, sd, n, C);
            assert_true(tr_net_whiten(C, n_points, W));
            for (int i = 0; i < n; i++) {
                for (int j = 0; j < n; j++) {
                    /* W C W' = I, which is W'W = C^-1. */
                    double sum = 0;
                    for (int k = 0; k < n; k++) {
                        for (int l = 0; l < n; l++)
                            sum += W[i * n + k] * C[k * n + l] * W[j * n + l];
                    }
                    CHECK_NEAR(sum, i == j, 1e-9);
                    if (j < i) CHECK_NEAR(W[i * n + j], 0, 0);
                }
            }
        }
    }
}

static void whiten_equal(void **unused) {
    (void)unused;
    double C[64] = {0}, W[64], equal[64];
    for (int i = 0; i < 8; i++) C[9 * i] = square(0.07);
    assert_true(tr_net_whiten(C, 4, W));
    tr_net_whiten_equal(0.07, 4, equal);
    for (int i = 0; i < 64; i++) CHECK_NEAR(equal[i], W[i], 1e-12);
}

static void whiten_refuses(void **unused) {
    (void)unused;
    double W[4];
    assert_false(tr_net_whiten((double[]){1, 0, 0, 0}, 1, W));
    assert_false(tr_net_whiten((double[]){1, 1, 1, 1}, 1, W));
    assert_false(tr_net_whiten((double[]){1, 2, 2, 1}, 1, W));
    assert_false(tr_net_whiten((double[]){-1, 0, 0, 1}, 1, W));
    assert_false(tr_net_whiten((double[]){NAN, 0, 0, 1}, 1, W));
    assert_false(tr_net_whiten((double[]){1, NAN, NAN, 1}, 1, W));
    assert_false(tr_net_whiten((double[]){INFINITY, 0, 0, 1}, 1, W));
}

/* ---- a job on the floor ---- */

/* A mat and four plates, photographed from six places around by a 12-megapixel camera; the mat
   holds the world in place. */
enum {
    JOB_SHEETS = 5,
    JOB_PHOTOS = 6,
    JOB_TAGS = 2 * (JOB_SHEETS - 1) + 6,
    JOB_MOST_OBS = JOB_PHOTOS * JOB_TAGS
};

typedef struct {
    tr_network net;
    tr_net_lens lens;
    tr_net_camera camera;
    tr_net_rig rigs[JOB_PHOTOS];
    tr_net_sheet sheets[JOB_SHEETS];
    tr_net_photo photos[JOB_PHOTOS];
    tr_net_obs obs[JOB_MOST_OBS];
} job;

static const double phone_param[TR_LENS_N] = {3012.4,  3011.8, 2010.1,  1512.7, 0.0831,
                                              -0.2105, 0.0004, -0.0002, 0.1377};
static const double phone_sd[TR_LENS_N] = {1.5, 1.5, 1.2, 1.2, 0.002, 0.01, 1e-4, 1e-4, 0.02};
static const double FLOOR_Z_SD_MM = 3;
static const double FLOOR_TILT_SD_RAD = 0.3 * TR_RAD_PER_DEG;
static const double STRETCH_SD = 5e-4;
static const double BOW_SD_MM = 2;

/* A camera at `eye` that looks at `target`, both in the world; y of the image points down. */
static tr_pose looking_at(tr_vec3 eye, tr_vec3 target) {
    tr_vec3 z = tr_v3_sub(target, eye);
    z = tr_v3_scale(1 / tr_v3_norm(z), z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    x = tr_v3_scale(1 / tr_v3_norm(x), x);
    tr_pose world_from_camera = {tr_m3_from_columns(x, tr_v3_cross(z, x), z), eye};
    return tr_pose_inverse(world_from_camera);
}

static void job_fill_lens(job *q) {
    q->lens.lens.width_px = 4032;
    q->lens.lens.height_px = 3024;
    memcpy(q->lens.lens.param, phone_param, sizeof phone_param);
}

static void job_fill_net(job *q) {
    q->net = (tr_network){.lenses = &q->lens,
                          .cameras = &q->camera,
                          .rigs = q->rigs,
                          .sheets = q->sheets,
                          .photos = q->photos,
                          .observations = q->obs,
                          .n_lenses = 1,
                          .n_cameras = 1,
                          .n_rigs = JOB_PHOTOS,
                          .n_sheets = JOB_SHEETS,
                          .n_photos = JOB_PHOTOS};
}

/* The tags of a sheet: centres, mm, and half the edge. */
static int job_tags(int sheet, tr_vec2 centre_mm[6], double *half_mm) {
    static const tr_vec2 mat[6] = {{-650, 350},  {650, 350}, {650, -350},
                                   {-650, -350}, {0, 350},   {0, -350}};
    static const tr_vec2 plate[2] = {{-110, 0}, {110, 0}};
    *half_mm = sheet == 0 ? 80 : 60;
    int n = sheet == 0 ? 6 : 2;
    memcpy(centre_mm, sheet == 0 ? mat : plate, (size_t)n * sizeof *centre_mm);
    return n;
}

/* Where a point of the world appears in a photo. */
static bool project(const tr_network *net, int photo, tr_vec3 p_world_mm, tr_vec2 *uv_px) {
    const tr_net_photo *p = &net->photos[photo];
    tr_pose rig_from_world = net->rigs[p->rig].rig_from_world;
    tr_pose camera_from_world =
        tr_pose_mul(net->cameras[p->camera].camera_from_rig, rig_from_world);
    return tr_lens_project(&net->lenses[p->lens].lens, tr_pose_apply(camera_from_world, p_world_mm),
                           uv_px, NULL, NULL);
}

/* Observes whatever lies wholly within the photo, without noise. C: covariance of a tag's eight
   coordinates. */
static void job_observe(job *q, const double C[64]) {
    q->net.n_observations = 0;
    for (int photo = 0; photo < JOB_PHOTOS; photo++) {
        for (int sheet = 0; sheet < JOB_SHEETS; sheet++) {
            tr_vec2 centre[6];
            double half;
            int n = job_tags(sheet, centre, &half);
            for (int t = 0; t < n; t++) {
                tr_net_obs obs = tr_net_obs_of(photo, sheet, TR_NET_TAG, 4);
                obs.is_used = true;
                bool is_seen = true;
                for (int k = 0; k < 4 && is_seen; k++) {
                    obs.p_sheet_mm[k] = tr_v2_add(
                        centre[t], tr_v2(k == 0 || k == 3 ? -half : half, k < 2 ? -half : half));
                    tr_vec3 p = tr_network_point(&q->net, sheet, -1, obs.p_sheet_mm[k]);
                    tr_vec2 *uv = &obs.uv_px[k];
                    is_seen = project(&q->net, photo, p, uv) && uv->x > 0 && uv->x < 4031 &&
                              uv->y > 0 && uv->y < 3023;
                }
                if (!is_seen) continue;
                assert_true(tr_net_whiten(C, 4, obs.W));
                q->obs[q->net.n_observations++] = obs;
            }
        }
    }
}

/* Where all is, as planned: mat behind the vehicle, plates beside its wheels. */
static void job_place(job *q) {
    static const tr_vec2 place[JOB_SHEETS] = {
        {0, 0}, {1800, 900}, {1800, -900}, {4500, 900}, {4500, -900}};
    static const tr_vec3 eye[JOB_PHOTOS] = {{-2500, 300, 1700},  {600, 3200, 1600},
                                            {700, -3300, 1750},  {5200, 3000, 1650},
                                            {5400, -2900, 1700}, {2500, 4200, 1900}};
    static const tr_vec3 target[JOB_PHOTOS] = {{1500, 0, 0}, {1500, 0, 0}, {1500, 0, 0},
                                               {2700, 0, 0}, {2700, 0, 0}, {2400, 0, 0}};
    memset(q, 0, sizeof *q);
    job_fill_lens(q);
    q->camera.camera_from_rig = tr_pose_identity();
    for (int i = 0; i < JOB_PHOTOS; i++) {
        q->photos[i] = (tr_net_photo){.rig = i};
        q->rigs[i].rig_from_world = looking_at(eye[i], target[i]);
    }
    for (int i = 0; i < JOB_SHEETS; i++) {
        tr_net_sheet *sheet = &q->sheets[i];
        sheet->shape_about = -1;
        sheet->world_from_sheet.R = tr_rotation_z(0.3 * i - TR_PI / 2);
        sheet->world_from_sheet.t_mm = tr_v3(place[i].x, place[i].y, 0);
        sheet->half_mm[0] = i == 0 ? 800 : 200;
        sheet->half_mm[1] = i == 0 ? 500 : 100;
        for (int k = 0; k < TR_POSE_N; k++) sheet->is_free[k] = true;
        sheet->floor_z_sd_mm = FLOOR_Z_SD_MM;
        sheet->floor_tilt_sd_rad = FLOOR_TILT_SD_RAD;
    }
    q->sheets[0].is_free[TR_SHEET_RZ] = false;
    q->sheets[0].is_free[TR_SHEET_TX] = false;
    q->sheets[0].is_free[TR_SHEET_TY] = false;
    job_fill_net(q);
}

/* Covariance of a tag's corners, px^2: what they have in common and what each has alone. */
static void tag_covariance(double C[64]) {
    for (int i = 0; i < 8; i++) {
        for (int j = 0; j < 8; j++) {
            C[8 * i + j] = (i == j ? square(0.08) : 0) + (i % 2 == j % 2 ? square(0.04) : 0);
        }
    }
}

static bool job_solve(job *q, const tr_net_options *options, tr_lsq_result *result) {
    tr_error err = {0};
    bool ok = tr_network_solve(&q->net, options, result, &err);
    if (!ok) print_error("%s\n", err.text);
    if (ok && !result->has_converged)
        print_error("not settled after %d steps\n", result->iterations);
    return ok && result->has_converged;
}

/* Solves for the covariance C of n unknowns. */
static bool job_covariance(job *q, const tr_net_unknown *unknowns, int n, double *C,
                           tr_lsq_result *result) {
    tr_error err = {0};
    tr_net_options options = {0};
    tr_net_solution *s = tr_net_solution_new(&q->net, &options, result, &err);
    bool ok = s && tr_net_solution_covariance(s, unknowns, n, C, &err);
    tr_net_solution_free(s);
    if (!ok) print_error("%s\n", err.text);
    return ok && result->has_converged;
}

/* ---- derivatives ---- */

static void check_derivatives(tr_network *net) {
    tr_error err = {0};
    double difference;
    char where[256];
    bool ok = tr_network_check_jacobian(net, &difference, where, sizeof where, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
    if (!(difference <= 1e-6)) print_error("%s\n", where);
    CHECK_AT_MOST(difference, 1e-6);
}

/* Everything free: lens with prior, a second camera on the rig, shapes with priors, marks with
   offsets of their own. */
typedef struct {
    job q;
    tr_net_lens lenses[2];
    tr_net_camera cameras[2];
    tr_net_offset offsets[7];
} rich_job;

static void make_rich(rich_job *r, tr_draw *d) {
    double C[64];
    double sd[TR_LENS_N];
    tag_covariance(C);
    job_place(&r->q);
    for (int i = 0; i < TR_LENS_N; i++) sd[i] = phone_sd[i];
    for (int i = 0; i < 2; i++) {
        r->lenses[i] = r->q.lens;
        r->lenses[i].has_prior = true;
        random_covariance(d, sd, TR_LENS_N, r->lenses[i].lens.covariance);
        for (int k = 0; k < TR_LENS_N; k++) r->lenses[i].is_free[k] = true;
        r->cameras[i].is_free = true;
        r->cameras[i].camera_from_rig =
            (tr_pose){tr_rotation_from_vector(tr_v3(0.05 * i, -0.12 * i, 0.2 * i)),
                      {-100.0 * i, 20.0 * i, 5}};
    }
    for (int i = 0; i < JOB_SHEETS; i++) {
        tr_net_sheet *sheet = &r->q.sheets[i];
        for (int k = 0; k < TR_SHEET_N; k++) sheet->is_free[k] = true;
        sheet->shape_about = -1;
        for (int k = 0; k < 4; k++) {
            sheet->shape[k] = (k < 2 ? 1e-3 : 5) * draw_normal(d);
            sheet->shape_sd[k] = k < 2 ? STRETCH_SD : BOW_SD_MM;
        }
        tr_vec3 turn = tr_v3(0.1 * draw_normal(d), 0.1 * draw_normal(d), draw_normal(d));
        sheet->world_from_sheet.R =
            tr_m3_mul(tr_rotation_from_vector(turn), sheet->world_from_sheet.R);
        sheet->world_from_sheet.t_mm.z = 20 * draw_normal(d);
    }
    for (int i = 0; i < JOB_PHOTOS; i++) {
        r->q.photos[i] = (tr_net_photo){.lens = i % 2, .camera = i % 2, .rig = i / 2};
    }
    r->q.net.lenses = r->lenses;
    r->q.net.cameras = r->cameras;
    r->q.net.n_lenses = r->q.net.n_cameras = 2;
    r->q.net.n_rigs = JOB_PHOTOS / 2;
    job_observe(&r->q, C);
    /* Away from the minimum, where residuals are not 0. */
    for (int i = 0; i < r->q.net.n_observations; i++) {
        for (int k = 0; k < 4; k++) {
            r->q.obs[i].uv_px[k].x += draw_normal(d);
            r->q.obs[i].uv_px[k].y += draw_normal(d);
        }
    }
}

/* Of every four tags one has none, and the others share seven offsets. */
static void give_offsets(rich_job *r, tr_draw *d) {
    for (int i = 0; i < 7; i++) {
        tr_net_offset *offset = &r->offsets[i];
        for (int k = 0; k < 3; k++) {
            offset->value[k] = 3 * draw_normal(d);
            offset->is_free[k] = i != 3 || k != 1;
            offset->sd[k] = i == 5 && k == 2 ? 0 : 4;
        }
    }
    for (int i = 0; i < r->q.net.n_observations; i++) {
        r->q.obs[i].offset = i % 4 == 0 ? -1 : i % 7;
    }
    r->q.net.offsets = r->offsets;
    r->q.net.n_offsets = 7;
}

static void derivatives_offsets(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("derivatives_offsets");
    static rich_job r;
    for (int trial = 0; trial < 3; trial++) {
        make_rich(&r, &d);
        give_offsets(&r, &d);
        check_derivatives(&r.q.net);
    }
}

/* Each tag of the first sheet is a rectangle that was stuck down by hand; lengths between them, and
   to and between other sheets. */
static void derivatives_forms_and_lengths(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("derivatives_forms_and_lengths");
    static rich_job r;
    for (int trial = 0; trial < 3; trial++) {
        tr_net_length lengths[4] = {
            {.sheet = {0, 0}, .p_sheet_mm = {{-600, 300}, {600, -300}}, .offset = {0, 1}},
            {.sheet = {0, 2}, .p_sheet_mm = {{-600, 300}, {10, 20}}, .offset = {2, -1}},
            {.sheet = {1, 2}, .p_sheet_mm = {{0, 30}, {10, 20}}, .offset = {3, 4}},
            {.sheet = {0, 0}, .p_sheet_mm = {{-600, 300}, {-500, 300}}, .offset = {5, 5}}};
        make_rich(&r, &d);
        for (int i = 0; i < 7; i++) {
            tr_net_offset *offset = &r.offsets[i];
            *offset = (tr_net_offset){.centre_mm = {300 * draw_normal(&d), 200 * draw_normal(&d)},
                                      .axis_rad = draw_normal(&d)};
            for (int k = 0; k < TR_OFFSET_N; k++) {
                offset->value[k] = (k <= TR_OFFSET_Z       ? 3
                                    : k == TR_OFFSET_TWIST ? 1e-4
                                                           : 0.1) *
                                   draw_normal(&d);
                offset->is_free[k] = i != 3 || k != TR_OFFSET_SCALE;
                offset->sd[k] = i == 5 && k == TR_OFFSET_TURN ? 0 : k <= TR_OFFSET_Z ? 4 : 0.1;
            }
        }
        for (int i = 0; i < r.q.net.n_observations; i++) {
            r.q.obs[i].offset = i % 7;
        }
        for (int i = 0; i < 4; i++) {
            lengths[i].length_mm = 1000;
            lengths[i].sd_mm = 1000; /* or rounding would show where a sheet turns as a whole */
            lengths[i].is_used = true;
        }
        r.q.net.offsets = r.offsets;
        r.q.net.n_offsets = 7;
        r.q.net.lengths = lengths;
        r.q.net.n_lengths = 4;
        check_derivatives(&r.q.net);
    }
}

/* Cameras that shift, breathe, turn and travel while they are read; of the second lens the pictures
   are higher than wide. */
static void derivatives_photos(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("derivatives_photos");
    static rich_job r;
    static const double size[TR_PHOTO_N] = {20, 20, 0.01, 2e-3, 2e-3, 2e-3, 2, 2, 2};
    for (int trial = 0; trial < 4; trial++) {
        make_rich(&r, &d);
        r.lenses[1].lens.width_px = r.lenses[0].lens.height_px;
        r.lenses[1].lens.height_px = r.lenses[0].lens.width_px;
        for (int i = 0; i < JOB_PHOTOS; i++) {
            tr_net_photo *photo = &r.q.photos[i];
            for (int k = 0; k < TR_PHOTO_N; k++) {
                photo->value[k] = size[k] * draw_normal(&d);
                photo->is_free[k] = trial > 0 || k % 2 == i % 2;
                photo->sd[k] = k == TR_PHOTO_FOCAL && i == 1 ? 0 : size[k];
            }
        }
        check_derivatives(&r.q.net);
    }
}

/* What the unknowns of a photo mean, against the formulas of photo.h written out once more. */
static void camera_of_a_photo(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("camera_of_a_photo");
    for (int trial = 0; trial < 20; trial++) {
        bool is_portrait = trial % 2;
        tr_net_lens lens = {.lens = {.width_px = is_portrait ? 3024 : 4032,
                                     .height_px = is_portrait ? 4032 : 3024,
                                     .param = {3000, 3010, 2000, 1500, 0.08, -0.2, 4e-4, -2e-4}}};
        tr_net_camera camera = {.camera_from_rig = tr_pose_identity()};
        tr_vec3 turn = tr_v3(0.2 * draw_normal(&d), 0.2 * draw_normal(&d), draw_normal(&d));
        tr_net_rig rig = {.rig_from_world = {tr_rotation_from_vector(turn), {30, -50, 2000}}};
        tr_net_sheet sheet = {.world_from_sheet = tr_pose_identity(), .half_mm = {500, 500}};
        tr_net_photo photo = {0};
        tr_net_obs obs = tr_net_obs_of(0, 0, TR_NET_POINT, 1);
        obs.is_used = true;
        obs.p_sheet_mm[0] = tr_v2(300, -200);
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            photo.value[k] = draw_normal(&d) * (k < TR_PHOTO_FOCAL    ? 20
                                                : k == TR_PHOTO_FOCAL ? 0.01
                                                : k < TR_PHOTO_TRAVEL ? 2e-3
                                                                      : 3);
        }
        tr_network net = {.lenses = &lens,
                          .cameras = &camera,
                          .rigs = &rig,
                          .sheets = &sheet,
                          .photos = &photo,
                          .observations = &obs,
                          .n_lenses = 1,
                          .n_cameras = 1,
                          .n_rigs = 1,
                          .n_sheets = 1,
                          .n_photos = 1,
                          .n_observations = 1};
        obs.uv_px[0] = tr_v2(3000 * draw_even(&d), 3000 * draw_even(&d));
        const double *v = photo.value;
        double s = is_portrait ? obs.uv_px[0].x / 3024 : obs.uv_px[0].y / 3024;
        s += -0.5 + 0.5 / 3024;
        tr_vec3 p = tr_v3(300 - s * v[TR_PHOTO_TRAVEL], -200 - s * v[TR_PHOTO_TRAVEL + 1],
                          -s * v[TR_PHOTO_TRAVEL + 2]);
        tr_vec3 q = tr_pose_apply(rig.rig_from_world, p);
        q = tr_m3_apply(
            tr_rotation_from_vector(
                tr_v3(s * v[TR_PHOTO_TURN], s * v[TR_PHOTO_TURN + 1], s * v[TR_PHOTO_TURN + 2])),
            q);
        tr_lens own = lens.lens;
        own.param[TR_FX] *= 1 + v[TR_PHOTO_FOCAL];
        own.param[TR_FY] *= 1 + v[TR_PHOTO_FOCAL];
        own.param[TR_CX] += v[TR_PHOTO_SHIFT_X];
        own.param[TR_CY] += v[TR_PHOTO_SHIFT_Y];
        tr_vec2 uv;
        tr_vec2 r;
        assert_true(tr_lens_project(&own, q, &uv, NULL, NULL));
        assert_true(tr_network_residual(&net, 0, &r, NULL));
        CHECK_NEAR(r.x, obs.uv_px[0].x - uv.x, 1e-9);
        CHECK_NEAR(r.y, obs.uv_px[0].y - uv.y, 1e-9);
    }
}

/* What the form means: a square turned, grown and drawn out along an axis of its own. */
static void form_of_a_mark(void **unused) {
    (void)unused;
    tr_net_sheet sheet = {.world_from_sheet = tr_pose_identity(), .half_mm = {800, 500}};
    tr_net_offset o = {.centre_mm = {100, 50}};
    tr_network net = {.sheets = &sheet, .offsets = &o, .n_sheets = 1, .n_offsets = 1};
    tr_vec3 p = tr_network_point(&net, 0, -1, tr_v2(180, 130));
    CHECK_NEAR(p.x, 180, 0);
    o.value[TR_OFFSET_X] = 3;
    o.value[TR_OFFSET_Z] = -2;
    o.value[TR_OFFSET_TURN] = TR_PI / 2;
    o.value[TR_OFFSET_SCALE] = 0.01;
    p = tr_network_point(&net, 0, 0, tr_v2(180, 130));
    CHECK_NEAR(p.x, 103 - 80.8, 1e-9);
    CHECK_NEAR(p.y, 50 + 80.8, 1e-9);
    CHECK_NEAR(p.z, -2, 0);
    /* Along its first side, which stands upright, 2 % longer; the other 2 % shorter. */
    o = (tr_net_offset){.centre_mm = {100, 50}, .axis_rad = TR_PI / 2};
    o.value[TR_OFFSET_DIFFERENTIAL_SCALE] = 0.02;
    p = tr_network_point(&net, 0, 0, tr_v2(180, 130));
    CHECK_NEAR(p.x, 100 + 80 * 0.98, 1e-9);
    CHECK_NEAR(p.y, 50 + 80 * 1.02, 1e-9);
}

/* The sensitivity against solving anew with a mark that is held to be elsewhere: in one
   observation, and nowhere else. */
static void sensitivity_by_solving_anew(void **unused) {
    (void)unused;
    static job q;
    double C[64];
    enum { WANTED = 6, MOVED = 7 };
    static const double step[TR_OFFSET_N] = {0.01, 0.01, 0.01, 1e-4, 1e-4, 1e-4};
    tr_net_unknown wanted[WANTED];
    tr_net_offset offsets[2] = {{.centre_mm = {0, 0}}, {.centre_mm = {0, 0}}};
    tag_covariance(C);
    job_place(&q);
    q.lens.has_prior = false;
    memset(q.lens.is_free, 0, sizeof q.lens.is_free);
    job_observe(&q, C);
    int n = q.net.n_observations;
    double *sensitivity = calloc((size_t)n, WANTED * TR_OFFSET_N * sizeof *sensitivity);
    assert_non_null(sensitivity);
    q.net.offsets = offsets;
    q.net.n_offsets = 2;
    for (int i = 0; i < n; i++) {
        q.obs[i].offset = i == MOVED ? 0 : 1;
    }
    tr_vec2 centre = {0, 0};
    for (int k = 0; k < 4; k++) {
        centre = tr_v2_add(centre, tr_v2_scale(0.25, q.obs[MOVED].p_sheet_mm[k]));
    }
    offsets[0].centre_mm = centre;
    for (int k = 0; k < WANTED; k++) {
        wanted[k] = (tr_net_unknown){TR_NET_SHEET, q.obs[MOVED].sheet == 1 ? 2 : 1, k};
    }
    tr_net_options options = {.small_step = 1e-9};
    tr_lsq_result result;
    tr_error err = {0};
    tr_net_solution *s = tr_net_solution_new(&q.net, &options, &result, &err);
    assert_non_null(s);
    assert_true(tr_net_solution_sensitivity(s, wanted, WANTED, sensitivity, &err));
    tr_net_solution_free(s);
    tr_pose rest = q.sheets[wanted[0].index].world_from_sheet;
    bool has_effect = false;
    for (int c = 0; c < TR_OFFSET_N; c++) {
        offsets[0].value[c] = step[c];
        assert_true(job_solve(&q, &options, &result));
        offsets[0].value[c] = 0;
        tr_pose moved = q.sheets[wanted[0].index].world_from_sheet;
        tr_vec3 turn = tr_vector_from_rotation(tr_m3_mul(moved.R, tr_m3_transpose(rest.R)));
        tr_vec3 d = tr_v3_sub(moved.t_mm, rest.t_mm);
        double change[WANTED] = {turn.x, turn.y, turn.z, d.x, d.y, d.z};
        for (int k = 0; k < WANTED; k++) {
            double predicted = step[c] * sensitivity[(k * n + MOVED) * TR_OFFSET_N + c];
            CHECK_NEAR(change[k], predicted, 0.02 * fabs(predicted) + (k < 3 ? 1e-9 : 1e-6));
            has_effect |= fabs(predicted) > (k < 3 ? 1e-8 : 1e-5);
        }
    }
    assert_true(has_effect);
    free(sensitivity);
}

/* A length between two sheets scales nothing that is known already, but pins what it joins. */
static void length_holds(void **unused) {
    (void)unused;
    static job q;
    double C[64];
    tag_covariance(C);
    job_place(&q);
    job_observe(&q, C);
    tr_net_length length = {
        .sheet = {1, 2}, .offset = {-1, -1}, .length_mm = 1803, .sd_mm = 1e-4, .is_used = true};
    q.net.lengths = &length;
    q.net.n_lengths = 1;
    tr_net_options options = {0};
    tr_lsq_result result;
    assert_true(job_solve(&q, &options, &result));
    tr_vec3 a = tr_network_point(&q.net, 1, -1, tr_v2(0, 0));
    tr_vec3 b = tr_network_point(&q.net, 2, -1, tr_v2(0, 0));
    CHECK_NEAR(tr_v3_norm(tr_v3_sub(b, a)), 1803, 1e-3);
}

static void derivatives_everything_free(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("derivatives_everything_free");
    static rich_job r;
    for (int trial = 0; trial < 3; trial++) {
        make_rich(&r, &d);
        assert_true(r.q.net.n_observations > 15);
        check_derivatives(&r.q.net);
        r.q.sheets[1].shape_about = 2;
        check_derivatives(&r.q.net);
    }
}

/* Each combination of free and held parts leaves the right columns in place. */
static void derivatives_some_held(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("derivatives_some_held");
    static rich_job r;
    for (int trial = 0; trial < 12; trial++) {
        make_rich(&r, &d);
        for (int i = 0; i < 2; i++) {
            r.cameras[i].is_free = draw_even(&d) < 0.5;
            r.lenses[i].has_prior = draw_even(&d) < 0.5;
            for (int k = 0; k < TR_LENS_N; k++) r.lenses[i].is_free[k] = draw_even(&d) < 0.5;
        }
        for (int i = 0; i < JOB_SHEETS; i++) {
            for (int k = 0; k < TR_SHEET_N; k++) r.q.sheets[i].is_free[k] = draw_even(&d) < 0.5;
            for (int k = 0; k < 4; k++) {
                if (draw_even(&d) < 0.5) r.q.sheets[i].shape_sd[k] = 0;
            }
            if (draw_even(&d) < 0.5) r.q.sheets[i].shape_about = (i + 1) % JOB_SHEETS;
            if (draw_even(&d) < 0.3) r.q.sheets[i].floor_z_sd_mm = 0;
        }
        check_derivatives(&r.q.net);
    }
}

/* One board before one camera, all free: rotations at and near zero (the camera's, the rig's and,
   but for the flip that lets it face the camera, the sheet's) and near half a turn, points at the
   image's edge and corner. */
static void derivatives_near_zero_and_at_the_edge(void **unused) {
    (void)unused;
    static const double angle[] = {0, 1e-9, 1e-5, 9e-5, 1.1e-4, 1e-2, 3.1415, TR_PI};
    tr_draw d = draw_seeded("derivatives_near_zero_and_at_the_edge");
    for (size_t a = 0; a < sizeof angle / sizeof *angle; a++) {
        double C[64];
        static job q;
        tag_covariance(C);
        memset(&q, 0, sizeof q);
        job_fill_lens(&q);
        q.net = (tr_network){.lenses = &q.lens,
                             .cameras = &q.camera,
                             .rigs = q.rigs,
                             .sheets = q.sheets,
                             .photos = q.photos,
                             .observations = q.obs,
                             .n_lenses = 1,
                             .n_cameras = 1,
                             .n_rigs = 1,
                             .n_sheets = 1,
                             .n_photos = 1};
        for (int k = 0; k < TR_LENS_N; k++) q.lens.is_free[k] = true;
        tr_vec3 axis = tr_v3(0.6, -0.64, 0.48);
        tr_pose small = {tr_rotation_from_vector(tr_v3_scale(angle[a], axis)), {3, -2, 1}};
        q.camera = (tr_net_camera){small, true};
        q.rigs[0].rig_from_world = tr_pose_inverse(small);
        tr_mat3 flip = {{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
        q.sheets[0] = (tr_net_sheet){.world_from_sheet = {flip, {0, 0, 2000}},
                                     .half_mm = {1400, 1000},
                                     .shape = {1e-4, -1e-4, 3, -2},
                                     .shape_about = -1,
                                     .shape_sd = {STRETCH_SD, STRETCH_SD, BOW_SD_MM, BOW_SD_MM},
                                     .floor_z_sd_mm = FLOOR_Z_SD_MM,
                                     .floor_tilt_sd_rad = FLOOR_TILT_SD_RAD};
        q.sheets[0].world_from_sheet.R =
            tr_m3_mul(tr_rotation_from_vector(tr_v3_scale(fmin(angle[a], 0.01), axis)), flip);
        for (int k = 0; k < TR_SHEET_N; k++) q.sheets[0].is_free[k] = true;
        /* Pixels (0, 0), (4031, 0), ... as seen through the lens, and some between. */
        for (int i = 0; i < 9; i++) {
            tr_net_obs *obs = &q.obs[q.net.n_observations++];
            *obs = tr_net_obs_of(0, 0, TR_NET_POINT, 1 + i % 4);
            obs->is_used = true;
            for (int k = 0; k < obs->n_points; k++) {
                tr_vec2 uv = tr_v2(i % 3 * 2015.5, i / 3 * 1511.5);
                tr_vec2 xy;
                if (k > 0) uv = tr_v2(draw_between(&d, 0, 4031), draw_between(&d, 0, 3023));
                assert_true(tr_lens_undistort(&q.lens.lens, uv, &xy));
                obs->p_sheet_mm[k] = tr_v2(2000 * xy.x, -2000 * xy.y);
                obs->uv_px[k] = uv;
            }
            int n = 2 * obs->n_points;
            double Cn[64];
            for (int r = 0; r < n; r++) {
                for (int c = 0; c < n; c++) Cn[r * n + c] = C[8 * r + c];
            }
            assert_true(tr_net_whiten(Cn, obs->n_points, obs->W));
        }
        check_derivatives(&q.net);
    }
}

/* ---- solving ---- */

static void disturb(job *q, tr_draw *d, double angle_rad, double place_mm) {
    for (int i = 0; i < JOB_PHOTOS; i++) {
        double step[TR_POSE_N];
        for (int k = 0; k < TR_POSE_N; k++) {
            step[k] = (k < 3 ? angle_rad : place_mm) * draw_normal(d);
        }
        q->rigs[i].rig_from_world = tr_pose_moved(q->rigs[i].rig_from_world, step);
    }
    for (int i = 1; i < JOB_SHEETS; i++) {
        double step[TR_POSE_N];
        for (int k = 0; k < TR_POSE_N; k++) {
            step[k] = (k < 3 ? angle_rad : place_mm) * draw_normal(d);
        }
        q->sheets[i].world_from_sheet = tr_pose_moved(q->sheets[i].world_from_sheet, step);
    }
}

/* Without noise the truth comes back, and the minimum of 0 is accepted as one. */
static void exact_marks(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("exact_marks");
    static job truth, q;
    for (int trial = 0; trial < 20; trial++) {
        double C[64];
        tr_lsq_result result;
        tag_covariance(C);
        job_place(&truth);
        for (int i = 0; i < JOB_SHEETS; i++) truth.sheets[i].floor_z_sd_mm = 0;
        /* Without floor priors the mat holds all six. */
        for (int k = 0; k < TR_POSE_N; k++) truth.sheets[0].is_free[k] = false;
        job_observe(&truth, C);
        q = truth;
        job_fill_net(&q);
        q.net.n_observations = truth.net.n_observations;
        disturb(&q, &d, 0.02, 50);
        assert_true(job_solve(&q, &(tr_net_options){.huber = trial % 2 ? 2.5 : 0}, &result));
        assert_true(result.iterations < 30);
        CHECK_NEAR(result.sum_squares, 0, 1e-10);
        for (int i = 0; i < JOB_SHEETS; i++) {
            tr_pose a = truth.sheets[i].world_from_sheet;
            tr_pose b = q.sheets[i].world_from_sheet;
            CHECK_NEAR(tr_v3_norm(tr_v3_sub(a.t_mm, b.t_mm)), 0, 1e-6);
            CHECK_NEAR(tr_v3_norm(tr_vector_from_rotation(tr_m3_mul(a.R, tr_m3_transpose(b.R)))), 0,
                       1e-9);
        }
    }
}

/* ---- the covariance by drawing ---- */

enum {
    WANTED_SHEETS = 3 + TR_POSE_N * (JOB_SHEETS - 1), /* the mat's tilt and height, the plates */
    WANTED = WANTED_SHEETS + 2 + TR_LENS_N            /* the mat's stretch and bow, the lens */
};

static void list_wanted(tr_net_unknown wanted[WANTED]) {
    int n = 0;
    wanted[n++] = (tr_net_unknown){TR_NET_SHEET, 0, TR_SHEET_RX};
    wanted[n++] = (tr_net_unknown){TR_NET_SHEET, 0, TR_SHEET_RY};
    wanted[n++] = (tr_net_unknown){TR_NET_SHEET, 0, TR_SHEET_TZ};
    for (int i = 1; i < JOB_SHEETS; i++) {
        for (int k = 0; k < TR_POSE_N; k++) wanted[n++] = (tr_net_unknown){TR_NET_SHEET, i, k};
    }
    wanted[n++] = (tr_net_unknown){TR_NET_SHEET, 0, TR_PRINT_SCALE_X};
    wanted[n++] = (tr_net_unknown){TR_NET_SHEET, 0, TR_BOW_X};
    for (int k = 0; k < TR_LENS_N; k++) wanted[n++] = (tr_net_unknown){TR_NET_LENS, 0, k};
}

/* Estimate minus truth, in the solver's parameters. */
static void errors(const job *q, const job *truth, double e[WANTED]) {
    int n = 0;
    for (int i = 0; i < JOB_SHEETS; i++) {
        tr_pose a = q->sheets[i].world_from_sheet;
        tr_pose b = truth->sheets[i].world_from_sheet;
        tr_vec3 turn = tr_vector_from_rotation(tr_m3_mul(a.R, tr_m3_transpose(b.R)));
        tr_vec3 shift = tr_v3_sub(a.t_mm, b.t_mm);
        e[n++] = turn.x;
        e[n++] = turn.y;
        if (i == 0) {
            e[n++] = shift.z;
            continue;
        }
        e[n++] = turn.z;
        e[n++] = shift.x;
        e[n++] = shift.y;
        e[n++] = shift.z;
    }
    e[n++] = q->sheets[0].shape[0] - truth->sheets[0].shape[0];
    e[n++] = q->sheets[0].shape[2] - truth->sheets[0].shape[2];
    for (int k = 0; k < TR_LENS_N; k++) {
        e[n++] = q->lens.lens.param[k] - truth->lens.lens.param[k];
    }
}

/* Draws a truth from the priors and marks from their covariance. */
static void draw_job(tr_draw *d, const double C_lens[TR_LENS_N * TR_LENS_N], const double C_tag[64],
                     job *truth) {
    double lens_error[TR_LENS_N];
    job_place(truth);
    correlated_noise(d, C_lens, TR_LENS_N, lens_error);
    for (int k = 0; k < TR_LENS_N; k++) truth->lens.lens.param[k] += lens_error[k];
    for (int i = 0; i < JOB_SHEETS; i++) {
        double step[TR_POSE_N] = {
            FLOOR_TILT_SD_RAD * draw_normal(d), FLOOR_TILT_SD_RAD * draw_normal(d), 0, 0, 0,
            FLOOR_Z_SD_MM * draw_normal(d)};
        truth->sheets[i].world_from_sheet = tr_pose_moved(truth->sheets[i].world_from_sheet, step);
    }
    truth->sheets[0].shape[0] = STRETCH_SD * draw_normal(d);
    truth->sheets[0].shape[2] = BOW_SD_MM * draw_normal(d);
    job_observe(truth, C_tag);
    for (int i = 0; i < truth->net.n_observations; i++) {
        double noise[8];
        correlated_noise(d, C_tag, 8, noise);
        for (int k = 0; k < 4; k++) {
            truth->obs[i].uv_px[k].x += noise[2 * k];
            truth->obs[i].uv_px[k].y += noise[2 * k + 1];
        }
    }
}

/* Many solves with fresh noise: the scatter of the estimates about the truth is what the covariance
   says. All priors are true here: each truth is drawn from them. The sums are chi-square; bounds at
   4.5 standard deviations of their sampling (a false alarm in 1 of 10^5 per check), so that a
   standard deviation wrong by a fifth is found. */
static void covariance_by_drawing(void **unused) {
    (void)unused;
    enum { DRAWS = 300 };
    tr_draw d = draw_seeded("covariance_by_drawing");
    static job truth, q;
    static double C[WANTED * WANTED];
    double C_tag[64], C_lens[TR_LENS_N * TR_LENS_N];
    tr_net_unknown wanted[WANTED];
    double ratio[WANTED] = {0}; /* mean of e^2 / predicted variance */
    double all = 0, sheets = 0, factor = 0;
    tag_covariance(C_tag);
    random_covariance(&d, phone_sd, TR_LENS_N, C_lens);
    list_wanted(wanted);
    for (int draw = 0; draw < DRAWS; draw++) {
        tr_lsq_result result;
        double e[WANTED];
        draw_job(&d, C_lens, C_tag, &truth);
        job_place(&q);
        memcpy(q.obs, truth.obs, sizeof q.obs);
        q.net.n_observations = truth.net.n_observations;
        memcpy(q.lens.lens.covariance, C_lens, sizeof C_lens);
        q.lens.has_prior = true;
        for (int k = 0; k < TR_LENS_N; k++) q.lens.is_free[k] = true;
        q.sheets[0].is_free[TR_PRINT_SCALE_X] = q.sheets[0].is_free[TR_BOW_X] = true;
        q.sheets[0].shape_sd[0] = STRETCH_SD;
        q.sheets[0].shape_sd[2] = BOW_SD_MM;
        disturb(&q, &d, 0.01, 30);
        assert_true(job_covariance(&q, wanted, WANTED, C, &result));
        errors(&q, &truth, e);
        for (int k = 0; k < WANTED; k++) ratio[k] += square(e[k]) / C[k * WANTED + k] / DRAWS;
        all += mahalanobis(C, e, WANTED);
        double S[WANTED_SHEETS * WANTED_SHEETS];
        for (int i = 0; i < WANTED_SHEETS; i++) {
            for (int j = 0; j < WANTED_SHEETS; j++) S[i * WANTED_SHEETS + j] = C[i * WANTED + j];
        }
        sheets += mahalanobis(S, e, WANTED_SHEETS);
        factor += result.variance_factor / DRAWS;
    }
    for (int k = 0; k < WANTED; k++) {
        if (!(fabs(ratio[k] - 1) <= 4.5 * sqrt(2.0 / DRAWS))) print_error("unknown %d\n", k);
        CHECK_NEAR(ratio[k], 1, 4.5 * sqrt(2.0 / DRAWS));
    }
    /* With all correlations. */
    CHECK_NEAR(sheets / (DRAWS * WANTED_SHEETS), 1, 4.5 * sqrt(2.0 / (DRAWS * WANTED_SHEETS)));
    CHECK_NEAR(all / (DRAWS * WANTED), 1, 4.5 * sqrt(2.0 / (DRAWS * WANTED)));
    CHECK_NEAR(factor, 1, 0.01);
}

/* ---- functions and hypotheses ---- */

/* The job without a floor, with a lens that is free but for its prior, and with little noise, so
   that all is linear; solved. */
static tr_lsq_result solve_noisy(job *q, tr_draw *d) {
    double C[64];
    tr_lsq_result result;
    tag_covariance(C);
    for (int k = 0; k < 64; k++) C[k] *= square(0.03);
    job_place(q);
    for (int i = 0; i < JOB_SHEETS; i++) q->sheets[i].floor_z_sd_mm = 0;
    for (int k = 0; k < TR_POSE_N; k++) q->sheets[0].is_free[k] = false;
    job_observe(q, C);
    for (int k = 0; k < TR_LENS_N; k++) {
        q->lens.is_free[k] = true;
        q->lens.lens.covariance[10 * k] = square(phone_sd[k]);
    }
    q->lens.has_prior = true;
    for (int i = 0; i < q->net.n_observations; i++) {
        double e[8];
        correlated_noise(d, C, 8, e);
        for (int k = 0; k < 4; k++) {
            q->obs[i].uv_px[k] = tr_v2_add(q->obs[i].uv_px[k], tr_v2(e[2 * k], e[2 * k + 1]));
        }
    }
    assert_true(job_solve(q, &(tr_net_options){0}, &result));
    return result;
}

/* The variance of a function is that which the covariance gives it. */
static void variance_of_a_function(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("variance_of_a_function");
    static job q;
    const tr_net_unknown of[4] = {{TR_NET_SHEET, 3, TR_SHEET_TX},
                                  {TR_NET_SHEET, 1, TR_SHEET_TX},
                                  {TR_NET_LENS, 0, TR_FX},
                                  {TR_NET_SHEET, 0, TR_SHEET_TX} /* held */};
    const double factors[2][4] = {{1, -1, 0.5, 3}, {0, 0, 0, 1}};
    const tr_net_function functions[2] = {{of, factors[0], 4}, {of, factors[1], 4}};
    double C[16], variances[2];
    tr_lsq_result result;
    tr_error err = {0};
    solve_noisy(&q, &d);
    tr_net_solution *s = tr_net_solution_new(&q.net, &(tr_net_options){0}, &result, &err);
    assert_non_null(s);
    assert_true(tr_net_solution_covariance(s, of, 4, C, &err));
    assert_true(tr_net_solution_variances(s, functions, 2, variances, &err));
    tr_net_solution_free(s);
    double expected = 0;
    for (int i = 0; i < 16; i++) expected += factors[0][i / 4] * factors[0][i % 4] * C[i];
    assert_true(expected > 0);
    CHECK_NEAR(variances[0] / expected, 1, 1e-9);
    CHECK_NEAR(variances[1], 0, 0);
}

/* A network in which all is held has a solution, too: nothing of it varies. */
static void nothing_that_is_free(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("nothing_that_is_free");
    static job q;
    static const double one = 1;
    const tr_net_unknown of = {TR_NET_SHEET, 3, TR_SHEET_TX};
    const tr_net_function function = {&of, &one, 1};
    double variance = 1;
    tr_lsq_result result;
    tr_error err = {0};
    solve_noisy(&q, &d);
    for (int i = 0; i < q.net.n_rigs; i++) q.net.rigs[i].is_held = true;
    for (int i = 0; i < q.net.n_sheets; i++) {
        memset(q.net.sheets[i].is_free, 0, sizeof q.net.sheets[i].is_free);
    }
    for (int i = 0; i < q.net.n_photos; i++) {
        memset(q.net.photos[i].is_free, 0, sizeof q.net.photos[i].is_free);
    }
    memset(q.net.lenses[0].is_free, 0, sizeof q.net.lenses[0].is_free);
    tr_net_solution *s = tr_net_solution_new(&q.net, &(tr_net_options){0}, &result, &err);
    assert_non_null(s);
    assert_true(tr_net_solution_variances(s, &function, 1, &variance, &err));
    tr_net_solution_free(s);
    CHECK_NEAR(variance, 0, 0);
}

/* A score and a step of the test, which are of first order, against those of a solution with the
   added unknowns free. */
static void check_test(const tr_net_hypothesis *h, double fall, const double *step, int n) {
    assert_true(h->is_determined && fall > 0);
    CHECK_NEAR(h->score / fall, 1, 1e-3);
    for (int k = 0; k < n; k++) {
        CHECK_NEAR(h->step[k], step[k], 1e-2 * sqrt(h->variance[k]));
    }
}

static void check_stretched(const job *solved, double cost, const tr_net_hypothesis *h) {
    static job q;
    const tr_net_unknown wanted[2] = {{TR_NET_SHEET, 0, TR_PRINT_SCALE_X},
                                      {TR_NET_SHEET, 0, TR_PRINT_SCALE_Y}};
    double C[4];
    tr_lsq_result result;
    q = *solved;
    job_fill_net(&q);
    q.net.n_observations = solved->net.n_observations;
    q.sheets[0].is_free[TR_PRINT_SCALE_X] = q.sheets[0].is_free[TR_PRINT_SCALE_Y] = true;
    assert_true(job_covariance(&q, wanted, 2, C, &result));
    check_test(h, cost - result.cost, q.sheets[0].shape, 2);
    CHECK_NEAR(h->variance[0] / C[0], 1, 1e-3);
    CHECK_NEAR(h->variance[1] / C[3], 1, 1e-3);
}

/* The sheet of the hypothesis is another one in those photos. */
static void check_moved(const job *solved, double cost, const tr_net_hypothesis *h) {
    static job q;
    tr_net_sheet sheets[JOB_SHEETS + 1];
    tr_lsq_result result;
    q = *solved;
    job_fill_net(&q);
    q.net.n_observations = solved->net.n_observations;
    memcpy(sheets, q.sheets, sizeof q.sheets);
    sheets[JOB_SHEETS] = sheets[h->sheet];
    for (int k = 0; k < h->n; k++) sheets[JOB_SHEETS].is_free[h->component + k] = true;
    q.net.sheets = sheets;
    q.net.n_sheets++;
    for (int i = 0; i < q.net.n_observations; i++) {
        tr_net_obs *o = &q.obs[i];
        if (o->sheet == h->sheet && o->photo >= h->first_photo && o->photo <= h->last_photo) {
            o->sheet = JOB_SHEETS;
        }
    }
    assert_true(job_solve(&q, &(tr_net_options){0}, &result));
    double step[TR_POSE_N];
    tr_pose_change(sheets[h->sheet].world_from_sheet, sheets[JOB_SHEETS].world_from_sheet, step);
    check_test(h, cost - result.cost, step + h->component, h->n);
}

static void hypotheses_as_solved(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("hypotheses_as_solved");
    for (int trial = 0; trial < 5; trial++) {
        static job q, before;
        /* The second and third go on from the one before. The mat holds the world. */
        tr_net_hypothesis h[] = {
            {.sheet = 2, .n = TR_POSE_N, .first_photo = 4, .last_photo = 5},
            {.sheet = 2, .n = TR_POSE_N, .first_photo = 2, .last_photo = 5},
            {.sheet = 2, .n = TR_POSE_N, .first_photo = 0, .last_photo = 5},
            {.sheet = 2, .n = TR_POSE_N, .first_photo = 4, .last_photo = 4},
            {.sheet = 0, .n = TR_POSE_N, .first_photo = 1, .last_photo = 2},
            /* The same of x, y and yaw alone: the sums of the one before say nothing of it. */
            {.sheet = 0, .component = TR_SHEET_RZ, .n = 3, .first_photo = 1, .last_photo = 2},
            {.sheet = 0, .component = TR_PRINT_SCALE_X, .n = 2, .first_photo = 0, .last_photo = 5},
        };
        enum { N = sizeof h / sizeof *h, ALL_PHOTOS = 2, STRETCH = 6 };
        tr_error err = {0};
        tr_lsq_result result = solve_noisy(&q, &d);
        before = q;
        assert_true(tr_network_test(&q.net, 0, h, N, &err));
        assert_memory_equal(before.sheets, q.sheets, sizeof q.sheets);
        assert_memory_equal(before.rigs, q.rigs, sizeof q.rigs);
        /* Elsewhere in all photos is nowhere else. */
        assert_false(h[ALL_PHOTOS].is_determined);
        CHECK_NEAR(h[ALL_PHOTOS].score, 0, 0);
        for (int i = 0; i < N; i++) {
            if (i == ALL_PHOTOS) continue;
            if (i == STRETCH)
                check_stretched(&q, result.cost, &h[i]);
            else
                check_moved(&q, result.cost, &h[i]);
        }
    }
}

/* ---- priors ---- */

/* A prior adds its information to the unknowns that it speaks of, and to no others:
   inverse(C with) = inverse(C without) + inverse(prior). */
static void check_information(job *q, const tr_net_unknown *wanted, int n, const double *without,
                              const double *prior_inverse) {
    double C[16 * 16];
    double D[16 * 16];
    tr_lsq_result result;
    assert_true(n <= 16);
    memcpy(D, without, (size_t)(n * n) * sizeof *D);
    assert_true(job_covariance(q, wanted, n, C, &result));
    invert(C, n);
    invert(D, n);
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            double scale = sqrt(C[i * n + i] * C[j * n + j]);
            CHECK_NEAR(C[i * n + j] / scale, (D[i * n + j] + prior_inverse[i * n + j]) / scale,
                       1e-6);
        }
    }
}

static void make_held_job(job *q) {
    double C[64];
    tag_covariance(C);
    job_place(q);
    for (int i = 0; i < JOB_SHEETS; i++) q->sheets[i].floor_z_sd_mm = 0;
    for (int k = 0; k < TR_POSE_N; k++) q->sheets[0].is_free[k] = false;
    job_observe(q, C);
}

static void lens_prior_adds_information(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("lens_prior_adds_information");
    static job q;
    double without[TR_LENS_N * TR_LENS_N], prior[TR_LENS_N * TR_LENS_N];
    tr_net_unknown wanted[TR_LENS_N];
    tr_lsq_result result;
    make_held_job(&q);
    for (int k = 0; k < TR_LENS_N; k++) {
        q.lens.is_free[k] = true;
        wanted[k] = (tr_net_unknown){TR_NET_LENS, 0, k};
    }
    assert_true(job_covariance(&q, wanted, TR_LENS_N, without, &result));
    random_covariance(&d, phone_sd, TR_LENS_N, prior);
    memcpy(q.lens.lens.covariance, prior, sizeof prior);
    q.lens.has_prior = true;
    invert(prior, TR_LENS_N);
    check_information(&q, wanted, TR_LENS_N, without, prior);
}

static void floor_prior_adds_information(void **unused) {
    (void)unused;
    static job q;
    const tr_net_unknown wanted[3] = {{TR_NET_SHEET, 2, TR_SHEET_RX},
                                      {TR_NET_SHEET, 2, TR_SHEET_RY},
                                      {TR_NET_SHEET, 2, TR_SHEET_TZ}};
    double without[9], prior[9] = {0};
    tr_lsq_result result;
    make_held_job(&q);
    assert_true(job_covariance(&q, wanted, 3, without, &result));
    q.sheets[2].floor_z_sd_mm = 0.1;
    q.sheets[2].floor_tilt_sd_rad = 1e-4;
    prior[0] = prior[4] = 1 / square(1e-4);
    prior[8] = 1 / square(0.1);
    check_information(&q, wanted, 3, without, prior);
}

static void shape_prior_adds_information(void **unused) {
    (void)unused;
    static job q;
    const double sd[4] = {1e-4, 2e-4, 0.3, 0.5};
    tr_net_unknown wanted[4];
    double without[16], prior[16] = {0};
    tr_lsq_result result;
    make_held_job(&q);
    for (int k = 0; k < 4; k++) {
        wanted[k] = (tr_net_unknown){TR_NET_SHEET, 0, TR_PRINT_SCALE_X + k};
        q.sheets[0].is_free[TR_PRINT_SCALE_X + k] = true;
    }
    assert_true(job_covariance(&q, wanted, 4, without, &result));
    for (int k = 0; k < 4; k++) {
        q.sheets[0].shape_sd[k] = sd[k];
        prior[5 * k] = 1 / square(sd[k]);
    }
    check_information(&q, wanted, 4, without, prior);
}

/* A plate that stands 2 mm above the floor: the prior draws it down by the ratio of variances, and
   no further. */
static void floor_prior_draws(void **unused) {
    (void)unused;
    static job q;
    const tr_net_unknown height = {TR_NET_SHEET, 2, TR_SHEET_TZ};
    double C[64], variance;
    tr_lsq_result result;
    tag_covariance(C);
    make_held_job(&q);
    for (int k = 0; k < 3; k++) q.sheets[2].is_free[k] = false;
    q.sheets[2].world_from_sheet.t_mm.z = 2;
    job_observe(&q, C);
    assert_true(job_covariance(&q, &height, 1, &variance, &result));
    CHECK_NEAR(q.sheets[2].world_from_sheet.t_mm.z, 2, 1e-6);
    double measured = variance;
    double prior = measured / 4;
    q.sheets[2].floor_z_sd_mm = sqrt(prior);
    q.sheets[2].floor_tilt_sd_rad = 1; /* its rotation is held */
    assert_true(job_covariance(&q, &height, 1, &variance, &result));
    CHECK_NEAR(q.sheets[2].world_from_sheet.t_mm.z, 2 * prior / (prior + measured), 1e-4);
    CHECK_NEAR(variance, prior * measured / (prior + measured), 1e-4 * measured);
}

/* The lens's prior stays where the profile has it: solving again moves nothing further. */
static void lens_prior_stays(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("lens_prior_stays");
    static job q;
    tr_lsq_result result;
    double first[TR_LENS_N] = {0};
    make_held_job(&q);
    for (int i = 0; i < q.net.n_observations; i++) {
        for (int k = 0; k < 4; k++) {
            q.obs[i].uv_px[k].x += draw_normal(&d);
            q.obs[i].uv_px[k].y += draw_normal(&d);
        }
    }
    for (int k = 0; k < TR_LENS_N; k++) {
        q.lens.is_free[k] = true;
        q.lens.lens.covariance[k * (TR_LENS_N + 1)] = square(phone_sd[k]);
    }
    q.lens.has_prior = true;
    for (int round = 0; round < 5; round++) {
        assert_true(job_solve(&q, &(tr_net_options){0}, &result));
        for (int k = 0; k < TR_LENS_N; k++) {
            if (round == 0) first[k] = q.lens.lens.param[k];
            CHECK_NEAR(q.lens.lens.param[k], first[k], 1e-4 * phone_sd[k]);
        }
    }
    /* The marks did draw it away from the profile. */
    CHECK_AT_MOST(0.1, fabs(q.lens.lens.param[TR_FX] - phone_param[TR_FX]) / phone_sd[TR_FX]);
}

/* An unknown that is not free has a covariance of zero. */
static void held_unknown_has_no_variance(void **unused) {
    (void)unused;
    static job q;
    const tr_net_unknown wanted[3] = {
        {TR_NET_LENS, 0, TR_FX}, {TR_NET_SHEET, 1, TR_SHEET_TX}, {TR_NET_SHEET, 0, TR_SHEET_TX}};
    double C[9];
    tr_lsq_result result;
    make_held_job(&q);
    assert_true(job_covariance(&q, wanted, 3, C, &result));
    for (int i = 0; i < 9; i++) {
        if (i != 4) CHECK_NEAR(C[i], 0, 0);
    }
    assert_true(C[4] > 0);
}

/* ---- two cameras on one rig ---- */

static void rig_of_two_cameras(void **unused) {
    (void)unused;
    enum { STATIONS = 3 };
    tr_draw d = draw_seeded("rig_of_two_cameras");
    static job q;
    static tr_net_camera cameras[2];
    const tr_pose mount = {tr_rotation_from_vector(tr_v3(0.01, -0.15, 0.02)), {-220, 12, 5}};
    double C[64];
    tr_lsq_result result;
    tag_covariance(C);
    job_place(&q);
    for (int k = 0; k < TR_POSE_N; k++) q.sheets[0].is_free[k] = false;
    cameras[0] = (tr_net_camera){tr_pose_identity(), false};
    cameras[1] = (tr_net_camera){mount, true};
    q.net.cameras = cameras;
    q.net.n_cameras = 2;
    q.net.n_rigs = STATIONS;
    for (int i = 0; i < JOB_PHOTOS; i++) {
        q.photos[i] = (tr_net_photo){.camera = i % 2, .rig = i / 2};
    }
    for (int i = 0; i < STATIONS; i++) {
        q.rigs[i].rig_from_world = looking_at(tr_v3(1000 + 1500 * i, i % 2 ? 3500 : -3600, 2000),
                                              tr_v3(1800 + 200 * i, 0, 0));
    }
    job_observe(&q, C);
    const double step[TR_POSE_N] = {0.02, 0.01, -0.02, 20, -15, 10};
    cameras[1].camera_from_rig = tr_pose_moved(mount, step);
    for (int i = 0; i < STATIONS; i++) {
        double off[TR_POSE_N];
        for (int k = 0; k < TR_POSE_N; k++) off[k] = (k < 3 ? 0.01 : 30) * draw_normal(&d);
        q.rigs[i].rig_from_world = tr_pose_moved(q.rigs[i].rig_from_world, off);
    }
    tr_net_unknown wanted[TR_POSE_N];
    double covariance[TR_POSE_N * TR_POSE_N];
    for (int k = 0; k < TR_POSE_N; k++) wanted[k] = (tr_net_unknown){TR_NET_CAMERA, 1, k};
    assert_true(job_covariance(&q, wanted, TR_POSE_N, covariance, &result));
    tr_pose found = cameras[1].camera_from_rig;
    CHECK_NEAR(tr_v3_norm(tr_v3_sub(found.t_mm, mount.t_mm)), 0, 1e-6);
    CHECK_NEAR(tr_v3_norm(tr_vector_from_rotation(tr_m3_mul(found.R, tr_m3_transpose(mount.R)))), 0,
               1e-9);
    for (int k = 0; k < TR_POSE_N; k++) assert_true(covariance[7 * k] > 0);
}

/* ---- what cannot be solved, and robustness ---- */

static void undetermined_parts_are_named(void **unused) {
    (void)unused;
    static job q;
    tr_lsq_result result;
    tr_error err = {0};
    /* A photo without marks. */
    make_held_job(&q);
    for (int i = 0; i < q.net.n_observations; i++) {
        if (q.obs[i].photo == 3) q.obs[i].is_used = false;
    }
    assert_false(tr_network_solve(&q.net, &(tr_net_options){0}, &result, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    assert_non_null(strstr(err.text, "photo '4'"));
    /* By its name, where that is known. */
    static const char *const PHOTOS[JOB_PHOTOS] = {[3] = "left.jpg"};
    err = (tr_error){0};
    q.net.photo_names = PHOTOS;
    assert_false(tr_network_solve(&q.net, &(tr_net_options){0}, &result, &err));
    assert_non_null(strstr(err.text, "the place of photo 'left.jpg' is not determined"));
    q.net.photo_names = NULL;
    /* A sheet that nobody sees. */
    err = (tr_error){0};
    make_held_job(&q);
    for (int i = 0; i < q.net.n_observations; i++) {
        if (q.obs[i].sheet == 2) q.obs[i].is_used = false;
    }
    assert_false(tr_network_solve(&q.net, &(tr_net_options){0}, &result, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    assert_non_null(strstr(err.text, "sheet '3'"));
    static const char *const SHEETS[JOB_SHEETS] = {[2] = "PLATE-X"};
    err = (tr_error){0};
    q.net.sheet_names = SHEETS;
    assert_false(tr_network_solve(&q.net, &(tr_net_options){0}, &result, &err));
    assert_non_null(strstr(err.text, "the place of sheet 'PLATE-X' is not determined"));
    q.net.sheet_names = NULL;
    /* Nothing holds the world. */
    err = (tr_error){0};
    make_held_job(&q);
    for (int k = 0; k < TR_POSE_N; k++) q.sheets[0].is_free[k] = true;
    assert_false(tr_network_solve(&q.net, &(tr_net_options){0}, &result, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    /* A lens whose covariance is none. */
    err = (tr_error){0};
    make_held_job(&q);
    q.lens.is_free[TR_FX] = q.lens.has_prior = true;
    assert_false(tr_network_solve(&q.net, &(tr_net_options){0}, &result, &err));
    assert_int_equal(err.code, TR_BAD_INPUT);
}

/* One tag misread by 40 px: Huber's loss keeps the plates within 1 mm where they belong, and its
   own residual shows it; plain least squares does not. */
static void outlying_tag(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("outlying_tag");
    for (int is_robust = 0; is_robust < 2; is_robust++) {
        static job truth, q;
        double C[64], chi2 = 0;
        double worst = 0;
        tr_lsq_result result;
        tr_vec2 r[4];
        int wrong = -1;
        tag_covariance(C);
        make_held_job(&truth);
        q = truth;
        job_fill_net(&q);
        q.net.n_observations = truth.net.n_observations;
        for (int i = 0; i < q.net.n_observations; i++) {
            double noise[8];
            correlated_noise(&d, C, 8, noise);
            for (int k = 0; k < 4; k++) {
                q.obs[i].uv_px[k].x += noise[2 * k];
                q.obs[i].uv_px[k].y += noise[2 * k + 1];
            }
            if (q.obs[i].sheet == 1) wrong = i;
        }
        for (int k = 0; k < 4; k++) q.obs[wrong].uv_px[k].x += 40;
        assert_true(job_solve(&q, &(tr_net_options){.huber = is_robust ? 2.5 : 0}, &result));
        for (int i = 0; i < JOB_SHEETS; i++) {
            worst = fmax(worst, tr_v3_norm(tr_v3_sub(q.sheets[i].world_from_sheet.t_mm,
                                                     truth.sheets[i].world_from_sheet.t_mm)));
        }
        if (is_robust)
            CHECK_AT_MOST(worst, 1);
        else
            CHECK_AT_MOST(1.5, worst);
        assert_true(tr_network_residual(&q.net, wrong, r, &chi2));
        if (is_robust) CHECK_NEAR(r[0].x, 40, 2);
        assert_true(chi2 > 1e4);
    }
}

/* A fifth of the tags misread by some 20 px: the loss still finds its minimum. */
static void many_outlying_tags(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("many_outlying_tags");
    for (int trial = 0; trial < 30; trial++) {
        static job q;
        double C[64];
        tr_lsq_result result;
        tag_covariance(C);
        make_held_job(&q);
        for (int i = 0; i < q.net.n_observations; i++) {
            double noise[8];
            bool is_wrong = draw_even(&d) < 0.2;
            double off_x = is_wrong ? 20 * draw_normal(&d) : 0;
            double off_y = is_wrong ? 20 * draw_normal(&d) : 0;
            correlated_noise(&d, C, 8, noise);
            for (int k = 0; k < 4; k++) {
                q.obs[i].uv_px[k].x += noise[2 * k] + off_x;
                q.obs[i].uv_px[k].y += noise[2 * k + 1] + off_y;
            }
        }
        disturb(&q, &d, 0.01, 30);
        assert_true(job_solve(&q, &(tr_net_options){.huber = 2.5}, &result));
        CHECK_AT_MOST(result.iterations, 60);
    }
}

/* Residuals are measured minus predicted; |W r|^2 sums to the solver's sum of squares. */
static void residuals(void **unused) {
    (void)unused;
    tr_draw d = draw_seeded("residuals");
    static job q;
    tr_lsq_result result;
    double sum = 0;
    make_held_job(&q);
    for (int i = 0; i < q.net.n_observations; i++) {
        for (int k = 0; k < 4; k++) q.obs[i].uv_px[k].x += 0.1 * draw_normal(&d);
    }
    assert_true(job_solve(&q, &(tr_net_options){0}, &result));
    for (int i = 0; i < q.net.n_observations; i++) {
        tr_vec2 r[4];
        double chi2;
        assert_true(tr_network_residual(&q.net, i, r, &chi2));
        sum += chi2;
        tr_vec2 uv;
        tr_vec3 p = tr_network_point(&q.net, q.obs[i].sheet, -1, q.obs[i].p_sheet_mm[2]);
        assert_true(project(&q.net, q.obs[i].photo, p, &uv));
        CHECK_NEAR(r[2].x, q.obs[i].uv_px[2].x - uv.x, 1e-9);
        CHECK_NEAR(r[2].y, q.obs[i].uv_px[2].y - uv.y, 1e-9);
    }
    CHECK_NEAR(sum, result.sum_squares, 1e-9 * sum);
    /* Behind the camera. */
    q.rigs[0].rig_from_world.t_mm.z -= 20000;
    assert_int_equal(q.obs[0].photo, 0);
    assert_false(tr_network_residual(&q.net, 0, NULL, NULL));
}

/* ---- components ---- */

/* The definition, slowly: paint from each unpainted node along used observations. */
static int paint(const tr_network *net, int *component) {
    int n = net->n_photos + net->n_sheets;
    int count = 0;
    for (int i = 0; i < n; i++) component[i] = -1;
    for (int i = 0; i < n; i++) {
        if (component[i] >= 0) continue;
        component[i] = count;
        for (bool is_growing = true; is_growing;) {
            is_growing = false;
            for (int k = 0; k < net->n_observations; k++) {
                const tr_net_obs *obs = &net->observations[k];
                int *a = &component[obs->photo];
                int *b = &component[net->n_photos + obs->sheet];
                if (!obs->is_used || (*a == count) == (*b == count)) continue;
                *a = *b = count;
                is_growing = true;
            }
        }
        count++;
    }
    return count;
}

static void components(void **unused) {
    (void)unused;
    enum { MOST_NODES = 12, MOST_EDGES = 14 };
    tr_draw d = draw_seeded("components");
    for (int trial = 0; trial < 500; trial++) {
        static tr_net_obs obs[MOST_EDGES];
        int expected[2 * MOST_NODES], found[2 * MOST_NODES];
        tr_network net = {.observations = obs,
                          .n_photos = 1 + (int)draw_between(&d, 0, MOST_NODES),
                          .n_sheets = 1 + (int)draw_between(&d, 0, MOST_NODES),
                          .n_observations = (int)draw_between(&d, 0, MOST_EDGES + 1)};
        for (int k = 0; k < net.n_observations; k++) {
            obs[k] = (tr_net_obs){.photo = (int)draw_between(&d, 0, net.n_photos),
                                  .sheet = (int)draw_between(&d, 0, net.n_sheets),
                                  .is_used = draw_even(&d) < 0.8};
        }
        int n = paint(&net, expected);
        assert_int_equal(tr_network_components(&net, found), n);
        assert_memory_equal(found, expected, (size_t)(net.n_photos + net.n_sheets) * sizeof *found);
    }
    assert_int_equal(tr_network_components(&(tr_network){0}, NULL), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whiten_round_trip),
        cmocka_unit_test(whiten_equal),
        cmocka_unit_test(whiten_refuses),
        cmocka_unit_test(derivatives_everything_free),
        cmocka_unit_test(derivatives_offsets),
        cmocka_unit_test(derivatives_forms_and_lengths),
        cmocka_unit_test(derivatives_photos),
        cmocka_unit_test(camera_of_a_photo),
        cmocka_unit_test(form_of_a_mark),
        cmocka_unit_test(sensitivity_by_solving_anew),
        cmocka_unit_test(length_holds),
        cmocka_unit_test(derivatives_some_held),
        cmocka_unit_test(derivatives_near_zero_and_at_the_edge),
        cmocka_unit_test(exact_marks),
        cmocka_unit_test(covariance_by_drawing),
        cmocka_unit_test(variance_of_a_function),
        cmocka_unit_test(nothing_that_is_free),
        cmocka_unit_test(hypotheses_as_solved),
        cmocka_unit_test(lens_prior_adds_information),
        cmocka_unit_test(floor_prior_adds_information),
        cmocka_unit_test(shape_prior_adds_information),
        cmocka_unit_test(floor_prior_draws),
        cmocka_unit_test(lens_prior_stays),
        cmocka_unit_test(held_unknown_has_no_variance),
        cmocka_unit_test(rig_of_two_cameras),
        cmocka_unit_test(undetermined_parts_are_named),
        cmocka_unit_test(outlying_tag),
        cmocka_unit_test(many_outlying_tags),
        cmocka_unit_test(residuals),
        cmocka_unit_test(components),
    };
    return cmocka_run_group_tests_name("network", tests, NULL, NULL);
}
