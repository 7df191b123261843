#include "tools/bench/contender.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>

#include "base/file.h"
#include "check/check.h"
#include "marks/finder.h"
#include "present/picture.h"
#include "tools/bench/floor.h"
#include "tools/bench/reference.h"
#include "tools/bench/scene.h"
#include "vehicle/vehicle.h"

static const size_t MAX_BYTES = (size_t)400 << 20;

static int end(const bench_task *t, bool ok, const tr_error *err) {
    if (!ok) snprintf(t->result->error, sizeof t->result->error, "%.255s", err->text);
    return ok ? 0 : 1;
}

static double cpu_ms(void) {
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

bool bench_find_program(const bench_options *o, char *out, size_t size, tr_error *err) {
    const char *slash = strrchr(o->program_path, '/');
    int n = slash ? (int)(slash - o->program_path) : 1;
    snprintf(out, size, "%.*s/../trammel", n, slash ? o->program_path : ".");
    return access(out, X_OK) == 0 ||
           tr_fail(err, TR_NO_FILE, "'%s' is not there; build it first", out);
}

/* ---- the floor ---- */

static bool decode_one(void *context, int i, tr_error *err) {
    const bench_task *t = context;
    return bench_decode(t->files[i], err);
}

int bench_floor(void *task) {
    bench_task *t = task;
    tr_error err = {0};
    return end(t, bench_for_each(decode_one, t, t->n_files, t->n_threads, &err), &err);
}

/* ---- this program ---- */

static void take_check(const bench_task *t, const tr_check *check) {
    bench_result *r = t->result;
    const tr_axis axes[3] = {TR_X, TR_Y, TR_YAW};
    const tr_target_result *target = &check->result.targets[0];
    r->n_tags = 0;
    for (int i = 0; i < check->set.n_photos; i++) {
        const tr_photo_marks *marks = &check->set.photos[i].marks;
        for (int k = 0; k < marks->n_marks && r->n_tags < r->most_tags; k++) {
            const tr_mark *m = &marks->marks[k];
            if (m->kind != TR_MARK_TAG) continue;
            bench_tag *tag = &r->tags[r->n_tags++];
            *tag = (bench_tag){.photo = i, .sheet = m->sheet, .tag = m->index};
            memcpy(tag->corner_px, m->uv_px, sizeof tag->corner_px);
        }
    }
    r->is_placed = true;
    for (int k = 0; k < 3; k++) {
        r->placement[k] = target->axis[axes[k]].measured;
        r->is_placed = r->is_placed && target->axis[axes[k]].is_measured;
    }
}

int bench_ours(void *task) {
    bench_task *t = task;
    tr_error err = {0};
    tr_check check = {0};
    bool ok = tr_check_photos(t->job, t->files, t->n_files,
                              &(tr_workers){.n_threads = (int)t->n_threads}, &check, &err) &&
              tr_check_evaluate(t->job, &check, &err);
    if (ok) take_check(t, &check);
    tr_check_release(&check);
    return end(t, ok, &err);
}

/* Decoding and the search on the small image alone, of one photo. */
static bool time_photo(const bench_task *t, tr_marks_finder *finder, int i, tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    tr_image image = {0};
    tr_detections seen = {0};
    double begin = cpu_ms();
    bool ok = tr_file_read(t->files[i], MAX_BYTES, &data, &size, err) &&
              tr_image_decode(data, size, t->files[i], &image, err);
    t->result->stage_ms[STAGE_DECODE] += cpu_ms() - begin;
    begin = cpu_ms();
    ok = ok && tr_finder_see(finder, &image, tr_marks_quick_factor(&image), &seen, err);
    t->result->stage_ms[STAGE_FIND] += cpu_ms() - begin;
    free(seen.items);
    tr_image_release(&image);
    free(data);
    return ok;
}

int bench_ours_by_stage(void *task) {
    bench_task *t = task;
    double *ms = t->result->stage_ms;
    tr_error err = {0};
    tr_check check = {0};
    tr_marks_finder *finder = tr_marks_finder_new(t->job->sheets, t->job->n_sheets, &err);
    bool ok = finder != NULL;
    memset(ms, 0, sizeof t->result->stage_ms);
    for (int i = 0; i < t->n_files && ok; i++) ok = time_photo(t, finder, i, &err);
    double begin = cpu_ms();
    ok = ok &&
         tr_check_photos(t->job, t->files, t->n_files, &(tr_workers){.n_threads = 1}, &check, &err);
    /* All that is done with photos but for the two above: measuring, EXIF and SHA-256. */
    ms[STAGE_MEASURE] = cpu_ms() - begin - ms[STAGE_DECODE] - ms[STAGE_FIND];
    begin = cpu_ms();
    ok = ok && tr_check_evaluate(t->job, &check, &err);
    ms[STAGE_SOLVE] = cpu_ms() - begin;
    begin = cpu_ms();
    ok = ok && tr_check_finish(&check, NULL, &err) &&
         tr_picture_write(&check.result, &check.set, t->picture, &err);
    ms[STAGE_DRAW] = cpu_ms() - begin;
    tr_check_release(&check);
    tr_marks_finder_free(finder);
    return end(t, ok, &err);
}

/* ---- from tags to a placement with solvePnP, photo by photo ---- */

typedef struct {
    const bench_task *task;
    double lens[TR_LENS_N];
    bool has_sheet[BENCH_MAX_SHEETS];
    tr_pose world_from_sheet[BENCH_MAX_SHEETS]; /* the world is the mat's frame */
    bool *has_photo;
    double *xyz, *uv; /* room for all tags of a photo */
} chain;

/* Points of a photo's tags: of one sheet in its own frame, or (sheet -1) of all that have a place,
   in the world. */
static int gather(const chain *c, int photo, int sheet) {
    const bench_result *r = c->task->result;
    int n = 0;
    for (int i = 0; i < r->n_tags; i++) {
        const bench_tag *t = &r->tags[i];
        if (t->photo != photo || (sheet >= 0 ? t->sheet != sheet : !c->has_sheet[t->sheet])) {
            continue;
        }
        for (int k = 0; k < 4; k++, n++) {
            tr_vec2 m = tr_tag_corner(&c->task->job->sheets[t->sheet].tags[t->tag], k);
            tr_vec3 p = tr_v3(m.x, m.y, 0);
            if (sheet < 0) p = tr_pose_apply(c->world_from_sheet[t->sheet], p);
            c->xyz[3 * n] = p.x;
            c->xyz[3 * n + 1] = p.y;
            c->xyz[3 * n + 2] = p.z;
            c->uv[2 * n] = t->corner_px[k].x;
            c->uv[2 * n + 1] = t->corner_px[k].y;
        }
    }
    return n;
}

static bool solve_pnp(const chain *c, int photo, int sheet, tr_pose *camera_from) {
    int n = gather(c, photo, sheet);
    double R[9];
    double t[3];
    if (n < 4 || !ref_solve_pnp(c->xyz, c->uv, n, c->lens, R, t)) return false;
    memcpy(camera_from->R.m, R, sizeof R);
    camera_from->t_mm = tr_v3(t[0], t[1], t[2]);
    return true;
}

/* The photo not yet used that shows the most of what has a place; -1: none does. */
static int next_photo(const chain *c) {
    int best = -1;
    int most = 0;
    for (int i = 0; i < c->task->n_files; i++) {
        int n = c->has_photo[i] ? 0 : gather(c, i, -1);
        if (n > most) {
            most = n;
            best = i;
        }
    }
    return best;
}

static void extend(chain *c, int photo) {
    tr_pose camera_from_world;
    c->has_photo[photo] = true;
    if (!solve_pnp(c, photo, -1, &camera_from_world)) return;
    for (int k = 0; k < c->task->job->n_sheets; k++) {
        tr_pose camera_from_sheet;
        if (c->has_sheet[k] || !solve_pnp(c, photo, k, &camera_from_sheet)) continue;
        c->world_from_sheet[k] = tr_pose_mul(tr_pose_inverse(camera_from_world), camera_from_sheet);
        c->has_sheet[k] = true;
    }
}

static bool place_by_chain(const bench_task *t, tr_error *err) {
    const tr_job *job = t->job;
    size_t points = 4 * (size_t)t->result->most_tags;
    chain c = {.task = t,
               .has_photo = calloc((size_t)t->n_files, sizeof *c.has_photo),
               .xyz = malloc(3 * points * sizeof *c.xyz),
               .uv = malloc(2 * points * sizeof *c.uv)};
    bool ok = c.has_photo && c.xyz && c.uv;
    tr_vec3 point[TR_N_POINTS] = {{0}};
    bool is_there[TR_N_POINTS] = {false};
    tr_vehicle vehicle;
    memcpy(c.lens, job->lenses[0].param, sizeof c.lens);
    c.has_sheet[0] = true;
    c.world_from_sheet[0] = tr_pose_identity();
    for (int i = ok ? next_photo(&c) : -1; i >= 0; i = next_photo(&c)) extend(&c, i);
    for (int k = 0; k < job->n_references; k++) {
        const tr_reference *r = &job->references[k];
        is_there[r->point] = c.has_sheet[r->sheet];
        point[r->point] =
            tr_pose_apply(c.world_from_sheet[r->sheet], tr_v3(r->at_mm.x, r->at_mm.y, 0));
    }
    t->result->is_placed = ok && tr_vehicle_of_points(point, is_there, job->layout.axes, &vehicle);
    if (t->result->is_placed) {
        double value[TR_N_AXES];
        tr_placement_of(vehicle.vehicle_from_world, false, value);
        t->result->placement[0] = value[TR_X];
        t->result->placement[1] = value[TR_Y];
        t->result->placement[2] = value[TR_YAW];
    }
    free(c.has_photo);
    free(c.xyz);
    free(c.uv);
    return ok || tr_fail_memory(err);
}

/* ---- the libraries' detectors ---- */

typedef struct {
    bench_task *task;
    pthread_mutex_t mutex; /* guards the result */
} detection;

typedef struct {
    detection *d;
    int photo;
} detection_in_photo;

/* uv in our convention. */
static void add_tag(void *context, int id, const double uv[8]) {
    const detection_in_photo *p = context;
    const tr_job *job = p->d->task->job;
    bench_result *r = p->d->task->result;
    pthread_mutex_lock(&p->d->mutex);
    for (int s = 0; s < job->n_sheets; s++) {
        for (int k = 0; k < job->sheets[s].n_tags && r->n_tags < r->most_tags; k++) {
            if (job->sheets[s].tags[k].id != id) continue;
            bench_tag *t = &r->tags[r->n_tags++];
            *t = (bench_tag){.photo = p->photo, .sheet = s, .tag = k};
            for (int c = 0; c < 4; c++) t->corner_px[c] = tr_v2(uv[2 * c], uv[2 * c + 1]);
        }
    }
    pthread_mutex_unlock(&p->d->mutex);
}

static bool read_image(const char *path, tr_image *image, tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    bool ok = tr_file_read(path, MAX_BYTES, &data, &size, err) &&
              tr_image_decode(data, size, path, image, err);
    free(data);
    return ok;
}

static bool see_tags(void *context, int i, tr_error *err) {
    detection *d = context;
    detection_in_photo p = {d, i};
    tr_image image;
    if (!read_image(d->task->files[i], &image, err)) return false;
    apriltag_family_t *family = tag36h11_create();
    apriltag_detector_t *detector = apriltag_detector_create();
    apriltag_detector_add_family(detector, family);
    detector->nthreads = 1;
    detector->quad_decimate = 1;
    image_u8_t view = {
        .width = image.width, .height = image.height, .stride = image.width, .buf = image.px};
    zarray_t *found = apriltag_detector_detect(detector, &view);
    for (int k = 0; k < zarray_size(found); k++) {
        apriltag_detection_t *t;
        double uv[8];
        zarray_get(found, k, &t);
        for (int c = 0; c < 8; c++) uv[c] = t->p[c / 2][c % 2] - 0.5; /* to ours */
        add_tag(&p, t->id, uv);
    }
    apriltag_detections_destroy(found);
    apriltag_detector_destroy(detector);
    tag36h11_destroy(family);
    tr_image_release(&image);
    return true;
}

static bool see_markers(void *context, int i, tr_error *err) {
    detection *d = context;
    detection_in_photo p = {d, i};
    return ref_detect_markers(d->task->files[i], add_tag, &p) ||
           tr_fail(err, TR_NO_MEASURE, "OpenCV could not read or search '%.100s'",
                   d->task->files[i]);
}

static int detect(bench_task *t, bench_photo see, long n_threads) {
    detection d = {.task = t};
    tr_error err = {0};
    ref_settle((int)(n_threads == 1 ? t->n_threads : 1));
    t->result->n_tags = 0;
    pthread_mutex_init(&d.mutex, NULL);
    bool ok = bench_for_each(see, &d, t->n_files, n_threads, &err) && place_by_chain(t, &err);
    pthread_mutex_destroy(&d.mutex);
    return end(t, ok, &err);
}

int bench_apriltag(void *task) {
    bench_task *t = task;
    return detect(t, see_tags, t->n_threads);
}

int bench_markers(void *task) {
    bench_task *t = task;
    return detect(t, see_markers, t->n_threads);
}

int bench_markers_alone(void *task) {
    return detect(task, see_markers, 1);
}
