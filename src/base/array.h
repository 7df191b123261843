/* Arrays whose sizes are counted: all zero, owned by the caller (free), and of at least one
   element, so that NULL always means that memory ran out, or that none could hold so many. */
#ifndef TR_BASE_ARRAY_H
#define TR_BASE_ARRAY_H

#include <stddef.h>

/* n elements of size bytes each. */
void *tr_array(long n, size_t size);
/* rows times columns of them, which may be more than fit into an int. */
void *tr_table(long rows, long columns, size_t size);

#endif
