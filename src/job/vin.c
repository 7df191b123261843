#include "job/vin.h"

#include <stddef.h>
#include <string.h>

enum { N_PLACES = 17, CHECK_PLACE = 8 };

/* Value of a character (49 CFR 565.15, table III); -1 for one that no number may hold. */
static int character_value(char c) {
    static const char LETTERS[] = "ABCDEFGHJKLMNPRSTUVWXYZ";
    static const char VALUES[] = "12345678123457923456789";
    if (c >= '0' && c <= '9') return c - '0';
    const char *letter = c ? strchr(LETTERS, c) : NULL;
    return letter ? VALUES[letter - LETTERS] - '0' : -1;
}

tr_vin_result tr_vin_check(const char *vin) {
    /* 49 CFR 565.15, table IV; the check digit itself weighs nothing. */
    static const int WEIGHTS[N_PLACES] = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
    if (strlen(vin) != N_PLACES) return TR_VIN_MALFORMED;
    int sum = 0;
    for (int i = 0; i < N_PLACES; i++) {
        int value = character_value(vin[i]);
        if (value < 0) return TR_VIN_MALFORMED;
        sum += WEIGHTS[i] * value;
    }
    return vin[CHECK_PLACE] == "0123456789X"[sum % 11] ? TR_VIN_OK : TR_VIN_CHECK_DIFFERS;
}
