/* trammel plan: what a check will be worth, and from where to take its photos. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "plan/plan.h"
#include "plan/stations.h"
#include "present/plan_json.h"
#include "present/plan_picture.h"
#include "present/plan_text.h"
#include "shop/shop.h"

/* ---- What was asked ---- */

typedef struct {
    const char *name; /* of the job, as it was given */
    char *job;        /* its file; owned */
    const char *stations, *picture;
    char **photos; /* words of argv, or: */
    int n_photos;
    char **of_shop; /* photos of the job's folder in the shop; owned */
    int n_of_shop;
    long n_threads; /* 0: one a processor */
    bool is_after, is_json, is_help;
} request;

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *threads = NULL;
    const tr_option options[] = {{"--stations", &r->stations, NULL},
                                 {"--picture", &r->picture, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--after", NULL, &r->is_after},
                                 {"--json", NULL, &r->is_json}};
    int n;
    if (!tr_options_parse(&tr_help_plan, argc, argv, options, sizeof options / sizeof *options, &n,
                          &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (r->picture && !tr_options_ends_in(r->picture, ".png")) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--picture %.200s': the picture is a PNG; give it a name in .png",
                       r->picture);
    }
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "no job file is named");
    r->name = argv[1];
    r->photos = argv + 2;
    r->n_photos = n - 1;
    if (r->n_photos > 0 && !r->is_after) {
        return tr_fail(err, TR_BAD_INPUT, "'%.80s' is one word too many; photos are for --after",
                       argv[2]);
    }
    return tr_options_threads(threads, &r->n_threads, err);
}

static bool is_picture_an_input(const request *r, const tr_job *job) {
    char *const *photos = r->n_photos > 0 ? r->photos : job->photos;
    int n_photos = r->n_photos > 0 ? r->n_photos : job->n_photos;
    if (!r->picture) return false;
    bool is_input = (r->job && tr_file_is_same(r->picture, r->job)) ||
                    (r->stations && tr_file_is_same(r->picture, r->stations));
    for (int i = 0; i < n_photos; i++) {
        is_input = is_input || tr_file_is_same(r->picture, photos[i]);
    }
    return is_input;
}

/* ---- The plan ---- */

/* A check of the photos that are there. One that comes to no measurement has no places to start
   from. */
static bool measure(const request *r, const tr_job *job, tr_check *check, tr_error *err) {
    char *const *photos = r->n_photos > 0 ? r->photos : job->photos;
    int n_photos = r->n_photos > 0 ? r->n_photos : job->n_photos;
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    return tr_check_photos(job, photos, n_photos, &workers, check, err) &&
           tr_check_evaluate(job, check, err) && tr_check_finish(check, NULL, err);
}

static bool find_plan(const request *r, const tr_plan_scene *scene, const tr_check *check,
                      tr_plan *out, tr_error *err) {
    const tr_workers workers = {.n_threads = (int)r->n_threads};
    tr_station *stations = NULL;
    int n = 0;
    if (!r->stations) {
        return check ? tr_plan_further(scene, check, &workers, out, err)
                     : tr_plan_propose(scene, &workers, out, err);
    }
    bool ok = tr_stations_read(r->stations, tr_plan_positions(scene), &stations, &n, err) &&
              (check ? tr_plan_predict_after(scene, check, stations, n, out, err)
                     : tr_plan_predict(scene, stations, n, out, err));
    free(stations);
    return ok;
}

/* ---- Output ---- */

static bool print_plan(const request *r, const tr_plan_report *report, const tr_error *why,
                       tr_error *err) {
    if (r->is_json) return tr_output_json(tr_plan_json(report, why), err);
    if (why->code == TR_OK) tr_plan_text(report, stdout);
    return tr_output_end(err);
}

static bool write_picture(const request *r, const tr_plan_report *report, tr_error *err) {
    if (!r->picture) return true;
    tr_plan_picture_writer *write =
        (tr_plan_picture_writer *)tr_module_function("picture", "tr_plan_picture_write", err);
    return write && write(report, r->picture, err);
}

/* A plan whose photos would measure nothing is one that does not reach its aim. */
static int show(const request *r, const tr_plan_report *report, const tr_error *why) {
    int status = report->plan->reaches_aim ? TR_EXIT_PASS : TR_EXIT_INCONCLUSIVE;
    tr_error unwritten[2] = {{0}, {0}};
    if (why->code != TR_OK) {
        tr_options_print_error("plan", why);
        status = TR_EXIT_NO_MEASURE;
    }
    if (!print_plan(r, report, why, &unwritten[0])) {
        tr_options_print_error("plan", &unwritten[0]);
        status = TR_EXIT_NO_MEASURE;
    }
    if (why->code == TR_OK && !write_picture(r, report, &unwritten[1])) {
        tr_options_print_error("plan", &unwritten[1]);
        status = TR_EXIT_NO_MEASURE;
    }
    return status;
}

/* Of a job that lists no photos, those of its folder in the shop. */
static bool add_photos_of_shop(request *r, const tr_job *job, tr_error *err) {
    if (!r->is_after || r->n_photos > 0 || job->n_photos > 0) return true;
    return tr_shop_photos_of(r->job, &r->of_shop, &r->n_of_shop, err);
}

/* why: set already where the job's file could not be found. */
static int run_request(request *r, tr_error why) {
    tr_job job = {0};
    tr_check check = {0};
    tr_plan_scene scene = {0};
    tr_plan plan = {0};
    bool ok = r->job && tr_job_read(r->job, &job, &why) && add_photos_of_shop(r, &job, &why);
    if (r->n_of_shop > 0) {
        r->photos = r->of_shop;
        r->n_photos = r->n_of_shop;
    }
    if (is_picture_an_input(r, &job)) {
        tr_error usage = {0};
        (void)tr_fail(&usage, TR_BAD_INPUT, "the picture would replace one of the input files");
        tr_job_release(&job);
        return tr_options_refuse(&tr_help_plan, &usage);
    }
    ok = ok && tr_plan_scene_init(&job, &scene, &why);
    if (ok && r->is_after) {
        ok = measure(r, &job, &check, &why);
        if (ok) tr_plan_scene_measured(&scene, &check.result);
    }
    ok = ok && find_plan(r, &scene, r->is_after ? &check : NULL, &plan, &why);
    if (!ok) tr_fail(&why, TR_NO_MEASURE, "the plan could not be made"); /* unless it is told why */
    const tr_plan_report report = {&plan, !r->stations, r->is_after ? &check.result : NULL};
    int status = show(r, &report, &why);
    tr_plan_release(&plan);
    tr_plan_scene_release(&scene);
    tr_check_release(&check);
    tr_job_release(&job);
    return status;
}

int tr_cmd_plan(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_plan, &err);
    if (r.is_help) return tr_options_help(&tr_help_plan);
    tr_error why = {0};
    r.job = tr_shop_named(TR_SHOP_JOBS, r.name, &why);
    int status = run_request(&r, why);
    tr_shop_photos_release(r.of_shop, r.n_of_shop);
    free(r.job);
    return status;
}
