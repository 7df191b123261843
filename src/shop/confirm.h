/* What was seen to before measuring, added to a job file that is there, whose comments and layout
   of lines stay. */
#ifndef TR_SHOP_CONFIRM_H
#define TR_SHOP_CONFIRM_H

#include "job/job.h"

/* Borrowed. */
typedef struct {
    char *const *ids; /* of preconditions of the job's layout */
    int n_ids;
    const char *by;       /* NULL: the job's technician */
    const char *not_done; /* why not; NULL: they are confirmed */
} tr_confirm;

/* Adds lines under `confirmed` of the file, which is then a list of lines, one a confirmation;
   where the job said that it was not done, its line is replaced. What is confirmed already is not
   touched: an error. The new file is read before it takes the place of the old one, and must say
   what the old one did, and the new confirmations. False: the file is as it was. */
TR_MUST_USE bool tr_job_confirm(const char *path, const tr_confirm *request, tr_error *err);

#endif
