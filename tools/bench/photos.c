/* This program beside what can be put together from general libraries, on the same rendered photos,
   in one run: time, memory, tags found of those that are visible, their error in pixels, the error
   of the mat's placement. Contenders take turns; times are medians of the rounds.

   The scene is the simulated job's, photographed on a walk around the vehicle, with small plates
   laid out over the floor around it: many of them are seen from 5 m at 20 degrees above the floor.
   Of more than eight photos the further ones are the same views with other noise. */
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tools/bench/bench.h"
#include "tools/bench/contender.h"
#include "tools/bench/files.h"
#include "tools/bench/process.h"
#include "tools/bench/reference.h"
#include "tools/bench/scene.h"
#include "tools/render/colour_jpeg.h"
#include "vehicle/vehicle.h"

enum {
    DEFAULT_PHOTOS = 8,
    DEFAULT_SHEETS = 13, /* mat, four plates at the wheels, eight on the floor */
    N_JOB_SHEETS = 5,
    FIRST_PLATE_ID = 100,
    DEFAULT_ROUNDS = 5,
    MAX_ROUNDS = 99,
    QUICK_TURNS = 3,
    JPEG_QUALITY = 95
};
/* What is asked of `check`, everything included: at most this many times the floor, and this many
   times faster than the two others. */
static const double MOST_FLOORS = 3;
static const double FASTER_THAN_APRILTAG = 6;
static const double FASTER_THAN_MARKERS = 4;
/* Peak memory, over that of eight photos. */
static const double MOST_MEMORY = 1.3;

/* A tag that is further off counts as not found. */
static const double FOUND_PX = 3;
/* Far and flat: distance from the camera, and angle above the floor. */
static const double FAR_MM[2] = {4500, 5500};
static const double FLAT_RAD[2] = {15 * TR_RAD_PER_DEG, 25 * TR_RAD_PER_DEG};

/* ---- the job, its photos and its truth ---- */

typedef struct {
    tr_sim sim;
    bench_scene stage;
    const bench_options *options;
    int n_photos;
    char folder[PATH_MAX / 4];
    char job[PATH_MAX / 2], picture[PATH_MAX / 2], program[PATH_MAX / 2];
    char **files;
    tr_seen *seen[BENCH_STATIONS];
    int n_seen[BENCH_STATIONS];
} hall;

/* Places around vehicle and mat, left and right in turns, from the rear to the front. */
static tr_pose place_of_plate(int k) {
    static const double y_mm[6] = {1500, -1500, 2200, -2200, 2900, -2900};
    double value[TR_N_AXES] = {
        [TR_X] = -2600 + 750 * (k / 6) + 130 * (k % 3), [TR_Y] = y_mm[k % 6], [TR_YAW] = 0.7 * k};
    return tr_pose_of_placement(value, false);
}

/* A walk around the vehicle; each photo shows plates together with the mat or with other plates. */
static void walk(tr_sim *sim) {
    static const tr_vec3 at[BENCH_STATIONS] = {
        {-3960, -90, 1310}, {-3600, 1950, 1620}, {180, 4420, 1650},  {1180, 3380, 1490},
        {4700, 2900, 1550}, {1560, -3420, 1350}, {140, -4480, 1620}, {-3600, -1950, 1620}};
    static const tr_vec3 aim[BENCH_STATIONS] = {{-1250, -60, 0}, {-2090, 985, 0}, {280, 720, 0},
                                                {1370, 900, 0},  {2200, 1100, 0}, {1360, -900, 0},
                                                {210, -740, 0},  {-2090, -985, 0}};
    for (int i = 0; i < sim->check.set.n_photos; i++) {
        sim->vehicle_from_camera[i] = tr_camera_pose(at[i], aim[i], 0.02 * (i % 3 - 1));
    }
}

