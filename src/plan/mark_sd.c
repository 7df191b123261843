#include "plan/mark_sd.h"

/* An edge of a tag across itself: what its fit leaves out, and noise, which counts the more the
   fewer pixels it has. */
static const double EDGE_PX = 0.014, EDGE_PX2 = 0.35;
static const double TAG_FLOOR_PX = 0.008;

/* An edge of a checker corner, by the height of a square. */
static const double LINE_PX = 0.010, LINE_PX2 = 0.2;
static const double CORNER_FLOOR_PX = 0.015, LOW_SQUARE_PX = 5;

void tr_plan_crossing(tr_vec2 a, tr_vec2 b, double sd_px, double C[4]) {
    static const double LEAST_SINE = 0.1;
    a = tr_v2_scale(1 / tr_v2_norm(a), a);
    b = tr_v2_scale(1 / tr_v2_norm(b), b);
    /* With normals (-y, x): N = sum n n', det N = sin^2 of the angle between the lines. */
    double sine = fmax(fabs(tr_v2_cross(a, b)), LEAST_SINE);
    double scale = sd_px * sd_px / (sine * sine);
    C[0] = scale * (a.x * a.x + b.x * b.x);
    C[3] = scale * (a.y * a.y + b.y * b.y);
    C[1] = C[2] = scale * (a.x * a.y + b.x * b.y);
}

static void add_floor(double floor_px, double C[4]) {
    C[0] += floor_px * floor_px;
    C[3] += floor_px * floor_px;
}

void tr_plan_tag_corner(tr_vec2 to_next_px, tr_vec2 to_last_px, double covariance[4]) {
    double shorter = fmin(tr_v2_norm(to_next_px), tr_v2_norm(to_last_px));
    tr_plan_crossing(to_next_px, to_last_px, hypot(EDGE_PX, EDGE_PX2 / shorter), covariance);
    add_floor(TAG_FLOOR_PX, covariance);
}

void tr_plan_checker_corner(tr_vec2 across_px, tr_vec2 up_px, double covariance[4]) {
    double height =
        fabs(tr_v2_cross(across_px, up_px)) / fmax(tr_v2_norm(across_px), tr_v2_norm(up_px));
    double lowness = fmax(1, LOW_SQUARE_PX / height);
    tr_plan_crossing(across_px, up_px, hypot(LINE_PX, LINE_PX2 / height), covariance);
    add_floor(CORNER_FLOOR_PX * lowness * lowness, covariance);
}
