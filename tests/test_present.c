/* What people and programs are shown of a check. The checks are made up here, without photos'
   measurement: a mat behind a car, four plates, and a photo of it drawn through a wide lens. */
#include "check.h"

#include <jansson.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "check/check.h"
#include "findings.h"
#include "draw.h"
#include "image/image.h"
#include "present/canvas.h"
#include "present/cautions.h"
#include "present/check_json.h"
#include "base/json.h"
#include "base/wrap.h"
#include "present/check_text.h"
#include "present/picture.h"
#include "present/survey_text.h"
#include "present/words.h"

enum { MAT, BOARD, PLATE_A, PLATE_B, PLATE_C, PLATE_D, N_SHEETS };
enum { N_PHOTOS = 3, N_TAGS = 6, N_CORNERS = 15, WIDTH = 1200, HEIGHT = 900 };

/* Everything that a check points to, in one place without an owner. */
typedef struct {
    tr_job job;
    tr_sheet sheets[N_SHEETS];
    tr_tag tags[N_TAGS];
    tr_vec2 corners[N_CORNERS];
    tr_placement placements[2];
    tr_reference references[4];
    tr_check check;
    tr_photo photos[N_PHOTOS];
    tr_mark marks[N_TAGS + N_CORNERS];
    tr_sheet_result results[N_SHEETS];
    tr_target_result targets[2];
    tr_plate_result points[4];
    char files[N_PHOTOS][256];
} scene;

static tr_pose floor_pose(double x_mm, double y_mm, double yaw_rad) {
    tr_mat3 flat = {{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}}}; /* sheet's +y forward, +x to the right */
    return (tr_pose){tr_m3_mul(tr_rotation_z(yaw_rad), flat), {x_mm, y_mm, 0}};
}

/* A camera at `from` that looks at `at`, its image upright. */
static tr_pose camera_looking(tr_vec3 from, tr_vec3 at) {
    tr_vec3 z = tr_v3_sub(at, from);
    z = tr_v3_scale(1 / tr_v3_norm(z), z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    x = tr_v3_scale(1 / tr_v3_norm(x), x);
    tr_pose vehicle_from_camera = {tr_m3_from_columns(x, tr_v3_cross(z, x), z), from};
    return tr_pose_inverse(vehicle_from_camera);
}

static tr_pose turned_camera(tr_pose camera_from_vehicle, double angle_rad) {
    return tr_pose_mul((tr_pose){tr_rotation_z(angle_rad), {0, 0, 0}}, camera_from_vehicle);
}

/* ---- The job ---- */

static void make_sheets(scene *s) {
    static const char *const IDS[N_SHEETS] = {"MAT-7",   "BOARD-2", "PLATE-A",
                                              "PLATE-B", "PLATE-C", "PLATE-D"};
    for (int i = 0; i < N_SHEETS; i++) {
        snprintf(s->sheets[i].id, sizeof s->sheets[i].id, "%s", IDS[i]);
        s->sheets[i].kind = i == MAT ? TR_SHEET_MAT : i == BOARD ? TR_SHEET_BOARD : TR_SHEET_PLATE;
        s->sheets[i].width_mm = i == MAT ? 1600 : i == BOARD ? 1200 : 200;
        s->sheets[i].height_mm = i == MAT ? 1000 : i == BOARD ? 800 : 200;
    }
    snprintf(s->sheets[MAT].title, sizeof s->sheets[MAT].title, "Rear floor mat, 1600 x 1000");
    snprintf(s->sheets[BOARD].title, sizeof s->sheets[BOARD].title, "Front board, 1200 x 800");
    for (int i = 0; i < N_TAGS; i++) {
        s->tags[i] = (tr_tag){.id = 40 + i,
                              .centre_mm = {-650 + 650 * (i % 3), i < 3 ? -350 : 350},
                              .size_mm = 160,
                              .line = 1};
    }
    for (int i = 0; i < N_CORNERS; i++) {
        s->corners[i] = tr_v2(-400 + 200 * (i % 5), -150 + 150 * (i / 5));
    }
    s->sheets[MAT].tags = s->tags;
    s->sheets[MAT].n_tags = N_TAGS;
    s->sheets[MAT].corners_mm = s->corners;
    s->sheets[MAT].n_corners = N_CORNERS;
}

static void require(tr_placement *p, tr_axis axis, double required, double limit) {
    p->axis[axis] = (tr_requirement){true, limit > 0, required, limit};
}

static void make_job(scene *s, int n_placements) {
    static const tr_wheel_point POINTS[4] = {TR_REAR_LEFT, TR_REAR_RIGHT, TR_FRONT_LEFT,
                                             TR_FRONT_RIGHT};
    make_sheets(s);
    tr_job *job = &s->job;
    snprintf(job->id, sizeof job->id, "J-0147");
    snprintf(job->vehicle_id, sizeof job->vehicle_id, "1M8GDM9AXKP042788");
    job->sheets = s->sheets;
    job->n_sheets = N_SHEETS;
    job->references = s->references;
    job->n_references = 4;
    for (int i = 0; i < 4; i++)
        s->references[i] = (tr_reference){.point = POINTS[i], .sheet = PLATE_A + i};
    job->reference_sd_mm = 1;
    snprintf(job->layout.id, sizeof job->layout.id, "DEMO-REAR");
    snprintf(job->layout.vehicle, sizeof job->layout.vehicle, "Demo estate car");
    job->layout.wheelbase_mm = 2700;
    job->layout.track_rear_mm = 1750;
    job->layout.placements = s->placements;
    job->layout.n_placements = n_placements;
    snprintf(s->placements[0].sheet, sizeof s->placements[0].sheet, "MAT-7");
    s->placements[0].from[0].kind = s->placements[0].from[1].kind = TR_FROM_REAR_AXLE;
    require(&s->placements[0], TR_X, -1800, 10);
    require(&s->placements[0], TR_Y, 0, 10);
    require(&s->placements[0], TR_YAW, 0, 0.5 * TR_RAD_PER_DEG);
    snprintf(s->placements[1].sheet, sizeof s->placements[1].sheet, "BOARD-2");
    s->placements[1].from[0].kind = s->placements[1].from[1].kind = TR_FROM_FRONT_AXLE;
    require(&s->placements[1], TR_X, 1500, 10);
    require(&s->placements[1], TR_Y, 0, 10);
    require(&s->placements[1], TR_Z, 1250, 5);
    require(&s->placements[1], TR_YAW, 0, 0.3 * TR_RAD_PER_DEG);
    require(&s->placements[1], TR_PITCH, 0, 0);
}

/* ---- The check ---- */

static void measure(tr_target_result *t, const tr_placement *p, tr_axis axis, double error,
                    double u95) {
    tr_axis_result *r = &t->axis[axis];
    r->is_measured = true;
    r->error = error;
    r->measured = p->axis[axis].required + error;
    r->u95 = u95;
    r->u95_of[TR_FROM_MARKS] = 0.6 * u95;
    r->u95_of[TR_FROM_LENS] = 0.0;
    r->u95_of[TR_FROM_PLATES] = 0.8 * u95;
    r->verdict = tr_verdict_decide(error, u95, r->limit);
    if (r->is_judged) t->verdict = tr_verdict_join(t->verdict, r->verdict);
}

static void make_target(scene *s, int i) {
    tr_target_result *t = &s->targets[i];
    memcpy(t->from, s->placements[i].from, sizeof t->from);
    t->sheet = i == 0 ? MAT : BOARD;
    t->verdict = TR_INCONCLUSIVE; /* until it is placed */
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        const tr_requirement *q = &s->placements[i].axis[axis];
        t->axis[axis].is_required = q->is_required;
        t->axis[axis].is_judged = q->is_judged;
        t->axis[axis].required = q->required;
        t->axis[axis].limit = q->limit;
        t->axis[axis].verdict = TR_INCONCLUSIVE;
    }
    t->vehicle_from_required = floor_pose(-1800, 0, 0);
    if (i == 1) {
        /* right is the vehicle's right, up is up, the face looks backward */
        tr_mat3 upright = {{{0, 0, -1}, {-1, 0, 0}, {0, 1, 0}}};
        t->vehicle_from_required = (tr_pose){upright, {2700 + 1500, 0, 1250}};
    }
}

