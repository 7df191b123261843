/* Initial values: a first pose for every photo and sheet that is connected to the datum sheet.
   Private to adjust, diagnose and survey. */
#ifndef TR_ADJUST_INITIAL_VALUES_H
#define TR_ADJUST_INITIAL_VALUES_H

#include "adjust/adjust.h"

/* Walks from the datum sheet over photos that show two sheets, the clearest views first (a maximum
   spanning tree), and fills in out->net's rigs and sheets, out->photo_placed, out->sheet_placed and
   out->datum_sheet. The arrays are there already. The datum sheet is chosen among the floor sheets
   so that most marks are connected to it. False where no floor sheet was seen (err). */
TR_MUST_USE bool tr_initial_values(const tr_adjust_input *in, tr_adjustment *out, tr_error *err);

/* Where a floor sheet lies as one photo alone has it: its outline, as seen in the photo, is brought
   down to the floor along the rays of the photo's camera (out->net.rigs). Both poses of an
   ambiguous view show the outline at the same place, so it does not matter which is the true one.
   False where a ray does not meet the floor. */
bool tr_initial_floor_pose(const tr_adjust_input *in, const tr_adjustment *out, int photo,
                           const tr_sheet_view *view, tr_pose *world_from_sheet);

#endif
