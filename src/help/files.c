#include <stddef.h>

#include "help/pages.h"

const tr_help_topic tr_help_files = {
    .name = "files",
    .summary = "the files that trammel reads and writes",
    .intro =
        (const char *const[]){
            "All files that you write are YAML 1.1, read strictly: a key that is unknown, missing "
            "or given twice, or a value of the wrong kind, is an error that names file, line and "
            "key. A file is at most 4 MB of UTF-8. Anchors, aliases and YAML tags (`&`, `*`, `!`) "
            "are refused.",
            NULL},
    .sections =
        (const tr_help_section[]){
            {"What goes for all files",
             .points =
                 (const char *const[]){
                     "Lengths are in millimetres, angles in degrees, places in an image in pixels; "
                     "such a key ends in its unit: `_mm`, `_deg`, `_px`.",
                     "Numbers are written with a decimal point: `1600`, `-12.5`, `1.1e-4`. A "
                     "number "
                     "between quotes is text.",
                     "Names of other files are relative to the file that they stand in.",
                     "A text is one line, not empty, of at most 63 bytes, if nothing else is "
                     "said.",
                     NULL}},
            {"Frames",
             .terms =
                 (const tr_help_term[]){
                     {"image", "pixel (0, 0) is the centre of the first pixel; u points right, v "
                               "down, in the rows as they are stored"},
                     {"sheet", "looking at the upright face: the origin is its centre mark, x "
                               "points right, y up, z out of the face"},
                     {"vehicle",
                      "axis directions as in ISO 8855: X forward, Y left, Z up. Z is 0 on the "
                      "floor; the origin is on the floor under the middle of the axle that a "
                      "placement names"},
                     {"yaw", "of a sheet on the floor: anticlockwise, seen from above. At 0 its "
                             "arrow UP points forward"},
                     {"point", "of a wheel: where a plumb line from the centre of its hub cap "
                               "meets the floor, just outside the tyre"},
                     {0}}},
            {0}},
};
