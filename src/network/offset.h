/* The offset of a mark that is not where the file says, or not in the sheet's plane. A mark (or
   several together, such as a tag's four corners) is moved as a whole, about its centre c:
     along the face  p' = c + d + Rz(turn) E (p - c)
                     E = Rz(axis) diag(1 + scale + differential, 1 + scale - differential) Rz(-axis)
     out of it       z' = z + d_z + slope . q + twist q_x q_y    q = p - c
   so that a tag that was stuck by hand stays the flat rectangle that its printer made it, and one
   on paper that does not lie flat leans and bends with the paper. */
#ifndef TR_NETWORK_OFFSET_H
#define TR_NETWORK_OFFSET_H

#include "geom/geom.h"

/* Its unknowns: d along the sheet's axes (mm), turn about its normal (rad), scale (the relative
   change of the mark's size), differential scale (half the relative difference of its two sides),
   slopes, twist. */
enum {
    TR_OFFSET_X,
    TR_OFFSET_Y,
    TR_OFFSET_Z,
    TR_OFFSET_TURN,
    TR_OFFSET_SCALE,
    TR_OFFSET_DIFFERENTIAL_SCALE,
    TR_OFFSET_SLOPE_X, /* of the mark out of the sheet's plane, along its x ... */
    TR_OFFSET_SLOPE_Y, /* ... and y */
    TR_OFFSET_TWIST,   /* mm per mm^2 */
    TR_OFFSET_N
};

typedef struct {
    double value[TR_OFFSET_N];
    bool is_free[TR_OFFSET_N];
    double sd[TR_OFFSET_N]; /* prior about 0 of a free component; 0: none */
    tr_vec2 centre_mm;      /* c above, on the sheet */
    double axis_rad;        /* of the mark's first side, anticlockwise from the sheet's x */
} tr_net_offset;

#endif
