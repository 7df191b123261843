/* Simulated jobs of the whole geometry: an invented vehicle whose wheels carry sheets, with toe,
   camber and run-out, is rolled over a floor that is not quite even; boards stand ahead of it,
   sheets lie beside it. Where a mark is in a photo is the renderer's answer (tools/render), which
   shares nothing with the measuring but the lens model; the same scenes can be rendered.

   The world here is the floor: z up, 0 on it; the vehicle stands near its origin, facing +x, in the
   last position, and farther back in those before. */
#ifndef TR_TOOLS_SIMULATE_ROLLED_H
#define TR_TOOLS_SIMULATE_ROLLED_H

#include <stdint.h>

#include "base/error.h"
#include "check/check.h"
#include "job/job.h"
#include "tools/render/render.h"
#include "tools/simulate/phone.h"
#include "vehicle/vehicle.h"

enum { TR_ROLLED_BOARDS = 2, TR_ROLLED_FLOOR = 3, TR_ROLLED_PHOTOS = 10 };

/* Sheets of the job, in this order. */
enum {
    TR_ROLLED_HUB,                                      /* in the order of tr_wheel_point */
    TR_ROLLED_BOARD = TR_ROLLED_HUB + TR_N_POINTS,      /* left, right */
    TR_ROLLED_MAT = TR_ROLLED_BOARD + TR_ROLLED_BOARDS, /* left of the vehicle, right, ahead */
    TR_ROLLED_EMBLEM = TR_ROLLED_MAT + TR_ROLLED_FLOOR, /* a tag on the left side of the body */
    TR_ROLLED_SHEETS
};

/* What is wrong. All zero: nothing. */
typedef struct {
    int exchanged_hubs[2]; /* the sheets of these wheels (from 0); equal: none */
    bool are_boards_exchanged;
    double board_yaw_rad;  /* the left board is turned by this, ... */
    double board_roll_rad; /* ... and about its face */
    int slipped;           /* 1 + the wheel whose sheet slips before the last position, ... */
    double slip_tilt_rad;  /* ... tilted by this about its x, ... */
    double slip_turn_rad;  /* ... and turned about its face */
    int steered;           /* 1 + the wheel that is turned about z before the last position, ... */
    double steer_rad;      /* ... by this */
    double within_mm;      /* the vehicle rolls on by this within the first position */
    double mat_moved_mm; /* the sheet on the floor at the left is pushed forward by this before the
                            last position */
} tr_rolled_faults;

/* From where a photo is taken, in the true vehicle frame of the last position, camera level. */
typedef struct {
    tr_vec3 at_mm, look_at_mm;
    int position;
} tr_rolled_station;

typedef struct {
    uint64_t seed;
    int n_positions; /* 1: not rolled; 0: 2 */
    double roll_rad; /* of the wheels between positions; 0: a quarter turn */
    double toe_rad[TR_N_POINTS], camber_rad[TR_N_POINTS];
    double runout_mm;   /* sd of how each sheet hangs, along its x and y, ... */
    double runout_rad;  /* ... and leans */
    double standoff_mm; /* sd of by how much a standoff is not what the job says */
    double floor_mm;    /* sd of the floor's height under each wheel, in each position */
    double reference_sd_mm, hub_tilt_sd_rad, floor_sd_mm; /* as the job says */
    bool has_emblem;
    bool has_one_board;
    double board_error[TR_ROLLED_BOARDS][TR_N_AXES];
    double noise;            /* of marks, as a multiple of their stated sd; 1 is honest */
    double mark_sd_px_per_m; /* of a mark, by how far the camera is from its sheet; 0: 0.008 */
    bool draws_lens;         /* how its focal length returned is drawn, ... */
    bool draws_prints;       /* ... and the sizes of prints */
    bool is_steady;          /* the profile says so */
    tr_sim_phone phone;
    tr_vec2 image_px;                  /* 0: 4032 x 3024 */
    const tr_rolled_station *stations; /* borrowed while the job is made; NULL: places of its own */
    int n_stations;
    tr_rolled_faults faults;
} tr_rolled_options;

typedef struct {
    tr_job job;
    tr_check check;                             /* photos with marks, ready for tr_check_evaluate */
    tr_vehicle truth;                           /* in the last position */
    double target[TR_ROLLED_BOARDS][TR_N_AXES]; /* where the boards truly are in its frame */
    tr_scene scenes[TR_MAX_POSITIONS];          /* one a position, with its cameras */
} tr_rolled;

/* *out is to be released in any case. */
TR_MUST_USE bool tr_rolled_make(const tr_rolled_options *options, tr_rolled *out, tr_error *err);
void tr_rolled_release(tr_rolled *rolled);

#endif
