#include "tools/bench/scene.h"

#include <string.h>

#include "base/parallel.h"

static tr_solid box(double x0, double x1, double z0, double z1, double y0, double y1,
                    double reflectance) {
    tr_solid s = {.n_outline = 4, .y_mm = {y0, y1}, .reflectance = reflectance};
    s.outline_xz_mm[0] = tr_v2(x0, z0);
    s.outline_xz_mm[1] = tr_v2(x1, z0);
    s.outline_xz_mm[2] = tr_v2(x1, z1);
    s.outline_xz_mm[3] = tr_v2(x0, z1);
    return s;
}

static tr_solid wheel(double x, double y0, double y1) {
    return (tr_solid){
        .centre_xz_mm = {x, 320}, .radius_mm = 320, .y_mm = {y0, y1}, .reflectance = 0.04};
}

tr_imaging bench_imaging(bool is_steep, uint64_t seed) {
    tr_imaging m = tr_imaging_plain();
    m.blur_px[0] = m.blur_px[1] = 0.7;
    m.exposure = 1.0;
    m.vignetting = 0.25;
    m.gradient[0] = 0.1;
    m.gradient[1] = -0.1;
    m.tone = is_steep ? TR_TONE_S_CURVE : TR_TONE_SRGB;
    m.sharpen = is_steep ? 0.6 : 0;
    m.sharpen_radius_px = 1.0;
    m.noise_sd = 2;
    m.seed = seed * 100;
    m.jpeg_quality = 90;
    return m;
}

tr_imaging bench_phone_imaging(double factor, uint64_t seed) {
    double part = fmin(factor, 1);
    tr_imaging m = bench_imaging(true, seed);
    m.raw_noise_sd = 3;
    m.denoise_radius_px = 1.2;
    m.local_contrast = 0.15 * part;
    m.local_radius_px = 40;
    m.sharpen = 0.8 * part;
    m.noise_sd = 0;
    m.jpeg_quality = 85;
    return m;
}

tr_scene_camera bench_camera(tr_pose vehicle_from_camera, const tr_sim_exposure *e,
                             tr_imaging imaging) {
    return (tr_scene_camera){.vehicle_from_camera = vehicle_from_camera,
                             .shift_px = e->shift_px,
                             .focal = e->focal,
                             .turn_rad = e->turn_rad,
                             .travel_mm = e->travel_mm,
                             .imaging = imaging};
}

void bench_scene_make(const tr_sim *sim, tr_imaging imaging, bench_scene *r) {
    const double *lo = TR_SIM_BODY_LOW_MM;
    const double *hi = TR_SIM_BODY_HIGH_MM;
    for (int i = 0; i < sim->job.n_sheets; i++) {
        /* Sheets that were added to the simulated job are printed as in their files, and flat. */
        bool is_simulated =
            i < TR_SIM_MAX_SHEETS && strcmp(sim->printed[i].id, sim->job.sheets[i].id) == 0;
        r->sheets[i] =
            (tr_scene_sheet){.sheet = is_simulated ? sim->printed[i] : sim->job.sheets[i],
                             .checker_mm = i == 0 ? 40 : 22,
                             .vehicle_from_sheet = sim->vehicle_from_sheet[i]};
        if (is_simulated) r->sheets[i].relief = sim->relief[i];
    }
    r->solids[0] = box(lo[0], hi[0], lo[2], hi[2], lo[1], hi[1], 0.08);
    r->solids[1] = wheel(0, 600, 800);
    r->solids[2] = wheel(0, -800, -600);
    r->solids[3] = wheel(2700, 600, 800);
    r->solids[4] = wheel(2700, -800, -600);
    for (int i = 0; i < sim->check.set.n_photos; i++) {
        r->cameras[i] =
            bench_camera(sim->vehicle_from_camera[i], &sim->photos[i].exposure, imaging);
        r->cameras[i].imaging.seed += (uint64_t)i;
    }
    r->scene = (tr_scene){.lens = sim->true_lens,
                          .sheets = r->sheets,
                          .n_sheets = sim->job.n_sheets,
                          .solids = r->solids,
                          .n_solids = 5,
                          .floor_reflectance = 0.3,
                          .floor_texture = 0.5,
                          .cameras = r->cameras,
                          .n_cameras = sim->check.set.n_photos};
}

typedef struct {
    bench_photo photo;
    void *context;
} photo_work;

static bool run_photo(void *task, void *own, int item, tr_error *err) {
    (void)own;
    const photo_work *w = task;
    return w->photo(w->context, item, err);
}

bool bench_for_each(bench_photo photo, void *context, int n, long n_threads, tr_error *err) {
    photo_work task = {photo, context};
    tr_parallel_work w = {
        .n_items = n, .workers.n_threads = (int)n_threads, .work = run_photo, .task = &task};
    return tr_parallel(&w, err);
}
