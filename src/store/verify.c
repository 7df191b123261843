/* Whether a store is as it was kept: record by record, in the order of numbers. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "base/language.h"
#include "store/backend.h"

/* Hashes of files that were looked at: open addressing, at most half full. */
typedef struct {
    char (*hashes)[TR_HASH_LENGTH]; /* a first byte of 0: none */
    size_t n, capacity;             /* a power of 2 */
} seen_files;

typedef struct {
    tr_store *store;
    const char *known; /* NULL: none, or it was found */
    tr_store_finding *out;
    tr_error *err;
    int64_t number; /* of the record before */
    char previous[TR_HASH_SIZE];
    seen_files files;
    bool has_failed; /* err says why */
} verifier;

/* ---- Files that were seen ---- */

static size_t slot_of(const seen_files *s, const char *hash) {
    char digits[16] = {0};
    memcpy(digits, hash, sizeof digits - 1);
    size_t i = (size_t)strtoull(digits, NULL, 16) & (s->capacity - 1);
    while (s->hashes[i][0] && memcmp(s->hashes[i], hash, TR_HASH_LENGTH) != 0) {
        i = (i + 1) & (s->capacity - 1);
    }
    return i;
}

static bool grow(seen_files *s, tr_error *err) {
    seen_files more = {.capacity = s->capacity > 0 ? 2 * s->capacity : 1024};
    more.hashes = calloc(more.capacity, sizeof *more.hashes);
    if (!more.hashes) return tr_fail_memory(err);
    for (size_t i = 0; i < s->capacity; i++) {
        if (!s->hashes[i][0]) continue;
        memcpy(more.hashes[slot_of(&more, s->hashes[i])], s->hashes[i], TR_HASH_LENGTH);
    }
    more.n = s->n;
    free(s->hashes);
    *s = more;
    return true;
}

/* Whether it was seen before; now it is. */
static bool note_file(seen_files *s, const char *hash, bool *was_seen, tr_error *err) {
    if (2 * s->n >= s->capacity && !grow(s, err)) return false;
    char *slot = s->hashes[slot_of(s, hash)];
    *was_seen = slot[0] != 0;
    if (*was_seen) return true;
    memcpy(slot, hash, TR_HASH_LENGTH);
    s->n++;
    return true;
}

/* ---- What is wrong ---- */

/* Ends the visit: false. */
static bool broken(verifier *v, int64_t number, const char *format, ...) TR_PRINTF(3, 4);
static bool broken(verifier *v, int64_t number, const char *format, ...) {
    va_list args;
    v->out->is_sound = false;
    v->out->number = number;
    va_start(args, format);
    vsnprintf(v->out->what, sizeof v->out->what, format, args);
    va_end(args);
    return false;
}

/* The system, not the store, is to blame: the whole answer is an error. */
static bool failed(verifier *v) {
    v->has_failed = true;
    return false;
}

/* ---- One record ---- */

static bool check_chain(verifier *v, const tr_row *row) {
    char hash[TR_HASH_SIZE];
    if (row->number != v->number + 1) {
        return row->number < 1
                   ? broken(v, row->number,
                            TR_("there is a record with the number %lld, which no "
                                "store gives: it was put there from outside"),
                            (long long)row->number)
                   : broken(v, v->number + 1,
                            TR_("record %lld is missing: it was taken away after it was kept"),
                            (long long)v->number + 1);
    }
    if (strcmp(row->text[TR_ROW_PREVIOUS], v->previous) != 0) {
        return broken(v, row->number,
                      TR_("record %lld does not follow the one before: one of them was changed, "
                          "exchanged or taken away"),
                      (long long)row->number);
    }
    tr_row_hash(row, hash);
    if (strcmp(row->text[TR_ROW_HASH], hash) != 0) {
        return broken(v, row->number,
                      TR_("record %lld was changed after it was kept: its content does not have "
                          "the hash that stands there"),
                      (long long)row->number);
    }
    return true;
}

/* Each database writes JSON in its own way. */
static bool is_same_json(const char *a, const char *b) {
    json_t *x = json_loads(a, 0, NULL);
    json_t *y = json_loads(b, 0, NULL);
    bool is_same = x && y && json_equal(x, y);
    json_decref(x);
    json_decref(y);
    return is_same;
}

static bool is_same_text(const tr_row *a, const tr_row *b, int i) {
    if (i == TR_ROW_SHEETS) return is_same_json(a->text[i], b->text[i]);
    return a->size[i] == b->size[i] && memcmp(a->text[i], b->text[i], b->size[i]) == 0;
}

