#include "check/floor.h"

/* ---- which sheet tells what ---- */

/* NULL: it marks no wheel. */
static const tr_reference *wheel_of(const tr_job *job, int sheet) {
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        if (r->sheet == sheet && r->point < TR_N_POINTS) return r;
    }
    return NULL;
}

/* As the frame's floor (tr_check_frame), but that the sheets of targets are not of the stand. With
   plates at the rear wheels alone nothing tells how that slopes along the vehicle. */
static tr_stand stand_of(const tr_solved *s) {
    int n_plates = 0;
    bool has_hub = false;
    for (int i = 0; i < s->job->n_references; i++) {
        const tr_reference *r = &s->job->references[i];
        if (r->point == TR_N_POINTS || !s->adj->sheet_placed[r->sheet]) continue;
        bool is_hub = s->job->sheets[r->sheet].support == TR_ON_WHEEL;
        n_plates += !is_hub;
        has_hub = has_hub || is_hub;
    }
    return n_plates >= 3 ? TR_STAND_OF_PLATES : has_hub ? TR_STAND_OF_SHEETS : TR_STAND_UNKNOWN;
}

static tr_vec2 seen_from_above(const tr_solved *s, const tr_vehicle *vehicle, int sheet) {
    tr_vec3 p =
        tr_pose_apply(vehicle->vehicle_from_world, s->adj->net.sheets[sheet].world_from_sheet.t_mm);
    return tr_v2(p.x, p.y);
}

/* Near enough to tell what lies about it: one without marks of its own should be where the layout
   has it. */
static tr_vec2 whereabouts(const tr_solved *s, const tr_vehicle *vehicle,
                           const tr_target_result *target) {
    tr_vec3 required = target->vehicle_from_required.t_mm;
    return s->adj->sheet_placed[target->sheet] ? seen_from_above(s, vehicle, target->sheet)
                                               : tr_v2(required.x, required.y);
}

static int place_under(const tr_solved *s, const tr_vehicle *vehicle,
                       const tr_target_result *target, const tr_check_floor *floor) {
    double nearest = TR_FLOOR_FOOT_MM;
    int place = -1;
    if (!tr_solved_has_place(s, target->sheet)) return -1;
    tr_vec2 at = whereabouts(s, vehicle, target);
    for (int i = 0; i < floor->n; i++) {
        if (floor->sheet[i] == target->sheet) return i;
        double away = tr_v2_norm(tr_v2_sub(seen_from_above(s, vehicle, floor->sheet[i]), at));
        if (floor->is_at_wheel[i] || away >= nearest) continue;
        nearest = away;
        place = i;
    }
    return place;
}

void tr_check_floor_choose(const tr_solved *s, const tr_vehicle *vehicle, tr_check_result *result,
                           tr_check_floor *out) {
    const tr_job *job = s->job;
    *out = (tr_check_floor){.stand = stand_of(s), .level_on = -1};
    for (int i = 0; i < job->n_sheets; i++) {
        if (job->sheets[i].support != TR_ON_FLOOR || !s->adj->sheet_placed[i]) continue;
        if (job->level.is_given && job->level.sheet == i) out->level_on = out->n;
        const tr_reference *wheel = wheel_of(job, i);
        out->is_at_wheel[out->n] = wheel;
        if (wheel) out->wheel_mm[out->n] = wheel->at_mm;
        out->sheet[out->n++] = i;
    }
    out->has_level = job->level.is_given && (job->level.sheet < 0 || out->level_on >= 0);
    for (int i = 0; i < result->n_targets; i++) {
        int place = place_under(s, vehicle, &result->targets[i], out);
        result->targets[i].floor_place = place;
        if (place >= 0) out->is_at_target[place] = true;
    }
}

/* ---- against the limits ---- */

tr_floor_limit tr_floor_limit_of(tr_floor_value value) {
    switch (value) {
    case TR_FLOOR_OUT_OF_FLAT: return TR_LIMIT_OUT_OF_FLAT;
    case TR_FLOOR_ALONG:
    case TR_FLOOR_ACROSS: return TR_LIMIT_TILT;
    case TR_FLOOR_SLOPE: return TR_LIMIT_SLOPE;
    case TR_FLOOR_LEVEL_SLOPE: return TR_LIMIT_LEVEL;
    case TR_FLOOR_HEIGHT:
    case TR_FLOOR_LEVEL_ALONG:
    case TR_FLOOR_LEVEL_ACROSS:
    case TR_FLOOR_N: break;
    }
    return TR_N_FLOOR_LIMITS;
}

