/* The lens model and its profile file. Profiles that must be refused are kept in tests/bad. */
#include "check.h"
#include "temp.h"

#include <float.h>

#include "base/file.h"
#include "findings.h"
#include "lens/lens.h"
#include "lens/profile.h"
#include "lens/unknown.h"

/* A wide phone camera (the contract's sample), and a published calibration with strong barrel
   distortion: calib1 of opencv/opencv_extra, testdata/cv/cameracalibration. */
static const tr_lens PHONE = {
    .id = "phone",
    .width_px = 4032,
    .height_px = 3024,
    .param = {3012.4, 3011.8, 2010.1, 1512.7, 0.0831, -0.2105, 0.0004, -0.0002, 0.1377},
};
static const tr_lens BARREL = {
    .id = "barrel",
    .width_px = 640,
    .height_px = 480,
    .param = {809.94790, 806.55964, 361.99611, 214.39514, -0.12821, -0.39441, -0.00435, -0.00732,
              0},
};

static const tr_camera CAMERA = {"Example Phone 3", 5.43, 26, 1, "back camera"};

static tr_vec2 project(const tr_lens *lens, tr_vec3 p_mm) {
    tr_vec2 uv_px = {NAN, NAN};
    assert_true(tr_lens_project(lens, p_mm, &uv_px, NULL, NULL));
    return uv_px;
}

/* By hand, from the formula: fx = 1000, fy = 2000, cx = 10, cy = 20. */
static void projection_has_values_worked_out_by_hand(void **state) {
    (void)state;
    tr_lens lens = {.param = {1000, 2000, 10, 20}};
    tr_vec2 uv = project(&lens, tr_v3(50, -20, 100));
    CHECK_NEAR(uv.x, 510, 1e-12);
    CHECK_NEAR(uv.y, -380, 1e-12);
    /* x = 0.5, y = -0.2, r2 = 0.29 */
    lens.param[TR_K1] = 0.1; /* s = 1.029 */
    uv = project(&lens, tr_v3(50, -20, 100));
    CHECK_NEAR(uv.x, 524.5, 1e-12);
    CHECK_NEAR(uv.y, -391.6, 1e-12);
    lens.param[TR_K2] = 1; /* + 0.0841 */
    lens.param[TR_K3] = 1; /* + 0.024389; s = 1.137489 */
    uv = project(&lens, tr_v3(50, -20, 100));
    CHECK_NEAR(uv.x, 578.7445, 1e-10);
    CHECK_NEAR(uv.y, -434.9956, 1e-10);
    lens.param[TR_P1] = 0.01; /* u + 10 * 2xy = -2;  v + 20 (r2 + 2y2) = 7.4 */
    lens.param[TR_P2] = 0.02; /* u + 20 (r2 + 2x2) = 15.8;  v + 40 * 2xy = -8 */
    uv = project(&lens, tr_v3(50, -20, 100));
    CHECK_NEAR(uv.x, 592.5445, 1e-10);
    CHECK_NEAR(uv.y, -435.5956, 1e-10);
}

static void nothing_is_seen_behind_the_camera_or_beyond_the_fold(void **state) {
    (void)state;
    tr_vec2 uv_px = {-7, -7};
    assert_false(tr_lens_project(&PHONE, tr_v3(1, 2, 0), &uv_px, NULL, NULL));
    assert_false(tr_lens_project(&PHONE, tr_v3(1, 2, -100), &uv_px, NULL, NULL));
    assert_false(tr_lens_project(&PHONE, tr_v3(1, 2, NAN), &uv_px, NULL, NULL));
    double r = sqrt(tr_lens_fold_r2(BARREL.param));
    assert_false(tr_lens_project(&BARREL, tr_v3(1.001 * r, 0, 1), &uv_px, NULL, NULL));
    assert_false(tr_lens_distort(&BARREL, tr_v2(0, 5 * r), &uv_px, NULL));
    CHECK_NEAR(uv_px.x, -7, 0);
    CHECK_NEAR(uv_px.y, -7, 0);
    assert_true(tr_lens_project(&BARREL, tr_v3(0.999 * r, 0, 1), &uv_px, NULL, NULL));
}

