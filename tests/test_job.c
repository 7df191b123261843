/* Layouts and jobs that are read. What must be refused is kept in tests/bad. */
#include "check.h"
#include "temp.h"

#include "job/free_area.h"
#include "job/job.h"
#include "job/vin.h"

static const char *source_path(char path[TEMP_SIZE], const char *name) {
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    return temp_path(path, source, name);
}

static void a_layout_is_read(void **state) {
    (void)state;
    char path[TEMP_SIZE];
    tr_layout layout;
    assert_true(tr_layout_read(source_path(path, "tests/good/layout.yaml"), &layout, NULL));
    assert_string_equal(layout.path, path);
    assert_string_equal(layout.id, "DEMO-REAR");
    assert_string_equal(layout.vehicle, "Demo estate car");
    assert_int_equal(layout.axes, TR_AXES_CENTRELINE);
    CHECK_NEAR(layout.wheelbase_mm, 2700, 0);
    CHECK_NEAR(layout.track_front_mm, 1760, 0);
    CHECK_NEAR(layout.track_rear_mm, 1750, 0);
    CHECK_NEAR(layout.reference_tolerance_mm, 15, 0);
    assert_int_equal(layout.n_placements, 1);
    const tr_placement *placement = &layout.placements[0];
    assert_string_equal(placement->sheet, "MAT-7");
    assert_int_equal(placement->from[0].kind, TR_FROM_REAR_AXLE);
    assert_int_equal(placement->line, 9);
    CHECK_NEAR(placement->axis[TR_X].required, -1800, 0);
    CHECK_NEAR(placement->axis[TR_X].limit, 10, 0);
    CHECK_NEAR(placement->axis[TR_YAW].limit, TR_RAD_PER_DEG * 0.5, 1e-18);
    assert_true(placement->axis[TR_YAW].is_required && placement->axis[TR_YAW].is_judged);
    assert_false(placement->axis[TR_Z].is_required || placement->axis[TR_Z].is_judged);
    tr_layout_release(&layout);
    tr_layout_release(&layout);
}

static void read_text(tr_layout *layout, const char *text) {
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    tr_error err = {0};
    temp_make(folder);
    temp_write(temp_path(path, folder, "layout.yaml"), text, strlen(text));
    bool is_read = tr_layout_read(path, layout, &err);
    temp_remove(folder);
    if (!is_read) fail_msg("'%s' %s", err.key, err.text);
}

static void a_board_takes_all_six_axes(void **state) {
    (void)state;
    tr_layout layout;
    read_text(&layout, "layout: L\nvehicle: V\naxes: thrust\nplacements:\n"
                       "  - { sheet: B, from: front-axle, x_mm: 4000, y_mm: -5.5, z_mm: 1200,\n"
                       "      yaw_deg: 180, pitch_deg: -1, roll_deg: 0.25,\n"
                       "      limits: { z_mm: 20, pitch_deg: 1, roll_deg: 2 } }\n");
    assert_int_equal(layout.axes, TR_AXES_THRUST);
    CHECK_NEAR(layout.wheelbase_mm, 0, 0);
    CHECK_NEAR(layout.track_front_mm, 0, 0);
    CHECK_NEAR(layout.track_rear_mm, 0, 0);
    CHECK_NEAR(layout.reference_tolerance_mm, 15, 0);
    const tr_requirement *axis = layout.placements[0].axis;
    assert_int_equal(layout.placements[0].from[0].kind, TR_FROM_FRONT_AXLE);
    assert_false(axis[TR_X].is_judged || axis[TR_Y].is_judged || axis[TR_YAW].is_judged);
    CHECK_NEAR(axis[TR_Y].required, -5.5, 0);
    CHECK_NEAR(axis[TR_Z].required, 1200, 0);
    CHECK_NEAR(axis[TR_Z].limit, 20, 0);
    CHECK_NEAR(axis[TR_YAW].required, TR_PI, 1e-15);
    CHECK_NEAR(axis[TR_PITCH].required, -TR_RAD_PER_DEG, 1e-17);
    CHECK_NEAR(axis[TR_PITCH].limit, TR_RAD_PER_DEG, 1e-17);
    CHECK_NEAR(axis[TR_ROLL].required, TR_RAD_PER_DEG / 4, 1e-17);
    CHECK_NEAR(axis[TR_ROLL].limit, TR_RAD_PER_DEG * 2, 1e-17);
    tr_layout_release(&layout);
}

