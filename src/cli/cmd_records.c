/* trammel records: what was kept, listed, shown, handed on, verified and measured again. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/language.h"
#include "base/number.h"
#include "base/wrap.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "present/check_json_read.h"
#include "present/check_text.h"
#include "base/json.h"
#include "records/export.h"
#include "records/load.h"
#include "records/remeasure.h"
#include "records/record_text.h"
#include "records/unpack.h"
#include "shop/shop.h"
#include "store/record.h"

enum { USUAL_LIMIT = 20, MAX_LIMIT = 1000000000 };

/* ---- What was asked ---- */

typedef struct request request;
typedef int run_action(const request *r, tr_store *store);

/* A word behind `records`. */
typedef struct {
    const char *name;
    int n_operands;
    const char *operand; /* what is missing where there is none */
    const char *options; /* those that it takes, a blank between */
    run_action *run;
} action;

struct request {
    const action *action;
    const char *operand; /* NULL: none */
    const char *store, *limit, *jsonl, *csv, *hash, *out, *files;
    tr_record_filter filter;
    bool is_json, is_help;
};

static run_action list, show, export_records, verify, write_files, recheck, push;

#define FILTER "--kind --job --vehicle --sheet --technician --verdict --from --until --limit"
static const action ACTIONS[] = {
    {"list", 0, NULL, FILTER " --json", list},
    {"show", 1, "a record: its number, id or hash", "--json", show},
    {"export", 0, NULL, FILTER " --jsonl --csv", export_records},
    {"verify", 0, NULL, "--hash --json", verify},
    {"files", 1, "a record: its number, id or hash", "--out", write_files},
    {"recheck", 1, "a record: its number, id or hash", "--json", recheck},
    {"push", 1, "the store to hand on to", "", push},
};
enum { N_ACTIONS = sizeof ACTIONS / sizeof *ACTIONS };

static bool has_word(const char *list, const char *word) {
    size_t n = strlen(word);
    for (const char *at = strstr(list, word); at; at = strstr(at + 1, word)) {
        if ((at == list || at[-1] == ' ') && (at[n] == ' ' || at[n] == 0)) return true;
    }
    return false;
}

/* Options that were given, but are of another action. */
static bool check_options(const request *r, const tr_option *options, int n, tr_error *err) {
    for (int i = 0; i < n; i++) {
        bool is_given = options[i].value ? *options[i].value != NULL : *options[i].flag;
        if (!is_given || has_word(r->action->options, options[i].name) ||
            has_word("--store --files", options[i].name))
            continue;
        return tr_fail(err, TR_BAD_INPUT, "'%s' is no option of `records %s`", options[i].name,
                       r->action->name);
    }
    return true;
}

static bool find_action(request *r, int argc, char **argv, tr_error *err) {
    r->action = &ACTIONS[0];
    if (argc > 1) r->action = NULL;
    for (int i = 0; i < N_ACTIONS && argc > 1; i++) {
        if (strcmp(argv[1], ACTIONS[i].name) == 0) r->action = &ACTIONS[i];
    }
    if (!r->action) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'%.40s' is not list, show, export, verify, files, recheck or push",
                       argv[1]);
    }
    int n = argc > 2 ? argc - 2 : 0;
    r->operand = n > 0 ? argv[2] : NULL;
    if (n < r->action->n_operands)
        return tr_fail(err, TR_BAD_INPUT, "`records %s` needs %s", r->action->name,
                       r->action->operand);
    return n == r->action->n_operands || tr_fail(err, TR_BAD_INPUT, "`records %s` takes no '%.80s'",
                                                 r->action->name, argv[2 + r->action->n_operands]);
}

static bool is_pattern(const char *text, const char *pattern) {
    for (; *text && *pattern; text++, pattern++) {
        if (*pattern == '0' ? *text < '0' || *text > '9' : *text != *pattern) return false;
    }
    return *text == *pattern;
}

