#include "present/check_json_read.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "present/catalogue.h"
#include "present/check_json.h"

/* ---- values; the first that is not as it should be is the error ---- */

static bool refuse(tr_error *err, const char *key, const char *wanted) {
    return tr_fail_at(err, TR_BAD_INPUT, NULL, 0, key, "is missing, or is not %s", wanted);
}

static bool is_fine(const tr_error *err) {
    return err->code == TR_OK;
}

static const json_t *object_of(const json_t *json, const char *key, tr_error *err) {
    const json_t *value = json_object_get(json, key);
    if (!json_is_object(value)) refuse(err, key, "an object");
    return value;
}

/* *n: its size; not below n_least. */
static const json_t *array_of(const json_t *json, const char *key, size_t n_least, int *n,
                              tr_error *err) {
    const json_t *value = json_object_get(json, key);
    *n = json_is_array(value) ? (int)json_array_size(value) : 0;
    if (!json_is_array(value) || json_array_size(value) < n_least) {
        *n = 0;
        refuse(err, key, "an array of this length");
    }
    return value;
}

/* null is what a number is written as that is none. */
static double number(const json_t *value, const char *key, tr_error *err) {
    if (json_is_null(value)) return NAN;
    if (!json_is_number(value)) refuse(err, key, "a number");
    return json_number_value(value);
}

static double number_of(const json_t *json, const char *key, tr_error *err) {
    return number(json_object_get(json, key), key, err);
}

/* 0 where it is not told. */
static double optional_of(const json_t *json, const char *key, tr_error *err) {
    return json_object_get(json, key) ? number_of(json, key, err) : 0;
}

static int integer_of(const json_t *json, const char *key, tr_error *err) {
    const json_t *value = json_object_get(json, key);
    if (!json_is_integer(value)) refuse(err, key, "an integer");
    return (int)json_integer_value(value);
}

static bool bool_of(const json_t *json, const char *key, tr_error *err) {
    const json_t *value = json_object_get(json, key);
    if (!json_is_boolean(value)) refuse(err, key, "true or false");
    return json_is_true(value);
}

/* null and what is not told: "". */
static const char *string_of(const json_t *json, const char *key, tr_error *err) {
    const json_t *value = json_object_get(json, key);
    if (value && !json_is_null(value) && !json_is_string(value)) refuse(err, key, "a text");
    return json_is_string(value) ? json_string_value(value) : "";
}

static void text_of(const json_t *json, const char *key, char *out, size_t size, tr_error *err) {
    snprintf(out, size, "%s", string_of(json, key, err));
}

static tr_vec2 pair_of(const json_t *json, const char *key, tr_error *err) {
    int n;
    const json_t *pair = array_of(json, key, 2, &n, err);
    if (n < 2) return tr_v2(0, 0);
    return tr_v2(number(json_array_get(pair, 0), key, err),
                 number(json_array_get(pair, 1), key, err));
}

static tr_pose pose_of(const json_t *json, const char *key, tr_error *err) {
    int n;
    double m[12];
    tr_pose pose = tr_pose_identity();
    const json_t *rows = array_of(json, key, 12, &n, err);
    if (n < 12) return pose;
    for (size_t i = 0; i < 12; i++) m[i] = number(json_array_get(rows, i), key, err);
    for (int i = 0; i < 3; i++) memcpy(pose.R.m[i], m + 4L * i, sizeof pose.R.m[i]);
    pose.t_mm = tr_v3(m[3], m[7], m[11]);
    return pose;
}

static tr_verdict verdict_of(const json_t *json, tr_error *err) {
    char name[16];
    text_of(json, "verdict", name, sizeof name, err);
    for (tr_verdict v = TR_PASS; v <= TR_INCONCLUSIVE; v++) {
        if (strcmp(tr_verdict_name(v), name) == 0) return v;
    }
    refuse(err, "verdict", "pass, fail or inconclusive");
    return TR_INCONCLUSIVE;
}

/* rad or mm, such that it is shown as it stands here: of the angles next to each other that become
   the same degrees, one. */
static double in_axis_unit(tr_axis axis, double value) {
    double rad = value * TR_RAD_PER_DEG;
    if (!tr_axis_is_angle(axis)) return value;
    const double near[] = {rad, nextafter(rad, -INFINITY), nextafter(rad, INFINITY)};
    for (int i = 0; i < 3; i++) {
        if (near[i] * TR_DEG_PER_RAD == value) return near[i];
    }
    return rad;
}

static double axis_value_of(tr_axis axis, const json_t *json, const char *key, tr_error *err) {
    return in_axis_unit(axis, optional_of(json, key, err));
}

/* ---- parts ---- */