static bool add_plates(tr_sim *sim, int n, tr_error *err) {
    tr_job *job = &sim->job;
    size_t total = (size_t)job->n_sheets + (size_t)n;
    tr_sheet *sheets = realloc(job->sheets, total * sizeof *sheets);
    if (sheets) job->sheets = sheets;
    tr_pose *poses = realloc(sim->vehicle_from_sheet, total * sizeof *poses);
    if (poses) sim->vehicle_from_sheet = poses;
    if (!sheets || !poses) return tr_fail_memory(err);
    for (int k = 0; k < n; k++) {
        tr_sheet *s = &sheets[job->n_sheets];
        *s = (tr_sheet){.kind = TR_SHEET_PLATE, .width_mm = 200, .height_mm = 200};
        snprintf(s->id, sizeof s->id, "FLOOR-%d", k + 1);
        snprintf(s->title, sizeof s->title, "FLOOR-%d", k + 1);
        snprintf(s->tag_family, sizeof s->tag_family, "tag36h11");
        s->path = strdup("simulated.yaml");
        s->tags = calloc(1, sizeof *s->tags);
        poses[job->n_sheets++] = place_of_plate(k);
        if (!s->path || !s->tags) return tr_fail_memory(err);
        s->tags[0] = (tr_tag){.id = FIRST_PLATE_ID + k, .size_mm = 120};
        s->n_tags = 1;
    }
    return true;
}

static bool make_folder(hall *h, const char *kept, tr_error *err) {
    char made[] = "/tmp/trammel-bench-XXXXXX";
    const char *folder = kept ? kept : mkdtemp(made);
    if (kept) mkdir(kept, 0777);
    if (!folder || strlen(folder) >= sizeof h->folder) {
        return tr_fail(err, TR_NO_FILE, "there is no folder for the photos");
    }
    snprintf(h->folder, sizeof h->folder, "%s", folder);
    snprintf(h->job, sizeof h->job, "%s/job.yaml", folder);
    snprintf(h->picture, sizeof h->picture, "%s/result.png", folder);
    return true;
}

static bool make_hall(hall *h, const bench_options *o, tr_error *err) {
    tr_sim_options so = {.seed = (uint64_t)o->seed,
                         .n_photos = BENCH_STATIONS,
                         .scene.is_exact_lens = true,
                         .scene.mat_error = {3.1, -2.2, 0.002}};
    double across =
        round(sqrt((double)o->megapixels * 1e6 / 12) / 8) * 8; /* a third of the height */
    int n_sheets = o->n_sheets > 0 ? (int)o->n_sheets : DEFAULT_SHEETS;
    so.scene.image_px = o->megapixels == 12 ? tr_v2(4032, 3024) : tr_v2(4 * across, 3 * across);
    h->options = o;
    h->n_photos = o->n_photos > 0 ? (int)o->n_photos : DEFAULT_PHOTOS;
    if (!bench_find_program(o, h->program, sizeof h->program, err) ||
        !make_folder(h, o->keep, err) || !tr_simulate(&so, &h->sim, err) ||
        !add_plates(&h->sim, n_sheets - N_JOB_SHEETS, err)) {
        return false;
    }
    walk(&h->sim);
    tr_imaging imaging = bench_imaging(false, (uint64_t)o->seed);
    imaging.jpeg_quality = JPEG_QUALITY;
    imaging.is_colour = true;
    bench_scene_make(&h->sim, imaging, &h->stage);
    h->files = calloc((size_t)h->n_photos, sizeof *h->files);
    if (!h->files) return tr_fail_memory(err);
    for (int i = 0; i < h->n_photos; i++) {
        h->files[i] = malloc(sizeof h->folder + 64);
        if (!h->files[i]) return tr_fail_memory(err);
        snprintf(h->files[i], sizeof h->folder + 64, "%s/%ldmp-%ld-%d-%03d.jpg", h->folder,
                 o->megapixels, o->seed, n_sheets, i + 1);
    }
    for (int i = 0; i < BENCH_STATIONS; i++) {
        h->seen[i] = tr_scene_truth(&h->stage.scene, i, &h->n_seen[i], err);
        if (!h->seen[i]) return false;
    }
    return bench_write_job(&h->sim.job, h->folder, err);
}

