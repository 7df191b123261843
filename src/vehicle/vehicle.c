#include "vehicle/vehicle.h"

#include <string.h>

#include "geom/dense.h"

/* Points nearer than this make no direction. mm */
static const double LEAST_MM = 1;

bool tr_vehicle_value_is_angle(int value) {
    return value >= TR_THRUST_ANGLE && value < TR_CENTRE;
}

/* z = a x + b y + c about their mean. */
bool tr_floor_through(const tr_vec3 *p, int n, tr_floor *out) {
    tr_vec3 mean = {0, 0, 0};
    double A[4] = {0};
    double b[2] = {0};
    for (int i = 0; i < n; i++) mean = tr_v3_add(mean, tr_v3_scale(1.0 / n, p[i]));
    for (int i = 0; i < n; i++) {
        tr_vec3 d = tr_v3_sub(p[i], mean);
        A[0] += d.x * d.x;
        A[2] += d.x * d.y;
        A[3] += d.y * d.y;
        b[0] += d.x * d.z;
        b[1] += d.y * d.z;
    }
    if (!tr_dense_solve(A, b, 2)) return false;
    tr_vec3 up = tr_v3(-b[0], -b[1], 1);
    *out = (tr_floor){tr_v3_scale(1 / tr_v3_norm(up), up), mean};
    return true;
}

/* ---- on the floor: seen from above, in any two axes of its plane ---- */

typedef struct {
    tr_mat3 floor_from_world;
    tr_vec3 at;
    tr_vec2 p[TR_N_POINTS];
    double heading[TR_N_POINTS]; /* where the wheel has an axis */
    tr_vec2 rear, front;         /* middles of the axles; front where there is one */
    tr_vec2 rear_axle;           /* to the left */
} floor_view;

static bool is_left(int point) {
    return point == TR_FRONT_LEFT || point == TR_REAR_LEFT;
}

static tr_vec2 middle(tr_vec2 a, tr_vec2 b) {
    return tr_v2_scale(0.5, tr_v2_add(a, b));
}

static tr_vec2 rotated(tr_vec2 v, double angle) {
    double c = cos(angle);
    double s = sin(angle);
    return tr_v2(c * v.x - s * v.y, s * v.x + c * v.y);
}

static double direction(tr_vec2 v) {
    return atan2(v.y, v.x);
}

/* The spin axis points to the left of a left wheel, and its plane is square to that. */
static double heading(tr_vec3 axis, int point) {
    return is_left(point) ? atan2(-axis.x, axis.y) : atan2(axis.x, -axis.y);
}

static floor_view view_floor(const tr_wheel *wheels, const tr_floor *floor) {
    floor_view v = {.at = floor->at_mm};
    tr_vec3 e1 = tr_v3_cross(tr_v3(0, 1, 0), floor->normal);
    e1 = tr_v3_scale(1 / tr_v3_norm(e1), e1);
    tr_vec3 e2 = tr_v3_cross(floor->normal, e1);
    v.floor_from_world = tr_m3_transpose(tr_m3_from_columns(e1, e2, floor->normal));
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!wheels[i].is_there) continue;
        tr_vec3 f = tr_m3_apply(v.floor_from_world, tr_v3_sub(wheels[i].at_mm, v.at));
        v.p[i] = tr_v2(f.x, f.y);
        if (!wheels[i].has_axis) continue;
        v.heading[i] = heading(tr_m3_apply(v.floor_from_world, wheels[i].axis), i);
    }
    v.rear = middle(v.p[TR_REAR_LEFT], v.p[TR_REAR_RIGHT]);
    v.front = middle(v.p[TR_FRONT_LEFT], v.p[TR_FRONT_RIGHT]);
    v.rear_axle = tr_v2_sub(v.p[TR_REAR_LEFT], v.p[TR_REAR_RIGHT]);
    return v;
}

/* ---- values ---- */

static void set(tr_vehicle *v, int value, double x) {
    v->value[value] = x;
    v->has[value] = true;
}

/* Of two angles that may stand on either side of half a turn. */
static double mean_angle(double a, double b) {
    return a + tr_wrap_rad(b - a) / 2;
}

