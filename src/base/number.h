/* Numbers as text, the same under every locale: what one machine writes, every other reads. The
   C library's own functions follow setlocale, and read 3012 from "3012.4" where a comma is the
   decimal sign. */
#ifndef TR_BASE_NUMBER_H
#define TR_BASE_NUMBER_H

#include <stdbool.h>

/* Room for any number that tr_number_print writes. */
enum { TR_NUMBER_SIZE = 32 };

/* The whole text is one finite decimal number: sign, digits with at most one point, exponent; for
   example -12.5, .5, 1e-3. Not: 010 (octal in YAML 1.1), 1_000, 1,600, 0x10, 12mm, nan, inf,
   blanks. False, and nothing written, otherwise. */
bool tr_number_parse(const char *text, double *value);

/* The same for a whole number: sign and digits only. */
bool tr_integer_parse(const char *text, long *value);

/* A finite number with 17 significant digits, which is enough to read the same double back.
   YAML 1.1 takes an exponent only after a point, so 1e-05 is written as 1.0e-05. */
void tr_number_print(double value, char out[TR_NUMBER_SIZE]);

/* The same with as few digits as read the same double back: 0.1, not 0.10000000000000001. */
void tr_number_print_short(double value, char out[TR_NUMBER_SIZE]);

#endif
