#include "records/recorder.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <jansson.h>

#include "base/array.h"
#include "records/details.h"

/* A file that was read, or came out. */
typedef struct {
    char *name, *role; /* owned; role NULL: nobody said */
    char sha256[TR_HASH_SIZE];
    uint64_t size;
    bool is_output;
} kept_file;

struct tr_recorder {
    tr_store *store;
    bool is_reading; /* the store is for reading only */
    char made_at[TR_TIME_SIZE];
    tr_file_observer observer;
    pthread_mutex_t mutex; /* guards all below, and the store while files are observed */
    kept_file *files;
    int n_files;
    json_t *unread, *there; /* as in details.h */
    tr_error why;           /* the first thing that went wrong while it observed */
};

/* ---- files ---- */

static kept_file *find_file(tr_recorder *r, const char *name) {
    for (int i = 0; i < r->n_files; i++) {
        if (!r->files[i].is_output && strcmp(r->files[i].name, name) == 0) return &r->files[i];
    }
    return NULL;
}

/* A new one, without content so far; NULL when memory ran out. */
static kept_file *add_file(tr_recorder *r, const char *name) {
    kept_file *grown = realloc(r->files, ((size_t)r->n_files + 1) * sizeof *grown);
    if (!grown) return NULL;
    r->files = grown;
    char *copy = strdup(name);
    if (!copy) return NULL;
    grown[r->n_files] = (kept_file){.name = copy};
    return &grown[r->n_files++];
}

static bool is_utf8(const char *text) {
    json_t *json = json_string(text);
    json_decref(json);
    return json;
}

static bool fail_name(const char *name, tr_error *err) {
    return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                      "has a name that is not UTF-8, and cannot stand in a record; rename it");
}

static bool fail_changed(const char *path, tr_error *err) {
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "was changed while it was measured, so that a record could not say what was "
                      "measured; measure again");
}

static bool keep_file(tr_recorder *r, const char *path, const void *data, size_t size,
                      tr_error *err) {
    char sha256[TR_HASH_SIZE];
    kept_file *known = find_file(r, path);
    if (!is_utf8(path)) return fail_name(path, err);
    if (json_object_get(r->unread, path)) return fail_changed(path, err);
    if (known && known->sha256[0]) {
        tr_sha256_hex(data, size, sha256);
        return strcmp(sha256, known->sha256) == 0 || fail_changed(path, err);
    }
    if (!known) known = add_file(r, path);
    if (!known) return tr_fail_memory(err);
    known->size = size;
    if (r->is_reading) {
        tr_sha256_hex(data, size, known->sha256);
        return true;
    }
    return tr_store_put(r->store, data, size, known->sha256, err);
}

/* ---- what is observed ---- */

static void saw(void *context, const char *path, const uint8_t *data, size_t size) {
    tr_recorder *r = context;
    pthread_mutex_lock(&r->mutex);
    const kept_file *known = find_file(r, path);
    bool is_photo = known && known->role && strcmp(known->role, "photo") == 0;
    bool is_passed = r->why.code != TR_OK || (r->is_reading && is_photo);
    if (!is_passed) (void)keep_file(r, path, data, size, &r->why);
    pthread_mutex_unlock(&r->mutex);
}

static void failed(void *context, const char *path, const tr_error *why) {
    tr_recorder *r = context;
    pthread_mutex_lock(&r->mutex);
    const kept_file *known = find_file(r, path);
    if (r->why.code != TR_OK) {
    } else if (!is_utf8(path)) {
        (void)fail_name(path, &r->why);
    } else if (known && known->sha256[0]) {
        (void)fail_changed(path, &r->why);
    } else if (json_object_set_new(r->unread, path, tr_unread_json(why)) != 0) {
        tr_fail_memory(&r->why);
    }
    pthread_mutex_unlock(&r->mutex);
}

static void asked(void *context, const char *path, bool is_there) {
    tr_recorder *r = context;
    pthread_mutex_lock(&r->mutex);
    if (is_there && !is_utf8(path)) {
        (void)fail_name(path, &r->why);
    } else if (is_there && json_object_set_new(r->there, path, json_true()) != 0) {
        tr_fail_memory(&r->why);
    }
    pthread_mutex_unlock(&r->mutex);
}

