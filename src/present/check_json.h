/* A check as JSON: the object of the contract's "Result of check --json", its keys in the
   contract's order, full precision, millimetres and degrees. What was not measured is null. Added
   keys, all at the end of their object but sheets:
     target axis   budget {marks, lens, plates, sheets, pointers}: what u95 is made of, expanded
   alike; u95_with_profile: about what it would be with a lens profile, where there is none
     targets[]     from: front-axle | rear-axle; required_pose: vehicle_from_sheet, [R | t] by rows,
                   where the sheet should lie; photo: name of the one that shows it best, or null
     references    stated {wheelbase_mm, ...}: what the layout states of them,
                   measured or not; plates[] {point, sheet, at_mm: the wheel point, x, y, or null}
     references.*  stated: the layout's value
     sheets[]      flatness and scale of every sheet; title, size_mm, surveyed: its marks were
                   measured; pose: vehicle_from_sheet, or null
     free_areas[]  only where the layout has some: name, from, placed: what that is was measured;
                   height_mm; corners_mm in the vehicle frame; seen[] {photo, all}
     floor         where it was measured, or is judged: see trammel-check-result(5)
     lens          of an unknown one: known: false, focal_px, focal_u95_px
     photos[]      camera, taken: as EXIF tells, null where it does not; quality {grade, reason,
                   sharpness_px, contrast, overexposed, tag_px, cell_px, elevation_deg}: see
                   photos/quality.h; lens: where the job has several; reason: why the photo is not
                   used; name: as messages name it; image_px; marks_found; where it is used,
   lens_px: the lens as it was in the photo, fx fy cx cy k1 k2 p1 p2 k3, and camera_pose:
                   camera_from_vehicle; of a photo that a target names, marks_px: for each mark its
                   sheet, counted from 0, then u, v of its points
     warnings[]    blocks_pass; variant and arguments: see base/finding.h
     top           left_out, variance_factor, degrees_of_freedom, vehicle, vehicle_id, technician,
                   reference_sd_mm, flatness_limit_mm, steady_camera, program
   A check in which nothing could be measured has verdict null, an object "error", and none of
   sheets, left_out, variance_factor, degrees_of_freedom.

   A result that was written so can be read back (present/check_json_read.h), and says the same. */
#ifndef TR_PRESENT_CHECK_JSON_H
#define TR_PRESENT_CHECK_JSON_H

#include <jansson.h>

#include "check/result.h"

/* A new reference; NULL when memory ran out. What a check that ended without a measurement does not
   know is null or an empty list. */
json_t *tr_check_json(const tr_check_result *result);

/* Parts that other results have, too: a list of the photos, with the lens of each where there are
   several, of the findings (empty for NULL), and name and version of the program. */
json_t *tr_photos_json(const tr_photo_result *photos, int n, bool has_lenses);
json_t *tr_findings_json(const tr_findings *list);
json_t *tr_program_json(void);

/* Keys of `wheels` that are of the whole vehicle. */
typedef struct {
    const char *key;
    tr_vehicle_value value;
} tr_wheels_key;
enum { TR_N_WHEELS_KEYS = 4 };
extern const tr_wheels_key TR_WHEELS_KEYS[TR_N_WHEELS_KEYS];

/* Keys of a place of `floor`, in the order of tr_floor_value; axis: TR_X for
   lengths, TR_YAW for angles. */
typedef struct {
    const char *key;
    tr_axis axis;
} tr_floor_key;
extern const tr_floor_key TR_FLOOR_KEYS[TR_FLOOR_N];
/* "plates", "sheets", in the order of tr_stand; "" where nothing tells it. */
extern const char *const TR_STAND_WORDS[];
/* "confirmed", "not confirmed", "not done", in the order of tr_precondition_state. */
extern const char *const TR_PRECONDITION_STATES[];

#endif
