/* Ready designs: a whole sheet from a few numbers.

     plate         lies at a wheel: two tags on either side of an open centre mark, over which a
                   plumb bob can hang; four checker corners where there is room
     pointer       a plate that is laid with its printed tip, near the middle of its upper edge, at
                   a point
     hub           hangs on a wheel: four tags round an open middle
     mat           tags along the edges, round an open middle, with checker corners between them
     board         stands upright: like a mat, with a line at the middle of its lower edge below
                   which the place of its stand can be marked
     checkerboard  for `trammel lens`: squares, and in the margin one small tag that tells the
                   boards of a shop apart

   A tag's cells are a whole number of half millimetres (of a checkerboard's tag: tenths). Sheets
   are upright (turn_deg 0), tags in rows from the upper left. */
#ifndef TR_PRINT_DESIGN_H
#define TR_PRINT_DESIGN_H

#include "sheet/folder.h"

typedef enum {
    TR_DESIGN_PLATE,
    TR_DESIGN_POINTER,
    TR_DESIGN_HUB,
    TR_DESIGN_MAT,
    TR_DESIGN_BOARD,
    TR_DESIGN_CHECKERBOARD,
} tr_design_kind;
enum { TR_N_DESIGNS = 6 };

const char *tr_design_name(tr_design_kind kind); /* "plate", "pointer", ... */

/* Squares of a checkerboard, each way, as `trammel lens` takes them. */
enum { TR_DESIGN_MIN_SQUARES = 4, TR_DESIGN_MAX_SQUARES = 100 };

typedef struct {
    tr_design_kind kind;
    const char *id, *title;     /* title NULL: one is made from the numbers */
    double width_mm, height_mm; /* of the face; 0: plate, pointer and hub as they fit on A4, mat
                                   1600 x 1000, board 600 x 800, checkerboard A4 or A3 where it
                                   holds it, else larger */
    double tag_mm;              /* edge of a tag; 0: as large as fits (mat and board: a sixth of the
                                   shorter side, at most 160) */
    int squares_x, squares_y;   /* checkerboard */
    double pitch_mm;
    const char *family;
    int id_low, id_high; /* range to choose tag ids from */
} tr_design;

/* Lays out a sheet whose tag ids no sheet of the shop has. *out is released by the caller
   (tr_sheet_release); its path is NULL. Fails where the numbers do not go together (err says
   which), the name is used in the shop already, or the range of ids is used up. */
TR_MUST_USE bool tr_design_make(const tr_design *design, const tr_sheet_folder *sheets,
                                tr_sheet *out, tr_error *err);

#endif
