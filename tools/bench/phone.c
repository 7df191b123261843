#include "tools/bench/phone.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "calib/lens_run.h"
#include "present/catalogue.h"
#include "tools/bench/scene.h"

enum { N_PHOTOS = 14, SQUARES_X = 10, SQUARES_Y = 7 };
static const double PITCH_MM = 40;
static const double MARGIN_MM = 30;
static const double BOW_MM = 0.3;
static const double BOARD_Z_MM = 1200;
static const uint64_t SALT = 0xB0A2D;

/* From where, past the board's middle, by how much turned. */
static const struct {
    tr_vec3 from_mm;
    tr_vec2 past_mm; /* along y and z */
    double roll_deg;
} VIEWS[N_PHOTOS] = {
    {{-560, 10, 5}, {0, -2}, 1.2},        {{-480, 20, 290}, {5, -15}, -2.5},
    {{-500, -30, -300}, {-5, 15}, 3.1},   {{-480, 360, 20}, {20, 0}, 0.6},
    {{-470, -370, -15}, {-20, 5}, -1.7},  {{-600, -180, 130}, {-149, -134}, 2.0},
    {{-600, 190, 120}, {154, -134}, -1},  {{-610, -200, -120}, {-157, 136}, -3},
    {{-610, 200, -110}, {157, 136}, 2.6}, {{-560, 40, 30}, {5, 0}, 91},
    {{-600, -330, 130}, {-25, -140}, 88}, {{-600, 340, -150}, {15, -140}, -92},
    {{-620, 480, 300}, {290, -125}, 8},   {{-580, -420, -270}, {-225, 22}, 24},
};

typedef struct {
    tr_scene scene;
    tr_scene_sheet board;
    tr_scene_camera cameras[N_PHOTOS];
    char paths[N_PHOTOS][512];
    char *files[N_PHOTOS];
} board_photos;

static bool render_photo(void *context, int i, tr_error *err) {
    const board_photos *b = context;
    return tr_scene_photo_write(&b->scene, i, b->files[i], err);
}

static bool make_photos(const bench_options *o, const char *folder, const tr_lens *lens,
                        board_photos *b, tr_error *err) {
    tr_random random = tr_random_seed((uint64_t)o->seed ^ SALT);
    tr_sim_phone phone = tr_sim_phone_full(o->phone);
    if (!tr_checkerboard("BOARD", TR_SHEET_BOARD, SQUARES_X, SQUARES_Y, PITCH_MM, MARGIN_MM,
                         &b->board, err)) {
        return false;
    }
    b->board.bow_mm[0] = BOW_MM;
    b->board.vehicle_from_sheet = tr_sheet_pose(TR_SHEET_BOARD, tr_v3(0, 0, BOARD_Z_MM), 0, 0, 0);
    for (int i = 0; i < N_PHOTOS; i++) {
        tr_vec3 at = tr_v3_add(VIEWS[i].from_mm, tr_v3(0, 0, BOARD_Z_MM));
        tr_vec3 aim = {0, VIEWS[i].past_mm.x, BOARD_Z_MM + VIEWS[i].past_mm.y};
        tr_sim_exposure e = tr_sim_expose(&phone, lens, &random);
        tr_imaging imaging = bench_phone_imaging(o->phone, (uint64_t)(o->seed * 100 + i));
        imaging.exposure = 1.3;
        b->cameras[i] =
            bench_camera(tr_camera_pose(at, aim, VIEWS[i].roll_deg * TR_RAD_PER_DEG), &e, imaging);
        b->files[i] = b->paths[i];
        snprintf(b->paths[i], sizeof b->paths[i], "%s/board-%02d.jpg", folder, i + 1);
    }
    b->scene = (tr_scene){.lens = *lens,
                          .sheets = &b->board,
                          .n_sheets = 1,
                          .floor_reflectance = 0.3,
                          .floor_texture = 0.5,
                          .cameras = b->cameras,
                          .n_cameras = N_PHOTOS};
    return bench_for_each(render_photo, b, N_PHOTOS, o->n_threads, err);
}

static void tell(const tr_lens_run *run, const tr_lens *truth, bool *is_good) {
    const tr_lens *lens = &run->calibration.lens;
    int n_used = 0;
    *is_good = true;
    for (int i = 0; i < run->n_photos; i++) {
        n_used += run->photos[i].is_used;
        if (run->photos[i].is_used) continue;
        char why_not[TR_FINDING_TEXT_SIZE];
        tr_reason_text(run->photos[i].why_not.items, why_not);
        printf("  photo %d is not used: %s\n", i + 1, why_not);
    }
    printf("  lens from %d of %d photos, rms %.3f px, bow %.2f mm (true %.2f)\n", n_used,
           run->n_photos, run->calibration.rms_px, run->calibration.bow_mm[0], BOW_MM);
    for (int k = 0; k < TR_LENS_N; k++) {
        double off = lens->param[k] - truth->param[k];
        double sd = sqrt(lens->covariance[k * (TR_LENS_N + 1)]);
        printf("  %s off by %+.4g, sd %.3g: %.1f of it (asked: 3)\n", tr_lens_parameter_name(k),
               off, sd, fabs(off) / sd);
        *is_good = *is_good && fabs(off) <= 3 * sd;
    }
    for (int i = 0; i < run->advice.n; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&run->advice.items[i], text);
        printf("  %s: %s\n", tr_finding_code(run->advice.items[i].kind), text);
    }
    fflush(stdout);
}

bool bench_phone_lens(const bench_options *o, const char *folder, tr_lens *out, bool *is_good,
                      tr_error *err) {
    const tr_board board = {SQUARES_X, SQUARES_Y, PITCH_MM};
    tr_sim_options so = {.seed = (uint64_t)o->seed, .scene.is_exact_lens = true};
    tr_sim sim = {0};
    tr_lens_run run = {0};
    board_photos *b = calloc(1, sizeof *b);
    bool ok = b ? tr_simulate(&so, &sim, err) : tr_fail_memory(err);
    ok = ok && make_photos(o, folder, &sim.true_lens, b, err) &&
         tr_lens_photos(&board, b->files, N_PHOTOS, &(tr_workers){.n_threads = (int)o->n_threads},
                        &run, err) &&
         tr_lens_solve(&run, err);
    if (ok) {
        tell(&run, &sim.true_lens, is_good);
        *out = run.calibration.lens;
        snprintf(out->id, sizeof out->id, "from photos");
    }
    for (int i = 0; b && i < N_PHOTOS; i++) {
        if (b->files[i] && !o->keep) unlink(b->files[i]);
    }
    if (b) tr_sheet_release(&b->board.sheet);
    tr_lens_run_release(&run);
    tr_sim_release(&sim);
    free(b);
    return ok;
}
