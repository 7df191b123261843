/* What a record holds, as it was before it was kept. */
#ifndef TR_RECORDS_LOAD_H
#define TR_RECORDS_LOAD_H

#include <jansson.h>

#include "check/result.h"
#include "image/image.h"
#include "store/store.h"

/* The first file of this role; NULL: there is none. Valid as long as the record. */
const tr_record_file *tr_record_find_file(const tr_record *record, const char *role);

/* The file came out of the measurement; else it was read. */
bool tr_record_is_output(const tr_record *record, const tr_record_file *file);

/* The result's JSON, byte for byte as --json printed it, with a 0 behind it; owned by the caller
   (free). NULL on failure. */
char *tr_record_result_text(tr_store *store, const tr_record *record, size_t *size, tr_error *err);
/* The same, read: a new reference. */
json_t *tr_record_result(tr_store *store, const tr_record *record, tr_error *err);

/* A record of a check, by number, id or hash (tr_store_read), and its result. Both are to be
   released in any case. False: there is none, it is not of a check, or it cannot be read. */
TR_MUST_USE bool tr_record_load(tr_store *store, const char *which, tr_record *record,
                                tr_check_result *result, tr_error *err);

/* The check of the same job that was kept last before this one, and in which something was
   measured: out->number is 0 where there is none. out: to be released. */
TR_MUST_USE bool tr_record_before(tr_store *store, const tr_record *record, tr_record *out,
                                  tr_error *err);

/* The pixels of a photo of a kept result, by its SHA-256; owned by the caller. */
TR_MUST_USE bool tr_record_photo(tr_store *store, const tr_photo_result *photo, tr_image *out,
                                 tr_error *err);

/* All of a record but its files' bytes. A new reference, NULL when memory ran out. */
json_t *tr_record_json(const tr_record *record);

#endif