static tr_axis_result axis_of(tr_axis axis, const json_t *target, tr_error *err) {
    static const char *const SOURCES[TR_N_SOURCES] = {"marks", "lens", "plates", "sheets",
                                                      "pointers"};
    const json_t *json = object_of(target, tr_axis_key(axis), err);
    tr_axis_result r = {.verdict = TR_INCONCLUSIVE};
    if (!is_fine(err)) return r;
    r.is_required = json_object_get(json, "required");
    r.is_judged = json_object_get(json, "limit");
    r.required = axis_value_of(axis, json, "required", err);
    r.limit = axis_value_of(axis, json, "limit", err);
    r.is_measured = !json_is_null(json_object_get(json, "u95"));
    if (r.is_judged) r.verdict = verdict_of(json, err);
    if (!r.is_measured) return r;
    const json_t *budget = object_of(json, "budget", err);
    r.measured = axis_value_of(axis, json, "measured", err);
    r.error = axis_value_of(axis, json, "error", err);
    r.u95 = axis_value_of(axis, json, "u95", err);
    r.u95_calibrated = axis_value_of(axis, json, "u95_with_profile", err);
    for (int k = 0; k < TR_N_SOURCES; k++) {
        r.u95_of[k] = axis_value_of(axis, budget, SOURCES[k], err);
    }
    return r;
}

static int sheet_of(const tr_check_result *result, const json_t *json, tr_error *err) {
    char id[64];
    text_of(json, "sheet", id, sizeof id, err);
    for (int i = 0; i < result->n_sheets; i++) {
        if (strcmp(result->sheets[i].id, id) == 0) return i;
    }
    refuse(err, "sheet", "one of the sheets");
    return 0;
}

/* Of a file that was named twice one is used. */
static int photo_of(const tr_check_result *result, const json_t *json, tr_error *err) {
    char name[TR_PHOTO_NAME_SIZE];
    text_of(json, "photo", name, sizeof name, err);
    for (int i = 0; i < result->n_photos; i++) {
        const tr_photo_result *p = &result->photos[i];
        if (p->is_used && strcmp(p->name, name) == 0) return i;
    }
    refuse(err, "photo", "the name of a photo that is used");
    return -1;
}

/* What it is but an axle is not told, and does not matter here. */
static tr_origin origin_of(const json_t *json, const char *key, tr_error *err) {
    tr_origin origin = {TR_FROM_REAR_AXLE, "", 0};
    const tr_origin front = {TR_FROM_FRONT_AXLE, "", 0};
    char name[sizeof origin.name];
    text_of(json, key, name, sizeof name, err);
    if (strcmp(name, tr_origin_name(&origin)) == 0) return origin;
    if (strcmp(name, tr_origin_name(&front)) == 0) return front;
    origin.kind = TR_FROM_POINT;
    memcpy(origin.name, name, sizeof name);
    return origin;
}

static void read_origins(const json_t *json, tr_origin from[3], tr_error *err) {
    const json_t *each = json_object_get(json, "from");
    if (!json_is_object(each)) {
        from[0] = from[1] = origin_of(json, "from", err);
        from[2] = (tr_origin){TR_FROM_REAR_AXLE, "", 0};
        return;
    }
    static const char *const KEYS[3] = {"x", "y", "z"};
    for (int k = 0; k < 3; k++) from[k] = origin_of(each, KEYS[k], err);
}

static tr_measured_by measured_by(const json_t *json, tr_error *err) {
    static const char *const WORDS[] = {"tags", "artwork", "pointers"}; /* as tr_measured_by */
    char word[16];
    text_of(json, "measured_by", word, sizeof word, err);
    int by = 0;
    while (by < 2 && strcmp(word, WORDS[by]) != 0) by++;
    return (tr_measured_by)by;
}

static void read_target(const json_t *json, const tr_check_result *result, tr_target_result *t,
                        tr_error *err) {
    int n;
    (void)array_of(json, "moves", 0, &n, err);
    *t = (tr_target_result){.sheet = sheet_of(result, json, err),
                            .verdict = verdict_of(json, err),
                            .vehicle_from_required = pose_of(json, "required_pose", err),
                            .photo = -1,
                            .floor_place = -1};
    read_origins(json, t->from, err);
    if (!json_is_null(json_object_get(json, "measured_by"))) t->by = measured_by(json, err);
    t->is_to_move = n > 0;
    for (tr_axis axis = 0; axis < TR_N_AXES && is_fine(err); axis++) {
        t->axis[axis] = axis_of(axis, json, err);
    }
    if (!json_is_null(json_object_get(json, "photo"))) t->photo = photo_of(result, json, err);
}

/* {measured, u95}: false, and nothing, where measured is null. */
static bool read_quantity(const json_t *json, const char *key, double *value, double *u95,
                          tr_error *err) {
    const json_t *quantity = object_of(json, key, err);
    bool is = json_is_number(json_object_get(quantity, "measured"));
    if (!is) return false;
    *value = number_of(quantity, "measured", err);
    *u95 = number_of(quantity, "u95", err);
    return true;
}

