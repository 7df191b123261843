#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_check = {
    .name = "check",
    .summary = "measure where a sheet lies relative to a vehicle, and give a verdict",
    .synopsis = "JOB.yaml [PHOTO...] [--json] [--picture OUT.png] [--keep] "
                "[--store STORE] [--by NAME] [--threads N]",
    .intro =
        (const char *const[]){
            "Measures from the photos where each sheet of the job's layout lies in the vehicle's "
            "coordinate system, with its uncertainty, and says whether that is within the limits.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"JOB.yaml", NULL,
             "the job file, or its name in the shop, such as J-0001: it names "
             "the lens profile (or `lens: unknown`), the layout, the "
             "sheets, and which plate marks which wheel",
             "f yaml yml"},
            {"PHOTO...", NULL,
             "photos; they replace the list in the job file. A job of a shop that lists none has "
             "those in the folder of its name, such as photos/J-0001. Before a second check of the "
             "same job move the earlier photos into a subfolder there, such as "
             "photos/J-0001/before: what lies in a subfolder is not read",
             "f jpg jpeg heic heif avif png"},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--json", NULL,
             "print the result as one JSON object, even if nothing could be measured", NULL},
            {"--picture", "OUT.png",
             "draw the result: a photo, the plan and the numbers, 1920 x 1200 px. If the layout "
             "places several sheets, OUT.png shows all of them, and OUT-1-SHEET.png, "
             "OUT-2-SHEET.png and so on show one each; OUT-free-area-1.png and so on show the "
             "layout's free areas in the photos. With a name in .pdf all pages are in one "
             "file, A4. If nothing could be measured, the picture says so",
             "f png pdf"},
            TR_HELP_KEEP,
            TR_HELP_THREADS,
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples", .lines = "trammel check job.yaml\n"
                                  "trammel check job.yaml photos/*.jpg --picture result.png\n"
                                  "trammel check job.yaml --json > result.json\n"},
            {"How to lay the plates",
             .points =
                 (const char *const[]){
                     "Hang a plumb bob from the middle of each wheel's hub cap, just outside the "
                     "tyre. Push the plate's marked edge against the tyre so that the tip of the "
                     "bob is over the plumb mark. The marked edge must touch the tyre; whether the "
                     "lettering reads towards the front or the rear does not matter.",
                     "The plate's reference in the job says where its plumb mark is, as printed "
                     "beside it: `{ point: rear-left, sheet: PLATE-A, at_mm: [95, 0] }`. Without "
                     "`at_mm` the bob hangs over the centre mark.",
                     NULL}},
            {"How to take the photos",
             .points =
                 (const char *const[]){
                     "Use the camera, focus, zoom and image size of the lens profile. A photo "
                     "whose EXIF data name another camera, focal length or digital zoom is not "
                     "used, and rules out a pass.",
                     "`trammel plan` says from where to take them, and what u95 to expect.",
                     "Take six to eight. Each shows plates at the wheels together with the sheet "
                     "or with other plates; each plate is in at least two of them, preferably "
                     "together with the sheet. One of them shows plates of the left and of the "
                     "right side together: otherwise a sheet that was moved while you walked round "
                     "would go unnoticed.",
                     "With a phone, turn it by a quarter turn for two of them: this shows how much "
                     "its lens shifts from photo to photo.",
                     "Take them from several sides, some of them close up. Hold still. Nothing may "
                     "move between the first photo and the last.",
                     "Weak photos (blurred, dark, overexposed, too far away, at too flat an angle) "
                     "are listed with what to do about them. They are used, but count for little.",
                     NULL}},
            {"The floor",
             .points =
                 (const char *const[]){
                     "What is told of the floor is told by the sheets on it: how it slopes from "
                     "where the wheels stand to each target and, where the layout limits it "
                     "(`floor`) or the job has a level's reading (`level`), every sheet's height, "
                     "slope and distance from the best plane through all.",
                     "For a board lay a plate or mat at the foot of its stand, within 1 m. With "
                     "hub "
                     "sheets lay two sheets beside the vehicle that are at no target: they tell "
                     "how it lies where the wheels stand.",
                     "A floor that is beyond its limits, or may be, makes the check inconclusive, "
                     "not fail: no target needs to be moved for it.",
                     NULL}},
            {"Several cameras",
             .points =
                 (const char *const[]){
                     "`lens: [lens/a.yaml, lens/b.yaml]` in the job lists a profile for each "
                     "camera. A photo is measured with the profile that its EXIF data fit: camera, "
                     "focal length, image size.",
                     "A photo that fits none of them, or more than one, is not used until the job "
                     "names its profile: `photos: [1.jpg, { file: 2.jpg, lens: lens/b.yaml }]`. "
                     "This also holds when the file is named on the command line.",
                     NULL}},
            {"A first try without a lens profile",
             .paragraphs =
                 (const char *const[]){
                     "With `lens: unknown` in the job the lens is found from the photos "
                     "themselves. There must be at least four, all of one camera, zoom and image "
                     "size. What they leave open is part of u95, and the result says how much "
                     "`trammel lens` would gain.",
                     NULL}},
            {"Verdict",
             .paragraphs =
                 (const char *const[]){
                     "u95 is the expanded uncertainty (k = 2). An axis passes if |error| + u95 is "
                     "within the limit, fails if |error| - u95 is beyond it, and is inconclusive "
                     "otherwise. A sheet that was not found is inconclusive. Only a complete "
                     "measurement gives a pass.",
                     NULL}},
            {"Records",
             .paragraphs =
                 (const char *const[]){
                     "With --keep, job, layout, sheets, lens profiles and photos are kept in the "
                     "store as they were read, with the result. The last line names the record, "
                     "once it is safe: `Kept as record 17, a1b2c3d4…`. A check in which nothing "
                     "could be measured is kept, too; one whose job cannot be read is not. "
                     "`trammel records` shows what was kept.",
                     NULL}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "pass"},
                     {"1", "fail"},
                     {"2", "inconclusive"},
                     {"3",
                      "no measurement possible: bad input, or too few marks. Also if the picture "
                      "or the result could not be written, or the record not kept, whatever the "
                      "verdict: the verdict is still printed, and the reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"job", "layout", "lens-profile", "check-result", "records", "lens",
                                 NULL},
};
