/* Targets without tags: mats that pointers tell (simulated marks), and mats that are found by their
   own printed pattern (rendered photos). Of each kind of job none may pass wrongly: with a mat that
   truly lies outside a limit by more than u95, or with a value that is off what was laid by more
   than 2 u95 + 0.3 mm (0.02 degrees). */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/parallel.h"
#include "tools/campaign/options.h"
#include "tools/campaign/trap.h"

static const tr_axis AXES[3] = {TR_X, TR_Y, TR_YAW};

typedef struct {
    const char *name;
    void (*set)(trap *t, tr_random *r);
} kind;

static double between(tr_random *r, double low, double high) {
    return low + (high - low) * tr_random_uniform(r);
}
static int any_of(tr_random *r, int n) {
    return (int)(n * tr_random_uniform(r)) % n;
}
static tr_vec2 any_way(tr_random *r, double length) {
    double a = between(r, 0, 2 * TR_PI);
    return tr_v2(length * cos(a), length * sin(a));
}

/* Within the limits, at their edge, or outside. */
static void lay_mat(tr_sim_scene *s, tr_random *r) {
    static const double LIMIT[3] = {10, 10, 0.5 * TR_RAD_PER_DEG};
    for (int k = 0; k < 3; k++) s->mat_error[k] = LIMIT[k] * between(r, -0.7, 0.7);
    if (tr_random_uniform(r) < 0.5) {
        int k = any_of(r, 3);
        s->mat_error[k] = LIMIT[k] * (tr_random_uniform(r) < 0.5 ? -1 : 1) * between(r, 0.8, 3);
    }
}

/* ---- by pointers ---- */

static void set_honest(trap *t, tr_random *r) {
    (void)t;
    (void)r;
}

static void point_in_order(trap *t) {
    t->sim.faults.has_pointer_at = true;
    for (int i = 0; i < TR_SIM_MAX_POINTERS; i++) t->sim.faults.pointer_at[i] = i;
}

static void set_wrong_corner(trap *t, tr_random *r) {
    int i = any_of(r, t->sim.scene.n_pointers);
    point_in_order(t);
    t->sim.faults.pointer_at[i] = (i + 1 + any_of(r, 3)) % TR_SIM_MAX_POINTERS;
}

static void set_exchanged(trap *t, tr_random *r) {
    int n = t->sim.scene.n_pointers;
    int a = any_of(r, n);
    int b = (a + 1 + any_of(r, n - 1)) % n;
    point_in_order(t);
    t->sim.faults.pointer_at[a] = b;
    t->sim.faults.pointer_at[b] = a;
}

static void set_off(trap *t, tr_random *r) {
    t->sim.faults.pointer_off_mm[any_of(r, t->sim.scene.n_pointers)] =
        any_way(r, between(r, 3, 80));
}

/* The feet of what carries the target are marked instead of its corners: nearer to each other, and
   all of them aside. */
static void set_at_feet(trap *t, tr_random *r) {
    double part = between(r, 0.6, 0.95);
    tr_vec2 aside = any_way(r, between(r, 0, 150));
    for (int i = 0; i < t->sim.scene.n_pointers; i++) {
        /* The mat lies turned by a quarter in the vehicle's frame. */
        tr_vec2 c = tr_sim_mat_corner(i);
        t->sim.faults.pointer_off_mm[i] =
            tr_v2_add(aside, tr_v2((part - 1) * c.y, -(part - 1) * c.x));
    }
}

static void set_plates_exchanged(trap *t, tr_random *r) {
    (void)r;
    t->sim.faults.has_plate_at = true;
    for (int i = 0; i < TR_N_POINTS; i++) t->sim.faults.plate_at[i] = (tr_wheel_point)i;
    t->sim.faults.plate_at[TR_REAR_LEFT] = TR_REAR_RIGHT;
    t->sim.faults.plate_at[TR_REAR_RIGHT] = TR_REAR_LEFT;
}

static const kind POINTED[] = {{"pointers, honest", set_honest},
                               {"pointer at another corner", set_wrong_corner},
                               {"pointers exchanged", set_exchanged},
                               {"pointer off its point", set_off},
                               {"pointers at the feet instead", set_at_feet},
                               {"rear plates exchanged, pointers", set_plates_exchanged}};
enum { N_POINTED = sizeof POINTED / sizeof *POINTED };

/* ---- by artwork ---- */

/* Off by a whole step of the pattern, along either side or both, on top of a small error. */
static void set_period(trap *t, tr_random *r) {
    double step = tr_sim_pattern_step(t->sim.scene.artwork);
    double *e = t->sim.scene.mat_error;
    int way = any_of(r, 3);
    if (way != 1) e[0] += tr_random_uniform(r) < 0.5 ? step : -step;
    if (way != 0) e[1] += tr_random_uniform(r) < 0.5 ? step : -step;
}

