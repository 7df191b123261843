/* A store in a PostgreSQL database, in the schema "trammel": the module trammel-postgres.so, so
   that no other use of the program loads libpq. Appends wait for each other by an advisory lock;
   that each hash is followed once is a constraint besides. Versions 12 and later. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <libpq-fe.h>

#include "base/module.h"
#include "store/backend.h"

/* Of appends and of migrations; any number that others do not use. */
#define LOCK "SELECT pg_advisory_xact_lock(6083517218134157412)"

/* From version i to i + 1 (table schema_version). What stands here was released: it is not changed,
   a new version is added. Hash indices, since a B-tree's entries must be short and names need not
   be. */
static const char *const MIGRATIONS[] = {
    "CREATE SCHEMA IF NOT EXISTS trammel;"
    "CREATE TABLE trammel.schema_version ("
    "  version integer PRIMARY KEY, since timestamptz NOT NULL DEFAULT now());"
    "CREATE TABLE trammel.store ("
    "  is_only boolean PRIMARY KEY DEFAULT true CHECK (is_only),"
    "  id text NOT NULL, files text NOT NULL CHECK (files IN ('database', 'folder')));"
    "CREATE TABLE trammel.file ("
    "  sha256 text COLLATE \"C\" PRIMARY KEY, size bigint NOT NULL, data bytea);"
    "ALTER TABLE trammel.file ALTER COLUMN data SET STORAGE EXTERNAL;"
    "CREATE TABLE trammel.record ("
    "  number bigint PRIMARY KEY CHECK (number > 0),"
    "  id text COLLATE \"C\" NOT NULL UNIQUE,"
    "  previous text COLLATE \"C\" NOT NULL UNIQUE,"
    "  hash text COLLATE \"C\" NOT NULL UNIQUE,"
    "  origin_store text NOT NULL, origin_number bigint NOT NULL, origin_hash text NOT NULL,"
    "  made_at text COLLATE \"C\" NOT NULL,"
    "  kind text COLLATE \"C\" NOT NULL, job text COLLATE \"C\" NOT NULL,"
    "  vehicle text COLLATE \"C\" NOT NULL, technician text COLLATE \"C\" NOT NULL,"
    "  verdict text COLLATE \"C\" NOT NULL, body text NOT NULL);"
    "CREATE TABLE trammel.record_sheet ("
    "  number bigint NOT NULL REFERENCES trammel.record (number),"
    "  sheet text COLLATE \"C\" NOT NULL);"
    "CREATE INDEX record_made_at ON trammel.record (made_at);"
    "CREATE INDEX record_job ON trammel.record USING hash (job);"
    "CREATE INDEX record_vehicle ON trammel.record USING hash (vehicle);"
    "CREATE INDEX record_technician ON trammel.record USING hash (technician);"
    "CREATE INDEX record_sheet_number ON trammel.record_sheet (number);"
    "CREATE INDEX record_sheet_sheet ON trammel.record_sheet USING hash (sheet);"
    "CREATE FUNCTION trammel.follows() RETURNS trigger LANGUAGE plpgsql AS $$"
    "  DECLARE newest record;"
    "  BEGIN"
    "    SELECT r.number, r.hash INTO newest FROM trammel.record r ORDER BY r.number DESC LIMIT 1;"
    "    IF NEW.number IS DISTINCT FROM coalesce(newest.number, 0) + 1"
    "      OR NEW.previous IS DISTINCT FROM coalesce(newest.hash, repeat('0', 64)) THEN"
    "      RAISE EXCEPTION 'a record must follow the newest';"
    "    END IF;"
    "    RETURN NEW;"
    "  END $$;"
    "CREATE TRIGGER record_follows BEFORE INSERT ON trammel.record"
    "  FOR EACH ROW EXECUTE FUNCTION trammel.follows();"
    "CREATE FUNCTION trammel.refuse() RETURNS trigger LANGUAGE plpgsql AS $$"
    "  BEGIN RAISE EXCEPTION 'what was kept is never changed or deleted'; END $$;"
    "CREATE TRIGGER store_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON trammel.store"
    "  FOR EACH STATEMENT EXECUTE FUNCTION trammel.refuse();"
    "CREATE TRIGGER file_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON trammel.file"
    "  FOR EACH STATEMENT EXECUTE FUNCTION trammel.refuse();"
    "CREATE TRIGGER record_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON trammel.record"
    "  FOR EACH STATEMENT EXECUTE FUNCTION trammel.refuse();"
    "CREATE TRIGGER record_sheet_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON trammel.record_sheet"
    "  FOR EACH STATEMENT EXECUTE FUNCTION trammel.refuse();"
    "INSERT INTO trammel.schema_version (version) VALUES (1);",
};
enum { VERSION = sizeof MIGRATIONS / sizeof *MIGRATIONS };

