/* The same calibration by an independent implementation: mrcal (Debian libmrcal-dev 2.2), whose
   LENSMODEL_OPENCV5 is the model brown5. Both minimise the same sum of squares over the same
   points: its regularisation and its outlier rejection are off. Compared are the values, the
   standard deviations and correlations of all nine parameters, the poses and the residuals. */
#include "check.h"

#include <stdlib.h>
#include <string.h>

#include <cholmod.h>
#include <mrcal/mrcal.h>

#include "calib/calibrate.h"
#include "outside/calib1.h"

enum {
    MEASUREMENTS = 2 * CALIB1_VIEWS * CALIB1_POINTS,
    STATES = TR_LENS_N + 6 * CALIB1_VIEWS,
};

typedef struct {
    double lens[TR_LENS_N];
    mrcal_pose_t camera_from_board[CALIB1_VIEWS]; /* rotation vector, mm */
    double sigma_px;
    double covariance[STATES * STATES];
} mrcal_result;

/* The rotation vector of a stored matrix. */
static tr_vec3 stored_rotation(int view) {
    tr_mat3 T;
    memcpy(T.m, calib1_R_transposed[view], sizeof T.m);
    tr_mat3 R;
    assert_true(tr_rotation_nearest(tr_m3_transpose(T), &R));
    return tr_vector_from_rotation(R);
}

/* Inverse of the positive definite n x n A, in place. */
static void invert(double *A, int n) {
    for (int k = 0; k < n; k++) {
        double pivot = A[k * n + k];
        assert_true(fabs(pivot) > 0);
        A[k * n + k] = 1;
        for (int j = 0; j < n; j++) A[k * n + j] /= pivot;
        for (int i = 0; i < n; i++) {
            if (i == k) continue;
            double f = A[i * n + k];
            A[i * n + k] = 0;
            for (int j = 0; j < n; j++) A[i * n + j] -= f * A[k * n + j];
        }
    }
}

/* From the published values, disturbed: 1 % in focal length and distance, no distortion. */
static void seed(mrcal_result *m) {
    memset(m, 0, sizeof *m);
    for (int k = 0; k < 4; k++) m->lens[k] = calib1_published[k] + (k < 2 ? 8 : 5);
    for (int i = 0; i < CALIB1_VIEWS; i++) {
        tr_vec3 r = stored_rotation(i);
        m->camera_from_board[i].r = (mrcal_point3_t){.x = r.x, .y = r.y, .z = r.z};
        m->camera_from_board[i].t = (mrcal_point3_t){.x = 10 * calib1_t_cm[i][0],
                                                     .y = 10 * calib1_t_cm[i][1],
                                                     .z = 10.1 * calib1_t_cm[i][2]};
    }
}

static void solve_with_mrcal(mrcal_result *m) {
    static const int image_px[2] = {640, 480};
    static double state[STATES], x[MEASUREMENTS];
    static mrcal_point3_t pool[CALIB1_VIEWS * CALIB1_POINTS];
    static int Jp[MEASUREMENTS + 1], Ji[MEASUREMENTS * STATES];
    static double Jx[MEASUREMENTS * STATES];
    mrcal_observation_board_t boards[CALIB1_VIEWS];
    mrcal_lensmodel_t model = {.type = MRCAL_LENSMODEL_OPENCV5};
    mrcal_problem_selections_t selections = {.do_optimize_intrinsics_core = true,
                                             .do_optimize_intrinsics_distortions = true,
                                             .do_optimize_extrinsics = false,
                                             .do_optimize_frames = true,
                                             .do_optimize_calobject_warp = false,
                                             .do_apply_regularization = false,
                                             .do_apply_outlier_rejection = false};
    mrcal_problem_constants_t constants = {.point_min_range = 1, .point_max_range = 1e6};
    for (int i = 0; i < CALIB1_VIEWS; i++) {
        boards[i] =
            (mrcal_observation_board_t){.icam = {.intrinsics = 0, .extrinsics = -1}, .iframe = i};
        for (int k = 0; k < CALIB1_POINTS; k++) {
            pool[i * CALIB1_POINTS + k] =
                (mrcal_point3_t){.x = calib1_uv_px[i][k][0], .y = calib1_uv_px[i][k][1], .z = 1};
        }
    }
    assert_int_equal(mrcal_num_states(1, 0, CALIB1_VIEWS, 0, 0, CALIB1_VIEWS, selections, &model),
                     STATES);
    assert_int_equal(mrcal_num_measurements(CALIB1_VIEWS, 0, CALIB1_COLUMNS, CALIB1_ROWS, 1, 0,
                                            CALIB1_VIEWS, 0, 0, selections, &model),
                     MEASUREMENTS);
    mrcal_stats_t stats = mrcal_optimize(
        state, sizeof state, x, sizeof x, m->lens, NULL, m->camera_from_board, NULL, NULL, 1, 0,
        CALIB1_VIEWS, 0, 0, boards, NULL, CALIB1_VIEWS, 0, pool, &model, image_px, selections,
        &constants, CALIB1_PITCH_MM, CALIB1_COLUMNS, CALIB1_ROWS, false, false);
    CHECK_AT_MOST(0, stats.rms_reproj_error__pixels);
    assert_int_equal(stats.Noutliers, 0);
    double sum = 0;
    for (int i = 0; i < MEASUREMENTS; i++) sum += x[i] * x[i];
    m->sigma_px = sqrt(sum / (MEASUREMENTS - STATES));

    /* Covariance: its own Jacobian, in its own scaled unknowns, by our own inversion. */
    struct cholmod_sparse_struct Jt = {.nrow = STATES,
                                       .ncol = MEASUREMENTS,
                                       .nzmax = (size_t)MEASUREMENTS * STATES,
                                       .p = Jp,
                                       .i = Ji,
                                       .x = Jx,
                                       .stype = 0,
                                       .itype = CHOLMOD_INT,
                                       .xtype = CHOLMOD_REAL,
                                       .dtype = CHOLMOD_DOUBLE,
                                       .sorted = 1,
                                       .packed = 1};
    assert_true(mrcal_optimizer_callback(
        state, sizeof state, x, sizeof x, &Jt, m->lens, NULL, m->camera_from_board, NULL, NULL, 1,
        0, CALIB1_VIEWS, 0, 0, boards, NULL, CALIB1_VIEWS, 0, pool, &model, image_px, selections,
        &constants, CALIB1_PITCH_MM, CALIB1_COLUMNS, CALIB1_ROWS, false));
    double *C = m->covariance;
    memset(C, 0, sizeof m->covariance);
    for (int row = 0; row < MEASUREMENTS; row++) {
        for (int a = Jp[row]; a < Jp[row + 1]; a++) {
            for (int b = Jp[row]; b < Jp[row + 1]; b++) C[Ji[a] * STATES + Ji[b]] += Jx[a] * Jx[b];
        }
    }
    invert(C, STATES);
    double scale[STATES];
    for (int i = 0; i < STATES; i++) scale[i] = 1;
    mrcal_unpack_solver_state_vector(scale, 1, 0, CALIB1_VIEWS, 0, 0, selections, &model);
    for (int i = 0; i < STATES; i++) {
        for (int j = 0; j < STATES; j++) {
            C[i * STATES + j] *= scale[i] * scale[j] * m->sigma_px * m->sigma_px;
        }
    }
}