/* 1 + 3 k1 q + 5 k2 q^2 + 7 k3 q^3 = 0, worked out by hand. */
static void the_fold_is_the_first_root(void **state) {
    (void)state;
    static const struct {
        double k1, k2, k3, fold_r2;
    } CASES[] = {
        {0, 0, 0, INFINITY},
        {0.1, 0.1, 0.1, INFINITY},
        {-1.0 / 3, 0, 0, 1},
        {0, -0.2, 0, 1},
        {0, 0, -1.0 / 7, 1},
        {-1.0 / 12, 0, 0, 4},
        /* (1 - q)(1 - q/2)(1 - q/4) = 1 - 7/4 q + 7/8 q^2 - 1/8 q^3: roots 1, 2, 4 */
        {-7.0 / 12, 7.0 / 40, -1.0 / 56, 1},
        /* (1 + q)(1 - q/3) = 1 + 2/3 q - 1/3 q^2 */
        {2.0 / 9, -1.0 / 15, 0, 3},
        /* 1 - q + q^2: no root */
        {-1.0 / 3, 1.0 / 5, 0, INFINITY},
        /* (1 - q/2)(1 + q^2/4) = 1 - q/2 + q^2/4 - q^3/8 */
        {-1.0 / 6, 1.0 / 20, -1.0 / 56, 2},
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        double param[TR_LENS_N] = {0};
        param[TR_K1] = CASES[i].k1;
        param[TR_K2] = CASES[i].k2;
        param[TR_K3] = CASES[i].k3;
        double fold_r2 = tr_lens_fold_r2(param);
        if (isinf(CASES[i].fold_r2)) {
            assert_true(isinf(fold_r2) && fold_r2 > 0);
        } else {
            CHECK_NEAR(fold_r2, CASES[i].fold_r2, 1e-12);
        }
    }
}

/* Central differences with a step near the cube root of the machine epsilon times the scale of the
   unknown; errors are relative to the largest derivative of the row. */
static void check_derivative(tr_vec2 plus, tr_vec2 minus, double step, double du, double dv,
                             double scale) {
    CHECK_NEAR((plus.x - minus.x) / (2 * step), du, 1e-6 * scale);
    CHECK_NEAR((plus.y - minus.y) / (2 * step), dv, 1e-6 * scale);
}

static void check_point_derivatives(const tr_lens *lens, tr_vec3 p_mm) {
    tr_vec2 uv_px;
    double J[6];
    assert_true(tr_lens_project(lens, p_mm, &uv_px, J, NULL));
    double scale = fmax(fabs(J[0]), fabs(J[4]));
    double step = 6e-6 * tr_v3_norm(p_mm);
    for (int k = 0; k < 3; k++) {
        tr_vec3 d = {k == 0 ? step : 0, k == 1 ? step : 0, k == 2 ? step : 0};
        check_derivative(project(lens, tr_v3_add(p_mm, d)), project(lens, tr_v3_sub(p_mm, d)), step,
                         J[k], J[3 + k], scale);
    }
}

static void check_lens_derivatives(const tr_lens *lens, tr_vec3 p_mm) {
    tr_vec2 uv_px;
    double J[2 * TR_LENS_N];
    assert_true(tr_lens_project(lens, p_mm, &uv_px, NULL, J));
    for (int k = 0; k < TR_LENS_N; k++) {
        double step = 6e-6 * fmax(fabs(lens->param[k]), 0.1);
        tr_lens plus = *lens;
        tr_lens minus = *lens;
        plus.param[k] += step;
        minus.param[k] -= step;
        double scale = fmax(1, fmax(fabs(J[k]), fabs(J[TR_LENS_N + k])));
        check_derivative(project(&plus, p_mm), project(&minus, p_mm), step, J[k], J[TR_LENS_N + k],
                         scale);
    }
}

static void check_distort_derivatives(const tr_lens *lens, tr_vec2 xy) {
    tr_vec2 uv_px;
    tr_vec2 plus;
    tr_vec2 minus;
    double J[4];
    double step = 6e-6;
    assert_true(tr_lens_distort(lens, xy, &uv_px, J));
    for (int k = 0; k < 2; k++) {
        tr_vec2 d = {k == 0 ? step : 0, k == 1 ? step : 0};
        assert_true(tr_lens_distort(lens, tr_v2_add(xy, d), &plus, NULL));
        assert_true(tr_lens_distort(lens, tr_v2_sub(xy, d), &minus, NULL));
        check_derivative(plus, minus, step, J[k], J[2 + k], fmax(fabs(J[0]), fabs(J[3])));
    }
}

