#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "check/check.h"
#include "check/findings.h"
#include "check/references.h"
#include "check/targets.h"
#include "check/uncertainty.h"
#include "check/unknown_lens.h"
#include "diagnose/diagnose.h"
#include "photos/order.h"
#include "photos/photo_findings.h"
#include "photos/unknown_lens.h"
#include "vehicle/vehicle.h"

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
        out->result.sheets[o->sheet].n_marks += o->n_points;
        out->result.sheets[o->sheet].n_photos += seen_in[o->sheet] != o->photo + 1;
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
    out->result.n_rejected = adj->n_rejected;
    out->result.variance_factor = adj->variance_of_all;
    out->result.degrees_of_freedom = adj->result.degrees_of_freedom;
    for (int i = 0; i < net->n_lenses; i++) out->lenses[i] = net->lenses[i].lens;
    return ok;
}

static void fill_length(const tr_output *output, tr_length_result *length) {
    length->is_measured = output->value > 0;
    length->measured_mm = output->value;
    length->u95_mm = tr_expanded(output->variance);
}

/* Where everything lies in the vehicle frame. */
static void fill_places(const tr_adjustment *adj, const tr_vehicle *vehicle, tr_check *check) {
    const tr_job *job = check->job;
    tr_check_result *result = &check->result;
    tr_pose world_from_vehicle = tr_pose_inverse(vehicle->vehicle_from_world);
    for (int i = 0; i < job->n_sheets; i++) {
        if (!adj->sheet_placed[i]) continue;
        result->sheets[i].is_placed = true;
        result->sheets[i].vehicle_from_sheet =
            tr_pose_mul(vehicle->vehicle_from_world, adj->net.sheets[i].world_from_sheet);
    }
    for (int i = 0; i < check->set.n_photos; i++) {
        tr_pose camera_from_world = tr_network_camera_from_world(&adj->net, i);
        check->set.photos[check->set.order[i]].camera_from_vehicle =
            tr_pose_mul(camera_from_world, world_from_vehicle);
    }
    for (int i = 0; i < job->n_references; i++) {
        result->plates[i].is_placed = adj->sheet_placed[job->references[i].sheet];
        result->plates[i].at_mm = vehicle->point_mm[job->references[i].point];
    }
}

/* Everything in the vehicle frame. */
static bool measure(const tr_adjustment *adj, const tr_vehicle *vehicle, tr_check *check,
                    tr_error *err) {
    const tr_job *job = check->job;
    tr_outputs outputs;
    bool ok = tr_outputs_find(job, adj, &check->result, &outputs, err);
    if (ok) {
        double skew_variance = fmax(outputs.lengths[TR_OUT_SKEW_REAR].variance,
                                    outputs.lengths[TR_OUT_SKEW_FRONT].variance);
        tr_targets_fill(job, adj, vehicle, &outputs, &check->result);
        fill_length(&outputs.lengths[TR_OUT_WHEELBASE], &check->result.wheelbase);
        fill_length(&outputs.lengths[TR_OUT_TRACK_FRONT], &check->result.track_front);
        fill_length(&outputs.lengths[TR_OUT_TRACK_REAR], &check->result.track_rear);
        fill_places(adj, vehicle, check);
        ok = tr_check_references(job, vehicle, sqrt(skew_variance), &check->result.findings, err);
    }
    tr_outputs_release(&outputs);
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
        if (s->support == TR_ON_FLOOR) continue;
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
           tr_photo_set_read(&out->set, files, n, workers, &out->result.findings, err);
}

/* Room for what is measured, and what is required. */
static bool set_up_result(const tr_job *job, tr_check_result *result, tr_error *err) {
    result->targets = calloc((size_t)job->layout.n_placements + 1, sizeof *result->targets);
    result->sheets = calloc((size_t)job->n_sheets + 1, sizeof *result->sheets);
    result->plates = calloc((size_t)job->n_references + 1, sizeof *result->plates);
    if (!result->targets || !result->sheets || !result->plates) return tr_fail_memory(err);
    result->n_targets = job->layout.n_placements;
    result->n_sheets = job->n_sheets;
    result->n_plates = job->n_references;
    result->wheelbase.stated_mm = job->layout.wheelbase_mm;
    result->track_front.stated_mm = job->layout.track_front_mm;
    result->track_rear.stated_mm = job->layout.track_rear_mm;
    result->verdict = TR_INCONCLUSIVE;
    tr_targets_set_up(job, result);
    return true;
}

bool tr_check_require(const tr_job *job, tr_check *out, tr_error *err) {
    return tr_check_init(job, out, err) && set_up_result(job, &out->result, err);
}

/* The photos in their order, and the lens, where it is unknown, found roughly. */
static bool prepare(tr_check *check, tr_error *err) {
    const tr_job *job = check->job;
    tr_photo_set_name(&check->set);
    if (!tr_photo_set_sort(&check->set, err) || !refuse_what_is_not_measured_yet(job, err) ||
        !refuse_without_photos(check, err)) {
        return false;
    }
    bool is_lens_open = job->lenses[0].is_unknown && check->set.unknown_lens.width_px == 0;
    if (is_lens_open && !tr_photo_set_find_lens(&check->set, err)) return false;
    memcpy(check->lenses, tr_photo_set_lenses(&check->set),
           (size_t)job->n_lenses * sizeof *check->lenses);
    return true;
}

/* From the solved network to the verdict. */
static bool judge(const tr_adjustment *adj, tr_check *check, tr_error *err) {
    tr_vehicle vehicle;
    if (!tr_check_is_lens_told(check, adj, err)) return false;
    check->result.focal_u95 = TR_COVERAGE_FACTOR * adj->focal_sd[0];
    return fill_counts(adj, check, err) &&
           tr_photo_set_note_not_used(&check->set, &check->result.findings, err) &&
           (!tr_check_frame(check->job, adj, &vehicle) || measure(adj, &vehicle, check, err)) &&
           tr_check_judge_flatness(adj, check, err) && tr_check_note(adj, check, err) &&
           tr_check_note_unknown_lens(check, err) &&
           tr_targets_judge(check->job, &check->result, err);
}

/* The network, solved, and what does not fit. */
static bool diagnose(const tr_photo_input *input, tr_adjustment *adj, tr_check *check,
                     tr_error *err) {
    int n = check->job->n_sheets;
    tr_sheet_condition *conditions = tr_array(n, sizeof *conditions);
    if (!conditions) return tr_fail_memory(err);
    bool ok = tr_diagnose(&input->in, adj, conditions, &check->result.findings, err);
    for (int i = 0; i < n && ok; i++) check->result.sheets[i].condition = conditions[i];
    free(conditions);
    return ok;
}

bool tr_check_evaluate(const tr_job *job, tr_check *out, tr_error *err) {
    tr_adjustment adj = {0};
    tr_photo_input input = {0};
    memcpy(out->lenses, job->lenses, sizeof out->lenses);
    bool ok = set_request(job, out, err) && set_up_result(job, &out->result, err) &&
              prepare(out, err) && tr_photo_set_input(&out->set, &input, err) &&
              diagnose(&input, &adj, out, err) && judge(&adj, out, err);
    tr_adjustment_release(&adj);
    tr_photo_input_release(&input);
    return ok;
}

tr_check_result tr_check_take_result(tr_check *check) {
    tr_check_result result = check->result;
    check->result = (tr_check_result){0};
    return result;
}

void tr_check_release(tr_check *check) {
    tr_photo_set_release(&check->set);
    free(check->is_needed);
    tr_check_result_release(&check->result);
    memset(check, 0, sizeof *check);
}
