/* One checker corner, measured on rendered photos and on made-up ones: right whatever tone curve
   and sharpening, as well as it says; and nothing else is taken for one. */
#include "shot.h"

#include "ink.h"
#include "marks/checker.h"

/* ---- many corners, their errors ---- */

typedef struct {
    int n, n_measured;
    tr_vec2 sum;
    double sum2, chi2, largest;
} tally;

/* columns x rows lone corners, each with squares of square_mm about it. */
static void add_corners(shot *s, int columns, int rows, double square_mm, tr_draw *d) {
    assert_true(columns * rows <= SHOT_CORNERS);
    double pitch = 2.4 * square_mm;
    for (int i = 0; i < columns * rows; i++) {
        s->corners_mm[i] =
            tr_v2((i % columns - (columns - 1) / 2.0) * pitch + draw_between(d, -2, 2),
                  (i / columns - (rows - 1) / 2.0) * pitch + draw_between(d, -2, 2));
    }
    s->sheet.sheet.n_corners = columns * rows;
    s->sheet.checker_mm = square_mm;
}

/* Image of one step of a square along the sheet's axes. */
static tr_vec2 step_px(const shot *s, tr_vec2 from_mm, double x_mm, double y_mm) {
    tr_pose camera_from_sheet =
        tr_pose_mul(tr_pose_inverse(s->camera.vehicle_from_camera), s->sheet.vehicle_from_sheet);
    tr_vec2 uv[2] = {{0, 0}, {0, 0}};
    for (int k = 0; k < 2; k++) {
        tr_vec3 p = tr_v3(from_mm.x + k * x_mm, from_mm.y + k * y_mm, 0);
        assert_true(tr_lens_project(&s->scene.lens, tr_pose_apply(camera_from_sheet, p), &uv[k],
                                    NULL, NULL));
    }
    return tr_v2_sub(uv[1], uv[0]);
}

static void add_error(const tr_checker *found, tr_vec2 truth, tally *t) {
    tr_vec2 e = tr_v2_sub(found->uv_px, truth);
    const double *C = found->covariance;
    double det = C[0] * C[3] - C[1] * C[2];
    assert_true(C[1] == C[2] && C[0] > 0 && det > 0);
    t->n_measured++;
    t->sum = tr_v2_add(t->sum, e);
    t->sum2 += tr_v2_dot(e, e);
    t->chi2 += (C[3] * e.x * e.x - 2 * C[1] * e.x * e.y + C[0] * e.y * e.y) / det / 2;
    t->largest = fmax(t->largest, tr_v2_norm(e));
}

/* All corners of a photo that lie well within it, from starts up to start_px off. */
static void add_all(const shot *s, double start_px, double reach_px, tr_draw *d, tally *t) {
    for (int i = 0; i < s->sheet.sheet.n_corners; i++) {
        tr_vec2 truth = s->seen[i].uv_px;
        tr_checker found;
        if (!shot_shows(s, truth, 14)) continue;
        t->n++;
        double angle = draw_between(d, -TR_PI, TR_PI);
        double off = start_px * sqrt(draw_even(d));
        tr_vec2 start = tr_v2(truth.x + off * cos(angle), truth.y + off * sin(angle));
        double square = s->sheet.checker_mm;
        if (!tr_checker_measure(&s->image, start, step_px(s, s->corners_mm[i], square, 0),
                                step_px(s, s->corners_mm[i], 0, square), reach_px, &found)) {
            continue;
        }
        add_error(&found, truth, t);
    }
}

static void print_tally(const char *name, const tally *t) {
    double n = t->n_measured;
    print_message("%-28s %3d of %3d corners, mean %+.4f %+.4f px, rms %.4f px, at most %.3f px, "
                  "chi2 %.2f\n",
                  name, t->n_measured, t->n, t->sum.x / n, t->sum.y / n, sqrt(t->sum2 / (2 * n)),
                  t->largest, t->chi2 / n);
}

