#include "present/check_json.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"

/* Adds to an object and takes the value. False where either is missing: memory ran out. */
static bool put(json_t *object, const char *key, json_t *value) {
    return json_object_set_new(object, key, value) == 0;
}

static bool push(json_t *array, json_t *value) {
    return json_array_append_new(array, value) == 0;
}

/* Jansson has no number for NaN and infinity, and drops the key instead. */
static json_t *number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

/* Names of files need not be UTF-8, which JSON must be. */
static json_t *text(const char *bytes) {
    json_t *json = json_string(bytes);
    if (json) return json;
    size_t n = strlen(bytes);
    char *shown = malloc(n + 8);
    if (!shown) return NULL;
    tr_text_show(bytes, n, shown, n + 8);
    json = json_string(shown);
    free(shown);
    return json;
}

static json_t *value_of(tr_axis axis, double value) {
    return number(tr_axis_is_angle(axis) ? value * TR_DEG_PER_RAD : value);
}

/* What the layout states, as it was written there: 0.3 and not 0.30000000000000004. */
static json_t *stated(tr_axis axis, double value) {
    if (!tr_axis_is_angle(axis)) return number(value);
    double degrees = round(value * TR_DEG_PER_RAD * 1e9) / 1e9;
    return degrees * TR_RAD_PER_DEG == value ? number(degrees) : value_of(axis, value);
}

static json_t *measured(tr_axis axis, bool is_measured, double value) {
    return is_measured ? value_of(axis, value) : json_null();
}

static json_t *axis_json(tr_axis axis, const tr_axis_result *r) {
    json_t *a = json_object();
    bool ok = a;
    if (r->is_required) ok = ok && put(a, "required", stated(axis, r->required));
    ok = ok && put(a, "measured", measured(axis, r->is_measured, r->measured));
    if (r->is_required) ok = ok && put(a, "error", measured(axis, r->is_measured, r->error));
    ok = ok && put(a, "u95", measured(axis, r->is_measured, r->u95));
    if (r->is_judged) {
        ok = ok && put(a, "limit", stated(axis, r->limit)) &&
             put(a, "verdict", json_string(tr_verdict_name(r->verdict)));
    }
    json_t *budget = json_object();
    ok = ok && put(budget, "marks", measured(axis, r->is_measured, r->u95_marks)) &&
         put(budget, "lens", measured(axis, r->is_measured, r->u95_lens)) &&
         put(budget, "plates", measured(axis, r->is_measured, r->u95_plates)) &&
         put(a, "budget", json_incref(budget));
    json_decref(budget);
    if (ok) return a;
    json_decref(a);
    return NULL;
}

static json_t *target_json(const tr_check *check, const tr_target_result *t) {
    json_t *target = json_object();
    json_t *moves = json_array();
    bool ok = target && moves;
    for (int i = 0; i < t->n_moves; i++) ok = ok && push(moves, text(t->moves[i]));
    ok = ok && put(target, "sheet", text(check->job->sheets[t->sheet].id)) &&
         put(target, "verdict", json_string(tr_verdict_name(t->verdict))) &&
         put(target, "photos", json_integer(check->sheets[t->sheet].n_photos)) &&
         put(target, "marks", json_integer(check->sheets[t->sheet].n_marks));
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        ok = ok && put(target, tr_axis_key(axis), axis_json(axis, &t->axis[axis]));
    }
    ok = ok && put(target, "moves", json_incref(moves));
    json_decref(moves);
    if (ok) return target;
    json_decref(target);
    return NULL;
}

static json_t *targets_json(const tr_check *check) {
    json_t *targets = json_array();
    bool ok = targets;
    for (int i = 0; check->targets && i < check->job->layout.n_placements; i++) {
        ok = ok && push(targets, target_json(check, &check->targets[i]));
    }
    if (ok) return targets;
    json_decref(targets);
    return NULL;
}

