/* trammel report: a result on one or two pages. */
#include "cli/commands.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "check/check.h"
#include "cli/options.h"
#include "help/pages.h"
#include "image/photo_file.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "present/json.h"
#include "present/words.h"
#include "report/report.h"
#include "shop/shop.h"

/* Of a result: hundreds of photos with all marks that are drawn. */
#define MAX_RESULT_BYTES ((size_t)64 << 20)

/* ---- What was asked ---- */

typedef struct {
    const char *of, *out, *before;
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
    const tr_option options[] = {{"--out", &r->out, NULL},
                                 {"--before", &r->before, NULL},
                                 {"--units", &units, NULL},
                                 {"--paper", &paper, NULL},
                                 {"--threads", &threads, NULL}};
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
    tr_report_file file; /* that the result came from, with: */
    char sha256[65];
    tr_report_record record;
    tr_job job;    /* of a job that was measured, with: */
    char **photos; /* those of the shop, where it lists none */
    int n_photos;
} source;

static void release(source *s) {
    tr_check_result_release(&s->result);
    tr_job_release(&s->job);
    tr_shop_photos_release(s->photos, s->n_photos);
    free(s->json);
}

static void name_file(source *s, const char *what, const char *name, const void *data,
                      size_t size) {
    tr_sha256_hex(data, size, s->sha256);
    s->file = (tr_report_file){what, tr_path_name(name), s->sha256};
}

/* The JSON that `check --json` prints. */
static bool print_json(source *s, tr_error *err) {
    json_t *json = tr_check_json(&s->result);
    FILE *out = open_memstream(&s->json, &s->size);
    bool ok = json && out && tr_json_print(json, out);
    if (out && fclose(out) != 0) ok = false;
    json_decref(json);
    return ok || tr_fail_memory(err);
}

static void take_lenses(source *s) {
    for (int i = 0; i < s->job.n_lenses && !s->job.lenses[i].is_unknown; i++) {
        const tr_lens *lens = &s->job.lenses[i];
        s->lenses[s->n_lenses++] = (tr_report_lens){.name = lens->id,
                                                    .width_px = lens->width_px,
                                                    .height_px = lens->height_px,
                                                    .calibrated = lens->calibrated};
    }
}

/* As `check` measures it. What cannot be measured is a result, too. */
static bool measure(const request *r, source *s, tr_error *err) {
    enum { JOB_LIMIT = 4 << 20 };
    tr_check check = {0};
    tr_error why = {0};
    tr_error unfinished = {0};
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    uint8_t *data;
    size_t size;
    if (!tr_job_read(r->of, &s->job, err) || !tr_file_read(r->of, JOB_LIMIT, &data, &size, err))
        return false;
    name_file(s, "job", r->of, data, size);
    free(data);
    bool is_listed = s->job.n_photos > 0;
    bool ok = (is_listed || tr_shop_photos_of(r->of, &s->photos, &s->n_photos, &why)) &&
              tr_check_photos(&s->job, is_listed ? s->job.photos : s->photos,
                              is_listed ? s->job.n_photos : s->n_photos, &workers, &check, &why) &&
              tr_check_evaluate(&s->job, &check, &why);
    if (!ok) tr_fail(&why, TR_NO_MEASURE, "the check could not be made");
    if (!tr_check_finish(&check, ok ? NULL : &why, &unfinished)) check.result.why = unfinished;
    tr_check_name_reason(&check.result);
    s->result = tr_check_take_result(&check);
    tr_check_release(&check);
    take_lenses(s);
    snprintf(s->program, sizeof s->program, "trammel " TRAMMEL_VERSION);
    s->is_read = true;
    return print_json(s, err);
}

static void take_program(source *s, const json_t *json) {
    const json_t *program = json_object_get(json, "program");
    const char *name = json_string_value(json_object_get(program, "name"));
    const char *version = json_string_value(json_object_get(program, "version"));
    if (name && version) snprintf(s->program, sizeof s->program, "%s %s", name, version);
}