/* The mat lies off by that much, mm and degrees, each axis with a u95 of so many limits / 10. */
static void place_mat(scene *s, double x, double y, double yaw_deg, double u95) {
    tr_target_result *t = &s->targets[0];
    t->verdict = TR_PASS;
    measure(t, &s->placements[0], TR_X, x, u95);
    measure(t, &s->placements[0], TR_Y, y, u95);
    measure(t, &s->placements[0], TR_YAW, yaw_deg * TR_RAD_PER_DEG, u95 / 20 * TR_RAD_PER_DEG);
    measure(t, &s->placements[0], TR_Z, 0.4, 1.1);
    measure(t, &s->placements[0], TR_PITCH, 0.0003, 0.0009);
    measure(t, &s->placements[0], TR_ROLL, -0.0002, 0.0009);
    t->is_to_move = true;
    s->results[MAT] =
        (tr_sheet_result){.is_placed = true,
                          .n_photos = 2,
                          .n_marks = 39,
                          .vehicle_from_sheet = floor_pose(-1800 + x, y, yaw_deg * TR_RAD_PER_DEG)};
    s->check.result.verdict = t->verdict;
}

static void place_board(scene *s, double x, double y, double z, double yaw_deg) {
    tr_target_result *t = &s->targets[1];
    t->verdict = TR_PASS;
    measure(t, &s->placements[1], TR_X, x, 2.1);
    measure(t, &s->placements[1], TR_Y, y, 1.9);
    measure(t, &s->placements[1], TR_Z, z, 0.9);
    measure(t, &s->placements[1], TR_YAW, yaw_deg * TR_RAD_PER_DEG, 0.0008);
    measure(t, &s->placements[1], TR_PITCH, 0.002, 0.0009);
    measure(t, &s->placements[1], TR_ROLL, -0.001, 0.0009);
    tr_pose pose = t->vehicle_from_required;
    pose.R = tr_m3_mul(tr_rotation_z(yaw_deg * TR_RAD_PER_DEG), pose.R);
    pose.t_mm = tr_v3_add(pose.t_mm, tr_v3(x, y, z));
    s->results[BOARD] = (tr_sheet_result){
        .is_placed = true, .n_photos = 2, .n_marks = 24, .vehicle_from_sheet = pose};
    s->check.result.verdict = tr_verdict_join(s->check.result.verdict, t->verdict);
}

static void make_photos(scene *s) {
    s->check.set.photos = s->photos;
    s->check.set.n_photos = N_PHOTOS;
    for (int i = 0; i < N_PHOTOS; i++) {
        tr_photo *photo = &s->photos[i];
        snprintf(s->files[i], sizeof s->files[i], "photos/%d.jpg", i + 1);
        photo->file = s->files[i];
        snprintf(photo->name, sizeof photo->name, "%d.jpg", i + 1);
        snprintf(photo->sha256, sizeof photo->sha256, "%064d", i);
        photo->width_px = WIDTH;
        photo->height_px = HEIGHT;
        photo->is_readable = photo->is_used = i < 2;
        photo->n_marks = i < 2 ? 31 + i : 0;
        photo->rms_px = 0.09;
        photo->camera_from_vehicle =
            camera_looking(tr_v3(-3700, 500 - 1000 * i, 1650), tr_v3(-1500, 0, 0));
        photo->quality = (tr_photo_quality){.grade = TR_PHOTO_GOOD,
                                            .has_marks = true,
                                            .sharpness_px = 0.75,
                                            .contrast = 140,
                                            .has_tags = true,
                                            .tag_px = 60.5,
                                            .cell_px = 5.25,
                                            .overexposed_part = 0.125,
                                            .has_elevation = true,
                                            .elevation_rad = 30 * TR_RAD_PER_DEG};
    }
    assert_true(tr_note(MARKS_DO_NOT_TIE, &s->photos[2].why_not, NULL));
}

static scene *make_scene(int n_placements) {
    static const double POINTS[4][2] = {{0, 875}, {0, -875}, {2699, 880}, {2699, -880}};
    scene *s = calloc(1, sizeof *s);
    assert_non_null(s);
    make_job(s, n_placements);
    tr_check *check = &s->check;
    check->job = &s->job;
    check->set.request = (tr_photo_request){.lenses = s->job.lenses, .n_lenses = 1};
    tr_check_result *result = &check->result;
    result->sheets = s->results;
    result->n_sheets = N_SHEETS;
    result->targets = s->targets;
    result->n_targets = n_placements;
    result->plates = s->points;
    result->n_plates = 4;
    check->lenses[0] = (tr_lens){.id = "wide",
                                 .width_px = WIDTH,
                                 .height_px = HEIGHT,
                                 .param = {820, 820, 597, 452, -0.21, 0.05, 0, 0, 0}};
    for (int i = 0; i < N_PHOTOS; i++) s->photos[i].own_lens = check->lenses[0];
    result->variance_factor = 1.02;
    result->degrees_of_freedom = 240;
    result->wheelbase = (tr_length_result){true, 2699.1, 2.1, 2700};
    result->track_front = (tr_length_result){true, 1760.4, 2.2, 0};
    result->track_rear = (tr_length_result){true, 1750.3, 2.0, 1750};
    for (int i = 0; i < 4; i++) {
        s->points[i].is_placed = true;
        s->points[i].at_mm = tr_v3(POINTS[i][0], POINTS[i][1], 0);
        s->results[PLATE_A + i] = (tr_sheet_result){.is_placed = true,
                                                    .n_photos = i == 2 ? 1 : 2,
                                                    .n_marks = 8,
                                                    .vehicle_from_sheet = floor_pose(0, 0, 0)};
    }
    for (int i = 0; i < n_placements; i++) make_target(s, i);
    make_photos(s);
    result->verdict = TR_INCONCLUSIVE;
    return s;
}

static void free_scene(scene *s) {
    tr_findings_release(&s->photos[2].why_not);
    tr_findings_release(&s->check.result.findings);
    tr_photo_results_release(s->check.result.photos, s->check.result.n_photos);
    free(s->check.result.order);
    free(s->check.result.preconditions);
    free(s);
}

/* The scene's result as it is now; why: there is no measurement. */
static const tr_check_result *result_of(scene *s, const tr_error *why) {
    tr_error err = {0};
    if (!tr_check_finish(&s->check, why, &err)) fail_msg("%s", err.text);
    return &s->check.result;
}

/* tr_note, of a scene. */
#define NOTE(s, NAME, ...) assert_true(tr_note(NAME, &(s)->check.result.findings, __VA_ARGS__))

/* ---- The photo ---- */

/* Black or white of the mat's face: tags with made-up cells, checker squares, a border. */
static bool is_black(const scene *s, tr_vec2 p) {
    for (int i = 0; i < N_TAGS; i++) {
        tr_vec2 d = tr_v2_sub(p, s->tags[i].centre_mm);
        if (fabs(d.x) > 80 || fabs(d.y) > 80) continue;
        int column = (int)((d.x + 80) / 20);
        int row = (int)((d.y + 80) / 20);
        if (column < 1 || column > 6 || row < 1 || row > 6) return true;
        return ((unsigned)(column * 7 + row * 13 + i * 5) * 2654435761u >> 7) & 1;
    }
    if (fabs(p.x) < 500 && fabs(p.y) < 225) {
        return ((int)floor((p.x + 1000) / 200) + (int)floor((p.y + 750) / 150)) % 2 == 0;
    }
    return false;
}

static double shade_at(const scene *s, tr_pose sheet_from_vehicle, tr_vec3 p_vehicle) {
    tr_vec3 p = tr_pose_apply(sheet_from_vehicle, p_vehicle);
    if (fabs(p.x) <= 800 && fabs(p.y) <= 500) return is_black(s, tr_v2(p.x, p.y)) ? 25 : 225;
    for (int i = 0; i < 4; i++) {
        tr_vec3 d = tr_v3_sub(p_vehicle, s->points[i].at_mm);
        if (fabs(d.x) < 100 && fabs(d.y) < 100) return fabs(d.x) < 60 && fabs(d.y) < 60 ? 30 : 230;
    }
    return 118 + 12 * sin(p_vehicle.x / 90) * sin(p_vehicle.y / 70);
}

