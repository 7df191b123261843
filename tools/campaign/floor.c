/* What is measured of the floor: simulated jobs on floors that fall behind the vehicle by up to a
   degree, uneven at the plates, on which no sheet lies quite, with a level where the wheels stand.
   Tells how often the true value lies within u95, which is 93 of 100 and more; and how many floors
   were passed that are beyond their limits, which is one in 40 at most: what is passed has all of
   u95 to spare. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/parallel.h"
#include "tools/campaign/options.h"
#include "tools/simulate/simulate.h"
#include "vehicle/floor.h"

static const double FALL_RAD = 1 * TR_RAD_PER_DEG;
static const double UNEVEN_MM = 2;
static const double LEVEL_SD_RAD = 0.05 * TR_RAD_PER_DEG;
static const double LIMITS[TR_N_FLOOR_LIMITS] = {
    [TR_LIMIT_SLOPE] = 0.5 * TR_RAD_PER_DEG,
    [TR_LIMIT_TILT] = 0.5 * TR_RAD_PER_DEG,
    [TR_LIMIT_LEVEL] = 0.6 * TR_RAD_PER_DEG,
    [TR_LIMIT_OUT_OF_FLAT] = 5,
};
static const char *const NAMES[TR_FLOOR_N] = {"height",       "out of flat", "along",
                                              "across",       "slope",       "level along",
                                              "level across", "level slope"};

enum { N_SHEETS = TR_SIM_PLATE + TR_N_POINTS };

typedef struct {
    long measured, within[TR_FLOOR_N], beyond, passed, false_passes;
    double sum_z2[TR_FLOOR_N];
} tally;

typedef struct {
    const campaign_options *options;
    tally *of_job;
} campaign;

static void draw_floor(tr_random *r, tr_sim_floor floor[N_SHEETS]) {
    double fall = FALL_RAD * (2 * tr_random_uniform(r) - 1);
    floor[TR_SIM_MAT] =
        (tr_sim_floor){-1800 * tan(fall), fall, 0.3 * FALL_RAD * tr_random_normal(r)};
    for (int i = TR_SIM_PLATE; i < N_SHEETS; i++) {
        floor[i] = (tr_sim_floor){UNEVEN_MM * tr_random_normal(r), 0, 0};
    }
}

/* The floor under each sheet, where that lies, and what is true of it. */
static void measure_truth(const tr_sim *sim, const tr_sim_floor floor[N_SHEETS],
                          const double level_rad[2], double out[N_SHEETS][TR_FLOOR_N],
                          double whole[TR_FLOOR_WHOLE_N]) {
    tr_floor_sheet sheets[N_SHEETS];
    for (int i = 0; i < N_SHEETS; i++) {
        double at[TR_N_AXES];
        tr_placement_of(sim->vehicle_from_sheet[i], false, at);
        at[TR_Z] = floor[i].height_mm;
        at[TR_PITCH] = -floor[i].along_rad;
        at[TR_ROLL] = floor[i].across_rad;
        sheets[i] = (tr_floor_sheet){.vehicle_from_sheet = tr_pose_of_placement(at, false),
                                     .is_at_target = i == TR_SIM_MAT,
                                     .is_at_wheel = i >= TR_SIM_PLATE};
    }
    const tr_layout *l = &sim->job.layout;
    tr_floor_input in = {.sheets = sheets,
                         .n = N_SHEETS,
                         .stand = TR_STAND_OF_PLATES,
                         .low_mm = {0, -l->track_front_mm / 2},
                         .high_mm = {l->wheelbase_mm, l->track_front_mm / 2},
                         .has_level = true,
                         .level_on = -1,
                         .level_rad = {level_rad[0], level_rad[1]}};
    tr_floor_measure(&in, out, whole);
}

static bool is_beyond(double (*truth)[TR_FLOOR_N], const double whole[TR_FLOOR_WHOLE_N]) {
    bool beyond = false;
    for (int i = 0; i < N_SHEETS; i++) {
        for (tr_floor_value k = 0; k < TR_FLOOR_N; k++) {
            tr_floor_limit limit = tr_floor_limit_of(k);
            bool is_for_all = k == TR_FLOOR_OUT_OF_FLAT;
            if (limit == TR_N_FLOOR_LIMITS || (!is_for_all && i != TR_SIM_MAT)) continue;
            beyond = beyond || fabs(truth[i][k]) > LIMITS[limit];
        }
    }
    for (int k = TR_FLOOR_STAND_ALONG; k < TR_FLOOR_WHOLE_N; k++) {
        beyond = beyond || fabs(whole[k]) > LIMITS[TR_LIMIT_LEVEL];
    }
    return beyond;
}

