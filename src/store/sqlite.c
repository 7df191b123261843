/* A store in an SQLite file: WAL mode with full synchronisation, so that what was committed is on
   the disk; one transaction a record; triggers that refuse every change. */
#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include <sqlite3.h>

#include "base/file.h"
#include "store/backend.h"

/* "TrmS", so that the file is known for a store (PRAGMA application_id). */
enum { APPLICATION_ID = 0x54726d53 };
/* How long another program's writing is waited for. */
enum { BUSY_MS = 10000 };

/* From version i to i + 1 (PRAGMA user_version). What stands here was released: it is not changed,
   a new version is added. */
static const char *const MIGRATIONS[] = {
    "CREATE TABLE store (id TEXT NOT NULL, files TEXT NOT NULL CHECK (files IN ('database',"
    "  'folder'))) STRICT;"
    "CREATE TABLE file ("
    "  sha256 TEXT NOT NULL PRIMARY KEY, size INTEGER NOT NULL, data BLOB) STRICT;"
    "CREATE TABLE record ("
    "  number INTEGER NOT NULL PRIMARY KEY CHECK (number > 0),"
    "  id TEXT NOT NULL UNIQUE,"
    "  previous TEXT NOT NULL UNIQUE,"
    "  hash TEXT NOT NULL UNIQUE,"
    "  origin_store TEXT NOT NULL, origin_number INTEGER NOT NULL, origin_hash TEXT NOT NULL,"
    "  made_at TEXT NOT NULL, kind TEXT NOT NULL, job TEXT NOT NULL, vehicle TEXT NOT NULL,"
    "  technician TEXT NOT NULL, verdict TEXT NOT NULL,"
    "  body TEXT NOT NULL) STRICT;"
    "CREATE TABLE record_sheet ("
    "  number INTEGER NOT NULL REFERENCES record (number), sheet TEXT NOT NULL,"
    "  PRIMARY KEY (number, sheet)) STRICT, WITHOUT ROWID;"
    "CREATE INDEX record_made_at ON record (made_at);"
    "CREATE INDEX record_job ON record (job);"
    "CREATE INDEX record_vehicle ON record (vehicle);"
    "CREATE INDEX record_technician ON record (technician);"
    "CREATE INDEX record_sheet_sheet ON record_sheet (sheet, number);"
    "CREATE TRIGGER record_follows BEFORE INSERT ON record"
    "  WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM record)"
    "    OR NEW.previous IS NOT coalesce((SELECT hash FROM record ORDER BY number DESC LIMIT 1),"
    "      '0000000000000000000000000000000000000000000000000000000000000000')"
    "  BEGIN SELECT RAISE(ABORT, 'a record must follow the newest'); END;"
    "CREATE TRIGGER record_no_update BEFORE UPDATE ON record"
    "  BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER record_no_delete BEFORE DELETE ON record"
    "  BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;"
    "CREATE TRIGGER record_sheet_no_update BEFORE UPDATE ON record_sheet"
    "  BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER record_sheet_no_delete BEFORE DELETE ON record_sheet"
    "  BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;"
    "CREATE TRIGGER file_no_update BEFORE UPDATE ON file"
    "  BEGIN SELECT RAISE(ABORT, 'files are never changed'); END;"
    "CREATE TRIGGER file_no_delete BEFORE DELETE ON file"
    "  BEGIN SELECT RAISE(ABORT, 'files are never deleted'); END;"
    "CREATE TRIGGER store_no_update BEFORE UPDATE ON store"
    "  BEGIN SELECT RAISE(ABORT, 'the store keeps its id'); END;"
    "CREATE TRIGGER store_no_delete BEFORE DELETE ON store"
    "  BEGIN SELECT RAISE(ABORT, 'the store keeps its id'); END;"
    "PRAGMA application_id = 1416785235;"
    "PRAGMA user_version = 1;",
};
enum { VERSION = sizeof MIGRATIONS / sizeof *MIGRATIONS };

