/* What is printed on a sheet, at exactly 1:1: its marks where the sheet file has them, and round
   them, where there is room, what people need: the centre mark, the up arrow, the sheet's id in
   large letters, a 100 mm rule in both directions to prove the scale, and a note. A plate has a
   plumb mark near an edge, too: at a wheel the tyre is where one half of a plate would have to lie
   for its centre to be under the hub cap. Beside it stands what a job's reference must say of it. A
   plate that is a pointer (tip_mm) has its tip instead; an upright board has, at the middle of its
   lower edge, the line above which its middle stands.

   Tags are their family's official bit images. A checker corner is where four squares meet, the
   upper left one black, as large as the other marks and the edge of the face leave room for. Where
   the corners make up one full grid they are a checkerboard, its upper left square black. A white
   disc is left out of a black square of TR_DISC_GROUND diameters. No ink
   but that of the marks comes into the white ground that they need.

   Sheet frame: origin at the face's centre, x right, y up, mm. */
#ifndef TR_PRINT_ARTWORK_H
#define TR_PRINT_ARTWORK_H

#include <cairo.h>

#include "base/finding.h"
#include "print/lettering.h"
#include "print/room.h"
#include "sheet/sheet.h"

/* A full grid of squares_x x squares_y squares; its inner corners are the sheet's corners_mm. */
typedef struct {
    int squares_x, squares_y; /* 0: the sheet is no checkerboard */
    double pitch_mm;
    tr_vec2 centre_mm;
} tr_grid_board;

enum { TR_BOTTOM, TR_RIGHT, TR_TOP, TR_LEFT, TR_N_EDGES }; /* of the face */

/* Something that was put where there was room. */
typedef struct {
    bool is_there;
    tr_area area;
} tr_placed;

typedef struct {
    const tr_sheet *sheet; /* borrowed */
    tr_grid_board board;
    double *square_mm; /* edge of the squares about each corner; where there is no board; owned */
    /* A tag's with its white rim, a corner's squares, a board, discs with the ground they need;
       owned. */
    tr_area *marks;
    int n_marks, first_disc; /* discs come last */
    tr_lettering lettering;
    tr_room room;
    tr_placed centre, plumb, tip, foot, rule_across, rule_up, id, arrow, note;
    tr_vec2 plumb_mm;          /* of a plate; its area holds what is written beside it, too */
    int plumb_edge;            /* the one that goes against the tyre */
    int tip_edge;              /* the one that it points to */
    bool has_tick[TR_N_EDGES]; /* marks at the middle of each edge */
    double plumb_size_mm, tip_size_mm, foot_size_mm, id_size_mm, title_size_mm, note_size_mm;
    char at_text[96]; /* "at_mm: [95, 0]" of the plumb mark or the tip, as a job has it */
    char note_text[1024];
    char english_note[1024]; /* which tells how much room the note gets */
    tr_findings left_out;    /* what found no room; for people */
} tr_artwork;

/* Lays out the sheet. Fails where marks are so close that they would be printed over each other, or
   a corner has no room for squares that can be measured. */
TR_MUST_USE bool tr_artwork_make(const tr_sheet *sheet, tr_artwork *out, tr_error *err);
void tr_artwork_release(tr_artwork *artwork);

/* Draws everything, but of the rules only those that lie whole in `shown`: a part of one would be
   taken for all of it. cr: user units are mm, y down, its origin is the sheet's. Black is printed,
   nothing is painted white. */
TR_MUST_USE bool tr_artwork_draw(tr_artwork *artwork, tr_area shown, cairo_t *cr, tr_error *err);

/* For people: the plumb mark or the tip of a plate, and what it is for. NULL: the sheet is no
   plate, or had no room for it. text: the caller's, filled. */
const char *tr_artwork_tell_place(const tr_artwork *artwork, char text[768]);

/* A tag of the family together with the white rim that it needs measures so many times its size_mm.
 *cells: how many cells its size_mm has. 0, and err, where the family is not known. */
double tr_artwork_tag_part(const char *family, double *cells, tr_error *err);

/* How a rule is drawn: from (x, y), to the right or (is_up) up the page, TR_RULE_MM long, in an
   area TR_RULE_LENGTH_MM x TR_RULE_WIDTH_MM. */
#define TR_RULE_LENGTH_MM 103.0
#define TR_RULE_WIDTH_MM 4.4
void tr_rule_draw(tr_lettering *lettering, cairo_t *cr, double x, double y, bool is_up);

#endif
