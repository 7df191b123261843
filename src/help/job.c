#include <stddef.h>

#include "help/pages.h"

const tr_help_format tr_help_job = {
    .name = "job",
    .summary = "one vehicle on one day: camera, required placement, sheets, photos",
    .intro =
        (const char *const[]){
            "`trammel check` measures what a job file describes. All files that it names are read "
            "and checked together: no tag may be on two sheets, each sheet that is named must be "
            "defined, no sheet may be both placed and a reference.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"job", NULL, NULL, "name of the job, repeated in the result"},
            {"vehicle_id", NULL, "",
             "the vehicle. If it is a vehicle identification number (VIN), its form and check "
             "digit "
             "are checked, and a wrong one is a warning"},
            {"technician", NULL, "", "who did the job, repeated in the result"},
            {"lens", NULL, NULL,
             "the lens profile's file; for several cameras a list of up to 8 files, of which each "
             "photo is measured with the one that its EXIF data fit; or `unknown`, and the lens is "
             "found from the photos themselves, of which there must then be at least four"},
            {"layout", NULL, NULL, "the layout's file: what the procedure requires"},
            {"sheets", NULL, NULL,
             "the files of all sheets in use, 1 to 64: those placed and those that mark wheels"},
            {"references", NULL, NULL,
             "which sheet marks which wheel. Both rear wheels are needed; all four if the layout's "
             "axes are `centreline`, or a placement is given from the front axle"},
            {"references[].point", NULL, NULL,
             "the wheel: `front-left`, `front-right`, `rear-left` or `rear-right`"},
            {"references[].sheet", NULL, NULL,
             "id of the sheet that lies there: a plate, or a mat; each marks one wheel"},
            {"references[].at_mm", "mm", "[0, 0], the centre mark",
             "[x, y]: the place on that sheet that lies on the wheel's point, such as the plumb "
             "mark, beside which it is printed"},
            {"reference_sd_mm", "mm", NULL,
             "how well a plate lies on its point, from 0 to 1000: one standard deviation per axis. "
             "u95 is only as good as this number: two of three plates should lie within it"},
            {"photos", NULL, "none; photos named on the command line replace the list",
             "up to 1000 photos: names of files, or `{ file, lens }` where a photo's EXIF data do "
             "not tell which profile is the right one"},
            {"photos[].file", NULL, NULL, "the photo"},
            {"photos[].lens", NULL, NULL,
             "the lens profile's file with which this photo is measured; it need not be among "
             "those of `lens`"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples =
        (const tr_help_example[]){
            {"job.yaml", "job: J-0147\n"
                         "vehicle_id: 1M8GDM9AXKP042788\n"
                         "technician: T-04\n"
                         "lens: lens/bay-2-tablet.yaml\n"
                         "layout: layouts/demo-rear.yaml\n"
                         "sheets: [sheets/mat-7.yaml, sheets/plate-a.yaml, sheets/plate-b.yaml,\n"
                         "         sheets/plate-c.yaml, sheets/plate-d.yaml]\n"
                         "references:\n"
                         "  - { point: rear-left, sheet: PLATE-A, at_mm: [95, 0] }\n"
                         "  - { point: rear-right, sheet: PLATE-B, at_mm: [95, 0] }\n"
                         "  - { point: front-left, sheet: PLATE-C, at_mm: [95, 0] }\n"
                         "  - { point: front-right, sheet: PLATE-D, at_mm: [95, 0] }\n"
                         "reference_sd_mm: 1.0\n"
                         "photos:\n"
                         "  - photos/1.jpg\n"
                         "  - { file: photos/2.jpg, lens: lens/bay-2-spare.yaml }\n"},
            {0}},
    .see = (const char *const[]){"check", "layout", "sheet", "lens-profile", NULL},
};
