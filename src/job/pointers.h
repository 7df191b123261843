/* The pointers of a job file, and what sheets without tags need. Private to job. */
#ifndef TR_JOB_POINTERS_H
#define TR_JOB_POINTERS_H

#include "base/yaml.h"
#include "job/job.h"

/* y is the list `pointers`; the job has its sheets, its references and its layout. Checked is that
   each is a plate with a tip that does nothing else, laid at a point that its target has; and that
   those of a target, which is placed and has no tags, tell where it is. */
void tr_read_pointers(tr_yaml y, tr_job *job);

/* Of all sheets without tags: each is placed, and either has pointers or can be found by its own
   artwork. y is the job's root. */
void tr_check_untagged(tr_yaml y, const tr_job *job);

#endif
