/* The border to OpenCV. Rules:
   1. This header is plain C; no OpenCV type, exception or allocation gets past it.
   2. Each function is one task of OpenCV's; what to try, and what the result is worth, is decided
      by the caller.
   3. The same input gives the same output whatever ran before and on however many threads: OpenCV's
      own threads are off, and its random numbers start anew in each call.
   4. OpenCV prints nothing.
   5. OpenCV is not part of the program, but of a module that is loaded when it is first needed
      (module.h): what needs no checkerboard starts without it. */
#ifndef TR_OPENCV_OPENCV_H
#define TR_OPENCV_OPENCV_H

#include "base/error.h"
#include "geom/geom.h"
#include "image/image.h"

/* Loads OpenCV, if it is not yet: to be asked before photos are read for it. False: the module or
   OpenCV is not there (err says so). */
TR_MUST_USE bool tr_opencv_load(tr_error *err);

/* Finds a checkerboard with inner_cols x inner_rows inner corners (each at least 3), all of which
   must be seen. *found tells whether there is one; then corners_px[row * inner_cols + col] holds
   its corners, roughly (a pixel or so); their numbering may start at any of the board's four outer
   corners and run either way round. is_exhaustive: look harder, which takes several times as long.
   Source: Duda and Frese, Accurate detection and localization of checkerboard corners for
   calibration, BMVC 2018; OpenCV's findChessboardCornersSB.
   False: OpenCV failed (err says how); that there is no board is no failure. */
TR_MUST_USE bool tr_opencv_find_checkerboard(const tr_image *image, int inner_cols, int inner_rows,
                                             bool is_exhaustive, tr_vec2 *corners_px, bool *found,
                                             tr_error *err);

#endif
