#include "present/json.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

bool tr_json_put(json_t *object, const char *key, json_t *value) {
    return json_object_set_new(object, key, value) == 0;
}

bool tr_json_push(json_t *array, json_t *value) {
    return json_array_append_new(array, value) == 0;
}

json_t *tr_json_number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

json_t *tr_json_text(const char *bytes) {
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

json_t *tr_json_error(const tr_error *why) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "file", *why->file ? tr_json_text(why->file) : json_null()) &&
        tr_json_put(json, "line", why->line > 0 ? json_integer(why->line) : json_null()) &&
        tr_json_put(json, "key", *why->key ? tr_json_text(why->key) : json_null()) &&
        tr_json_put(json, "text", tr_json_text(why->text))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

bool tr_json_print(const json_t *json, FILE *out) {
    enum { DIGITS = 17 }; /* read the same double back */
    char *line = json_dumps(json, JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(DIGITS));
    if (!line) return false;
    bool ok = fputs(line, out) >= 0 && fputc('\n', out) != EOF;
    free(line);
    return ok;
}
