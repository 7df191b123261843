#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/adjust.h"
#include "base/array.h"
#include "check/check.h"
#include "check/references.h"
#include "check/unknown_lens.h"
#include "job/vin.h"
#include "photos/order.h"
#include "photos/photo_findings.h"
#include "photos/unknown_lens.h"
#include "vehicle/vehicle.h"
#include "verdict/propagate.h"

/* The results are a function of where the sheets lie and of how far each plate's point is from its
   wheel's: for each target six values, then wheelbase, tracks and skews. */
enum { PER_TARGET = TR_N_AXES, N_LENGTHS = 5 };

/* Two places from which a sheet is seen are apart by more than this part of the distance to it: 3
   degrees. From there a print that is 0.5 % too small shows as 0.6 px at 2.5 m. */
static const double LEAST_BASE = 0.05;

typedef struct {
    const tr_job *job;
    const tr_adjustment *adj;
    tr_check *check;
    int n_inputs;  /* 6 a sheet, then 2 a reference */
    int n_outputs; /* 6 a target, then N_LENGTHS */
} evaluation;

static tr_pose world_from_sheet(const evaluation *e, int sheet, const double *inputs) {
    tr_pose pose = e->adj->net.sheets[sheet].world_from_sheet;
    return inputs ? tr_pose_moved(pose, inputs + (long)6 * sheet) : pose;
}

/* The frame, with the inputs moved by small amounts (NULL: as they are). */
static bool frame_of(const evaluation *e, const double *inputs, tr_vehicle *vehicle) {
    const tr_job *job = e->job;
    tr_vec3 point[TR_N_POINTS] = {{0, 0, 0}};
    bool is_there[TR_N_POINTS] = {false};
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        if (!e->adj->sheet_placed[r->sheet]) continue;
        tr_pose pose = world_from_sheet(e, r->sheet, inputs);
        point[r->point] = tr_pose_apply(pose, tr_v3(r->at_mm.x, r->at_mm.y, 0));
        if (inputs) {
            const double *d = inputs + (long)6 * job->n_sheets + (long)2 * i;
            point[r->point] = tr_v3_add(point[r->point], tr_v3(d[0], d[1], 0));
        }
        is_there[r->point] = true;
    }
    return tr_vehicle_frame(point, is_there, job->layout.axes, vehicle);
}

static double origin_x(const tr_placement *placement, const tr_vehicle *vehicle) {
    return placement->from == TR_FROM_FRONT_AXLE ? vehicle->wheelbase_mm : 0;
}

static bool outputs_of(const evaluation *e, const double *inputs, double *out) {
    const tr_layout *layout = &e->job->layout;
    tr_vehicle vehicle;
    if (!frame_of(e, inputs, &vehicle)) return false;
    for (int i = 0; i < layout->n_placements; i++) {
        int sheet = e->check->targets[i].sheet;
        double *value = out + (long)PER_TARGET * i;
        for (int k = 0; k < PER_TARGET; k++) value[k] = 0;
        if (!e->adj->sheet_placed[sheet]) continue;
        tr_placement_of(tr_pose_mul(vehicle.vehicle_from_world, world_from_sheet(e, sheet, inputs)),
                        value);
        value[TR_X] -= origin_x(&layout->placements[i], &vehicle);
    }
    double *length = out + (long)PER_TARGET * layout->n_placements;
    length[0] = vehicle.wheelbase_mm;
    length[1] = vehicle.track_front_mm;
    length[2] = vehicle.track_rear_mm;
    length[3] = vehicle.skew_rear_mm;
    length[4] = vehicle.skew_front_mm;
    return true;
}

/* d(output)/d(input) by central differences: the function is smooth, and its curvature over these
   steps is 1e-9 of it. Angles among the outputs are differenced the short way round. */
