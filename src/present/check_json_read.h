/* A check's result read back from its JSON (present/check_json.h), without the job and the photos
   that it was made from. What is shown of it is the same: text and JSON byte for byte, and the
   picture, as long as its photo's file is there. */
#ifndef TR_PRESENT_CHECK_JSON_READ_H
#define TR_PRESENT_CHECK_JSON_READ_H

#include <jansson.h>

#include "check/result.h"

/* out: to be released in any case. False: a value is missing or of another kind (TR_BAD_INPUT, with
   its key), or memory ran out. */
TR_MUST_USE bool tr_check_json_read(const json_t *json, tr_check_result *out, tr_error *err);

#endif
