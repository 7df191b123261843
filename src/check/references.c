#include "check/references.h"

#include "verdict/verdict.h"

/* A skew of more than this many standard uncertainties is not what was stated. */
static const double SURPRISING_SKEW_U = 4.0;
/* Three plates that fit a vehicle of the stated lengths this well leave the fourth to blame. */
static const double THREE_FIT_MM = 6.0;

static const char *sheet_of(const tr_job *job, tr_wheel_point point) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].point == point) return job->sheets[job->references[i].sheet].id;
    }
    return "?";
}

bool tr_references_are_plates(const tr_job *job) {
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        if (r->point < TR_N_POINTS && job->sheets[r->sheet].support != TR_ON_FLOOR) return false;
    }
    return true;
}

static bool note_swapped(const tr_job *job, tr_findings *findings, tr_error *err) {
    const char *id[TR_N_POINTS];
    for (int i = 0; i < TR_N_POINTS; i++) id[i] = sheet_of(job, (tr_wheel_point)i);
    const char *fl = id[TR_FRONT_LEFT], *fr = id[TR_FRONT_RIGHT];
    const char *rl = id[TR_REAR_LEFT], *rr = id[TR_REAR_RIGHT];
    return tr_references_are_plates(job) ? tr_note(PLATES_SWAPPED, findings, err, fl, fr, rl, rr)
                                         : tr_note(SHEETS_SWAPPED, findings, err, fl, fr, rl, rr);
}

static bool note_axle_swapped(const tr_job *job, bool is_rear, tr_findings *findings,
                              tr_error *err) {
    const char *left = sheet_of(job, is_rear ? TR_REAR_LEFT : TR_FRONT_LEFT);
    const char *right = sheet_of(job, is_rear ? TR_REAR_RIGHT : TR_FRONT_RIGHT);
    return tr_references_are_plates(job)
               ? tr_note(AXLE_PLATES_SWAPPED, findings, err, is_rear, left, right)
               : tr_note(AXLE_SHEETS_SWAPPED, findings, err, is_rear, left, right);
}

/* Left points lie at Y > 0, front points ahead of the rear ones; with plates exchanged they do not.
 */
static bool check_sides(const tr_job *job, const tr_vehicle *v, tr_findings *findings,
                        bool *is_sound, tr_error *err) {
    const tr_vec3 *p = v->point_mm;
    bool rear = p[TR_REAR_LEFT].y < p[TR_REAR_RIGHT].y;
    bool front = v->has_front && p[TR_FRONT_LEFT].y < p[TR_FRONT_RIGHT].y;
    bool backward = v->has_front && p[TR_FRONT_LEFT].x + p[TR_FRONT_RIGHT].x <
                                        p[TR_REAR_LEFT].x + p[TR_REAR_RIGHT].x;
    *is_sound = false;
    if ((rear && front) || backward) return note_swapped(job, findings, err);
    if (rear || front) return note_axle_swapped(job, rear, findings, err);
    *is_sound = true;
    return true;
}

typedef struct {
    double rms_mm;  /* of the three points that were fitted */
    tr_vec2 off_mm; /* of the one left out from its place in that fit */
} three_fit;

/* The three other points fitted to a vehicle of the stated lengths. */
static three_fit fit_three(const tr_layout *l, const tr_vehicle *v, int left_out) {
    three_fit fit = {0};
    tr_vec2 model[TR_N_POINTS] = {
        [TR_FRONT_LEFT] = {l->wheelbase_mm, l->track_front_mm / 2},
        [TR_FRONT_RIGHT] = {l->wheelbase_mm, -l->track_front_mm / 2},
        [TR_REAR_LEFT] = {0, l->track_rear_mm / 2},
        [TR_REAR_RIGHT] = {0, -l->track_rear_mm / 2},
    };
    tr_vec2 from[TR_N_POINTS];
    tr_vec2 to[TR_N_POINTS];
    int n = 0;
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (i == left_out) continue;
        from[n] = model[i];
        to[n++] = tr_v2(v->point_mm[i].x, v->point_mm[i].y);
    }
    tr_plane_motion motion = tr_plane_fit(from, to, n);
    double sum = 0;
    for (int i = 0; i < TR_N_POINTS; i++) {
        tr_vec2 at = {v->point_mm[i].x, v->point_mm[i].y};
        tr_vec2 d = tr_v2_sub(at, tr_plane_motion_apply(motion, model[i]));
        if (i == left_out)
            fit.off_mm = d;
        else
            sum += tr_v2_dot(d, d);
    }
    fit.rms_mm = sqrt(sum / 3);
    return fit;
}

