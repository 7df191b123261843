/* With which of the job's lenses a photo was taken. Private to check. */
#ifndef TR_CHECK_PHOTO_LENS_H
#define TR_CHECK_PHOTO_LENS_H

#include "check/check.h"

/* Fills in the photo's lens from what the job says of its file, else from its EXIF and its size.
   False where the photo fits no lens, or more than one: photo->fit and photo->why_not say so. */
bool tr_check_find_lens(const tr_job *job, tr_check_photo *photo);

#endif