static void limits_may_be_empty(void **state) {
    (void)state;
    tr_layout layout;
    read_text(&layout,
              "layout: L\nvehicle: V\naxes: rear-axle\nplacements:\n"
              "  - { sheet: B, from: rear-axle, x_mm: 0, y_mm: 0, yaw_deg: 0, limits: {} }\n");
    for (int axis = 0; axis < TR_N_AXES; axis++) {
        assert_false(layout.placements[0].axis[axis].is_judged);
    }
    assert_true(layout.placements[0].axis[TR_X].is_required);
    tr_layout_release(&layout);
}

static void limits_of_the_floor_are_read(void **state) {
    (void)state;
    static const char REST[] = "placements:\n  - { sheet: B, from: rear-axle, x_mm: 0, y_mm: 0, "
                               "yaw_deg: 0, limits: {} }\n";
    tr_layout layout;
    char text[1024];
    snprintf(text, sizeof text,
             "layout: L\nvehicle: V\naxes: rear-axle\n"
             "floor: { limits: { slope_deg: 0.3, level_deg: 1, out_of_flat_mm: 5 } }\n%s",
             REST);
    read_text(&layout, text);
    CHECK_NEAR(layout.floor_limit[TR_LIMIT_SLOPE], 0.3 * TR_RAD_PER_DEG, 1e-17);
    CHECK_NEAR(layout.floor_limit[TR_LIMIT_TILT], 0, 0);
    CHECK_NEAR(layout.floor_limit[TR_LIMIT_LEVEL], TR_RAD_PER_DEG, 1e-17);
    CHECK_NEAR(layout.floor_limit[TR_LIMIT_OUT_OF_FLAT], 5, 0);
    tr_layout_release(&layout);
    snprintf(text, sizeof text, "layout: L\nvehicle: V\naxes: rear-axle\n%s", REST);
    read_text(&layout, text);
    for (int k = 0; k < TR_N_FLOOR_LIMITS; k++) CHECK_NEAR(layout.floor_limit[k], 0, 0);
    tr_layout_release(&layout);
}

static void axes_have_the_keys_of_the_file(void **state) {
    (void)state;
    static const char *const KEYS[] = {"x_mm", "y_mm", "z_mm", "yaw_deg", "pitch_deg", "roll_deg"};
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        assert_string_equal(tr_axis_key(axis), KEYS[axis]);
        assert_int_equal(tr_axis_is_angle(axis), strstr(KEYS[axis], "_deg") != NULL);
    }
}

/* tests/good/NAME, where NAME is written in the job file. */
static void check_photo(const tr_job *job, int i, const char *name) {
    char path[TEMP_SIZE];
    char relative[64];
    snprintf(relative, sizeof relative, "tests/good/%s", name);
    assert_string_equal(job->photos[i], source_path(path, relative));
}