static bool jacobian(const evaluation *e, double *J, tr_error *err) {
    bool ok = false;
    double *inputs = calloc((size_t)e->n_inputs + 1, sizeof *inputs);
    double *plus = calloc((size_t)e->n_outputs + 1, sizeof *plus);
    double *minus = calloc((size_t)e->n_outputs + 1, sizeof *minus);
    if (!inputs || !plus || !minus) {
        tr_fail_memory(err);
        goto out;
    }
    for (int j = 0; j < e->n_inputs; j++) {
        bool is_rotation = j < 6 * e->job->n_sheets && j % 6 < 3;
        double h = is_rotation ? 1e-5 : 1e-2; /* rad, mm */
        inputs[j] = h;
        bool is_defined = outputs_of(e, inputs, plus);
        inputs[j] = -h;
        is_defined = is_defined && outputs_of(e, inputs, minus);
        inputs[j] = 0;
        if (!is_defined) {
            tr_fail(err, TR_NO_MEASURE,
                    "the plates lie too close together to make a vehicle frame");
            goto out;
        }
        for (int i = 0; i < e->n_outputs; i++) {
            double d = plus[i] - minus[i];
            bool is_angle = i < PER_TARGET * e->job->layout.n_placements &&
                            tr_axis_is_angle((tr_axis)(i % PER_TARGET));
            J[(long)i * e->n_inputs + j] = (is_angle ? tr_wrap_rad(d) : d) / (2 * h);
        }
    }
    ok = true;
out:
    free(inputs);
    free(plus);
    free(minus);
    return ok;
}

/* Variances of all outputs, and the shares of the four sources in them. */
typedef struct {
    double *total, *marks, *lens, *plates, *sheets, *calibrated;
} variances;

static bool propagate(const evaluation *e, variances *v, tr_error *err) {
    int n = e->n_inputs;
    int n_pose = 6 * e->job->n_sheets;
    int m = e->n_outputs;
    bool ok = false;
    double *J = tr_table(m, n, sizeof *J);
    if (!J) return tr_fail_memory(err);
    if (!jacobian(e, J, err)) goto out;
    for (int i = 0; i < m; i++) {
        const double *row = J + (long)i * n; /* the poses come first */
        tr_propagate(row, 1, e->adj->covariance, n_pose, &v->total[i]);
        /* What each takes away that is held takes its share, and never more than there is. */
        double lens_held = 0;
        double places = 0;
        if (e->adj->covariance_places) {
            tr_propagate(row, 1, e->adj->covariance_places, n_pose, &places);
            places = fmin(fmax(0, places), v->total[i]);
        }
        double rest = v->total[i] - places;
        tr_propagate(row, 1, e->adj->covariance_lens_held, n_pose, &lens_held);
        tr_propagate(row, 1, e->adj->covariance_marks, n_pose, &v->marks[i]);
        lens_held = fmin(lens_held, rest);
        v->marks[i] = fmin(v->marks[i], lens_held);
        v->sheets[i] = places + lens_held - v->marks[i];
        v->lens[i] = rest - lens_held;
        v->plates[i] = 0;
        for (int j = n_pose; j < n; j++) {
            double u = J[i * n + j] * e->job->reference_sd_mm;
            v->plates[i] += u * u;
        }
        v->total[i] += v->plates[i];
        if (!e->adj->covariance_calibrated) continue;
        tr_propagate(row, 1, e->adj->covariance_calibrated, n_pose, &v->calibrated[i]);
        v->calibrated[i] = fmin(v->calibrated[i] + v->plates[i], v->total[i]);
    }
    ok = true;
out:
    free(J);
    return ok;
}

static double expanded(double variance) {
    return TR_COVERAGE_FACTOR * sqrt(fmax(0, variance));
}

