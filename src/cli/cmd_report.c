/* trammel report: a result on one or two pages. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/json.h"
#include "base/language.h"
#include "cli/job_run.h"
#include "cli/keep.h"
#include "cli/lens_moment.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "image/photo_file.h"
#include "lens/profile.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "present/words.h"
#include "records/load.h"
#include "report/report.h"
#include "shop/shop.h"

/* Of a result: hundreds of photos with all marks that are drawn. */
#define MAX_RESULT_BYTES ((size_t)64 << 20)

/* ---- What was asked ---- */

typedef struct {
    const char *of, *out, *before, *store;
    bool has_unit, has_paper; /* these were asked for; else the shop says: */
    tr_length_unit unit;
    tr_report_paper paper;
    long n_threads;
    bool is_html, is_help;
} request;

/* *index: of the one of two words that it is; 0 where it is not given. */
static bool choose(const char *option, const char *value, const char *first, const char *second,
                   int *index, tr_error *err) {
    *index = value && strcmp(value, second) == 0;
    return !value || *index || strcmp(value, first) == 0 ||
           tr_fail(err, TR_BAD_INPUT, "'%s %.40s' is neither %s nor %s", option, value, first,
                   second);
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *units = NULL;
    const char *paper = NULL;
    const char *threads = NULL;
    const tr_option options[] = {{"--out", &r->out, NULL},     {"--before", &r->before, NULL},
                                 {"--store", &r->store, NULL}, {"--units", &units, NULL},
                                 {"--paper", &paper, NULL},    {"--threads", &threads, NULL}};
    int n, unit, size;
    if (!tr_options_parse(&tr_help_report, argc, argv, options, sizeof options / sizeof *options,
                          &n, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "name a record, a job file, or a result (.json)");
    if (n > 1) return tr_fail(err, TR_BAD_INPUT, "'%.200s' is one word too many", argv[2]);
    if (!r->out) return tr_fail(err, TR_BAD_INPUT, "'--out' is missing: the file to write");
    r->is_html = tr_options_ends_in(r->out, ".html");
    if (!r->is_html && !tr_options_ends_in(r->out, ".pdf")) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--out %.200s': the report is a PDF or HTML; give it a name that ends in "
                       ".pdf or .html",
                       r->out);
    }
    if (!choose("--units", units, "mm", "inch", &unit, err) ||
        !choose("--paper", paper, "A4", "Letter", &size, err)) {
        return false;
    }
    r->of = argv[1];
    r->has_unit = units;
    r->has_paper = paper;
    r->unit = unit ? TR_INCH : TR_MM;
    r->paper = size ? TR_PAPER_LETTER : TR_PAPER_A4;
    return tr_options_threads(threads, &r->n_threads, err);
}

/* ---- Where the result comes from ---- */

/* All zero is an empty one. */
typedef struct {
    tr_check_result result;
    bool is_read; /* there is a result, be it that nothing was measured */
    char *json;   /* its bytes; owned */
    size_t size;
    char program[128];
    const char *path; /* of the result's file, beside which photos may lie; NULL: none. Borrowed */
    tr_report_lens lenses[TR_MAX_LENSES];
    int n_lenses;
    tr_report_file *files; /* that the result rests on, photos apart; owned */
    int n_files;
    char (*sha256)[65]; /* of each file, unless it is a record's; owned */
    char shop[128];     /* its name when the record was made; "": the record does not tell */
    tr_report_record record;
    tr_store *store; /* of a record, with: */
    tr_record kept;
    json_t *details;
    tr_lens *profiles; /* owned */
    tr_job_run run;    /* of a job that was measured */
} source;

static void release(source *s) {
    tr_check_result_release(&s->result);
    tr_job_run_release(&s->run);
    tr_record_release(&s->kept);
    json_decref(s->details);
    if (s->store) tr_store_close(s->store);
    free(s->profiles);
    free(s->files);
    free(s->sha256);
    free(s->json);
}

static bool make_files(source *s, int n, tr_error *err) {
    s->files = calloc((size_t)n + 1, sizeof *s->files);
    return s->files || tr_fail_memory(err);
}

/* The same for files that are no record's. */
static bool make_named_files(source *s, int n, tr_error *err) {
    s->sha256 = calloc((size_t)n + 1, sizeof *s->sha256);
    return (s->sha256 || tr_fail_memory(err)) && make_files(s, n, err);
}

static void name_file(source *s, const char *what, const char *name, const void *data,
                      size_t size) {
    char *hash = s->sha256[s->n_files];
    tr_sha256_hex(data, size, hash);
    s->files[s->n_files++] = (tr_report_file){what, tr_path_name(name), hash};
}

