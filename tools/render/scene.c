/* Scenes: poses, checkerboards, photos, truth. */
#include "tools/render/render.h"

#include <stdio.h>
#include <stdlib.h>

#include "tools/render/colour_jpeg.h"
#include "tools/render/develop.h"
#include "tools/render/light.h"
#include "tools/render/stage.h"

tr_imaging tr_imaging_plain(void) {
    return (tr_imaging){.exposure = 1, .tone = TR_TONE_LINEAR, .jpeg_quality = 95};
}

void tr_scene_release(tr_scene *scene) {
    for (int i = 0; i < scene->n_sheets; i++) tr_sheet_release(&scene->sheets[i].sheet);
    free(scene->sheets);
    free(scene->solids);
    free(scene->lines);
    free(scene->shadows);
    free(scene->cameras);
    *scene = (tr_scene){0};
}

/* ---- poses ---- */

tr_pose tr_sheet_pose(tr_sheet_kind kind, tr_vec3 centre_mm, double yaw_rad, double pitch_rad,
                      double roll_rad) {
    bool is_upright = kind == TR_SHEET_BOARD || kind == TR_SHEET_HUB;
    tr_vec3 right = tr_v3(0, -1, 0);
    tr_vec3 up = is_upright ? tr_v3(0, 0, 1) : tr_v3(1, 0, 0);
    tr_mat3 R0 = tr_m3_from_columns(right, up, tr_v3_cross(right, up));
    tr_mat3 Rz = tr_rotation_z(yaw_rad);
    tr_mat3 Ry = tr_rotation_from_vector(tr_v3(0, pitch_rad, 0));
    tr_mat3 Rx = tr_rotation_from_vector(tr_v3(roll_rad, 0, 0));
    return (tr_pose){tr_m3_mul(Rz, tr_m3_mul(Ry, tr_m3_mul(Rx, R0))), centre_mm};
}

static tr_vec3 unit(tr_vec3 v) {
    return tr_v3_scale(1 / tr_v3_norm(v), v);
}

tr_pose tr_camera_pose(tr_vec3 at_mm, tr_vec3 look_at_mm, double roll_rad) {
    tr_vec3 forward = unit(tr_v3_sub(look_at_mm, at_mm));
    /* Straight down or up there is no upright image: its top then points forward. */
    bool is_vertical = hypot(forward.x, forward.y) < 1e-9;
    tr_vec3 up = is_vertical ? tr_v3(1, 0, 0) : tr_v3(0, 0, 1);
    tr_vec3 right = unit(tr_v3_cross(forward, up));
    tr_vec3 down = tr_v3_cross(forward, right);
    tr_mat3 R = tr_m3_from_columns(right, down, forward);
    /* The camera turns clockwise: its right goes towards its down. */
    return (tr_pose){tr_m3_mul(R, tr_rotation_z(roll_rad)), at_mm};
}

bool tr_checkerboard(const char *id, tr_sheet_kind kind, int columns, int rows, double pitch_mm,
                     double margin_mm, tr_scene_sheet *out, tr_error *err) {
    int n = (columns - 1) * (rows - 1);
    *out = (tr_scene_sheet){
        .squares = {columns, rows}, .pitch_mm = pitch_mm, .vehicle_from_sheet = tr_pose_identity()};
    tr_sheet *sheet = &out->sheet;
    snprintf(sheet->id, sizeof sheet->id, "%s", id);
    sheet->kind = kind;
    sheet->width_mm = columns * pitch_mm + 2 * margin_mm;
    sheet->height_mm = rows * pitch_mm + 2 * margin_mm;
    sheet->corners_mm = calloc((size_t)n + 1, sizeof *sheet->corners_mm);
    if (!sheet->corners_mm) return tr_fail_memory(err);
    sheet->n_corners = n;
    for (int i = 0; i < n; i++) {
        int column = i % (columns - 1) + 1;
        int row = i / (columns - 1) + 1;
        sheet->corners_mm[i] =
            tr_v2((column - columns / 2.0) * pitch_mm, (rows / 2.0 - row) * pitch_mm);
    }
    return true;
}

/* ---- photos ---- */

void tr_chroma_release(tr_chroma *chroma) {
    free(chroma->cb);
    free(chroma->cr);
    *chroma = (tr_chroma){0};
}

static bool chroma_init(tr_chroma *chroma, const tr_lens *lens, tr_error *err) {
    size_t n = (size_t)lens->width_px * (size_t)lens->height_px;
    chroma->cb = calloc(n, 1);
    chroma->cr = calloc(n, 1);
    if (chroma->cb && chroma->cr) return true;
    tr_chroma_release(chroma);
    return tr_fail_memory(err);
}

/* 128 + tint becomes 128 + tint Y / 255. */
static void tint_by_light(uint8_t *plane, const tr_image *grey) {
    for (long i = 0; i < (long)grey->width * grey->height; i++) {
        plane[i] = (uint8_t)lrint(128 + (plane[i] - 128) * grey->px[i] / 255.0);
    }
}

