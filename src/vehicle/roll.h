/* Run-out compensation: the spin axes of wheels, from how the sheets on them turned while the
   vehicle was rolled.

   With T the pose of a wheel's sheet in the last position, M_p where the vehicle's body stood in
   position p against the last, and Q the rotation by theta_p about the wheel's axis in the sheet's
   own frame, the sheet was at
     S_p = M_p T Q(a, e, theta_p)
   The axis leans from the sheet's normal by a (rad, along the sheet's x and y) and passes e (mm)
   from the sheet's at_mm: the run-out. A sheet on the body was at M_p T. What is observed: the
   poses S_p of all sheets, with their joint covariance. What is known before: a and e are 0 within
   how well a sheet hangs; and all wheels stand on the floor, which is even within a standard
   deviation, so that the body rises and leans no more than that allows (one height a wheel and
   position). Solved by Gauss-Newton with the whole covariance (general least squares; JCGM
   102:2011, 6.2.2, for what follows of it).

   Two positions leave one thing to what is known before: the body's way along X, which fits the
   same poses as all axes shifted by half of it. A third position, or a sheet on the body, tells it.
 */
#ifndef TR_VEHICLE_ROLL_H
#define TR_VEHICLE_ROLL_H

#include "base/error.h"
#include "job/job.h"
#include "vehicle/vehicle.h"

/* How a sheet hangs: e along x and y (mm), then a along x and y (rad). */
enum { TR_HANG_N = 4 };

/* The wheel that a sheet hangs on, at that pose in the world; standoff_mm: from the sheet's face
   inward to the wheel's mid-plane. */
tr_wheel tr_wheel_of_sheet(tr_pose world_from_sheet, tr_vec2 at_mm, double standoff_mm,
                           const double hang[TR_HANG_N]);

/* A sheet that moves with the vehicle. */
typedef struct {
    bool is_hub;          /* it hangs on a wheel; else it is on the body */
    tr_wheel_point wheel; /* where is_hub, with ... */
    tr_vec2 at_mm;
    double standoff_mm;
    bool is_there[TR_MAX_POSITIONS]; /* in the last position it must be */
    tr_pose world_from_sheet[TR_MAX_POSITIONS];
} tr_rolled_sheet;

/* Observations stand in this order: the six numbers of each pose that is there, sheet by sheet and
   position by position; TR_HANG_N of each sheet on a wheel; for each position but the last the
   height of the floor under each sheet on a wheel, less that in the last position. */
typedef struct {
    const tr_rolled_sheet *sheets; /* borrowed */
    int n_sheets, n_positions;     /* at least 2 positions */
    const double *covariance; /* of all poses' numbers (tr_pose_moved), in that order, square */
    double reference_sd_mm, tilt_sd_rad, floor_sd_mm;
} tr_roll_input;

typedef struct tr_roll tr_roll;

/* NULL: memory ran out, or the poses do not determine the axes (TR_NO_MEASURE). Owned by the
   caller. */
tr_roll *tr_roll_new(const tr_roll_input *in, tr_error *err);
void tr_roll_free(tr_roll *s);

int tr_roll_n_observations(const tr_roll *s);

/* The wheel of a sheet, with all observations changed by small amounts (NULL: as they are), to
   first order. */
tr_wheel tr_roll_wheel(const tr_roll *s, int sheet, const double *change);

/* By how much a wheel turned forward from a position to the last, rad, in (-pi, pi]; the sheet was
   there. */
double tr_roll_angle(const tr_roll *s, int sheet, int position);

/* Squared weighted residuals, and their degrees of freedom. */
double tr_roll_cost(const tr_roll *s);
int tr_roll_degrees_of_freedom(const tr_roll *s);
/* The largest misfit of any pose: a turn (rad) and a way (mm). */
void tr_roll_misfit(const tr_roll *s, double *turn_rad, double *way_mm);

#endif