static bool read_and_name_file(source *s, const char *what, const char *path, tr_error *err) {
    enum { LIMIT = 4 << 20 };
    uint8_t *data;
    size_t size;
    if (!tr_file_read(path, LIMIT, &data, &size, err)) return false;
    name_file(s, what, path, data, size);
    free(data);
    return true;
}

/* The job, and what it names. */
static bool name_files_of_job(source *s, tr_error *err) {
    const tr_job *job = &s->run.job;
    bool ok = make_named_files(s, job->n_sheets + 2, err) &&
              read_and_name_file(s, "job", job->path, err) &&
              read_and_name_file(s, "layout", job->layout.path, err);
    for (int i = 0; i < job->n_sheets && ok; i++) {
        /* A tag that is stuck on, as the job describes it, has no file of its own. */
        if (strcmp(job->sheets[i].path, job->path) != 0)
            ok = read_and_name_file(s, "sheet", job->sheets[i].path, err);
    }
    return ok;
}

static void take_lenses(source *s) {
    for (int i = 0; i < s->run.job.n_lenses && !s->run.job.lenses[i].is_unknown; i++) {
        const tr_lens *lens = &s->run.job.lenses[i];
        s->lenses[s->n_lenses++] = (tr_report_lens){.name = lens->id,
                                                    .width_px = lens->width_px,
                                                    .height_px = lens->height_px,
                                                    .calibrated = lens->calibrated};
    }
}

/* As `check` measures it, with what the shop asks of lenses. What cannot be measured is a result,
   too. */
static bool measure(const request *r, source *s, tr_error *err) {
    static const tr_keep_options ASKED_ONLY = {.is_never = true};
    tr_keep keep;
    tr_keep_begin(&keep, &ASKED_ONLY, r->of);
    tr_job_run_read(&s->run, r->of, NULL, 0);
    if (s->run.has_job) tr_lens_moment_find(&keep, &s->run.job, &s->run.ages);
    tr_keep_end(&keep);
    if (!s->run.has_job) {
        *err = s->run.why;
        return false;
    }
    if (!name_files_of_job(s, err)) return false;
    tr_job_run_find_photos(&s->run, r->of);
    tr_job_run_measure(&s->run, r->n_threads);
    s->result = tr_check_take_result(&s->run.check);
    take_lenses(s);
    snprintf(s->program, sizeof s->program, "trammel " TRAMMEL_VERSION);
    s->is_read = true;
    return tr_output_make(tr_check_json(&s->result), &s->json, &s->size, err);
}

static void take_program(source *s, const json_t *json) {
    const json_t *program = json_object_get(json, "program");
    const char *name = json_string_value(json_object_get(program, "name"));
    const char *version = json_string_value(json_object_get(program, "version"));
    if (name && version) snprintf(s->program, sizeof s->program, "%s %s", name, version);
}

/* What `check --json` printed. */
static bool read_result(const char *path, source *s, tr_error *err) {
    tr_error why = {0};
    if (!tr_file_read(path, MAX_RESULT_BYTES, (uint8_t **)&s->json, &s->size, err)) return false;
    json_t *json = tr_json_read(s->json, s->size, &why);
    if (!json && why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    if (!json) {
        return tr_fail_at(err, TR_BAD_INPUT, path, why.line, NULL,
                          "is no JSON; give a file that `trammel check --json` printed");
    }
    s->is_read = tr_check_json_read(json, &s->result, &why);
    if (!s->is_read && why.code == TR_NO_MEMORY) {
        tr_fail_memory(err);
    } else if (!s->is_read) {
        tr_fail_at(err, TR_BAD_INPUT, path, 0, why.key, "%s", why.text);
    } else {
        take_program(s, json);
        s->path = path;
        s->is_read = make_named_files(s, 1, err);
        if (s->is_read) name_file(s, "result", path, s->json, s->size);
    }
    json_decref(json);
    return s->is_read;
}

/* Bytes of a record's file, in place of the disk's. */
static bool read_kept(void *context, const char *path, uint8_t **data, size_t *size,
                      tr_error *err) {
    const source *s = context;
    for (int i = 0; i < s->kept.n_files; i++) {
        const tr_record_file *file = &s->kept.files[i];
        if (strcmp(file->name, path) == 0)
            return tr_store_get(s->store, file->sha256, data, size, err);
    }
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "is not in the record");
}

/* When a lens was confirmed, as the check knew it; "" where it did not ask. */
static const char *confirmation(const source *s, const char *lens) {
    const json_t *moment = json_object_get(s->details, "moment");
    const char *at = json_string_value(json_object_get(json_object_get(moment, "confirmed"), lens));
    return at ? at : "";
}

