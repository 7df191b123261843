/* From corners to a lens: simulated photos whose truth is known, what must be refused, what must be
   said about a weak set; and the command itself. */
#include "check.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/text.h"
#include "calib/lens_run.h"
#include "calib/quality.h"
#include "draw.h"
#include "findings.h"
#include "lens/profile.h"
#include "outside/stereo.h"
#include "temp.h"
#include "tools/simulate/phone.h"

/* ---- simulated photos ---- */

enum { MAX_PHOTOS = 16 };

static const tr_board BOARD = {10, 7, 30};

static tr_lens true_lens(void) {
    return (tr_lens){.width_px = 4000,
                     .height_px = 3000,
                     .param = {3000, 3002, 2010, 1490, 0.08, -0.2, 0.0004, -0.0003, 0.13}};
}

/* A view as a person would take it: which edge is nearer (degrees of tilt about the image's axes),
   how the camera is turned, where the board's middle lies. */
typedef struct {
    double roll_deg, tilt_x_deg, tilt_y_deg;
    double x_mm, y_mm, z_mm;
} view_from;

static const view_from GOOD_SET[12] = {
    {0, 0, 0, 0, 0, 360},         {0, 35, 0, 0, -20, 400},      {5, -35, 0, 0, 20, 400},
    {0, 0, 35, -20, 0, 400},      {-4, 0, -35, 20, 0, 400},     {90, 20, 20, 0, 0, 420},
    {90, -25, 10, 0, 0, 440},     {0, 25, 25, -190, -150, 540}, {2, 25, -25, 190, -150, 540},
    {0, -25, 25, -190, 150, 540}, {0, -30, -20, 190, 150, 540}, {180, 10, -30, 0, 0, 420},
};

