/* Check digits of vehicle identification numbers (49 CFR 565). */
#include "check.h"

#include <stdio.h>

#include "job/vin.h"

static void valid_numbers_pass(void **state) {
    (void)state;
    static const char *const VALID[] = {
        "1G4AH59H45G118341", /* sample calculation of 49 CFR 565 itself */
        "1J9RP1A36A1644345", /* the authority's outline for new manufacturers */
        "1FACP45EXLF192944", /* a public validator's notes; X */
        "1M8GDM9AXKP042788", /* used in many public test suites; X */
        "5GZCZ43D13S812715", /* sum 408 = 37 * 11 + 1, by hand */
        "11111111111111111", /* every weight once: 89 = 8 * 11 + 1 */
    };
    for (size_t i = 0; i < sizeof VALID / sizeof *VALID; i++) {
        assert_int_equal(tr_vin_check(VALID[i]), TR_VIN_OK);
    }
}

static void wrong_check_digits_are_noticed(void **state) {
    (void)state;
    static const char *const WRONG[] = {
        "1M8GDM9AXKP042789", /* 353, remainder 1, X stands there */
        "1G4AH59H05G118341", /* 411, remainder 4, 0 stands there */
        "1G4AH59HA5G118341", /* a letter other than X in place 9 */
    };
    for (size_t i = 0; i < sizeof WRONG / sizeof *WRONG; i++) {
        assert_int_equal(tr_vin_check(WRONG[i]), TR_VIN_CHECK_DIFFERS);
    }
}

static void exactly_one_check_digit_is_right(void **state) {
    (void)state;
    static const char DIGITS[] = "0123456789X";
    char vin[] = "1G4AH59H45G118341";
    for (const char *c = DIGITS; *c; c++) {
        vin[8] = *c;
        assert_int_equal(tr_vin_check(vin), *c == '4' ? TR_VIN_OK : TR_VIN_CHECK_DIFFERS);
    }
}

static void malformed_numbers_are_named_so(void **state) {
    (void)state;
    static const char *const MALFORMED[] = {
        "",
        "1M8GDM9AXKP04278",   /* 16 places */
        "1M8GDM9AXKP0427888", /* 18 places */
        "IM8GDM9AXKP042788",  /* I, O and Q are not allowed */
        "1M8GDM9AXKPO42788",
        "1M8QDM9AXKP042788",
        "1m8gdm9axkp042788", /* small letters are refused */
        "1M8GDM9AXKP04278 ",
        "1M8GDM9AXKP04278\xc3",
    };
    for (size_t i = 0; i < sizeof MALFORMED / sizeof *MALFORMED; i++) {
        assert_int_equal(tr_vin_check(MALFORMED[i]), TR_VIN_MALFORMED);
    }
}

/* Where, and what would be right. The examples are those above, changed in one place. */
static void faults_are_told(void **state) {
    (void)state;
    tr_vin_fault f = tr_vin_find_fault("1G4AH59H45G118341");
    assert_int_equal(f.place, 0);
    assert_int_equal(f.length, TR_VIN_PLACES);
    f = tr_vin_find_fault("1G4AH59H05G118341");
    assert_int_equal(f.place, 9);
    assert_int_equal(f.found, '0');
    assert_int_equal(f.right, '4');
    f = tr_vin_find_fault("1M8GDM9A0KP042788");
    assert_int_equal(f.right, 'X');
    f = tr_vin_find_fault("1M8GDM9AXKPO42788");
    assert_int_equal(f.place, 12);
    assert_int_equal(f.found, 'O');
    assert_int_equal(f.right, 0);
    assert_int_equal(tr_vin_find_fault("1M8GDM9AXKP04278").length, 16);
    assert_int_equal(tr_vin_find_fault("").length, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(valid_numbers_pass),
        cmocka_unit_test(wrong_check_digits_are_noticed),
        cmocka_unit_test(exactly_one_check_digit_is_right),
        cmocka_unit_test(faults_are_told),
        cmocka_unit_test(malformed_numbers_are_named_so),
    };
    return cmocka_run_group_tests_name("vin", tests, NULL, NULL);
}