static bool take_kept_lenses(source *s, tr_error *err) {
    const tr_file_overlay overlay = {.context = s, .read = read_kept};
    s->profiles = calloc(TR_MAX_LENSES, sizeof *s->profiles);
    if (!s->profiles) return tr_fail_memory(err);
    bool ok = true;
    tr_file_overlay_set(&overlay);
    for (int i = 0; i < s->kept.n_files && s->n_lenses < TR_MAX_LENSES && ok; i++) {
        tr_lens *lens = &s->profiles[s->n_lenses];
        if (strcmp(s->kept.files[i].role, "lens") != 0) continue;
        ok = tr_lens_profile_read(s->kept.files[i].name, lens, err);
        if (!ok) break;
        s->lenses[s->n_lenses++] = (tr_report_lens){.name = lens->id,
                                                    .width_px = lens->width_px,
                                                    .height_px = lens->height_px,
                                                    .calibrated = lens->calibrated,
                                                    .confirmed = confirmation(s, lens->id)};
    }
    tr_file_overlay_set(NULL);
    return ok;
}

/* As the shop was called then. */
static void take_shop(source *s) {
    const char *name = json_string_value(json_object_get(s->details, "shop"));
    if (name) snprintf(s->shop, sizeof s->shop, "%s", name);
}

/* All that the result rests on but the photos, which it lists itself. */
static bool take_kept_files(source *s, tr_error *err) {
    if (!make_files(s, s->kept.n_files, err)) return false;
    for (int i = 0; i < s->kept.n_files; i++) {
        const tr_record_file *file = &s->kept.files[i];
        if (strcmp(file->role, "photo") == 0 || tr_record_is_output(&s->kept, file)) continue;
        s->files[s->n_files++] = (tr_report_file){file->role, file->name, file->sha256};
    }
    return true;
}

/* All but the result of a record whose result was loaded. */
static bool take_record(source *s, tr_error *err) {
    s->json = tr_record_result_text(s->store, &s->kept, &s->size, err);
    json_t *json = s->json ? tr_json_read(s->json, s->size, err) : NULL;
    s->details = tr_json_read(s->kept.details, strlen(s->kept.details), err);
    if (!json || !s->details) {
        json_decref(json);
        return false;
    }
    take_program(s, json);
    json_decref(json);
    s->record = (tr_report_record){(long)s->kept.number, s->kept.id, s->kept.hash, s->kept.made_at};
    s->is_read = true;
    take_shop(s);
    return take_kept_files(s, err) && take_kept_lenses(s, err);
}

static bool open_store(const request *r, const tr_shop *shop, source *s, tr_error *err) {
    tr_store_place place = tr_shop_store(shop, r->store);
    place.read_only = true;
    if (!place.where) {
        return tr_fail(err, TR_BAD_INPUT,
                       "there is no store here: name one with --store, or work in a shop's folder "
                       "(trammel help shop)");
    }
    s->store = tr_store_open(&place, err);
    return s->store;
}

/* A record of the store, by number, id or hash. */
static bool read_record(const request *r, const tr_shop *shop, const char *which, source *s,
                        tr_error *err) {
    return open_store(r, shop, s, err) &&
           tr_record_load(s->store, which, &s->kept, &s->result, err) && take_record(s, err);
}

static bool is_job(const char *name) {
    return tr_options_ends_in(name, ".yaml") || tr_options_ends_in(name, ".yml");
}

static bool read_source(const request *r, const tr_shop *shop, source *s, tr_error *err) {
    if (tr_options_ends_in(r->of, ".json")) return read_result(r->of, s, err);
    if (is_job(r->of)) return measure(r, s, err);
    return read_record(r, shop, r->of, s, err);
}

/* The result to compare with: the one that was named, or the check of the same job that was kept
   before a record's. */
static bool read_before(const request *r, const tr_shop *shop, const source *s, source *before,
                        tr_error *err) {
    tr_record previous = {0};
    tr_error why = {0};
    if (r->before && tr_options_ends_in(r->before, ".json"))
        return read_result(r->before, before, err);
    if (r->before) return read_record(r, shop, r->before, before, err);
    if (!s->store) return true;
    bool ok = tr_record_before(s->store, &s->kept, &previous, err);
    if (ok && previous.number > 0) {
        ok = read_record(r, shop, previous.id, before, err);
        before->is_read = ok && tr_report_is_comparable(&before->result, &s->result, &why);
    }
    tr_record_release(&previous);
    return ok;
}

/* ---- Photos ---- */

