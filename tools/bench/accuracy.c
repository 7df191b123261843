/* Renders jobs of 12-megapixel photos with known truth and measures them like a user's photos, with
   exact plates: errors of x, y and yaw, and what the network's own covariance predicts. One half of
   the jobs has a plain sRGB tone curve, the other a steeper curve and sharpening as phones apply
   them.
   --phone FACTOR: instead jobs of 7 photos with all that a phone does and paper that is not flat
   (tr_sim_phone_full, bench_phone_imaging), sheets surveyed: how many errors lie within u95 too,
   and which jobs a finding keeps from passing. --lens-from-photos: their lens profile is calibrated
   from 14 photos of a board with the same effects, once for all jobs. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check/check.h"
#include "present/catalogue.h"
#include "tools/bench/bench.h"
#include "tools/bench/phone.h"
#include "tools/bench/scene.h"
#include "tools/render/render.h"
#include "tools/simulate/simulate.h"

enum { MAX_PHOTOS = 8, DEFAULT_JOBS = 6 };
/* Stations of a simulated job, see simulate.c, the most telling first. */
static const int STATIONS[MAX_PHOTOS] = {1, 2, 5, 6, 7, 8, 3, 4};
static const tr_axis AXES[3] = {TR_X, TR_Y, TR_YAW};
/* Of sheets that go with a phone: as a survey leaves their places and its scale. */
static const double SURVEY_SD_MM = 0.02;
static const double SURVEY_SCALE_SD = 2e-5;

/* What kind of photos. */
typedef struct {
    const char *name;
    char letter; /* in their files' names */
    bool is_steep, is_phone;
    const tr_lens *lens; /* the profile; NULL: the true one, exact */
} photo_kind;

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
    long n, within, blocked;
    double sum_e2[3], sum_u2[3], worst[3];
    double sum_variance;
} tally;

static void print_job(long number, const tr_check *check, const double e[3], const double u[3]) {
    printf("  job %2ld: %d photos, dx %+.3f mm (u %.3f)  dy %+.3f mm (u %.3f)  dyaw %+.4f deg (u "
           "%.4f)  "
           "variance %.2f, left out %d\n",
           number, check->set.n_photos, e[0], u[0], e[1], u[1], e[2], u[2],
           check->result.variance_factor, check->result.n_rejected);
    for (int i = 0; i < check->result.findings.n; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&check->result.findings.items[i], text);
        printf("          %s: %s\n", tr_finding_code(check->result.findings.items[i].kind), text);
    }
    fflush(stdout);
}

static bool run_job(const bench_options *o, long number, const photo_kind *kind, const char *folder,
                    tally *t) {
    uint64_t seed = (uint64_t)(o->seed * 1000 + number);
    tr_random random = tr_random_seed(seed);
    tr_sim_options so = {
        .seed = seed, .n_photos = 5 + (int)(number % 4), .scene.is_exact_lens = true};
    /* With few photos all of them show the mat, and every plate is seen from two sides; the seven
       of a phone's job go round the vehicle, so that no plate hangs on one photo. */
    if (!kind->is_phone) memcpy(so.scene.stations, STATIONS, sizeof STATIONS);
    so.scene.mat_x_mm = -(1200 + 500 + 800 * tr_random_uniform(&random));
    so.scene.mat_error[0] = 12 * tr_random_normal(&random);
    so.scene.mat_error[1] = 12 * tr_random_normal(&random);
    so.scene.mat_error[2] = 0.6 * TR_RAD_PER_DEG * tr_random_normal(&random);
    tr_imaging imaging = bench_imaging(kind->is_steep, seed);
    if (kind->is_phone) {
        so.n_photos = 7;
        so.noise.survey_sd_mm = SURVEY_SD_MM;
        so.noise.survey_scale_sd = SURVEY_SCALE_SD;
        so.noise.phone = tr_sim_phone_full(o->phone);
        imaging = bench_phone_imaging(o->phone, seed);
    }
    tr_sim sim;
    tr_error err = {0};
    rendering *r = calloc(1, sizeof *r);
    bool ok = false;
    tr_check check = {0};
    if (!r || !tr_simulate(&so, &sim, &err)) {
        free(r);
        return false;
    }
    if (kind->lens) sim.job.lenses[0] = *kind->lens;
    bench_scene_make(&sim, imaging, &r->stage);
    for (int i = 0; i < sim.check.set.n_photos; i++) {
        size_t size = strlen(folder) + 64;
        r->files[i] = malloc(size);
        if (!r->files[i]) goto out;
        snprintf(r->files[i], size, "%s/job%ld-%c-%d.jpg", folder, number, kind->letter, i + 1);
    }
    if (!bench_for_each(render_photo, r, sim.check.set.n_photos, o->n_threads, &err)) goto out;
    if (!tr_check_photos(&sim.job, r->files, sim.check.set.n_photos,
                         &(tr_workers){.n_threads = (int)o->n_threads}, &check, &err) ||
        !tr_check_evaluate(&sim.job, &check, &err)) {
        goto out;
    }
    double e[3];
    double u[3];
    for (int k = 0; k < 3; k++) {
        const tr_axis_result *a = &check.result.targets[0].axis[AXES[k]];
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
        t->within += fabs(e[k]) <= TR_COVERAGE_FACTOR * u[k];
    }
    t->n++;
    t->blocked += tr_findings_block_pass(&check.result.findings);
    t->sum_variance += check.result.variance_factor;
    print_job(number, &check, e, u);
    ok = true;
out:
    for (int i = 0; i < sim.check.set.n_photos; i++) {
        if (r->files[i] && !o->keep) unlink(r->files[i]);
        free(r->files[i]);
    }
    if (!ok) printf("  job %2ld: %s\n", number, err.text);
    tr_check_release(&check);
    tr_sim_release(&sim);
    free(r);
    return ok;
}