static bool check_time(const char *option, const char *text, tr_error *err) {
    char time[TR_TIME_SIZE];
    bool is_date = text && is_pattern(text, "0000-00-00");
    if (!text) return true;
    if (!is_date && !is_pattern(text, "0000-00-00T00:00:00Z")) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'%s %.40s' is no date as 2026-01-31, nor a time as 2026-01-31T09:30:00Z",
                       option, text);
    }
    snprintf(time, sizeof time, "%s%s", text, is_date ? "T00:00:00Z" : "");
    return tr_is_time(time) ||
           tr_fail(err, TR_BAD_INPUT,
                   "'%s %s' is no date of the calendar, or no time of a day; give one that there "
                   "is",
                   option, text);
}

/* A filter of a word that no record has finds nothing, which would look like an answer. */
static bool check_words(request *r, tr_error *err) {
    const char *verdict = r->filter.verdict;
    if (r->filter.kind && !tr_record_replayer(r->filter.kind)) {
        return tr_fail(err, TR_BAD_INPUT, "'--kind %.40s' is not check, survey, lens or lens-check",
                       r->filter.kind);
    }
    r->filter.verdict = verdict ? tr_record_verdict(verdict) : NULL;
    return !verdict || r->filter.verdict ||
           tr_fail(
               err, TR_BAD_INPUT,
               "'--verdict %.40s' is not pass, fail, inconclusive or 'no measurement', nor, of a "
               "lens, agrees, differs or 'not enough'",
               verdict);
}

static bool set_limit(request *r, tr_error *err) {
    long limit = r->action->run == list ? USUAL_LIMIT : 0;
    if (r->limit && (!tr_integer_parse(r->limit, &limit) || limit < 0 || limit > MAX_LIMIT)) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--limit %.40s' is no number of records; 0 is all of them", r->limit);
    }
    r->filter.limit = (int)limit;
    return true;
}

