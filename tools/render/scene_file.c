/* The scene file:

     scene: DEMO
     lens: lens/phone.yaml           # lens profile
     stage: workshop.stage.yaml      # optional: what is there besides sheets, see below
     sheets:
       - sheet: sheets/mat-7.yaml    # sheet file, or instead of it
                                     #   checkerboard: { id: B-1, squares: [10, 7],
                                     #                   pitch_mm: 40, margin_mm: 30 }
         x_mm: -1800                 # where its origin lies in the vehicle frame
         y_mm: 0
         z_mm: 0                     # optional, as all that follow
         yaw_deg: 0                  # see tr_sheet_pose
         pitch_deg: 0
         roll_deg: 0
         checker_mm: 40              # edge of each square at a checker corner
         scale: [1, 1]               # of the print along x and y
         bow_mm: [0, 0]              # how far the middle stands out, along x and y
         ink_mm: 0.1                 # how far ink has run
         relief:                     # see relief.h; all optional
           sides_mm: [1, 0.5, 0, 1]  # left, right, bottom, top
           corners_mm: [1, 0, 1, 1]  # left bottom, right bottom, left top, right top
           reach_mm: 300
           wave_mm: 0.2
           wave_length_mm: 1200      # from crest to crest ...
           wave_deg: 30              # ... along this direction, anticlockwise from x
           wave_phase_deg: 0
     imaging:                        # all optional; see tr_imaging
       blur_px: 0.7
       blur_v_px: 0.7                # where it differs along v
       exposure: 1
       vignetting: 0.2
       gradient: [0.1, 0]
       tone: srgb                    # linear | srgb | s-curve
       raw_noise_sd: 3
       denoise_radius_px: 1
       local_contrast: 0.2
       local_radius_px: 40
       sharpen: 0.5
       sharpen_radius_px: 1.0
       noise_sd: 2
       seed: 1                       # photo k (from 0) uses seed + k
       jpeg_quality: 90
       is_colour: true
     cameras:
       - photo: 1.jpg
         at_mm: [-4000, 1200, 1500]
         look_at_mm: [-1000, 0, 0]   # or instead of it rotation: nine numbers, row by row, of
                                     #   vehicle_from_camera
         roll_deg: 2                 # optional, as all that follow; see tr_scene_camera
         shift_px: [4, -6]
         focal: 0.001
         turn_deg: [0.01, 0, -0.02]
         travel_mm: [0.2, 0, 0.1]
         imaging: { blur_px: 1.0 }   # what is different in this photo

   The stage file, with all keys optional:

     floor: { reflectance: 0.3, texture: 1, tint: [-2, 2] }
     lines:
       - from_mm: [-3000, 2000]
         to_mm: [5000, 2000]
         width_mm: 80
         reflectance: 0.6
         tint: [-20, 4]
     solids:                         # y_mm: from, to
       - outline_xz_mm: [[0, 300], [900, 300], [900, 800], [0, 800]]
         y_mm: [-900, 900]
         reflectance: 0.1
         tint: [6, -3]
       - { centre_xz_mm: [0, 310], radius_mm: 310, y_mm: [560, 765], reflectance: 0.04 }
     shadows:
       - corners_mm: [[-900, -900], [3600, -900], [3600, 900], [-900, 900]]
         softness_mm: 300
         strength: 0.5
*/
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/yaml.h"
#include "lens/profile.h"
#include "tools/render/render.h"

enum { MAX_SHEETS = 64, MAX_CAMERAS = 1000, MAX_THINGS = 500, MAX_SQUARES = 100 };

static const double FAR_MM = 1e6;

static double optional_number(tr_yaml y, const char *key, double otherwise, double low,
                              double high) {
    tr_yaml at = tr_yaml_at(y, key);
    return tr_yaml_has(at) ? tr_yaml_number(at, low, high) : otherwise;
}

static void optional_numbers(tr_yaml y, const char *key, double *values, int n, double low,
                             double high) {
    tr_yaml at = tr_yaml_at(y, key);
    if (tr_yaml_has(at)) tr_yaml_numbers(at, values, n, low, high);
}

static tr_vec2 read_vec2(tr_yaml y) {
    double p[2] = {0, 0};
    tr_yaml_numbers(y, p, 2, -FAR_MM, FAR_MM);
    return tr_v2(p[0], p[1]);
}

static tr_vec3 read_vec3(tr_yaml y) {
    double p[3] = {0, 0, 0};
    tr_yaml_numbers(y, p, 3, -FAR_MM, FAR_MM);
    return tr_v3(p[0], p[1], p[2]);
}