/* Bias, scatter, and an honest covariance (the fit's own, without the floor that tr_marks_find
   adds): e' C^-1 e / 2 near 1, where the sum of squares of n of them scatters by 1 / sqrt(n). */
static void check_tally(const tally *t, double bias_px, double rms_px, double least_chi2) {
    double n = t->n_measured;
    CHECK_NEAR(t->sum.x / n, 0, bias_px);
    CHECK_NEAR(t->sum.y / n, 0, bias_px);
    CHECK_AT_MOST(sqrt(t->sum2 / (2 * n)), rms_px);
    CHECK_AT_MOST(t->chi2 / n, 1.5);
    CHECK_AT_MOST(least_chi2, t->chi2 / n);
}

/* ---- cameras ---- */

/* cornerSubPix: mean 0.001 px, sd 0.019 px in frontal views (published-values.md, chapter 12). */
static void whatever_the_camera_does(void **state) {
    (void)state;
    static const struct {
        const char *name;
        tr_tone tone;
        double sharpen, blur_u, blur_v, gradient, exposure;
        double rms_px;
    } cases[] = {
        {"linear", TR_TONE_LINEAR, 0, 0.7, 0.7, 0, 1, 0.02},
        {"sRGB", TR_TONE_SRGB, 0, 0.7, 0.7, 0, 1, 0.02},
        {"sRGB, crisp", TR_TONE_SRGB, 0, 0.5, 0.5, 0, 1, 0.02},
        {"sRGB, blurred", TR_TONE_SRGB, 0, 1.1, 1.1, 0, 1, 0.03},
        {"S-curve, sharpened", TR_TONE_S_CURVE, 0.6, 0.7, 0.7, 0, 1, 0.02},
        {"S-curve, sharpened twofold", TR_TONE_S_CURVE, 1.2, 0.7, 0.7, 0, 1, 0.02},
        {"overexposed", TR_TONE_SRGB, 0, 0.7, 0.7, 0, 1.6, 0.02},
        {"dark", TR_TONE_SRGB, 0, 0.7, 0.7, 0, 0.15, 0.04},
        {"motion along u", TR_TONE_SRGB, 0, 1.4, 0.6, 0, 1, 0.03},
        {"motion along v, S-curve", TR_TONE_S_CURVE, 0.6, 0.6, 1.4, 0, 1, 0.03},
        {"steep light", TR_TONE_SRGB, 0, 0.7, 0.7, 0.6, 0.55, 0.02},
    };
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        tr_draw d = draw_seeded(cases[c].name);
        tally t = {0};
        shot s;
        shot_begin(&s, 0.8, 25, 0.13);
        shot_crop(&s, 400, 300);
        add_corners(&s, 7, 5, 25, &d);
        tr_imaging *m = &s.camera.imaging;
        m->tone = cases[c].tone;
        m->sharpen = cases[c].sharpen;
        m->blur_px[0] = cases[c].blur_u;
        m->blur_px[1] = cases[c].blur_v;
        m->gradient[0] = cases[c].gradient;
        m->gradient[1] = -cases[c].gradient / 2;
        m->exposure = cases[c].exposure;
        shot_take(&s);
        add_all(&s, 2, 4, &d, &t);
        print_tally(cases[c].name, &t);
        assert_true(t.n >= 30);
        assert_int_equal(t.n_measured, t.n);
        /* What strong sharpening leaves of the model counts as noise. */
        check_tally(&t, 0.01, cases[c].rms_px, cases[c].sharpen < 1 ? 0.1 : 0.05);
        shot_end(&s);
    }
}

/* ---- views ---- */

/* Squares down to some 5 px of height, where cornerSubPix wanders by 0.3 to 2 px along the flat
   direction (published-values.md, chapter 12). */
