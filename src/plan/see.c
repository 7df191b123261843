#include "plan/see.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "plan/mark_sd.h"

/* Of a checker corner: its square's height. */
static const double MIN_SQUARE_PX = 4;
/* From the picture's edge. */
static const double EDGE_PX = 8;

/* Squares about a lone corner are as large as their neighbours let them be, and no larger than this
   (print/artwork.c). mm */
static const double MAX_SQUARE_MM = 50, SQUARE_OF_STEP = 0.45, SQUARE_OF_EDGE = 0.7;

/* A phone in a steady hand: the shift of its lens as a part of the longer side, its focal length,
   1.5 degrees and 20 mm a second during a readout of 20 ms. */
static const double USUAL_SHIFT_PART = 0.0025, USUAL_FOCAL = 0.002;
static const double USUAL_TURN_RAD = 5.2e-4, USUAL_TRAVEL_MM = 0.4;

/* ---- the camera ---- */

bool tr_station_pose(const tr_station *station, tr_pose *camera_from_vehicle) {
    static const double LEAST = 1e-6;
    tr_vec3 z = tr_v3_sub(station->look_at_mm, station->at_mm);
    double far_mm = tr_v3_norm(z);
    if (!(far_mm > LEAST)) return false;
    z = tr_v3_scale(1 / far_mm, z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    double level = tr_v3_norm(x);
    if (!(level > LEAST)) return false;
    x = tr_v3_scale(1 / level, x);
    tr_mat3 R = tr_m3_transpose(tr_m3_from_columns(x, tr_v3_cross(z, x), z));
    *camera_from_vehicle = (tr_pose){R, tr_v3_scale(-1, tr_m3_apply(R, station->at_mm))};
    return true;
}

/* What a photo's camera is off by (network/photo.h). */
typedef struct {
    tr_vec2 shift_px;
    double focal;
    tr_vec3 turn_rad, travel_mm;
} exposure;

static double scatter_sd(const tr_lens *lens, int kind) {
    const double usual[TR_SCATTER_N] = {[TR_SCATTER_SHIFT] = USUAL_SHIFT_PART *
                                                             fmax(lens->width_px, lens->height_px),
                                        [TR_SCATTER_FOCAL] = USUAL_FOCAL,
                                        [TR_SCATTER_TURN] = USUAL_TURN_RAD,
                                        [TR_SCATTER_TRAVEL] = USUAL_TRAVEL_MM};
    if (lens->scatter.is_steady) return 0;
    return lens->scatter.dof[kind] > 0 ? lens->scatter.sd[kind] : usual[kind];
}

/* A direction for the n-th photo, spread evenly over the sphere by the golden angle, times the root
   of 3: each component is 1 in the quadratic mean. */
static tr_vec3 direction(int n) {
    static const double GOLDEN_RAD = 2.399963229728653, GOLDEN = 0.6180339887498949;
    double z = 2 * fmod(0.5 + GOLDEN * n, 1) - 1;
    double r = sqrt(1 - z * z);
    return tr_v3_scale(sqrt(3), tr_v3(r * cos(GOLDEN_RAD * n), r * sin(GOLDEN_RAD * n), z));
}

static exposure expose(const tr_lens *lens, int number) {
    tr_vec3 d = direction(number);
    double aside = hypot(d.x, d.y);
    double sd = scatter_sd(lens, TR_SCATTER_SHIFT) * sqrt(2) / fmax(aside, 1e-9);
    return (exposure){
        .shift_px = {sd * d.x, sd * d.y},
        .focal = (number % 2 ? -1 : 1) * scatter_sd(lens, TR_SCATTER_FOCAL),
        .turn_rad = tr_v3_scale(scatter_sd(lens, TR_SCATTER_TURN), direction(number + 7)),
        .travel_mm = tr_v3_scale(scatter_sd(lens, TR_SCATTER_TRAVEL), direction(number + 19))};
}

typedef struct {
    const tr_plan_scene *scene;
    tr_lens lens; /* with the photo's shift and focal length */
    exposure e;
    tr_pose camera_from_vehicle;
    tr_vec3 camera_mm;
} camera;

static camera set_up(const tr_plan_scene *scene, const tr_lens *lens, tr_pose camera_from_vehicle,
                     tr_vec3 at_mm, int number) {
    camera c = {.scene = scene,
                .lens = *lens,
                .e = expose(lens, number),
                .camera_from_vehicle = camera_from_vehicle,
                .camera_mm = at_mm};
    c.lens.param[TR_FX] *= 1 + c.e.focal;
    c.lens.param[TR_FY] *= 1 + c.e.focal;
    c.lens.param[TR_CX] += c.e.shift_px.x;
    c.lens.param[TR_CY] += c.e.shift_px.y;
    return c;
}

/* From -0.5 in the first row that is read to 0.5 in the last. */
static double row_of(const tr_lens *lens, tr_vec2 uv) {
    return lens->height_px > lens->width_px
               ? (uv.x - (lens->width_px - 1) / 2.0) / lens->width_px
               : (uv.y - (lens->height_px - 1) / 2.0) / lens->height_px;
}

/* The row in which a point is read depends on where it is seen: repeated, each time a hundredth as
   far off. */
static bool project(const camera *c, tr_vec3 p_vehicle_mm, tr_vec2 *uv) {
    enum { ROUNDS = 6 };
    tr_vec3 at_middle = tr_pose_apply(c->camera_from_vehicle, p_vehicle_mm);
    tr_vec3 travel = tr_m3_apply(c->camera_from_vehicle.R, c->e.travel_mm);
    double s = 0;
    for (int round = 0; round < ROUNDS; round++) {
        tr_mat3 turn = tr_rotation_from_vector(tr_v3_scale(s, c->e.turn_rad));
        tr_vec3 q = tr_m3_apply(turn, tr_v3_sub(at_middle, tr_v3_scale(s, travel)));
        if (!tr_lens_project(&c->lens, q, uv, NULL, NULL)) return false;
        s = row_of(&c->lens, *uv);
    }
    return true;
}

/* ---- marks ---- */

static tr_vec3 in_vehicle(const camera *c, int sheet, tr_vec2 p_sheet_mm) {
    return tr_pose_apply(c->scene->vehicle_from_sheet[sheet], tr_v3(p_sheet_mm.x, p_sheet_mm.y, 0));
}

static bool shows(const camera *c, int sheet, tr_vec2 p_sheet_mm, tr_vec2 *uv) {
    tr_vec3 p = in_vehicle(c, sheet, p_sheet_mm);
    return project(c, p, uv) && uv->x > EDGE_PX && uv->y > EDGE_PX &&
           uv->x < c->lens.width_px - 1 - EDGE_PX && uv->y < c->lens.height_px - 1 - EDGE_PX &&
           !tr_plan_is_hidden(c->scene, c->camera_mm, p);
}

/* The printed face is seen, and not too flatly. */
static bool faces(const camera *c, int sheet) {
    tr_pose pose = c->scene->vehicle_from_sheet[sheet];
    tr_vec3 to_camera = tr_v3_sub(c->camera_mm, pose.t_mm);
    return tr_v3_dot(tr_m3_column(pose.R, 2), to_camera) >
           sin(c->scene->least_elevation_rad) * tr_v3_norm(to_camera);
}

/* The tag with its white rim, a cell wide, and what lies between its corners. */
static bool is_whole(const camera *c, int sheet, const tr_tag *tag) {
    double wide = 1 + 2.0 / c->scene->n_cells[sheet];
    tr_vec2 ignored;
    for (int k = 0; k < 4; k++) {
        tr_vec2 corner = tr_v2_sub(tr_tag_corner(tag, k), tag->centre_mm);
        tr_vec2 next = tr_v2_sub(tr_tag_corner(tag, (k + 1) % 4), tag->centre_mm);
        tr_vec2 edge = tr_v2_scale(0.5, tr_v2_add(corner, next));
        if (!shows(c, sheet, tr_v2_add(tag->centre_mm, tr_v2_scale(wide, corner)), &ignored) ||
            !shows(c, sheet, tr_v2_add(tag->centre_mm, edge), &ignored)) {
            return false;
        }
    }
    return true;
}

/* What a photo's quality is judged by; of a good one. */
static tr_mark good_mark(tr_mark_kind kind, int sheet, int index, int n_points) {
    return (tr_mark){.kind = kind,
                     .sheet = sheet,
                     .index = index,
                     .n_points = n_points,
                     .sigma_px = 0.8,
                     .contrast = 150};
}

static bool see_tag(const camera *c, int sheet, int index, tr_mark *m) {
    const tr_tag *tag = &c->scene->job->sheets[sheet].tags[index];
    *m = good_mark(TR_MARK_TAG, sheet, index, 4);
    m->n_cells = c->scene->n_cells[sheet];
    if (m->n_cells < 1 || !is_whole(c, sheet, tag)) return false;
    for (int k = 0; k < 4; k++) {
        m->p_sheet_mm[k] = tr_tag_corner(tag, k);
        if (!shows(c, sheet, m->p_sheet_mm[k], &m->uv_px[k])) return false;
    }
    tr_plan_tag_covariance(m->uv_px, m->n_cells, m->covariance);
    return tr_plan_cell_px(m->uv_px, m->n_cells) >= c->scene->least_cell_px;
}

static double square_mm(const tr_sheet *s, int corner) {
    tr_vec2 c = s->corners_mm[corner];
    double to_edge = fmin(s->width_mm / 2 - fabs(c.x), s->height_mm / 2 - fabs(c.y));
    double size = fmin(MAX_SQUARE_MM, SQUARE_OF_EDGE * to_edge);
    for (int i = 0; i < s->n_corners; i++) {
        tr_vec2 d = tr_v2_sub(s->corners_mm[i], c);
        if (i != corner) size = fmin(size, SQUARE_OF_STEP * fmax(fabs(d.x), fabs(d.y)));
    }
    for (int i = 0; i < s->n_tags; i++) {
        tr_vec2 d = tr_v2_sub(s->tags[i].centre_mm, c);
        size = fmin(size, fmax(fabs(d.x), fabs(d.y)) - 0.625 * s->tags[i].size_mm);
    }
    return size;
}

/* A mark at a place, as well known as a checker corner between squares of that size. */
static bool see_square(const camera *c, int sheet, tr_vec2 at, double size, tr_mark *m) {
    tr_vec2 across[2], up[2];
    m->p_sheet_mm[0] = at;
    if (!(size > 0) || !shows(c, sheet, at, &m->uv_px[0])) return false;
    for (int k = 0; k < 2; k++) {
        double d = k ? size / 2 : -size / 2;
        if (!shows(c, sheet, tr_v2(at.x + d, at.y), &across[k]) ||
            !shows(c, sheet, tr_v2(at.x, at.y + d), &up[k])) {
            return false;
        }
    }
    tr_vec2 x = tr_v2_sub(across[1], across[0]);
    tr_vec2 y = tr_v2_sub(up[1], up[0]);
    tr_plan_checker_covariance(x, y, m->covariance);
    return fabs(tr_v2_cross(x, y)) >= MIN_SQUARE_PX * fmax(tr_v2_norm(x), tr_v2_norm(y));
}

static bool see_corner(const camera *c, int sheet, int index, tr_mark *m) {
    const tr_sheet *s = &c->scene->job->sheets[sheet];
    *m = good_mark(TR_MARK_CORNER, sheet, index, 1);
    return see_square(c, sheet, s->corners_mm[index], square_mm(s, index), m);
}

static bool see_disc(const camera *c, int sheet, int index, tr_mark *m) {
    const tr_disc *disc = &c->scene->job->sheets[sheet].discs[index];
    *m = good_mark(TR_MARK_DISC, sheet, index, 1);
    return see_square(c, sheet, disc->centre_mm, disc->diameter_mm, m);
}

/* Where the sheet lies as this photo alone has it, from its marks, which are the last ones. */
static bool place_sheet(const camera *c, int sheet, int first, tr_photo_marks *out, tr_error *err) {
    tr_sheet_view view = {.sheet = sheet};
    int most = 4 * (out->n_marks - first);
    tr_vec2 *p = tr_array(most, sizeof *p);
    tr_vec2 *uv = tr_array(most, sizeof *uv);
    bool ok = (p && uv) || tr_fail_memory(err);
    for (int i = first; i < out->n_marks && ok; i++) {
        for (int k = 0; k < out->marks[i].n_points; k++) {
            p[view.n_points] = out->marks[i].p_sheet_mm[k];
            uv[view.n_points++] = out->marks[i].uv_px[k];
        }
    }
    if (ok) {
        view.n_poses = tr_planar_poses(&c->scene->job->lenses[0], p, uv, view.n_points, view.pose);
    }
    if (view.n_poses > 0) out->views[out->n_views++] = view;
    free(p);
    free(uv);
    return ok;
}

/* Corners and discs are found where tags have placed the sheet, or where it is sought by them. */
static void see_sheet(const camera *c, int sheet, tr_photo_marks *out) {
    const tr_sheet *s = &c->scene->job->sheets[sheet];
    int first = out->n_marks;
    for (int k = 0; k < s->n_tags; k++) {
        out->n_marks += see_tag(c, sheet, k, &out->marks[out->n_marks]);
    }
    bool is_found = out->n_marks > first || tr_job_seeks_artwork(c->scene->job, sheet);
    for (int k = 0; k < s->n_corners && is_found; k++) {
        out->n_marks += see_corner(c, sheet, k, &out->marks[out->n_marks]);
    }
    for (int k = 0; k < s->n_discs && is_found; k++) {
        out->n_marks += see_disc(c, sheet, k, &out->marks[out->n_marks]);
    }
}

static bool allocate(const tr_job *job, tr_photo_marks *out, tr_error *err) {
    long most = 0;
    memset(out, 0, sizeof *out);
    for (int i = 0; i < job->n_sheets; i++) {
        most += tr_sheet_n_marks(&job->sheets[i]);
    }
    /* One more than there are: the last one that is not seen is written, too. */
    out->marks = tr_array(most + 1, sizeof *out->marks);
    out->views = tr_array(job->n_sheets, sizeof *out->views);
    return (out->marks && out->views) || tr_fail_memory(err);
}

static bool see(const tr_plan_scene *scene, const tr_station *station, int number, bool places,
                tr_photo_marks *out, tr_sheet_set *seen, tr_error *err) {
    tr_pose camera_from_vehicle;
    bool ok = allocate(scene->job, out, err);
    *seen = 0;
    if (!ok || !tr_station_pose(station, &camera_from_vehicle)) return ok;
    tr_pose poses[TR_PLAN_MAX_SHEETS];
    const tr_plan_scene then = tr_plan_scene_in(scene, station->position, poses);
    camera c = set_up(&then, &scene->job->lenses[0], camera_from_vehicle, station->at_mm, number);
    for (int i = 0; i < scene->job->n_sheets && ok; i++) {
        int first = out->n_marks;
        if (!scene->is_there[i] || !faces(&c, i)) continue;
        see_sheet(&c, i, out);
        if (out->n_marks == first) continue;
        *seen |= (tr_sheet_set)1 << i;
        ok = !places || place_sheet(&c, i, first, out, err);
    }
    return ok;
}

bool tr_plan_see(const tr_plan_scene *scene, const tr_station *station, int number,
                 tr_photo_marks *out, tr_sheet_set *sees, tr_error *err) {
    tr_sheet_set ignored;
    return see(scene, station, number, true, out, sees ? sees : &ignored, err);
}

void tr_plan_idealise(const tr_plan_scene *scene, int position, int lens,
                      tr_pose camera_from_vehicle, int number, tr_photo_marks *marks) {
    tr_vec3 at = tr_pose_inverse(camera_from_vehicle).t_mm;
    tr_pose poses[TR_PLAN_MAX_SHEETS];
    const tr_plan_scene then = tr_plan_scene_in(scene, position, poses);
    camera c = set_up(&then, &scene->job->lenses[lens], camera_from_vehicle, at, number);
    int n = 0;
    for (int i = 0; i < marks->n_marks; i++) {
        tr_mark m = marks->marks[i];
        bool is_seen = scene->is_there[m.sheet];
        for (int k = 0; k < m.n_points && is_seen; k++) {
            is_seen = project(&c, in_vehicle(&c, m.sheet, m.p_sheet_mm[k]), &m.uv_px[k]);
        }
        if (is_seen) marks->marks[n++] = m;
    }
    marks->n_marks = n;
}

bool tr_plan_glance(const tr_plan_scene *scene, const tr_station *station, tr_sheet_set *sees,
                    int *n_marks, tr_error *err) {
    tr_photo_marks marks;
    bool ok = see(scene, station, 0, false, &marks, sees, err);
    *n_marks = marks.n_marks;
    tr_photo_marks_release(&marks);
    return ok;
}
