#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_survey = {
    .name = "survey",
    .summary = "measure where the marks of a sheet, or tags stuck on it, really are",
    .synopsis = "SURVEY.yaml [PHOTO...] --out SHEET.yaml [--align MARK,MARK,...] [--json] "
                "[--keep] [--store STORE] [--by NAME] [--threads N]",
    .intro =
        (const char *const[]){
            "Measures where the marks of a printed sheet really are, and tags that were stuck on "
            "it "
            "by hand, and writes a sheet file with the measured places and how well they are "
            "known. A check that uses this file takes both into account.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"SURVEY.yaml", NULL,
             "the survey file: it names the lens profile, the sheets, what was stuck on by hand, "
             "and the known lengths (`trammel help survey-file`)",
             "f yaml yml"},
            {"PHOTO...", NULL, "photos; they replace the list in the survey file",
             "f jpg jpeg heic heif avif png"},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--out", "SHEET.yaml",
             "the new sheet file; for several sheets, the folder in which each gets the name of "
             "its old file. Only a surveyed sheet is ever replaced, never another file",
             "f yaml yml"},
            {"--align", "MARK,MARK,...",
             "the marks that define the sheet's frame: tags by their ids, corners by their number "
             "in the file, counted from 1 (`c1`), with several sheets as `MAT-7:c1`. Either marks "
             "whose places the file gives, such as corners of the mat's own artwork; or two tags "
             "stuck on its centre line, the lower one first: x is 0 on that line, and the origin "
             "is midway between them. Default: all marks whose places the file gives, except "
             "outliers",
             NULL},
            {"--json", NULL, "print the result as one JSON object, even if there is none", NULL},
            TR_HELP_KEEP,
            TR_HELP_THREADS,
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Example", .lines = "trammel survey mat-survey.yaml photos/*.jpg \\\n"
                                 "    --out sheets/mat-7-measured.yaml --align 60,61\n"},
            {"How to take the photos",
             .points =
                 (const char *const[]){
                     "Lay the sheet flat, with a scale bar on it or beside it, or better two: an "
                     "error in one shows only against another. A one-metre bar gives a scale ten "
                     "times better than a 100 mm rule.",
                     "Take 8 photos or more, from all sides, some steeply from above, some with "
                     "the camera upright and some with it turned by a quarter turn. Each shows as "
                     "many marks as possible; both tags of a bar are in at least two.",
                     "Nothing may move between the first photo and the last. Camera, focus and "
                     "zoom are those of the lens profile, as for a check.",
                     NULL}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "measured, and the file written"},
                     {"3",
                      "not measured: bad input, too few photos or marks, no known length in view, "
                      "or known lengths that contradict each other; or a file could not be "
                      "written, or the record not be kept. The reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"survey-file", "bar", "sheet", "survey-result", "check", "records",
                                 NULL},
};
