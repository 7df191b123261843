/* A report: one or two pages that say for years what was found and how: the verdict, what was
   checked against what, the numbers with their uncertainty, the plan, a photo with what was found
   in it, on what all this rests, and room to sign. As a PDF, or as one HTML file that needs no
   other.

   Both are made of the result alone, and of what is given with it: the same input gives the same
   bytes, no time is told but that of the record. Both carry the result's JSON, so that a program
   can read what a person holds in the hand. */
#ifndef TR_REPORT_REPORT_H
#define TR_REPORT_REPORT_H

#include <stddef.h>
#include <stdint.h>

#include "base/error.h"
#include "base/module.h"
#include "check/result.h"
#include "present/unit.h"

typedef enum { TR_PAPER_A4, TR_PAPER_LETTER } tr_report_paper;

/* The pixels of a photo of the result, into *out, which is the caller's; false: it cannot be shown,
   err says why. */
typedef bool tr_report_read_photo(const tr_photo_result *photo, tr_image *out, void *user,
                                  tr_error *err);

/* A lens profile that photos were measured with. "": not known. */
typedef struct {
    const char *name;
    int width_px, height_px;
    const char *calibrated, *confirmed; /* a day, 2026-01-12; a day or 2026-01-30T07:45:00Z */
} tr_report_lens;

/* A file that the result rests on. */
typedef struct {
    const char *what, *name, *sha256; /* "job", "jobs/j-17.yaml", 64 hexadecimal digits */
} tr_report_file;

/* The record that the result is kept in. All zero, and NULL or "" alike: it is not kept, and the
   report says so. */
typedef struct {
    long number; /* 0: there is none */
    const char *id, *hash, *made_at;
} tr_report_record;

/* Everything is borrowed. NULL stands for a text that is not known. */
typedef struct {
    const tr_check_result *result;
    const char *json; /* the result's, to be carried; NULL: none is */
    size_t json_size;
    const tr_check_result *before; /* an earlier check of the same job, to compare with, or NULL */
    tr_report_record record, record_before;
    const char *shop, *technician; /* technician: of the record; else the result's job tells it */
    const char *program;           /* with its version: what the result was measured with */
    const char *language;          /* of what people read (BCP 47), "en" where NULL */
    tr_length_unit unit;
    tr_report_paper paper;
    const tr_report_lens *lenses;
    int n_lenses;
    const tr_report_file *files;
    int n_files;
    tr_report_read_photo *read_photo; /* NULL: from the photos' files, as the result names them */
    void *user;                       /* for read_photo */
} tr_report;

/* Whether there is anything to compare: both have a measurement, and are of one job and layout.
   False: err says what differs. */
TR_MUST_USE bool tr_report_is_comparable(const tr_check_result *before,
                                         const tr_check_result *result, tr_error *err);

/* The file's bytes, owned by the caller (free); NULL on failure: memory ran out, or a library could
   not do its part (err says so). A check without a measurement has a report, too, which says why.
 */
TR_MUST_USE bool tr_report_pdf(const tr_report *report, uint8_t **data, size_t *size,
                               tr_error *err);
TR_MUST_USE bool tr_report_html(const tr_report *report, uint8_t **data, size_t *size,
                                tr_error *err);

#endif
