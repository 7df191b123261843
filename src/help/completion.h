/* What bash completes behind "trammel", from the pages: commands, formats, options, and words or
   files in the place of values and operands. The script uses nothing but bash itself. */
#ifndef TR_HELP_COMPLETION_H
#define TR_HELP_COMPLETION_H

#include <stdio.h>

/* Whether it could be written is asked of out (ferror). */
void tr_help_bash_completion(FILE *out);

#endif
