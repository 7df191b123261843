#include "plan/scene.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "check/check.h"
#include "tags/family.h"
#include "vehicle/vehicle.h"

/* A passenger car's body: how far it stands out beyond its axles, how low its bumpers and its sills
   reach, how high it is, and how far the sills reach beyond the axles, which is a wheel's radius.
   Its sides are as far apart as the wheels' outer faces, just inside of the plumb points. mm */
static const double OVERHANG_MM = 900, BUMPER_MM = 330, SILL_MM = 160, HEIGHT_MM = 1500;
static const double WHEEL_MM = 330;
static const double INSIDE_OF_POINTS_MM = 40;

/* Room for a person beside the body, and for feet beside a sheet. mm */
static const double BESIDE_BODY_MM = 350;
static const double BESIDE_SHEET_MM = 200;

/* ---- expected places ---- */

static bool need(const tr_job *job, double value, const char *key, const char *what,
                 tr_error *err) {
    return value > 0 ||
           tr_fail_at(err, TR_BAD_INPUT, job->layout.path, 0, key,
                      "is missing; a plan needs it to know where %s will be: add it, measured from "
                      "plumb point to plumb point",
                      what);
}

/* A wheel's point, on the floor. */
static bool expected_point(const tr_job *job, tr_wheel_point point, tr_vec2 *out, tr_error *err) {
    const tr_layout *l = &job->layout;
    bool is_front = point == TR_FRONT_LEFT || point == TR_FRONT_RIGHT;
    bool is_left = point == TR_FRONT_LEFT || point == TR_REAR_LEFT;
    double track = is_front ? l->track_front_mm : l->track_rear_mm;
    if (is_front && !need(job, l->wheelbase_mm, "wheelbase_mm", "the front wheels", err)) {
        return false;
    }
    if (!need(job, track, is_front ? "track_front_mm" : "track_rear_mm",
              is_front ? "the front wheels" : "the rear wheels", err)) {
        return false;
    }
    *out = tr_v2(is_front ? l->wheelbase_mm : 0, (is_left ? 0.5 : -0.5) * track);
    return true;
}

/* Flat on the floor, at_mm on the point; what lies between the sheet's centre and at_mm points to
   the wheel, for there the edge lies that is pushed against the tyre. */
static tr_pose place_on_floor(tr_vec2 point, tr_vec2 at_mm) {
    bool is_left = point.y > 0;
    double value[TR_N_AXES] = {0};
    if (tr_v2_norm(at_mm) > 0) {
        /* At yaw 0 the sheet's x points to -Y. */
        value[TR_YAW] = (is_left ? 0 : TR_PI) - atan2(at_mm.y, at_mm.x);
    }
    tr_vec3 arm = tr_pose_apply(tr_pose_of_placement(value, false), tr_v3(at_mm.x, at_mm.y, 0));
    value[TR_X] = point.x - arm.x;
    value[TR_Y] = point.y - arm.y;
    return tr_pose_of_placement(value, false);
}

/* Upright over the point, at the height of the wheel's centre; its face looks away from the
   vehicle. */
static tr_pose place_on_wheel(tr_vec2 point, tr_vec2 at_mm) {
    double side = point.y > 0 ? 1 : -1;
    tr_mat3 R = tr_m3_from_columns(tr_v3(-side, 0, 0), tr_v3(0, 0, 1), tr_v3(0, side, 0));
    tr_vec3 arm = tr_m3_apply(R, tr_v3(at_mm.x, at_mm.y, 0));
    return (tr_pose){R, tr_v3_sub(tr_v3(point.x, point.y, WHEEL_MM), arm)};
}

static bool place_reference(const tr_job *job, const tr_reference *r, tr_pose *out, tr_error *err) {
    tr_vec2 point;
    if (!expected_point(job, r->point, &point, err)) return false;
    bool is_on_wheel = job->sheets[r->sheet].support == TR_ON_WHEEL;
    *out = is_on_wheel ? place_on_wheel(point, r->at_mm) : place_on_floor(point, r->at_mm);
    return true;
}

static bool counts_from_front(const tr_job *job, const tr_placement *p) {
    for (int k = 0; k < 2; k++) {
        const tr_origin *from = &p->from[k];
        if (from->kind == TR_FROM_FRONT_AXLE) return true;
        if (from->kind != TR_FROM_POINT) continue;
        tr_wheel_point point = job->references[from->index].point;
        if (point == TR_FRONT_LEFT || point == TR_FRONT_RIGHT) return true;
    }
    return false;
}

