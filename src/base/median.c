#include "base/median.h"

#include <stdlib.h>

static int compare(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

void tr_sort(double *values, int n) {
    qsort(values, (size_t)n, sizeof *values, compare);
}

double tr_median(double *values, int n) {
    if (n < 1) return 0;
    tr_sort(values, n);
    return n % 2 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
}

double tr_upper_median(double *values, int n) {
    tr_sort(values, n);
    return values[n / 2];
}