static void say_role(void *context, const char *path, const char *role) {
    tr_recorder *r = context;
    pthread_mutex_lock(&r->mutex);
    kept_file *file = find_file(r, path);
    if (!file) file = add_file(r, path);
    if (file && !file->role) file->role = strdup(role);
    if (!file || !file->role) tr_fail_memory(&r->why);
    pthread_mutex_unlock(&r->mutex);
}

const tr_file_observer *tr_recorder_observer(tr_recorder *recorder) {
    return &recorder->observer;
}

const char *tr_recorder_hash(tr_recorder *recorder, const char *role, int i) {
    for (int k = 0; k < recorder->n_files; k++) {
        const kept_file *file = &recorder->files[k];
        if (file->is_output || !file->role || strcmp(file->role, role) != 0 || !file->sha256[0])
            continue;
        if (i-- == 0) return file->sha256;
    }
    return NULL;
}

/* ---- beginning and end ---- */

tr_recorder *tr_recorder_open(const tr_store_place *place, const char *made_at, tr_error *err) {
    tr_recorder *r = calloc(1, sizeof *r);
    if (!r) {
        tr_fail_memory(err);
        return NULL;
    }
    pthread_mutex_init(&r->mutex, NULL);
    r->observer = (tr_file_observer){
        .context = r, .saw = saw, .failed = failed, .asked = asked, .say_role = say_role};
    r->is_reading = place->read_only;
    r->unread = json_object();
    r->there = json_object();
    if (made_at) {
        memcpy(r->made_at, made_at, strnlen(made_at, TR_TIME_SIZE - 1));
    } else {
        time_t now = time(NULL);
        struct tm utc;
        gmtime_r(&now, &utc);
        strftime(r->made_at, sizeof r->made_at, "%Y-%m-%dT%H:%M:%SZ", &utc);
    }
    if (!r->unread || !r->there) {
        tr_fail_memory(err);
    } else {
        r->store = tr_store_open(place, err);
    }
    if (r->store) return r;
    tr_recorder_close(r);
    return NULL;
}

void tr_recorder_close(tr_recorder *r) {
    if (!r) return;
    if (r->store) tr_store_close(r->store);
    for (int i = 0; i < r->n_files; i++) {
        free(r->files[i].name);
        free(r->files[i].role);
    }
    free(r->files);
    json_decref(r->unread);
    json_decref(r->there);
    pthread_mutex_destroy(&r->mutex);
    free(r);
}

bool tr_recorder_add(tr_recorder *r, const char *role, const char *name, const void *data,
                     size_t size, tr_error *err) {
    if (!is_utf8(name)) return fail_name(name, err);
    kept_file *file = add_file(r, name);
    if (!file) return tr_fail_memory(err);
    file->is_output = true;
    file->size = size;
    file->role = strdup(role);
    return file->role ? tr_store_put(r->store, data, size, file->sha256, err) : tr_fail_memory(err);
}

/* Photos by name, behind all else, which one thread reads in its order. */
static int by_place(const void *a, const void *b) {
    const tr_record_file *fa = a;
    const tr_record_file *fb = b;
    bool photo_a = strcmp(fa->role, "photo") == 0;
    bool photo_b = strcmp(fb->role, "photo") == 0;
    return photo_a != photo_b ? photo_a - photo_b : strcmp(fa->name, fb->name);
}

static bool put_file(const kept_file *file, tr_record *record, tr_error *err) {
    tr_record_file *out = &record->files[record->n_files++];
    out->role = strdup(file->role ? file->role : "file");
    out->name = strdup(file->name);
    memcpy(out->sha256, file->sha256, sizeof out->sha256);
    out->size = file->size;
    return (out->role && out->name) || tr_fail_memory(err);
}

/* What was read, then what came out. */
static bool put_files(const tr_recorder *r, tr_record *record, tr_error *err) {
    int first_photo = 0;
    record->files = calloc((size_t)r->n_files + 1, sizeof *record->files);
    bool ok = record->files || tr_fail_memory(err);
    for (int pass = 0; pass < 3 && ok; pass++) {
        if (pass == 1) first_photo = record->n_files;
        for (int i = 0; i < r->n_files && ok; i++) {
            const kept_file *file = &r->files[i];
            bool is_photo = file->role && strcmp(file->role, "photo") == 0;
            int place = file->is_output ? 2 : is_photo;
            if (place == pass && file->sha256[0]) ok = put_file(file, record, err);
        }
        if (pass == 1 && ok)
            qsort(record->files + first_photo, (size_t)(record->n_files - first_photo),
                  sizeof *record->files, by_place);
    }
    return ok;
}

