/* What a check costs where its quick looks do not find all that it needs: processor time beside
   that of decoding the same photos bare, in turns. The simulated job with mat and four plates,
   eight photos of a walk around the vehicle. */
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "image/photo_file.h"
#include "tools/bench/bench.h"
#include "tools/bench/contender.h"
#include "tools/bench/files.h"
#include "tools/bench/process.h"
#include "tools/bench/scene.h"
#include "tools/render/colour_jpeg.h"

enum { PHOTOS = 8, SHEETS = 5, TURNS = 5, JPEG_QUALITY = 95, OTHER_IDS = 300 };
/* Asked: at most so many times the decoding where every sheet is found, and where one is not there.
 */
static const double MOST_FOUND = 4;
static const double MOST_ABSENT = 6;

typedef enum { NEAR, FAR_PLATE, ONE_PHOTO, NO_MAT, OTHER_MAT, NO_PLATE, MIRRORED, N_CASES } which;
static const struct {
    const char *name, *folder;
    int n_sheets; /* to be found in two photos or more */
} CASES[N_CASES] = {
    [NEAR] = {"all near", "near", 5},
    [FAR_PLATE] = {"a plate from 6 m only", "far", 5},
    [ONE_PHOTO] = {"a plate in one photo only", "one", 4},
    [NO_MAT] = {"the mat is not there", "no-mat", 4},
    [OTHER_MAT] = {"another mat in its place", "other-mat", 4},
    [NO_PLATE] = {"a plate is not there", "no-plate", 4},
    [MIRRORED] = {"mirrored photos", "mirrored", 0},
};

typedef struct {
    const bench_options *options;
    tr_sim sim;
    bench_scene stage;
    char root[PATH_MAX / 4], program[PATH_MAX / 2];
    bool shows[PHOTOS][SHEETS]; /* where all is as it should be */
    which now;                  /* the case that is worked on */
    char folder[PATH_MAX / 3], job[PATH_MAX / 2], picture[PATH_MAX / 2];
    char file[PHOTOS][PATH_MAX / 2]; /* the first case's where it is the same photo */
} missing;

/* ---- photos ---- */

/* Whether the case's photo is another than the first case's. */
static bool is_own(const missing *m, which c, int photo) {
    switch (c) {
    case FAR_PLATE: return photo >= 2 && photo < 5;
    case ONE_PHOTO: return photo == 3 || photo == 4;
    case NO_MAT:
    case OTHER_MAT: return m->shows[photo][TR_SIM_MAT];
    case NO_PLATE: return m->shows[photo][TR_SIM_PLATE + TR_FRONT_LEFT];
    default: return true;
    }
}

static void walk(missing *m, which c) {
    static const tr_vec3 at[PHOTOS] = {{-3960, -90, 1310}, {-3600, 1950, 1620}, {180, 4420, 1650},
                                       {1180, 3380, 1490}, {4700, 2900, 1550},  {1560, -3420, 1350},
                                       {140, -4480, 1620}, {-3600, -1950, 1620}};
    static const tr_vec3 aim[PHOTOS] = {{-1250, -60, 0}, {-2090, 985, 0}, {280, 720, 0},
                                        {1370, 900, 0},  {2200, 1100, 0}, {1360, -900, 0},
                                        {210, -740, 0},  {-2090, -985, 0}};
    /* The left front plate is seen by photos 3 to 5. */
    static const tr_vec3 far_at[3] = {{-800, 5700, 1600}, {0, 6300, 1650}, {4700, -2900, 1550}};
    static const tr_vec3 far_aim[3] = {{900, 800, 0}, {1200, 700, 0}, {2200, -1100, 0}};
    for (int i = 0; i < PHOTOS; i++) {
        bool is_far = i >= 2 && i < 5 && (c == FAR_PLATE || (c == ONE_PHOTO && i > 2));
        tr_vec3 from = is_far ? far_at[i - 2] : at[i];
        tr_vec3 to = is_far ? far_aim[i - 2] : aim[i];
        if (c == ONE_PHOTO && i == 3) { /* the right side once more */
            from = tr_v3(1700, -3800, 1500);
            to = tr_v3(1200, -900, 0);
        }
        m->sim.vehicle_from_camera[i] = tr_camera_pose(from, to, 0.02 * (i % 3 - 1));
    }
}

static void lay_out(missing *m, which c) {
    tr_imaging imaging = bench_imaging(false, (uint64_t)m->options->seed);
    imaging.jpeg_quality = JPEG_QUALITY;
    imaging.is_colour = true;
    walk(m, c);
    bench_scene_make(&m->sim, imaging, &m->stage);
    tr_scene *s = &m->stage.scene;
    int gone = c == NO_MAT ? TR_SIM_MAT : c == NO_PLATE ? TR_SIM_PLATE + TR_FRONT_LEFT : -1;
    if (gone >= 0) s->sheets[gone] = s->sheets[--s->n_sheets];
    tr_sheet *mat = &s->sheets[TR_SIM_MAT].sheet;
    for (int k = 0; k < mat->n_tags && gone != TR_SIM_MAT; k++) {
        mat->tags[k].id =
            m->sim.job.sheets[TR_SIM_MAT].tags[k].id + (c == OTHER_MAT ? OTHER_IDS : 0);
    }
}

