/* How well a mark will be measured: the covariance that a good photo (sharp, with contrast, its
   noise low) gives to a mark of its size and obliquity. What the marks of src/marks have themselves
   is held against it in tests/test_plan.c. */
#ifndef TR_PLAN_MARK_SD_H
#define TR_PLAN_MARK_SD_H

#include "geom/geom.h"

/* Where two lines meet, each known across itself by sd_px: covariance (u, v, row by row, px^2),
     C = sd^2 (n1 n1' + n2 n2')^-1   n1, n2: the lines' normals.
   Lines that are nearly one: the sine of their angle is taken as at least 0.1. */
void tr_plan_crossing(tr_vec2 along_1, tr_vec2 along_2, double sd_px, double C[4]);

/* Of a tag with n_cells cells along an edge: 8 x 8, row by row, as tr_mark has it. Each corner is
   where two edges meet; what blur and tone leave open draws all four inward or outward together. */
void tr_plan_tag_covariance(const tr_vec2 corner_px[4], int n_cells, double covariance[64]);

/* The lowest cell of a tag, px: the height of the tag across its longest edge, a cell's part. */
double tr_plan_cell_px(const tr_vec2 corner_px[4], int n_cells);

/* Of a checker corner (2 x 2); the edges of one of its squares. */
void tr_plan_checker_covariance(tr_vec2 across_px, tr_vec2 up_px, double covariance[4]);

#endif
