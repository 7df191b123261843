/* A check as a picture: the verdict, what to do, the photo that shows the sheet best with its
   required and measured outline, a plan view with dimensions, the numbers, the cautions. To be read
   on a tablet from two metres, or printed, without colours, too. Several targets have a page each,
   and one before them that shows them all (present/picture_pages.h). It depends on the result and
   on its photos alone: no date, no name of the machine. */
#ifndef TR_PRESENT_PICTURE_H
#define TR_PRESENT_PICTURE_H

#include "base/module.h"
#include "check/result.h"

enum { TR_PICTURE_WIDTH_PX = 1920, TR_PICTURE_HEIGHT_PX = 1200 };

/* Writes the files of tr_picture_pages_of, all of them whole or none (tr_files_write): PNGs, or one
   PDF where path ends so. Reads one photo a target again (present/overlay.h). None of the photos is
   ever written over.

   photos: of the check, or NULL. A check that ended without a measurement has a picture too, so
   that no older one of that name is taken for this one.

   In the program this is the module trammel-picture.so. */
typedef bool tr_picture_writer(const tr_check_result *result, const tr_photo_set *photos,
                               const char *path, tr_error *err);
TR_MUST_USE TR_MODULE_EXPORT tr_picture_writer tr_picture_write;

#endif
