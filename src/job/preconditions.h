/* What has to be seen to before a vehicle is measured (tyre pressures, load, steering straight): a
   layout lists it, a job says who confirmed it and when, or that it was not done. Private to job,
   but for the types. */
#ifndef TR_JOB_PRECONDITIONS_H
#define TR_JOB_PRECONDITIONS_H

#include "base/yaml.h"

/* Of a layout, of a job. */
enum { TR_MAX_PRECONDITIONS = 64 };

/* "2026-11-29T08:10:00+01:00" */
enum { TR_LOCAL_TIME_SIZE = 32 };

typedef struct {
    char id[64];      /* small letters, digits and '-' */
    char text[128];   /* for people */
    bool is_required; /* no pass without it */
} tr_precondition;

typedef struct {
    int precondition; /* of the layout's */
    bool is_done;     /* it was seen to, by whom and when; else why not */
    char by[64];      /* "" where not given */
    char at[TR_LOCAL_TIME_SIZE];
    char reason[128]; /* "" where is_done */
    int line;         /* in the job file */
} tr_confirmation;

/* Whether it may be the id of a precondition. */
bool tr_precondition_id_is_valid(const char *id);

/* ISO 8601, a day of the Gregorian calendar and a time of that day: 2026-11-29T08:10, with seconds
   or without, and with a difference to UTC (Z, +01:00) or without. */
bool tr_time_is_valid(const char *text);

/* y is a layout's list, each id once: an array of *n, owned by the caller (free). */
tr_precondition *tr_read_preconditions(tr_yaml y, int *n);

/* y is a job's list of confirmations of these preconditions of a layout, each at most once. As
   above. */
tr_confirmation *tr_read_confirmations(tr_yaml y, const tr_precondition *of, int n_of,
                                       const char *layout, int *n);

#endif
