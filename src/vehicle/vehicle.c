#include "vehicle/vehicle.h"

#include <string.h>

#include "geom/dense.h"
#include "lens/planar.h"

/* The floor through the points: z = a x + b y + c about their mean, least squares. */
static bool floor_through(const tr_vec3 *p, const bool *is_there, tr_vec3 *normal, tr_vec3 *at) {
    tr_vec3 mean = {0, 0, 0};
    double A[4] = {0};
    double b[2] = {0};
    int n = 0;
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!is_there[i]) continue;
        mean = tr_v3_add(mean, p[i]);
        n++;
    }
    mean = tr_v3_scale(1.0 / n, mean);
    *normal = tr_v3(0, 0, 1);
    *at = tr_v3(mean.x, mean.y, 0);
    if (n < 3) return true;
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!is_there[i]) continue;
        tr_vec3 d = tr_v3_sub(p[i], mean);
        A[0] += d.x * d.x;
        A[2] += d.x * d.y;
        A[3] += d.y * d.y;
        b[0] += d.x * d.z;
        b[1] += d.y * d.z;
    }
    if (!tr_dense_solve(A, b, 2)) return false;
    tr_vec3 up = tr_v3(-b[0], -b[1], 1);
    *normal = tr_v3_scale(1 / tr_v3_norm(up), up);
    *at = mean;
    return true;
}

static tr_vec2 middle(tr_vec2 a, tr_vec2 b) {
    return tr_v2_scale(0.5, tr_v2_add(a, b));
}

bool tr_vehicle_frame(const tr_vec3 point_world_mm[TR_N_POINTS], const bool is_there[TR_N_POINTS],
                      tr_axes axes, tr_vehicle *out) {
    bool has_front = is_there[TR_FRONT_LEFT] && is_there[TR_FRONT_RIGHT];
    tr_vec3 normal;
    tr_vec3 at;
    memset(out, 0, sizeof *out);
    if (!is_there[TR_REAR_LEFT] || !is_there[TR_REAR_RIGHT] || axes == TR_AXES_THRUST) return false;
    if (axes == TR_AXES_CENTRELINE && !has_front) return false;
    if (!floor_through(point_world_mm, is_there, &normal, &at)) return false;
    /* Floor coordinates: any two axes in the plane. */
    tr_vec3 e1 = tr_v3_cross(tr_v3(0, 1, 0), normal);
    e1 = tr_v3_scale(1 / tr_v3_norm(e1), e1);
    tr_vec3 e2 = tr_v3_cross(normal, e1);
    tr_mat3 floor_from_world = tr_m3_transpose(tr_m3_from_columns(e1, e2, normal));
    tr_vec2 q[TR_N_POINTS] = {{0, 0}};
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!is_there[i]) continue;
        tr_vec3 f = tr_m3_apply(floor_from_world, tr_v3_sub(point_world_mm[i], at));
        q[i] = tr_v2(f.x, f.y);
    }
    tr_vec2 rear = middle(q[TR_REAR_LEFT], q[TR_REAR_RIGHT]);
    tr_vec2 front = middle(q[TR_FRONT_LEFT], q[TR_FRONT_RIGHT]);
    tr_vec2 axle = tr_v2_sub(q[TR_REAR_LEFT], q[TR_REAR_RIGHT]); /* to the left */
    tr_vec2 forward = axes == TR_AXES_CENTRELINE ? tr_v2_sub(front, rear) : tr_v2(axle.y, -axle.x);
    double length = tr_v2_norm(forward);
    if (!(length > 1) || !(tr_v2_norm(axle) > 1)) return false;
    forward = tr_v2_scale(1 / length, forward);
    tr_mat3 vehicle_from_floor = tr_rotation_z(-atan2(forward.y, forward.x));
    out->vehicle_from_world.R = tr_m3_mul(vehicle_from_floor, floor_from_world);
    tr_vec3 origin = tr_v3_add(at, tr_v3_add(tr_v3_scale(rear.x, e1), tr_v3_scale(rear.y, e2)));
    out->vehicle_from_world.t_mm = tr_v3_scale(-1, tr_m3_apply(out->vehicle_from_world.R, origin));
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!is_there[i]) continue;
        tr_vec3 p = tr_pose_apply(out->vehicle_from_world, point_world_mm[i]);
        out->point_mm[i] = tr_v2(p.x, p.y);
    }
    out->has_front = has_front;
    out->track_rear_mm = tr_v2_norm(axle);
    if (!has_front) return true;
    tr_vec2 base = tr_v2_sub(front, rear);
    tr_vec2 front_axle = tr_v2_sub(q[TR_FRONT_LEFT], q[TR_FRONT_RIGHT]);
    out->track_front_mm = tr_v2_norm(front_axle);
    out->wheelbase_mm = tr_v2_norm(base);
    if (!(out->track_front_mm > 1)) return false;
    out->skew_rear_mm = tr_v2_dot(base, axle) / out->track_rear_mm;
    out->skew_front_mm = -tr_v2_dot(base, front_axle) / out->track_front_mm;
    return true;
}

/* Sheet axes in the vehicle frame at yaw 0, as columns: +x to -Y, +y to +X. */
static const tr_mat3 AT_YAW_0 = {{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}}};

void tr_placement_of(tr_pose vehicle_from_sheet, double value[TR_N_AXES]) {
    tr_mat3 M = tr_m3_mul(vehicle_from_sheet.R, tr_m3_transpose(AT_YAW_0));
    value[TR_X] = vehicle_from_sheet.t_mm.x;
    value[TR_Y] = vehicle_from_sheet.t_mm.y;
    value[TR_Z] = vehicle_from_sheet.t_mm.z;
    value[TR_YAW] = atan2(M.m[1][0], M.m[0][0]);
    value[TR_PITCH] = atan2(-M.m[2][0], hypot(M.m[0][0], M.m[1][0]));
    value[TR_ROLL] = atan2(M.m[2][1], M.m[2][2]);
}

tr_pose tr_pose_of_placement(const double value[TR_N_AXES]) {
    tr_mat3 yaw = tr_rotation_z(value[TR_YAW]);
    tr_mat3 pitch = tr_rotation_from_vector(tr_v3(0, value[TR_PITCH], 0));
    tr_mat3 roll = tr_rotation_from_vector(tr_v3(value[TR_ROLL], 0, 0));
    return (tr_pose){tr_m3_mul(tr_m3_mul(yaw, pitch), tr_m3_mul(roll, AT_YAW_0)),
                     tr_v3(value[TR_X], value[TR_Y], value[TR_Z])};
}