/* ---- stage ---- */

static double read_reflectance(tr_yaml y) {
    return tr_yaml_number(tr_yaml_at(y, "reflectance"), 0, 1);
}

static void read_tint(tr_yaml y, double tint[2]) {
    optional_numbers(y, "tint", tint, 2, -100, 100);
}

static int read_outline(tr_yaml y, int min, tr_vec2 out[TR_MAX_OUTLINE]) {
    int n = 0;
    free(tr_yaml_array(y, min, TR_MAX_OUTLINE, 1, &n));
    for (int i = 0; i < n; i++) out[i] = read_vec2(tr_yaml_item(y, i));
    return n;
}

static tr_floor_line read_line(tr_yaml y) {
    tr_floor_line line = {0};
    tr_yaml_keys(y, "from_mm to_mm width_mm reflectance tint?");
    line.from_mm = read_vec2(tr_yaml_at(y, "from_mm"));
    line.to_mm = read_vec2(tr_yaml_at(y, "to_mm"));
    if (tr_yaml_has(y) && tr_v2_norm(tr_v2_sub(line.to_mm, line.from_mm)) < 1) {
        tr_yaml_fail(tr_yaml_at(y, "to_mm"), "is the same place as from_mm; give another");
    }
    line.width_mm = tr_yaml_size(tr_yaml_at(y, "width_mm"), FAR_MM);
    line.reflectance = read_reflectance(y);
    read_tint(y, line.tint);
    return line;
}

/* Going round, every corner turns the same way. */
static bool is_convex(const tr_vec2 *p, int n) {
    bool has_left = false, has_right = false;
    for (int i = 0; i < n; i++) {
        tr_vec2 in = tr_v2_sub(p[(i + 1) % n], p[i]);
        tr_vec2 out = tr_v2_sub(p[(i + 2) % n], p[(i + 1) % n]);
        double turn = tr_v2_cross(in, out);
        if (!(fabs(turn) > 0)) return false;
        has_left = has_left || turn > 0;
        has_right = has_right || turn < 0;
    }
    return !(has_left && has_right);
}

static tr_solid read_solid(tr_yaml y) {
    tr_solid solid = {0};
    tr_yaml outline = tr_yaml_at(y, "outline_xz_mm");
    if (tr_yaml_has(outline)) {
        tr_yaml_keys(y, "outline_xz_mm y_mm reflectance tint?");
        solid.n_outline = read_outline(outline, 3, solid.outline_xz_mm);
        if (tr_yaml_has(y) && !is_convex(solid.outline_xz_mm, solid.n_outline)) {
            tr_yaml_fail(outline, "is not convex; divide the solid");
        }
    } else {
        tr_yaml_keys(y, "centre_xz_mm radius_mm y_mm reflectance tint?");
        tr_yaml_numbers(tr_yaml_at(y, "centre_xz_mm"), solid.centre_xz_mm, 2, -FAR_MM, FAR_MM);
        solid.radius_mm = tr_yaml_size(tr_yaml_at(y, "radius_mm"), FAR_MM);
    }
    tr_yaml_numbers(tr_yaml_at(y, "y_mm"), solid.y_mm, 2, -FAR_MM, FAR_MM);
    solid.reflectance = read_reflectance(y);
    read_tint(y, solid.tint);
    return solid;
}

static tr_shadow read_shadow(tr_yaml y) {
    tr_shadow shadow = {0};
    tr_yaml_keys(y, "corners_mm softness_mm strength");
    shadow.n_corners = read_outline(tr_yaml_at(y, "corners_mm"), 2, shadow.corner_mm);
    shadow.softness_mm = tr_yaml_number(tr_yaml_at(y, "softness_mm"), 10, FAR_MM);
    shadow.strength = tr_yaml_number(tr_yaml_at(y, "strength"), 0, 1);
    return shadow;
}

static void read_floor(tr_yaml y, tr_scene *scene) {
    tr_yaml_keys(y, "reflectance texture? tint?");
    scene->floor_reflectance = read_reflectance(y);
    scene->floor_texture = optional_number(y, "texture", 0, 0, 5);
    read_tint(y, scene->floor_tint);
}

