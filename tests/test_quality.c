/* How good a photo is, from marks that are made up: a mat on the floor, seen from a known place. */
#include "check.h"

#include <stdlib.h>
#include <string.h>

#include "photos/quality.h"
#include "lens/lens.h"

enum { N_TAGS = 6, N_CELLS = 8, WIDTH = 1000, HEIGHT = 750 };
static const double FOCAL_PX = 800, TAG_MM = 160;

typedef struct {
    tr_sheet sheets[2];
    tr_mark marks[N_TAGS];
    tr_sheet_view views[2];
    tr_stray_tag stray;
    tr_photo_marks photo;
    tr_image image;
} scene;

/* The camera looks at the mat's middle, from that far and that high. */
static tr_pose camera_from_mat(double distance_mm, double elevation_rad) {
    tr_vec3 to_camera = tr_v3(0, -cos(elevation_rad), sin(elevation_rad));
    tr_vec3 z = tr_v3_scale(-1, to_camera);
    tr_vec3 x = tr_v3(1, 0, 0);
    tr_pose mat_from_camera = {tr_m3_from_columns(x, tr_v3_cross(z, x), z),
                               tr_v3_scale(distance_mm, to_camera)};
    return tr_pose_inverse(mat_from_camera);
}

static scene *make_scene(double distance_mm, double elevation_deg) {
    static const tr_lens LENS = {.width_px = WIDTH,
                                 .height_px = HEIGHT,
                                 .param = {800, 800, (WIDTH - 1) / 2.0, (HEIGHT - 1) / 2.0}};
    scene *s = calloc(1, sizeof *s);
    assert_non_null(s);
    tr_pose pose = camera_from_mat(distance_mm, elevation_deg * TR_RAD_PER_DEG);
    s->sheets[0].kind = TR_SHEET_MAT;
    s->sheets[1].kind = TR_SHEET_BOARD;
    s->sheets[1].support = TR_ON_STAND;
    for (int i = 0; i < N_TAGS; i++) {
        tr_tag tag = {.centre_mm = {-300 + 300 * (i % 3), i < 3 ? -150 : 150}, .size_mm = TAG_MM};
        s->marks[i] = (tr_mark){.kind = TR_MARK_TAG, .index = i, .n_points = 4};
        s->marks[i].n_cells = N_CELLS;
        s->marks[i].sigma_px = 0.8;
        s->marks[i].contrast = 150;
        for (int k = 0; k < 4; k++) {
            tr_vec2 p = tr_tag_corner(&tag, k);
            assert_true(tr_lens_project(&LENS, tr_pose_apply(pose, tr_v3(p.x, p.y, 0)),
                                        &s->marks[i].uv_px[k], NULL, NULL));
        }
    }
    s->views[0] = (tr_sheet_view){.sheet = 0, .pose = {{pose, 0.1}}, .n_poses = 1, .n_points = 24};
    s->photo = (tr_photo_marks){
        .marks = s->marks, .n_marks = N_TAGS, .views = s->views, .n_views = 1, .strays = &s->stray};
    assert_true(tr_image_init(&s->image, WIDTH, HEIGHT, NULL));
    memset(s->image.px, 128, (size_t)WIDTH * HEIGHT);
    return s;
}

static void free_scene(scene *s) {
    tr_image_release(&s->image);
    free(s);
}

static tr_photo_quality judge(const scene *s) {
    tr_photo_quality q;
    tr_error err = {0};
    memset(&q, 0x55, sizeof q);
    assert_true(tr_photo_judge(&s->photo, s->sheets, &s->image, &q, &err));
    assert_int_equal(err.code, TR_OK);
    return q;
}

static void check_grade(const scene *s, tr_photo_grade grade, tr_photo_flaw flaw) {
    tr_photo_quality q = judge(s);
    assert_int_equal(q.grade, grade);
    assert_int_equal(q.flaw, flaw);
}

