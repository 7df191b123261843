#include "check/targets.h"

#include <stdio.h>
#include <string.h>

#include "check/findings.h"
#include "check/floor.h"

/* Where a placement wants its sheet, in the frame under the rear axle. */
static tr_pose required_pose(const tr_placement *p, bool is_upright, tr_vec3 origin) {
    double value[TR_N_AXES] = {0};
    for (int k = 0; k < TR_N_AXES; k++) {
        if (p->axis[k].is_required) value[k] = p->axis[k].required;
    }
    value[TR_X] += origin.x;
    value[TR_Y] += origin.y;
    value[TR_Z] += origin.z;
    return tr_pose_of_placement(value, is_upright);
}

/* Where a vehicle of the stated lengths has a wheel's point. */
static tr_vec3 stated_point(const tr_layout *l, tr_wheel_point point) {
    bool is_front = point == TR_FRONT_LEFT || point == TR_FRONT_RIGHT;
    bool is_left = point == TR_FRONT_LEFT || point == TR_REAR_LEFT;
    double track = is_front ? l->track_front_mm : l->track_rear_mm;
    return tr_v3(is_front ? l->wheelbase_mm : 0, (is_left ? 0.5 : -0.5) * track, 0);
}

/* Coordinate k of what a placement counts from, as the layout alone has it: 0 where it does not
   say. Sheets that count from each other in a circle end it. */
static double stated_origin(const tr_job *job, const tr_origin *from, int k, int depth) {
    tr_vec3 at = {0, 0, 0};
    const tr_placement *other;
    switch (from->kind) {
    case TR_FROM_REAR_AXLE: break;
    case TR_FROM_FRONT_AXLE: at.x = job->layout.wheelbase_mm; break;
    case TR_FROM_POINT:
        if (job->references[from->index].point < TR_N_POINTS)
            at = stated_point(&job->layout, job->references[from->index].point);
        break;
    case TR_FROM_SHEET:
        other = tr_job_placement_of(job, from->index);
        if (!other || depth > job->layout.n_placements) return 0;
        return (other->axis[k].is_required ? other->axis[k].required : 0) +
               stated_origin(job, &other->from[k], k, depth + 1);
    }
    const double xyz[3] = {at.x, at.y, at.z};
    return xyz[k];
}

double tr_stated_origin(const tr_job *job, const tr_origin *from, int k) {
    return stated_origin(job, from, k, 0);
}

static tr_axis_result required_axis(const tr_requirement *r) {
    return (tr_axis_result){.is_required = r->is_required,
                            .is_judged = r->is_judged,
                            .required = r->required,
                            .limit = r->limit,
                            .verdict = TR_INCONCLUSIVE};
}

static int target_of(const tr_job *job, const char *sheet) {
    int i = 0;
    while (strcmp(job->layout.placements[i].sheet, sheet) != 0) i++;
    return i;
}

void tr_targets_set_up(const tr_job *job, tr_check_result *result) {
    const tr_layout *layout = &job->layout;
    for (int i = 0; i < layout->n_placements; i++) {
        const tr_placement *p = &layout->placements[i];
        tr_target_result *t = &result->targets[i];
        int sheet = tr_job_find_sheet(job, p->sheet);
        tr_vec3 origin = {stated_origin(job, &p->from[0], 0, 0),
                          stated_origin(job, &p->from[1], 1, 0),
                          stated_origin(job, &p->from[2], 2, 0)};
        *t = (tr_target_result){.sheet = sheet,
                                .verdict = TR_INCONCLUSIVE,
                                .vehicle_from_required = required_pose(
                                    p, tr_sheet_is_upright(&job->sheets[sheet]), origin),
                                .photo = -1,
                                .floor_place = -1};
        memcpy(t->from, p->from, sizeof t->from);
        for (int k = 0; k < TR_N_AXES; k++) t->axis[k] = required_axis(&p->axis[k]);
    }
    for (int i = 0; i < layout->n_relations; i++) {
        const tr_relation *r = &layout->relations[i];
        result->relations[i] = (tr_relation_result){
            .targets = {target_of(job, r->sheets[0]), target_of(job, r->sheets[1])},
            .verdict = TR_INCONCLUSIVE};
        for (int k = 0; k < TR_N_AXES; k++) {
            result->relations[i].axis[k] = required_axis(&r->axis[k]);
        }
    }
}

