/* trammel lens-check: a few photos of the board against a lens profile. */
#include "cli/commands.h"

#include <stdio.h>

#include "base/number.h"
#include "calib/recheck.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "lens/profile.h"
#include "present/lens_text.h"
#include "present/recheck_json.h"
#include "present/recheck_text.h"

typedef struct {
    const char *profile;
    char **photos; /* words of argv */
    int n_photos;
    tr_board board; /* 0 where the profile is to tell */
    long n_threads; /* 0: one a processor */
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
    const char *squares = NULL;
    const char *pitch = NULL;
    const char *threads = NULL;
    int n_words;
    const tr_option options[] = {{"--squares", &squares, NULL},
                                 {"--pitch", &pitch, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--json", NULL, &r->is_json}};
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
    return set_board(r, squares, pitch, err) && tr_options_threads(threads, &r->n_threads, err);
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

static int run_request(request *r) {
    tr_lens stored;
    tr_lens_run run = {0};
    tr_recheck recheck = {0};
    tr_error err = {0};
    tr_error unwritten = {0};
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    bool ok = tr_lens_profile_read(r->profile, &stored, &err);
    recheck.stored = stored;
    if (ok && !complete_board(&stored.board, &r->board, &err)) {
        return tr_options_refuse(&tr_help_lens_check, &err);
    }
    ok = ok && tr_lens_photos(&r->board, r->photos, r->n_photos, &workers, &run, &err) &&
         tr_recheck_solve(&run, &stored, &recheck, &err);
    if (!ok) {
        tr_lens_unused_text(&run, "lens-check", stderr);
        tr_options_print_error("lens-check", &err);
    }
    bool is_out = true;
    if (r->is_json) {
        is_out = tr_output_json(tr_recheck_json(&run, &recheck, r->profile, ok ? NULL : &err),
                                &unwritten);
    } else if (ok) {
        tr_recheck_text(&run, &recheck, stdout);
        is_out = tr_output_end(&unwritten);
    }
    if (!is_out) tr_options_print_error("lens-check", &unwritten);
    int status = ok && is_out ? status_of(recheck.verdict) : TR_EXIT_NO_MEASURE;
    tr_recheck_release(&recheck);
    tr_lens_run_release(&run);
    return status;
}

int tr_cmd_lens_check(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_lens_check, &err);
    if (r.is_help) return tr_options_help(&tr_help_lens_check);
    return run_request(&r);
}
