#include "tools/render/stage.h"

#include <stdlib.h>

#include "tools/render/relief.h"

/* Nothing is farther away. */
static const double FAR_MM = 1e9;
/* The back of a sheet, and what a ray meets that never comes down to the floor. */
static const double BACK_REFLECTANCE = 0.6;
static const double SKY_LIGHT = 0.12;

/* Light from above and from all sides: 1 on what lies face up. */
static double shade_of(tr_vec3 n) {
    return 0.62 + 0.38 * n.z + 0.07 * (1 - fabs(n.z)) * (0.8 * n.y - 0.6 * n.x);
}

tr_vec3 tr_scene_sheet_point(const tr_scene_sheet *sheet, tr_vec2 p) {
    double a = p.x / (sheet->sheet.width_mm / 2);
    double b = p.y / (sheet->sheet.height_mm / 2);
    const double half_mm[2] = {sheet->sheet.width_mm / 2, sheet->sheet.height_mm / 2};
    return tr_v3(p.x * (1 + sheet->print_scale[0]), p.y * (1 + sheet->print_scale[1]),
                 sheet->bow_mm[0] * (1 - a * a) + sheet->bow_mm[1] * (1 - b * b) +
                     tr_relief_at(&sheet->relief, half_mm, p, NULL));
}

/* ---- making ---- */

static double outline_area(const tr_solid *solid) {
    double twice = 0;
    for (int k = 0; k < solid->n_outline; k++) {
        twice +=
            tr_v2_cross(solid->outline_xz_mm[k], solid->outline_xz_mm[(k + 1) % solid->n_outline]);
    }
    return twice / 2;
}

/* From the vehicle frame: n.p <= n.on. */
static tr_half_space half_space(tr_pose vehicle_from_camera, tr_vec3 n, tr_vec3 on) {
    tr_mat3 camera_from_vehicle = tr_m3_transpose(vehicle_from_camera.R);
    return (tr_half_space){tr_m3_apply(camera_from_vehicle, n),
                           tr_v3_dot(n, tr_v3_sub(on, vehicle_from_camera.t_mm))};
}

static void make_sides(const tr_solid *of, tr_pose vehicle_from_camera, tr_stage_solid *out) {
    double sense = outline_area(of) > 0 ? 1 : -1;
    for (int k = 0; k < 2; k++) {
        out->side[out->n_sides++] =
            half_space(vehicle_from_camera, tr_v3(0, k == 0 ? -1 : 1, 0), tr_v3(0, of->y_mm[k], 0));
    }
    for (int k = 0; k < of->n_outline; k++) {
        tr_vec2 a = of->outline_xz_mm[k];
        tr_vec2 edge = tr_v2_sub(of->outline_xz_mm[(k + 1) % of->n_outline], a);
        double length = sense * tr_v2_norm(edge);
        out->side[out->n_sides++] = half_space(
            vehicle_from_camera, tr_v3(edge.y / length, 0, -edge.x / length), tr_v3(a.x, 0, a.y));
    }
}

static tr_stage_solid make_solid(const tr_solid *of, tr_pose vehicle_from_camera) {
    tr_stage_solid out = {.of = of};
    make_sides(of, vehicle_from_camera, &out);
    tr_vec2 middle = tr_v2(of->centre_xz_mm[0], of->centre_xz_mm[1]);
    double reach2 = of->radius_mm * of->radius_mm;
    for (int k = 0; k < of->n_outline; k++) {
        if (k == 0) middle = tr_v2(0, 0);
        middle = tr_v2_add(middle, tr_v2_scale(1.0 / of->n_outline, of->outline_xz_mm[k]));
    }
    for (int k = 0; k < of->n_outline; k++) {
        tr_vec2 to = tr_v2_sub(of->outline_xz_mm[k], middle);
        reach2 = fmax(reach2, tr_v2_dot(to, to));
    }
    double half_y = (of->y_mm[1] - of->y_mm[0]) / 2;
    out.centre_mm = tr_pose_apply(tr_pose_inverse(vehicle_from_camera),
                                  tr_v3(middle.x, of->y_mm[0] + half_y, middle.y));
    out.radius2 = reach2 + half_y * half_y;
    return out;
}