/* Statements that are prepared once. */
typedef enum {
    NEWEST,
    INSERT,
    INSERT_SHEETS,
    FILES,
    FILES_WITH_DATA,
    FILE_PUT,
    N_STATEMENTS
} which;
static const char *const STATEMENTS[N_STATEMENTS] = {
    [NEWEST] = "SELECT number, hash FROM record ORDER BY number DESC LIMIT 1",
    [INSERT] = "INSERT INTO record (id, previous, hash, origin_store, origin_hash, made_at, kind,"
               " job, vehicle, technician, verdict, body, number, origin_number)"
               " VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
    [INSERT_SHEETS] =
        "INSERT INTO record_sheet (number, sheet) SELECT ?1, value FROM json_each(?2)",
    [FILES] = "SELECT sha256, size, NULL FROM file"
              " WHERE sha256 IN (SELECT value FROM json_each(?1))",
    [FILES_WITH_DATA] = "SELECT sha256, size, data FROM file"
                        " WHERE sha256 IN (SELECT value FROM json_each(?1))",
    [FILE_PUT] = "INSERT INTO file (sha256, size, data) VALUES (?1, ?2, ?3)"
                 " ON CONFLICT (sha256) DO NOTHING",
};

typedef struct {
    sqlite3 *db;
    sqlite3_stmt *statements[N_STATEMENTS];
    char *path; /* as it was given */
    int code;   /* of the last failure */
    bool is_damaged;
} database;

/* ---- Errors ---- */

static bool fail_io(const database *d, const char *path, tr_error *err) {
    char text[128] = "no reason is given";
    int error = d->db ? sqlite3_system_errno(d->db) : 0;
    if (error != 0) (void)strerror_r(error, text, sizeof text);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "could not be read or written (%s); see that its disk works and has room, "
                      "then try again",
                      text);
}

/* What SQLite said, as what to do. */
static bool fail(database *d, int code, tr_error *err) {
    const char *path = d->path;
    d->code = code & 0xff;
    d->is_damaged = d->code == SQLITE_CORRUPT;
    switch (d->code) {
    case SQLITE_NOMEM: return tr_fail_memory(err);
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "is held by another program for longer than %d seconds; wait until that "
                          "has ended, then try again",
                          BUSY_MS / 1000);
    case SQLITE_FULL:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "does not fit on the disk; free some space, then try again");
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "may not be written by this user; check the permissions of the file and "
                          "of its folder");
    case SQLITE_CANTOPEN:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "cannot be opened; check that its folder is there, and the permissions "
                          "of both");
    case SQLITE_NOTADB:
        return tr_fail_at(err, TR_BAD_INPUT, path, 0, NULL,
                          "is no store of records; name the store's file");
    case SQLITE_CORRUPT:
        return tr_fail_at(
            err, TR_BAD_INPUT, path, 0, NULL,
            "is a damaged store; leave it as it is, and restore a copy to go on with");
    case SQLITE_IOERR: return fail_io(d, path, err);
    default:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "cannot be used as a store (%.200s); check the file, and restore a copy "
                          "if it was changed",
                          d->db ? sqlite3_errmsg(d->db) : sqlite3_errstr(code));
    }
}

static bool is_damaged(void *db) {
    return ((const database *)db)->is_damaged;
}

/* ---- Statements ---- */

static bool execute(database *d, const char *sql, tr_error *err) {
    int code = sqlite3_exec(d->db, sql, NULL, NULL, NULL);
    return code == SQLITE_OK || fail(d, code, err);
}

static sqlite3_stmt *prepare(database *d, const char *sql, tr_error *err) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(d->db, sql, -1, &statement, NULL);
    if (code == SQLITE_OK) return statement;
    (void)fail(d, code, err);
    return NULL;
}

static sqlite3_stmt *statement(database *d, which w, tr_error *err) {
    if (!d->statements[w]) d->statements[w] = prepare(d, STATEMENTS[w], err);
    return d->statements[w];
}

/* Ready for the next time. Its outcome was told by sqlite3_step already. */
static void reset(sqlite3_stmt *s) {
    if (!s) return;
    (void)sqlite3_reset(s);
    (void)sqlite3_clear_bindings(s);
}

static bool bind(database *d, sqlite3_stmt *s, int i, const char *text, size_t size,
                 tr_error *err) {
    int code = sqlite3_bind_text64(s, i, text, size, SQLITE_STATIC, SQLITE_UTF8);
    return code == SQLITE_OK || fail(d, code, err);
}

static bool bind_number(database *d, sqlite3_stmt *s, int i, int64_t number, tr_error *err) {
    int code = sqlite3_bind_int64(s, i, number);
    return code == SQLITE_OK || fail(d, code, err);
}

/* One that gives no rows. */
static bool run(database *d, sqlite3_stmt *s, tr_error *err) {
    int code = sqlite3_step(s);
    return code == SQLITE_DONE || code == SQLITE_ROW || fail(d, code, err);
}

