/* The commands of the program: NAME is tr_cmd_NAME in the module trammel-NAME.so (base/module.h), a
   '-' in it being a '_' in the function's name.
   Each gets its own words (argv[0] is the command's name) and returns the exit status. */
#ifndef TR_CLI_COMMANDS_H
#define TR_CLI_COMMANDS_H

#include "base/module.h"

/* The contract's exit statuses. */
enum {
    TR_EXIT_PASS = 0,
    TR_EXIT_FAIL = 1,
    TR_EXIT_INCONCLUSIVE = 2,
    TR_EXIT_NO_MEASURE = 3, /* bad input, too few marks, or the output could not be written */
    TR_EXIT_USAGE = 64,
};

typedef int tr_command(int argc, char **argv);

TR_MODULE_EXPORT tr_command tr_cmd_check;
TR_MODULE_EXPORT tr_command tr_cmd_confirm;
TR_MODULE_EXPORT tr_command tr_cmd_design;
TR_MODULE_EXPORT tr_command tr_cmd_job;
TR_MODULE_EXPORT tr_command tr_cmd_lens;
TR_MODULE_EXPORT tr_command tr_cmd_lens_check;
TR_MODULE_EXPORT tr_command tr_cmd_plan;
TR_MODULE_EXPORT tr_command tr_cmd_print;
TR_MODULE_EXPORT tr_command tr_cmd_records;
TR_MODULE_EXPORT tr_command tr_cmd_report;
TR_MODULE_EXPORT tr_command tr_cmd_shop;
TR_MODULE_EXPORT tr_command tr_cmd_survey;

#endif
