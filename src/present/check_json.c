#include "present/check_json.h"

#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "present/moves.h"
#include "present/catalogue.h"
#include "present/free_area.h"
#include "base/json.h"

const tr_wheels_key TR_WHEELS_KEYS[TR_N_WHEELS_KEYS] = {
    {"thrust_angle_deg", TR_THRUST_ANGLE},
    {"set_back_mm", TR_SET_BACK},
    {"wheelbase_left_mm", TR_WHEELBASE_LEFT},
    {"wheelbase_right_mm", TR_WHEELBASE_RIGHT},
};

static json_t *value_of(tr_axis axis, double value) {
    return tr_json_number(tr_axis_is_angle(axis) ? value * TR_DEG_PER_RAD : value);
}

/* What the layout states, as it was written there: 0.3 and not 0.30000000000000004. */
static json_t *stated(tr_axis axis, double value) {
    if (!tr_axis_is_angle(axis)) return tr_json_number(value);
    double degrees = round(value * TR_DEG_PER_RAD * 1e9) / 1e9;
    return degrees * TR_RAD_PER_DEG == value ? tr_json_number(degrees) : value_of(axis, value);
}

/* A pose a_from_b: [R | t] by rows. */
static json_t *pose_json(bool is_known, tr_pose pose) {
    if (!is_known) return json_null();
    const double t[3] = {pose.t_mm.x, pose.t_mm.y, pose.t_mm.z};
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < 12 && ok; i++) {
        ok = tr_json_push(json, tr_json_number(i % 4 < 3 ? pose.R.m[i / 4][i % 4] : t[i / 4]));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *pair_json(double a, double b) {
    json_t *json = json_array();
    if (json && tr_json_push(json, tr_json_number(a)) && tr_json_push(json, tr_json_number(b))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *known_text(const char *words) {
    return *words ? tr_json_text(words) : json_null();
}

static json_t *measured(tr_axis axis, bool is_measured, double value) {
    return is_measured ? value_of(axis, value) : json_null();
}

/* Keys of the budget. */
static const char *const SOURCES[TR_N_SOURCES] = {"marks", "lens", "plates", "sheets", "pointers"};

static json_t *axis_json(tr_axis axis, const tr_axis_result *r) {
    json_t *a = json_object();
    bool ok = a;
    if (r->is_required) ok = ok && tr_json_put(a, "required", stated(axis, r->required));
    ok = ok && tr_json_put(a, "measured", measured(axis, r->is_measured, r->measured));
    if (r->is_required)
        ok = ok && tr_json_put(a, "error", measured(axis, r->is_measured, r->error));
    ok = ok && tr_json_put(a, "u95", measured(axis, r->is_measured, r->u95));
    if (r->is_judged) {
        ok = ok && tr_json_put(a, "limit", stated(axis, r->limit)) &&
             tr_json_put(a, "verdict", json_string(tr_verdict_name(r->verdict)));
    }
    json_t *budget = json_object();
    for (int k = 0; k < TR_N_SOURCES; k++) {
        ok = ok && tr_json_put(budget, SOURCES[k], measured(axis, r->is_measured, r->u95_of[k]));
    }
    ok = ok && tr_json_put(a, "budget", json_incref(budget));
    if (r->u95_calibrated > 0) {
        ok = ok && tr_json_put(a, "u95_with_profile", value_of(axis, r->u95_calibrated));
    }
    json_decref(budget);
    if (ok) return a;
    json_decref(a);
    return NULL;
}

/* One name where x and y count from the same and z from the floor; else one a coordinate. */
static json_t *origins_json(const tr_origin from[3]) {
    json_t *json;
    if (tr_origin_is(&from[0], &from[1]) && from[2].kind == TR_FROM_REAR_AXLE)
        return tr_json_text(tr_origin_name(&from[0]));
    json = json_object();
    bool ok = json;
    static const char *const KEYS[3] = {"x", "y", "z"};
    for (int k = 0; k < 3; k++) {
        ok = ok && tr_json_put(json, KEYS[k], tr_json_text(tr_origin_name(&from[k])));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* In the order of tr_measured_by. */
static const char *const MEASURED_BY[] = {"tags", "artwork", "pointers"};

static json_t *target_json(const tr_check_result *result, const tr_target_result *t) {
    json_t *target = json_object();
    json_t *moves = json_array();
    char sentences[TR_MAX_MOVES][TR_MOVE_SIZE];
    int n_moves = tr_target_moves(result, t, sentences);
    bool ok = target && moves;
    for (int i = 0; i < n_moves; i++) ok = ok && tr_json_push(moves, tr_json_text(sentences[i]));
    ok = ok && tr_json_put(target, "sheet", tr_json_text(result->sheets[t->sheet].id)) &&
         tr_json_put(target, "verdict", json_string(tr_verdict_name(t->verdict))) &&
         tr_json_put(target, "photos", json_integer(result->sheets[t->sheet].n_photos)) &&
         tr_json_put(target, "marks", json_integer(result->sheets[t->sheet].n_marks));
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        ok = ok && tr_json_put(target, tr_axis_key(axis), axis_json(axis, &t->axis[axis]));
    }
    ok = ok && tr_json_put(target, "moves", json_incref(moves)) &&
         tr_json_put(target, "from", origins_json(t->from)) &&
         tr_json_put(target, "measured_by",
                     result->sheets[t->sheet].is_placed ? json_string(MEASURED_BY[t->by])
                                                        : json_null()) &&
         tr_json_put(target, "required_pose", pose_json(true, t->vehicle_from_required)) &&
         tr_json_put(target, "photo",
                     t->photo >= 0 ? tr_json_text(result->photos[t->photo].name) : json_null());
    json_decref(moves);
    if (ok) return target;
    json_decref(target);
    return NULL;
}

static json_t *targets_json(const tr_check_result *result) {
    json_t *targets = json_array();
    bool ok = targets;
    for (int i = 0; ok && i < result->n_targets; i++) {
        ok = ok && tr_json_push(targets, target_json(result, &result->targets[i]));
    }
    if (ok) return targets;
    json_decref(targets);
    return NULL;
}

static json_t *length_json(const tr_length_result *length) {
    json_t *json = json_object();
    bool ok = json;
    if (length->is_measured) {
        ok = ok && tr_json_put(json, "measured", tr_json_number(length->measured_mm)) &&
             tr_json_put(json, "u95", tr_json_number(length->u95_mm));
        if (length->stated_mm > 0)
            ok = ok && tr_json_put(json, "stated", tr_json_number(length->stated_mm));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *plates_json(const tr_check_result *result) {
    json_t *plates = json_array();
    bool ok = plates;
    for (int i = 0; ok && i < result->n_plates; i++) {
        const tr_plate_result *p = &result->plates[i];
        json_t *plate = json_object();
        ok = plate && tr_json_put(plate, "point", tr_json_text(p->name)) &&
             tr_json_put(plate, "sheet", tr_json_text(result->sheets[p->sheet].id)) &&
             tr_json_put(plate, "hub", json_boolean(p->is_hub)) &&
             tr_json_put(plate, "at_mm",
                         p->is_placed ? pair_json(p->at_mm.x, p->at_mm.y) : json_null()) &&
             tr_json_put(plate, "height_mm",
                         p->is_placed ? tr_json_number(p->at_mm.z) : json_null()) &&
             tr_json_push(plates, json_incref(plate));
        json_decref(plate);
    }
    if (ok) return plates;
    json_decref(plates);
    return NULL;
}

/* What the layout states, also of lengths that were not measured. */
static json_t *stated_json(const tr_check_result *result) {
    json_t *json = json_object();
    const tr_length_result *lengths[] = {&result->wheelbase, &result->track_front,
                                         &result->track_rear};
    static const char *const KEYS[] = {"wheelbase_mm", "track_front_mm", "track_rear_mm"};
    bool ok = json;
    for (int i = 0; i < 3; i++) {
        if (!(lengths[i]->stated_mm > 0)) continue;
        ok = ok && tr_json_put(json, KEYS[i], tr_json_number(lengths[i]->stated_mm));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *references_json(const tr_check_result *result) {
    json_t *references = json_object();
    if (references && tr_json_put(references, "wheelbase_mm", length_json(&result->wheelbase)) &&
        tr_json_put(references, "track_front_mm", length_json(&result->track_front)) &&
        tr_json_put(references, "track_rear_mm", length_json(&result->track_rear)) &&
        tr_json_put(references, "stated", stated_json(result)) &&
        tr_json_put(references, "plates", plates_json(result))) {
        return references;
    }
    json_decref(references);
    return NULL;
}

static json_t *quantity_json(bool is_measured, double value, double u95) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "measured", is_measured ? tr_json_number(value) : json_null()) &&
        tr_json_put(json, "u95", is_measured ? tr_json_number(u95) : json_null())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

/* mm, or degrees for an angle; nothing in it where it is not measured. */
static json_t *geometry_json(const tr_check_result *result, int value) {
    const tr_quantity *q = &result->geometry[value];
    double unit = tr_vehicle_value_is_angle(value) ? TR_DEG_PER_RAD : 1;
    return q->is_measured ? quantity_json(true, unit * q->value, unit * q->u95) : json_object();
}

/* Null where the vehicle was not rolled. */
static json_t *runout_json(const tr_check_result *result, int value) {
    return result->geometry[value].is_measured ? geometry_json(result, value) : json_null();
}

static json_t *centre_json(const tr_check_result *result, int wheel, bool is_u95) {
    json_t *json = json_array();
    bool ok = json;
    for (int k = 0; k < 3 && ok; k++) {
        const tr_quantity *q = &result->geometry[TR_CENTRE + 3 * wheel + k];
        ok = tr_json_push(json, q->is_measured ? tr_json_number(is_u95 ? q->u95 : q->value)
                                               : json_null());
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *wheel_json(const tr_check_result *result, int wheel) {
    json_t *json = json_object();
    bool ok = json;
    if (ok && result->geometry[TR_CENTRE + 3 * wheel].is_measured) {
        ok = tr_json_put(json, "toe_deg", geometry_json(result, TR_TOE + wheel)) &&
             tr_json_put(json, "camber_deg", geometry_json(result, TR_CAMBER + wheel)) &&
             tr_json_put(json, "centre_mm", centre_json(result, wheel, false)) &&
             tr_json_put(json, "centre_u95_mm", centre_json(result, wheel, true)) &&
             tr_json_put(json, "runout_mm", runout_json(result, TR_RUNOUT + wheel)) &&
             tr_json_put(json, "runout_deg", runout_json(result, TR_RUNOUT_TILT + wheel));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* What hub sheets tell of the wheels. */
static json_t *wheels_json(const tr_check_result *result) {
    json_t *json = json_object();
    bool ok = json;
    for (int i = 0; i < TR_N_WHEELS_KEYS; i++) {
        const tr_wheels_key *k = &TR_WHEELS_KEYS[i];
        ok = ok && tr_json_put(json, k->key, geometry_json(result, (int)k->value));
    }
    for (int i = 0; i < TR_N_POINTS; i++) {
        ok = ok && tr_json_put(json, tr_wheel_point_name((tr_wheel_point)i), wheel_json(result, i));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *relations_json(const tr_check_result *result) {
    json_t *relations = json_array();
    bool ok = relations;
    for (int i = 0; ok && i < result->n_relations; i++) {
        const tr_relation_result *r = &result->relations[i];
        json_t *relation = json_object();
        json_t *sheets = json_array();
        ok = relation && sheets;
        for (int k = 0; k < 2 && ok; k++) {
            int sheet = result->targets[r->targets[k]].sheet;
            ok = tr_json_push(sheets, tr_json_text(result->sheets[sheet].id));
        }
        ok = ok && tr_json_put(relation, "sheets", json_incref(sheets)) &&
             tr_json_put(relation, "verdict", json_string(tr_verdict_name(r->verdict)));
        for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
            ok = ok && tr_json_put(relation, tr_axis_key(axis), axis_json(axis, &r->axis[axis]));
        }
        ok = ok && tr_json_push(relations, json_incref(relation));
        json_decref(sheets);
        json_decref(relation);
    }
    if (ok) return relations;
    json_decref(relations);
    return NULL;
}

static json_t *corners_json(const tr_free_area_result *area) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; ok && i < area->n_corners; i++) {
        ok = tr_json_push(json, pair_json(area->corners_mm[i].x, area->corners_mm[i].y));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* The photos that see it, by name. */
static json_t *sights_json(const tr_check_result *result, const tr_free_area_result *area) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; ok && i < result->n_photos; i++) {
        const tr_photo_result *photo = &result->photos[result->order[i]];
        tr_area_sight sight = tr_area_sight_of(result, area, photo);
        if (sight == TR_SEES_NOTHING) continue;
        json_t *one = json_object();
        ok = one && tr_json_put(one, "photo", tr_json_text(photo->name)) &&
             tr_json_put(one, "all", json_boolean(sight == TR_SEES_ALL)) &&
             tr_json_push(json, json_incref(one));
        json_decref(one);
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *free_areas_json(const tr_check_result *result) {
    json_t *areas = json_array();
    bool ok = areas;
    for (int i = 0; ok && i < result->n_free_areas; i++) {
        const tr_free_area_result *a = &result->free_areas[i];
        json_t *area = json_object();
        ok = area && tr_json_put(area, "name", tr_json_text(a->name)) &&
             tr_json_put(area, "from", origins_json(a->from)) &&
             tr_json_put(area, "placed", json_boolean(a->is_placed)) &&
             tr_json_put(area, "height_mm", tr_json_number(a->height_mm)) &&
             tr_json_put(area, "corners_mm", corners_json(a)) &&
             tr_json_put(area, "seen", sights_json(result, a)) &&
             tr_json_push(areas, json_incref(area));
        json_decref(area);
    }
    if (ok) return areas;
    json_decref(areas);
    return NULL;
}

/* ---- the floor ---- */

const tr_floor_key TR_FLOOR_KEYS[TR_FLOOR_N] = {
    [TR_FLOOR_HEIGHT] = {"height_mm", TR_X},
    [TR_FLOOR_OUT_OF_FLAT] = {"out_of_flat_mm", TR_X},
    [TR_FLOOR_ALONG] = {"along_deg", TR_YAW},
    [TR_FLOOR_ACROSS] = {"across_deg", TR_YAW},
    [TR_FLOOR_SLOPE] = {"slope_deg", TR_YAW},
    [TR_FLOOR_LEVEL_ALONG] = {"level_along_deg", TR_YAW},
    [TR_FLOOR_LEVEL_ACROSS] = {"level_across_deg", TR_YAW},
    [TR_FLOOR_LEVEL_SLOPE] = {"level_slope_deg", TR_YAW},
};

const char *const TR_STAND_WORDS[] = {
    [TR_STAND_UNKNOWN] = "", [TR_STAND_OF_PLATES] = "plates", [TR_STAND_OF_SHEETS] = "sheets"};

static json_t *floor_value_json(const tr_floor_result *floor, const tr_floor_judged *v,
                                tr_axis axis, tr_floor_limit limit) {
    json_t *json = json_object();
    bool is = v->value.is_measured;
    bool ok = json && tr_json_put(json, "measured", measured(axis, is, v->value.value)) &&
              tr_json_put(json, "u95", measured(axis, is, v->value.u95));
    if (v->is_judged) {
        ok = ok && tr_json_put(json, "limit", stated(axis, floor->limit[limit])) &&
             tr_json_put(json, "verdict", json_string(tr_verdict_name(v->verdict)));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* along_deg and across_deg of the floor as a whole. */
static json_t *floor_whole_json(const tr_floor_result *floor, tr_floor_whole along) {
    json_t *json = json_object();
    bool ok = json;
    for (int k = 0; k < 2; k++) {
        tr_floor_whole value = (tr_floor_whole)((int)along + k);
        ok = ok && tr_json_put(json, k == 0 ? "along_deg" : "across_deg",
                               floor_value_json(floor, &floor->whole[value], TR_YAW,
                                                tr_floor_limit_of_whole(value)));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* Ids of the targets whose place it is. */
static json_t *targets_at_json(const tr_check_result *result, int place) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < result->n_targets && ok; i++) {
        if (result->targets[i].floor_place != place) continue;
        ok = tr_json_push(json, tr_json_text(result->sheets[result->targets[i].sheet].id));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* Slopes to it only of a target's place, those against the horizontal only with a level. */
static json_t *place_json(const tr_check_result *result, int place) {
    const tr_floor_result *floor = &result->floor;
    const tr_floor_place *p = &floor->places[place];
    json_t *json = json_object();
    bool ok = json && tr_json_put(json, "sheet", tr_json_text(result->sheets[p->sheet].id)) &&
              tr_json_put(json, "wheel", json_boolean(p->is_at_wheel)) &&
              tr_json_put(json, "targets", targets_at_json(result, place));
    for (tr_floor_value k = 0; k < TR_FLOOR_N && ok; k++) {
        bool is_always = k < TR_FLOOR_SLOPE;
        if (!is_always && !p->value[k].value.is_measured && !p->value[k].is_judged) continue;
        ok = tr_json_put(
            json, TR_FLOOR_KEYS[k].key,
            floor_value_json(floor, &p->value[k], TR_FLOOR_KEYS[k].axis, tr_floor_limit_of(k)));
    }
    /* Of the degrees as they are written, so that one who reads them says the same. */
    const tr_quantity *slope = &p->value[TR_FLOOR_SLOPE].value;
    double degrees = slope->value * TR_DEG_PER_RAD;
    if (slope->is_measured) {
        ok = ok && tr_json_put(json, "rise_mm_per_m",
                               tr_json_number(1000 * tan(degrees * TR_RAD_PER_DEG)));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *floor_limits_json(const tr_floor_result *floor) {
    json_t *json = json_object();
    bool ok = json;
    for (tr_floor_limit k = 0; k < TR_N_FLOOR_LIMITS; k++) {
        if (!(floor->limit[k] > 0)) continue;
        tr_axis axis = tr_floor_limit_is_angle(k) ? TR_YAW : TR_X;
        ok = ok && tr_json_put(json, tr_floor_limit_key(k), stated(axis, floor->limit[k]));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* What was read from a level. */
static json_t *level_json(const tr_floor_result *floor) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "on", tr_json_text(floor->level_on)) &&
        tr_json_put(json, "along_deg", stated(TR_YAW, floor->level_rad[0])) &&
        tr_json_put(json, "across_deg", stated(TR_YAW, floor->level_rad[1])) &&
        tr_json_put(json, "sd_deg", stated(TR_YAW, floor->level_sd_rad))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *floor_json(const tr_check_result *result) {
    const tr_floor_result *floor = &result->floor;
    json_t *json = json_object();
    json_t *places = json_array();
    bool ok = json && places;
    for (int i = 0; i < floor->n_places && ok; i++) {
        ok = tr_json_push(places, place_json(result, i));
    }
    if (floor->is_judged) {
        ok = ok && tr_json_put(json, "verdict", json_string(tr_verdict_name(floor->verdict))) &&
             tr_json_put(json, "limits", floor_limits_json(floor));
    }
    ok = ok && tr_json_put(json, "stand_of", known_text(TR_STAND_WORDS[floor->stand])) &&
         tr_json_put(json, "plane", floor_whole_json(floor, TR_FLOOR_PLANE_ALONG));
    if (floor->has_level) {
        ok = ok && tr_json_put(json, "level", level_json(floor)) &&
             tr_json_put(json, "stand", floor_whole_json(floor, TR_FLOOR_STAND_ALONG));
    }
    ok = ok && tr_json_put(json, "sheets", json_incref(places));
    json_decref(places);
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *flatness_json(const tr_check_result *result, const tr_sheet_result *r) {
    const tr_sheet_condition *c = &r->condition;
    json_t *json = quantity_json(c->has_flatness, c->flatness_mm, c->flatness_u95_mm);
    bool ok = json;
    if (ok && r->is_flat_judged) {
        ok = tr_json_put(json, "limit", tr_json_number(result->flatness_mm)) &&
             tr_json_put(json, "verdict", json_string(tr_verdict_name(r->flatness_verdict)));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* The condition of every sheet that was measured. Scales are relative to what the file says. */
static json_t *sheets_json(const tr_check_result *result) {
    json_t *sheets = json_array();
    bool ok = sheets;
    for (int i = 0; ok && i < result->n_sheets; i++) {
        const tr_sheet_result *r = &result->sheets[i];
        const tr_sheet_condition *c = &r->condition;
        json_t *sheet = json_object();
        ok = sheet && tr_json_put(sheet, "sheet", tr_json_text(r->id)) &&
             tr_json_put(sheet, "photos", json_integer(r->n_photos)) &&
             tr_json_put(sheet, "marks", json_integer(r->n_marks)) &&
             tr_json_put(sheet, "flatness_mm", flatness_json(result, r)) &&
             tr_json_put(
                 sheet, "scale_x",
                 quantity_json(c->has_print_scale, 1 + c->print_scale[0], c->print_scale_u95[0])) &&
             tr_json_put(
                 sheet, "scale_y",
                 quantity_json(c->has_print_scale, 1 + c->print_scale[1], c->print_scale_u95[1])) &&
             tr_json_put(sheet, "title", tr_json_text(r->title)) &&
             tr_json_put(sheet, "kind", json_string(tr_sheet_kind_name(r->kind))) &&
             tr_json_put(sheet, "size_mm", pair_json(r->width_mm, r->height_mm)) &&
             tr_json_put(sheet, "surveyed", json_boolean(r->is_surveyed)) &&
             tr_json_put(sheet, "pose", pose_json(r->is_placed, r->vehicle_from_sheet)) &&
             tr_json_push(sheets, json_incref(sheet));
        json_decref(sheet);
    }
    if (ok) return sheets;
    json_decref(sheets);
    return NULL;
}

static json_t *known(bool is_known, double value) {
    return is_known ? tr_json_number(value) : json_null();
}

static json_t *said_json(const tr_finding *finding);

static json_t *quality_json(const tr_photo_result *photo) {
    const tr_photo_quality *q = &photo->quality;
    const char *flaw = tr_photo_flaw_text(q->flaw);
    char why_not[TR_FINDING_TEXT_SIZE] = "";
    if (q->grade == TR_PHOTO_UNUSABLE) tr_reason_text(photo->why_not.items, why_not);
    json_t *json = json_object();
    if (json && tr_json_put(json, "grade", json_string(tr_photo_grade_name(q->grade))) &&
        tr_json_put(json, "reason", known_text(*flaw ? flaw : why_not)) &&
        tr_json_put(json, "sharpness_px", known(q->has_marks, q->sharpness_px)) &&
        tr_json_put(json, "contrast", known(q->has_marks, q->contrast)) &&
        tr_json_put(json, "overexposed", known(q->has_tags, q->overexposed_part)) &&
        tr_json_put(json, "tag_px", known(q->has_tags, q->tag_px)) &&
        tr_json_put(json, "cell_px", known(q->has_tags, q->cell_px)) &&
        tr_json_put(json, "elevation_deg",
                    known(q->has_elevation, q->elevation_rad * TR_DEG_PER_RAD))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *photo_json(const tr_photo_result *photo, bool has_lenses) {
    char why_not[TR_FINDING_TEXT_SIZE];
    tr_reason_text(photo->why_not.items, why_not);
    json_t *json = json_object();
    bool ok =
        json && tr_json_put(json, "file", tr_json_text(photo->file)) &&
        tr_json_put(json, "sha256", *photo->sha256 ? json_string(photo->sha256) : json_null()) &&
        tr_json_put(json, "used", json_boolean(photo->is_used)) &&
        tr_json_put(json, "marks", json_integer(photo->is_used ? photo->n_marks : 0)) &&
        tr_json_put(json, "rms_px", known(photo->is_used, photo->rms_px)) &&
        tr_json_put(json, "camera", known_text(photo->camera)) &&
        tr_json_put(json, "taken", known_text(photo->taken)) &&
        tr_json_put(json, "quality", quality_json(photo));
    if (has_lenses) ok = ok && tr_json_put(json, "lens", known_text(photo->lens));
    if (*why_not && !photo->is_used) {
        ok = ok && tr_json_put(json, "reason", tr_json_text(why_not)) &&
             tr_json_put(json, "why", said_json(photo->why_not.items));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

json_t *tr_photos_json(const tr_photo_result *photos, int n, bool has_lenses) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; ok && i < n; i++) ok = tr_json_push(json, photo_json(&photos[i], has_lenses));
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *items_json(const char *list) {
    json_t *json = json_array();
    bool ok = json;
    for (const char *item = list; ok; item += strcspn(item, "\n") + 1) {
        char text[256];
        size_t n = strcspn(item, "\n");
        snprintf(text, sizeof text, "%.*s", (int)n, item);
        ok = tr_json_push(json, tr_json_text(text));
        if (!item[n]) break;
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *part_json(const tr_finding *part) {
    char text[TR_FINDING_TEXT_SIZE];
    tr_reason_text(part, text);
    return tr_json_text(text);
}

static json_t *arguments_json(const tr_finding *finding) {
    json_t *json = json_object();
    bool ok = json;
    for (int i = 0; ok && i < TR_MAX_ARGUMENTS && *finding->arguments[i].name; i++) {
        const tr_argument *a = &finding->arguments[i];
        switch (a->type) {
        case TR_ARGUMENT_NUMBER: ok = tr_json_put(json, a->name, tr_json_number(a->number)); break;
        case TR_ARGUMENT_INTEGER:
            ok = tr_json_put(json, a->name, json_integer((json_int_t)a->number));
            break;
        case TR_ARGUMENT_TEXT: ok = tr_json_put(json, a->name, tr_json_text(a->text)); break;
        case TR_ARGUMENT_LIST: ok = tr_json_put(json, a->name, items_json(a->text)); break;
        case TR_ARGUMENT_PART: ok = tr_json_put(json, a->name, part_json(a->part)); break;
        }
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* Of the arguments that are sentences of their own: which they are. */
static bool put_parts(json_t *json, const tr_finding *finding) {
    json_t *parts = json_object();
    bool ok = parts;
    for (int i = 0; ok && i < TR_MAX_ARGUMENTS && *finding->arguments[i].name; i++) {
        const tr_argument *a = &finding->arguments[i];
        if (a->type == TR_ARGUMENT_PART && a->part)
            ok = tr_json_put(parts, a->name, said_json(a->part));
    }
    if (json_object_size(parts) > 0) ok = ok && tr_json_put(json, "parts", json_incref(parts));
    json_decref(parts);
    return ok;
}

/* Which finding it is, from which its sentence follows in any language. */
static bool put_said(json_t *json, const tr_finding *finding) {
    return tr_json_put(json, "variant", json_string(tr_finding_name(finding->kind))) &&
           tr_json_put(json, "arguments", arguments_json(finding)) && put_parts(json, finding);
}

static json_t *said_json(const tr_finding *finding) {
    json_t *json = json_object();
    if (json && put_said(json, finding)) return json;
    json_decref(json);
    return NULL;
}

static json_t *finding_json(const tr_finding *finding) {
    char text[TR_FINDING_TEXT_SIZE];
    tr_finding_text(finding, text);
    json_t *json = json_object();
    if (json && tr_json_put(json, "code", json_string(tr_finding_code(finding->kind))) &&
        tr_json_put(json, "text", tr_json_text(text)) &&
        tr_json_put(json, "blocks_pass", json_boolean(tr_finding_blocks_pass(finding->kind))) &&
        put_said(json, finding)) {
        return json;
    }
    json_decref(json);
    return NULL;
}

json_t *tr_findings_json(const tr_findings *list) {
    json_t *findings = json_array();
    bool ok = findings;
    for (int i = 0; list && i < list->n; i++) {
        ok = ok && tr_json_push(findings, finding_json(&list->items[i]));
    }
    if (ok) return findings;
    json_decref(findings);
    return NULL;
}

json_t *tr_program_json(void) {
    json_t *program = json_object();
    if (program && tr_json_put(program, "name", json_string("trammel")) &&
        tr_json_put(program, "version", json_string(TRAMMEL_VERSION))) {
        return program;
    }
    json_decref(program);
    return NULL;
}

/* What the photos say of a lens without a profile. */
static bool put_unknown_lens(json_t *json, const tr_check_result *result) {
    if (!result->is_lens_unknown) return true;
    json_t *lens = json_object();
    bool ok =
        lens && tr_json_put(lens, "known", json_false()) &&
        tr_json_put(lens, "focal_px", tr_json_number(result->focal_px)) &&
        tr_json_put(lens, "focal_u95_px", tr_json_number(result->focal_px * result->focal_u95)) &&
        tr_json_put(json, "lens", json_incref(lens));
    json_decref(lens);
    return ok;
}

/* The lens as it was in the photo: fx fy cx cy k1 k2 p1 p2 k3. */
static json_t *own_lens_json(const tr_photo_result *photo) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < TR_LENS_N && ok; i++) {
        ok = tr_json_push(json, tr_json_number(photo->own_lens.param[i]));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* Of each mark its sheet, counted from 0, and u, v of its points. */
static json_t *drawn_json(const tr_photo_result *photo) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < photo->n_drawn && ok; i++) {
        const tr_drawn_mark *m = &photo->marks[i];
        json_t *mark = json_array();
        ok = mark && tr_json_push(mark, json_integer(m->sheet));
        for (int k = 0; k < m->n_points && ok; k++) {
            ok = tr_json_push(mark, tr_json_number(m->uv_px[k].x)) &&
                 tr_json_push(mark, tr_json_number(m->uv_px[k].y));
        }
        ok = ok && tr_json_push(json, json_incref(mark));
        json_decref(mark);
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* What a drawing needs of a photo beside its file. */
static bool put_view(json_t *json, const tr_photo_result *photo, bool is_placed) {
    return tr_json_put(json, "name", tr_json_text(photo->name)) &&
           tr_json_put(json, "image_px", pair_json(photo->width_px, photo->height_px)) &&
           tr_json_put(json, "marks_found", json_integer(photo->n_found)) &&
           (!is_placed ||
            (tr_json_put(json, "lens_px", own_lens_json(photo)) &&
             tr_json_put(json, "camera_pose", pose_json(true, photo->camera_from_vehicle)))) &&
           (photo->n_drawn == 0 || tr_json_put(json, "marks_px", drawn_json(photo)));
}

static json_t *job_text(const tr_check_result *result, const char *text) {
    return result->has_job ? tr_json_text(text) : json_null();
}

static json_t *photos_json(const tr_check_result *result) {
    json_t *json = tr_photos_json(result->photos, result->n_photos, result->has_lenses);
    bool ok = json;
    for (int i = 0; ok && i < result->n_photos; i++) {
        const tr_photo_result *photo = &result->photos[i];
        bool is_placed = result->why.code == TR_OK && photo->is_used;
        ok = put_view(json_array_get(json, (size_t)i), photo, is_placed);
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

const char *const TR_PRECONDITION_STATES[] = {
    [TR_CONFIRMED] = "confirmed", [TR_NOT_CONFIRMED] = "not confirmed", [TR_NOT_DONE] = "not done"};

static json_t *precondition_json(const tr_precondition_result *p) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "id", tr_json_text(p->id)) &&
        tr_json_put(json, "text", tr_json_text(p->text)) &&
        tr_json_put(json, "required", json_boolean(p->is_required)) &&
        tr_json_put(json, "state", json_string(TR_PRECONDITION_STATES[p->state])) &&
        tr_json_put(json, "by", known_text(p->by)) && tr_json_put(json, "at", known_text(p->at)) &&
        tr_json_put(json, "reason", known_text(p->reason))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *preconditions_json(const tr_check_result *result) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; ok && i < result->n_preconditions; i++) {
        ok = tr_json_push(json, precondition_json(&result->preconditions[i]));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* ---- what codes say ---- */

static json_t *identity_vehicle_json(const tr_identity *identity) {
    if (!*identity->vehicle) return json_null();
    json_t *json = json_object();
    if (json && tr_json_put(json, "read", tr_json_text(identity->vehicle)) &&
        tr_json_put(json, "photo", tr_json_text(identity->photo)) &&
        tr_json_put(json, "symbology", json_string(identity->symbology)) &&
        tr_json_put(json, "agrees",
                    identity->has_stated ? json_boolean(identity->agrees) : json_null())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *label_json(const tr_label_result *label) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "sheet", tr_json_text(label->sheet)) &&
        tr_json_put(json, "read", known_text(label->read)) &&
        tr_json_put(json, "photo", known_text(label->photo))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *code_json(const tr_code_result *code) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "text", tr_json_text(code->text)) &&
        tr_json_put(json, "symbology", json_string(code->symbology)) &&
        tr_json_put(json, "photo", tr_json_text(code->photo))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *identity_json(const tr_identity *identity) {
    json_t *json = json_object();
    json_t *sheets = json_array();
    json_t *codes = json_array();
    bool ok =
        json && sheets && codes && tr_json_put(json, "vehicle", identity_vehicle_json(identity));
    for (int i = 0; i < identity->n_sheets && ok; i++)
        ok = tr_json_push(sheets, label_json(&identity->sheets[i]));
    for (int i = 0; i < identity->n_codes && ok; i++)
        ok = tr_json_push(codes, code_json(&identity->codes[i]));
    ok = ok && tr_json_put(json, "sheets", json_incref(sheets)) &&
         tr_json_put(json, "codes", json_incref(codes));
    json_decref(sheets);
    json_decref(codes);
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* What is said of the job. */
static bool put_job(json_t *json, const tr_check_result *result) {
    return !result->has_job ||
           (tr_json_put(json, "vehicle", tr_json_text(result->vehicle)) &&
            tr_json_put(json, "vehicle_id", known_text(result->vehicle_id)) &&
            tr_json_put(json, "technician", known_text(result->technician)) &&
            (!result->identity.is_asked ||
             tr_json_put(json, "identity", identity_json(&result->identity))) &&
            tr_json_put(json, "reference_sd_mm", tr_json_number(result->reference_sd_mm)) &&
            tr_json_put(json, "flatness_limit_mm", tr_json_number(result->flatness_mm)) &&
            (!(result->thrust_limit_rad > 0) ||
             tr_json_put(json, "thrust_limit_deg", stated(TR_YAW, result->thrust_limit_rad))) &&
            (result->n_preconditions == 0 ||
             tr_json_put(json, "preconditions", preconditions_json(result))) &&
            tr_json_put(json, "steady_camera", json_boolean(result->is_camera_steady)));
}

/* Of a check without a measurement. */
static bool put_failed(json_t *json, const tr_check_result *result) {
    static const tr_check_result NOTHING = {.has_job = false};
    return tr_json_put(json, "verdict", json_null()) &&
           tr_json_put(json, "error", tr_json_error(&result->why)) &&
           tr_json_put(json, "targets", json_array()) &&
           tr_json_put(json, "references", references_json(&NOTHING)) &&
           tr_json_put(json, "photos", photos_json(result)) &&
           tr_json_put(json, "warnings", tr_findings_json(&result->findings));
}

static bool put_measured(json_t *json, const tr_check_result *result) {
    return tr_json_put(json, "verdict", json_string(tr_verdict_name(result->verdict))) &&
           tr_json_put(json, "targets", targets_json(result)) &&
           tr_json_put(json, "references", references_json(result)) &&
           (!result->has_wheels || tr_json_put(json, "wheels", wheels_json(result))) &&
           (result->n_relations == 0 || tr_json_put(json, "relations", relations_json(result))) &&
           (result->n_free_areas == 0 ||
            tr_json_put(json, "free_areas", free_areas_json(result))) &&
           (!tr_floor_is_told(&result->floor) || tr_json_put(json, "floor", floor_json(result))) &&
           put_unknown_lens(json, result) && tr_json_put(json, "sheets", sheets_json(result)) &&
           tr_json_put(json, "photos", photos_json(result)) &&
           tr_json_put(json, "warnings", tr_findings_json(&result->findings)) &&
           tr_json_put(json, "left_out", json_integer(result->n_rejected)) &&
           tr_json_put(json, "variance_factor", tr_json_number(result->variance_factor)) &&
           tr_json_put(json, "degrees_of_freedom", json_integer(result->degrees_of_freedom));
}

static json_t *in_english(const tr_check_result *result) {
    json_t *json = json_object();
    bool is_measured = result->why.code == TR_OK;
    if (json && tr_json_put(json, "job", job_text(result, result->job)) &&
        tr_json_put(json, "layout", job_text(result, result->layout)) &&
        (is_measured ? put_measured(json, result) : put_failed(json, result)) &&
        put_job(json, result) && tr_json_put(json, "program", tr_program_json())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

json_t *tr_check_json(const tr_check_result *result) {
    tr_english_begin();
    json_t *json = in_english(result);
    tr_english_end();
    return json;
}
