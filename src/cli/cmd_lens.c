/* trammel lens: from photos of a checkerboard to a lens profile. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/language.h"
#include "base/number.h"
#include "base/text.h"
#include "base/wrap.h"
#include "calib/lens_run.h"
#include "base/file.h"
#include "base/listing.h"
#include "cli/keep.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "lens/profile.h"
#include "present/lens_json.h"
#include "present/lens_text.h"
#include "records/replay.h"
#include "shop/shop.h"

/* ---- What was asked ---- */

typedef struct {
    char **photos; /* words of argv */
    int n_photos;
    tr_board board;
    const char *out, *squares, *pitch; /* as they were given */
    long n_threads;                    /* 0: one a processor */
    tr_keep_options keep;
    bool is_steady, is_json, is_help;
    char id[sizeof((tr_lens *)NULL)->id];
} request;

/* The file's name without its folders and its extension, which must be .yaml or .yml. */
static bool make_id(const char *path, char *id, size_t size) {
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;
    const char *dot = strrchr(name, '.');
    if (!tr_name_is_yaml(name)) return false;
    size_t n = (size_t)(dot - name);
    if (n >= size || !tr_text_is_line(name, n)) return false;
    memcpy(id, name, n);
    id[n] = 0;
    return true;
}

static bool set_squares(request *r, const char *value, tr_error *err) {
    r->squares = value;
    return tr_board_squares_parse(value, &r->board.squares_x, &r->board.squares_y) ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--squares %.40s' is not COLSxROWS from %dx%d to %dx%d, as in 10x7; count the "
                   "squares, not the corners between them",
                   value, TR_BOARD_MIN_SQUARES, TR_BOARD_MIN_SQUARES, TR_BOARD_MAX_SQUARES,
                   TR_BOARD_MAX_SQUARES);
}

static bool set_pitch(request *r, const char *value, tr_error *err) {
    r->pitch = value;
    return (tr_number_parse(value, &r->board.pitch_mm) && r->board.pitch_mm > 0 &&
            r->board.pitch_mm <= TR_BOARD_MAX_PITCH_MM) ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--pitch %.40s' is not a length in mm above 0, as in 30 or 29.95", value);
}

