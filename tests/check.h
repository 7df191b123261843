/* Asserts of our own for doubles (cmocka's compare floats, and call a NaN equal to anything), and
   what is skipped. */
#ifndef TR_TESTS_CHECK_H
#define TR_TESTS_CHECK_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* |a - b| <= tol; a NaN on either side fails. */
#define CHECK_NEAR(a, b, tol) check_near((a), (b), (tol), #a " ~ " #b, __FILE__, __LINE__)
/* a <= b; a NaN fails. */
#define CHECK_AT_MOST(a, b) check_at_most((a), (b), #a " <= " #b, __FILE__, __LINE__)

static inline void check_near(double a, double b, double tol, const char *what, const char *file,
                              int line) {
    if (!(fabs(a - b) <= tol)) {
        print_error("%s: %.12g and %.12g differ by %.3g, allowed %.3g\n", what, a, b, fabs(a - b),
                    tol);
        _fail(file, line);
    }
}

static inline void check_at_most(double a, double b, const char *what, const char *file, int line) {
    if (!(a <= b)) {
        print_error("%s: %.12g is above %.12g\n", what, a, b);
        _fail(file, line);
    }
}

/* What the test needs is not there: it is skipped, but fails where CI=true promises that all is. */
static inline void need(bool is_there, const char *what) {
    if (is_there) return;
    const char *ci = getenv("CI");
    print_message("%s is missing\n", what);
    if (ci && strcmp(ci, "true") == 0) fail();
    skip();
}

/* The test can do nothing here, and need not. */
static inline void skip_because(const char *why) {
    print_message("skipped: %s\n", why);
    skip();
}

#endif
