#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_lens_check = {
    .name = "lens-check",
    .summary = "confirm that a lens profile still holds, from a few photos of the checkerboard",
    .synopsis = "LENS PHOTO... [--squares COLSxROWS] [--pitch MM] [--json] "
                "[--keep] [--store STORE] [--by NAME] [--threads N]",
    .intro =
        (const char *const[]){
            "Measures a checkerboard in a few photos, three as a rule, and tells whether the lens "
            "is still that of its profile: focal length by itself, then principal point and "
            "distortion together, each within what the profile's covariance, its scatter from "
            "photo to photo and the new photos leave uncertain. The profile is not changed.",
            "The result says how far off a focal length would have shown: from three good photos "
            "of a phone as a rule 1 to 2 %, from six less than 1 %. The checkerboard may be "
            "another print than that of the calibration: its size does not matter, only that it is "
            "flat and its squares are square.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"LENS", NULL,
             "the profile, as `trammel lens` wrote it: its name in the shop, or its file",
             "f yaml yml"},
            {"PHOTO...", NULL,
             "photos of the checkerboard, taken with the profile's camera, zoom and image size",
             "f jpg jpeg heic heif avif png"},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--squares", "COLSxROWS",
             "how many squares the checkerboard has (default: as the profile says)", NULL},
            {"--pitch", "MM", "edge of a square (default: as the profile says)", NULL},
            {"--json", NULL, "print the result as one JSON object, even if there is none", NULL},
            TR_HELP_KEEP,
            TR_HELP_THREADS,
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Example", .lines = "trammel lens-check lens/bay-2-tablet.yaml today/*.jpg\n"},
            {"How to take the photos",
             .points =
                 (const char *const[]){
                     "Take three photos or more as for the calibration: same camera, zoom, focus "
                     "and image size, the whole checkerboard in view, sharp and evenly lit.",
                     "The checkerboard fills most of the image. Tilt it by 30 to 45 degrees, to a "
                     "different side in each photo: checkerboards that face the same way tell "
                     "nothing of the focal length.",
                     NULL}},
            {"Verdict",
             .terms =
                 (const tr_help_term[]){
                     {"agrees", "nothing differs, and a focal length that is off by 2 % would have "
                                "shown in nine of ten checks"},
                     {"differs", "the difference is such as chance would make in fewer than 1 of "
                                 "100 checks (of "
                                 "the focal length) or of 200 (of the rest)"},
                     {"not enough", "fewer than three photos could be used, or they do not tell "
                                    "the focal length well enough"},
                     {0}}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "agrees"},
                     {"1", "differs"},
                     {"2", "not enough"},
                     {"3", "no measurement: no photo could be used, or a file could not be read; "
                           "the reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"lens", "lens-profile", "lens-check-result", NULL},
};
