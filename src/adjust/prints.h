/* What is known of the sizes of prints: priors of the stretch of sheets. Private to adjust. */
#ifndef TR_ADJUST_PRINTS_H
#define TR_ADJUST_PRINTS_H

#include "adjust/adjust.h"

/* Frees the stretch of all placed sheets that were not surveyed, with priors (TR_ADJUST_PRINT_SD).
   What a survey leaves open of a sheet's marks is told with their places (places.h) instead. Plates
   are tied to the first of them, which carries what they share. */
void tr_prints_set_up(const tr_adjust_input *in, tr_adjustment *out);

/* Other prints are no longer tied to that sheet, but known as it was: for when its size is in
   doubt, or it is no part of the network. */
void tr_prints_untie(tr_network *net, int sheet);

#endif