tr_floor_limit tr_floor_limit_of_whole(tr_floor_whole value) {
    bool is_level = value == TR_FLOOR_STAND_ALONG || value == TR_FLOOR_STAND_ACROSS;
    return is_level ? TR_LIMIT_LEVEL : TR_N_FLOOR_LIMITS;
}

/* 0: none is stated. */
static double stated(const tr_job *job, tr_floor_limit limit) {
    return limit < TR_N_FLOOR_LIMITS ? job->layout.floor_limit[limit] : 0;
}

bool tr_floor_is_told(const tr_floor_result *floor) {
    return floor->is_judged || floor->n_places > 0;
}

bool tr_floor_has_stand(const tr_floor_result *floor) {
    return floor->n_places > 0 && floor->places[0].value[TR_FLOOR_ALONG].value.is_measured;
}

static bool is_at_target(const tr_check_result *result, int place) {
    for (int i = 0; i < result->n_targets; i++) {
        if (result->targets[i].floor_place == place) return true;
    }
    return false;
}

/* Sets the verdict of a value that has a limit, and joins it to that of the floor. True where it is
   to be told why it is no pass; what was not measured is told elsewhere, with what to do. */
static bool judge_value(double limit, tr_floor_judged *v, tr_verdict *all) {
    if (!(limit > 0)) return false;
    v->is_judged = true;
    v->verdict = v->value.is_measured ? tr_verdict_decide(v->value.value, v->value.u95, limit)
                                      : TR_INCONCLUSIVE;
    *all = tr_verdict_join(*all, v->verdict);
    return v->value.is_measured && v->verdict != TR_PASS;
}

static bool note_slope(const tr_job *job, int sheet, tr_floor_value value, const tr_floor_judged *v,
                       tr_findings *findings, tr_error *err) {
    const char *id = job->sheets[sheet].id;
    double deg = v->value.value * TR_DEG_PER_RAD;
    double u95_deg = v->value.u95 * TR_DEG_PER_RAD;
    double limit_deg = stated(job, tr_floor_limit_of(value)) * TR_DEG_PER_RAD;
    double rise = 1000 * tan(v->value.value);
    bool is_beyond = v->verdict == TR_FAIL;
    if (value == TR_FLOOR_SLOPE) {
        return tr_note(FLOOR_SLOPES, findings, err, id, deg, rise, u95_deg, is_beyond, limit_deg);
    }
    if (value == TR_FLOOR_LEVEL_SLOPE) {
        return tr_note(FLOOR_NOT_LEVEL, findings, err, id, deg, rise, u95_deg, is_beyond,
                       limit_deg);
    }
    return tr_note(FLOOR_TILTS, findings, err, id, value == TR_FLOOR_ALONG, deg, u95_deg, is_beyond,
                   limit_deg);
}

/* The slopes of a target's place. */
static bool judge_place(const tr_job *job, tr_check_result *result, int place, tr_error *err) {
    tr_floor_place *p = &result->floor.places[place];
    for (tr_floor_value k = 0; k < TR_FLOOR_N; k++) {
        double limit = stated(job, tr_floor_limit_of(k));
        if (k == TR_FLOOR_OUT_OF_FLAT) continue;
        if (judge_value(limit, &p->value[k], &result->floor.verdict) &&
            !note_slope(job, p->sheet, k, &p->value[k], &result->findings, err)) {
            return false;
        }
    }
    return true;
}

static bool judge_whole(const tr_job *job, tr_check_result *result, tr_error *err) {
    tr_floor_result *floor = &result->floor;
    for (tr_floor_whole k = 0; k < TR_FLOOR_WHOLE_N; k++) {
        tr_floor_judged *v = &floor->whole[k];
        double limit = stated(job, tr_floor_limit_of_whole(k));
        if (judge_value(limit, v, &floor->verdict) &&
            !tr_note(STAND_NOT_LEVEL, &result->findings, err, k == TR_FLOOR_STAND_ALONG,
                     v->value.value * TR_DEG_PER_RAD, v->value.u95 * TR_DEG_PER_RAD,
                     v->verdict == TR_FAIL, limit * TR_DEG_PER_RAD)) {
            return false;
        }
    }
    return true;
}

int tr_floor_worst_place(const tr_floor_result *floor) {
    int worst = -1;
    for (int i = 0; i < floor->n_places; i++) {
        const tr_floor_judged *v = &floor->places[i].value[TR_FLOOR_OUT_OF_FLAT];
        if (!v->is_judged) continue;
        const tr_floor_judged *w =
            worst < 0 ? NULL : &floor->places[worst].value[TR_FLOOR_OUT_OF_FLAT];
        bool is_worse = !w || (v->verdict == w->verdict
                                   ? fabs(v->value.value) > fabs(w->value.value)
                                   : tr_verdict_join(v->verdict, w->verdict) == v->verdict);
        if (is_worse) worst = i;
    }
    return worst;
}