static void a_good_photo_has_known_numbers(void **state) {
    (void)state;
    static const double ELEVATIONS[] = {12.5, 20, 45, 89};
    for (size_t i = 0; i < sizeof ELEVATIONS / sizeof *ELEVATIONS; i++) {
        scene *s = make_scene(1500, ELEVATIONS[i]);
        /* Blotches and one mark that is off do not count. */
        s->marks[0].sigma_px = 9;
        s->marks[1].contrast = 3;
        tr_photo_quality q = judge(s);
        assert_true(q.has_marks && q.has_tags && q.has_elevation);
        CHECK_NEAR(q.elevation_rad * TR_DEG_PER_RAD, ELEVATIONS[i], 1e-9);
        CHECK_NEAR(q.sharpness_px, 0.8, 0);
        CHECK_NEAR(q.contrast, 150, 0);
        CHECK_NEAR(q.overexposed_part, 0, 0);
        free_scene(s);
    }
    /* From straight above, but for 1 degree, all edges are 800 px 160 mm / 1500 mm long. */
    scene *s = make_scene(1500, 89);
    tr_photo_quality q = judge(s);
    CHECK_NEAR(q.tag_px, FOCAL_PX * TAG_MM / 1500, 0.5);
    CHECK_NEAR(q.cell_px, FOCAL_PX * TAG_MM / 1500 / N_CELLS, 0.1);
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    free_scene(s);
}

static void each_weakness_has_its_reason(void **state) {
    (void)state;
    scene *s = make_scene(1500, 40);
    for (int i = 0; i < N_TAGS; i++) s->marks[i].sigma_px = 2.4;
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    for (int i = 0; i < N_TAGS; i++) s->marks[i].sigma_px = 2.6;
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_BLURRED);
    for (int i = 0; i < N_TAGS; i++) s->marks[i].contrast = 39; /* the blur is said first */
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_BLURRED);
    for (int i = 0; i < N_TAGS; i++) s->marks[i].sigma_px = 0.8;
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_DIM);
    for (int i = 0; i < N_TAGS; i++) s->marks[i].contrast = 41;
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    s->photo.n_marks = 1;
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_FEW_MARKS);
    s->photo.n_marks = 2;
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    free_scene(s);
    /* A cell is 20 mm x 800 px / d high, sin(40 degrees) of it from up there: 3 px at 3.43 m. */
    s = make_scene(3300, 40);
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    free_scene(s);
    s = make_scene(3600, 40);
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_FAR);
    free_scene(s);
    s = make_scene(700, 12.5);
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    free_scene(s);
    s = make_scene(700, 11.5);
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_FLAT_VIEW);
    free_scene(s);
}

/* White at the end of the scale in the boxes around the tags counts, and nothing elsewhere. */
static void overexposed_whites_are_told(void **state) {
    (void)state;
    scene *s = make_scene(1500, 89);
    memset(s->image.px, 255, (size_t)WIDTH * HEIGHT);
    CHECK_NEAR(judge(s).overexposed_part, 1, 0);
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_OVEREXPOSED);
    memset(s->image.px, 253, (size_t)WIDTH * HEIGHT);
    CHECK_NEAR(judge(s).overexposed_part, 0, 0);
    /* Columns: every fifth, then every third. */
    for (int i = 0; i < WIDTH * HEIGHT; i++) s->image.px[i] = i % WIDTH % 5 ? 200 : 255;
    CHECK_NEAR(judge(s).overexposed_part, 0.2, 0.01);
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    for (int i = 0; i < WIDTH * HEIGHT; i++) s->image.px[i] = i % WIDTH % 3 ? 200 : 255;
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_OVEREXPOSED);
    /* Tags partly and wholly outside the image. */
    for (int i = 0; i < N_TAGS; i++) {
        for (int k = 0; k < 4; k++) s->marks[i].uv_px[k].x -= i % 2 ? 5000 : 400;
    }
    CHECK_NEAR(judge(s).overexposed_part, 1.0 / 3, 0.05);
    for (int i = 0; i < N_TAGS; i++) {
        for (int k = 0; k < 4; k++) s->marks[i].uv_px[k].y += 5000;
    }
    CHECK_NEAR(judge(s).overexposed_part, 0, 0);
    free_scene(s);
}

