/* trammel check: from a job and its photos to the verdict. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/language.h"
#include "base/text.h"
#include "cli/job_run.h"
#include "cli/keep.h"
#include "cli/lens_moment.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "present/check_json.h"
#include "present/check_text.h"
#include "present/picture.h"
#include "present/picture_pages.h"
#include "present/words.h"
#include "records/replay.h"
#include "shop/shop.h"

/* ---- What was asked ---- */

typedef struct {
    const char *name; /* of the job, as it was given */
    char *job;        /* its file; owned */
    char **photos;    /* words of argv */
    int n_photos;
    const char *picture;
    long n_threads; /* 0: one a processor */
    tr_keep_options keep;
    bool is_json, is_help;
} request;

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *threads = NULL;
    const tr_option options[] = {{"--picture", &r->picture, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--json", NULL, &r->is_json},
                                 TR_KEEP_OPTIONS(r->keep)};
    int n;
    if (!tr_options_parse(&tr_help_check, argc, argv, options, sizeof options / sizeof *options, &n,
                          &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    /* So that a wildcard behind --picture does not make it replace a photo. */
    if (r->picture && !tr_options_ends_in(r->picture, ".png") &&
        !tr_options_ends_in(r->picture, ".pdf")) {
        return tr_fail(
            err, TR_BAD_INPUT,
            "'--picture %.200s': the picture is a PNG or a PDF; give it a name that ends "
            "in .png or .pdf",
            r->picture);
    }
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "no job file is named");
    r->name = argv[1];
    r->photos = argv + 2;
    r->n_photos = n - 1;
    return tr_options_threads(threads, &r->n_threads, err);
}

/* ---- Output ---- */

/* Colours are for a terminal whose user did not decline them (no-color.org). */
static bool wants_colours(void) {
    const char *declined = getenv("NO_COLOR");
    const char *terminal = getenv("TERM");
    return isatty(STDOUT_FILENO) && !(declined && *declined) &&
           !(terminal && strcmp(terminal, "dumb") == 0);
}

static bool print_result(const request *r, const tr_check_result *result, tr_error *err) {
    if (r->is_json) return tr_output_json(tr_check_json(result), err);
    if (result->why.code == TR_OK || result->n_photos > 0) {
        tr_check_text(result, wants_colours(), stdout);
    }
    return tr_output_end(err);
}

/* Several files, or pages, are named: who asked for one would not know of the others. */
static bool tell_files(const tr_check_result *result, const tr_picture_pages *pages,
                       tr_error *err) {
    if (pages->is_pdf) {
        putchar('\n');
        printf(TR_("Picture, %d pages:"), pages->n);
        putchar(' ');
    } else {
        printf("\n%s\n", TR_("Pictures, one a file:"));
    }
    for (int i = 0; i < (pages->is_pdf ? 1 : pages->n); i++) {
        const tr_picture_page *page = &pages->items[i];
        if (!pages->is_pdf) fputs("  ", stdout);
        tr_options_print_word(page->file);
        if (page->kind == TR_PAGE_OVERVIEW && !pages->is_pdf) printf("  %s", TR_("all targets"));
        if (page->kind == TR_PAGE_AREAS && !pages->is_pdf) printf("  %s", TR_("free areas: look"));
        if (page->kind == TR_PAGE_TARGET && !pages->is_pdf) {
            tr_verdict verdict = result->targets[page->target].verdict;
            printf("  %s %s", tr_verdict_shape(verdict), tr_verdict_word(verdict));
        }
        putchar('\n');
    }
    return tr_output_end(err);
}

static bool write_picture(const request *r, const tr_check *check, tr_error *err) {
    tr_picture_pages pages = {0};
    if (!r->picture) return true;
    tr_picture_writer *write =
        (tr_picture_writer *)tr_module_function("picture", "tr_picture_write", err);
    bool ok = write && write(&check->result, &check->set, r->picture, err) &&
              tr_picture_pages_of(&check->result, r->picture, &pages, err) &&
              (r->is_json || pages.n < 2 || tell_files(&check->result, &pages, err));
    tr_picture_pages_release(&pages);
    return ok;
}

static void print_why(const tr_check_result *result) {
    char line[1024], shown[1024];
    tr_check_why_text(result, line, sizeof line);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fprintf(stderr, "trammel check: %s\n", shown);
}

/* ---- Kept as a record ---- */

/* Words with which it is measured again: what decides the result, and no more. */
static bool list_words(const request *r, const tr_job_run *m, const char ***words, int *n,
                       tr_error *err) {
    int n_photos = m->photos == m->job.photos ? 0 : m->n_photos;
    *words = calloc((size_t)n_photos + 3, sizeof **words);
    if (!*words) return tr_fail_memory(err);
    (*words)[0] = "check";
    (*words)[1] = "--";
    (*words)[2] = r->job;
    for (int i = 0; i < n_photos; i++) (*words)[3 + i] = m->photos[i];
    *n = n_photos + 3;
    return true;
}

static bool list_sheets(const tr_check_result *result, const char ***sheets, tr_error *err) {
    *sheets = calloc((size_t)result->n_sheets + 1, sizeof **sheets);
    if (!*sheets) return tr_fail_memory(err);
    for (int i = 0; i < result->n_sheets; i++) (*sheets)[i] = result->sheets[i].id;
    return true;
}

static bool keep_result(const request *r, const tr_job_run *m, tr_keep *keep) {
    const tr_check_result *result = &m->check.result;
    const char **words = NULL;
    const char **sheets = NULL;
    int n_words = 0;
    tr_error *err = &keep->why;
    char *moment = NULL;
    bool is_ready = list_words(r, m, &words, &n_words, err) && list_sheets(result, &sheets, err) &&
                    tr_lens_moment_print(&m->job, &m->ages, &moment, err);
    bool is_measured = result->why.code == TR_OK;
    const tr_measurement kept = {.kind = "check",
                                 .job = result->job,
                                 .vehicle = result->vehicle_id,
                                 .technician = result->technician,
                                 .verdict = is_measured ? tr_verdict_name(result->verdict)
                                                        : TR_RECORD_NOT_MEASURED,
                                 .sheets = sheets,
                                 .n_sheets = is_ready ? result->n_sheets : 0,
                                 .words = words,
                                 .n_words = n_words,
                                 .moment = moment};
    bool ok = tr_keep_result(keep, &kept, tr_check_json(result), r->is_json);
    free(moment);
    free(sheets);
    free(words);
    return ok;
}

bool tr_replay_check(const tr_replay *replay, char **json, size_t *size, tr_error *err) {
    request r = {0};
    tr_job_run m = {0};
    if (!parse(replay->n_words, replay->words, &r, err)) return false;
    r.job = strdup(r.name);
    if (!r.job) return tr_fail_memory(err);
    tr_file_overlay_set(replay->files);
    tr_job_run_read(&m, r.job, r.photos, r.n_photos);
    bool ok = tr_lens_moment_read(replay->moment, &m.job, &m.ages, err);
    if (ok) tr_job_run_measure(&m, r.n_threads);
    ok = ok && tr_output_make(tr_check_json(&m.check.result), json, size, err);
    tr_file_overlay_set(NULL);
    tr_job_run_release(&m);
    free(r.job);
    return ok;
}

/* ---- The command ---- */

static bool is_picture_an_input(const request *r, const tr_job_run *m) {
    if (!r->picture) return false;
    bool is_input = r->job && tr_file_is_same(r->picture, r->job);
    for (int i = 0; i < m->n_photos; i++)
        is_input = is_input || tr_file_is_same(r->picture, m->photos[i]);
    for (int i = 0; i < m->job.n_codes; i++)
        is_input = is_input || tr_file_is_same(r->picture, m->job.codes[i]);
    return is_input;
}

/* The verdict first: it is shown even where no picture can be drawn, or no record kept. */
static int show(const request *r, const tr_job_run *m, tr_keep *keep) {
    int status = tr_exit_status_of(&m->check.result);
    tr_error unwritten[2] = {{0}, {0}};
    if (status == TR_EXIT_NO_MEASURE) print_why(&m->check.result);
    if (!print_result(r, &m->check.result, &unwritten[0])) {
        tr_options_print_error("check", &unwritten[0]);
        status = TR_EXIT_NO_MEASURE;
    }
    if (!write_picture(r, &m->check, &unwritten[1])) {
        tr_options_print_error("check", &unwritten[1]);
        status = TR_EXIT_NO_MEASURE;
    }
    if (keep->is_wanted && m->has_job && !keep_result(r, m, keep)) status = TR_EXIT_NO_MEASURE;
    return status;
}

/* why: set already where the job's file could not be found. */
static int run_request(const request *r, tr_error why) {
    tr_job_run m = {.why = why};
    tr_keep keep;
    int status;
    tr_keep_begin(&keep, &r->keep, r->job);
    tr_job_run_read(&m, r->job, r->photos, r->n_photos);
    /* The shop's file is no part of the measurement, and may name a server's password. */
    tr_keep_pause(&keep);
    tr_job_run_find_photos(&m, r->job);
    tr_keep_resume(&keep);
    tr_lens_moment_find(&keep, &m.job, &m.ages);
    if (is_picture_an_input(r, &m)) {
        tr_error usage = {0};
        (void)tr_fail(&usage, TR_BAD_INPUT, "the picture would replace one of the input files");
        status = tr_options_refuse(&tr_help_check, &usage);
    } else {
        tr_job_run_measure(&m, r->n_threads);
        status = show(r, &m, &keep);
    }
    tr_keep_end(&keep);
    tr_job_run_release(&m);
    return status;
}

int tr_cmd_check(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_check, &err);
    if (r.is_help) return tr_options_help(&tr_help_check);
    tr_error why = {0};
    r.job = tr_shop_named(TR_SHOP_JOBS, r.name, &why);
    int status = run_request(&r, why);
    free(r.job);
    return status;
}
