/* A whole job and a whole calibration, so small that a check of it takes a blink: a mat and four
   plates with large tags, seen by a wide camera of 504 x 378 px, and a checkerboard seen by the
   same camera. The renderer makes the photos, so every byte is the same in each run. */
#ifndef TR_TESTS_SMALL_H
#define TR_TESTS_SMALL_H

#include "temp.h"

#include "tools/render/render.h"

enum { SMALL_PHOTOS = 4, SMALL_BOARDS = 6 };

static const char SMALL_LENS[] = "lens: small\n"
                                 "model: brown5\n"
                                 "image_px: [504, 378]\n"
                                 "fx_px: 330\n"
                                 "fy_px: 330.4\n"
                                 "cx_px: 252.1\n"
                                 "cy_px: 188.3\n"
                                 "distortion: [0.05, -0.06, 0.0003, -0.0002, 0.01]\n"
                                 "covariance:\n"
                                 "  - [0.04, 0, 0, 0, 0, 0, 0, 0, 0]\n"
                                 "  - [0, 0.04, 0, 0, 0, 0, 0, 0, 0]\n"
                                 "  - [0, 0, 0.04, 0, 0, 0, 0, 0, 0]\n"
                                 "  - [0, 0, 0, 0.04, 0, 0, 0, 0, 0]\n"
                                 "  - [0, 0, 0, 0, 1.0e-6, 0, 0, 0, 0]\n"
                                 "  - [0, 0, 0, 0, 0, 1.0e-6, 0, 0, 0]\n"
                                 "  - [0, 0, 0, 0, 0, 0, 1.0e-8, 0, 0]\n"
                                 "  - [0, 0, 0, 0, 0, 0, 0, 1.0e-8, 0]\n"
                                 "  - [0, 0, 0, 0, 0, 0, 0, 0, 1.0e-6]\n";

static const char SMALL_MAT[] = "sheet: MAT-S\n"
                                "title: Mat of a small job\n"
                                "kind: mat\n"
                                "size_mm: [2400, 900]\n"
                                "tag_family: tag36h11\n"
                                "tags:\n"
                                "  - { id: 10, centre_mm: [-780, 0], size_mm: 560 }\n"
                                "  - { id: 11, centre_mm: [0, 0], size_mm: 560, turn_deg: 90 }\n"
                                "  - { id: 12, centre_mm: [780, 0], size_mm: 560 }\n"
                                "corners_mm: [[-390, 0], [390, 0]]\n";

static const char SMALL_LAYOUT[] =
    "layout: SMALL-REAR\n"
    "vehicle: Small estate car\n"
    "axes: centreline\n"
    "wheelbase_mm: 2700\n"
    "track_front_mm: 1760\n"
    "track_rear_mm: 1750\n"
    "placements:\n"
    "  - { sheet: MAT-S, from: rear-axle, x_mm: -1500, y_mm: 0, yaw_deg: 0,\n"
    "      limits: { x_mm: 20, y_mm: 20, yaw_deg: 1 } }\n";

static const char SMALL_JOB[] = "job: SMALL-1\n"
                                "vehicle_id: 1M8GDM9AXKP042788\n"
                                "lens: lens.yaml\n"
                                "layout: layout.yaml\n"
                                "sheets: [mat.yaml, p0.yaml, p1.yaml, p2.yaml, p3.yaml]\n"
                                "references:\n"
                                "  - { point: rear-left, sheet: P-0 }\n"
                                "  - { point: rear-right, sheet: P-1 }\n"
                                "  - { point: front-left, sheet: P-2 }\n"
                                "  - { point: front-right, sheet: P-3 }\n"
                                "reference_sd_mm: 1.0\n"
                                "photos: [1.jpg, 2.jpg, 3.jpg, 4.jpg]\n";

static const char SMALL_SCENE[] =
    "scene: SMALL\n"
    "lens: lens.yaml\n"
    "stage: stage.yaml\n"
    "sheets:\n"
    "  - { sheet: mat.yaml, x_mm: -1496, y_mm: 3, yaw_deg: 0.1, checker_mm: 60 }\n"
    "  - { sheet: p0.yaml, x_mm: 0, y_mm: 875, yaw_deg: 2 }\n"
    "  - { sheet: p1.yaml, x_mm: 0, y_mm: -875, yaw_deg: -3 }\n"
    "  - { sheet: p2.yaml, x_mm: 2700, y_mm: 880, yaw_deg: 1 }\n"
    "  - { sheet: p3.yaml, x_mm: 2700, y_mm: -880, yaw_deg: 4 }\n"
    "imaging: { blur_px: 0.6, exposure: 1.1, tone: srgb, noise_sd: 1, seed: 7,\n"
    "           jpeg_quality: 92 }\n"
    "cameras:\n"
    "  - { photo: 1.jpg, at_mm: [-3300, 300, 1900], look_at_mm: [-500, 0, 0] }\n"
    "  - { photo: 2.jpg, at_mm: [500, 2900, 2000], look_at_mm: [500, 100, 0], roll_deg: 3 }\n"
    "  - { photo: 3.jpg, at_mm: [900, -2800, 2000], look_at_mm: [600, -100, 0], roll_deg: -2 }\n"
    "  - { photo: 4.jpg, at_mm: [4600, 200, 2100], look_at_mm: [1200, 0, 0] }\n";

static const char SMALL_STAGE[] = "floor: { reflectance: 0.3 }\n";

