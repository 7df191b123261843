/* Sheet files and the geometry of tags. What must be refused is kept in tests/bad. */
#include "check.h"
#include "temp.h"

#include <apriltag/apriltag.h>
#include <apriltag/tag16h5.h>
#include <apriltag/tag25h9.h>
#include <apriltag/tag36h10.h>
#include <apriltag/tag36h11.h>
#include <apriltag/tagCircle21h7.h>
#include <apriltag/tagCircle49h12.h>
#include <apriltag/tagCustom48h12.h>
#include <apriltag/tagStandard41h12.h>
#include <apriltag/tagStandard52h13.h>

#include "sheet/sheet.h"
#include "tags/names.h"

static void a_sheet_is_read(void **state) {
    (void)state;
    char path[TEMP_SIZE];
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    tr_sheet sheet;
    assert_true(tr_sheet_read(temp_path(path, source, "tests/good/mat-7.yaml"), &sheet, NULL));
    assert_string_equal(sheet.path, path);
    assert_string_equal(sheet.id, "MAT-7");
    assert_string_equal(sheet.title, "Rear floor mat, 1600 x 1000");
    assert_int_equal(sheet.kind, TR_SHEET_MAT);
    CHECK_NEAR(sheet.width_mm, 1600, 0);
    CHECK_NEAR(sheet.height_mm, 1000, 0);
    assert_string_equal(sheet.tag_family, "tag36h11");
    assert_int_equal(sheet.n_tags, 2);
    assert_int_equal(sheet.tags[0].id, 40);
    CHECK_NEAR(sheet.tags[0].turn_rad, 0, 0);
    assert_int_equal(sheet.tags[1].id, 41);
    CHECK_NEAR(sheet.tags[1].centre_mm.x, 650, 0);
    CHECK_NEAR(sheet.tags[1].centre_mm.y, 350, 0);
    CHECK_NEAR(sheet.tags[1].size_mm, 160, 0);
    CHECK_NEAR(sheet.tags[1].turn_rad, TR_PI / 2, 1e-15);
    assert_int_equal(sheet.tags[1].line, 8);
    assert_int_equal(sheet.n_corners, 2);
    CHECK_NEAR(sheet.corners_mm[0].x, -100, 0);
    CHECK_NEAR(sheet.corners_mm[1].x, 100, 0);
    tr_sheet_release(&sheet);
    tr_sheet_release(&sheet); /* an empty sheet may be released, too */
}

static void marks_may_reach_the_edge_of_the_face(void **state) {
    (void)state;
    static const char TEXT[] =
        "sheet: S\ntitle: To the edge\nkind: board\nsize_mm: [0.3, 0.1]\n"
        "tag_family: tag25h9\n"
        "tags: [{ id: 34, centre_mm: [-0.1, 0], size_mm: 0.1 },\n"
        "       { id: 0, centre_mm: [0, 0], size_mm: 0.1, turn_deg: -270 }]\n"
        "corners_mm: [[0.15, 0.05], [0.15, -0.05]]\n";
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    tr_sheet sheet;
    tr_error err = {0};
    temp_make(folder);
    temp_write(temp_path(path, folder, "s.yaml"), TEXT, sizeof TEXT - 1);
    bool is_read = tr_sheet_read(path, &sheet, &err);
    temp_remove(folder);
    /* The corners are 0.1 mm apart, which is no mistake yet. */
    if (!is_read) fail_msg("%s", err.text);
    assert_int_equal(sheet.n_corners, 2);
    tr_sheet_release(&sheet);
}

static void check_corner(const tr_tag *tag, int k, double x_mm, double y_mm) {
    tr_vec2 corner_mm = tr_tag_corner(tag, k);
    CHECK_NEAR(corner_mm.x, x_mm, 1e-12);
    CHECK_NEAR(corner_mm.y, y_mm, 1e-12);
}

static void corners_run_anticlockwise_from_bottom_left(void **state) {
    (void)state;
    tr_tag tag = {.centre_mm = {10, 20}, .size_mm = 8};
    check_corner(&tag, 0, 6, 16);
    check_corner(&tag, 1, 14, 16);
    check_corner(&tag, 2, 14, 24);
    check_corner(&tag, 3, 6, 24);
    /* A quarter turn anticlockwise takes the bottom left corner to the bottom right. */
    tag.turn_rad = TR_PI / 2;
    check_corner(&tag, 0, 14, 16);
    check_corner(&tag, 1, 14, 24);
    tag.turn_rad = TR_PI / 4;
    check_corner(&tag, 0, 10, 20 - 4 * sqrt(2));
    check_corner(&tag, 1, 10 + 4 * sqrt(2), 20);
}