/* One place that lies low puts others above the plane: the worst of them is told. */
static bool judge_flatness(const tr_job *job, tr_check_result *result, tr_error *err) {
    tr_floor_result *floor = &result->floor;
    double limit = job->layout.floor_limit[TR_LIMIT_OUT_OF_FLAT];
    bool is_any = false;
    for (int i = 0; i < floor->n_places; i++) {
        is_any |=
            judge_value(limit, &floor->places[i].value[TR_FLOOR_OUT_OF_FLAT], &floor->verdict);
    }
    if (!is_any) return true;
    const tr_floor_place *p = &floor->places[tr_floor_worst_place(floor)];
    const tr_floor_judged *v = &p->value[TR_FLOOR_OUT_OF_FLAT];
    return tr_note(FLOOR_OUT_OF_FLAT, &result->findings, err, job->sheets[p->sheet].id,
                   v->value.value, v->value.u95, v->verdict == TR_FAIL, limit);
}

/* ---- what a limit asks for and is not there ---- */

static bool note_targets_without_floor(const tr_job *job, tr_check_result *result, tr_error *err) {
    for (int i = 0; i < result->n_targets; i++) {
        const tr_target_result *t = &result->targets[i];
        if (t->floor_place >= 0) continue;
        result->floor.verdict = tr_verdict_join(result->floor.verdict, TR_INCONCLUSIVE);
        /* A sheet that was not found is told as such. */
        if (result->sheets[t->sheet].is_placed &&
            !tr_note(FLOOR_NOT_SEEN, &result->findings, err, job->sheets[t->sheet].id)) {
            return false;
        }
    }
    return true;
}

static bool note_missing_level(const tr_job *job, tr_check_result *result, tr_error *err) {
    if (!job->level.is_given) return tr_note(LEVEL_NOT_READ, &result->findings, err);
    int sheet = job->level.sheet;
    return sheet < 0 || result->sheets[sheet].is_placed ||
           tr_note(LEVEL_SHEET_NOT_FOUND, &result->findings, err, job->sheets[sheet].id);
}

static bool note_missing(const tr_job *job, tr_check_result *result, tr_error *err) {
    const double *limit = job->layout.floor_limit;
    const tr_floor_place *p = result->floor.places;
    bool has_slopes =
        limit[TR_LIMIT_SLOPE] > 0 || limit[TR_LIMIT_TILT] > 0 || limit[TR_LIMIT_LEVEL] > 0;
    if (has_slopes && !tr_floor_has_stand(&result->floor) &&
        !tr_note(STAND_NOT_SEEN, &result->findings, err)) {
        return false;
    }
    if (has_slopes && !note_targets_without_floor(job, result, err)) return false;
    if (limit[TR_LIMIT_LEVEL] > 0 && !note_missing_level(job, result, err)) return false;
    return !(limit[TR_LIMIT_OUT_OF_FLAT] > 0) || p->value[TR_FLOOR_OUT_OF_FLAT].value.is_measured ||
           tr_note(FLOOR_FEW_SHEETS, &result->findings, err, result->floor.n_places);
}

/* A floor beyond its limits turns a pass into inconclusive, and nothing into a fail: fail is what
   the contract calls a target that lies wrong, which moving it can mend. On this floor a target may
   well lie as required, but not as the procedure takes for granted; it is as with a vehicle that
   runs askew (thrust_limit_deg). What is undecided, or not measured, is no pass either. */
bool tr_check_floor_judge(const tr_job *job, tr_check_result *result, tr_error *err) {
    tr_floor_result *floor = &result->floor;
    floor->is_judged = false;
    for (int k = 0; k < TR_N_FLOOR_LIMITS; k++) {
        floor->is_judged = floor->is_judged || job->layout.floor_limit[k] > 0;
    }
    floor->verdict = floor->is_judged && floor->n_places > 0 ? TR_PASS : TR_INCONCLUSIVE;
    /* Without a frame of the vehicle there is more to tell than this. */
    if (!floor->is_judged || !floor->places) return true;
    if (floor->n_places == 0) return tr_note(STAND_NOT_SEEN, &result->findings, err);
    bool ok = note_missing(job, result, err) && judge_whole(job, result, err);
    for (int i = 0; i < floor->n_places && ok; i++) {
        ok = !is_at_target(result, i) || judge_place(job, result, i, err);
    }
    return ok && judge_flatness(job, result, err);
}
