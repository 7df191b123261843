/* A lens against its profile, from a few photos of a board: simulated phones whose truth is known,
   and boards as phones of others saw them. The number of simulated checks, for a figure worth
   telling, is TRAMMEL_RECHECK_TRIALS. */
#include "check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "calib/recheck.h"
#include "draw.h"
#include "findings.h"
#include "tools/simulate/phone.h"

enum { N_CALIBRATION = 12, N_AGAIN = 3, MAX_PHOTOS = 32, USUAL_TRIALS = 6 };

static const tr_board BOARD = {10, 7, 30};

static int trials(void) {
    const char *text = getenv("TRAMMEL_RECHECK_TRIALS");
    int n = text ? atoi(text) : 0;
    return n > 0 ? n : USUAL_TRIALS;
}

static tr_lens true_lens(void) {
    return (tr_lens){.width_px = 4000,
                     .height_px = 3000,
                     .param = {3000, 3002, 2010, 1490, 0.08, -0.2, 0.0004, -0.0003, 0.13}};
}

/* Of the camera over the board. */
typedef struct {
    double roll_deg, tilt_x_deg, tilt_y_deg, x_mm, y_mm, z_mm;
} view_from;

static const view_from CALIBRATION[N_CALIBRATION] = {
    {0, 0, 0, 0, 0, 360},         {0, 35, 0, 0, -20, 400},      {5, -35, 0, 0, 20, 400},
    {0, 0, 35, -20, 0, 400},      {-4, 0, -35, 20, 0, 400},     {90, 20, 20, 0, 0, 420},
    {90, -25, 10, 0, 0, 440},     {0, 25, 25, -190, -150, 540}, {2, 25, -25, 190, -150, 540},
    {0, -25, 25, -190, 150, 540}, {0, -30, -20, 190, 150, 540}, {180, 10, -30, 0, 0, 420},
};
static const view_from AGAIN[N_AGAIN] = {
    {0, 38, 5, 0, 0, 320}, {3, -20, 35, 10, 0, 320}, {-2, -15, -38, -10, 0, 320}};