/* On a grid of pixels that includes the very corners of the image. */
static void derivatives_agree_with_differences(void **state) {
    (void)state;
    static const tr_lens *const LENSES[] = {&PHONE, &BARREL};
    for (int l = 0; l < 2; l++) {
        const tr_lens *lens = LENSES[l];
        for (int i = 0; i <= 6; i++) {
            for (int j = 0; j <= 6; j++) {
                tr_vec2 uv_px = {lens->width_px * i / 6.0 - 0.5, lens->height_px * j / 6.0 - 0.5};
                tr_vec2 xy;
                assert_true(tr_lens_undistort(lens, uv_px, &xy));
                double depth_mm = 500.0 + 700 * i + 100 * j;
                tr_vec3 p_mm = {depth_mm * xy.x, depth_mm * xy.y, depth_mm};
                check_distort_derivatives(lens, xy);
                check_point_derivatives(lens, p_mm);
                check_lens_derivatives(lens, p_mm);
            }
        }
    }
}

static void undistorting_inverts_distorting(void **state) {
    (void)state;
    static const tr_lens *const LENSES[] = {&PHONE, &BARREL};
    for (int l = 0; l < 2; l++) {
        const tr_lens *lens = LENSES[l];
        for (int i = 0; i <= 16; i++) {
            for (int j = 0; j <= 16; j++) {
                tr_vec2 uv_px = {lens->width_px * i / 16.0, lens->height_px * j / 16.0};
                tr_vec2 xy;
                tr_vec2 back_px;
                tr_vec2 xy_again;
                assert_true(tr_lens_undistort(lens, uv_px, &xy));
                assert_true(tr_lens_distort(lens, xy, &back_px, NULL));
                CHECK_NEAR(back_px.x, uv_px.x, 1e-9);
                CHECK_NEAR(back_px.y, uv_px.y, 1e-9);
                assert_true(tr_lens_undistort(lens, back_px, &xy_again));
                CHECK_NEAR(xy_again.x, xy.x, 1e-12);
                CHECK_NEAR(xy_again.y, xy.y, 1e-12);
            }
        }
    }
}

static void a_pixel_beyond_the_fold_has_no_direction(void **state) {
    (void)state;
    /* k1 = -1/3 folds at r = 1, where r s = 2/3: nothing lands farther out. */
    tr_lens lens = {.param = {1000, 1000, 0, 0, -1.0 / 3}};
    tr_vec2 xy = {-7, -7};
    assert_true(tr_lens_undistort(&lens, tr_v2(0, 660), &xy));
    CHECK_AT_MOST(xy.y, 1);
    xy.y = -7;
    assert_false(tr_lens_undistort(&lens, tr_v2(0, 670), &xy));
    assert_false(tr_lens_undistort(&lens, tr_v2(-5000, 5000), &xy));
    assert_false(tr_lens_undistort(&lens, tr_v2(NAN, 0), &xy));
    CHECK_NEAR(xy.y, -7, 0);
}

/* ---- profile ---- */

static int make_folder(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    *state = folder;
    return 0;
}

static int remove_folder(void **state) {
    temp_remove(*state);
    free(*state);
    return 0;
}

/* A covariance like a calibration's: A A' of a matrix that is all different, of very different
   scales. */
static tr_lens lens_with_covariance(void) {
    static const double SD[TR_LENS_N] = {0.5, 0.5, 0.7, 0.6, 1e-3, 1e-2, 1e-5, 1e-5, 3e-2};
    tr_lens lens = PHONE;
    double A[TR_LENS_N][TR_LENS_N];
    for (int i = 0; i < TR_LENS_N; i++) {
        for (int j = 0; j < TR_LENS_N; j++) A[i][j] = SD[i] * sin(1 + i * i + 3.1 * j) / 3;
    }
    for (int i = 0; i < TR_LENS_N; i++) {
        for (int j = 0; j < TR_LENS_N; j++) {
            double sum = 0;
            for (int k = 0; k < TR_LENS_N; k++) sum += A[i][k] * A[j][k];
            lens.covariance[i * TR_LENS_N + j] = sum;
        }
    }
    lens.has_covariance = true;
    return lens;
}

static void check_profile_round_trip(const char *folder, const tr_lens *lens) {
    char path[TEMP_SIZE];
    tr_error err = {0};
    tr_lens back;
    if (!tr_lens_profile_write(temp_path(path, folder, "lens.yaml"), lens, &err) ||
        !tr_lens_profile_read(path, &back, &err)) {
        fail_msg("%s:%d '%s' %s", err.file, err.line, err.key, err.text);
    }
    assert_string_equal(back.id, lens->id);
    assert_int_equal(back.width_px, lens->width_px);
    assert_int_equal(back.height_px, lens->height_px);
    assert_memory_equal(back.param, lens->param, sizeof back.param);
    assert_int_equal(back.has_covariance, lens->has_covariance);
    assert_memory_equal(back.covariance, lens->covariance, sizeof back.covariance);
    assert_string_equal(back.camera.name, lens->camera.name);
    CHECK_NEAR(back.camera.focal_length_mm, lens->camera.focal_length_mm, 0);
    CHECK_NEAR(back.camera.equivalent_focal_length_mm, lens->camera.equivalent_focal_length_mm, 0);
    CHECK_NEAR(back.camera.digital_zoom, lens->camera.digital_zoom, 0);
    assert_int_equal(back.board.squares_x, lens->board.squares_x);
    assert_int_equal(back.board.squares_y, lens->board.squares_y);
    CHECK_NEAR(back.board.pitch_mm, lens->board.pitch_mm, 0);
    assert_string_equal(back.calibrated, lens->calibrated);
}