static bool make_sheet(const tr_scene_sheet *of, tr_pose vehicle_from_camera, tr_stage_sheet *out,
                       tr_error *err) {
    double w = of->sheet.width_mm, h = of->sheet.height_mm;
    tr_pose camera_from_sheet =
        tr_pose_mul(tr_pose_inverse(vehicle_from_camera), of->vehicle_from_sheet);
    tr_vec3 far = tr_scene_sheet_point(of, tr_v2(w / 2, h / 2));
    double bow_mm = fabs(of->bow_mm[0]) + fabs(of->bow_mm[1]) + tr_relief_reach(&of->relief);
    *out = (tr_stage_sheet){.of = of,
                            .half_mm = {w / 2, h / 2},
                            .has_relief = tr_relief_reach(&of->relief) > 0,
                            .sheet_from_camera = tr_pose_inverse(camera_from_sheet),
                            .shade = shade_of(tr_m3_column(of->vehicle_from_sheet.R, 2)),
                            .centre_mm = camera_from_sheet.t_mm,
                            .radius2 = far.x * far.x + far.y * far.y + bow_mm * bow_mm};
    return tr_face_make(of, &out->face, err);
}

static tr_stage_line make_line(const tr_floor_line *of) {
    tr_vec2 way = tr_v2_sub(of->to_mm, of->from_mm);
    double length_mm = tr_v2_norm(way);
    return (tr_stage_line){of, tr_v2_scale(1 / length_mm, way), length_mm};
}

static void hold_camera(const tr_scene *scene, const tr_scene_camera *camera, tr_stage *out) {
    out->lens = scene->lens;
    out->lens.param[TR_FX] *= 1 + camera->focal;
    out->lens.param[TR_FY] *= 1 + camera->focal;
    out->lens.param[TR_CX] += camera->shift_px.x;
    out->lens.param[TR_CY] += camera->shift_px.y;
    out->vehicle_from_camera = camera->vehicle_from_camera;
    out->turn_rad = camera->turn_rad;
    out->travel_mm = tr_m3_apply(tr_m3_transpose(camera->vehicle_from_camera.R), camera->travel_mm);
    out->is_moving = tr_v3_norm(out->turn_rad) > 0 || tr_v3_norm(out->travel_mm) > 0;
}

bool tr_stage_make(const tr_scene *scene, int camera, tr_stage *out, tr_error *err) {
    *out = (tr_stage){.scene = scene};
    if (camera < 0 || camera >= scene->n_cameras) {
        return tr_fail(err, TR_BAD_INPUT, "the scene has no camera %d; it has %d", camera,
                       scene->n_cameras);
    }
    hold_camera(scene, &scene->cameras[camera], out);
    out->sheets = calloc((size_t)scene->n_sheets + 1, sizeof *out->sheets);
    out->solids = calloc((size_t)scene->n_solids + 1, sizeof *out->solids);
    out->lines = calloc((size_t)scene->n_lines + 1, sizeof *out->lines);
    bool ok = (out->sheets && out->solids && out->lines) || tr_fail_memory(err);
    for (int i = 0; i < scene->n_lines && ok; i++) out->lines[i] = make_line(&scene->lines[i]);
    for (int i = 0; i < scene->n_solids && ok; i++) {
        out->solids[i] = make_solid(&scene->solids[i], out->vehicle_from_camera);
    }
    for (int i = 0; i < scene->n_sheets && ok; i++) {
        ok = make_sheet(&scene->sheets[i], out->vehicle_from_camera, &out->sheets[i], err);
    }
    if (!ok) tr_stage_release(out);
    return ok;
}

