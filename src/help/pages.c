#include "help/pages.h"

#include <stddef.h>
#include <string.h>

const tr_help_command *const tr_help_commands[] = {&tr_help_check,
                                                   &tr_help_confirm,
                                                   &tr_help_design,
                                                   &tr_help_job_command,
                                                   &tr_help_lens,
                                                   &tr_help_lens_check,
                                                   &tr_help_plan,
                                                   &tr_help_print,
                                                   &tr_help_records,
                                                   &tr_help_report,
                                                   &tr_help_shop_command,
                                                   &tr_help_survey,
                                                   NULL};

const tr_help_format *const tr_help_formats[] = {&tr_help_shop,          &tr_help_job,
                                                 &tr_help_layout,        &tr_help_sheet,
                                                 &tr_help_lens_profile,  &tr_help_stations,
                                                 &tr_help_survey_file,   &tr_help_bar,
                                                 &tr_help_check_result,  &tr_help_plan_result,
                                                 &tr_help_lens_result,   &tr_help_recheck_result,
                                                 &tr_help_survey_result, NULL};

const tr_help_command *tr_help_find_command(const char *name) {
    for (int i = 0; tr_help_commands[i]; i++) {
        if (strcmp(tr_help_commands[i]->name, name) == 0) return tr_help_commands[i];
    }
    return NULL;
}

const tr_help_format *tr_help_find_format(const char *name) {
    for (int i = 0; tr_help_formats[i]; i++) {
        if (strcmp(tr_help_formats[i]->name, name) == 0) return tr_help_formats[i];
    }
    return NULL;
}
