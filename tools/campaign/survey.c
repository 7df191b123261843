/* Are the u95 of a survey honest? Simulates surveys at the level of marks with every stated source
   of error drawn at random (marks, lens, bars, heights), on mats that are printed wrong and have
   tags stuck anywhere, measures each, and counts how often the true error of a place, a turn and an
   edge lies within u95: 93 to 97 of 100 each (93 to 99 with a phone's effects, and rms error / u is
   told only). Exits 1 where it does not. */
#include <stdio.h>
#include <stdlib.h>

#include "base/parallel.h"
#include "tools/campaign/options.h"
#include "tools/simulate/survey_sim.h"

enum { PLACE, CORNER, TURN, EDGE, SCALE, N_KINDS };
static const char *const NAMES[N_KINDS] = {"tags' places", "corners' places", "tags' turns",
                                           "tags' edges", "print scale"};

typedef struct {
    long jobs, not_measured;
    long n[N_KINDS], within[N_KINDS];
    double sum_z2[N_KINDS], sum_e2[N_KINDS], sum_u2[N_KINDS];
} tally;

/* A campaign: each survey has a tally of its own, so that the sum does not depend on the threads.
 */
typedef struct {
    const campaign_options *options;
    uint64_t seed;
    tally *of_job;
} campaign;

/* Part of honest surveys. */
static const double MOST_NOT_MEASURED = 0.01;

static void count(tally *t, int kind, double error, double u95) {
    t->n[kind]++;
    t->within[kind] += fabs(error) <= u95;
    t->sum_z2[kind] += (2 * error / u95) * (2 * error / u95);
    t->sum_e2[kind] += error * error;
    t->sum_u2[kind] += u95 * u95;
}

static void count_marks(const tr_survey_sim *sim, tally *t) {
    for (int i = 0; i < sim->survey.n_marks; i++) {
        const tr_survey_mark *m = &sim->survey.marks[i];
        if (!m->is_measured) continue;
        int kind = m->name.is_tag ? PLACE : CORNER;
        count(t, kind, m->at_mm.x - sim->at_mm[i].x, m->u95_mm[0]);
        count(t, kind, m->at_mm.y - sim->at_mm[i].y, m->u95_mm[1]);
        if (!m->name.is_tag) continue;
        count(t, TURN, tr_wrap_rad(m->turn_rad - sim->turn_rad[i]), m->u95_turn_rad);
        count(t, EDGE, m->edges_mm[0] - sim->edges_mm[i][0], m->u95_edges_mm[0]);
        count(t, EDGE, m->edges_mm[1] - sim->edges_mm[i][1], m->u95_edges_mm[1]);
    }
}

static void run_job(uint64_t seed, bool is_steady, tr_sim_phone phone, tally *t) {
    tr_random r = tr_random_seed(seed ^ 0x5A11);
    tr_survey_sim_options o = {.seed = seed,
                               .n_photos = 5 + (int)(6 * tr_random_uniform(&r)),
                               .noise = 1,
                               .misplaced_mm = 8,
                               .height_sd_mm = 1,
                               .n_stuck = (int)(4 * tr_random_uniform(&r)),
                               .n_bars = 1 + (int)(2 * tr_random_uniform(&r)),
                               .bar_sd_mm = 0.05 + 0.15 * tr_random_uniform(&r),
                               .draws_lens = true,
                               .is_steady = is_steady,
                               .phone = phone};
    o.print_scale[0] = 0.004 * tr_random_normal(&r);
    o.print_scale[1] = 0.004 * tr_random_normal(&r);
    tr_survey_sim sim;
    tr_error err = {0};
    t->jobs++;
    if (!tr_simulate_survey(&o, &sim, &err)) {
        t->not_measured++;
        return;
    }
    tr_survey_align align = {sim.corners, TR_SURVEY_SIM_CORNERS};
    if (!tr_survey_solve(&sim.survey, align, &err)) {
        fprintf(stderr, "survey with seed %llu was not measured: %s\n", (unsigned long long)seed,
                err.text);
        t->not_measured++;
    } else {
        const tr_survey_sheet *s = &sim.survey.sheets[0];
        count_marks(&sim, t);
        for (int k = 0; k < 2; k++) {
            count(t, SCALE, s->scale[k] - (1 + o.print_scale[k]), s->scale_u95[k]);
        }
    }
    tr_survey_sim_release(&sim);
}

static bool run_item(void *task, void *own, int item, tr_error *err) {
    (void)own;
    (void)err;
    const campaign *c = task;
    run_job(c->seed + (uint64_t)item, !c->options->has_phone, campaign_phone(c->options, item),
            &c->of_job[item]);
    return true;
}

static void add(tally *to, const tally *t) {
    to->jobs += t->jobs;
    to->not_measured += t->not_measured;
    for (int k = 0; k < N_KINDS; k++) {
        to->n[k] += t->n[k];
        to->within[k] += t->within[k];
        to->sum_z2[k] += t->sum_z2[k];
        to->sum_e2[k] += t->sum_e2[k];
        to->sum_u2[k] += t->sum_u2[k];
    }
}

int campaign_survey(const campaign_options *options) {
    long jobs = options->jobs < 0 ? 1000 : options->jobs;
    campaign c = {.options = options,
                  .seed = (uint64_t)options->seed * 1000003u,
                  .of_job = calloc((size_t)jobs + 1, sizeof(tally))};
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
    for (long i = 0; i < jobs; i++) add(&sum, &c.of_job[i]);
    free(c.of_job);
    bool is_good =
        sum.jobs > sum.not_measured && (double)sum.not_measured <= MOST_NOT_MEASURED * (double)jobs;
    printf("%ld surveys, %ld measured\n", sum.jobs, sum.jobs - sum.not_measured);
    for (int k = 0; k < N_KINDS; k++) {
        double n = (double)sum.n[k];
        double part = 100.0 * (double)sum.within[k] / n;
        double ratio = sqrt(sum.sum_z2[k] / n);
        double unit = k == TURN ? TR_DEG_PER_RAD : k == SCALE ? 100 : 1;
        printf("%-16s %6.2f %% within u95, rms error / u = %.3f, rms error %.4f %s, mean u95 "
               "%.4f\n",
               NAMES[k], part, ratio, unit * sqrt(sum.sum_e2[k] / n),
               k == TURN    ? "deg"
               : k == SCALE ? "%"
                            : "mm",
               unit * sqrt(sum.sum_u2[k] / n));
        is_good = is_good && part >= 93 && part <= (options->has_phone ? 99 : 97) &&
                  (options->has_phone || (ratio >= 0.9 && ratio <= 1.1));
    }
    printf("%s (asked: 93 to %s, at most 1 %% not measured)\n",
           is_good ? "u95 is honest" : "NOT as asked",
           options->has_phone ? "99 % within u95" : "97 % within u95, rms error / u of 0.9 to 1.1");
    return is_good ? 0 : 1;
}
