#include "store/record.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <nettle/base16.h>
#include <nettle/sha2.h>

#include "base/array.h"
#include "base/file.h"
#include "base/json.h"
#include "base/text.h"

const char *const tr_row_names[TR_N_ROW_COLUMNS] = {
    [TR_ROW_ID] = "id",
    [TR_ROW_PREVIOUS] = "previous",
    [TR_ROW_HASH] = "hash",
    [TR_ROW_ORIGIN_STORE] = "origin_store",
    [TR_ROW_ORIGIN_HASH] = "origin_hash",
    [TR_ROW_MADE_AT] = "made_at",
    [TR_ROW_KIND] = "kind",
    [TR_ROW_JOB] = "job",
    [TR_ROW_VEHICLE] = "vehicle",
    [TR_ROW_TECHNICIAN] = "technician",
    [TR_ROW_VERDICT] = "verdict",
    [TR_ROW_BODY] = "body",
};

/* ---- Rows ---- */

void tr_row_release(tr_row *row) {
    for (int i = 0; i < TR_N_ROW_TEXTS; i++) free(row->text[i]);
    *row = (tr_row){0};
}

bool tr_row_set(tr_row *row, tr_row_text which, const void *text, size_t size, tr_error *err) {
    char *copy = malloc(size + 1);
    if (!copy) return tr_fail_memory(err);
    if (size > 0) memcpy(copy, text, size);
    copy[size] = 0;
    free(row->text[which]);
    row->text[which] = copy;
    row->size[which] = size;
    return true;
}

tr_row *tr_page_add(tr_page *page, tr_error *err) {
    if (page->n == page->capacity) {
        int capacity = page->capacity > 0 ? 2 * page->capacity : 16;
        tr_row *rows = realloc(page->rows, (size_t)capacity * sizeof *rows);
        if (!rows) {
            tr_fail_memory(err);
            return NULL;
        }
        page->rows = rows;
        page->capacity = capacity;
    }
    page->rows[page->n] = (tr_row){0};
    return &page->rows[page->n++];
}

void tr_page_release(tr_page *page) {
    for (int i = 0; i < page->n; i++) tr_row_release(&page->rows[i]);
    free(page->rows);
    *page = (tr_page){0};
}

/* ---- Forms ---- */

bool tr_is_hash(const char *text) {
    return strlen(text) == TR_HASH_LENGTH && strspn(text, "0123456789abcdef") == TR_HASH_LENGTH;
}

/* Each character as the form has it: 'x' a hexadecimal digit, '0' a digit, else itself. */
static bool is_of_form(const char *text, const char *form) {
    for (; *form; text++, form++) {
        bool fits = *form == 'x'   ? *text && strchr("0123456789abcdef", *text)
                    : *form == '0' ? isdigit((unsigned char)*text)
                                   : *text == *form;
        if (!fits) return false;
    }
    return *text == 0;
}

bool tr_is_id(const char *text) {
    return is_of_form(text, "xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx");
}

/* Of two digits. */
static int two_at(const char *text, int i) {
    return 10 * (text[i] - '0') + text[i + 1] - '0';
}

