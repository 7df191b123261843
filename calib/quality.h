/* How good a set of calibration photos is: what is weak becomes a sentence that says what to shoot
   next. It judges, and changes nothing in the result. Codes:
     photo_left_out         a photo contradicts the others, and takes no part
     photo_misfit           a photo fits worse than the others
     photo_blurred          a photo is less sharp than the others
     photos_alike           two photos show nearly the same view
     board_partly_hidden    corners of a board that was found could not be measured
     corners_off            single corners contradict the others
     fits_poorly            in most photos neighbouring corners are off together
     lens_shifts            the optical axis shifts from photo to photo
     focal_changes          so does the focal length
     hand_moves             the camera moved while the photos were read out
     few_photos             fewer than 8
     part_not_covered       parts of the image in which no photo has a corner
     edges_not_told         too little there: k3 was held at 0
     few_tilted             too few photos look at the board from the side
     tilt_missing           all tilted photos are tilted to the same side
     focal_uncertain        the focal length is known poorly
     board_uneven           the same corners are off in the same way in all photos; this was taken
                            into account
     board_bowed            the board is not flat; this was taken into account
     board_square           as many squares along as across, so that a bow cannot be told
     focal_unequal          fx and fy differ
     board_stretched        the print is longer one way than the other; this was taken into account
     quarter_turn           no photo tells whether it is
     measure_board          always: what photos cannot show */
#ifndef TR_CALIB_QUALITY_H
#define TR_CALIB_QUALITY_H

#include "calib/lens_run.h"

/* The places of the image in which no photo used has a corner, as words with a joint between them;
   "" where there is none. Returns how many of the image's parts that are. */
int tr_lens_quality_uncovered(const tr_lens_run *run, const char *joint, char *out, size_t size);

/* By how much, px, the photos contradict the lens: what neighbouring corners are off together, root
   mean square over the photos. Noise, of each corner its own, does not count. */
double tr_lens_quality_contradiction_px(const tr_lens_run *run);

/* Adds the advice for a run that was solved. False: memory ran out. */
TR_MUST_USE bool tr_lens_quality_judge(tr_lens_run *run, tr_error *err);

#endif
