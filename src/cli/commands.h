/* The commands of the program. Each gets its own words (argv[0] is the command's name) and returns
   the exit status. */
#ifndef TR_CLI_COMMANDS_H
#define TR_CLI_COMMANDS_H

/* The contract's exit statuses. */
enum {
    TR_EXIT_PASS = 0,
    TR_EXIT_FAIL = 1,
    TR_EXIT_INCONCLUSIVE = 2,
    TR_EXIT_NO_MEASURE = 3, /* bad input, too few marks, or the output could not be written */
    TR_EXIT_USAGE = 64,
};

int tr_cmd_check(int argc, char **argv);
int tr_cmd_design(int argc, char **argv);
int tr_cmd_lens(int argc, char **argv);
int tr_cmd_print(int argc, char **argv);
int tr_cmd_survey(int argc, char **argv);

#endif