/* The next row, if there is one. */
static bool step(database *d, sqlite3_stmt *s, bool *has_row, tr_error *err) {
    int code = sqlite3_step(s);
    *has_row = code == SQLITE_ROW;
    return code == SQLITE_ROW || code == SQLITE_DONE || fail(d, code, err);
}

/* A column's bytes; empty where it is NULL. False: memory ran out. */
static bool column(sqlite3_stmt *s, int i, const char **text, size_t *size) {
    *text = (const char *)sqlite3_column_text(s, i);
    *size = (size_t)sqlite3_column_bytes(s, i);
    if (!*text && sqlite3_column_type(s, i) != SQLITE_NULL) return false;
    if (!*text) *text = "";
    return true;
}

static bool copy_column(sqlite3_stmt *s, int i, char *out, size_t size, tr_error *err) {
    const char *text;
    size_t length;
    if (!column(s, i, &text, &length)) return tr_fail_memory(err);
    snprintf(out, size, "%s", text);
    return true;
}

static int64_t pragma(database *d, const char *sql, bool *ok, tr_error *err) {
    bool has_row = false;
    sqlite3_stmt *s = prepare(d, sql, err);
    *ok = s && step(d, s, &has_row, err);
    int64_t value = *ok && has_row ? sqlite3_column_int64(s, 0) : 0;
    (void)sqlite3_finalize(s);
    return value;
}

/* ---- Transactions ---- */

static bool begin(database *d, tr_error *err) {
    return execute(d, "BEGIN IMMEDIATE", err);
}

/* Commits what went well, takes back what did not. */
static bool end(database *d, bool ok, tr_error *err) {
    if (ok && execute(d, "COMMIT", err)) return true;
    if (!sqlite3_get_autocommit(d->db)) (void)sqlite3_exec(d->db, "ROLLBACK", NULL, NULL, NULL);
    return false;
}

/* ---- Opening ---- */

static void close_database(void *db) {
    database *d = db;
    for (int i = 0; i < N_STATEMENTS; i++) (void)sqlite3_finalize(d->statements[i]);
    (void)sqlite3_close(d->db);
    free(d->path);
    free(d);
}

static bool fail_look(const char *path, int error, tr_error *err) {
    char text[128] = "unknown error";
    (void)strerror_r(error, text, sizeof text);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "cannot be reached (%s); check the path, and that this user may enter its "
                      "folders",
                      text);
}

/* What stands at the path: nothing yet, or something that may be a store. */
static bool look(const char *path, bool *is_there, tr_error *err) {
    struct stat about;
    *is_there = false;
    if (stat(path, &about) != 0) return errno == ENOENT || fail_look(path, errno, err);
    *is_there = !S_ISREG(about.st_mode) || about.st_size > 0;
    if (S_ISREG(about.st_mode)) return true;
    if (S_ISDIR(about.st_mode)) {
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "is a folder; name the store's file in it");
    }
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "is not a regular file; name the store's file");
}

/* "file:PATH?immutable=1"; owned by the caller. */
static char *immutable_uri(const char *path) {
    char *uri = malloc(3 * strlen(path) + sizeof "file:./?immutable=1");
    if (!uri) return NULL;
    size_t n = (size_t)sprintf(uri, "file:%s", path[0] == '/' ? "" : "./");
    for (const char *c = path; *c; c++) {
        bool is_plain = isalnum((unsigned char)*c) || strchr("/._-", *c);
        n += (size_t)sprintf(uri + n, is_plain ? "%c" : "%%%02X", (unsigned char)*c);
    }
    sprintf(uri + n, "?immutable=1");
    return uri;
}

/* SQLite gives some names a meaning of their own (":memory:", ""): a path is always taken as one.
 */
static char *plain_path(const char *path) {
    char *plain = malloc(strlen(path) + 3);
    if (plain) sprintf(plain, "%s%s", path[0] == '/' ? "" : "./", path);
    return plain;
}

