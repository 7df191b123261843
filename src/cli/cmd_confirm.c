/* trammel confirm: what was seen to before measuring, written into a job. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/language.h"
#include "cli/job_told.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "shop/confirm.h"
#include "shop/shop.h"

typedef struct {
    const char *name; /* of the job, as it was given */
    tr_confirm confirm;
    bool is_help;
} request;

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const tr_option options[] = {{"--by", &r->confirm.by, NULL},
                                 {"--not-done", &r->confirm.not_done, NULL}};
    int n;
    if (!tr_options_parse(&tr_help_confirm, argc, argv, options, sizeof options / sizeof *options,
                          &n, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "no job is named");
    if (n < 2 && (r->confirm.by || r->confirm.not_done)) {
        return tr_fail(err, TR_BAD_INPUT,
                       "no precondition is named; give the ids of those that were seen to");
    }
    r->name = argv[1];
    r->confirm.ids = argv + 2;
    r->confirm.n_ids = n - 1;
    return true;
}

/* A job alone: what there is to confirm is told, and nothing is written. */
static bool confirm(const request *r, tr_error *err) {
    tr_job job = {0};
    char *path = tr_shop_named(TR_SHOP_JOBS, r->name, err);
    bool ok = path && (r->confirm.n_ids == 0 || tr_job_confirm(path, &r->confirm, err)) &&
              tr_job_read(path, &job, err);
    if (ok && job.layout.n_preconditions == 0) {
        printf(TR_("Layout %s has no preconditions: nothing needs to be confirmed."),
               job.layout.id);
        putchar('\n');
    }
    if (ok) {
        tr_tell_preconditions(&job);
        ok = tr_output_end(err);
    }
    tr_job_release(&job);
    free(path);
    return ok;
}

int tr_cmd_confirm(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_confirm, &err);
    if (r.is_help) return tr_options_help(&tr_help_confirm);
    if (confirm(&r, &err)) return TR_EXIT_PASS;
    tr_options_print_error("confirm", &err);
    return TR_EXIT_NO_MEASURE;
}
