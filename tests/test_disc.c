/* One printed disc, measured on rendered photos: where its centre is seen, as well as it says; and
   nothing else is taken for one. */
#include "shot.h"

#include "base/file.h"
#include "marks/disc.h"
#include "temp.h"

/* What tr_marks_find adds to the fit's own covariance. */
#define FLOOR_PX 0.008

/* ---- many discs, their errors ---- */

typedef struct {
    int n, n_measured;
    tr_vec2 sum;
    double sum2, chi2, chi2_with_floor, largest, growth;
    int outcomes[TR_DISC_N_OUTCOMES];
} tally;

/* columns x rows discs, so far apart that plain ground of half a diameter and of some px lies about
   each. */
static void add_discs(shot *s, int columns, int rows, double diameter_mm, double tilt_deg,
                      tr_draw *d) {
    assert_true(columns * rows <= SHOT_DISCS);
    double pitch = 1.7 * diameter_mm;
    double pitch_far = fmax(pitch, diameter_mm + 12 / cos(tilt_deg * TR_RAD_PER_DEG));
    for (int i = 0; i < columns * rows; i++) {
        s->discs[i] =
            (tr_disc){.centre_mm = tr_v2(
                          (i % columns - (columns - 1) / 2.0) * pitch + draw_between(d, -2, 2),
                          (i / columns - (rows - 1) / 2.0) * pitch_far + draw_between(d, -2, 2)),
                      .diameter_mm = diameter_mm};
    }
    s->sheet.sheet.n_discs = columns * rows;
}

static tr_disc_view view_of(const shot *s, int i) {
    return (tr_disc_view){.camera_from_sheet =
                              tr_pose_mul(tr_pose_inverse(s->camera.vehicle_from_camera),
                                          s->sheet.vehicle_from_sheet),
                          .centre_mm = s->discs[i].centre_mm,
                          .diameter_mm = s->discs[i].diameter_mm,
                          .is_white = s->discs[i].is_white,
                          .room_mm = (s->discs[i].is_white ? 0.25 : 0.5) * s->discs[i].diameter_mm,
                          .reach_px = 4};
}

/* e' C^-1 e / 2. */
static double chi2_of(const double C[4], double floor_px, tr_vec2 e) {
    double uu = C[0] + floor_px * floor_px;
    double vv = C[3] + floor_px * floor_px;
    double det = uu * vv - C[1] * C[1];
    return (vv * e.x * e.x - 2 * C[1] * e.x * e.y + uu * e.y * e.y) / det / 2;
}

static void add_error(const tr_disc_fit *found, tr_vec2 truth, tally *t) {
    tr_vec2 e = tr_v2_sub(found->uv_px, truth);
    const double *C = found->covariance;
    assert_true(C[1] == C[2] && C[0] > 0 && C[0] * C[3] - C[1] * C[2] > 0);
    t->n_measured++;
    t->sum = tr_v2_add(t->sum, e);
    t->sum2 += tr_v2_dot(e, e);
    t->chi2 += chi2_of(C, 0, e);
    t->chi2_with_floor += chi2_of(C, FLOOR_PX, e);
    t->largest = fmax(t->largest, tr_v2_norm(e));
    t->growth += found->growth_px;
}

/* All discs of a photo, their poses shifted and turned as predictions are. turn_rad: by how much
   the sheet is predicted to be turned about an axis of it. rim_px: what lies nearer to the photo's
   edge is left out. */
static void add_all(const shot *s, double start_px, double turn_rad, double rim_px, tr_draw *d,
                    tally *t) {
    for (int i = 0; i < s->sheet.sheet.n_discs; i++) {
        tr_vec2 truth = s->seen[i].uv_px;
        tr_disc_view view = view_of(s, i);
        tr_disc_fit found;
        if (!shot_shows(s, truth, rim_px)) continue;
        double angle = draw_between(d, -TR_PI, TR_PI);
        double away = draw_between(d, -TR_PI, TR_PI);
        double depth = view.camera_from_sheet.t_mm.z;
        tr_vec3 centre = tr_v3(view.centre_mm.x, view.centre_mm.y, 0);
        tr_mat3 turn =
            tr_rotation_from_vector(tr_v3(turn_rad * cos(angle), turn_rad * sin(angle), 0));
        tr_pose about = {turn, tr_v3_sub(centre, tr_m3_apply(turn, centre))};
        view.camera_from_sheet = tr_pose_mul(view.camera_from_sheet, about);
        view.camera_from_sheet.t_mm.x += start_px * cos(away) * depth / 1200;
        view.camera_from_sheet.t_mm.y += start_px * sin(away) * depth / 1200;
        t->n++;
        bool is_measured = tr_disc_measure(&s->image, &s->scene.lens, &view, &found);
        t->outcomes[found.outcome]++;
        if (is_measured) add_error(&found, truth, t);
    }
}

