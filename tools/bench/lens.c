/* `trammel lens` beside OpenCV's findChessboardCornersSB at full resolution and calibrateCamera, on
   the same 20 rendered photos of a board: time, memory, and how far the lens is from the true one.
   Contenders take turns; times are medians of the rounds. The photos are told to OpenCV as decoded
   grey images, so that reading them costs both the same. */
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "geom/dense.h"
#include "lens/planar.h"
#include "lens/profile.h"
#include "tools/bench/bench.h"
#include "tools/bench/floor.h"
#include "tools/bench/process.h"
#include "tools/bench/reference.h"
#include "tools/bench/scene.h"

enum {
    N_PHOTOS = 20,
    SQUARES_X = 10,
    SQUARES_Y = 7,
    N_CORNERS = (SQUARES_X - 1) * (SQUARES_Y - 1),
    DEFAULT_ROUNDS = 3,
    MAX_ROUNDS = 99,
    JPEG_QUALITY = 95
};
static const double PITCH_MM = 40;
static const double MARGIN_MM = 30;
static const size_t MAX_BYTES = (size_t)400 << 20;
/* What is asked of `lens`: this many times faster, at no larger error. */
static const double FASTER_THAN_OPENCV = 15;

typedef struct {
    bool is_there;
    double param[TR_LENS_N];
} found_lens;

typedef struct {
    tr_sim sim; /* for its lens */
    tr_scene_sheet board;
    tr_scene_camera cameras[N_PHOTOS];
    tr_scene scene;
    const bench_options *options;
    char folder[PATH_MAX / 4];
    char profile[PATH_MAX / 2], program[PATH_MAX / 2];
    char *files[N_PHOTOS];
    bool is_accurate; /* of OpenCV's corners */
    /* In memory that processes share. */
    struct {
        found_lens lens;
        bool has_board[N_PHOTOS];
        double uv[N_PHOTOS][2 * N_CORNERS];
    } * shared;
} shoot;

/* The board stands upright and faces backward, as the contract has it at yaw 0: cameras before it,
   from all sides, some upright, with the board in the middle and in the corners of the image. */
static void place_cameras(shoot *s) {
    tr_random random = tr_random_seed((uint64_t)s->options->seed);
    for (int i = 0; i < N_PHOTOS; i++) {
        double aside = (i % 5 - 2) * 0.3; /* rad */
        double above = (i / 5 - 1.5) * 0.35;
        double distance = 520 + 120 * tr_random_uniform(&random);
        tr_vec3 at = {-distance * cos(aside) * cos(above), distance * sin(aside),
                      1200 + distance * sin(above)};
        tr_vec3 aim = {0, 90 * ((i * 7) % 3 - 1), 1200 + 70 * ((i * 5) % 3 - 1)};
        double roll = 0.1 * tr_random_normal(&random) + (i % 6 == 5 ? TR_PI / 2 : 0);
        s->cameras[i] = (tr_scene_camera){.vehicle_from_camera = tr_camera_pose(at, aim, roll),
                                          .imaging = bench_imaging(false, 7)};
        s->cameras[i].imaging.exposure = 1.2;
        s->cameras[i].imaging.jpeg_quality = JPEG_QUALITY;
        s->cameras[i].imaging.is_colour = true;
        s->cameras[i].imaging.seed = (uint64_t)(1000 * s->options->seed + i);
    }
}

static bool make_shoot(shoot *s, const bench_options *o, tr_error *err) {
    char made[] = "/tmp/trammel-bench-XXXXXX";
    const char *folder = o->keep ? o->keep : mkdtemp(made);
    const char *slash = strrchr(o->program_path, '/');
    tr_sim_options so = {.seed = (uint64_t)o->seed, .scene.is_exact_lens = true};
    s->options = o;
    if (o->keep) mkdir(o->keep, 0777);
    if (!folder || strlen(folder) >= sizeof s->folder) {
        return tr_fail(err, TR_NO_FILE, "there is no folder for the photos");
    }
    snprintf(s->folder, sizeof s->folder, "%s", folder);
    snprintf(s->profile, sizeof s->profile, "%s/found.yaml", folder);
    snprintf(s->program, sizeof s->program, "%.*s/../trammel",
             slash ? (int)(slash - o->program_path) : 1, slash ? o->program_path : ".");
    s->shared = bench_share(sizeof *s->shared);
    if (!s->shared) return tr_fail_memory(err);
    if (!tr_simulate(&so, &s->sim, err) ||
        !tr_checkerboard("BOARD", TR_SHEET_BOARD, SQUARES_X, SQUARES_Y, PITCH_MM, MARGIN_MM,
                         &s->board, err)) {
        return false;
    }
    s->board.vehicle_from_sheet = tr_sheet_pose(TR_SHEET_BOARD, tr_v3(0, 0, 1200), 0, 0, 0);
    place_cameras(s);
    s->scene = (tr_scene){.lens = s->sim.true_lens,
                          .sheets = &s->board,
                          .n_sheets = 1,
                          .floor_reflectance = 0.3,
                          .floor_texture = 0.5,
                          .cameras = s->cameras,
                          .n_cameras = N_PHOTOS};
    for (int i = 0; i < N_PHOTOS; i++) {
        s->files[i] = malloc(sizeof s->folder + 64);
        if (!s->files[i]) return tr_fail_memory(err);
        snprintf(s->files[i], sizeof s->folder + 64, "%s/board-%ld-%02d.jpg", folder, o->seed,
                 i + 1);
    }
    return true;
}