typedef struct {
    PGconn *connection;
    char name[256];    /* where, without a password */
    char sqlstate[8];  /* of the last failure */
    bool is_read_only; /* as it was opened */
    bool is_damaged;
} database;

/* ---- Errors ---- */

/* The first line of what libpq or the server said. */
static void first_line(const char *message, char *out, size_t size) {
    static const char PREFIX[] = "ERROR:  ";
    if (strncmp(message, PREFIX, sizeof PREFIX - 1) == 0) message += sizeof PREFIX - 1;
    snprintf(out, size, "%.*s", (int)strcspn(message, "\n"), message);
}

static bool is_state(const database *d, const char *state) {
    return strncmp(d->sqlstate, state, strlen(state)) == 0;
}

static bool is_lost(const database *d) {
    return PQstatus(d->connection) != CONNECTION_OK;
}

/* What the server said, as what to do. */
static bool fail(database *d, const PGresult *result, tr_error *err) {
    char text[200];
    const char *state = result ? PQresultErrorField(result, PG_DIAG_SQLSTATE) : NULL;
    snprintf(d->sqlstate, sizeof d->sqlstate, "%s", state ? state : "");
    first_line(PQerrorMessage(d->connection), text, sizeof text);
    d->is_damaged = is_state(d, "XX001") || is_state(d, "XX002");
    if (is_lost(d)) {
        return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                          "the connection to the server was lost (%.120s); see that it runs and "
                          "the network is up, then try again",
                          text);
    }
    if (!result) return tr_fail_memory(err);
    if (is_state(d, "53100")) {
        return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                          "the server's disk is full; free some space there, then try again");
    }
    if (is_state(d, "55P03")) {
        return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                          "is held by another program; wait until that has ended, then try again");
    }
    if (is_state(d, "42501")) {
        return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                          "the server does not allow this user to do so (%.150s); ask who keeps "
                          "the server to grant it",
                          text);
    }
    if (is_state(d, "25006")) {
        return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                          "can only be read; name the server that is written to");
    }
    return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                      "the server could not do it (%.180s); look at its log, then try again", text);
}

static bool is_damaged(void *db) {
    return ((const database *)db)->is_damaged;
}

/* ---- Statements ---- */

static bool is_good(const PGresult *result) {
    ExecStatusType status = PQresultStatus(result);
    return status == PGRES_TUPLES_OK || status == PGRES_COMMAND_OK;
}

/* The result, owned by the caller (PQclear); NULL on failure. */
static PGresult *check(database *d, PGresult *result, tr_error *err) {
    if (is_good(result)) return result;
    (void)fail(d, result, err);
    PQclear(result);
    return NULL;
}

/* Several statements without parameters; the result is the last one's. */
static bool execute(database *d, const char *sql, tr_error *err) {
    PGresult *result = check(d, PQexec(d->connection, sql), err);
    PQclear(result);
    return result != NULL;
}

static PGresult *query(database *d, const char *sql, int n, const char *const *values,
                       tr_error *err) {
    return check(d, PQexecParams(d->connection, sql, n, NULL, values, NULL, NULL, 0 /* text */),
                 err);
}

enum { NUMBER_SIZE = 24 };

static const char *print_number(int64_t number, char out[NUMBER_SIZE]) {
    snprintf(out, NUMBER_SIZE, "%lld", (long long)number);
    return out;
}

/* 0 where there is none, or NULL. */
static int64_t number_at(const PGresult *result, int row, int column) {
    return row < PQntuples(result) ? strtoll(PQgetvalue(result, row, column), NULL, 10) : 0;
}

static bool ask_bool(database *d, const char *sql, bool *answer, tr_error *err) {
    PGresult *result = query(d, sql, 0, NULL, err);
    *answer = result && PQntuples(result) > 0 && PQgetvalue(result, 0, 0)[0] == 't';
    PQclear(result);
    return result != NULL;
}