static void fill_axis(const tr_requirement *requirement, tr_axis axis, double value,
                      const variances *v, int at, tr_axis_result *out) {
    *out = (tr_axis_result){.is_required = requirement->is_required,
                            .is_judged = requirement->is_judged,
                            .required = requirement->required,
                            .limit = requirement->limit,
                            .is_measured = true,
                            .measured = value,
                            .u95 = expanded(v->total[at]),
                            .u95_marks = expanded(v->marks[at]),
                            .u95_lens = expanded(v->lens[at]),
                            .u95_plates = expanded(v->plates[at]),
                            .u95_sheets = expanded(v->sheets[at]),
                            .u95_calibrated = expanded(v->calibrated[at]),
                            .verdict = TR_INCONCLUSIVE};
    if (!out->is_required) return;
    out->error = value - requirement->required;
    if (tr_axis_is_angle(axis)) out->error = tr_wrap_rad(out->error);
    if (out->is_judged) out->verdict = tr_decide(out->error, out->u95, out->limit);
}

static void fill_length(double value, double variance, double stated, tr_length_result *out) {
    *out = (tr_length_result){.is_measured = value > 0,
                              .measured_mm = value,
                              .u95_mm = expanded(variance),
                              .stated_mm = stated};
}

/* ---- what the targets say ---- */

/* Where a placement wants its sheet, in the frame under the rear axle. */
static tr_pose required_pose(const tr_placement *p, double wheelbase_mm) {
    double value[TR_N_AXES] = {0};
    for (int k = 0; k < TR_N_AXES; k++) {
        if (p->axis[k].is_required) value[k] = p->axis[k].required;
    }
    if (p->from == TR_FROM_FRONT_AXLE) value[TR_X] += wheelbase_mm;
    return tr_pose_of_placement(value);
}

