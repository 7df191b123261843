/* Does anything false pass? Thousands of jobs with simulated marks and some hundreds of rendered
   ones, each with one or two faults (faults.c) and a mat that truly lies within its limits, at
   their edge or outside; what a false pass is stands in trap.h. Tells per fault what became of its
   jobs, and every false pass with the number by which --only makes it again. Exits 1 where there
   is one, and where so few pass that the program would be of no use. */
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/parallel.h"
#include "tools/campaign/options.h"
#include "tools/campaign/trap.h"

enum { MAX_FAULTS = 64, MAX_UNSEEN = 16, MAX_TOLD = 200 };
enum {
    MARK_JOBS = 10000,
    RENDERED_JOBS = 300,
    WHEEL_JOBS = 1000,
    BARE_JOBS = 1000,
    JOBS_AN_UNSEEN = 100
};
/* Of so many jobs at least this part passes, and at most that is not measured: 9 and 3 of 100 are
   usual, since every job has a fault. */
static const double ENOUGH_JOBS = 200;
static const double LEAST_PASSES = 0.06;
static const double MOST_NONE = 0.06;

typedef struct {
    long jobs, pass, fail, inconclusive, none, blocked, false_passes;
} counts;

typedef struct {
    counts all, fault[MAX_FAULTS], unseen[MAX_UNSEEN];
    long not_made;
} tally;

/* Work that the threads share, job by job. */
typedef struct {
    const campaign_options *options;
    const char *folder;
    bool is_rendered;
    long n_jobs, n_unseen; /* the latter for each kind */
    pthread_mutex_t mutex; /* guards all below */
    tally tally;
    int n_told;
} campaign;

static void count(counts *c, const trap_result *r) {
    c->jobs++;
    c->pass += r->is_measured && r->verdict == TR_PASS;
    c->fail += r->is_measured && r->verdict == TR_FAIL;
    c->inconclusive += r->is_measured && r->verdict == TR_INCONCLUSIVE;
    c->none += !r->is_measured;
    c->blocked += r->is_blocked;
    c->false_passes += r->false_because[0] != 0;
}

static void tell_false_pass(campaign *c, const trap *t, const trap_result *r) {
    if (!r->false_because[0] || c->n_told++ >= MAX_TOLD) return;
    printf("FALSE PASS --only %ld:", t->number);
    for (int i = 0; i < t->n_faults; i++) {
        printf("%s %s", i > 0 ? " and" : "", TRAP_FAULTS[t->faults[i]].name);
    }
    printf(": %s\n", r->false_because);
    fflush(stdout);
}

static trap draw(const campaign *c, long i, int *unseen) {
    *unseen = i < c->n_jobs ? -1 : (int)((i - c->n_jobs) / c->n_unseen);
    long number = trap_number(c->options->seed, i, c->is_rendered);
    trap t = *unseen < 0 ? trap_draw(number) : trap_draw_unseen(number, *unseen);
    t.sim.noise.phone = t.other.noise.phone = c->options->phone;
    return t;
}

static bool run_item(void *task, void *own, int item, tr_error *err) {
    (void)own;
    (void)err;
    campaign *c = task;
    int unseen;
    trap t = draw(c, item, &unseen);
    trap_result r;
    tr_error why = {0};
    bool is_made = trap_run(&t, c->folder, false, NULL, &r, &why);
    pthread_mutex_lock(&c->mutex);
    if (!is_made) {
        c->tally.not_made++;
        fprintf(stderr, "campaign: job %ld could not be made: %s\n", t.number, why.text);
    } else if (unseen >= 0) {
        count(&c->tally.unseen[unseen], &r);
    } else {
        count(&c->tally.all, &r);
        for (int k = 0; k < t.n_faults; k++) count(&c->tally.fault[t.faults[k]], &r);
        tell_false_pass(c, &t, &r);
    }
    pthread_mutex_unlock(&c->mutex);
    return true;
}

static bool run_all(campaign *c) {
    tr_parallel_work w = {.n_items = (int)(c->n_jobs + c->n_unseen * TRAP_N_UNSEEN),
                          .workers.n_threads = (int)c->options->n_threads,
                          .work = run_item,
                          .task = c};
    if (pthread_mutex_init(&c->mutex, NULL) != 0) return false;
    bool ok = tr_parallel(&w, NULL);
    pthread_mutex_destroy(&c->mutex);
    return ok && c->tally.not_made == 0;
}