/* Columns that are copies must say what the body says. */
static bool check_columns(verifier *v, const tr_row *row, const tr_record *record) {
    tr_row copy;
    tr_error why = {0};
    if (!tr_row_from_record(record, &copy, &why)) {
        if (why.code == TR_NO_MEMORY) {
            (void)tr_fail_memory(v->err);
            return failed(v);
        }
        return broken(v, row->number, TR_("record %lld is no record: %s"), (long long)row->number,
                      why.text);
    }
    int differs = -1;
    for (int i = 0; i < TR_N_ROW_TEXTS; i++) {
        bool is_place = i == TR_ROW_PREVIOUS || i == TR_ROW_HASH;
        /* The body itself is what was hashed; another way to write it is no change. */
        if (is_place || i == TR_ROW_BODY) continue;
        if (!is_same_text(row, &copy, i)) differs = i;
    }
    tr_row_release(&copy);
    if (differs < 0) return true;
    return broken(v, row->number,
                  TR_("record %lld was changed after it was kept: its column '%s' does not say "
                      "what its content says"),
                  (long long)row->number,
                  differs == TR_ROW_SHEETS ? "sheet" : tr_row_names[differs]);
}

static bool check_file(verifier *v, int64_t number, const tr_record_file *file) {
    bool was_seen, is_there;
    uint64_t known_size;
    uint8_t *data;
    size_t size;
    tr_error why = {0};
    const char *name = file->name;
    if (!tr_is_hash(file->sha256)) {
        return broken(v, number, TR_("record %lld names the file '%.100s' without its SHA-256"),
                      (long long)number, name);
    }
    if (!note_file(&v->files, file->sha256, &was_seen, v->err)) return failed(v);
    if (!v->store->backend->file_find(v->store->db, file->sha256, &is_there, &known_size, v->err)) {
        return failed(v);
    }
    if (!is_there || known_size != file->size) {
        return broken(v, number,
                      TR_("the file '%.100s' of record %lld is not in the store: it was taken away "
                          "after it was kept"),
                      name, (long long)number);
    }
    if (was_seen) return true;
    if (!tr_store_get(v->store, file->sha256, &data, &size, &why)) {
        if (why.code == TR_NO_MEMORY || v->store->backend->is_damaged(v->store->db)) {
            if (v->err) *v->err = why;
            return failed(v);
        }
        return broken(v, number,
                      TR_("the file '%.100s' of record %lld is not as it was kept: %.150s"), name,
                      (long long)number, why.text);
    }
    free(data);
    return size == file->size ||
           broken(v, number, TR_("the file '%.100s' of record %lld has another size than was kept"),
                  name, (long long)number);
}

static bool check_content(verifier *v, const tr_row *row) {
    tr_record record;
    tr_error why = {0};
    if (!tr_record_from_row(row, &record, &why)) {
        if (why.code == TR_NO_MEMORY) {
            (void)tr_fail_memory(v->err);
            return failed(v);
        }
        return broken(v, row->number, TR_("record %lld is no record: %s"), (long long)row->number,
                      why.text);
    }
    bool ok = check_columns(v, row, &record);
    for (int i = 0; i < record.n_files && ok; i++)
        ok = check_file(v, row->number, &record.files[i]);
    tr_record_release(&record);
    return ok;
}

static bool check_row(const tr_row *row, void *user) {
    verifier *v = user;
    if (!check_chain(v, row) || !check_content(v, row)) return false;
    v->number = row->number;
    memcpy(v->previous, row->text[TR_ROW_HASH], TR_HASH_SIZE);
    if (v->known && strncmp(v->previous, v->known, strlen(v->known)) == 0) v->known = NULL;
    v->out->n_records++;
    return true;
}

/* ---- The whole ---- */

static void check_rest(verifier *v) {
    char what[200];
    if (v->known) {
        (void)broken(v, 0,
                     TR_("the record of the hash %.16s... is not in the store: records were taken "
                         "away from its end, or made anew"),
                     v->known);
        return;
    }
    if (!v->store->backend->examine) return;
    if (!v->store->backend->examine(v->store->db, what, sizeof what, v->err)) {
        v->has_failed = true;
    } else if (what[0]) {
        (void)broken(v, 0, TR_("every record is as it was kept, but the database is damaged: %s"),
                     what);
    }
}

bool tr_store_verify(tr_store *store, const char *known, tr_store_finding *out, tr_error *err) {
    tr_error why = {0};
    verifier v = {
        .store = store, .known = known && known[0] ? known : NULL, .out = out, .err = &why};
    tr_query all = {.after = INT64_MIN};
    *out = (tr_store_finding){.is_sound = true};
    memset(v.previous, '0', TR_HASH_LENGTH);
    if (v.known && (strlen(v.known) < 8 || strlen(v.known) > TR_HASH_LENGTH ||
                    strspn(v.known, "0123456789abcdef") != strlen(v.known))) {
        return tr_fail(
            err, TR_BAD_INPUT,
            "'%.70s' is no hash of a record; give at least its first 8 digits (0-9, a-f)", v.known);
    }
    bool ok = tr_store_rows(store, &all, true, check_row, &v, &why) && !v.has_failed;
    if (ok && out->is_sound) {
        check_rest(&v);
        ok = !v.has_failed;
    }
    free(v.files.hashes);
    if (!ok && why.code != TR_NO_MEMORY && store->backend->is_damaged(store->db)) {
        (void)broken(&v, v.number + 1,
                     TR_("the database is damaged at record %lld: it cannot be read there"),
                     (long long)v.number + 1);
        return true;
    }
    if (!ok && err && err->code == TR_OK) *err = why;
    return ok;
}
