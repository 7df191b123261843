/* Results on standard output, alike for all commands. */
#ifndef TR_CLI_OUTPUT_H
#define TR_CLI_OUTPUT_H

#include <jansson.h>

#include "base/error.h"

/* Prints the result, which is taken over; NULL: memory ran out for it. */
TR_MUST_USE bool tr_output_json(json_t *json, tr_error *err);

/* The same in two steps, for a result that is needed elsewhere, too: its text with a newline, owned
   by the caller (free), and that on standard output. */
TR_MUST_USE bool tr_output_make(json_t *json, char **text, size_t *size, tr_error *err);
TR_MUST_USE bool tr_output_text(const char *text, size_t size, tr_error *err);

/* What was printed as text has got out. */
TR_MUST_USE bool tr_output_end(tr_error *err);

#endif