/* Something lies over one side of the pattern, so that its border is not seen. */
static void cover(trap *t, tr_random *r) {
    double across = between(r, 250, 500);
    bool is_left = tr_random_uniform(r) < 0.5;
    t->has_cover = true;
    t->cover = (tr_solid){.outline_xz_mm = {{-2600, 0}, {-1000, 0}, {-1000, 4}, {-2600, 4}},
                          .n_outline = 4,
                          .y_mm = {is_left ? 800 - across : -1100, is_left ? 1100 : across - 800},
                          .reflectance = 0.25};
}

static void set_covered_period(trap *t, tr_random *r) {
    set_period(t, r);
    cover(t, r);
}

static const kind ARTWORK[] = {{"pattern, honest", set_honest},
                               {"mat off by a step of its pattern", set_period},
                               {"pattern's border covered", cover},
                               {"off by a step, border covered", set_covered_period}};
enum { N_ARTWORK = sizeof ARTWORK / sizeof *ARTWORK };

/* ---- a job ---- */

typedef struct {
    const campaign_options *options;
    const char *folder;
    const kind *kinds;
    int n_kinds;
    bool is_rendered;
    trap_result *of_job;
} campaign;

static void draw_looks(trap *t, uint64_t seed, tr_random *r) {
    for (int i = 0; i < t->sim.n_photos; i++) {
        tr_imaging *m = &t->look[i].imaging;
        *m = tr_imaging_plain();
        m->blur_px[0] = m->blur_px[1] = between(r, 0.6, 0.9);
        m->tone = TR_TONE_SRGB;
        m->sharpen = between(r, 0, 0.8);
        m->sharpen_radius_px = 1;
        m->noise_sd = between(r, 1.5, 3);
        m->jpeg_quality = 90;
        m->seed = seed * 16 + (uint64_t)i + 1;
    }
}

static trap draw(const campaign *c, int item) {
    uint64_t seed = (uint64_t)(c->options->seed * 1000003 + 700000 + item);
    tr_random r = tr_random_seed(seed ^ 0xBA2E);
    trap t = {.number = item};
    t.sim = (tr_sim_options){.seed = seed,
                             .n_photos = c->is_rendered ? 5 : 7 + any_of(&r, 3),
                             .noise = {.marks = 1,
                                       .reference_sd_mm = 1,
                                       .pointer_sd_mm = between(&r, 0.5, 2),
                                       .draws_lens = true,
                                       .draws_prints = true,
                                       .phone = c->options->phone}};
    tr_sim_scene *s = &t.sim.scene;
    lay_mat(s, &r);
    if (c->is_rendered) {
        s->artwork = tr_random_uniform(&r) < 0.5 ? TR_SIM_CORNERS : TR_SIM_DISCS;
        s->within_mm = 300;
        s->image_px = tr_v2(2016, 1512);
        s->plate_part = 2;
        s->has_no_body = true;
        draw_looks(&t, seed, &r);
    } else {
        s->n_pointers = 2 + any_of(&r, 3);
    }
    c->kinds[item % c->n_kinds].set(&t, &r);
    return t;
}

static void judge(const tr_sim *sim, const tr_check *check, char *why, size_t size) {
    if (check->result.verdict != TR_PASS) return;
    for (int k = 0; k < 3; k++) {
        const tr_axis_result *a = &check->result.targets[0].axis[AXES[k]];
        bool is_angle = tr_axis_is_angle(AXES[k]);
        double unit = is_angle ? TR_DEG_PER_RAD : 1;
        double slack = is_angle ? 0.02 * TR_RAD_PER_DEG : 0.3;
        double outside = fabs(sim->truth[k] - a->required) - a->limit;
        double off = fabs(a->measured - sim->as_laid[0][0][k]);
        if (outside > a->u95 || off > 2 * a->u95 + slack) {
            snprintf(why, size, "%s truly %.3f outside its limit, %.3f off, u95 %.3f",
                     tr_axis_key(AXES[k]), outside * unit, off * unit, a->u95 * unit);
            return;
        }
    }
}

static bool take_photos(const campaign *c, const trap *t, const tr_sim *sim, tr_check *check,
                        tr_error *err) {
    char path[TR_SIM_MAX_PHOTOS][256];
    char *files[TR_SIM_MAX_PHOTOS];
    for (int i = 0; i < t->sim.n_photos; i++) {
        snprintf(path[i], sizeof path[i], "%s/bare-%ld-%d.jpg", c->folder, t->number, i + 1);
        files[i] = path[i];
    }
    bool ok = trap_render(t, sim, NULL, files, t->sim.n_photos, err) &&
              tr_check_photos(&sim->job, files, t->sim.n_photos, &(tr_workers){.n_threads = 1},
                              check, err);
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (!c->options->keep) unlink(files[i]);
    }
    return ok;
}