/* Draws what the camera of that photo sees, writes it as the photo's file and notes its marks. */
static void make_photo_file(scene *s, int i, const char *path) {
    tr_photo *photo = &s->photos[i];
    tr_error err = {0};
    tr_image image;
    assert_true(tr_image_init(&image, photo->width_px, photo->height_px, &err));
    tr_pose vehicle_from_camera = tr_pose_inverse(photo->camera_from_vehicle);
    tr_pose sheet_from_vehicle = tr_pose_inverse(s->results[MAT].vehicle_from_sheet);
    tr_draw noise = draw_seeded("photo");
    for (int v = 0; v < image.height; v++) {
        for (int u = 0; u < image.width; u++) {
            double grey = 70;
            tr_vec2 xy;
            if (tr_lens_undistort(s->check.lenses, tr_v2(u, v), &xy)) {
                tr_vec3 d = tr_m3_apply(vehicle_from_camera.R, tr_v3(xy.x, xy.y, 1));
                double reach = -vehicle_from_camera.t_mm.z / d.z;
                if (reach > 0 && reach < 9000) {
                    tr_vec3 p = tr_v3_add(vehicle_from_camera.t_mm, tr_v3_scale(reach, d));
                    grey = shade_at(s, sheet_from_vehicle, p);
                }
            }
            image.px[v * image.width + u] = (uint8_t)(grey + 3 * draw_normal(&noise) + 8);
        }
    }
    assert_true(tr_image_write_png(&image, path, &err));
    tr_image_release(&image);
    uint8_t *data;
    size_t size;
    assert_true(tr_file_read(path, (size_t)1 << 30, &data, &size, &err));
    tr_sha256_hex(data, size, photo->sha256);
    free(data);
    snprintf(s->files[i], sizeof s->files[i], "%s", path);
    photo->marks.marks = s->marks;
    photo->marks.n_marks = 0;
    for (int k = 0; k < N_TAGS + N_CORNERS; k++) {
        tr_mark mark = {.kind = k < N_TAGS ? TR_MARK_TAG : TR_MARK_CORNER, .sheet = MAT};
        mark.n_points = k < N_TAGS ? 4 : 1;
        bool is_seen = true;
        for (int c = 0; c < mark.n_points; c++) {
            tr_vec2 p = k < N_TAGS ? tr_tag_corner(&s->tags[k], c) : s->corners[k - N_TAGS];
            tr_vec3 q = tr_pose_apply(s->results[MAT].vehicle_from_sheet, tr_v3(p.x, p.y, 0));
            q = tr_pose_apply(photo->camera_from_vehicle, q);
            is_seen = is_seen && tr_lens_project(s->check.lenses, q, &mark.uv_px[c], NULL, NULL);
        }
        if (is_seen) s->marks[photo->marks.n_marks++] = mark;
    }
}

/* ---- JSON ---- */

/* Keys in their order, separated by blanks. */
static const char *keys_of(json_t *object, char *out, size_t size) {
    const char *key;
    json_t *value;
    size_t n = 0;
    out[0] = 0;
    json_object_foreach(object, key, value) {
        n += (size_t)snprintf(out + n, size - n, "%s%s", n ? " " : "", key);
    }
    return out;
}

/* What a program reads: the text, parsed again. */
static json_t *reread(json_t *json) {
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    assert_non_null(out);
    assert_non_null(json);
    assert_true(tr_json_print(json, out));
    assert_int_equal(fclose(out), 0);
    assert_int_equal(text[size - 1], '\n');
    assert_ptr_equal(strchr(text, '\n'), text + size - 1);
    json_error_t error;
    json_t *read = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    assert_non_null(read);
    free(text);
    json_decref(json);
    return read;
}

static json_t *at(json_t *json, const char *key) {
    json_t *value = json_object_get(json, key);
    if (!value) print_error("no key %s\n", key);
    assert_non_null(value);
    return value;
}

static void check_number(json_t *json, const char *key, double expected, double tol) {
    assert_true(json_is_number(at(json, key)));
    CHECK_NEAR(json_number_value(at(json, key)), expected, tol);
}

static void json_has_the_contracts_keys_and_values(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 12.1, 1.2, 0.91, 2.2);
    NOTE(s, LENS_WITHOUT_COVARIANCE, NULL, "bay-2");
    json_t *json = reread(tr_check_json(result_of(s, NULL)));
    char keys[512];
    assert_string_equal(keys_of(json, keys, sizeof keys),
                        "job layout verdict targets references sheets photos warnings left_out "
                        "variance_factor degrees_of_freedom vehicle vehicle_id technician "
                        "reference_sd_mm flatness_limit_mm steady_camera program");
    assert_string_equal(json_string_value(at(json, "job")), "J-0147");
    assert_string_equal(json_string_value(at(json, "layout")), "DEMO-REAR");
    assert_string_equal(json_string_value(at(json, "verdict")), "fail");

    json_t *target = json_array_get(at(json, "targets"), 0);
    assert_string_equal(keys_of(target, keys, sizeof keys),
                        "sheet verdict photos marks x_mm y_mm z_mm yaw_deg pitch_deg roll_deg "
                        "moves from measured_by required_pose photo");
    assert_int_equal(json_integer_value(at(target, "photos")), 2);
    assert_int_equal(json_integer_value(at(target, "marks")), 39);
    json_t *x = at(target, "x_mm");
    assert_string_equal(keys_of(x, keys, sizeof keys),
                        "required measured error u95 limit verdict budget");
    check_number(x, "required", -1800, 0);
    check_number(x, "measured", -1787.9, 1e-12);
    check_number(x, "error", 12.1, 0);
    check_number(x, "u95", 2.2, 0);
    check_number(x, "limit", 10, 0);
    assert_string_equal(json_string_value(at(x, "verdict")), "inconclusive");
    check_number(at(x, "budget"), "plates", 0.8 * 2.2, 1e-12);
    json_t *yaw = at(target, "yaw_deg");
    check_number(yaw, "limit", 0.5, 0);
    check_number(yaw, "error", 0.91, 1e-12);
    check_number(yaw, "u95", 0.11, 1e-12);
    assert_string_equal(json_string_value(at(yaw, "verdict")), "fail");
    /* Not asked for by the layout: reported alone. */
    assert_string_equal(keys_of(at(target, "z_mm"), keys, sizeof keys), "measured u95 budget");
    assert_true(json_array_size(at(target, "moves")) > 0);

    json_t *references = at(json, "references");
    assert_string_equal(keys_of(references, keys, sizeof keys),
                        "wheelbase_mm track_front_mm track_rear_mm stated plates");
    check_number(at(references, "wheelbase_mm"), "measured", 2699.1, 0);
    check_number(at(references, "wheelbase_mm"), "stated", 2700, 0);
    assert_null(json_object_get(at(references, "track_front_mm"), "stated"));

    json_t *photo = json_array_get(at(json, "photos"), 0);
    assert_string_equal(keys_of(photo, keys, sizeof keys),
                        "file sha256 used marks rms_px camera taken quality name image_px "
                        "marks_found lens_px camera_pose");
    assert_true(json_is_true(at(photo, "used")));
    photo = json_array_get(at(json, "photos"), 2);
    assert_string_equal(
        keys_of(photo, keys, sizeof keys),
        "file sha256 used marks rms_px camera taken quality reason why name image_px "
        "marks_found");
    assert_true(json_is_null(at(photo, "rms_px")));

    json_t *finding = json_array_get(at(json, "warnings"), 0);
    assert_string_equal(keys_of(finding, keys, sizeof keys),
                        "code text blocks_pass variant arguments");
    json_decref(json);
    free_scene(s);
}

/* Of a job without a lens profile: what the photos say of it, and what one would gain. */
static void json_tells_of_an_unknown_lens(void **state) {
    (void)state;
    char keys[512];
    scene *s = make_scene(1);
    place_mat(s, 12.1, 1.2, 0.91, 2.2);
    s->job.lenses[0].is_unknown = true;
    s->check.result.focal_u95 = 0.01;
    s->targets[0].axis[TR_X].u95_calibrated = 1.7;
    s->targets[0].axis[TR_YAW].u95_calibrated = 0.1 * TR_RAD_PER_DEG;
    json_t *json = reread(tr_check_json(result_of(s, NULL)));
    assert_string_equal(keys_of(json, keys, sizeof keys),
                        "job layout verdict targets references lens sheets photos warnings "
                        "left_out variance_factor degrees_of_freedom vehicle vehicle_id technician "
                        "reference_sd_mm flatness_limit_mm steady_camera program");
    json_t *lens = at(json, "lens");
    assert_string_equal(keys_of(lens, keys, sizeof keys), "known focal_px focal_u95_px");
    assert_true(json_is_false(at(lens, "known")));
    check_number(lens, "focal_px", 820, 0);
    check_number(lens, "focal_u95_px", 8.2, 1e-12);
    json_t *target = json_array_get(at(json, "targets"), 0);
    check_number(at(target, "x_mm"), "u95_with_profile", 1.7, 0);
    check_number(at(target, "yaw_deg"), "u95_with_profile", 0.1, 1e-12);
    assert_null(json_object_get(at(target, "y_mm"), "u95_with_profile"));
    json_decref(json);
    free_scene(s);
}

