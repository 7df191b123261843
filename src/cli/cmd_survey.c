/* trammel survey: from photos of a sheet to a file with the places that its marks really have. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/wrap.h"
#include "cli/keep.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "present/survey_json.h"
#include "present/survey_text.h"
#include "records/replay.h"
#include "survey/survey.h"
#include "shop/shop.h"

enum { MAX_ALIGN = 100 };

/* ---- what was asked ---- */

typedef struct {
    const char *survey, *out, *align;
    char **photos; /* words of argv */
    int n_photos;
    long n_threads; /* 0: one a processor */
    tr_keep_options keep;
    bool is_json, is_help;
} request;

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *threads = NULL;
    const tr_option options[] = {{"--out", &r->out, NULL},
                                 {"--align", &r->align, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--json", NULL, &r->is_json},
                                 TR_KEEP_OPTIONS(r->keep)};
    int n;
    if (!tr_options_parse(&tr_help_survey, argc, argv, options, sizeof options / sizeof *options,
                          &n, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "no survey file is named");
    if (!r->out || !*r->out) return tr_fail(err, TR_BAD_INPUT, "'--out' is missing");
    if (r->align && !*r->align) return tr_fail(err, TR_BAD_INPUT, "'--align' needs a value");
    r->survey = argv[1];
    r->photos = argv + 2;
    r->n_photos = n - 1;
    return tr_options_threads(threads, &r->n_threads, err);
}

/* ---- where the results go ---- */

static bool is_folder(const char *path) {
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

/* A file that is there already may only be an older survey's: so neither the nominal file nor any
   other input can be lost. */
static bool may_be_written(const char *path, tr_error *err) {
    tr_sheet old;
    struct stat about;
    if (stat(path, &about) != 0) return true;
    tr_error why = {0};
    bool is_surveyed = tr_sheet_read(path, &old, &why) && old.survey.n_rows > 0;
    tr_sheet_release(&old);
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    char name[200];
    tr_text_fit(path, sizeof name, name, sizeof name);
    return is_surveyed ||
           tr_fail(err, TR_BAD_INPUT,
                   "'%s' already exists and is not a surveyed sheet; give another name", name);
}

/* One path a sheet, owned by the caller with all in it. */
static bool choose_files(const request *r, const tr_survey_spec *spec, char **files,
                         tr_error *err) {
    bool has_folder = is_folder(r->out);
    if (spec->n_sheets > 1 && !has_folder) {
        char out[150];
        tr_text_fit(r->out, sizeof out, out, sizeof out);
        return tr_fail(
            err, TR_BAD_INPUT,
            "'--out %s': each of %d sheets gets a file of its own; give a folder that exists", out,
            spec->n_sheets);
    }
    for (int s = 0; s < spec->n_sheets; s++) {
        const char *name = tr_path_name(spec->sheets[s].path);
        size_t size = strlen(r->out) + strlen(name) + 2;
        files[s] = malloc(size);
        if (!files[s]) return tr_fail_memory(err);
        if (has_folder)
            snprintf(files[s], size, "%s/%s", r->out, name);
        else
            snprintf(files[s], size, "%s", r->out);
        if (!may_be_written(files[s], err)) return false;
        for (int k = 0; k < s; k++) {
            if (strcmp(files[k], files[s]) != 0) continue;
            char shown[100];
            tr_text_fit(name, sizeof shown, shown, sizeof shown);
            return tr_fail(err, TR_BAD_INPUT,
                           "two sheet files have the name %s; survey them one by one", shown);
        }
    }
    return true;
}

/* A sheet file before it is written. */
typedef struct {
    char *text; /* owned */
    size_t size;
} sheet_text;

/* All of them are made before the first is written: what can go wrong then is the disk. written: of
   each sheet its file, once it is written. */
static bool write_sheets(const tr_survey *v, char *const *files, char **written, tr_keep *keep,
                         tr_error *err) {
    int n = v->spec->n_sheets;
    bool ok = true;
    sheet_text *made = calloc((size_t)n + 1, sizeof *made);
    if (!made) return tr_fail_memory(err);
    for (int s = 0; s < n && ok; s++)
        ok = tr_sheet_print(&v->sheets[s].measured, &made[s].text, &made[s].size, err);
    for (int s = 0; s < n && ok; s++) {
        ok = tr_file_write(files[s], made[s].text, made[s].size, err);
        if (!ok) break;
        written[s] = files[s];
        tr_keep_add(keep, "surveyed-sheet", files[s], made[s].text, made[s].size);
    }
    for (int s = 0; s < n; s++) free(made[s].text);
    free(made);
    return ok;
}

/* ---- output ---- */

/* written: of each sheet its file, where it was written. */
static bool print_result(const request *r, const tr_survey *v, char *const *written,
                         const tr_error *why, tr_error *err) {
    bool has_failed = why->code != TR_OK;
    if (r->is_json) return tr_output_json(tr_survey_json(v, written, why), err);
    if (!has_failed) {
        tr_survey_text(v, written, stdout);
    } else if (v && v->set.photos) {
        tr_survey_text_failed(v, why, written, stdout);
    }
    return tr_output_end(err);
}

/* ---- measuring ---- */

static bool read_align(const request *r, const tr_survey_spec *spec, tr_mark_name *marks, int *n,
                       tr_error *err) {
    const char *at = r->align;
    *n = 0;
    while (at) {
        char name[160];
        size_t length = strcspn(at, ",");
        if (length >= sizeof name || *n == MAX_ALIGN) {
            return tr_fail(err, TR_BAD_INPUT, "'--align' names too many marks; give at most %d",
                           MAX_ALIGN);
        }
        memcpy(name, at, length);
        name[length] = 0;
        if (!tr_survey_find_mark(spec, name, &marks[(*n)++], err)) return false;
        at = at[length] ? at + length + 1 : NULL;
    }
    return true;
}

/* The survey itself, from a spec that was read. */
static bool measure(const request *r, const tr_survey_spec *spec, tr_survey *v, tr_error *err) {
    tr_mark_name marks[MAX_ALIGN];
    int n_align = 0;
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    char **photos = r->n_photos > 0 ? r->photos : spec->photos;
    int n_photos = r->n_photos > 0 ? r->n_photos : spec->n_photos;
    bool ok = read_align(r, spec, marks, &n_align, err) && tr_survey_init(spec, v, err) &&
              tr_survey_run(v, photos, n_photos, &workers, (tr_survey_align){marks, n_align}, err);
    return ok ||
           tr_fail(err, TR_NO_MEASURE, "the survey could not be made"); /* if there is no reason */
}

/* ---- kept as a record ---- */

/* Words with which it is measured again: what decides the result, and no more. */
static bool list_words(const request *r, const char ***words, int *n, tr_error *err) {
    enum { N_FIRST = 7 };
    *n = 0;
    *words = calloc((size_t)r->n_photos + N_FIRST, sizeof **words);
    if (!*words) return tr_fail_memory(err);
    (*words)[(*n)++] = "survey";
    (*words)[(*n)++] = "--out";
    (*words)[(*n)++] = r->out;
    if (r->align) {
        (*words)[(*n)++] = "--align";
        (*words)[(*n)++] = r->align;
    }
    (*words)[(*n)++] = "--";
    (*words)[(*n)++] = r->survey;
    for (int i = 0; i < r->n_photos; i++) (*words)[(*n)++] = r->photos[i];
    return true;
}

static bool keep_result(const request *r, const tr_survey_spec *spec, const tr_survey *v,
                        char *const *written, tr_keep *keep) {
    static const tr_error NO_ERROR = {0};
    int n = spec->n_sheets;
    const char **words = NULL;
    const char **sheets = calloc((size_t)n + 1, sizeof *sheets);
    int n_words = 0;
    for (int s = 0; s < n && sheets; s++) sheets[s] = spec->sheets[s].id;
    bool is_ready =
        (sheets || tr_fail_memory(&keep->why)) && list_words(r, &words, &n_words, &keep->why);
    const tr_measurement kept = {.kind = "survey",
                                 .job = spec->id,
                                 .vehicle = "",
                                 .technician = "",
                                 .verdict = "",
                                 .sheets = sheets,
                                 .n_sheets = is_ready ? n : 0,
                                 .words = words,
                                 .n_words = n_words};
    bool ok = tr_keep_result(keep, &kept, tr_survey_json(v, written, &NO_ERROR), r->is_json);
    free(sheets);
    free(words);
    return ok;
}

bool tr_replay_survey(const tr_replay *replay, char **json, size_t *size, tr_error *err) {
    request r = {0};
    tr_survey_spec spec = {0};
    tr_survey survey = {0};
    tr_error why = {0};
    if (!parse(replay->n_words, replay->words, &r, err)) return false;
    tr_file_overlay_set(replay->files);
    bool is_measured =
        tr_survey_spec_read(r.survey, &spec, &why) && measure(&r, &spec, &survey, &why);
    bool has_files = is_measured && replay->n_outputs == spec.n_sheets;
    bool ok = tr_output_make(
        tr_survey_json(survey.spec ? &survey : NULL, has_files ? replay->outputs : NULL, &why),
        json, size, err);
    tr_file_overlay_set(NULL);
    tr_survey_release(&survey);
    tr_survey_spec_release(&spec);
    return ok;
}

/* ---- the command ---- */

static void free_files(char **files, int n) {
    for (int i = 0; files && i < n; i++) free(files[i]);
    free(files);
}

/* What becomes of one request. */
typedef struct {
    tr_survey_spec spec;
    tr_survey survey;
    tr_keep keep;
    char **files, **written; /* of each sheet; written: those of them that were */
    tr_error why;            /* there is no survey */
    tr_error usage;          /* it was asked for wrongly */
} progress;

/* Which file each sheet gets; what lies there so far is no part of the survey. */
static bool choose(const request *r, progress *p) {
    p->files = calloc((size_t)p->spec.n_sheets + 1, sizeof *p->files);
    p->written = calloc((size_t)p->spec.n_sheets + 1, sizeof *p->written);
    if (!p->files || !p->written) return tr_fail_memory(&p->why);
    tr_keep_pause(&p->keep);
    bool ok = choose_files(r, &p->spec, p->files, &p->usage);
    tr_keep_resume(&p->keep);
    if (p->usage.code != TR_NO_MEMORY) return ok;
    p->why = p->usage;
    p->usage = (tr_error){0};
    return false;
}

static int show(const request *r, progress *p) {
    int status = TR_EXIT_PASS;
    tr_error unwritten = {0};
    if (p->why.code != TR_OK) {
        tr_options_print_error("survey", &p->why);
        status = TR_EXIT_NO_MEASURE;
    }
    const tr_survey *survey = p->survey.spec ? &p->survey : NULL;
    if (!print_result(r, survey, p->written, &p->why, &unwritten)) {
        tr_options_print_error("survey", &unwritten);
        status = TR_EXIT_NO_MEASURE;
    }
    if (p->keep.is_wanted && p->why.code == TR_OK &&
        !keep_result(r, &p->spec, &p->survey, p->written, &p->keep))
        status = TR_EXIT_NO_MEASURE;
    return status;
}

static int run_request(const request *r) {
    progress p = {0};
    tr_keep_begin(&p.keep, &r->keep, r->survey);
    bool ok = tr_survey_spec_read(r->survey, &p.spec, &p.why) && choose(r, &p) &&
              measure(r, &p.spec, &p.survey, &p.why) &&
              write_sheets(&p.survey, p.files, p.written, &p.keep, &p.why);
    bool is_usage = !ok && p.usage.code != TR_OK;
    int status = is_usage ? tr_options_refuse(&tr_help_survey, &p.usage) : show(r, &p);
    tr_keep_end(&p.keep);
    free_files(p.files, p.spec.n_sheets);
    free(p.written);
    tr_survey_release(&p.survey);
    tr_survey_spec_release(&p.spec);
    return status;
}

int tr_cmd_survey(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_survey, &err);
    if (r.is_help) return tr_options_help(&tr_help_survey);
    return run_request(&r);
}
