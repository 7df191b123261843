#include <stddef.h>

#include "help/pages.h"
#include "help/result_keys.h"

const tr_help_format tr_help_plan_result = {
    .name = "plan-result",
    .summary = "what trammel plan --json prints",
    .is_result = true,
    .intro =
        (const char *const[]){
            "One JSON object in one line. If there is no plan, there is nothing but `reaches_aim`, "
            "which is null, `error` and `program`.",
            "AXIS stands for `x_mm`, `y_mm`, `z_mm`, `yaw_deg`, `pitch_deg` and `roll_deg`, in the "
            "vehicle's coordinate system. All that is below them has the unit at the end of that "
            "name.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"job", NULL, NULL, "name of the job"},
            {"layout", NULL, NULL, "name of the layout"},
            {"reaches_aim", NULL, NULL,
             "true if u95 of every judged axis is at most a third of its limit; null without a "
             "plan"},
            {"proposed", NULL, NULL, "false if the stations were given with `--stations`"},
            {"why", NULL, NULL, "what limits u95, in sentences"},
            {"error", NULL, NULL,
             "why there is no plan, or why photos from the stations would give no measurement; "
             "else null"},
            TR_HELP_KEYS_OF_ERROR,
            {"stations", NULL, NULL,
             "from where to take photos, in order around the vehicle; with `--after` the one that "
             "helps most, or none"},
            {"stations[].at_mm", "mm", NULL,
             "[x, y, z] of the camera, in the vehicle's coordinate system under the rear axle; of "
             "a vehicle that is rolled, as it stands in the last position"},
            {"stations[].look_at_mm", "mm", NULL, "[x, y, z] of what is in the middle"},
            {"stations[].sheets", NULL, NULL, "ids of the sheets that the photo shows"},
            {"stations[].marks", NULL, NULL, "how many marks of them can be measured"},
            {"stations[].position", NULL, NULL,
             "only where the job has `positions`: in which of them, from 1, the photo is taken"},
            {"targets", NULL, NULL, "the layout's placements, in its order"},
            {"targets[].sheet", NULL, NULL, "id of the sheet"},
            {"targets[].photos", NULL, NULL, "in how many photos it will be measured"},
            {"targets[].marks", NULL, NULL, "by how many marks in all"},
            {"targets[].AXIS", NULL, NULL, "one object per axis"},
            {"targets[].AXIS.u95", "of AXIS", NULL,
             "expected expanded uncertainty, k = 2; null where it would not be measured"},
            {"targets[].AXIS.u95_now", "of AXIS", NULL,
             "only with `--after`: what it is without a further photo"},
            {"targets[].AXIS.aim", "of AXIS", NULL,
             "a third of the limit; only where the axis is judged"},
            {"targets[].AXIS.limit", "of AXIS", NULL, "only where the axis is judged"},
            TR_HELP_KEYS_OF_BUDGET,
            {"relations", NULL, NULL, "only where the layout has relations (`between`)"},
            {"relations[].sheets", NULL, NULL, "the two sheets"},
            {"relations[].AXIS", NULL, NULL,
             "the second less the first, with the keys of AXIS of a target"},
            {"program", NULL, NULL, "what made the plan"},
            {"program.name", NULL, NULL, "`trammel`"},
            {"program.version", NULL, NULL, "its version"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples = (const tr_help_example[]){{0}},
    .see = (const char *const[]){"plan", "check-result", NULL},
};
