/* A job measured, from its file to its result: what `check` and `report` do alike. */
#ifndef TR_CLI_JOB_RUN_H
#define TR_CLI_JOB_RUN_H

#include "check/check.h"
#include "check/lens_age.h"
#include "job/job.h"

/* All zero is one that has not begun; why may be set before, where there is no job to read. */
typedef struct {
    tr_job job;
    bool has_job;
    char **of_shop; /* the photos of a job that lists none; owned */
    int n_of_shop;
    char *const *photos; /* those that count, of the words, the shop or the job; borrowed */
    int n_photos;
    tr_lens_ages ages; /* when the job's lenses were confirmed, where the shop asks */
    tr_check check;    /* its result is one in any case, once it was measured */
    tr_error why;      /* there is no measurement */
} tr_job_run;

void tr_job_run_release(tr_job_run *run);

/* path: of the job's file; NULL, with run->why, where it could not be found. photos: those that
   were named in place of the job's; borrowed. */
void tr_job_run_read(tr_job_run *run, const char *path, char *const *photos, int n_photos);

/* Photos for a job that lists none, from its shop. */
void tr_job_run_find_photos(tr_job_run *run, const char *path);

/* Where the job was not read, or nothing can be measured, that is the result. n_threads: 0: one a
   processor. */
void tr_job_run_measure(tr_job_run *run, long n_threads);

/* The contract's exit status of a result. */
int tr_exit_status_of(const tr_check_result *result);

#endif