/* A good photo, a weak one, one that was not looked at. */
static void json_tells_how_good_each_photo_is(void **state) {
    (void)state;
    char keys[256];
    scene *s = make_scene(1);
    snprintf(s->photos[0].exif.camera.name, sizeof s->photos[0].exif.camera.name,
             "Example Phone 3");
    snprintf(s->photos[0].exif.taken, sizeof s->photos[0].exif.taken, "2026-03-02 10:15:07");
    s->photos[1].quality.grade = TR_PHOTO_WEAK;
    s->photos[1].quality.flaw = TR_FLAW_BLURRED;
    s->photos[2].quality = (tr_photo_quality){.grade = TR_PHOTO_UNUSABLE};
    json_t *json = reread(tr_check_json(result_of(s, NULL)));
    json_t *photo = json_array_get(at(json, "photos"), 0);
    json_t *quality = at(photo, "quality");
    assert_string_equal(json_string_value(at(photo, "camera")), "Example Phone 3");
    assert_string_equal(json_string_value(at(photo, "taken")), "2026-03-02 10:15:07");
    assert_string_equal(keys_of(quality, keys, sizeof keys),
                        "grade reason sharpness_px contrast overexposed tag_px cell_px "
                        "elevation_deg");
    assert_string_equal(json_string_value(at(quality, "grade")), "good");
    assert_true(json_is_null(at(quality, "reason")));
    check_number(quality, "sharpness_px", 0.75, 0);
    check_number(quality, "contrast", 140, 0);
    check_number(quality, "overexposed", 0.125, 0);
    check_number(quality, "tag_px", 60.5, 0);
    check_number(quality, "cell_px", 5.25, 0);
    check_number(quality, "elevation_deg", 30, 1e-12);
    photo = json_array_get(at(json, "photos"), 1);
    quality = at(photo, "quality");
    assert_true(json_is_null(at(photo, "camera")));
    assert_true(json_is_null(at(photo, "taken")));
    assert_string_equal(json_string_value(at(quality, "grade")), "weak");
    assert_string_equal(json_string_value(at(quality, "reason")),
                        tr_photo_flaw_text(TR_FLAW_BLURRED));
    quality = at(json_array_get(at(json, "photos"), 2), "quality");
    assert_string_equal(json_string_value(at(quality, "grade")), "unusable");
    assert_string_equal(json_string_value(at(quality, "reason")),
                        reason_text(&s->photos[2].why_not));
    assert_true(json_is_null(at(quality, "sharpness_px")));
    assert_true(json_is_null(at(quality, "contrast")));
    assert_true(json_is_null(at(quality, "tag_px")));
    assert_true(json_is_null(at(quality, "elevation_deg")));
    json_decref(json);
    free_scene(s);
}

static void json_keeps_every_digit(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 1.0 / 3, -2.0 / 7, 0.01, 0.1 + 0.2);
    json_t *json = reread(tr_check_json(result_of(s, NULL)));
    json_t *target = json_array_get(at(json, "targets"), 0);
    assert_true(json_number_value(at(at(target, "x_mm"), "error")) == 1.0 / 3);
    assert_true(json_number_value(at(at(target, "x_mm"), "u95")) == 0.1 + 0.2);
    json_decref(json);
    free_scene(s);
}

static void json_writes_null_for_what_is_not_measured(void **state) {
    (void)state;
    scene *s = make_scene(1);
    s->check.result.wheelbase.is_measured = false;
    s->check.result.variance_factor = NAN;
    s->photos[2].sha256[0] = 0;
    json_t *json = reread(tr_check_json(result_of(s, NULL)));
    json_t *target = json_array_get(at(json, "targets"), 0);
    json_t *x = at(target, "x_mm");
    assert_true(json_is_null(at(x, "measured")));
    assert_true(json_is_null(at(x, "error")));
    assert_true(json_is_null(at(x, "u95")));
    assert_string_equal(json_string_value(at(x, "verdict")), "inconclusive");
    assert_true(json_is_null(at(at(target, "roll_deg"), "measured")));
    assert_int_equal(json_object_size(at(at(json, "references"), "wheelbase_mm")), 0);
    assert_true(json_is_null(at(json, "variance_factor")));
    assert_true(json_is_null(at(json_array_get(at(json, "photos"), 2), "sha256")));
    json_decref(json);
    /* Numbers that are none, where a measurement is claimed, do not break the object either. */
    place_mat(s, NAN, INFINITY, 0, 1);
    json = reread(tr_check_json(result_of(s, NULL)));
    target = json_array_get(at(json, "targets"), 0);
    assert_true(json_is_null(at(at(target, "x_mm"), "error")));
    assert_true(json_is_null(at(at(target, "y_mm"), "measured")));
    json_decref(json);
    free_scene(s);
}

static void json_of_a_failure_is_one_object_too(void **state) {
    (void)state;
    scene *s = make_scene(1);
    s->check.result.n_targets = 0;
    NOTE(s, PHOTO_MIRRORED, NULL, "1.jpg");
    tr_error why = {0};
    tr_fail_at(&why, TR_BAD_INPUT, "layouts/a.yaml", 14, "placements[0].limits.x_mm", "is -10");
    json_t *json = reread(tr_check_json(result_of(s, &why)));
    assert_true(json_is_null(at(json, "verdict")));
    assert_string_equal(json_string_value(at(at(json, "error"), "file")), "layouts/a.yaml");
    assert_int_equal(json_integer_value(at(at(json, "error"), "line")), 14);
    assert_int_equal(json_array_size(at(json, "photos")), N_PHOTOS);
    assert_int_equal(json_array_size(at(json, "warnings")), 1);
    json_decref(json);
    /* Before the job was read. */
    json = reread(tr_check_json(&(tr_check_result){.why = why}));
    assert_true(json_is_null(at(json, "job")));
    assert_int_equal(json_array_size(at(json, "photos")), 0);
    json_decref(json);
    free_scene(s);
}

static void json_survives_names_that_are_no_text(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 1, 1, 0.1, 1);
    snprintf(s->files[0], sizeof s->files[0], "photos/\xff\xfe\"\\.jpg");
    snprintf(s->files[1], sizeof s->files[1], "photos/größe\n&<b>.jpg");
    json_t *json = reread(tr_check_json(result_of(s, NULL)));
    json_t *photos = at(json, "photos");
    assert_string_equal(json_string_value(at(json_array_get(photos, 0), "file")),
                        "photos/?\?\"\\.jpg");
    assert_string_equal(json_string_value(at(json_array_get(photos, 1), "file")), s->files[1]);
    json_decref(json);
    free_scene(s);
}

/* ---- Picture and text ---- */

/* A picture as it was written, and its bytes in memory. */
static cairo_surface_t *read_page(const char *path) {
    cairo_surface_t *page = cairo_image_surface_create_from_png(path);
    assert_int_equal(cairo_surface_status(page), CAIRO_STATUS_SUCCESS);
    assert_int_equal(cairo_image_surface_get_width(page), TR_PICTURE_WIDTH_PX);
    assert_int_equal(cairo_image_surface_get_height(page), TR_PICTURE_HEIGHT_PX);
    return page;
}

/* The colour of a pixel, to a few steps of 255; edges are a mixture and have none. */
static bool has_colour(cairo_surface_t *page, int x, int y, tr_colour colour) {
    const unsigned char *rows = cairo_image_surface_get_data(page);
    uint32_t rgb;
    memcpy(&rgb, rows + (size_t)y * (size_t)cairo_image_surface_get_stride(page) + 4 * (size_t)x,
           sizeof rgb);
    return fabs((rgb >> 16 & 255) - 255 * colour.r) < 6 &&
           fabs((rgb >> 8 & 255) - 255 * colour.g) < 6 && fabs((rgb & 255) - 255 * colour.b) < 6;
}

/* Of the pixels with that colour in a part of the page. */
typedef struct {
    int n, x0, y0, x1, y1;
} extent;

static extent extent_of(cairo_surface_t *page, tr_box part, tr_colour colour) {
    extent e = {0, INT_MAX, INT_MAX, -1, -1};
    for (int y = (int)part.y; y < part.y + part.height; y++) {
        for (int x = (int)part.x; x < part.x + part.width; x++) {
            if (!has_colour(page, x, y, colour)) continue;
            e.n++;
            e.x0 = x < e.x0 ? x : e.x0;
            e.y0 = y < e.y0 ? y : e.y0;
            e.x1 = x > e.x1 ? x : e.x1;
            e.y1 = y > e.y1 ? y : e.y1;
        }
    }
    return e;
}