static void whatever_the_view(void **state) {
    (void)state;
    static const struct {
        const char *name;
        double px_per_mm, tilt_deg, roll_rad;
        tr_tone tone;
        double bias_px, rms_px;
    } cases[] = {
        {"20 px", 0.8, 0, 0.1, TR_TONE_SRGB, 0.01, 0.02},
        {"20 px, turned", 0.8, 0, 0.7, TR_TONE_S_CURVE, 0.01, 0.02},
        {"20 px, 60 degrees", 0.8, 60, 0.1, TR_TONE_S_CURVE, 0.01, 0.025},
        {"20 px, 60 degrees, turned", 0.8, 60, 0.7, TR_TONE_SRGB, 0.01, 0.025},
        {"20 px, 74 degrees", 0.8, 74, 0, TR_TONE_SRGB, 0.012, 0.05},
        {"8 px", 0.32, 0, 0.1, TR_TONE_SRGB, 0.01, 0.025},
        {"8 px, 45 degrees", 0.32, 45, 0.1, TR_TONE_S_CURVE, 0.012, 0.04},
    };
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        tr_draw d = draw_seeded(cases[c].name);
        tally t = {0};
        shot s;
        shot_begin(&s, cases[c].px_per_mm, cases[c].tilt_deg, cases[c].roll_rad);
        shot_crop(&s, 400, 300);
        add_corners(&s, 7, 7, 25, &d);
        s.camera.imaging.tone = cases[c].tone;
        s.camera.imaging.sharpen = cases[c].tone == TR_TONE_S_CURVE ? 0.6 : 0;
        shot_take(&s);
        add_all(&s, 1, 2, &d, &t);
        shot_end(&s);
        print_tally(cases[c].name, &t);
        assert_true(t.n >= 30);
        assert_true(t.n_measured >= 0.9 * t.n);
        check_tally(&t, cases[c].bias_px, cases[c].rms_px, 0.1);
    }
}

/* From wherever the start lies, up to 4 px off, the same corner comes out; and not from further off
   than was allowed. */
static void from_any_start(void **state) {
    (void)state;
    tr_draw d = draw_seeded("from any start");
    shot s;
    shot_begin(&s, 1, 30, 0.2);
    add_corners(&s, 4, 3, 25, &d);
    shot_take(&s);
    for (int i = 0; i < 12; i++) {
        tr_vec2 truth = s.seen[i].uv_px;
        tr_vec2 x = step_px(&s, s.corners_mm[i], 25, 0);
        tr_vec2 y = step_px(&s, s.corners_mm[i], 0, 25);
        tr_checker first;
        tr_checker found;
        assert_true(tr_checker_measure(&s.image, truth, x, y, 4, &first));
        for (int k = 0; k < 24; k++) {
            double a = k * TR_PI / 12;
            double off = k % 3 == 0 ? 4 : draw_between(&d, 0, 4);
            tr_vec2 start = tr_v2(truth.x + off * cos(a), truth.y + off * sin(a));
            assert_true(tr_checker_measure(&s.image, start, x, y, 4.5, &found));
            CHECK_NEAR(tr_v2_norm(tr_v2_sub(found.uv_px, first.uv_px)), 0, 1e-3);
            /* Steps turned by up to 8 degrees, and shorter ones, do not move it either. */
            double turn = draw_between(&d, -0.14, 0.14);
            tr_vec2 tx = tr_v2(0.8 * (x.x - turn * x.y), 0.8 * (x.y + turn * x.x));
            tr_vec2 ty = tr_v2(0.8 * (y.x + turn * y.y), 0.8 * (y.y - turn * y.x));
            assert_true(tr_checker_measure(&s.image, start, tx, ty, 4.5, &found));
            CHECK_NEAR(tr_v2_norm(tr_v2_sub(found.uv_px, first.uv_px)), 0, 0.04);
            start = tr_v2(truth.x + 9 * cos(a), truth.y + 9 * sin(a));
            if (tr_checker_measure(&s.image, start, x, y, 2, &found)) {
                CHECK_AT_MOST(tr_v2_norm(tr_v2_sub(found.uv_px, start)), 3);
            }
        }
    }
    shot_end(&s);
}

