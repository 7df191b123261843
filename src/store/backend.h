/* What a database must do for a store: one table of functions each for SQLite (sqlite.c) and
   PostgreSQL (postgres.c, a module). What both have in common (bodies, hashes, files in a folder,
   pushing, verifying) lies above. */
#ifndef TR_STORE_BACKEND_H
#define TR_STORE_BACKEND_H

#include "store/query.h"

/* Of a database that was opened. */
typedef struct {
    char id[TR_RECORD_ID_SIZE]; /* the store's */
    bool in_folder;             /* its files lie in a folder */
    char name[256];             /* where it is, for people; a longer one keeps its end */
    const char *path;           /* of its file, links followed: borrowed from db; NULL: none */
} tr_backend_about;

typedef enum {
    TR_KEPT,
    TR_NOT_KEPT,
    TR_UNSURE, /* it may be there: another has just kept it, or the answer was lost */
} tr_append_outcome;

/* One record's id and its body's SHA-256. */
typedef bool tr_known_visitor(const char *id, const char *sha256, void *user);

/* One file: its size as it was noted; and its bytes, borrowed, or NULL where they were not asked
   for or are not in the database. Returns false to end. */
typedef bool tr_file_visitor(const char *sha256, uint64_t noted_size, const void *data, size_t size,
                             void *user);

/* db is what open gave. Those that fail fill err, which names the database. */
typedef struct {
    /* id: for a new store. */
    void *(*open)(const tr_store_place *place, const char *id, tr_backend_about *about,
                  tr_error *err);
    void (*close)(void *db);

    /* Number and hash of the newest record; 0 and "" where there is none. */
    bool (*newest)(void *db, int64_t *number, char hash[TR_HASH_SIZE], tr_error *err);
    /* The first `limit` rows in the order of numbers, with their sheets where asked for. */
    bool (*rows)(void *db, const tr_query *query, bool with_sheets, int limit, tr_page *out,
                 tr_error *err);
    /* The least number of the newest `limit` that meet the query; 0 where there is none. */
    bool (*first_of_newest)(void *db, const tr_query *query, int limit, int64_t *number,
                            tr_error *err);
    /* Those of a JSON array of ids that are there, in any order. */
    bool (*known)(void *db, const char *ids, tr_known_visitor *see, void *user, tr_error *err);

    /* Makes the row follow the newest (tr_row_follow), and keeps it, in one transaction. */
    tr_append_outcome (*append)(void *db, tr_row *row, tr_error *err);

    /* Those of a JSON array of hashes that are known, in any order; with their bytes where asked
       for. */
    bool (*files)(void *db, const char *hashes, bool with_data, tr_file_visitor *see, void *user,
                  tr_error *err);
    /* data NULL: it lies in the folder. Where it is known already, nothing happens but that *is_new
       is false. */
    bool (*file_put)(void *db, const char *sha256, const void *data, size_t size, bool *is_new,
                     tr_error *err);
    /* Some file is known. */
    bool (*file_any)(void *db, bool *any, tr_error *err);

    /* What is wrong with the database itself, in words, also where that keeps it from being looked
       at; "" where nothing is. NULL: it does not say. */
    bool (*examine)(void *db, char *what, size_t size, tr_error *err);
    /* The last failure came of a damaged database, not of the system. */
    bool (*is_damaged)(void *db);
} tr_backend;

extern const tr_backend tr_sqlite_backend;

/* tr_postgres_module_backend, of the module trammel-postgres.so. */
typedef const tr_backend *tr_postgres_backend_function(void);

struct tr_store {
    const tr_backend *backend;
    void *db;
    tr_backend_about about;
    char *folder; /* of its files, owned; NULL: they are in the database */
    bool read_only;
};

/* Rows of a store, page by page, in the order of numbers. `see` returns false to end. */
typedef bool tr_row_visitor(const tr_row *row, void *user);
TR_MUST_USE bool tr_store_rows(tr_store *store, const tr_query *query, bool with_sheets,
                               tr_row_visitor *see, void *user, tr_error *err);
/* The record of a row that has the hash which stands there; another was changed after it was kept,
   and is an error. out is to be released. */
TR_MUST_USE bool tr_store_take_row(const tr_store *store, const tr_row *row, tr_record *out,
                                   tr_error *err);
/* Keeps a row as it is, with the origin that stands in it; files must be known. */
TR_MUST_USE bool tr_store_append_row(tr_store *store, tr_row *row, tr_error *err);
/* Fails where a file of the record is not known to the store. */
TR_MUST_USE bool tr_store_check_files(tr_store *store, const tr_record *record, tr_error *err);

/* A JSON array of texts that need no escapes (ids, hashes), put together one by one. All zero is an
   empty one; text is owned (free). */
typedef struct {
    char *text;
    size_t length, capacity;
    int n;
} tr_json_list;
TR_MUST_USE bool tr_json_list_add(tr_json_list *list, const char *item, tr_error *err);

#endif
