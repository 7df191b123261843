/* The lens profile file: what calibration found for one camera at one focus and image size
   (help/lens_profile.c tells users).

     lens: bay-2-tablet
     model: brown5                  # see lens/lens.h
     image_px: [4032, 3024]         # width, height
     fx_px: 3012.4
     fy_px: 3011.8
     cx_px: 2010.1
     cy_px: 1512.7
     distortion: [0.0831, -0.2105, 0.0004, -0.0002, 0.1377]   # k1 k2 p1 p2 k3
     covariance: []                 # optional: 9 rows of 9 numbers, or the same 81 in one list, in
                                    # the order fx fy cx cy k1 k2 p1 p2 k3; empty: taken as exact
     camera: Example Phone 3        # optional, as all below: what the photos that it was made from
     focal_length_mm: 5.43          # tell of how they were taken (image/camera.h)
     equivalent_focal_length_mm: 26 # the same angle of view on 35 mm film
     digital_zoom: 1                # 1: none
     camera_lens: back camera 5.43mm # the camera's name of the lens
     board: {squares: 10x7, pitch_mm: 30} # that was photographed: its squares and their edge
     calibrated: 2026-03-02         # the day of the last photo
     steady: true                   # optional: a machine camera, which is the same in every photo
     scatter:                       # optional, never beside steady: how it changes from photo to
                                    # photo (lens/lens.h); each standard deviation with its degrees
                                    # of freedom, and each optional
       shift_px: [9.8, 24]          # of the principal point
       focal_percent: [0.21, 11]
       turn_deg: [0.031, 30]        # while one photo is read
       travel_mm: [0.4, 8]

   Reading and writing refuse a lens that cannot be one: focal lengths or a centre that do not fit
   the image size, a distortion that maps two directions to one pixel of the image, a covariance
   that is not symmetric or not positive semi-definite. */
#ifndef TR_LENS_PROFILE_H
#define TR_LENS_PROFILE_H

#include "base/error.h"
#include "lens/lens.h"

/* Squares along either side of a board, as people tell them: 10 x 7 squares have 9 x 6 corners. */
enum { TR_BOARD_MIN_SQUARES = 4, TR_BOARD_MAX_SQUARES = 100 };
/* No square is larger. mm */
#define TR_BOARD_MAX_PITCH_MM 10000.0

/* Reads "10x7". False, and nothing written, where it is not that, or out of range. */
bool tr_board_squares_parse(const char *text, int *squares_x, int *squares_y);

/* On failure err names file, line and key, and *out is all zero. */
TR_MUST_USE bool tr_lens_profile_read(const char *path, tr_lens *out, tr_error *err);

/* Writes a profile from which the same lens is read, bit by bit; whole or not at all (see
   base/file.h). */
TR_MUST_USE bool tr_lens_profile_write(const char *path, const tr_lens *lens, tr_error *err);
/* What tr_lens_profile_write would write to path. *text is owned by the caller (free); NULL on
   failure. */
TR_MUST_USE bool tr_lens_profile_print(const char *path, const tr_lens *lens, char **text,
                                       size_t *size, tr_error *err);

/* The key of a kind of scatter (TR_SCATTER_SHIFT, ...), and how much of that key's unit one of
   lens.h's is. */
const char *tr_lens_scatter_key(int kind);
double tr_lens_scatter_unit(int kind);

#endif
