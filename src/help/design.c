#include <stddef.h>

#include "help/pages.h"
#include "tags/names.h"

#define NAME(name, size) " " #name

const tr_help_command tr_help_design = {
    .name = "design",
    .summary = "make a sheet file from a few numbers, with tag ids that no other sheet uses",
    .synopsis = "plate|pointer|hub|mat|board|checkerboard --name ID --out SHEET.yaml [--size WxH] "
                "[--tag MM] "
                "[--squares COLSxROWS --pitch MM] [--title TEXT] [--ids A..B] [--family NAME] "
                "[--sheets DIR]",
    .intro =
        (const char *const[]){
            "Lays out a sheet from a few numbers and writes its sheet file, with tag ids that no "
            "other sheet of the shop uses. Then print it: `trammel print SHEET.yaml`.",
            NULL},
    .operands =
        (const tr_help_word[]){
            {"plate", NULL,
             "lies at a wheel: two tags, the centre mark between them, and a plumb mark near one "
             "edge. That edge goes against the tyre, with the tip of the bob over the plumb mark; "
             "the plate's reference in the job needs what is printed beside it: `at_mm: [95, 0]`",
             "w plate"},
            {"pointer", NULL,
             "a plate that is laid with its tip at a point: two tags, and a printed arrow head "
             "near the middle of the upper edge, whose `at_mm` is printed beside it",
             "w pointer"},
            {"hub", NULL, "hangs on a wheel: four tags round an open middle", "w hub"},
            {"mat", NULL,
             "lies on the floor: tags and checker corners along its edges, its middle open",
             "w mat"},
            {"board", NULL,
             "stands upright: like a mat, with a line at the middle of its lower edge, below which "
             "the place of its stand can be marked on the floor",
             "w board"},
            {"checkerboard", NULL, "for `trammel lens`", "w checkerboard"},
            {0}},
    .options =
        (const tr_help_word[]){
            {"--name", "ID", "the sheet's id, printed on it in large letters", NULL},
            {"--out", "SHEET.yaml", "the file to write; it must not exist yet", "f yaml yml"},
            {"--size", "WxH",
             "width and height of the face in mm (default: plate 210x297, which is A4; pointer "
             "180x260; hub 180x180; mat 1600x1000; board 600x800; checkerboard the smaller of A4 "
             "and A3 that holds it, or else "
             "a face as large as it needs)",
             NULL},
            {"--tag", "MM",
             "edge of a tag (default: as large as fits; mat and board: a sixth of the shorter "
             "side, at most 160)",
             NULL},
            {"--squares", "COLSxROWS",
             "of a checkerboard: columns and rows of squares, preferably one number even and the "
             "other odd, for example 10x7",
             NULL},
            {"--pitch", "MM", "of a checkerboard: edge of a square", NULL},
            {"--title", "TEXT", "printed below the id (default: made from the numbers)", NULL},
            {"--ids", "A..B", "range to choose tag ids from (default: the whole family)", NULL},
            {"--family", "NAME", "tag family (default: tag36h11)", "w" TR_TAG_FAMILIES(NAME)},
            {"--sheets", "DIR",
             "folder of the shop's sheet files, whose tag ids and names are not used again "
             "(default: the folder of `--out`)",
             "d"},
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples",
             .lines =
                 "trammel design plate --name PLATE-E --ids 100..199 --out sheets/plate-e.yaml\n"
                 "trammel design mat --name MAT-8 --size 1200x800 --out sheets/mat-8.yaml\n"
                 "trammel design checkerboard --name BOARD-1 --squares 10x7 --pitch 25 \\\n"
                 "    --out sheets/board-1.yaml\n"},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "the sheet file was written"},
                     {"3",
                      "it was not: the numbers do not go together, the range of ids is used up, "
                      "the name is taken, or a file cannot be read or written; the reason is on "
                      "standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"print", "sheet", NULL},
};
