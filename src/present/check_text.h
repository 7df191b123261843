/* A check as a person reads it in a terminal: UTF-8, at most 80 columns, the verdict last where the
   eye rests. Colours (Okabe and Ito's, by ANSI sequences) only where asked for; word and shape tell
   the same without them. Text that came from outside is shown without control characters. */
#ifndef TR_PRESENT_CHECK_TEXT_H
#define TR_PRESENT_CHECK_TEXT_H

#include <stdio.h>

#include "check/result.h"

/* Of a check that ended without a measurement: its photos, its findings, why. Whether it could be
   written is asked of out (ferror). */
void tr_check_text(const tr_check_result *result, bool is_coloured, FILE *out);

#endif