static void solve_with_ours(tr_calibration *found, tr_calib_pose poses[CALIB1_VIEWS]) {
    tr_vec2 p[CALIB1_POINTS], uv[CALIB1_VIEWS][CALIB1_POINTS];
    tr_calib_view views[CALIB1_VIEWS];
    tr_error err = {0};
    for (int k = 0; k < CALIB1_POINTS; k++) {
        /* y up. */
        p[k] =
            tr_v2(CALIB1_PITCH_MM * (k % CALIB1_COLUMNS), -CALIB1_PITCH_MM * (k / CALIB1_COLUMNS));
    }
    for (int i = 0; i < CALIB1_VIEWS; i++) {
        for (int k = 0; k < CALIB1_POINTS; k++) {
            uv[i][k] = tr_v2(calib1_uv_px[i][k][0], calib1_uv_px[i][k][1]);
        }
        views[i] = (tr_calib_view){p, uv[i], NULL, CALIB1_POINTS, NULL};
    }
    tr_calib_options options = tr_calib_defaults(640, 480);
    options.has_bow = false;
    options.has_corner_deviations = false;
    options.is_steady = true;
    options.huber = 0;
    bool ok = tr_calibrate(views, CALIB1_VIEWS, &options, found, poses, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
}

static void same_calibration(void **unused) {
    (void)unused;
    static mrcal_result theirs;
    tr_calibration ours;
    tr_calib_pose poses[CALIB1_VIEWS];
    seed(&theirs);
    solve_with_mrcal(&theirs);
    solve_with_ours(&ours, poses);
    CHECK_NEAR(ours.sigma_px, theirs.sigma_px, 1e-8);
    for (int k = 0; k < TR_LENS_N; k++) {
        double sd = sqrt(ours.lens.covariance[k * TR_LENS_N + k]);
        /* It stops a little short of the minimum. */
        CHECK_NEAR(ours.lens.param[k], theirs.lens[k], 1e-5 * sd);
        for (int j = 0; j < TR_LENS_N; j++) {
            double other = sqrt(ours.lens.covariance[j * TR_LENS_N + j]);
            CHECK_NEAR(ours.lens.covariance[k * TR_LENS_N + j] / (sd * other),
                       theirs.covariance[k * STATES + j] / (sd * other), 1e-5);
        }
    }
    tr_mat3 flip = {{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    for (int i = 0; i < CALIB1_VIEWS; i++) {
        tr_vec3 r = tr_vector_from_rotation(tr_m3_mul(poses[i].camera_from_board.R, flip));
        tr_vec3 t = poses[i].camera_from_board.t_mm;
        for (int k = 0; k < 3; k++) {
            double a = k == 0 ? r.x : k == 1 ? r.y : r.z;
            double b = k == 0 ? t.x : k == 1 ? t.y : t.z;
            CHECK_NEAR(a, theirs.camera_from_board[i].r.xyz[k], 1e-7);
            CHECK_NEAR(b, theirs.camera_from_board[i].t.xyz[k], 1e-3);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(same_calibration)};
    return cmocka_run_group_tests_name("mrcal", tests, NULL, NULL);
}
