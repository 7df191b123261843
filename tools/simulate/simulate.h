/* Jobs simulated at the level of marks: no photo is rendered; the marks that a photo would give are
   computed from a known scene and disturbed. For campaigns (tools/campaign) and for tests of all
   that comes after the marks. An invented vehicle stands on a floor with a mat behind it and a
   plate at each wheel; its body hides what is behind it. */
#ifndef TR_TOOLS_SIMULATE_H
#define TR_TOOLS_SIMULATE_H

#include <stdint.h>

#include "base/error.h"
#include "check/check.h"
#include "job/job.h"

/* What is drawn at random and what is wrong. All zero with a seed is an exact job of 7 photos. */
typedef struct {
    uint64_t seed;
    int n_photos;           /* 3 .. 8; 0: 7 */
    double noise;           /* marks' noise as a multiple of their stated sd; 1 is honest */
    double reference_sd_mm; /* what the job says, and what plates are moved by */
    bool draws_lens;        /* the true lens is drawn from the profile's covariance */
    bool draws_floor;       /* z and tilt of sheets are drawn from the floor's prior */
    double mat_x_mm;        /* where the layout wants the mat, from the rear axle; 0: -1800 */
    double mat_error[3];    /* true placement error: x mm, y mm, yaw rad */
    /* Faults. */
    bool is_mat_missing;
    double mat_curl_mm;   /* the mat's left and right edges stand this high over its middle */
    double mat_scale;     /* print scale of the mat; 0: 1 */
    double lens_factor;   /* true focal lengths over the profile's; 0: 1 */
    tr_vec2 mat_moved_mm; /* the mat lies this much further on ... */
    int moved_from;       /* ... from this photo on (0: never) */
    tr_vec2 plate_off_mm[TR_N_POINTS];    /* a plate lies that far off its plumb mark */
    tr_wheel_point plate_at[TR_N_POINTS]; /* where each plate really lies ... */
    bool has_plate_at;                    /* ... where this is set */
    bool is_exact_lens;                   /* the profile has no covariance */
} tr_sim_options;

typedef struct {
    tr_job job;
    tr_check check;  /* photos with marks, ready for tr_check_evaluate */
    double truth[3]; /* of the mat: x mm (from the rear axle), y mm, yaw rad */
    /* The scene, for those who render it: one pose a sheet of the job, one a photo. */
    tr_lens true_lens;
    tr_pose *vehicle_from_sheet;
    tr_pose *vehicle_from_camera;
} tr_sim;

/* The body that hides what is behind it: a box, low and high corner, mm in the vehicle frame. */
extern const double TR_SIM_BODY_LOW_MM[3];
extern const double TR_SIM_BODY_HIGH_MM[3];

TR_MUST_USE bool tr_simulate(const tr_sim_options *options, tr_sim *out, tr_error *err);
void tr_sim_release(tr_sim *sim);

/* A small generator of random numbers (xorshift64*, Vigna, An experimental exploration of
   Marsaglia's xorshift generators, 2016): the same on every machine. */
typedef struct {
    uint64_t state;
} tr_random;
tr_random tr_random_seed(uint64_t seed);
double tr_random_uniform(tr_random *r); /* (0, 1) */
double tr_random_normal(tr_random *r);

#endif
