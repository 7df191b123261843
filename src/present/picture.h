/* A check as one picture: the verdict, what to do, the photo that shows the sheet best with its
   required and measured outline, a plan view with dimensions, the numbers, the cautions. To be read
   on a tablet from two metres. It depends on the check alone: no date, no name of the machine. */
#ifndef TR_PRESENT_PICTURE_H
#define TR_PRESENT_PICTURE_H

#include "check/check.h"

enum { TR_PICTURE_WIDTH_PX = 1920, TR_PICTURE_HEIGHT_PX = 1200 };

/* Writes a PNG, whole or not at all. Reads one photo again (present/overlay.h). Of several targets
   all are in the plan, and the first one of the worst verdict is shown in detail. */
TR_MUST_USE bool tr_picture_write(const tr_check *check, const char *path, tr_error *err);

/* For a check that ended without a measurement, so that no older picture of that name is taken for
   this one. check may be NULL. */
TR_MUST_USE bool tr_picture_write_failed(const tr_check *check, const tr_error *why,
                                         const char *path, tr_error *err);

#endif