static tr_sheet_kind sheet_kind_of(const json_t *json, tr_error *err) {
    char word[16];
    tr_sheet_kind kind = TR_SHEET_MAT;
    text_of(json, "kind", word, sizeof word, err);
    while (kind < TR_SHEET_TAG && strcmp(word, tr_sheet_kind_name(kind)) != 0) kind++;
    return kind;
}

static void read_sheet(const json_t *json, tr_sheet_result *s, tr_error *err) {
    tr_sheet_condition *c = &s->condition;
    double scale[2] = {1, 1};
    tr_vec2 size = pair_of(json, "size_mm", err);
    text_of(json, "sheet", s->id, sizeof s->id, err);
    text_of(json, "title", s->title, sizeof s->title, err);
    s->kind = sheet_kind_of(json, err);
    s->width_mm = size.x;
    s->height_mm = size.y;
    s->is_surveyed = bool_of(json, "surveyed", err);
    s->n_photos = integer_of(json, "photos", err);
    s->n_marks = integer_of(json, "marks", err);
    s->is_placed = !json_is_null(json_object_get(json, "pose"));
    if (s->is_placed) s->vehicle_from_sheet = pose_of(json, "pose", err);
    c->has_flatness = read_quantity(json, "flatness_mm", &c->flatness_mm, &c->flatness_u95_mm, err);
    const json_t *flatness = json_object_get(json, "flatness_mm");
    s->is_flat_judged = json_object_get(flatness, "verdict");
    if (s->is_flat_judged) s->flatness_verdict = verdict_of(flatness, err);
    c->has_print_scale = read_quantity(json, "scale_x", &scale[0], &c->print_scale_u95[0], err) &&
                         read_quantity(json, "scale_y", &scale[1], &c->print_scale_u95[1], err);
    for (int k = 0; k < 2; k++) c->print_scale[k] = scale[k] - 1;
}

static void read_plate(const json_t *json, const tr_check_result *result, tr_plate_result *p,
                       tr_error *err) {
    text_of(json, "point", p->name, sizeof p->name, err);
    p->point = 0;
    while (p->point < TR_N_POINTS && strcmp(tr_wheel_point_name(p->point), p->name) != 0)
        p->point++;
    p->is_hub = bool_of(json, "hub", err);
    p->sheet = sheet_of(result, json, err);
    p->is_placed = !json_is_null(json_object_get(json, "at_mm"));
    if (!p->is_placed) return;
    tr_vec2 at = pair_of(json, "at_mm", err);
    p->at_mm = tr_v3(at.x, at.y, number_of(json, "height_mm", err));
}

/* {measured, u95}, or nothing. */
static tr_quantity geometry_of(const json_t *json, int value, tr_error *err) {
    double unit = tr_vehicle_value_is_angle(value) ? TR_DEG_PER_RAD : 1;
    if (!json_object_get(json, "measured")) return (tr_quantity){.is_measured = false};
    return (tr_quantity){true, number_of(json, "measured", err) / unit,
                         number_of(json, "u95", err) / unit};
}

static void read_wheel(const json_t *json, int wheel, tr_quantity *geometry, tr_error *err) {
    static const struct {
        const char *key;
        int value;
    } KEYS[] = {{"toe_deg", TR_TOE},
                {"camber_deg", TR_CAMBER},
                {"runout_mm", TR_RUNOUT},
                {"runout_deg", TR_RUNOUT_TILT}};
    const json_t *centre = json_object_get(json, "centre_mm");
    const json_t *u95 = json_object_get(json, "centre_u95_mm");
    for (size_t i = 0; i < sizeof KEYS / sizeof *KEYS; i++) {
        int value = KEYS[i].value + wheel;
        geometry[value] = geometry_of(json_object_get(json, KEYS[i].key), value, err);
    }
    for (size_t k = 0; k < 3 && centre; k++) {
        geometry[TR_CENTRE + 3 * wheel + (int)k] =
            (tr_quantity){true, json_number_value(json_array_get(centre, k)),
                          json_number_value(json_array_get(u95, k))};
    }
}

static void read_wheels(const json_t *json, tr_check_result *out, tr_error *err) {
    const json_t *wheels = json_object_get(json, "wheels");
    out->has_wheels = wheels;
    for (int i = 0; i < TR_N_WHEELS_KEYS; i++) {
        const tr_wheels_key *k = &TR_WHEELS_KEYS[i];
        out->geometry[k->value] = geometry_of(json_object_get(wheels, k->key), (int)k->value, err);
    }
    for (int i = 0; i < TR_N_POINTS; i++) {
        read_wheel(json_object_get(wheels, tr_wheel_point_name((tr_wheel_point)i)), i,
                   out->geometry, err);
    }
}

