/* What a command of the shell prints, for tests that look at the program, or at what other programs
   make of its files. */
#ifndef TR_TESTS_PRINTED_H
#define TR_TESTS_PRINTED_H

#include "check.h"

#include <stdio.h>
#include <stdlib.h>
#include <sys/wait.h>

/* What a command prints; its exit status where status is not NULL, else it must be 0. Owned by the
   caller (free). */
static inline char *printed_by(const char *command, int *status) {
    enum { STEP = 1 << 16 };
    char *text = malloc(STEP + 1);
    size_t size = 0;
    FILE *from = popen(command, "r");
    assert_non_null(from);
    for (size_t n = 1; n > 0; size += n) {
        assert_non_null(text);
        n = fread(text + size, 1, STEP, from);
        text = realloc(text, size + n + STEP + 1);
    }
    assert_non_null(text);
    text[size] = 0;
    int ended = pclose(from);
    assert_true(WIFEXITED(ended));
    if (!status && WEXITSTATUS(ended) != 0) print_error("%s failed\n", command);
    if (status) *status = WEXITSTATUS(ended);
    if (!status) assert_int_equal(WEXITSTATUS(ended), 0);
    return text;
}

#endif
