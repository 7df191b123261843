/* Any set of files as a job (fuzz_files_open): the job, its lens profile, its layout, then sheets.
 */
#include "fuzz.h"

#include "job/job.h"

static void check_job(const tr_job *job) {
    bool has_point[TR_N_POINTS] = {false};
    FUZZ_CHECK(job->path && job->id[0] && job->n_sheets >= 1);
    FUZZ_CHECK(job->reference_sd_mm >= 0);
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        FUZZ_CHECK(r->sheet >= 0 && r->sheet < job->n_sheets);
        FUZZ_CHECK(r->point < TR_N_POINTS && !has_point[r->point]);
        has_point[r->point] = true;
    }
    FUZZ_CHECK(has_point[TR_REAR_LEFT] && has_point[TR_REAR_RIGHT]);
    for (int i = 0; i < job->layout.n_placements; i++)
        FUZZ_CHECK(tr_job_find_sheet(job, job->layout.placements[i].sheet) >= 0);
    for (int i = 0; i < job->n_photos; i++) FUZZ_CHECK(job->photos[i] != NULL);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    tr_job job;
    tr_error err = {0};
    int n = fuzz_files_open(data, size);
    bool ok = tr_job_read("/proc/self/fd/100", &job, &err);
    fuzz_check_error(ok, &err);
    if (ok)
        check_job(&job);
    else
        FUZZ_CHECK(!job.path && !job.sheets && !job.references && !job.photos);
    tr_job_release(&job);
    for (int i = 0; i < n; i++) fuzz_file_close(i);
    return 0;
}