/* ---- Opening ---- */

static void close_database(void *db) {
    database *d = db;
    PQfinish(d->connection);
    free(d);
}

static void ignore_notice(void *user, const char *message) {
    (void)user;
    (void)message;
}

static const char *option(const PQconninfoOption *options, const char *keyword) {
    for (; options && options->keyword; options++) {
        if (strcmp(options->keyword, keyword) == 0 && options->val) return options->val;
    }
    return "";
}

/* For people: what `where` says, without what is secret. What libpq says of one that it cannot read
   may hold the password, and so is not told. */
static bool find_name(const char *where, char *out, size_t size, tr_error *err) {
    PQconninfoOption *options = PQconninfoParse(where, NULL);
    if (!options) {
        return tr_fail(err, TR_BAD_INPUT,
                       "the server's address cannot be read; write it as "
                       "postgresql://USER@HOST:PORT/DATABASE, with %%-escapes for special "
                       "characters");
    }
    const char *port = option(options, "port");
    snprintf(out, size, "postgresql://%.100s%s%.10s/%.100s", option(options, "host"),
             port[0] ? ":" : "", port, option(options, "dbname"));
    PQconninfoFree(options);
    return true;
}

static bool fail_connect(const database *d, tr_error *err) {
    char text[200];
    first_line(PQerrorMessage(d->connection), text, sizeof text);
    if (PQconnectionNeedsPassword(d->connection) || PQconnectionUsedPassword(d->connection)) {
        return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                          "the server does not let this user in (%.150s); check user and password "
                          "(the file ~/.pgpass, or PGPASSWORD)",
                          text);
    }
    return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                      "the server cannot be reached (%.180s); see that it runs and the network is "
                      "up, then try again",
                      text);
}

/* What every session of the store needs, whatever the server's defaults. Read committed, so that
   what is read once the lock is held was not fixed before it was had. */
static bool begin_session(database *d, tr_error *err) {
    return execute(d,
                   "SET search_path = trammel, pg_temp; SET synchronous_commit = on;"
                   "SET default_transaction_isolation = 'read committed';"
                   "SET lock_timeout = '30s'; SET jit = off; SET client_min_messages = error",
                   err) &&
           (!d->is_read_only || execute(d, "SET default_transaction_read_only = on", err));
}

static bool connect(database *d, const char *where, tr_error *err) {
    /* Those before dbname are our own defaults, which the address may change. */
    static const char *const KEYWORDS[] = {"connect_timeout",           "tcp_user_timeout",
                                           "fallback_application_name", "dbname",
                                           "client_encoding",           NULL};
    const char *values[] = {"10", "30000", "trammel", where, "UTF8", NULL};
    d->connection = PQconnectdbParams(KEYWORDS, values, 1);
    if (!d->connection) return tr_fail_memory(err);
    if (is_lost(d)) return fail_connect(d, err);
    (void)PQsetNoticeProcessor(d->connection, ignore_notice, NULL);
    const char *encoding = PQparameterStatus(d->connection, "server_encoding");
    if (!encoding || strcmp(encoding, "UTF8") != 0) {
        return tr_fail_at(err, TR_BAD_INPUT, d->name, 0, NULL,
                          "the database's encoding is %.20s; make one whose encoding is UTF8",
                          encoding ? encoding : "not known");
    }
    return begin_session(d, err);
}

/* 0: there is no store. The catalogue is read as a table: what the server caches of names
   (to_regclass) may be older than the lock that was waited for. */
static bool find_version(database *d, int64_t *version, tr_error *err) {
    static const char IS_THERE[] =
        "SELECT EXISTS (SELECT 1 FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace"
        " WHERE n.nspname = 'trammel' AND c.relname = 'schema_version')";
    bool is_there;
    *version = 0;
    if (!ask_bool(d, IS_THERE, &is_there, err)) return false;
    if (!is_there) return true;
    PGresult *result = query(d, "SELECT max(version) FROM trammel.schema_version", 0, NULL, err);
    *version = result ? number_at(result, 0, 0) : 0;
    PQclear(result);
    return result != NULL;
}

