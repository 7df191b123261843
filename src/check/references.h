/* Do the wheel points make a vehicle? Private to check. */
#ifndef TR_CHECK_REFERENCES_H
#define TR_CHECK_REFERENCES_H

#include "base/finding.h"
#include "job/job.h"
#include "vehicle/vehicle.h"

/* An axle's wheels are marked by plates, so that its track is between plumb points, as a layout's.
 */
bool tr_references_have_plates(const tr_job *job, bool is_rear);

/* All wheels that are marked are marked by plates: what is said of them is of plumb marks. */
bool tr_references_are_plates(const tr_job *job);

/* How well they are known: the standard uncertainty of the skews, u95 of the angles. */
typedef struct {
    double skew_mm, thrust_u95_rad;
    double toe_u95_rad[TR_N_POINTS], camber_u95_rad[TR_N_POINTS];
} tr_reference_u;

/* Findings, which block a pass: plates exchanged left and right or front and rear, wheelbase
   or tracks off the layout's by more than its tolerance, axles not square to each other; and, where
   one plate alone explains it, which one and by how much; a thrust angle beyond the layout's limit;
   wheels that no sound vehicle has.
   A skew that is more than its uncertainty explains, but within the tolerance, is told and does not
   block.
   Where the findings already name a cause that spoils every length (another lens, a print's scale,
   a sheet that moved), lengths are not judged. */
TR_MUST_USE bool tr_check_references(const tr_job *job, const tr_vehicle *vehicle,
                                     const tr_reference_u *u, tr_findings *findings, tr_error *err);

#endif
