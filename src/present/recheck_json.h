/* A lens re-check as one JSON object; keys: help/recheck_result.c. */
#ifndef TR_PRESENT_RECHECK_JSON_H
#define TR_PRESENT_RECHECK_JSON_H

#include <jansson.h>

#include "calib/recheck.h"

/* A new reference, NULL when memory ran out. file: the profile's. why: NULL, or why there is no
   verdict. */
json_t *tr_recheck_json(const tr_lens_run *run, const tr_recheck *recheck, const char *file,
                        const tr_error *why);

#endif