static bool check_version(const database *d, const tr_store_place *place, int64_t version,
                          tr_error *err) {
    if (version == 0 && (!place->make || place->read_only)) {
        return tr_fail_at(err, TR_NO_FILE, d->name, 0, NULL,
                          "holds no store of records; check the address, or keep a record to make "
                          "one");
    }
    if (version > VERSION) {
        return tr_fail_at(err, TR_BAD_INPUT, d->name, 0, NULL,
                          "is a store of version %lld, this program knows %d; install the newer "
                          "program that made it",
                          (long long)version, VERSION);
    }
    return version == VERSION || !place->read_only ||
           tr_fail_at(err, TR_BAD_INPUT, d->name, 0, NULL,
                      "is a store of an older version; open it once for writing, with a copy kept "
                      "aside");
}

static bool insert_store(database *d, const char *id, bool in_folder, tr_error *err) {
    const char *values[] = {id, in_folder ? "folder" : "database"};
    PGresult *result = query(d, "INSERT INTO store (id, files) VALUES ($1, $2)", 2, values, err);
    PQclear(result);
    return result != NULL;
}

/* Within a transaction that has the lock: what another program did in the meantime is seen. */
static bool migrate(database *d, const tr_store_place *place, const char *id, tr_error *err) {
    int64_t version;
    if (!find_version(d, &version, err)) return false;
    for (int64_t v = version; v < VERSION; v++) {
        if (!execute(d, MIGRATIONS[v], err)) return false;
    }
    return version > 0 || insert_store(d, id, place->in_folder, err);
}

/* Commits what went well, takes back what did not. */
static bool end(database *d, bool ok, tr_error *err) {
    if (!ok) {
        if (!is_lost(d)) PQclear(PQexec(d->connection, "ROLLBACK"));
        return false;
    }
    PGresult *result = check(d, PQexec(d->connection, "COMMIT"), err);
    /* A transaction in which something failed is not committed, and that is no error to the server.
     */
    ok = result && strcmp(PQcmdStatus(result), "COMMIT") == 0;
    if (result && !ok) (void)fail(d, result, err);
    PQclear(result);
    return ok;
}

static bool bring_up(database *d, const tr_store_place *place, const char *id, tr_error *err) {
    int64_t version;
    if (!find_version(d, &version, err) || !check_version(d, place, version, err)) return false;
    if (version == VERSION) return true;
    return execute(d, "BEGIN; " LOCK, err) && end(d, migrate(d, place, id, err), err);
}

static bool read_about(database *d, tr_backend_about *about, tr_error *err) {
    PGresult *result = query(d, "SELECT id, files FROM store", 0, NULL, err);
    if (!result) return false;
    bool is_there = PQntuples(result) == 1 && tr_is_id(PQgetvalue(result, 0, 0));
    if (is_there) {
        snprintf(about->id, sizeof about->id, "%s", PQgetvalue(result, 0, 0));
        about->in_folder = strcmp(PQgetvalue(result, 0, 1), "folder") == 0;
    }
    PQclear(result);
    snprintf(about->name, sizeof about->name, "%s", d->name);
    return is_there || tr_fail_at(err, TR_BAD_INPUT, d->name, 0, NULL,
                                  "is a store without its id; it was changed: restore a copy");
}

static void *open_database(const tr_store_place *place, const char *id, tr_backend_about *about,
                           tr_error *err) {
    database *d = calloc(1, sizeof *d);
    if (!d) {
        tr_fail_memory(err);
        return NULL;
    }
    d->is_read_only = place->read_only;
    if (find_name(place->where, d->name, sizeof d->name, err) && connect(d, place->where, err) &&
        bring_up(d, place, id, err) && read_about(d, about, err)) {
        return d;
    }
    close_database(d);
    return NULL;
}

/* ---- Records ---- */

static void take_newest(const PGresult *result, int64_t *number, char hash[TR_HASH_SIZE]) {
    *number = number_at(result, 0, 0);
    snprintf(hash, TR_HASH_SIZE, "%s", PQntuples(result) > 0 ? PQgetvalue(result, 0, 1) : "");
}

#define NEWEST "SELECT number, hash FROM record ORDER BY number DESC LIMIT 1"

static bool newest(void *db, int64_t *number, char hash[TR_HASH_SIZE], tr_error *err) {
    PGresult *result = query(db, NEWEST, 0, NULL, err);
    *number = 0;
    hash[0] = 0;
    if (result) take_newest(result, number, hash);
    PQclear(result);
    return result != NULL;
}

