/* With which of the lenses a photo was taken. Private to photos. */
#ifndef TR_PHOTOS_PHOTO_LENS_H
#define TR_PHOTOS_PHOTO_LENS_H

#include "photos/photo_set.h"

/* Fills in the photo's lens from what the request says of its file, else from its EXIF and its
   size. Where the photo fits no lens, or more than one, photo->fit and photo->why_not say so; else
   is_readable is set. False: memory ran out. */
TR_MUST_USE bool tr_photo_find_lens(const tr_photo_request *request, tr_photo *photo,
                                    tr_error *err);

/* The position in which the request says that a file was taken; 0 where it does not. */
int tr_photo_find_position(const tr_photo_request *request, const char *file);

#endif
