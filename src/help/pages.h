/* The pages. Each stands in a file of its own, so that a command has no more than its own. */
#ifndef TR_HELP_PAGES_H
#define TR_HELP_PAGES_H

#include "help/page.h"

extern const tr_help_command tr_help_check, tr_help_design, tr_help_lens, tr_help_plan,
    tr_help_print, tr_help_records, tr_help_report, tr_help_survey;
extern const tr_help_command tr_help_confirm, tr_help_lens_check;
/* Of commands that make what a format of the same name describes. */
extern const tr_help_command tr_help_job_command, tr_help_shop_command;
extern const tr_help_format tr_help_job, tr_help_layout, tr_help_sheet, tr_help_lens_profile,
    tr_help_stations, tr_help_survey_file, tr_help_bar, tr_help_check_result, tr_help_plan_result,
    tr_help_lens_result, tr_help_survey_result;
extern const tr_help_format tr_help_shop, tr_help_recheck_result;
extern const tr_help_topic tr_help_program, tr_help_files;

/* All commands in the order of the alphabet, all formats in that of their use; both end with NULL.
 */
extern const tr_help_command *const tr_help_commands[];
extern const tr_help_format *const tr_help_formats[];

/* By its name; NULL where there is none. */
const tr_help_command *tr_help_find_command(const char *name);
const tr_help_format *tr_help_find_format(const char *name);

#endif
