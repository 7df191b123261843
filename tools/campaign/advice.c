/* What help and advice rest on. `campaign photos`: how u95 and errors depend on how many photos
   there are, what they show, how the camera is held and what is known of it. `campaign smallest`:
   how large a fault must be to be named. Both tell figures, and ask nothing of them; sheets are
   surveyed and plates sit all but exactly, so that camera and marks are what counts. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/median.h"
#include "base/parallel.h"
#include "tools/campaign/options.h"
#include "tools/simulate/simulate.h"

static const tr_axis AXES[3] = {TR_X, TR_Y, TR_YAW};

/* What the profile says of the camera's scatter. */
typedef enum { STEADY, UNKNOWN, KNOWN } knowledge;
static const char *const KNOWLEDGE[] = {"steady", "unknown", "known"};
/* Degrees of freedom of a calibration with some 14 photos. */
static const double KNOWN_DOF = 12;

typedef struct {
    bool is_measured, is_named, is_blocked;
    double error[3], u95[3]; /* mm, mm, degrees */
} job_result;

typedef struct {
    tr_sim_options options; /* but for the seed */
    knowledge known;
    tr_finding_kind fault; /* what names it; TR_N_FINDINGS: nothing does */
    uint64_t seed;
    job_result *results;
} series;

static void tell_profile(const tr_sim_phone *phone, knowledge known, tr_lens *lens) {
    const double sd[TR_SCATTER_N] = {phone->principal_point_px, phone->focal, phone->turn_rad,
                                     phone->travel_mm};
    lens->scatter = (tr_lens_scatter){.is_steady = known == STEADY};
    for (int k = 0; k < TR_SCATTER_N && known == KNOWN; k++) {
        lens->scatter.sd[k] = sd[k];
        lens->scatter.dof[k] = KNOWN_DOF;
    }
}

static bool run_one(void *task, void *own, int item, tr_error *err) {
    (void)own;
    (void)err;
    const series *s = task;
    job_result *r = &s->results[item];
    tr_sim_options o = s->options;
    tr_sim sim;
    tr_error why = {0};
    o.seed = s->seed + (uint64_t)item;
    tr_random random = tr_random_seed(o.seed ^ 0xAD51CE);
    o.scene.mat_error[0] = 15 * tr_random_normal(&random);
    o.scene.mat_error[1] = 15 * tr_random_normal(&random);
    o.scene.mat_error[2] = 0.7 * TR_RAD_PER_DEG * tr_random_normal(&random);
    /* Faults of places: any way. */
    double way = 2 * TR_PI * tr_random_uniform(&random);
    double size = o.faults.mat_moved_mm.x;
    o.faults.mat_moved_mm = tr_v2(size * cos(way), size * sin(way));
    size = o.faults.plate_nudge_mm[TR_REAR_LEFT].x;
    o.faults.plate_nudge_mm[TR_REAR_LEFT] = tr_v2(size * cos(way), size * sin(way));
    if (!tr_simulate(&o, &sim, &why)) return true;
    tell_profile(&o.noise.phone, s->known, sim.job.lenses);
    bool ok = tr_check_evaluate(&sim.job, &sim.check, &why);
    const tr_axis_result *axis = sim.check.result.targets ? sim.check.result.targets[0].axis : NULL;
    r->is_named =
        s->fault != TR_N_FINDINGS && tr_findings_have(&sim.check.result.findings, s->fault);
    r->is_blocked = tr_findings_block_pass(&sim.check.result.findings);
    r->is_measured = ok && axis && axis[TR_X].is_measured;
    for (int k = 0; k < 3 && r->is_measured; k++) {
        const tr_axis_result *a = &axis[AXES[k]];
        double unit = tr_axis_is_angle(AXES[k]) ? TR_DEG_PER_RAD : 1;
        double e = a->measured - sim.truth[k];
        r->error[k] = unit * (tr_axis_is_angle(AXES[k]) ? tr_wrap_rad(e) : e);
        r->u95[k] = unit * a->u95;
    }
    tr_sim_release(&sim);
    return true;
}

/* False: memory ran out, which is said. */
static bool run(series *s, long jobs, const campaign_options *options) {
    s->seed = (uint64_t)options->seed * 1000003u;
    memset(s->results, 0, (size_t)jobs * sizeof *s->results);
    tr_parallel_work w = {.n_items = (int)jobs,
                          .workers.n_threads = (int)options->n_threads,
                          .work = run_one,
                          .task = s};
    if (tr_parallel(&w, NULL)) return true;
    fprintf(stderr, "campaign: memory ran out\n");
    return false;
}

