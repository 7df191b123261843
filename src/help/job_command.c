#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_job_command = {
    .name = "job",
    .summary = "make a job file in the shop's folder",
    .synopsis = "[PHOTO...] --layout LAYOUT [--vin VIN] [--technician NAME] [--lens LENS] "
                "[--sheets ID,ID] [--confirm ID,ID] [--by NAME] [--job NAME]",
    .intro =
        (const char *const[]){
            "Makes the job of one vehicle, complete: with the sheets that the layout places, those "
            "that mark the wheels, and the lens. Which sheet marks which wheel is said once, by "
            "`references` in the shop's trammel.yaml or, where a procedure has its own, in the "
            "layout. Jobs are numbered: J-0001, J-0002 and so on.",
            "Then put the photos into the folder of the job's name, and check: `trammel check "
            "J-0001`. Before a second check of the same job move the earlier photos into a "
            "subfolder there, such as photos/J-0001/before: what lies in a subfolder is not read.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"PHOTO...", NULL,
             "photos that the job lists; without any it has those in photos/J-0001, the folder of "
             "its name",
             "f jpg jpeg heic heif avif png"},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--layout", "LAYOUT",
             "what is required: the name of a file in the shop's folder of layouts, such as "
             "`try-out`, the layout's own name, or a path",
             "f yaml yml"},
            {"--vin", "VIN",
             "the vehicle identification number (VIN): 17 characters. If its check digit does not "
             "fit, this is told, but the job is made: outside North America it need not be one",
             NULL},
            {"--technician", "NAME", "who does the job", NULL},
            {"--lens", "LENS",
             "the lens profile: its name in the shop's folder of lenses, or a path; several with "
             "commas between, of which each photo has the one that its EXIF data fit; `unknown` "
             "for a first try without (default: the shop's only one)",
             "f yaml yml"},
            {"--sheets", "ID,ID",
             "ids of further sheets of the shop, such as mats on the floor beside the vehicle",
             NULL},
            {"--confirm", "ID,ID",
             "ids of the layout's preconditions that were seen to; the time is that of now", NULL},
            {"--by", "NAME", "who confirms them (default: the technician)", NULL},
            {"--job", "NAME", "name of the job and its file (default: the next free number)", NULL},
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples",
             .lines =
                 "trammel job --layout try-out --vin 1M8GDM9AXKP042788 --technician T-04\n"
                 "trammel job --layout demo-rear --lens bay-2-tablet --confirm tyre-pressures\n"
                 "trammel job --layout try-out --lens unknown today/*.jpg\n"},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "the job file was written, and reads well"},
                     {"3",
                      "it was not: there is no shop, something that the job needs is not there or "
                      "does not go together, or the name is taken; the reason is on standard "
                      "error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"check", "confirm", "layout", "shop", NULL},
};
