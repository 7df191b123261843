#include "base/number.h"

#include <limits.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Significant digits from which every double is read back. */
enum { ENOUGH_DIGITS = 17 };

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

static const char *skip_sign(const char *s) {
    return *s == '-' || *s == '+' ? s + 1 : s;
}

static const char *skip_digits(const char *s) {
    while (is_digit(*s)) s++;
    return s;
}

static bool has_leading_zero(const char *digits) {
    return digits[0] == '0' && is_digit(digits[1]);
}

static bool is_decimal(const char *text) {
    const char *whole = skip_sign(text);
    const char *s = skip_digits(whole);
    bool has_digits = s > whole;
    if (has_leading_zero(whole)) return false;
    if (*s == '.') {
        const char *fraction = s + 1;
        s = skip_digits(fraction);
        has_digits = has_digits || s > fraction;
    }
    if (!has_digits) return false;
    if (*s == 'e' || *s == 'E') {
        const char *exponent = skip_sign(s + 1);
        s = skip_digits(exponent);
        if (s == exponent) return false;
    }
    return *s == 0;
}

bool tr_number_parse(const char *text, double *value) {
    if (!is_decimal(text)) return false;
    locale_t c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    if (!c_locale) return false;
    locale_t before = uselocale(c_locale);
    double x = strtod(text, NULL);
    uselocale(before);
    freelocale(c_locale);
    if (!isfinite(x)) return false;
    *value = x;
    return true;
}

bool tr_integer_parse(const char *text, long *value) {
    const char *digits = skip_sign(text);
    const char *end = skip_digits(digits);
    if (end == digits || *end != 0 || has_leading_zero(digits)) return false;
    long x = 0;
    for (const char *s = digits; s < end; s++) {
        int digit = *s - '0';
        if (x > (LONG_MAX - digit) / 10) return false;
        x = 10 * x + digit;
    }
    *value = *text == '-' ? -x : x;
    return true;
}

static void print(double value, int digits, char out[TR_NUMBER_SIZE]) {
    snprintf(out, TR_NUMBER_SIZE, "%.*g", digits, value);
    /* Whatever stands between the digits is the locale's decimal sign, of one byte or more. */
    char *point = (char *)skip_digits(skip_sign(out));
    size_t n = strcspn(point, "0123456789e");
    if (n > 0) {
        *point = '.';
        memmove(point + 1, point + n, strlen(point + n) + 1);
    } else if (*point == 'e') {
        memmove(point + 2, point, strlen(point) + 1);
        memcpy(point, ".0", 2);
    }
}

void tr_number_print(double value, char out[TR_NUMBER_SIZE]) {
    print(value, ENOUGH_DIGITS, out);
}

void tr_number_print_short(double value, char out[TR_NUMBER_SIZE]) {
    /* Outside of these even all digits come with an exponent. */
    bool may_have_exponent = !(fabs(value) >= 1e-4 && fabs(value) < 1e15);
    for (int digits = 1; digits <= ENOUGH_DIGITS; digits++) {
        double back;
        print(value, digits, out);
        if (strchr(out, 'e') && !may_have_exponent) continue; /* 160, not 1.6e+02 */
        if (tr_number_parse(out, &back) && back == value) return;
    }
    print(value, ENOUGH_DIGITS, out);
}