static bool place_targets(tr_plan_scene *s, tr_error *err) {
    const tr_job *job = s->job;
    tr_check required;
    for (int i = 0; i < job->layout.n_placements; i++) {
        if (!counts_from_front(job, &job->layout.placements[i])) continue;
        if (!need(job, job->layout.wheelbase_mm, "wheelbase_mm", "the front axle", err)) {
            return false;
        }
    }
    bool ok = tr_check_require(job, &required, err);
    for (int i = 0; i < required.result.n_targets && ok; i++) {
        const tr_target_result *t = &required.result.targets[i];
        s->is_there[t->sheet] = true;
        s->vehicle_from_sheet[t->sheet] = t->vehicle_from_required;
    }
    tr_check_release(&required);
    return ok;
}

static bool place_references(tr_plan_scene *s, tr_error *err) {
    const tr_job *job = s->job;
    bool ok = true;
    for (int i = 0; i < job->n_references && ok; i++) {
        const tr_reference *r = &job->references[i];
        if (r->point == TR_N_POINTS) continue; /* nothing says where that is */
        ok = place_reference(job, r, &s->vehicle_from_sheet[r->sheet], err);
        s->is_there[r->sheet] = ok;
    }
    return ok;
}

/* On the floor outside its target, its tip at the point. */
static void place_pointers(tr_plan_scene *s) {
    const tr_job *job = s->job;
    for (int i = 0; i < job->n_pointers; i++) {
        const tr_pointer *p = &job->pointers[i];
        tr_pose target = s->vehicle_from_sheet[p->target];
        tr_vec2 tip = job->sheets[p->sheet].tip_mm;
        tr_vec3 at = tr_pose_apply(target, job->sheets[p->target].points[p->point].at_mm);
        tr_vec3 out = tr_v3_sub(at, target.t_mm);
        double value[TR_N_AXES] = {0};
        /* At yaw 0 the sheet's y points to X, its x to -Y: so the tip is to point inward. */
        value[TR_YAW] = atan2(-out.y, -out.x) - atan2(-tip.x, tip.y);
        tr_vec3 arm = tr_pose_apply(tr_pose_of_placement(value, false), tr_v3(tip.x, tip.y, 0));
        value[TR_X] = at.x - arm.x;
        value[TR_Y] = at.y - arm.y;
        s->vehicle_from_sheet[p->sheet] = tr_pose_of_placement(value, false);
        s->is_there[p->sheet] = true;
    }
}

static bool hangs_on_wheels(const tr_job *job) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->sheets[job->references[i].sheet].support == TR_ON_WHEEL) return true;
    }
    return false;
}

/* Sheets that lie beside a vehicle whose wheels carry sheets, for a floor and to tie both sides:
   the job does not say where. The first ones are expected left and right of the vehicle's middle,
   then ahead of it on either side; more are left out. */
static void place_spare(tr_plan_scene *s) {
    const tr_layout *l = &s->job->layout;
    double aside = fmax(l->track_front_mm, l->track_rear_mm) / 2 + BESIDE_BODY_MM;
    double ahead = l->wheelbase_mm + OVERHANG_MM + BESIDE_BODY_MM;
    const tr_vec2 at[] = {{l->wheelbase_mm / 2, aside},
                          {l->wheelbase_mm / 2, -aside},
                          {ahead, aside},
                          {ahead, -aside}};
    size_t n = 0;
    for (int i = 0; i < s->job->n_sheets && n < sizeof at / sizeof *at; i++) {
        const tr_sheet *sheet = &s->job->sheets[i];
        if (s->is_there[i] || sheet->support != TR_ON_FLOOR || !hangs_on_wheels(s->job)) continue;
        double half = fmax(sheet->width_mm, sheet->height_mm) / 2;
        double value[TR_N_AXES] = {
            [TR_X] = at[n].x, [TR_Y] = at[n].y + (at[n].y > 0 ? half : -half)};
        s->vehicle_from_sheet[i] = tr_pose_of_placement(value, false);
        s->is_there[i] = true;
        n++;
    }
}

/* ---- the scene ---- */

static bool count_cells(tr_plan_scene *s, tr_error *err) {
    for (int i = 0; i < s->job->n_sheets; i++) {
        const tr_sheet *sheet = &s->job->sheets[i];
        tr_tag_pattern pattern;
        if (sheet->n_tags == 0) continue;
        struct apriltag_family *family = tr_tag_family_new(sheet->tag_family, err);
        if (!family) return false;
        if (tr_tag_pattern_make(family, sheet->tags[0].id, &pattern)) {
            s->n_cells[i] = pattern.border;
        }
        tr_tag_family_free(family);
    }
    return true;
}

