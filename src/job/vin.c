#include "job/vin.h"

#include <stddef.h>
#include <string.h>

enum { N_PLACES = TR_VIN_PLACES, CHECK_PLACE = 8 };

/* Value of a character (49 CFR 565.15, table III); -1 for one that no number may hold. */
static int character_value(char c) {
    static const char LETTERS[] = "ABCDEFGHJKLMNPRSTUVWXYZ";
    static const char VALUES[] = "12345678123457923456789";
    if (c >= '0' && c <= '9') return c - '0';
    const char *letter = c ? strchr(LETTERS, c) : NULL;
    return letter ? VALUES[letter - LETTERS] - '0' : -1;
}

/* The check digit of 17 characters, of which *bad is the first that no number may hold; -1: none.
 */
static char check_digit(const char *vin, int *bad) {
    /* 49 CFR 565.15, table IV; the check digit itself weighs nothing. */
    static const int WEIGHTS[N_PLACES] = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
    int sum = 0;
    *bad = -1;
    for (int i = 0; i < N_PLACES; i++) {
        int value = character_value(vin[i]);
        if (value < 0 && *bad < 0) *bad = i;
        sum += WEIGHTS[i] * (value < 0 ? 0 : value);
    }
    return "0123456789X"[sum % 11];
}

tr_vin_fault tr_vin_find_fault(const char *vin) {
    tr_vin_fault fault = {.length = (int)strlen(vin)};
    int bad;
    if (fault.length != N_PLACES) return fault;
    char right = check_digit(vin, &bad);
    if (bad < 0 && vin[CHECK_PLACE] == right) return fault;
    fault.place = (bad < 0 ? CHECK_PLACE : bad) + 1;
    fault.found = vin[fault.place - 1];
    if (bad < 0) fault.right = right;
    return fault;
}

tr_vin_result tr_vin_check(const char *vin) {
    tr_vin_fault fault = tr_vin_find_fault(vin);
    if (fault.length != N_PLACES || (fault.place > 0 && !fault.right)) return TR_VIN_MALFORMED;
    return fault.place == 0 ? TR_VIN_OK : TR_VIN_CHECK_DIFFERS;
}
