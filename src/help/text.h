/* Pages as text for a terminal, in the user's language: at most 80 columns. Whether it could be
   written is asked of out (ferror). */
#ifndef TR_HELP_TEXT_H
#define TR_HELP_TEXT_H

#include <stdio.h>

#include "help/page.h"

/* "trammel check JOB.yaml ..." behind a prefix such as "usage: ", in as many lines as it takes. */
void tr_help_usage_text(const tr_help_command *command, const char *prefix, FILE *out);

void tr_help_command_text(const tr_help_command *command, FILE *out);
void tr_help_format_text(const tr_help_format *format, FILE *out);

/* What introduces a topic, and its sections. */
void tr_help_intro_text(const tr_help_topic *topic, FILE *out);
void tr_help_sections_text(const tr_help_section *sections, FILE *out);

/* Names, which stay as they are, and what they mean, in two columns. */
void tr_help_list_text(const tr_help_term *names, FILE *out);

#endif
