#include "vehicle/floor.h"

#include "job/job.h"
#include "vehicle/vehicle.h"

bool tr_floor_value_is_angle(tr_floor_value value) {
    return value >= TR_FLOOR_ALONG;
}

/* Slopes along and across of a plane with this normal, which points up. */
static void slopes_of(tr_vec3 normal, double out[2]) {
    out[0] = atan2(-normal.x, normal.z);
    out[1] = atan2(-normal.y, normal.z);
}

static tr_vec3 normal_of(const tr_floor_sheet *sheet) {
    return tr_m3_column(sheet->vehicle_from_sheet.R, 2);
}

static double height_over(const tr_floor *plane, tr_vec3 p) {
    return tr_v3_dot(plane->normal, tr_v3_sub(p, plane->at_mm));
}

static bool stand_of_plates(const tr_floor_input *in, tr_floor *stand) {
    enum { FEWEST = 3 };
    tr_vec3 p[TR_JOB_MAX_SHEETS];
    int n = 0;
    for (int i = 0; i < in->n; i++) {
        const tr_floor_sheet *s = &in->sheets[i];
        if (!s->is_at_wheel) continue;
        p[n++] = tr_pose_apply(s->vehicle_from_sheet, tr_v3(s->wheel_mm.x, s->wheel_mm.y, 0));
    }
    return n >= FEWEST && tr_floor_through(p, n, stand);
}

static bool stand_of_sheets(const tr_floor_input *in, tr_floor *stand) {
    static const double SIGN[4][2] = {{-1, -1}, {1, -1}, {1, 1}, {-1, 1}};
    tr_vec3 p[4 * TR_JOB_MAX_SHEETS];
    int n = 0;
    for (int i = 0; i < in->n; i++) {
        const tr_floor_sheet *s = &in->sheets[i];
        for (int k = 0; k < 4 && !s->is_at_target; k++) {
            tr_vec3 corner = {SIGN[k][0] * s->half_mm[0], SIGN[k][1] * s->half_mm[1], 0};
            p[n++] = tr_pose_apply(s->vehicle_from_sheet, corner);
        }
    }
    return n > 0 && tr_floor_through(p, n, stand);
}

static bool find_stand(const tr_floor_input *in, tr_floor *stand) {
    switch (in->stand) {
    case TR_STAND_UNKNOWN: break;
    case TR_STAND_OF_PLATES: return stand_of_plates(in, stand);
    case TR_STAND_OF_SHEETS: return stand_of_sheets(in, stand);
    }
    return false;
}

/* Three points are always in a plane. */
static bool find_plane(const tr_floor_input *in, tr_floor *plane) {
    enum { FEWEST = 4 };
    tr_vec3 p[TR_JOB_MAX_SHEETS];
    for (int i = 0; i < in->n; i++) p[i] = in->sheets[i].vehicle_from_sheet.t_mm;
    return in->n >= FEWEST && tr_floor_through(p, in->n, plane);
}

/* From the nearest point of the stand to a place, seen from above. */
static tr_vec2 way_to(const tr_floor_input *in, tr_vec3 p) {
    return tr_v2(p.x - fmin(fmax(p.x, in->low_mm.x), in->high_mm.x),
                 p.y - fmin(fmax(p.y, in->low_mm.y), in->high_mm.y));
}

static void measure_sheet(const tr_floor_input *in, const tr_floor *stand, int i,
                          double out[TR_FLOOR_N]) {
    const tr_floor_sheet *sheet = &in->sheets[i];
    double of_stand[2];
    double own[2];
    slopes_of(stand->normal, of_stand);
    slopes_of(normal_of(sheet), own);
    out[TR_FLOOR_HEIGHT] = height_over(stand, sheet->vehicle_from_sheet.t_mm);
    out[TR_FLOOR_ALONG] = own[0] - of_stand[0];
    out[TR_FLOOR_ACROSS] = own[1] - of_stand[1];
    if (!sheet->is_at_target) return;
    double way = tr_v2_norm(way_to(in, sheet->vehicle_from_sheet.t_mm));
    out[TR_FLOOR_SLOPE] = atan2(out[TR_FLOOR_HEIGHT], fmax(way, TR_FLOOR_LEAST_WAY_MM));
}

/* Slopes along one direction add up, but for products of three of them. */
static void measure_level(const tr_floor_input *in, double (*sheets)[TR_FLOOR_N],
                          double whole[TR_FLOOR_WHOLE_N]) {
    double along = in->level_rad[0];
    double across = in->level_rad[1];
    if (in->level_on >= 0) {
        along -= sheets[in->level_on][TR_FLOOR_ALONG];
        across -= sheets[in->level_on][TR_FLOOR_ACROSS];
    }
    whole[TR_FLOOR_STAND_ALONG] = along;
    whole[TR_FLOOR_STAND_ACROSS] = across;
    for (int i = 0; i < in->n; i++) {
        double *out = sheets[i];
        tr_vec2 way = way_to(in, in->sheets[i].vehicle_from_sheet.t_mm);
        double over = fmax(tr_v2_norm(way), TR_FLOOR_LEAST_WAY_MM);
        out[TR_FLOOR_LEVEL_ALONG] = out[TR_FLOOR_ALONG] + along;
        out[TR_FLOOR_LEVEL_ACROSS] = out[TR_FLOOR_ACROSS] + across;
        out[TR_FLOOR_LEVEL_SLOPE] = out[TR_FLOOR_SLOPE] + (along * way.x + across * way.y) / over;
    }
}

void tr_floor_measure(const tr_floor_input *in, double (*sheets)[TR_FLOOR_N],
                      double whole[TR_FLOOR_WHOLE_N]) {
    tr_floor stand;
    tr_floor plane;
    for (int k = 0; k < TR_FLOOR_WHOLE_N; k++) whole[k] = NAN;
    for (int i = 0; i < in->n; i++) {
        for (int k = 0; k < TR_FLOOR_N; k++) sheets[i][k] = NAN;
    }
    bool has_stand = find_stand(in, &stand);
    bool has_plane = find_plane(in, &plane);
    for (int i = 0; i < in->n; i++) {
        if (has_stand) measure_sheet(in, &stand, i, sheets[i]);
        if (!has_plane) continue;
        sheets[i][TR_FLOOR_OUT_OF_FLAT] =
            height_over(&plane, in->sheets[i].vehicle_from_sheet.t_mm);
    }
    if (has_stand && has_plane) {
        double of_stand[2];
        double of_plane[2];
        slopes_of(stand.normal, of_stand);
        slopes_of(plane.normal, of_plane);
        for (int k = 0; k < 2; k++) whole[TR_FLOOR_PLANE_ALONG + k] = of_plane[k] - of_stand[k];
    }
    if (has_stand && in->has_level) measure_level(in, sheets, whole);
}