/* A result names photos as they were seen from where it was made. */
static bool read_photo(const tr_photo_result *photo, tr_image *out, void *user, tr_error *err) {
    const source *s = user;
    tr_error why[3] = {0};
    if (s->store) return tr_record_photo(s->store, photo, out, err);
    if (tr_photo_file_read_again(photo->file, photo->sha256, out, &why[0])) return true;
    bool ok = false;
    if (s->path && why[0].code != TR_NO_MEMORY) {
        char *beside[2] = {tr_path_beside(s->path, photo->file),
                           tr_path_beside(s->path, tr_path_name(photo->file))};
        for (int i = 0; i < 2 && !ok && beside[i]; i++)
            ok = tr_photo_file_read_again(beside[i], photo->sha256, out, &why[1 + i]);
        free(beside[0]);
        free(beside[1]);
    }
    if (!ok && err) *err = why[0];
    return ok;
}

/* ---- The report ---- */

static bool is_an_input(const request *r, const source *s) {
    bool is = tr_file_is_same(r->out, r->of) || (r->before && tr_file_is_same(r->out, r->before));
    for (int i = 0; i < s->result.n_photos; i++)
        is = is || tr_file_is_same(r->out, s->result.photos[i].file);
    return is;
}

static bool write_report(const request *r, const source *s, const source *before,
                         const tr_shop *shop, tr_error *err) {
    bool is_inch = r->has_unit ? r->unit == TR_INCH : shop->units == TR_SHOWN_IN_INCHES;
    bool is_letter =
        r->has_paper ? r->paper == TR_PAPER_LETTER : strcmp(shop->paper, "Letter") == 0;
    const tr_report report = {.result = &s->result,
                              .json = s->json,
                              .json_size = s->size,
                              .before = before ? &before->result : NULL,
                              .record = s->record,
                              .record_before = before ? before->record : (tr_report_record){0},
                              .program = s->program,
                              .shop = *s->shop ? s->shop : shop->name,
                              .language = tr_language(),
                              .technician = s->kept.technician,
                              .unit = is_inch ? TR_INCH : TR_MM,
                              .paper = is_letter ? TR_PAPER_LETTER : TR_PAPER_A4,
                              .lenses = s->lenses,
                              .n_lenses = s->n_lenses,
                              .files = s->files,
                              .n_files = s->n_files,
                              .read_photo = read_photo,
                              .user = (void *)s};
    uint8_t *data;
    size_t size;
    if (before && !tr_report_is_comparable(&before->result, &s->result, err)) return false;
    bool ok = (r->is_html ? tr_report_html : tr_report_pdf)(&report, &data, &size, err) &&
              tr_file_write(r->out, data, size, err);
    free(data);
    return ok;
}

/* A report of a job is of what was measured just now, not of a record that there may be. */
static void tell_written(const request *r, const source *s) {
    bool is_measured = s->result.why.code == TR_OK;
    fputs(TR_("Written: "), stdout);
    tr_options_print_word(r->out);
    printf(" (%s)\n", is_measured ? tr_verdict_word(s->result.verdict) : TR_("no measurement"));
    if (!s->store && is_job(r->of))
        puts(TR_("It is of a measurement made now; `trammel records` lists those that are kept."));
}

static int run_request(const request *r) {
    source s = {0};
    source before = {0};
    tr_error err = {0};
    int status = TR_EXIT_NO_MEASURE;
    tr_shop shop = {0};
    bool ok = tr_shop_of_file(r->of, &shop, &err) && read_source(r, &shop, &s, &err) &&
              read_before(r, &shop, &s, &before, &err);
    if (ok && is_an_input(r, &s)) {
        (void)tr_fail(&err, TR_BAD_INPUT, "the report would replace one of the input files");
        status = tr_options_refuse(&tr_help_report, &err);
    } else if (ok && write_report(r, &s, before.is_read ? &before : NULL, &shop, &err)) {
        status = tr_exit_status_of(&s.result);
        tell_written(r, &s);
        if (s.result.why.code != TR_OK) tr_options_print_error("report", &s.result.why);
    } else {
        tr_options_print_error("report", &err);
    }
    release(&before);
    release(&s);
    tr_shop_release(&shop);
    return status;
}

/* A job of the shop may be named without its folder. */
static int find_and_run(request *r) {
    tr_error err = {0};
    if (tr_options_ends_in(r->of, ".json")) return run_request(r);
    tr_shop shop = {0};
    bool has_shop = tr_shop_find("", &shop, &err);
    char *job = has_shop ? tr_shop_path(&shop, TR_SHOP_JOBS, r->of, &err) : NULL;
    tr_shop_release(&shop);
    if (!job) {
        tr_options_print_error("report", &err);
        return TR_EXIT_NO_MEASURE;
    }
    if (is_job(r->of) || (is_job(job) && tr_file_is_there(job))) r->of = job;
    int status = run_request(r);
    free(job);
    return status;
}

int tr_cmd_report(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_report, &err);
    if (r.is_help) return tr_options_help(&tr_help_report);
    return find_and_run(&r);
}
