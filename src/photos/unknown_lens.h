/* A lens that is unknown: what the photos' EXIF and marks tell of it. */
#ifndef TR_PHOTOS_UNKNOWN_LENS_H
#define TR_PHOTOS_UNKNOWN_LENS_H

#include "photos/photo_set.h"

/* With marks found: refuses photos of another size than most have, and fills in
   set->unknown_lens (lens/unknown.h, by the size and what the first of the others tells of its
   camera) and set->solved_lens (a first solution of all marks together). The poses of sheets in
   photos become those by that lens. The photos are sorted. False: memory ran out.

   The focal length is sought first among some fifty, a twentieth apart: the one by which the marks
   of each sheet in each photo are nearest to those of a flat sheet. Then a network is solved, from
   poses by that. */
TR_MUST_USE bool tr_photo_set_find_lens(tr_photo_set *set, tr_error *err);

#endif