static void a_job_is_read_with_all_that_it_names(void **state) {
    (void)state;
    char path[TEMP_SIZE];
    tr_job job;
    tr_error err = {0};
    if (!tr_job_read(source_path(path, "tests/good/job.yaml"), &job, &err)) {
        fail_msg("%s:%d '%s' %s", err.file, err.line, err.key, err.text);
    }
    assert_string_equal(job.path, path);
    assert_string_equal(job.id, "J-0147");
    assert_string_equal(job.vehicle_id, "1M8GDM9AXKP042788");
    assert_int_equal(tr_vin_check(job.vehicle_id), TR_VIN_OK);
    assert_string_equal(job.technician, "T-04");
    assert_int_equal(job.n_lenses, 1);
    assert_string_equal(job.lenses[0].id, "bay-2-tablet");
    assert_string_equal(job.layout.id, "DEMO-REAR");
    assert_int_equal(job.n_sheets, 5);
    assert_int_equal(tr_job_find_sheet(&job, "MAT-7"), 0);
    assert_int_equal(tr_job_find_sheet(&job, "PLATE-D"), 4);
    assert_int_equal(tr_job_find_sheet(&job, "PLATE-E"), -1);
    assert_int_equal(job.n_references, 4);
    assert_int_equal(job.references[0].point, TR_REAR_LEFT);
    assert_int_equal(job.references[0].sheet, 1);
    assert_int_equal(job.references[3].point, TR_FRONT_RIGHT);
    assert_int_equal(job.references[3].sheet, 4);
    CHECK_NEAR(job.references[3].at_mm.x, 0, 0);
    CHECK_NEAR(job.reference_sd_mm, 1, 0);
    assert_int_equal(job.n_photos, 2);
    check_photo(&job, 0, "photos/1.jpg");
    check_photo(&job, 1, "photos/2.jpg");
    tr_job_release(&job);
    tr_job_release(&job);
}

/* A job of good files, with other lines at its end; more: keys of its placement. */
static void read_job_of(const char *more, tr_job *job, const char *head, const char *references) {
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    char text[4096];
    const char *source = getenv("TRAMMEL_SOURCE");
    tr_error err = {0};
    assert_non_null(source);
    temp_make(folder);
    snprintf(text, sizeof text,
             "layout: L\nvehicle: V\naxes: rear-axle\nplacements:\n"
             "  - { sheet: MAT-7, from: rear-axle, x_mm: 0, y_mm: 0, %syaw_deg: 0, limits: {} }\n",
             more);
    temp_write(temp_path(path, folder, "layout.yaml"), text, strlen(text));
    snprintf(text, sizeof text,
             "%s\nlens: %s/tests/good/lens.yaml\nlayout: layout.yaml\n"
             "sheets: [%s/tests/good/mat-7.yaml, %s/tests/good/plate-a.yaml,\n"
             "  %s/tests/good/plate-b.yaml]\nreferences:\n%s",
             head, source, source, source, source, references);
    temp_write(temp_path(path, folder, "job.yaml"), text, strlen(text));
    bool is_read = tr_job_read(path, job, &err);
    temp_remove(folder);
    if (!is_read) fail_msg("%s:%d '%s' %s", err.file, err.line, err.key, err.text);
}

static void read_job(tr_job *job, const char *head, const char *references) {
    read_job_of("", job, head, references);
}

/* Where a sheet lies on the floor a value without a limit is harmless: it is only reported. */
static void a_floor_sheet_may_have_a_height(void **state) {
    (void)state;
    tr_job job;
    read_job_of("z_mm: 0, pitch_deg: 0, ", &job, "job: J",
                "  - { point: rear-right, sheet: PLATE-B }\n"
                "  - { point: rear-left, sheet: PLATE-A }\nreference_sd_mm: 1\n");
    assert_true(job.layout.placements[0].axis[TR_Z].is_required);
    assert_false(job.layout.placements[0].axis[TR_Z].is_judged);
    tr_job_release(&job);
}

static void what_is_optional_may_be_left_out(void **state) {
    (void)state;
    tr_job job;
    read_job(&job, "job: J",
             "  - { point: rear-right, sheet: PLATE-B, at_mm: [-60, 100] }\n"
             "  - { point: rear-left, sheet: PLATE-A }\nreference_sd_mm: 0\n");
    assert_string_equal(job.vehicle_id, "");
    assert_string_equal(job.technician, "");
    assert_int_equal(job.n_photos, 0);
    assert_null(job.photos);
    CHECK_NEAR(job.reference_sd_mm, 0, 0);
    assert_int_equal(job.references[0].point, TR_REAR_RIGHT);
    CHECK_NEAR(job.references[0].at_mm.x, -60, 0);
    CHECK_NEAR(job.references[0].at_mm.y, 100, 0);
    tr_job_release(&job);
}

