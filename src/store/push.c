/* Records of one store to another, each exactly once: what is there is known by its id, and a
   record is appended in one transaction, after its files. Whatever is killed, a repetition finds
   what arrived and goes on with the rest. */
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "store/backend.h"

/* Records whose ids are asked for at once. */
enum { BATCH = 200 };

typedef struct {
    tr_store *from, *to;
    int64_t *n_pushed;
    tr_error *err;
} push;

/* The records of a batch, and which of them `to` has. */
typedef struct {
    const tr_page *page;
    bool is_known[BATCH];
    const char *other; /* id of one that has another body there */
} batch;

static bool note_known(const char *id, const char *sha256, void *user) {
    batch *b = user;
    for (int i = 0; i < b->page->n; i++) {
        const tr_row *row = &b->page->rows[i];
        char own[TR_HASH_SIZE];
        if (strcmp(row->text[TR_ROW_ID], id) != 0) continue;
        tr_sha256_hex(row->text[TR_ROW_BODY], row->size[TR_ROW_BODY], own);
        b->is_known[i] = true;
        if (strcmp(own, sha256) != 0) b->other = row->text[TR_ROW_ID];
    }
    return true;
}

static bool find_known(const push *p, batch *b) {
    tr_json_list ids = {0};
    bool ok = true;
    for (int i = 0; i < b->page->n && ok; i++) {
        ok = tr_json_list_add(&ids, b->page->rows[i].text[TR_ROW_ID], p->err);
    }
    ok = ok && (ids.n == 0 || p->to->backend->known(p->to->db, ids.text, note_known, b, p->err));
    free(ids.text);
    if (!ok) return false;
    return !b->other || tr_fail_at(p->err, TR_BAD_INPUT, tr_store_name(p->to), 0, NULL,
                                   "holds another record of the id %s; one of the two was "
                                   "changed: verify both stores",
                                   b->other);
}

static bool push_file(const push *p, const tr_record_file *file) {
    uint8_t *data;
    size_t n;
    char sha256[TR_HASH_SIZE];
    if (!tr_is_hash(file->sha256)) return true; /* tr_store_check_files says so */
    if (!tr_store_get(p->from, file->sha256, &data, &n, p->err)) return false;
    bool ok = tr_store_put(p->to, data, n, sha256, p->err);
    free(data);
    return ok;
}

/* One that came here from elsewhere keeps where it was first. */
static bool set_origin(const push *p, tr_row *row) {
    if (row->text[TR_ROW_ORIGIN_STORE][0]) return true;
    row->origin_number = row->number;
    return tr_row_set(row, TR_ROW_ORIGIN_STORE, p->from->about.id, TR_ID_LENGTH, p->err) &&
           tr_row_set(row, TR_ROW_ORIGIN_HASH, row->text[TR_ROW_HASH], TR_HASH_LENGTH, p->err);
}

static bool push_row(const push *p, tr_row *row) {
    tr_record record;
    if (!tr_store_take_row(p->from, row, &record, p->err)) return false;
    /* Columns and sheets as the body tells them. */
    tr_row copy = {0};
    bool ok =
        tr_row_from_record(&record, &copy, p->err) &&
        tr_row_set(&copy, TR_ROW_BODY, row->text[TR_ROW_BODY], row->size[TR_ROW_BODY], p->err) &&
        tr_row_set(&copy, TR_ROW_HASH, row->text[TR_ROW_HASH], TR_HASH_LENGTH, p->err);
    copy.number = row->number;
    for (int i = 0; i < record.n_files && ok; i++) ok = push_file(p, &record.files[i]);
    ok = ok && tr_store_check_files(p->to, &record, p->err) && set_origin(p, &copy) &&
         tr_store_append_row(p->to, &copy, p->err);
    if (ok) ++*p->n_pushed;
    tr_row_release(&copy);
    tr_record_release(&record);
    return ok;
}

static bool push_page(const push *p, tr_page *page) {
    batch b = {.page = page};
    for (int i = 0; i < page->n; i++) {
        if (!tr_is_id(page->rows[i].text[TR_ROW_ID])) {
            return tr_fail_at(p->err, TR_BAD_INPUT, tr_store_name(p->from), 0, NULL,
                              "has a record, number %lld, without its id; verify the store, and "
                              "restore a copy",
                              (long long)page->rows[i].number);
        }
    }
    if (!find_known(p, &b)) return false;
    for (int i = 0; i < page->n; i++) {
        if (!b.is_known[i] && !push_row(p, &page->rows[i])) return false;
    }
    return true;
}

bool tr_store_push(tr_store *from, tr_store *to, int64_t *n_pushed, tr_error *err) {
    push p = {from, to, n_pushed, err};
    tr_query query = {0};
    bool goes_on = true;
    bool ok = true;
    *n_pushed = 0;
    if (strcmp(from->about.id, to->about.id) == 0) {
        return tr_fail_at(err, TR_BAD_INPUT, tr_store_name(to), 0, NULL,
                          "is the same store as the one that its records come from; name another");
    }
    while (ok && goes_on) {
        tr_page page = {0};
        ok = from->backend->rows(from->db, &query, false, BATCH, &page, err);
        if (page.n > 0) query.after = page.rows[page.n - 1].number;
        goes_on = page.n == BATCH;
        ok = ok && push_page(&p, &page);
        tr_page_release(&page);
    }
    return ok;
}