static void read_relation(const json_t *json, const tr_check_result *result, tr_relation_result *r,
                          tr_error *err) {
    int n;
    const json_t *sheets = array_of(json, "sheets", 2, &n, err);
    r->verdict = verdict_of(json, err);
    for (int k = 0; k < 2; k++) {
        const char *id = json_string_value(json_array_get(sheets, (size_t)k));
        int i = 0;
        while (i < result->n_targets &&
               strcmp(result->sheets[result->targets[i].sheet].id, id ? id : "") != 0) {
            i++;
        }
        if (i == result->n_targets) refuse(err, "sheets", "the ids of two targets");
        r->targets[k] = i;
    }
    for (tr_axis axis = 0; axis < TR_N_AXES && is_fine(err); axis++) {
        r->axis[axis] = axis_of(axis, json, err);
    }
}

static void read_free_area(const json_t *json, tr_free_area_result *area, tr_error *err) {
    static const char KEY[] = "corners_mm";
    int n;
    const json_t *corners = array_of(json, KEY, 3, &n, err);
    text_of(json, "name", area->name, sizeof area->name, err);
    read_origins(json, area->from, err);
    area->is_placed = bool_of(json, "placed", err);
    area->height_mm = number_of(json, "height_mm", err);
    area->corners_mm = tr_array(n, sizeof *area->corners_mm);
    if (!area->corners_mm) {
        tr_fail_memory(err);
        return;
    }
    area->n_corners = n;
    for (int i = 0; i < n; i++) {
        const json_t *pair = json_array_get(corners, (size_t)i);
        area->corners_mm[i] = tr_v2(number(json_array_get(pair, 0), KEY, err),
                                    number(json_array_get(pair, 1), KEY, err));
    }
}

/* None are told of where the layout has none. */
static void read_free_areas(const json_t *json, tr_check_result *out, tr_error *err) {
    int n = 0;
    const json_t *areas = json_object_get(json, "free_areas");
    if (areas) areas = array_of(json, "free_areas", 0, &n, err);
    out->free_areas = tr_array(n, sizeof *out->free_areas);
    if (!out->free_areas) {
        tr_fail_memory(err);
        return;
    }
    for (; out->n_free_areas < n && is_fine(err); out->n_free_areas++) {
        read_free_area(json_array_get(areas, (size_t)out->n_free_areas),
                       &out->free_areas[out->n_free_areas], err);
    }
}

/* ---- the floor ---- */

static tr_floor_judged floor_value_of(const json_t *json, tr_axis axis, tr_error *err) {
    tr_floor_judged v = {.verdict = TR_INCONCLUSIVE};
    v.value.is_measured = json_is_number(json_object_get(json, "measured"));
    if (v.value.is_measured) {
        v.value.value = axis_value_of(axis, json, "measured", err);
        v.value.u95 = axis_value_of(axis, json, "u95", err);
    }
    v.is_judged = json_object_get(json, "verdict");
    if (v.is_judged) v.verdict = verdict_of(json, err);
    return v;
}

static void read_floor_whole(const json_t *json, const char *key, tr_floor_judged out[2],
                             tr_error *err) {
    const json_t *whole = json_object_get(json, key);
    out[0] = floor_value_of(json_object_get(whole, "along_deg"), TR_YAW, err);
    out[1] = floor_value_of(json_object_get(whole, "across_deg"), TR_YAW, err);
}

static int target_named(const tr_check_result *result, const char *id) {
    for (int i = 0; i < result->n_targets && id; i++) {
        if (strcmp(result->sheets[result->targets[i].sheet].id, id) == 0) return i;
    }
    return -1;
}

static void read_place(const json_t *json, tr_check_result *out, int place, tr_error *err) {
    int n;
    tr_floor_place *p = &out->floor.places[place];
    const json_t *targets = array_of(json, "targets", 0, &n, err);
    p->sheet = sheet_of(out, json, err);
    p->is_at_wheel = bool_of(json, "wheel", err);
    for (int i = 0; i < n; i++) {
        int target = target_named(out, json_string_value(json_array_get(targets, (size_t)i)));
        if (target < 0)
            refuse(err, "targets", "the ids of targets");
        else
            out->targets[target].floor_place = place;
    }
    for (tr_floor_value k = 0; k < TR_FLOOR_N; k++) {
        p->value[k] =
            floor_value_of(json_object_get(json, TR_FLOOR_KEYS[k].key), TR_FLOOR_KEYS[k].axis, err);
    }
}