static bool set_out(request *r, const char *value, tr_error *err) {
    r->out = value;
    return make_id(value, r->id, sizeof r->id) ||
           tr_fail(
               err, TR_BAD_INPUT,
               "'--out %.80s': the profile's name ends in .yaml, after 1 to %zu printable bytes "
               "that name the lens",
               value, sizeof r->id - 1);
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *squares = NULL;
    const char *pitch = NULL;
    const char *out = NULL;
    const char *threads = NULL;
    const tr_option options[] = {{"--squares", &squares, NULL},
                                 {"--pitch", &pitch, NULL},
                                 {"--out", &out, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--steady", NULL, &r->is_steady},
                                 {"--json", NULL, &r->is_json},
                                 TR_KEEP_OPTIONS(r->keep)};
    if (!tr_options_parse(&tr_help_lens, argc, argv, options, sizeof options / sizeof *options,
                          &r->n_photos, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    r->photos = argv + 1;
    if (r->n_photos == 0) return tr_fail(err, TR_BAD_INPUT, "no photos are named");
    for (int k = 0; k < 3; k++) {
        if (!*options[k].value)
            return tr_fail(err, TR_BAD_INPUT, "'%s' is missing", options[k].name);
    }
    if (!set_squares(r, squares, err) || !set_pitch(r, pitch, err) || !set_out(r, out, err) ||
        !tr_options_threads(threads, &r->n_threads, err)) {
        return false;
    }
    for (int i = 0; i < r->n_photos; i++) {
        if (tr_file_is_same(r->out, r->photos[i])) {
            return tr_fail(err, TR_BAD_INPUT, "'--out %.80s' is one of the photos", r->out);
        }
    }
    return true;
}

/* A file that is there already may only be an older profile (*is_older), or empty: so no job,
   sheet or other input can be lost. */
static bool may_be_written(const char *path, bool *is_older, tr_error *err) {
    tr_lens old;
    struct stat about;
    *is_older = false;
    if (stat(path, &about) != 0 || (S_ISREG(about.st_mode) && about.st_size == 0)) return true;
    tr_error why = {0};
    *is_older = tr_lens_profile_read(path, &old, &why);
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    return *is_older ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--out %.200s' already exists and is not a lens profile; give another name",
                   path);
}

/* ---- Output ---- */

/* Why there is no lens, for standard error. */
static void print_failure(const tr_lens_run *run, const tr_error *why) {
    tr_lens_unused_text(run, "lens", stderr);
    tr_options_print_error("lens", why);
}

static bool print_result(const request *r, const tr_lens_run *run, bool is_replaced,
                         const tr_error *why, tr_error *err) {
    bool has_failed = why->code != TR_OK;
    if (r->is_json) {
        return tr_output_json(tr_lens_json(run, r->id, r->out, has_failed ? why : NULL), err);
    }
    if (!has_failed) tr_lens_text(run, r->out, is_replaced, stdout);
    return tr_output_end(err);
}

/* ---- Measuring ---- */

static bool measure(const request *r, tr_lens_run *run, tr_error *err) {
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    bool ok = tr_lens_photos(&r->board, r->photos, r->n_photos, &workers, run, err);
    run->is_steady = r->is_steady;
    if (!ok || !tr_lens_solve(run, err)) return false;
    snprintf(run->calibration.lens.id, sizeof run->calibration.lens.id, "%s", r->id);
    return true;
}

static bool write_profile(const request *r, const tr_lens *lens, tr_keep *keep, tr_error *err) {
    char *text = NULL;
    size_t size = 0;
    bool ok = tr_lens_profile_print(r->out, lens, &text, &size, err) &&
              tr_file_write(r->out, text, size, err);
    if (ok) tr_keep_add(keep, "lens", r->out, text, size);
    free(text);
    return ok;
}

/* ---- Kept as a record ---- */

/* Words with which it is measured again: what decides the result, and no more. */
static bool list_words(const request *r, const char ***words, int *n, tr_error *err) {
    const char *const first[] = {"lens",   "--squares", r->squares, "--pitch",
                                 r->pitch, "--out",     r->out};
    enum { N_FIRST = sizeof first / sizeof *first };
    *n = 0;
    *words = calloc((size_t)r->n_photos + N_FIRST + 2, sizeof **words);
    if (!*words) return tr_fail_memory(err);
    for (int i = 0; i < N_FIRST; i++) (*words)[(*n)++] = first[i];
    if (r->is_steady) (*words)[(*n)++] = "--steady";
    (*words)[(*n)++] = "--";
    for (int i = 0; i < r->n_photos; i++) (*words)[(*n)++] = r->photos[i];
    return true;
}

static bool keep_result(const request *r, const tr_lens_run *run, tr_keep *keep) {
    const char **words = NULL;
    const char *const sheets[] = {r->id};
    int n_words = 0;
    bool is_ready = list_words(r, &words, &n_words, &keep->why);
    const tr_measurement kept = {.kind = "lens",
                                 .job = "",
                                 .vehicle = "",
                                 .technician = "",
                                 .verdict = "",
                                 .sheets = sheets,
                                 .n_sheets = is_ready ? 1 : 0,
                                 .words = words,
                                 .n_words = n_words};
    bool ok = tr_keep_result(keep, &kept, tr_lens_json(run, r->id, r->out, NULL), r->is_json);
    free(words);
    return ok;
}

bool tr_replay_lens(const tr_replay *replay, char **json, size_t *size, tr_error *err) {
    request r = {0};
    tr_lens_run run = {0};
    tr_error why = {0};
    tr_file_overlay_set(replay->files);
    bool ok = parse(replay->n_words, replay->words, &r, err);
    if (ok) {
        bool is_measured = measure(&r, &run, &why);
        ok = tr_output_make(tr_lens_json(&run, r.id, r.out, is_measured ? NULL : &why), json, size,
                            err);
    }
    tr_file_overlay_set(NULL);
    tr_lens_run_release(&run);
    return ok;
}

/* ---- The command ---- */

static int run_request(const request *r) {
    tr_lens_run run = {0};
    tr_error err = {0};
    tr_error unwritten = {0};
    tr_keep keep;
    bool is_older;
    bool ok = may_be_written(r->out, &is_older, &err);
    if (err.code == TR_BAD_INPUT) return tr_options_refuse(&tr_help_lens, &err);
    tr_keep_begin(&keep, &r->keep, r->out);
    ok = ok && measure(r, &run, &err) && write_profile(r, &run.calibration.lens, &keep, &err);
    if (!ok) print_failure(&run, &err);
    bool is_made = ok;
    if (!print_result(r, &run, is_older, &err, &unwritten)) {
        tr_options_print_error("lens", &unwritten);
        ok = false;
    }
    if (is_made && keep.is_wanted && !keep_result(r, &run, &keep)) ok = false;
    tr_keep_end(&keep);
    tr_lens_run_release(&run);
    return ok ? TR_EXIT_PASS : TR_EXIT_NO_MEASURE;
}

int tr_cmd_lens(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_lens, &err);
    if (r.is_help) return tr_options_help(&tr_help_lens);
    return run_request(&r);
}