static void release_hall(hall *h) {
    for (int i = 0; i < h->n_photos && h->files; i++) {
        if (h->files[i] && !h->options->keep) unlink(h->files[i]);
        free(h->files[i]);
    }
    free(h->files);
    for (int i = 0; i < BENCH_STATIONS; i++) free(h->seen[i]);
    for (int i = 0; i < h->sim.job.n_sheets && !h->options->keep; i++) {
        char path[PATH_MAX];
        snprintf(path, sizeof path, "%s/%s.yaml", h->folder, h->sim.job.sheets[i].id);
        unlink(path);
    }
    static const char *const others[] = {"job.yaml", "layout.yaml", "lens.yaml", "result.png"};
    for (size_t i = 0; i < sizeof others / sizeof *others && !h->options->keep; i++) {
        char path[PATH_MAX];
        snprintf(path, sizeof path, "%s/%s", h->folder, others[i]);
        unlink(path);
    }
    if (!h->options->keep && *h->folder) rmdir(h->folder);
    tr_sim_release(&h->sim);
}

/* ---- rendering ---- */

/* One grey value more or less, so that no two photos of a view are the same. */
static void disturb(tr_image *image, int copy) {
    uint64_t state = 0x9E3779B97F4A7C15u * (uint64_t)(copy + 1);
    size_t n = (size_t)image->width * (size_t)image->height;
    for (size_t i = 0; i < n && copy > 0; i++) {
        state ^= state >> 12;
        state ^= state << 25;
        state ^= state >> 27;
        int d = (int)(state >> 40) % 3 - 1;
        int grey = image->px[i] + d;
        image->px[i] = (uint8_t)(grey < 0 ? 0 : grey > 255 ? 255 : grey);
    }
}

/* All photos of one station that are not there yet. */
static bool render_station(void *context, int station, tr_error *err) {
    const hall *h = context;
    tr_image image = {0};
    tr_chroma chroma = {0};
    bool ok = true;
    for (int i = station; i < h->n_photos && ok; i += BENCH_STATIONS) {
        if (access(h->files[i], R_OK) == 0) continue;
        ok = image.px || tr_scene_photo(&h->stage.scene, station, &image, &chroma, err);
        if (!ok) break;
        disturb(&image, i / BENCH_STATIONS);
        ok = tr_colour_jpeg_write(&image, &chroma, JPEG_QUALITY, h->files[i], err);
    }
    tr_image_release(&image);
    tr_chroma_release(&chroma);
    return ok;
}

/* In a process of its own, so that this one stays small. */
static int render(void *context) {
    const hall *h = context;
    tr_error err = {0};
    bool ok = bench_for_each(render_station, context, BENCH_STATIONS, h->options->n_threads, &err);
    if (!ok) printf("%s\n", err.text);
    return ok ? 0 : 1;
}

/* ---- what was found ---- */

typedef struct {
    int visible, found;
    int far_visible, far_found;
    double rms_px, far_rms_px;
    double error[3]; /* x mm, y mm, yaw deg */
} score;

static const bench_tag *found_tag(const bench_result *r, int photo, int sheet, int tag) {
    for (int i = 0; i < r->n_tags; i++) {
        const bench_tag *t = &r->tags[i];
        if (t->photo == photo && t->sheet == sheet && t->tag == tag) return t;
    }
    return NULL;
}

static bool is_far_and_flat(const hall *h, int station, const tr_seen *seen) {
    tr_vec3 centre = tr_pose_apply(h->sim.vehicle_from_sheet[seen->sheet],
                                   tr_v3(seen->p_sheet_mm.x, seen->p_sheet_mm.y, 0));
    tr_vec3 d = tr_v3_sub(h->stage.cameras[station].vehicle_from_camera.t_mm, centre);
    double distance = tr_v3_norm(d);
    double angle = asin(d.z / distance);
    return distance >= FAR_MM[0] && distance <= FAR_MM[1] && angle >= FLAT_RAD[0] &&
           angle <= FLAT_RAD[1];
}

/* Mean square distance of a tag's corners from the truth; seen: its first corner. Below 0: it was
   not found. */
static double corner_error2(const tr_seen *seen, const bench_tag *t) {
    double sum = 0;
    if (!t) return -1;
    for (int c = 0; c < 4; c++) {
        double d = tr_v2_norm(tr_v2_sub(t->corner_px[c], seen[c].uv_px));
        if (!(d <= FOUND_PX)) return -1;
        sum += d * d / 4;
    }
    return sum;
}

