/* One photo of one printed sheet with exact truth, for tests of what measures marks: the sheet lies
   on the floor about the origin, and the camera looks at it. */
#ifndef TR_TESTS_SHOT_H
#define TR_TESTS_SHOT_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "draw.h"
#include "tools/render/render.h"

enum { SHOT_WIDTH = 560, SHOT_HEIGHT = 440, SHOT_TAGS = 12, SHOT_CORNERS = 60, SHOT_DISCS = 60 };

typedef struct {
    tr_tag tags[SHOT_TAGS];
    tr_vec2 corners_mm[SHOT_CORNERS];
    tr_disc discs[SHOT_DISCS];
    tr_scene_sheet sheet;
    tr_solid solid;
    tr_shadow shadow;
    tr_scene_camera camera;
    tr_scene scene;
    tr_image image;
    tr_seen *seen; /* all tags' corners, then all checker corners, then all discs */
    int n_seen;
} shot;

/* px_per_mm: of the sheet's middle, frontal. tilt_deg: of the line of sight from the sheet's
   normal. A printed sheet without marks; the caller adds them, then calls shot_take. */
static inline void shot_begin(shot *s, double px_per_mm, double tilt_deg, double roll_rad) {
    const double f = 1200;
    double tilt = tilt_deg * TR_RAD_PER_DEG;
    double distance = f / px_per_mm;
    tr_vec3 at = tr_v3(-distance * sin(tilt) - 1e-3, 0, distance * cos(tilt));
    memset(s, 0, sizeof *s);
    s->sheet = (tr_scene_sheet){.sheet = {.id = "SHEET",
                                          .kind = TR_SHEET_MAT,
                                          .width_mm = 1.2 * SHOT_WIDTH / px_per_mm,
                                          .height_mm = 1.2 * SHOT_HEIGHT / px_per_mm / cos(tilt),
                                          .tag_family = "tag36h11",
                                          .tags = s->tags,
                                          .corners_mm = s->corners_mm,
                                          .discs = s->discs},
                                .vehicle_from_sheet =
                                    tr_sheet_pose(TR_SHEET_MAT, tr_v3(0, 0, 0), 0, 0, 0)};
    s->camera =
        (tr_scene_camera){.vehicle_from_camera = tr_camera_pose(at, tr_v3(0, 0, 0), roll_rad),
                          .imaging = tr_imaging_plain()};
    s->camera.imaging.blur_px[0] = s->camera.imaging.blur_px[1] = 0.7;
    s->camera.imaging.tone = TR_TONE_SRGB;
    s->camera.imaging.sharpen_radius_px = 1;
    s->camera.imaging.noise_sd = 2;
    s->camera.imaging.seed = 1;
    s->scene = (tr_scene){.lens = {.id = "shot",
                                   .width_px = SHOT_WIDTH,
                                   .height_px = SHOT_HEIGHT,
                                   .param = {f, 1199, 283.1, 216.7, 0.08, -0.2, 4e-4, -2e-4, 0.1}},
                          .sheets = &s->sheet,
                          .n_sheets = 1,
                          .floor_reflectance = 0.3,
                          .cameras = &s->camera,
                          .n_cameras = 1};
}

/* A smaller photo of the same middle. */
static inline void shot_crop(shot *s, int width_px, int height_px) {
    tr_lens *lens = &s->scene.lens;
    lens->param[TR_CX] -= (lens->width_px - width_px) / 2.0;
    lens->param[TR_CY] -= (lens->height_px - height_px) / 2.0;
    lens->width_px = width_px;
    lens->height_px = height_px;
}

static inline void shot_take(shot *s) {
    tr_error err = {0};
    if (!tr_scene_photo(&s->scene, 0, &s->image, NULL, &err)) fail_msg("%s", err.text);
    s->seen = tr_scene_truth(&s->scene, 0, &s->n_seen, &err);
    assert_int_equal(s->n_seen, 3 * s->sheet.sheet.n_tags + tr_sheet_n_marks(&s->sheet.sheet));
}

static inline void shot_end(shot *s) {
    free(s->seen);
    tr_image_release(&s->image);
}

static inline bool shot_shows(const shot *s, tr_vec2 uv_px, double rim_px) {
    return uv_px.x >= rim_px && uv_px.y >= rim_px && uv_px.x <= s->image.width - 1 - rim_px &&
           uv_px.y <= s->image.height - 1 - rim_px;
}

/* The four true corners of a tag; false where the photo does not show it whole, some px off its
   rim. */
static inline bool shot_tag(const shot *s, int tag, tr_vec2 uv_px[4]) {
    bool is_whole = true;
    for (int k = 0; k < 4; k++) {
        const tr_seen *c = &s->seen[4 * tag + k];
        uv_px[k] = c->uv_px;
        is_whole = is_whole && c->is_projected && shot_shows(s, c->uv_px, 8);
    }
    return is_whole;
}

#endif
