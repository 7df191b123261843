/* What a phone does that an ideal camera does not, and what paper and floors do: drawn at random
   for simulated marks. The model, for a photo of w x h pixels:
     s = (v - (h - 1) / 2) / h where w >= h, (u - (w - 1) / 2) / w in a portrait file
     q = exp([s a]x) R (P - C - s b)
     u = fx (1 + df) X(q) + cx + dcx   v = fy (1 + df) Y(q) + cy + dcy    X, Y: brown5, lens.h
   with a the turn and b the travel while a frame is read out, and R, C the camera's pose at the
   middle of the sensor. */
#ifndef TR_TOOLS_SIMULATE_PHONE_H
#define TR_TOOLS_SIMULATE_PHONE_H

#include <stdint.h>

#include "lens/lens.h"
#include "tools/relief.h"

/* A small generator of random numbers (xorshift64*, Vigna, An experimental exploration of
   Marsaglia's xorshift generators, 2016): the same on every machine. */
typedef struct {
    uint64_t state;
} tr_random;
tr_random tr_random_seed(uint64_t seed);
double tr_random_uniform(tr_random *r); /* (0, 1) */
double tr_random_normal(tr_random *r);

/* What is drawn. All zero: an ideal camera and flat sheets. */
typedef struct {
    double principal_point_px; /* sd along u and v, in a photo 4032 px long */
    double focal;              /* sd of the focal lengths' common factor */
    double turn_rad;           /* sd of the turn about each of the camera's axes, a frame */
    double travel_mm;          /* sd of the travel along each axis of the vehicle, a frame */
    double lift_mm;            /* a mat's sides and corners are lifted by up to this */
    double wave_mm;            /* a mat has waves of up to this amplitude */
    double floor_mm;           /* sd of the height at which each sheet lies ... */
    double floor_tilt_rad;     /* ... and of its tilt along x and y */
    double mark_floor_px; /* error of each mark that comes on top of its noise, and is stated */
    bool is_portrait;     /* files are stored portrait: 3024 x 4032, the same view turned */
} tr_sim_phone;

/* What a phone in a steady hand does, times a factor: principal point 10 px, focal lengths 0.2 %,
   1.5 deg/s and 20 mm/s during a readout of 20 ms; mats lifted by up to 1.5 mm with waves of up to
   0.3 mm, sheets 1.5 mm and 0.002 off the floor's plane; and, unless the factor is 0, 0.03 px of
   each mark. */
tr_sim_phone tr_sim_phone_full(double factor);

/* Of one photo. */
typedef struct {
    tr_vec2 shift_px;  /* dcx, dcy */
    double focal;      /* df */
    tr_vec3 turn_rad;  /* a */
    tr_vec3 travel_mm; /* b */
} tr_sim_exposure;

/* lens: of the photo, for its size. */
tr_sim_exposure tr_sim_expose(const tr_sim_phone *phone, const tr_lens *lens, tr_random *random);
/* The lens as it was in that photo. */
tr_lens tr_sim_lens_of(const tr_lens *lens, const tr_sim_exposure *e);
/* Where a point of the world is seen; lens: as it was in the photo. False: outside the model. */
bool tr_sim_expose_point(const tr_lens *lens, const tr_sim_exposure *e, tr_pose camera_from_world,
                         tr_vec3 p_mm, tr_vec2 *uv_px);

/* Turned as the sensor is when a landscape camera's file is stored portrait: what was seen at
   (u, v) of w x h is seen at (h - 1 - v, u). The camera is turned with it:
   R' = tr_rotation_z(pi / 2) R. */
void tr_sim_make_portrait(tr_lens *lens);

/* Of a mat of this size. */
tr_relief tr_sim_relief(const tr_sim_phone *phone, double width_mm, double height_mm,
                        tr_random *random);
double tr_sim_relief_mm(const tr_relief *relief, double width_mm, double height_mm, tr_vec2 p_mm);

#endif