static score judge(const hall *h, const bench_result *r) {
    score s = {0};
    for (int photo = 0; photo < h->n_photos; photo++) {
        int station = photo % BENCH_STATIONS;
        const tr_seen *all = h->seen[station];
        for (int k = 0; k + 3 < h->n_seen[station]; k++) {
            const tr_seen *t = &all[k];
            if (t->tag < 0 || t->corner != 0) continue;
            if (!t[0].is_visible || !t[1].is_visible || !t[2].is_visible || !t[3].is_visible) {
                continue;
            }
            bool is_far = is_far_and_flat(h, station, t);
            double e2 = corner_error2(t, found_tag(r, photo, t->sheet, t->tag));
            s.visible++;
            s.far_visible += is_far;
            if (e2 < 0) continue;
            s.found++;
            s.rms_px += e2;
            s.far_found += is_far;
            s.far_rms_px += is_far ? e2 : 0;
        }
    }
    s.rms_px = sqrt(s.rms_px / s.found);
    s.far_rms_px = sqrt(s.far_rms_px / s.far_found);
    for (int k = 0; k < 3; k++) {
        s.error[k] = r->is_placed ? r->placement[k] - h->sim.truth[k] : NAN;
    }
    s.error[2] = tr_wrap_rad(s.error[2]) * TR_DEG_PER_RAD;
    return s;
}

/* ---- the race ---- */

typedef enum { FLOOR, OURS, BESIDE, APRILTAG, MARKERS, MARKERS_ALONE, N_CONTENDERS } contender;
static const char *const NAMES[N_CONTENDERS] = {"bare grey decode",
                                                "trammel check",
                                                "the build beside it",
                                                "libapriltag + solvePnP",
                                                "imread + detectMarkers + solvePnP",
                                                "the same, photo by photo"};

typedef struct {
    double wall[MAX_ROUNDS * QUICK_TURNS], cpu[MAX_ROUNDS * QUICK_TURNS];
    int n;
    double wall_ms, cpu_ms, peak_mb;
    score score;
} record;

static bool run_program(const hall *h, const char *program, int n_photos, bench_usage *usage) {
    char threads[16];
    char *argv[16 + 1000];
    int n = 0;
    snprintf(threads, sizeof threads, "%ld", h->options->n_threads);
    argv[n++] = (char *)program;
    argv[n++] = "check";
    argv[n++] = (char *)h->job;
    argv[n++] = "--json";
    argv[n++] = "--picture";
    argv[n++] = (char *)h->picture;
    argv[n++] = "--threads";
    argv[n++] = threads;
    for (int i = 0; i < n_photos; i++) argv[n++] = h->files[i];
    argv[n] = NULL;
    return bench_run_program(argv, usage);
}

static bool run_contender(const hall *h, bench_task *t, contender c, bench_usage *usage) {
    static int (*const run[N_CONTENDERS])(void *) = {[FLOOR] = bench_floor,
                                                     [APRILTAG] = bench_apriltag,
                                                     [MARKERS] = bench_markers,
                                                     [MARKERS_ALONE] = bench_markers_alone};
    bool is_program = c == OURS || c == BESIDE;
    const char *program = c == OURS ? h->program : h->options->beside;
    bool ok = is_program ? run_program(h, program, h->n_photos, usage)
                         : bench_run_function(run[c], t, usage);
    /* A verdict is a verdict; 3 and above are none. */
    if (ok && usage->status >= 0 && usage->status <= (is_program ? 2 : 0)) return true;
    printf("%s: failed (status %d) %s\n", NAMES[c], usage->status, t->result->error);
    return false;
}

static bool take_turn(const hall *h, bench_task *t, record records[N_CONTENDERS], contender c) {
    record *r = &records[c];
    bench_usage usage;
    if (!run_contender(h, t, c, &usage)) return false;
    r->wall[r->n] = usage.wall_ms;
    r->cpu[r->n] = usage.cpu_ms;
    r->peak_mb = fmax(r->peak_mb, usage.peak_mb);
    if (r->n++ > 0 || c == BESIDE) return true;
    if (c == OURS && !bench_run_function(bench_ours, t, &usage)) return false;
    r->score = judge(h, t->result);
    return true;
}