void tr_stage_release(tr_stage *stage) {
    if (stage->sheets) {
        for (int i = 0; i < stage->scene->n_sheets; i++) tr_face_release(&stage->sheets[i].face);
    }
    free(stage->sheets);
    free(stage->solids);
    free(stage->lines);
    *stage = (tr_stage){0};
}

/* ---- rays ---- */

double tr_stage_row(const tr_stage *stage, tr_vec2 uv_px) {
    double width = stage->lens.width_px, height = stage->lens.height_px;
    return width >= height ? (uv_px.y + 0.5) / height - 0.5 : (uv_px.x + 0.5) / width - 0.5;
}

tr_pose tr_stage_moved(const tr_stage *stage, double row) {
    tr_mat3 R = tr_rotation_from_vector(tr_v3_scale(row, stage->turn_rad));
    return (tr_pose){R, tr_m3_apply(R, tr_v3_scale(-row, stage->travel_mm))};
}

tr_ray tr_stage_ray(const tr_stage *stage, tr_vec2 uv_px, tr_vec2 xy) {
    tr_ray ray = {.along = {xy.x, xy.y, 1}};
    if (!stage->is_moving) return ray;
    tr_pose middle_from_row = tr_pose_inverse(tr_stage_moved(stage, tr_stage_row(stage, uv_px)));
    return (tr_ray){middle_from_row.t_mm, tr_m3_apply(middle_from_row.R, ray.along)};
}

/* ---- sheets ---- */

/* Depth at which the ray o + t d meets the sheet's surface, of which there may be two; returns how
   many, nearer one first. In the sheet's own coordinates x = X / (1 + print_scale_x), and with
   b = bow / half^2, the surface is  Z - (bow_x + bow_y) + bx x^2 + by y^2 = 0,
   of degree 2 in t. */
static int meet_surface(const tr_stage_sheet *s, tr_vec3 o, tr_vec3 d, double t[2]) {
    const tr_scene_sheet *of = s->of;
    double x0 = o.x / (1 + of->print_scale[0]), x1 = d.x / (1 + of->print_scale[0]);
    double y0 = o.y / (1 + of->print_scale[1]), y1 = d.y / (1 + of->print_scale[1]);
    double bx = of->bow_mm[0] / (s->half_mm[0] * s->half_mm[0]);
    double by = of->bow_mm[1] / (s->half_mm[1] * s->half_mm[1]);
    double a = bx * x1 * x1 + by * y1 * y1;
    double b = d.z + 2 * (bx * x0 * x1 + by * y0 * y1);
    double c = o.z - of->bow_mm[0] - of->bow_mm[1] + bx * x0 * x0 + by * y0 * y0;
    if (a == 0) {
        if (b == 0) return 0;
        t[0] = -c / b;
        return 1;
    }
    double D = b * b - 4 * a * c;
    if (D < 0) return 0;
    double q = -(b + copysign(sqrt(D), b)) / 2;
    if (q == 0) return 0;
    t[0] = fmin(q / a, c / q);
    t[1] = fmax(q / a, c / q);
    return 2;
}

static tr_vec2 place_at(const tr_stage_sheet *s, tr_vec3 o, tr_vec3 d, double t) {
    return tr_v2((o.x + t * d.x) / (1 + s->of->print_scale[0]),
                 (o.y + t * d.y) / (1 + s->of->print_scale[1]));
}

/* How z' of the surface changes with x' and y'. */
static tr_vec2 slope_of(const tr_stage_sheet *s, tr_vec2 p) {
    const tr_scene_sheet *of = s->of;
    double relief[2] = {0, 0};
    if (s->has_relief) (void)tr_relief_at(&of->relief, s->half_mm, p, relief);
    double dx = relief[0] - 2 * of->bow_mm[0] * p.x / (s->half_mm[0] * s->half_mm[0]);
    double dy = relief[1] - 2 * of->bow_mm[1] * p.y / (s->half_mm[1] * s->half_mm[1]);
    return tr_v2(dx / (1 + of->print_scale[0]), dy / (1 + of->print_scale[1]));
}

