/* A lens calibration as a person reads it in a terminal: UTF-8, at most 80 columns. */
#ifndef TR_PRESENT_LENS_TEXT_H
#define TR_PRESENT_LENS_TEXT_H

#include <stdio.h>

#include "calib/lens_run.h"

/* file: where the profile was written to; is_replaced: an older one was there. Whether the text
   could be written is asked of out (ferror). */
void tr_lens_text(const tr_lens_run *run, const char *file, bool is_replaced, FILE *out);

/* The table of the photos, with the reasons of those that are not used. is_solved: there is a lens;
   else what only that tells is left out. */
void tr_lens_photos_text(const tr_lens_run *run, bool is_solved, FILE *out);

/* "trammel COMMAND: PHOTO: not used: ..." of each photo that is not used, where there is no result.
 */
void tr_lens_unused_text(const tr_lens_run *run, const char *command, FILE *out);

#endif