/* ---- printers and phones ---- */

enum { INK_SQUARES = 6 };

/* All corners of a drawn checkerboard, as the board is seen from either hand. */
static void add_ink_corners(const ink_case *c, double square_px, int hand, tr_draw *d, tally *t,
                            int *n_steps) {
    ink_print p = {.n = INK_SQUARES, .cell_px = square_px, .turn_rad = draw_between(d, 0.1, 0.6)};
    int side = (int)((INK_SQUARES + 2) * square_px) + 40;
    for (int k = 0; k < 2; k++) p.middle_px[k] = side / 2.0 + draw_even(d);
    for (int k = 0; k < INK_SQUARES * INK_SQUARES; k++) {
        p.is_white[k / INK_SQUARES][k % INK_SQUARES] = (k / INK_SQUARES + k) % 2;
    }
    tr_image image = ink_photo(&p, c, side, d);
    for (int k = 0; k < (INK_SQUARES - 1) * (INK_SQUARES - 1); k++) {
        double a = (k % (INK_SQUARES - 1) + 1 - INK_SQUARES / 2.0) * square_px;
        double b = ((int)(k / (INK_SQUARES - 1)) + 1 - INK_SQUARES / 2.0) * square_px;
        tr_vec2 x = tr_v2(cos(p.turn_rad), sin(p.turn_rad));
        tr_vec2 y = tr_v2(x.y, -x.x);
        tr_vec2 truth =
            tr_v2(p.middle_px[0] + x.x * a + y.x * b, p.middle_px[1] + x.y * a + y.y * b);
        tr_vec2 start = tr_v2(truth.x + draw_between(d, -2, 2), truth.y + draw_between(d, -2, 2));
        tr_checker found;
        t->n++;
        if (!tr_checker_measure(&image, start, tr_v2_scale(square_px, x),
                                tr_v2_scale(hand * square_px, y), 3.5, &found)) {
            continue;
        }
        *n_steps += found.n_steps;
        add_error(&found, truth, t);
    }
    tr_image_release(&image);
}

/* Ink that grows by up to a tenth of a square, so that squares meet across a corner or not at all;
   rims; what phones do to noise and contrast; webcams with too few pixels. */
