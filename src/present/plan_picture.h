/* A plan as one picture: the floor from above with numbered stations, what each of them is, and u95
   of every judged axis. To be taken to the vehicle. */
#ifndef TR_PRESENT_PLAN_PICTURE_H
#define TR_PRESENT_PLAN_PICTURE_H

#include "base/module.h"
#include "present/plan_text.h"

/* Writes a PNG of the size of a check's picture (present/picture.h), whole or not at all. In the
   program this is in the module trammel-picture.so. */
typedef bool tr_plan_picture_writer(const tr_plan_report *report, const char *path, tr_error *err);
TR_MUST_USE TR_MODULE_EXPORT tr_plan_picture_writer tr_plan_picture_write;

#endif
