/* Any set of files as a job. The input is the files one after the other, parted by a line that is
   "====": the job, its lens profile, its layout, then sheets. They are named 100, 101, 102, 103 ...
   (fuzz.h), and that is how the job file names them. */
#include "fuzz.h"

#include <stdlib.h>
#include <string.h>

#include "job/job.h"

enum { MAX_FILES = 12 };
static const char SEPARATOR[] = "\n====\n";

/* How many bytes come before the next separator, or are left. */
static size_t part_size(const uint8_t *data, size_t size) {
    const size_t n = sizeof SEPARATOR - 1;
    for (size_t i = 0; i + n <= size; i++) {
        if (memcmp(data + i, SEPARATOR, n) == 0) return i;
    }
    return size;
}

static int open_parts(const uint8_t *data, size_t size) {
    char path[FUZZ_PATH_SIZE];
    int n = 0;
    while (n < MAX_FILES) {
        size_t part = part_size(data, size);
        fuzz_file_open(n++, data, part, path);
        if (part == size) break;
        data += part + sizeof SEPARATOR - 1;
        size -= part + sizeof SEPARATOR - 1;
    }
    return n;
}

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
    int n = open_parts(data, size);
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