static void check_profiles(const char *folder) {
    tr_lens lens = lens_with_covariance();
    check_profile_round_trip(folder, &PHONE);
    check_profile_round_trip(folder, &BARREL);
    check_profile_round_trip(folder, &lens);
    lens.camera = CAMERA;
    lens.board = (tr_lens_board){10, 7, 89.0 / 3};
    memcpy(lens.calibrated, "2026-03-02", sizeof lens.calibrated);
    check_profile_round_trip(folder, &lens);
    snprintf(lens.camera.name, sizeof lens.camera.name, "%s", "123: \"4\" \\ # no \xc3\xbc");
    lens.camera.focal_length_mm = 16.0 / 3;
    lens.camera.digital_zoom = 0;
    check_profile_round_trip(folder, &lens);
    memset(lens.camera.name, 'x', sizeof lens.camera.name - 1);
    lens.camera.equivalent_focal_length_mm = 0;
    lens.camera.digital_zoom = 4.0 / 3;
    check_profile_round_trip(folder, &lens);
    snprintf(lens.id, sizeof lens.id, "%s", "it's \"quoted\" \\n: # yes \xc3\xbc");
    for (int k = 0; k < 4; k++) lens.param[k] = nextafter(lens.param[k], 0);
    for (int k = TR_K1; k < TR_LENS_N; k++) lens.param[k] *= 1e-7 / 3;
    check_profile_round_trip(folder, &lens);
    /* A parameter that was held fixed has no variance. */
    for (int k = 0; k < TR_LENS_N; k++) {
        lens.covariance[TR_K3 * TR_LENS_N + k] = 0;
        lens.covariance[k * TR_LENS_N + TR_K3] = 0;
    }
    check_profile_round_trip(folder, &lens);
    /* Two parameters that always move together: singular, but no error. */
    for (int k = 0; k < TR_LENS_N; k++) {
        lens.covariance[TR_FY * TR_LENS_N + k] = lens.covariance[TR_FX * TR_LENS_N + k];
    }
    for (int k = 0; k < TR_LENS_N; k++) {
        lens.covariance[k * TR_LENS_N + TR_FY] = lens.covariance[k * TR_LENS_N + TR_FX];
    }
    check_profile_round_trip(folder, &lens);
}

static void profiles_come_back_bit_by_bit(void **state) {
    check_profiles(*state);
}

static void profiles_do_not_depend_on_the_locale(void **state) {
    if (!set_comma_locale(*state)) {
        set_c_locale();
        need(false, "a locale with a decimal comma");
    }
    check_profiles(*state);
    set_c_locale();
}

static void a_covariance_may_stand_in_one_list(void **state) {
    char path[TEMP_SIZE];
    tr_lens nested;
    tr_lens flat;
    tr_lens lens = lens_with_covariance();
    uint8_t *data = NULL;
    size_t size = 0;
    assert_true(tr_lens_profile_write(temp_path(path, *state, "lens.yaml"), &lens, NULL));
    assert_true(tr_lens_profile_read(path, &nested, NULL));
    assert_true(tr_file_read(path, 100000, &data, &size, NULL));
    char *covariance = strstr((char *)data, "covariance:");
    assert_non_null(covariance);
    /* "covariance:\n  - [1, 2]\n  - [3, 4]\n" becomes "covariance: [ 1, 2,  3, 4 \n". */
    bool is_first = true;
    for (char *c = covariance; *c; c++) {
        bool is_row = *c == '-' && c[1] == ' ' && c[2] == '[';
        if (is_row) {
            *c = is_first ? '[' : ',';
            c[2] = ' ';
            is_first = false;
        }
        if (*c == ']') *c = c[2] ? ' ' : ']';
    }
    temp_write(path, data, size);
    free(data);
    tr_error err = {0};
    if (!tr_lens_profile_read(path, &flat, &err)) fail_msg("%d: %s", err.line, err.text);
    assert_memory_equal(flat.covariance, nested.covariance, sizeof flat.covariance);
}

