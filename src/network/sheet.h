/* A sheet: where it lies, and how its print differs from the file (scale and bow).
     p_sheet  = (x (1 + print_scale_x), y (1 + print_scale_y),
                 bow_x (1 - (x/hx)^2) + bow_y (1 - (y/hy)^2))
     p_world  = world_from_sheet * p_sheet
   where hx, hy are the half extents of the sheet: bow_x is how far, in mm, the middle of the sheet
   stands out of the plane through its left and right edges. */
#ifndef TR_NETWORK_SHEET_H
#define TR_NETWORK_SHEET_H

#include "geom/geom.h"

/* Its unknowns: rotation about the axes of the world (rad), place (mm), shape (1, 1, mm, mm). */
enum {
    TR_SHEET_RX,
    TR_SHEET_RY,
    TR_SHEET_RZ,
    TR_SHEET_TX,
    TR_SHEET_TY,
    TR_SHEET_TZ,
    TR_PRINT_SCALE_X,
    TR_PRINT_SCALE_Y,
    TR_BOW_X,
    TR_BOW_Y,
    TR_SHEET_N
};
/* Its shape alone: the last of them, in their order. */
typedef enum {
    TR_SHAPE_SCALE_X,
    TR_SHAPE_SCALE_Y,
    TR_SHAPE_BOW_X,
    TR_SHAPE_BOW_Y,
    TR_SHAPE_N
} tr_net_shape;

typedef struct {
    tr_pose world_from_sheet;
    double shape[TR_SHAPE_N];
    double half_mm[2]; /* hx, hy above; > 0 */
    bool is_free[TR_SHEET_N];
    double shape_sd[TR_SHAPE_N]; /* prior of a free shape component about 0; 0: none ... */
    int shape_about;             /* ... or about that of this sheet; -1: about 0 */
    double floor_z_sd_mm;        /* prior: origin on the floor z = 0; 0: none */
    double floor_tilt_sd_rad;    /* prior: face level; goes with floor_z_sd_mm */
} tr_net_sheet;

#endif
