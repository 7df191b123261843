/* Is u95 honest? Simulates jobs at the level of marks with every stated source of error drawn at
   random (marks, lens, plates, floor), measures each, and counts how often the true error lies
   within u95: 93 to 97 of 100 for x, y and yaw each. Exits 1 where it does not. */
#include <pthread.h>
#include <stdio.h>

#include "tools/campaign/options.h"
#include "tools/simulate/simulate.h"

static const tr_axis AXES[3] = {TR_X, TR_Y, TR_YAW};

typedef struct {
    long jobs, within[3], not_measured, blocked;
    double sum_z2[3]; /* of (error / u)^2 */
} tally;

typedef struct {
    long from, to;
    uint64_t seed;
    bool are_surveyed;
    tally tally;
} share;

/* Places wrong by this, about three pixel-noises of a mark, and by 0.3 mm in a metre. */
static const double SURVEY_SD_MM = 0.2;
static const double SURVEY_SCALE_SD = 3e-4;

static void run_job(uint64_t seed, bool are_surveyed, tally *t) {
    tr_random r = tr_random_seed(seed ^ 0xC0FFEE);
    tr_sim_options o = {.seed = seed,
                        .n_photos = 5 + (int)(4 * tr_random_uniform(&r)),
                        .noise = 1,
                        .reference_sd_mm = 1,
                        .draws_lens = true,
                        .draws_floor = true};
    if (are_surveyed) {
        o.survey_sd_mm = SURVEY_SD_MM;
        o.survey_scale_sd = SURVEY_SCALE_SD;
        o.reference_sd_mm = 0.1; /* or it would hide them */
    }
    o.mat_error[0] = 15 * tr_random_normal(&r);
    o.mat_error[1] = 15 * tr_random_normal(&r);
    o.mat_error[2] = 0.7 * TR_RAD_PER_DEG * tr_random_normal(&r);
    tr_sim sim;
    tr_error err = {0};
    t->jobs++;
    if (!tr_simulate(&o, &sim, &err)) {
        t->not_measured++;
        return;
    }
    bool ok = tr_check_evaluate(&sim.job, &sim.check, &err);
    const tr_target_result *target = sim.check.targets;
    if (!ok || !target[0].axis[TR_X].is_measured) {
        fprintf(stderr, "job with seed %llu was not measured: %s\n", (unsigned long long)seed,
                ok ? "no target" : err.text);
        t->not_measured++;
    } else {
        t->blocked += tr_warnings_block_pass(&sim.check.warnings);
        for (int k = 0; k < 3; k++) {
            const tr_axis_result *a = &target[0].axis[AXES[k]];
            double e = a->measured - sim.truth[k];
            if (tr_axis_is_angle(AXES[k])) e = tr_wrap_rad(e);
            t->within[k] += fabs(e) <= a->u95;
            t->sum_z2[k] += (2 * e / a->u95) * (2 * e / a->u95);
        }
    }
    tr_sim_release(&sim);
}

static void *run_share(void *argument) {
    share *s = argument;
    for (long i = s->from; i < s->to; i++)
        run_job(s->seed + (uint64_t)i, s->are_surveyed, &s->tally);
    return NULL;
}

static bool run_jobs(const campaign_options *options, long jobs, bool are_surveyed) {
    long n_threads = options->n_threads;
    share shares[CAMPAIGN_MAX_THREADS] = {{0}};
    pthread_t threads[CAMPAIGN_MAX_THREADS];
    tally sum = {0};
    for (long i = 0; i < n_threads; i++) {
        shares[i] = (share){.from = jobs * i / n_threads,
                            .to = jobs * (i + 1) / n_threads,
                            .are_surveyed = are_surveyed,
                            .seed = (uint64_t)options->seed * 1000003u};
        if (pthread_create(&threads[i], NULL, run_share, &shares[i]) != 0) {
            fprintf(stderr, "campaign: no thread could be started\n");
            return false;
        }
    }
    for (long i = 0; i < n_threads; i++) {
        pthread_join(threads[i], NULL);
        const tally *t = &shares[i].tally;
        sum.jobs += t->jobs;
        sum.not_measured += t->not_measured;
        sum.blocked += t->blocked;
        for (int k = 0; k < 3; k++) {
            sum.within[k] += t->within[k];
            sum.sum_z2[k] += t->sum_z2[k];
        }
    }
    long measured = sum.jobs - sum.not_measured;
    bool is_honest = measured > 0;
    printf("%s: %ld jobs, %ld measured, %ld with a warning that blocks a pass\n",
           are_surveyed ? "sheets surveyed" : "sheets as their files say", sum.jobs, measured,
           sum.blocked);
    for (int k = 0; k < 3 && measured > 0; k++) {
        double part = 100.0 * (double)sum.within[k] / (double)measured;
        printf("%-8s %6.2f %% of true errors within u95, rms error / u = %.3f\n",
               tr_axis_key(AXES[k]), part, sqrt(sum.sum_z2[k] / (double)measured));
        is_honest = is_honest && part >= 93 && part <= 97;
    }
    return is_honest;
}

int campaign_coverage(const campaign_options *options) {
    long jobs = options->jobs < 0 ? 2000 : options->jobs;
    bool is_honest = run_jobs(options, jobs, false);
    is_honest = run_jobs(options, jobs, true) && is_honest;
    printf("%s\n",
           is_honest ? "u95 is honest (93 to 97 % asked)" : "u95 is NOT honest (93 to 97 % asked)");
    return is_honest ? 0 : 1;
}