static void a_lens_that_cannot_be_one_is_not_written(void **state) {
    char path[TEMP_SIZE];
    temp_path(path, *state, "lens.yaml");
    for (int k = 0; k < TR_LENS_N; k++) {
        tr_lens lens = PHONE;
        tr_error err = {0};
        lens.param[k] = NAN;
        assert_false(tr_lens_profile_write(path, &lens, &err));
        assert_int_equal(err.code, TR_BAD_INPUT);
        lens.param[k] = INFINITY;
        assert_false(tr_lens_profile_write(path, &lens, NULL));
    }
    tr_lens lens = lens_with_covariance();
    lens.covariance[10] = NAN;
    assert_false(tr_lens_profile_write(path, &lens, NULL));
    lens = PHONE;
    lens.id[0] = 0;
    assert_false(tr_lens_profile_write(path, &lens, NULL));
    snprintf(lens.id, sizeof lens.id, "two\nlines");
    assert_false(tr_lens_profile_write(path, &lens, NULL));
    lens = PHONE;
    lens.param[TR_K1] = -0.9;
    tr_error err = {0};
    assert_false(tr_lens_profile_write(path, &lens, &err));
    assert_string_equal(err.key, "distortion");
    for (int k = 0; k < 5; k++) {
        static const char *const KEYS[] = {"camera", "focal_length_mm",
                                           "equivalent_focal_length_mm", "digital_zoom",
                                           "focal_length_mm"};
        lens = PHONE;
        lens.camera = CAMERA;
        if (k == 0) snprintf(lens.camera.name, sizeof lens.camera.name, "two\nlines");
        if (k == 1) lens.camera.focal_length_mm = -5;
        if (k == 2) lens.camera.equivalent_focal_length_mm = INFINITY;
        if (k == 3) lens.camera.digital_zoom = NAN;
        if (k == 4) lens.camera.focal_length_mm = 1e9;
        err = (tr_error){0};
        assert_false(tr_lens_profile_write(path, &lens, &err));
        assert_string_equal(err.key, KEYS[k]);
    }
    assert_int_equal(temp_count(*state), 0);
}

/* ---- the camera that it was made with ---- */

static void check_taken(const tr_camera *camera, tr_camera_trait by, const char *words) {
    tr_findings taken = {0};
    tr_error err = {0};
    assert_true(tr_camera_note(camera, by, &taken, &err));
    assert_string_equal(reason_text(&taken), words);
    tr_findings_release(&taken);
}

/* Whichever comes first; the words are those of either. */
static void check_differ(const tr_camera *a, const tr_camera *b, const char *as_a,
                         const char *as_b) {
    tr_camera_trait by, back;
    assert_int_equal(tr_camera_differ(a, b, &by), as_a != NULL);
    assert_int_equal(tr_camera_differ(b, a, &back), as_a != NULL);
    if (!as_a) return;
    assert_int_equal(by, back);
    check_taken(a, by, as_a);
    check_taken(b, by, as_b);
}

static void cameras_differ_where_they_tell_different_things(void **state) {
    (void)state;
    static const struct {
        tr_camera camera;
        const char *as_first, *as_this; /* NULL: no difference from CAMERA */
    } CASES[] = {
        {{"", 0, 0, 0, ""}, NULL, NULL},
        {{"Example Phone 3", 5.43, 26, 1, ""}, NULL, NULL},
        {{"Example Phone 3", 0, 0, 0, ""}, NULL, NULL}, /* no zoom told is no zoom */
        {{"", 5.43, 0, 0, ""}, NULL, NULL},
        {{"Example Phone 3", 5.48, 26, 1, ""}, NULL, NULL},
        {{"Example Phone 3", 5.43, 27, 1.005, ""}, NULL, NULL},
        {{"Example Phone 4", 5.43, 26, 1, ""}, "with Example Phone 3", "with Example Phone 4"},
        {{"Example Phone 4", 9, 77, 2, ""}, "with Example Phone 3", "with Example Phone 4"},
        {{"Example Phone 3", 5.49, 26, 1, ""},
         "at a focal length of 5.43 mm",
         "at a focal length of 5.49 mm"},
        {{"", 9, 0, 0, ""}, "at a focal length of 5.43 mm", "at a focal length of 9 mm"},
        {{"Example Phone 3", 5.43, 52, 2, ""}, "at digital zoom 1", "at digital zoom 2"},
        {{"", 0, 0, 1.1, ""}, "at digital zoom 1", "at digital zoom 1.1"},
        {{"Example Phone 3", 5.43, 29, 1, ""},
         "at a focal length equivalent to 26 mm",
         "at a focal length equivalent to 29 mm"},
        {{"Example Phone 3", 5.43, 26, 1, "back camera"}, NULL, NULL},
        {{"", 0, 0, 0, "front camera"}, "with lens back camera", "with lens front camera"},
        {{"", 9, 0, 0, "front camera"},
         "at a focal length of 5.43 mm",
         "at a focal length of 9 mm"},
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++)
        check_differ(&CAMERA, &CASES[i].camera, CASES[i].as_first, CASES[i].as_this);
    /* A profile at some zoom, and a photo that tells its camera, but no zoom. */
    tr_camera zoomed = CAMERA;
    tr_camera silent = CAMERA;
    zoomed.digital_zoom = 2;
    silent.digital_zoom = 0;
    check_differ(&zoomed, &silent, "at digital zoom 2", "at digital zoom 1");
    silent.name[0] = 0;
    check_differ(&zoomed, &silent, NULL, NULL);
}

