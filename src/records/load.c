#include "records/load.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/json.h"
#include "present/check_json_read.h"
#include "records/recorder.h"

const tr_record_file *tr_record_find_file(const tr_record *record, const char *role) {
    for (int i = 0; i < record->n_files; i++) {
        if (strcmp(record->files[i].role, role) == 0) return &record->files[i];
    }
    return NULL;
}

bool tr_record_is_output(const tr_record *record, const tr_record_file *file) {
    return strcmp(file->role, "result") == 0 || strcmp(file->role, "surveyed-sheet") == 0 ||
           (strcmp(file->role, "lens") == 0 && strcmp(record->kind, "lens") == 0);
}

char *tr_record_result_text(tr_store *store, const tr_record *record, size_t *size, tr_error *err) {
    const tr_record_file *file = tr_record_find_file(record, "result");
    uint8_t *data = NULL;
    *size = 0;
    if (!file) {
        tr_fail(err, TR_BAD_INPUT, "record %lld has no result; ask `trammel records verify`",
                (long long)record->number);
        return NULL;
    }
    if (!tr_store_get(store, file->sha256, &data, size, err)) return NULL;
    char *text = realloc(data, *size + 1);
    if (!text) {
        free(data);
        tr_fail_memory(err);
        return NULL;
    }
    text[*size] = 0;
    return text;
}

json_t *tr_record_result(tr_store *store, const tr_record *record, tr_error *err) {
    size_t size;
    tr_error why = {0};
    char *text = tr_record_result_text(store, record, &size, err);
    if (!text) return NULL;
    json_t *json = tr_json_read(text, size, &why);
    free(text);
    if (why.code == TR_NO_MEMORY) {
        tr_fail_memory(err);
        return NULL;
    }
    if (!json_is_object(json)) {
        tr_fail(err, TR_BAD_INPUT, "the result of record %lld is no JSON object (%.100s)",
                (long long)record->number, json ? "it is another value" : why.text);
        json_decref(json);
        return NULL;
    }
    return json;
}

bool tr_record_load(tr_store *store, const char *which, tr_record *record, tr_check_result *result,
                    tr_error *err) {
    memset(result, 0, sizeof *result);
    memset(record, 0, sizeof *record);
    if (!tr_store_read(store, which, record, err)) return false;
    if (strcmp(record->kind, "check") != 0) {
        return tr_fail(err, TR_BAD_INPUT, "record %lld is of kind '%.40s', but a check is needed",
                       (long long)record->number, record->kind);
    }
    json_t *json = tr_record_result(store, record, err);
    bool ok = json && tr_check_json_read(json, result, err);
    json_decref(json);
    return ok;
}

typedef struct {
    int64_t below, number; /* the newest so far whose number is below that */
} wanted_before;

static bool see_before(const tr_record *record, void *user) {
    wanted_before *wanted = user;
    bool is_measured = strcmp(record->verdict, TR_RECORD_NOT_MEASURED) != 0;
    if (is_measured && record->number < wanted->below) wanted->number = record->number;
    return record->number < wanted->below;
}

bool tr_record_before(tr_store *store, const tr_record *record, tr_record *out, tr_error *err) {
    const tr_record_filter same = {.kind = "check", .job = record->job};
    wanted_before wanted = {.below = record->number};
    char which[32];
    memset(out, 0, sizeof *out);
    if (!tr_store_find(store, &same, see_before, &wanted, err)) return false;
    snprintf(which, sizeof which, "%lld", (long long)wanted.number);
    return wanted.number == 0 || tr_store_read(store, which, out, err);
}

bool tr_record_photo(tr_store *store, const tr_photo_result *photo, tr_image *out, tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    memset(out, 0, sizeof *out);
    bool ok = tr_store_get(store, photo->sha256, &data, &size, err) &&
              tr_image_decode(data, size, photo->file, out, err);
    free(data);
    return ok;
}

/* ---- as JSON ---- */

static json_t *origin_json(const tr_record *record) {
    if (record->origin_number == 0) return json_null();
    return json_pack("{s:s, s:I, s:s}", "store", record->origin_store, "number",
                     (json_int_t)record->origin_number, "hash", record->origin_hash);
}

static json_t *sheets_json(const tr_record *record) {
    json_t *list = json_array();
    bool ok = list;
    for (int i = 0; i < record->n_sheets && ok; i++)
        ok = tr_json_push(list, tr_json_text(record->sheets[i]));
    if (ok) return list;
    json_decref(list);
    return NULL;
}

static json_t *files_json(const tr_record *record) {
    json_t *list = json_array();
    bool ok = list;
    for (int i = 0; i < record->n_files && ok; i++) {
        const tr_record_file *file = &record->files[i];
        json_t *item = json_object();
        ok = item && tr_json_put(item, "role", tr_json_text(file->role)) &&
             tr_json_put(item, "name", tr_json_text(file->name)) &&
             tr_json_put(item, "sha256", tr_json_text(file->sha256)) &&
             tr_json_put(item, "size", json_integer((json_int_t)file->size)) &&
             tr_json_push(list, json_incref(item));
        json_decref(item);
    }
    if (ok) return list;
    json_decref(list);
    return NULL;
}

static json_t *details_json(const tr_record *record) {
    const char *text = record->details;
    return *text ? tr_json_read(text, strlen(text), NULL) : json_null();
}

json_t *tr_record_json(const tr_record *record) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "record", json_integer((json_int_t)record->number)) &&
        tr_json_put(json, "id", tr_json_text(record->id)) &&
        tr_json_put(json, "hash", tr_json_text(record->hash)) &&
        tr_json_put(json, "previous", tr_json_text(record->previous)) &&
        tr_json_put(json, "origin", origin_json(record)) &&
        tr_json_put(json, "made_at", tr_json_text(record->made_at)) &&
        tr_json_put(json, "kind", tr_json_text(record->kind)) &&
        tr_json_put(json, "program", tr_json_text(record->program)) &&
        tr_json_put(json, "job", tr_json_text(record->job)) &&
        tr_json_put(json, "vehicle", tr_json_text(record->vehicle)) &&
        tr_json_put(json, "technician", tr_json_text(record->technician)) &&
        tr_json_put(json, "verdict", tr_json_text(record->verdict)) &&
        tr_json_put(json, "sheets", sheets_json(record)) &&
        tr_json_put(json, "files", files_json(record)) &&
        tr_json_put(json, "details", details_json(record))) {
        return json;
    }
    json_decref(json);
    return NULL;
}