static void printed_and_developed(void **state) {
    (void)state;
    static const struct {
        ink_case ink;
        double square_px, rms_px, least_chi2, most_chi2;
    } cases[] = {
        {{"plain", 0, {0.7, 0.7}, 0, 1, 0, 0, 0, 2}, 24, 0.02, 0.2, 1.6},
        {{"ink", 1, {0.7, 0.7}, 0, 1, 0, 0, 0, 2}, 24, 0.025, 0.1, 1.6},
        {{"much ink", 2, {0.8, 0.8}, 0, 1, 0, 0, 0, 2}, 24, 0.03, 0.05, 1.6},
        {{"bright paper", -1.5, {0.8, 0.8}, 0, 1, 0, 0, 0, 2}, 24, 0.03, 0.05, 1.6},
        {{"rims", 1, {0.8, 0.8}, 1.2, 2, 0, 0, 90, 2}, 24, 0.03, 0.05, 1.6},
        {{"developed", 1, {0.8, 0.8}, 0.6, 1.2, 0.5, 0.5, 85, 2}, 24, 0.03, 0.05, 1.6},
        {{"developed, JPEG 80", 1.5, {0.9, 0.9}, 1.2, 2, 1, 0.8, 80, 2}, 24, 0.04, 0.05, 2},
        {{"webcam", 0.3, {0.35, 0.35}, 1, 1, 0.2, 0.5, 80, 2}, 9, 0.04, 0.05, 2},
        {{"motion", 1, {4, 0.9}, 1, 1.5, 0.3, 0.5, 85, 2}, 40, 0.15, 0.05, 2},
    };
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        tr_draw d = draw_seeded(cases[c].ink.name);
        int n_steps[2] = {0, 0};
        tally t = {0};
        for (int hand = 0; hand < 2; hand++) {
            add_ink_corners(&cases[c].ink, cases[c].square_px, 2 * hand - 1, &d, &t,
                            &n_steps[hand]);
        }
        print_tally(cases[c].ink.name, &t);
        print_message("    steps a corner: %.1f, %.1f\n", 2.0 * n_steps[0] / t.n,
                      2.0 * n_steps[1] / t.n);
        /* Sharp squares of 9 px, sharpened once more, leave few pixels that are not rims. */
        assert_true(t.n_measured >= (cases[c].square_px < 10 ? 0.75 : 0.98) * t.n);
        CHECK_AT_MOST(sqrt(t.sum2 / (2 * t.n_measured)), cases[c].rms_px);
        CHECK_AT_MOST(t.chi2 / t.n_measured, cases[c].most_chi2);
        CHECK_AT_MOST(cases[c].least_chi2, t.chi2 / t.n_measured);
        /* A start with black and white exchanged costs three steps and more. */
        if (c == 0) {
            CHECK_AT_MOST(2.0 * n_steps[0] / t.n, 6.0);
            CHECK_AT_MOST(2.0 * n_steps[1] / t.n, 6.0);
        }
    }
}

/* ---- symmetry ---- */

/* A photo that is the same when turned by half a turn about a pixel has its corner there, whatever
   grey values a curve makes of it: exactly, as far as grey values are whole. */
static void half_a_turn(void **state) {
    (void)state;
    tr_image image;
    assert_true(tr_image_init(&image, 41, 41, NULL));
    for (int curve = 0; curve < 3; curve++) {
        for (int turn = 0; turn < 4; turn++) {
            double a = 0.2 + 0.3 * turn;
            tr_checker found;
            for (int v = -20; v <= 20; v++) {
                for (int u = -20; u <= 20; u++) {
                    /* Edges at a and a + 70 degrees. */
                    double d1 = -sin(a) * u + cos(a) * v;
                    double d2 = -sin(a + 1.222) * u + cos(a + 1.222) * v;
                    double light = 0.5 + 0.4 * erf(d1 / 1.2) * erf(d2 / 1.2);
                    double grey = curve == 0   ? light
                                  : curve == 1 ? pow(light, 1 / 2.4)
                                               : light * light * light;
                    image.px[(v + 20) * 41 + u + 20] = (uint8_t)lrint(255 * grey);
                }
            }
            assert_true(tr_checker_measure(&image, tr_v2(21, 18.5), tr_v2(18 * cos(a), 18 * sin(a)),
                                           tr_v2(18 * cos(a + 1.222), 18 * sin(a + 1.222)), 4,
                                           &found));
            CHECK_NEAR(found.uv_px.x, 20, 1e-3);
            CHECK_NEAR(found.uv_px.y, 20, 1e-3);
            CHECK_NEAR(found.turn_rad, 0, 0.02); /* the tone curve bends blurred edges */
            /* The same from directions that are off. */
            assert_true(tr_checker_measure(
                &image, tr_v2(21, 18.5), tr_v2(18 * cos(a + 0.25), 18 * sin(a + 0.25)),
                tr_v2(18 * cos(a + 1.322), 18 * sin(a + 1.322)), 4, &found));
            CHECK_NEAR(found.uv_px.x, 20, 2e-3);
            CHECK_NEAR(found.turn_rad, 0.25, 0.02);
        }
    }
    tr_image_release(&image);
}

/* ---- what is no corner ---- */

enum { SIDE = 64 };

typedef double (*grey_function)(double u, double v);

