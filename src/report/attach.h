/* What cairo cannot put into a PDF: the result as an attached file, the language, words for
   drawings. Private to report. */
#ifndef TR_REPORT_ATTACH_H
#define TR_REPORT_ATTACH_H

#include <stddef.h>
#include <stdint.h>

#include "base/error.h"

typedef struct {
    const char *language;           /* BCP 47 */
    const char *name, *description; /* of the attached file */
    const char *attachment;         /* its bytes; NULL: none */
    size_t size;
    const char *made_at;             /* its date, 2026-01-31T09:30:00Z; "": none */
    const char *const *alternatives; /* of the drawings, in the order of the pages */
    int n_alternatives;
} tr_pdf_extras;

/* *data: a PDF, which is replaced (free); left as it is on failure. The same input gives the same
   bytes. */
TR_MUST_USE bool tr_pdf_add(uint8_t **data, size_t *size, const tr_pdf_extras *extras,
                            tr_error *err);

#endif
