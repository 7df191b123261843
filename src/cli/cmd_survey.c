/* trammel survey: from photos of a sheet to a file with the places that its marks really have. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/wrap.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "present/survey_json.h"
#include "present/survey_text.h"
#include "survey/survey.h"

enum { MAX_ALIGN = 100 };

/* ---- what was asked ---- */

typedef struct {
    const char *survey, *out, *align;
    char **photos; /* words of argv */
    int n_photos;
    long n_threads; /* 0: one a processor */
    bool is_json, is_help;
} request;

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *threads = NULL;
    const tr_option options[] = {{"--out", &r->out, NULL},
                                 {"--align", &r->align, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--json", NULL, &r->is_json}};
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
static bool write_sheets(const tr_survey *v, char *const *files, char **written, tr_error *err) {
    int n = v->spec->n_sheets;
    bool ok = true;
    sheet_text *made = calloc((size_t)n + 1, sizeof *made);
    if (!made) return tr_fail_memory(err);
    for (int s = 0; s < n && ok; s++)
        ok = tr_sheet_print(&v->sheets[s].measured, &made[s].text, &made[s].size, err);
    for (int s = 0; s < n && ok; s++) {
        ok = tr_file_write(files[s], made[s].text, made[s].size, err);
        if (ok) written[s] = files[s];
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

/* ---- the command ---- */

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

static void free_files(char **files, int n) {
    for (int i = 0; files && i < n; i++) free(files[i]);
    free(files);
}

/* The survey itself, from a spec that was read, and its files. */
static bool make(const request *r, const tr_survey_spec *spec, char *const *files, char **written,
                 tr_survey *v, tr_error *err) {
    tr_mark_name marks[MAX_ALIGN];
    int n_align = 0;
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    char **photos = r->n_photos > 0 ? r->photos : spec->photos;
    int n_photos = r->n_photos > 0 ? r->n_photos : spec->n_photos;
    return read_align(r, spec, marks, &n_align, err) && tr_survey_init(spec, v, err) &&
           tr_survey_run(v, photos, n_photos, &workers, (tr_survey_align){marks, n_align}, err) &&
           write_sheets(v, files, written, err);
}

static int run_request(const request *r) {
    tr_survey_spec spec = {0};
    tr_survey survey = {0};
    tr_error why = {0};
    tr_error usage = {0};
    tr_error unwritten = {0};
    char **files = NULL;
    char **written = NULL; /* those of them that were */
    int status = TR_EXIT_PASS;
    if (tr_survey_spec_read(r->survey, &spec, &why)) {
        files = calloc((size_t)spec.n_sheets + 1, sizeof *files);
        written = calloc((size_t)spec.n_sheets + 1, sizeof *written);
        if (!files || !written) {
            tr_fail_memory(&why);
        } else if (!choose_files(r, &spec, files, &usage)) {
            if (usage.code != TR_NO_MEMORY) {
                status = tr_options_refuse(&tr_help_survey, &usage);
                goto out;
            }
            why = usage;
        } else if (!make(r, &spec, files, written, &survey, &why)) {
            tr_fail(&why, TR_NO_MEASURE,
                    "the survey could not be made"); /* if there is no reason */
        }
    }
    if (why.code != TR_OK) {
        tr_options_print_error("survey", &why);
        status = TR_EXIT_NO_MEASURE;
    }
    if (!print_result(r, survey.spec ? &survey : NULL, written, &why, &unwritten)) {
        tr_options_print_error("survey", &unwritten);
        status = TR_EXIT_NO_MEASURE;
    }
out:
    free_files(files, spec.n_sheets);
    free(written);
    tr_survey_release(&survey);
    tr_survey_spec_release(&spec);
    return status;
}

int tr_cmd_survey(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_survey, &err);
    if (r.is_help) return tr_options_help(&tr_help_survey);
    return run_request(&r);
}