/* From where the ray meets the bowed surface to where it meets the relief upon it: Newton's
   iteration. False where it does not settle, which takes a ray along the sheet. */
static bool meet_relief(const tr_stage_sheet *s, tr_vec3 o, tr_vec3 d, double *t) {
    for (int step = 0; step < 20; step++) {
        tr_vec2 p = place_at(s, o, d, *t);
        tr_vec2 slope = slope_of(s, p);
        double above = o.z + *t * d.z - tr_scene_sheet_point(s->of, p).z;
        double by = above / (d.z - slope.x * d.x - slope.y * d.y);
        if (!(fabs(by) < FAR_MM)) return false;
        *t -= by;
        if (fabs(by) < 1e-8) return true;
    }
    return false;
}

bool tr_stage_meet_sheet(const tr_stage *stage, int i, tr_ray ray, tr_vec2 *p_mm,
                         double *depth_mm) {
    const tr_stage_sheet *s = &stage->sheets[i];
    tr_vec3 o = tr_pose_apply(s->sheet_from_camera, ray.from_mm);
    tr_vec3 d = tr_m3_apply(s->sheet_from_camera.R, ray.along);
    double t[2];
    int n = meet_surface(s, o, d, t);
    /* Of two, the one nearer to the face; off the face both are extrapolated. */
    int best = -1;
    double best_off = INFINITY;
    for (int k = 0; k < n; k++) {
        if (!(t[k] > 0) || (s->has_relief && !meet_relief(s, o, d, &t[k]))) continue;
        tr_vec2 p = place_at(s, o, d, t[k]);
        double off = fmax(fmax(fabs(p.x) / s->half_mm[0], fabs(p.y) / s->half_mm[1]), 1);
        if (off < best_off) {
            best = k;
            best_off = off;
            *p_mm = p;
        }
    }
    if (best < 0) return false;
    *depth_mm = t[best];
    return true;
}

/* Normal of the surface in the sheet frame, not of unit length. */
static tr_vec3 sheet_normal(const tr_stage_sheet *s, tr_vec2 p) {
    tr_vec2 slope = slope_of(s, p);
    return tr_v3(-slope.x, -slope.y, 1);
}

static void trace_sheet(const tr_stage *stage, int i, tr_ray ray, tr_hit *hit) {
    const tr_stage_sheet *s = &stage->sheets[i];
    tr_vec2 p;
    double depth_mm;
    if (!tr_stage_meet_sheet(stage, i, ray, &p, &depth_mm) || depth_mm >= hit->depth_mm) return;
    if (fabs(p.x) > s->half_mm[0] || fabs(p.y) > s->half_mm[1]) return;
    tr_vec3 d = tr_m3_apply(s->sheet_from_camera.R, ray.along);
    *hit = (tr_hit){.depth_mm = depth_mm,
                    .surface = TR_SURFACE_SHEETS + i,
                    .p_mm = p,
                    .is_back = tr_v3_dot(sheet_normal(s, p), d) >= 0};
}

/* ---- solids ---- */

/* The part of a ray inside a convex solid: cut down side by side. */
typedef struct {
    double in, out;
    int face; /* that it enters through; -1: the camera is inside */
} inside_part;

static void cut_side(inside_part *part, tr_ray ray, const tr_half_space *side, int face) {
    double along = tr_v3_dot(side->normal, ray.along);
    double gap = side->gap - tr_v3_dot(side->normal, ray.from_mm);
    if (along == 0) {
        if (gap < 0) part->out = -INFINITY;
        return;
    }
    double t = gap / along;
    if (along > 0) {
        part->out = t < part->out ? t : part->out;
    } else if (t > part->in) {
        part->in = t;
        part->face = face;
    }
}

