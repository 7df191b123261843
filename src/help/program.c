#include <stddef.h>

#include "help/pages.h"

const tr_help_topic tr_help_program = {
    .name = "trammel",
    .summary = "measure from photos where calibration sheets lie around a vehicle",
    .intro =
        (const char *const[]){
            "trammel measures from photos of any calibrated camera whether a patterned mat or "
            "board lies where a calibration procedure requires it in the vehicle's coordinate "
            "system, with its uncertainty and a verdict: pass, fail or inconclusive.",
            NULL},
    .sections =
        (const tr_help_section[]){
            {"In order of use",
             .paragraphs =
                 (const char *const[]){
                     "First `trammel shop`, for a folder in which everything has its place; then "
                     "`trammel print`, for the sheets; then `trammel lens`, once for each camera "
                     "at one focus and image size; then, for each vehicle, `trammel job` and "
                     "`trammel check`. "
                     "`trammel survey` measures a sheet whose marks are not where its file says. "
                     "`trammel help COMMAND` explains a command, `trammel help files` the files "
                     "that you write.",
                     NULL}},
            {"Exit status",
             .paragraphs =
                 (const char *const[]){
                     "0 pass (or done), 1 fail, 2 inconclusive, 3 no measurement, or something "
                     "asked for could not be written, 64 wrong usage.",
                     NULL}},
            {0}},
};
