/* trammel survey: from photos of a sheet to a file with the places that its marks really have. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/number.h"
#include "base/text.h"
#include "present/cautions.h"
#include "present/check_text.h"
#include "present/json.h"
#include "present/survey_json.h"
#include "present/survey_text.h"
#include "survey/survey.h"

enum { MAX_THREADS = 64, MAX_ALIGN = 100 };

static const char USAGE[] =
    "usage: trammel survey SURVEY.yaml [PHOTO...] --out SHEET.yaml\n"
    "                      [--align MARK,MARK,...] [--json] [--threads N]\n";

static const char HELP[] =
    "\n"
    "Measures where the marks of a printed sheet really are, and tags that were stuck\n"
    "on it by hand, and writes a sheet file with the measured places and how well\n"
    "they are known. A check that names this file measures with them.\n"
    "\n"
    "  SURVEY.yaml        names the lens profile, the sheets, what was stuck by hand,\n"
    "                     the known lengths (below)\n"
    "  PHOTO...           photos; they replace the list in the survey file\n"
    "  --out SHEET.yaml   the new sheet file; of several sheets: the folder in which\n"
    "                     each gets the name of its old file. No file that is not a\n"
    "                     surveyed sheet is ever replaced\n"
    "  --align MARK,...   the sheet's frame rests on these marks: tags by their ids,\n"
    "                     corners by their number in the file from 1 on (c1), with\n"
    "                     several sheets as MAT-7:c1. Either marks whose places the\n"
    "                     file gives, such as corners of the mat's own artwork; or\n"
    "                     two tags stuck on its centre line, the lower one first: x\n"
    "                     is 0 on that line, and the origin midway between them.\n"
    "                     Default: all marks whose places the file gives, but for\n"
    "                     those that lie off by themselves\n"
    "  --json             print the result as one JSON object, also if there is none\n"
    "  --threads N        work on N photos at a time (default: one a processor); the\n"
    "                     result is the same for any N\n"
    "  --help             print this text\n"
    "Options may stand anywhere; after -- everything is a file.\n"
    "\n"
    "SURVEY.yaml:\n"
    "  survey: MAT-7 of bay 2\n"
    "  lens: lens/bay-2-tablet.yaml\n"
    "  sheets: [sheets/mat-7.yaml]          # where the marks should be; tags: [] is\n"
    "                                       # allowed where all were stuck by hand\n"
    "  stuck:                               # tags whose places nobody knows\n"
    "    - { sheet: MAT-7, id: 60, size_mm: 120 }\n"
    "    - { sheet: MAT-7, id: 61, size_mm: 120, x_mm: 0 }   # x, y as far as known\n"
    "  bars:                                # a bar with two tags, centre to centre;\n"
    "    - { bar: BAR-1, tag_family: tag36h11, tags: [10, 11], size_mm: 100,\n"
    "        distance_mm: 1000.3, sd_mm: 0.1 }     # or { file: bars/bar-1.yaml }\n"
    "  rules:                               # the printed 100 mm a steel rule reads\n"
    "    - { sheet: MAT-7, x_mm: 99.6, y_mm: 100.3, sd_mm: 0.1 }\n"
    "  photos: [photos/1.jpg, photos/2.jpg]\n"
    "sd_mm is one standard deviation: two of three honest measurements lie within it.\n"
    "\n"
    "How to shoot:\n"
    "  - Lay the sheet flat, and a scale bar on it or beside it; better two: a wrong\n"
    "    one is noticed only against another. A bar of a metre gives a scale ten\n"
    "    times better than a rule of 100 mm.\n"
    "  - Take 8 photos or more, from all sides, some steeply from above, the camera\n"
    "    upright in some and across in others. Each shows as many marks as it can\n"
    "    hold; both tags of a bar are in two or more.\n"
    "  - Nothing may move in between. The lens is the profile's, as for a check.\n"
    "\n"
    "Exit status:\n"
    "   0  measured, and the file written\n"
    "   3  not measured: bad input, too few photos or marks, no known length in view,\n"
    "      known lengths that contradict each other; or a file could not be written\n"
    "  64  wrong usage\n"
    "\n";

/* ---- what was asked ---- */

