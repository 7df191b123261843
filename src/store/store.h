/* What is kept for years: records, one a measurement, in the order in which they were kept, and the
   files that each rests on, byte by byte. Nothing is ever changed or taken away: each record has
   the hash of the one before, so that a change, a gap or another order shows (tr_store_verify), and
   who noted the newest hash elsewhere sees that records were cut off the end, too.

   A store is an SQLite file, or a PostgreSQL database. Both have the same records; a store takes
   those of another with tr_store_push, each exactly once.

   A record's body is one JSON text, its keys sorted, without spaces (jansson's JSON_SORT_KEYS and
   JSON_COMPACT), stored as it is: an object with details, files (role, name, sha256, size), id,
   job, kind, made_at, program, sheets, technician, vehicle, verdict. A record's hash is the SHA-256
   (FIPS 180-4), in lower-case hexadecimal digits, of these lines, each ended by one newline:

       trammel record 1
       NUMBER                 decimal
       PREVIOUS               hash of the record before; 64 zeros for the first
       ORIGIN                 ID NUMBER HASH of the store and record that it was pushed from, or "-"
       BODY                   SHA-256 of the body's bytes

   so that anybody can follow the chain with common tools. Columns beside the body are copies to
   filter by. */
#ifndef TR_STORE_STORE_H
#define TR_STORE_STORE_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include "base/error.h"

enum { TR_HASH_SIZE = 65, TR_RECORD_ID_SIZE = 37, TR_TIME_SIZE = 21 };

/* A file of a record: what was read, or what came out. */
typedef struct {
    char *role; /* "job", "layout", "sheet", "lens", "survey-file", "photo", "result", ... */
    char *name; /* as the command named it */
    char sha256[TR_HASH_SIZE];
    uint64_t size;
} tr_record_file;

/* Texts are UTF-8 and owned; "" where there is nothing to say. All zero is an empty one. */
typedef struct {
    int64_t number;             /* 1, 2, 3, ... of this store */
    char id[TR_RECORD_ID_SIZE]; /* a random UUID (RFC 4122, version 4): the same in every store */
    char previous[TR_HASH_SIZE], hash[TR_HASH_SIZE]; /* previous: zeros of the first */
    /* Where it was kept first, when another store pushed it here; "" and 0: it was kept here. */
    char origin_store[TR_RECORD_ID_SIZE], origin_hash[TR_HASH_SIZE];
    int64_t origin_number;
    char made_at[TR_TIME_SIZE];                 /* UTC: 2026-01-31T09:30:00Z */
    char *kind;                                 /* "check", "lens", "lens-check", "survey" */
    char *program;                              /* its version */
    char *job, *vehicle, *technician, *verdict; /* to filter by */
    char **sheets;                              /* names of sheets, of a lens its own */
    char *details; /* a JSON object: whatever else is needed to do it again */
    tr_record_file *files;
    int n_sheets, n_files;
} tr_record;

void tr_record_release(tr_record *record);

typedef struct tr_store tr_store;

typedef struct {
    const char *where; /* a path, or postgresql://... (tr_store_is_server) */
    bool make;         /* makes the store where there is none; else that is an error */
    bool read_only;    /* for reading: nothing is written, not even a version brought up */
    bool in_folder; /* a new store's files lie in a folder, not in the database; one that is there
                       keeps to what it was made with */
    const char *folder; /* that folder; NULL: WHERE.files, where WHERE is the file that a link leads
                           to. A server's has none by itself */
} tr_store_place;

/* `where` names a PostgreSQL server (it begins with postgresql:// or postgres://), not a path. */
static inline bool tr_store_is_server(const char *where) {
    return strncmp(where, "postgresql://", 13) == 0 || strncmp(where, "postgres://", 11) == 0;
}

/* Opens a store, or makes it; brings one of an older version up to this one. NULL on failure. A
   store is used by one thread; several programs may have it open. */
TR_MUST_USE tr_store *tr_store_open(const tr_store_place *place, tr_error *err);
void tr_store_close(tr_store *store);

/* Its own id, a random UUID; and where it is, for people: without a password. Borrowed. */
const char *tr_store_id(const tr_store *store);
const char *tr_store_name(const tr_store *store);

/* Keeps the bytes, once however often they come; a record that names them follows. Where they are
   there already, they are compared: a damaged file in a folder is written anew, one in a database
   is an error. */
TR_MUST_USE bool tr_store_put(tr_store *store, const void *data, size_t size,
                              char sha256[TR_HASH_SIZE], tr_error *err);
/* Bytes by their hash, which is checked; owned by the caller (free). */
TR_MUST_USE bool tr_store_get(tr_store *store, const char *sha256, uint8_t **data, size_t *size,
                              tr_error *err);

/* Keeps a record whose files were put, and gives it its number, hashes and, where they are empty,
   id and made_at. Its texts must be UTF-8, `details` a JSON object or "". When it returns true the
   record is on the disk and seen by everybody; else nothing of it is, but for one case: the disk or
   the connection failed at the very end (err says so), then it is there whole or not at all. To
   append the same record again, with the id that it was given, is safe: one that is there already
   is not kept twice, and counts as kept. Another record of the same id is an error. */
TR_MUST_USE bool tr_store_append(tr_store *store, tr_record *record, tr_error *err);

/* Which records: NULL or 0, any. Several conditions are joined by "and". */
typedef struct {
    const char *kind, *job, *vehicle, *technician, *verdict, *sheet;
    const char *from, *until; /* made_at, inclusive: 2026-01-31T09:30:00Z, or a date alone, which is
                                 its whole day (UTC) */
    int64_t first_number;     /* from this on */
    int limit;                /* the newest so many */
} tr_record_filter;

/* Calls `see` with each, in their order; it returns false to end. The record is the store's. `see`
   may use the store. A record that does not have its hash any more is an error that names it. */
typedef bool tr_record_visitor(const tr_record *record, void *user);
TR_MUST_USE bool tr_store_find(tr_store *store, const tr_record_filter *filter,
                               tr_record_visitor *see, void *user, tr_error *err);
/* By number, id or the first eight or more digits of its hash, which must name one record alone;
   what could be both is a number. One that does not have its hash any more is an error. *out is to
   be released. */
TR_MUST_USE bool tr_store_read(tr_store *store, const char *which, tr_record *out, tr_error *err);

/* Number 0: the store is empty. */
TR_MUST_USE bool tr_store_newest(tr_store *store, int64_t *number, char hash[TR_HASH_SIZE],
                                 tr_error *err);

/* The first thing that is wrong, in the order of numbers. */
typedef struct {
    bool is_sound;
    int64_t n_records; /* that were looked at and sound */
    int64_t newest;    /* the last of those, 0: none; and its hash */
    char hash[TR_HASH_SIZE];
    int64_t number; /* of the record at which it breaks; 0: none of them */
    char what[384]; /* in words, one sentence; "" where it is sound */
} tr_store_finding;
/* Reads everything: chain, contents, columns, files. known: a hash that was noted elsewhere and
   must be in the chain (or its first eight or more digits), or NULL. False: the system would not
   let it be read, or known is no hash; a damaged database is a finding. */
TR_MUST_USE bool tr_store_verify(tr_store *store, const char *known, tr_store_finding *out,
                                 tr_error *err);

/* Gives `to` every record of `from` that it does not have, with its files; there it gets a number
   and hash of its own and keeps its id and origin. A record of `from` that is broken is not handed
   on. May be killed and repeated; n_pushed counts also where it ends early. */
TR_MUST_USE bool tr_store_push(tr_store *from, tr_store *to, int64_t *n_pushed, tr_error *err);

#endif
