/* A plan as one JSON object; help/plan_result.c, which is trammel-plan-result(5), has its keys. */
#ifndef TR_PRESENT_PLAN_JSON_H
#define TR_PRESENT_PLAN_JSON_H

#include <jansson.h>

#include "present/plan_text.h"

/* A new reference; NULL when memory ran out. why: not TR_OK where there is no plan; report may then
   be NULL. */
json_t *tr_plan_json(const tr_plan_report *report, const tr_error *why);

#endif
