/* The truth of a scene as JSON. */
#include "tools/render/render.h"

#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "base/file.h"

static json_t *pair(double a, double b) {
    return json_pack("[f, f]", a, b);
}

static json_t *numbers(const double *x, int n) {
    json_t *list = json_array();
    for (int i = 0; i < n; i++) json_array_append_new(list, json_real(x[i]));
    return list;
}

static json_t *pose_json(tr_pose pose) {
    tr_vec3 t = pose.t_mm;
    return json_pack("{s:o, s:[f, f, f]}", "rotation", numbers(&pose.R.m[0][0], 9), "at_mm", t.x,
                     t.y, t.z);
}

static json_t *lens_json(const tr_lens *lens) {
    const double *p = lens->param;
    return json_pack("{s:s, s:[i, i], s:f, s:f, s:f, s:f, s:o}", "lens", lens->id, "image_px",
                     lens->width_px, lens->height_px, "fx_px", p[TR_FX], "fy_px", p[TR_FY], "cx_px",
                     p[TR_CX], "cy_px", p[TR_CY], "distortion", numbers(p + TR_K1, 5));
}

static json_t *relief_json(const tr_relief *r) {
    return json_pack("{s:o, s:o, s:f, s:f, s:o, s:f}", "sides_mm", numbers(r->side_mm, 4),
                     "corners_mm", numbers(r->corner_mm, 4), "reach_mm", r->reach_mm, "wave_mm",
                     r->wave_mm, "wave_rad_per_mm", numbers(r->wave_rad_per_mm, 2), "wave_rad",
                     r->wave_rad);
}

/* Angles of R = Rz(yaw) Ry(pitch) Rx(roll) R0, R0 being the kind's rotation at 0, 0, 0. */
static json_t *sheet_json(const tr_scene_sheet *sheet) {
    tr_pose at_rest = tr_sheet_pose(sheet->sheet.kind, tr_v3(0, 0, 0), 0, 0, 0);
    tr_mat3 R = tr_m3_mul(sheet->vehicle_from_sheet.R, tr_m3_transpose(at_rest.R));
    tr_vec3 t = sheet->vehicle_from_sheet.t_mm;
    return json_pack("{s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:o, s:o, s:f, s:o}", "sheet",
                     sheet->sheet.id, "kind", tr_sheet_kind_name(sheet->sheet.kind), "x_mm", t.x,
                     "y_mm", t.y, "z_mm", t.z, "yaw_deg",
                     TR_DEG_PER_RAD * atan2(R.m[1][0], R.m[0][0]), "pitch_deg",
                     TR_DEG_PER_RAD * atan2(-R.m[2][0], hypot(R.m[2][1], R.m[2][2])), "roll_deg",
                     TR_DEG_PER_RAD * atan2(R.m[2][1], R.m[2][2]), "scale",
                     pair(1 + sheet->print_scale[0], 1 + sheet->print_scale[1]), "bow_mm",
                     pair(sheet->bow_mm[0], sheet->bow_mm[1]), "ink_mm", sheet->ink_mm, "relief",
                     relief_json(&sheet->relief));
}

static json_t *seen_json(const tr_scene *scene, const tr_seen *seen) {
    const tr_sheet *sheet = &scene->sheets[seen->sheet].sheet;
    json_t *px = seen->is_projected ? pair(seen->uv_px.x, seen->uv_px.y) : json_null();
    json_t *mark = json_pack(
        "{s:s, s:i, s:o, s:o, s:b}", "sheet", sheet->id, seen->disc >= 0 ? "disc" : "corner",
        seen->disc >= 0 ? seen->disc : seen->corner, "at_mm",
        pair(seen->p_sheet_mm.x, seen->p_sheet_mm.y), "px", px, "visible", (int)seen->is_visible);
    if (seen->tag >= 0) {
        json_object_set_new(mark, "tag", json_integer(sheet->tags[seen->tag].id));
    }
    return mark;
}

/* NULL: memory ran out. */
static json_t *photo_json(const tr_scene *scene, int camera, tr_error *err) {
    int n = 0;
    tr_seen *seen = tr_scene_truth(scene, camera, &n, err);
    json_t *marks = json_array();
    for (int i = 0; i < n; i++) json_array_append_new(marks, seen_json(scene, &seen[i]));
    const tr_scene_camera *c = &scene->cameras[camera];
    tr_vec3 turn = tr_v3_scale(TR_DEG_PER_RAD, c->turn_rad);
    json_t *photo = json_pack("{s:s, s:o, s:o, s:f, s:[f, f, f], s:[f, f, f], s:o}", "file",
                              c->file, "vehicle_from_camera", pose_json(c->vehicle_from_camera),
                              "shift_px", pair(c->shift_px.x, c->shift_px.y), "focal", c->focal,
                              "turn_deg", turn.x, turn.y, turn.z, "travel_mm", c->travel_mm.x,
                              c->travel_mm.y, c->travel_mm.z, "marks", marks);
    free(seen);
    return photo;
}

bool tr_scene_truth_write(const tr_scene *scene, const char *path, tr_error *err) {
    json_t *sheets = json_array();
    json_t *photos = json_array();
    bool ok = sheets && photos;
    for (int i = 0; i < scene->n_sheets && ok; i++) {
        ok = json_array_append_new(sheets, sheet_json(&scene->sheets[i])) == 0;
    }
    for (int i = 0; i < scene->n_cameras && ok; i++) {
        ok = json_array_append_new(photos, photo_json(scene, i, err)) == 0;
    }
    json_t *root = ok ? json_pack("{s:s, s:o, s:O, s:O}", "scene", scene->id, "lens",
                                  lens_json(&scene->lens), "sheets", sheets, "photos", photos)
                      : NULL;
    char *text = root ? json_dumps(root, JSON_INDENT(1) | JSON_REAL_PRECISION(15)) : NULL;
    ok = text ? tr_file_write(path, text, strlen(text), err) : tr_fail_memory(err);
    free(text);
    json_decref(root);
    json_decref(sheets);
    json_decref(photos);
    return ok;
}