static void set_up_targets(const tr_job *job, tr_check *out) {
    double wheelbase = job->layout.wheelbase_mm;
    for (int i = 0; i < job->layout.n_placements; i++) {
        const tr_placement *p = &job->layout.placements[i];
        tr_target_result *t = &out->targets[i];
        *t = (tr_target_result){.placement = i,
                                .sheet = tr_job_find_sheet(job, p->sheet),
                                .verdict = TR_INCONCLUSIVE,
                                .vehicle_from_required = required_pose(p, wheelbase)};
        for (int k = 0; k < TR_N_AXES; k++) {
            t->axis[k] = (tr_axis_result){.is_required = p->axis[k].is_required,
                                          .is_judged = p->axis[k].is_judged,
                                          .required = p->axis[k].required,
                                          .limit = p->axis[k].limit,
                                          .verdict = TR_INCONCLUSIVE};
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

static tr_verdict judge(tr_target_result *t) {
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

static bool finish_targets(const tr_job *job, tr_check *out, tr_error *err) {
    /* A measurement that does not hold together is nothing to move a mat by. */
    bool is_sound = !tr_findings_block_pass(&out->findings);
    for (int i = 0; i < job->layout.n_placements; i++) {
        tr_target_result *t = &out->targets[i];
        t->verdict = judge(t);
        if (t->axis[TR_YAW].is_measured && !note_turned(job, t, &out->findings, err)) return false;
    }
    bool is_blocked = tr_findings_block_pass(&out->findings);
    out->verdict = TR_PASS;
    for (int i = 0; i < job->layout.n_placements; i++) {
        tr_target_result *t = &out->targets[i];
        char what[sizeof job->sheets->id + 8];
        name_target(job, t, what, sizeof what);
        if (is_blocked) t->verdict = tr_verdict_join(t->verdict, TR_INCONCLUSIVE);
        if (t->verdict != TR_PASS && is_sound) t->n_moves = tr_moves(what, t->axis, t->moves);
        out->verdict = tr_verdict_join(out->verdict, t->verdict);
    }
    return true;
}

/* ---- what was seen ---- */

/* A sheet that is not flat is nowhere in particular; how far that carries the vehicle's sensors off
   only the maker could tell. */
static bool judge_flatness(const tr_job *job, const tr_adjustment *adj, tr_check *out,
                           tr_error *err) {
    double limit = job->layout.flatness_mm;
    for (int i = 0; i < job->n_sheets; i++) out->sheets[i].condition = adj->conditions[i];
    for (int i = 0; i < job->layout.n_placements; i++) {
        int s = out->targets[i].sheet;
        tr_sheet_result *sheet = &out->sheets[s];
        const tr_sheet_condition *c = &sheet->condition;
        if (!adj->sheet_placed[s] || !c->has_flatness) continue;
        sheet->is_flat_judged = true;
        sheet->flatness_verdict = tr_decide(c->flatness_mm, c->flatness_u95_mm, limit);
        if (sheet->flatness_verdict != TR_FAIL) continue;
        if (!tr_note(SHEET_NOT_FLAT, &out->findings, err, job->sheets[s].id, c->flatness_mm,
                     c->flatness_u95_mm, limit, c->highest_mm.x, c->highest_mm.y)) {
            return false;
        }
    }
    return true;
}

/* Only North America makes the check digit compulsory, so a failing one is a reason to look again.
 */
static bool note_vehicle_id(const tr_job *job, tr_findings *findings, tr_error *err) {
    if (!job->vehicle_id[0]) return true;
    switch (tr_vin_check(job->vehicle_id)) {
    case TR_VIN_OK: return true;
    case TR_VIN_MALFORMED: return tr_note(VEHICLE_ID_MALFORMED, findings, err, job->vehicle_id);
    case TR_VIN_CHECK_DIFFERS: return tr_note(VEHICLE_ID_DIGIT, findings, err, job->vehicle_id);
    }
    return true;
}

/* Photos of the sheet were taken from places so far apart that together they tell how far away it
   lies: one view alone takes that from the size that the sheet's file says, and nothing checks it.
   seen: room for its photos. */
static bool is_seen_from_two_places(const tr_network *net, int sheet, tr_vec3 *seen) {
    tr_vec3 at = net->sheets[sheet].world_from_sheet.t_mm;
    int n = 0;
    int photo = -1;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used || o->sheet != sheet || o->photo == photo) continue;
        photo = o->photo; /* observations stand in the order of photos */
        tr_vec3 eye = tr_pose_inverse(net->rigs[o->photo].rig_from_world).t_mm;
        double away = tr_v3_norm(tr_v3_sub(eye, at));
        for (int k = 0; k < n; k++) {
            double nearest = fmin(away, tr_v3_norm(tr_v3_sub(seen[k], at)));
            if (tr_v3_norm(tr_v3_sub(seen[k], eye)) > LEAST_BASE * nearest) return true;
        }
        seen[n++] = eye;
    }
    return false;
}

static bool note_seen_once(const tr_job *job, const tr_adjustment *adj, tr_check *out,
                           tr_error *err) {
    tr_vec3 *seen = calloc((size_t)adj->net.n_photos + 1, sizeof *seen);
    bool ok = seen != NULL;
    if (!ok) tr_fail_memory(err);
    for (int i = 0; i < job->n_sheets && ok; i++) {
        if (!out->sheets[i].is_placed || is_seen_from_two_places(&adj->net, i, seen)) continue;
        const char *id = job->sheets[i].id;
        int n = out->sheets[i].n_photos;
        ok = out->is_needed[i] ? tr_note(SEEN_ONCE, &out->findings, err, id, n)
                               : tr_note(UNNEEDED_SEEN_ONCE, &out->findings, err, id, n);
    }
    free(seen);
    return ok;
}

static bool note_not_seen(const tr_job *job, const tr_adjustment *adj, tr_check *out,
                          tr_error *err) {
    for (int i = 0; i < job->layout.n_placements; i++) {
        int s = out->targets[i].sheet;
        if (!adj->sheet_placed[s] &&
            !tr_note(SHEET_NOT_FOUND, &out->findings, err, job->sheets[s].id)) {
            return false;
        }
    }
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        if (!adj->sheet_placed[r->sheet] &&
            !tr_note(PLATE_NOT_FOUND, &out->findings, err, job->sheets[r->sheet].id,
                     tr_wheel_point_name(r->point))) {
            return false;
        }
    }
    for (int i = 0; i < out->set.n_photos; i++) {
        const tr_photo *p = &out->set.photos[out->set.order[i]];
        for (int k = 0; k < p->marks.n_strays; k++) {
            const tr_stray_tag *t = &p->marks.strays[k];
            if (t->is_repeated &&
                !tr_note(TAG_SEEN_TWICE, &out->findings, err, p->name, t->id, t->family)) {
                return false;
            }
        }
    }
    return true;
}

/* What the job says is exact, and in truth is not. */
static bool note_exact_plates(const tr_job *job, tr_findings *findings, tr_error *err) {
    return job->reference_sd_mm > 0 || tr_note(PLATES_TAKEN_AS_EXACT, findings, err);
}

/* Which observations are of a photo and a sheet that are in the solution; owned by the caller.
   NULL: memory ran out. */
static bool *find_placed(const tr_adjustment *adj, tr_error *err) {
    bool *is_placed = calloc((size_t)adj->net.n_observations + 1, sizeof *is_placed);
    for (int k = 0; k < adj->net.n_observations && is_placed; k++) {
        const tr_net_obs *o = &adj->net.observations[k];
        is_placed[k] = adj->photo_placed[o->photo] && adj->sheet_placed[o->sheet];
    }
    if (!is_placed) tr_fail_memory(err);
    return is_placed;
}

static bool count_sheets(const tr_network *net, const bool *is_placed, tr_check *out,
                         tr_error *err) {
    /* The photo in which a sheet was seen last, from 1: observations stand in the order of photos.
     */
    int *seen_in = calloc((size_t)net->n_sheets + 1, sizeof *seen_in);
    if (!seen_in) return tr_fail_memory(err);
    for (int k = 0; k < net->n_observations; k++) {
        const tr_net_obs *o = &net->observations[k];
        if (!is_placed[k] || !o->is_used) continue;
        out->sheets[o->sheet].n_marks += o->n_points;
        out->sheets[o->sheet].n_photos += seen_in[o->sheet] != o->photo + 1;
        seen_in[o->sheet] = o->photo + 1;
    }
    free(seen_in);
    return true;
}

/* Counts and residuals of every photo and sheet. */
static bool fill_counts(const tr_adjustment *adj, tr_check *out, tr_error *err) {
    const tr_network *net = &adj->net;
    bool *is_placed = find_placed(adj, err);
    bool ok = is_placed && tr_photo_set_count(&out->set, net, is_placed, "job's sheets", err) &&
              count_sheets(net, is_placed, out, err);
    free(is_placed);
    out->n_left_out = adj->n_left_out;
    out->variance_factor = adj->variance_of_all;
    out->degrees_of_freedom = adj->degrees_of_freedom;
    for (int i = 0; i < net->n_lenses; i++) out->lenses[i] = net->lenses[i].lens;
    return ok;
}

/* Everything in the vehicle frame. */
static bool measure(evaluation *e, const tr_vehicle *vehicle, tr_error *err) {
    const tr_job *job = e->job;
    tr_check *out = e->check;
    const tr_network *net = &e->adj->net;
    bool ok = false;
    size_t m = (size_t)e->n_outputs;
    double *value = calloc(7 * m + 1, sizeof *value);
    if (!value) return tr_fail_memory(err);
    variances v = {value + m,     value + 2 * m, value + 3 * m,
                   value + 4 * m, value + 5 * m, value + 6 * m};
    if (!outputs_of(e, NULL, value) || !propagate(e, &v, err)) goto out;
    for (int i = 0; i < job->layout.n_placements; i++) {
        const tr_placement *p = &job->layout.placements[i];
        tr_target_result *t = &out->targets[i];
        t->vehicle_from_required = required_pose(p, vehicle->wheelbase_mm);
        if (!e->adj->sheet_placed[t->sheet]) continue;
        /* Without front points the front axle's place is not known. */
        if (p->from == TR_FROM_FRONT_AXLE && !vehicle->has_front) continue;
        for (int k = 0; k < TR_N_AXES; k++) {
            int at = PER_TARGET * i + k;
            fill_axis(&p->axis[k], (tr_axis)k, value[at], &v, at, &t->axis[k]);
        }
    }
    int at = PER_TARGET * job->layout.n_placements;
    fill_length(value[at], v.total[at], job->layout.wheelbase_mm, &out->wheelbase);
    fill_length(value[at + 1], v.total[at + 1], job->layout.track_front_mm, &out->track_front);
    fill_length(value[at + 2], v.total[at + 2], job->layout.track_rear_mm, &out->track_rear);
    for (int i = 0; i < job->n_sheets; i++) {
        if (!e->adj->sheet_placed[i]) continue;
        out->sheets[i].is_placed = true;
        out->sheets[i].vehicle_from_sheet =
            tr_pose_mul(vehicle->vehicle_from_world, net->sheets[i].world_from_sheet);
    }
    tr_pose world_from_vehicle = tr_pose_inverse(vehicle->vehicle_from_world);
    for (int i = 0; i < out->set.n_photos; i++) {
        out->set.photos[out->set.order[i]].camera_from_vehicle =
            tr_pose_mul(net->rigs[i].rig_from_world, world_from_vehicle);
    }
    for (int i = 0; i < job->n_references; i++) {
        out->points[i].is_placed = e->adj->sheet_placed[job->references[i].sheet];
        out->points[i].at_mm = vehicle->point_mm[job->references[i].point];
    }
    double skew_u_mm = sqrt(fmax(v.total[at + 3], v.total[at + 4]));
    ok = tr_check_references(job, vehicle, skew_u_mm, &out->findings, err);
out:
    free(value);
    return ok;
}

static bool refuse_what_is_not_measured_yet(const tr_job *job, tr_error *err) {
    if (job->layout.axes == TR_AXES_THRUST) {
        return tr_fail_at(err, TR_NO_MEASURE, job->layout.path, 0, "axes",
                          "is thrust, which needs sheets hung on the wheels; this version measures "
                          "centreline and rear-axle");
    }
    for (int i = 0; i < job->layout.n_placements; i++) {
        const tr_placement *p = &job->layout.placements[i];
        const tr_sheet *s = &job->sheets[tr_job_find_sheet(job, p->sheet)];
        if (tr_sheet_lies_on_floor(s)) continue;
        return tr_fail_at(
            err, TR_NO_MEASURE, job->layout.path, p->line, NULL,
            "sheet %s is a %s; this version measures sheets that lie on the floor (mat, "
            "plate)",
            s->id, tr_sheet_kind_name(s->kind));
    }
    return true;
}

/* Where no photo can be used at all, the first one's reason says more than that no mark was found.
 */
static bool refuse_without_photos(const tr_check *check, tr_error *err) {
    const tr_photo *refused = NULL;
    for (int i = 0; i < check->set.n_photos; i++) {
        const tr_photo *p = &check->set.photos[check->set.order[i]];
        if (p->is_readable && !p->marks.is_mirrored) return true;
        if (!refused) refused = p;
    }
    if (refused && refused->is_readable) {
        return tr_fail(
            err, TR_NO_MEASURE,
            "the photos are mirrored left to right; turn mirroring off in the camera's settings "
            "and take them anew");
    }
    return tr_fail(err, TR_NO_MEASURE, "none of the photos can be used; %s: %s",
                   refused ? refused->name : "", refused ? refused->why_not : "there are none");
}

/* What is sought: the job as it is now. */
static bool set_request(const tr_job *job, tr_check *out, tr_error *err) {
    free(out->is_needed);
    out->job = job;
    out->is_needed = calloc((size_t)job->n_sheets + 1, sizeof *out->is_needed);
    if (!out->is_needed) return tr_fail_memory(err);
    for (int i = 0; i < job->n_sheets; i++) out->is_needed[i] = tr_job_needs_sheet(job, i);
    out->set.request = (tr_photo_request){.lenses = job->lenses,
                                          .n_lenses = job->n_lenses,
                                          .n_only_named = job->n_only_named,
                                          .sheets = job->sheets,
                                          .n_sheets = job->n_sheets,
                                          .is_needed = out->is_needed,
                                          .path = job->path,
                                          .path_is = "job",
                                          .named = job->photos,
                                          .lens_of_named = job->photo_lens,
                                          .n_named = job->n_photos};
    return true;
}

bool tr_check_init(const tr_job *job, tr_check *out, tr_error *err) {
    memset(out, 0, sizeof *out);
    return set_request(job, out, err);
}

bool tr_check_photos(const tr_job *job, char *const *files, int n, const tr_workers *workers,
                     tr_check *out, tr_error *err) {
    return tr_check_init(job, out, err) && refuse_what_is_not_measured_yet(job, err) &&
           tr_photo_set_read(&out->set, files, n, workers, &out->findings, err);
}

bool tr_check_evaluate(const tr_job *job, tr_check *out, tr_error *err) {
    tr_adjustment adj = {0};
    tr_photo_input input = {0};
    bool ok = false;
    if (!set_request(job, out, err)) return false;
    out->sheets = calloc((size_t)job->n_sheets + 1, sizeof *out->sheets);
    out->targets = calloc((size_t)job->layout.n_placements + 1, sizeof *out->targets);
    out->points = calloc((size_t)job->n_references + 1, sizeof *out->points);
    memcpy(out->lenses, job->lenses, sizeof out->lenses);
    if (!out->sheets || !out->targets || !out->points) return tr_fail_memory(err);
    out->verdict = TR_INCONCLUSIVE;
    set_up_targets(job, out);
    tr_photo_set_name(&out->set);
    if (!tr_photo_set_sort(&out->set, err) || !refuse_what_is_not_measured_yet(job, err) ||
        !refuse_without_photos(out, err))
        goto out;
    bool is_lens_open = job->lenses[0].is_unknown && out->set.unknown_lens.width_px == 0;
    if (is_lens_open && !tr_photo_set_find_lens(&out->set, err)) goto out;
    memcpy(out->lenses, tr_photo_set_lenses(&out->set),
           (size_t)job->n_lenses * sizeof *out->lenses);
    if (!tr_photo_set_input(&out->set, &input, err) ||
        !tr_adjust(&input.in, &adj, &out->findings, err))
        goto out;
    if (!tr_check_is_lens_told(out, &adj, err)) goto out;
    out->focal_u95 = TR_COVERAGE_FACTOR * adj.focal_sd[0];
    if (!fill_counts(&adj, out, err) || !tr_photo_set_note_not_used(&out->set, &out->findings, err))
        goto out;
    evaluation e = {.job = job,
                    .adj = &adj,
                    .check = out,
                    .n_inputs = 6 * job->n_sheets + 2 * job->n_references,
                    .n_outputs = PER_TARGET * job->layout.n_placements + N_LENGTHS};
    tr_vehicle vehicle;
    if (frame_of(&e, NULL, &vehicle) && !measure(&e, &vehicle, err)) goto out;
    if (!judge_flatness(job, &adj, out, err) || !note_vehicle_id(job, &out->findings, err) ||
        !note_not_seen(job, &adj, out, err) || !note_seen_once(job, &adj, out, err) ||
        !tr_photo_set_note_exact_lenses(&out->set, &out->findings, err) ||
        !note_exact_plates(job, &out->findings, err) || !tr_check_note_unknown_lens(out, err) ||
        !finish_targets(job, out, err))
        goto out;
    ok = true;
out:
    tr_adjustment_release(&adj);
    tr_photo_input_release(&input);
    return ok;
}

void tr_check_release(tr_check *check) {
    tr_photo_set_release(&check->set);
    free(check->is_needed);
    free(check->sheets);
    free(check->targets);
    free(check->points);
    tr_findings_release(&check->findings);
    memset(check, 0, sizeof *check);
}
