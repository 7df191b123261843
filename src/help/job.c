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
             "which sheet marks which point of the vehicle, up to 32. Both rear wheels are needed; "
             "all four if the layout's axes are `centreline`, or a placement is given from the "
             "front "
             "axle. Both wheels of an axle are marked alike, by plates or by hub sheets"},
            {"references[].point", NULL, NULL,
             "the wheel: `front-left`, `front-right`, `rear-left` or `rear-right`; or a name of "
             "your "
             "own for another point, such as an emblem, from which a placement may count"},
            {"references[].sheet", NULL, "or `tag`",
             "id of the sheet that marks it; each marks one point. At a wheel: a plate on the "
             "floor, "
             "whose `at_mm` lies under the plumb line from the hub; or a sheet of kind hub that "
             "hangs "
             "on the wheel"},
            {"references[].tag", NULL, "or `sheet`",
             "number of a lone tag that is stuck on the point, of the family of the first sheet"},
            {"references[].size_mm", "mm", "only with `tag`", "edge of that tag's black border"},
            {"references[].at_mm", "mm", "[0, 0], the centre mark",
             "[x, y]: the place on that sheet that lies on the point, such as the plumb mark, "
             "beside "
             "which it is printed; of a hub sheet the place that lies on the wheel's axis"},
            {"references[].standoff_mm", "mm", "required for hub sheets",
             "from the printed face of a hub sheet inward to the wheel's mid-plane, known as well "
             "as `reference_sd_mm` says: half of what left and right are off goes into y"},
            {"references[].on", NULL, "`floor` for plates and mats, else `vehicle`",
             "of a point with a name of its own: whether its sheet lies on the `floor`, plumb "
             "under "
             "the point, or is stuck on the `vehicle`"},
            {"reference_sd_mm", "mm", NULL,
             "how well a sheet's `at_mm` lies on its point, from 0 to 1000: one standard deviation "
             "per axis. u95 is only as good as this number: two of three plates should lie within "
             "it. Of a hub sheet: how far its `at_mm` hangs from the wheel's axis, and "
             "how far off its `standoff_mm` is"},
            {"hub_tilt_sd_deg", "degrees", "0.3",
             "how squarely a hub sheet hangs to its wheel's axis: one standard deviation per axis. "
             "It is most of u95 of toe and camber unless the vehicle is rolled (`positions`)"},
            {"floor_sd_mm", "mm", "1",
             "how even the floor is under the wheels, where the vehicle is rolled: one standard "
             "deviation. 2 mm under one side turn the thrust angle by 0.04°; a sheet that stays on "
             "the vehicle's body shows it"},
            {"pointers", NULL, "none",
             "plates whose printed tips are laid at points of targets without tags, up to 64: two "
             "or more of what lies on the floor, three or more of what stands, not in line. They "
             "tell where it is, or where its artwork is to be sought"},
            {"pointers[].sheet", NULL, NULL, "id of the plate, whose file has `tip_mm`"},
            {"pointers[].at", NULL, NULL, "id of the sheet at which it is laid"},
            {"pointers[].point", NULL, NULL,
             "name of the point, one of `points` in the sheet file of that"},
            {"pointer_sd_mm", "mm", "1",
             "how well a tip lies at its point, above 0 and at most 1000: one standard deviation "
             "per axis"},
            {"level", NULL, "none",
             "what a level shows of the floor, from which the slopes of the floor against the "
             "horizontal follow, everywhere: photos tell only how one place slopes against "
             "another"},
            {"level.on", NULL, NULL,
             "where it lay: `stand`, where the wheels stand (on a straight bar from wheel to "
             "wheel), or the id of a sheet of the job that lies on the floor"},
            {"level.along_deg", "degrees", NULL,
             "its reading when it lies along the vehicle, whichever way the sheet is turned: above "
             "0 where its end towards the vehicle's front is the higher one. A reading in mm a "
             "metre is 0.0573 times as many degrees"},
            {"level.across_deg", "degrees", NULL,
             "its reading when it lies across the vehicle: above 0 where its end towards the "
             "vehicle's left is the higher one"},
            {"level.sd_deg", "degrees", NULL,
             "how well both are known, above 0: one standard deviation of the level and of how it "
             "lies. Read it twice, turned end for end, and enter the mean"},
            {"codes", NULL, "no codes are read",
             "up to 100 photos from which bar codes (Code 39, Code 128) and QR codes are read; the "
             "job's own may be among them. A VIN that is read and is not `vehicle_id` stands "
             "against a pass; a job without `vehicle_id` takes the VIN that was read. Labels of "
             "sheets tell which sheets were in use"},
            {"photos", NULL, "none; photos named on the command line replace the list",
             "up to 1000 photos: names of files, or `{ file, lens }` where a photo's EXIF data do "
             "not tell which profile is the right one"},
            {"photos[].file", NULL, NULL, "the photo"},
            {"photos[].lens", NULL, NULL,
             "the lens profile's file with which this photo is measured; it need not be among "
             "those of `lens`"},
            {"positions", NULL, "the vehicle is not rolled",
             "instead of `photos`: 2 to 8 lists of photos, one for each place to which the vehicle "
             "was rolled, by about a quarter turn of its wheels, straight ahead. The hub sheets "
             "turn "
             "with the wheels, which tells each wheel's spin axis: run-out compensation. Targets "
             "are "
             "measured in the last position. Take each position's photos with a sheet on the floor "
             "beside the vehicle on either side, which must not move"},
            {"positions[][].file", NULL, NULL, "as in `photos`"},
            {"positions[][].lens", NULL, NULL, "as in `photos`"},
            {"moved", NULL, "none",
             "ids of sheets on the floor or on stands that were moved between positions: each "
             "counts in each position for itself"},
            {"confirmed", NULL, "nothing is confirmed",
             "what was seen to before measuring, of the layout's `preconditions`: each at most "
             "once. A required one that is not confirmed rules out a pass. `trammel confirm` "
             "writes it"},
            {"confirmed[].id", NULL, NULL, "id of the precondition"},
            {"confirmed[].by", NULL, "required without `not_done`", "who confirmed it"},
            {"confirmed[].at", NULL, "required without `not_done`",
             "when: date and time of day, for example `2026-11-29T08:10`, also with seconds and "
             "with the difference to UTC, `2026-11-29T08:10:00+01:00`"},
            {"confirmed[].not_done", NULL, "it was done",
             "in the place of a confirmation: it was not done, and why; at most 127 bytes"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples =
        (const tr_help_example[]){
            {"rolled.yaml",
             "job: J-0148\n"
             "lens: lens/bay-2-tablet.yaml\n"
             "layout: layouts/demo-boards.yaml\n"
             "sheets: [sheets/board-1.yaml, sheets/board-2.yaml, sheets/mat-7.yaml,\n"
             "         sheets/hub-fl.yaml, sheets/hub-fr.yaml, sheets/hub-rl.yaml,\n"
             "         sheets/hub-rr.yaml]\n"
             "references:\n"
             "  - { point: front-left, sheet: HUB-FL, standoff_mm: 62 }\n"
             "  - { point: front-right, sheet: HUB-FR, standoff_mm: 62 }\n"
             "  - { point: rear-left, sheet: HUB-RL, standoff_mm: 62 }\n"
             "  - { point: rear-right, sheet: HUB-RR, standoff_mm: 62 }\n"
             "  - { point: emblem, tag: 310, size_mm: 40 }\n"
             "reference_sd_mm: 1.0\n"
             "hub_tilt_sd_deg: 0.3\n"
             "floor_sd_mm: 1\n"
             "positions:\n"
             "  - [photos/1.jpg, photos/2.jpg, photos/3.jpg]\n"
             "  - [photos/4.jpg, { file: photos/5.jpg, lens: lens/bay-2-spare.yaml }]\n"
             "moved: [MAT-7]\n"},
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
                         "confirmed:\n"
                         "  - { id: tyre-pressures, by: T-04, at: 2026-11-29T08:10 }\n"
                         "  - { id: tank-full, not_done: pump out of order }\n"
                         "codes: [photos/vin.jpg, photos/1.jpg]\n"
                         "level: { on: stand, along_deg: 0.12, across_deg: -0.05, sd_deg: 0.05 }\n"
                         "photos:\n"
                         "  - photos/1.jpg\n"
                         "  - { file: photos/2.jpg, lens: lens/bay-2-spare.yaml }\n"},
            {"pointed.yaml", "job: J-0149\n"
                             "lens: lens/bay-2-tablet.yaml\n"
                             "layout: layouts/demo-bare.yaml\n"
                             "sheets: [sheets/mat-bare.yaml, sheets/pointer-1.yaml,\n"
                             "         sheets/pointer-2.yaml, sheets/plate-a.yaml,\n"
                             "         sheets/plate-b.yaml]\n"
                             "references:\n"
                             "  - { point: rear-left, sheet: PLATE-A, at_mm: [95, 0] }\n"
                             "  - { point: rear-right, sheet: PLATE-B, at_mm: [95, 0] }\n"
                             "reference_sd_mm: 1.0\n"
                             "pointers:\n"
                             "  - { sheet: POINTER-1, at: MAT-9, point: rear-left corner }\n"
                             "  - { sheet: POINTER-2, at: MAT-9, point: rear-right corner }\n"
                             "pointer_sd_mm: 1.0\n"
                             "photos: [photos/1.jpg, photos/2.jpg]\n"},
            {0}},
    .see = (const char *const[]){"check", "layout", "sheet", "lens-profile", NULL},
};