static const char SMALL_BOARD_SCENE[] =
    "scene: SMALL-BOARD\n"
    "lens: lens.yaml\n"
    "stage: stage.yaml\n"
    "sheets:\n"
    "  - { checkerboard: { id: B, squares: [7, 5], pitch_mm: 60, margin_mm: 50 },\n"
    "      x_mm: 0, y_mm: 0, z_mm: 1200 }\n"
    "imaging: { blur_px: 0.6, exposure: 1.1, tone: srgb, noise_sd: 1, seed: 9,\n"
    "           jpeg_quality: 92 }\n"
    "cameras:\n"
    "  - { photo: b1.jpg, at_mm: [-340, 0, 1205], look_at_mm: [0, 0, 1203], roll_deg: 1 }\n"
    "  - { photo: b2.jpg, at_mm: [-330, 20, 1450], look_at_mm: [0, 5, 1180], roll_deg: -2 }\n"
    "  - { photo: b3.jpg, at_mm: [-350, 280, 1150], look_at_mm: [0, 40, 1200], roll_deg: 3 }\n"
    "  - { photo: b4.jpg, at_mm: [-350, -290, 1240], look_at_mm: [0, -40, 1200], roll_deg: 2 }\n"
    "  - { photo: b5.jpg, at_mm: [-340, 20, 950], look_at_mm: [0, 10, 1220], roll_deg: -4 }\n"
    "  - { photo: b6.jpg, at_mm: [-430, 0, 1290], look_at_mm: [0, 0, 1180], roll_deg: 90 }\n";

static inline void small_text(const char *folder, const char *name, const char *text) {
    char path[TEMP_SIZE];
    temp_write(temp_path(path, folder, name), text, strlen(text));
}

static inline void small_render(const char *folder, const char *scene_name) {
    char path[TEMP_SIZE];
    tr_scene scene;
    tr_error err = {0};
    if (!tr_scene_read(temp_path(path, folder, scene_name), &scene, &err))
        fail_msg("%s:%d %s %s", err.file, err.line, err.key, err.text);
    for (int i = 0; i < scene.n_cameras; i++) {
        temp_path(path, folder, scene.cameras[i].file);
        if (!tr_scene_photo_write(&scene, i, path, &err)) fail_msg("%s", err.text);
    }
    tr_scene_release(&scene);
}

/* In folder: job.yaml with all that it names, and 1.jpg .. 4.jpg. The check passes. */
static inline void small_job_make(const char *folder) {
    small_text(folder, "lens.yaml", SMALL_LENS);
    small_text(folder, "stage.yaml", SMALL_STAGE);
    small_text(folder, "mat.yaml", SMALL_MAT);
    for (int i = 0; i < 4; i++) {
        char name[24];
        char text[256];
        snprintf(name, sizeof name, "p%d.yaml", i);
        snprintf(text, sizeof text,
                 "sheet: P-%d\ntitle: Plate %d\nkind: plate\nsize_mm: [700, 700]\n"
                 "tag_family: tag36h11\ntags: [{ id: %d, centre_mm: [0, 0], size_mm: 520 }]\n",
                 i, i, i);
        small_text(folder, name, text);
    }
    small_text(folder, "layout.yaml", SMALL_LAYOUT);
    small_text(folder, "job.yaml", SMALL_JOB);
    small_text(folder, "scene.yaml", SMALL_SCENE);
    small_render(folder, "scene.yaml");
}

/* The small job, its plates outside of the wheels, and a layout between the two. */
static const char SMALL_WIDE_HEAD[] = "job: WIDE\n"
                                      "lens: lens.yaml\n"
                                      "layout: ";
static const char SMALL_WIDE_REST[] = "\n"
                                      "sheets: [mat.yaml, p0.yaml, p1.yaml, p2.yaml, p3.yaml]\n"
                                      "references:\n"
                                      "  - { point: rear-left, sheet: P-0, at_mm: [345, 0] }\n"
                                      "  - { point: rear-right, sheet: P-1, at_mm: [345, 0] }\n"
                                      "  - { point: front-left, sheet: P-2, at_mm: [345, 0] }\n"
                                      "  - { point: front-right, sheet: P-3, at_mm: [345, 0] }\n"
                                      "reference_sd_mm: 1.0\n";

/* In folder, beside the small job: wide.yaml, a job to plan, and stations.yaml that reach the aim.
 */
static inline void small_plan_make(const char *folder) {
    char job[1024];
    snprintf(job, sizeof job, "%slayout.yaml%s", SMALL_WIDE_HEAD, SMALL_WIDE_REST);
    small_text(folder, "wide.yaml", job);
    small_text(folder, "stations.yaml",
               "stations:\n"
               "  - { x_mm: -3300, y_mm: 300, height_mm: 1900, look_at_mm: [-500, 0, 0] }\n"
               "  - { x_mm: -2500, y_mm: 2300, height_mm: 2000, look_at_mm: [0, 500, 0] }\n"
               "  - { x_mm: -2500, y_mm: -2300, height_mm: 2000, look_at_mm: [0, -500, 0] }\n"
               "  - { x_mm: 900, y_mm: -2800, height_mm: 2000, look_at_mm: [600, -100, 0] }\n"
               "  - { x_mm: 900, y_mm: 2800, height_mm: 2000, look_at_mm: [600, 100, 0] }\n"
               "  - { x_mm: 5600, y_mm: 200, height_mm: 1300, look_at_mm: [1200, 0, 0] }\n");
}

/* In folder: b1.jpg .. b6.jpg of a board of 7x5 squares of 60 mm, for `trammel lens`. */
static inline void small_boards_make(const char *folder) {
    small_text(folder, "lens.yaml", SMALL_LENS);
    small_text(folder, "stage.yaml", SMALL_STAGE);
    small_text(folder, "boards.yaml", SMALL_BOARD_SCENE);
    small_render(folder, "boards.yaml");
}

#endif