static void print_tally(const char *name, const tally *t) {
    double n = t->n_measured;
    print_message("%-34s %3d of %3d discs, mean %+.4f %+.4f px, rms %.4f px, at most %.3f px, "
                  "chi2 %.2f, growth %+.2f px",
                  name, t->n_measured, t->n, t->sum.x / n, t->sum.y / n, sqrt(t->sum2 / (2 * n)),
                  t->largest, t->chi2 / n, t->growth / n);
    for (int k = 1; k < TR_DISC_N_OUTCOMES; k++) {
        if (t->outcomes[k]) print_message(", outcome %d: %d", k, t->outcomes[k]);
    }
    print_message("\n");
}

/* Bias, scatter, and an honest covariance: e' C^-1 e / 2 near 1; somewhat below it, since these
   photos have neither shade nor bent paper, which it allows for. The floor is there for the last
   hundredth of a pixel. */
static void check_tally(const tally *t, double bias_px, double rms_px) {
    double n = t->n_measured;
    assert_int_equal(t->n_measured, t->n);
    CHECK_NEAR(t->sum.x / n, 0, bias_px);
    CHECK_NEAR(t->sum.y / n, 0, bias_px);
    CHECK_AT_MOST(sqrt(t->sum2 / (2 * n)), rms_px);
    CHECK_AT_MOST(t->chi2_with_floor / n, 1.5);
    if (t->n_measured > 20) CHECK_AT_MOST(0.2, t->chi2 / n);
}

/* The photo as it comes back from a JPEG file. */
static void through_jpeg(tr_image *image, int quality) {
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    tr_error err = {0};
    uint8_t *data;
    size_t size;
    temp_make(folder);
    assert_true(tr_image_write_jpeg(image, quality, temp_path(path, folder, "p.jpg"), &err));
    assert_true(tr_file_read(path, 1 << 24, &data, &size, &err));
    tr_image_release(image);
    assert_true(tr_image_decode(data, size, path, image, &err));
    free(data);
    temp_remove(folder);
}

/* ---- views and cameras ---- */

typedef struct {
    const char *name;
    double tilt_deg, across_px;
    double blur_u, blur_v, sharpen;
    tr_tone tone;
    int jpeg; /* quality, 0: none */
    double ink_mm;
    bool is_white;
    double turn_deg; /* error of the predicted pose */
    double bias_px, rms_px;
} disc_case;

/* Discs of 60 mm. */
static void measure_case(const disc_case *c, tally *t) {
    const double diameter = 60;
    tr_draw d = draw_seeded(c->name);
    shot s;
    shot_begin(&s, c->across_px / diameter, c->tilt_deg, 0.13);
    int side = c->across_px < 60 ? 5 : 3;
    add_discs(&s, side, side, diameter, c->tilt_deg, &d);
    for (int i = 0; i < s.sheet.sheet.n_discs; i++) s.discs[i].is_white = c->is_white;
    tr_imaging *m = &s.camera.imaging;
    s.sheet.ink_mm = c->ink_mm;
    m->tone = c->tone;
    m->sharpen = c->sharpen;
    m->blur_px[0] = c->blur_u;
    m->blur_px[1] = c->blur_v;
    shot_take(&s);
    if (c->jpeg) through_jpeg(&s.image, c->jpeg);
    add_all(&s, 2, c->turn_deg * TR_RAD_PER_DEG, 8 + 0.7 * c->across_px, &d, t);
    shot_end(&s);
    print_tally(c->name, t);
}

