/* What a measurement still lacks after quick looks at its photos, and where that could be seen.
   Private to photos. */
#ifndef TR_PHOTOS_SEARCH_H
#define TR_PHOTOS_SEARCH_H

#include "photos/photo_set.h"
#include "photos/predict.h"

/* Marks the needed sheets that fewer than two photos show: is_missing, one a sheet. False: there is
   none, and every photo that shows sheets has its place among the others. */
bool tr_search_is_due(const tr_photo_set *set, const tr_predictions *predictions, bool *is_missing);

/* Whether a search of the photo on a copy that is shrunk by the factor could show what is missing;
   part: where. A photo without a place could show anything anywhere. In one that has a place,
   sheets lie on its floor: so each pixel tells how large a tag would be that is seen there, and
   what would be larger than a coarser search needs was not missed by it. A sheet that one photo
   shows lies near its place, if it was moved between the photos. */
bool tr_search_could_show(const tr_photo_set *set, const tr_predictions *predictions,
                          const bool *is_missing, int photo, int factor, tr_window *part);

#endif