static void read_level(const json_t *json, tr_floor_result *out, tr_error *err) {
    const json_t *level = json_object_get(json, "level");
    out->has_level = level;
    if (!level) return;
    text_of(level, "on", out->level_on, sizeof out->level_on, err);
    out->level_rad[0] = axis_value_of(TR_YAW, level, "along_deg", err);
    out->level_rad[1] = axis_value_of(TR_YAW, level, "across_deg", err);
    out->level_sd_rad = axis_value_of(TR_YAW, level, "sd_deg", err);
}

/* After the sheets and the targets. */
static void read_floor(const json_t *json, tr_check_result *out, tr_error *err) {
    int n;
    const json_t *floor = json_object_get(json, "floor");
    tr_floor_result *f = &out->floor;
    if (!floor) return;
    const json_t *limits = json_object_get(floor, "limits");
    f->is_judged = limits;
    f->verdict = f->is_judged ? verdict_of(floor, err) : TR_INCONCLUSIVE;
    for (tr_floor_limit k = 0; k < TR_N_FLOOR_LIMITS; k++) {
        tr_axis axis = tr_floor_limit_is_angle(k) ? TR_YAW : TR_X;
        f->limit[k] = axis_value_of(axis, limits, tr_floor_limit_key(k), err);
    }
    f->stand = TR_STAND_OF_SHEETS;
    const char *stand = string_of(floor, "stand_of", err);
    while (f->stand > TR_STAND_UNKNOWN && strcmp(stand, TR_STAND_WORDS[f->stand]) != 0) f->stand--;
    read_floor_whole(floor, "plane", &f->whole[TR_FLOOR_PLANE_ALONG], err);
    read_floor_whole(floor, "stand", &f->whole[TR_FLOOR_STAND_ALONG], err);
    read_level(floor, f, err);
    const json_t *places = array_of(floor, "sheets", 0, &n, err);
    f->places = calloc((size_t)n + 1, sizeof *f->places);
    if (!f->places) {
        tr_fail_memory(err);
        return;
    }
    for (; f->n_places < n && is_fine(err); f->n_places++) {
        read_place(json_array_get(places, (size_t)f->n_places), out, f->n_places, err);
    }
}

static tr_length_result length_of(const json_t *references, const char *key, tr_error *err) {
    const json_t *json = object_of(references, key, err);
    return (tr_length_result){.is_measured = json_object_get(json, "measured"),
                              .measured_mm = optional_of(json, "measured", err),
                              .u95_mm = optional_of(json, "u95", err),
                              .stated_mm =
                                  optional_of(json_object_get(references, "stated"), key, err)};
}

static void read_quality(const json_t *json, tr_photo_quality *q, tr_error *err) {
    char grade[16];
    text_of(json, "grade", grade, sizeof grade, err);
    q->grade = TR_PHOTO_GOOD;
    while (q->grade > TR_PHOTO_UNUSABLE && strcmp(tr_photo_grade_name(q->grade), grade) != 0) {
        q->grade--;
    }
    q->flaw = tr_photo_flaw_of(string_of(json, "reason", err));
    q->has_marks = !json_is_null(json_object_get(json, "sharpness_px"));
    q->has_tags = !json_is_null(json_object_get(json, "tag_px"));
    q->has_elevation = !json_is_null(json_object_get(json, "elevation_deg"));
    q->sharpness_px = optional_of(json, "sharpness_px", err);
    q->contrast = optional_of(json, "contrast", err);
    q->overexposed_part = optional_of(json, "overexposed", err);
    q->tag_px = optional_of(json, "tag_px", err);
    q->cell_px = optional_of(json, "cell_px", err);
    q->elevation_rad = in_axis_unit(TR_YAW, optional_of(json, "elevation_deg", err));
}

/* [sheet, u, v, ...] */
static void read_drawn(const json_t *json, tr_drawn_mark *m, tr_error *err) {
    static const char KEY[] = "marks_px";
    size_t n = json_array_size(json);
    if (n != 3 && n != 9) {
        refuse(err, KEY, "marks of one or four points");
        return;
    }
    m->sheet = (int)number(json_array_get(json, 0), KEY, err);
    m->n_points = (int)(n - 1) / 2;
    for (int k = 0; k < m->n_points; k++) {
        size_t at = 2 * (size_t)k + 1;
        m->uv_px[k] = tr_v2(number(json_array_get(json, at), KEY, err),
                            number(json_array_get(json, at + 1), KEY, err));
    }
}

