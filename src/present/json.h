/* Small tools over jansson, for everything that is printed as JSON. Every function that returns a
   json_t gives a new reference, or NULL when memory ran out; every function that takes a value
   takes it over, NULL included, so that calls may be nested and only the last result be looked at.
 */
#ifndef TR_PRESENT_JSON_H
#define TR_PRESENT_JSON_H

#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>

#include "base/error.h"

/* False where the object or the value is missing, or memory ran out. */
bool tr_json_put(json_t *object, const char *key, json_t *value);
bool tr_json_push(json_t *array, json_t *value);

/* null for NaN and infinity, for which JSON has no number. */
json_t *tr_json_number(double value);

/* Names of files need not be UTF-8, which JSON must be: other bytes are shown as tr_text_show does.
 */
json_t *tr_json_text(const char *bytes);

/* {"file", "line", "key", "text"}: where and what went wrong; null where the error does not tell.
 */
json_t *tr_json_error(const tr_error *why);

/* One line of text with 17 significant digits and a newline. False where it cannot be made or
   written. */
bool tr_json_print(const json_t *json, FILE *out);

#endif
