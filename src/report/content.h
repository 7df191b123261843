/* What stands in a report, in its order. Private to report. */
#ifndef TR_REPORT_CONTENT_H
#define TR_REPORT_CONTENT_H

#include "report/document.h"
#include "report/report.h"

/* *doc is to be released in any case; doc->is_full: memory ran out. */
void tr_report_content(const tr_report *report, tr_document *doc);

/* "Placement check: job J-0147". */
void tr_report_title(const tr_report *report, char *out, size_t size);
/* The same with the vehicle's identification, for the file's title. */
void tr_report_full_title(const tr_report *report, char *out, size_t size);
/* What each page says of the whole, in one line. */
void tr_report_foot(const tr_report *report, char *out, size_t size);

/* Parts, in the order of the pages. */
void tr_report_targets(const tr_report *report, tr_document *doc); /* numbers.c */
void tr_report_budget(const tr_report *report, tr_document *doc);  /* numbers.c */
void tr_report_changes(const tr_report *report, tr_document *doc); /* changes.c */
void tr_report_vehicle(const tr_report *report, tr_document *doc); /* grounds.c: what marks it */
void tr_report_floor(const tr_report *report, tr_document *doc);   /* grounds.c */
void tr_report_sheets(const tr_report *report, tr_document *doc);  /* grounds.c */
void tr_report_preconditions(const tr_report *report, tr_document *doc); /* preconditions.c */
void tr_report_inputs(const tr_report *report,
                      tr_document *doc); /* inputs.c: lenses, photos, files */
/* Those that stand against a pass, which belong below the verdict. */
void tr_report_blocking(const tr_report *report, tr_document *doc); /* warnings.c */
void tr_report_warnings(const tr_report *report, tr_document *doc); /* warnings.c: all others */
/* How many others there are. */
int tr_report_n_warnings(const tr_report *report);               /* warnings.c */
void tr_report_areas(const tr_report *report, tr_document *doc); /* inputs.c */

/* ---- Words that several parts use ---- */

/* NULL is "". */
const char *tr_or_empty(const char *text);
/* A quantity and its u95, "12.1 ±0.4"; "–" where it is not measured. */
enum { TR_PAIR_SIZE = 64 };
void tr_report_pair(const tr_report *report, tr_axis axis, const tr_quantity *q,
                    char out[TR_PAIR_SIZE]);
/* A cell with a true minus. */
void tr_doc_cell_number(tr_document *doc, const char *cell);
/* "2026-01-31 09:30 UTC" of a time that tells its zone; without UTC of one that does not. What is
   no time, or a day alone, stays as it is. */
enum { TR_SHOWN_TIME_SIZE = 64 };
void tr_report_time(const char *time, char out[TR_SHOWN_TIME_SIZE]); /* moment.c */
/* "2 days before this check", which was made at `check`; "" where one is not known, or it was made
   before. Both as check/lens_age.h has them. */
void tr_report_age(const char *time, const char *check, char *out, size_t size); /* moment.c */
/* A paragraph of a sentence with lengths, in the report's unit. */
void tr_report_sentence(const tr_report *report, tr_document *doc, tr_doc_style style,
                        const char *sentence);
/* "X forward, mm". */
void tr_report_axis_title(const tr_report *report, tr_axis axis, char *out, size_t size);
/* The title with the unit behind it: "wheelbase, mm". */
void tr_report_with_unit(const tr_report *report, const char *title, tr_axis axis, char *out,
                         size_t size);

#endif