static void cameras_are_completed_by_what_they_lack(void **state) {
    (void)state;
    tr_camera camera = {.name = "", .focal_length_mm = 4};
    tr_camera_complete(&camera, &CAMERA);
    assert_string_equal(camera.name, "Example Phone 3");
    CHECK_NEAR(camera.focal_length_mm, 4, 0);
    CHECK_NEAR(camera.equivalent_focal_length_mm, 26, 0);
    CHECK_NEAR(camera.digital_zoom, 1, 0);
}

/* ---- scatter ---- */

static const tr_lens_scatter SCATTER = {.sd = {9.3, 0.0021, 4.0e-4, 0.37}, .dof = {11.5, 12, 3, 2}};

static void check_scatter_round_trip(const char *folder, const tr_lens_scatter *scatter) {
    char path[TEMP_SIZE];
    tr_lens lens = PHONE;
    tr_lens back;
    lens.scatter = *scatter;
    assert_true(tr_lens_profile_write(temp_path(path, folder, "lens.yaml"), &lens, NULL));
    assert_true(tr_lens_profile_read(path, &back, NULL));
    assert_int_equal(back.scatter.is_steady, scatter->is_steady);
    for (int k = 0; k < TR_SCATTER_N; k++) {
        bool is_known = scatter->dof[k] > 0;
        CHECK_NEAR(back.scatter.sd[k], is_known ? scatter->sd[k] : 0, 1e-14 * scatter->sd[k]);
        CHECK_NEAR(back.scatter.dof[k], scatter->dof[k], 0);
    }
}

static void scatter_comes_back(void **state) {
    tr_lens_scatter some = SCATTER;
    check_scatter_round_trip(*state, &SCATTER);
    check_scatter_round_trip(*state, &(tr_lens_scatter){.is_steady = true});
    check_scatter_round_trip(*state, &(tr_lens_scatter){.is_steady = false});
    some.dof[TR_SCATTER_SHIFT] = some.dof[TR_SCATTER_TRAVEL] = 0;
    check_scatter_round_trip(*state, &some);
}

/* As people write it: the units are those of the keys. */
static void scatter_is_read_in_the_units_of_its_keys(void **state) {
    static const char TAIL[] = "scatter:\n  shift_px: [8, 12]\n  focal_percent: [0.25, 10]\n"
                               "  turn_deg: [0.03, 9]\n  travel_mm: [0.4, 9]\n";
    char path[TEMP_SIZE];
    uint8_t *data = NULL;
    size_t size = 0;
    tr_lens lens;
    assert_true(tr_lens_profile_write(temp_path(path, *state, "lens.yaml"), &PHONE, NULL));
    assert_true(tr_file_read(path, 100000, &data, &size, NULL));
    char *text = malloc(size + sizeof TAIL);
    assert_non_null(text);
    memcpy(text, data, size);
    memcpy(text + size, TAIL, sizeof TAIL);
    temp_write(path, text, size + sizeof TAIL - 1);
    assert_true(tr_lens_profile_read(path, &lens, NULL));
    CHECK_NEAR(lens.scatter.sd[TR_SCATTER_SHIFT], 8, 0);
    CHECK_NEAR(lens.scatter.sd[TR_SCATTER_FOCAL], 0.0025, 1e-17);
    CHECK_NEAR(lens.scatter.sd[TR_SCATTER_TURN], 0.03 * TR_RAD_PER_DEG, 1e-17);
    CHECK_NEAR(lens.scatter.sd[TR_SCATTER_TRAVEL], 0.4, 0);
    CHECK_NEAR(lens.scatter.dof[TR_SCATTER_FOCAL], 10, 0);
    free(data);
    free(text);
}

