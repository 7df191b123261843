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
        FUZZ_CHECK(r->point <= TR_N_POINTS && tr_reference_name(r)[0]);
        if (r->point == TR_N_POINTS) continue;
        FUZZ_CHECK(!has_point[r->point]);
        has_point[r->point] = true;
    }
    FUZZ_CHECK(has_point[TR_REAR_LEFT] && has_point[TR_REAR_RIGHT]);
    for (int i = 0; i < job->layout.n_placements; i++) {
        const tr_placement *p = &job->layout.placements[i];
        FUZZ_CHECK(tr_job_find_sheet(job, p->sheet) >= 0);
        for (int k = 0; k < 3; k++) {
            bool is_point = p->from[k].kind == TR_FROM_POINT;
            FUZZ_CHECK(!is_point || p->from[k].index < job->n_references);
            FUZZ_CHECK(p->from[k].kind != TR_FROM_SHEET || p->from[k].index < job->n_sheets);
        }
    }
    FUZZ_CHECK(job->n_positions >= 1);
    for (int i = 0; i < job->n_photos; i++) {
        FUZZ_CHECK(job->photos[i] != NULL);
        FUZZ_CHECK(job->photo_position[i] >= 0 && job->photo_position[i] < job->n_positions);
    }
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
