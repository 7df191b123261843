/* A job whose lens is unknown: the lens from the photos' EXIF and marks. Private to check. */
#ifndef TR_CHECK_UNKNOWN_LENS_H
#define TR_CHECK_UNKNOWN_LENS_H

#include "check/check.h"

/* With marks found: refuses photos of another size than most have, and fills in
   check->unknown_lens (lens/unknown.h, by the size and what the first of the others tells of its
   camera) and check->solved_lens (a first solution of all marks together). The poses of sheets in
   photos become those by that lens. The photos are sorted. False: memory ran out.

   The focal length is sought first among some fifty, a twentieth apart: the one by which the marks
   of each sheet in each photo are nearest to those of a flat sheet. Then a network is solved, from
   poses by that. */
TR_MUST_USE bool tr_check_find_unknown_lens(tr_check *check, tr_error *err);

/* Refuses what too few photos, or photos that are too much alike, say of the lens (TR_NO_MEASURE).
 */
TR_MUST_USE bool tr_check_is_lens_told(const tr_check *check, const tr_adjustment *adj,
                                       tr_error *err);

/* Says that the lens was unknown, and what a calibration would gain. */
TR_MUST_USE bool tr_check_note_unknown_lens(tr_check *check, tr_error *err);

#endif
