/* Vehicle identification numbers: 49 CFR 565.15 (the same number as ISO 3779, with the check digit
   of North America). Elsewhere the ninth place need not be a check digit, so a failing one is no
   more than a reason to look again. */
#ifndef TR_JOB_VIN_H
#define TR_JOB_VIN_H

typedef enum {
    TR_VIN_OK,
    TR_VIN_MALFORMED,     /* not 17 places, or other characters than 0-9 and A-Z without I, O, Q;
                             small letters are refused */
    TR_VIN_CHECK_DIFFERS, /* well formed, but place 9 is not its check digit */
} tr_vin_result;

tr_vin_result tr_vin_check(const char *vin);

enum { TR_VIN_PLACES = 17 };

/* The first fault. */
typedef struct {
    int length; /* how many characters there are; where it is not TR_VIN_PLACES, that is the fault
                 */
    int place;  /* of the character at fault, from 1; 0: none is */
    char found; /* what stands there */
    char right; /* the check digit that belongs there; 0: place is not that of the check digit */
} tr_vin_fault;

tr_vin_fault tr_vin_find_fault(const char *vin);

#endif
