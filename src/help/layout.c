#include <stddef.h>

#include "help/pages.h"

const tr_help_format tr_help_layout = {
    .name = "layout",
    .summary = "what a procedure requires: which sheets, where, within which limits",
    .intro =
        (const char *const[]){
            "Written once for a procedure and a vehicle, from the vehicle maker's service "
            "information, and named by many jobs.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"layout", NULL, NULL, "name of the layout, repeated in the result"},
            {"vehicle", NULL, NULL, "what it is for, in words; at most 127 bytes"},
            {"axes", NULL, NULL,
             "direction of the vehicle's X axis. `centreline`: from the middle of the rear wheels' "
             "points to the middle of the front wheels'. `rear-axle`: square to the line through "
             "the rear wheels' points. `thrust`: the rear wheels' own direction; no command "
             "measures it yet"},
            {"wheelbase_mm", "mm", "not compared",
             "the vehicle's wheelbase, from plumb point to plumb point. If what is measured is off "
             "by more than `reference_tolerance_mm`, the check cannot pass; likewise for the "
             "tracks"},
            {"track_front_mm", "mm", "not compared",
             "distance of the two front wheels' points: at the floor, outside the tyres"},
            {"track_rear_mm", "mm", "not compared", "distance of the two rear wheels' points"},
            {"reference_tolerance_mm", "mm", "15", "how far wheelbase and tracks may be off"},
            {"flatness_mm", "mm", "5",
             "how far a placed sheet may be out of flat; beyond it the check cannot pass"},
            {"placements", NULL, NULL, "what is placed where: 1 to 64, each sheet once"},
            {"placements[].sheet", NULL, NULL, "id of the sheet"},
            {"placements[].from", NULL, NULL,
             "`front-axle` or `rear-axle`: under the middle of which axle the origin lies"},
            {"placements[].x_mm", "mm", NULL,
             "required place of the sheet's centre mark; above 0 is forward of the axle"},
            {"placements[].y_mm", "mm", NULL, "above 0 is to the left of the vehicle's middle"},
            {"placements[].z_mm", "mm", "not required",
             "of an upright board: height of its centre above the floor"},
            {"placements[].yaw_deg", "degrees", NULL,
             "of a sheet on the floor: 0 where its arrow UP points forward, positive "
             "anticlockwise seen from above. Of an upright board: 0 where its face looks backward"},
            {"placements[].pitch_deg", "degrees", "not required", "of an upright board"},
            {"placements[].roll_deg", "degrees", "not required", "of an upright board"},
            {"placements[].limits", NULL, NULL,
             "what is judged: an axis must lie within its required value plus or minus its limit, "
             "above 0. An axis left out is reported and not judged; `{}` judges nothing"},
            {"placements[].limits.x_mm", "mm", "not judged", "limit of x"},
            {"placements[].limits.y_mm", "mm", "not judged", "limit of y"},
            {"placements[].limits.z_mm", "mm", "not judged", "limit of z, of an upright board"},
            {"placements[].limits.yaw_deg", "degrees", "not judged", "limit of the yaw"},
            {"placements[].limits.pitch_deg", "degrees", "not judged",
             "limit of the pitch, of an upright board"},
            {"placements[].limits.roll_deg", "degrees", "not judged",
             "limit of the roll, of an upright board"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples = (const tr_help_example[]){{"layouts/demo-rear.yaml",
                                           "layout: DEMO-REAR\n"
                                           "vehicle: Demo estate car\n"
                                           "axes: centreline\n"
                                           "wheelbase_mm: 2700\n"
                                           "track_front_mm: 1760\n"
                                           "track_rear_mm: 1750\n"
                                           "reference_tolerance_mm: 15\n"
                                           "flatness_mm: 5\n"
                                           "placements:\n"
                                           "  - sheet: MAT-7\n"
                                           "    from: rear-axle\n"
                                           "    x_mm: -1800\n"
                                           "    y_mm: 0\n"
                                           "    yaw_deg: 0\n"
                                           "    limits: { x_mm: 10, y_mm: 10, yaw_deg: 0.5 }\n"},
                                          {0}},
    .see = (const char *const[]){"job", "check", NULL},
};