static void set_up_body(tr_plan_scene *s) {
    const tr_layout *l = &s->job->layout;
    double track = fmax(l->track_front_mm, l->track_rear_mm);
    double half = track / 2 - INSIDE_OF_POINTS_MM;
    if (!(l->wheelbase_mm > 0) || !(half > 0)) return;
    s->body[TR_PLAN_WHOLE] = (tr_plan_box){{-OVERHANG_MM, -half, BUMPER_MM},
                                           {l->wheelbase_mm + OVERHANG_MM, half, HEIGHT_MM}};
    s->body[TR_PLAN_SILLS] =
        (tr_plan_box){{-WHEEL_MM, -half, SILL_MM}, {l->wheelbase_mm + WHEEL_MM, half, BUMPER_MM}};
    s->n_body = TR_PLAN_N_BODY;
}

bool tr_plan_scene_init(const tr_job *job, tr_plan_scene *out, tr_error *err) {
    *out = (tr_plan_scene){.job = job,
                           .least_cell_px = TR_PLAN_CELL_PX,
                           .is_there = tr_array(job->n_sheets, sizeof *out->is_there),
                           .vehicle_from_sheet =
                               tr_array(job->n_sheets, sizeof *out->vehicle_from_sheet),
                           .n_cells = tr_array(job->n_sheets, sizeof *out->n_cells)};
    if (!out->is_there || !out->vehicle_from_sheet || !out->n_cells) return tr_fail_memory(err);
    if (job->lenses[0].is_unknown) {
        return tr_fail_at(err, TR_BAD_INPUT, job->path, 0, "lens",
                          "is unknown; a plan needs the lens profile of the camera (trammel lens)");
    }
    if (job->n_sheets > TR_PLAN_MAX_SHEETS) {
        return tr_fail_at(err, TR_BAD_INPUT, job->path, 0, "sheets",
                          "with the tags of references are %d, more than a plan can take (%d); "
                          "leave out those that it is not about",
                          job->n_sheets, TR_PLAN_MAX_SHEETS);
    }
    if (!place_targets(out, err) || !place_references(out, err) || !count_cells(out, err))
        return false;
    place_pointers(out);
    place_spare(out);
    set_up_body(out);
    return true;
}

void tr_plan_scene_measured(tr_plan_scene *s, const tr_check_result *result) {
    for (int i = 0; i < result->n_sheets; i++) {
        if (!result->sheets[i].is_placed) continue;
        s->is_there[i] = true;
        s->vehicle_from_sheet[i] = result->sheets[i].vehicle_from_sheet;
    }
}

void tr_plan_scene_release(tr_plan_scene *s) {
    free(s->is_there);
    free(s->vehicle_from_sheet);
    free(s->n_cells);
    *s = (tr_plan_scene){0};
}

/* ---- roll positions ---- */

/* A sheet of the vehicle, as it is n quarter turns of the wheels before. */
static tr_pose rolled_back(const tr_plan_scene *s, int sheet, int n) {
    static const double QUARTER_RAD = TR_PI / 2;
    tr_pose pose = s->vehicle_from_sheet[sheet];
    tr_vec3 way = {-n * QUARTER_RAD * WHEEL_MM, 0, 0};
    if (s->job->sheets[sheet].support == TR_ON_WHEEL) {
        /* Forward is a turn about +y; the axis goes through the middle of the sheet, or nearly. */
        pose.R = tr_m3_mul(tr_rotation_from_vector(tr_v3(0, -n * QUARTER_RAD, 0)), pose.R);
    }
    pose.t_mm = tr_v3_add(pose.t_mm, way);
    return pose;
}

static void roll_body_back(tr_plan_scene *s, int n) {
    double way_mm = n * TR_PI / 2 * WHEEL_MM;
    for (int i = 0; i < s->n_body; i++) {
        s->body[i].low_mm.x -= way_mm;
        s->body[i].high_mm.x -= way_mm;
    }
}

tr_plan_scene tr_plan_scene_in(const tr_plan_scene *scene, int position,
                               tr_pose places[TR_PLAN_MAX_SHEETS]) {
    tr_plan_scene s = *scene;
    int n = scene->job->n_positions - 1 - position;
    if (n <= 0) return s;
    for (int i = 0; i < s.job->n_sheets; i++) {
        tr_support support = s.job->sheets[i].support;
        bool rolls = support == TR_ON_WHEEL || support == TR_ON_VEHICLE;
        places[i] = rolls ? rolled_back(scene, i, n) : scene->vehicle_from_sheet[i];
    }
    s.vehicle_from_sheet = places;
    roll_body_back(&s, n);
    return s;
}

/* ---- what is in the way ---- */

