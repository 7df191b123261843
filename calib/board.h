/* The checkerboard in one photo: found on a small copy, then each corner measured at full
   resolution (marks/checker.h). The numbering of its corners starts next to a dark square; where
   both ends of the board have one, it may start at either, since the board looks the same after
   half a turn. It never comes out mirrored. Board frame as a sheet's: origin at the board's middle,
   x right, y up, z out of the printed face, mm. */
#ifndef TR_CALIB_BOARD_H
#define TR_CALIB_BOARD_H

#include "base/finding.h"
#include "geom/geom.h"
#include "image/image.h"
#include "lens/profile.h"
#include "marks/checker.h"

typedef struct {
    int squares_x, squares_y; /* TR_BOARD_MIN_SQUARES .. TR_BOARD_MAX_SQUARES */
    double pitch_mm;          /* edge of a square */
} tr_board;

static inline int tr_board_columns(const tr_board *b) {
    return b->squares_x - 1;
}
static inline int tr_board_rows(const tr_board *b) {
    return b->squares_y - 1;
}
static inline int tr_board_corners(const tr_board *b) {
    return tr_board_columns(b) * tr_board_rows(b);
}

/* Half a turn changes the colours: an even number of squares one way and an odd one the other. */
static inline bool tr_board_tells_ends(const tr_board *b) {
    return (b->squares_x + b->squares_y) % 2 == 1;
}

/* Where corner `row * columns + column` lies on the board; column 0 is left, row 0 on top. */
tr_vec2 tr_board_corner_mm(const tr_board *board, int corner);

/* The corners measured in one photo. All zero is a valid empty one: no board. */
typedef struct {
    int n;         /* corners measured; with n_missing 0: no board was found */
    int n_missing; /* corners of a board that was found which could not be measured */
    int n_refused[TR_CHECKER_N_OUTCOMES]; /* of these, why */
    int *corner;                          /* number of each, rising; n places, owned, as below */
    tr_vec2 *p_board_mm;
    tr_vec2 *uv_px;
    double *sd_px;  /* of one coordinate */
    double blur_px; /* median sigma of the edges' blur */
} tr_board_view;

/* Room for every corner of the board; n is 0. */
TR_MUST_USE bool tr_board_view_init(tr_board_view *view, const tr_board *board, tr_error *err);
/* Appends a corner; its number must be above those before. */
void tr_board_view_add(tr_board_view *view, const tr_board *board, int corner, tr_vec2 uv_px,
                       double sd_px);
void tr_board_view_release(tr_board_view *view);

/* Notes why corners were not measured, as one finding; nothing where all were. The most frequent
   reason stands last, and what to do about it with it: "3 are too small, 12 are blurred; hold still
   ...". False: memory ran out. */
TR_MUST_USE bool tr_board_note_why(const tr_board_view *view, tr_findings *why, tr_error *err);

/* Finds and measures the board. That there is none is no failure: *out is then empty. False: memory
   ran out or the finder broke; *out is empty. */
TR_MUST_USE bool tr_board_find(const tr_image *image, const tr_board *board, tr_board_view *out,
                               tr_error *err);

#endif
