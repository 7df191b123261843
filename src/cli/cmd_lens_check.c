/* trammel lens-check: a few photos of the board against a lens profile. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/number.h"
#include "calib/recheck.h"
#include "cli/keep.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "lens/profile.h"
#include "present/lens_text.h"
#include "present/recheck_json.h"
#include "present/recheck_text.h"
#include "records/replay.h"
#include "shop/shop.h"

typedef struct {
    const char *profile;
    char **photos; /* words of argv */
    int n_photos;
    tr_board board;              /* 0 where the profile is to tell */
    const char *squares, *pitch; /* as they were given; NULL: not */
    long n_threads;              /* 0: one a processor */
    tr_keep_options keep;
    bool is_json, is_help;
} request;

static bool set_board(request *r, const char *squares, const char *pitch, tr_error *err) {
    if (squares && !tr_board_squares_parse(squares, &r->board.squares_x, &r->board.squares_y)) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--squares %.40s' is not COLSxROWS from %dx%d to %dx%d, as in 10x7; count "
                       "the squares, not the corners between them",
                       squares, TR_BOARD_MIN_SQUARES, TR_BOARD_MIN_SQUARES, TR_BOARD_MAX_SQUARES,
                       TR_BOARD_MAX_SQUARES);
    }
    bool is_length =
        !pitch || (tr_number_parse(pitch, &r->board.pitch_mm) && r->board.pitch_mm > 0 &&
                   r->board.pitch_mm <= TR_BOARD_MAX_PITCH_MM);
    return is_length ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--pitch %.40s' is not a length in mm above 0, as in 30 or 29.95", pitch);
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *threads = NULL;
    int n_words;
    const tr_option options[] = {{"--squares", &r->squares, NULL},
                                 {"--pitch", &r->pitch, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--json", NULL, &r->is_json},
                                 TR_KEEP_OPTIONS(r->keep)};
    if (!tr_options_parse(&tr_help_lens_check, argc, argv, options,
                          sizeof options / sizeof *options, &n_words, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (n_words < 1) return tr_fail(err, TR_BAD_INPUT, "no lens profile is named");
    if (n_words < 2) return tr_fail(err, TR_BAD_INPUT, "no photos are named");
    r->profile = argv[1];
    r->photos = argv + 2;
    r->n_photos = n_words - 1;
    return set_board(r, r->squares, r->pitch, err) &&
           tr_options_threads(threads, &r->n_threads, err);
}

/* What the command line does not say, the profile does. */
static bool complete_board(const tr_lens_board *known, tr_board *board, tr_error *err) {
    if (board->squares_x == 0) {
        board->squares_x = known->squares_x;
        board->squares_y = known->squares_y;
    }
    if (!(board->pitch_mm > 0)) board->pitch_mm = known->pitch_mm;
    if (board->squares_x > 0 && board->pitch_mm > 0) return true;
    return tr_fail(err, TR_BAD_INPUT,
                   "the profile does not say which board it was calibrated with; give '--squares' "
                   "and '--pitch'");
}

static int status_of(tr_recheck_verdict verdict) {
    switch (verdict) {
    case TR_RECHECK_AGREES: return TR_EXIT_PASS;
    case TR_RECHECK_DIFFERS: return TR_EXIT_FAIL;
    case TR_RECHECK_NOT_ENOUGH: break;
    }
    return TR_EXIT_INCONCLUSIVE;
}

/* All zero is one that has not begun. */
typedef struct {
    tr_lens_run run;
    tr_recheck recheck;
    tr_error why;   /* there is no verdict */
    tr_error usage; /* it was asked for wrongly */
} measurement;

static void release(measurement *m) {
    tr_recheck_release(&m->recheck);
    tr_lens_run_release(&m->run);
}

static bool measure(request *r, measurement *m) {
    tr_lens stored;
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    bool is_read = tr_lens_profile_read(r->profile, &stored, &m->why);
    m->recheck.stored = stored;
    return is_read && complete_board(&stored.board, &r->board, &m->usage) &&
           tr_lens_photos(&r->board, r->photos, r->n_photos, &workers, &m->run, &m->why) &&
           tr_recheck_solve(&m->run, &stored, &m->recheck, &m->why);
}

static json_t *result_json(const request *r, const measurement *m) {
    bool is_measured = m->why.code == TR_OK;
    return tr_recheck_json(&m->run, &m->recheck, r->profile, is_measured ? NULL : &m->why);
}

/* ---- Kept as a record ---- */

/* Words with which it is measured again: what decides the result, and no more. */
static bool list_words(const request *r, const char ***words, int *n, tr_error *err) {
    enum { N_FIRST = 7 };
    *n = 0;
    *words = calloc((size_t)r->n_photos + N_FIRST, sizeof **words);
    if (!*words) return tr_fail_memory(err);
    (*words)[(*n)++] = "lens-check";
    if (r->squares) (*words)[(*n)++] = "--squares";
    if (r->squares) (*words)[(*n)++] = r->squares;
    if (r->pitch) (*words)[(*n)++] = "--pitch";
    if (r->pitch) (*words)[(*n)++] = r->pitch;
    (*words)[(*n)++] = "--";
    (*words)[(*n)++] = r->profile;
    for (int i = 0; i < r->n_photos; i++) (*words)[(*n)++] = r->photos[i];
    return true;
}

static bool keep_result(const request *r, const measurement *m, tr_keep *keep) {
    const char **words = NULL;
    const char *const sheets[] = {m->recheck.stored.id};
    int n_words = 0;
    bool is_ready = list_words(r, &words, &n_words, &keep->why);
    const tr_measurement kept = {.kind = "lens-check",
                                 .job = "",
                                 .vehicle = "",
                                 .technician = "",
                                 .verdict = tr_recheck_word(m->recheck.verdict),
                                 .sheets = sheets,
                                 .n_sheets = is_ready ? 1 : 0,
                                 .words = words,
                                 .n_words = n_words};
    bool ok = tr_keep_result(keep, &kept, result_json(r, m), r->is_json);
    free(words);
    return ok;
}

bool tr_replay_lens_check(const tr_replay *replay, char **json, size_t *size, tr_error *err) {
    request r = {0};
    measurement m = {0};
    if (!parse(replay->n_words, replay->words, &r, err)) return false;
    tr_file_overlay_set(replay->files);
    (void)!measure(&r, &m);
    bool ok = tr_output_make(result_json(&r, &m), json, size, err);
    tr_file_overlay_set(NULL);
    release(&m);
    return ok;
}

/* ---- The command ---- */

static int show(const request *r, const measurement *m, tr_keep *keep) {
    tr_error unwritten = {0};
    bool is_measured = m->why.code == TR_OK;
    int status = is_measured ? status_of(m->recheck.verdict) : TR_EXIT_NO_MEASURE;
    bool is_out = true;
    if (!is_measured) {
        tr_lens_unused_text(&m->run, "lens-check", stderr);
        tr_options_print_error("lens-check", &m->why);
    }
    if (r->is_json) {
        is_out = tr_output_json(result_json(r, m), &unwritten);
    } else if (is_measured) {
        tr_recheck_text(&m->run, &m->recheck, stdout);
        is_out = tr_output_end(&unwritten);
    }
    if (!is_out) tr_options_print_error("lens-check", &unwritten);
    bool is_kept = !keep->is_wanted || !is_measured || keep_result(r, m, keep);
    return is_out && is_kept ? status : TR_EXIT_NO_MEASURE;
}

static int run_request(request *r) {
    measurement m = {0};
    tr_keep keep;
    char *profile = tr_shop_named(TR_SHOP_LENSES, r->profile, &m.why);
    if (profile) r->profile = profile;
    tr_keep_begin(&keep, &r->keep, r->profile);
    bool ok = profile && measure(r, &m);
    int status = !ok && m.usage.code != TR_OK ? tr_options_refuse(&tr_help_lens_check, &m.usage)
                                              : show(r, &m, &keep);
    tr_keep_end(&keep);
    release(&m);
    free(profile);
    return status;
}

int tr_cmd_lens_check(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_lens_check, &err);
    if (r.is_help) return tr_options_help(&tr_help_lens_check);
    return run_request(&r);
}
