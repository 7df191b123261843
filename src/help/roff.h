/* Pages as manual pages for man(1): the macros of man(7), UTF-8. */
#ifndef TR_HELP_ROFF_H
#define TR_HELP_ROFF_H

#include <stdio.h>

#include "help/page.h"

/* What the pages of one manual share. */
typedef struct {
    const char *version, *date; /* date: "2026-11-29", or "" */
    const char *cautions;       /* stands at the end of each page */
    FILE *out;                  /* errors are asked of it (ferror) */
} tr_help_manual;

void tr_help_command_roff(const tr_help_command *command, const tr_help_manual *m); /* section 1 */
void tr_help_format_roff(const tr_help_format *format, const tr_help_manual *m);    /* section 5 */
void tr_help_program_roff(const tr_help_manual *m);                                 /* trammel(1) */
void tr_help_files_roff(const tr_help_manual *m);                                   /* section 5 */

#endif
