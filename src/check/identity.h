/* Which vehicle and which sheets the codes in photos name: job key `codes`. */
#ifndef TR_CHECK_IDENTITY_H
#define TR_CHECK_IDENTITY_H

#include <stdbool.h>

#include "base/error.h"
#include "base/finding.h"
#include "job/job.h"

/* Texts of codes as they may be shown, cut; and names of files. */
enum { TR_CODE_TEXT_SIZE = 128, TR_CODE_PHOTO_SIZE = 256 };

typedef struct {
    char text[TR_CODE_TEXT_SIZE];
    char symbology[12];
    char photo[TR_CODE_PHOTO_SIZE];
} tr_code_result;

/* Of a sheet that has a label. */
typedef struct {
    char sheet[64];
    char read[TR_CODE_TEXT_SIZE];   /* "": no photo shows it */
    char photo[TR_CODE_PHOTO_SIZE]; /* the first that does */
} tr_label_result;

/* All zero: the job names no photos of codes. */
typedef struct {
    bool is_asked;
    char vehicle[18]; /* a VIN that was read: that of the job, else one that is not; "": none */
    char symbology[12];
    char photo[TR_CODE_PHOTO_SIZE];
    bool has_stated; /* the job has a vehicle id, ... */
    bool agrees;     /* ... and all VINs that were read are that */
    tr_label_result *sheets;
    tr_code_result *codes; /* in the order of the photos */
    int n_sheets, n_codes;
} tr_identity;

/* Reads the codes, and notes what differs and what was not read. out: to be released in any case.
   False: memory ran out, or ZBar is not there. */
TR_MUST_USE bool tr_identity_read(const tr_job *job, tr_identity *out, tr_findings *findings,
                                  tr_error *err);
void tr_identity_release(tr_identity *identity);

/* The VIN in the text of a code: without the asterisks of Code 39, blanks, and the I that some
   codes have before it; in capitals. False, and "" written: the text is none. *like: it looks like
   one, of 17 letters and digits, but has characters that none has. */
bool tr_identity_vin(const char *text, size_t size, char out[18], bool *like);

#endif