static bool is_near(cairo_surface_t *page, tr_vec2 at, double reach_px, tr_colour colour) {
    tr_box part = {floor(at.x - reach_px), floor(at.y - reach_px), 2 * reach_px + 1,
                   2 * reach_px + 1};
    return extent_of(page, part, colour).n > 0;
}

/* It is a PNG of the right size; its badge, and the word beside it, have the verdict's colour and
   no other's, and below them something is written. */
static void check_picture(const char *path, tr_verdict verdict) {
    static const tr_box BADGE = {36, 14, 104, 104}, WORD = {160, 14, 300, 104};
    static const tr_box REST = {0, 122, TR_PICTURE_WIDTH_PX, TR_PICTURE_HEIGHT_PX - 122};
    cairo_surface_t *page = read_page(path);
    for (tr_verdict v = TR_PASS; v <= TR_INCONCLUSIVE; v++) {
        int in_badge = extent_of(page, BADGE, tr_verdict_colour(v)).n;
        int in_word = extent_of(page, WORD, tr_verdict_colour(v)).n;
        if ((in_badge > 3000) != (v == verdict) || (in_word > 3000) != (v == verdict)) {
            fail_msg("%s: %d px of the badge and %d px of the word are %s's, but it is a %s", path,
                     in_badge, in_word, tr_verdict_name(v), tr_verdict_name(verdict));
        }
    }
    assert_true(extent_of(page, BADGE, TR_WHITE).n > 300);
    assert_true(extent_of(page, REST, TR_INK).n > 2000);
    cairo_surface_destroy(page);
    if (!getenv("TRAMMEL_SHOW")) unlink(path);
}

/* A pixel of the photo after a number of quarter turns to the right. */
static tr_vec2 turned(tr_vec2 uv_px, int quarters) {
    for (; quarters > 0; quarters--) uv_px = tr_v2(-uv_px.y, uv_px.x);
    return uv_px;
}

/* The sheet's measured outline has the verdict's colour near each of its corners in the photo. How
   the photo lies on the page is told by the marks drawn over it, which have a colour of their own.
 */
static void check_outline(const scene *s, const char *path, int quarters) {
    static const double REACH_PX = 4;
    static const tr_box PHOTO = {36, 258, 770, 512};
    const tr_photo *photo = &s->photos[0];
    tr_vec2 low = {INFINITY, INFINITY};
    tr_vec2 high = {-INFINITY, -INFINITY};
    for (int i = 0; i < photo->marks.n_marks; i++) {
        for (int k = 0; k < photo->marks.marks[i].n_points; k++) {
            tr_vec2 p = turned(photo->marks.marks[i].uv_px[k], quarters);
            low = tr_v2(fmin(low.x, p.x), fmin(low.y, p.y));
            high = tr_v2(fmax(high.x, p.x), fmax(high.y, p.y));
        }
    }
    cairo_surface_t *page = read_page(path);
    extent e = extent_of(page, PHOTO, TR_SKY);
    assert_true(e.n > 500);
    double scale = (e.x1 - e.x0) / (high.x - low.x);
    CHECK_NEAR((e.y1 - e.y0) / (high.y - low.y), scale, 0.02 * scale);
    for (int k = 0; k < 4; k++) {
        const tr_sheet *sheet = &s->sheets[MAT];
        tr_vec3 corner = tr_v3((k % 2 ? 0.5 : -0.5) * sheet->width_mm,
                               (k / 2 ? 0.5 : -0.5) * sheet->height_mm, 0);
        tr_pose camera_from_sheet =
            tr_pose_mul(photo->camera_from_vehicle, s->results[MAT].vehicle_from_sheet);
        tr_vec2 uv;
        assert_true(tr_lens_project(s->check.lenses, tr_pose_apply(camera_from_sheet, corner), &uv,
                                    NULL, NULL));
        tr_vec2 p = tr_v2_scale(scale, tr_v2_sub(turned(uv, quarters), low));
        tr_vec2 at = tr_v2_add(tr_v2(e.x0, e.y0), p);
        if (!is_near(page, at, REACH_PX, tr_verdict_colour(s->targets[0].verdict)))
            fail_msg("%s: no outline near (%.0f, %.0f)", path, at.x, at.y);
    }
    cairo_surface_destroy(page);
}

static void draw_picture(scene *s, const char *path) {
    tr_error err = {0};
    bool ok = tr_picture_write(result_of(s, NULL), &s->check.set, path, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
}

static void write_picture(scene *s, const char *path) {
    draw_picture(s, path);
    check_picture(path, s->check.result.verdict);
}

/* Not inlined: GCC 12 would take what open_memstream left for a pointer to a variable that is gone.
 */
__attribute__((noinline)) static char *text_of(scene *s, const tr_error *why, bool is_coloured) {
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    assert_non_null(out);
    tr_check_text(result_of(s, why), is_coloured, out);
    assert_int_equal(fclose(out), 0);
    if (getenv("TRAMMEL_SHOW")) fputs(text, stdout);
    return text;
}

static void check_lines_fit(const char *text) {
    char line[4096];
    while (*text) {
        size_t n = strcspn(text, "\n");
        assert_true(n < sizeof line);
        memcpy(line, text, n);
        line[n] = 0;
        if (tr_text_columns(line) > TR_TEXT_WIDTH) print_error("too wide: %s\n", line);
        CHECK_AT_MOST(tr_text_columns(line), TR_TEXT_WIDTH);
        text += n + (text[n] == '\n');
    }
}

static void text_tells_the_verdict_and_what_to_do(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 12.1, 1.2, 0.91, 2.2);
    NOTE(s, TAG_MISPLACED, NULL, 41, "MAT-7", 3.2);
    char *text = text_of(s, NULL, false);
    check_lines_fit(text);
    assert_non_null(strstr(text, "  ✗  FAIL\n"));
    assert_non_null(strstr(text, "-1800.0   -1787.9     +12.1    ±2.2   ±10.0  ? inconclusive"));
    assert_non_null(strstr(text, "0.00      0.91     +0.91   ±0.11   ±0.50  ✗ fail"));
    assert_non_null(strstr(text, "Out of limits: MAT-7 (yaw)."));
    assert_non_null(strstr(text, "Slide the mat 12 mm backward"));
    assert_non_null(strstr(text, "photos/3.jpg: its marks do not tie it"));
    assert_non_null(strstr(text, "tag_misplaced; no pass"));
    assert_non_null(strstr(text, "2699.1      ±2.1    2700.0"));
    assert_null(strstr(text, "\033"));
    free(text);
    text = text_of(s, NULL, true);
    assert_non_null(strstr(text, "\033[1;38;5;166m"));
    free(text);
    free_scene(s);
}

/* Good photos are not listed; a weak one with what to do, used or not. */
static void text_lists_weak_photos_only(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 2.1, -1.2, 0.06, 1.2);
    char *text = text_of(s, NULL, false);
    assert_null(strstr(text, "photos/1.jpg"));
    assert_null(strstr(text, "weak"));
    free(text);
    s->photos[1].quality.grade = TR_PHOTO_WEAK;
    s->photos[1].quality.flaw = TR_FLAW_FLAT_VIEW;
    s->photos[2].quality.grade = TR_PHOTO_WEAK;
    s->photos[2].quality.flaw = TR_FLAW_FEW_MARKS;
    text = text_of(s, NULL, false);
    check_lines_fit(text);
    assert_non_null(strstr(text, "Photos: 2 of 3 used.\n"
                                 "  - photos/2.jpg: weak: too flat a view; hold the camera higher\n"
                                 "  - photos/3.jpg: its marks do not tie it to the other photos; "
                                 "weak: few marks;\n    bring more of the sheets into view\n"));
    assert_null(strstr(text, "photos/1.jpg"));
    free(text);
    /* One without marks is said to be so once. */
    s->photos[2].quality = (tr_photo_quality){.grade = TR_PHOTO_UNUSABLE, .flaw = TR_FLAW_NO_MARK};
    text = text_of(s, NULL, false);
    assert_non_null(
        strstr(text, "  - photos/3.jpg: its marks do not tie it to the other photos\n"));
    free(text);
    free_scene(s);
}

static void text_of_a_pass_asks_for_nothing(void **state) {
    (void)state;
    scene *s = make_scene(2);
    place_mat(s, 2.1, -1.2, 0.06, 1.2);
    s->check.result.verdict = TR_PASS;
    place_board(s, -3, 2, 0.8, 0.05);
    char *text = text_of(s, NULL, false);
    check_lines_fit(text);
    assert_non_null(strstr(text, "  ✓  PASS\n"));
    assert_non_null(strstr(text, "Nothing needs to be moved."));
    assert_null(strstr(text, "Slide"));
    assert_null(strstr(text, "inconclusive"));
    free(text);
    free_scene(s);
}

