/* A plan as a person reads it in a terminal: UTF-8, at most 80 columns; stations in plain words. */
#ifndef TR_PRESENT_PLAN_TEXT_H
#define TR_PRESENT_PLAN_TEXT_H

#include <stdio.h>

#include "plan/plan.h"

/* How a plan came about. */
typedef struct {
    const tr_plan *plan;
    bool is_proposed;           /* the stations were proposed, not given */
    const tr_check_result *now; /* of the photos that are there already; NULL: without any */
} tr_plan_report;

/* Whether it could be written is asked of out (ferror). */
void tr_plan_text(const tr_plan_report *report, FILE *out);

/* Whether the plan does what it is for, and, where it does not, what limits it: two sentences or
   three. */
void tr_plan_why(const tr_plan_report *report, char *out, size_t size);

/* What is taken for granted, for the foot of a plan. */
const char *tr_plan_expected(const tr_plan_report *report);

/* "0.9 m behind the rear axle, 2.7 m to the left". */
void tr_plan_place_words(const tr_plan *plan, tr_vec3 p_mm, char *out, size_t size);
/* "MAT-7", where that is in the middle of the picture, else "the floor " and the words above. */
void tr_plan_look_words(const tr_plan *plan, tr_vec3 p_mm, char *out, size_t size);
/* "MAT-7, PLATE-A". */
void tr_plan_sheet_words(const tr_plan *plan, tr_sheet_set sees, char *out, size_t size);

#endif
