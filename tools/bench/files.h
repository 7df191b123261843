/* A simulated job as the files that a user would have. */
#ifndef TR_TOOLS_BENCH_FILES_H
#define TR_TOOLS_BENCH_FILES_H

#include "job/job.h"

/* Writes the job with its lens profile, layout and sheets into a folder that is there; its path is
   FOLDER/job.yaml. Sheets are floor sheets, the layout judges x, y and yaw. */
TR_MUST_USE bool bench_write_job(const tr_job *job, const char *folder, tr_error *err);

#endif
