/* Photographs of a simulated job: what the benchmarks that work on photos have in common. */
#ifndef TR_TOOLS_BENCH_SCENE_H
#define TR_TOOLS_BENCH_SCENE_H

#include "tools/render/render.h"
#include "tools/simulate/simulate.h"

enum { BENCH_MAX_SHEETS = 64, BENCH_STATIONS = 8 };

/* The scene borrows its arrays from here and its sheets from the simulated job. */
typedef struct {
    tr_scene scene;
    tr_scene_sheet sheets[BENCH_MAX_SHEETS];
    tr_solid solids[5];
    tr_scene_camera cameras[BENCH_STATIONS];
} bench_scene;

/* As a phone takes photos: blur 0.7 px, noise of 2 grey values, vignetting, JPEG at 90. is_steep:
   an S-curve and sharpening on top of the sRGB curve. */
tr_imaging bench_imaging(bool is_steep, uint64_t seed);

/* As a phone develops them: an S-curve, noise that is smoothed away, local contrast, sharpening,
   JPEG at 85; factor: of local contrast and sharpening, 1 at most. */
tr_imaging bench_phone_imaging(double factor, uint64_t seed);

/* A camera as it was in a photo. */
tr_scene_camera bench_camera(tr_pose vehicle_from_camera, const tr_sim_exposure *exposure,
                             tr_imaging imaging);

/* The sheets of the job, the vehicle's body and wheels, one camera a photo; each camera's noise
   has a seed of its own. */
void bench_scene_make(const tr_sim *sim, tr_imaging imaging, bench_scene *r);

/* Photo i on one of several threads: renders it, and does with it what must be done. */
typedef bool (*bench_photo)(void *context, int i, tr_error *err);
/* Calls it for 0 .. n - 1. False where one failed; the others are then left. */
TR_MUST_USE bool bench_for_each(bench_photo photo, void *context, int n, long n_threads,
                                tr_error *err);

#endif