static void measure_base(const floor_view *f, tr_vehicle *out) {
    tr_vec2 base = tr_v2_sub(f->front, f->rear);
    tr_vec2 front_axle = tr_v2_sub(f->p[TR_FRONT_LEFT], f->p[TR_FRONT_RIGHT]);
    double centreline = direction(base);
    tr_vec2 p[TR_N_POINTS];
    for (int i = 0; i < TR_N_POINTS; i++) p[i] = rotated(f->p[i], -centreline);
    set(out, TR_TRACK_FRONT, tr_v2_norm(front_axle));
    set(out, TR_WHEELBASE, tr_v2_norm(base));
    set(out, TR_SKEW_REAR, tr_v2_dot(base, f->rear_axle) / out->value[TR_TRACK_REAR]);
    set(out, TR_SKEW_FRONT, -tr_v2_dot(base, front_axle) / out->value[TR_TRACK_FRONT]);
    set(out, TR_WHEELBASE_LEFT, p[TR_FRONT_LEFT].x - p[TR_REAR_LEFT].x);
    set(out, TR_WHEELBASE_RIGHT, p[TR_FRONT_RIGHT].x - p[TR_REAR_RIGHT].x);
    set(out, TR_SET_BACK, p[TR_FRONT_LEFT].x - p[TR_FRONT_RIGHT].x);
}

/* Toe is inward on both sides: to the right of a left wheel, to the left of a right one. */
static double toe(const floor_view *f, int point, double line) {
    double turned = tr_wrap_rad(f->heading[point] - line);
    return is_left(point) ? -turned : turned;
}

static void measure_directions(const floor_view *f, const tr_wheel *wheels, tr_vehicle *out) {
    double centreline = direction(tr_v2_sub(f->front, f->rear));
    if (!wheels[TR_REAR_LEFT].has_axis || !wheels[TR_REAR_RIGHT].has_axis) return;
    double thrust = mean_angle(f->heading[TR_REAR_LEFT], f->heading[TR_REAR_RIGHT]);
    for (int i = 0; i < TR_N_POINTS; i++) {
        bool is_rear = i == TR_REAR_LEFT || i == TR_REAR_RIGHT;
        if (!wheels[i].has_axis || (is_rear && !out->has_front)) continue;
        set(out, TR_TOE + i, toe(f, i, is_rear ? centreline : thrust));
    }
    if (out->has_front) set(out, TR_THRUST_ANGLE, tr_wrap_rad(thrust - centreline));
}

static void measure_wheels(const tr_wheel *wheels, tr_vehicle *out) {
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!wheels[i].is_there) continue;
        tr_vec3 p = tr_pose_apply(out->vehicle_from_world, wheels[i].at_mm);
        out->point_mm[i] = p;
        if (!wheels[i].has_axis) continue;
        const double xyz[3] = {p.x, p.y, p.z};
        for (int k = 0; k < 3; k++) set(out, TR_CENTRE + 3 * i + k, xyz[k]);
        tr_vec3 axis = tr_m3_apply(out->vehicle_from_world.R, wheels[i].axis);
        set(out, TR_CAMBER + i, atan2(-axis.z, hypot(axis.x, axis.y)));
        if (!wheels[i].has_runout) continue;
        set(out, TR_RUNOUT + i, wheels[i].runout_mm);
        set(out, TR_RUNOUT_TILT + i, wheels[i].runout_rad);
    }
}

/* ---- the frame ---- */

static bool has_all(const tr_wheel *wheels, tr_axes axes, bool has_front) {
    const tr_wheel *l = &wheels[TR_REAR_LEFT];
    const tr_wheel *r = &wheels[TR_REAR_RIGHT];
    if (!l->is_there || !r->is_there) return false;
    if (axes == TR_AXES_THRUST) return l->has_axis && r->has_axis;
    return axes != TR_AXES_CENTRELINE || has_front;
}

static double forward_of(const floor_view *f, tr_axes axes) {
    if (axes == TR_AXES_CENTRELINE) return direction(tr_v2_sub(f->front, f->rear));
    if (axes == TR_AXES_REAR_AXLE) return direction(tr_v2(f->rear_axle.y, -f->rear_axle.x));
    return mean_angle(f->heading[TR_REAR_LEFT], f->heading[TR_REAR_RIGHT]);
}

bool tr_vehicle_frame(const tr_wheel wheels[TR_N_POINTS], const tr_floor *floor, tr_axes axes,
                      tr_vehicle *out) {
    *out = (tr_vehicle){.has_front =
                            wheels[TR_FRONT_LEFT].is_there && wheels[TR_FRONT_RIGHT].is_there};
    if (!has_all(wheels, axes, out->has_front)) return false;
    floor_view f = view_floor(wheels, floor);
    set(out, TR_TRACK_REAR, tr_v2_norm(f.rear_axle));
    if (!(out->value[TR_TRACK_REAR] > LEAST_MM)) return false;
    if (out->has_front) measure_base(&f, out);
    if (out->has_front &&
        !(out->value[TR_WHEELBASE] > LEAST_MM && out->value[TR_TRACK_FRONT] > LEAST_MM)) {
        return false;
    }
    tr_mat3 R = tr_m3_mul(tr_rotation_z(-forward_of(&f, axes)), f.floor_from_world);
    tr_vec3 origin = tr_v3_add(
        f.at, tr_m3_apply(tr_m3_transpose(f.floor_from_world), tr_v3(f.rear.x, f.rear.y, 0)));
    out->vehicle_from_world = (tr_pose){R, tr_v3_scale(-1, tr_m3_apply(R, origin))};
    measure_directions(&f, wheels, out);
    measure_wheels(wheels, out);
    return true;
}

