#include "check/unknown_lens.h"

#include <stdio.h>

/* A lens is told by this many photos, ... */
enum { LEAST_PHOTOS = 4 };
/* ... and where they leave less than this open of its focal length. One standard deviation. */
static const double MOST_FOCAL_SD = 0.02;

/* A part of u95 from which on a profile is said to gain hardly anything. */
static const double HARDLY_PART = 0.95;

bool tr_check_is_lens_told(const tr_check *check, const tr_adjustment *adj, tr_error *err) {
    int n = 0;
    if (!check->job->lenses[0].is_unknown) return true;
    for (int i = 0; i < adj->net.n_photos; i++) n += adj->photo_placed[i];
    if (n < LEAST_PHOTOS) {
        return tr_fail(
            err, TR_NO_MEASURE,
            "the lens is unknown, and the number of usable photos, %d, is too small to determine "
            "it: "
            "take at least %d that show the mat and plates from different sides, or calibrate the "
            "lens with 'trammel lens' and name its profile in the job",
            n, LEAST_PHOTOS);
    }
    if (adj->focal_sd[0] < MOST_FOCAL_SD) return true;
    return tr_fail(
        err, TR_NO_MEASURE,
        "the lens is unknown, and these photos do not determine it: its focal length remains "
        "uncertain by %.0f %%. Take more of them, near the mat and slantwise over it, from "
        "several sides and some with the phone turned by a quarter; or calibrate the "
        "lens with 'trammel lens' and name its profile in the job",
        100 * TR_COVERAGE_FACTOR * adj->focal_sd[0]);
}

/* ---- what is said of it ---- */

/* How much smaller a profile would make the u95 that it helps most: 1 is not at all. */
static double best_part(const tr_target_result *t) {
    static const tr_axis AXES[] = {TR_X, TR_Y, TR_YAW};
    double best = 1;
    for (int k = 0; k < 3; k++) {
        const tr_axis_result *a = &t->axis[AXES[k]];
        if (a->is_measured && a->u95 > 0) best = fmin(best, a->u95_calibrated / a->u95);
    }
    return best;
}

/* The target that a profile would gain most; NULL: none was measured. */
static const tr_target_result *find_gaining(const tr_check *check) {
    const tr_target_result *best = NULL;
    for (int i = 0; i < check->job->layout.n_placements; i++) {
        const tr_target_result *t = &check->result.targets[i];
        if (t->axis[TR_X].is_measured && (!best || best_part(t) < best_part(best))) best = t;
    }
    return best;
}

bool tr_check_note_unknown_lens(tr_check *check, tr_error *err) {
    double focal_px = check->lenses[0].param[TR_FX];
    double u95_percent = 100 * check->result.focal_u95;
    if (!check->job->lenses[0].is_unknown) return true;
    const tr_target_result *t = find_gaining(check);
    if (!t) return tr_note(LENS_UNKNOWN, &check->result.findings, err, focal_px, u95_percent);
    const char *id = check->job->sheets[t->sheet].id;
    if (best_part(t) > HARDLY_PART) {
        return tr_note(PROFILE_GAINS_LITTLE, &check->result.findings, err, focal_px, u95_percent,
                       id);
    }
    const tr_axis_result *x = &t->axis[TR_X];
    const tr_axis_result *y = &t->axis[TR_Y];
    const tr_axis_result *yaw = &t->axis[TR_YAW];
    return tr_note(PROFILE_GAINS, &check->result.findings, err, focal_px, u95_percent, id,
                   x->u95_calibrated, y->u95_calibrated, yaw->u95_calibrated * TR_DEG_PER_RAD,
                   x->u95, y->u95, yaw->u95 * TR_DEG_PER_RAD);
}
