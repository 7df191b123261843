#include "store/store.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

#include "base/array.h"
#include "base/file.h"
#include "base/module.h"
#include "store/backend.h"
#include "store/folder.h"

/* Rows that are in memory at a time. */
enum { PAGE = 200 };
/* A file of no more bytes is no burden to send. */
enum { SMALL_FILE = 1 << 15 };

/* ---- Opening ---- */

/* RFC 4122, 4.4: version 4, all but six bits at random. */
static bool make_id(char id[TR_RECORD_ID_SIZE], tr_error *err) {
    unsigned char b[16];
    size_t n = 0;
    while (n < sizeof b) {
        ssize_t got = getrandom(b + n, sizeof b - n, 0);
        if (got < 0 && errno == EINTR) continue;
        if (got < 0) return tr_fail(err, TR_NO_FILE, "the system gives no random numbers");
        n += (size_t)got;
    }
    b[6] = (unsigned char)((b[6] & 0x0f) | 0x40);
    b[8] = (unsigned char)((b[8] & 0x3f) | 0x80);
    for (size_t i = 0; i < sizeof b; i++) {
        bool has_dash = i == 4 || i == 6 || i == 8 || i == 10;
        id += sprintf(id, has_dash ? "-%02x" : "%02x", b[i]);
    }
    return true;
}

static const tr_backend *backend_for(const char *where, tr_error *err) {
    if (!tr_store_is_server(where)) return &tr_sqlite_backend;
    tr_postgres_backend_function *backend = (tr_postgres_backend_function *)tr_module_function(
        "postgres", "tr_postgres_module_backend", err);
    return backend ? backend() : NULL;
}

/* Owned by the caller. It lies beside the file itself, not beside a link to it. */
static char *folder_of(const tr_store_place *place, const char *path) {
    if (place->folder) return strdup(place->folder);
    char *folder = malloc(strlen(path) + sizeof ".files");
    if (folder) sprintf(folder, "%s.files", path);
    return folder;
}

/* A store that was made a moment ago, and never got further, has no folder yet. */
static bool open_folder(tr_store *store, const tr_store_place *place, tr_error *err) {
    bool any;
    if (!place->folder && !store->about.path) {
        return tr_fail_at(
            err, TR_BAD_INPUT, store->about.name, 0, NULL,
            "keeps its files in a folder; name that folder, by --files or by 'files_folder' in the "
            "shop's file");
    }
    store->folder = folder_of(place, store->about.path);
    if (!store->folder) return tr_fail_memory(err);
    if (!store->backend->file_any(store->db, &any, err)) return false;
    if (!any && place->read_only) return true;
    return tr_folder_open(store->folder, store->about.id, !any, err);
}

tr_store *tr_store_open(const tr_store_place *place, tr_error *err) {
    char id[TR_RECORD_ID_SIZE];
    if (place->make && place->in_folder && !place->folder && tr_store_is_server(place->where)) {
        tr_fail(
            err, TR_BAD_INPUT,
            "a store on a server is to keep its files in a folder; name that folder, by --files or "
            "by 'files_folder' in the shop's file");
        return NULL;
    }
    const tr_backend *backend = backend_for(place->where, err);
    if (!backend || !make_id(id, err)) return NULL;
    tr_store *store = calloc(1, sizeof *store);
    if (!store) {
        tr_fail_memory(err);
        return NULL;
    }
    store->backend = backend;
    store->read_only = place->read_only;
    store->db = backend->open(place, id, &store->about, err);
    bool ok = store->db != NULL;
    if (ok && store->about.in_folder) ok = open_folder(store, place, err);
    if (ok) return store;
    tr_store_close(store);
    return NULL;
}

void tr_store_close(tr_store *store) {
    if (!store) return;
    if (store->db) store->backend->close(store->db);
    free(store->folder);
    free(store);
}

const char *tr_store_id(const tr_store *store) {
    return store->about.id;
}

const char *tr_store_name(const tr_store *store) {
    return store->about.name;
}

static bool check_writable(const tr_store *store, tr_error *err) {
    return !store->read_only || tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                                           "was opened to be read only; open it for writing");
}

/* ---- Files ---- */

static bool fail_changed(const tr_store *store, const char *sha256, tr_error *err) {
    return tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                      "holds the file %.12s... with another content than was kept; restore a copy "
                      "of the store",
                      sha256);
}