static void text_says_how_to_decide_what_is_inconclusive(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 2.1, 1.2, 0.01, 12);
    s->targets[0].axis[TR_X].u95_of[TR_FROM_MARKS] = 11;
    s->targets[0].axis[TR_X].u95_of[TR_FROM_PLATES] = 5;
    char *text = text_of(s, NULL, false);
    check_lines_fit(text);
    assert_non_null(strstr(text, "  ?  INCONCLUSIVE\n"));
    assert_non_null(
        strstr(text, "X forward: u95 is ±12.0 mm; to pass it must be at most ±7.9 mm."));
    assert_non_null(strstr(text, "For less u95 from the marks: Add photos"));
    assert_non_null(strstr(text, "PLATE-C is in one photo only"));
    assert_non_null(strstr(text, "from the vehicle's left or from the vehicle's right."));
    assert_non_null(strstr(text, "For less u95 from the plates: Set the plates more exactly"));
    assert_null(strstr(text, "from the lens:"));
    assert_null(strstr(text, "Slide")); /* would not help */
    free(text);
    write_picture(s, "present-uncertain.png");
    free_scene(s);
}

/* Nobody is told to survey again what never was surveyed. */
static void text_asks_for_the_survey_that_is_missing(void **state) {
    (void)state;
    static const char *const ADVICE[] = {"Survey the sheets ('trammel survey'): until then",
                                         "Survey the sheets that were not surveyed yet",
                                         "Survey the sheets again ('trammel survey')"};
    for (int i = 0; i < 3; i++) {
        scene *s = make_scene(1);
        char advice[512];
        for (int k = 0; k < N_SHEETS; k++) s->sheets[k].survey.n_rows = k < i * N_SHEETS / 2;
        tr_source_advice(result_of(s, NULL), 0, TR_FROM_SHEETS, advice, sizeof advice);
        if (!strstr(advice, ADVICE[i])) fail_msg("'%s' lacks '%s'", advice, ADVICE[i]);
        free_scene(s);
    }
}

/* A camera that scatters, and photos that are all level: two upright ones would tell more. */
static void text_asks_for_photos_of_a_turned_camera(void **state) {
    (void)state;
    static const char TURN[] = "Add two photos for which the camera is turned by a quarter";
    enum { PHOTOS = 4 };
    for (int n_turned = 0; n_turned <= PHOTOS; n_turned++) {
        for (int steady = 0; steady < 2; steady++) {
            scene *s = make_scene(1);
            tr_photo photos[PHOTOS];
            place_mat(s, 2.1, 1.2, 0.01, 12);
            s->targets[0].axis[TR_X].u95_of[TR_FROM_LENS] = 11;
            s->job.n_lenses = 1;
            s->job.lenses[0].scatter.is_steady = steady;
            for (int i = 0; i < PHOTOS; i++) {
                photos[i] = s->photos[0];
                tr_mat3 *R = &photos[i].camera_from_vehicle.R;
                if (i < n_turned) *R = tr_m3_mul(tr_rotation_z(i % 2 ? 1.4 : -1.6), *R);
            }
            s->check.set.photos = photos;
            s->check.set.n_photos = PHOTOS;
            char *text = text_of(s, NULL, false);
            char *line = strdup(text);
            /* One line: the text is wrapped. */
            int n = 0;
            for (const char *c = text; *c; c++) {
                bool is_blank = *c == ' ' || *c == '\n';
                if (!is_blank || (n > 0 && line[n - 1] != ' ')) {
                    line[n] = *c;
                    if (is_blank) line[n] = ' ';
                    n++;
                }
            }
            line[n] = 0;
            assert_non_null(strstr(line, "For less u95 from the lens:"));
            assert_non_null(strstr(line, "alibrate the lens again, with more photos"));
            assert_int_equal(strstr(line, TURN) != NULL, !steady && n_turned != 2);
            free(line);
            free(text);
            free_scene(s);
        }
    }
}

static void text_of_a_sheet_not_found_is_never_a_pass(void **state) {
    (void)state;
    scene *s = make_scene(2);
    place_mat(s, 0, 0, 0, 1);
    s->targets[1].verdict = TR_INCONCLUSIVE;
    s->check.result.verdict = TR_INCONCLUSIVE;
    char *text = text_of(s, NULL, false);
    check_lines_fit(text);
    assert_non_null(strstr(text, "  ?  INCONCLUSIVE\n"));
    assert_non_null(strstr(text, "Not measured: BOARD-2; take photos"));
    assert_null(strstr(text, "PASS"));
    free(text);
    free_scene(s);
}

/* The mat was seen; what it is to be measured from was not. */
static void text_of_a_missing_plate_names_the_plate(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 2.1, -1.2, 0.06, 1.2);
    s->results[MAT].is_placed = false;
    s->results[PLATE_D] = (tr_sheet_result){.is_placed = false};
    s->check.result.verdict = TR_INCONCLUSIVE;
    char why[512];
    char wanted[256];
    tr_check_why(result_of(s, NULL), why, sizeof why);
    snprintf(wanted, sizeof wanted, "Not measured: %s (", s->sheets[PLATE_D].id);
    assert_non_null(strstr(why, wanted));
    assert_non_null(strstr(why, "wheel); take two photos"));
    assert_null(strstr(why, s->sheets[MAT].id));
    /* Neither was seen. */
    s->results[MAT].n_marks = 0;
    tr_check_why(result_of(s, NULL), why, sizeof why);
    assert_non_null(strstr(why, s->sheets[MAT].id));
    free_scene(s);
}

/* What warnings rule out is no question where an axis is out of its limit. */
static void a_fail_does_not_tell_that_warnings_rule_out_a_pass(void **state) {
    (void)state;
    scene *s = make_scene(1);
    tr_error err = {0};
    char why[512];
    place_mat(s, 20.1, -1.2, 0.06, 1.2);
    s->check.result.verdict = TR_FAIL;
    assert_true(
        tr_note(PRECONDITION_MISSING, &s->check.result.findings, &err, "Wheels chocked", "chocks"));
    tr_check_why(result_of(s, NULL), why, sizeof why);
    assert_non_null(strstr(why, "Out of limits"));
    assert_null(strstr(why, "warning"));
    s->check.result.verdict = TR_INCONCLUSIVE;
    tr_check_why(result_of(s, NULL), why, sizeof why);
    assert_non_null(strstr(why, "A warning rules out a pass."));
    free_scene(s);
}

static void what_is_left_is_told_apart(void **state) {
    (void)state;
    tr_axis_result axis[TR_N_AXES] = {0};
    assert_string_equal(tr_rest_why(axis, TR_INCONCLUSIVE), "no limit is stated");
    axis[TR_X].is_judged = true;
    assert_string_equal(tr_rest_why(axis, TR_INCONCLUSIVE), "a warning rules out a pass");
    assert_string_equal(tr_rest_why(axis, TR_PASS), "");
}

static void text_of_a_layout_without_limits_says_so(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 2.1, -1.2, 0.06, 1.2);
    for (int k = 0; k < TR_N_AXES; k++) s->check.result.targets[0].axis[k].is_judged = false;
    s->check.result.verdict = TR_INCONCLUSIVE;
    char why[512];
    tr_check_why(result_of(s, NULL), why, sizeof why);
    assert_non_null(strstr(why, "The layout states no limits"));
    free_scene(s);
}

static void text_of_a_failure_names_it(void **state) {
    (void)state;
    scene *s = make_scene(1);
    s->check.result.n_targets = 0;
    tr_error why = {0};
    tr_fail(&why, TR_NO_MEASURE, "no photo shows a plate; take photos that show plates and mat");
    char *text = text_of(s, &why, false);
    check_lines_fit(text);
    assert_non_null(strstr(text, "  ?  NO MEASUREMENT\n"));
    assert_non_null(strstr(text, "no photo shows a plate"));
    assert_non_null(strstr(text, "photos/3.jpg"));
    free(text);
    free_scene(s);
}