static bool name_culprit(const tr_job *job, const tr_vehicle *v, tr_findings *findings,
                         tr_error *err) {
    const tr_layout *l = &job->layout;
    int best = -1;
    double lowest = THREE_FIT_MM;
    tr_vec2 best_off = {0, 0};
    if (!v->has_front || !(l->wheelbase_mm > 0) || !(l->track_front_mm > 0) ||
        !(l->track_rear_mm > 0)) {
        return true;
    }
    for (int i = 0; i < TR_N_POINTS; i++) {
        three_fit fit = fit_three(l, v, i);
        if (fit.rms_mm < lowest && tr_v2_norm(fit.off_mm) > l->reference_tolerance_mm) {
            lowest = fit.rms_mm;
            best = i;
            best_off = fit.off_mm;
        }
    }
    if (best < 0) return true;
    return tr_note(PLATE_OFF, findings, err, sheet_of(job, (tr_wheel_point)best),
                   tr_wheel_point_name((tr_wheel_point)best), tr_v2_norm(best_off), best_off.x,
                   best_off.y);
}

/* The layout says something else. */
static bool is_length_off(double measured, double stated, double tolerance) {
    return stated > 0 && fabs(measured - stated) > tolerance;
}

static bool check_track(bool is_rear, double measured, double stated, double tolerance,
                        tr_findings *findings, bool *is_off, tr_error *err) {
    if (!is_length_off(measured, stated, tolerance)) return true;
    *is_off = true;
    return tr_note(TRACK_OFF, findings, err, is_rear, measured, stated);
}

static bool check_wheelbase(const tr_job *job, double measured, tr_findings *findings, bool *is_off,
                            tr_error *err) {
    double stated = job->layout.wheelbase_mm;
    if (!is_length_off(measured, stated, job->layout.reference_tolerance_mm)) return true;
    *is_off = true;
    return tr_references_are_plates(job)
               ? tr_note(WHEELBASE_OFF, findings, err, measured, stated)
               : tr_note(WHEELBASE_OF_HUBS_OFF, findings, err, measured, stated);
}

/* Vehicles need not be straight to a millimetre; a skew that the photos themselves leave open is no
   plate's. */
static bool check_skew(const tr_job *job, const tr_vehicle *v, double u_mm, tr_findings *findings,
                       bool *is_off, tr_error *err) {
    double skew = fmax(fabs(v->value[TR_SKEW_REAR]), fabs(v->value[TR_SKEW_FRONT]));
    const bool are_plates = tr_references_are_plates(job);
    if (skew > hypot(job->layout.reference_tolerance_mm, TR_COVERAGE_FACTOR * u_mm)) {
        *is_off = true;
        return are_plates ? tr_note(AXLES_NOT_SQUARE, findings, err, skew)
                          : tr_note(HUBS_NOT_SQUARE, findings, err, skew);
    }
    if (skew <= SURPRISING_SKEW_U * u_mm) return true;
    return are_plates ? tr_note(AXLES_ASKEW, findings, err, skew)
                      : tr_note(HUBS_ASKEW, findings, err, skew);
}

bool tr_references_have_plates(const tr_job *job, bool is_rear) {
    tr_wheel_point left = is_rear ? TR_REAR_LEFT : TR_FRONT_LEFT;
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].point == left)
            return job->sheets[job->references[i].sheet].support == TR_ON_FLOOR;
    }
    return false;
}

