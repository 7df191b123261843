/* Photos as findings name them. Private to diagnose. */
#ifndef TR_DIAGNOSE_PHOTO_NAMES_H
#define TR_DIAGNOSE_PHOTO_NAMES_H

#include "adjust/adjust.h"
#include "base/finding.h"

/* The names of the photos marked in the list, as an argument of a finding (base/finding.h); to be
   freed. NULL: memory ran out. */
char *tr_photo_names(const tr_adjust_input *in, const bool *is_listed, tr_error *err);

#endif