static bool check_needed(const request *r, tr_error *err) {
    if (r->action->run == export_records && !r->jsonl == !r->csv)
        return tr_fail(err, TR_BAD_INPUT, "say where to: --jsonl FILE or --csv FILE");
    if (r->action->run == write_files && !r->out)
        return tr_fail(err, TR_BAD_INPUT, "'--out' is missing: a folder to write to");
    return true;
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const tr_option options[] = {{"--store", &r->store, NULL},
                                 {"--kind", &r->filter.kind, NULL},
                                 {"--job", &r->filter.job, NULL},
                                 {"--vehicle", &r->filter.vehicle, NULL},
                                 {"--sheet", &r->filter.sheet, NULL},
                                 {"--technician", &r->filter.technician, NULL},
                                 {"--verdict", &r->filter.verdict, NULL},
                                 {"--from", &r->filter.from, NULL},
                                 {"--until", &r->filter.until, NULL},
                                 {"--limit", &r->limit, NULL},
                                 {"--jsonl", &r->jsonl, NULL},
                                 {"--csv", &r->csv, NULL},
                                 {"--hash", &r->hash, NULL},
                                 {"--out", &r->out, NULL},
                                 {"--files", &r->files, NULL},
                                 {"--json", NULL, &r->is_json}};
    const int n_options = sizeof options / sizeof *options;
    int n;
    if (!tr_options_parse(&tr_help_records, argc, argv, options, n_options, &n, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    return find_action(r, n + 1, argv, err) && check_options(r, options, n_options, err) &&
           check_time("--from", r->filter.from, err) &&
           check_time("--until", r->filter.until, err) && check_words(r, err) &&
           set_limit(r, err) && check_needed(r, err);
}

static int fail_with(const tr_error *err) {
    tr_options_print_error("records", err);
    return TR_EXIT_NO_MEASURE;
}

static int end(int status) {
    tr_error err = {0};
    return tr_output_end(&err) ? status : fail_with(&err);
}

/* ---- list ---- */

typedef struct {
    tr_record_row *rows;
    json_t *json; /* a list; NULL: rows are wanted */
    int n, capacity;
    bool has_failed;
} listing;

static bool add_row(const tr_record *record, void *user) {
    listing *l = user;
    if (l->json) {
        l->has_failed = !tr_json_push(l->json, tr_record_json(record));
        return !l->has_failed;
    }
    if (l->n == l->capacity) {
        int capacity = 2 * l->capacity + 64;
        tr_record_row *grown = realloc(l->rows, (size_t)capacity * sizeof *grown);
        l->has_failed = !grown;
        if (!grown) return false;
        l->rows = grown;
        l->capacity = capacity;
    }
    tr_record_row_of(record, &l->rows[l->n++]);
    return true;
}

static void tell_rest(const request *r, const listing *l) {
    if (l->n == 0) {
        puts(TR_("No record."));
        return;
    }
    tr_record_rows_text(l->rows, l->n, stdout);
    if (r->filter.limit > 0 && l->n == r->filter.limit) {
        printf(TR_("The newest %d; `--limit 0` lists all."), l->n);
        putchar('\n');
    }
}

static int list(const request *r, tr_store *store) {
    tr_error err = {0};
    listing l = {.json = r->is_json ? json_array() : NULL};
    bool ok = (!r->is_json || l.json || tr_fail_memory(&err)) &&
              tr_store_find(store, &r->filter, add_row, &l, &err);
    if (l.has_failed) ok = tr_fail_memory(&err);
    if (ok && l.json) {
        json_t *json = json_object();
        bool is_whole = tr_json_put(json, "records", json_incref(l.json));
        ok = tr_output_json(is_whole ? json_incref(json) : NULL, &err);
        json_decref(json);
    } else if (ok) {
        tell_rest(r, &l);
    }
    json_decref(l.json);
    free(l.rows);
    return ok ? end(TR_EXIT_PASS) : fail_with(&err);
}

/* ---- show ---- */

static bool show_result(tr_store *store, const tr_record *record, tr_error *err) {
    tr_check_result result = {0};
    if (strcmp(record->kind, "check") != 0) {
        putchar('\n');
        printf(TR_("The result: `trammel records show %lld --json`."), (long long)record->number);
        putchar('\n');
        return true;
    }
    json_t *json = tr_record_result(store, record, err);
    bool ok = json && tr_check_json_read(json, &result, err);
    if (ok) {
        putchar('\n');
        tr_check_text(&result, false, stdout);
    }
    tr_check_result_release(&result);
    json_decref(json);
    return ok;
}

static int show(const request *r, tr_store *store) {
    tr_error err = {0};
    tr_record record = {0};
    bool ok = tr_store_read(store, r->operand, &record, &err);
    if (ok && r->is_json) {
        ok = tr_export_jsonl(store, &record, stdout, &err);
    } else if (ok) {
        tr_record_text(&record, stdout);
        ok = show_result(store, &record, &err);
    }
    tr_record_release(&record);
    return ok ? end(TR_EXIT_PASS) : fail_with(&err);
}

/* ---- export ---- */

typedef struct {
    tr_store *store;
    FILE *out;
    bool is_csv;
    int64_t n;
    tr_error err;
} exporting;

static bool export_one(const tr_record *record, void *user) {
    exporting *e = user;
    bool ok = e->is_csv ? tr_export_csv(e->store, record, e->out, &e->err)
                        : tr_export_jsonl(e->store, record, e->out, &e->err);
    e->n += ok;
    return ok && !ferror(e->out);
}

/* What went wrong first is told. */
static bool export_all(const request *r, exporting *e, tr_error *err) {
    if (e->is_csv) tr_export_csv_head(e->out);
    bool ok = tr_store_find(e->store, &r->filter, export_one, e, err);
    if (e->err.code == TR_OK) return ok;
    *err = e->err;
    return false;
}

/* An export must not take the place of a store, this one or another. */
static bool is_store(const char *path) {
    static const char BEGINNING[] = "SQLite format 3";
    char text[sizeof BEGINNING] = "";
    FILE *file = fopen(path, "rb");
    bool is = file && fread(text, 1, sizeof text, file) == sizeof text &&
              memcmp(text, BEGINNING, sizeof text) == 0;
    if (file) fclose(file);
    return is;
}

static int export_records(const request *r, tr_store *store) {
    tr_error err = {0};
    tr_file_stream stream;
    const char *path = r->csv ? r->csv : r->jsonl;
    if (is_store(path)) {
        tr_fail_at(&err, TR_BAD_INPUT, path, 0, NULL,
                   "is a store of records, which an export would replace; name another file");
        return fail_with(&err);
    }
    exporting e = {.store = store, .out = stdout, .is_csv = r->csv};
    if (strcmp(path, "-") == 0)
        return export_all(r, &e, &err) ? end(TR_EXIT_PASS) : fail_with(&err);
    if (!tr_file_begin(path, &stream, &err)) return fail_with(&err);
    e.out = stream.to;
    bool ok = export_all(r, &e, &err);
    ok = tr_file_end(&stream, ok, &err) && ok;
    if (!ok) return fail_with(&err);
    printf(TR_("Records written: %lld."), (long long)e.n);
    putchar('\n');
    return end(TR_EXIT_PASS);
}

/* ---- verify ---- */

static json_t *finding_json(const tr_store_finding *f) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "sound", json_boolean(f->is_sound)) &&
        tr_json_put(json, "records", json_integer((json_int_t)f->n_records)) &&
        tr_json_put(json, "newest", json_integer((json_int_t)f->newest)) &&
        tr_json_put(json, "hash", f->newest > 0 ? tr_json_text(f->hash) : json_null()) &&
        tr_json_put(json, "broken_at",
                    f->number > 0 ? json_integer((json_int_t)f->number) : json_null()) &&
        tr_json_put(json, "what", *f->what ? tr_json_text(f->what) : json_null())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static void tell_finding(const tr_store_finding *f) {
    if (!f->is_sound) {
        char line[sizeof f->what + 64];
        if (f->number > 0)
            snprintf(line, sizeof line, TR_("Broken at record %lld: %s"), (long long)f->number,
                     tr_translated(f->what));
        else
            snprintf(line, sizeof line, TR_("Broken: %s"), tr_translated(f->what));
        tr_text_wrap(stdout, 0, 0, line);
        printf(TR_("Records before that, which are sound: %lld."), (long long)f->n_records);
        putchar('\n');
        return;
    }
    printf(TR_("Sound: every record, every file, and the chain. Records: %lld."),
           (long long)f->n_records);
    putchar('\n');
    if (f->newest == 0) return;
    printf(TR_("The newest is record %lld, with the hash"), (long long)f->newest);
    printf("\n  %s\n", f->hash);
    tr_text_wrap(stdout, 0, 0,
                 TR_("Note it outside the store: with `--hash` it shows later whether records "
                     "were cut off the end."));
}

static int verify(const request *r, tr_store *store) {
    tr_error err = {0};
    tr_store_finding f;
    if (!tr_store_verify(store, r->hash, &f, &err)) return fail_with(&err);
    if (!r->is_json) {
        tell_finding(&f);
    } else if (!tr_output_json(finding_json(&f), &err)) {
        return fail_with(&err);
    }
    return end(f.is_sound ? TR_EXIT_PASS : TR_EXIT_FAIL);
}

/* ---- files ---- */

static int write_files(const request *r, tr_store *store) {
    tr_error err = {0};
    tr_record record = {0};
    char begin[TR_UNPACK_SIZE];
    int n = 0;
    bool ok = tr_store_read(store, r->operand, &record, &err) &&
              tr_record_unpack(store, &record, r->out, begin, &n, &err);
    tr_record_release(&record);
    if (!ok) return fail_with(&err);
    printf(TR_("Files written: %d."), n);
    putchar('\n');
    if (*begin) {
        fputs(TR_("The command stood in the folder"), stdout);
        putchar(' ');
        tr_options_print_word(begin);
        putchar('\n');
    }
    return end(TR_EXIT_PASS);
}

/* ---- recheck ---- */

static json_t *pair_json(const tr_value_pair *pair) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "value", tr_json_text(pair->name)) &&
        tr_json_put(json, "then", pair->has[0] ? tr_json_number(pair->value[0]) : json_null()) &&
        tr_json_put(json, "now", pair->has[1] ? tr_json_number(pair->value[1]) : json_null()) &&
        tr_json_put(json, "u95", tr_json_number(pair->u95)) &&
        tr_json_put(json, "share", tr_json_number(tr_pair_share(pair)))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *pairs_json(const tr_comparison *c) {
    json_t *list = json_array();
    bool ok = list;
    for (int i = 0; i < c->n && ok; i++) ok = tr_json_push(list, pair_json(&c->items[i]));
    if (ok) return list;
    json_decref(list);
    return NULL;
}