static double step(double d) {
    return 0.5 + 0.5 * erf(d / 1.1);
}

static double nothing(double u, double v) {
    (void)u;
    (void)v;
    return 120;
}
static double edge(double u, double v) {
    return 40 + 160 * step(0.8 * u + 0.6 * v);
}
static double line(double u, double v) {
    double d = 0.8 * u + 0.6 * v;
    return 40 + 160 * (step(d + 3) - step(d - 3));
}
static double tee(double u, double v) {
    /* White above; below it black on the left, white on the right: as where a square meets a rim.
     */
    return 40 + 160 * (1 - step(v) * step(-u));
}
static double tee_three_greys(double u, double v) {
    return v < 0 ? 200 : 40 + 80 * step(u);
}
static double square_corner(double u, double v) {
    return 40 + 160 * step(u) * step(v);
}
static double blob(double u, double v) {
    return 40 + 160 * exp(-(u * u + v * v) / 18);
}
static double ring(double u, double v) {
    double r = hypot(u, v);
    return 40 + 160 * step(r - 4) * step(9 - r);
}
static double ramp(double u, double v) {
    return 128 + 2 * u + v;
}
static double cross(double u, double v) {
    /* Two lines that cross. */
    return 200 - 160 * fmax(step(1.5 - fabs(u)), step(1.5 - fabs(v)));
}
/* A black square under a sticker that leaves a fifth of its contrast. */
static double stuck_over(double u, double v) {
    double black = step(u) * step(v) + 0.2 * step(-u) * step(-v);
    return 200 - 160 * black;
}
static double grating(double u, double v) {
    return 128 + 90 * sin(0.9 * u + 0.3 * v);
}

static void nothing_else_is_a_corner(void **state) {
    (void)state;
    static const struct {
        const char *name;
        grey_function grey;
    } cases[] = {{"nothing", nothing},      {"an edge", edge},
                 {"a line", line},          {"a corner of a square", square_corner},
                 {"a T of two greys", tee}, {"a T of three greys", tee_three_greys},
                 {"a blob", blob},          {"a ring", ring},
                 {"a ramp", ramp},          {"lines that cross", cross},
                 {"a grating", grating},    {"a corner under a sticker", stuck_over}};
    tr_image image;
    assert_true(tr_image_init(&image, SIDE, SIDE, NULL));
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        tr_draw d = draw_seeded(cases[c].name);
        int n_taken = 0;
        for (int k = 0; k < 24; k++) {
            tr_vec2 centre = tr_v2(draw_between(&d, 28, 36), draw_between(&d, 28, 36));
            double turn = draw_between(&d, -0.15, 0.15);
            tr_checker found;
            for (int v = 0; v < SIDE; v++) {
                for (int u = 0; u < SIDE; u++) {
                    double x = cos(turn) * (u - centre.x) - sin(turn) * (v - centre.y);
                    double y = sin(turn) * (u - centre.x) + cos(turn) * (v - centre.y);
                    double grey = cases[c].grey(x, y) + 2 * draw_normal(&d);
                    image.px[v * SIDE + u] = (uint8_t)lrint(fmax(0, fmin(255, grey)));
                }
            }
            double size = k % 2 ? 18 : 8;
            n_taken +=
                tr_checker_measure(&image, centre, tr_v2(size, 0), tr_v2(0, -size), 3, &found);
        }
        if (n_taken > 0) print_message("%s: taken %d times of 24\n", cases[c].name, n_taken);
        assert_int_equal(n_taken, 0);
    }
    tr_image_release(&image);
}

