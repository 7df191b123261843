/* How long the network takes, from marks to findings, for jobs of 5 to 200 photos and 5 to 60
   sheets (tools/simulate/hall.h). Medians of processor time in ms (all runs
   on one thread); the last column sets the solution with covariance
   of the largest jobs against their number of photos. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "adjust/adjust.h"
#include "diagnose/diagnose.h"
#include "diagnose/hypotheses.h"
#include "diagnose/flatness.h"
#include "adjust/initial_values.h"
#include "tools/bench/bench.h"
#include "tools/simulate/hall.h"

/* What is asked: the largest network solved with covariance, and time linear in photos. */
static const double MAX_SOLVE_MS = 1000;
static const double MAX_GROWTH = 1.3;

enum { DEFAULT_REPEATS = 5, MAX_REPEATS = 99 };

typedef enum { START, SOLVE, COVARIANCE, CAUSES, FLATNESS, ADJUST, CHECK, N_PHASES } phase;

typedef struct {
    int n_photos, n_sheets;
    bool is_moved; /* something is wrong: one mat was moved half way */
} size;

typedef struct {
    double ms[N_PHASES];
    int n_observations, n_points;
    int iterations;
} times;

static double now_ms(void) {
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static int compare_doubles(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *values, long n) {
    qsort(values, (size_t)n, sizeof *values, compare_doubles);
    return n % 2 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
}

typedef struct {
    tr_hall hall;
    const tr_photo_marks **marks;
    const char **names;
    tr_adjust_input input;
} bench_job;

static bool make_job(const size *s, long seed, bench_job *out, tr_error *err) {
    tr_hall_options o = {.seed = (uint64_t)seed, .n_photos = s->n_photos, .n_sheets = s->n_sheets};
    if (s->is_moved) {
        o.moved_sheet = s->n_sheets - 1;
        o.moved_mm = tr_v2(9, 6);
        o.moved_from = s->n_photos / 2;
    }
    memset(out, 0, sizeof *out);
    if (!tr_hall_simulate(&o, &out->hall, err)) return false;
    size_t n = (size_t)s->n_photos;
    out->marks = calloc(n, sizeof *out->marks);
    out->names = calloc(n, sizeof *out->names);
    if (!out->marks || !out->names) return tr_fail_memory(err);
    for (size_t i = 0; i < n; i++) {
        out->marks[i] = &out->hall.check.set.photos[i].marks;
        out->names[i] = out->hall.check.set.photos[i].file;
    }
    out->input = (tr_adjust_input){.lenses = out->hall.job.lenses,
                                   .n_lenses = 1,
                                   .sheets = out->hall.job.sheets,
                                   .n_sheets = out->hall.job.n_sheets,
                                   .photos = out->marks,
                                   .photo_names = out->names,
                                   .n_photos = s->n_photos};
    return true;
}

static void release_job(bench_job *job) {
    tr_hall_release(&job->hall);
    free(job->marks);
    free(job->names);
}

/* Back to the profile's lens and to initial values, as tr_adjust_begin does. */
static bool start_again(const bench_job *job, tr_adjustment *adj, tr_error *err) {
    memset(adj->photo_placed, 0, (size_t)job->input.n_photos * sizeof *adj->photo_placed);
    memset(adj->sheet_placed, 0, (size_t)job->input.n_sheets * sizeof *adj->sheet_placed);
    memcpy(adj->net.lenses[0].lens.param, job->input.lenses->param,
           sizeof job->input.lenses->param);
    return tr_initial_values(&job->input, adj, err);
}

static bool time_solution(const bench_job *job, tr_adjustment *adj, times *out, tr_error *err) {
    tr_lsq_result *result = &adj->result;
    tr_net_solution *s = NULL;
    int n = 6 * job->input.n_sheets;
    bool ok = false;
    double begin = now_ms();
    tr_net_unknown *wanted = calloc((size_t)n, sizeof *wanted);
    double *covariance = calloc((size_t)n * (size_t)n, sizeof *covariance);
    if (!wanted || !covariance) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < n; i++) wanted[i] = (tr_net_unknown){TR_NET_SHEET, i / 6, i % 6};
    tr_net_options plain = {.huber = TR_ADJUST_HUBER, .small_step = 1e-4};
    if (!start_again(job, adj, err)) goto out;
    out->ms[START] = now_ms() - begin;
    begin = now_ms();
    if (!tr_network_solve(&adj->net, &plain, result, err)) goto out;
    out->ms[SOLVE] = now_ms() - begin;
    if (!start_again(job, adj, err)) goto out;
    begin = now_ms();
    s = tr_net_solution_new(&adj->net, &plain, result, err);
    if (!s || !tr_net_solution_covariance(s, wanted, n, covariance, err)) goto out;
    out->ms[COVARIANCE] = now_ms() - begin;
    out->iterations = result->iterations;
    ok = true;
out:
    tr_net_solution_free(s);
    free(wanted);
    free(covariance);
    return ok;
}