static int days_in_month(int year, int month) {
    static const int DAYS[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool is_leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return DAYS[month - 1] + (month == 2 && is_leap);
}

bool tr_is_time(const char *text) {
    if (!is_of_form(text, "0000-00-00T00:00:00Z")) return false;
    int year = 100 * two_at(text, 0) + two_at(text, 2);
    int month = two_at(text, 5);
    int day = two_at(text, 8);
    /* 60: a leap second. */
    return month >= 1 && month <= 12 && day >= 1 && day <= days_in_month(year, month) &&
           two_at(text, 11) <= 23 && two_at(text, 14) <= 59 && two_at(text, 17) <= 60;
}

/* ---- The chain ---- */

static void hash_text(struct sha256_ctx *state, const char *text) {
    sha256_update(state, strlen(text), (const uint8_t *)text);
}

void tr_row_hash(const tr_row *row, char hash[TR_HASH_SIZE]) {
    struct sha256_ctx state;
    uint8_t digest[SHA256_DIGEST_SIZE];
    char body[TR_HASH_SIZE];
    char number[64];
    const char *store = row->text[TR_ROW_ORIGIN_STORE];
    const char *origin = row->text[TR_ROW_ORIGIN_HASH];
    bool has_origin = store[0] || origin[0] || row->origin_number != 0;
    tr_sha256_hex(row->text[TR_ROW_BODY], row->size[TR_ROW_BODY], body);
    sha256_init(&state);
    snprintf(number, sizeof number, "trammel record 1\n%lld\n", (long long)row->number);
    hash_text(&state, number);
    hash_text(&state, row->text[TR_ROW_PREVIOUS]);
    hash_text(&state, "\n");
    hash_text(&state, has_origin ? store : "-");
    if (has_origin) {
        snprintf(number, sizeof number, " %lld ", (long long)row->origin_number);
        hash_text(&state, number);
        hash_text(&state, origin);
    }
    hash_text(&state, "\n");
    hash_text(&state, body);
    hash_text(&state, "\n");
    sha256_digest(&state, sizeof digest, digest);
    base16_encode_update(hash, sizeof digest, digest);
    hash[TR_HASH_LENGTH] = 0;
}

bool tr_row_follow(tr_row *row, int64_t number, const char *hash, tr_error *err) {
    char own[TR_HASH_SIZE];
    char first[TR_HASH_SIZE];
    if (number < 0 || number == INT64_MAX) {
        return tr_fail(err, TR_BAD_INPUT,
                       "the store's newest record has the number %lld, which no store gives; "
                       "restore a copy of the store",
                       (long long)number);
    }
    memset(first, '0', TR_HASH_LENGTH);
    first[TR_HASH_LENGTH] = 0;
    row->number = number + 1;
    if (!tr_row_set(row, TR_ROW_PREVIOUS, number > 0 ? hash : first, TR_HASH_LENGTH, err)) {
        return false;
    }
    tr_row_hash(row, own);
    return tr_row_set(row, TR_ROW_HASH, own, TR_HASH_LENGTH, err);
}

/* ---- The body, written ---- */

/* A record's texts, by their keys in the body. */
static const struct {
    const char *key;
    size_t at; /* of a char * in tr_record */
} TEXTS[] = {
    {"kind", offsetof(tr_record, kind)},
    {"program", offsetof(tr_record, program)},
    {"job", offsetof(tr_record, job)},
    {"vehicle", offsetof(tr_record, vehicle)},
    {"technician", offsetof(tr_record, technician)},
    {"verdict", offsetof(tr_record, verdict)},
};
enum { N_TEXTS = sizeof TEXTS / sizeof *TEXTS };

static char **text_of(tr_record *record, int i) {
    return (char **)((char *)record + TEXTS[i].at);
}

static const char *read_text(const tr_record *record, int i) {
    char *const *text = (char *const *)((const char *)record + TEXTS[i].at);
    return *text ? *text : "";
}

static bool check_utf8(const char *text, const char *what, tr_error *err) {
    char shown[64];
    size_t size = strlen(text);
    if (tr_text_is_utf8(text, size)) return true;
    tr_text_show(text, size, shown, sizeof shown);
    return tr_fail(err, TR_BAD_INPUT,
                   "the %s '%s' of a record is not UTF-8; write it in that encoding", what, shown);
}

/* Takes value, which may be NULL. */
static bool set(json_t *object, const char *key, json_t *value, tr_error *err) {
    return (value && json_object_set_new(object, key, value) == 0) || tr_fail_memory(err);
}

static bool set_text(json_t *object, const char *key, const char *text, tr_error *err) {
    return check_utf8(text ? text : "", key, err) &&
           set(object, key, json_string(text ? text : ""), err);
}

static bool set_file(json_t *list, const tr_record_file *file, tr_error *err) {
    json_t *object = json_object();
    bool ok = object && file->size <= INT64_MAX;
    ok = ok && set_text(object, "role", file->role, err) &&
         set_text(object, "name", file->name, err) &&
         set_text(object, "sha256", file->sha256, err) &&
         set(object, "size", json_integer((json_int_t)file->size), err);
    if (ok) return json_array_append_new(list, object) == 0 || tr_fail_memory(err);
    json_decref(object);
    return tr_fail_memory(err); /* where there is no error yet */
}

/* Borrowed by object. */
static json_t *add_list(json_t *object, const char *key, tr_error *err) {
    json_t *list = json_array();
    return set(object, key, list, err) ? list : NULL;
}

static bool set_details(json_t *object, const char *details, tr_error *err) {
    tr_error why = {0};
    if (!details || !details[0]) return set(object, "details", json_object(), err);
    json_t *value = tr_json_read(details, strlen(details), &why);
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    if (!json_is_object(value)) {
        json_decref(value);
        return tr_fail(err, TR_BAD_INPUT, "the details of a record are no JSON object (%.100s)",
                       value ? "another value" : why.text);
    }
    return set(object, "details", value, err);
}

static bool fill_body(json_t *body, const tr_record *record, tr_error *err) {
    bool ok = set_text(body, "id", record->id, err) &&
              set_text(body, "made_at", record->made_at, err) &&
              set_details(body, record->details, err);
    for (int i = 0; i < N_TEXTS && ok; i++) {
        ok = set_text(body, TEXTS[i].key, read_text(record, i), err);
    }
    json_t *sheets = ok ? add_list(body, "sheets", err) : NULL;
    json_t *files = sheets ? add_list(body, "files", err) : NULL;
    ok = files != NULL;
    for (int i = 0; i < record->n_sheets && ok; i++) {
        ok = check_utf8(record->sheets[i], "sheet", err) &&
             (json_array_append_new(sheets, json_string(record->sheets[i])) == 0 ||
              tr_fail_memory(err));
    }
    for (int i = 0; i < record->n_files && ok; i++) ok = set_file(files, &record->files[i], err);
    return ok;
}

static int compare_texts(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Each once, sorted; owned by the caller. */
static json_t *sorted_sheets(const tr_record *record, tr_error *err) {
    const char **names = tr_array(record->n_sheets, sizeof *names);
    json_t *list = json_array();
    bool ok = names && list;
    for (int i = 0; i < record->n_sheets && ok; i++) names[i] = record->sheets[i];
    if (ok) qsort(names, (size_t)record->n_sheets, sizeof *names, compare_texts);
    for (int i = 0; i < record->n_sheets && ok; i++) {
        if (i > 0 && strcmp(names[i], names[i - 1]) == 0) continue;
        ok = json_array_append_new(list, json_string(names[i])) == 0;
    }
    free(names);
    if (ok) return list;
    json_decref(list);
    tr_fail_memory(err);
    return NULL;
}

/* What is kept for years is read back first: it must say what was to be said, whatever failed
   unseen while it was written. */
static bool is_readable(const char *text, size_t size, const json_t *value) {
    json_t *read = tr_json_read(text, size, NULL);
    bool is_same = read && json_equal(read, value);
    json_decref(read);
    return is_same;
}

static bool set_json(tr_row *row, tr_row_text which, const json_t *value, tr_error *err) {
    size_t size;
    char *text = tr_json_write(value, JSON_SORT_KEYS | JSON_COMPACT, &size, err);
    bool ok = text && is_readable(text, size, value) ? tr_row_set(row, which, text, size, err)
                                                     : tr_fail_memory(err);
    free(text);
    return ok;
}

static bool set_column(tr_row *row, tr_row_text which, const char *text, tr_error *err) {
    return tr_row_set(row, which, text ? text : "", text ? strlen(text) : 0, err);
}

static bool set_columns(const tr_record *r, tr_row *row, tr_error *err) {
    row->origin_number = r->origin_number;
    return set_column(row, TR_ROW_ID, r->id, err) &&
           set_column(row, TR_ROW_ORIGIN_STORE, r->origin_store, err) &&
           set_column(row, TR_ROW_ORIGIN_HASH, r->origin_hash, err) &&
           set_column(row, TR_ROW_MADE_AT, r->made_at, err) &&
           set_column(row, TR_ROW_KIND, r->kind, err) && set_column(row, TR_ROW_JOB, r->job, err) &&
           set_column(row, TR_ROW_VEHICLE, r->vehicle, err) &&
           set_column(row, TR_ROW_TECHNICIAN, r->technician, err) &&
           set_column(row, TR_ROW_VERDICT, r->verdict, err);
}

bool tr_row_from_record(const tr_record *record, tr_row *row, tr_error *err) {
    json_t *body = json_object();
    *row = (tr_row){0};
    bool ok = body ? fill_body(body, record, err) : tr_fail_memory(err);
    json_t *sheets = ok ? sorted_sheets(record, err) : NULL;
    ok = sheets && set_json(row, TR_ROW_BODY, body, err) &&
         set_json(row, TR_ROW_SHEETS, sheets, err) && set_columns(record, row, err);
    json_decref(sheets);
    json_decref(body);
    if (!ok) tr_row_release(row);
    return ok;
}

/* ---- The body, read ---- */

void tr_record_release(tr_record *record) {
    for (int i = 0; i < N_TEXTS; i++) free(*text_of(record, i));
    for (int i = 0; i < record->n_sheets; i++) free(record->sheets[i]);
    for (int i = 0; i < record->n_files; i++) {
        free(record->files[i].role);
        free(record->files[i].name);
    }
    free(record->sheets);
    free(record->files);
    free(record->details);
    *record = (tr_record){0};
}

static bool fail_body(int64_t number, const char *key, tr_error *err) {
    return tr_fail_at(err, TR_BAD_INPUT, NULL, 0, NULL,
                      "the store's record %lld is damaged: '%s' is not what a record has there; "
                      "verify the store, and restore a copy of it",
                      (long long)number, key);
}

/* Owned by *out; what a text of the body must be. */
static bool get_text(const json_t *object, const char *key, int64_t number, char **out,
                     tr_error *err) {
    const char *text = json_string_value(json_object_get(object, key));
    if (!text) return fail_body(number, key, err);
    *out = strdup(text);
    return *out || tr_fail_memory(err);
}

/* The same into size bytes; of that length, or empty. */
static bool get_fixed(const json_t *object, const char *key, int64_t number, char *out, size_t size,
                      tr_error *err) {
    const char *text = json_string_value(json_object_get(object, key));
    if (!text || strlen(text) != size - 1) return fail_body(number, key, err);
    memcpy(out, text, size);
    return true;
}

static bool get_sheets(const json_t *body, tr_record *out, tr_error *err) {
    const json_t *list = json_object_get(body, "sheets");
    if (!json_is_array(list)) return fail_body(out->number, "sheets", err);
    int n = (int)json_array_size(list);
    out->sheets = tr_array(n, sizeof *out->sheets);
    if (!out->sheets) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        const char *name = json_string_value(json_array_get(list, (size_t)i));
        if (!name) return fail_body(out->number, "sheets", err);
        out->sheets[i] = strdup(name);
        if (!out->sheets[i]) return tr_fail_memory(err);
        out->n_sheets++;
    }
    return true;
}

static bool get_file(const json_t *object, int64_t number, tr_record_file *out, tr_error *err) {
    const json_t *size = json_object_get(object, "size");
    if (!json_is_integer(size) || json_integer_value(size) < 0) {
        return fail_body(number, "size", err);
    }
    out->size = (uint64_t)json_integer_value(size);
    return get_text(object, "role", number, &out->role, err) &&
           get_text(object, "name", number, &out->name, err) &&
           get_fixed(object, "sha256", number, out->sha256, sizeof out->sha256, err);
}

static bool get_files(const json_t *body, tr_record *out, tr_error *err) {
    const json_t *list = json_object_get(body, "files");
    if (!json_is_array(list)) return fail_body(out->number, "files", err);
    int n = (int)json_array_size(list);
    out->files = tr_array(n, sizeof *out->files);
    if (!out->files) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        out->n_files++; /* what it got by now is released where the rest fails */
        if (!get_file(json_array_get(list, (size_t)i), out->number, &out->files[i], err)) {
            return false;
        }
    }
    return true;
}