/* lens.h has the figures. */
static void an_unknown_camera_may_scatter_by_as_much_as_any_phone(void **state) {
    (void)state;
    tr_lens lens = {.width_px = 4032, .height_px = 3024};
    for (int portrait = 0; portrait < 2; portrait++) {
        CHECK_NEAR(tr_lens_scatter_sd(&lens, TR_SCATTER_SHIFT), 40.32, 1e-12);
        CHECK_NEAR(tr_lens_scatter_sd(&lens, TR_SCATTER_FOCAL), 0.01, 0);
        CHECK_NEAR(tr_lens_scatter_sd(&lens, TR_SCATTER_TURN), 2e-3, 0);
        CHECK_NEAR(tr_lens_scatter_sd(&lens, TR_SCATTER_TRAVEL), 1.5, 0);
        lens.width_px = 3024;
        lens.height_px = 4032;
    }
    for (int k = 0; k < TR_SCATTER_N; k++) {
        double sd;
        double dof;
        tr_lens_scatter_known(&lens, k, &sd, &dof);
        CHECK_NEAR(sd, tr_lens_scatter_sd(&lens, k), 0);
        /* Seven photos of a camera that shifts by 2 px have some ten degrees of freedom: what is
           known before must not make more than half of what they find, sd^2 dof / 10 < 2^2 / 2. */
        CHECK_AT_MOST(dof * 40.32 * 40.32 / 10, 2);
        assert_true(dof > 0);
    }
    lens.scatter.is_steady = true;
    for (int k = 0; k < TR_SCATTER_N; k++) CHECK_NEAR(tr_lens_scatter_sd(&lens, k), 0, 0);
}

/* What a calibration found counts with its degrees of freedom; but those of a hand, which is
   another every day, count for three, and others for those of a good calibration at most. */
static void what_is_known_of_a_camera_counts_by_its_degrees_of_freedom(void **state) {
    (void)state;
    tr_lens lens = {.width_px = 4032, .height_px = 3024, .scatter = SCATTER};
    double sd;
    double dof;
    tr_lens_scatter_known(&lens, TR_SCATTER_SHIFT, &sd, &dof);
    CHECK_NEAR(sd, 9.3, 0);
    CHECK_NEAR(dof, 11.5, 0);
    for (int k = 0; k < TR_SCATTER_N; k++) lens.scatter.dof[k] = 1000;
    for (int k = 0; k < TR_SCATTER_N; k++) {
        tr_lens_scatter_known(&lens, k, &sd, &dof);
        CHECK_NEAR(dof, k < TR_SCATTER_TURN ? 30 : 3, 0);
        CHECK_NEAR(sd, SCATTER.sd[k], 0);
    }
    /* Before its own photos say more, any job may have what an unknown camera has. */
    tr_lens unknown = {.width_px = 4032, .height_px = 3024};
    for (int k = 0; k < TR_SCATTER_N; k++) {
        CHECK_NEAR(tr_lens_scatter_sd(&lens, k), tr_lens_scatter_sd(&unknown, k), 0);
    }
    lens.scatter.sd[TR_SCATTER_TURN] = 5e-3;
    assert_true(tr_lens_scatter_sd(&lens, TR_SCATTER_TURN) >= 5e-3);
}

/* Chi-squared is below dof (sd / limit)^2 once in five. For an even number of degrees of freedom
   its distribution is 1 - exp(-x/2) sum (x/2)^k / k!, k < dof/2 (Abramowitz and Stegun, Handbook of
   Mathematical Functions, 1964, 26.4.21). */
static void limits_of_a_scatter_leave_one_in_five_above(void **state) {
    (void)state;
    for (int half = 1; half <= 40; half++) {
        double ratio = tr_lens_scatter_limit(3, 2 * half) / 3;
        double y = half / (ratio * ratio);
        double sum = 0;
        double term = 1;
        for (int k = 0; k < half; k++) {
            sum += term;
            term *= y / (k + 1);
        }
        CHECK_NEAR(1 - exp(-y) * sum, 0.2, 0.004);
    }
    /* Of next to no degrees of freedom nothing follows; but a factor has to end somewhere. */
    CHECK_NEAR(tr_lens_scatter_limit(1, 0.01), 16, 1);
    CHECK_NEAR(tr_lens_scatter_limit(1, 1), 3.95, 0.31);
}

static void rounding_does_not_make_a_covariance_asymmetric(void **state) {
    char path[TEMP_SIZE];
    tr_lens lens = lens_with_covariance();
    tr_lens back;
    lens.covariance[1] = nextafter(lens.covariance[1], 1);
    assert_true(tr_lens_profile_write(temp_path(path, *state, "lens.yaml"), &lens, NULL));
    assert_true(tr_lens_profile_read(path, &back, NULL));
    assert_memory_equal(&back.covariance[1], &back.covariance[TR_LENS_N], sizeof(double));
}

