/* The decision: is a measured value within its limits, given its uncertainty? */
#ifndef TR_VERDICT_VERDICT_H
#define TR_VERDICT_VERDICT_H

#include <stdbool.h>

#include "job/layout.h"

typedef enum { TR_PASS, TR_FAIL, TR_INCONCLUSIVE } tr_verdict;

/* "pass", "fail", "inconclusive". */
const char *tr_verdict_name(tr_verdict verdict);

/* Expanded uncertainty: k = 2 (JCGM 100:2008, 6.2). */
#define TR_COVERAGE_FACTOR 2.0

/* Guarded acceptance with a guard band of the whole expanded uncertainty (contract;
   ILAC-G8:09/2019, 4.2.2, w = U): pass if |error| + u95 <= limit, fail if |error| - u95 > limit,
   else inconclusive. error and u95 in the unit of limit. Anything that is not a number is
   inconclusive. */
tr_verdict tr_verdict_decide(double error, double u95, double limit);

/* The verdict of a whole from one more of its parts: fail over inconclusive over pass. */
tr_verdict tr_verdict_join(tr_verdict a, tr_verdict b);

/* What an uncertainty comes from. */
typedef enum {
    TR_FROM_MARKS,    /* noise of the marks */
    TR_FROM_LENS,     /* the lens profile, and how its focal length returns */
    TR_FROM_PLATES,   /* how well the plates sit on their plumb marks */
    TR_FROM_SHEETS,   /* how well the places of marks on surveyed sheets are known, and the sizes of
                         prints that were not surveyed */
    TR_FROM_POINTERS, /* how well the tips of pointers lie at their points */
    TR_N_SOURCES
} tr_source;

/* One axis of a placement. mm or rad. */
typedef struct {
    bool is_required, is_judged; /* from the layout */
    double required, limit;      /* where they are */
    bool is_measured;
    double measured, error, u95; /* where it is measured; error where is_required too */
    double u95_of[TR_N_SOURCES]; /* expanded alike; their squares add up to u95 squared */
    double u95_calibrated; /* about what u95 would be with a lens profile; 0 where there is one */
    tr_verdict verdict;    /* where is_judged */
} tr_axis_result;

#endif