static void read_stage(const char *path, tr_scene *scene, tr_error *err) {
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "floor? lines? solids? shadows?");
    tr_yaml floor = tr_yaml_at(y, "floor");
    if (tr_yaml_has(floor)) read_floor(floor, scene);
    tr_yaml lines = tr_yaml_at(y, "lines");
    scene->lines = tr_yaml_array(lines, 0, MAX_THINGS, sizeof *scene->lines, &scene->n_lines);
    for (int i = 0; i < scene->n_lines; i++) scene->lines[i] = read_line(tr_yaml_item(lines, i));
    tr_yaml solids = tr_yaml_at(y, "solids");
    scene->solids = tr_yaml_array(solids, 0, MAX_THINGS, sizeof *scene->solids, &scene->n_solids);
    for (int i = 0; i < scene->n_solids; i++) {
        scene->solids[i] = read_solid(tr_yaml_item(solids, i));
    }
    tr_yaml shadows = tr_yaml_at(y, "shadows");
    scene->shadows =
        tr_yaml_array(shadows, 0, MAX_THINGS, sizeof *scene->shadows, &scene->n_shadows);
    for (int i = 0; i < scene->n_shadows; i++) {
        scene->shadows[i] = read_shadow(tr_yaml_item(shadows, i));
    }
    (void)!tr_yaml_close(y, err); /* what is wrong stands in err */
}

/* ---- sheets ---- */

static void read_checkerboard(tr_yaml y, tr_scene_sheet *out) {
    char id[64] = "";
    int squares[2] = {2, 2};
    tr_error err = {0};
    tr_yaml_keys(y, "id squares pitch_mm margin_mm");
    tr_yaml_text(tr_yaml_at(y, "id"), id, sizeof id);
    tr_yaml_integers(tr_yaml_at(y, "squares"), squares, 2, 2, MAX_SQUARES);
    double pitch_mm = tr_yaml_size(tr_yaml_at(y, "pitch_mm"), FAR_MM);
    double margin_mm = tr_yaml_number(tr_yaml_at(y, "margin_mm"), 0, FAR_MM);
    if (!tr_yaml_has(y)) return;
    if (!tr_checkerboard(id, TR_SHEET_BOARD, squares[0], squares[1], pitch_mm, margin_mm, out,
                         &err)) {
        tr_yaml_fail_memory(y);
    }
}

static void read_print(tr_yaml y, tr_scene_sheet *out) {
    tr_error err = {0};
    tr_yaml at = tr_yaml_at(y, "sheet");
    char *path = tr_yaml_path(at);
    if (path && !tr_sheet_read_any(path, &out->sheet, &err)) tr_yaml_fail_inside(at, &err);
    free(path);
}

static void read_relief(tr_yaml y, tr_relief *out) {
    if (!tr_yaml_has(y)) return;
    tr_yaml_keys(y, "sides_mm? corners_mm? reach_mm? wave_mm? wave_length_mm? wave_deg? "
                    "wave_phase_deg?");
    optional_numbers(y, "sides_mm", out->side_mm, 4, -100, 100);
    optional_numbers(y, "corners_mm", out->corner_mm, 4, -100, 100);
    out->reach_mm = optional_number(y, "reach_mm", 0, 0, FAR_MM);
    out->wave_mm = optional_number(y, "wave_mm", 0, -100, 100);
    double length_mm = optional_number(y, "wave_length_mm", 1000, 100, FAR_MM);
    double along_rad = TR_RAD_PER_DEG * optional_number(y, "wave_deg", 0, -360, 360);
    out->wave_rad_per_mm[0] = 2 * TR_PI / length_mm * cos(along_rad);
    out->wave_rad_per_mm[1] = 2 * TR_PI / length_mm * sin(along_rad);
    out->wave_rad = TR_RAD_PER_DEG * optional_number(y, "wave_phase_deg", 0, -360, 360);
}

static void read_sheet(tr_yaml y, tr_scene_sheet *out) {
    tr_yaml board = tr_yaml_at(y, "checkerboard");
    if (tr_yaml_has(board)) {
        tr_yaml_keys(y, "checkerboard x_mm y_mm z_mm? yaw_deg? pitch_deg? roll_deg? scale? bow_mm? "
                        "ink_mm? relief?");
        read_checkerboard(board, out);
    } else {
        tr_yaml_keys(y, "sheet x_mm y_mm z_mm? yaw_deg? pitch_deg? roll_deg? checker_mm? scale? "
                        "bow_mm? ink_mm? relief?");
        read_print(y, out);
    }
    double scale[2] = {1, 1};
    tr_yaml checker = tr_yaml_at(y, "checker_mm");
    out->checker_mm = tr_yaml_has(checker) ? tr_yaml_size(checker, FAR_MM) : 40;
    optional_numbers(y, "scale", scale, 2, 0.5, 2);
    optional_numbers(y, "bow_mm", out->bow_mm, 2, -FAR_MM, FAR_MM);
    out->ink_mm = optional_number(y, "ink_mm", 0, 0, 10);
    read_relief(tr_yaml_at(y, "relief"), &out->relief);
    for (int k = 0; k < 2; k++) out->print_scale[k] = scale[k] - 1;
    tr_vec3 centre_mm = tr_v3(tr_yaml_number(tr_yaml_at(y, "x_mm"), -FAR_MM, FAR_MM),
                              tr_yaml_number(tr_yaml_at(y, "y_mm"), -FAR_MM, FAR_MM),
                              optional_number(y, "z_mm", 0, -FAR_MM, FAR_MM));
    double yaw_deg = optional_number(y, "yaw_deg", 0, -360, 360);
    double pitch_deg = optional_number(y, "pitch_deg", 0, -360, 360);
    double roll_deg = optional_number(y, "roll_deg", 0, -360, 360);
    out->vehicle_from_sheet = tr_sheet_pose(out->sheet.kind, centre_mm, TR_RAD_PER_DEG * yaw_deg,
                                            TR_RAD_PER_DEG * pitch_deg, TR_RAD_PER_DEG * roll_deg);
}

