/* A printed board whose corners do not lie quite where they should: paper stretches, glue wrinkles.
   Such errors repeat from photo to photo, corner by corner, so they do not average out over the
   photos, and a calibration that takes the board as true is off by more than it says. Private to
   calibrate.c. */
#ifndef TR_CALIB_UNEVEN_H
#define TR_CALIB_UNEVEN_H

#include "network/network.h"

/* The offsets of a board's corners, one a corner. */
typedef struct {
    tr_net_offset *offsets;
    int n;
} tr_uneven;

/* Looks at the residuals of a solved network of one board, whose observations' marks are its
   corners: if their means over all photos of each
   corner scatter more than chance allows, every corner of the board gets an offset with a prior of
   the size that the scatter shows (out of the board's plane twice as much, since paper lifts more
   easily than it stretches), and *sd_mm tells that size. Else *sd_mm is 0 and nothing changes.
   False: memory ran out. u's arrays are used by the network; tr_uneven_release when it is done. */
TR_MUST_USE bool tr_uneven_free_corners(tr_network *net, tr_uneven *u, double *sd_mm,
                                        tr_error *err);
/* After a solution with offsets: widens the priors to the size that the offsets came out with,
   since the first guess takes what the photos' poses have swallowed for nothing. *sd_mm: the size
   along the board. True while they still grow: solve again. */
bool tr_uneven_widen(tr_uneven *u, double *sd_mm);
void tr_uneven_release(tr_uneven *u);

#endif