static json_t *then_now_json(const char *then, const char *now) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "then", *then ? tr_json_text(then) : json_null()) &&
        tr_json_put(json, "now", *now ? tr_json_text(now) : json_null()))
        return json;
    json_decref(json);
    return NULL;
}

static json_t *recheck_json(const tr_record *record, const tr_remeasurement *again, bool agrees) {
    const tr_comparison *c = &again->comparison;
    json_t *json = json_object();
    if (json && tr_json_put(json, "record", json_integer((json_int_t)record->number)) &&
        tr_json_put(json, "same_bytes", json_boolean(again->is_same)) &&
        tr_json_put(json, "agrees", json_boolean(agrees)) &&
        tr_json_put(json, "program", then_now_json(record->program, TRAMMEL_VERSION)) &&
        tr_json_put(json, "verdict", then_now_json(c->verdict[0], c->verdict[1])) &&
        tr_json_put(json, "compared", json_integer(c->n_all)) &&
        tr_json_put(json, "differences", pairs_json(c))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static int recheck(const request *r, tr_store *store) {
    tr_error err = {0};
    tr_record record = {0};
    tr_remeasurement again = {0};
    bool ok = tr_store_read(store, r->operand, &record, &err) &&
              tr_record_remeasure(store, &record, &again, &err);
    bool agrees =
        again.is_same || (!again.is_same_program && tr_comparison_agrees(&again.comparison));
    if (ok && r->is_json)
        ok = tr_output_json(recheck_json(&record, &again, agrees), &err);
    else if (ok)
        tr_remeasurement_text(&record, &again, stdout);
    tr_remeasurement_release(&again);
    tr_record_release(&record);
    if (!ok) return fail_with(&err);
    return end(agrees ? TR_EXIT_PASS : TR_EXIT_FAIL);
}

/* ---- push ---- */

static int push(const request *r, tr_store *store) {
    tr_error err = {0};
    int64_t n = 0;
    const tr_store_place place = {
        .where = r->operand, .make = true, .in_folder = r->files, .folder = r->files};
    tr_store *to = tr_store_open(&place, &err);
    if (!to) return fail_with(&err);
    bool ok = tr_store_push(store, to, &n, &err);
    printf(TR_("Records handed on: %lld."), (long long)n);
    putchar('\n');
    tr_store_close(to);
    return ok ? end(TR_EXIT_PASS) : fail_with(&err);
}

/* ---- the command ---- */

static int run_request(const request *r) {
    tr_error err = {0};
    tr_shop shop = {0};
    if (!r->store && !tr_shop_find("", &shop, &err)) return fail_with(&err);
    tr_store_place place = tr_shop_store(&shop, r->store);
    place.read_only = true;
    if (r->files && r->action->run != push) place.folder = r->files;
    tr_store *store = NULL;
    if (!place.where) {
        tr_fail(&err, TR_BAD_INPUT,
                "there is no store here: name one with --store, or work in a shop's folder "
                "(trammel help shop)");
    } else {
        store = tr_store_open(&place, &err);
    }
    int status = store ? r->action->run(r, store) : fail_with(&err);
    if (store) tr_store_close(store);
    tr_shop_release(&shop);
    return status;
}

int tr_cmd_records(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_records, &err);
    if (r.is_help) return tr_options_help(&tr_help_records);
    return run_request(&r);
}
