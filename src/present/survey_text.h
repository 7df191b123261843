/* A survey as a person reads it in a terminal: UTF-8, at most 80 columns. */
#ifndef TR_PRESENT_SURVEY_TEXT_H
#define TR_PRESENT_SURVEY_TEXT_H

#include <stdio.h>

#include "survey/survey.h"

/* files: where each sheet was written to. Whether it could be written is asked of out (ferror). */
void tr_survey_text(const tr_survey *v, char *const *files, FILE *out);

/* For a survey that ended without a result: its photos, lengths and findings, and why. files: of
   each sheet what was written before it failed, or NULL; files itself may be NULL. */
void tr_survey_text_failed(const tr_survey *v, const tr_error *why, char *const *files, FILE *out);

#endif