/* Twenty degrees over the mat, from 12 px across (4 px high) on. */
static void low_over_the_mat(void **state) {
    (void)state;
    static const disc_case cases[] = {
        {"12 px, crisp", 70, 12, 0.6, 0.6, 0, TR_TONE_SRGB, 0, 0, false, 0, 0.01, 0.02},
        {"12 px", 70, 12, 0.9, 0.9, 0.6, TR_TONE_S_CURVE, 0, 0, false, 0, 0.012, 0.025},
        {"12 px, blurred", 70, 12, 1.2, 1.2, 0, TR_TONE_S_CURVE, 0, 0, false, 0, 0.012, 0.03},
        {"12 px, JPEG", 70, 12, 0.7, 0.7, 0.6, TR_TONE_S_CURVE, 85, 0, false, 0, 0.012, 0.03},
        {"16 px, JPEG", 70, 16, 0.9, 0.9, 0.6, TR_TONE_S_CURVE, 85, 0, false, 0, 0.01, 0.025},
        {"24 px, JPEG", 70, 24, 0.6, 0.6, 0.8, TR_TONE_SRGB, 85, 0, false, 0, 0.006, 0.02},
        {"40 px, JPEG", 70, 40, 0.9, 0.9, 0.6, TR_TONE_S_CURVE, 85, 0, false, 0, 0.006, 0.015},
        {"80 px, JPEG", 70, 80, 1.2, 1.2, 0.6, TR_TONE_S_CURVE, 85, 0, false, 0, 0.006, 0.015},
        {"160 px, JPEG", 70, 160, 0.9, 0.9, 0.6, TR_TONE_SRGB, 85, 0, false, 0, 0.01, 0.015},
    };
    tally all = {0};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        tally t = {0};
        measure_case(&cases[k], &t);
        check_tally(&t, cases[k].bias_px, cases[k].rms_px);
        all.n += t.n_measured;
        all.chi2 += t.chi2;
    }
    print_message("chi2 of all %d: %.2f\n", all.n, all.chi2 / all.n);
    CHECK_AT_MOST(all.chi2 / all.n, 1.1);
    CHECK_AT_MOST(0.4, all.chi2 / all.n);
}

static void whatever_the_camera_does(void **state) {
    (void)state;
    static const disc_case cases[] = {
        {"frontal", 0, 40, 0.7, 0.7, 0, TR_TONE_LINEAR, 0, 0, false, 0, 0.005, 0.01},
        {"frontal, large, sharpened", 0, 90, 0.7, 0.7, 1.2, TR_TONE_S_CURVE, 85, 0, false, 0, 0.02,
         0.03},
        {"45 degrees, white", 45, 24, 0.8, 0.8, 0.6, TR_TONE_SRGB, 85, 0, true, 0, 0.008, 0.02},
        {"70 degrees, white", 70, 60, 0.8, 0.8, 0.6, TR_TONE_S_CURVE, 85, 0, true, 0, 0.012, 0.02},
        {"70 degrees, ink", 70, 40, 0.8, 0.8, 0.6, TR_TONE_S_CURVE, 85, 0.6, false, 0, 0.008, 0.02},
        {"70 degrees, white, ink", 70, 60, 0.8, 0.8, 0, TR_TONE_SRGB, 0, 0.6, true, 0, 0.008, 0.02},
        {"45 degrees, motion along u", 45, 40, 3, 0.7, 0.6, TR_TONE_SRGB, 85, 0, false, 0, 0.02,
         0.04},
        {"70 degrees, motion along v", 70, 80, 0.7, 2, 0, TR_TONE_S_CURVE, 85, 0, false, 0, 0.02,
         0.04},
    };
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        tally t = {0};
        measure_case(&cases[k], &t);
        check_tally(&t, cases[k].bias_px, cases[k].rms_px);
    }
}

