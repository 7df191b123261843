/* Two results of one measurement, value by value, against their u95. */
#ifndef TR_RECORDS_COMPARE_H
#define TR_RECORDS_COMPARE_H

#include <jansson.h>

#include "base/error.h"

/* A value that has a u95 in the older result; unit as in the results. */
typedef struct {
    char name[200];       /* where it stands: "targets.MAT-7.x_mm" */
    bool has[2];          /* in the older, in the newer */
    double value[2], u95; /* u95: the older's, or where that has none the newer's */
} tr_value_pair;

typedef struct {
    tr_value_pair *items; /* those that are not the same to the last digit, in the order of the
                             older result; owned */
    int n;
    int n_all;           /* that were compared */
    char verdict[2][32]; /* "" where there is none */
} tr_comparison;

/* Every value that a result gives with its u95 (of a lens: with its sd, k = 2). out: to be released
   in any case. */
TR_MUST_USE bool tr_results_compare(const json_t *older, const json_t *newer, tr_comparison *out,
                                    tr_error *err);
void tr_comparison_release(tr_comparison *comparison);

/* |difference| / u95; INFINITY where one of both does not have the value. */
double tr_pair_share(const tr_value_pair *pair);

/* The verdicts are alike, and no value differs by more than its u95. */
bool tr_comparison_agrees(const tr_comparison *comparison);

#endif