static bool get_details(const json_t *body, tr_record *out, tr_error *err) {
    const json_t *details = json_object_get(body, "details");
    if (!json_is_object(details)) return fail_body(out->number, "details", err);
    out->details = tr_json_write(details, JSON_SORT_KEYS | JSON_COMPACT, NULL, err);
    return out->details;
}

static bool get_place(const tr_row *row, tr_record *out, tr_error *err) {
    if (!tr_is_hash(row->text[TR_ROW_HASH]) || !tr_is_hash(row->text[TR_ROW_PREVIOUS])) {
        return fail_body(row->number, "hash", err);
    }
    out->number = row->number;
    memcpy(out->hash, row->text[TR_ROW_HASH], sizeof out->hash);
    memcpy(out->previous, row->text[TR_ROW_PREVIOUS], sizeof out->previous);
    if (!row->text[TR_ROW_ORIGIN_STORE][0]) return true;
    if (!tr_is_id(row->text[TR_ROW_ORIGIN_STORE]) || !tr_is_hash(row->text[TR_ROW_ORIGIN_HASH])) {
        return fail_body(row->number, "origin_store", err);
    }
    out->origin_number = row->origin_number;
    memcpy(out->origin_store, row->text[TR_ROW_ORIGIN_STORE], sizeof out->origin_store);
    memcpy(out->origin_hash, row->text[TR_ROW_ORIGIN_HASH], sizeof out->origin_hash);
    return true;
}

static bool get_body(const json_t *body, tr_record *out, tr_error *err) {
    bool ok = get_fixed(body, "id", out->number, out->id, sizeof out->id, err) &&
              get_fixed(body, "made_at", out->number, out->made_at, sizeof out->made_at, err);
    for (int i = 0; i < N_TEXTS && ok; i++) {
        ok = get_text(body, TEXTS[i].key, out->number, text_of(out, i), err);
    }
    return ok && get_sheets(body, out, err) && get_files(body, out, err) &&
           get_details(body, out, err);
}

bool tr_record_from_row(const tr_row *row, tr_record *out, tr_error *err) {
    tr_error why = {0};
    *out = (tr_record){0};
    json_t *body = tr_json_read(row->text[TR_ROW_BODY], row->size[TR_ROW_BODY], &why);
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    bool ok = json_is_object(body) || fail_body(row->number, "body", err);
    ok = ok && get_place(row, out, err) && get_body(body, out, err);
    json_decref(body);
    if (!ok) tr_record_release(out);
    return ok;
}