static void read_view(const json_t *json, tr_photo_result *p, tr_error *err) {
    int n;
    if (json_object_get(json, "lens_px")) {
        const json_t *lens = array_of(json, "lens_px", TR_LENS_N, &n, err);
        for (int i = 0; i < TR_LENS_N && n > 0; i++) {
            p->own_lens.param[i] = number(json_array_get(lens, (size_t)i), "lens_px", err);
        }
        p->own_lens.width_px = p->width_px;
        p->own_lens.height_px = p->height_px;
        p->camera_from_vehicle = pose_of(json, "camera_pose", err);
    }
    if (!json_object_get(json, "marks_px")) return;
    const json_t *marks = array_of(json, "marks_px", 0, &n, err);
    p->marks = calloc((size_t)n + 1, sizeof *p->marks);
    if (!p->marks) {
        tr_fail_memory(err);
        return;
    }
    for (; p->n_drawn < n && is_fine(err); p->n_drawn++) {
        read_drawn(json_array_get(marks, (size_t)p->n_drawn), &p->marks[p->n_drawn], err);
    }
}

static bool read_finding(const json_t *json, tr_findings *list, tr_error *err);

static void read_photo(const json_t *json, tr_photo_result *p, tr_error *err) {
    const char *file = json_string_value(json_object_get(json, "file"));
    tr_vec2 size = pair_of(json, "image_px", err);
    if (!file) {
        refuse(err, "file", "a text");
        return;
    }
    p->file = strdup(file);
    if (!p->file) tr_fail_memory(err);
    text_of(json, "name", p->name, sizeof p->name, err);
    text_of(json, "sha256", p->sha256, sizeof p->sha256, err);
    text_of(json, "camera", p->camera, sizeof p->camera, err);
    text_of(json, "taken", p->taken, sizeof p->taken, err);
    text_of(json, "lens", p->lens, sizeof p->lens, err);
    const char *why_not = string_of(json, "reason", err);
    const json_t *why = json_object_get(json, "why");
    if (*why_not &&
        !(why ? read_finding(why, &p->why_not, err) : tr_note(SAID, &p->why_not, err, why_not))) {
        return;
    }
    p->width_px = (int)size.x;
    p->height_px = (int)size.y;
    p->is_used = bool_of(json, "used", err);
    p->n_marks = integer_of(json, "marks", err);
    p->n_found = integer_of(json, "marks_found", err);
    if (p->is_used) p->rms_px = number_of(json, "rms_px", err);
    read_quality(object_of(json, "quality", err), &p->quality, err);
    read_view(json, p, err);
}

/* ---- findings ---- */

static bool read_items(const json_t *json, char **items, tr_error *err) {
    for (size_t i = 0; i < json_array_size(json); i++) {
        const char *item = json_string_value(json_array_get(json, i));
        if (!tr_items_add(items, item ? item : "", err)) return false;
    }
    return *items || tr_items_add(items, "", err);
}

/* Results of earlier versions do not tell which finding it was, but what it said. */
static bool read_said(const char *text, tr_findings *list, tr_error *err) {
    return text ? tr_note(SAID, list, err, text) : refuse(err, "reason", "a text");
}

static bool read_part(const json_t *text, const json_t *part, tr_argument *a, tr_error *err) {
    tr_findings said = {0};
    if (!json_is_string(text)) return refuse(err, a->name, "a text");
    if (!*json_string_value(text)) return true; /* none */
    bool ok =
        part ? read_finding(part, &said, err) : read_said(json_string_value(text), &said, err);
    if (ok) a->part = said.items;
    return ok;
}

static bool read_argument(const json_t *finding, tr_argument *a, tr_error *err) {
    const json_t *value = json_object_get(json_object_get(finding, "arguments"), a->name);
    switch (a->type) {
    case TR_ARGUMENT_NUMBER:
    case TR_ARGUMENT_INTEGER: a->number = number(value, a->name, err); return is_fine(err);
    case TR_ARGUMENT_LIST: return read_items(value, &a->text, err);
    case TR_ARGUMENT_TEXT:
        if (!json_is_string(value)) return refuse(err, a->name, "a text");
        a->text = strdup(json_string_value(value));
        return a->text || tr_fail_memory(err);
    case TR_ARGUMENT_PART:
        return read_part(value, json_object_get(json_object_get(finding, "parts"), a->name), a,
                         err);
    }
    return false;
}

static bool read_finding(const json_t *json, tr_findings *list, tr_error *err) {
    char name[64];
    text_of(json, "variant", name, sizeof name, err);
    tr_finding f = {.kind = tr_finding_kind_of(name)};
    if (f.kind == TR_N_FINDINGS) return refuse(err, "variant", "one that is known");
    (void)object_of(json, "arguments", err);
    int n = tr_finding_arguments(f.kind, f.arguments);
    bool ok = is_fine(err);
    for (int i = 0; i < n && ok; i++) ok = read_argument(json, &f.arguments[i], err);
    ok = ok && tr_findings_copy(&f, list, err);
    tr_finding_release(&f);
    return ok;
}

/* ---- all of it ---- */

