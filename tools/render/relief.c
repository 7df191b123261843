#include "tools/render/relief.h"

#include <math.h>

/* f of a distance from a side, and its derivative. */
typedef struct {
    double f, df;
} fall;

static fall fall_off(double d, double reach_mm) {
    double t = 1 - d / reach_mm;
    if (t <= 0) return (fall){0, 0};
    if (t >= 1) return (fall){2 * t - 1, -2 / reach_mm};
    return (fall){t * t, -2 * t / reach_mm};
}

double tr_relief_at(const tr_relief *relief, const double half_mm[2], tr_vec2 p, double slope[2]) {
    const double *S = relief->side_mm;
    const double *C = relief->corner_mm;
    double phase = relief->wave_rad_per_mm[0] * p.x + relief->wave_rad_per_mm[1] * p.y;
    double z = relief->wave_mm * sin(phase + relief->wave_rad);
    double swell = relief->wave_mm * cos(phase + relief->wave_rad);
    double dx = swell * relief->wave_rad_per_mm[0];
    double dy = swell * relief->wave_rad_per_mm[1];
    if (relief->reach_mm > 0) {
        fall l = fall_off(half_mm[0] + p.x, relief->reach_mm);
        fall r = fall_off(half_mm[0] - p.x, relief->reach_mm);
        fall b = fall_off(half_mm[1] + p.y, relief->reach_mm);
        fall t = fall_off(half_mm[1] - p.y, relief->reach_mm);
        double LB = C[0] - S[0] - S[2];
        double RB = C[1] - S[1] - S[2];
        double LT = C[2] - S[0] - S[3];
        double RT = C[3] - S[1] - S[3];
        double of_l = S[0] + LB * b.f + LT * t.f; /* what stands beside l, and so on */
        double of_r = S[1] + RB * b.f + RT * t.f;
        z += of_l * l.f + of_r * r.f + S[2] * b.f + S[3] * t.f;
        dx += of_l * l.df - of_r * r.df;
        dy += (S[2] + LB * l.f + RB * r.f) * b.df - (S[3] + LT * l.f + RT * r.f) * t.df;
    }
    if (slope) {
        slope[0] = dx;
        slope[1] = dy;
    }
    return z;
}

double tr_relief_reach(const tr_relief *relief) {
    double sum = fabs(relief->wave_mm);
    for (int k = 0; k < 4; k++) {
        sum += 3 * fabs(relief->side_mm[k]) + fabs(relief->corner_mm[k]);
    }
    return sum;
}