/* A copy of a file's bytes. */
typedef struct {
    uint8_t *data;
    size_t size;
    bool has_no_memory;
} file_copy;

static bool copy_file(const char *sha256, uint64_t noted_size, const void *data, size_t size,
                      void *user) {
    file_copy *copy = user;
    (void)sha256;
    (void)noted_size;
    if (!data) return true;
    copy->data = malloc(size + 1);
    copy->has_no_memory = !copy->data;
    if (!copy->data) return false;
    memcpy(copy->data, data, size);
    copy->data[size] = 0;
    copy->size = size;
    return true;
}

/* *data stays NULL where the database does not have it. */
static bool get_from_database(tr_store *store, const char *sha256, uint8_t **data, size_t *size,
                              tr_error *err) {
    file_copy copy = {0};
    tr_json_list hashes = {0};
    bool ok = tr_json_list_add(&hashes, sha256, err) &&
              store->backend->files(store->db, hashes.text, true, copy_file, &copy, err);
    free(hashes.text);
    if (ok && copy.has_no_memory) ok = tr_fail_memory(err);
    *data = copy.data;
    *size = copy.size;
    return ok;
}

bool tr_store_get(tr_store *store, const char *sha256, uint8_t **data, size_t *size,
                  tr_error *err) {
    char hash[TR_HASH_SIZE];
    *data = NULL;
    *size = 0;
    if (!tr_is_hash(sha256)) {
        return tr_fail(
            err, TR_BAD_INPUT,
            "'%.70s' is no SHA-256; give its 64 digits (0-9, a-f) as the record has them", sha256);
    }
    bool ok = store->folder ? tr_folder_get(store->folder, sha256, data, size, err)
                            : get_from_database(store, sha256, data, size, err);
    if (ok && !*data) {
        return tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                          "does not hold the file %.12s...; restore a copy of the store", sha256);
    }
    if (ok) {
        tr_sha256_hex(*data, *size, hash);
        if (strcmp(hash, sha256) == 0) return true;
        (void)fail_changed(store, sha256, err);
    }
    free(*data);
    *data = NULL;
    *size = 0;
    return false;
}

static bool note_size(const char *sha256, uint64_t noted_size, const void *data, size_t size,
                      void *user) {
    tr_record_file *file = user;
    (void)data;
    (void)size;
    snprintf(file->sha256, sizeof file->sha256, "%s", sha256);
    file->size = noted_size;
    return true;
}

static bool find_size(tr_store *store, const char *sha256, bool *is_known, uint64_t *size,
                      tr_error *err) {
    tr_record_file file = {0};
    tr_json_list hashes = {0};
    bool ok = tr_json_list_add(&hashes, sha256, err) &&
              store->backend->files(store->db, hashes.text, false, note_size, &file, err);
    free(hashes.text);
    *is_known = ok && file.sha256[0] != 0;
    *size = file.size;
    return ok;
}

/* A file that is known is as it was kept: nothing may rest on one that is not. Of a folder's file
   tr_folder_put has seen to that. */
static bool check_known(tr_store *store, const char *sha256, size_t size, tr_error *err) {
    bool is_known;
    uint64_t noted_size;
    uint8_t *data;
    size_t n;
    if (!find_size(store, sha256, &is_known, &noted_size, err)) return false;
    if (!is_known || noted_size != size) return fail_changed(store, sha256, err);
    if (store->folder) return true;
    if (!tr_store_get(store, sha256, &data, &n, err)) return false;
    free(data);
    return true;
}

bool tr_store_put(tr_store *store, const void *data, size_t size, char sha256[TR_HASH_SIZE],
                  tr_error *err) {
    bool is_known = false;
    bool is_new = false;
    uint64_t noted_size;
    if (!check_writable(store, err)) return false;
    if (size > TR_STORE_MAX_FILE) {
        return tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                          "keeps files of at most %zu MB, this one has %zu; check that it is the "
                          "right file",
                          TR_STORE_MAX_FILE >> 20, size >> 20);
    }
    tr_sha256_hex(size > 0 ? data : "", size, sha256);
    /* First the file, then that it is known: a file that is known is there. */
    if (store->folder && !tr_folder_put(store->folder, sha256, data, size, err)) return false;
    /* A small one is sent at once; it is kept once all the same. */
    if (size > SMALL_FILE && !find_size(store, sha256, &is_known, &noted_size, err)) return false;
    const void *kept = store->folder ? NULL : size > 0 ? data : "";
    if (!is_known && !store->backend->file_put(store->db, sha256, kept, size, &is_new, err)) {
        return false;
    }
    return is_new || check_known(store, sha256, size, err);
}