static tr_pose pose_of(const view_from *v, tr_draw *d) {
    const tr_mat3 facing = {{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    double tilt_x = v->tilt_x_deg + 5 * draw_normal(d);
    double tilt_y = v->tilt_y_deg + 5 * draw_normal(d);
    tr_mat3 tilt = tr_m3_mul(tr_rotation_from_vector(tr_v3(tilt_x * TR_RAD_PER_DEG, 0, 0)),
                             tr_rotation_from_vector(tr_v3(0, tilt_y * TR_RAD_PER_DEG, 0)));
    tr_mat3 turned = tr_m3_mul(facing, tr_rotation_z(v->roll_deg * TR_RAD_PER_DEG));
    return (tr_pose){tr_m3_mul(tilt, turned), tr_v3(v->x_mm, v->y_mm, v->z_mm)};
}

typedef struct {
    tr_lens lens;
    tr_sim_phone phone;
    double print_scale; /* of the board as it lies there, to what is said of it */
    double corner_mm;   /* a corner's own fault in all photos */
} world;

/* A phone in a steady hand. */
static world usual_world(void) {
    return (world){true_lens(), tr_sim_phone_full(1), 1, 0.03};
}

static void see(const world *w, tr_pose camera_from_board, tr_draw *d, const char *print,
                tr_lens_photo *photo) {
    tr_random random = tr_random_seed((uint64_t)(1e9 * draw_between(d, 0, 1)) + 1);
    tr_sim_exposure exposure = tr_sim_expose(&w->phone, &w->lens, &random);
    tr_lens lens = tr_sim_lens_of(&w->lens, &exposure);
    tr_draw faults = draw_seeded(print);
    assert_true(tr_board_view_init(&photo->view, &BOARD, NULL));
    for (int k = 0; k < tr_board_corners(&BOARD); k++) {
        tr_vec2 p = tr_board_corner_mm(&BOARD, k);
        p = tr_v2(w->print_scale * p.x, w->print_scale * p.y);
        tr_vec3 lies = tr_v3(p.x + w->corner_mm * draw_normal(&faults),
                             p.y + w->corner_mm * draw_normal(&faults), 0);
        tr_vec2 uv;
        bool is_seen = tr_sim_expose_point(&lens, &exposure, camera_from_board, lies, &uv) &&
                       uv.x > 8 && uv.y > 8 && uv.x < w->lens.width_px - 9 &&
                       uv.y < w->lens.height_px - 9;
        uv = tr_v2_add(uv, tr_v2(0.07 * draw_normal(d), 0.07 * draw_normal(d)));
        if (is_seen) {
            tr_board_view_add(&photo->view, &BOARD, k, uv, 0.05);
        } else {
            photo->view.n_missing++;
        }
    }
    photo->view.blur_px = 0.9;
    photo->width_px = w->lens.width_px;
    photo->height_px = w->lens.height_px;
    photo->is_used = photo->view.n > 20;
}

/* The caller releases. */
static tr_lens_run see_all(const world *w, const view_from *from, int n, tr_draw *d,
                           const char *print) {
    tr_lens_run run = {.board = BOARD, .n_photos = n};
    run.photos = calloc((size_t)n, sizeof *run.photos);
    assert_non_null(run.photos);
    for (int i = 0; i < n; i++) {
        char name[32];
        snprintf(name, sizeof name, "%d.jpg", i + 1);
        run.photos[i].file = strdup(name);
        assert_non_null(run.photos[i].file);
        see(w, pose_of(&from[i], d), d, print, &run.photos[i]);
    }
    return run;
}

static tr_lens calibrate(const world *w, tr_draw *d) {
    tr_error err = {0};
    tr_lens_run run = see_all(w, CALIBRATION, N_CALIBRATION, d, "first print");
    if (!tr_lens_solve(&run, &err)) fail_msg("%s", err.text);
    tr_lens lens = run.calibration.lens;
    snprintf(lens.id, sizeof lens.id, "phone");
    tr_lens_run_release(&run);
    return lens;
}

/* The caller releases. */
static tr_recheck recheck(tr_lens_run *run, const tr_lens *stored) {
    tr_error err = {0};
    tr_recheck out;
    if (!tr_recheck_solve(run, stored, &out, &err)) fail_msg("%s", err.text);
    return out;
}

typedef struct {
    int n, n_agree, n_differ, n_focal, n_rest;
    double mean_sd, z2, rest; /* mean of the standardised squares */
} tally;

/* Phones whose focal length has changed by that part since. */
static tally simulate(double change, const char *print, double print_scale) {
    tally t = {.n = trials()};
    for (int i = 0; i < t.n; i++) {
        char seed[64];
        world w = usual_world();
        snprintf(seed, sizeof seed, "recheck %d", i);
        tr_draw d = draw_seeded(seed);
        tr_lens stored = calibrate(&w, &d);
        w.print_scale = print_scale;
        w.lens.param[TR_FX] *= 1 + change;
        w.lens.param[TR_FY] *= 1 + change;
        tr_lens_run run = see_all(&w, AGAIN, N_AGAIN, &d, print);
        tr_recheck r = recheck(&run, &stored);
        double z = (r.focal_change - change) / r.focal_sd;
        t.n_agree += r.verdict == TR_RECHECK_AGREES;
        t.n_differ += r.verdict == TR_RECHECK_DIFFERS;
        t.n_focal += r.focal_chance < 0.01;
        t.n_rest += r.rest_chance < 0.005;
        t.mean_sd += r.focal_sd / t.n;
        t.z2 += z * z / t.n;
        t.rest += r.rest_chi2 / r.rest_dof / t.n;
        tr_recheck_release(&r);
        tr_lens_run_release(&run);
    }
    print_message("focal length %+.1f %%, print %g: of %d, %d agree, %d differ (focal %d, rest "
                  "%d); sd %.3f %%, z^2 %.2f, chi2/dof %.2f\n",
                  100 * change, print_scale, t.n, t.n_agree, t.n_differ, t.n_focal, t.n_rest,
                  100 * t.mean_sd, t.z2, t.rest);
    return t;
}

/* Nominal: one check in a hundred. Of six the most that is likely is one. */
static void honest_phones_agree(void **state) {
    (void)state;
    tally t = simulate(0, "first print", 1);
    CHECK_AT_MOST(t.n_differ, 0.05 * t.n + 0.7);
    CHECK_AT_MOST(0.8 * t.n - 0.9, t.n_agree);
    CHECK_AT_MOST(t.z2, 2);
}

static void changed_focal_lengths_differ(void **state) {
    (void)state;
    static const double CHANGES[] = {0.005, 0.01, 0.02};
    static const double LEAST[] = {0, 0.4, 1};
    for (int i = 0; i < 3; i++) {
        tally t = simulate(CHANGES[i], "first print", 1);
        CHECK_AT_MOST(LEAST[i] * t.n - 0.9, t.n_differ);
    }
}

/* A re-printed board, 1 % smaller and with faults of its own. */
static void another_print_is_no_other_lens(void **state) {
    (void)state;
    tally t = simulate(0, "second print", 0.99);
    CHECK_AT_MOST(t.n_differ, 0.05 * t.n + 0.7);
}

static void what_is_not_enough_is_said(void **state) {
    (void)state;
    world w = usual_world();
    tr_draw d = draw_seeded("not enough");
    tr_lens stored = calibrate(&w, &d);
    /* Two photos. */
    tr_lens_run run = see_all(&w, AGAIN, 2, &d, "first print");
    tr_recheck r = recheck(&run, &stored);
    assert_int_equal(r.verdict, TR_RECHECK_NOT_ENOUGH);
    assert_non_null(finding_of(&r.reasons, "few_photos"));
    tr_recheck_release(&r);
    tr_lens_run_release(&run);
    /* Three, all straight on. */
    view_from from[3];
    for (int i = 0; i < 3; i++) from[i] = (view_from){.z_mm = 800 + 20 * i};
    run = see_all(&w, from, 3, &d, "first print");
    r = recheck(&run, &stored);
    print_message("straight on: sd %.2f %%\n", 100 * r.focal_sd);
    assert_int_equal(r.verdict, TR_RECHECK_NOT_ENOUGH);
    assert_non_null(finding_of(&r.reasons, "focal_uncertain"));
    tr_recheck_release(&r);
    tr_lens_run_release(&run);
}

/* A photo of another camera, and one of another size, take no part, and say why. */
static void photos_of_other_cameras_take_no_part(void **state) {
    (void)state;
    world w = usual_world();
    tr_draw d = draw_seeded("other cameras");
    tr_error err = {0};
    tr_lens stored = calibrate(&w, &d);
    snprintf(stored.camera.name, sizeof stored.camera.name, "Example Phone 3");
    tr_lens_run run = see_all(&w, AGAIN, 3, &d, "first print");
    snprintf(run.photos[0].camera.name, sizeof run.photos[0].camera.name, "Example Phone 9");
    run.photos[1].width_px = 3000;
    run.photos[1].height_px = 4000;
    tr_recheck r = recheck(&run, &stored);
    assert_int_equal(r.verdict, TR_RECHECK_NOT_ENOUGH);
    assert_non_null(strstr(reason_text(&run.photos[0].why_not), "Example Phone 9"));
    assert_non_null(strstr(reason_text(&run.photos[1].why_not), "turned"));
    tr_recheck_release(&r);
    run.photos[2].is_used = false;
    assert_false(tr_recheck_solve(&run, &stored, &r, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
    tr_recheck_release(&r);
    tr_lens_run_release(&run);
}

/* A profile without covariance is taken as exact, and one whose k3 was held has no k3 to compare.
 */
static void profiles_that_say_less_serve_too(void **state) {
    (void)state;
    world w = usual_world();
    tr_draw d = draw_seeded("exact");
    tr_lens stored = calibrate(&w, &d);
    tr_lens exact = stored;
    exact.has_covariance = false;
    memset(exact.covariance, 0, sizeof exact.covariance);
    memcpy(exact.param, w.lens.param, sizeof exact.param);
    tr_lens_run run = see_all(&w, AGAIN, 3, &d, "first print");
    tr_recheck r = recheck(&run, &exact);
    assert_non_null(finding_of(&r.reasons, "lens_without_covariance"));
    assert_true(r.verdict != TR_RECHECK_DIFFERS);
    tr_recheck_release(&r);
    tr_lens held = stored;
    for (int i = 0; i < TR_LENS_N; i++) {
        held.covariance[i * TR_LENS_N + TR_K3] = held.covariance[TR_K3 * TR_LENS_N + i] = 0;
    }
    r = recheck(&run, &held);
    assert_true(r.verdict != TR_RECHECK_DIFFERS);
    assert_true(run.calibration.lens.param[TR_K3] == held.param[TR_K3]);
    tr_recheck_release(&r);
    tr_lens_run_release(&run);
}

/* ---- phones of others: corners in ../shared/data/phone-corners ---- */

typedef struct {
    const char *name;
    int columns, rows;
    double pitch_mm;
} set_of_phone;
static const set_of_phone SETS[] = {
    {"phone-a", 9, 7, 20}, {"phone-d", 9, 6, 21.5}, {"phone-g", 8, 5, 25}};
enum { N_SETS = 3 };

/* Photos of a set; the caller releases. 0 photos: the data are not there. */
static tr_lens_run read_set(const set_of_phone *set) {
    const char *shared = getenv("TRAMMEL_SHARED");
    const char *source = getenv("TRAMMEL_SOURCE");
    char path[640], line[256];
    tr_lens_run run = {.board = {set->columns + 1, set->rows + 1, set->pitch_mm}};
    if (shared) {
        snprintf(path, sizeof path, "%s/data/phone-corners/%s.txt", shared, set->name);
    } else {
        snprintf(path, sizeof path, "%s/../shared/data/phone-corners/%s.txt", source ? source : ".",
                 set->name);
    }
    FILE *file = fopen(path, "r");
    if (!file) return run;
    run.photos = calloc(MAX_PHOTOS, sizeof *run.photos);
    assert_non_null(run.photos);
    tr_lens_photo *p = NULL;
    int k = 0;
    while (fgets(line, sizeof line, file)) {
        int number, width_px, height_px;
        tr_vec2 uv;
        if (sscanf(line, "photo %d %d %d", &number, &width_px, &height_px) == 3) {
            assert_true(run.n_photos < MAX_PHOTOS);
            p = &run.photos[run.n_photos++];
            p->file = strdup("x.jpg");
            p->width_px = width_px;
            p->height_px = height_px;
            p->is_used = true;
            assert_true(tr_board_view_init(&p->view, &run.board, NULL));
            k = 0;
        } else if (p && *line != '#' && sscanf(line, "%lf %lf", &uv.x, &uv.y) == 2) {
            tr_board_view_add(&p->view, &run.board, k++, uv, 1);
        }
    }
    fclose(file);
    return run;
}

/* A half of the set gives the profile, ... */
static tr_lens profile_of_half(const set_of_phone *set, int half) {
    tr_error err = {0};
    tr_lens_run run = read_set(set);
    for (int i = 0; i < run.n_photos; i++) run.photos[i].is_used = i % 2 == half;
    if (!tr_lens_solve(&run, &err)) fail_msg("%s: %s", set->name, err.text);
    tr_lens lens = run.calibration.lens;
    snprintf(lens.id, sizeof lens.id, "%s", set->name);
    tr_lens_run_release(&run);
    return lens;
}

/* ... and three photos of the other half, the first being the nth, the re-check. */
static tr_lens_run three_of_half(const set_of_phone *set, int half, int nth) {
    tr_lens_run run = read_set(set);
    int seen = 0;
    for (int i = 0; i < run.n_photos; i++) {
        bool is_of_half = i % 2 == half;
        run.photos[i].is_used = is_of_half && seen >= nth && seen < nth + N_AGAIN;
        seen += is_of_half;
    }
    return run;
}

static void phones_of_others_agree_with_themselves(void **state) {
    (void)state;
    int n = 0, n_differ = 0, n_agree = 0;
    for (int s = 0; s < N_SETS; s++) {
        tr_lens_run all = read_set(&SETS[s]);
        int n_photos = all.n_photos;
        tr_lens_run_release(&all);
        need(n_photos > 0, SETS[s].name);
        if (n_photos == 0) return;
        for (int half = 0; half < 2; half++) {
            tr_lens lens = profile_of_half(&SETS[s], half);
            for (int nth = 0; nth + N_AGAIN <= n_photos / 2; nth += N_AGAIN) {
                tr_lens_run run = three_of_half(&SETS[s], 1 - half, nth);
                tr_recheck r = recheck(&run, &lens);
                print_message("%s, half %d, photos %d: %s, focal %+.2f +- %.2f %%, chi2 %.1f of "
                              "%d (%.3f)\n",
                              SETS[s].name, half, nth, tr_recheck_word(r.verdict),
                              100 * r.focal_change, 100 * r.focal_sd, r.rest_chi2, r.rest_dof,
                              r.rest_chance);
                n++;
                n_differ += r.verdict == TR_RECHECK_DIFFERS;
                n_agree += r.verdict == TR_RECHECK_AGREES;
                tr_recheck_release(&r);
                tr_lens_run_release(&run);
            }
        }
    }
    print_message("of %d, %d agree and %d differ\n", n, n_agree, n_differ);
    CHECK_AT_MOST(n_differ, 1);
}

/* Of phones whose photos have one size, with the camera's name unknown. */
static void phones_of_others_differ_from_each_other(void **state) {
    (void)state;
    int n = 0;
    for (int s = 0; s < N_SETS; s++) {
        for (int other = 0; other < N_SETS; other++) {
            tr_lens_run run = three_of_half(&SETS[s], 0, 0);
            need(run.n_photos > 0, SETS[s].name);
            if (run.n_photos == 0) return;
            if (other == s) {
                tr_lens_run_release(&run);
                continue;
            }
            /* The other lens, as its photos would be at this size. */
            tr_lens lens = profile_of_half(&SETS[other], 1);
            double ratio = (double)run.photos[0].width_px / lens.width_px;
            bool is_same_shape =
                fabs(ratio * lens.height_px - run.photos[0].height_px) < 0.01 * lens.height_px;
            if (is_same_shape) {
                for (int i = 0; i < TR_LENS_N; i++) {
                    lens.param[i] *= i < TR_K1 ? ratio : 1;
                    for (int k = 0; k < TR_LENS_N; k++) {
                        lens.covariance[i * TR_LENS_N + k] *=
                            (i < TR_K1 ? ratio : 1) * (k < TR_K1 ? ratio : 1);
                    }
                }
                lens.width_px = run.photos[0].width_px;
                lens.height_px = run.photos[0].height_px;
                tr_recheck r = recheck(&run, &lens);
                print_message("%s with the profile of %s: %s, focal %+.2f +- %.2f %%, chi2 %.0f\n",
                              SETS[s].name, SETS[other].name, tr_recheck_word(r.verdict),
                              100 * r.focal_change, 100 * r.focal_sd, r.rest_chi2);
                assert_int_equal(r.verdict, TR_RECHECK_DIFFERS);
                tr_recheck_release(&r);
                n++;
            }
            tr_lens_run_release(&run);
        }
    }
    assert_true(n > 0);
}

/* Abramowitz and Stegun, Handbook of mathematical functions, 1964, table 26.8: percentage points of
   chi-squared. */
static void chances_are_those_of_the_tables(void **state) {
    (void)state;
    static const struct {
        int dof;
        double chance, chi2;
    } TABLE[] = {{1, 0.05, 3.84146},  {1, 0.005, 7.87944}, {2, 0.01, 9.21034},
                 {3, 0.1, 6.25139},   {4, 0.005, 14.8602}, {5, 0.5, 4.35146},
                 {7, 0.005, 20.2777}, {8, 0.01, 20.0902},  {8, 0.995, 1.344419}};
    for (size_t i = 0; i < sizeof TABLE / sizeof *TABLE; i++) {
        CHECK_NEAR(tr_chi2_chance(TABLE[i].chi2, TABLE[i].dof), TABLE[i].chance,
                   1e-5 * TABLE[i].chance + 2e-6);
    }
    CHECK_NEAR(tr_chi2_chance(0, 4), 1, 1e-15);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chances_are_those_of_the_tables),
        cmocka_unit_test(honest_phones_agree),
        cmocka_unit_test(changed_focal_lengths_differ),
        cmocka_unit_test(another_print_is_no_other_lens),
        cmocka_unit_test(what_is_not_enough_is_said),
        cmocka_unit_test(photos_of_other_cameras_take_no_part),
        cmocka_unit_test(profiles_that_say_less_serve_too),
        cmocka_unit_test(phones_of_others_agree_with_themselves),
        cmocka_unit_test(phones_of_others_differ_from_each_other),
    };
    return cmocka_run_group_tests_name("recheck", tests, NULL, NULL);
}