bool tr_floor_of_plates(const tr_wheel wheels[TR_N_POINTS], tr_floor *out) {
    tr_vec3 p[TR_N_POINTS];
    tr_vec3 sum = {0, 0, 0};
    int n = 0;
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!wheels[i].is_there || wheels[i].has_axis) continue;
        p[n++] = wheels[i].at_mm;
        sum = tr_v3_add(sum, wheels[i].at_mm);
    }
    if (n >= 3) return tr_floor_through(p, n, out);
    *out = (tr_floor){tr_v3(0, 0, 1), tr_v3(sum.x / fmax(n, 1), sum.y / fmax(n, 1), 0)};
    return true;
}

bool tr_vehicle_of_points(const tr_vec3 point_world_mm[TR_N_POINTS],
                          const bool is_there[TR_N_POINTS], tr_axes axes, tr_vehicle *out) {
    tr_wheel wheels[TR_N_POINTS] = {{0}};
    tr_floor floor;
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (is_there[i]) wheels[i] = (tr_wheel){.is_there = true, .at_mm = point_world_mm[i]};
    }
    return tr_floor_of_plates(wheels, &floor) && tr_vehicle_frame(wheels, &floor, axes, out);
}

tr_vec3 tr_vehicle_axle(const tr_vehicle *v, bool is_front) {
    if (!is_front) return tr_v3(0, 0, 0);
    tr_vec3 sum = tr_v3_add(v->point_mm[TR_FRONT_LEFT], v->point_mm[TR_FRONT_RIGHT]);
    return tr_v3(sum.x / 2, sum.y / 2, 0);
}

void tr_vehicle_ground(const tr_vehicle *v, tr_vec2 *low, tr_vec2 *high) {
    static const tr_wheel_point REAR_FIRST[TR_N_POINTS] = {TR_REAR_LEFT, TR_REAR_RIGHT,
                                                           TR_FRONT_LEFT, TR_FRONT_RIGHT};
    *low = tr_v2(INFINITY, INFINITY);
    *high = tr_v2(-INFINITY, -INFINITY);
    for (int i = 0; i < (v->has_front ? TR_N_POINTS : 2); i++) {
        tr_vec3 p = v->point_mm[REAR_FIRST[i]];
        *low = tr_v2(fmin(low->x, p.x), fmin(low->y, p.y));
        *high = tr_v2(fmax(high->x, p.x), fmax(high->y, p.y));
    }
}

/* ---- placements ---- */

/* Sheet axes in the vehicle frame at yaw 0, as columns. */
static const tr_mat3 LYING_AT_YAW_0 = {{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}}};
static const tr_mat3 UPRIGHT_AT_YAW_0 = {{{0, 0, -1}, {-1, 0, 0}, {0, 1, 0}}};

void tr_placement_of(tr_pose vehicle_from_sheet, bool is_upright, double value[TR_N_AXES]) {
    tr_mat3 R0 = is_upright ? UPRIGHT_AT_YAW_0 : LYING_AT_YAW_0;
    tr_mat3 M = tr_m3_mul(vehicle_from_sheet.R, tr_m3_transpose(R0));
    value[TR_X] = vehicle_from_sheet.t_mm.x;
    value[TR_Y] = vehicle_from_sheet.t_mm.y;
    value[TR_Z] = vehicle_from_sheet.t_mm.z;
    value[TR_YAW] = atan2(M.m[1][0], M.m[0][0]);
    value[TR_PITCH] = atan2(-M.m[2][0], hypot(M.m[0][0], M.m[1][0]));
    value[TR_ROLL] = atan2(M.m[2][1], M.m[2][2]);
}

tr_pose tr_pose_of_placement(const double value[TR_N_AXES], bool is_upright) {
    tr_mat3 R0 = is_upright ? UPRIGHT_AT_YAW_0 : LYING_AT_YAW_0;
    tr_mat3 yaw = tr_rotation_z(value[TR_YAW]);
    tr_mat3 pitch = tr_rotation_from_vector(tr_v3(0, value[TR_PITCH], 0));
    tr_mat3 roll = tr_rotation_from_vector(tr_v3(value[TR_ROLL], 0, 0));
    return (tr_pose){tr_m3_mul(tr_m3_mul(yaw, pitch), tr_m3_mul(roll, R0)),
                     tr_v3(value[TR_X], value[TR_Y], value[TR_Z])};
}
