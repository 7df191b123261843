#include <stddef.h>

#include "help/pages.h"

const tr_help_format tr_help_stations = {
    .name = "stations",
    .summary = "from where photos are to be taken, for `trammel plan`",
    .intro =
        (const char *const[]){
            "Places are in the vehicle's coordinate system, the origin on the floor under the "
            "middle of the rear axle: x forward, y to the left, z up. The camera is held upright, "
            "the long side of its picture as in the lens profile.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"stations", NULL, NULL, "1 to 100 stations"},
            {"stations[].x_mm", "mm", NULL,
             "the camera, ahead of the rear axle (behind it: below 0)"},
            {"stations[].y_mm", "mm", NULL, "the camera, to the left of the middle"},
            {"stations[].height_mm", "mm", NULL, "the camera above the floor, above 0"},
            {"stations[].look_at_mm", "mm", NULL,
             "[x, y, z] of what is in the middle of the picture; not straight above or below the "
             "camera"},
            {"stations[].position", NULL, "the last",
             "in which of the job's roll `positions` the photo is taken, from 1. In those before "
             "the "
             "last the vehicle is expected a quarter turn of its wheels farther back each; places "
             "still count from where it stands in the last"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples =
        (const tr_help_example[]){
            {"stations.yaml",
             "stations:\n"
             "  - { x_mm: -4300, y_mm: 1300, height_mm: 1550, look_at_mm: [-1100, 100, 0] }\n"
             "  - { x_mm: -1300, y_mm: -3000, height_mm: 1500, look_at_mm: [500, -850, 0],\n"
             "      position: 1 }\n"},
            {0}},
    .see = (const char *const[]){"plan", "layout", NULL},
};