static void compare(const tr_check_result *result, double (*truth)[TR_FLOOR_N],
                    const double whole[TR_FLOOR_WHOLE_N], tally *t) {
    const tr_floor_place *mat = NULL;
    for (int i = 0; i < result->floor.n_places; i++) {
        if (result->floor.places[i].sheet == TR_SIM_MAT) mat = &result->floor.places[i];
    }
    if (!mat) return;
    bool is_passed = result->floor.verdict == TR_PASS;
    bool beyond = is_beyond(truth, whole);
    t->measured = 1;
    t->passed = is_passed;
    t->beyond = beyond;
    t->false_passes = is_passed && beyond;
    for (tr_floor_value k = 0; k < TR_FLOOR_N; k++) {
        double e = mat->value[k].value.value - truth[TR_SIM_MAT][k];
        double u95 = mat->value[k].value.u95;
        t->within[k] = fabs(e) <= u95;
        t->sum_z2[k] = (2 * e / u95) * (2 * e / u95);
    }
}

static bool run_item(void *task, void *own, int item, tr_error *err) {
    (void)own;
    (void)err;
    const campaign *c = task;
    uint64_t seed = (uint64_t)c->options->seed * 1000003u + (uint64_t)item;
    tr_random r = tr_random_seed(seed ^ 0xF100D);
    tr_sim_options o = {.seed = seed,
                        .n_photos = 5 + (int)(4 * tr_random_uniform(&r)),
                        .noise.marks = 1,
                        .noise.reference_sd_mm = 1,
                        .noise.draws_lens = true,
                        .noise.draws_prints = true,
                        .scene.is_steady = !c->options->has_phone,
                        .noise.phone = campaign_phone(c->options, item)};
    tr_sim_floor floor[N_SHEETS];
    double level[2], truth[N_SHEETS][TR_FLOOR_N], whole[TR_FLOOR_WHOLE_N];
    tr_sim sim;
    tr_error why = {0};
    draw_floor(&r, floor);
    for (int k = 0; k < 2; k++) level[k] = 0.2 * TR_RAD_PER_DEG * tr_random_normal(&r);
    o.noise.phone.floor_mm = o.noise.phone.floor_tilt_rad = 0; /* drawn here */
    for (int i = 0; i < N_SHEETS; i++) {
        bool is_mat = i == TR_SIM_MAT;
        o.scene.floor[i] = tr_sim_lie(floor[i], is_mat ? 1600 : 250, is_mat ? 1000 : 200, &r);
    }
    if (tr_simulate(&o, &sim, &why)) {
        memcpy(sim.job.layout.floor_limit, LIMITS, sizeof LIMITS);
        sim.job.level = (tr_level){.is_given = true,
                                   .sheet = -1,
                                   .along_rad = level[0] + LEVEL_SD_RAD * tr_random_normal(&r),
                                   .across_rad = level[1] + LEVEL_SD_RAD * tr_random_normal(&r),
                                   .sd_rad = LEVEL_SD_RAD};
        measure_truth(&sim, floor, level, truth, whole);
        if (tr_check_evaluate(&sim.job, &sim.check, &why)) {
            compare(&sim.check.result, truth, whole, &c->of_job[item]);
        }
    }
    tr_sim_release(&sim);
    return true;
}

int campaign_floor(const campaign_options *options) {
    long jobs = options->jobs < 0 ? 1000 : options->jobs;
    campaign c = {.options = options, .of_job = calloc((size_t)jobs + 1, sizeof(tally))};
    tr_parallel_work w = {.n_items = (int)jobs,
                          .workers.n_threads = (int)options->n_threads,
                          .work = run_item,
                          .task = &c};
    tally sum = {0};
    if (!c.of_job || !tr_parallel(&w, NULL)) {
        fprintf(stderr, "campaign: memory ran out\n");
        free(c.of_job);
        return 1;
    }
    for (long i = 0; i < jobs; i++) {
        const tally *t = &c.of_job[i];
        sum.measured += t->measured;
        sum.beyond += t->beyond;
        sum.passed += t->passed;
        sum.false_passes += t->false_passes;
        for (int k = 0; k < TR_FLOOR_N; k++) {
            sum.within[k] += t->within[k];
            sum.sum_z2[k] += t->sum_z2[k];
        }
    }
    free(c.of_job);
    printf("floor: %ld jobs, %ld measured; of %ld beyond a limit %ld passed, of the others %ld\n",
           jobs, sum.measured, sum.beyond, sum.false_passes, sum.passed - sum.false_passes);
    bool is_good = sum.measured > 0 && 40 * sum.false_passes <= sum.beyond;
    for (int k = 0; k < TR_FLOOR_N && sum.measured > 0; k++) {
        double part = 100.0 * (double)sum.within[k] / (double)sum.measured;
        printf("%-13s %6.2f %% of true errors within u95, rms error / u = %.3f\n", NAMES[k], part,
               sqrt(sum.sum_z2[k] / (double)sum.measured));
        is_good = is_good && part >= 93;
    }
    printf("%s\n", is_good ? "as asked" : "NOT as asked");
    return is_good ? 0 : 1;
}
