/* Arrays, sorting and groups: what the layers above take for granted. */
#include "check.h"

#include <limits.h>
#include <stdint.h>
#include <stdlib.h>

#include "base/array.h"
#include "base/groups.h"
#include "base/median.h"

static void arrays_are_zero_and_never_empty(void **state) {
    (void)state;
    double *none = tr_array(0, sizeof *none);
    double *table = tr_table(3, 5, sizeof *table);
    assert_non_null(none);
    assert_non_null(table);
    assert_true(none[0] == 0.0);
    for (int i = 0; i < 15; i++) assert_true(table[i] == 0.0);
    free(none);
    free(table);
}

/* More than any memory holds is a failure, not a small array. */
static void sizes_that_overflow_are_refused(void **state) {
    (void)state;
    assert_null(tr_table(LONG_MAX, 2, 8));
    assert_null(tr_table(LONG_MAX, LONG_MAX, 1));
    assert_null(tr_array(LONG_MAX, SIZE_MAX / 4));
    assert_null(tr_array(-1, 8));
    assert_null(tr_table(8, -1, 8));
}

static void medians(void **state) {
    (void)state;
    double odd[] = {3, -1, 2};
    double even[] = {4, 1, 3, -2};
    assert_true(tr_median(odd, 3) == 2);
    assert_true(odd[0] == -1 && odd[2] == 3);
    assert_true(tr_median(even, 4) == 2);
    assert_true(tr_upper_median(even, 4) == 3);
    assert_true(tr_upper_median(odd, 1) == -1);
    assert_true(tr_median(odd, 0) == 0);
}

/* The smallest stands for a group, in whatever order it was joined. */
static void groups(void **state) {
    (void)state;
    static const int EXPECTED[8] = {0, 1, 1, 3, 1, 0, 3, 7};
    int group[8];
    tr_groups_init(group, 8);
    tr_groups_join(group, 4, 2);
    tr_groups_join(group, 6, 3);
    tr_groups_join(group, 5, 0);
    tr_groups_join(group, 4, 1);
    tr_groups_join(group, 1, 2);
    for (int i = 0; i < 8; i++) assert_int_equal(tr_group_of(group, i), EXPECTED[i]);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(arrays_are_zero_and_never_empty),
        cmocka_unit_test(sizes_that_overflow_are_refused),
        cmocka_unit_test(medians),
        cmocka_unit_test(groups),
    };
    return cmocka_run_group_tests_name("array", tests, NULL, NULL);
}
