#include <stddef.h>

#include "help/pages.h"

const tr_help_format tr_help_survey_file = {
    .name = "survey-file",
    .summary = "what a survey measures, and the lengths that it may rely on",
    .intro =
        (const char *const[]){
            "`trammel survey` reads it. At least one bar or rule is needed: photos alone give "
            "every "
            "shape, but no size. Two are better, since an error in one shows only against another.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"survey", NULL, NULL, "name of the survey"},
            {"lens", NULL, NULL,
             "the lens profile's file, or a list of up to 8, as in a job; never `unknown`"},
            {"sheets", NULL, NULL,
             "files of the sheets, 1 to 16: where the marks should be. A sheet may have `tags: []` "
             "here, if all its tags are listed under `stuck`"},
            {"stuck", NULL, "none", "tags stuck on by hand, whose places nobody knows; up to 60"},
            {"stuck[].sheet", NULL, NULL, "id of the sheet that it is stuck on"},
            {"stuck[].id", NULL, NULL, "number of the tag, of the sheet's family"},
            {"stuck[].size_mm", "mm", NULL, "edge of the tag, as printed"},
            {"stuck[].x_mm", "mm", "not known",
             "x of its centre on the sheet, if it is known: it counts for `--align` only"},
            {"stuck[].y_mm", "mm", "not known", "likewise y"},
            {"bars", NULL, "none",
             "scale bars beside the sheets, up to 8: for each `{ file }`, or the keys of a bar "
             "file "
             "in its place"},
            {"bars[].file", NULL, "the other keys of the bar are given here",
             "a bar's file; then none of the keys below"},
            {"bars[].bar", NULL, "from the file", "name of the bar"},
            {"bars[].tag_family", NULL, "from the file", "family of its tags"},
            {"bars[].tags", NULL, "from the file", "[id, id] of the tags at its two ends"},
            {"bars[].size_mm", "mm", "from the file", "edge of its tags"},
            {"bars[].distance_mm", "mm", "from the file", "from centre to centre of its tags"},
            {"bars[].sd_mm", "mm", "from the file",
             "how well that is known: one standard deviation, above 0"},
            {"rules", NULL, "none",
             "what a steel rule reads on the 100 mm rules that are printed on a sheet; up to 16"},
            {"rules[].sheet", NULL, NULL, "id of the sheet; each once"},
            {"rules[].x_mm", "mm", "not measured",
             "length of the rule along x, from 90 to 110. At least one of both is needed"},
            {"rules[].y_mm", "mm", "not measured", "likewise along y"},
            {"rules[].sd_mm", "mm", NULL,
             "how well they were read: one standard deviation, above 0. Two of three honest "
             "readings lie within it"},
            {"photos", NULL, "none; photos named on the command line replace the list",
             "up to 1000 photos, as in a job"},
            {"photos[].file", NULL, NULL, "the photo"},
            {"photos[].lens", NULL, NULL,
             "the lens profile's file with which this photo is measured"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples =
        (const tr_help_example[]){{"mat-survey.yaml",
                                   "survey: MAT-7 of bay 2\n"
                                   "lens: lens/bay-2-tablet.yaml\n"
                                   "sheets: [sheets/mat-7.yaml]\n"
                                   "stuck:\n"
                                   "  - { sheet: MAT-7, id: 60, size_mm: 120 }\n"
                                   "  - { sheet: MAT-7, id: 61, size_mm: 120, x_mm: 0 }\n"
                                   "bars:\n"
                                   "  - { file: bars/bar-1.yaml }\n"
                                   "  - { bar: BAR-2, tag_family: tag36h11, tags: [12, 13],\n"
                                   "      size_mm: 100, distance_mm: 999.8, sd_mm: 0.1 }\n"
                                   "rules:\n"
                                   "  - { sheet: MAT-7, x_mm: 99.6, y_mm: 100.3, sd_mm: 0.1 }\n"
                                   "photos:\n"
                                   "  - photos/1.jpg\n"
                                   "  - { file: photos/2.jpg, lens: lens/bay-2-spare.yaml }\n"},
                                  {0}},
    .see = (const char *const[]){"survey", "bar", "sheet", "lens-profile", NULL},
};