static void a_level_lies_on_the_stand_or_on_a_sheet(void **state) {
    (void)state;
    static const char *const ON[] = {"stand", "PLATE-B"};
    static const char REFERENCES[] = "  - { point: rear-left, sheet: PLATE-A }\n"
                                     "  - { point: rear-right, sheet: PLATE-B }\n"
                                     "reference_sd_mm: 1\n";
    tr_job job;
    for (int i = 0; i < 2; i++) {
        char text[1024];
        snprintf(text, sizeof text,
                 "%slevel: { on: %s, along_deg: 0.12, across_deg: -0.05, sd_deg: 0.02 }\n",
                 REFERENCES, ON[i]);
        read_job(&job, "job: J", text);
        assert_true(job.level.is_given);
        assert_int_equal(job.level.sheet, i == 0 ? -1 : 2);
        CHECK_NEAR(job.level.along_rad, 0.12 * TR_RAD_PER_DEG, 1e-17);
        CHECK_NEAR(job.level.across_rad, -0.05 * TR_RAD_PER_DEG, 1e-17);
        CHECK_NEAR(job.level.sd_rad, 0.02 * TR_RAD_PER_DEG, 1e-17);
        tr_job_release(&job);
    }
    read_job(&job, "job: J", REFERENCES);
    assert_false(job.level.is_given);
    tr_job_release(&job);
}

static void a_bad_vehicle_number_is_kept(void **state) {
    (void)state;
    tr_job job;
    read_job(&job, "job: 147\nvehicle_id: 11111111111111112",
             "  - { point: rear-right, sheet: PLATE-B }\n"
             "  - { point: rear-left, sheet: PLATE-A }\nreference_sd_mm: 1e-1\nphotos: []\n");
    assert_string_equal(job.id, "147");
    assert_string_equal(job.vehicle_id, "11111111111111112");
    assert_int_equal(tr_vin_check(job.vehicle_id), TR_VIN_CHECK_DIFFERS);
    CHECK_NEAR(job.reference_sd_mm, 0.1, 0);
    tr_job_release(&job);
}

/* Profiles a, b and c beside each other, of different names; the job with other photos and lens. */
static void read_job_with(tr_job *job, const char *lens, const char *photos) {
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    char text[4096];
    const char *source = getenv("TRAMMEL_SOURCE");
    tr_error err = {0};
    assert_non_null(source);
    temp_make(folder);
    for (const char *c = "abc"; *c; c++) {
        char name = *c;
        char file[] = "?.yaml";
        file[0] = name;
        snprintf(text, sizeof text,
                 "lens: camera-%c\nmodel: brown5\nimage_px: [4000, 3000]\nfx_px: 3000\n"
                 "fy_px: 3000\ncx_px: 2000\ncy_px: 1500\ndistortion: [0, 0, 0, 0, 0]\n",
                 name);
        temp_write(temp_path(path, folder, file), text, strlen(text));
    }
    snprintf(
        text, sizeof text,
        "job: J\nlens: %s\nlayout: %s/tests/good/layout.yaml\nsheets: [%s/tests/good/mat-7.yaml, "
        "%s/tests/good/plate-a.yaml, %s/tests/good/plate-b.yaml, %s/tests/good/plate-c.yaml, "
        "%s/tests/good/plate-d.yaml]\nreferences:\n"
        "  - { point: rear-left, sheet: PLATE-A }\n  - { point: rear-right, sheet: PLATE-B }\n"
        "  - { point: front-left, sheet: PLATE-C }\n"
        "  - { point: front-right, sheet: PLATE-D }\nreference_sd_mm: 1\n%s",
        lens, source, source, source, source, source, source, photos);
    temp_write(temp_path(path, folder, "job.yaml"), text, strlen(text));
    bool is_read = tr_job_read(path, job, &err);
    temp_remove(folder);
    if (!is_read) fail_msg("%s:%d '%s' %s", err.file, err.line, err.key, err.text);
}

