/* Small tools over jansson, for everything that is written or read as JSON. Every function that
   makes a json_t gives a new reference, or NULL when memory ran out; every function that puts a
   value somewhere takes it over, NULL included, so that calls may be nested and only the last
   result be looked at. */
#ifndef TR_BASE_JSON_H
#define TR_BASE_JSON_H

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

/* The value that the text holds; a key that stands twice in an object is refused. NULL:
   TR_NO_MEMORY, or TR_BAD_INPUT with the line and jansson's words. */
TR_MUST_USE json_t *tr_json_read(const char *text, size_t size, tr_error *err);

/* The value as text, which ends with 0 and is the caller's to free; whole, or NULL and
   TR_NO_MEMORY. flags: jansson's. size: of the text, NULL: not wanted. */
TR_MUST_USE char *tr_json_write(const json_t *json, size_t flags, size_t *size, tr_error *err);

/* One line of text with 17 significant digits and a newline. False where it cannot be made or
   written. */
bool tr_json_print(const json_t *json, FILE *out);

#endif