static void cut_round(inside_part *part, tr_vec3 o, tr_vec3 d, const tr_solid *solid) {
    double x = o.x - solid->centre_xz_mm[0], z = o.z - solid->centre_xz_mm[1];
    double a = d.x * d.x + d.z * d.z;
    double b = x * d.x + z * d.z;
    double c = x * x + z * z - solid->radius_mm * solid->radius_mm;
    double D = b * b - a * c;
    if (a == 0 ? c > 0 : D <= 0) part->out = -INFINITY;
    if (a == 0 || D <= 0) return;
    double in = (-b - sqrt(D)) / a;
    if (in > part->in) {
        part->in = in;
        part->face = 2;
    }
    part->out = fmin(part->out, (-b + sqrt(D)) / a);
}

static tr_vec3 solid_normal(const tr_stage *stage, const tr_stage_solid *s, int face,
                            tr_vec3 p_vehicle_mm) {
    if (face >= s->n_sides) {
        const tr_solid *round = s->of;
        return tr_v3((p_vehicle_mm.x - round->centre_xz_mm[0]) / round->radius_mm, 0,
                     (p_vehicle_mm.z - round->centre_xz_mm[1]) / round->radius_mm);
    }
    return tr_m3_apply(stage->vehicle_from_camera.R, s->side[face].normal);
}

static bool is_sheet(const tr_stage *stage, int surface) {
    return surface >= TR_SURFACE_SHEETS && surface < TR_SURFACE_SHEETS + stage->scene->n_sheets;
}

static int first_face_of(const tr_stage *stage, int solid) {
    return TR_SURFACE_SHEETS + stage->scene->n_sheets + solid * TR_FACES_PER_SOLID;
}

static int solid_index(const tr_stage *stage, int surface) {
    return (surface - first_face_of(stage, 0)) / TR_FACES_PER_SOLID;
}

static const tr_solid *solid_of(const tr_stage *stage, int surface) {
    return &stage->scene->solids[solid_index(stage, surface)];
}

static void trace_solid(const tr_stage *stage, int i, tr_ray ray, tr_vec3 o, tr_vec3 d,
                        tr_hit *hit) {
    const tr_stage_solid *s = &stage->solids[i];
    inside_part part = {.in = 0, .out = hit->depth_mm, .face = -1};
    for (int k = 0; k < s->n_sides && part.in < part.out; k++) {
        cut_side(&part, ray, &s->side[k], k);
    }
    if (s->of->n_outline == 0 && part.in < part.out) cut_round(&part, o, d, s->of);
    /* A camera inside a solid looks through it. */
    if (part.in >= part.out || part.face < 0) return;
    tr_vec3 p = tr_v3_add(o, tr_v3_scale(part.in, d));
    *hit = (tr_hit){.depth_mm = part.in,
                    .surface = first_face_of(stage, i) + part.face,
                    .p_vehicle_mm = p,
                    .normal = solid_normal(stage, s, part.face, p)};
}

/* ---- all together ---- */

static void trace_floor(tr_vec3 o, tr_vec3 d, tr_hit *hit) {
    double t = -o.z / d.z;
    if (!(t > 0 && t < FAR_MM)) return;
    hit->depth_mm = t;
    hit->surface = TR_SURFACE_FLOOR;
    hit->p_vehicle_mm = tr_v3_add(o, tr_v3_scale(t, d));
    hit->p_mm = tr_v2(hit->p_vehicle_mm.x, hit->p_vehicle_mm.y);
}

/* Whether the ray misses a sphere: |c x d|^2 > r^2 |d|^2, or it lies behind. */
static bool misses(tr_ray ray, double ray2, tr_vec3 centre_mm, double radius2) {
    tr_vec3 c = tr_v3_sub(centre_mm, ray.from_mm);
    double along = tr_v3_dot(c, ray.along);
    double centre2 = tr_v3_dot(c, c);
    return centre2 > radius2 && (along < 0 || centre2 * ray2 - along * along > radius2 * ray2);
}