/* Whether the jobs that may pass still do: a program that refuses all has no false pass either.
   Few jobs tell little of it. */
static bool is_of_use(const campaign *c) {
    const counts *all = &c->tally.all;
    double n = (double)all->jobs;
    if (n < ENOUGH_JOBS) return true;
    bool is = (double)all->pass >= LEAST_PASSES * n && (double)all->none <= MOST_NONE * n;
    if (!is) {
        printf("of %ld jobs %ld passed and %ld were not measured (asked: at least %.0f %%, at most "
               "%.0f %%)\n",
               all->jobs, all->pass, all->none, 100 * LEAST_PASSES, 100 * MOST_NONE);
    }
    return is;
}

static void print_row(const char *name, const counts *c) {
    printf("%-34s %6ld %6ld %6ld %6ld %6ld   %5.1f %% %6ld\n", name, c->jobs, c->pass, c->fail,
           c->inconclusive, c->none, c->jobs > 0 ? 100.0 * (double)c->blocked / (double)c->jobs : 0,
           c->false_passes);
}

static void print_table(const campaign *c) {
    printf("\n%-34s %6s %6s %6s %6s %6s   %7s %6s\n",
           c->is_rendered ? "rendered jobs with" : "jobs of simulated marks with", "jobs", "pass",
           "fail", "incon.", "none", "warned", "false");
    for (int i = 0; i < TRAP_N_FAULTS; i++) {
        if (c->tally.fault[i].jobs > 0) print_row(TRAP_FAULTS[i].name, &c->tally.fault[i]);
    }
    print_row("in all (each job once)", &c->tally.all);
    for (int i = 0; i < TRAP_N_UNSEEN; i++) {
        const counts *u = &c->tally.unseen[i];
        if (u->jobs == 0) continue;
        printf("cannot be seen: %s. %ld of %ld such jobs passed, %ld of them wrongly.\n",
               TRAP_UNSEEN[i].sentence, u->pass, u->jobs, u->false_passes);
    }
    fflush(stdout);
}

static int tell_one(const campaign_options *o, const char *folder) {
    trap t = trap_draw(o->only);
    t.sim.noise.phone = t.other.noise.phone = o->phone;
    trap_result r;
    tr_error err = {0};
    if (!trap_run(&t, folder, o->keep != NULL, stdout, &r, &err)) {
        fprintf(stderr, "campaign: %s\n", err.text);
        return 1;
    }
    return r.false_because[0] ? 1 : 0;
}

int campaign_traps(const campaign_options *o) {
    char temporary[] = "/tmp/trammel-traps-XXXXXX";
    const char *folder = o->keep ? o->keep : mkdtemp(temporary);
    if (!folder || TRAP_N_FAULTS > MAX_FAULTS || TRAP_N_UNSEEN > MAX_UNSEEN) return 1;
    int status = 0;
    if (o->only >= 0) {
        status = tell_one(o, folder);
    } else {
        long false_passes = 0;
        long jobs = 0;
        for (int is_rendered = 0; is_rendered < 2; is_rendered++) {
            campaign c = {.options = o, .folder = folder, .is_rendered = is_rendered};
            long asked = is_rendered ? o->rendered : o->jobs;
            c.n_jobs = asked >= 0 ? asked : is_rendered ? RENDERED_JOBS : MARK_JOBS;
            c.n_unseen = is_rendered || c.n_jobs == 0 ? 0 : JOBS_AN_UNSEEN;
            if (c.n_jobs == 0) continue;
            if (!run_all(&c)) status = 1;
            print_table(&c);
            false_passes += c.tally.all.false_passes;
            jobs += c.tally.all.jobs;
            if (!is_of_use(&c)) status = 1;
        }
        long wheels = o->wheels >= 0 ? o->wheels : WHEEL_JOBS;
        if (wheels > 0 && !campaign_wheel_traps(o, wheels, &false_passes)) status = 1;
        long bare = o->bare >= 0 ? o->bare : BARE_JOBS;
        if (bare > 0 && !campaign_bare_traps(o, folder, bare, bare / 10, &false_passes)) status = 1;
        jobs += wheels + bare;
        printf("%ld false passes\n", false_passes);
        if (false_passes > 0 || jobs == 0) status = 1;
    }
    if (!o->keep) rmdir(folder);
    return status;
}