static tr_sim_options usual_job(const campaign_options *options, knowledge known) {
    tr_sim_options o = {.noise.marks = 1,
                        .noise.reference_sd_mm = 0.05,
                        .noise.draws_lens = true,
                        .noise.survey_sd_mm = 0.05,
                        .noise.survey_scale_sd = 3e-5};
    if (known != STEADY) o.noise.phone = options->has_phone ? options->phone : tr_sim_phone_full(1);
    return o;
}

/* ---- photos ---- */

typedef struct {
    const char *what;
    knowledge known;
    int n_photos;
    int stations[TR_SIM_MAX_PHOTOS];
    int n_turned; /* of them, the last: the camera is held upright */
} photo_row;

/* Stations (simulate.c): 1 and 2 behind, left and right, show the mat and the plates of their side;
   5 and 6 the same from in front; 3, 4 and 10 plates of one side; 7, 8, 9 the mat from behind and
   half aside. Steady: an ideal camera. */
static const photo_row ROWS[] = {
    {"4, each plate in 1", UNKNOWN, 4, {1, 7, 7, 2}, 0},
    {"4, each plate in 2", UNKNOWN, 4, {1, 2, 5, 6}, 0},
    {"5, each plate in 2", UNKNOWN, 5, {1, 2, 5, 6, 7}, 0},
    {"6, each plate in 1", UNKNOWN, 6, {1, 7, 7, 7, 7, 2}, 0},
    {"6, each plate in 2", UNKNOWN, 6, {1, 2, 5, 6, 7, 7}, 0},
    {"6, each plate in 3", UNKNOWN, 6, {1, 2, 3, 4, 5, 6}, 0},
    {"7", UNKNOWN, 7, {1, 2, 3, 4, 5, 6, 7}, 0},
    {"8", UNKNOWN, 8, {1, 2, 3, 4, 5, 6, 8, 9}, 0},
    {"10", UNKNOWN, 10, {1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, 0},
    {"4, 2 turned", UNKNOWN, 4, {1, 2, 5, 6}, 2},
    {"6, 2 turned", UNKNOWN, 6, {3, 4, 5, 6, 1, 2}, 2},
    {"8, 2 turned", UNKNOWN, 8, {3, 4, 5, 6, 8, 9, 1, 2}, 2},
    {"4, each plate in 2", KNOWN, 4, {1, 2, 5, 6}, 0},
    {"6, each plate in 3", KNOWN, 6, {1, 2, 3, 4, 5, 6}, 0},
    {"8", KNOWN, 8, {1, 2, 3, 4, 5, 6, 8, 9}, 0},
    {"4, each plate in 2", STEADY, 4, {1, 2, 5, 6}, 0},
    {"8", STEADY, 8, {1, 2, 3, 4, 5, 6, 8, 9}, 0},
};

static void tell_row(const photo_row *row, const series *s, long jobs, double *scratch) {
    int n = 0;
    int blocked = 0;
    printf("%-19s %-8s", row->what, KNOWLEDGE[row->known]);
    for (int k = 0; k < 3; k++) {
        double sum = 0;
        n = blocked = 0;
        for (long i = 0; i < jobs; i++) {
            const job_result *r = &s->results[i];
            blocked += r->is_blocked;
            if (!r->is_measured) continue;
            sum += r->error[k] * r->error[k];
            scratch[n++] = r->u95[k];
        }
        if (n > 0) printf("  %7.4f %7.4f", tr_median(scratch, n), sqrt(sum / n));
    }
    printf("  %5d %7d\n", n, blocked);
}

int campaign_photos(const campaign_options *options) {
    long jobs = options->jobs < 0 ? 200 : options->jobs;
    series s = {.fault = TR_N_FINDINGS, .results = calloc((size_t)jobs + 1, sizeof *s.results)};
    double *scratch = calloc((size_t)jobs + 1, sizeof *scratch);
    bool ok = s.results && scratch;
    printf("%-19s %-8s  %15s  %15s  %15s  of %ld\n", "", "", "x mm", "y mm", "yaw deg", jobs);
    printf("%-19s %-8s  %7s %7s  %7s %7s  %7s %7s  %s %s\n", "photos", "scatter", "u95", "rms",
           "u95", "rms", "u95", "rms", "known", "blocked");
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS && ok; i++) {
        const photo_row *row = &ROWS[i];
        s.options = usual_job(options, row->known);
        s.known = row->known;
        s.options.n_photos = row->n_photos;
        memcpy(s.options.scene.stations, row->stations, sizeof row->stations);
        for (int k = row->n_photos - row->n_turned; k < row->n_photos; k++) {
            s.options.faults.camera_roll_rad[k] = TR_PI / 2;
        }
        ok = run(&s, jobs, options);
        if (ok) tell_row(row, &s, jobs, scratch);
        fflush(stdout);
    }
    free(s.results);
    free(scratch);
    return ok ? 0 : 1;
}

