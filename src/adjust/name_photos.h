/* Photos as warnings name them. Private to adjust. */
#ifndef TR_ADJUST_NAME_PHOTOS_H
#define TR_ADJUST_NAME_PHOTOS_H

#include "adjust/adjust.h"

/* "1.jpg, 2.jpg and 3.jpg" of the photos marked in the list; at most four are named. */
void tr_name_photos(const tr_adjust_input *in, const bool *is_listed, char *out, size_t size);

#endif