static tr_pose pose_of(view_from v) {
    /* Face to the camera: x right, y up, z towards it. */
    tr_mat3 facing = {{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    tr_mat3 tilt = tr_m3_mul(tr_rotation_from_vector(tr_v3(v.tilt_x_deg * TR_RAD_PER_DEG, 0, 0)),
                             tr_rotation_from_vector(tr_v3(0, v.tilt_y_deg * TR_RAD_PER_DEG, 0)));
    tr_mat3 turned = tr_m3_mul(facing, tr_rotation_z(v.roll_deg * TR_RAD_PER_DEG));
    return (tr_pose){tr_m3_mul(tilt, turned), tr_v3(v.x_mm, v.y_mm, v.z_mm)};
}

typedef struct {
    tr_lens lens;
    double noise_px;
    double bow_mm;              /* along x */
    double differential_scale;  /* of the print along x */
    double corner_deviation_mm; /* of the print, a corner's own fault in all photos */
    tr_sim_phone phone;
} world;

static world good_world(void) {
    return (world){.lens = true_lens(), .noise_px = 0.05};
}

/* The corners of one view; those outside the image are missing. */
static void simulate(const world *w, const tr_board *board, tr_pose camera_from_board, tr_draw *d,
                     tr_lens_photo *photo) {
    tr_board_view *view = &photo->view;
    double half_mm = (board->squares_x / 2.0 - 1) * board->pitch_mm;
    bool is_phone = w->phone.principal_point_px > 0 || w->phone.turn_rad > 0 || w->phone.focal > 0;
    tr_random random = tr_random_seed(is_phone ? (uint64_t)(1e9 * draw_between(d, 0, 1)) : 0);
    tr_sim_exposure exposure = tr_sim_expose(&w->phone, &w->lens, &random);
    tr_lens lens = tr_sim_lens_of(&w->lens, &exposure);
    tr_draw faults = draw_seeded("faults of the print");
    assert_true(tr_board_view_init(view, board, NULL));
    for (int k = 0; k < tr_board_corners(board); k++) {
        tr_vec2 p = tr_board_corner_mm(board, k);
        double t = p.x / half_mm;
        tr_vec3 bent = tr_v3(p.x * (1 + w->differential_scale), p.y, w->bow_mm * (1 - t * t));
        bent.x += w->corner_deviation_mm * draw_normal(&faults);
        bent.y += w->corner_deviation_mm * draw_normal(&faults);
        tr_vec2 uv;
        bool seen = tr_sim_expose_point(&lens, &exposure, camera_from_board, bent, &uv) &&
                    uv.x > 8 && uv.y > 8 && uv.x < w->lens.width_px - 9 &&
                    uv.y < w->lens.height_px - 9;
        uv = tr_v2_add(uv, tr_v2(w->noise_px * draw_normal(d), w->noise_px * draw_normal(d)));
        if (seen) {
            tr_board_view_add(view, board, k, uv, 0.05);
        } else {
            view->n_missing++;
        }
    }
    view->blur_px = 0.9;
    photo->width_px = w->lens.width_px;
    photo->height_px = w->lens.height_px;
    photo->is_used = true;
}

/* The caller releases. */
static tr_lens_run simulate_set(const world *w, const tr_board *board, const view_from *from, int n,
                                const char *seed) {
    tr_draw d = draw_seeded(seed);
    tr_lens_run run = {.board = *board, .n_photos = n};
    run.photos = calloc((size_t)n, sizeof *run.photos);
    assert_non_null(run.photos);
    for (int i = 0; i < n; i++) {
        char name[32];
        snprintf(name, sizeof name, "photos/%d.jpg", i + 1);
        run.photos[i].file = strdup(name);
        assert_non_null(run.photos[i].file);
        simulate(w, board, pose_of(from[i]), &d, &run.photos[i]);
    }
    return run;
}

static tr_lens_run good_set(const char *seed) {
    world w = good_world();
    return simulate_set(&w, &BOARD, GOOD_SET, 12, seed);
}

static void check_solves(tr_lens_run *run) {
    tr_error err = {0};
    bool ok = tr_lens_solve(run, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
}

/* The run is refused, and says all these words. */
static void check_refused(tr_lens_run *run, const char *const *words, int n_words) {
    tr_error err = {0};
    assert_false(tr_lens_solve(run, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    for (int i = 0; i < n_words; i++) {
        if (!strstr(err.text, words[i])) print_error("'%s' lacks '%s'\n", err.text, words[i]);
        assert_non_null(strstr(err.text, words[i]));
    }
}

static const char *advice_text(const tr_lens_run *run, const char *code) {
    const tr_finding *f = finding_of(&run->advice, code);
    return f ? finding_text(f) : NULL;
}

/* Exactly these pieces of advice besides the one that always stands there. */
static void check_advice(const tr_lens_run *run, const char *const *codes, int n) {
    for (int i = 0; i < n; i++) {
        if (!advice_text(run, codes[i])) print_error("'%s' was not said\n", codes[i]);
        assert_non_null(advice_text(run, codes[i]));
    }
    for (int i = 0; i < run->advice.n; i++) {
        const tr_finding *f = &run->advice.items[i];
        bool expected = has_code(f, "measure_board");
        for (int k = 0; k < n; k++) expected |= has_code(f, codes[k]);
        if (!expected) print_error("%s: %s\n", tr_finding_code(f->kind), finding_text(f));
        assert_true(expected);
    }
    assert_non_null(advice_text(run, "measure_board"));
}

static void check_says(const tr_lens_run *run, const char *code, const char *word) {
    const char *text = advice_text(run, code);
    assert_non_null(text);
    if (!strstr(text, word)) print_error("'%s' lacks '%s'\n", text, word);
    assert_non_null(strstr(text, word));
}

/* ---- what comes out ---- */

static void good(void **unused) {
    (void)unused;
    tr_lens_run run = good_set("good");
    const tr_lens lens = true_lens();
    check_solves(&run);
    const tr_calibration *c = &run.calibration;
    for (int k = 0; k < TR_LENS_N; k++) {
        double sd = sqrt(c->lens.covariance[k * (TR_LENS_N + 1)]);
        CHECK_NEAR(c->lens.param[k], lens.param[k], 4 * sd);
    }
    CHECK_NEAR(c->sigma_px, 0.05, 0.003);
    for (int i = 0; i < run.n_photos; i++) {
        tr_vec3 normal = tr_m3_column(pose_of(GOOD_SET[i]).R, 2);
        assert_true(run.photos[i].is_used);
        CHECK_NEAR(run.photos[i].tilt_rad, acos(fmin(1, fabs(normal.z))), 0.01);
        CHECK_NEAR(run.photos[i].median_residual, 1.18, 0.4);
        assert_int_equal(run.photos[i].n_off, 0);
    }
    check_advice(&run, NULL, 0);
    tr_lens_run_release(&run);
}

/* ---- what is refused ---- */

static void three_photos(void **unused) {
    (void)unused;
    const char *const words[] = {"only 3 of 12 photos", "at least 4"};
    tr_lens_run run = good_set("three");
    for (int i = 3; i < 12; i++) run.photos[i].is_used = false;
    check_refused(&run, words, 2);
    tr_lens_run_release(&run);
}

static void no_photos(void **unused) {
    (void)unused;
    const char *const words[] = {"only 0 of 0 photos"};
    tr_lens_run run = {.board = BOARD};
    check_refused(&run, words, 1);
    tr_lens_run_release(&run);
}

static void mixed_sizes(void **unused) {
    (void)unused;
    const char *const words[] = {"'1.jpg' has 4000 x 3000 px", "'5.jpg' (and 1 more)",
                                 "3000 x 4000 px"};
    tr_lens_run run = good_set("mixed");
    for (int i = 4; i < 6; i++) {
        run.photos[i].width_px = 3000;
        run.photos[i].height_px = 4000;
    }
    check_refused(&run, words, 3);
    tr_lens_run_release(&run);
}

/* Pictures without a board settle neither the size nor the camera of those that have one. */
static void pictures_without_a_board_settle_nothing(void **unused) {
    (void)unused;
    tr_error err = {0};
    tr_lens_run run = good_set("strays");
    for (int i = 0; i < 2; i++) {
        tr_lens_photo *p = &run.photos[i];
        p->is_used = false;
        p->width_px = i == 0 ? 1080 : 3000;
        p->height_px = i == 0 ? 2340 : 4000;
        if (i == 0) assert_true(tr_note(LOOKS_SCREENSHOT, &p->looks, &err));
        p->view.n = 0;
        snprintf(p->camera.name, sizeof p->camera.name, "Example Phone 9");
        assert_true(tr_note(NO_BOARD, &p->why_not, &err, 10, 7));
    }
    for (int i = 2; i < run.n_photos; i++) {
        snprintf(run.photos[i].camera.name, sizeof run.photos[i].camera.name, "Example Phone 3");
    }
    if (!tr_lens_solve(&run, &err)) fail_msg("%s", err.text);
    assert_int_equal(run.calibration.lens.width_px, 4000);
    assert_string_equal(run.calibration.lens.camera.name, "Example Phone 3");
    assert_string_equal(
        reason_text(&run.photos[0].why_not),
        "no checkerboard was found in it, and it looks like a screenshot; use the photo "
        "itself, as the camera stored it");
    assert_int_equal(run.photos[1].why_not.items[0].kind, TR_FOUND_NO_BOARD);
    tr_lens_run_release(&run);
}

static void long_names_are_cut_between_characters(void **unused) {
    (void)unused;
    tr_error err = {0};
    tr_lens_run run = good_set("mixed");
    char name[160] = "photos/x";
    for (int i = 0; i < 70; i++) strcat(name, "Ä");
    free(run.photos[0].file);
    run.photos[0].file = strdup(name);
    assert_non_null(run.photos[0].file);
    run.photos[4].width_px = 3000;
    assert_false(tr_lens_solve(&run, &err));
    assert_true(tr_text_is_line(err.text, strlen(err.text)));
    assert_non_null(strstr(err.text, "'xÄÄÄ"));
    assert_non_null(strstr(err.text, "Ä…' has 4000 x 3000 px, but '5.jpg' has"));
    tr_lens_run_release(&run);
}

/* Whatever the noise does, boards that are all parallel give no focal length. */
static void parallel(void **unused) {
    (void)unused;
    const char *const words[] = {"tilt", "direction"};
    for (int trial = 0; trial < 12; trial++) {
        char seed[32];
        view_from from[10];
        double tilt_deg = trial % 3 * 20;
        snprintf(seed, sizeof seed, "parallel %d", trial);
        tr_draw d = draw_seeded(seed);
        for (int i = 0; i < 10; i++) {
            /* Hands that mean to hold it alike, or a stand that does. */
            double hand = trial < 6 ? 1.0 : 0;
            from[i] = (view_from){hand * draw_normal(&d),    tilt_deg + hand * draw_normal(&d),
                                  hand * draw_normal(&d),    draw_between(&d, -60, 60),
                                  draw_between(&d, -40, 40), draw_between(&d, 380, 520)};
        }
        world w = good_world();
        tr_lens_run run = simulate_set(&w, &BOARD, from, 10, seed);
        check_refused(&run, words, 1);
        tr_lens_run_release(&run);
    }
}

/* All corners in the middle of the image, and noisy: the distortion runs away outside. Either it is
   refused, or what is written holds up to the image's edges. */
static void middle_only(void **unused) {
    (void)unused;
    char folder[TEMP_SIZE], path[TEMP_SIZE];
    int n_refused = 0;
    temp_make(folder);
    temp_path(path, folder, "lens.yaml");
    for (int trial = 0; trial < 8; trial++) {
        char seed[32];
        view_from from[8];
        world w = good_world();
        w.noise_px = 0.3;
        snprintf(seed, sizeof seed, "middle %d", trial);
        for (int i = 0; i < 8; i++) {
            from[i] = GOOD_SET[i];
            from[i].x_mm = from[i].y_mm = 0;
            from[i].z_mm = 900;
        }
        tr_lens_run run = simulate_set(&w, &BOARD, from, 8, seed);
        tr_error err = {0};
        bool ok = tr_lens_solve(&run, &err);
        n_refused += !ok;
        if (ok) {
            check_says(&run, "part_not_covered",
                       "the top left, the top, the top right, the left, the right, the bottom");
            snprintf(run.calibration.lens.id, sizeof run.calibration.lens.id, "middle");
            assert_true(tr_lens_profile_write(path, &run.calibration.lens, NULL));
        } else {
            assert_int_equal(err.code, TR_NO_MEASURE);
        }
        tr_lens_run_release(&run);
    }
    print_message("refused %d of 8\n", n_refused);
    temp_remove(folder);
}

/* ---- what is said ---- */

static void zoomed_photo(void **unused) {
    (void)unused;
    tr_lens_run run = good_set("zoomed");
    world w = good_world();
    tr_draw d = draw_seeded("zoomed photo");
    w.lens.param[TR_FX] *= 1.02;
    w.lens.param[TR_FY] *= 1.02;
    tr_board_view_release(&run.photos[7].view);
    simulate(&w, &BOARD, pose_of(GOOD_SET[7]), &d, &run.photos[7]);
    check_solves(&run);
    for (int i = 0; i < 12; i++) assert_int_equal(run.photos[i].is_used, i != 7);
    check_says(&run, "photo_left_out", "'8.jpg'");
    assert_non_null(strstr(reason_text(&run.photos[7].why_not), "its focal length is another"));
    CHECK_NEAR(run.calibration.lens.param[TR_FX], 3000, 3);
    tr_lens_run_release(&run);
}

static void noisy_photo(void **unused) {
    (void)unused;
    const char *const codes[] = {"photo_misfit"};
    tr_lens_run run = good_set("noisy");
    world w = good_world();
    tr_draw d = draw_seeded("noisy photo");
    w.noise_px = 0.125;
    tr_board_view_release(&run.photos[4].view);
    simulate(&w, &BOARD, pose_of(GOOD_SET[4]), &d, &run.photos[4]);
    check_solves(&run);
    check_advice(&run, codes, 1);
    check_says(&run, "photo_misfit", "'5.jpg'");
    tr_lens_run_release(&run);
}

/* Every second photo turned by half a turn, as some programs do when they save it: the centre of
   the image lies elsewhere in these, as with a lens that shifts. */
static void turned_photos(void **unused) {
    (void)unused;
    tr_lens_run run = good_set("turned");
    for (int i = 1; i < 12; i += 2) {
        tr_board_view *view = &run.photos[i].view;
        for (int k = 0; k < view->n; k++)
            view->uv_px[k] = tr_v2(3999 - view->uv_px[k].x, 2999 - view->uv_px[k].y);
    }
    check_solves(&run);
    check_says(&run, "lens_shifts", "an app turned");
    /* 21 and 19 px from one half to the other. */
    CHECK_NEAR(run.calibration.lens.scatter.sd[TR_SCATTER_SHIFT], 13, 5);
    tr_lens_run_release(&run);
}

/* One photo that an app cropped. */
static void cropped_photo(void **unused) {
    (void)unused;
    tr_lens_run run = good_set("cropped");
    tr_board_view *view = &run.photos[3].view;
    for (int k = 0; k < view->n; k++) view->uv_px[k].x -= 200;
    check_solves(&run);
    for (int i = 0; i < 12; i++) assert_int_equal(run.photos[i].is_used, i != 3);
    assert_non_null(strstr(reason_text(&run.photos[3].why_not), "cropped"));
    tr_lens_run_release(&run);
}

/* Photos of two boards, one of which is so much longer. */
static tr_lens_run two_boards(double differential_scale, bool is_steady) {
    tr_lens_run run = good_set("mixed boards");
    world w = good_world();
    tr_draw d = draw_seeded("another board");
    w.differential_scale = differential_scale;
    for (int i = 0; i < 12; i += 2) {
        tr_board_view_release(&run.photos[i].view);
        simulate(&w, &BOARD, pose_of(GOOD_SET[i]), &d, &run.photos[i]);
    }
    run.is_steady = is_steady;
    return run;
}

/* What cameras and hands do not explain is told, and what is off by pixels is refused. */
static void mixed_boards(void **unused) {
    (void)unused;
    static const char *const words[] = {"contradict each other by", "different boards"};
    tr_lens_run run = two_boards(0.01, true);
    check_solves(&run);
    check_says(&run, "fits_poorly", "not as steady");
    tr_lens_run_release(&run);
    /* What the photos' cameras take of it would be too much for any camera. */
    run = two_boards(0.06, false);
    check_solves(&run);
    check_says(&run, "fits_poorly", "different checkerboards");
    tr_lens_run_release(&run);
    run = two_boards(0.02, false);
    check_solves(&run);
    assert_null(advice_text(&run, "fits_poorly"));
    tr_lens_run_release(&run);
    /* Boards with waves that move. */
    run = good_set("waves");
    for (int i = 0; i < 12; i++) {
        const tr_board_view *view = &run.photos[i].view;
        for (int k = 0; k < view->n; k++) {
            view->uv_px[k].x += 5 * sin(view->p_board_mm[k].x / 40 + 2.4 * i);
        }
    }
    check_refused(&run, words, 2);
    tr_lens_run_release(&run);
    /* Noise beyond what the image tells, of each corner its own, is no contradiction. */
    world w = good_world();
    w.noise_px = 1.5;
    run = simulate_set(&w, &BOARD, GOOD_SET, 12, "grainy");
    check_solves(&run);
    assert_null(advice_text(&run, "fits_poorly"));
    tr_lens_run_release(&run);
}

/* Pixels are square. */
static void stretched_photos(void **unused) {
    (void)unused;
    static const char *const words[] = {"fx and fy come out 2.", "as the camera stored"};
    tr_lens_run run = good_set("stretched photos");
    for (int i = 0; i < 12; i++) {
        tr_board_view *view = &run.photos[i].view;
        for (int k = 0; k < view->n; k++) view->uv_px[k].y = view->uv_px[k].y / 1.029 + 40;
    }
    check_refused(&run, words, 2);
    tr_lens_run_release(&run);
    run = good_set("stretched photos");
    for (int i = 0; i < 12; i++) {
        tr_board_view *view = &run.photos[i].view;
        for (int k = 0; k < view->n; k++) view->uv_px[k].y = view->uv_px[k].y / 1.005 + 7;
    }
    check_solves(&run);
    check_says(&run, "focal_unequal", "fx and fy differ by 0.");
    tr_lens_run_release(&run);
}

/* ---- a phone ---- */

static tr_lens_run phone_set(tr_sim_phone phone, const char *seed) {
    world w = good_world();
    w.phone = phone;
    return simulate_set(&w, &BOARD, GOOD_SET, 12, seed);
}

/* Which effect the photos show. */
static void effects_are_told(void **unused) {
    (void)unused;
    const char *const shifts[] = {"lens_shifts"};
    const char *const moves[] = {"hand_moves"};
    tr_lens_run run = phone_set((tr_sim_phone){.principal_point_px = 20}, "shifts");
    check_solves(&run);
    check_advice(&run, shifts, 1);
    CHECK_NEAR(run.calibration.lens.scatter.sd[TR_SCATTER_SHIFT], 20, 7);
    tr_lens_run_release(&run);
    run = phone_set((tr_sim_phone){.principal_point_px = 3}, "shifts a little");
    check_solves(&run);
    check_advice(&run, NULL, 0);
    CHECK_NEAR(run.calibration.lens.scatter.sd[TR_SCATTER_SHIFT], 3, 0.9);
    tr_lens_run_release(&run);
    run = phone_set((tr_sim_phone){.principal_point_px = 6}, "shifts");
    check_solves(&run);
    check_advice(&run, shifts, 1);
    tr_lens_run_release(&run);
    run = phone_set((tr_sim_phone){.turn_rad = 3e-3}, "moves");
    check_solves(&run);
    check_advice(&run, moves, 1);
    check_says(&run, "hand_moves", "hold still, rest your elbows");
    CHECK_NEAR(run.calibration.lens.scatter.sd[TR_SCATTER_TURN], 3e-3, 1e-3);
    tr_lens_run_release(&run);
    run = phone_set((tr_sim_phone){.turn_rad = 1e-3}, "moves a little");
    check_solves(&run);
    check_advice(&run, NULL, 0);
    tr_lens_run_release(&run);
    run = phone_set((tr_sim_phone){.focal = 0.008}, "breathes");
    check_solves(&run);
    check_says(&run, "focal_changes", "lock the focus");
    CHECK_NEAR(run.calibration.lens.scatter.sd[TR_SCATTER_FOCAL], 0.008, 0.003);
    tr_lens_run_release(&run);
    /* Told to be steady, it is not. */
    run = phone_set((tr_sim_phone){.principal_point_px = 20}, "shifts");
    run.is_steady = true;
    check_solves(&run);
    check_says(&run, "fits_poorly", "not as steady as --steady says");
    tr_lens_run_release(&run);
}

static double focal_sd(const tr_lens_run *run) {
    return sqrt(run->calibration.lens.covariance[TR_FX * (TR_LENS_N + 1)]);
}

/* More photos know more. */
static void more_photos_are_no_worse(void **unused) {
    (void)unused;
    for (int trial = 0; trial < 3; trial++) {
        char seed[32];
        double half = INFINITY;
        snprintf(seed, sizeof seed, "halves %d", trial);
        for (int part = 0; part < 3; part++) {
            tr_lens_run run = phone_set(tr_sim_phone_full(1), seed);
            for (int i = 0; i < 12 && part < 2; i++) run.photos[i].is_used = i % 2 == part;
            check_solves(&run);
            if (part < 2) half = fmin(half, focal_sd(&run));
            if (part == 2) CHECK_AT_MOST(focal_sd(&run), half);
            tr_lens_run_release(&run);
        }
    }
}

static void corner_off(void **unused) {
    (void)unused;
    const char *const codes[] = {"corners_off"};
    tr_lens_run run = good_set("corner");
    run.photos[2].view.uv_px[17].x += 2;
    check_solves(&run);
    check_advice(&run, codes, 1);
    check_says(&run, "corners_off", "'3.jpg': 1 of the corners");
    assert_int_equal(run.photos[2].n_off, 1);
    /* It hardly moves the lens. */
    for (int k = 0; k < TR_LENS_N; k++) {
        double sd = sqrt(run.calibration.lens.covariance[k * (TR_LENS_N + 1)]);
        CHECK_NEAR(run.calibration.lens.param[k], true_lens().param[k], 4 * sd);
    }
    tr_lens_run_release(&run);
}

static void blurred_and_hidden(void **unused) {
    (void)unused;
    const char *const codes[] = {"photo_blurred", "board_partly_hidden"};
    tr_lens_run run = good_set("blurred");
    run.photos[1].view.blur_px = 2.1;
    tr_board_view *hidden = &run.photos[6].view;
    hidden->n_missing = 10;
    hidden->n_refused[TR_CHECKER_NO_SADDLE] = 9;
    hidden->n_refused[TR_CHECKER_BLURRED] = 1;
    hidden->n -= 10;
    check_solves(&run);
    check_advice(&run, codes, 2);
    check_says(&run, "photo_blurred", "'2.jpg'");
    check_says(
        &run, "board_partly_hidden",
        "'7.jpg': 10 of the checkerboard's 54 corners could not be measured: 1 is blurred, 9 are "
        "covered or in glare; let nothing cover the checkerboard, and avoid glare");
    tr_lens_run_release(&run);
}

static void alike(void **unused) {
    (void)unused;
    const char *const codes[] = {"photos_alike"};
    view_from from[12];
    world w = good_world();
    memcpy(from, GOOD_SET, sizeof from);
    from[5] = from[1];
    from[5].roll_deg += 180; /* the board is found from its other end */
    from[5].x_mm += 0.3;
    tr_lens_run run = simulate_set(&w, &BOARD, from, 12, "alike");
    check_solves(&run);
    check_advice(&run, codes, 1);
    check_says(&run, "photos_alike", "'6.jpg' shows nearly the same view as '2.jpg'");
    tr_lens_run_release(&run);
}

static void few(void **unused) {
    (void)unused;
    world w = good_world();
    tr_lens_run run = simulate_set(&w, &BOARD, GOOD_SET, 7, "few");
    check_solves(&run);
    check_says(&run, "few_photos", "only 7 photos");
    tr_lens_run_release(&run);
}

/* Only the right half of the image, and no tilt that brings the bottom edge nearer. Seen from the
   camera (x right, y down, z forward) a tilt about +x takes the top, which is at -y, away from it.
 */
static void one_sided(void **unused) {
    (void)unused;
    view_from from[12];
    world w = good_world();
    for (int i = 0; i < 12; i++) {
        from[i] = GOOD_SET[i];
        from[i].roll_deg = 0;
        from[i].tilt_x_deg = -fabs(from[i].tilt_x_deg);
        from[i].x_mm = 150;
        from[i].y_mm *= 1.2;
        from[i].z_mm = 560;
    }
    tr_lens_run run = simulate_set(&w, &BOARD, from, 12, "one side");
    check_solves(&run);
    check_says(&run, "part_not_covered", "the top left, the left and the bottom left;");
    check_says(&run, "tilt_missing", "its top edge");
    tr_lens_run_release(&run);
}

static void hardly_tilted(void **unused) {
    (void)unused;
    view_from from[12];
    world w = good_world();
    for (int i = 0; i < 12; i++) {
        from[i] = GOOD_SET[i];
        from[i].tilt_x_deg *= 0.4;
        from[i].tilt_y_deg *= 0.4;
    }
    tr_lens_run run = simulate_set(&w, &BOARD, from, 12, "hardly tilted");
    check_solves(&run);
    check_says(&run, "few_tilted", "in only 0 of 12 photos");
    tr_lens_run_release(&run);
}

static void poor_focal(void **unused) {
    (void)unused;
    world w = good_world();
    w.noise_px = 1.5;
    tr_lens_run run = simulate_set(&w, &BOARD, GOOD_SET + 6, 6, "poor");
    check_solves(&run);
    check_says(&run, "focal_uncertain", "one standard deviation");
    tr_lens_run_release(&run);
}

static void bad_boards(void **unused) {
    (void)unused;
    const tr_board square = {8, 8, 30};
    world w = good_world();
    w.bow_mm = 1.5;
    tr_lens_run run = simulate_set(&w, &BOARD, GOOD_SET, 12, "bowed");
    check_solves(&run);
    check_says(&run, "board_bowed", "bowed by 1.5 mm along");
    CHECK_NEAR(run.calibration.bow_mm[0], 1.5, 4 * run.calibration.bow_sd_mm[0]);
    tr_lens_run_release(&run);

    w = good_world();
    w.differential_scale = 0.005;
    run = simulate_set(&w, &BOARD, GOOD_SET, 12, "stretched");
    check_solves(&run);
    check_says(&run, "board_stretched", "longer along its 10 squares");
    CHECK_NEAR(run.calibration.differential_scale, 0.005,
               4 * run.calibration.differential_scale_sd);
    CHECK_NEAR(run.calibration.lens.param[TR_FX], 3000, 4 * focal_sd(&run));
    assert_null(advice_text(&run, "focal_unequal"));
    tr_lens_run_release(&run);
    /* Without a quarter turn nothing tells that from the lens. */
    run = simulate_set(
        &w, &BOARD, (view_from[5]){GOOD_SET[0], GOOD_SET[1], GOOD_SET[2], GOOD_SET[3], GOOD_SET[7]},
        5, "stretched");
    check_solves(&run);
    check_says(&run, "quarter_turn", "by a quarter");
    assert_null(advice_text(&run, "board_stretched"));
    tr_lens_run_release(&run);

    w = good_world();
    w.corner_deviation_mm = 0.03;
    run = simulate_set(&w, &BOARD, GOOD_SET, 12, "uneven");
    check_solves(&run);
    check_says(&run, "board_uneven", "by about 0.03");
    tr_lens_run_release(&run);

    w = good_world();
    run = simulate_set(&w, &square, GOOD_SET, 12, "square");
    check_solves(&run);
    check_says(&run, "board_square", "unequal");
    CHECK_NEAR(run.calibration.bow_mm[0], 0, 0);
    tr_lens_run_release(&run);
}

/* ---- files ---- */

static void count_progress(void *context, int done, int of) {
    int *calls = context;
    assert_int_equal(of, 4);
    assert_int_equal(done, ++*calls);
}

static void unusable_files(void **unused) {
    (void)unused;
    char folder[TEMP_SIZE], paths[4][TEMP_SIZE];
    char *files[4];
    const char *const words[] = {"only 0 of 4 photos"};
    tr_image image;
    tr_lens_run run;
    int calls = 0;
    temp_make(folder);
    files[0] = (char *)temp_path(paths[0], folder, "missing.jpg");
    files[1] = (char *)temp_path(paths[1], folder, "text.jpg");
    files[2] = (char *)temp_path(paths[2], folder, "empty.png");
    files[3] = (char *)temp_path(paths[3], folder, "plain.png");
    temp_write(files[1], "no photo", 8);
    temp_write(files[2], "", 0);
    assert_true(tr_image_init(&image, 320, 240, NULL));
    assert_true(tr_image_write_png(&image, files[3], NULL));
    tr_image_release(&image);
    assert_true(tr_lens_photos(
        &BOARD, files, 4,
        &(tr_workers){.n_threads = 2, .progress = count_progress, .context = &calls}, &run, NULL));
    assert_int_equal(calls, 4);
    for (int i = 0; i < 4; i++) {
        assert_false(run.photos[i].is_used);
        assert_string_equal(run.photos[i].file, files[i]);
        assert_true(strlen(reason_text(&run.photos[i].why_not)) > 10);
    }
    assert_non_null(
        strstr(reason_text(&run.photos[3].why_not), "no checkerboard with 10 x 7 squares"));
    assert_int_equal(strlen(run.photos[3].sha256), 64);
    check_refused(&run, words, 1);
    tr_lens_run_release(&run);
    temp_remove(folder);
}

/* ---- the command ---- */

/* Runs the program in a shell; its standard output goes to out. Skips where it is not built. */
static int run_program(const char *arguments, char *out, size_t size) {
    const char *program = getenv("TRAMMEL_PROGRAM");
    char command[4096];
    size_t n = 0;
    need(program && access(program, X_OK) == 0, "the program");
    snprintf(command, sizeof command, "'%s' lens %s 2>/dev/null", program, arguments);
    FILE *from = popen(command, "r");
    assert_non_null(from);
    n = fread(out, 1, size - 1, from);
    out[n] = 0;
    int status = pclose(from);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static void command_usage(void **unused) {
    (void)unused;
    static const char *const wrong[] = {
        "",
        "a.jpg --pitch 30 --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --pitch 30",
        "--squares 10x7 --pitch 30 --out /tmp/x.yaml",
        "a.jpg --squares 10 --pitch 30 --out /tmp/x.yaml",
        "a.jpg --squares 10x --pitch 30 --out /tmp/x.yaml",
        "a.jpg --squares 10x7x3 --pitch 30 --out /tmp/x.yaml",
        "a.jpg --squares 2x7 --pitch 30 --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --pitch 0 --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --pitch -3 --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --pitch nan --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --pitch 30mm --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --pitch 30 --out /tmp/",
        "a.jpg --squares 10x7 --pitch 30 --out",
        "a.jpg --squares 10x7 --pitch 30 --out /tmp/.yaml",
        "a.jpg --squares 10x7 --squares 10x7 --pitch 30 --out /tmp/x.yaml",
        "a.jpg --squares=10x7 --pitch= --out /tmp/x.yaml",
        "a.jpg --squares 10x7 --pitch 30 --out /tmp/x.yaml --threads 0",
        "a.jpg --squares 10x7 --pitch 30 --out /tmp/x.yaml --fast",
    };
    char out[16384];
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        int status = run_program(wrong[i], out, sizeof out);
        if (status != 64) print_error("'%s' ended with %d\n", wrong[i], status);
        assert_int_equal(status, 64);
        assert_string_equal(out, "");
    }
    assert_int_equal(run_program("--help", out, sizeof out), 0);
    assert_non_null(strstr(out, "--squares"));
}

/* A photo named as the output must survive. */
static void command_keeps_photos(void **unused) {
    (void)unused;
    char folder[TEMP_SIZE], path[TEMP_SIZE], arguments[3 * TEMP_SIZE], out[4096];
    temp_make(folder);
    temp_path(path, folder, "1.jpg");
    temp_write(path, "photo", 5);
    snprintf(arguments, sizeof arguments, "a.jpg --squares 10x7 --pitch 30 --out '%s'", path);
    assert_int_equal(run_program(arguments, out, sizeof out), 64);
    assert_int_equal(access(path, R_OK), 0);
    temp_path(path, folder, "photo.yaml");
    temp_write(path, "photo", 5);
    snprintf(arguments, sizeof arguments, "'%s' --squares 10x7 --pitch 30 --out '%s'", path, path);
    assert_int_equal(run_program(arguments, out, sizeof out), 64);
    assert_int_equal(access(path, R_OK), 0);
    temp_remove(folder);
}

/* So must a job, a sheet, whatever is no profile; only an older profile is replaced. */
static void command_replaces_profiles_only(void **unused) {
    (void)unused;
    static const char *const kept[] = {"job.yaml", "mat-7.yaml"};
    char folder[TEMP_SIZE], path[TEMP_SIZE], arguments[3 * TEMP_SIZE];
    static char out[65536];
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    temp_make(folder);
    for (int i = 0; i < 2; i++) {
        snprintf(arguments, sizeof arguments, "cp '%s/tests/good/%s' '%s'", source, kept[i],
                 folder);
        assert_int_equal(system(arguments), 0);
        temp_path(path, folder, kept[i]);
        snprintf(arguments, sizeof arguments, "a.jpg --squares 10x7 --pitch 30 --out '%s' 2>&1",
                 path);
        assert_int_equal(run_program(arguments, out, sizeof out), 64);
        snprintf(arguments, sizeof arguments, "cmp '%s/tests/good/%s' '%s'", source, kept[i], path);
        assert_int_equal(system(arguments), 0);
    }
    need(access(STEREO_FOLDER "/left01.jpg", R_OK) == 0, STEREO_FOLDER);
    temp_path(path, folder, "bay-2.yaml");
    temp_write(path, "", 0);
    for (int is_older = 0; is_older < 2; is_older++) {
        snprintf(arguments, sizeof arguments,
                 "--steady --squares 10x7 " STEREO_FOLDER "/left0[1-9].jpg --pitch=30 --out '%s'",
                 path);
        assert_int_equal(run_program(arguments, out, sizeof out), 0);
        assert_int_equal(strstr(out, "the older profile there was replaced") != NULL, is_older);
    }
    temp_remove(folder);
}

static void command_refuses(void **unused) {
    (void)unused;
    char folder[TEMP_SIZE], path[TEMP_SIZE], arguments[3 * TEMP_SIZE], out[16384];
    temp_make(folder);
    temp_path(path, folder, "lens.yaml");
    snprintf(arguments, sizeof arguments, "missing.jpg --squares 10x7 --pitch 30 --json --out '%s'",
             path);
    assert_int_equal(run_program(arguments, out, sizeof out), 3);
    json_t *json = json_loads(out, 0, NULL);
    assert_non_null(json);
    assert_non_null(json_string_value(json_object_get(json_object_get(json, "error"), "text")));
    assert_int_equal(json_array_size(json_object_get(json, "photos")), 1);
    json_decref(json);
    assert_int_equal(temp_count(folder), 0);
    temp_remove(folder);
}

static void command_writes(void **unused) {
    (void)unused;
    char folder[TEMP_SIZE], path[TEMP_SIZE], arguments[3 * TEMP_SIZE];
    static char out[65536];
    static const char *const keys[] = {"fx_px", "fy_px", "cx_px", "cy_px"};
    need(access(STEREO_FOLDER "/left01.jpg", R_OK) == 0, STEREO_FOLDER);
    temp_make(folder);
    temp_path(path, folder, "bay-2.yaml");
    snprintf(arguments, sizeof arguments,
             "--steady --squares 10x7 " STEREO_FOLDER
             "/left0[1-9].jpg --json --pitch=30 --out '%s'",
             path);
    assert_int_equal(run_program(arguments, out, sizeof out), 0);
    json_t *json = json_loads(out, 0, NULL);
    tr_lens lens;
    assert_non_null(json);
    assert_true(tr_lens_profile_read(path, &lens, NULL));
    assert_string_equal(lens.id, "bay-2");
    assert_true(lens.has_covariance);
    assert_string_equal(json_string_value(json_object_get(json, "lens")), "bay-2");
    for (int k = 0; k < 4; k++) {
        assert_true(json_number_value(json_object_get(json, keys[k])) == lens.param[k]);
    }
    for (size_t k = 0; k < 5; k++) {
        const json_t *value = json_array_get(json_object_get(json, "distortion"), k);
        assert_true(json_number_value(value) == lens.param[TR_K1 + k]);
    }
    for (size_t k = 0; k < TR_LENS_N; k++) {
        const json_t *value = json_array_get(json_object_get(json, "sd"), k);
        CHECK_NEAR(json_number_value(value), sqrt(lens.covariance[k * (TR_LENS_N + 1)]), 1e-12);
    }
    assert_int_equal(json_array_size(json_object_get(json, "photos")), 9);
    const json_t *photo = json_array_get(json_object_get(json, "photos"), 0);
    assert_true(json_is_true(json_object_get(photo, "used")));
    assert_int_equal(json_integer_value(json_object_get(photo, "corners")), 54);
    CHECK_AT_MOST(json_number_value(json_object_get(photo, "rms_px")), 0.3);
    assert_true(lens.scatter.is_steady);
    assert_true(json_is_true(json_object_get(json_object_get(json, "scatter"), "steady")));
    json_decref(json);
    assert_int_equal(temp_count(folder), 1);
    temp_remove(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good),
        cmocka_unit_test(three_photos),
        cmocka_unit_test(no_photos),
        cmocka_unit_test(mixed_sizes),
        cmocka_unit_test(pictures_without_a_board_settle_nothing),
        cmocka_unit_test(long_names_are_cut_between_characters),
        cmocka_unit_test(parallel),
        cmocka_unit_test(middle_only),
        cmocka_unit_test(zoomed_photo),
        cmocka_unit_test(noisy_photo),
        cmocka_unit_test(turned_photos),
        cmocka_unit_test(cropped_photo),
        cmocka_unit_test(stretched_photos),
        cmocka_unit_test(effects_are_told),
        cmocka_unit_test(more_photos_are_no_worse),
        cmocka_unit_test(mixed_boards),
        cmocka_unit_test(corner_off),
        cmocka_unit_test(blurred_and_hidden),
        cmocka_unit_test(alike),
        cmocka_unit_test(few),
        cmocka_unit_test(one_sided),
        cmocka_unit_test(hardly_tilted),
        cmocka_unit_test(poor_focal),
        cmocka_unit_test(bad_boards),
        cmocka_unit_test(unusable_files),
        cmocka_unit_test(command_usage),
        cmocka_unit_test(command_keeps_photos),
        cmocka_unit_test(command_replaces_profiles_only),
        cmocka_unit_test(command_refuses),
        cmocka_unit_test(command_writes),
    };
    return cmocka_run_group_tests_name("lens_run", tests, NULL, NULL);
}