static void a_photo_without_marks_is_unusable(void **state) {
    (void)state;
    scene *s = make_scene(1500, 40);
    s->photo.n_marks = 0;
    s->photo.n_views = 0;
    check_grade(s, TR_PHOTO_UNUSABLE, TR_FLAW_NO_MARK);
    assert_false(judge(s).has_marks || judge(s).has_tags || judge(s).has_elevation);
    s->photo.n_strays = 1;
    static const tr_photo_flaw FLAWS[TR_TAG_N_OUTCOMES] = {
        [TR_TAG_OFF_IMAGE] = TR_FLAW_TAGS_CUT,  [TR_TAG_TOO_SMALL] = TR_FLAW_TAGS_SMALL,
        [TR_TAG_FAINT] = TR_FLAW_TAGS_FAINT,    [TR_TAG_BLURRED] = TR_FLAW_TAGS_BLURRED,
        [TR_TAG_UNLIKE] = TR_FLAW_TAGS_COVERED, [TR_TAG_UNSETTLED] = TR_FLAW_TAGS_UNSETTLED};
    for (int why = 1; why < TR_TAG_N_OUTCOMES; why++) {
        s->stray.why = (tr_tag_outcome)why;
        check_grade(s, TR_PHOTO_UNUSABLE, FLAWS[why]);
    }
    s->stray.is_foreign = true; /* somebody else's tag */
    check_grade(s, TR_PHOTO_UNUSABLE, TR_FLAW_NO_MARK);
    s->photo.is_mirrored = true;
    check_grade(s, TR_PHOTO_UNUSABLE, TR_FLAW_MIRRORED);
    free_scene(s);
}

/* What stands upright says nothing of the floor; of floor sheets that one counts of which most is
   seen. */
static void elevation_is_that_of_the_floor(void **state) {
    (void)state;
    scene *s = make_scene(1500, 40);
    s->views[1] = s->views[0];
    s->views[0].sheet = 1;
    s->photo.n_views = 1;
    assert_false(judge(s).has_elevation);
    check_grade(s, TR_PHOTO_GOOD, TR_FLAW_NONE);
    s->views[1].pose[0].camera_from_plane = camera_from_mat(1500, 20 * TR_RAD_PER_DEG);
    s->photo.n_views = 2;
    CHECK_NEAR(judge(s).elevation_rad * TR_DEG_PER_RAD, 20, 1e-9);
    s->sheets[1].kind = TR_SHEET_PLATE;
    s->sheets[1].support = TR_ON_FLOOR;
    s->views[0].n_points = 4;
    CHECK_NEAR(judge(s).elevation_rad * TR_DEG_PER_RAD, 20, 1e-9);
    s->views[0].n_points = 40;
    CHECK_NEAR(judge(s).elevation_rad * TR_DEG_PER_RAD, 40, 1e-9);
    free_scene(s);
}

/* Corners alone: no tag, so nothing is said of tags. */
static void corners_alone_are_judged_too(void **state) {
    (void)state;
    scene *s = make_scene(1500, 40);
    for (int i = 0; i < N_TAGS; i++) {
        s->marks[i].kind = TR_MARK_CORNER;
        s->marks[i].n_points = 1;
        s->marks[i].n_cells = 0;
    }
    memset(s->image.px, 255, (size_t)WIDTH * HEIGHT);
    tr_photo_quality q = judge(s);
    assert_true(q.has_marks);
    assert_false(q.has_tags);
    check_grade(s, TR_PHOTO_WEAK, TR_FLAW_FEW_MARKS);
    free_scene(s);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_good_photo_has_known_numbers),
        cmocka_unit_test(each_weakness_has_its_reason),
        cmocka_unit_test(overexposed_whites_are_told),
        cmocka_unit_test(a_photo_without_marks_is_unusable),
        cmocka_unit_test(elevation_is_that_of_the_floor),
        cmocka_unit_test(corners_alone_are_judged_too),
    };
    return cmocka_run_group_tests_name("quality", tests, NULL, NULL);
}
