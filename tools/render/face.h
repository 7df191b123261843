/* What is printed on a sheet: grids of black and white cells and discs on white ground, and how
   much of an outline they blacken. Sheet frame: x right, y up, mm. Private to the renderer. */
#ifndef TR_TOOLS_FACE_H
#define TR_TOOLS_FACE_H

#include "tools/render/render.h"

/* columns x rows square cells about a centre, turned anticlockwise. What is black reaches farther
   than its cells by ink, in parts of a cell, also beyond the grid: into a white cell from each
   black one beside it, and into its corner from a black one there. */
typedef struct {
    tr_vec2 centre_mm;
    double cos_turn, sin_turn;
    double cell_mm;
    double ink;
    int columns, rows;
    bool *is_black; /* row by row from the top left; owned */
} tr_grid;

/* A black disc, or a white hole in a black cell. */
typedef struct {
    tr_vec2 centre_mm;
    double radius_mm; /* with what ink adds to black, or takes from white */
    bool is_white;
} tr_face_disc;

typedef struct {
    tr_grid *grids;
    int n_grids;
    tr_face_disc *discs;
    int n_discs;
} tr_face;

TR_MUST_USE bool tr_face_make(const tr_scene_sheet *sheet, tr_face *out, tr_error *err);
void tr_face_release(tr_face *face);

bool tr_face_is_black(const tr_face *face, tr_vec2 p_mm);

/* A lower bound of the distance, in px, from p to the nearest edge between black and white.
   J: 2 x 2 by rows, how p moves on the sheet with u and v, mm per px. */
double tr_face_clear_px(const tr_face *face, tr_vec2 p_mm, const double J[4]);

/* The part of a convex quadrilateral that is black: 0..1. Exact, as long as black cells of
   different grids and black discs do not overlap, and each white disc lies in one cell. */
double tr_face_black_part(const tr_face *face, const tr_vec2 quad_mm[4]);

#endif
