/* Renders jobs of 12-megapixel photos with known truth and measures them like a user's photos, with
   exact plates: errors of x, y and yaw, and what the network's own covariance predicts. One half of
   the jobs has a plain sRGB tone curve, the other a steeper curve and sharpening as phones apply
   them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check/check.h"
#include "tools/bench/bench.h"
#include "tools/bench/scene.h"
#include "tools/render/render.h"
#include "tools/simulate/simulate.h"

enum { MAX_PHOTOS = 8, DEFAULT_JOBS = 6 };
/* Stations of a simulated job, see simulate.c, the most telling first. */
static const int STATIONS[MAX_PHOTOS] = {1, 2, 5, 6, 7, 8, 3, 4};
static const tr_axis AXES[3] = {TR_X, TR_Y, TR_YAW};

typedef struct {
    bench_scene stage;
    char *files[MAX_PHOTOS];
} rendering;

static bool render_photo(void *context, int i, tr_error *err) {
    const rendering *r = context;
    return tr_scene_photo_write(&r->stage.scene, i, r->files[i], err);
}

/* ---- one job ---- */

typedef struct {
    long n, not_passed_on;
    double sum_e2[3], sum_u2[3], worst[3];
    double sum_variance;
} tally;

static void print_job(long number, const tr_check *check, const double e[3], const double u[3]) {
    printf("  job %2ld: %d photos, dx %+.3f mm (u %.3f)  dy %+.3f mm (u %.3f)  dyaw %+.4f deg (u "
           "%.4f)  "
           "variance %.2f, left out %d\n",
           number, check->n_photos, e[0], u[0], e[1], u[1], e[2], u[2], check->variance_factor,
           check->n_left_out);
    for (int i = 0; i < check->warnings.n; i++) {
        printf("          %s: %s\n", check->warnings.items[i].code, check->warnings.items[i].text);
    }
    fflush(stdout);
}

static bool run_job(const bench_options *o, long number, bool is_steep, const char *folder,
                    tally *t) {
    uint64_t seed = (uint64_t)(o->seed * 1000 + number);
    tr_random random = tr_random_seed(seed);
    tr_sim_options so = {.seed = seed, .n_photos = 5 + (int)(number % 4), .is_exact_lens = true};
    /* With few photos all of them show the mat, and every plate is seen from two sides. */
    memcpy(so.stations, STATIONS, sizeof STATIONS);
    so.mat_x_mm = -(1200 + 500 + 800 * tr_random_uniform(&random));
    so.mat_error[0] = 12 * tr_random_normal(&random);
    so.mat_error[1] = 12 * tr_random_normal(&random);
    so.mat_error[2] = 0.6 * TR_RAD_PER_DEG * tr_random_normal(&random);
    tr_sim sim;
    tr_error err = {0};
    rendering *r = calloc(1, sizeof *r);
    bool ok = false;
    tr_check check = {0};
    if (!r || !tr_simulate(&so, &sim, &err)) {
        free(r);
        return false;
    }
    bench_scene_make(&sim, bench_imaging(is_steep, seed), &r->stage);
    for (int i = 0; i < sim.check.n_photos; i++) {
        size_t size = strlen(folder) + 64;
        r->files[i] = malloc(size);
        if (!r->files[i]) goto out;
        snprintf(r->files[i], size, "%s/job%ld-%c-%d.jpg", folder, number, is_steep ? 's' : 'r',
                 i + 1);
    }
    if (!bench_for_each(render_photo, r, sim.check.n_photos, o->n_threads, &err)) goto out;
    if (!tr_check_photos(&sim.job, r->files, sim.check.n_photos, (int)o->n_threads, NULL, NULL,
                         &check, &err) ||
        !tr_check_evaluate(&sim.job, &check, &err)) {
        goto out;
    }
    double e[3];
    double u[3];
    for (int k = 0; k < 3; k++) {
        const tr_axis_result *a = &check.targets[0].axis[AXES[k]];
        bool is_angle = tr_axis_is_angle(AXES[k]);
        if (!a->is_measured) {
            tr_fail(&err, TR_NO_MEASURE, "the mat was not measured");
            goto out;
        }
        e[k] = a->measured - sim.truth[k];
        if (is_angle) e[k] = tr_wrap_rad(e[k]);
        e[k] *= is_angle ? TR_DEG_PER_RAD : 1;
        u[k] = a->u95 / TR_COVERAGE_FACTOR * (is_angle ? TR_DEG_PER_RAD : 1);
        t->sum_e2[k] += e[k] * e[k];
        t->sum_u2[k] += u[k] * u[k];
        t->worst[k] = fmax(t->worst[k], fabs(e[k]));
    }
    t->n++;
    t->sum_variance += check.variance_factor;
    print_job(number, &check, e, u);
    ok = true;
out:
    for (int i = 0; i < sim.check.n_photos; i++) {
        if (r->files[i] && !o->keep) unlink(r->files[i]);
        free(r->files[i]);
    }
    if (!ok) printf("  job %2ld: %s\n", number, err.text);
    tr_check_release(&check);
    tr_sim_release(&sim);
    free(r);
    return ok;
}

int bench_accuracy(const bench_options *o) {
    static const double limit[3] = {0.25, 0.25, 0.01};
    char folder[] = "/tmp/trammel-bench-XXXXXX";
    const char *where = o->keep ? o->keep : mkdtemp(folder);
    long jobs = o->jobs > 0 ? o->jobs : DEFAULT_JOBS;
    bool is_good = where != NULL;
    for (int is_steep = 0; is_steep < 2 && is_good; is_steep++) {
        tally t = {0};
        printf("%s, 4032 x 3024, blur 0.7 px, noise sd 2, JPEG 90, exact plates and lens\n",
               is_steep ? "S-curve and sharpening" : "sRGB curve");
        for (long i = 0; i < jobs; i++) is_good = run_job(o, i, is_steep, where, &t) && is_good;
        for (int k = 0; k < 3 && t.n > 0; k++) {
            double rms = sqrt(t.sum_e2[k] / (double)t.n);
            double predicted = sqrt(t.sum_u2[k] / (double)t.n);
            printf("  %-7s rms %.4f (asked %.2f), worst %.4f, predicted %.4f, ratio %.2f (asked "
                   "1.5)\n",
                   tr_axis_key(AXES[k]), rms, limit[k], t.worst[k], predicted, rms / predicted);
            is_good = is_good && rms <= limit[k] && rms <= 1.5 * predicted;
        }
        if (t.n > 0) printf("  mean variance factor %.2f\n", t.sum_variance / (double)t.n);
    }
    if (!o->keep && where) rmdir(folder);
    printf("%s\n", is_good ? "as asked" : "NOT as asked");
    return is_good ? 0 : 1;
}
