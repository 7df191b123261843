#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_lens = {
    .name = "lens",
    .summary = "calibrate the lens of a camera from photos of a checkerboard",
    .synopsis = "PHOTO... --squares COLSxROWS --pitch MM --out LENS.yaml [--steady] [--json] "
                "[--keep] [--store STORE] [--by NAME] [--threads N]",
    .intro =
        (const char *const[]){
            "Finds the lens of one camera from photos of a checkerboard, and writes its profile.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"PHOTO...", NULL,
             "photos of the checkerboard, all of one camera at one focus, zoom and image size",
             "f jpg jpeg heic heif avif png"},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--squares", "COLSxROWS",
             "how many squares the checkerboard has, for example 10x7 (a checkerboard with 9 x 6 "
             "inner corners)",
             NULL},
            {"--pitch", "MM", "edge of a square, as measured on the print", NULL},
            {"--out", "LENS.yaml",
             "the profile to write; its name without `.yaml` is the name of the lens. Only a lens "
             "profile is ever replaced, never another file",
             "f yaml yml"},
            {"--steady", NULL,
             "the camera is a machine's, fixed and without stabilisation, and does not change from "
             "photo to photo. Without this option, what a phone's camera changes is determined as "
             "well",
             NULL},
            {"--json", NULL, "print the result as one JSON object, even if there is none", NULL},
            TR_HELP_KEEP,
            TR_HELP_THREADS,
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Example",
             .lines =
                 "trammel lens board/*.jpg --squares 10x7 --pitch 30 --out bay-2-tablet.yaml\n"},
            {"How to take the photos",
             .points =
                 (const char *const[]){
                     "Print the checkerboard at true size, glue it to a flat plate, and measure it "
                     "with a steel rule both ways. Unequal numbers of squares are best.",
                     "Take 10 to 15 photos with the camera, focus, zoom and image size that the "
                     "checks will use. Switch off digital zoom, automatic change of lenses and "
                     "continuous autofocus. The profile keeps what the photos' EXIF data say about "
                     "camera, focal length and zoom; if the photos disagree, no profile is made.",
                     "Each photo shows the whole checkerboard, sharp and evenly lit, without glare "
                     "or fingers.",
                     "Rest your elbows and hold still while the photo is taken, work in good "
                     "light, and switch burst and night modes off.",
                     "Tilt the checkerboard by 30 to 45 degrees: left edge nearer, then right, top "
                     "and bottom. Take a few photos straight on, and some with the camera turned "
                     "by a quarter turn.",
                     "Between them the photos show the checkerboard in every part of the image, "
                     "including its corners.",
                     NULL}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "the profile was written"},
                     {"3",
                      "it was not, or the result could not be written: the photos do not give a "
                      "lens, or a file could not be read or written, or the record not be kept; "
                      "the reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"lens-profile", "lens-result", "check", "records", "design",
                                 "print", NULL},
};
