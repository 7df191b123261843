/* Photos as findings name them. Private to adjust. */
#ifndef TR_ADJUST_NAME_PHOTOS_H
#define TR_ADJUST_NAME_PHOTOS_H

#include "adjust/adjust.h"

/* The names of the photos marked in the list, as an argument of a finding (base/finding.h); to be
   freed. NULL: memory ran out. */
char *tr_name_photos(const tr_adjust_input *in, const bool *is_listed, tr_error *err);

#endif