/* The quick ones take several turns a round: the first one finds the machine's caches full of what
   the slow ones left. */
static bool race(const hall *h, bench_task *t, record records[N_CONTENDERS], long rounds) {
    for (long round = 0; round < rounds; round++) {
        for (int turn = 0; turn < QUICK_TURNS; turn++) {
            if (!take_turn(h, t, records, FLOOR) || !take_turn(h, t, records, OURS)) return false;
            if (h->options->beside && !take_turn(h, t, records, BESIDE)) return false;
        }
        if (!take_turn(h, t, records, APRILTAG)) return false;
        if (!ref_has_aruco()) continue;
        if (!take_turn(h, t, records, MARKERS) || !take_turn(h, t, records, MARKERS_ALONE)) {
            return false;
        }
    }
    for (int c = 0; c < N_CONTENDERS; c++) {
        if (records[c].n == 0) continue;
        records[c].wall_ms = bench_median(records[c].wall, records[c].n);
        records[c].cpu_ms = bench_median(records[c].cpu, records[c].n);
    }
    return true;
}

static void print_records(const record records[N_CONTENDERS]) {
    const record *floor = &records[FLOOR];
    printf("\n%-33s |    wall   floors |     cpu   floors |  peak MB |    tags found  rms px |"
           " at 5 m, 20 deg  rms px |  dx mm  dy mm  dyaw deg\n",
           "");
    for (int c = 0; c < N_CONTENDERS; c++) {
        const record *r = &records[c];
        const score *s = &r->score;
        if (r->n == 0) continue;
        printf("%-33s | %5.0f ms %8.2f | %4.0f ms %8.2f | %8.0f |", NAMES[c], r->wall_ms,
               r->wall_ms / floor->wall_ms, r->cpu_ms, r->cpu_ms / floor->cpu_ms, r->peak_mb);
        if (c == FLOOR || c == BESIDE) {
            printf("\n");
            continue;
        }
        printf(" %5d of %5d %7.3f | %5d of %5d %7.3f | %+6.2f %+6.2f %+9.4f\n", s->found,
               s->visible, s->rms_px, s->far_found, s->far_visible, s->far_rms_px, s->error[0],
               s->error[1], s->error[2]);
    }
    if (!ref_has_aruco()) {
        printf("OpenCV's detectMarkers is left out: its module was not there when this was built "
               "(tools/setup --bench)\n");
    }
}

static bool print_stages(bench_task *t, int n_photos) {
    static const char *const names[N_STAGES] = {"decode", "find", "measure", "solve", "draw"};
    bench_usage usage;
    if (!bench_run_function(bench_ours_by_stage, t, &usage) || usage.status != 0) {
        printf("the stages could not be timed: %s\n", t->result->error);
        return false;
    }
    printf("\ntrammel's stages, processor time:");
    for (int k = 0; k < N_STAGES; k++) printf(" %s %.0f ms", names[k], t->result->stage_ms[k]);
    printf(" (%d photos)\n", n_photos);
    return true;
}

/* By what a user waits for, and by processor time: each ratio must hold in the median by both.
   Other work on the machine falsifies the former more than the latter. */
static bool say_ratio(const char *what, double wall, double cpu, double asked, bool is_most) {
    bool ok = is_most ? fmax(wall, cpu) <= asked : fmin(wall, cpu) >= asked;
    printf("%-46s wall %5.2f, cpu %5.2f, asked %s %.0f: %s\n", what, wall, cpu,
           is_most ? "at most" : "at least", asked, ok ? "as asked" : "NOT as asked");
    return ok;
}

