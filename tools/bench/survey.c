/* bench survey [--jobs N] [--seed S] [--threads N]
   Renders 12-megapixel photos of a mat that was printed at 99.6 % x 100.3 %, with tags up to 8 mm
   off their places and two stuck on by hand, and one scale bar, and surveys it like a user: how far
   the measured places are from the truth, and what u95 says. Every second job has the tone curve
   and the sharpening of a phone. */
#include "tools/bench/bench.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tools/simulate/survey_scene.h"

typedef struct {
    long n, within;
    double sum_e2, sum_u2, worst;
} tally;

static void count(tally *t, double error, double u95) {
    t->n++;
    t->within += fabs(error) <= u95;
    t->sum_e2 += error * error;
    t->sum_u2 += u95 * u95;
    t->worst = fmax(t->worst, fabs(error));
}

static void remove_folder(const char *folder) {
    DIR *dir = opendir(folder);
    for (const struct dirent *e; dir && (e = readdir(dir)) != NULL;) {
        char path[512];
        if (e->d_name[0] == '.') continue;
        snprintf(path, sizeof path, "%.200s/%.255s", folder, e->d_name);
        unlink(path);
    }
    if (dir) closedir(dir);
    rmdir(folder);
}

static bool run(const tr_survey_sim *sim, const char *folder, bool is_steep, long number,
                long n_threads, tally *sum, tr_error *err) {
    tr_survey_spec spec = {0};
    tr_survey v = {0};
    char path[256];
    snprintf(path, sizeof path, "%.200s/survey.yaml", folder);
    bool ok =
        tr_survey_scene_write(sim, folder, is_steep, n_threads, err) &&
        tr_survey_spec_read(path, &spec, err) && tr_survey_init(&spec, &v, err) &&
        tr_survey_run(&v, spec.photos, spec.n_photos, &(tr_workers){.n_threads = (int)n_threads},
                      (tr_survey_align){sim->corners, TR_SURVEY_SIM_CORNERS}, err);
    tally own = {0};
    for (int i = 0; ok && i < v.n_marks; i++) {
        const tr_survey_mark *m = &v.marks[i];
        if (!m->is_measured) continue;
        double dx = m->at_mm.x - sim->at_mm[i].x;
        double dy = m->at_mm.y - sim->at_mm[i].y;
        count(&own, dx, m->u95_mm[0]);
        count(&own, dy, m->u95_mm[1]);
        count(sum, dx, m->u95_mm[0]);
        count(sum, dy, m->u95_mm[1]);
    }
    if (ok) {
        const tr_survey_sheet *s = &v.sheets[0];
        printf(
            "  job %2ld: %d photos, %2ld marks, rms %.4f mm, worst %.4f, mean u95 %.4f, print %.3f "
            "%% x %.3f %%, flatness %.2f, variance %.2f, left out %d%s\n",
            number, v.n_used, own.n / 2, sqrt(own.sum_e2 / (double)own.n), own.worst,
            sqrt(own.sum_u2 / (double)own.n), 100 * s->scale[0], 100 * s->scale[1],
            s->condition.flatness_mm, v.variance_factor, v.n_rejected,
            is_steep ? ", steep curve" : "");
    }
    tr_survey_release(&v);
    tr_survey_spec_release(&spec);
    return ok;
}

int bench_survey(const bench_options *options) {
    long jobs = options->jobs > 0 ? options->jobs : 6;
    long seed = options->seed;
    long n_threads = options->n_threads;
    tally sum = {0};
    bool is_good = true;
    printf(
        "surveys of rendered mats, 4032 x 3024, blur 0.7 px, noise sd 2, JPEG 90, lens drawn from "
        "its profile\n");
    for (long i = 0; i < jobs; i++) {
        char folder[] = "/tmp/trammel-bench-XXXXXX";
        tr_survey_sim_options o = {.seed = (uint64_t)(seed * 1000 + i),
                                   .n_photos = 6 + (int)(i % 4),
                                   .noise = 1,
                                   .misplaced_mm = 8,
                                   .print_scale = {-0.004, 0.003},
                                   .n_stuck = 2,
                                   .bar_sd_mm = 0.05,
                                   .draws_lens = true};
        tr_survey_sim sim;
        tr_error err = {0};
        if (!mkdtemp(folder) || !tr_simulate_survey(&o, &sim, &err)) return 1;
        if (!run(&sim, folder, i % 2 == 1, i, n_threads, &sum, &err)) {
            printf("  job %2ld: %s %s\n", i, err.key, err.text);
            is_good = false;
        }
        fflush(stdout);
        remove_folder(folder);
        tr_survey_sim_release(&sim);
    }
    double rms = sqrt(sum.sum_e2 / (double)sum.n);
    printf("  all: rms %.4f mm (asked 0.15), worst %.4f, mean u95 %.4f, %.1f %% within u95\n", rms,
           sum.worst, sqrt(sum.sum_u2 / (double)sum.n), 100.0 * (double)sum.within / (double)sum.n);
    is_good = is_good && rms <= 0.15;
    printf("%s\n", is_good ? "as asked" : "NOT as asked");
    return is_good ? 0 : 1;
}
