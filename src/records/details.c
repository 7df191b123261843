#include "records/details.h"

#include <string.h>

#include "base/json.h"

/* Codes of errors that reading a file may have. */
static const struct {
    const char *word;
    tr_code code;
} CODES[] = {{"no-file", TR_NO_FILE}, {"bad-input", TR_BAD_INPUT}, {"no-memory", TR_NO_MEMORY}};
enum { N_CODES = sizeof CODES / sizeof *CODES };

json_t *tr_unread_json(const tr_error *why) {
    const char *word = CODES[0].word;
    for (int i = 0; i < N_CODES; i++) {
        if (CODES[i].code == why->code) word = CODES[i].word;
    }
    return json_pack("{s:s, s:s}", "code", word, "text", why->text);
}

bool tr_unread_fail(const json_t *unread, const char *path, tr_error *err) {
    const char *word = json_string_value(json_object_get(unread, "code"));
    const char *text = json_string_value(json_object_get(unread, "text"));
    tr_code code = TR_NO_FILE;
    for (int i = 0; i < N_CODES; i++) {
        if (word && strcmp(word, CODES[i].word) == 0) code = CODES[i].code;
    }
    return tr_fail_at(err, code, path, 0, NULL, "%s", text ? text : "could not be read");
}

static bool put_words(json_t *json, const char *const *words, int n) {
    json_t *list = json_array();
    bool ok = list;
    for (int i = 0; i < n && ok; i++) ok = json_array_append_new(list, json_string(words[i])) == 0;
    if (ok) return json_object_set_new(json, "words", list) == 0;
    json_decref(list);
    return false;
}

static bool put_moment(json_t *json, const char *moment) {
    json_t *value = tr_json_read(moment, strlen(moment), NULL);
    return json_is_object(value) && json_object_set_new(json, "moment", value) == 0;
}

/* Sorted keys: threads read in any order. */
bool tr_details_print(const char *const *words, int n_words, const json_t *unread,
                      const json_t *there, const char *moment, const char *shop, char **out,
                      tr_error *err) {
    json_t *json = json_object();
    bool ok = json && put_words(json, words, n_words);
    if (ok && json_object_size(unread) > 0)
        ok = json_object_set_new(json, "unread", json_deep_copy(unread)) == 0;
    if (ok && json_object_size(there) > 0)
        ok = json_object_set_new(json, "there", json_deep_copy(there)) == 0;
    if (ok && moment) ok = put_moment(json, moment);
    if (ok && shop && *shop) ok = tr_json_put(json, "shop", tr_json_text(shop));
    *out = ok ? tr_json_write(json, JSON_COMPACT | JSON_SORT_KEYS, NULL, err) : NULL;
    json_decref(json);
    return *out || tr_fail_memory(err);
}
