/* What a person is to do so that a target comes to be as required, in sentences. */
#ifndef TR_PRESENT_MOVES_H
#define TR_PRESENT_MOVES_H

#include "check/result.h"

/* The most sentences, the longest one, and all of them. */
enum { TR_MAX_MOVES = 2, TR_MOVE_SIZE = 512, TR_MOVES_SIZE = TR_MAX_MOVES * (TR_MOVE_SIZE + 1) };

/* Of a sheet on the floor at most two, "Slide the mat 12 mm backward and 3 mm to the vehicle's
   left, then turn it 0.9° clockwise seen from above." (UTF-8). what: "the mat". Slides are along
   the vehicle's axes and move the sheet's centre; the turn is about the centre. Values are rounded
   to what the limits make worth doing; a part that rounds to nothing is left out. Returns the
   number of sentences written, 0 where nothing is left to do or x, y or yaw is not measured. */
int tr_moves_lying(const char *what, const tr_axis_result axis[TR_N_AXES],
                   char out[TR_MAX_MOVES][TR_MOVE_SIZE]);

/* The same for a board on a stand: "Move the stand of BOARD-1 12 mm backward." "Then turn it 0.4°
   clockwise seen from above, raise it by 8 mm, tilt its top back 0.3°." Back is away from the side
   that the board faces. Axes that are not required are left out. */
int tr_moves_upright(const char *what, const tr_axis_result axis[TR_N_AXES],
                     char out[TR_MAX_MOVES][TR_MOVE_SIZE]);

/* Those of a target; 0 where nothing is to be moved. */
int tr_target_moves(const tr_check_result *result, const tr_target_result *target,
                    char out[TR_MAX_MOVES][TR_MOVE_SIZE]);
/* All of them in one text; "" where there are none. */
void tr_target_moves_text(const tr_check_result *result, const tr_target_result *target,
                          char out[TR_MOVES_SIZE]);

#endif