tr_hit tr_stage_trace(const tr_stage *stage, tr_ray ray) {
    tr_hit hit = {.depth_mm = FAR_MM, .surface = TR_SURFACE_SKY};
    double ray2 = tr_v3_dot(ray.along, ray.along);
    tr_vec3 o = tr_pose_apply(stage->vehicle_from_camera, ray.from_mm);
    tr_vec3 d = tr_m3_apply(stage->vehicle_from_camera.R, ray.along);
    for (int i = 0; i < stage->scene->n_sheets; i++) {
        const tr_stage_sheet *s = &stage->sheets[i];
        if (!misses(ray, ray2, s->centre_mm, s->radius2)) trace_sheet(stage, i, ray, &hit);
    }
    for (int i = 0; i < stage->scene->n_solids; i++) {
        const tr_stage_solid *s = &stage->solids[i];
        if (!misses(ray, ray2, s->centre_mm, s->radius2)) trace_solid(stage, i, ray, o, d, &hit);
    }
    if (hit.depth_mm >= FAR_MM) trace_floor(o, d, &hit);
    return hit;
}

tr_hit tr_stage_trace_only(const tr_stage *stage, int surface, tr_ray ray) {
    tr_hit hit = {.depth_mm = FAR_MM, .surface = TR_SURFACE_SKY};
    tr_vec3 o = tr_pose_apply(stage->vehicle_from_camera, ray.from_mm);
    tr_vec3 d = tr_m3_apply(stage->vehicle_from_camera.R, ray.along);
    if (surface == TR_SURFACE_FLOOR) {
        trace_floor(o, d, &hit);
    } else if (is_sheet(stage, surface)) {
        trace_sheet(stage, surface - TR_SURFACE_SHEETS, ray, &hit);
    } else if (surface != TR_SURFACE_SKY) {
        trace_solid(stage, solid_index(stage, surface), ray, o, d, &hit);
    }
    return hit;
}

void tr_stage_jacobian(const tr_stage *stage, const tr_hit *hit, tr_ray ray, const double J_ray[4],
                       double J[4]) {
    tr_mat3 R = stage->vehicle_from_camera.R;
    tr_vec3 n = tr_v3(0, 0, 1);
    double scale[2] = {1, 1};
    for (int k = 0; k < 4; k++) J[k] = 0;
    if (hit->surface != TR_SURFACE_FLOOR && !is_sheet(stage, hit->surface)) return;
    if (is_sheet(stage, hit->surface)) {
        const tr_stage_sheet *s = &stage->sheets[hit->surface - TR_SURFACE_SHEETS];
        R = s->sheet_from_camera.R;
        n = sheet_normal(s, hit->p_mm);
        scale[0] = 1 / (1 + s->of->print_scale[0]);
        scale[1] = 1 / (1 + s->of->print_scale[1]);
    }
    /* P = o + t d stays in the plane of normal n:  dP = t dd + dt d  with  n.dP = 0. */
    tr_vec3 d = tr_m3_apply(R, ray.along);
    double t = hit->depth_mm;
    double along = tr_v3_dot(n, d);
    for (int k = 0; k < 2; k++) {
        tr_vec3 dd = tr_m3_apply(R, tr_v3(J_ray[k], J_ray[2 + k], 0));
        double dt = -t * tr_v3_dot(n, dd) / along;
        J[k] = (t * dd.x + dt * d.x) * scale[0];
        J[2 + k] = (t * dd.y + dt * d.y) * scale[1];
    }
}

/* ---- light ---- */