static tr_axis_result measured_axis(const tr_requirement *requirement, tr_axis axis,
                                    const tr_output *output) {
    tr_axis_result r = required_axis(requirement);
    r.is_measured = true;
    r.measured = output->value;
    r.u95 = tr_expanded(output->variance);
    for (int k = 0; k < TR_N_SOURCES; k++) r.u95_of[k] = tr_expanded(output->variance_of[k]);
    r.u95_calibrated = tr_expanded(output->variance_calibrated);
    if (!r.is_required) return r;
    r.error = r.measured - r.required;
    if (tr_axis_is_angle(axis)) r.error = tr_wrap_rad(r.error);
    if (r.is_judged) r.verdict = tr_verdict_decide(r.error, r.u95, r.limit);
    return r;
}

/* What its coordinates count from, as measured, or else as the layout has it. */
static tr_vec3 find_origins(const tr_solved *s, const tr_vehicle *vehicle, const tr_placement *p,
                            bool has_origin[3]) {
    double origin[3] = {0};
    for (int k = 0; k < 3; k++) {
        tr_vec3 at = {0, 0, 0};
        has_origin[k] = tr_check_origin(s, vehicle, &p->from[k], &at);
        origin[k] = k == 0 ? at.x : k == 1 ? at.y : at.z;
        if (!has_origin[k]) origin[k] = stated_origin(s->job, &p->from[k], k, 0);
    }
    return tr_v3(origin[0], origin[1], origin[2]);
}

tr_pose tr_target_required_pose(const tr_solved *s, const tr_vehicle *vehicle, int target) {
    const tr_placement *p = &s->job->layout.placements[target];
    const tr_sheet *sheet = &s->job->sheets[tr_job_find_sheet(s->job, p->sheet)];
    bool has_origin[3];
    return required_pose(p, tr_sheet_is_upright(sheet), find_origins(s, vehicle, p, has_origin));
}

static void fill_target(const tr_solved *s, const tr_vehicle *vehicle, int target,
                        const tr_outputs *outputs, tr_target_result *t) {
    const tr_placement *p = &s->job->layout.placements[target];
    bool has_origin[3];
    (void)find_origins(s, vehicle, p, has_origin);
    t->vehicle_from_required = tr_target_required_pose(s, vehicle, target);
    t->by = s->is_pointed[t->sheet]               ? TR_BY_POINTERS
            : s->job->sheets[t->sheet].n_tags > 0 ? TR_BY_TAGS
                                                  : TR_BY_ARTWORK;
    for (tr_axis k = 0; k < TR_N_AXES && tr_solved_has_place(s, t->sheet); k++) {
        if (k < 3 && !has_origin[k]) continue;
        t->axis[k] = measured_axis(&p->axis[k], k, &outputs->targets[target][k]);
    }
}

void tr_targets_fill(const tr_solved *s, const tr_vehicle *vehicle, const tr_outputs *outputs,
                     tr_check_result *result) {
    const tr_job *job = s->job;
    for (int i = 0; i < job->layout.n_placements; i++) {
        fill_target(s, vehicle, i, outputs, &result->targets[i]);
    }
    for (int i = 0; i < job->layout.n_relations; i++) {
        tr_relation_result *r = &result->relations[i];
        if (!tr_solved_has_place(s, result->targets[r->targets[0]].sheet) ||
            !tr_solved_has_place(s, result->targets[r->targets[1]].sheet)) {
            continue;
        }
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            r->axis[k] =
                measured_axis(&job->layout.relations[i].axis[k], k, &outputs->relations[i][k]);
        }
    }
}

