/* Records for other programs, written one at a time. */
#ifndef TR_RECORDS_EXPORT_H
#define TR_RECORDS_EXPORT_H

#include <stdio.h>

#include "store/store.h"

/* JSON lines: one object a line, {"record": {...}, "result": {...}}, the first as tr_record_json
   has it, the second byte for byte as --json printed it. Errors of `out` are the caller's to ask.
 */
TR_MUST_USE bool tr_export_jsonl(tr_store *store, const tr_record *record, FILE *out,
                                 tr_error *err);

/* CSV (RFC 4180: lines end with CR LF; fields with a comma, a quote or a line's end stand in
   quotes), UTF-8. One row an axis of a target, as a control chart needs them; a check without a
   measurement, a lens and a survey have one row with nothing from `target` on. A text that a
   spreadsheet would take for a formula (it begins with = + - @, a tab or a line's end) gets an
   apostrophe in front. Numbers have all their digits; mm and degrees. */
void tr_export_csv_head(FILE *out);
TR_MUST_USE bool tr_export_csv(tr_store *store, const tr_record *record, FILE *out, tr_error *err);

#endif
