#include "cli/lens_moment.h"

#include <stdio.h>
#include <string.h>

#include "base/json.h"

void tr_lens_moment_find(tr_keep *keep, const tr_job *job, tr_lens_ages *out) {
    int n_profiles = 0;
    *out = (tr_lens_ages){.hours = keep->shop.lens_check_hours,
                          .is_demanded = keep->shop.demands_lens_check};
    if (!(out->hours > 0)) return;
    memcpy(out->at, keep->made_at, sizeof out->at);
    for (int i = 0; i < job->n_lenses; i++) {
        /* Profiles were read in the job's order. */
        if (!job->lenses[i].is_unknown)
            tr_keep_confirmation(keep, n_profiles++, out->confirmed[i], &out->differs[i]);
    }
}

static json_t *confirmed_json(const tr_job *job, const tr_lens_ages *ages) {
    json_t *json = json_object();
    bool ok = json;
    for (int i = 0; i < job->n_lenses && ok; i++) {
        const char *at = ages->confirmed[i];
        ok = tr_json_put(json, job->lenses[i].id, *at ? tr_json_text(at) : json_null());
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* The ids of those that differ. */
static json_t *differing_json(const tr_job *job, const tr_lens_ages *ages) {
    json_t *json = json_array();
    for (int i = 0; i < job->n_lenses && json; i++) {
        if (!ages->differs[i] || tr_json_push(json, tr_json_text(job->lenses[i].id))) continue;
        json_decref(json);
        json = NULL;
    }
    return json;
}

static bool is_listed(const json_t *list, const char *id) {
    size_t i;
    const json_t *item;
    json_array_foreach(list, i, item) {
        const char *text = json_string_value(item);
        if (text && strcmp(text, id) == 0) return true;
    }
    return false;
}

bool tr_lens_moment_print(const tr_job *job, const tr_lens_ages *ages, char **text, tr_error *err) {
    *text = NULL;
    if (!(ages->hours > 0)) return true;
    json_t *json = json_object();
    if (json && tr_json_put(json, "at", tr_json_text(ages->at)) &&
        tr_json_put(json, "lens_check_hours", tr_json_number(ages->hours)) &&
        tr_json_put(json, "demanded", json_boolean(ages->is_demanded)) &&
        tr_json_put(json, "confirmed", confirmed_json(job, ages)) &&
        tr_json_put(json, "differing", differing_json(job, ages)))
        *text = tr_json_write(json, JSON_COMPACT, NULL, err);
    json_decref(json);
    return *text || tr_fail_memory(err);
}

static void copy_time(const json_t *value, char out[TR_MOMENT_SIZE]) {
    const char *text = json_string_value(value);
    snprintf(out, TR_MOMENT_SIZE, "%s", text ? text : "");
}

bool tr_lens_moment_read(const char *text, const tr_job *job, tr_lens_ages *out, tr_error *err) {
    memset(out, 0, sizeof *out);
    if (!text) return true;
    tr_error why = {0};
    json_t *json = tr_json_read(text, strlen(text), &why);
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    const json_t *hours = json_object_get(json, "lens_check_hours");
    const json_t *confirmed = json_object_get(json, "confirmed");
    bool ok = json_is_number(hours) && json_is_object(confirmed);
    if (ok) {
        out->hours = json_number_value(hours);
        out->is_demanded = json_is_true(json_object_get(json, "demanded"));
        copy_time(json_object_get(json, "at"), out->at);
    }
    for (int i = 0; i < job->n_lenses && ok; i++) {
        const char *id = job->lenses[i].id;
        copy_time(json_object_get(confirmed, id), out->confirmed[i]);
        out->differs[i] = is_listed(json_object_get(json, "differing"), id);
    }
    json_decref(json);
    return ok ||
           tr_fail(err, TR_BAD_INPUT, "the record does not say when its lenses were confirmed");
}