/* ---- Keeping ---- */

bool tr_json_list_add(tr_json_list *list, const char *item, tr_error *err) {
    size_t n = strlen(item);
    if (list->length + n + 8 > list->capacity) {
        size_t capacity = 2 * list->capacity + n + 256;
        char *text = realloc(list->text, capacity);
        if (!text) return tr_fail_memory(err);
        list->text = text;
        list->capacity = capacity;
    }
    /* The bracket at the end gives way to the next. */
    char *at = list->text + (list->n > 0 ? list->length - 1 : 0);
    list->length =
        (size_t)(at - list->text) + (size_t)sprintf(at, "%c\"%s\"]", list->n > 0 ? ',' : '[', item);
    list->n++;
    return true;
}

/* Sizes of a record's files as the database knows them. */
typedef struct {
    const tr_record_file *files;
    int n;
    bool *is_there; /* with the size of the record */
} known_files;

static bool note_known(const char *sha256, uint64_t noted_size, const void *data, size_t size,
                       void *user) {
    const known_files *k = user;
    (void)data;
    (void)size;
    for (int i = 0; i < k->n; i++) {
        if (strcmp(k->files[i].sha256, sha256) == 0) {
            k->is_there[i] = noted_size == k->files[i].size;
        }
    }
    return true;
}

bool tr_store_check_files(tr_store *store, const tr_record *record, tr_error *err) {
    known_files known = {record->files, record->n_files,
                         tr_array(record->n_files, sizeof *known.is_there)};
    tr_json_list hashes = {0};
    bool ok = known.is_there || tr_fail_memory(err);
    for (int i = 0; i < record->n_files && ok; i++) {
        if (!tr_is_hash(record->files[i].sha256)) continue;
        ok = tr_json_list_add(&hashes, record->files[i].sha256, err);
    }
    if (ok && hashes.n > 0) {
        ok = store->backend->files(store->db, hashes.text, false, note_known, &known, err);
    }
    for (int i = 0; i < record->n_files && ok; i++) {
        const tr_record_file *f = &record->files[i];
        ok = known.is_there[i] ||
             tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                        "does not hold the record's file '%.100s' (%.12s...); put it there before "
                        "the record",
                        f->name ? f->name : "", f->sha256);
    }
    free(hashes.text);
    free(known.is_there);
    return ok;
}

/* The same body under the same id: it is kept already, and the row gets its place. */
static bool find_same(tr_store *store, tr_row *row, bool *found, tr_error *err) {
    tr_page page = {0};
    tr_query query = {.id = row->text[TR_ROW_ID]};
    bool ok = store->backend->rows(store->db, &query, false, 1, &page, err);
    *found = ok && page.n > 0;
    if (*found) {
        const tr_row *kept = &page.rows[0];
        bool is_same =
            kept->size[TR_ROW_BODY] == row->size[TR_ROW_BODY] &&
            memcmp(kept->text[TR_ROW_BODY], row->text[TR_ROW_BODY], row->size[TR_ROW_BODY]) == 0;
        ok = is_same || tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                                   "holds another record of the id %s (number %lld); one of the "
                                   "two was changed: verify both stores",
                                   row->text[TR_ROW_ID], (long long)kept->number);
        static const tr_row_text PLACE[] = {TR_ROW_PREVIOUS, TR_ROW_HASH, TR_ROW_ORIGIN_STORE,
                                            TR_ROW_ORIGIN_HASH};
        row->number = kept->number;
        row->origin_number = kept->origin_number;
        for (size_t i = 0; i < sizeof PLACE / sizeof *PLACE && ok; i++) {
            ok = tr_row_set(row, PLACE[i], kept->text[PLACE[i]], kept->size[PLACE[i]], err);
        }
    }
    tr_page_release(&page);
    return ok;
}