static void release_shoot(shoot *s) {
    bool is_kept = s->options && s->options->keep;
    for (int i = 0; i < N_PHOTOS; i++) {
        if (s->files[i] && !is_kept) unlink(s->files[i]);
        free(s->files[i]);
    }
    if (!is_kept && *s->folder) rmdir(s->folder);
    bench_unshare(s->shared, sizeof *s->shared);
    tr_sheet_release(&s->board.sheet);
    tr_sim_release(&s->sim);
}

static bool render_photo(void *context, int i, tr_error *err) {
    const shoot *s = context;
    return access(s->files[i], R_OK) == 0 || tr_scene_photo_write(&s->scene, i, s->files[i], err);
}

static int render(void *context) {
    const shoot *s = context;
    tr_error err = {0};
    bool ok = bench_for_each(render_photo, context, N_PHOTOS, s->options->n_threads, &err);
    if (!ok) printf("%s\n", err.text);
    return ok ? 0 : 1;
}

/* ---- contenders ---- */

static bool decode_one(void *context, int i, tr_error *err) {
    const shoot *s = context;
    return bench_decode(s->files[i], err);
}

static int run_floor(void *context) {
    const shoot *s = context;
    tr_error err = {0};
    return bench_for_each(decode_one, context, N_PHOTOS, s->options->n_threads, &err) ? 0 : 1;
}

static bool find_board(void *context, int i, tr_error *err) {
    const shoot *s = context;
    uint8_t *data = NULL;
    size_t size = 0;
    tr_image image = {0};
    bool ok = tr_file_read(s->files[i], MAX_BYTES, &data, &size, err) &&
              tr_image_decode(data, size, s->files[i], &image, err);
    if (ok) {
        s->shared->has_board[i] = ref_chessboard(image.px, image.width, image.height, SQUARES_X - 1,
                                                 SQUARES_Y - 1, s->is_accurate, s->shared->uv[i]);
    }
    tr_image_release(&image);
    free(data);
    return ok;
}

static int run_opencv(void *context) {
    const shoot *s = context;
    tr_error err = {0};
    double xyz[3 * N_CORNERS];
    int n = 0;
    ref_settle(1);
    if (!bench_for_each(find_board, context, N_PHOTOS, s->options->n_threads, &err)) return 1;
    for (int k = 0; k < N_CORNERS; k++) {
        xyz[3 * k] = k % (SQUARES_X - 1) * PITCH_MM;
        xyz[3 * k + 1] = k / (SQUARES_X - 1) * PITCH_MM;
        xyz[3 * k + 2] = 0;
    }
    for (int i = 0; i < N_PHOTOS; i++) {
        if (s->shared->has_board[i])
            memmove(s->shared->uv[n++], s->shared->uv[i], sizeof *s->shared->uv);
    }
    s->shared->lens.is_there =
        ref_calibrate(xyz, s->shared->uv[0], N_CORNERS, n, s->scene.lens.width_px,
                      s->scene.lens.height_px, s->shared->lens.param);
    return s->shared->lens.is_there ? 0 : 1;
}

