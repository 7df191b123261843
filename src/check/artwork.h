/* Targets that are found by their own artwork: from where pointers tell that they are, or from
   their required places. Private to check. */
#ifndef TR_CHECK_ARTWORK_H
#define TR_CHECK_ARTWORK_H

#include "check/check.h"
#include "check/rolled.h"
#include "photos/untagged.h"
#include "vehicle/vehicle.h"

/* Seeks the job's sheets that are to be found by their artwork, and adds their marks to the photos
   of the check in which they are seen. solved, vehicle: of the network without them. check->artwork
   says of each sheet what came of it. False: memory ran out. */
TR_MUST_USE bool tr_check_seek_artwork(const tr_solved *solved, const tr_vehicle *vehicle,
                                       tr_check *check, tr_error *err);

/* What a person should know of it. False: memory ran out. */
TR_MUST_USE bool tr_check_note_artwork(const tr_solved *solved, tr_check *check, tr_error *err);

#endif