static void flip(tr_image *image) {
    for (int v = 0; v < image->height; v++) {
        uint8_t *row = image->px + (size_t)v * (size_t)image->width;
        for (int a = 0, b = image->width - 1; a < b; a++, b--) {
            uint8_t left = row[a];
            row[a] = row[b];
            row[b] = left;
        }
    }
}

static bool mirror_photo(const missing *m, int i, tr_error *err) {
    char path[PATH_MAX];
    tr_photo_file read;
    snprintf(path, sizeof path, "%s/%s/%d.jpg", m->root, CASES[NEAR].folder, i + 1);
    bool ok = tr_photo_file_read(path, &read, err);
    if (ok) flip(&read.image);
    ok = ok && tr_image_write_jpeg(&read.image, JPEG_QUALITY, m->file[i], err);
    tr_image_release(&read.image);
    return ok;
}

static bool render_photo(void *context, int i, tr_error *err) {
    const missing *m = context;
    tr_image image = {0};
    tr_chroma chroma = {0};
    if (access(m->file[i], R_OK) == 0) return true;
    if (m->now == MIRRORED) return mirror_photo(m, i, err);
    bool ok = tr_scene_photo(&m->stage.scene, i, &image, &chroma, err) &&
              tr_colour_jpeg_write(&image, &chroma, JPEG_QUALITY, m->file[i], err);
    tr_image_release(&image);
    tr_chroma_release(&chroma);
    return ok;
}

/* In a process of its own, so that this one stays small. */
static int render(void *context) {
    const missing *m = context;
    tr_error err = {0};
    bool ok = bench_for_each(render_photo, context, PHOTOS, m->options->n_threads, &err);
    if (!ok) printf("%s\n", err.text);
    return ok ? 0 : 1;
}

static bool note_what_shows(missing *m, tr_error *err) {
    for (int i = 0; i < PHOTOS; i++) {
        int n = 0;
        tr_seen *seen = tr_scene_truth(&m->stage.scene, i, &n, err);
        if (!seen) return false;
        for (int k = 0; k < n; k++) {
            m->shows[i][seen[k].sheet] = m->shows[i][seen[k].sheet] || seen[k].is_visible;
        }
        free(seen);
    }
    return true;
}

static bool set_up(missing *m, which c, tr_error *err) {
    m->now = c;
    snprintf(m->folder, sizeof m->folder, "%s/%s", m->root, CASES[c].folder);
    snprintf(m->job, sizeof m->job, "%s/job.yaml", m->folder);
    snprintf(m->picture, sizeof m->picture, "%s/result.png", m->folder);
    for (int i = 0; i < PHOTOS; i++) {
        snprintf(m->file[i], sizeof m->file[i], "%s/%s/%d.jpg", m->root,
                 CASES[is_own(m, c, i) ? c : NEAR].folder, i + 1);
    }
    mkdir(m->folder, 0777);
    lay_out(m, c);
    return (c != NEAR || note_what_shows(m, err)) && bench_write_job(&m->sim.job, m->folder, err);
}

static void clean_up(missing *m, which c) {
    char path[PATH_MAX];
    snprintf(m->folder, sizeof m->folder, "%s/%s", m->root, CASES[c].folder);
    static const char *const OTHERS[] = {"job.yaml", "layout.yaml", "lens.yaml", "result.png"};
    for (int i = 0; i < PHOTOS; i++) {
        snprintf(path, sizeof path, "%s/%d.jpg", m->folder, i + 1);
        unlink(path);
    }
    for (size_t i = 0; i < sizeof OTHERS / sizeof *OTHERS; i++) {
        snprintf(path, sizeof path, "%s/%s", m->folder, OTHERS[i]);
        unlink(path);
    }
    for (int i = 0; i < m->sim.job.n_sheets; i++) {
        snprintf(path, sizeof path, "%s/%s.yaml", m->folder, m->sim.job.sheets[i].id);
        unlink(path);
    }
    rmdir(m->folder);
}

/* ---- time ---- */

static bool run_check(const missing *m, const char *program, bench_usage *usage) {
    char threads[16];
    enum { WORDS = 8 };
    char *argv[WORDS + PHOTOS + 1] = {(char *)program, "check",     (char *)m->job,
                                      "--json",        "--picture", (char *)m->picture,
                                      "--threads",     threads};
    snprintf(threads, sizeof threads, "%ld", m->options->n_threads);
    for (int i = 0; i < PHOTOS; i++) argv[WORDS + i] = (char *)m->file[i];
    /* Three is no measurement, as of mirrored photos. */
    return bench_run_program(argv, usage) && usage->status >= 0 && usage->status <= 3;
}