static bool is_behind_box(const tr_plan_box *box, tr_vec3 a, tr_vec3 b) {
    const double from[3] = {a.x, a.y, a.z};
    const double step[3] = {b.x - a.x, b.y - a.y, b.z - a.z};
    const double low[3] = {box->low_mm.x, box->low_mm.y, box->low_mm.z};
    const double high[3] = {box->high_mm.x, box->high_mm.y, box->high_mm.z};
    double t0 = 0;
    double t1 = 1;
    for (int k = 0; k < 3; k++) {
        if (step[k] == 0) {
            if (from[k] <= low[k] || from[k] >= high[k]) return false;
            continue;
        }
        double p = (low[k] - from[k]) / step[k];
        double q = (high[k] - from[k]) / step[k];
        t0 = fmax(t0, fmin(p, q));
        t1 = fmin(t1, fmax(p, q));
    }
    return t0 < t1;
}

/* The line meets the sheet's face well before its end. */
static bool is_behind_sheet(const tr_plan_scene *s, int sheet, tr_vec3 a, tr_vec3 b) {
    static const double BEFORE_END = 0.99;
    const tr_sheet *f = &s->job->sheets[sheet];
    tr_pose sheet_from_vehicle = tr_pose_inverse(s->vehicle_from_sheet[sheet]);
    tr_vec3 p = tr_pose_apply(sheet_from_vehicle, a);
    tr_vec3 q = tr_pose_apply(sheet_from_vehicle, b);
    double t = p.z / (p.z - q.z);
    if (!(t > 0 && t < BEFORE_END)) return false;
    return fabs(p.x + t * (q.x - p.x)) < f->width_mm / 2 &&
           fabs(p.y + t * (q.y - p.y)) < f->height_mm / 2;
}

bool tr_plan_is_hidden(const tr_plan_scene *s, tr_vec3 camera_mm, tr_vec3 p_mm) {
    for (int i = 0; i < s->n_body; i++) {
        if (is_behind_box(&s->body[i], camera_mm, p_mm)) return true;
    }
    for (int i = 0; i < s->job->n_sheets; i++) {
        if (!s->is_there[i] || s->job->sheets[i].support == TR_ON_FLOOR) continue;
        if (is_behind_sheet(s, i, camera_mm, p_mm)) return true;
    }
    return false;
}

/* The face, with room about it, on the floor below it. */
static bool is_on_sheet(const tr_plan_scene *s, int sheet, tr_vec2 p_mm) {
    static const int SIGN[4][2] = {{-1, -1}, {1, -1}, {1, 1}, {-1, 1}};
    const tr_sheet *f = &s->job->sheets[sheet];
    double x = f->width_mm / 2 + BESIDE_SHEET_MM;
    double y = f->height_mm / 2 + BESIDE_SHEET_MM;
    tr_vec2 low = {INFINITY, INFINITY};
    tr_vec2 high = {-INFINITY, -INFINITY};
    if (f->support == TR_ON_FLOOR) {
        tr_pose from_vehicle = tr_pose_inverse(s->vehicle_from_sheet[sheet]);
        tr_vec3 q = tr_pose_apply(from_vehicle, tr_v3(p_mm.x, p_mm.y, 0));
        return fabs(q.x) < x && fabs(q.y) < y;
    }
    for (int k = 0; k < 4; k++) {
        tr_vec3 corner = tr_v3(SIGN[k][0] * f->width_mm / 2, SIGN[k][1] * f->height_mm / 2, 0);
        tr_vec3 c = tr_pose_apply(s->vehicle_from_sheet[sheet], corner);
        low = tr_v2(fmin(low.x, c.x), fmin(low.y, c.y));
        high = tr_v2(fmax(high.x, c.x), fmax(high.y, c.y));
    }
    return p_mm.x > low.x - BESIDE_SHEET_MM && p_mm.x < high.x + BESIDE_SHEET_MM &&
           p_mm.y > low.y - BESIDE_SHEET_MM && p_mm.y < high.y + BESIDE_SHEET_MM;
}

bool tr_plan_is_reachable(const tr_plan_scene *s, tr_vec2 p_mm) {
    const tr_plan_box *body = &s->body[TR_PLAN_WHOLE];
    bool is_beside = s->n_body > 0 && p_mm.x > body->low_mm.x - BESIDE_BODY_MM &&
                     p_mm.x < body->high_mm.x + BESIDE_BODY_MM &&
                     p_mm.y > body->low_mm.y - BESIDE_BODY_MM &&
                     p_mm.y < body->high_mm.y + BESIDE_BODY_MM;
    if (is_beside) return false;
    for (int i = 0; i < s->job->n_sheets; i++) {
        if (s->is_there[i] && is_on_sheet(s, i, p_mm)) return false;
    }
    return true;
}