bool tr_scene_photo(const tr_scene *scene, int camera, tr_image *out, tr_chroma *chroma,
                    tr_error *err) {
    *out = (tr_image){0};
    if (chroma) {
        *chroma = (tr_chroma){0};
        if (!chroma_init(chroma, &scene->lens, err)) return false;
    }
    float *light = tr_light_make(scene, camera, chroma, err);
    bool ok = light && tr_develop(light, scene->lens.width_px, scene->lens.height_px,
                                  &scene->cameras[camera].imaging, out, err);
    if (ok && chroma) {
        tint_by_light(chroma->cb, out);
        tint_by_light(chroma->cr, out);
    } else if (chroma) {
        tr_chroma_release(chroma);
    }
    free(light);
    return ok;
}

bool tr_scene_photo_write(const tr_scene *scene, int camera, const char *path, tr_error *err) {
    if (camera < 0 || camera >= scene->n_cameras) {
        return tr_fail(err, TR_BAD_INPUT, "the scene has no camera %d; it has %d", camera,
                       scene->n_cameras);
    }
    const tr_imaging *imaging = &scene->cameras[camera].imaging;
    tr_image image;
    tr_chroma chroma = {0};
    bool ok = tr_scene_photo(scene, camera, &image, imaging->is_colour ? &chroma : NULL, err);
    if (ok) {
        ok = imaging->is_colour
                 ? tr_colour_jpeg_write(&image, &chroma, imaging->jpeg_quality, path, err)
                 : tr_image_write_jpeg(&image, imaging->jpeg_quality, path, err);
    }
    tr_image_release(&image);
    tr_chroma_release(&chroma);
    return ok;
}

/* ---- truth ---- */

static bool is_in_image(const tr_lens *lens, tr_vec2 uv_px) {
    return uv_px.x >= -0.5 && uv_px.y >= -0.5 && uv_px.x <= lens->width_px - 0.5 &&
           uv_px.y <= lens->height_px - 0.5;
}

/* From the middle row's camera to the row in which the point is seen: each step adds some three
   digits. *q: the point in that row's camera frame. */
static bool project_moving(const tr_stage *stage, tr_vec3 p, tr_vec3 *q, tr_vec2 *uv_px) {
    double row = 0;
    for (int step = 0; step < 20; step++) {
        *q = stage->is_moving ? tr_pose_apply(tr_stage_moved(stage, row), p) : p;
        if (!tr_lens_project(&stage->lens, *q, uv_px, NULL, NULL)) return false;
        double seen_at = tr_stage_row(stage, *uv_px);
        if (!stage->is_moving || fabs(seen_at - row) < 1e-13) return true;
        row = seen_at;
    }
    return true;
}

static void see(const tr_scene *scene, const tr_stage *stage, tr_seen *seen) {
    const tr_scene_sheet *sheet = &scene->sheets[seen->sheet];
    tr_pose camera_from_sheet =
        tr_pose_mul(tr_pose_inverse(stage->vehicle_from_camera), sheet->vehicle_from_sheet);
    tr_vec3 p = tr_pose_apply(camera_from_sheet, tr_scene_sheet_point(sheet, seen->p_sheet_mm));
    tr_vec3 q;
    seen->is_projected = project_moving(stage, p, &q, &seen->uv_px);
    if (!seen->is_projected || !is_in_image(&scene->lens, seen->uv_px)) return;
    tr_hit hit =
        tr_stage_trace(stage, tr_stage_ray(stage, seen->uv_px, tr_v2(q.x / q.z, q.y / q.z)));
    seen->is_visible = hit.surface == TR_SURFACE_SHEETS + seen->sheet && !hit.is_back;
}

tr_seen *tr_scene_truth(const tr_scene *scene, int camera, int *n, tr_error *err) {
    *n = 0;
    int total = 0;
    for (int i = 0; i < scene->n_sheets; i++) {
        total += 3 * scene->sheets[i].sheet.n_tags + tr_sheet_n_marks(&scene->sheets[i].sheet);
    }
    tr_stage stage;
    if (!tr_stage_make(scene, camera, &stage, err)) return NULL;
    tr_seen *all = total > 0 ? calloc((size_t)total, sizeof *all) : NULL;
    if (!all && total > 0) tr_fail_memory(err);
    for (int i = 0; i < scene->n_sheets && all; i++) {
        const tr_sheet *sheet = &scene->sheets[i].sheet;
        for (int k = 0; k < 4 * sheet->n_tags; k++) {
            all[(*n)++] = (tr_seen){.sheet = i,
                                    .tag = k / 4,
                                    .corner = k % 4,
                                    .disc = -1,
                                    .p_sheet_mm = tr_tag_corner(&sheet->tags[k / 4], k % 4)};
        }
        for (int k = 0; k < sheet->n_corners; k++) {
            all[(*n)++] = (tr_seen){
                .sheet = i, .tag = -1, .corner = k, .disc = -1, .p_sheet_mm = sheet->corners_mm[k]};
        }
        for (int k = 0; k < sheet->n_discs; k++) {
            all[(*n)++] = (tr_seen){.sheet = i,
                                    .tag = -1,
                                    .corner = -1,
                                    .disc = k,
                                    .p_sheet_mm = sheet->discs[k].centre_mm};
        }
    }
    for (int k = 0; k < *n; k++) see(scene, &stage, &all[k]);
    tr_stage_release(&stage);
    return all;
}