typedef struct {
    const char *survey, *out, *align;
    char **photos; /* borrowed words, in an owned array */
    int n_photos;
    long n_threads; /* 0: one a processor */
    bool is_json, is_help;
} request;

static bool is_option(const char *word, const char *name) {
    size_t n = strlen(name);
    return strncmp(word, name, n) == 0 && (word[n] == 0 || word[n] == '=');
}

/* The value of an option: behind '=' or the next word. */
static bool take_value(int argc, char **argv, int *i, const char *name, const char **value,
                       tr_error *err) {
    const char *word = argv[*i];
    if (*value) return tr_fail(err, TR_BAD_INPUT, "'%s' is given twice", name);
    if (word[strlen(name)] == '=') {
        *value = word + strlen(name) + 1;
    } else if (*i + 1 < argc) {
        *value = argv[++*i];
    } else {
        return tr_fail(err, TR_BAD_INPUT, "'%s' needs a value", name);
    }
    return **value || tr_fail(err, TR_BAD_INPUT, "'%s' needs a value", name);
}

static bool parse_option(int argc, char **argv, int *i, request *r, const char **threads,
                         tr_error *err) {
    const char *word = argv[*i];
    if (strcmp(word, "--json") == 0) {
        r->is_json = true;
        return true;
    }
    if (is_option(word, "--out")) return take_value(argc, argv, i, "--out", &r->out, err);
    if (is_option(word, "--align")) return take_value(argc, argv, i, "--align", &r->align, err);
    if (!is_option(word, "--threads")) {
        return tr_fail(err, TR_BAD_INPUT, "there is no option '%.80s'", word);
    }
    if (!take_value(argc, argv, i, "--threads", threads, err)) return false;
    return (tr_integer_parse(*threads, &r->n_threads) && r->n_threads >= 1 &&
            r->n_threads <= MAX_THREADS) ||
           tr_fail(err, TR_BAD_INPUT, "'--threads %.40s' is not a number from 1 to %d", *threads,
                   MAX_THREADS);
}

/* r->photos has room for all words. */
static bool parse(int argc, char **argv, request *r, tr_error *err) {
    bool are_options_over = false;
    const char *threads = NULL;
    for (int i = 1; i < argc; i++) {
        char *word = argv[i];
        if (are_options_over || word[0] != '-' || word[1] == 0) {
            if (r->survey)
                r->photos[r->n_photos++] = word;
            else
                r->survey = word;
        } else if (strcmp(word, "--") == 0) {
            are_options_over = true;
        } else if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0) {
            r->is_help = true;
            return true;
        } else if (!parse_option(argc, argv, &i, r, &threads, err)) {
            return false;
        }
    }
    if (!r->survey) return tr_fail(err, TR_BAD_INPUT, "no survey file is named");
    return r->out || tr_fail(err, TR_BAD_INPUT, "'--out' is missing");
}

/* ---- where the results go ---- */

static bool is_folder(const char *path) {
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

static const char *base_name(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
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
    return is_surveyed ||
           tr_fail(err, TR_BAD_INPUT,
                   "'%.200s' is there already and is no surveyed sheet; give another name", path);
}

/* One path a sheet, owned by the caller with all in it. */
static bool choose_files(const request *r, const tr_survey_spec *spec, char **files,
                         tr_error *err) {
    bool has_folder = is_folder(r->out);
    if (spec->n_sheets > 1 && !has_folder) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--out %.150s': of %d sheets each gets a file; give a folder that is there",
                       r->out, spec->n_sheets);
    }
    for (int s = 0; s < spec->n_sheets; s++) {
        const char *name = base_name(spec->sheets[s].path);
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
            return tr_fail(err, TR_BAD_INPUT,
                           "two sheet files have the name %.100s; survey them one by one", name);
        }
    }
    return true;
}

static bool write_sheets(const tr_survey *v, char *const *files, tr_error *err) {
    for (int s = 0; s < v->spec->n_sheets; s++) {
        if (!tr_sheet_write(files[s], &v->sheets[s].measured, err)) return false;
    }
    return true;
}

/* ---- output ---- */

static void print_error(const tr_error *err) {
    char line[1024];
    char shown[1024];
    tr_error_print(err, line, sizeof line);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fprintf(stderr, "trammel survey: %s\n", shown);
}

