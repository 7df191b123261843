#include "present/moves.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"

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

/* "12 mm backward and 3 mm to the vehicle's left"; "" where there is nothing to slide. */
static void slide_text(const tr_axis_result axis[TR_N_AXES], char *out, size_t size) {
    char x[32];
    char y[32];
    char along[64] = "";
    char aside[128] = "";
    bool is_forward = to_do(TR_X, &axis[TR_X], x, sizeof x) > 0;
    bool is_left = to_do(TR_Y, &axis[TR_Y], y, sizeof y) > 0;
    if (x[0])
        snprintf(along, sizeof along, is_forward ? TR_("%s mm forward") : TR_("%s mm backward"), x);
    if (y[0]) {
        snprintf(aside, sizeof aside,
                 is_left ? TR_("%s mm to the vehicle's left") : TR_("%s mm to the vehicle's right"),
                 y);
    }
    if (x[0] && y[0])
        snprintf(out, size, TR_("%s and %s"), along, aside);
    else
        snprintf(out, size, "%s", x[0] ? along : aside);
}

static bool has_moves(const tr_axis_result axis[TR_N_AXES]) {
    return axis[TR_X].is_measured && axis[TR_Y].is_measured && axis[TR_YAW].is_measured &&
           axis[TR_X].is_required && axis[TR_Y].is_required && axis[TR_YAW].is_required;
}

int tr_moves_lying(const char *what, const tr_axis_result axis[TR_N_AXES],
                   char out[TR_MAX_MOVES][TR_MOVE_SIZE]) {
    char yaw[32];
    char slide[128];
    if (!has_moves(axis)) return 0;
    slide_text(axis, slide, sizeof slide);
    double turn = to_do(TR_YAW, &axis[TR_YAW], yaw, sizeof yaw);
    if (slide[0] && yaw[0]) {
        snprintf(out[0], TR_MOVE_SIZE,
                 turn > 0 ? TR_("Slide %s %s, then turn it %s° anticlockwise seen from above.")
                          : TR_("Slide %s %s, then turn it %s° clockwise seen from above."),
                 what, slide, yaw);
    } else if (slide[0]) {
        snprintf(out[0], TR_MOVE_SIZE, TR_("Slide %s %s, without turning it."), what, slide);
        return 1;
    } else if (yaw[0]) {
        snprintf(out[0], TR_MOVE_SIZE,
                 turn > 0 ? TR_("Turn %s %s° anticlockwise seen from above.")
                          : TR_("Turn %s %s° clockwise seen from above."),
                 what, yaw);
    } else {
        return 0;
    }
    snprintf(out[1], TR_MOVE_SIZE, "%s",
             TR_("Its centre mark stays where it is while you turn it."));
    return 2;
}

/* ---- a board on a stand ---- */

/* Appends what is to be done along an axis, where that is anything. */
static void add_step(tr_axis axis, const tr_axis_result *r, const char *grow, const char *shrink,
                     char *out, size_t size) {
    char number[32];
    size_t used = strlen(out);
    if (!r->is_measured || !r->is_required) return;
    double value = to_do(axis, r, number, sizeof number);
    if (!number[0]) return;
    const char *step = value > 0 ? grow : shrink;
    const char *unit = strchr(step, '#') + 1;
    snprintf(out + used, size - used, "%s%.*s%s%s", used > 0 ? ", " : "", (int)(unit - 1 - step),
             step, number, unit);
}

int tr_moves_upright(const char *what, const tr_axis_result axis[TR_N_AXES],
                     char out[TR_MAX_MOVES][TR_MOVE_SIZE]) {
    char slide[128];
    char steps[TR_MOVE_SIZE - 128] = "";
    int n = 0;
    if (!has_moves(axis)) return 0;
    slide_text(axis, slide, sizeof slide);
    if (slide[0]) snprintf(out[n++], TR_MOVE_SIZE, TR_("Move the stand of %s %s."), what, slide);
    add_step(TR_YAW, &axis[TR_YAW], TR_("turn it #° anticlockwise seen from above"),
             TR_("turn it #° clockwise seen from above"), steps, sizeof steps);
    add_step(TR_Z, &axis[TR_Z], TR_("raise it by # mm"), TR_("lower it by # mm"), steps,
             sizeof steps);
    add_step(TR_PITCH, &axis[TR_PITCH], TR_("tilt its top back #°"),
             TR_("tilt its top #° towards the side it faces"), steps, sizeof steps);
    add_step(TR_ROLL, &axis[TR_ROLL], TR_("turn its face #° clockwise, seen from before it"),
             TR_("turn its face #° anticlockwise, seen from before it"), steps, sizeof steps);
    if (!steps[0]) return n;
    if (n > 0)
        snprintf(out[n], TR_MOVE_SIZE, TR_("Then %s."), steps);
    else
        snprintf(out[n], TR_MOVE_SIZE, TR_("Adjust %s: %s."), what, steps);
    return n + 1;
}

/* ---- of a target ---- */

/* "the mat", or its id where there are several. */
static void name_target(const tr_check_result *result, const tr_target_result *t, char *out,
                        size_t size) {
    static const char *const KINDS[] = {
        [TR_SHEET_MAT] = TR_N("the mat"),     [TR_SHEET_BOARD] = TR_N("the board"),
        [TR_SHEET_PLATE] = TR_N("the plate"), [TR_SHEET_HUB] = TR_N("the hub sheet"),
        [TR_SHEET_TAG] = TR_N("the tag"),
    };
    const tr_sheet_result *sheet = &result->sheets[t->sheet];
    if (result->n_targets > 1)
        snprintf(out, size, "%s", sheet->id);
    else
        snprintf(out, size, "%s", tr_translated(KINDS[sheet->kind]));
}

int tr_target_moves(const tr_check_result *result, const tr_target_result *t,
                    char out[TR_MAX_MOVES][TR_MOVE_SIZE]) {
    char what[sizeof result->sheets->id + 32];
    if (!t->is_to_move) return 0;
    name_target(result, t, what, sizeof what);
    bool stands = tr_sheet_usual_support(result->sheets[t->sheet].kind) != TR_ON_FLOOR;
    return stands ? tr_moves_upright(what, t->axis, out) : tr_moves_lying(what, t->axis, out);
}

void tr_target_moves_text(const tr_check_result *result, const tr_target_result *t,
                          char out[TR_MOVES_SIZE]) {
    char moves[TR_MAX_MOVES][TR_MOVE_SIZE];
    int n = tr_target_moves(result, t, moves);
    out[0] = 0;
    for (int i = 0; i < n; i++) {
        size_t used = strlen(out);
        snprintf(out + used, TR_MOVES_SIZE - used, "%s%s", i > 0 ? " " : "", moves[i]);
    }
}
