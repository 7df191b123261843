#include <stddef.h>

#include "help/pages.h"
#include "tags/names.h"

const tr_help_format tr_help_sheet = {
    .name = "sheet",
    .summary = "what is printed on one flat face, and where",
    .intro =
        (const char *const[]){
            "`trammel design` makes sheet files, `trammel print` prints them, and `trammel survey` "
            "writes one with the places that were measured. A sheet may also be described by "
            "hand, for instance a mat that you have already.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"sheet", NULL, NULL, "id of the sheet, as printed on it"},
            {"title", NULL, NULL, "what it is, in words; at most 127 bytes"},
            {"label", NULL, "none",
             "what its bar code (Code 39, Code 128) or QR code says, to the letter; by it a job's "
             "`codes` tell that it is this sheet. At most 127 bytes"},
            {"kind", NULL, NULL,
             "`mat` (lies on the floor), `board` (stands upright), `plate` (small; marks a wheel's "
             "point on the floor) or `hub` (hangs on a wheel)"},
            {"size_mm", "mm", NULL, "[width, height] of the face"},
            {"tag_family", NULL, "where there are tags it must be given",
             "the family of all its tags, as libapriltag has them; `tag36h11` is the usual one"},
            {"tags", NULL, "none; most sheets need one",
             "up to 1000 tags, which may not overlap. A sheet that is surveyed may have `[]` here, "
             "if all its tags were stuck on by hand; a target of a job may have none at all, if "
             "pointers are laid at its `points`, or if it is found by its corners and discs "
             "(`within_mm` of the layout)"},
            {"tags[].id", NULL, NULL, "number of the tag within its family"},
            {"tags[].centre_mm", "mm", NULL, "[x, y] of its centre on the sheet"},
            {"tags[].size_mm", "mm", NULL,
             "edge of the square whose corners are found: for `tag36h11` the outer edge of the "
             "black border"},
            {"tags[].turn_deg", "degrees", "0",
             "how far it is turned anticlockwise; at 0 it stands as its family's official image "
             "shows it"},
            {"tags[].edges_mm", "mm", "both are size_mm",
             "[width, height] of a tag that was measured and is not square; `size_mm` is their "
             "mean"},
            {"corners_mm", "mm", "none",
             "up to 10000 checker corners, where two black and two white squares meet, each [x, "
             "y]"},
            {"tip_mm", "mm", "none",
             "[x, y] of a pointer's tip: a plate that is laid with its tip at a point has an arrow "
             "head printed there, which points to the nearest edge"},
            {"discs", NULL, "none",
             "up to 1000 printed discs, which may not lie over tags, corners or one another. With "
             "plain ground about them, as wide as a tenth of them and more. No survey measures "
             "them: a sheet with discs has no `survey`"},
            {"discs[].centre_mm", "mm", NULL, "[x, y] of its centre on the sheet"},
            {"discs[].diameter_mm", "mm", NULL, "its diameter"},
            {"discs[].colour", NULL, "`black`",
             "`black` (on white ground) or `white` (on black ground: it is printed on a black "
             "square of 1.5 diameters)"},
            {"points", NULL, "none",
             "up to 100 places on the sheet, or on what carries it, at which the tips of pointers "
             "can be laid, such as the corners of a mat or the feet of a stand"},
            {"points[].name", NULL, NULL, "what the place is called; at most 31 bytes"},
            {"points[].at_mm", "mm", NULL,
             "[x, y] on the face, or [x, y, z] of a place in front of it or, with a negative z, "
             "behind it"},
            {"survey", NULL, "the sheet is taken as printed, its size known to 0.1 %",
             "where the places come from a survey: how well they are known. `trammel survey` "
             "writes "
             "it"},
            {"survey.name", NULL, NULL,
             "name of the survey. Sheets of one survey share the error of its scale"},
            {"survey.lengths", NULL, NULL,
             "1 to 8 names: the bars and rules that its scale rests on"},
            {"survey.scale_sd", "1", NULL,
             "standard deviation of the scale, relative, from 0 to 1"},
            {"survey.covariance", "mm^2, mm degrees, degrees^2", NULL,
             "rows of the lower triangle, the diagonal last in each. The order is, for each tag, "
             "x, "
             "y (mm), turn (degrees), width, height (mm), then for each corner x, y (mm); at most "
             "400 rows"},
            {0}},
    .sections = (const tr_help_section[]){{"Tag families and how many tags each has",
                                           .lines =
#define LINE(name, size) #name " " #size "\n"
                                               TR_TAG_FAMILIES(LINE)},
                                          {0}},
    .examples =
        (const tr_help_example[]){
            {"sheets/mat-7.yaml",
             "sheet: MAT-7\n"
             "title: Rear floor mat, 1600 x 1000\n"
             "label: no 4711\n"
             "kind: mat\n"
             "size_mm: [1600, 1000]\n"
             "tag_family: tag36h11\n"
             "tags:\n"
             "  - { id: 40, centre_mm: [-650, 350], size_mm: 160 }\n"
             "  - { id: 41, centre_mm: [650, 350], size_mm: 160, turn_deg: 90 }\n"
             "corners_mm:\n"
             "  - [-100, 0]\n"
             "  - [100, 0]\n"},
            {"sheets/pointer-1.yaml", "sheet: POINTER-1\n"
                                      "title: Pointer, 180 x 260\n"
                                      "kind: plate\n"
                                      "size_mm: [180, 260]\n"
                                      "tag_family: tag36h11\n"
                                      "tags:\n"
                                      "  - { id: 110, centre_mm: [-30, 40], size_mm: 88 }\n"
                                      "  - { id: 111, centre_mm: [-30, -72], size_mm: 88 }\n"
                                      "tip_mm: [0, 127]\n"},
            {"sheets/pointer-2.yaml", "sheet: POINTER-2\n"
                                      "title: Pointer, 180 x 260\n"
                                      "kind: plate\n"
                                      "size_mm: [180, 260]\n"
                                      "tag_family: tag36h11\n"
                                      "tags:\n"
                                      "  - { id: 112, centre_mm: [-30, 40], size_mm: 88 }\n"
                                      "  - { id: 113, centre_mm: [-30, -72], size_mm: 88 }\n"
                                      "tip_mm: [0, 127]\n"},
            {"sheets/plate-e-measured.yaml",
             "sheet: PLATE-E\n"
             "title: Plate E, surveyed\n"
             "kind: plate\n"
             "size_mm: [210, 297]\n"
             "tag_family: tag36h11\n"
             "tags:\n"
             "  - { id: 100, centre_mm: [0.12, 80.31], size_mm: 119.9,\n"
             "      turn_deg: 0.104, edges_mm: [119.6, 120.2] }\n"
             "survey:\n"
             "  name: plates of bay 2\n"
             "  lengths: [BAR-1]\n"
             "  scale_sd: 1.1e-4\n"
             "  covariance:\n"
             "    - [0.0021]\n"
             "    - [0.0001, 0.0019]\n"
             "    - [0, 0, 0.00001]\n"
             "    - [0, 0, 0, 0.0004]\n"
             "    - [0, 0, 0, 0, 0.0004]\n"},
            {"sheets/mat-discs.yaml",
             "sheet: MAT-8\n"
             "title: Floor mat with discs\n"
             "kind: mat\n"
             "size_mm: [1200, 800]\n"
             "tag_family: tag36h11\n"
             "tags:\n"
             "  - { id: 42, centre_mm: [0, 250], size_mm: 160 }\n"
             "discs:\n"
             "  - { centre_mm: [-450, 0], diameter_mm: 80 }\n"
             "  - { centre_mm: [0, 0], diameter_mm: 80, colour: black }\n"
             "  - { centre_mm: [450, 0], diameter_mm: 80, colour: white }\n"},
            {"sheets/mat-bare.yaml", "sheet: MAT-9\n"
                                     "title: Checked mat that nothing may be stuck on\n"
                                     "kind: mat\n"
                                     "size_mm: [1200, 800]\n"
                                     "corners_mm:\n"
                                     "  - [-300, 200]\n"
                                     "  - [0, 200]\n"
                                     "  - [300, 200]\n"
                                     "  - [-300, -200]\n"
                                     "  - [0, -200]\n"
                                     "  - [300, -200]\n"
                                     "points:\n"
                                     "  - { name: rear-left corner, at_mm: [-600, -400] }\n"
                                     "  - { name: rear-right corner, at_mm: [600, -400] }\n"},
            {"sheets/board-feet.yaml", "sheet: BOARD-9\n"
                                       "title: Board on a stand with three feet\n"
                                       "kind: board\n"
                                       "size_mm: [800, 600]\n"
                                       "points:\n"
                                       "  - { name: left foot, at_mm: [-350, -1100, 150] }\n"
                                       "  - { name: right foot, at_mm: [350, -1100, 150] }\n"
                                       "  - { name: rear foot, at_mm: [0, -1100, -400] }\n"},
            {0}},
    .see = (const char *const[]){"design", "print", "survey", "job", NULL},
};
