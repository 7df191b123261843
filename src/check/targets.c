#include "check/targets.h"

#include <stdio.h>

/* Where a placement wants its sheet, in the frame under the rear axle. */
static tr_pose required_pose(const tr_placement *p, double wheelbase_mm) {
    double value[TR_N_AXES] = {0};
    for (int k = 0; k < TR_N_AXES; k++) {
        if (p->axis[k].is_required) value[k] = p->axis[k].required;
    }
    if (p->from == TR_FROM_FRONT_AXLE) value[TR_X] += wheelbase_mm;
    return tr_pose_of_placement(value);
}

static tr_axis_result required_axis(const tr_requirement *r) {
    return (tr_axis_result){.is_required = r->is_required,
                            .is_judged = r->is_judged,
                            .required = r->required,
                            .limit = r->limit,
                            .verdict = TR_INCONCLUSIVE};
}

void tr_targets_set_up(const tr_job *job, tr_check_result *result) {
    double wheelbase = job->layout.wheelbase_mm;
    for (int i = 0; i < job->layout.n_placements; i++) {
        const tr_placement *p = &job->layout.placements[i];
        tr_target_result *t = &result->targets[i];
        *t = (tr_target_result){.sheet = tr_job_find_sheet(job, p->sheet),
                                .from = p->from,
                                .verdict = TR_INCONCLUSIVE,
                                .vehicle_from_required = required_pose(p, wheelbase),
                                .photo = -1};
        for (int k = 0; k < TR_N_AXES; k++) t->axis[k] = required_axis(&p->axis[k]);
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

void tr_targets_fill(const tr_job *job, const tr_adjustment *adj, const tr_vehicle *vehicle,
                     const tr_outputs *outputs, tr_check_result *result) {
    for (int i = 0; i < job->layout.n_placements; i++) {
        const tr_placement *p = &job->layout.placements[i];
        tr_target_result *t = &result->targets[i];
        t->vehicle_from_required = required_pose(p, vehicle->wheelbase_mm);
        if (!adj->sheet_placed[t->sheet]) continue;
        /* Without front points the front axle's place is not known. */
        if (p->from == TR_FROM_FRONT_AXLE && !vehicle->has_front) continue;
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            t->axis[k] = measured_axis(&p->axis[k], k, &outputs->targets[i][k]);
        }
    }
}

/* A sheet turned by a half or a quarter is most often laid down the wrong way round. */
static bool note_turned(const tr_job *job, const tr_target_result *t, tr_findings *findings,
                        tr_error *err) {
    double error = fabs(t->axis[TR_YAW].error);
    const char *id = job->sheets[t->sheet].id;
    if (error < 45 * TR_RAD_PER_DEG) return true;
    double turn_deg = error * TR_DEG_PER_RAD;
    return turn_deg > 135 ? tr_note(SHEET_TURNED_ROUND, findings, err, id, turn_deg)
                          : tr_note(SHEET_TURNED, findings, err, id, turn_deg);
}

static tr_verdict judge(const tr_target_result *t) {
    tr_verdict verdict = TR_PASS;
    bool is_judged = false;
    for (int k = 0; k < TR_N_AXES; k++) {
        if (!t->axis[k].is_judged) continue;
        is_judged = true;
        verdict =
            tr_verdict_join(verdict, t->axis[k].is_measured ? t->axis[k].verdict : TR_INCONCLUSIVE);
    }
    return is_judged ? verdict : TR_INCONCLUSIVE;
}

/* "the mat", or its id where there are several. */
static void name_target(const tr_job *job, const tr_target_result *t, char *out, size_t size) {
    const tr_sheet *sheet = &job->sheets[t->sheet];
    if (job->layout.n_placements > 1)
        snprintf(out, size, "%s", sheet->id);
    else
        snprintf(out, size, "the %s", tr_sheet_kind_name(sheet->kind));
}

bool tr_targets_judge(const tr_job *job, tr_check_result *result, tr_error *err) {
    /* A measurement that does not hold together is nothing to move a mat by. */
    bool is_sound = !tr_findings_block_pass(&result->findings);
    for (int i = 0; i < job->layout.n_placements; i++) {
        tr_target_result *t = &result->targets[i];
        t->verdict = judge(t);
        if (t->axis[TR_YAW].is_measured && !note_turned(job, t, &result->findings, err))
            return false;
    }
    bool is_blocked = tr_findings_block_pass(&result->findings);
    result->verdict = TR_PASS;
    for (int i = 0; i < job->layout.n_placements; i++) {
        tr_target_result *t = &result->targets[i];
        char what[sizeof job->sheets->id + 8];
        name_target(job, t, what, sizeof what);
        if (is_blocked) t->verdict = tr_verdict_join(t->verdict, TR_INCONCLUSIVE);
        if (t->verdict != TR_PASS && is_sound)
            t->n_moves = tr_verdict_moves(what, t->axis, t->moves);
        result->verdict = tr_verdict_join(result->verdict, t->verdict);
    }
    return true;
}