static bool time_causes(const bench_job *job, tr_adjustment *adj, times *out, tr_error *err) {
    tr_findings findings = {0};
    tr_sheet_condition *conditions = calloc((size_t)job->input.n_sheets, sizeof *conditions);
    if (!conditions) return tr_fail_memory(err);
    bool is_explained;
    double begin = now_ms();
    bool ok = tr_hypotheses_identify(&job->input, adj, conditions, &findings, &is_explained, err) &&
              tr_hypotheses_test_moves(&job->input, adj, INFINITY, &findings, err);
    out->ms[CAUSES] = now_ms() - begin;
    begin = now_ms();
    ok = ok && tr_flatness_estimate(&job->input, adj, conditions, err);
    out->ms[FLATNESS] = now_ms() - begin;
    tr_findings_release(&findings);
    free(conditions);
    return ok;
}

static bool time_job(const size *s, long seed, times *out, tr_error *err) {
    bench_job job;
    tr_adjustment adj = {0};
    tr_findings findings = {0};
    tr_sheet_condition *conditions = calloc((size_t)s->n_sheets, sizeof *conditions);
    bool ok = make_job(s, seed, &job, err);
    ok = ok && (conditions || tr_fail_memory(err));
    if (!ok) goto out;
    double begin = now_ms();
    ok = tr_diagnose(&job.input, &adj, conditions, &findings, err);
    out->ms[ADJUST] = now_ms() - begin;
    if (!ok) goto out;
    out->n_observations = adj.net.n_observations;
    out->n_points = 0;
    for (int i = 0; i < adj.net.n_observations; i++) {
        out->n_points += adj.net.observations[i].n_points;
        adj.net.observations[i].is_used = true;
    }
    ok = time_solution(&job, &adj, out, err) && time_causes(&job, &adj, out, err);
    begin = now_ms();
    ok = ok && tr_check_evaluate(&job.hall.job, &job.hall.check, err);
    out->ms[CHECK] = now_ms() - begin;
    if (ok &&
        tr_findings_have(&job.hall.check.result.findings, TR_FOUND_SHEET_MOVED) != s->is_moved) {
        ok = tr_fail(err, TR_NO_MEASURE, "that a sheet was moved was %s",
                     s->is_moved ? "missed" : "told wrongly");
    }
out:
    free(conditions);
    tr_findings_release(&findings);
    tr_adjustment_release(&adj);
    release_job(&job);
    return ok;
}

/* Medians over the repeats, each with other marks; false where one of them failed. */
static bool time_size(const size *s, const bench_options *o, long repeats, times *out) {
    double ms[N_PHASES][MAX_REPEATS];
    for (long r = 0; r < repeats; r++) {
        tr_error err = {0};
        if (!time_job(s, o->seed + r, out, &err)) {
            printf("%d photos, %d sheets: %s\n", s->n_photos, s->n_sheets, err.text);
            return false;
        }
        for (int k = 0; k < N_PHASES; k++) ms[k][r] = out->ms[k];
    }
    for (int k = 0; k < N_PHASES; k++) out->ms[k] = median(ms[k], repeats);
    return true;
}

int bench_network(const bench_options *o) {
    static const size sizes[] = {{5, 5, false},   {50, 5, false},   {200, 20, false},
                                 {50, 60, false}, {100, 60, false}, {200, 60, false},
                                 {200, 60, true}};
    enum { N_SIZES = sizeof sizes / sizeof *sizes };
    long repeats = o->jobs < 0 ? DEFAULT_REPEATS : o->jobs > MAX_REPEATS ? MAX_REPEATS : o->jobs;
    double per_photo = 0; /* of 50 photos and 60 sheets */
    bool is_good = true;
    printf("medians of %ld jobs, ms\n", repeats);
    printf("photos sheets observ. points iter.  start  solve  +cov. | causes flatn. adjust  check |"
           " +cov. a photo\n");
    for (int i = 0; i < N_SIZES; i++) {
        const size *s = &sizes[i];
        times t = {.iterations = 0};
        if (!time_size(s, o, repeats, &t)) {
            is_good = false;
            continue;
        }
        double each = t.ms[COVARIANCE] / s->n_photos;
        printf("%6d %6d %7d %6d %5d %6.1f %6.1f %6.1f | %6.0f %6.0f %6.0f %6.0f | %5.2f",
               s->n_photos, s->n_sheets, t.n_observations, t.n_points, t.iterations, t.ms[START],
               t.ms[SOLVE], t.ms[COVARIANCE], t.ms[CAUSES], t.ms[FLATNESS], t.ms[ADJUST],
               t.ms[CHECK], each);
        if (s->n_sheets == 60 && !s->is_moved) {
            if (per_photo <= 0) per_photo = each;
            printf(" (%.2f of that at 50)", each / per_photo);
            is_good = is_good && each <= MAX_GROWTH * per_photo && t.ms[COVARIANCE] <= MAX_SOLVE_MS;
        }
        printf("%s\n", s->is_moved ? " (a mat was moved)" : "");
        fflush(stdout);
    }
    printf("%s: solved with covariance in %.0f ms at most, time per photo at most %.1f times that "
           "of 50 photos\n",
           is_good ? "as asked" : "NOT as asked", MAX_SOLVE_MS, MAX_GROWTH);
    return is_good ? 0 : 1;
}