static void kinds_have_the_words_of_the_file(void **state) {
    (void)state;
    assert_string_equal(tr_sheet_kind_name(TR_SHEET_MAT), "mat");
    assert_string_equal(tr_sheet_kind_name(TR_SHEET_BOARD), "board");
    assert_string_equal(tr_sheet_kind_name(TR_SHEET_PLATE), "plate");
    assert_string_equal(tr_sheet_kind_name(TR_SHEET_HUB), "hub");
}

/* The counts agree with the library that finds the tags. */
#define CHECK_FAMILY(name)                                                                         \
    do {                                                                                           \
        apriltag_family_t *family = name##_create();                                               \
        assert_non_null(family);                                                                   \
        assert_int_equal(tr_tag_family_size(#name), family->ncodes);                               \
        name##_destroy(family);                                                                    \
    } while (0)

static void families_have_the_sizes_of_the_library(void **state) {
    (void)state;
    CHECK_FAMILY(tag16h5);
    CHECK_FAMILY(tag25h9);
    CHECK_FAMILY(tag36h10);
    CHECK_FAMILY(tag36h11);
    CHECK_FAMILY(tagCircle21h7);
    CHECK_FAMILY(tagCircle49h12);
    CHECK_FAMILY(tagCustom48h12);
    CHECK_FAMILY(tagStandard41h12);
    CHECK_FAMILY(tagStandard52h13);
    assert_int_equal(tr_tag_family_size("tag36h11"), 587); /* AprilRobotics/apriltag tag36h11.c */
    assert_int_equal(tr_tag_family_size("tag36h1"), 0);
    assert_int_equal(tr_tag_family_size(""), 0);
}

/* A surveyed sheet comes back as it was written, under any locale. */
static void a_surveyed_sheet_is_written_and_read_back(void **state) {
    (void)state;
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    tr_tag tags[2] = {{.id = 3, .centre_mm = {-100.12345, 20}, .size_mm = 80, .turn_rad = 0.01},
                      {.id = 4,
                       .centre_mm = {100, -0.00001},
                       .size_mm = 79.5,
                       .turn_rad = -1,
                       .edges_mm = {79, 80}}};
    tr_vec2 corner = {0.5, -60};
    double C[144];
    tr_error err = {0};
    /* A A' of a matrix with unequal rows: positive definite, with all correlations. */
    for (int i = 0; i < 12; i++) {
        for (int j = 0; j < 12; j++) {
            C[12 * i + j] = i == j ? 0.01 : 0;
            for (int k = 0; k < 12; k++) {
                C[12 * i + j] += 1e-3 * sin(1.0 + i * 1.7 + k) * sin(1.0 + j * 1.7 + k);
            }
        }
    }
    tr_sheet sheet = {.id = "MAT \"7\"",
                      .title = "1.0",
                      .kind = TR_SHEET_PLATE,
                      .width_mm = 400,
                      .height_mm = 300,
                      .tag_family = "tag36h11",
                      .tags = tags,
                      .n_tags = 2,
                      .corners_mm = &corner,
                      .n_corners = 1,
                      .survey = {.id = "S",
                                 .lengths = {"BAR-1", "BAR-2"},
                                 .n_lengths = 2,
                                 .scale_sd = 1.1e-4,
                                 .n_rows = 12,
                                 .covariance = C}};
    temp_make(folder);
    bool has_comma = set_comma_locale(folder);
    bool is_written = tr_sheet_write(temp_path(path, folder, "s.yaml"), &sheet, &err);
    set_c_locale();
    if (!has_comma) print_message("no locale with a decimal comma: not tried\n");
    assert_true(is_written);
    tr_sheet back;
    if (!tr_sheet_read(path, &back, &err)) fail_msg("%d %s %s", err.line, err.key, err.text);
    assert_string_equal(back.id, sheet.id);
    assert_string_equal(back.title, "1.0");
    assert_int_equal(back.kind, TR_SHEET_PLATE);
    CHECK_NEAR(back.tags[0].centre_mm.x, -100.12345, 0);
    CHECK_NEAR(back.tags[0].turn_rad, 0.01, 1e-17);
    CHECK_NEAR(back.tags[1].centre_mm.y, -0.00001, 0);
    CHECK_NEAR(tr_tag_width(&back.tags[1]), 79, 0);
    CHECK_NEAR(tr_tag_height(&back.tags[1]), 80, 0);
    CHECK_NEAR(tr_tag_width(&back.tags[0]), 80, 0);
    CHECK_NEAR(back.corners_mm[0].y, -60, 0);
    assert_int_equal(back.survey.n_rows, 12);
    assert_int_equal(back.survey.n_lengths, 2);
    assert_string_equal(back.survey.lengths[1], "BAR-2");
    CHECK_NEAR(back.survey.scale_sd, 1.1e-4, 0);
    for (int i = 0; i < 144; i++) CHECK_NEAR(back.survey.covariance[i], C[i], 1e-15);
    tr_sheet_release(&back);
    temp_remove(folder);
}

static void edges_make_a_rectangle(void **state) {
    (void)state;
    tr_tag tag = {.centre_mm = {10, 20}, .size_mm = 8, .edges_mm = {6, 10}};
    check_corner(&tag, 0, 7, 15);
    check_corner(&tag, 2, 13, 25);
    tag.turn_rad = TR_PI / 2;
    check_corner(&tag, 0, 15, 17);
}

/* A mat with nothing but its own artwork is enough for a survey, not for a check. */
static void a_sheet_without_tags_is_bare(void **state) {
    (void)state;
    static const char TEXT[] = "sheet: S\ntitle: Bare\nkind: mat\nsize_mm: [400, 300]\n"
                               "tag_family: tag36h11\ntags: []\ncorners_mm: [[1, 2]]\n";
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    tr_sheet sheet;
    tr_error err = {0};
    temp_make(folder);
    temp_write(temp_path(path, folder, "s.yaml"), TEXT, strlen(TEXT));
    assert_false(tr_sheet_read(path, &sheet, &err));
    assert_true(tr_sheet_read_bare(path, &sheet, NULL));
    assert_int_equal(sheet.n_tags, 0);
    assert_int_equal(sheet.n_corners, 1);
    tr_sheet_release(&sheet);
    temp_remove(folder);
}

/* Discs are written as they were read, and a sheet without tags, too. */
static void discs_are_written_and_read_back(void **state) {
    (void)state;
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    tr_disc discs[2] = {{.centre_mm = {-100.5, 20}, .diameter_mm = 80},
                        {.centre_mm = {100, -20.25}, .diameter_mm = 40.5, .is_white = true}};
    tr_sheet sheet = {.id = "S",
                      .title = "Discs",
                      .kind = TR_SHEET_MAT,
                      .width_mm = 400,
                      .height_mm = 300,
                      .tag_family = "tag36h11",
                      .discs = discs,
                      .n_discs = 2};
    tr_sheet back;
    tr_error err = {0};
    temp_make(folder);
    assert_true(tr_sheet_write(temp_path(path, folder, "s.yaml"), &sheet, &err));
    if (!tr_sheet_read_bare(path, &back, &err)) fail_msg("%d %s %s", err.line, err.key, err.text);
    assert_int_equal(back.n_tags, 0);
    assert_int_equal(back.n_discs, 2);
    for (int k = 0; k < 2; k++) {
        CHECK_NEAR(back.discs[k].centre_mm.x, discs[k].centre_mm.x, 0);
        CHECK_NEAR(back.discs[k].centre_mm.y, discs[k].centre_mm.y, 0);
        CHECK_NEAR(back.discs[k].diameter_mm, discs[k].diameter_mm, 0);
        assert_int_equal(back.discs[k].is_white, discs[k].is_white);
    }
    tr_sheet_release(&back);
    temp_remove(folder);
}

static void a_tag_is_as_far_as_its_square(void **state) {
    (void)state;
    tr_tag tag = {.centre_mm = {10, 20}, .size_mm = 8, .turn_rad = TR_PI / 4};
    CHECK_NEAR(tr_tag_distance(&tag, tr_v2(11, 21)), 0, 0);
    CHECK_NEAR(tr_tag_distance(&tag, tr_v2(10 + 4 * sqrt(2) + 3, 20)), 3, 1e-12);
    CHECK_NEAR(tr_tag_distance(&tag, tr_v2(10 + 5, 20 + 5)), 5 * sqrt(2) - 4, 1e-12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sheet_is_read),
        cmocka_unit_test(marks_may_reach_the_edge_of_the_face),
        cmocka_unit_test(corners_run_anticlockwise_from_bottom_left),
        cmocka_unit_test(edges_make_a_rectangle),
        cmocka_unit_test(a_surveyed_sheet_is_written_and_read_back),
        cmocka_unit_test(a_sheet_without_tags_is_bare),
        cmocka_unit_test(discs_are_written_and_read_back),
        cmocka_unit_test(a_tag_is_as_far_as_its_square),
        cmocka_unit_test(kinds_have_the_words_of_the_file),
        cmocka_unit_test(families_have_the_sizes_of_the_library),
    };
    return cmocka_run_group_tests_name("sheet", tests, NULL, NULL);
}