/* A sheet that lies turned by a half or a quarter was most often laid down the wrong way round. A
   board that faces away was set up from the wrong side; one turned about its face hangs upside down
   or on its side. */
static bool note_turned(const tr_job *job, const tr_target_result *t, tr_findings *findings,
                        tr_error *err) {
    static const double TURNED = 45 * TR_RAD_PER_DEG;
    static const double TURNED_ROUND = 135 * TR_RAD_PER_DEG;
    const tr_sheet *sheet = &job->sheets[t->sheet];
    double yaw = fabs(t->axis[TR_YAW].error);
    double roll = fabs(tr_wrap_rad(t->axis[TR_ROLL].measured -
                                   (t->axis[TR_ROLL].is_required ? t->axis[TR_ROLL].required : 0)));
    if (!tr_sheet_is_upright(sheet)) {
        if (yaw < TURNED) return true;
        double turn_deg = yaw * TR_DEG_PER_RAD;
        return yaw > TURNED_ROUND ? tr_note(SHEET_TURNED_ROUND, findings, err, sheet->id, turn_deg)
                                  : tr_note(SHEET_TURNED, findings, err, sheet->id, turn_deg);
    }
    if (roll > TURNED &&
        !tr_note(BOARD_UPSIDE_DOWN, findings, err, sheet->id, roll * TR_DEG_PER_RAD)) {
        return false;
    }
    return yaw < TURNED ||
           tr_note(BOARD_FACES_AWAY, findings, err, sheet->id, yaw * TR_DEG_PER_RAD);
}

/* Of all axes that have a limit. */
static tr_verdict judge(const tr_axis_result axis[TR_N_AXES], bool *is_judged) {
    tr_verdict verdict = TR_PASS;
    *is_judged = false;
    for (int k = 0; k < TR_N_AXES; k++) {
        if (!axis[k].is_judged) continue;
        *is_judged = true;
        verdict = tr_verdict_join(verdict, axis[k].is_measured ? axis[k].verdict : TR_INCONCLUSIVE);
    }
    return verdict;
}

/* Relations have no sheet of their own to move: what is to be moved is told of their sheets. One
   without a limit is only reported. */
static void judge_relations(tr_check_result *result, bool is_blocked) {
    for (int i = 0; i < result->n_relations; i++) {
        tr_relation_result *r = &result->relations[i];
        bool is_judged;
        r->verdict = judge(r->axis, &is_judged);
        if (!is_judged) continue;
        if (is_blocked) r->verdict = tr_verdict_join(r->verdict, TR_INCONCLUSIVE);
        result->verdict = tr_verdict_join(result->verdict, r->verdict);
    }
}

bool tr_targets_judge(const tr_job *job, tr_check_result *result, tr_error *err) {
    /* A measurement that does not hold together is nothing to move a mat by. */
    bool is_sound = !tr_findings_block_pass(&result->findings);
    for (int i = 0; i < job->layout.n_placements; i++) {
        tr_target_result *t = &result->targets[i];
        bool is_judged;
        t->verdict = judge(t->axis, &is_judged);
        if (!is_judged) t->verdict = TR_INCONCLUSIVE;
        if (t->axis[TR_YAW].is_measured && !note_turned(job, t, &result->findings, err))
            return false;
    }
    /* Neither a floor that slopes nor what nobody saw to makes less certain where a mat lies. */
    if (!tr_check_floor_judge(job, result, err) ||
        !tr_check_note_preconditions(job, &result->findings, err)) {
        return false;
    }
    bool is_blocked = tr_findings_block_pass(&result->findings);
    result->verdict = TR_PASS;
    for (int i = 0; i < job->layout.n_placements; i++) {
        tr_target_result *t = &result->targets[i];
        if (is_blocked) t->verdict = tr_verdict_join(t->verdict, TR_INCONCLUSIVE);
        t->is_to_move = t->verdict != TR_PASS && is_sound;
        result->verdict = tr_verdict_join(result->verdict, t->verdict);
    }
    judge_relations(result, is_blocked);
    return true;
}
