/* What is known of the sizes of prints: priors of the print scales of sheets. Private to adjust and
   diagnose. */
#ifndef TR_ADJUST_PRINT_SCALE_H
#define TR_ADJUST_PRINT_SCALE_H

#include "adjust/adjust.h"

/* Frees the print scales of all placed sheets that were not surveyed, with priors
   (TR_ADJUST_PRINT_SD). What a survey leaves open of a sheet is told with the coordinates of its
   marks (mark_covariance.h) instead. Plates are tied to the first of them, which carries what they
   share. */
void tr_print_scale_set_up(const tr_adjust_input *in, tr_adjustment *out);

/* Gives the prints that are tied to a sheet priors of their own instead: for when that sheet's size
   is in doubt, or it leaves the network. */
void tr_print_scale_untie(tr_network *net, int sheet);

#endif