static PGresult *run_query(database *d, const tr_sql *sql, tr_error *err) {
    char numbers[TR_QUERY_MAX_PARAMETERS][NUMBER_SIZE];
    const char *values[TR_QUERY_MAX_PARAMETERS];
    for (int i = 0; i < sql->n; i++) {
        const tr_parameter *p = &sql->parameters[i];
        values[i] = p->text ? p->text : print_number(p->number, numbers[i]);
    }
    return query(d, sql->text, sql->n, values, err);
}

static bool read_row(const PGresult *result, int i, tr_row *row, tr_error *err) {
    int n = PQnfields(result) - 2;
    row->number = number_at(result, i, 0);
    row->origin_number = number_at(result, i, 1);
    for (int k = 0; k < TR_N_ROW_TEXTS; k++) {
        const char *text = k < n ? PQgetvalue(result, i, k + 2) : "";
        size_t size = k < n ? (size_t)PQgetlength(result, i, k + 2) : 0;
        if (!tr_row_set(row, (tr_row_text)k, text, size, err)) return false;
    }
    return true;
}

static bool rows(void *db, const tr_query *which, bool with_sheets, int limit, tr_page *out,
                 tr_error *err) {
    static const char SHEETS[] = "(SELECT coalesce(json_agg(sheet ORDER BY sheet), '[]')::text"
                                 " FROM record_sheet s WHERE s.number = r.number)";
    tr_sql sql;
    tr_sql_select(&sql, which, with_sheets ? SHEETS : NULL, limit);
    PGresult *result = run_query(db, &sql, err);
    bool ok = result != NULL;
    for (int i = 0; ok && i < PQntuples(result); i++) {
        tr_row *row = tr_page_add(out, err);
        ok = row && read_row(result, i, row, err);
    }
    PQclear(result);
    return ok;
}

static bool first_of_newest(void *db, const tr_query *which, int limit, int64_t *number,
                            tr_error *err) {
    tr_sql sql;
    tr_sql_first_of_newest(&sql, which, limit);
    PGresult *result = run_query(db, &sql, err);
    *number = result ? number_at(result, 0, 0) : 0;
    PQclear(result);
    return result != NULL;
}

static bool known(void *db, const char *ids, tr_known_visitor *see, void *user, tr_error *err) {
    PGresult *result =
        query(db,
              "SELECT id, encode(sha256(convert_to(body, 'UTF8')), 'hex') FROM record"
              " WHERE id IN (SELECT json_array_elements_text($1::json))",
              1, &ids, err);
    bool goes_on = result != NULL;
    for (int i = 0; goes_on && i < PQntuples(result); i++) {
        goes_on = see(PQgetvalue(result, i, 0), PQgetvalue(result, i, 1), user);
    }
    PQclear(result);
    return result != NULL;
}

static bool insert(database *d, const tr_row *row, tr_error *err) {
    static const char INSERT[] =
        "WITH r AS (INSERT INTO record (id, previous, hash, origin_store, origin_hash, made_at,"
        " kind, job, vehicle, technician, verdict, body, number, origin_number)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14) RETURNING number)"
        " INSERT INTO record_sheet (number, sheet)"
        " SELECT r.number, s FROM r, json_array_elements_text($15::json) s";
    char number[NUMBER_SIZE], origin_number[NUMBER_SIZE];
    const char *values[TR_N_ROW_COLUMNS + 3];
    for (int i = 0; i < TR_N_ROW_COLUMNS; i++) values[i] = row->text[i];
    values[TR_N_ROW_COLUMNS] = print_number(row->number, number);
    values[TR_N_ROW_COLUMNS + 1] = print_number(row->origin_number, origin_number);
    values[TR_N_ROW_COLUMNS + 2] = row->text[TR_ROW_SHEETS];
    PGresult *result = query(d, INSERT, TR_N_ROW_COLUMNS + 3, values, err);
    PQclear(result);
    return result != NULL;
}

/* A transaction, and the newest record as it is once the lock is held. */
static bool begin_append(database *d, int64_t *number, char hash[TR_HASH_SIZE], tr_error *err) {
    PGresult *result = check(d, PQexec(d->connection, "BEGIN; " LOCK "; " NEWEST), err);
    if (result) take_newest(result, number, hash);
    PQclear(result);
    return result != NULL;
}