static void show_progress(void *context, int done, int of) {
    (void)context;
    fprintf(stderr, "\r%d of %d photos", done, of);
    if (done == of) fputs("\r\033[K", stderr);
    fflush(stderr);
}

static bool print_result(const request *r, const tr_survey *v, char *const *files,
                         const tr_error *why, tr_error *err) {
    bool has_failed = why->code != TR_OK;
    if (r->is_json) {
        json_t *json = tr_survey_json(v, has_failed ? NULL : files, why);
        bool ok = json && tr_json_print(json, stdout);
        json_decref(json);
        if (!json) return tr_fail_memory(err);
        if (!ok) return tr_fail(err, TR_NO_FILE, "the result could not be written");
    } else if (!has_failed) {
        tr_survey_text(v, files, stdout);
    } else if (v && v->check.photos) {
        tr_survey_text_failed(v, why, stdout);
    }
    if (fflush(stdout) == 0) return true;
    return tr_fail(err, TR_NO_FILE, "the result could not be written to standard output");
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
            return tr_fail(err, TR_BAD_INPUT, "'--align' names too much; at most %d marks",
                           MAX_ALIGN);
        }
        memcpy(name, at, length);
        name[length] = 0;
        if (!tr_survey_find_mark(spec, name, &marks[(*n)++], err)) return false;
        at = at[length] ? at + length + 1 : NULL;
    }
    return true;
}

static int run_request(const request *r) {
    tr_survey_spec spec = {0};
    tr_survey survey = {0};
    tr_error why = {0};
    tr_error unwritten = {0};
    tr_mark_name marks[MAX_ALIGN];
    int n_align = 0;
    char **files = NULL;
    bool is_read = tr_survey_spec_read(r->survey, &spec, &why);
    if (is_read) {
        files = calloc((size_t)spec.n_sheets + 1, sizeof *files);
        tr_error usage = {0};
        if (!files) {
            tr_fail_memory(&why);
        } else if (!choose_files(r, &spec, files, &usage)) {
            if (usage.code == TR_NO_MEMORY) {
                why = usage;
            } else {
                print_error(&usage);
                fputs(USAGE, stderr);
                for (int s = 0; s < spec.n_sheets; s++) free(files[s]);
                free(files);
                tr_survey_spec_release(&spec);
                return TR_EXIT_USAGE;
            }
        }
    }
    char **photos = r->n_photos > 0 ? r->photos : spec.photos;
    int n_photos = r->n_photos > 0 ? r->n_photos : spec.n_photos;
    bool ok = files && why.code == TR_OK && read_align(r, &spec, marks, &n_align, &why) &&
              tr_survey_init(&spec, &survey, &why) &&
              tr_survey_run(&survey, photos, n_photos, (int)r->n_threads,
                            isatty(STDERR_FILENO) ? show_progress : NULL, NULL,
                            (tr_survey_align){marks, n_align}, &why) &&
              files && write_sheets(&survey, files, &why);
    int status = ok ? TR_EXIT_PASS : TR_EXIT_NO_MEASURE;
    if (!ok) {
        tr_fail(&why, TR_NO_MEASURE, "the survey could not be made"); /* unless a reason is there */
        print_error(&why);
    }
    if (!print_result(r, survey.spec ? &survey : NULL, files, &why, &unwritten)) {
        print_error(&unwritten);
        status = TR_EXIT_NO_MEASURE;
    }
    for (int s = 0; files && s < spec.n_sheets; s++) free(files[s]);
    free(files);
    tr_survey_release(&survey);
    tr_survey_spec_release(&spec);
    return status;
}

int tr_cmd_survey(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    int status = TR_EXIT_NO_MEASURE;
    r.photos = calloc((size_t)argc + 1, sizeof *r.photos);
    if (!r.photos) {
        tr_fail_memory(&err);
        print_error(&err);
    } else if (!parse(argc, argv, &r, &err)) {
        print_error(&err);
        fputs(USAGE, stderr);
        status = TR_EXIT_USAGE;
    } else if (r.is_help) {
        fputs(USAGE, stdout);
        fputs(HELP, stdout);
        tr_text_wrap(stdout, 0, 0, tr_cautions());
        status = TR_EXIT_PASS;
    } else {
        status = run_request(&r);
    }
    free(r.photos);
    return status;
}
