/* The optimised program under Valgrind's memcheck: no use of memory that was not written or not
   allocated, which AddressSanitizer does not look for or sees only in code built with it, and no
   leak. Skipped where Valgrind is missing, and in builds with AddressSanitizer, which excludes it.
 */
#include "small.h"

#include <sys/wait.h>

enum { WRONG = 99 };

#ifdef __SANITIZE_ADDRESS__
static const bool IS_SANITIZED = true;
#else
static const bool IS_SANITIZED = false;
#endif

static bool has_valgrind(void) {
    return system("command -v valgrind >/dev/null 2>&1") == 0;
}

static int set_up(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    if (!IS_SANITIZED && has_valgrind()) {
        small_job_make(folder);
        small_boards_make(folder);
        small_plan_make(folder);
    }
    if (chdir(folder) != 0) return -1;
    *state = folder;
    return 0;
}

static int tear_down(void **state) {
    if (chdir("/") != 0) return -1;
    temp_remove(*state);
    free(*state);
    return 0;
}

static void check_clean(const char *arguments) {
    char line[2048];
    const char *program = getenv("TRAMMEL_PROGRAM");
    const char *source = getenv("TRAMMEL_SOURCE");
    if (IS_SANITIZED) skip_because("the program has sanitizers");
    need(has_valgrind(), "valgrind");
    assert_true(program && source);
    snprintf(line, sizeof line,
             "valgrind -q --error-exitcode=%d --leak-check=full --show-leak-kinds=definite "
             "--errors-for-leak-kinds=definite --suppressions='%s/tests/valgrind.supp' '%s' %s",
             WRONG, source, program, arguments);
    int status = system(line);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 0);
}

static void a_check_is_clean(void **state) {
    (void)state;
    check_clean("check job.yaml --threads 2 --picture result.png >/dev/null");
}

static void a_check_for_programs_is_clean(void **state) {
    (void)state;
    check_clean("check job.yaml --threads 1 --json >/dev/null");
}

static void a_calibration_is_clean(void **state) {
    (void)state;
    check_clean("lens b1.jpg b2.jpg b3.jpg b4.jpg b5.jpg b6.jpg --squares 7x5 --pitch 60 "
                "--out new.yaml >/dev/null");
}

static void a_plan_is_clean(void **state) {
    (void)state;
    check_clean("plan wide.yaml --stations stations.yaml --threads 1 --picture plan.png "
                ">/dev/null");
}

static void a_plan_after_a_check_is_clean(void **state) {
    (void)state;
    check_clean("plan job.yaml --after --stations stations.yaml --threads 2 --json >/dev/null");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_check_is_clean),
        cmocka_unit_test(a_check_for_programs_is_clean),
        cmocka_unit_test(a_calibration_is_clean),
        cmocka_unit_test(a_plan_is_clean),
        cmocka_unit_test(a_plan_after_a_check_is_clean),
    };
    return cmocka_run_group_tests_name("valgrind", tests, set_up, tear_down);
}