/* Of each job whose photos are kept. */
static void tell(const tr_sim *sim, const tr_check *check, int item) {
    const tr_findings *f = &check->result.findings;
    for (int k = 0; k < 3; k++) {
        const tr_axis_result *a = &check->result.targets[0].axis[AXES[k]];
        double unit = tr_axis_is_angle(AXES[k]) ? TR_DEG_PER_RAD : 1;
        printf("job %d, %s: true %.4f laid %.4f measured %.4f u95 %.4f\n", item,
               tr_axis_key(AXES[k]), sim->truth[k] * unit, sim->as_laid[0][0][k] * unit,
               a->measured * unit, a->u95 * unit);
    }
    const tr_artwork *artwork = &check->artwork[TR_SIM_MAT];
    if (artwork->is_sought) {
        printf("  pattern: %d marks match, %d are missing, %d match a rival, chi2 %.2f\n",
               artwork->place.n_matched, artwork->place.n_missing, artwork->place.n_rival,
               artwork->place.chi2);
    }
    for (int k = 0; k < f->n; k++) printf("  %s\n", tr_finding_name(f->items[k].kind));
}

static bool run_item(void *task, void *own, int item, tr_error *err) {
    (void)own;
    campaign *c = task;
    trap t = draw(c, item);
    trap_result *r = &c->of_job[item];
    tr_sim sim;
    tr_check rendered = {0};
    tr_error why = {0};
    bool ok = tr_simulate(&t.sim, &sim, err);
    tr_check *check = c->is_rendered ? &rendered : &sim.check;
    if (ok && c->is_rendered) ok = take_photos(c, &t, &sim, &rendered, err);
    r->is_measured = ok && tr_check_evaluate(&sim.job, check, &why);
    r->verdict = check->result.verdict;
    r->is_blocked = tr_findings_block_pass(&check->result.findings);
    if (r->is_measured) judge(&sim, check, r->false_because, sizeof r->false_because);
    if (c->options->keep && r->is_measured) tell(&sim, check, item);
    tr_check_release(&rendered);
    tr_sim_release(&sim);
    return ok;
}

static long print_kind(const campaign *c, int k, long jobs) {
    long n = 0;
    long n_of[4] = {0}; /* pass, fail, inconclusive, none */
    long n_blocked = 0;
    long n_false = 0;
    for (long i = k; i < jobs; i += c->n_kinds) {
        const trap_result *r = &c->of_job[i];
        n++;
        n_of[r->is_measured ? (int)r->verdict : 3]++;
        n_blocked += r->is_blocked;
        if (!r->false_because[0]) continue;
        n_false++;
        printf("FALSE PASS: %s, job %ld: %s\n", c->kinds[k].name, i, r->false_because);
    }
    printf("%-34s %6ld %6ld %6ld %6ld %6ld   %5.1f %% %6ld\n", c->kinds[k].name, n, n_of[TR_PASS],
           n_of[TR_FAIL], n_of[TR_INCONCLUSIVE], n_of[3],
           n > 0 ? 100.0 * (double)n_blocked / (double)n : 0, n_false);
    return n_false;
}

static bool run(campaign *c, long jobs, long *false_passes) {
    c->of_job = calloc((size_t)jobs + 1, sizeof *c->of_job);
    tr_parallel_work w = {.n_items = (int)jobs,
                          .workers.n_threads = (int)c->options->n_threads,
                          .work = run_item,
                          .task = c};
    tr_error err = {0};
    bool ok = c->of_job && tr_parallel(&w, &err);
    if (!ok) fprintf(stderr, "campaign: %s\n", c->of_job ? err.text : "memory ran out");
    if (ok) {
        printf("\n%-34s %6s %6s %6s %6s %6s   %7s %6s\n", "jobs of targets without tags", "jobs",
               "pass", "fail", "incon.", "none", "warned", "false");
    }
    for (int k = 0; k < c->n_kinds && ok; k++) *false_passes += print_kind(c, k, jobs);
    free(c->of_job);
    return ok;
}

bool campaign_bare_traps(const campaign_options *options, const char *folder, long jobs,
                         long rendered, long *false_passes) {
    campaign pointed = {
        .options = options, .folder = folder, .kinds = POINTED, .n_kinds = N_POINTED};
    campaign artwork = {.options = options,
                        .folder = folder,
                        .kinds = ARTWORK,
                        .n_kinds = N_ARTWORK,
                        .is_rendered = true};
    return (jobs == 0 || run(&pointed, jobs, false_passes)) &&
           (rendered == 0 || run(&artwork, rendered, false_passes));
}
