/* Stations that a person proposes, in a file:

     stations:
       - { x_mm: -3800, y_mm: 900, height_mm: 1550, look_at_mm: [-1200, 0, 0] }

   and, where the vehicle is rolled, `position: 1`, the first of those of the job (else the last);
   in the vehicle frame, its origin under the middle of the rear axle. help/stations.c, which is
   trammel-stations(5). */
#ifndef TR_PLAN_STATIONS_H
#define TR_PLAN_STATIONS_H

#include "plan/see.h"

enum { TR_MAX_STATIONS = 100 };

/* n_positions: of the job, at least 1. On failure err names file, line and key, and *out is NULL.
 * Owned by the caller (free). */
TR_MUST_USE bool tr_stations_read(const char *path, int n_positions, tr_station **out, int *n,
                                  tr_error *err);

#endif
