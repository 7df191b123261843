/* A lens re-check as a person reads it in a terminal: UTF-8, at most 80 columns. */
#ifndef TR_PRESENT_RECHECK_TEXT_H
#define TR_PRESENT_RECHECK_TEXT_H

#include <stdio.h>

#include "calib/recheck.h"

/* Whether the text could be written is asked of out (ferror). */
void tr_recheck_text(const tr_lens_run *run, const tr_recheck *recheck, FILE *out);

#endif
