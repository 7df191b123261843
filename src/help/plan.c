#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_plan = {
    .name = "plan",
    .summary = "say what a check will be worth, and from where to take its photos",
    .synopsis = "JOB.yaml [--stations STATIONS.yaml] [--after [PHOTO...]] [--json] "
                "[--picture OUT.png] [--threads N]",
    .intro =
        (const char *const[]){
            "Before any photo is taken: proposes few stations from which photos give every judged "
            "axis a u95 of at most a third of its limit, and says what u95 to expect. A sheet that "
            "is off by up to two thirds of its limit then still passes.",
            "The plan takes each sheet to be where the layout requires it, and the plates at the "
            "wheels where the layout's `wheelbase_mm`, `track_front_mm` and `track_rear_mm` put "
            "them, so that it needs these keys. A box for the body of an ordinary car hides what "
            "is behind it; nobody stands in it, or on a sheet.",
            "Where the job rolls the vehicle (`positions`), there are stations for each position, "
            "and u95 has in it what the roll tells. The photos that the job lists need not be "
            "there yet.",
            NULL},
    .operands =
        (const tr_help_word[]){{"JOB.yaml", NULL,
                                "the job file, or its name in the shop; it has to name a lens "
                                "profile (of several, the first is planned for)",
                                "f yaml yml"},
                               {"PHOTO...", NULL,
                                "with `--after`: photos; they replace the list in the job file",
                                "f jpg jpeg heic heif avif png"},
                               {0}},
    .options =
        (const tr_help_word[]){
            {"--stations", "STATIONS.yaml",
             "do not propose, but say what photos from these stations would give", "f yaml yml"},
            {"--after", NULL,
             "the job's photos are there, and are measured as `trammel check` does: say from where "
             "one more photo would help most, and what u95 it would give",
             NULL},
            {"--json", NULL, "print the plan as one JSON object, even if there is none", NULL},
            {"--picture", "OUT.png",
             "draw the plan: the floor from above with numbered stations, 1920 x 1200 px", "f png"},
            {"--threads", "N",
             "work on N photos or stations at a time (default: one per processor); the result is "
             "the same for any N",
             NULL},
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples", .lines = "trammel plan job.yaml --picture plan.png\n"
                                  "trammel plan job.yaml --stations stations.yaml\n"
                                  "trammel plan job.yaml --after photos/*.jpg\n"},
            {"What a plan is worth",
             .points =
                 (const char *const[]){
                     "Expected are sharp photos with good contrast. Where the check finds one weak "
                     "(blurred, dark, too far away), its u95 becomes larger than planned.",
                     "Stations need not be kept to the centimetre: what counts is which sheets a "
                     "photo shows, from which side, and how large.",
                     "A larger vehicle hides more than the box does. See that each photo shows the "
                     "sheets that the plan says.",
                     NULL}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "u95 will be at most a third of every limit"},
                     {"2", "it will not; what limits it is said"},
                     {"3",
                      "no plan: bad input, the layout does not say where the wheels are, or, with "
                      "`--after`, nothing could be measured. Also if the picture or the plan could "
                      "not be written. The reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"check", "stations", "job", "layout", "plan-result", NULL},
};
