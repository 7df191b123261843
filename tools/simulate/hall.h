/* A large job simulated at the level of marks: a hall whose floor is laid out with sheets around an
   invented vehicle, and a walk through it, each photo showing its neighbourhood. For benchmarks and
   tests of scale; small jobs with every fault are simulate.h's. */
#ifndef TR_TOOLS_SIMULATE_HALL_H
#define TR_TOOLS_SIMULATE_HALL_H

#include <stdint.h>

#include "base/error.h"
#include "check/check.h"
#include "job/job.h"

typedef struct {
    uint64_t seed;
    int n_photos;       /* 4 .. 1000 */
    int n_sheets;       /* 5 .. 64: four plates, and mats, all of which are required */
    int moved_sheet;    /* this sheet (from 0) lies further on ... */
    tr_vec2 moved_mm;   /* ... by this (0, 0: it does not) ... */
    int moved_from;     /* ... from this photo on */
    bool is_scattering; /* the profile does not say that the camera is steady, as it is */
} tr_hall_options;

typedef struct {
    tr_job job;
    tr_check check;              /* photos with marks, ready for tr_check_evaluate */
    tr_pose *vehicle_from_sheet; /* the truth (before anything was moved), one a sheet */
} tr_hall;

/* Marks carry their stated noise; everything else is exact. False: memory ran out. */
TR_MUST_USE bool tr_hall_simulate(const tr_hall_options *options, tr_hall *out, tr_error *err);
void tr_hall_release(tr_hall *hall);

#endif
