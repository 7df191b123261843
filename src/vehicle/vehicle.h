/* The vehicle frame from the wheel points. Axis directions as in ISO 8855: X forward, Y left, Z up;
   Z = 0 is the floor. Here the origin lies under the middle of the rear axle; a placement that is
   named from the front axle has its origin wheelbase further on. */
#ifndef TR_VEHICLE_VEHICLE_H
#define TR_VEHICLE_VEHICLE_H

#include <stdbool.h>

#include "geom/geom.h"
#include "job/job.h"
#include "job/layout.h"

typedef struct {
    tr_pose vehicle_from_world;
    bool has_front;                /* both front points are there */
    tr_vec2 point_mm[TR_N_POINTS]; /* in the vehicle frame */
    double wheelbase_mm;           /* between the middles of the axles; 0 without front points */
    double track_front_mm;         /* 0 without front points */
    double track_rear_mm;
    /* How far, mm to the left, the middle of the front axle lies from the line that is square to
       the rear axle through its middle; and the middle of the rear axle from the line square to the
       front axle. Both 0 where the four points are those of a straight vehicle. */
    double skew_rear_mm, skew_front_mm;
} tr_vehicle;

/* points: wheel points in the world (z up, roughly), mm; is_there: which of them are known. Both
   rear points are needed, and both front ones for TR_AXES_CENTRELINE; false where they are not
   there or coincide, and for TR_AXES_THRUST, which needs the directions of the wheels. The floor is
   the plane through the points (least squares) where there are at least three, else the world's. */
bool tr_vehicle_frame(const tr_vec3 point_world_mm[TR_N_POINTS], const bool is_there[TR_N_POINTS],
                      tr_axes axes, tr_vehicle *out);

/* Where a floor sheet lies in the frame: x, y, z (mm), yaw, pitch, roll (rad) of the contract.
   vehicle_from_sheet = (Rz(yaw) Ry(pitch) Rx(roll) R0, (x, y, z)), R0 taking the sheet's +y to +X,
   its +x to -Y. pitch in [-pi/2, pi/2]. */
void tr_placement_of(tr_pose vehicle_from_sheet, double value[TR_N_AXES]);
/* The inverse. */
tr_pose tr_pose_of_placement(const double value[TR_N_AXES]);

#endif
