#include "present/plan_json.h"

#include "base/language.h"
#include "present/check_json.h"
#include "base/json.h"

/* Takes `json` over where it is not whole. */
static json_t *whole(bool ok, json_t *json) {
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *place_json(tr_vec3 p) {
    json_t *json = json_array();
    bool ok = json && tr_json_push(json, tr_json_number(p.x)) &&
              tr_json_push(json, tr_json_number(p.y)) && tr_json_push(json, tr_json_number(p.z));
    return whole(ok, json);
}

static json_t *sheets_json(const tr_check_result *result, tr_sheet_set sees) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < result->n_sheets && ok; i++) {
        if (sees >> i & 1) ok = tr_json_push(json, tr_json_text(result->sheets[i].id));
    }
    return whole(ok, json);
}

static json_t *stations_json(const tr_plan *plan) {
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < plan->n_photos && ok; i++) {
        const tr_planned_photo *p = &plan->photos[i];
        json_t *station = json_object();
        ok = station && tr_json_put(station, "at_mm", place_json(p->station.at_mm)) &&
             tr_json_put(station, "look_at_mm", place_json(p->station.look_at_mm)) &&
             tr_json_put(station, "sheets", sheets_json(&plan->result, p->sees)) &&
             tr_json_put(station, "marks", json_integer(p->n_marks)) &&
             (plan->n_positions < 2 ||
              tr_json_put(station, "position", json_integer(p->station.position + 1))) &&
             tr_json_push(json, json_incref(station));
        json_decref(station);
    }
    return whole(ok, json);
}

static json_t *value_json(tr_axis axis, bool is_known, double value) {
    if (!is_known) return json_null();
    return tr_json_number(tr_axis_is_angle(axis) ? value * TR_DEG_PER_RAD : value);
}

static json_t *budget_json(tr_axis axis, bool is_measured, const tr_axis_result *r) {
    static const char *const SOURCES[TR_N_SOURCES] = {"marks", "lens", "plates", "sheets",
                                                      "pointers"};
    json_t *json = json_object();
    bool ok = json;
    for (int k = 0; k < TR_N_SOURCES; k++) {
        ok = ok && tr_json_put(json, SOURCES[k], value_json(axis, is_measured, r->u95_of[k]));
    }
    return whole(ok, json);
}

/* now: of the check before; NULL: there is none. */
static json_t *axis_json(const tr_plan_report *report, const tr_axis_result *r,
                         const tr_axis_result *now, tr_axis axis) {
    bool is_measured = report->plan->result.why.code == TR_OK && r->is_measured;
    json_t *json = json_object();
    bool ok = json && tr_json_put(json, "u95", value_json(axis, is_measured, r->u95));
    if (now) {
        bool is_now = report->now->why.code == TR_OK && now->is_measured;
        ok = ok && tr_json_put(json, "u95_now", value_json(axis, is_now, now->u95));
    }
    if (r->is_judged) {
        ok = ok && tr_json_put(json, "aim", value_json(axis, true, TR_PLAN_AIM * r->limit)) &&
             tr_json_put(json, "limit", value_json(axis, true, r->limit));
    }
    ok = ok && tr_json_put(json, "budget", budget_json(axis, is_measured, r));
    return whole(ok, json);
}

static json_t *targets_json(const tr_plan_report *report) {
    const tr_check_result *result = &report->plan->result;
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < result->n_targets && ok; i++) {
        const tr_sheet_result *s = &result->sheets[result->targets[i].sheet];
        json_t *target = json_object();
        ok = target && tr_json_put(target, "sheet", tr_json_text(s->id)) &&
             tr_json_put(target, "photos", json_integer(s->n_photos)) &&
             tr_json_put(target, "marks", json_integer(s->n_marks));
        for (tr_axis axis = 0; axis < TR_N_AXES && ok; axis++) {
            const tr_axis_result *now = report->now ? &report->now->targets[i].axis[axis] : NULL;
            ok = tr_json_put(target, tr_axis_key(axis),
                             axis_json(report, &result->targets[i].axis[axis], now, axis));
        }
        ok = ok && tr_json_push(json, json_incref(target));
        json_decref(target);
    }
    return whole(ok, json);
}

static json_t *pair_json(const tr_check_result *result, const tr_relation_result *r) {
    json_t *json = json_array();
    bool ok = json;
    for (int k = 0; k < 2 && ok; k++) {
        int sheet = result->targets[r->targets[k]].sheet;
        ok = tr_json_push(json, tr_json_text(result->sheets[sheet].id));
    }
    return whole(ok, json);
}

static json_t *relations_json(const tr_plan_report *report) {
    const tr_check_result *result = &report->plan->result;
    json_t *json = json_array();
    bool ok = json;
    for (int i = 0; i < result->n_relations && ok; i++) {
        const tr_relation_result *r = &result->relations[i];
        json_t *relation = json_object();
        ok = relation && tr_json_put(relation, "sheets", pair_json(result, r));
        for (tr_axis axis = 0; axis < TR_N_AXES && ok; axis++) {
            const tr_axis_result *now = report->now ? &report->now->relations[i].axis[axis] : NULL;
            ok = tr_json_put(relation, tr_axis_key(axis),
                             axis_json(report, &r->axis[axis], now, axis));
        }
        ok = ok && tr_json_push(json, json_incref(relation));
        json_decref(relation);
    }
    return whole(ok, json);
}

static bool put_report(json_t *json, const tr_plan_report *report) {
    const tr_check_result *result = &report->plan->result;
    char why[1536];
    tr_plan_why(report, why, sizeof why);
    bool is_measured = result->why.code == TR_OK;
    return tr_json_put(json, "job", tr_json_text(result->job)) &&
           tr_json_put(json, "layout", tr_json_text(result->layout)) &&
           tr_json_put(json, "reaches_aim", json_boolean(report->plan->reaches_aim)) &&
           tr_json_put(json, "proposed", json_boolean(report->is_proposed)) &&
           tr_json_put(json, "why", tr_json_text(why)) &&
           tr_json_put(json, "error", is_measured ? json_null() : tr_json_error(&result->why)) &&
           tr_json_put(json, "stations", stations_json(report->plan)) &&
           tr_json_put(json, "targets", targets_json(report)) &&
           (result->n_relations == 0 || tr_json_put(json, "relations", relations_json(report)));
}

static json_t *in_english(const tr_plan_report *report, const tr_error *why) {
    json_t *json = json_object();
    bool ok = json;
    if (why->code == TR_OK) {
        ok = ok && put_report(json, report);
    } else {
        ok = ok && tr_json_put(json, "reaches_aim", json_null()) &&
             tr_json_put(json, "error", tr_json_error(why));
    }
    return whole(ok && tr_json_put(json, "program", tr_program_json()), json);
}

json_t *tr_plan_json(const tr_plan_report *report, const tr_error *why) {
    tr_english_begin();
    json_t *json = in_english(report, why);
    tr_english_end();
    return json;
}