/* ---- the smallest fault that is named ---- */

static void put_moved(tr_sim_options *o, double size) {
    o->faults.mat_moved_mm.x = size;
    o->faults.moved_from = 4;
}
static void put_nudged(tr_sim_options *o, double size) {
    o->faults.plate_nudge_mm[TR_REAR_LEFT].x = size;
    o->faults.nudged_from = 3;
}
static void put_scale(tr_sim_options *o, double size) {
    o->faults.mat_scale = 1 - size / 100;
}
static void put_stretch(tr_sim_options *o, double size) {
    o->faults.mat_print_scale[0] = size / 100;
}
static void put_lens(tr_sim_options *o, double size) {
    o->faults.lens_factor = 1 + size / 100;
}

/* Sizes are tried in steps of a quarter from `least` on. */
static const struct {
    const char *what, *unit;
    tr_finding_kind fault;
    void (*put)(tr_sim_options *o, double size);
    double least;
} FAULTS[] = {
    {"mat moved before photo 5 of 8", "mm", TR_FOUND_SHEET_MOVED, put_moved, 0.4},
    {"plate moved before photo 4 of 8", "mm", TR_FOUND_SHEET_MOVED, put_nudged, 0.4},
    {"mat printed smaller", "%", TR_FOUND_SHEET_SCALE, put_scale, 0.05},
    {"mat stretched one way", "%", TR_FOUND_SHEET_SCALE, put_stretch, 0.05},
    {"focal length of another lens", "%", TR_FOUND_LENS_MISMATCH, put_lens, 0.1},
};
enum { N_SIZES = 21 };
static const double SIZE_STEP = 1.25;
static const double NAMED_PART = 0.95;

/* As many jobs as say so at one size. */
static bool count(series *s, int fault, int step, long jobs, const campaign_options *options,
                  long *named, long *blocked) {
    s->options = usual_job(options, s->known);
    s->options.n_photos = 8;
    s->fault = FAULTS[fault].fault;
    FAULTS[fault].put(&s->options, FAULTS[fault].least * pow(SIZE_STEP, step));
    if (!run(s, jobs, options)) return false;
    *named = *blocked = 0;
    for (long i = 0; i < jobs; i++) {
        *named += s->results[i].is_named;
        *blocked += s->results[i].is_blocked;
    }
    return true;
}

int campaign_smallest(const campaign_options *options) {
    static const knowledge CAMERAS[] = {STEADY, UNKNOWN};
    long jobs = options->jobs < 0 ? 40 : options->jobs;
    series s = {.results = calloc((size_t)jobs + 1, sizeof *s.results)};
    bool ok = s.results != NULL;
    for (size_t f = 0; f < sizeof FAULTS / sizeof *FAULTS; f++) {
        for (size_t c = 0; c < sizeof CAMERAS / sizeof *CAMERAS && ok; c++) {
            /* The larger, the more often: halved until two steps are neighbours. */
            int low = -1;
            int high = N_SIZES;
            long named_at = 0;
            long blocked_at = 0;
            s.known = CAMERAS[c];
            while (high - low > 1 && ok) {
                int middle = (low + high) / 2;
                long named;
                long blocked;
                ok = count(&s, (int)f, middle, jobs, options, &named, &blocked);
                bool is_enough = ok && (double)named >= NAMED_PART * (double)jobs;
                *(is_enough ? &high : &low) = middle;
                if (is_enough) {
                    named_at = named;
                    blocked_at = blocked;
                }
            }
            if (!ok) break;
            printf("%-32s %-8s %s %.2f %s: named in %ld, blocked in %ld of %ld\n", FAULTS[f].what,
                   KNOWLEDGE[s.known], high < N_SIZES ? "from" : "not up to",
                   FAULTS[f].least * pow(SIZE_STEP, high < N_SIZES ? high : N_SIZES - 1),
                   FAULTS[f].unit, named_at, blocked_at, jobs);
            fflush(stdout);
        }
    }
    free(s.results);
    return ok ? 0 : 1;
}