static bool connect(database *d, char *name, int flags, tr_error *err) {
    if (!name) return tr_fail_memory(err);
    (void)sqlite3_close(d->db);
    d->db = NULL;
    int code = sqlite3_open_v2(name, &d->db, flags, NULL);
    free(name);
    if (code != SQLITE_OK) return fail(d, code, err);
    (void)sqlite3_extended_result_codes(d->db, 1);
    (void)sqlite3_busy_timeout(d->db, BUSY_MS);
    /* What a file brings along (its schema) must not do more than a store's does. */
    (void)sqlite3_db_config(d->db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    (void)sqlite3_db_config(d->db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    return execute(d,
                   "PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;"
                   "PRAGMA recursive_triggers = ON; PRAGMA cell_size_check = ON;"
                   "PRAGMA temp_store = MEMORY;",
                   err);
}

/* What the file says that it is, all at one moment: another program may be making it. */
static bool identify(database *d, int64_t *application, int64_t *version, bool *is_empty,
                     tr_error *err) {
    if (!execute(d, "SAVEPOINT moment", err)) return false;
    bool ok;
    *application = pragma(d, "PRAGMA application_id", &ok, err);
    if (ok) *version = pragma(d, "PRAGMA user_version", &ok, err);
    if (ok) *is_empty = pragma(d, "SELECT count(*) FROM sqlite_schema", &ok, err) == 0;
    return execute(d, "RELEASE moment", err) && ok;
}

static bool check_version(const database *d, int64_t application, int64_t version, tr_error *err) {
    if (application != APPLICATION_ID || version < 1) {
        return tr_fail_at(err, TR_BAD_INPUT, d->path, 0, NULL,
                          "is an SQLite file, but no store of records; name the store's file");
    }
    if (version > VERSION) {
        return tr_fail_at(err, TR_BAD_INPUT, d->path, 0, NULL,
                          "is a store of version %lld, this program knows %d; install the newer "
                          "program that made it",
                          (long long)version, VERSION);
    }
    return true;
}

static bool fail_none(const database *d, tr_error *err) {
    return tr_fail_at(err, TR_NO_FILE, d->path, 0, NULL,
                      "holds no store of records; check the path, or keep a record to make one");
}

static bool insert_store(database *d, const char *id, bool in_folder, tr_error *err) {
    sqlite3_stmt *s = prepare(d, "INSERT INTO store (id, files) VALUES (?1, ?2)", err);
    const char *files = in_folder ? "folder" : "database";
    bool ok = s && bind(d, s, 1, id, strlen(id), err) && bind(d, s, 2, files, strlen(files), err) &&
              run(d, s, err);
    (void)sqlite3_finalize(s);
    return ok;
}

/* Within a transaction: what another program did in the meantime is seen. */
static bool migrate(database *d, const tr_store_place *place, const char *id, tr_error *err) {
    int64_t application, version;
    bool is_empty;
    if (!identify(d, &application, &version, &is_empty, err)) return false;
    bool is_new = is_empty && application == 0 && version == 0;
    if (is_new && !place->make) return fail_none(d, err);
    if (!is_new && !check_version(d, application, version, err)) return false;
    for (int64_t v = version; v < VERSION; v++) {
        if (!execute(d, MIGRATIONS[v], err)) return false;
    }
    return !is_new || insert_store(d, id, place->in_folder, err);
}

enum { MODE_SIZE = 16 };

static bool set_wal(database *d, char mode[MODE_SIZE], tr_error *err) {
    bool has_row = false;
    sqlite3_stmt *s = prepare(d, "PRAGMA journal_mode = WAL", err);
    bool ok =
        s && step(d, s, &has_row, err) && (!has_row || copy_column(s, 0, mode, MODE_SIZE, err));
    (void)sqlite3_finalize(s);
    return ok;
}

/* While another program makes the same store, SQLite gives this up at once, whatever its busy
   timeout. */
static bool use_wal(database *d, tr_error *err) {
    enum { NAP_MS = 10 };
    char mode[MODE_SIZE] = "";
    tr_error why = {0};
    bool ok = set_wal(d, mode, &why);
    for (int ms = 0; !ok && d->code == SQLITE_BUSY && ms < BUSY_MS; ms += NAP_MS) {
        (void)sqlite3_sleep(NAP_MS);
        why = (tr_error){0};
        ok = set_wal(d, mode, &why);
    }
    if (!ok && err) *err = why;
    if (!ok || strcmp(mode, "wal") == 0) return ok;
    return tr_fail_at(err, TR_NO_FILE, d->path, 0, NULL,
                      "lies on a disk on which several programs cannot use it safely (no shared "
                      "memory); put the store on a disk of this computer");
}

/* To be written: brought up to this version. */
static bool prepare_to_write(database *d, const tr_store_place *place, const char *id,
                             tr_error *err) {
    int64_t application, version;
    bool is_empty;
    /* Nothing is written to a file that is something else. */
    if (!identify(d, &application, &version, &is_empty, err)) return false;
    bool is_new = is_empty && application == 0 && version == 0;
    if (is_new && !place->make) return fail_none(d, err);
    if (!is_new && !check_version(d, application, version, err)) return false;
    if (!use_wal(d, err)) return false;
    if (!is_new && version == VERSION) return true;
    return begin(d, err) && end(d, migrate(d, place, id, err), err);
}

static bool check_to_read(database *d, tr_error *err) {
    int64_t application, version;
    bool is_empty;
    if (!identify(d, &application, &version, &is_empty, err)) return false;
    if (is_empty && application == 0) return fail_none(d, err);
    if (!check_version(d, application, version, err)) return false;
    return version == VERSION ||
           tr_fail_at(err, TR_BAD_INPUT, d->path, 0, NULL,
                      "is a store of an older version; open it once for writing, with a copy kept "
                      "aside");
}

/* Something waits, or may wait, in the log beside the file itself (links are followed). */
static bool has_wal(const database *d) {
    struct stat about;
    const char *file = d->db ? sqlite3_db_filename(d->db, "main") : NULL;
    if (!file || !file[0]) return true;
    if (stat(sqlite3_filename_wal(file), &about) != 0) return errno != ENOENT;
    return about.st_size > 0;
}

/* A store on a medium or in a folder where nothing can be written has no shared memory beside it;
   where nothing waits to be taken over into it, either, the file alone is the store. */
static bool open_to_read(database *d, tr_error *err) {
    tr_error why = {0};
    if (connect(d, plain_path(d->path), SQLITE_OPEN_READONLY, &why) && check_to_read(d, &why)) {
        return true;
    }
    if ((d->code == SQLITE_CANTOPEN || d->code == SQLITE_READONLY) && !has_wal(d)) {
        return connect(d, immutable_uri(d->path), SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, err) &&
               check_to_read(d, err);
    }
    if (err) *err = why;
    return false;
}

static bool open_to_write(database *d, const tr_store_place *place, const char *id, tr_error *err) {
    int flags = SQLITE_OPEN_READWRITE | (place->make ? SQLITE_OPEN_CREATE : 0);
    return connect(d, plain_path(d->path), flags, err) && prepare_to_write(d, place, id, err);
}

static bool read_about(database *d, tr_backend_about *about, tr_error *err) {
    char files[16] = "";
    bool has_row = false;
    sqlite3_stmt *s = prepare(d, "SELECT id, files FROM store", err);
    bool ok = s && step(d, s, &has_row, err);
    ok = ok && has_row && copy_column(s, 0, about->id, sizeof about->id, err) &&
         copy_column(s, 1, files, sizeof files, err);
    (void)sqlite3_finalize(s);
    about->in_folder = strcmp(files, "folder") == 0;
    if (ok && tr_is_id(about->id)) return true;
    d->is_damaged = true;
    return tr_fail_at(err, TR_BAD_INPUT, d->path, 0, NULL,
                      "is a store without its id; it was changed: restore a copy");
}

static void *open_database(const tr_store_place *place, const char *id, tr_backend_about *about,
                           tr_error *err) {
    bool is_there;
    const char *path = place->where;
    size_t n = strlen(path);
    if (!look(path, &is_there, err)) return NULL;
    database *d = calloc(1, sizeof *d);
    if (d) d->path = strdup(path);
    if (!d || !d->path) {
        free(d);
        tr_fail_memory(err);
        return NULL;
    }
    snprintf(about->name, sizeof about->name, "%s",
             n < sizeof about->name ? path : path + (n - sizeof about->name + 1));
    bool ok = is_there || (place->make && !place->read_only) || fail_none(d, err);
    ok = ok && (place->read_only ? open_to_read(d, err) : open_to_write(d, place, id, err));
    if (ok && read_about(d, about, err)) {
        about->path = sqlite3_db_filename(d->db, "main");
        return d;
    }
    close_database(d);
    return NULL;
}

/* ---- Records ---- */

static bool newest(void *db, int64_t *number, char hash[TR_HASH_SIZE], tr_error *err) {
    database *d = db;
    bool has_row = false;
    sqlite3_stmt *s = statement(d, NEWEST, err);
    bool ok = s && step(d, s, &has_row, err);
    *number = ok && has_row ? sqlite3_column_int64(s, 0) : 0;
    hash[0] = 0;
    if (ok && has_row) ok = copy_column(s, 1, hash, TR_HASH_SIZE, err);
    reset(s);
    return ok;
}

static sqlite3_stmt *prepare_query(database *d, const tr_sql *sql, tr_error *err) {
    sqlite3_stmt *s = prepare(d, sql->text, err);
    for (int i = 0; i < sql->n && s; i++) {
        const tr_parameter *p = &sql->parameters[i];
        bool ok = p->text ? bind(d, s, i + 1, p->text, strlen(p->text), err)
                          : bind_number(d, s, i + 1, p->number, err);
        if (ok) continue;
        (void)sqlite3_finalize(s);
        s = NULL;
    }
    return s;
}

static bool read_row(sqlite3_stmt *s, tr_row *row, tr_error *err) {
    int n = sqlite3_column_count(s) - 2;
    row->number = sqlite3_column_int64(s, 0);
    row->origin_number = sqlite3_column_int64(s, 1);
    for (int i = 0; i < TR_N_ROW_TEXTS; i++) {
        const char *text = "";
        size_t size = 0;
        if (i < n && !column(s, i + 2, &text, &size)) return tr_fail_memory(err);
        if (!tr_row_set(row, (tr_row_text)i, text, size, err)) return false;
    }
    return true;
}

static bool rows(void *db, const tr_query *query, bool with_sheets, int limit, tr_page *out,
                 tr_error *err) {
    static const char SHEETS[] =
        "(SELECT json_group_array(sheet) FROM (SELECT sheet FROM record_sheet s"
        " WHERE s.number = r.number ORDER BY sheet))";
    database *d = db;
    tr_sql sql;
    bool has_row = false;
    tr_sql_select(&sql, query, with_sheets ? SHEETS : NULL, limit);
    sqlite3_stmt *s = prepare_query(d, &sql, err);
    bool ok = s && step(d, s, &has_row, err);
    while (ok && has_row) {
        tr_row *row = tr_page_add(out, err);
        ok = row && read_row(s, row, err) && step(d, s, &has_row, err);
    }
    (void)sqlite3_finalize(s);
    return ok;
}

static bool first_of_newest(void *db, const tr_query *query, int limit, int64_t *number,
                            tr_error *err) {
    database *d = db;
    tr_sql sql;
    bool has_row = false;
    tr_sql_first_of_newest(&sql, query, limit);
    sqlite3_stmt *s = prepare_query(d, &sql, err);
    bool ok = s && step(d, s, &has_row, err);
    *number = ok && has_row ? sqlite3_column_int64(s, 0) : 0;
    (void)sqlite3_finalize(s);
    return ok;
}

static bool known(void *db, const char *ids, tr_known_visitor *see, void *user, tr_error *err) {
    database *d = db;
    bool has_row = false;
    sqlite3_stmt *s = prepare(
        d, "SELECT id, body FROM record WHERE id IN (SELECT value FROM json_each(?1))", err);
    bool ok = s && bind(d, s, 1, ids, strlen(ids), err) && step(d, s, &has_row, err);
    while (ok && has_row) {
        char sha256[TR_HASH_SIZE];
        const char *id, *body;
        size_t n_id, n_body;
        if (!column(s, 0, &id, &n_id) || !column(s, 1, &body, &n_body)) {
            ok = tr_fail_memory(err);
            break;
        }
        tr_sha256_hex(body, n_body, sha256);
        if (!see(id, sha256, user)) break;
        ok = step(d, s, &has_row, err);
    }
    (void)sqlite3_finalize(s);
    return ok;
}

static bool insert(database *d, const tr_row *row, tr_error *err) {
    sqlite3_stmt *s = statement(d, INSERT, err);
    bool ok = s != NULL;
    for (int i = 0; i < TR_N_ROW_COLUMNS && ok; i++) {
        ok = bind(d, s, i + 1, row->text[i], row->size[i], err);
    }
    ok = ok && bind_number(d, s, TR_N_ROW_COLUMNS + 1, row->number, err) &&
         bind_number(d, s, TR_N_ROW_COLUMNS + 2, row->origin_number, err) && run(d, s, err);
    reset(s);
    if (!ok) return false;
    s = statement(d, INSERT_SHEETS, err);
    ok = s && bind_number(d, s, 1, row->number, err) &&
         bind(d, s, 2, row->text[TR_ROW_SHEETS], row->size[TR_ROW_SHEETS], err) && run(d, s, err);
    reset(s);
    return ok;
}

static tr_append_outcome append(void *db, tr_row *row, tr_error *err) {
    database *d = db;
    int64_t number;
    char hash[TR_HASH_SIZE];
    tr_error why = {0};
    if (!begin(d, err)) return TR_NOT_KEPT;
    bool ok = newest(d, &number, hash, &why) && tr_row_follow(row, number, hash, &why) &&
              insert(d, row, &why);
    /* Another program may have kept it while this one waited. */
    bool is_refused = !ok && d->code == SQLITE_CONSTRAINT;
    ok = end(d, ok, &why);
    if (!ok && err) *err = why;
    return ok ? TR_KEPT : is_refused ? TR_UNSURE : TR_NOT_KEPT;
}

/* ---- Files ---- */

/* False: memory ran out. */
static bool show_file(sqlite3_stmt *s, tr_file_visitor *see, void *user, bool *goes_on) {
    const char *sha256;
    size_t n;
    if (!column(s, 0, &sha256, &n)) return false;
    bool has_data = sqlite3_column_type(s, 2) == SQLITE_BLOB;
    const void *data = has_data ? sqlite3_column_blob(s, 2) : NULL;
    size_t size = has_data ? (size_t)sqlite3_column_bytes(s, 2) : 0;
    if (has_data && !data && size > 0) return false;
    if (has_data && !data) data = "";
    *goes_on = see(sha256, (uint64_t)sqlite3_column_int64(s, 1), data, size, user);
    return true;
}

static bool files(void *db, const char *hashes, bool with_data, tr_file_visitor *see, void *user,
                  tr_error *err) {
    database *d = db;
    bool has_row = false;
    bool goes_on = true;
    sqlite3_stmt *s = statement(d, with_data ? FILES_WITH_DATA : FILES, err);
    bool ok = s && bind(d, s, 1, hashes, strlen(hashes), err) && step(d, s, &has_row, err);
    while (ok && has_row && goes_on) {
        ok = show_file(s, see, user, &goes_on) ? step(d, s, &has_row, err) : tr_fail_memory(err);
    }
    reset(s);
    return ok;
}

static bool file_put(void *db, const char *sha256, const void *data, size_t size, bool *is_new,
                     tr_error *err) {
    database *d = db;
    sqlite3_stmt *s = statement(d, FILE_PUT, err);
    bool ok =
        s && bind(d, s, 1, sha256, strlen(sha256), err) && bind_number(d, s, 2, (int64_t)size, err);
    if (ok && data) {
        int code = sqlite3_bind_blob64(s, 3, data, size, SQLITE_STATIC);
        ok = code == SQLITE_OK || fail(d, code, err);
    }
    ok = ok && begin(d, err) && end(d, run(d, s, err), err);
    *is_new = ok && sqlite3_changes(d->db) > 0;
    reset(s);
    return ok;
}

static bool file_any(void *db, bool *any, tr_error *err) {
    bool ok;
    *any = pragma(db, "SELECT EXISTS (SELECT 1 FROM file)", &ok, err) != 0;
    return ok;
}

/* SQLite's own look at pages and indices: a damaged index would hide records from a filter. */
static bool examine(void *db, char *what, size_t size, tr_error *err) {
    database *d = db;
    bool has_row = false;
    tr_error why = {0};
    sqlite3_stmt *s = prepare(d, "PRAGMA integrity_check(1)", &why);
    bool ok = s && step(d, s, &has_row, &why);
    what[0] = 0;
    if (ok && has_row) ok = copy_column(s, 0, what, size, &why);
    if (strcmp(what, "ok") == 0) what[0] = 0;
    (void)sqlite3_finalize(s);
    if (ok) return true;
    if (d->code == SQLITE_CORRUPT) {
        snprintf(what, size, "%s", sqlite3_errstr(SQLITE_CORRUPT));
        return true;
    }
    if (err) *err = why;
    return false;
}

const tr_backend tr_sqlite_backend = {
    .open = open_database,
    .close = close_database,
    .newest = newest,
    .rows = rows,
    .first_of_newest = first_of_newest,
    .known = known,
    .append = append,
    .files = files,
    .file_put = file_put,
    .file_any = file_any,
    .examine = examine,
    .is_damaged = is_damaged,
};
