#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_records = {
    .name = "records",
    .summary = "list, show, export, verify and measure again what was kept",
    .synopsis =
        "[list | show | export | verify | files | recheck | push] [N | STORE] "
        "[--store STORE] [--kind KIND] [--job JOB] [--vehicle VEHICLE] [--sheet SHEET] "
        "[--technician NAME] [--verdict VERDICT] [--from DATE] [--until DATE] [--limit N] "
        "[--jsonl FILE] [--csv FILE] [--hash HASH] [--out FOLDER] [--files FOLDER] [--json]",
    .intro =
        (const char *const[]){
            "A record is one measurement that was kept with --keep: its result, the inputs and "
            "photos as they were read, who made it, when, and with which version of the program. "
            "Records are never changed or removed. Each has the hash of the one before, so that "
            "whoever changes, removes or reorders one gives it away.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"list", NULL, "one line a record, the newest last (default)",
             "w list show export verify files recheck push"},
            {"show", NULL, "everything about record N, and its result", NULL},
            {"export", NULL, "all records, or those that the options choose, for other programs",
             NULL},
            {"verify", NULL,
             "read everything, and name the first record that is not as it was kept", NULL},
            {"files", NULL, "write the photos and inputs of record N to a folder, as they were",
             NULL},
            {"recheck", NULL,
             "measure record N again from its own photos and inputs, and compare: the same "
             "version must give the same bytes; another version, the same values within their u95",
             NULL},
            {"push", NULL,
             "hand on to another store, STORE, such as one that several shops share, all records "
             "that "
             "it does not have, each exactly once. If it is interrupted, run it again",
             NULL},
            {"N", NULL,
             "the record: its number, its id, or the first eight or more digits of its hash", NULL},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--store", "STORE", "the store: a file, or `postgresql://...` (default: the shop's)",
             "f db sqlite"},
            {"--kind", "KIND", "list, export: only records of this kind",
             "w check lens lens-check survey"},
            {"--job", "JOB", "list, export: only of this job", NULL},
            {"--vehicle", "VEHICLE", "list, export: only of the vehicle with this identification",
             NULL},
            {"--sheet", "SHEET", "list, export: only those in which this sheet was measured", NULL},
            {"--technician", "NAME", "list, export: only of this technician", NULL},
            {"--verdict", "VERDICT",
             "list, export: only with this verdict; \"no measurement\" is one, too",
             "w pass fail inconclusive agrees differs"},
            {"--from", "DATE",
             "list, export: only from this day on, `2026-01-31`, or this time, "
             "`2026-01-31T09:30:00Z` (UTC)",
             NULL},
            {"--until", "DATE", "list, export: only up to this day or time, inclusive", NULL},
            {"--limit", "N", "list, export: only the newest N; 0: all (list: 20, export: all)",
             NULL},
            {"--jsonl", "FILE",
             "export: to this file as JSON lines, one record a line; - is standard output",
             "f jsonl"},
            {"--csv", "FILE",
             "export: to this file as CSV, one row for each axis of each target; - is standard "
             "output",
             "f csv"},
            {"--hash", "HASH", "verify: this hash, noted earlier, must be one of the chain's",
             NULL},
            {"--out", "FOLDER", "files: where to; a new folder, or an empty one", "d"},
            {"--files", "FOLDER",
             "the folder in which a store on a server keeps its files, where it does so; push: of "
             "the store that is handed on to",
             "d"},
            {"--json", NULL, "list, show, verify, recheck: as one JSON object", NULL},
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples", .lines = "trammel check job.yaml --keep\n"
                                  "trammel records --verdict fail --from 2026-01-01\n"
                                  "trammel records show 17\n"
                                  "trammel records export --csv checks.csv --kind check\n"
                                  "trammel records recheck a1b2c3d4\n"},
            {"Export",
             .points =
                 (const char *const[]){
                     "JSON lines: `{\"record\": {...}, \"result\": {...}}`. The result is what "
                     "--json printed, byte for byte.",
                     "CSV: columns record, id, hash, made_at, kind, job, vehicle, technician, "
                     "program, verdict; then target, target_verdict, axis, unit, required, "
                     "measured, error, u95, limit, axis_verdict. Records without a measured target "
                     "have one row, its last columns empty. Lines end as RFC 4180 has it.",
                     "A text in the CSV that a spreadsheet would take for a formula has an "
                     "apostrophe in front.",
                     NULL}},
            {"Is everything still there?",
             .paragraphs =
                 (const char *const[]){
                     "`verify` finds what was changed, removed or reordered between records. That "
                     "the newest ones are missing it finds only if their hash was noted elsewhere, "
                     "as on a printed report: give it with --hash.",
                     NULL}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "done; verify: sound; recheck: the same bytes, or, by another version, "
                           "the same verdict and all values within their u95"},
                     {"1", "verify: something is not as it was kept; recheck: the result is "
                           "another"},
                     {"3", "it could not be done; the reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"check", "lens", "survey", "check-result", NULL},
};