static json_t *length_json(const tr_length_result *length) {
    json_t *json = json_object();
    bool ok = json;
    if (length->is_measured) {
        ok = ok && put(json, "measured", number(length->measured_mm)) &&
             put(json, "u95", number(length->u95_mm));
        if (length->stated_mm > 0) ok = ok && put(json, "stated", number(length->stated_mm));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *references_json(const tr_check *check) {
    static const tr_length_result NOT_MEASURED = {.is_measured = false};
    json_t *references = json_object();
    if (references &&
        put(references, "wheelbase_mm", length_json(check ? &check->wheelbase : &NOT_MEASURED)) &&
        put(references, "track_front_mm",
            length_json(check ? &check->track_front : &NOT_MEASURED)) &&
        put(references, "track_rear_mm", length_json(check ? &check->track_rear : &NOT_MEASURED))) {
        return references;
    }
    json_decref(references);
    return NULL;
}

static json_t *quantity_json(bool is_measured, double value, double u95) {
    json_t *json = json_object();
    if (json && put(json, "measured", is_measured ? number(value) : json_null()) &&
        put(json, "u95", is_measured ? number(u95) : json_null())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *flatness_json(const tr_check *check, const tr_sheet_result *r) {
    const tr_sheet_condition *c = &r->condition;
    json_t *json = quantity_json(c->has_flatness, c->flatness_mm, c->flatness_u95_mm);
    bool ok = json;
    if (ok && r->is_flat_judged) {
        ok = put(json, "limit", number(check->job->layout.flatness_mm)) &&
             put(json, "verdict", json_string(tr_verdict_name(r->flatness_verdict)));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* The condition of every sheet that was measured. Scales are relative to what the file says. */
static json_t *sheets_json(const tr_check *check) {
    json_t *sheets = json_array();
    bool ok = sheets;
    for (int i = 0; ok && check->sheets && i < check->job->n_sheets; i++) {
        const tr_sheet_result *r = &check->sheets[i];
        const tr_sheet_condition *c = &r->condition;
        json_t *sheet = json_object();
        ok = sheet && put(sheet, "sheet", text(check->job->sheets[i].id)) &&
             put(sheet, "photos", json_integer(r->n_photos)) &&
             put(sheet, "marks", json_integer(r->n_marks)) &&
             put(sheet, "flatness_mm", flatness_json(check, r)) &&
             put(sheet, "scale_x",
                 quantity_json(c->has_stretch, 1 + c->stretch[0], c->stretch_u95[0])) &&
             put(sheet, "scale_y",
                 quantity_json(c->has_stretch, 1 + c->stretch[1], c->stretch_u95[1])) &&
             push(sheets, json_incref(sheet));
        json_decref(sheet);
    }
    if (ok) return sheets;
    json_decref(sheets);
    return NULL;
}

static json_t *known(bool is_known, double value) {
    return is_known ? number(value) : json_null();
}

static json_t *known_text(const char *words) {
    return *words ? text(words) : json_null();
}

static json_t *quality_json(const tr_check_photo *photo) {
    const tr_photo_quality *q = &photo->quality;
    const char *why_not = q->grade == TR_PHOTO_UNUSABLE ? photo->why_not : "";
    const char *reason = q->reason ? q->reason : why_not;
    json_t *json = json_object();
    if (json && put(json, "grade", json_string(tr_photo_grade_name(q->grade))) &&
        put(json, "reason", known_text(reason)) &&
        put(json, "sharpness_px", known(q->has_marks, q->sharpness_px)) &&
        put(json, "contrast", known(q->has_marks, q->contrast)) &&
        put(json, "overexposed", known(q->has_tags, q->overexposed_part)) &&
        put(json, "tag_px", known(q->has_tags, q->tag_px)) &&
        put(json, "cell_px", known(q->has_tags, q->cell_px)) &&
        put(json, "elevation_deg", known(q->has_elevation, q->elevation_rad * TR_DEG_PER_RAD))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *photo_json(const tr_check_photo *photo) {
    json_t *json = json_object();
    bool ok = json && put(json, "file", text(photo->file)) &&
              put(json, "sha256", *photo->sha256 ? json_string(photo->sha256) : json_null()) &&
              put(json, "used", json_boolean(photo->is_used)) &&
              put(json, "marks", json_integer(photo->is_used ? photo->n_marks : 0)) &&
              put(json, "rms_px", known(photo->is_used, photo->rms_px)) &&
              put(json, "camera", known_text(photo->exif.camera.name)) &&
              put(json, "taken", known_text(photo->exif.taken)) &&
              put(json, "quality", quality_json(photo));
    if (*photo->why_not && !photo->is_used) ok = ok && put(json, "reason", text(photo->why_not));
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *photos_json(const tr_check *check) {
    json_t *photos = json_array();
    bool ok = photos;
    for (int i = 0; check && check->photos && i < check->n_photos; i++) {
        ok = ok && push(photos, photo_json(&check->photos[i]));
    }
    if (ok) return photos;
    json_decref(photos);
    return NULL;
}

static json_t *warning_json(const tr_warning *warning) {
    json_t *json = json_object();
    if (json && put(json, "code", text(warning->code)) && put(json, "text", text(warning->text)) &&
        put(json, "blocks_pass", json_boolean(warning->blocks_pass))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *warnings_json(const tr_check *check) {
    json_t *warnings = json_array();
    bool ok = warnings;
    for (int i = 0; check && i < check->warnings.n; i++) {
        ok = ok && push(warnings, warning_json(&check->warnings.items[i]));
    }
    if (ok) return warnings;
    json_decref(warnings);
    return NULL;
}

static json_t *program_json(void) {
    json_t *program = json_object();
    if (program && put(program, "name", json_string("trammel")) &&
        put(program, "version", json_string(TRAMMEL_VERSION))) {
        return program;
    }
    json_decref(program);
    return NULL;
}

json_t *tr_check_json(const tr_check *check) {
    json_t *json = json_object();
    if (json && put(json, "job", text(check->job->id)) &&
        put(json, "layout", text(check->job->layout.id)) &&
        put(json, "verdict", json_string(tr_verdict_name(check->verdict))) &&
        put(json, "targets", targets_json(check)) &&
        put(json, "references", references_json(check)) &&
        put(json, "sheets", sheets_json(check)) && put(json, "photos", photos_json(check)) &&
        put(json, "warnings", warnings_json(check)) &&
        put(json, "left_out", json_integer(check->n_left_out)) &&
        put(json, "variance_factor", number(check->variance_factor)) &&
        put(json, "degrees_of_freedom", json_integer(check->degrees_of_freedom)) &&
        put(json, "program", program_json())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *error_json(const tr_error *why) {
    json_t *json = json_object();
    if (json && put(json, "file", *why->file ? text(why->file) : json_null()) &&
        put(json, "line", why->line > 0 ? json_integer(why->line) : json_null()) &&
        put(json, "key", *why->key ? text(why->key) : json_null()) &&
        put(json, "text", text(why->text))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

json_t *tr_check_json_failed(const tr_check *check, const tr_error *why) {
    const tr_job *job = check ? check->job : NULL;
    json_t *json = json_object();
    if (json && put(json, "job", job ? text(job->id) : json_null()) &&
        put(json, "layout", job ? text(job->layout.id) : json_null()) &&
        put(json, "verdict", json_null()) && put(json, "error", error_json(why)) &&
        put(json, "targets", json_array()) && put(json, "references", references_json(NULL)) &&
        put(json, "photos", photos_json(check)) && put(json, "warnings", warnings_json(check)) &&
        put(json, "program", program_json())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

/* By json_dumpb, not json_dumps: where memory runs out for a text that grows, jansson 2.14 may
   leave a key out and not tell. */
bool tr_json_print(const json_t *json, FILE *out) {
    enum { DIGITS = 17 }; /* read the same double back */
    const size_t flags = JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(DIGITS);
    size_t size = json_dumpb(json, NULL, 0, flags);
    char *line = size > 0 ? malloc(size + 1) : NULL;
    if (!line) return false;
    bool ok = json_dumpb(json, line, size, flags) == size;
    line[size] = '\n';
    ok = ok && fwrite(line, 1, size + 1, out) == size + 1;
    free(line);
    return ok;
}
