/* Whether a store is as it was kept: record by record, in the order of numbers. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "base/file.h"
#include "base/json.h"
#include "base/language.h"
#include "store/backend.h"
#include "store/folder.h"

/* Records that are looked at together. */
enum { PAGE = 200 };
/* Files that are asked for at once: so many, or so many bytes. */
enum { MOST_FILES = 100 };
static const uint64_t MOST_BYTES = 64 << 20;

/* What was found of a file. */
typedef enum { MISSING, GONE, CHANGED, UNREADABLE, GOOD } file_state;

/* Files that were looked at, by their hashes: open addressing, at most half full. */
typedef struct {
    char hash[TR_HASH_LENGTH]; /* a first byte of 0: none */
    uint64_t size;
    file_state state;
} seen_file;
typedef struct {
    seen_file *slots;
    size_t n, capacity; /* a power of 2 */
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

static seen_file *slot_of(const seen_files *s, const char *hash) {
    char digits[16] = {0};
    memcpy(digits, hash, sizeof digits - 1);
    size_t i = (size_t)strtoull(digits, NULL, 16) & (s->capacity - 1);
    while (s->slots[i].hash[0] && memcmp(s->slots[i].hash, hash, TR_HASH_LENGTH) != 0) {
        i = (i + 1) & (s->capacity - 1);
    }
    return &s->slots[i];
}

static bool grow(seen_files *s, tr_error *err) {
    seen_files more = {.n = s->n, .capacity = s->capacity > 0 ? 2 * s->capacity : 1024};
    more.slots = calloc(more.capacity, sizeof *more.slots);
    if (!more.slots) return tr_fail_memory(err);
    for (size_t i = 0; i < s->capacity; i++) {
        if (s->slots[i].hash[0]) *slot_of(&more, s->slots[i].hash) = s->slots[i];
    }
    free(s->slots);
    *s = more;
    return true;
}

/* is_new: it was not seen before; now it is, as missing. */
static bool note_file(seen_files *s, const char *hash, bool *is_new, tr_error *err) {
    if (2 * s->n >= s->capacity && !grow(s, err)) return false;
    seen_file *slot = slot_of(s, hash);
    *is_new = slot->hash[0] == 0;
    if (!*is_new) return true;
    memcpy(slot->hash, hash, TR_HASH_LENGTH);
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

static bool fail_with(verifier *v, const tr_error *why) {
    *v->err = *why;
    return failed(v);
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
static bool is_same_json(const char *a, const char *b, tr_error *why) {
    json_t *x = tr_json_read(a, strlen(a), why);
    json_t *y = tr_json_read(b, strlen(b), why);
    bool is_same = x && y && json_equal(x, y);
    json_decref(x);
    json_decref(y);
    return is_same;
}

static bool is_same_text(const tr_row *a, const tr_row *b, int i, tr_error *why) {
    if (i == TR_ROW_SHEETS) return is_same_json(a->text[i], b->text[i], why);
    return a->size[i] == b->size[i] && memcmp(a->text[i], b->text[i], b->size[i]) == 0;
}

/* What could not be looked at is broken, unless memory ran out. */
static bool no_record(verifier *v, int64_t number, const tr_error *why) {
    if (why->code == TR_NO_MEMORY) {
        (void)tr_fail_memory(v->err);
        return failed(v);
    }
    return broken(v, number, TR_("record %lld is no record: %s"), (long long)number, why->text);
}

/* Columns that are copies must say what the body says. */
static bool check_columns(verifier *v, const tr_row *row, const tr_record *record) {
    tr_row copy;
    tr_error why = {0};
    if (!tr_row_from_record(record, &copy, &why)) return no_record(v, row->number, &why);
    int differs = -1;
    for (int i = 0; i < TR_N_ROW_TEXTS; i++) {
        bool is_place = i == TR_ROW_PREVIOUS || i == TR_ROW_HASH;
        /* The body itself is what was hashed; another way to write it is no change. */
        if (is_place || i == TR_ROW_BODY) continue;
        if (!is_same_text(row, &copy, i, &why)) differs = i;
    }
    tr_row_release(&copy);
    if (why.code == TR_NO_MEMORY) return no_record(v, row->number, &why);
    if (differs < 0) return true;
    return broken(v, row->number,
                  TR_("record %lld was changed after it was kept: its column '%s' does not say "
                      "what its content says"),
                  (long long)row->number,
                  differs == TR_ROW_SHEETS ? "sheet" : tr_row_names[differs]);
}

static bool check_record(verifier *v, const tr_row *row, tr_record *record) {
    tr_error why = {0};
    if (!check_chain(v, row)) return false;
    return tr_record_from_row(row, record, &why) ? check_columns(v, row, record)
                                                 : no_record(v, row->number, &why);
}

/* ---- Files ---- */

static file_state state_of(const char *sha256, uint64_t noted_size, const void *data, size_t size) {
    char hash[TR_HASH_SIZE];
    if (!data) return GONE;
    tr_sha256_hex(data, size, hash);
    return size == noted_size && strcmp(hash, sha256) == 0 ? GOOD : CHANGED;
}

static bool see_file(const char *sha256, uint64_t noted_size, const void *data, size_t size,
                     void *user) {
    verifier *v = user;
    uint8_t *read = NULL;
    tr_error why = {0};
    if (!tr_is_hash(sha256)) return true;
    seen_file *slot = slot_of(&v->files, sha256);
    if (v->store->folder) {
        if (!tr_folder_get(v->store->folder, sha256, &read, &size, &why) &&
            why.code != TR_BAD_INPUT) {
            return fail_with(v, &why);
        }
        data = read;
    }
    if (slot->hash[0]) {
        bool is_too_large = why.code == TR_BAD_INPUT;
        slot->size = noted_size;
        slot->state = is_too_large ? CHANGED : state_of(sha256, noted_size, data, size);
    }
    free(read);
    return true;
}

/* What the database said comes of its damage, not of the system. */
static bool is_damage(const verifier *v, const tr_error *why) {
    return why->code != TR_NO_MEMORY && v->store->backend->is_damaged(v->store->db);
}

static bool ask_for_files(verifier *v, const char *const *hashes, int n, tr_error *why) {
    tr_json_list list = {0};
    bool ok = true;
    for (int i = 0; i < n && ok; i++) ok = tr_json_list_add(&list, hashes[i], why);
    ok = ok &&
         v->store->backend->files(v->store->db, list.text, !v->store->folder, see_file, v, why);
    free(list.text);
    return ok;
}

/* Where the database is damaged, one by one, to find those that cannot be read. */
static bool read_files(verifier *v, const char *const *hashes, int n) {
    tr_error why = {0};
    if (n == 0) return true;
    if (ask_for_files(v, hashes, n, &why)) return !v->has_failed;
    if (!is_damage(v, &why)) return fail_with(v, &why);
    if (n == 1) slot_of(&v->files, hashes[0])->state = UNREADABLE;
    for (int i = 0; i < n && n > 1; i++) {
        if (!read_files(v, &hashes[i], 1)) return false;
    }
    return true;
}

/* All files of the records that were not seen before. */
static bool look_at_files(verifier *v, const tr_record *records, int n) {
    const char *hashes[MOST_FILES]; /* of those to be read next */
    int n_hashes = 0;
    uint64_t n_bytes = 0;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < records[i].n_files; k++) {
            const tr_record_file *file = &records[i].files[k];
            bool is_new;
            if (!tr_is_hash(file->sha256)) continue;
            if (!note_file(&v->files, file->sha256, &is_new, v->err)) return failed(v);
            if (!is_new) continue;
            hashes[n_hashes++] = file->sha256;
            n_bytes += file->size;
            if (n_hashes < MOST_FILES && n_bytes < MOST_BYTES) continue;
            if (!read_files(v, hashes, n_hashes)) return false;
            n_hashes = 0;
            n_bytes = 0;
        }
    }
    return read_files(v, hashes, n_hashes);
}

static bool judge_file(verifier *v, int64_t number, const tr_record_file *file) {
    long long n = (long long)number;
    if (!tr_is_hash(file->sha256)) {
        return broken(v, number, TR_("record %lld names the file '%.100s' without its SHA-256"), n,
                      file->name);
    }
    const seen_file *seen = slot_of(&v->files, file->sha256);
    switch (seen->state) {
    case MISSING:
        return broken(v, number,
                      TR_("the file '%.100s' of record %lld is not in the store: it was taken away "
                          "after it was kept"),
                      file->name, n);
    case GONE:
        return broken(v, number,
                      TR_("the file '%.100s' of record %lld has no content any more: it was taken "
                          "away after it was kept"),
                      file->name, n);
    case UNREADABLE:
        return broken(v, number,
                      TR_("the file '%.100s' of record %lld cannot be read: the database is "
                          "damaged"),
                      file->name, n);
    case CHANGED: break;
    case GOOD:
        if (seen->size == file->size) return true;
        break;
    }
    return broken(v, number,
                  TR_("the file '%.100s' of record %lld was changed after it was kept: its content "
                      "does not have the hash and size that the record names"),
                  file->name, n);
}

static bool judge_files(verifier *v, const tr_record *record) {
    for (int i = 0; i < record->n_files; i++) {
        if (!judge_file(v, record->number, &record->files[i])) return false;
    }
    return true;
}

/* ---- A page ---- */

static void pass(verifier *v, const tr_row *row) {
    v->number = row->number;
    memcpy(v->previous, row->text[TR_ROW_HASH], TR_HASH_SIZE);
}

static void count_record(verifier *v, const tr_row *row) {
    const char *hash = row->text[TR_ROW_HASH];
    v->out->n_records++;
    v->out->newest = row->number;
    memcpy(v->out->hash, hash, TR_HASH_SIZE);
    if (v->known && strncmp(hash, v->known, strlen(v->known)) == 0) v->known = NULL;
}

/* Records first, then the files of those before the first that is broken: where one of these is
   broken, that is told in the place of the record. */
static bool check_page(verifier *v, const tr_page *page) {
    tr_record *records = tr_array(page->n, sizeof *records);
    int n = 0;
    bool ok = records || tr_fail_memory(v->err) || failed(v);
    for (; n < page->n && ok; n++) {
        ok = check_record(v, &page->rows[n], &records[n]);
        if (!ok) break;
        pass(v, &page->rows[n]);
    }
    if (!v->has_failed && look_at_files(v, records, n)) {
        bool are_good = true;
        for (int i = 0; i < n && are_good; i++) {
            are_good = judge_files(v, &records[i]);
            if (are_good) count_record(v, &page->rows[i]);
        }
        ok = ok && are_good;
    }
    for (int i = 0; records && i < page->n; i++) tr_record_release(&records[i]);
    free(records);
    return ok && !v->has_failed;
}

/* Page by page; where the database is damaged row by row, to find the first that cannot be read. */
static bool check_pages(verifier *v) {
    tr_query query = {.after = INT64_MIN};
    int limit = PAGE;
    bool goes_on = true;
    while (goes_on) {
        tr_page page = {0};
        tr_error why = {0};
        if (v->store->backend->rows(v->store->db, &query, true, limit, &page, &why)) {
            if (page.n > 0) query.after = page.rows[page.n - 1].number;
            goes_on = check_page(v, &page) && page.n == limit;
        } else if (!is_damage(v, &why)) {
            goes_on = fail_with(v, &why);
        } else if (limit > 1) {
            limit = 1;
        } else {
            goes_on = broken(v, v->number + 1,
                             TR_("the database is damaged: from record %lld on it cannot be read"),
                             (long long)v->number + 1);
        }
        tr_page_release(&page);
    }
    return !v->has_failed;
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
    verifier v = {.store = store, .known = known, .out = out, .err = &why};
    *out = (tr_store_finding){.is_sound = true};
    memset(v.previous, '0', TR_HASH_LENGTH);
    if (v.known && (strlen(v.known) < 8 || strlen(v.known) > TR_HASH_LENGTH ||
                    strspn(v.known, "0123456789abcdef") != strlen(v.known))) {
        return tr_fail(
            err, TR_BAD_INPUT,
            "'%.70s' is no hash of a record; give at least its first 8 digits (0-9, a-f)", v.known);
    }
    bool ok = check_pages(&v);
    if (ok && out->is_sound) {
        check_rest(&v);
        ok = !v.has_failed;
    }
    free(v.files.slots);
    if (!ok && err && err->code == TR_OK) *err = why;
    return ok;
}