static tr_precondition_state state_of(const json_t *json, tr_error *err) {
    const char *word = string_of(json, "state", err);
    for (tr_precondition_state s = TR_CONFIRMED; s <= TR_NOT_DONE; s++) {
        if (strcmp(word, TR_PRECONDITION_STATES[s]) == 0) return s;
    }
    refuse(err, "state", "confirmed, not confirmed or not done");
    return TR_NOT_CONFIRMED;
}

static void read_precondition(const json_t *json, tr_precondition_result *p, tr_error *err) {
    text_of(json, "id", p->id, sizeof p->id, err);
    text_of(json, "text", p->text, sizeof p->text, err);
    p->is_required = bool_of(json, "required", err);
    p->state = state_of(json, err);
    text_of(json, "by", p->by, sizeof p->by, err);
    text_of(json, "at", p->at, sizeof p->at, err);
    text_of(json, "reason", p->reason, sizeof p->reason, err);
}

/* Only where the layout has any. */
static void read_preconditions(const json_t *json, tr_check_result *out, tr_error *err) {
    int n;
    if (!json_object_get(json, "preconditions")) return;
    const json_t *all = array_of(json, "preconditions", 0, &n, err);
    out->preconditions = tr_array(n, sizeof *out->preconditions);
    if (!out->preconditions) {
        tr_fail_memory(err);
        return;
    }
    for (; out->n_preconditions < n && is_fine(err); out->n_preconditions++) {
        read_precondition(json_array_get(all, (size_t)out->n_preconditions),
                          &out->preconditions[out->n_preconditions], err);
    }
}

static void read_codes(const json_t *json, tr_identity *out, tr_error *err) {
    int n;
    const json_t *codes = array_of(json, "codes", 0, &n, err);
    out->codes = calloc((size_t)n + 1, sizeof *out->codes);
    if (!out->codes) {
        tr_fail_memory(err);
        return;
    }
    for (; out->n_codes < n && is_fine(err); out->n_codes++) {
        const json_t *code = json_array_get(codes, (size_t)out->n_codes);
        tr_code_result *c = &out->codes[out->n_codes];
        text_of(code, "text", c->text, sizeof c->text, err);
        text_of(code, "symbology", c->symbology, sizeof c->symbology, err);
        text_of(code, "photo", c->photo, sizeof c->photo, err);
    }
}

static void read_labels(const json_t *json, tr_identity *out, tr_error *err) {
    int n;
    const json_t *sheets = array_of(json, "sheets", 0, &n, err);
    out->sheets = calloc((size_t)n + 1, sizeof *out->sheets);
    if (!out->sheets) {
        tr_fail_memory(err);
        return;
    }
    for (; out->n_sheets < n && is_fine(err); out->n_sheets++) {
        const json_t *sheet = json_array_get(sheets, (size_t)out->n_sheets);
        tr_label_result *l = &out->sheets[out->n_sheets];
        text_of(sheet, "sheet", l->sheet, sizeof l->sheet, err);
        text_of(sheet, "read", l->read, sizeof l->read, err);
        text_of(sheet, "photo", l->photo, sizeof l->photo, err);
    }
}

static void read_identity(const json_t *json, tr_identity *out, tr_error *err) {
    const json_t *identity = json_object_get(json, "identity");
    out->is_asked = identity;
    if (!identity) return;
    const json_t *vehicle = json_object_get(identity, "vehicle");
    if (!json_is_null(vehicle)) {
        text_of(vehicle, "read", out->vehicle, sizeof out->vehicle, err);
        text_of(vehicle, "photo", out->photo, sizeof out->photo, err);
        text_of(vehicle, "symbology", out->symbology, sizeof out->symbology, err);
        out->has_stated = json_is_boolean(json_object_get(vehicle, "agrees"));
        out->agrees = json_is_true(json_object_get(vehicle, "agrees"));
    }
    read_labels(identity, out, err);
    read_codes(identity, out, err);
}

static void read_job(const json_t *json, tr_check_result *out, tr_error *err) {
    out->has_job = json_is_string(json_object_get(json, "job"));
    if (!out->has_job) return;
    text_of(json, "job", out->job, sizeof out->job, err);
    text_of(json, "layout", out->layout, sizeof out->layout, err);
    text_of(json, "vehicle", out->vehicle, sizeof out->vehicle, err);
    text_of(json, "vehicle_id", out->vehicle_id, sizeof out->vehicle_id, err);
    text_of(json, "technician", out->technician, sizeof out->technician, err);
    read_identity(json, &out->identity, err);
    out->reference_sd_mm = number_of(json, "reference_sd_mm", err);
    out->flatness_mm = number_of(json, "flatness_limit_mm", err);
    out->is_camera_steady = bool_of(json, "steady_camera", err);
}

