#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_shop_command = {
    .name = "shop",
    .summary = "make the folder of a shop: sheets, layouts, jobs, photos, records",
    .synopsis = "DIR [--name NAME] [--units mm|inch] [--language en|de|es] [--paper A4|Letter] "
                "[--kit DIR]",
    .intro =
        (const char *const[]){
            "Makes a folder in which everything has its place, from the starter kit: "
            "`trammel.yaml`, "
            "which says what holds for all jobs; sheets to begin with, and their prints; a layout "
            "to try out. From then on `trammel job` makes jobs, and all commands find their files "
            "there by name, wherever in the folder they are run.",
            NULL},
    .operands =
        (const tr_help_word[]){{"DIR", NULL, "the folder: a new one, or one that is empty", "d"},
                               {0}},
    .options =
        (const tr_help_word[]){
            {"--name", "NAME", "the shop's name, which stands on its reports", NULL},
            {"--units", "mm|inch", "units of the lengths in reports (default: mm)", "w mm inch"},
            {"--language", "en|de|es", "language of what people read (default: en)", "w en de es"},
            {"--paper", "A4|Letter", "what reports are printed on (default: A4)", "w A4 Letter"},
            {"--kit", "DIR", "another starter kit (default: the one that comes with the program)",
             "d"},
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples", .lines = "trammel shop bay-2\n"
                                  "trammel shop bay-2 --name 'Demo workshop' --language de\n"},
            {"What is in it",
             .terms =
                 (const tr_help_term[]){
                     {"trammel.yaml", "the shop; `trammel help shop` describes its keys"},
                     {"sheets/", "the sheet files: four plates, a mat, a checkerboard"},
                     {"prints/", "the same as PDF, to be printed at 100 %"},
                     {"layouts/", "what procedures require; `try-out` is there to begin with"},
                     {"lenses/", "the lens profiles; `trammel lens` writes them"},
                     {"jobs/", "the jobs; `trammel job` makes them"},
                     {"photos/", "a folder for each job's photos"},
                     {0}}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "the shop was made"},
                     {"3",
                      "it was not: the folder is not empty or lies in a shop, or something could "
                      "not be written; the reason is on standard error, and nothing is left "
                      "behind"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"job", "check", NULL},
};
