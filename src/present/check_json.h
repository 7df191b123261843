/* A check as JSON: the object of the contract's "Result of check --json", its keys in the
   contract's order, full precision, millimetres and degrees. What was not measured is null. Added
   keys, all at the end of their object but sheets:
     target axis   budget {marks, lens, plates, sheets}: what u95 is made of, expanded alike
     references.*  stated: the layout's value
     sheets[]      flatness and scale of every sheet that was measured
     photos[]      camera, taken: as EXIF tells, null where it does not; quality {grade, reason,
                   sharpness_px, contrast, overexposed, tag_px, cell_px, elevation_deg}: see
                   photos/quality.h; reason: why the photo is not used
     warnings[]    blocks_pass
     top           left_out, variance_factor, degrees_of_freedom, program
   A check in which nothing could be measured has verdict null, an object "error", and none of
   sheets, left_out, variance_factor, degrees_of_freedom. */
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
json_t *tr_findings_json(const tr_findings *findings);
json_t *tr_program_json(void);

#endif