/* Noise alone, weak and strong, and a texture of it. */
static void noise_is_none(void **state) {
    (void)state;
    tr_draw d = draw_seeded("noise is none");
    tr_image image;
    double smooth[SIDE][SIDE];
    assert_true(tr_image_init(&image, SIDE, SIDE, NULL));
    int n_taken = 0;
    for (int k = 0; k < 300; k++) {
        double sd = k % 3 == 0 ? 3 : k % 3 == 1 ? 30 : 60;
        for (int v = 0; v < SIDE; v++) {
            for (int u = 0; u < SIDE; u++) smooth[v][u] = sd * draw_normal(&d);
        }
        for (int v = 0; v < SIDE; v++) {
            for (int u = 0; u < SIDE; u++) {
                double grey = smooth[v][u];
                if (k % 2) {
                    double sum = 0;
                    for (int a = -2; a <= 2; a++) {
                        for (int b = -2; b <= 2; b++) {
                            sum += smooth[(v + a + SIDE) % SIDE][(u + b + SIDE) % SIDE];
                        }
                    }
                    grey = sum / 5;
                }
                image.px[v * SIDE + u] = (uint8_t)lrint(fmax(0, fmin(255, 128 + grey)));
            }
        }
        tr_checker found;
        n_taken +=
            tr_checker_measure(&image, tr_v2(32, 32), tr_v2(16, 1), tr_v2(-1, -16), 4, &found);
    }
    print_message("noise: taken %d times of 300\n", n_taken);
    assert_int_equal(n_taken, 0);
    tr_image_release(&image);
}

/* A tag has outer corners and inner ones; where black cells meet at a point it does look like a
   checkerboard, so only places that do not are asked about: the corners of its border. */
static void corners_of_a_tag(void **state) {
    (void)state;
    tr_draw d = draw_seeded("corners of a tag");
    shot s;
    shot_begin(&s, 1, 20, 0.2);
    for (int i = 0; i < 6; i++) {
        s.tags[i] = (tr_tag){
            .id = 50 + i, .size_mm = 90, .centre_mm = tr_v2(130 * (i % 3 - 1), 65 - 130 * (i / 3))};
    }
    s.sheet.sheet.n_tags = 6;
    shot_take(&s);
    for (int i = 0; i < 24; i++) {
        tr_checker found;
        tr_vec2 at = s.seen[i].uv_px;
        assert_false(tr_checker_measure(
            &s.image, tr_v2(at.x + draw_between(&d, -1, 1), at.y + draw_between(&d, -1, 1)),
            tr_v2(11, 2), tr_v2(2, -10), 2, &found));
    }
    shot_end(&s);
}

/* ---- reasons ---- */

static void refused_for_its_reason(void **state) {
    (void)state;
    static const struct {
        tr_checker_outcome outcome;
        double at, square, low, high, blur; /* the corner, its squares, black, white, sigma */
    } cases[] = {
        {TR_CHECKER_MEASURED, 32, 16, 40, 200, 0.8},  {TR_CHECKER_OFF_IMAGE, 5, 16, 40, 200, 0.8},
        {TR_CHECKER_TOO_SMALL, 32, 3, 40, 200, 0.8},  {TR_CHECKER_FAINT, 32, 16, 100, 108, 0.8},
        {TR_CHECKER_NO_SADDLE, 50, 16, 40, 200, 0.8}, {TR_CHECKER_BLURRED, 32, 60, 20, 240, 9},
    };
    tr_image image;
    assert_true(tr_image_init(&image, SIDE, SIDE, NULL));
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        double at = cases[c].outcome == TR_CHECKER_NO_SADDLE ? 32 : cases[c].at;
        tr_checker found;
        for (int v = 0; v < SIDE; v++) {
            for (int u = 0; u < SIDE; u++) {
                double s = erf((u - at) / (sqrt(2) * cases[c].blur)) *
                           erf((v - at) / (sqrt(2) * cases[c].blur));
                image.px[v * SIDE + u] = (uint8_t)lrint(
                    (cases[c].low + cases[c].high + (cases[c].high - cases[c].low) * s) / 2);
            }
        }
        bool ok = tr_checker_measure(&image, tr_v2(at, cases[c].at), tr_v2(cases[c].square, 0),
                                     tr_v2(0, -cases[c].square), 3, &found);
        assert_int_equal(found.outcome, cases[c].outcome);
        assert_int_equal(ok, found.outcome == TR_CHECKER_MEASURED);
    }
    tr_image_release(&image);
}

