#include "records/export.h"

#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "base/json.h"
#include "records/load.h"

/* ---- JSON lines ---- */

bool tr_export_jsonl(tr_store *store, const tr_record *record, FILE *out, tr_error *err) {
    size_t size;
    char *result = tr_record_result_text(store, record, &size, err);
    json_t *json = result ? tr_record_json(record) : NULL;
    char *head = json ? tr_json_write(json, JSON_COMPACT, NULL, err) : NULL;
    bool ok = head || tr_fail_memory(err);
    while (size > 0 && result && result[size - 1] == '\n') size--;
    if (ok) fprintf(out, "{\"record\": %s, \"result\": %.*s}\n", head, (int)size, result);
    free(head);
    json_decref(json);
    free(result);
    return ok;
}

/* ---- CSV ---- */

static const char HEAD[] = "record,id,hash,made_at,kind,job,vehicle,technician,program,verdict,"
                           "target,target_verdict,axis,unit,required,measured,error,u95,limit,"
                           "axis_verdict";
enum { N_AXIS_FIELDS = 10 }; /* from target on */

void tr_export_csv_head(FILE *out) {
    fprintf(out, "%s\r\n", HEAD);
}

static void put_text(const char *text, FILE *out) {
    bool is_formula = *text && strchr("=+-@\t\r\n", *text);
    bool is_quoted = text[strcspn(text, ",\"\r\n")] != 0;
    if (is_quoted) fputc('"', out);
    if (is_formula) fputc('\'', out);
    for (const char *c = text; *c; c++) {
        if (*c == '"') fputc('"', out);
        fputc(*c, out);
    }
    if (is_quoted) fputc('"', out);
}

static void put_field(const char *text, FILE *out) {
    fputc(',', out);
    put_text(text ? text : "", out);
}

/* With all its digits; nothing where it is no number. */
static void put_number(const json_t *value, FILE *out) {
    char digits[TR_NUMBER_SIZE] = "";
    if (json_is_number(value)) tr_number_print_short(json_number_value(value), digits);
    fputc(',', out);
    fputs(digits, out);
}

static void put_head(const tr_record *record, FILE *out) {
    fprintf(out, "%lld", (long long)record->number);
    put_field(record->id, out);
    put_field(record->hash, out);
    put_field(record->made_at, out);
    put_field(record->kind, out);
    put_field(record->job, out);
    put_field(record->vehicle, out);
    put_field(record->technician, out);
    put_field(record->program, out);
    put_field(record->verdict, out);
}

static const struct {
    const char *key, *axis, *unit;
} AXES[] = {{"x_mm", "x", "mm"},       {"y_mm", "y", "mm"},           {"z_mm", "z", "mm"},
            {"yaw_deg", "yaw", "deg"}, {"pitch_deg", "pitch", "deg"}, {"roll_deg", "roll", "deg"}};

static int put_target(const tr_record *record, const json_t *target, FILE *out) {
    int n = 0;
    for (size_t k = 0; k < sizeof AXES / sizeof *AXES; k++) {
        const json_t *axis = json_object_get(target, AXES[k].key);
        if (!json_is_object(axis)) continue;
        put_head(record, out);
        put_field(json_string_value(json_object_get(target, "sheet")), out);
        put_field(json_string_value(json_object_get(target, "verdict")), out);
        put_field(AXES[k].axis, out);
        put_field(AXES[k].unit, out);
        put_number(json_object_get(axis, "required"), out);
        put_number(json_object_get(axis, "measured"), out);
        put_number(json_object_get(axis, "error"), out);
        put_number(json_object_get(axis, "u95"), out);
        put_number(json_object_get(axis, "limit"), out);
        put_field(json_string_value(json_object_get(axis, "verdict")), out);
        fputs("\r\n", out);
        n++;
    }
    return n;
}

bool tr_export_csv(tr_store *store, const tr_record *record, FILE *out, tr_error *err) {
    json_t *result = tr_record_result(store, record, err);
    if (!result) return false;
    int n = 0;
    size_t i;
    const json_t *target;
    bool is_check = strcmp(record->kind, "check") == 0;
    const json_t *targets = is_check ? json_object_get(result, "targets") : NULL;
    json_array_foreach(targets, i, target) n += put_target(record, target, out);
    if (n == 0) {
        put_head(record, out);
        for (int k = 0; k < N_AXIS_FIELDS; k++) fputc(',', out);
        fputs("\r\n", out);
    }
    json_decref(result);
    return true;
}