static void rounded_numbers_never_contradict_the_verdict(void **state) {
    (void)state;
    tr_draw d = draw_seeded("rounding");
    for (int i = 0; i < 3000; i++) {
        tr_axis_result r = {.is_required = true, .is_judged = true, .is_measured = true};
        tr_axis_cells cells;
        r.limit = 10;
        r.u95 = draw_between(&d, 0, 3);
        /* About both edges: the pass' and the fail's. */
        double edge = i % 2 ? r.limit - r.u95 : r.limit + r.u95;
        r.error = (edge + draw_between(&d, -0.1, 0.1)) * (i % 4 < 2 ? 1 : -1);
        r.measured = r.error;
        tr_axis_cells_of(TR_X, &r, &cells);
        double shown_u95 = strtod(cells.u95 + strlen("±"), NULL);
        tr_verdict shown = tr_verdict_decide(strtod(cells.error, NULL), shown_u95, 10);
        tr_verdict exact = tr_verdict_decide(r.error, r.u95, 10);
        /* Four decimals are the most that is printed. */
        bool is_at_edge = fabs(fabs(r.error) - edge) < 2e-4;
        if (shown != exact && !is_at_edge) {
            print_error("%.6f %.6f shown as %s %s\n", r.error, r.u95, cells.error, cells.u95);
        }
        assert_true(shown == exact || is_at_edge);
        assert_true(shown_u95 > 0);
    }
}

static void numbers_have_a_plain_zero_and_a_sign(void **state) {
    (void)state;
    char cell[TR_CELL_SIZE];
    tr_number_cell(TR_X, -0.01, cell);
    assert_string_equal(cell, "0.0");
    tr_u95_cell(TR_X, 0.003, cell);
    assert_string_equal(cell, "±0.1");
    tr_u95_cell(TR_YAW, 0.06 * TR_RAD_PER_DEG, cell);
    assert_string_equal(cell, "±0.06");
    tr_number_cell(TR_X, NAN, cell);
    assert_string_equal(cell, "nan");
    tr_number_cell(TR_X, -1e300, cell);
    assert_string_equal(cell, "-1e+300");
}

static void columns_are_counted_by_characters(void **state) {
    (void)state;
    assert_int_equal(tr_text_columns("abc"), 3);
    assert_int_equal(tr_text_columns("±0.5°"), 5);
    assert_int_equal(tr_text_columns("e\u0301"), 1);
    assert_int_equal(tr_text_columns("車両"), 4);
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    tr_text_wrap(out, 4, 2, "one  two");
    for (int i = 0; i < 5; i++) tr_text_wrap(out, 70 + i, 60, "車両車両車両車両車両車両車両車両");
    fclose(out);
    assert_memory_equal(text, "one two\n", 8);
    assert_null(strstr(text, "\n\n"));
    free(text);
}

static void check_fit(const char *text, int columns, size_t size, const char *wanted) {
    char out[64];
    assert_true(size <= sizeof out);
    tr_text_fit(text, columns, out, size);
    assert_string_equal(out, wanted);
}

static void text_is_cut_between_characters(void **state) {
    (void)state;
    check_fit("MAT-7", 5, 64, "MAT-7");
    check_fit("MAT-78", 5, 64, "MAT-…");
    check_fit("HALLEÄ", 6, 64, "HALLEÄ");
    check_fit("HALLEÄÖ", 6, 64, "HALLE…");
    check_fit("車両検査", 8, 64, "車両検査");
    check_fit("車両検査", 7, 64, "車両検…");
    check_fit("車両検査", 6, 64, "車両…");
    check_fit("車", 1, 64, "…");
    check_fit("e\u0301e\u0301", 2, 64, "e\u0301e\u0301");
    check_fit("", 1, 4, "");
    /* By bytes. */
    check_fit("abc", 64, 4, "abc");
    check_fit("abcd", 64, 4, "…");
    check_fit("ÄÄÄ", 64, 7, "ÄÄÄ");
    check_fit("ÄÄÄÄ", 64, 8, "ÄÄ…");
    check_fit("ÄÄÄÄ", 64, 7, "Ä…");
    /* What is no UTF-8, too. */
    check_fit("ab\xe8", 64, 64, "ab\xe8");
    check_fit("ab\xe8", 2, 64, "a…");
}

/* Its rows begin at the same column, and no character is cut in half. */
static void text_of_sheets_is_aligned(void **state) {
    (void)state;
    static const char *const IDS[] = {"MAT-7", "MATTE-HALLEÄ", "MATTE-HALLE-ÄÖÜ",
                                      "車両検査場の敷物"};
    for (size_t i = 0; i < sizeof IDS / sizeof *IDS; i++) {
        scene *s = make_scene(1);
        place_mat(s, 2.1, -1.2, 0.06, 1.2);
        snprintf(s->sheets[MAT].id, sizeof s->sheets[MAT].id, "%s", IDS[i]);
        s->results[MAT].condition =
            (tr_sheet_condition){.has_flatness = true, .flatness_mm = 1.2, .flatness_u95_mm = 0.4};
        char *text = text_of(s, NULL, false);
        char *row = strstr(text, "size up, %\n");
        assert_non_null(row);
        row = strchr(row, '\n') + 1;
        *strchr(row, '\n') = 0;
        assert_true(tr_text_is_line(row, strlen(row)));
        char *number = strstr(row, "1.2 ±0.4");
        assert_non_null(number);
        *number = 0;
        assert_int_equal(tr_text_columns(row), 21);
        free(text);
        free_scene(s);
    }
}

/* What is known ever so well is not told as exact, and a nothing has no sign. */
static void text_of_a_survey_tells_no_uncertainty_of_nothing(void **state) {
    (void)state;
    static const char *const WANTED[] = {
        "  ±0.01  ±0.01\n",    " 0.001 ±0.001 ",
        " ±0.01        160.0", "x 99.600 % ±0.001, y 100.300 % ±0.001",
        "by 0.4 mm ±0.1 in",   "1000.00 ±0.01 "};
    static const char *const NEVER[] = {"±0.00 ", "±0.00\n", "±0.000", "±0.0 ", "+0.00", "-0.00"};
    scene *s = make_scene(1);
    tr_survey_spec spec = {.sheets = &s->sheets[MAT], .n_sheets = 1};
    tr_survey_mark tag = {.name = {.is_tag = true},
                          .has_nominal = true,
                          .nominal_mm = {-650, -350},
                          .nominal_size_mm = 160,
                          .is_measured = true,
                          .at_mm = {-650.001, -349.999},
                          .turn_rad = 0.001 * TR_RAD_PER_DEG,
                          .edges_mm = {160.1, 160.2},
                          .u95_mm = {0.001, 0.004},
                          .u95_turn_rad = 1e-7,
                          .u95_edges_mm = {0.001, 0.002}};
    tr_survey_sheet sheet = {.n_marks = 1,
                             .has_scale = true,
                             .scale = {0.996, 1.003},
                             .scale_u95 = {1e-7, 1e-6},
                             .condition = {.has_flatness = true, .flatness_mm = 0.4}};
    sheet.condition.flatness_u95_mm = 0.04;
    tr_survey survey = {.spec = &spec, .marks = &tag, .n_marks = 1, .sheets = &sheet};
    survey.n_lengths = 1;
    survey.lengths[0] = (tr_survey_length){
        .title = "bar BAR-1", .is_used = true, .stated_mm = 1000, .sd_mm = 0.001};
    char file[] = "mat.yaml";
    char *files[] = {file};
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    assert_non_null(out);
    tr_survey_text(&survey, files, out);
    assert_int_equal(fclose(out), 0);
    check_lines_fit(text);
    for (size_t i = 0; i < sizeof WANTED / sizeof *WANTED; i++) {
        if (!strstr(text, WANTED[i])) fail_msg("'%s' is not in:\n%s", WANTED[i], text);
    }
    for (size_t i = 0; i < sizeof NEVER / sizeof *NEVER; i++) {
        if (strstr(text, NEVER[i])) fail_msg("'%s' is in:\n%s", NEVER[i], text);
    }
    free(text);
    free_scene(s);
}

/* Whatever stands in names, no line is too wide and nothing controls the terminal. */
static void text_and_picture_survive_any_name(void **state) {
    (void)state;
    static const char *const NAMES[] = {
        "<b>&amp;\"'</i>",
        "%s%n%d",
        "\033[2J\033]0;x\007",
        "\xff\xc3\x28",
        "車両検査場の長い名前",
        "e\u0301\u202eabc",
        "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
    };
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++) {
        scene *s = make_scene(1);
        place_mat(s, 30, 30, 3, 8);
        char *fields[] = {s->job.id, s->job.layout.id, s->sheets[MAT].id, s->job.vehicle_id};
        for (size_t k = 0; k < 4; k++) snprintf(fields[k], 64, "%s", NAMES[i]);
        snprintf(s->sheets[MAT].title, 128, "%s", NAMES[i]);
        for (int k = 0; k < 200; k++) strncat(s->files[2], NAMES[i], 1);
        NOTE(s, SHEET_NOT_FOUND, NULL, NAMES[i]);
        char *text = text_of(s, NULL, false);
        check_lines_fit(text);
        assert_null(strchr(text, '\033'));
        free(text);
        json_decref(reread(tr_check_json(result_of(s, NULL))));
        if (i == 0 || i == 6) {
            tr_error err = {0};
            assert_true(
                tr_picture_write(result_of(s, NULL), &s->check.set, "present-name.png", &err));
            unlink("present-name.png");
        }
        free_scene(s);
    }
}