/* ---- the photo's rim, senseless input ---- */

/* Wherever the photo ends: nothing is read beyond it (ASan), and what is measured is right. */
static void at_the_rim(void **state) {
    (void)state;
    tr_image image;
    int n_measured = 0;
    assert_true(tr_image_init(&image, 30, 30, NULL));
    for (int x = -4; x <= 34; x++) {
        for (int y = -4; y <= 34; y++) {
            tr_checker found;
            for (int v = 0; v < 30; v++) {
                for (int u = 0; u < 30; u++) {
                    double grey = 120 + 90 * erf((u - x) / 1.1) * erf((v - y) / 1.1);
                    image.px[30 * v + u] = (uint8_t)lrint(grey);
                }
            }
            if (tr_checker_measure(&image, tr_v2(x, y), tr_v2(16, 0), tr_v2(0, -16), 3, &found)) {
                n_measured++;
                CHECK_NEAR(found.uv_px.x, x, 0.01);
                CHECK_NEAR(found.uv_px.y, y, 0.01);
            } else {
                assert_true(x < 9 || y < 9 || x > 20 || y > 20);
            }
        }
    }
    assert_true(n_measured >= 144);
    tr_image_release(&image);
}

static void senseless_input(void **state) {
    (void)state;
    static const struct {
        tr_vec2 start, x, y;
        double reach;
    } cases[] = {
        {{32, 32}, {0, 0}, {0, -16}, 3},     /* no size */
        {{32, 32}, {16, 0}, {16, 0}, 3},     /* one direction */
        {{32, 32}, {16, 0}, {15, -1}, 3},    /* nearly one */
        {{32, 32}, {2, 0}, {0, -2}, 3},      /* too small */
        {{NAN, 32}, {16, 0}, {0, -16}, 3},   /* no place */
        {{32, 32}, {NAN, 0}, {0, -16}, 3},   /* no direction */
        {{-1e9, 1e9}, {16, 0}, {0, -16}, 3}, /* far away */
        {{32, 32}, {16, 0}, {0, -16}, -5},   /* nowhere to look */
    };
    tr_image image;
    assert_true(tr_image_init(&image, SIDE, SIDE, NULL));
    for (int v = 0; v < SIDE; v++) {
        for (int u = 0; u < SIDE; u++) {
            image.px[v * SIDE + u] = (uint8_t)((u < 32) == (v < 32) ? 40 : 200);
        }
    }
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        tr_checker found;
        assert_false(tr_checker_measure(&image, cases[i].start, cases[i].x, cases[i].y,
                                        cases[i].reach, &found));
    }
    tr_image_release(&image);
    /* A photo smaller than the window. */
    assert_true(tr_image_init(&image, 3, 2000, NULL));
    memset(image.px, 100, 6000);
    tr_checker found;
    assert_false(
        tr_checker_measure(&image, tr_v2(1, 1000), tr_v2(16, 0), tr_v2(0, -16), 3, &found));
    tr_image_release(&image);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whatever_the_camera_does), cmocka_unit_test(whatever_the_view),
        cmocka_unit_test(from_any_start),           cmocka_unit_test(half_a_turn),
        cmocka_unit_test(printed_and_developed),    cmocka_unit_test(refused_for_its_reason),
        cmocka_unit_test(nothing_else_is_a_corner), cmocka_unit_test(noise_is_none),
        cmocka_unit_test(corners_of_a_tag),         cmocka_unit_test(at_the_rim),
        cmocka_unit_test(senseless_input),
    };
    return cmocka_run_group_tests_name("checker", tests, NULL, NULL);
}
