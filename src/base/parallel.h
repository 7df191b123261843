/* Work on many items by several threads. */
#ifndef TR_BASE_PARALLEL_H
#define TR_BASE_PARALLEL_H

#include "base/error.h"

enum { TR_MAX_THREADS = 64 };

/* Called with how many items are done; never twice at a time. */
typedef void (*tr_progress)(void *context, int done, int of);

/* How work is done that several threads share, and who hears of it. */
typedef struct {
    int n_threads; /* this one included, up to TR_MAX_THREADS; 0: one a processor, up to 16 */
    tr_progress progress; /* may be NULL */
    void *context;        /* of progress */
} tr_workers;

typedef struct {
    int n_items;
    tr_workers workers;
    /* What a thread needs for itself, made before its first item; NULL, where it needs nothing. */
    void *(*begin)(void *task, tr_error *err);
    void (*end)(void *task, void *own);
    /* One item; own is what begin made, or NULL. False: err says why, and no further item begins.
     */
    bool (*work)(void *task, void *own, int item, tr_error *err);
    void *task; /* shared by all threads: it has its own mutex, where it needs one */
} tr_parallel_work;

/* All items, begun in their order. The calling thread works, too, so that where no thread can be
   started everything is still done. False: one item failed, or what a thread needs could not be
   made; err is that of the first. */
TR_MUST_USE bool tr_parallel(const tr_parallel_work *w, tr_error *err);

#endif
