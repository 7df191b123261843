/* What the commands that write jobs say of one. */
#ifndef TR_CLI_JOB_TOLD_H
#define TR_CLI_JOB_TOLD_H

#include "job/job.h"

/* The layout's preconditions, a line each: confirmed by whom, or not. Nothing where there are none.
 */
void tr_tell_preconditions(const tr_job *job);

#endif
