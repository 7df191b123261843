#include <stddef.h>

#include "help/pages.h"

const tr_help_format tr_help_shop = {
    .name = "shop",
    .summary = "a shop: its folders, its store of records, what holds for all its jobs",
    .intro =
        (const char *const[]){
            "The file is called `trammel.yaml` and stands in the shop's folder, beside the folders "
            "that it names. `trammel shop` makes one. Commands look for it in the folder they are "
            "run in, then in the one above it, and so on; then `trammel check J-0001` finds the "
            "job, wherever in the shop's folder it is run. Nothing needs a shop: what is named by "
            "a path is found without one.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"shop", NULL, NULL, "name of the shop; at most 127 bytes"},
            {"units", NULL, "`mm`",
             "units of the lengths in reports, `mm` or `inch`. All else is in millimetres"},
            {"language", NULL, "as the system is set",
             "language of what people read: `en`, `de` or `es`"},
            {"paper", NULL, "`A4`", "what reports are printed on: `A4` or `Letter`"},
            {"store", NULL, "`records.db`",
             "where records are kept: a file, or a PostgreSQL database, as in "
             "`postgresql://trammel@server/records`"},
            {"keep", NULL, "`false`",
             "`true`: every result is kept, without the option `--keep`; or `false`"},
            {"files", NULL, "`database`",
             "where the store keeps photos and the other files of a record: in the `database`, or "
             "in a `folder`"},
            {"files_folder", NULL, "beside the store's file",
             "that folder; on a server's store it must be stated, and every computer must reach "
             "it"},
            {"lens_check_hours", "hours", "not asked",
             "how long ago a lens profile may have been confirmed by `trammel lens-check`; above "
             "0"},
            {"lens_check", NULL, "`tell`",
             "what becomes of a check whose profile was confirmed longer ago, or never: `tell`, it "
             "is told; `demand`, it cannot pass"},
            {"lenses", NULL, "`lenses`", "folder of the lens profiles"},
            {"sheets", NULL, "`sheets`", "folder of the sheet files"},
            {"layouts", NULL, "`layouts`", "folder of the layouts"},
            {"jobs", NULL, "`jobs`", "folder of the job files"},
            {"photos", NULL, "`photos`",
             "folder of the photos: a job that lists none has those in the folder of its name "
             "there, for example `photos/J-0001`"},
            {"references", NULL, "none",
             "which sheet marks which point of a vehicle, as `trammel job` writes it into new "
             "jobs: the shop's usual plates. A layout may state others for some points, or for "
             "further ones"},
            {"references[].point", NULL, NULL, "as in a job"},
            {"references[].sheet", NULL, "or `tag`", "as in a job"},
            {"references[].tag", NULL, "or `sheet`", "as in a job"},
            {"references[].size_mm", "mm", "only with `tag`", "as in a job"},
            {"references[].at_mm", "mm", "[0, 0], the centre mark", "as in a job"},
            {"references[].standoff_mm", "mm", "required for hub sheets", "as in a job"},
            {"references[].on", NULL, "`floor` for plates and mats, else `vehicle`",
             "as in a job: `floor` or `vehicle`"},
            {"reference_sd_mm", "mm", "required where there are `references`",
             "how well those sit on their points: one standard deviation per axis, from 0 to 1000"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples =
        (const tr_help_example[]){{"shop/trammel.yaml",
                                   "shop: Demo workshop\n"
                                   "units: mm\n"
                                   "language: en\n"
                                   "paper: A4\n"
                                   "store: records.db\n"
                                   "keep: true\n"
                                   "files: database\n"
                                   "lens_check_hours: 24\n"
                                   "lens_check: tell\n"
                                   "lenses: lenses\n"
                                   "sheets: sheets\n"
                                   "layouts: layouts\n"
                                   "jobs: jobs\n"
                                   "photos: photos\n"
                                   "references:\n"
                                   "  - { point: rear-left, sheet: PLATE-RL, at_mm: [95, 0] }\n"
                                   "  - { point: rear-right, sheet: PLATE-RR, at_mm: [95, 0] }\n"
                                   "  - { point: front-left, sheet: HUB-FL, standoff_mm: 62 }\n"
                                   "  - { point: front-right, sheet: HUB-FR, standoff_mm: 62 }\n"
                                   "  - { point: emblem, tag: 310, size_mm: 40, on: vehicle }\n"
                                   "reference_sd_mm: 1.5\n"},
                                  {0}},
    .see = (const char *const[]){"job", "check", NULL},
};
