#include "base/json.h"

#include <math.h>
#include <stdatomic.h>
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

/* Where memory runs out, jansson 2.14 may call a text bad that is not, or leave a part of it out:
   what it allocates is looked at here. Another thread's failure counts as well; memory ran out all
   the same. */
static atomic_ulong n_refused;

static void *allocate(size_t size) {
    void *memory = malloc(size);
    if (!memory && size > 0) atomic_fetch_add(&n_refused, 1);
    return memory;
}

json_t *tr_json_read(const char *text, size_t size, tr_error *err) {
    json_error_t why;
    json_malloc_t now;
    json_get_alloc_funcs(&now, NULL);
    if (now != allocate) json_set_alloc_funcs(allocate, free);
    unsigned long before = atomic_load(&n_refused);
    json_t *json = json_loadb(text, size, JSON_REJECT_DUPLICATES, &why);
    if (atomic_load(&n_refused) == before) {
        if (!json) tr_fail_at(err, TR_BAD_INPUT, NULL, why.line, NULL, "%s", why.text);
        return json;
    }
    json_decref(json);
    tr_fail_memory(err);
    return NULL;
}

/* By json_dumpb, not json_dumps: where memory runs out for a text that grows, jansson 2.14 may
   leave a key out and not tell (tests/test_json.c). */
char *tr_json_write(const json_t *json, size_t flags, size_t *size, tr_error *err) {
    size_t n = json_dumpb(json, NULL, 0, flags);
    char *text = n > 0 ? malloc(n + 1) : NULL;
    if (text && json_dumpb(json, text, n, flags) == n) {
        text[n] = 0;
        if (size) *size = n;
        return text;
    }
    free(text);
    tr_fail_memory(err);
    return NULL;
}

bool tr_json_print(const json_t *json, FILE *out) {
    enum { DIGITS = 17 }; /* read the same double back */
    size_t size;
    char *text =
        tr_json_write(json, JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(DIGITS), &size, NULL);
    bool ok = text && fwrite(text, 1, size, out) == size && fputc('\n', out) != EOF;
    free(text);
    return ok;
}