/* is_new: its id was given a moment ago, nobody else can have it. */
static bool append_row(tr_store *store, tr_row *row, bool is_new, tr_error *err) {
    bool found = false;
    tr_error why = {0};
    if (!check_writable(store, err)) return false;
    if (!is_new && !find_same(store, row, &found, err)) return false;
    if (found) return true;
    tr_append_outcome outcome = store->backend->append(store->db, row, &why);
    if (outcome == TR_KEPT) return true;
    if (outcome == TR_UNSURE) {
        tr_error second = {0};
        bool is_known = find_same(store, row, &found, &second);
        if (is_known && found) return true;
        /* Of a connection that is gone, the first error tells more. */
        if (!is_known && second.code == TR_BAD_INPUT) why = second;
    }
    if (err && err->code == TR_OK) *err = why;
    return false;
}

bool tr_store_append_row(tr_store *store, tr_row *row, tr_error *err) {
    return append_row(store, row, false, err);
}

static void now(char out[TR_TIME_SIZE]) {
    time_t t = time(NULL);
    struct tm utc;
    if (!gmtime_r(&t, &utc) || strftime(out, TR_TIME_SIZE, "%Y-%m-%dT%H:%M:%SZ", &utc) == 0) {
        snprintf(out, TR_TIME_SIZE, "1970-01-01T00:00:00Z");
    }
}

static bool check_record(const tr_record *record, tr_error *err) {
    if (!tr_is_id(record->id)) {
        return tr_fail(err, TR_BAD_INPUT, "'%s' is no id of a record; leave it empty, to get one",
                       record->id);
    }
    return tr_is_time(record->made_at) ||
           tr_fail(err, TR_BAD_INPUT,
                   "'%s' is no time of a record; write it as 2026-01-31T09:30:00Z",
                   record->made_at);
}

bool tr_store_append(tr_store *store, tr_record *record, tr_error *err) {
    tr_row row = {0};
    bool is_new = !record->id[0];
    if (is_new && !make_id(record->id, err)) return false;
    if (!record->made_at[0]) now(record->made_at);
    record->origin_store[0] = record->origin_hash[0] = 0;
    record->origin_number = 0;
    bool ok = check_record(record, err) && tr_store_check_files(store, record, err) &&
              tr_row_from_record(record, &row, err) && append_row(store, &row, is_new, err);
    /* It may be one that came from elsewhere before: what it is told is where it stands. */
    if (ok) {
        record->number = row.number;
        record->origin_number = row.origin_number;
        snprintf(record->previous, TR_HASH_SIZE, "%s", row.text[TR_ROW_PREVIOUS]);
        snprintf(record->hash, TR_HASH_SIZE, "%s", row.text[TR_ROW_HASH]);
        snprintf(record->origin_hash, TR_HASH_SIZE, "%s", row.text[TR_ROW_ORIGIN_HASH]);
        snprintf(record->origin_store, TR_RECORD_ID_SIZE, "%s", row.text[TR_ROW_ORIGIN_STORE]);
    }
    tr_row_release(&row);
    return ok;
}

/* ---- Reading ---- */

bool tr_store_newest(tr_store *store, int64_t *number, char hash[TR_HASH_SIZE], tr_error *err) {
    return store->backend->newest(store->db, number, hash, err);
}

bool tr_store_rows(tr_store *store, const tr_query *query, bool with_sheets, tr_row_visitor *see,
                   void *user, tr_error *err) {
    tr_query q = *query;
    bool goes_on = true;
    while (goes_on) {
        tr_page page = {0};
        bool ok = store->backend->rows(store->db, &q, with_sheets, PAGE, &page, err);
        for (int i = 0; i < page.n && ok && goes_on; i++) {
            q.after = page.rows[i].number;
            goes_on = see(&page.rows[i], user);
        }
        goes_on = goes_on && page.n == PAGE;
        tr_page_release(&page);
        if (!ok) return false;
    }
    return true;
}

bool tr_store_take_row(const tr_store *store, const tr_row *row, tr_record *out, tr_error *err) {
    char hash[TR_HASH_SIZE];
    *out = (tr_record){0};
    tr_row_hash(row, hash);
    if (strcmp(hash, row->text[TR_ROW_HASH]) == 0) return tr_record_from_row(row, out, err);
    return tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                      "has a record, number %lld, that was changed after it was kept; verify the "
                      "store, and restore a copy",
                      (long long)row->number);
}

typedef struct {
    const tr_store *store;
    tr_record_visitor *see;
    void *user;
    int left; /* to be shown; -1: all */
    tr_error *err;
    bool has_failed;
} finder;

