/* What a photo that was not taken yet will show. */
#ifndef TR_PLAN_SEE_H
#define TR_PLAN_SEE_H

#include <stdint.h>

#include "marks/marks.h"
#include "plan/scene.h"

/* From where a photo is taken: the camera's place, and what is in the middle of the picture; mm in
   the vehicle frame of the last roll position. */
typedef struct {
    tr_vec3 at_mm, look_at_mm;
    int position; /* in which it is taken, from 0; 0 where the vehicle is not rolled */
} tr_station;

/* Bit i: sheet i. */
typedef uint64_t tr_sheet_set;

/* The camera that stands there upright: x to the right, level. False where it looks straight up or
   down, or at itself. */
bool tr_station_pose(const tr_station *station, tr_pose *camera_from_vehicle);

/* The marks of a planned photo: exact projections through the lens, with the covariance that a good
   photo gives them (mark_sd.h). A mark is there where it is whole in the picture, nothing hides it,
   and it is large enough and seen steeply enough to be measured well.

   number: of the photo in the plan. By it the photo has a shift of the lens, a focal length, a turn
   and a travel of its own, as large as the profile's scatter says in the mean over photos and in
   directions that differ from photo to photo: what a check makes of the photos' scatter is then
   what it will make of it. Without a profile's figures they are those of a phone in a steady hand.

   *out is to be released in any case (tr_photo_marks_release). *sees: the sheets of which it has
   marks; may be NULL. False: memory ran out. */
TR_MUST_USE bool tr_plan_see(const tr_plan_scene *scene, const tr_station *station, int number,
                             tr_photo_marks *out, tr_sheet_set *sees, tr_error *err);

/* Marks that were measured in a photo of a roll position become what the scene has them be: the
   same marks, with their covariances, but exactly where a camera with that lens of the job, that
   pose and that number shows them. */
void tr_plan_idealise(const tr_plan_scene *scene, int position, int lens,
                      tr_pose camera_from_vehicle, int number, tr_photo_marks *marks);

/* Which sheets it will show, and how many marks: the same without the marks themselves. */
TR_MUST_USE bool tr_plan_glance(const tr_plan_scene *scene, const tr_station *station,
                                tr_sheet_set *sees, int *n_marks, tr_error *err);

#endif
