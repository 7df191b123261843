#include "base/array.h"

#include <stdlib.h>

void *tr_array(long n, size_t size) {
    return tr_table(n, 1, size);
}

void *tr_table(long rows, long columns, size_t size) {
    size_t n;
    size_t bytes;
    if (rows < 0 || columns < 0) return NULL;
    if (__builtin_mul_overflow((size_t)rows, (size_t)columns, &n)) return NULL;
    if (__builtin_mul_overflow(n, size, &bytes)) return NULL;
    return calloc(n > 0 ? n : 1, size);
}