static void picture_of_a_fail(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 42.1, -31.2, 2.4, 2.2);
    make_photo_file(s, 0, "present-photo.png");
    write_picture(s, "present-fail.png");
    unlink("present-photo.png");
    free_scene(s);
}

static void picture_of_a_small_error_and_a_photo_on_its_side(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 12.1, 1.2, 0.91, 2.2);
    NOTE(s, TRACK_OFF, NULL, true, 1774.0, 1750.0);
    s->photos[0].camera_from_vehicle = turned_camera(s->photos[0].camera_from_vehicle, TR_PI / 2);
    make_photo_file(s, 0, "present-photo.png");
    write_picture(s, "present-side.png");
    unlink("present-photo.png");
    free_scene(s);
}

/* The required outline lies so far off that it hides neither the measured one nor a tag. */
static void picture_has_the_measured_outline_where_the_sheet_lies(void **state) {
    (void)state;
    for (int quarters = 0; quarters < 4; quarters++) {
        scene *s = make_scene(1);
        place_mat(s, 250, -30, 0, 2.2);
        s->photos[0].camera_from_vehicle =
            turned_camera(s->photos[0].camera_from_vehicle, -quarters * TR_PI / 2);
        make_photo_file(s, 0, "present-photo.png");
        draw_picture(s, "present-outline.png");
        check_outline(s, "present-outline.png", quarters);
        check_picture("present-outline.png", TR_FAIL);
        unlink("present-photo.png");
        free_scene(s);
    }
}

static void picture_of_a_pass(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 2.1, -1.2, 0.06, 1.2);
    make_photo_file(s, 0, "present-photo.png");
    write_picture(s, "present-pass.png");
    unlink("present-photo.png");
    free_scene(s);
}

static void picture_of_two_targets_one_not_found(void **state) {
    (void)state;
    scene *s = make_scene(2);
    place_mat(s, 2.1, -1.2, 0.06, 1.2);
    make_photo_file(s, 0, "present-photo.png");
    s->targets[1].verdict = TR_INCONCLUSIVE;
    s->check.result.verdict = TR_INCONCLUSIVE;
    assert_int_equal(tr_check_worst_target(&s->check.result), 1);
    write_picture(s, "present-missing.png");
    place_board(s, -3, 22, 0.8, 0.05);
    assert_int_equal(tr_check_worst_target(&s->check.result), 1);
    s->check.result.verdict = TR_FAIL;
    write_picture(s, "present-board.png");
    unlink("present-photo.png");
    free_scene(s);
}

static void picture_of_numbers_that_are_none(void **state) {
    (void)state;
    static const double BAD[] = {NAN, INFINITY, 1e12};
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        scene *s = make_scene(1);
        place_mat(s, BAD[i], 1, 1, 2);
        write_picture(s, "present-nan.png");
        free(text_of(s, NULL, false));
        place_mat(s, 1, 1, BAD[i], BAD[i]);
        write_picture(s, "present-nan.png");
        free_scene(s);
    }
}

static void picture_without_any_measurement(void **state) {
    (void)state;
    scene *s = make_scene(1);
    for (int i = 0; i < N_PHOTOS; i++) s->photos[i].is_used = false;
    for (int i = 0; i < 4; i++) s->points[i].is_placed = false;
    s->check.result.wheelbase.is_measured = s->check.result.track_rear.is_measured = false;
    s->check.result.track_front.is_measured = false;
    write_picture(s, "present-nothing.png");
    s->check.result.n_targets = 0;
    tr_error err = {0};
    tr_error why = {0};
    tr_fail(&why, TR_NO_MEASURE, "no photo shows a plate; take photos that show plates and mat");
    assert_true(tr_picture_write(result_of(s, &why), &s->check.set, "present-failed.png", &err));
    check_picture("present-failed.png", TR_INCONCLUSIVE);
    assert_true(tr_picture_write(&(tr_check_result){.why = why}, NULL, "present-failed.png", &err));
    check_picture("present-failed.png", TR_INCONCLUSIVE);
    free_scene(s);
}

static void picture_of_a_photo_that_changed_does_not_show_it(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 12.1, 1.2, 0.91, 2.2);
    make_photo_file(s, 0, "present-photo.png");
    s->photos[0].sha256[0] ^= 1;
    write_picture(s, "present-changed.png");
    unlink("present-photo.png");
    write_picture(s, "present-changed.png"); /* gone */
    free_scene(s);
}

static void picture_that_cannot_be_written_is_an_error(void **state) {
    (void)state;
    scene *s = make_scene(1);
    tr_error err = {0};
    assert_false(tr_picture_write(result_of(s, NULL), &s->check.set, "no-such-folder/a.png", &err));
    assert_int_equal(err.code, TR_NO_FILE);
    assert_non_null(strstr(err.file, "no-such-folder"));
    free_scene(s);
}

static void same_check_same_picture(void **state) {
    (void)state;
    scene *s = make_scene(1);
    place_mat(s, 12.1, 1.2, 0.91, 2.2);
    tr_error err = {0};
    char hex[2][65];
    for (int i = 0; i < 2; i++) {
        uint8_t *data;
        size_t size;
        assert_true(tr_picture_write(result_of(s, NULL), &s->check.set, "present-same.png", &err));
        assert_true(tr_file_read("present-same.png", (size_t)1 << 28, &data, &size, &err));
        tr_sha256_hex(data, size, hex[i]);
        free(data);
    }
    assert_string_equal(hex[0], hex[1]);
    unlink("present-same.png");
    free_scene(s);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(json_has_the_contracts_keys_and_values),
        cmocka_unit_test(json_tells_of_an_unknown_lens),
        cmocka_unit_test(json_tells_how_good_each_photo_is),
        cmocka_unit_test(json_keeps_every_digit),
        cmocka_unit_test(json_writes_null_for_what_is_not_measured),
        cmocka_unit_test(json_of_a_failure_is_one_object_too),
        cmocka_unit_test(json_survives_names_that_are_no_text),
        cmocka_unit_test(text_tells_the_verdict_and_what_to_do),
        cmocka_unit_test(text_lists_weak_photos_only),
        cmocka_unit_test(text_of_a_pass_asks_for_nothing),
        cmocka_unit_test(text_says_how_to_decide_what_is_inconclusive),
        cmocka_unit_test(text_asks_for_the_survey_that_is_missing),
        cmocka_unit_test(text_asks_for_photos_of_a_turned_camera),
        cmocka_unit_test(text_of_a_sheet_not_found_is_never_a_pass),
        cmocka_unit_test(text_of_a_missing_plate_names_the_plate),
        cmocka_unit_test(a_fail_does_not_tell_that_warnings_rule_out_a_pass),
        cmocka_unit_test(what_is_left_is_told_apart),
        cmocka_unit_test(text_of_a_layout_without_limits_says_so),
        cmocka_unit_test(text_of_a_failure_names_it),
        cmocka_unit_test(rounded_numbers_never_contradict_the_verdict),
        cmocka_unit_test(numbers_have_a_plain_zero_and_a_sign),
        cmocka_unit_test(columns_are_counted_by_characters),
        cmocka_unit_test(text_is_cut_between_characters),
        cmocka_unit_test(text_of_sheets_is_aligned),
        cmocka_unit_test(text_of_a_survey_tells_no_uncertainty_of_nothing),
        cmocka_unit_test(text_and_picture_survive_any_name),
        cmocka_unit_test(picture_of_a_fail),
        cmocka_unit_test(picture_of_a_small_error_and_a_photo_on_its_side),
        cmocka_unit_test(picture_has_the_measured_outline_where_the_sheet_lies),
        cmocka_unit_test(picture_of_a_pass),
        cmocka_unit_test(picture_of_two_targets_one_not_found),
        cmocka_unit_test(picture_of_numbers_that_are_none),
        cmocka_unit_test(picture_without_any_measurement),
        cmocka_unit_test(picture_of_a_photo_that_changed_does_not_show_it),
        cmocka_unit_test(picture_that_cannot_be_written_is_an_error),
        cmocka_unit_test(same_check_same_picture),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
