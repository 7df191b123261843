#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_report = {
    .name = "report",
    .summary = "write a check's result on one or two pages, to sign and to keep",
    .synopsis = "RECORD|JOB|RESULT.json --out FILE.pdf|FILE.html "
                "[--before RECORD|RESULT.json] [--store STORE] [--units mm|inch] [--paper "
                "A4|Letter] [--threads N]",
    .intro =
        (const char *const[]){
            "Writes a report: the verdict, what was checked against what, each target's numbers "
            "with u95 and limits, the plan, a photo with what was found in it, references and "
            "cross-checks, what the uncertainty is made of, lens, photos with their hashes, "
            "warnings, cautions, and room for a signature.",
            "A job is measured for it, as `trammel check` does; of a record or a result it says "
            "what was found then.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"RECORD", NULL, "a record of the store: its number, its id, or how its hash begins",
             NULL},
            {"JOB", NULL,
             "a job file, or a job of the shop; the report then says that it is no record",
             "f yaml yml"},
            {"RESULT.json", NULL,
             "what `trammel check --json` printed. Its photos are shown where they are found, "
             "unchanged, at the paths that it names: from here, or from its own folder",
             "f json"},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--out", "FILE", "the file to write, a name that ends in .pdf or .html", "f pdf html"},
            {"--before", "RESULT",
             "an earlier result or record of the same job, to show what was moved since, and by "
             "how much (default: of a record, the check of this job that was kept before it)",
             "f json"},
            {"--store", "STORE", "the store: a file, or `postgresql://...` (default: the shop's)",
             "f db sqlite"},
            {"--units", "UNIT",
             "in which lengths are shown: mm or inch (default: as the shop says, else mm). Angles "
             "are in degrees, and the "
             "result in the file stays in millimetres",
             "w mm inch"},
            {"--paper", "SIZE", "A4 or Letter (default: as the shop says, else A4)", "w A4 Letter"},
            TR_HELP_THREADS,
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples", .lines = "trammel report 17 --out report.pdf\n"
                                  "trammel report job.yaml --out report.pdf\n"
                                  "trammel check job.yaml --json > second.json\n"
                                  "trammel report second.json --before first.json --out after.pdf\n"
                                  "trammel report second.json --out report.html --units inch\n"},
            {"What programs can read",
             .paragraphs =
                 (const char *const[]){
                     "A PDF carries the result as the attached file result.json, an HTML file in "
                     "its element `<script type=\"application/json\" id=\"result\">`. Both are "
                     "made "
                     "of the result alone: the same result gives the same bytes.",
                     NULL}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "the report was written; its verdict is pass"},
                     {"1", "the report was written; its verdict is fail"},
                     {"2", "the report was written; its verdict is inconclusive"},
                     {"3",
                      "no measurement: the report was written, and says why, where the job or the "
                      "result could be read. Also if the report could not be written"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"check", "job", "check-result", NULL},
};