/* Prints the sums, and says whether they are as asked. */
static bool tell_sums(const tally *t, const double limit[3], bool is_phone) {
    bool is_good = true;
    for (int k = 0; k < 3 && t->n > 0; k++) {
        double rms = sqrt(t->sum_e2[k] / (double)t->n);
        double predicted = sqrt(t->sum_u2[k] / (double)t->n);
        printf("  %-7s rms %.4f (asked %g), worst %.4f, predicted %.4f, ratio %.2f (asked 1.5)\n",
               tr_axis_key(AXES[k]), rms, limit[k], t->worst[k], predicted, rms / predicted);
        is_good = is_good && rms <= limit[k] && rms <= 1.5 * predicted;
    }
    if (t->n > 0) printf("  mean variance factor %.2f\n", t->sum_variance / (double)t->n);
    if (!is_phone || t->n == 0) return is_good;
    printf(
        "  %ld of %ld errors within u95 (asked: 93 of 100), %ld of %ld jobs blocked (asked: 1 of "
        "100)\n",
        t->within, 3 * t->n, t->blocked, t->n);
    return is_good && 100 * t->within >= 93 * 3 * t->n && 100 * t->blocked <= t->n;
}

static bool run_kind(const bench_options *o, const photo_kind *kind, const char *folder,
                     const double limit[3]) {
    long jobs = o->jobs > 0 ? o->jobs : DEFAULT_JOBS;
    tally t = {0};
    bool is_good = true;
    printf("%s\n", kind->name);
    if (o->only >= 0) {
        is_good = run_job(o, o->only, kind, folder, &t);
    } else {
        for (long i = 0; i < jobs; i++) is_good = run_job(o, i, kind, folder, &t) && is_good;
    }
    return tell_sums(&t, limit, kind->is_phone) && is_good;
}

static bool run_phone(const bench_options *o, const char *folder) {
    static const double limit[3] = {0.3, 0.3, 0.01};
    static const double limit_from_photos[3] = {0.4, 0.4, 0.012};
    photo_kind kind = {.name = "as a phone takes them, 4032 x 3024, exact plates, sheets surveyed",
                       .letter = 'p',
                       .is_phone = true};
    tr_lens lens;
    tr_error err = {0};
    bool is_good = true;
    if (!o->has_lens_from_photos) return run_kind(o, &kind, folder, limit);
    if (!bench_phone_lens(o, folder, &lens, &is_good, &err)) {
        printf("  no lens: %s\n", err.text);
        return false;
    }
    kind.lens = &lens;
    return run_kind(o, &kind, folder, limit_from_photos) && is_good;
}

int bench_accuracy(const bench_options *o) {
    static const double limit[3] = {0.25, 0.25, 0.01};
    static const photo_kind kinds[2] = {
        {.name = "sRGB curve, 4032 x 3024, blur 0.7 px, noise sd 2, JPEG 90, exact plates and lens",
         .letter = 'r'},
        {.name = "S-curve and sharpening, 4032 x 3024, blur 0.7 px, noise sd 2, JPEG 90, exact "
                 "plates and lens",
         .letter = 's',
         .is_steep = true}};
    char folder[] = "/tmp/trammel-bench-XXXXXX";
    const char *where = o->keep ? o->keep : mkdtemp(folder);
    bool is_good = where != NULL;
    if (is_good && o->phone >= 0) {
        is_good = run_phone(o, where);
    } else {
        for (int i = 0; i < 2 && is_good; i++) is_good = run_kind(o, &kinds[i], where, limit);
    }
    if (!o->keep && where) rmdir(folder);
    printf("%s\n", is_good ? "as asked" : "NOT as asked");
    return is_good ? 0 : 1;
}