/* ---- cameras ---- */

static void read_imaging(tr_yaml y, tr_imaging *imaging) {
    static const char *const TONES[] = {"linear", "srgb", "s-curve"};
    static const char *const BOOLEANS[] = {"false", "true"};
    if (!tr_yaml_has(y)) return;
    tr_yaml_keys(y,
                 "blur_px? blur_v_px? exposure? vignetting? gradient? tone? raw_noise_sd? "
                 "denoise_radius_px? local_contrast? local_radius_px? sharpen? sharpen_radius_px? "
                 "noise_sd? seed? jpeg_quality? is_colour?");
    if (tr_yaml_has(tr_yaml_at(y, "blur_px"))) {
        imaging->blur_px[0] = tr_yaml_number(tr_yaml_at(y, "blur_px"), 0, 100);
        imaging->blur_px[1] = imaging->blur_px[0];
    }
    imaging->blur_px[1] = optional_number(y, "blur_v_px", imaging->blur_px[1], 0, 100);
    imaging->exposure = optional_number(y, "exposure", imaging->exposure, 0, 100);
    imaging->vignetting = optional_number(y, "vignetting", imaging->vignetting, -1, 1);
    optional_numbers(y, "gradient", imaging->gradient, 2, -1, 1);
    tr_yaml tone = tr_yaml_at(y, "tone");
    if (tr_yaml_has(tone)) imaging->tone = (tr_tone)tr_yaml_choice(tone, TONES, 3);
    imaging->raw_noise_sd = optional_number(y, "raw_noise_sd", imaging->raw_noise_sd, 0, 255);
    imaging->denoise_radius_px =
        optional_number(y, "denoise_radius_px", imaging->denoise_radius_px, 0, 20);
    imaging->local_contrast = optional_number(y, "local_contrast", imaging->local_contrast, 0, 1);
    imaging->local_radius_px =
        optional_number(y, "local_radius_px", imaging->local_radius_px, 0, 1000);
    imaging->sharpen = optional_number(y, "sharpen", imaging->sharpen, -10, 10);
    imaging->sharpen_radius_px =
        optional_number(y, "sharpen_radius_px", imaging->sharpen_radius_px, 0, 100);
    imaging->noise_sd = optional_number(y, "noise_sd", imaging->noise_sd, 0, 255);
    tr_yaml seed = tr_yaml_at(y, "seed");
    if (tr_yaml_has(seed)) imaging->seed = (uint64_t)tr_yaml_integer(seed, 0, 1000000000);
    tr_yaml quality = tr_yaml_at(y, "jpeg_quality");
    if (tr_yaml_has(quality)) imaging->jpeg_quality = tr_yaml_integer(quality, 1, 100);
    tr_yaml colour = tr_yaml_at(y, "is_colour");
    if (tr_yaml_has(colour)) imaging->is_colour = tr_yaml_choice(colour, BOOLEANS, 2) == 1;
}

/* A name without a folder, so that all photos of a scene lie in one. */
static void read_photo_name(tr_yaml y, tr_scene_camera *out) {
    tr_yaml_text(y, out->file, sizeof out->file);
    if (strchr(out->file, '/')) tr_yaml_fail(y, "has a '/'; give the name of a file alone");
}