/* The answer to COMMIT did not come: whether it was carried out can be asked once there is a
   connection again, and the transaction, which holds the lock, is over. */
static void reconnect(database *d) {
    static const struct timespec WAIT = {.tv_nsec = 500000000};
    for (int k = 0; k < 6; k++) {
        PQreset(d->connection);
        if (!is_lost(d) && begin_session(d, NULL) && execute(d, "BEGIN; " LOCK "; COMMIT", NULL)) {
            return;
        }
        (void)nanosleep(&WAIT, NULL);
    }
}

static tr_append_outcome append(void *db, tr_row *row, tr_error *err) {
    database *d = db;
    int64_t number = 0;
    char hash[TR_HASH_SIZE];
    d->sqlstate[0] = 0;
    bool ok = begin_append(d, &number, hash, err) && tr_row_follow(row, number, hash, err) &&
              insert(d, row, err);
    bool is_refused = !ok && is_state(d, "23"); /* a constraint: kept by another meanwhile */
    bool was_complete = ok;
    ok = end(d, ok, err);
    if (ok) return TR_KEPT;
    if (was_complete && is_lost(d)) {
        reconnect(d);
        return TR_UNSURE;
    }
    return is_refused ? TR_UNSURE : TR_NOT_KEPT;
}

/* ---- Files ---- */

/* A size as it is sent in binary: eight bytes, the highest first. */
static uint64_t size_at(const PGresult *result, int row, int column) {
    const unsigned char *bytes = (const unsigned char *)PQgetvalue(result, row, column);
    uint64_t size = 0;
    for (int i = 0; i < PQgetlength(result, row, column); i++) size = size << 8 | bytes[i];
    return size;
}

static bool files(void *db, const char *hashes, bool with_data, tr_file_visitor *see, void *user,
                  tr_error *err) {
    static const char WITH_DATA[] = "SELECT sha256, size, data FROM file"
                                    " WHERE sha256 IN (SELECT json_array_elements_text($1::json))";
    static const char WITHOUT[] = "SELECT sha256, size, NULL::bytea FROM file"
                                  " WHERE sha256 IN (SELECT json_array_elements_text($1::json))";
    database *d = db;
    PGresult *result = check(d,
                             PQexecParams(d->connection, with_data ? WITH_DATA : WITHOUT, 1, NULL,
                                          &hashes, NULL, NULL, 1 /* binary */),
                             err);
    bool goes_on = result != NULL;
    for (int i = 0; goes_on && i < PQntuples(result); i++) {
        const char *data = PQgetisnull(result, i, 2) ? NULL : PQgetvalue(result, i, 2);
        goes_on = see(PQgetvalue(result, i, 0), size_at(result, i, 1), data,
                      (size_t)PQgetlength(result, i, 2), user);
    }
    PQclear(result);
    return result != NULL;
}

static bool file_put(void *db, const char *sha256, const void *data, size_t size, bool *is_new,
                     tr_error *err) {
    database *d = db;
    char number[NUMBER_SIZE];
    const char *values[] = {sha256, print_number((int64_t)size, number), data};
    const int lengths[] = {0, 0, (int)size};
    const int formats[] = {0, 0, 1};
    static const Oid BYTEA = 17; /* of every PostgreSQL (pg_type.dat) */
    const Oid types[] = {0, 0, BYTEA};
    PGresult *result = check(d,
                             PQexecParams(d->connection,
                                          "INSERT INTO file (sha256, size, data) VALUES ($1, $2, "
                                          "$3) ON CONFLICT (sha256) DO NOTHING",
                                          3, types, values, lengths, formats, 0),
                             err);
    *is_new = result && strcmp(PQcmdTuples(result), "1") == 0;
    PQclear(result);
    return result != NULL;
}

static bool file_any(void *db, bool *any, tr_error *err) {
    return ask_bool(db, "SELECT EXISTS (SELECT 1 FROM file)", any, err);
}

TR_MODULE_EXPORT const tr_backend *tr_postgres_module_backend(void);
const tr_backend *tr_postgres_module_backend(void) {
    static const tr_backend BACKEND = {
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
        .is_damaged = is_damaged,
    };
    return &BACKEND;
}
