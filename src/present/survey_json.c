#include "present/survey_json.h"

#include "base/language.h"
#include "present/check_json.h"
#include "base/json.h"

static json_t *pair(bool is_known, double a, double b) {
    if (!is_known) return json_null();
    json_t *json = json_array();
    if (json && tr_json_push(json, tr_json_number(a)) && tr_json_push(json, tr_json_number(b))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *number(bool is_known, double x) {
    return is_known ? tr_json_number(x) : json_null();
}

static json_t *mark_json(const tr_survey *v, const tr_survey_mark *m) {
    json_t *json = json_object();
    char title[32];
    bool is = m->is_measured;
    bool has_both = is && m->has_nominal;
    tr_survey_mark_title(v->spec, m->name, title, sizeof title);
    bool ok =
        json && tr_json_put(json, "mark", json_string(title)) &&
        tr_json_put(json, "kind", json_string(m->name.is_tag ? "tag" : "corner")) &&
        tr_json_put(json, "photos", json_integer(m->n_photos)) &&
        tr_json_put(json, "measured", json_boolean(is)) &&
        tr_json_put(json, "datum", json_boolean(is && m->is_datum)) &&
        tr_json_put(json, "nominal_mm", pair(m->has_nominal, m->nominal_mm.x, m->nominal_mm.y)) &&
        tr_json_put(json, "centre_mm", pair(is, m->at_mm.x, m->at_mm.y)) &&
        tr_json_put(json, "difference_mm",
                    pair(has_both, m->at_mm.x - m->nominal_mm.x, m->at_mm.y - m->nominal_mm.y)) &&
        tr_json_put(json, "u95_mm", pair(is, m->u95_mm[0], m->u95_mm[1]));
    if (m->name.is_tag) {
        ok = ok && tr_json_put(json, "turn_deg", number(is, m->turn_rad * TR_DEG_PER_RAD)) &&
             tr_json_put(json, "turn_u95_deg", number(is, m->u95_turn_rad * TR_DEG_PER_RAD)) &&
             tr_json_put(json, "edges_mm", pair(is, m->edges_mm[0], m->edges_mm[1])) &&
             tr_json_put(json, "edges_u95_mm", pair(is, m->u95_edges_mm[0], m->u95_edges_mm[1]));
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *quantity(bool is_measured, double value, double u95) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "measured", number(is_measured, value)) &&
        tr_json_put(json, "u95", number(is_measured, u95))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *sheet_json(const tr_survey *v, int i, const char *file) {
    const tr_survey_sheet *s = &v->sheets[i];
    json_t *json = json_object();
    json_t *marks = json_array();
    bool is = v->is_solved;
    bool ok = json && marks;
    for (int k = 0; k < s->n_marks; k++) {
        ok = ok && tr_json_push(marks, mark_json(v, &v->marks[s->first_mark + k]));
    }
    ok = ok && tr_json_put(json, "sheet", tr_json_text(v->spec->sheets[i].id)) &&
         tr_json_put(json, "file", file ? tr_json_text(file) : json_null()) &&
         tr_json_put(json, "aligned", json_boolean(s->is_aligned)) &&
         tr_json_put(json, "scale_x", quantity(is && s->has_scale, s->scale[0], s->scale_u95[0])) &&
         tr_json_put(json, "scale_y", quantity(is && s->has_scale, s->scale[1], s->scale_u95[1])) &&
         tr_json_put(json, "flatness_mm",
                     quantity(is && s->condition.has_flatness, s->condition.flatness_mm,
                              s->condition.flatness_u95_mm)) &&
         tr_json_put(json, "marks", json_incref(marks));
    json_decref(marks);
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *sheets_json(const tr_survey *v, char *const *files) {
    json_t *sheets = json_array();
    bool ok = sheets;
    for (int i = 0; v && v->sheets && i < v->spec->n_sheets; i++) {
        ok = ok && tr_json_push(sheets, sheet_json(v, i, files ? files[i] : NULL));
    }
    if (ok) return sheets;
    json_decref(sheets);
    return NULL;
}

static json_t *length_json(const tr_survey_length *l) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "length", tr_json_text(l->title)) &&
        tr_json_put(json, "used", json_boolean(l->is_used)) &&
        tr_json_put(json, "stated_mm", number(l->stated_mm > 0, l->stated_mm)) &&
        tr_json_put(json, "sd_mm", number(l->stated_mm > 0, l->sd_mm)) &&
        tr_json_put(json, "measured_mm", number(l->measured_mm > 0, l->measured_mm)) &&
        tr_json_put(json, "w", number(l->w != 0.0, l->w))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *lengths_json(const tr_survey *v) {
    json_t *lengths = json_array();
    bool ok = lengths;
    for (int i = 0; v && i < v->n_lengths; i++) {
        ok = ok && tr_json_push(lengths, length_json(&v->lengths[i]));
    }
    if (ok) return lengths;
    json_decref(lengths);
    return NULL;
}

static json_t *photos_json(const tr_survey *v) {
    tr_photo_result *photos;
    tr_error err = {0};
    if (!v) return json_array();
    if (!tr_photo_results_make(&v->set, &photos, &err)) return NULL;
    json_t *json = tr_photos_json(photos, v->set.n_photos, v->set.request.n_lenses > 1);
    tr_photo_results_release(photos, v->set.n_photos);
    return json;
}

static json_t *in_english(const tr_survey *v, char *const *files, const tr_error *why) {
    bool is = why->code == TR_OK;
    json_t *json = json_object();
    if (json && tr_json_put(json, "survey", v ? tr_json_text(v->spec->id) : json_null()) &&
        tr_json_put(json, "measured", json_boolean(is)) &&
        tr_json_put(json, "error", is ? json_null() : tr_json_error(why)) &&
        tr_json_put(json, "sheets", sheets_json(v, files)) &&
        tr_json_put(json, "lengths", lengths_json(v)) &&
        tr_json_put(json, "scale_sd", number(is && v, v ? v->scale_sd : 0)) &&
        tr_json_put(json, "photos", photos_json(v)) &&
        tr_json_put(json, "warnings", tr_findings_json(v ? &v->findings : NULL)) &&
        tr_json_put(json, "left_out", json_integer(v ? v->n_rejected : 0)) &&
        tr_json_put(json, "variance_factor", number(is && v, v ? v->variance_factor : 0)) &&
        tr_json_put(json, "degrees_of_freedom", json_integer(v ? v->degrees_of_freedom : 0)) &&
        tr_json_put(json, "program", tr_program_json())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

json_t *tr_survey_json(const tr_survey *v, char *const *files, const tr_error *why) {
    tr_english_begin();
    json_t *json = in_english(v, files, why);
    tr_english_end();
    return json;
}
