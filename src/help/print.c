#include <stddef.h>

#include "help/pages.h"

const tr_help_command tr_help_print = {
    .name = "print",
    .summary = "print a sheet at exactly 1:1, as PDF or SVG",
    .synopsis = "SHEET.yaml --out FILE.pdf [--page own|A4|A3|Letter] [--overlap MM]",
    .intro =
        (const char *const[]){
            "Prints a sheet at exactly 1:1, as a vector PDF or SVG: its tags and checker corners, "
            "the centre mark, an arrow UP, its id, and a 100 mm rule both ways; on a plate also a "
            "plumb mark near one edge, with its `at_mm` for the job.",
            NULL},
    .operands = (const tr_help_word[]){{"SHEET.yaml", NULL,
                                        "the sheet file, or its name in the shop, such as plate-rl",
                                        "f yaml yml"},
                                       {0}},
    .options =
        (const tr_help_word[]){
            {"--out", "FILE.pdf",
             "the file to write; a name in `.svg` gives an SVG, one page of the sheet's own size",
             "f pdf svg"},
            {"--page", "own|A4|A3|Letter",
             "own: one page of the sheet's own size, for a roll printer or a print shop (default). "
             "A4, A3, Letter: one page if the sheet fits, otherwise tiles with crop marks, crosses "
             "to join them by, and page numbers",
             "w own A4 A3 Letter"},
            {"--overlap", "MM", "how far adjoining tiles overlap, from 0 to 50 (default: 10)",
             NULL},
            {"--help", NULL, "print this text", NULL},
            {0}},
    .sections =
        (const tr_help_section[]){
            {"Examples", .lines =
                             "trammel print sheets/plate-e.yaml --out plate-e.pdf\n"
                             "trammel print sheets/mat-7.yaml --page A3 --out mat-7-tiles.pdf\n"},
            {"How to print",
             .points =
                 (const char *const[]){
                     "Print at 100 %, never \"fit to page\". Use matt paper: glare hides marks.",
                     "Before use, measure every rule on every page with a steel rule: 100 mm. Do "
                     "not use a sheet whose rules are off by more than 0.2 mm.",
                     "Glue it to something flat and stiff. Where a tile joins another on the "
                     "right or below, cut it at the crop marks there, and lay it over that "
                     "neighbour so that the crosses meet. A mat in one piece from a print shop is "
                     "better than tiles.",
                     NULL}},
            {"Exit status",
             .terms =
                 (const tr_help_term[]){
                     {"0", "the file was written"},
                     {"3", "it was not: the sheet cannot be read or printed, or the file cannot be "
                           "written; the reason is on standard error"},
                     {"64", "wrong usage"},
                     {0}}},
            {0}},
    .see = (const char *const[]){"design", "sheet", NULL},
};