/* A pose that is a degree off, about any axis in the sheet, moves nothing. */
static void a_pose_that_is_off(void **state) {
    (void)state;
    static const disc_case cases[] = {
        {"70 degrees, 16 px", 70, 16, 0.8, 0.8, 0.6, TR_TONE_SRGB, 85, 0, false, 1, 0.01, 0.025},
        {"70 degrees, 40 px", 70, 40, 0.8, 0.8, 0.6, TR_TONE_SRGB, 85, 0, false, 1, 0.006, 0.015},
        {"70 degrees, 100 px", 70, 100, 0.8, 0.8, 0.6, TR_TONE_SRGB, 85, 0, false, 1, 0.012, 0.02},
        {"70 degrees, 40 px, two off", 70, 40, 0.8, 0.8, 0.6, TR_TONE_SRGB, 85, 0, false, 2, 0.006,
         0.015},
        {"30 degrees, 80 px", 30, 80, 0.8, 0.8, 0.6, TR_TONE_SRGB, 85, 0, false, 1, 0.006, 0.015},
    };
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        tally t = {0};
        disc_case level = cases[k];
        measure_case(&cases[k], &t);
        check_tally(&t, cases[k].bias_px, cases[k].rms_px);
        level.turn_deg = 0;
        tally without = {0};
        measure_case(&level, &without);
        CHECK_NEAR(t.sum.x / t.n, without.sum.x / without.n, 0.006);
        CHECK_NEAR(t.sum.y / t.n, without.sum.y / without.n, 0.006);
    }
}

/* ---- what is no disc ---- */

enum { SIDE = 96 };

/* Signed distance, px, of (x, y) from the edge of something black; above 0 outside. r: the radius
   that the disc should have. */
typedef double picture(double x, double y, double r);

static double disc(double x, double y, double r) {
    return hypot(x, y) - r;
}
static double smaller(double x, double y, double r) {
    return disc(x, y, fmin(0.7 * r, r - 3));
}
static double larger(double x, double y, double r) {
    return disc(x, y, fmax(1.35 * r, r + 3));
}
static double square(double x, double y, double r) {
    return fmax(fabs(x), fabs(y)) - r;
}
static double square_of_same_area(double x, double y, double r) {
    return fmax(fabs(x), fabs(y)) - sqrt(TR_PI) / 2 * r;
}
static double turned_square(double x, double y, double r) {
    return square(0.8 * x - 0.6 * y, 0.6 * x + 0.8 * y, 0.9 * r);
}
static double ellipse(double x, double y, double r) {
    double d = hypot(x / 1.15, y / 0.8);
    return (d - r) * 0.9;
}
static double third_hidden(double x, double y, double r) {
    return fmax(disc(x, y, r), -x - r / 3);
}
static double quarter_hidden(double x, double y, double r) {
    return fmax(disc(x, y, r), fmin(x, y));
}
static double half_plane(double x, double y, double r) {
    return x + 0.2 * y - r;
}
static double bar(double x, double y, double r) {
    return fabs(x + 0.1 * y) - r;
}
static double checker(double x, double y, double r) {
    (void)r;
    return x * y > 0 ? fmin(fabs(x), fabs(y)) : -fmin(fabs(x), fabs(y));
}
static double hole(double x, double y, double r) {
    return -disc(x, y, r);
}
static double nothing(double x, double y, double r) {
    (void)x, (void)y, (void)r;
    return 10;
}

static void draw_picture(tr_image *image, picture *of, tr_vec2 centre, double r, tr_draw *d) {
    for (int v = 0; v < SIDE; v++) {
        for (int u = 0; u < SIDE; u++) {
            double out = of(u - centre.x, centre.y - v, r);
            double light = 0.03 + 0.7 * 0.5 * erfc(-out / (0.8 * sqrt(2)));
            double grey = 255 * pow(light, 1 / 2.2) + 2 * draw_normal(d);
            image->px[v * SIDE + u] = (uint8_t)lrint(fmax(0, fmin(255, grey)));
        }
    }
}

/* Seen from the front, 1 px a mm. */
static bool take_for_disc(const tr_image *image, tr_vec2 centre, double r, tr_disc_fit *found) {
    tr_lens lens = {.width_px = SIDE, .height_px = SIDE, .param = {1000, 1000, centre.x, centre.y}};
    tr_disc_view view = {.camera_from_sheet = {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {0, 0, 1000}},
                         .diameter_mm = 2 * r,
                         .room_mm = r,
                         .reach_px = 4};
    return tr_disc_measure(image, &lens, &view, found);
}