static bool check_lengths(const tr_job *job, const tr_vehicle *v, tr_findings *findings,
                          bool *is_off, tr_error *err) {
    const tr_layout *l = &job->layout;
    double tolerance = l->reference_tolerance_mm;
    for (int is_rear = 1; is_rear >= 0; is_rear--) {
        double measured = v->value[is_rear ? TR_TRACK_REAR : TR_TRACK_FRONT];
        double stated = is_rear ? l->track_rear_mm : l->track_front_mm;
        if ((!is_rear && !v->has_front) || !tr_references_have_plates(job, is_rear)) continue;
        if (!check_track(is_rear, measured, stated, tolerance, findings, is_off, err)) return false;
    }
    return !v->has_front || check_wheelbase(job, v->value[TR_WHEELBASE], findings, is_off, err);
}

/* A vehicle that runs askew should be aligned first: what is squared to its line aims wrong
   afterwards. */
static bool check_thrust(const tr_job *job, const tr_vehicle *v, double u95, tr_findings *findings,
                         tr_error *err) {
    double limit = job->layout.thrust_limit_rad;
    if (!(limit > 0)) return true;
    if (!v->has[TR_THRUST_ANGLE]) return tr_note(THRUST_NOT_MEASURED, findings, err);
    double angle = v->value[TR_THRUST_ANGLE];
    return tr_verdict_decide(angle, u95, limit) == TR_PASS ||
           tr_note(THRUST_ANGLE, findings, err, angle * TR_DEG_PER_RAD, u95 * TR_DEG_PER_RAD,
                   limit * TR_DEG_PER_RAD);
}

/* Toe and camber of vehicles that stand on four sound wheels, steering straight, stay far below
   (common practice, no source). */
static const double MOST_TOE = 1.5 * TR_RAD_PER_DEG;
static const double MOST_CAMBER = 6 * TR_RAD_PER_DEG;

/* u95: of the toes and cambers; what may be within the limits is no more than uncertain. */
static bool check_wheels(const tr_vehicle *v, const tr_reference_u *u, tr_findings *findings,
                         tr_error *err) {
    for (int i = 0; i < TR_N_POINTS; i++) {
        double toe = v->has[TR_TOE + i] ? v->value[TR_TOE + i] : 0;
        double camber = v->has[TR_CAMBER + i] ? v->value[TR_CAMBER + i] : 0;
        if (fabs(toe) - u->toe_u95_rad[i] <= MOST_TOE &&
            fabs(camber) - u->camber_u95_rad[i] <= MOST_CAMBER) {
            continue;
        }
        if (!tr_note(WHEEL_IMPLAUSIBLE, findings, err, tr_wheel_point_name((tr_wheel_point)i),
                     toe * TR_DEG_PER_RAD, camber * TR_DEG_PER_RAD)) {
            return false;
        }
    }
    return true;
}

bool tr_check_references(const tr_job *job, const tr_vehicle *v, const tr_reference_u *u,
                         tr_findings *findings, tr_error *err) {
    bool is_sound;
    bool is_off = false;
    if (!check_sides(job, v, findings, &is_sound, err)) return false;
    if (!is_sound || tr_findings_have(findings, TR_FOUND_LENS_MISMATCH) ||
        tr_findings_have(findings, TR_FOUND_SHEET_SCALE) ||
        tr_findings_have(findings, TR_FOUND_SHEET_MOVED)) {
        return true;
    }
    if (!check_lengths(job, v, findings, &is_off, err) || !check_wheels(v, u, findings, err))
        return false;
    if (!v->has_front) {
        return tr_references_are_plates(job) ? tr_note(REAR_PLATES_ONLY, findings, err)
                                             : tr_note(REAR_HUBS_ONLY, findings, err);
    }
    if (!check_skew(job, v, u->skew_mm, findings, &is_off, err) ||
        !check_thrust(job, v, u->thrust_u95_rad, findings, err)) {
        return false;
    }
    bool has_all_plates =
        tr_references_have_plates(job, true) && tr_references_have_plates(job, false);
    return !is_off || !has_all_plates || name_culprit(job, v, findings, err);
}
