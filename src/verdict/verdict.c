#include "verdict/verdict.h"

#include <stdio.h>
#include <stdlib.h>

#include "geom/geom.h"

const char *tr_verdict_name(tr_verdict verdict) {
    switch (verdict) {
    case TR_PASS: return "pass";
    case TR_FAIL: return "fail";
    case TR_INCONCLUSIVE: break;
    }
    return "inconclusive";
}

tr_verdict tr_verdict_decide(double error, double u95, double limit) {
    if (!isfinite(error) || !isfinite(u95) || !isfinite(limit) || u95 < 0) return TR_INCONCLUSIVE;
    if (fabs(error) + u95 <= limit) return TR_PASS;
    if (fabs(error) - u95 > limit) return TR_FAIL;
    return TR_INCONCLUSIVE;
}

tr_verdict tr_verdict_join(tr_verdict a, tr_verdict b) {
    if (a == TR_FAIL || b == TR_FAIL) return TR_FAIL;
    if (a == TR_INCONCLUSIVE || b == TR_INCONCLUSIVE) return TR_INCONCLUSIVE;
    return TR_PASS;
}

/* Decimals that are worth telling for a limit: a tenth of it or finer. */
static int decimals(tr_axis axis, const tr_axis_result *r) {
    if (tr_axis_is_angle(axis)) return r->is_judged && r->limit < 0.3 * TR_RAD_PER_DEG ? 2 : 1;
    return r->is_judged && r->limit < 5 ? 1 : 0;
}

/* What is to be done along an axis, rounded as it will be told; "" where that is nothing. */
static double to_do(tr_axis axis, const tr_axis_result *r, char *text, size_t size) {
    double value = -r->error * (tr_axis_is_angle(axis) ? TR_DEG_PER_RAD : 1);
    int n = decimals(axis, r);
    snprintf(text, size, "%.*f", n, fabs(value));
    if (strtod(text, NULL) == 0.0) text[0] = 0;
    return value;
}

int tr_verdict_moves(const char *what, const tr_axis_result axis[TR_N_AXES],
                     char out[TR_MAX_MOVES][TR_MOVE_SIZE]) {
    char x[32];
    char y[32];
    char yaw[32];
    char slide[128] = "";
    if (!axis[TR_X].is_measured || !axis[TR_Y].is_measured || !axis[TR_YAW].is_measured ||
        !axis[TR_X].is_required || !axis[TR_Y].is_required || !axis[TR_YAW].is_required) {
        return 0;
    }
    double dx = to_do(TR_X, &axis[TR_X], x, sizeof x);
    double dy = to_do(TR_Y, &axis[TR_Y], y, sizeof y);
    double turn = to_do(TR_YAW, &axis[TR_YAW], yaw, sizeof yaw);
    const char *along = dx > 0 ? "forward" : "backward";
    const char *aside = dy > 0 ? "left" : "right";
    const char *round = turn > 0 ? "anticlockwise" : "clockwise";
    if (x[0] && y[0]) {
        snprintf(slide, sizeof slide, "%s mm %s and %s mm to the vehicle's %s", x, along, y, aside);
    } else if (x[0]) {
        snprintf(slide, sizeof slide, "%s mm %s", x, along);
    } else if (y[0]) {
        snprintf(slide, sizeof slide, "%s mm to the vehicle's %s", y, aside);
    }
    if (slide[0] && yaw[0]) {
        snprintf(out[0], TR_MOVE_SIZE, "Slide %s %s, then turn it %s° %s seen from above.", what,
                 slide, yaw, round);
    } else if (slide[0]) {
        snprintf(out[0], TR_MOVE_SIZE, "Slide %s %s, without turning it.", what, slide);
        return 1;
    } else if (yaw[0]) {
        snprintf(out[0], TR_MOVE_SIZE, "Turn %s %s° %s seen from above.", what, yaw, round);
    } else {
        return 0;
    }
    snprintf(out[1], TR_MOVE_SIZE, "Its centre mark stays where it is while you turn it.");
    return 2;
}