static void read_why(const json_t *json, tr_error *why, tr_error *err) {
    const json_t *error = json_object_get(json, "error");
    if (!error) return;
    why->code = TR_NO_MEASURE;
    if (json_is_integer(json_object_get(error, "line"))) why->line = integer_of(error, "line", err);
    text_of(error, "file", why->file, sizeof why->file, err);
    text_of(error, "key", why->key, sizeof why->key, err);
    text_of(error, "text", why->text, sizeof why->text, err);
}

static void read_photos(const json_t *json, tr_check_result *out, tr_error *err) {
    int n;
    const json_t *photos = array_of(json, "photos", 0, &n, err);
    out->photos = calloc((size_t)n + 1, sizeof *out->photos);
    if (!out->photos) {
        tr_fail_memory(err);
        return;
    }
    for (; out->n_photos < n && is_fine(err); out->n_photos++) {
        const json_t *photo = json_array_get(photos, (size_t)out->n_photos);
        out->has_lenses = out->has_lenses || json_object_get(photo, "lens");
        read_photo(photo, &out->photos[out->n_photos], err);
    }
    if (!is_fine(err)) return;
    out->order = tr_photo_results_order(out->photos, out->n_photos, err);
}

static void read_lens(const json_t *json, tr_check_result *out, tr_error *err) {
    const json_t *lens = json_object_get(json, "lens");
    out->is_lens_unknown = lens;
    if (!lens) return;
    out->focal_px = number_of(lens, "focal_px", err);
    out->focal_u95 = number_of(lens, "focal_u95_px", err) / out->focal_px;
}

/* Everything that only a measurement has. */
static void read_measured(const json_t *json, tr_check_result *out, tr_error *err) {
    int n_targets;
    int n_sheets;
    int n_plates;
    int n_relations = 0;
    const json_t *references = object_of(json, "references", err);
    const json_t *targets = array_of(json, "targets", 0, &n_targets, err);
    const json_t *sheets = array_of(json, "sheets", 0, &n_sheets, err);
    const json_t *plates = array_of(references, "plates", 0, &n_plates, err);
    out->targets = calloc((size_t)n_targets + 1, sizeof *out->targets);
    out->sheets = calloc((size_t)n_sheets + 1, sizeof *out->sheets);
    const json_t *relations = json_object_get(json, "relations");
    if (relations) relations = array_of(json, "relations", 0, &n_relations, err);
    out->plates = calloc((size_t)n_plates + 1, sizeof *out->plates);
    out->relations = calloc((size_t)n_relations + 1, sizeof *out->relations);
    if (!out->targets || !out->sheets || !out->plates || !out->relations) {
        tr_fail_memory(err);
        return;
    }
    out->verdict = verdict_of(json, err);
    out->wheelbase = length_of(references, "wheelbase_mm", err);
    out->track_front = length_of(references, "track_front_mm", err);
    out->track_rear = length_of(references, "track_rear_mm", err);
    out->n_rejected = integer_of(json, "left_out", err);
    out->variance_factor = number_of(json, "variance_factor", err);
    out->degrees_of_freedom = integer_of(json, "degrees_of_freedom", err);
    read_lens(json, out, err);
    for (; out->n_sheets < n_sheets && is_fine(err); out->n_sheets++) {
        read_sheet(json_array_get(sheets, (size_t)out->n_sheets), &out->sheets[out->n_sheets], err);
    }
    for (; out->n_targets < n_targets && is_fine(err); out->n_targets++) {
        read_target(json_array_get(targets, (size_t)out->n_targets), out,
                    &out->targets[out->n_targets], err);
    }
    for (; out->n_plates < n_plates && is_fine(err); out->n_plates++) {
        read_plate(json_array_get(plates, (size_t)out->n_plates), out, &out->plates[out->n_plates],
                   err);
    }
    for (; out->n_relations < n_relations && is_fine(err); out->n_relations++) {
        read_relation(json_array_get(relations, (size_t)out->n_relations), out,
                      &out->relations[out->n_relations], err);
    }
    read_free_areas(json, out, err);
    read_wheels(json, out, err);
    read_floor(json, out, err);
}

bool tr_check_json_read(const json_t *json, tr_check_result *out, tr_error *err) {
    tr_error first = {0};
    int n;
    memset(out, 0, sizeof *out);
    read_job(json, out, &first);
    read_preconditions(json, out, &first);
    read_why(json, &out->why, &first);
    read_photos(json, out, &first);
    if (out->why.code == TR_OK) read_measured(json, out, &first);
    const json_t *findings = array_of(json, "warnings", 0, &n, &first);
    bool ok = is_fine(&first);
    for (int i = 0; i < n && ok; i++) {
        ok = read_finding(json_array_get(findings, (size_t)i), &out->findings, &first);
    }
    if (ok) return true;
    if (err) *err = first;
    return false;
}
