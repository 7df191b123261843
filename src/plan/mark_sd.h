/* How well a mark will be measured: the covariance that a good photo (sharp, with contrast, its
   noise low) gives to a mark of its size and obliquity. What the marks of src/marks have themselves
   was compared with it (doc/measurements.md). */
#ifndef TR_PLAN_MARK_SD_H
#define TR_PLAN_MARK_SD_H

#include "geom/geom.h"

/* Where two lines meet, each known across itself by sd_px: covariance (u, v, row by row, px^2),
     C = sd^2 (n1 n1' + n2 n2')^-1   n1, n2: the lines' normals.
   Lines that are nearly one: the sine of their angle is taken as at least 0.1. */
void tr_plan_crossing(tr_vec2 along_1, tr_vec2 along_2, double sd_px, double covariance[4]);

/* Of a tag's corner, whose edges lead to its two neighbours. */
void tr_plan_tag_corner(tr_vec2 to_next_px, tr_vec2 to_last_px, double covariance[4]);

/* Of a checker corner; the edges of one of its squares. */
void tr_plan_checker_corner(tr_vec2 across_px, tr_vec2 up_px, double covariance[4]);

#endif
