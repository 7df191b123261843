#include "plan/mark_sd.h"

/* An edge of a tag across itself: what its fit leaves out, and noise, which counts the more the
   fewer pixels it has; the floors are those of marks/tag.c. */
static const double EDGE_PX = 0.014, EDGE_PX2 = 0.35;
static const double TAG_FLOOR_PX = 0.008, LOW_CELL_PX = 2.8, INWARD_PX2 = 0.02;

/* An edge of a checker corner, by the height of a square. */
static const double LINE_PX = 0.010, LINE_PX2 = 0.2;
static const double CORNER_FLOOR_PX = 0.015, LOW_SQUARE_PX = 5;

void tr_plan_crossing(tr_vec2 along_1, tr_vec2 along_2, double sd_px, double C[4]) {
    static const double LEAST_SINE = 0.1;
    tr_vec2 a = tr_v2_scale(1 / tr_v2_norm(along_1), along_1);
    tr_vec2 b = tr_v2_scale(1 / tr_v2_norm(along_2), along_2);
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

static double area_px2(const tr_vec2 c[4]) {
    return fabs(tr_v2_cross(tr_v2_sub(c[2], c[0]), tr_v2_sub(c[3], c[1]))) / 2;
}

double tr_plan_cell_px(const tr_vec2 c[4], int n_cells) {
    double longest = 0;
    for (int k = 0; k < 4; k++) {
        longest = fmax(longest, tr_v2_norm(tr_v2_sub(c[(k + 1) % 4], c[k])));
    }
    return area_px2(c) / longest / n_cells;
}

/* An edge across itself. */
static double edge_sd_px(const tr_vec2 c[4], double cell_px) {
    double shortest = INFINITY;
    double lowness = fmax(1, LOW_CELL_PX / cell_px);
    for (int k = 0; k < 4; k++) {
        shortest = fmin(shortest, tr_v2_norm(tr_v2_sub(c[(k + 1) % 4], c[k])));
    }
    return hypot(EDGE_PX * lowness * lowness, EDGE_PX2 / shortest);
}

void tr_plan_tag_covariance(const tr_vec2 c[4], int n_cells, double covariance[64]) {
    double cell = tr_plan_cell_px(c, n_cells);
    double edge = edge_sd_px(c, cell);
    double outward[8];
    tr_vec2 centre = {0, 0};
    for (int k = 0; k < 4; k++) centre = tr_v2_add(centre, tr_v2_scale(0.25, c[k]));
    for (int k = 0; k < 4; k++) {
        tr_vec2 d = tr_v2_sub(c[k], centre);
        d = tr_v2_scale(INWARD_PX2 / cell / tr_v2_norm(d), d);
        outward[2 * k] = d.x;
        outward[2 * k + 1] = d.y;
    }
    for (int i = 0; i < 8; i++) {
        for (int j = 0; j < 8; j++) covariance[8 * i + j] = outward[i] * outward[j];
    }
    for (int k = 0; k < 4; k++) {
        double C[4];
        tr_plan_crossing(tr_v2_sub(c[(k + 1) % 4], c[k]), tr_v2_sub(c[(k + 3) % 4], c[k]), edge, C);
        add_floor(TAG_FLOOR_PX, C);
        for (int i = 0; i < 4; i++) covariance[(2 * k + i / 2) * 8 + 2 * k + i % 2] += C[i];
    }
}

void tr_plan_checker_covariance(tr_vec2 across_px, tr_vec2 up_px, double covariance[4]) {
    double height =
        fabs(tr_v2_cross(across_px, up_px)) / fmax(tr_v2_norm(across_px), tr_v2_norm(up_px));
    double lowness = fmax(1, LOW_SQUARE_PX / height);
    tr_plan_crossing(across_px, up_px, hypot(LINE_PX, LINE_PX2 / height), covariance);
    add_floor(CORNER_FLOOR_PX * lowness * lowness, covariance);
}
