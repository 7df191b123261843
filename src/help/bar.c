#include <stddef.h>

#include "help/pages.h"

const tr_help_format tr_help_bar = {
    .name = "bar",
    .summary = "a scale bar: a stiff bar with a tag at each end",
    .intro =
        (const char *const[]){
            "A survey file names it, or has the same keys in its place. Measure the distance from "
            "centre to centre as well as you can, and measure it again when a tag was replaced.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"bar", NULL, NULL, "name of the bar"},
            {"tag_family", NULL, NULL, "family of its tags; `tag36h11` is the usual one"},
            {"tags", NULL, NULL,
             "[id, id] of the tags at its two ends, which no surveyed sheet may have"},
            {"size_mm", "mm", NULL, "edge of its tags"},
            {"distance_mm", "mm", NULL, "from centre to centre of its tags"},
            {"sd_mm", "mm", NULL,
             "how well that is known: one standard deviation, above 0. Two of three honest "
             "measurements lie within it"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples = (const tr_help_example[]){{"bars/bar-1.yaml", "bar: BAR-1\n"
                                                              "tag_family: tag36h11\n"
                                                              "tags: [10, 11]\n"
                                                              "size_mm: 100\n"
                                                              "distance_mm: 1000.3\n"
                                                              "sd_mm: 0.1\n"},
                                          {0}},
    .see = (const char *const[]){"survey-file", "survey", NULL},
};