static bool run_program(const shoot *s, const char *program, bench_usage *usage,
                        found_lens *found) {
    char *argv[N_PHOTOS + 16];
    char squares[16];
    char pitch[16];
    char threads[16];
    int n = 0;
    tr_lens lens;
    tr_error err = {0};
    snprintf(squares, sizeof squares, "%dx%d", SQUARES_X, SQUARES_Y);
    snprintf(pitch, sizeof pitch, "%g", PITCH_MM);
    snprintf(threads, sizeof threads, "%ld", s->options->n_threads);
    argv[n++] = (char *)program;
    argv[n++] = "lens";
    for (int i = 0; i < N_PHOTOS; i++) argv[n++] = s->files[i];
    char *const words[] = {"--squares",        squares,  "--pitch",   pitch,   "--out",
                           (char *)s->profile, "--json", "--threads", threads, NULL};
    memcpy(&argv[n], words, sizeof words);
    bool ok = bench_run_program(argv, usage) && usage->status == 0 &&
              tr_lens_profile_read(s->profile, &lens, &err);
    unlink(s->profile); /* another build may not know what this one wrote */
    if (!ok) return false;
    found->is_there = true;
    memcpy(found->param, lens.param, sizeof found->param);
    return true;
}

/* ---- judging ---- */

/* Root mean square and largest distance of a grid over the image seen through the found lens and
   the true one, after the small turn of the camera that brings both closest, since no photo can
   tell a shifted centre from a turned camera. */
static bool grid_error(const tr_lens *truth, const double param[TR_LENS_N], double *rms_px) {
    enum { STEPS = 20 };
    tr_lens lens = *truth;
    memcpy(lens.param, param, sizeof lens.param);
    tr_vec3 turn = tr_v3(0, 0, 0);
    for (int pass = 0; pass < 5; pass++) {
        double A[9] = {0};
        double b[3] = {0};
        double sum = 0;
        int n = 0;
        tr_mat3 R = tr_rotation_from_vector(turn);
        for (int i = 0; i <= STEPS * STEPS + 2 * STEPS; i++) {
            tr_vec2 uv = tr_v2((truth->width_px - 1.0) * (i % (STEPS + 1)) / STEPS,
                               (truth->height_px - 1.0) * (i / (STEPS + 1)) / STEPS);
            tr_vec2 xy;
            tr_vec2 at;
            double J[6];
            if (!tr_lens_undistort(truth, uv, &xy)) continue;
            tr_vec3 p = tr_m3_apply(R, tr_v3(xy.x, xy.y, 1));
            if (!tr_lens_project(&lens, p, &at, J, NULL)) return false;
            double r[2] = {uv.x - at.x, uv.y - at.y};
            /* d p = d turn x p */
            double cross[3][3] = {{0, p.z, -p.y}, {-p.z, 0, p.x}, {p.y, -p.x, 0}};
            sum += r[0] * r[0] + r[1] * r[1];
            n++;
            for (int k = 0; k < 2; k++) {
                double row[3];
                for (int c = 0; c < 3; c++) {
                    row[c] = J[3 * k] * cross[0][c] + J[3 * k + 1] * cross[1][c] +
                             J[3 * k + 2] * cross[2][c];
                }
                for (int c = 0; c < 3; c++) {
                    b[c] += row[c] * r[k];
                    for (int d = 0; d < 3; d++) A[3 * c + d] += row[c] * row[d];
                }
            }
        }
        *rms_px = sqrt(sum / n);
        if (!tr_dense_solve(A, b, 3)) return false;
        turn = tr_v3_add(turn, tr_v3(b[0], b[1], b[2]));
    }
    return true;
}

typedef enum { FLOOR, OURS, BESIDE, OPENCV, OPENCV_ACCURATE, N_CONTENDERS } contender;
static const char *const NAMES[N_CONTENDERS] = {
    "bare grey decode", "trammel lens", "the build beside it",
    "findChessboardCornersSB + calibrateCamera", "the same, with its accurate corners"};

typedef struct {
    double wall[MAX_ROUNDS], cpu[MAX_ROUNDS];
    double wall_ms, cpu_ms, peak_mb;
    int n_boards;
    found_lens lens;
    double grid_px;
} record;

static bool run_contender(shoot *s, contender c, bench_usage *usage, record *r) {
    bool ok;
    if (c == OURS || c == BESIDE) {
        r->n_boards = N_PHOTOS;
        return run_program(s, c == OURS ? s->program : s->options->beside, usage, &r->lens);
    }
    s->is_accurate = c == OPENCV_ACCURATE;
    memset(s->shared, 0, sizeof *s->shared);
    ok = bench_run_function(c == FLOOR ? run_floor : run_opencv, s, usage) && usage->status == 0;
    r->lens = s->shared->lens;
    r->n_boards = 0;
    for (int i = 0; i < N_PHOTOS; i++) r->n_boards += s->shared->has_board[i];
    return ok;
}