static bool copy_text(const char *text, char **out, tr_error *err) {
    *out = strdup(text);
    return *out || tr_fail_memory(err);
}

static bool put_sheets(const tr_measurement *m, tr_record *record, tr_error *err) {
    record->sheets = calloc((size_t)m->n_sheets + 1, sizeof *record->sheets);
    bool ok = record->sheets || tr_fail_memory(err);
    for (int i = 0; i < m->n_sheets && ok; i++) {
        ok = copy_text(m->sheets[i], &record->sheets[i], err);
        if (ok) record->n_sheets++;
    }
    return ok;
}

static bool put_details(const tr_recorder *r, const tr_measurement *m, tr_record *record,
                        tr_error *err) {
    for (int i = 0; i < m->n_words; i++) {
        if (!is_utf8(m->words[i])) {
            return tr_fail(err, TR_BAD_INPUT,
                           "a word of the command line is not UTF-8, and cannot stand in a record");
        }
    }
    return tr_details_print(m->words, m->n_words, r->unread, r->there, m->moment, m->shop,
                            &record->details, err);
}

bool tr_recorder_keep(tr_recorder *r, const tr_measurement *m, int64_t *number,
                      char hash[TR_HASH_SIZE], tr_error *err) {
    tr_record record = {0};
    if (r->why.code != TR_OK) {
        if (err->code == TR_OK) *err = r->why;
        return false;
    }
    memcpy(record.made_at, r->made_at, sizeof record.made_at);
    bool ok = tr_recorder_add(r, "result", "result.json", m->result, m->result_size, err) &&
              copy_text(m->kind, &record.kind, err) &&
              copy_text(TRAMMEL_VERSION, &record.program, err) &&
              copy_text(m->job, &record.job, err) && copy_text(m->vehicle, &record.vehicle, err) &&
              copy_text(m->technician, &record.technician, err) &&
              copy_text(m->verdict, &record.verdict, err) && put_sheets(m, &record, err) &&
              put_files(r, &record, err) && put_details(r, m, &record, err) &&
              tr_store_append(r->store, &record, err);
    if (ok) {
        *number = record.number;
        memcpy(hash, record.hash, TR_HASH_SIZE);
    }
    tr_record_release(&record);
    return ok;
}

/* ---- confirmations ---- */

typedef struct {
    const char *sha256;
    int64_t number; /* of the newest record that looked at it; not by time: clocks are set */
    char made_at[TR_TIME_SIZE];
    bool differs;
} wanted_profile;

static bool see_confirmation(const tr_record *record, void *user) {
    wanted_profile *wanted = user;
    for (int i = 0; i < record->n_files && record->number > wanted->number; i++) {
        if (strcmp(record->files[i].sha256, wanted->sha256) != 0 ||
            strcmp(record->files[i].role, "lens") != 0)
            continue;
        wanted->number = record->number;
        wanted->differs = strcmp(record->verdict, "differs") == 0;
        memcpy(wanted->made_at, record->made_at, sizeof wanted->made_at);
    }
    return true;
}

bool tr_recorder_confirmation(tr_recorder *r, const char *sha256, char made_at[TR_TIME_SIZE],
                              bool *differs, tr_error *err) {
    static const tr_record_filter LOOKED_AT[] = {
        {.kind = "lens"},
        {.kind = "lens-check", .verdict = "agrees"},
        {.kind = "lens-check", .verdict = "differs"},
    };
    wanted_profile wanted = {.sha256 = sha256};
    bool ok = true;
    for (size_t i = 0; i < sizeof LOOKED_AT / sizeof *LOOKED_AT && ok; i++)
        ok = tr_store_find(r->store, &LOOKED_AT[i], see_confirmation, &wanted, err);
    *differs = wanted.differs;
    memcpy(made_at, wanted.made_at, TR_TIME_SIZE);
    return ok;
}
