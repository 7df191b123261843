/* When a check is made, and when its lenses were last confirmed: what its result takes from nowhere
   else, and so stands in its record ("moment" in records/details.h):

     {"at": "2026-01-31T09:30:00Z", "lens_check_hours": 24, "demanded": false,
      "confirmed": {"bay-2-tablet": "2026-01-30T07:45:00Z", "bay-2-spare": null}} */
#ifndef TR_CLI_LENS_MOMENT_H
#define TR_CLI_LENS_MOMENT_H

#include "check/lens_age.h"
#include "cli/keep.h"

/* What the shop asks, and what its store tells. After the job was read; keep has begun before. */
void tr_lens_moment_find(tr_keep *keep, const tr_job *job, tr_lens_ages *out);

/* *text: owned by the caller (free); NULL, and true, where the shop asks for nothing. */
TR_MUST_USE bool tr_lens_moment_print(const tr_job *job, const tr_lens_ages *ages, char **text,
                                      tr_error *err);
/* text: NULL, and out all zero, where nothing was asked. */
TR_MUST_USE bool tr_lens_moment_read(const char *text, const tr_job *job, tr_lens_ages *out,
                                     tr_error *err);

#endif
