/* The vehicle: its frame from what marks its wheels, and what is measured of the wheels themselves.

   Axis directions as in ISO 8855: X forward, Y left, Z up; Z = 0 is the floor. Here the origin lies
   under the middle of the rear axle; a placement that counts from elsewhere has that place taken
   off (tr_vehicle_axle). Lengths are mm, angles rad.

   Signs of the trade (common practice, no source). The heading of a wheel is the horizontal
   direction of its plane, forward, as a yaw. Toe is positive where the wheel's front edge is nearer
   to the vehicle's middle: of rear wheels against the centreline, of front wheels against the
   thrust line. Camber is positive where the top leans outward. The thrust angle is the mean of both
   rear headings against the centreline, positive to the left. Set-back is x of the front-left
   centre less that of the front-right one, in the frame of the centreline. */
#ifndef TR_VEHICLE_VEHICLE_H
#define TR_VEHICLE_VEHICLE_H

#include <stdbool.h>

#include "geom/geom.h"
#include "job/job.h"
#include "job/layout.h"

/* A wheel, as the world has it. */
typedef struct {
    bool is_there;
    bool has_axis; /* a sheet hangs on it: its spin axis is known */
    tr_vec3 at_mm; /* its centre where it has an axis; else its plumb point on the floor */
    tr_vec3 axis;  /* of unit length, away from the vehicle */
    /* How its sheet runs out, where the wheel was rolled: its place from the axis, and the angle of
       its normal to it. */
    bool has_runout;
    double runout_mm, runout_rad;
} tr_wheel;

typedef struct {
    tr_vec3 normal, at_mm; /* of unit length, upward; a point of it */
} tr_floor;

/* What is measured of a vehicle, in the order of tr_vehicle.value. */
typedef enum {
    TR_WHEELBASE,   /* between the middles of the axles */
    TR_TRACK_FRONT, /* between the centres of the wheels, or their plumb points */
    TR_TRACK_REAR,
    /* How far, mm to the left, the middle of the front axle lies from the line that is square to
       the rear axle through its middle; and the middle of the rear axle from the line square to the
       front axle. Both 0 where the four points are those of a straight vehicle. */
    TR_SKEW_REAR,
    TR_SKEW_FRONT,
    TR_WHEELBASE_LEFT, /* difference of x in the frame of the centreline */
    TR_WHEELBASE_RIGHT,
    TR_SET_BACK,
    TR_THRUST_ANGLE,
    TR_TOE,                                   /* of each wheel, in the order of tr_wheel_point */
    TR_CAMBER = TR_TOE + TR_N_POINTS,         /* likewise */
    TR_RUNOUT_TILT = TR_CAMBER + TR_N_POINTS, /* likewise, of its sheet */
    TR_CENTRE = TR_RUNOUT_TILT + TR_N_POINTS, /* x, y, z of each, in the vehicle frame */
    TR_RUNOUT = TR_CENTRE + 3 * TR_N_POINTS,  /* of each one's sheet */
    TR_N_VEHICLE_VALUES = TR_RUNOUT + TR_N_POINTS
} tr_vehicle_value;

bool tr_vehicle_value_is_angle(int value);

typedef struct {
    tr_pose vehicle_from_world;
    bool has_front;                /* both front points are there */
    tr_vec3 point_mm[TR_N_POINTS]; /* of each wheel that is there, in the vehicle frame */
    double value[TR_N_VEHICLE_VALUES];
    bool has[TR_N_VEHICLE_VALUES]; /* what is marked does tell it */
} tr_vehicle;

/* The plane through n >= 3 points of the world, least squares of z. False: they lie on a line. */
bool tr_floor_through(const tr_vec3 *points_mm, int n, tr_floor *out);

/* The frame and the values. floor: Z is its normal, and heights count from it. Both rear wheels are
   needed; both front ones, too, for TR_AXES_CENTRELINE; the axes of both rear ones for
   TR_AXES_THRUST. False where they are not there or coincide. */
bool tr_vehicle_frame(const tr_wheel wheels[TR_N_POINTS], const tr_floor *floor, tr_axes axes,
                      tr_vehicle *out);

/* The floor of what stands on it: the plane through the plumb points where there are three or more;
   else the world's z = 0. False: they lie on a line. */
bool tr_floor_of_plates(const tr_wheel wheels[TR_N_POINTS], tr_floor *out);
/* The frame of plumb points alone, on the floor of tr_floor_of_plates. */
bool tr_vehicle_of_points(const tr_vec3 point_world_mm[TR_N_POINTS],
                          const bool is_there[TR_N_POINTS], tr_axes axes, tr_vehicle *out);

/* The middle of an axle, on the floor, in the vehicle frame; of the front one where has_front. */
tr_vec3 tr_vehicle_axle(const tr_vehicle *vehicle, bool is_front);

/* The smallest rectangle along X and Y that holds the points of the rear wheels, and of the front
   ones where has_front. */
void tr_vehicle_ground(const tr_vehicle *vehicle, tr_vec2 *low_mm, tr_vec2 *high_mm);

/* Where a sheet is in a frame with these axes: x, y, z (mm), yaw, pitch, roll (rad) of the
   contract. vehicle_from_sheet = (Rz(yaw) Ry(pitch) Rx(roll) R0, (x, y, z)). R0 of a sheet that
   lies takes its +y to +X, its +x to -Y, its +z to +Z; of an upright one its +y to +Z, its +x to
   -Y, its +z to -X. pitch in [-pi/2, pi/2]. */
void tr_placement_of(tr_pose vehicle_from_sheet, bool is_upright, double value[TR_N_AXES]);
/* The inverse. */
tr_pose tr_pose_of_placement(const double value[TR_N_AXES], bool is_upright);

#endif