/* Sheets of which a tag was found in two photos or more. */
static int count_sheets(const bench_result *r) {
    int count = 0;
    for (int s = 0; s < SHEETS; s++) {
        int n = 0;
        for (int photo = 0; photo < PHOTOS; photo++) {
            bool is_seen = false;
            for (int i = 0; i < r->n_tags; i++) {
                is_seen = is_seen || (r->tags[i].photo == photo && r->tags[i].sheet == s);
            }
            n += is_seen;
        }
        count += n >= 2;
    }
    return count;
}

static bool time_case(missing *m, bench_result *result) {
    double floor_ms[TURNS];
    double check_ms[TURNS];
    double beside_ms[TURNS];
    const char *beside = m->options->beside;
    char *files[PHOTOS];
    bench_usage usage;
    for (int i = 0; i < PHOTOS; i++) files[i] = m->file[i];
    bench_task task = {.job = &m->sim.job,
                       .files = files,
                       .n_files = PHOTOS,
                       .n_threads = m->options->n_threads,
                       .result = result};
    for (int turn = 0; turn < TURNS; turn++) {
        if (!bench_run_function(bench_floor, &task, &usage) || usage.status != 0) return false;
        floor_ms[turn] = usage.cpu_ms;
        if (!run_check(m, m->program, &usage)) return false;
        check_ms[turn] = usage.cpu_ms;
        if (beside && !run_check(m, beside, &usage)) return false;
        beside_ms[turn] = usage.cpu_ms;
    }
    result->n_tags = 0;
    if (!bench_run_function(bench_ours, &task, &usage)) return false;
    double floor = bench_median(floor_ms, TURNS);
    double check = bench_median(check_ms, TURNS);
    double asked = m->now <= ONE_PHOTO ? MOST_FOUND : MOST_ABSENT;
    int n = count_sheets(result);
    bool ok = check <= asked * floor && n >= CASES[m->now].n_sheets;
    printf("%-27s %5.0f ms %6.0f ms %7.2f %8.0f   %d of %d   %s\n", CASES[m->now].name, floor,
           check, check / floor, asked, n, CASES[m->now].n_sheets,
           ok ? "as asked" : "NOT as asked");
    if (beside) {
        double ms = bench_median(beside_ms, TURNS);
        printf("%-27s %8s %6.0f ms %7.2f\n", "  the build beside it", "", ms, ms / floor);
    }
    fflush(stdout);
    return ok;
}

static bool find_places(missing *m, tr_error *err) {
    char made[] = "/tmp/trammel-bench-XXXXXX";
    const bench_options *o = m->options;
    if (!o->keep && !mkdtemp(made)) {
        return tr_fail(err, TR_NO_FILE, "there is no folder for the photos");
    }
    if (o->keep) mkdir(o->keep, 0777);
    snprintf(m->root, sizeof m->root, "%s", o->keep ? o->keep : made);
    return bench_find_program(o, m->program, sizeof m->program, err);
}

int bench_missing(const bench_options *o) {
    missing *m = calloc(1, sizeof *m);
    tr_error err = {0};
    const tr_sim_options so = {.seed = (uint64_t)o->seed,
                               .n_photos = PHOTOS,
                               .scene.is_exact_lens = true,
                               .scene.mat_error = {3.1, -2.2, 0.002}};
    enum { MOST_TAGS = 1000 };
    size_t size = sizeof(bench_result) + MOST_TAGS * sizeof(bench_tag);
    bench_result *result = bench_share(size);
    bench_usage usage;
    bool ok = m && result;
    if (m) m->options = o;
    ok = ok && find_places(m, &err) && tr_simulate(&so, &m->sim, &err);
    if (!ok) printf("%s\n", err.text);
    bool is_made = ok;
    bool is_all = ok;
    if (ok) {
        result->most_tags = MOST_TAGS;
        printf(
            "\nWhere something is missing: processor time of 8 photos of 12 megapixels, medians of "
            "%d\n%-27s %8s %9s %7s %8s   sheets in two photos\n",
            TURNS, "", "decode", "check", "times", "asked");
    }
    for (int c = 0; c < N_CASES && ok; c++) {
        ok =
            set_up(m, (which)c, &err) && bench_run_function(render, m, &usage) && usage.status == 0;
        is_all = ok && time_case(m, result) && is_all;
    }
    for (int c = 0; c < N_CASES && is_made && !o->keep; c++) clean_up(m, (which)c);
    if (m && !o->keep) rmdir(m->root);
    if (m) tr_sim_release(&m->sim);
    bench_unshare(result, size);
    free(m);
    return ok && is_all ? 0 : 1;
}