static void read_phone(tr_yaml y, tr_scene_camera *out) {
    double shift_px[2] = {0, 0};
    double turn_deg[3] = {0, 0, 0};
    double travel_mm[3] = {0, 0, 0};
    optional_numbers(y, "shift_px", shift_px, 2, -1000, 1000);
    out->focal = optional_number(y, "focal", 0, -0.5, 0.5);
    optional_numbers(y, "turn_deg", turn_deg, 3, -10, 10);
    optional_numbers(y, "travel_mm", travel_mm, 3, -1000, 1000);
    out->shift_px = tr_v2(shift_px[0], shift_px[1]);
    out->turn_rad = tr_v3_scale(TR_RAD_PER_DEG, tr_v3(turn_deg[0], turn_deg[1], turn_deg[2]));
    out->travel_mm = tr_v3(travel_mm[0], travel_mm[1], travel_mm[2]);
}

static void read_camera(tr_yaml y, int index, const tr_imaging *imaging, tr_scene_camera *out) {
    tr_yaml rotation = tr_yaml_at(y, "rotation");
    bool is_explicit = tr_yaml_has(rotation);
    tr_yaml_keys(y, is_explicit
                        ? "photo at_mm rotation shift_px? focal? turn_deg? travel_mm? imaging?"
                        : "photo at_mm look_at_mm roll_deg? shift_px? focal? turn_deg? "
                          "travel_mm? imaging?");
    read_photo_name(tr_yaml_at(y, "photo"), out);
    out->imaging = *imaging;
    out->imaging.seed += (uint64_t)index;
    read_imaging(tr_yaml_at(y, "imaging"), &out->imaging);
    read_phone(y, out);
    tr_vec3 at_mm = read_vec3(tr_yaml_at(y, "at_mm"));
    if (is_explicit) {
        tr_mat3 R = tr_m3_identity();
        tr_yaml_numbers(rotation, &R.m[0][0], 9, -1, 1);
        out->vehicle_from_camera.t_mm = at_mm;
        if (tr_yaml_has(y) && !tr_rotation_nearest(R, &out->vehicle_from_camera.R)) {
            tr_yaml_fail(rotation, "is not a rotation; give its nine numbers row by row");
        }
        return;
    }
    tr_vec3 look_at_mm = read_vec3(tr_yaml_at(y, "look_at_mm"));
    double roll_deg = optional_number(y, "roll_deg", 0, -360, 360);
    if (tr_yaml_has(y) && tr_v3_norm(tr_v3_sub(look_at_mm, at_mm)) < 1) {
        tr_yaml_fail(tr_yaml_at(y, "look_at_mm"), "is where the camera is; give another point");
    }
    out->vehicle_from_camera = tr_camera_pose(at_mm, look_at_mm, TR_RAD_PER_DEG * roll_deg);
}

/* ---- all together ---- */

static void read_lens(tr_yaml y, tr_lens *out) {
    tr_error err = {0};
    char *path = tr_yaml_path(y);
    if (path && !tr_lens_profile_read(path, out, &err)) tr_yaml_fail_inside(y, &err);
    free(path);
}

bool tr_scene_read(const char *path, tr_scene *out, tr_error *err) {
    tr_scene scene = {.floor_reflectance = 0.3};
    tr_imaging imaging = tr_imaging_plain();
    *out = (tr_scene){0};
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "scene lens stage? sheets imaging? cameras");
    tr_yaml_text(tr_yaml_at(y, "scene"), scene.id, sizeof scene.id);
    read_lens(tr_yaml_at(y, "lens"), &scene.lens);
    tr_yaml stage = tr_yaml_at(y, "stage");
    char *stage_path = tr_yaml_path(stage);
    if (stage_path) {
        tr_error cause = {0};
        read_stage(stage_path, &scene, &cause);
        if (cause.code != TR_OK) tr_yaml_fail_inside(stage, &cause);
    }
    free(stage_path);
    tr_yaml sheets = tr_yaml_at(y, "sheets");
    scene.sheets = tr_yaml_array(sheets, 0, MAX_SHEETS, sizeof *scene.sheets, &scene.n_sheets);
    for (int i = 0; i < scene.n_sheets; i++) read_sheet(tr_yaml_item(sheets, i), &scene.sheets[i]);
    read_imaging(tr_yaml_at(y, "imaging"), &imaging);
    tr_yaml cameras = tr_yaml_at(y, "cameras");
    scene.cameras = tr_yaml_array(cameras, 1, MAX_CAMERAS, sizeof *scene.cameras, &scene.n_cameras);
    for (int i = 0; i < scene.n_cameras; i++) {
        read_camera(tr_yaml_item(cameras, i), i, &imaging, &scene.cameras[i]);
    }
    if (!tr_yaml_close(y, err)) {
        tr_scene_release(&scene);
        return false;
    }
    *out = scene;
    return true;
}
