/* The floor: how it lies where the wheels stand and where targets are, from the sheets on it.

   Everything is in the vehicle frame (X forward, Y left, Z up, as in ISO 8855). A slope is the
   angle by which the floor rises along a direction: `along` is above 0 where it rises towards the
   front
   (+X), `across` where it rises towards the left (+Y), that to a target where it rises from the
   wheels towards it. A pitch turns about +Y, and so has the opposite sign of `along`; a roll that
   of `across`. Lengths are mm, angles rad. */
#ifndef TR_VEHICLE_FLOOR_H
#define TR_VEHICLE_FLOOR_H

#include <stdbool.h>

#include "geom/geom.h"

/* Nearer to the wheels than this, a step in height is no slope: its angle is taken over this length
   at least. mm */
#define TR_FLOOR_LEAST_WAY_MM 500.0

/* What is measured of the place of one sheet, and of the whole. */
typedef enum {
    TR_FLOOR_HEIGHT,      /* of its centre over the stand's plane, mm */
    TR_FLOOR_OUT_OF_FLAT, /* of its centre over the best plane through all centres, mm */
    TR_FLOOR_ALONG,       /* its face's own slope, less that of the stand's plane */
    TR_FLOOR_ACROSS,
    TR_FLOOR_SLOPE,        /* from the stand to its centre; of a target's place */
    TR_FLOOR_LEVEL_ALONG,  /* its own slope against the horizontal */
    TR_FLOOR_LEVEL_ACROSS, /* likewise */
    TR_FLOOR_LEVEL_SLOPE,  /* from the stand to its centre, against the horizontal */
    TR_FLOOR_N
} tr_floor_value;

typedef enum {
    TR_FLOOR_PLANE_ALONG, /* slope of the best plane less that of the stand's */
    TR_FLOOR_PLANE_ACROSS,
    TR_FLOOR_STAND_ALONG, /* slope of the stand's plane against the horizontal */
    TR_FLOOR_STAND_ACROSS,
    TR_FLOOR_WHOLE_N
} tr_floor_whole;

bool tr_floor_value_is_angle(tr_floor_value value);

/* A sheet that lies on the floor. */
typedef struct {
    tr_pose vehicle_from_sheet;
    double half_mm[2]; /* of its width and height */
    bool is_at_target; /* the floor there is what a target stands or lies on */
    bool is_at_wheel;  /* a plate, of which ... */
    tr_vec2 wheel_mm;  /* ... this place lies at the wheel's point */
} tr_floor_sheet;

/* What tells the plane of the stand, that is, of the floor where the wheels stand. */
typedef enum {
    TR_STAND_UNKNOWN,
    TR_STAND_OF_PLATES, /* plates at the wheels: Z = 0 where these carry the frame */
    TR_STAND_OF_SHEETS  /* the sheets that are at no target: the best plane through their corners */
} tr_stand;

/* The stand's ground is the rectangle from low to high, from whose nearest point the slope to a
   target is taken. */
typedef struct {
    const tr_floor_sheet *sheets;
    int n;
    tr_stand stand;
    tr_vec2 low_mm, high_mm;
    bool has_level;      /* a level was read: */
    int level_on;        /* on this sheet; -1: on the stand */
    double level_rad[2]; /* the slope along and across that it showed against the horizontal */
} tr_floor_input;

/* sheets: TR_FLOOR_N values of each. What cannot be told is NAN: out of flat with fewer than four
   centres, or centres in a line; slopes and heights without a sheet that tells the stand's plane.
   The best plane is least squares of z. */
void tr_floor_measure(const tr_floor_input *in, double (*sheets)[TR_FLOOR_N],
                      double whole[TR_FLOOR_WHOLE_N]);

#endif
