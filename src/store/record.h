/* A record as the databases hold it: a row, with its body and its place in the chain (store.h says
   what is hashed). */
#ifndef TR_STORE_RECORD_H
#define TR_STORE_RECORD_H

#include "store/store.h"

enum { TR_HASH_LENGTH = TR_HASH_SIZE - 1, TR_ID_LENGTH = TR_RECORD_ID_SIZE - 1 };

/* A row's texts, in the order of tr_row_names, which are the columns' names. */
typedef enum {
    TR_ROW_ID,
    TR_ROW_PREVIOUS,
    TR_ROW_HASH,
    TR_ROW_ORIGIN_STORE,
    TR_ROW_ORIGIN_HASH,
    TR_ROW_MADE_AT, /* this and those that follow: copies of what the body says */
    TR_ROW_KIND,
    TR_ROW_JOB,
    TR_ROW_VEHICLE,
    TR_ROW_TECHNICIAN,
    TR_ROW_VERDICT,
    TR_ROW_BODY,
    TR_N_ROW_COLUMNS,
    TR_ROW_SHEETS = TR_N_ROW_COLUMNS, /* of the table record_sheet: a JSON array, sorted by bytes */
    TR_N_ROW_TEXTS
} tr_row_text;
extern const char *const tr_row_names[TR_N_ROW_COLUMNS];

/* Texts are owned, each ends with a 0 that its size does not count. All zero is an empty one. */
typedef struct {
    int64_t number, origin_number;
    char *text[TR_N_ROW_TEXTS];
    size_t size[TR_N_ROW_TEXTS];
} tr_row;

void tr_row_release(tr_row *row);
/* A copy of size bytes, in the place of what was there. */
TR_MUST_USE bool tr_row_set(tr_row *row, tr_row_text which, const void *text, size_t size,
                            tr_error *err);

/* Rows one by one, as a page of an answer. Owned. */
typedef struct {
    tr_row *rows;
    int n, capacity;
} tr_page;
/* A new, empty row of the page, borrowed until the next; NULL: memory ran out. */
tr_row *tr_page_add(tr_page *page, tr_error *err);
void tr_page_release(tr_page *page);

/* All but the place in the chain, of a record that has an id and a time. */
TR_MUST_USE bool tr_row_from_record(const tr_record *record, tr_row *row, tr_error *err);
/* The record that the body tells, and the row's place in the chain; columns are not looked at.
   out is empty on failure. */
TR_MUST_USE bool tr_record_from_row(const tr_row *row, tr_record *out, tr_error *err);

/* The row follows the record of that number and hash (0: it is the first): gives it its number,
   previous and hash. */
TR_MUST_USE bool tr_row_follow(tr_row *row, int64_t number, const char *hash, tr_error *err);
/* What the row's hash must be. */
void tr_row_hash(const tr_row *row, char hash[TR_HASH_SIZE]);

/* 64 lower-case hexadecimal digits; a UUID in lower case; 2026-01-31T09:30:00Z. */
bool tr_is_hash(const char *text);
bool tr_is_id(const char *text);
bool tr_is_time(const char *text);

#endif