/* Signed distance of a polygon's edge, positive inside; of two corners: left of the line. */
static double depth_in_shadow(const tr_shadow *shadow, tr_vec2 p) {
    const tr_vec2 *c = shadow->corner_mm;
    if (shadow->n_corners == 2) {
        tr_vec2 edge = tr_v2_sub(c[1], c[0]);
        return tr_v2_cross(edge, tr_v2_sub(p, c[0])) / sqrt(tr_v2_dot(edge, edge));
    }
    double nearest2 = INFINITY;
    bool is_inside = false;
    for (int k = 0; k < shadow->n_corners; k++) {
        tr_vec2 a = c[k];
        tr_vec2 b = c[(k + 1) % shadow->n_corners];
        tr_vec2 edge = tr_v2_sub(b, a);
        tr_vec2 to = tr_v2_sub(p, a);
        double along = fmin(fmax(tr_v2_dot(to, edge) / tr_v2_dot(edge, edge), 0), 1);
        tr_vec2 off = tr_v2_sub(to, tr_v2_scale(along, edge));
        nearest2 = fmin(nearest2, tr_v2_dot(off, off));
        /* A line from p to the right crosses the outline an odd number of times. */
        if ((a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) * edge.x / edge.y) {
            is_inside = !is_inside;
        }
    }
    return is_inside ? sqrt(nearest2) : -sqrt(nearest2);
}

static double smooth_step(double x) {
    double c = fmin(fmax(x, 0), 1);
    return c * c * (3 - 2 * c);
}

/* What of the light comes down to a place on the floor. */
static double light_at(const tr_scene *scene, double x_mm, double y_mm) {
    double light = 1;
    for (int i = 0; i < scene->n_shadows; i++) {
        const tr_shadow *s = &scene->shadows[i];
        double depth = depth_in_shadow(s, tr_v2(x_mm, y_mm));
        light *= 1 - s->strength * smooth_step(0.5 + depth / s->softness_mm);
    }
    return light;
}

/* A number of 0..1 for each point of an integer lattice. Finaliser of SplitMix64 (Steele, Lea,
   Flood, OOPSLA 2014). */
