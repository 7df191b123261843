#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_confirm = {
    .name = "confirm",
    .summary = "say in a job what was seen to before measuring",
    .synopsis = "JOB [ID...] [--by NAME] [--not-done REASON]",
    .intro =
        (const char *const[]){
            "A layout may list preconditions: tyre pressures set, tank full, steering straight. "
            "This adds to a job file who confirmed them, and that it is now; comments and all else "
            "in the file stay as they are. A check cannot pass while a required one is not "
            "confirmed.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"JOB", NULL, "the job: its name in the shop, such as J-0001, or its file",
             "f yaml yml"},
            {"ID...", NULL,
             "ids of preconditions, as the layout has them; without any, the job's are listed, and "
             "nothing is written",
             NULL},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--by", "NAME", "who confirms them (default: the job's technician)", NULL},
            {"--not-done", "REASON",
             "instead of confirming them: they were not done, and why. They can still be confirmed "
             "later",
             NULL},
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples", .lines = "trammel confirm J-0001 tyre-pressures steering-straight --by "
                                  "T-04\n"
                                  "trammel confirm J-0001 tank-full --not-done 'pump out of "
                                  "order'\n"},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "the job file was written, and reads well"},
                     {"3",
                      "it was not: an id is unknown or confirmed already, or the file cannot be "
                      "read or written; the reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"job", "layout", "check", NULL},
};