/* What `check --json` printed. */
static bool read_result(const char *path, source *s, tr_error *err) {
    json_error_t where;
    tr_error why = {0};
    if (!tr_file_read(path, MAX_RESULT_BYTES, (uint8_t **)&s->json, &s->size, err)) return false;
    json_t *json = json_loadb(s->json, s->size, JSON_REJECT_DUPLICATES, &where);
    if (!json) {
        return tr_fail_at(err, TR_BAD_INPUT, path, where.line, NULL,
                          "is no JSON (%s); give a file that `trammel check --json` printed",
                          where.text);
    }
    s->is_read = tr_check_json_read(json, &s->result, &why);
    if (!s->is_read && why.code == TR_NO_MEMORY) {
        tr_fail_memory(err);
    } else if (!s->is_read) {
        tr_fail_at(err, TR_BAD_INPUT, path, 0, why.key, "%s", why.text);
    } else {
        take_program(s, json);
        s->path = path;
        name_file(s, "result", path, s->json, s->size);
    }
    json_decref(json);
    return s->is_read;
}

/* A record of the store, by number, id or hash. */
static bool read_record(const char *which, source *s, tr_error *err) {
    (void)s;
    return tr_fail(err, TR_BAD_INPUT,
                   "'%.200s' is no file, and there is no store here with a record of that name; "
                   "name a job (.yaml) or a result (.json)",
                   which);
}

static bool read_source(const request *r, source *s, tr_error *err) {
    if (tr_options_ends_in(r->of, ".json")) return read_result(r->of, s, err);
    if (tr_options_ends_in(r->of, ".yaml") || tr_options_ends_in(r->of, ".yml"))
        return measure(r, s, err);
    return read_record(r->of, s, err);
}

/* ---- Photos ---- */

/* A result names photos as they were seen from where it was made. */
static bool read_photo(const tr_photo_result *photo, tr_image *out, void *user, tr_error *err) {
    const source *s = user;
    tr_error why[3] = {0};
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
                              .shop = shop->name,
                              .unit = is_inch ? TR_INCH : TR_MM,
                              .paper = is_letter ? TR_PAPER_LETTER : TR_PAPER_A4,
                              .lenses = s->lenses,
                              .n_lenses = s->n_lenses,
                              .files = &s->file,
                              .n_files = s->file.what ? 1 : 0,
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

static int exit_status(const tr_check_result *result) {
    if (result->why.code != TR_OK) return TR_EXIT_NO_MEASURE;
    switch (result->verdict) {
    case TR_PASS: return TR_EXIT_PASS;
    case TR_FAIL: return TR_EXIT_FAIL;
    case TR_INCONCLUSIVE: break;
    }
    return TR_EXIT_INCONCLUSIVE;
}

static int run_request(const request *r) {
    source s = {0};
    source before = {0};
    tr_error err = {0};
    int status = TR_EXIT_NO_MEASURE;
    tr_shop shop = {0};
    bool ok = tr_shop_of_file(r->of, &shop, &err) &&
              (!r->before || read_result(r->before, &before, &err)) && read_source(r, &s, &err);
    if (ok && is_an_input(r, &s)) {
        (void)tr_fail(&err, TR_BAD_INPUT, "the report would replace one of the input files");
        status = tr_options_refuse(&tr_help_report, &err);
    } else if (ok && write_report(r, &s, r->before ? &before : NULL, &shop, &err)) {
        status = exit_status(&s.result);
        if (s.result.why.code != TR_OK) tr_options_print_error("report", &s.result.why);
    } else {
        tr_options_print_error("report", &err);
    }
    release(&before);
    release(&s);
    tr_shop_release(&shop);
    return status;
}

int tr_cmd_report(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_report, &err);
    if (r.is_help) return tr_options_help(&tr_help_report);
    return run_request(&r);
}
