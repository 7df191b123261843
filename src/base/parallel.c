#include "base/parallel.h"

#include <pthread.h>
#include <unistd.h>

/* Unasked, no more: each may hold a photo in memory. */
enum { MAX_UNASKED = 16 };

typedef struct {
    const tr_parallel_work *w;
    pthread_mutex_t mutex; /* guards all below */
    int next, done;
    tr_error error;
} queue;

static void *run(void *argument) {
    queue *q = argument;
    const tr_parallel_work *w = q->w;
    tr_error err = {0};
    void *own = w->begin ? w->begin(w->task, &err) : NULL;
    bool ok = !w->begin || own;
    pthread_mutex_lock(&q->mutex);
    while (ok && q->error.code == TR_OK && q->next < w->n_items) {
        int item = q->next++;
        pthread_mutex_unlock(&q->mutex);
        ok = w->work(w->task, own, item, &err);
        pthread_mutex_lock(&q->mutex);
        if (!ok) break;
        q->done++;
        if (w->workers.progress) w->workers.progress(w->workers.context, q->done, w->n_items);
    }
    if (!ok && q->error.code == TR_OK) q->error = err;
    pthread_mutex_unlock(&q->mutex);
    if (own) w->end(w->task, own);
    return NULL;
}

bool tr_parallel(const tr_parallel_work *w, tr_error *err) {
    queue q = {.w = w};
    pthread_t threads[TR_MAX_THREADS];
    int n = w->workers.n_threads;
    int started = 0;
    if (n <= 0) {
        long n_processors = sysconf(_SC_NPROCESSORS_ONLN);
        n = n_processors < MAX_UNASKED ? (int)n_processors : MAX_UNASKED;
    }
    if (n > w->n_items) n = w->n_items;
    if (n > TR_MAX_THREADS) n = TR_MAX_THREADS;
    if (pthread_mutex_init(&q.mutex, NULL) != 0) return tr_fail_memory(err);
    while (started < n - 1 && pthread_create(&threads[started], NULL, run, &q) == 0) started++;
    run(&q);
    for (int i = 0; i < started; i++) pthread_join(threads[i], NULL);
    pthread_mutex_destroy(&q.mutex);
    if (q.error.code == TR_OK) return true;
    if (err && err->code == TR_OK) *err = q.error;
    return false;
}
