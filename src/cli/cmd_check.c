/* trammel check: from a job and its photos to the verdict. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check/check.h"
#include "base/file.h"
#include "base/language.h"
#include "base/text.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "present/check_json.h"
#include "present/check_text.h"
#include "present/picture.h"
#include "present/picture_pages.h"
#include "present/words.h"
#include "shop/shop.h"

/* ---- What was asked ---- */

typedef struct {
    const char *name; /* of the job, as it was given */
    char *job;        /* its file; owned */
    char **photos;    /* words of argv */
    int n_photos;
    const char *picture;
    long n_threads; /* 0: one a processor */
    bool is_json, is_help;
} request;

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *threads = NULL;
    const tr_option options[] = {{"--picture", &r->picture, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--json", NULL, &r->is_json}};
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
    if (r->is_json) {
        return tr_output_json(tr_check_json(result), err);
    }
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

/* ---- The command ---- */

static bool is_picture_an_input(const request *r, char *const *photos, int n_photos) {
    if (!r->picture) return false;
    bool is_input = r->job && tr_file_is_same(r->picture, r->job);
    for (int i = 0; i < n_photos; i++)
        is_input = is_input || tr_file_is_same(r->picture, photos[i]);
    return is_input;
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

static void print_why(const tr_check_result *result) {
    char line[1024], shown[1024];
    tr_check_why_text(result, line, sizeof line);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fprintf(stderr, "trammel check: %s\n", shown);
}

/* why: set already where the job's file could not be found. */
static int run_request(const request *r, tr_error why) {
    tr_job job = {0};
    tr_check check = {0};
    tr_error unwritten[2] = {{0}, {0}};
    char **of_shop = NULL; /* the photos of a job that lists none */
    int n_of_shop = 0;
    bool has_job = r->job && tr_job_read(r->job, &job, &why);
    if (has_job && r->n_photos > 0 && job.n_positions > 1) {
        has_job = tr_fail_at(&why, TR_BAD_INPUT, r->job, 0, "positions",
                             "say in which position each photo was taken, which photos on the "
                             "command line do not; leave those out");
    }
    if (has_job && r->n_photos == 0 && job.n_photos == 0) {
        has_job = tr_shop_photos_of(r->job, &of_shop, &n_of_shop, &why);
    }
    char **photos = r->n_photos > 0 ? r->photos : n_of_shop > 0 ? of_shop : job.photos;
    int n_photos = r->n_photos > 0 ? r->n_photos : n_of_shop > 0 ? n_of_shop : job.n_photos;
    if (is_picture_an_input(r, photos, n_photos) ||
        is_picture_an_input(r, job.codes, job.n_codes)) {
        tr_error usage = {0};
        (void)tr_fail(&usage, TR_BAD_INPUT, "the picture would replace one of the input files");
        tr_job_release(&job);
        tr_shop_photos_release(of_shop, n_of_shop);
        return tr_options_refuse(&tr_help_check, &usage);
    }
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    bool ok = has_job && tr_check_photos(&job, photos, n_photos, &workers, &check, &why) &&
              tr_check_evaluate(&job, &check, &why);
    tr_error unfinished = {0};
    if (!ok) {
        tr_fail(&why, TR_NO_MEASURE, "the check could not be made"); /* unless a reason is there */
    }
    if (!tr_check_finish(&check, ok ? NULL : &why, &unfinished)) check.result.why = unfinished;
    tr_check_name_reason(&check.result);
    int status = exit_status(&check.result);
    if (status == TR_EXIT_NO_MEASURE) print_why(&check.result);
    /* The verdict first: it is printed even where no picture can be drawn. */
    if (!print_result(r, &check.result, &unwritten[0])) {
        tr_options_print_error("check", &unwritten[0]);
        status = TR_EXIT_NO_MEASURE;
    }
    if (!write_picture(r, &check, &unwritten[1])) {
        tr_options_print_error("check", &unwritten[1]);
        status = TR_EXIT_NO_MEASURE;
    }
    tr_check_release(&check);
    tr_job_release(&job);
    tr_shop_photos_release(of_shop, n_of_shop);
    return status;
}

int tr_cmd_check(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_check, &err);
    if (r.is_help) return tr_options_help(&tr_help_check);
    tr_error why = {0};
    r.job = tr_shop_named(TR_SHOP_JOBS, r.name, &why);
    int status = run_request(&r, why);
    free(r.job);
    return status;
}
