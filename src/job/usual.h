/* Which sheet usually marks which point of a vehicle: what a shop (shop/shop.h) and a layout state
   for the jobs that are yet to be made. The keys are those of a job's `references`; whether the
   sheets are there and of the right kind is seen when the job is read. */
#ifndef TR_JOB_USUAL_H
#define TR_JOB_USUAL_H

#include "base/yaml.h"
#include "geom/geom.h"

typedef struct {
    char point[64]; /* of a wheel, "rear-left", or a name of its own */
    char sheet[64]; /* its id; "": a lone tag, ... */
    int tag;        /* ... of this number ... */
    double size_mm; /* ... and this edge */
    bool has_at, has_standoff;
    tr_vec2 at_mm;      /* on the sheet */
    double standoff_mm; /* of a hub sheet, from its face inward to the wheel's mid-plane */
    char on[16];        /* "floor" or "vehicle"; "": as is usual */
} tr_usual_reference;

/* y is a list of them, each point once: an array of *n, owned by the caller (free); NULL where
   there are none, or on failure. */
tr_usual_reference *tr_read_usual_references(tr_yaml y, int *n);

#endif