static void a_job_may_have_several_lenses(void **state) {
    (void)state;
    tr_job job;
    read_job_with(&job, "[b.yaml, a.yaml]", "");
    assert_int_equal(job.n_lenses, 2);
    assert_int_equal(job.n_only_named, 0);
    assert_string_equal(job.lenses[0].id, "camera-b");
    assert_string_equal(job.lenses[1].id, "camera-a");
    assert_null(job.photo_lens);
    tr_job_release(&job);
}

/* A profile that only photos name is read once, and is no choice for photos that name none. */
static void photos_may_name_their_lens(void **state) {
    (void)state;
    tr_job job;
    read_job_with(&job, "a.yaml",
                  "photos: [1.jpg, { file: 2.jpg, lens: c.yaml }, { lens: a.yaml, file: 3.jpg },\n"
                  "  { file: 4.jpg, lens: c.yaml }]\n");
    assert_int_equal(job.n_lenses, 2);
    assert_int_equal(job.n_only_named, 1);
    assert_string_equal(job.lenses[1].id, "camera-c");
    static const int LENS[] = {-1, 1, 0, 1};
    assert_int_equal(job.n_photos, 4);
    for (int i = 0; i < 4; i++) {
        char name[TEMP_SIZE];
        snprintf(name, sizeof name, "/%d.jpg", i + 1);
        assert_non_null(strstr(job.photos[i], name));
        assert_int_equal(job.photo_lens[i], LENS[i]);
    }
    tr_job_release(&job);
}

static void a_lens_may_be_unknown(void **state) {
    (void)state;
    tr_job job;
    read_job_with(&job, "unknown", "photos: [1.jpg, 2.jpg]\n");
    assert_int_equal(job.n_lenses, 1);
    assert_int_equal(job.n_only_named, 0);
    assert_true(job.lenses[0].is_unknown);
    assert_int_equal(job.lenses[0].width_px, 0);
    assert_int_equal(job.photo_lens[1], -1);
    tr_job_release(&job);
    /* A profile in a file of that name. */
    read_job_with(&job, "./a.yaml", "");
    assert_false(job.lenses[0].is_unknown);
    tr_job_release(&job);
}

static void wheel_points_have_the_words_of_the_file(void **state) {
    (void)state;
    assert_string_equal(tr_wheel_point_name(TR_FRONT_LEFT), "front-left");
    assert_string_equal(tr_wheel_point_name(TR_FRONT_RIGHT), "front-right");
    assert_string_equal(tr_wheel_point_name(TR_REAR_LEFT), "rear-left");
    assert_string_equal(tr_wheel_point_name(TR_REAR_RIGHT), "rear-right");
}

static void free_areas_are_read(void **state) {
    (void)state;
    tr_layout layout;
    read_text(&layout,
              "layout: L\nvehicle: V\naxes: thrust\nplacements:\n"
              "  - { sheet: B, from: front-axle, x_mm: 0, y_mm: 0, yaw_deg: 0, limits: {} }\n"
              "free_areas:\n"
              "  - { from: front-axle, height_mm: 800, corners_mm: [[0, 0], [9, 0], [0, 7]] }\n"
              "  - name: left\n"
              "    from: { x: emblem, y: rear-axle }\n"
              "    height_mm: 0.5\n"
              "    corners_mm: [[-1.5, 2], [3, 4], [3, 8], [1, 5]]\n");
    assert_int_equal(layout.n_free_areas, 2);
    const tr_free_area *a = &layout.free_areas[0];
    assert_string_equal(a->name, "free area 1");
    assert_int_equal(a->from[0].kind, TR_FROM_FRONT_AXLE);
    assert_int_equal(a->from[1].kind, TR_FROM_FRONT_AXLE);
    CHECK_NEAR(a->height_mm, 800, 0);
    assert_int_equal(a->n_corners, 3);
    CHECK_NEAR(a->corners_mm[2].y, 7, 0);
    a = &layout.free_areas[1];
    assert_string_equal(a->name, "left");
    assert_int_equal(a->from[0].kind, TR_FROM_POINT);
    assert_string_equal(a->from[0].name, "emblem");
    assert_int_equal(a->from[1].kind, TR_FROM_REAR_AXLE);
    assert_int_equal(a->n_corners, 4);
    CHECK_NEAR(a->corners_mm[0].x, -1.5, 0);
    tr_layout_release(&layout);
}

