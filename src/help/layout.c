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
             "the rear wheels' points. `thrust`: the mean direction of the two rear wheels, on "
             "which hub "
             "sheets must hang"},
            {"wheelbase_mm", "mm", "not compared",
             "the vehicle's wheelbase, from plumb point to plumb point. If what is measured is off "
             "by more than `reference_tolerance_mm`, the check cannot pass; likewise for the "
             "tracks"},
            {"track_front_mm", "mm", "not compared",
             "distance of the two front wheels' points: at the floor, outside the tyres"},
            {"track_rear_mm", "mm", "not compared", "distance of the two rear wheels' points"},
            {"reference_tolerance_mm", "mm", "15", "how far wheelbase and tracks may be off"},
            {"thrust_limit_deg", "degrees", "not judged",
             "how far the thrust angle, the direction of the rear wheels against the centreline, "
             "may "
             "be off, u95 included; beyond it the check cannot pass: align the vehicle first. "
             "Needs "
             "hub sheets on the rear wheels"},
            {"flatness_mm", "mm", "5",
             "how far a placed sheet may be out of flat; beyond it the check cannot pass"},
            {"floor", NULL, "not judged",
             "how even the floor has to be. A floor that is beyond a limit, or may be, makes a "
             "check inconclusive, never fail: the targets may lie as required, but not as the "
             "procedure takes for granted"},
            {"floor.limits", NULL, NULL,
             "what is judged, u95 included (in which each corner of a sheet may be 0.5 mm off the "
             "floor); `{}` judges nothing. The floor is measured where "
             "sheets lie: at the wheels (plates or, with hub sheets, any sheets on the floor that "
             "are at no target), and at each target (the mat itself; for a board a plate or mat "
             "within 1 m of the foot of its stand)"},
            {"floor.limits.slope_deg", "degrees", "not judged",
             "from where the wheels stand to each target: the height of the sheet there over the "
             "way to it, seen from above, from the rectangle about the wheels' points, of which "
             "500 mm are the least. 0.3 is about 5 mm a metre"},
            {"floor.limits.tilt_deg", "degrees", "not judged",
             "of each target's place itself, along the vehicle and across it, against where the "
             "wheels stand. Of a small plate it is badly known; lay a mat"},
            {"floor.limits.level_deg", "degrees", "not judged",
             "against the horizontal: of where the wheels stand, along and across, and from there "
             "to each target. Needs a level's reading in the job (`level`)"},
            {"floor.limits.out_of_flat_mm", "mm", "not judged",
             "how far the centre of each sheet on the floor may be from the best plane through all "
             "of them, of which there must be four or more"},
            {"placements", NULL, NULL, "what is placed where: 1 to 64, each sheet once"},
            {"placements[].sheet", NULL, NULL, "id of the sheet"},
            {"placements[].from", NULL, NULL,
             "what x and y count from: `front-axle` or `rear-axle`, under the middle of which the "
             "origin lies on the floor; a point that a reference of the job marks, such as "
             "`front-left` or a name of its own; or another sheet that the layout "
             "places, from its centre. Directions are those of `axes`, and heights count from the "
             "floor. Or one for each coordinate: "
             "`{ x, y, z }`"},
            {"placements[].from.x", NULL, NULL, "what x counts from"},
            {"placements[].from.y", NULL, NULL, "what y counts from"},
            {"placements[].from.z", NULL, "the floor",
             "what z counts from: level with a marked point at 0"},
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
            {"placements[].within_mm", "mm", "it is not sought by its artwork",
             "of a sheet without tags: how far from its place, along x and y, its corners and "
             "discs are sought, at most 500. Where pointers are laid at it, it is sought near "
             "the place that they tell"},
            {"placements[].within_deg", "degrees", "3",
             "with `within_mm`: how far turned from its yaw it is sought, at most 15"},
            {"between", NULL, "none",
             "relations of two placed sheets, each judged like a placement: the second sheet's x, "
             "y, "
             "z, yaw, pitch and roll less those of the first, in the vehicle's axes. What both "
             "sheets have in common in their uncertainty cancels"},
            {"between[].sheets", NULL, NULL, "the ids of the two sheets"},
            {"between[].x_mm", "mm", "not required", "required difference of x"},
            {"between[].y_mm", "mm", "not required", "of y"},
            {"between[].z_mm", "mm", "not required", "of z"},
            {"between[].yaw_deg", "degrees", "not required",
             "of the yaw: 0 where they are parallel"},
            {"between[].pitch_deg", "degrees", "not required", "of the pitch"},
            {"between[].roll_deg", "degrees", "not required", "of the roll"},
            {"between[].limits", NULL, NULL, "what is judged, as in a placement"},
            {"between[].limits.x_mm", "mm", "not judged", "limit of x"},
            {"between[].limits.y_mm", "mm", "not judged", "limit of y"},
            {"between[].limits.z_mm", "mm", "not judged", "limit of z"},
            {"between[].limits.yaw_deg", "degrees", "not judged", "limit of the yaw"},
            {"between[].limits.pitch_deg", "degrees", "not judged", "limit of the pitch"},
            {"between[].limits.roll_deg", "degrees", "not judged", "limit of the roll"},
            {"free_areas", NULL, "none",
             "parts of the floor that have to be clear of other objects: 1 to 16. The picture of a "
             "check draws them into every photo that sees them, for a person to look; the program "
             "does not judge them"},
            {"free_areas[].name", NULL, "free area 1, ...", "what results call it"},
            {"free_areas[].from", NULL, NULL,
             "what its corners count from, as in a placement; or `{ x, y }`"},
            {"free_areas[].from.x", NULL, NULL, "what x counts from"},
            {"free_areas[].from.y", NULL, NULL, "what y counts from"},
            {"free_areas[].height_mm", "mm", NULL, "up to which height it has to be clear"},
            {"free_areas[].corners_mm", "mm", NULL,
             "x and y of its corners in their order round it, 3 to 64, in the directions of "
             "`axes`"},
            {"preconditions", NULL, "none",
             "what has to be seen to before the vehicle is measured, up to 64: tyre pressures, "
             "load, steering straight. Each job says under `confirmed` who did, and when"},
            {"preconditions[].id", NULL, NULL,
             "what jobs call it: small letters, digits and `-`, as in `tyre-pressures`"},
            {"preconditions[].text", NULL, NULL, "what it is, in words; at most 127 bytes"},
            {"preconditions[].required", NULL, NULL,
             "`true`: a check cannot pass unless it is confirmed; `false`: whether it is, is told"},
            {"references", NULL, "the shop's",
             "which sheet marks which point, for new jobs: `trammel job` writes them in the place "
             "of those that the shop states for the same points, or beside them"},
            {"references[].point", NULL, NULL, "as in a job"},
            {"references[].sheet", NULL, "or `tag`", "as in a job"},
            {"references[].tag", NULL, "or `sheet`", "as in a job"},
            {"references[].size_mm", "mm", "only with `tag`", "as in a job"},
            {"references[].at_mm", "mm", "[0, 0], the centre mark", "as in a job"},
            {"references[].standoff_mm", "mm", "required for hub sheets", "as in a job"},
            {"references[].on", NULL, "`floor` for plates and mats, else `vehicle`",
             "as in a job: `floor` or `vehicle`"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples =
        (const tr_help_example[]){
            {"layouts/demo-boards.yaml", "layout: DEMO-BOARDS\n"
                                         "vehicle: Demo estate car\n"
                                         "axes: thrust\n"
                                         "thrust_limit_deg: 0.1\n"
                                         "references:\n"
                                         "  - { point: rear-left, sheet: HUB-RL, "
                                         "standoff_mm: 62 }\n"
                                         "  - { point: rear-right, sheet: HUB-RR, "
                                         "standoff_mm: 62 }\n"
                                         "  - { point: emblem, tag: 310, size_mm: 40, "
                                         "on: vehicle }\n"
                                         "  - { point: hatch, sheet: PLATE-A, at_mm: [95, 0], "
                                         "on: floor }\n"
                                         "placements:\n"
                                         "  - sheet: BOARD-1\n"
                                         "    from: front-axle\n"
                                         "    x_mm: 1500\n"
                                         "    y_mm: 1200\n"
                                         "    z_mm: 900\n"
                                         "    yaw_deg: 0\n"
                                         "    pitch_deg: 0\n"
                                         "    roll_deg: 0\n"
                                         "    limits: { x_mm: 10, y_mm: 5, z_mm: 5, yaw_deg: 0.3, "
                                         "pitch_deg: 0.5 }\n"
                                         "  - sheet: BOARD-2\n"
                                         "    from: { x: front-left, y: rear-axle, z: emblem }\n"
                                         "    x_mm: 1500\n"
                                         "    y_mm: -1200\n"
                                         "    z_mm: 0\n"
                                         "    yaw_deg: 0\n"
                                         "    limits: { x_mm: 10, y_mm: 5, z_mm: 5 }\n"
                                         "between:\n"
                                         "  - sheets: [BOARD-1, BOARD-2]\n"
                                         "    x_mm: 0\n"
                                         "    y_mm: -2400\n"
                                         "    yaw_deg: 0\n"
                                         "    limits: { x_mm: 5, y_mm: 5, yaw_deg: 0.3 }\n"
                                         "free_areas:\n"
                                         "  - name: lane ahead\n"
                                         "    from: front-axle\n"
                                         "    height_mm: 800\n"
                                         "    corners_mm: [[900, 1500], [3000, 1500], [3000, "
                                         "-1500], [900, -1500]]\n"
                                         "  - from: { x: rear-axle, y: front-left }\n"
                                         "    height_mm: 300\n"
                                         "    corners_mm: [[0, 100], [2000, 100], [1000, 900]]\n"},
            {"layouts/demo-rear.yaml", "layout: DEMO-REAR\n"
                                       "vehicle: Demo estate car\n"
                                       "axes: centreline\n"
                                       "wheelbase_mm: 2700\n"
                                       "track_front_mm: 1760\n"
                                       "track_rear_mm: 1750\n"
                                       "reference_tolerance_mm: 15\n"
                                       "flatness_mm: 5\n"
                                       "preconditions:\n"
                                       "  - { id: tyre-pressures, text: Tyre pressures set, "
                                       "required: true }\n"
                                       "  - { id: tank-full, text: Tank full, required: false "
                                       "}\n"
                                       "floor:\n"
                                       "  limits: { slope_deg: 0.3, out_of_flat_mm: 5 }\n"
                                       "placements:\n"
                                       "  - sheet: MAT-7\n"
                                       "    from: rear-axle\n"
                                       "    x_mm: -1800\n"
                                       "    y_mm: 0\n"
                                       "    yaw_deg: 0\n"
                                       "    limits: { x_mm: 10, y_mm: 10, yaw_deg: 0.5 }\n"},
            {"layouts/demo-bare.yaml", "layout: DEMO-BARE\n"
                                       "vehicle: Demo estate car\n"
                                       "axes: rear-axle\n"
                                       "placements:\n"
                                       "  - sheet: MAT-9\n"
                                       "    from: rear-axle\n"
                                       "    x_mm: -1800\n"
                                       "    y_mm: 0\n"
                                       "    yaw_deg: 0\n"
                                       "    within_mm: 100\n"
                                       "    within_deg: 5\n"
                                       "    limits: { x_mm: 10, y_mm: 10, yaw_deg: 0.5 }\n"},
            {0}},
    .see = (const char *const[]){"job", "check", NULL},
};