/* Whether memory grows with the number of photos. */
static bool say_memory(const hall *h, double peak_mb) {
    bench_usage few;
    if (h->n_photos <= DEFAULT_PHOTOS) return true;
    if (!run_program(h, h->program, DEFAULT_PHOTOS, &few)) return false;
    bool ok = peak_mb <= MOST_MEMORY * few.peak_mb;
    printf("peak memory over that of %d photos: %.0f / %.0f MB = %.2f, asked at most %.1f: %s\n",
           DEFAULT_PHOTOS, peak_mb, few.peak_mb, peak_mb / few.peak_mb, MOST_MEMORY,
           ok ? "as asked" : "NOT as asked");
    return ok;
}

static bool is_better(const score *ours, const score *other) {
    return ours->found > other->found && ours->far_found >= other->far_found &&
           ours->rms_px <= other->rms_px;
}

static bool say_verdict(const record *r) {
    const record *o = &r[OURS];
    const record *beside = &r[BESIDE];
    if (beside->n > 0) {
        printf("trammel check over the build beside it: wall %.2f, cpu %.2f\n",
               o->wall_ms / beside->wall_ms, o->cpu_ms / beside->cpu_ms);
    }
    bool ok = say_ratio("trammel check over the bare decode", o->wall_ms / r[FLOOR].wall_ms,
                        o->cpu_ms / r[FLOOR].cpu_ms, MOST_FLOORS, true);
    ok = say_ratio("libapriltag + solvePnP over trammel check", r[APRILTAG].wall_ms / o->wall_ms,
                   r[APRILTAG].cpu_ms / o->cpu_ms, FASTER_THAN_APRILTAG, false) &&
         ok;
    bool better = is_better(&o->score, &r[APRILTAG].score);
    if (ref_has_aruco()) {
        ok = say_ratio("detectMarkers + solvePnP over trammel check",
                       r[MARKERS].wall_ms / o->wall_ms, r[MARKERS].cpu_ms / o->cpu_ms,
                       FASTER_THAN_MARKERS, false) &&
             ok;
        better = better && is_better(&o->score, &r[MARKERS].score);
    }
    printf("more tags found, at no larger error: %s\n", better ? "as asked" : "NOT as asked");
    return ok && better;
}

int bench_photos(const bench_options *o) {
    hall *h = calloc(1, sizeof *h);
    record *records = calloc(N_CONTENDERS, sizeof *records);
    long rounds = o->jobs < 0 ? DEFAULT_ROUNDS : o->jobs > MAX_ROUNDS ? MAX_ROUNDS : o->jobs;
    tr_error err = {0};
    bench_usage usage;
    bench_result *result = NULL;
    size_t size = 0;
    bool ok = h && records && make_hall(h, o, &err);
    if (!ok) {
        printf("%s\n", err.text);
        goto out;
    }
    int most_tags = 0;
    for (int i = 0; i < h->sim.job.n_sheets; i++) most_tags += h->sim.job.sheets[i].n_tags;
    most_tags *= 2 * h->n_photos; /* a detector may see one twice */
    size = sizeof *result + (size_t)most_tags * sizeof *result->tags;
    result = bench_share(size);
    ok = result && bench_run_function(render, h, &usage) && usage.status == 0;
    if (!ok) goto out;
    result->most_tags = most_tags;
    bench_task task = {.job = &h->sim.job,
                       .files = h->files,
                       .n_files = h->n_photos,
                       .n_threads = o->n_threads,
                       .picture = h->picture,
                       .result = result};
    struct stat first;
    printf("%d photos of %d x %d px (the first: %.1f MB), %d sheets, %ld threads, medians of %ld "
           "rounds\n",
           h->n_photos, h->stage.scene.lens.width_px, h->stage.scene.lens.height_px,
           stat(h->files[0], &first) == 0 ? (double)first.st_size / 1e6 : 0, h->sim.job.n_sheets,
           o->n_threads, rounds);
    fflush(stdout);
    ok = race(h, &task, records, rounds);
    if (!ok) goto out;
    print_records(records);
    ok = print_stages(&task, h->n_photos);
    ok = say_verdict(records) && ok;
    ok = say_memory(h, records[OURS].peak_mb) && ok;
    if (o->n_photos < 0 && o->n_sheets < 0) ok = bench_missing(o) == 0 && ok;
out:
    bench_unshare(result, size);
    if (h) release_hall(h);
    free(h);
    free(records);
    return ok ? 0 : 1;
}