static void polygons_are_simple_or_not(void **state) {
    (void)state;
    static const struct {
        int n, edge, other; /* edge -1: it is simple */
        tr_vec2 corners[6];
    } CASES[] = {
        {3, -1, -1, {{0, 0}, {4, 0}, {0, 3}}},
        {3, -1, -1, {{0, 0}, {0, 3}, {4, 0}}},                       /* the other way round */
        {4, 1, 3, {{0, 0}, {4, 0}, {0, 3}, {4, 3}}},                 /* a bow */
        {5, -1, -1, {{0, 0}, {4, 0}, {4, 3}, {2, 1}, {0, 3}}},       /* a notch */
        {5, 0, 2, {{0, 0}, {4, 0}, {4, 3}, {2, 0}, {0, 3}}},         /* that touches an edge */
        {5, 0, 2, {{0, 0}, {4, 0}, {4, 3}, {2, -1}, {0, 3}}},        /* that passes it */
        {4, 2, 2, {{0, 0}, {4, 0}, {4, 3}, {4, 3}}},                 /* a corner twice */
        {4, 0, 1, {{0, 0}, {4, 0}, {2, 0}, {0, 3}}},                 /* there and back */
        {4, -1, -1, {{0, 0}, {2, 0}, {4, 0}, {0, 3}}},               /* a corner that is none */
        {6, 1, 4, {{0, 0}, {4, 0}, {4, 3}, {6, 6}, {0, 3}, {4, 2}}}, /* meets a corner's edge */
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        int edge = -1;
        int other = -1;
        bool is_simple = tr_polygon_is_simple(CASES[i].corners, CASES[i].n, &edge, &other);
        assert_int_equal(is_simple, CASES[i].edge < 0);
        if (is_simple) continue;
        assert_int_equal(edge, CASES[i].edge);
        assert_int_equal(other, CASES[i].other);
    }
    const tr_vec2 *notch = CASES[3].corners;
    assert_true(tr_polygon_has(notch, 5, tr_v2(2, 0.5)));
    assert_false(tr_polygon_has(notch, 5, tr_v2(2, 1.5)));
    assert_true(tr_polygon_has(notch, 5, tr_v2(0.5, 1.5)));
    assert_false(tr_polygon_has(notch, 5, tr_v2(5, 1)));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_layout_is_read),
        cmocka_unit_test(a_board_takes_all_six_axes),
        cmocka_unit_test(limits_may_be_empty),
        cmocka_unit_test(free_areas_are_read),
        cmocka_unit_test(polygons_are_simple_or_not),
        cmocka_unit_test(limits_of_the_floor_are_read),
        cmocka_unit_test(axes_have_the_keys_of_the_file),
        cmocka_unit_test(a_job_is_read_with_all_that_it_names),
        cmocka_unit_test(a_floor_sheet_may_have_a_height),
        cmocka_unit_test(what_is_optional_may_be_left_out),
        cmocka_unit_test(a_level_lies_on_the_stand_or_on_a_sheet),
        cmocka_unit_test(a_bad_vehicle_number_is_kept),
        cmocka_unit_test(a_job_may_have_several_lenses),
        cmocka_unit_test(photos_may_name_their_lens),
        cmocka_unit_test(a_lens_may_be_unknown),
        cmocka_unit_test(wheel_points_have_the_words_of_the_file),
    };
    return cmocka_run_group_tests_name("job", tests, NULL, NULL);
}
