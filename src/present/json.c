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

/* By json_dumpb, not json_dumps: where memory runs out for a text that grows, jansson 2.14 may
   leave a key out and not tell (tests/test_faults.c). */
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
