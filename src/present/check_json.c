#include "present/check_json.h"

#include <string.h>

#include "present/catalogue.h"
#include "present/json.h"

static json_t *value_of(tr_axis axis, double value) {
    return tr_json_number(tr_axis_is_angle(axis) ? value * TR_DEG_PER_RAD : value);
}

/* What the layout states, as it was written there: 0.3 and not 0.30000000000000004. */
static json_t *stated(tr_axis axis, double value) {
    if (!tr_axis_is_angle(axis)) return tr_json_number(value);
    double degrees = round(value * TR_DEG_PER_RAD * 1e9) / 1e9;
    return degrees * TR_RAD_PER_DEG == value ? tr_json_number(degrees) : value_of(axis, value);
}

static json_t *measured(tr_axis axis, bool is_measured, double value) {
    return is_measured ? value_of(axis, value) : json_null();
}

/* Keys of the budget. */
static const char *const SOURCES[TR_N_SOURCES] = {"marks", "lens", "plates", "sheets"};

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

static json_t *target_json(const tr_check_result *result, const tr_target_result *t) {
    json_t *target = json_object();
    json_t *moves = json_array();
    bool ok = target && moves;
    for (int i = 0; i < t->n_moves; i++) ok = ok && tr_json_push(moves, tr_json_text(t->moves[i]));
    ok = ok && tr_json_put(target, "sheet", tr_json_text(result->sheets[t->sheet].id)) &&
         tr_json_put(target, "verdict", json_string(tr_verdict_name(t->verdict))) &&
         tr_json_put(target, "photos", json_integer(result->sheets[t->sheet].n_photos)) &&
         tr_json_put(target, "marks", json_integer(result->sheets[t->sheet].n_marks));
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        ok = ok && tr_json_put(target, tr_axis_key(axis), axis_json(axis, &t->axis[axis]));
    }
    ok = ok && tr_json_put(target, "moves", json_incref(moves));
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

static json_t *references_json(const tr_check_result *result) {
    json_t *references = json_object();
    if (references && tr_json_put(references, "wheelbase_mm", length_json(&result->wheelbase)) &&
        tr_json_put(references, "track_front_mm", length_json(&result->track_front)) &&
        tr_json_put(references, "track_rear_mm", length_json(&result->track_rear))) {
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
             tr_json_put(sheet, "scale_x",
                         quantity_json(c->has_stretch, 1 + c->stretch[0], c->stretch_u95[0])) &&
             tr_json_put(sheet, "scale_y",
                         quantity_json(c->has_stretch, 1 + c->stretch[1], c->stretch_u95[1])) &&
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

static json_t *known_text(const char *words) {
    return *words ? tr_json_text(words) : json_null();
}

static json_t *quality_json(const tr_photo_result *photo) {
    const tr_photo_quality *q = &photo->quality;
    const char *why_not = q->grade == TR_PHOTO_UNUSABLE ? photo->why_not : "";
    const char *reason = *q->reason ? q->reason : why_not;
    json_t *json = json_object();
    if (json && tr_json_put(json, "grade", json_string(tr_photo_grade_name(q->grade))) &&
        tr_json_put(json, "reason", known_text(reason)) &&
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
    if (*photo->why_not && !photo->is_used)
        ok = ok && tr_json_put(json, "reason", tr_json_text(photo->why_not));
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

static json_t *finding_json(const tr_finding *finding) {
    char text[TR_FINDING_TEXT_SIZE];
    tr_finding_text(finding, text);
    json_t *json = json_object();
    if (json && tr_json_put(json, "code", json_string(tr_finding_code(finding->kind))) &&
        tr_json_put(json, "text", tr_json_text(text)) &&
        tr_json_put(json, "blocks_pass", json_boolean(tr_finding_blocks_pass(finding->kind)))) {
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

static json_t *job_text(const tr_check_result *result, const char *text) {
    return result->has_job ? tr_json_text(text) : json_null();
}

static json_t *photos_json(const tr_check_result *result) {
    return tr_photos_json(result->photos, result->n_photos, result->has_lenses);
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
           put_unknown_lens(json, result) && tr_json_put(json, "sheets", sheets_json(result)) &&
           tr_json_put(json, "photos", photos_json(result)) &&
           tr_json_put(json, "warnings", tr_findings_json(&result->findings)) &&
           tr_json_put(json, "left_out", json_integer(result->n_left_out)) &&
           tr_json_put(json, "variance_factor", tr_json_number(result->variance_factor)) &&
           tr_json_put(json, "degrees_of_freedom", json_integer(result->degrees_of_freedom));
}

json_t *tr_check_json(const tr_check_result *result) {
    json_t *json = json_object();
    bool is_measured = result->why.code == TR_OK;
    if (json && tr_json_put(json, "job", job_text(result, result->job)) &&
        tr_json_put(json, "layout", job_text(result, result->layout)) &&
        (is_measured ? put_measured(json, result) : put_failed(json, result)) &&
        tr_json_put(json, "program", tr_program_json())) {
        return json;
    }
    json_decref(json);
    return NULL;
}
