/* Values in order, and those in the middle. */
#ifndef TR_BASE_MEDIAN_H
#define TR_BASE_MEDIAN_H

/* Sorts n values, rising. */
void tr_sort(double *values, int n);

/* The median of n values, which are sorted in place: of an even number the mean of the two in the
   middle, 0 of none. */
double tr_median(double *values, int n);

/* Of an even number the upper one of the two; n >= 1. */
double tr_upper_median(double *values, int n);

#endif
