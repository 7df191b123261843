#include "cli/job_run.h"

#include "cli/commands.h"
#include "cli/options.h"
#include "present/words.h"
#include "shop/shop.h"

void tr_job_run_release(tr_job_run *run) {
    tr_check_release(&run->check);
    tr_job_release(&run->job);
    tr_shop_photos_release(run->of_shop, run->n_of_shop);
}

void tr_job_run_read(tr_job_run *run, const char *path, char *const *photos, int n_photos) {
    run->has_job = path && tr_job_read(path, &run->job, &run->why);
    if (run->has_job && n_photos > 0 && run->job.n_positions > 1) {
        run->has_job = tr_fail_at(&run->why, TR_BAD_INPUT, path, 0, "positions",
                                  "say in which position each photo was taken, which photos on the "
                                  "command line do not; leave those out");
    }
    run->photos = n_photos > 0 ? photos : run->job.photos;
    run->n_photos = n_photos > 0 ? n_photos : run->job.n_photos;
}

void tr_job_run_find_photos(tr_job_run *run, const char *path) {
    if (!run->has_job || run->n_photos > 0) return;
    run->has_job = tr_shop_photos_of(path, &run->of_shop, &run->n_of_shop, &run->why);
    run->photos = run->of_shop;
    run->n_photos = run->n_of_shop;
}

void tr_job_run_measure(tr_job_run *run, long n_threads) {
    const tr_workers workers = {.n_threads = (int)n_threads, .progress = tr_options_show_progress};
    tr_check *check = &run->check;
    bool ok = run->has_job &&
              tr_check_photos(&run->job, run->photos, run->n_photos, &workers, check, &run->why) &&
              tr_lens_ages_note(&run->job, &run->ages, &check->result.findings, &run->why) &&
              tr_check_evaluate(&run->job, check, &run->why);
    tr_error unfinished = {0};
    if (!ok) {
        tr_fail(&run->why, TR_NO_MEASURE,
                "the check could not be made"); /* unless a reason is there */
    }
    if (!tr_check_finish(check, ok ? NULL : &run->why, &unfinished)) check->result.why = unfinished;
    tr_check_name_reason(&check->result);
}

int tr_exit_status_of(const tr_check_result *result) {
    if (result->why.code != TR_OK) return TR_EXIT_NO_MEASURE;
    switch (result->verdict) {
    case TR_PASS: return TR_EXIT_PASS;
    case TR_FAIL: return TR_EXIT_FAIL;
    case TR_INCONCLUSIVE: break;
    }
    return TR_EXIT_INCONCLUSIVE;
}