static void what_is_no_disc(void **state) {
    (void)state;
    static const struct {
        const char *name;
        picture *draw;
        int n_taken; /* of 20 */
    } cases[] = {
        {"a disc", disc, 20},
        {"a smaller disc", smaller, 0},
        {"a larger disc", larger, 0},
        {"a square", square, 0},
        {"a square of its area", square_of_same_area, 0},
        {"a turned square", turned_square, 0},
        {"an ellipse", ellipse, 0},
        {"a third hidden", third_hidden, 0},
        {"a quarter hidden", quarter_hidden, 0},
        {"a straight edge", half_plane, 0},
        {"a bar", bar, 0},
        {"a checker corner", checker, 0},
        {"a white disc", hole, 0},
        {"plain paper", nothing, 0},
    };
    tr_image image;
    int n_wrong = 0;
    assert_true(tr_image_init(&image, SIDE, SIDE, NULL));
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        static const double RADII[] = {6, 8, 14, 25};
        int outcomes[TR_DISC_N_OUTCOMES] = {0};
        tr_draw d = draw_seeded(cases[c].name);
        print_message("%s:", cases[c].name);
        for (int k = 0; k < 20; k++) {
            double r = RADII[k % 4];
            tr_vec2 off = tr_v2(draw_between(&d, -2, 2), draw_between(&d, -2, 2));
            tr_vec2 centre = tr_v2(SIDE / 2.0 + draw_even(&d), SIDE / 2.0 + draw_even(&d));
            tr_disc_fit found;
            draw_picture(&image, cases[c].draw, tr_v2_add(centre, off), r, &d);
            bool is_taken = take_for_disc(&image, centre, r, &found);
            outcomes[found.outcome]++;
            if (is_taken && cases[c].n_taken == 0)
                print_message(" [%g px: grown %+.2f px, blur %.2f px, rms %.2f of %.0f]", r,
                              found.growth_px, found.sigma_px, found.rms, found.contrast);
            if (is_taken && cases[c].draw == disc) {
                CHECK_NEAR(tr_v2_norm(tr_v2_sub(found.uv_px, tr_v2_add(centre, off))), 0, 0.04);
            }
        }
        for (int k = 0; k < TR_DISC_N_OUTCOMES; k++) print_message(" %d", outcomes[k]);
        print_message("\n");
        n_wrong += outcomes[TR_DISC_MEASURED] != cases[c].n_taken;
        if (cases[c].draw == nothing || cases[c].draw == hole) {
            assert_int_equal(outcomes[TR_DISC_FAINT], 20);
        }
    }
    tr_image_release(&image);
    assert_int_equal(n_wrong, 0);
}

/* Beyond the photo's edge, behind the camera, from behind, too small. */
static void out_of_sight(void **state) {
    (void)state;
    tr_draw d = draw_seeded("out of sight");
    tr_image image;
    tr_disc_fit found;
    tr_lens lens = {.width_px = SIDE, .height_px = SIDE, .param = {1000, 1000, 48, 48}};
    tr_disc_view view = {.camera_from_sheet = {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {0, 0, 1000}},
                         .diameter_mm = 30,
                         .room_mm = 20,
                         .reach_px = 4};
    assert_true(tr_image_init(&image, SIDE, SIDE, NULL));
    draw_picture(&image, disc, tr_v2(48, 48), 15, &d);
    assert_true(tr_disc_measure(&image, &lens, &view, &found));
    tr_disc_view other = view;
    other.camera_from_sheet.t_mm.z = -1000;
    assert_false(tr_disc_measure(&image, &lens, &other, &found));
    assert_int_equal(found.outcome, TR_DISC_OFF_IMAGE);
    other = view;
    other.camera_from_sheet.R = tr_m3_identity();
    assert_false(tr_disc_measure(&image, &lens, &other, &found));
    assert_int_equal(found.outcome, TR_DISC_OFF_IMAGE);
    other = view;
    other.camera_from_sheet.t_mm.z = 12000;
    assert_false(tr_disc_measure(&image, &lens, &other, &found));
    assert_int_equal(found.outcome, TR_DISC_TOO_SMALL);
    draw_picture(&image, disc, tr_v2(12, 48), 15, &d);
    other = view;
    other.camera_from_sheet.t_mm.x = -36;
    assert_false(tr_disc_measure(&image, &lens, &other, &found));
    assert_int_equal(found.outcome, TR_DISC_OFF_IMAGE);
    tr_image_release(&image);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(low_over_the_mat),   cmocka_unit_test(whatever_the_camera_does),
        cmocka_unit_test(a_pose_that_is_off), cmocka_unit_test(what_is_no_disc),
        cmocka_unit_test(out_of_sight),
    };
    return cmocka_run_group_tests_name("disc", tests, NULL, NULL);
}