static bool show(const tr_row *row, void *user) {
    finder *f = user;
    tr_record record;
    if (f->left == 0) return false;
    if (f->left > 0) f->left--;
    f->has_failed = !tr_store_take_row(f->store, row, &record, f->err);
    if (f->has_failed) return false;
    bool goes_on = f->see(&record, f->user);
    tr_record_release(&record);
    return goes_on;
}

/* A date is its first or last second (a leap second is the last). */
static bool widen(const char *time, const char *of_date, char out[TR_TIME_SIZE], tr_error *err) {
    snprintf(out, TR_TIME_SIZE, "%s%s", time, strlen(time) == 10 ? of_date : "");
    return (strlen(time) < TR_TIME_SIZE && tr_is_time(out)) ||
           tr_fail(err, TR_BAD_INPUT,
                   "'%.40s' is no date; write it as 2026-01-31, or with a time (UTC) as "
                   "2026-01-31T09:30:00Z",
                   time);
}

bool tr_store_find(tr_store *store, const tr_record_filter *filter, tr_record_visitor *see,
                   void *user, tr_error *err) {
    char from[TR_TIME_SIZE], until[TR_TIME_SIZE];
    int64_t first = 0;
    tr_query q = {.kind = filter->kind,
                  .job = filter->job,
                  .vehicle = filter->vehicle,
                  .technician = filter->technician,
                  .verdict = filter->verdict,
                  .sheet = filter->sheet,
                  .after = filter->first_number > 0 ? filter->first_number - 1 : 0};
    finder f = {.store = store,
                .see = see,
                .user = user,
                .left = filter->limit > 0 ? filter->limit : -1,
                .err = err};
    if (filter->from && !widen(filter->from, "T00:00:00Z", from, err)) return false;
    if (filter->until && !widen(filter->until, "T23:59:60Z", until, err)) return false;
    if (filter->from) q.from = from;
    if (filter->until) q.until = until;
    if (filter->limit > 0) {
        if (!store->backend->first_of_newest(store->db, &q, filter->limit, &first, err)) {
            return false;
        }
        if (first > 0) q.after = first - 1;
    }
    return tr_store_rows(store, &q, false, show, &f, err) && !f.has_failed;
}

static bool is_number(const char *which, int64_t *number) {
    size_t n = strlen(which);
    if (n == 0 || n > 18 || strspn(which, "0123456789") != n) return false;
    *number = strtoll(which, NULL, 10);
    return *number > 0;
}

/* The first two that begin so. */
static bool find_beginning(tr_store *store, const char *which, tr_page *page, tr_error *err) {
    char until[TR_HASH_SIZE + 1];
    if (strlen(which) < 8 || strlen(which) > TR_HASH_LENGTH ||
        strspn(which, "0123456789abcdef") != strlen(which)) {
        return true;
    }
    snprintf(until, sizeof until, "%sg", which); /* behind all digits */
    tr_query query = {.hash_from = which, .hash_until = until};
    return store->backend->rows(store->db, &query, false, 2, page, err);
}

static bool find_one(tr_store *store, const char *which, tr_page *page, tr_error *err) {
    int64_t number;
    if (is_number(which, &number)) {
        tr_query query = {.after = number - 1};
        if (!store->backend->rows(store->db, &query, false, 1, page, err)) return false;
        if (page->n > 0 && page->rows[0].number == number) return true;
        tr_page_release(page);
    }
    if (tr_is_id(which)) {
        tr_query query = {.id = which};
        return store->backend->rows(store->db, &query, false, 1, page, err);
    }
    return find_beginning(store, which, page, err);
}

bool tr_store_read(tr_store *store, const char *which, tr_record *out, tr_error *err) {
    tr_page page = {0};
    *out = (tr_record){0};
    bool ok = find_one(store, which, &page, err);
    if (ok && page.n == 0) {
        ok = tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                        "holds no record '%.80s'; give its number, its id, or at least 8 digits "
                        "of its hash",
                        which);
    } else if (ok && page.n > 1) {
        ok = tr_fail_at(err, TR_BAD_INPUT, store->about.name, 0, NULL,
                        "holds several records whose hashes begin with '%.80s'; give more digits",
                        which);
    }
    ok = ok && tr_store_take_row(store, &page.rows[0], out, err);
    tr_page_release(&page);
    return ok;
}
