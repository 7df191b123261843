/* What people are shown of a check, as text. */
#ifndef TESTS_TEXT_H
#define TESTS_TEXT_H

#include <stdio.h>

#include "check.h"
#include "present/check_text.h"

/* Owned by the caller (free). Not inlined: GCC 12 would take what open_memstream left for a pointer
   to a variable that is gone. */
__attribute__((noinline, unused)) static char *check_text_of(const tr_check_result *result,
                                                             bool is_coloured) {
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    assert_non_null(out);
    tr_check_text(result, is_coloured, out);
    assert_int_equal(fclose(out), 0);
    return text;
}

#endif
