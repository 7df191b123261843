#include "records/remeasure.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/json.h"
#include "records/details.h"
#include "records/load.h"
#include "records/replay.h"

/* ---- files ---- */

/* What stands in the disk's place. */
typedef struct {
    tr_store *store;
    const tr_record *record;
    json_t *details;
    pthread_mutex_t mutex; /* guards the store */
    tr_error broken;       /* a file that the store no longer gives; guarded, too */
} kept_files;

static const tr_record_file *find_input(const kept_files *files, const char *name) {
    const tr_record *record = files->record;
    for (int i = 0; i < record->n_files; i++) {
        if (strcmp(record->files[i].name, name) == 0 &&
            !tr_record_is_output(record, &record->files[i]))
            return &record->files[i];
    }
    return NULL;
}

static bool get(kept_files *files, const tr_record_file *file, uint8_t **data, size_t *size,
                tr_error *err) {
    pthread_mutex_lock(&files->mutex);
    bool ok = tr_store_get(files->store, file->sha256, data, size, err);
    if (!ok && files->broken.code == TR_OK) files->broken = *err;
    pthread_mutex_unlock(&files->mutex);
    if (!ok) return false;
    uint8_t *ended = realloc(*data, *size + 1);
    if (!ended) {
        free(*data);
        *data = NULL;
        *size = 0;
        return tr_fail_memory(err);
    }
    ended[*size] = 0;
    *data = ended;
    return true;
}

static bool read_kept(void *context, const char *path, uint8_t **data, size_t *size,
                      tr_error *err) {
    kept_files *files = context;
    const tr_record_file *file = find_input(files, path);
    const json_t *unread = json_object_get(json_object_get(files->details, "unread"), path);
    if (file) return get(files, file, data, size, err);
    if (unread) return tr_unread_fail(unread, path, err);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "does not exist; check the path");
}

static bool is_kept(void *context, const char *path) {
    const kept_files *files = context;
    return find_input(files, path) ||
           json_object_get(json_object_get(files->details, "there"), path);
}

static bool is_known(void *context, const char *path) {
    const kept_files *files = context;
    return is_kept(context, path) ||
           json_object_get(json_object_get(files->details, "unread"), path);
}

/* ---- the measurement ---- */

const char *tr_record_replayer(const char *kind) {
    static const char *const COMMANDS[][2] = {{"check", "tr_replay_check"},
                                              {"lens", "tr_replay_lens"},
                                              {"lens-check", "tr_replay_lens_check"},
                                              {"survey", "tr_replay_survey"}};
    for (size_t i = 0; i < sizeof COMMANDS / sizeof *COMMANDS; i++) {
        if (strcmp(kind, COMMANDS[i][0]) == 0) return COMMANDS[i][1];
    }
    return NULL;
}

/* Only of a kind that is known is a module loaded: the store may come from anywhere. */
static tr_replayer *find_command(const tr_record *record, tr_error *err) {
    const char *function = tr_record_replayer(record->kind);
    if (function) return (tr_replayer *)tr_module_function(record->kind, function, err);
    tr_fail(err, TR_BAD_INPUT,
            "record %lld is of the kind '%.40s', which this program cannot measure again; recheck "
            "one of the kind check, survey, lens or lens-check",
            (long long)record->number, record->kind);
    return NULL;
}

static bool list_words(const json_t *details, char ***words, int *n, tr_error *err) {
    const json_t *list = json_object_get(details, "words");
    size_t i;
    const json_t *word;
    *n = 0;
    *words = calloc(json_array_size(list) + 1, sizeof **words);
    if (!*words) return tr_fail_memory(err);
    json_array_foreach(list, i, word) {
        if (!json_is_string(word)) break;
        (*words)[(*n)++] = (char *)json_string_value(word);
    }
    return *n > 0 || tr_fail(err, TR_BAD_INPUT,
                             "the record does not say how it was made, and cannot be made again");
}

static bool list_outputs(const tr_record *record, char ***names, int *n, tr_error *err) {
    *n = 0;
    *names = calloc((size_t)record->n_files + 1, sizeof **names);
    if (!*names) return tr_fail_memory(err);
    for (int i = 0; i < record->n_files; i++) {
        const tr_record_file *file = &record->files[i];
        if (tr_record_is_output(record, file) && strcmp(file->role, "result") != 0)
            (*names)[(*n)++] = file->name;
    }
    return true;
}

/* The result, as the command now has it. */
static bool replay(kept_files *files, char **json, size_t *size, tr_error *err) {
    const tr_file_overlay overlay = {
        .context = files, .read = read_kept, .is_there = is_kept, .knows = is_known};
    const json_t *moment = json_object_get(files->details, "moment");
    char *moment_text =
        moment ? tr_json_write(moment, JSON_COMPACT | JSON_SORT_KEYS, NULL, err) : NULL;
    tr_replay what = {.files = &overlay, .moment = moment_text};
    char **outputs = NULL;
    tr_replayer *command = find_command(files->record, err);
    bool ok = command && (!moment || moment_text) &&
              list_words(files->details, &what.words, &what.n_words, err) &&
              list_outputs(files->record, &outputs, &what.n_outputs, err);
    what.outputs = outputs;
    ok = ok && command(&what, json, size, err);
    /* A photo that the store has lost must not pass for one that was never there. */
    if (files->broken.code != TR_OK) {
        *err = files->broken;
        ok = false;
    }
    free(outputs);
    free(what.words);
    free(moment_text);
    return ok;
}

static bool compare(tr_store *store, const tr_record *record, const char *now, size_t n_now,
                    tr_remeasurement *out, tr_error *err) {
    size_t n_then;
    char *then = tr_record_result_text(store, record, &n_then, err);
    tr_error why = {0};
    json_t *older = then ? tr_json_read(then, n_then, &why) : NULL;
    json_t *newer = then ? tr_json_read(now, n_now, &why) : NULL;
    bool ok = older && newer;
    if (why.code == TR_NO_MEMORY) tr_fail_memory(err);
    if (why.code == TR_BAD_INPUT) {
        tr_fail(err, TR_BAD_INPUT, "the result of record %lld is no JSON",
                (long long)record->number);
    }
    if (ok) {
        out->is_same = n_then == n_now && memcmp(then, now, n_now) == 0;
        ok = tr_results_compare(older, newer, &out->comparison, err);
    }
    json_decref(older);
    json_decref(newer);
    free(then);
    return ok;
}

bool tr_record_remeasure(tr_store *store, const tr_record *record, tr_remeasurement *out,
                         tr_error *err) {
    kept_files files = {.store = store, .record = record};
    char *json = NULL;
    size_t size = 0;
    memset(out, 0, sizeof *out);
    pthread_mutex_init(&files.mutex, NULL);
    files.details = tr_json_read(record->details, strlen(record->details), err);
    out->is_same_program = strcmp(record->program, TRAMMEL_VERSION) == 0;
    bool ok = files.details && replay(&files, &json, &size, err) &&
              compare(store, record, json, size, out, err);
    free(json);
    json_decref(files.details);
    pthread_mutex_destroy(&files.mutex);
    return ok;
}

void tr_remeasurement_release(tr_remeasurement *again) {
    tr_comparison_release(&again->comparison);
}