static bool race(shoot *s, record records[N_CONTENDERS], long rounds) {
    for (long round = 0; round < rounds; round++) {
        for (int c = 0; c < N_CONTENDERS; c++) {
            record *r = &records[c];
            bench_usage usage = {0};
            if (c == BESIDE && !s->options->beside) continue;
            if (round > 0 && c == OPENCV_ACCURATE) continue; /* it takes minutes */
            if (!run_contender(s, (contender)c, &usage, r)) {
                printf("%s: failed (status %d)\n", NAMES[c], usage.status);
                return false;
            }
            r->wall[round] = usage.wall_ms;
            r->cpu[round] = usage.cpu_ms;
            r->peak_mb = fmax(r->peak_mb, usage.peak_mb);
        }
    }
    for (int c = 0; c < N_CONTENDERS; c++) {
        record *r = &records[c];
        r->wall_ms = bench_median(r->wall, c == OPENCV_ACCURATE ? 1 : rounds);
        r->cpu_ms = bench_median(r->cpu, c == OPENCV_ACCURATE ? 1 : rounds);
        if (r->lens.is_there && !grid_error(&s->scene.lens, r->lens.param, &r->grid_px)) {
            r->grid_px = INFINITY;
        }
    }
    return true;
}

static void print_records(const shoot *s, const record records[N_CONTENDERS]) {
    printf(
        "%-41s |    wall   floors |     cpu   floors | peak MB | boards |   dfx    dfy    dcx    "
        "dcy px | grid rms px\n",
        "");
    for (int c = 0; c < N_CONTENDERS; c++) {
        const record *r = &records[c];
        if (c == BESIDE && !s->options->beside) continue;
        printf("%-41s | %5.0f ms %7.1f | %5.0f ms %7.1f | %7.0f |", NAMES[c], r->wall_ms,
               r->wall_ms / records[FLOOR].wall_ms, r->cpu_ms, r->cpu_ms / records[FLOOR].cpu_ms,
               r->peak_mb);
        if (r->lens.is_there) {
            printf(" %6d |", r->n_boards);
            for (int k = TR_FX; k <= TR_CY; k++) {
                printf(" %+6.3f", r->lens.param[k] - s->scene.lens.param[k]);
            }
            printf("    | %.4f", r->grid_px);
        }
        printf("\n");
    }
}

int bench_lens(const bench_options *o) {
    shoot *s = calloc(1, sizeof *s);
    record *records = calloc(N_CONTENDERS, sizeof *records);
    long rounds = o->jobs < 0 ? DEFAULT_ROUNDS : o->jobs > MAX_ROUNDS ? MAX_ROUNDS : o->jobs;
    tr_error err = {0};
    bench_usage usage;
    bool ok = s && records && make_shoot(s, o, &err);
    if (!ok) {
        printf("%s\n", err.text);
        goto out;
    }
    ok = bench_run_function(render, s, &usage) && usage.status == 0;
    if (!ok) goto out;
    printf("%d photos of %d x %d px, %ld threads, medians of %ld rounds\n", N_PHOTOS,
           s->scene.lens.width_px, s->scene.lens.height_px, o->n_threads, rounds);
    fflush(stdout);
    ok = race(s, records, rounds);
    if (!ok) goto out;
    print_records(s, records);
    const record *ours = &records[OURS];
    const record *beside = &records[BESIDE];
    if (o->beside) {
        printf("trammel lens over the build beside it: wall %.2f, cpu %.2f\n",
               ours->wall_ms / beside->wall_ms, ours->cpu_ms / beside->cpu_ms);
    }
    double times =
        fmax(records[OPENCV].wall_ms / ours->wall_ms, records[OPENCV].cpu_ms / ours->cpu_ms);
    bool is_fast = times >= FASTER_THAN_OPENCV;
    bool is_good = ours->grid_px <= records[OPENCV].grid_px &&
                   ours->grid_px <= records[OPENCV_ACCURATE].grid_px;
    printf("%.1f times faster than OpenCV, asked at least %.0f: %s\n", times, FASTER_THAN_OPENCV,
           is_fast ? "as asked" : "NOT as asked");
    printf("the lens at no larger error: %s\n", is_good ? "as asked" : "NOT as asked");
    ok = is_fast && is_good;
out:
    if (s) release_shoot(s);
    free(s);
    free(records);
    return ok ? 0 : 1;
}
