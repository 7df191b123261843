/* Private to calib/: the middle of some values. */
#ifndef TR_CALIB_MEDIAN_H
#define TR_CALIB_MEDIAN_H

#include <stdlib.h>

static inline int tr_compare_doubles(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The upper median of n >= 1 values, which are sorted in place. */
static inline double tr_median(double *values, int n) {
    qsort(values, (size_t)n, sizeof *values, tr_compare_doubles);
    return values[n / 2];
}

#endif