/* ---- an unknown lens ---- */

static double sd_of(const tr_lens *lens, int k) {
    return sqrt(lens->covariance[k * (TR_LENS_N + 1)]);
}

/* What lens/unknown.h says: an EXIF focal length is good to 7 % whichever side of the film it is
   of, pixels are square to 0.1 %, and of the rest what phones have. */
static void an_unknown_lens_is_a_phones(void **state) {
    (void)state;
    static const double SD[TR_LENS_N] = {
        [TR_CX] = 80.64, [TR_CY] = 80.64, [TR_K1] = 0.2,  [TR_K2] = 0.8,
        [TR_K3] = 1.2,   [TR_P1] = 0.002, [TR_P2] = 0.002};
    tr_camera camera = {.equivalent_focal_length_mm = 26};
    tr_lens lens;
    tr_lens_unknown(&camera, 4032, 3024, &lens);
    double f = lens.param[TR_FX];
    CHECK_NEAR(f, 4032 * 26 / 35.3, 1e-6);
    assert_true(f == lens.param[TR_FY]);
    CHECK_NEAR(lens.param[TR_CX], 2015.5, 1e-9);
    CHECK_NEAR(lens.param[TR_CY], 1511.5, 1e-9);
    CHECK_NEAR(sd_of(&lens, TR_FX), 0.07 * f, 1e-4 * f);
    double both = lens.covariance[TR_FX * (TR_LENS_N + 1)] - 2 * lens.covariance[TR_FY] +
                  lens.covariance[TR_FY * (TR_LENS_N + 1)];
    CHECK_NEAR(sqrt(both), 1e-3 * f, 1e-9 * f);
    for (int k = TR_CX; k < TR_LENS_N; k++) CHECK_NEAR(sd_of(&lens, k), SD[k], 1e-9);
    assert_true(lens.is_unknown && lens.has_covariance);
    assert_true(tr_lens_is_one_to_one(&lens));
    /* Both conventions, rounded by half a millimetre, lie within one standard deviation. */
    for (int i = 0; i < 4; i++) {
        double mm = 26 + (i % 2 ? 0.5 : -0.5);
        double true_px = i < 2 ? mm * 4032 / 36 : mm * 5040 / 43.267;
        CHECK_AT_MOST(fabs(true_px - f), sd_of(&lens, TR_FX));
    }
    /* The longer side counts in portrait files, too. */
    tr_lens_unknown(&camera, 3024, 4032, &lens);
    CHECK_NEAR(lens.param[TR_FX], f, 1e-9);
    tr_lens_unknown(&(tr_camera){.name = ""}, 4032, 3024, &lens);
    CHECK_NEAR(lens.param[TR_FX], 0.76 * 4032, 1e-6);
    CHECK_NEAR(sd_of(&lens, TR_FX), 0.4 * 4032, 1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_unknown_lens_is_a_phones),
        cmocka_unit_test(projection_has_values_worked_out_by_hand),
        cmocka_unit_test(nothing_is_seen_behind_the_camera_or_beyond_the_fold),
        cmocka_unit_test(the_fold_is_the_first_root),
        cmocka_unit_test(derivatives_agree_with_differences),
        cmocka_unit_test(undistorting_inverts_distorting),
        cmocka_unit_test(a_pixel_beyond_the_fold_has_no_direction),
        cmocka_unit_test(cameras_differ_where_they_tell_different_things),
        cmocka_unit_test(cameras_are_completed_by_what_they_lack),
        cmocka_unit_test_setup_teardown(profiles_come_back_bit_by_bit, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(profiles_do_not_depend_on_the_locale, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_covariance_may_stand_in_one_list, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_lens_that_cannot_be_one_is_not_written, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(scatter_comes_back, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(scatter_is_read_in_the_units_of_its_keys, make_folder,
                                        remove_folder),
        cmocka_unit_test(an_unknown_camera_may_scatter_by_as_much_as_any_phone),
        cmocka_unit_test(what_is_known_of_a_camera_counts_by_its_degrees_of_freedom),
        cmocka_unit_test(limits_of_a_scatter_leave_one_in_five_above),
        cmocka_unit_test_setup_teardown(rounding_does_not_make_a_covariance_asymmetric, make_folder,
                                        remove_folder),
    };
    return cmocka_run_group_tests_name("lens", tests, NULL, NULL);
}
