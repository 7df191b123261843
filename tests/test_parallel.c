/* Work by several threads: everything is done once, the first error ends it, and nothing that a
   thread made for itself is left. */
#include "check.h"

#include <stdatomic.h>
#include <stdlib.h>

#include "base/parallel.h"

enum { N = 1000 };

typedef struct {
    atomic_int times[N], made, freed;
    int bad_item; /* fails; -1: none */
    bool cannot_begin;
    int last_done; /* of progress */
} task;

static void *begin(void *context, tr_error *err) {
    task *t = context;
    if (t->cannot_begin) {
        tr_fail_memory(err);
        return NULL;
    }
    t->made++;
    return malloc(1);
}

static void end(void *context, void *own) {
    task *t = context;
    t->freed++;
    free(own);
}

static bool work(void *context, void *own, int item, tr_error *err) {
    task *t = context;
    assert_non_null(own);
    t->times[item]++;
    return item != t->bad_item || tr_fail(err, TR_NO_MEASURE, "item %d", item);
}

static void progress(void *context, int done, int of) {
    task *t = context;
    assert_int_equal(done, t->last_done + 1);
    assert_int_equal(of, N);
    t->last_done = done;
}

static bool run(task *t, int n_threads, tr_error *err) {
    tr_parallel_work w = {.n_items = N,
                          .workers.n_threads = n_threads,
                          .begin = begin,
                          .end = end,
                          .work = work,
                          .task = t,
                          .workers.progress = progress,
                          .workers.context = t};
    return tr_parallel(&w, err);
}

static void everything_is_done_once(void **state) {
    (void)state;
    static const int THREADS[] = {0, 1, 2, 7, TR_MAX_THREADS, 10 * TR_MAX_THREADS};
    for (size_t k = 0; k < sizeof THREADS / sizeof *THREADS; k++) {
        task t = {.bad_item = -1};
        tr_error err = {0};
        assert_true(run(&t, THREADS[k], &err));
        for (int i = 0; i < N; i++) assert_int_equal(t.times[i], 1);
        assert_int_equal(t.last_done, N);
        assert_int_equal(t.made, t.freed);
        assert_true(t.made >= 1 && t.made <= TR_MAX_THREADS);
    }
}

static void the_first_error_ends_it(void **state) {
    (void)state;
    for (int n_threads = 1; n_threads <= 4; n_threads++) {
        task t = {.bad_item = 20};
        tr_error err = {0};
        assert_false(run(&t, n_threads, &err));
        assert_string_equal(err.text, "item 20");
        for (int i = 0; i < 20; i++) assert_int_equal(t.times[i], 1);
        if (n_threads == 1) assert_int_equal(t.times[21], 0);
        assert_int_equal(t.made, t.freed);
    }
}

static void a_thread_that_cannot_begin_is_an_error(void **state) {
    (void)state;
    task t = {.bad_item = -1, .cannot_begin = true};
    tr_error err = {0};
    assert_false(run(&t, 3, &err));
    assert_int_equal(err.code, TR_NO_MEMORY);
    assert_int_equal(t.times[0], 0);
    assert_int_equal(t.freed, 0);
}

static void nothing_to_do_is_no_error(void **state) {
    (void)state;
    tr_parallel_work w = {.n_items = 0, .workers.n_threads = 4, .work = work};
    assert_true(tr_parallel(&w, NULL));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everything_is_done_once),
        cmocka_unit_test(the_first_error_ends_it),
        cmocka_unit_test(a_thread_that_cannot_begin_is_an_error),
        cmocka_unit_test(nothing_to_do_is_no_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