static double lattice_value(int64_t i, int64_t j, uint64_t salt) {
    uint64_t z = (uint64_t)i * 0x9e3779b97f4a7c15u + (uint64_t)j * 0xc2b2ae3d27d4eb4fu + salt;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

/* Smooth noise of mean 0, within -1..1: values on a lattice, joined by smooth steps. */
static double lattice_noise(double x, double y, uint64_t salt) {
    double i = floor(x), j = floor(y);
    double a = smooth_step(x - i), b = smooth_step(y - j);
    int64_t ii = (int64_t)i, jj = (int64_t)j;
    double low = lattice_value(ii, jj, salt) * (1 - a) + lattice_value(ii + 1, jj, salt) * a;
    double high =
        lattice_value(ii, jj + 1, salt) * (1 - a) + lattice_value(ii + 1, jj + 1, salt) * a;
    return 2 * (low * (1 - b) + high * b) - 1;
}

/* Concrete: stains, clouds and grain. Relative, mean 0. */
static double concrete(tr_vec2 p, double step_mm) {
    static const struct {
        double size_mm, amount;
    } LAYERS[] = {{900, 0.10}, {170, 0.06}, {31, 0.03}, {7, 0.05}};
    double sum = 0;
    for (size_t k = 0; k < sizeof LAYERS / sizeof *LAYERS; k++) {
        double size = LAYERS[k].size_mm;
        /* Fades out before it would be finer than the rays. */
        double fade = fmin(fmax(2 - 4 * step_mm / size, 0), 1);
        if (fade > 0) sum += fade * LAYERS[k].amount * lattice_noise(p.x / size, p.y / size, k);
    }
    return sum;
}

/* Distance of p from the edge of a floor line, positive inside; outside at most that. */
static double depth_in_line(const tr_stage_line *line, tr_vec2 p) {
    tr_vec2 to = tr_v2_sub(p, line->of->from_mm);
    double along = tr_v2_dot(to, line->along);
    double inside = line->of->width_mm / 2 - fabs(tr_v2_cross(line->along, to));
    double ends = along < line->length_mm - along ? along : line->length_mm - along;
    return inside < ends ? inside : ends;
}

/* The last one counts where lines cross; NULL: bare floor. */
static const tr_floor_line *line_at(const tr_stage *stage, tr_vec2 p) {
    for (int i = stage->scene->n_lines - 1; i >= 0; i--) {
        if (depth_in_line(&stage->lines[i], p) > 0) return &stage->scene->lines[i];
    }
    return NULL;
}

static double floor_light(const tr_stage *stage, const tr_hit *hit, double step_mm) {
    const tr_scene *scene = stage->scene;
    const tr_floor_line *line = line_at(stage, hit->p_mm);
    double reflectance = line ? line->reflectance : scene->floor_reflectance;
    double texture = scene->floor_texture > 0 ? concrete(hit->p_mm, step_mm) : 0;
    return reflectance * (1 + scene->floor_texture * texture) *
           light_at(scene, hit->p_mm.x, hit->p_mm.y);
}

double tr_stage_sheet_light(const tr_stage *stage, int i, tr_vec3 p_vehicle_mm, double black_part) {
    return (TR_WHITE + (TR_BLACK - TR_WHITE) * black_part) * stage->sheets[i].shade *
           light_at(stage->scene, p_vehicle_mm.x, p_vehicle_mm.y);
}

/* Less light gets to what stands low. */
static double solid_light(const tr_stage *stage, const tr_hit *hit) {
    double height = fmin(fmax(hit->p_vehicle_mm.z / 900, 0), 1);
    return solid_of(stage, hit->surface)->reflectance * shade_of(hit->normal) *
           (0.7 + 0.3 * height);
}

double tr_stage_light(const tr_stage *stage, const tr_hit *hit, double step_mm) {
    if (hit->surface == TR_SURFACE_SKY) return SKY_LIGHT;
    if (hit->surface == TR_SURFACE_FLOOR) return floor_light(stage, hit, step_mm);
    if (!is_sheet(stage, hit->surface)) return solid_light(stage, hit);
    int i = hit->surface - TR_SURFACE_SHEETS;
    const tr_scene_sheet *sheet = &stage->scene->sheets[i];
    tr_vec3 p = tr_pose_apply(sheet->vehicle_from_sheet, tr_scene_sheet_point(sheet, hit->p_mm));
    if (hit->is_back) {
        tr_vec3 n = tr_v3_scale(-1, tr_m3_column(sheet->vehicle_from_sheet.R, 2));
        return BACK_REFLECTANCE * shade_of(n) * light_at(stage->scene, p.x, p.y);
    }
    return tr_stage_sheet_light(stage, i, p,
                                tr_face_is_black(&stage->sheets[i].face, hit->p_mm) ? 1 : 0);
}

double tr_stage_clear_px(const tr_stage *stage, const tr_hit *hit, const double J[4]) {
    if (is_sheet(stage, hit->surface)) {
        return hit->is_back
                   ? INFINITY
                   : tr_face_clear_px(&stage->sheets[hit->surface - TR_SURFACE_SHEETS].face,
                                      hit->p_mm, J);
    }
    if (hit->surface != TR_SURFACE_FLOOR) return INFINITY;
    double clear_mm = INFINITY;
    for (int i = 0; i < stage->scene->n_lines; i++) {
        clear_mm = fmin(clear_mm, fabs(depth_in_line(&stage->lines[i], hit->p_mm)));
    }
    /* The longest way that one px covers on the floor, at most. */
    return clear_mm / sqrt(J[0] * J[0] + J[1] * J[1] + J[2] * J[2] + J[3] * J[3]);
}

const double *tr_stage_tint(const tr_stage *stage, const tr_hit *hit) {
    static const double PAPER[2] = {0.8, -0.5};
    static const double SKY[2] = {0, 0};
    if (hit->surface == TR_SURFACE_SKY) return SKY;
    if (is_sheet(stage, hit->surface)) return PAPER;
    if (hit->surface != TR_SURFACE_FLOOR) return solid_of(stage, hit->surface)->tint;
    const tr_floor_line *line = line_at(stage, hit->p_mm);
    return line ? line->tint : stage->scene->floor_tint;
}
