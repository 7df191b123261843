#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "check/artwork.h"
#include "check/check.h"
#include "check/findings.h"
#include "check/floor.h"
#include "check/pointed.h"
#include "check/references.h"
#include "check/rolled.h"
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

/* print_of: of each sheet of the network the job's. */
static bool count_sheets(const tr_network *net, const int *print_of, const bool *is_placed,
                         tr_check *out, tr_error *err) {
    /* The photo in which a sheet was seen last, from 1: observations stand in the order of photos.
     */
    int *seen_in = calloc((size_t)net->n_sheets + 1, sizeof *seen_in);
    if (!seen_in) return tr_fail_memory(err);
    for (int k = 0; k < net->n_observations; k++) {
        const tr_net_obs *o = &net->observations[k];
        if (!is_placed[k] || !o->is_used) continue;
        int sheet = print_of[o->sheet];
        out->result.sheets[sheet].n_marks += o->n_points;
        out->result.sheets[sheet].n_photos += seen_in[sheet] != o->photo + 1;
        seen_in[sheet] = o->photo + 1;
    }
    free(seen_in);
    return true;
}

/* Counts and residuals of every photo and sheet. */
static bool fill_counts(const tr_solved *s, tr_check *out, tr_error *err) {
    const tr_adjustment *adj = s->adj;
    const tr_network *net = &adj->net;
    bool *is_placed = find_placed(adj, err);
    bool ok = is_placed && tr_photo_set_count(&out->set, net, is_placed, false, err) &&
              count_sheets(net, s->input->print_of, is_placed, out, err);
    free(is_placed);
    out->result.n_rejected = adj->n_rejected;
    out->result.variance_factor = adj->variance_of_all;
    out->result.degrees_of_freedom = adj->result.degrees_of_freedom;
    for (int i = 0; i < net->n_lenses; i++) out->lenses[i] = net->lenses[i].lens;
    return ok;
}

static void fill_length(const tr_vehicle *vehicle, const tr_outputs *outputs,
                        tr_vehicle_value value, tr_length_result *length) {
    length->is_measured = vehicle->has[value];
    length->measured_mm = vehicle->value[value];
    length->u95_mm = tr_expanded(outputs->vehicle[value].variance);
}

static void fill_vehicle(const tr_vehicle *vehicle, const tr_outputs *outputs,
                         tr_check_result *result) {
    fill_length(vehicle, outputs, TR_WHEELBASE, &result->wheelbase);
    fill_length(vehicle, outputs, TR_TRACK_FRONT, &result->track_front);
    fill_length(vehicle, outputs, TR_TRACK_REAR, &result->track_rear);
    for (int i = 0; i < TR_N_POINTS; i++) {
        result->has_wheels = result->has_wheels || vehicle->has[TR_CAMBER + i];
    }
    for (int i = 0; i < TR_N_VEHICLE_VALUES && result->has_wheels; i++) {
        if (!vehicle->has[i]) continue;
        result->geometry[i] =
            (tr_quantity){true, vehicle->value[i], tr_expanded(outputs->vehicle[i].variance)};
    }
}

/* Where everything lies in the vehicle frame. */
static void fill_places(const tr_solved *s, const tr_vehicle *vehicle, tr_check *check) {
    const tr_adjustment *adj = s->adj;
    const tr_job *job = check->job;
    tr_check_result *result = &check->result;
    tr_pose world_from_vehicle = tr_pose_inverse(vehicle->vehicle_from_world);
    for (int i = 0; i < job->n_sheets; i++) {
        if (!tr_solved_has_place(s, i)) continue;
        result->sheets[i].is_placed = true;
        result->sheets[i].vehicle_from_sheet =
            tr_pose_mul(vehicle->vehicle_from_world, tr_check_pose(s, i));
    }
    for (int i = 0; i < check->set.n_photos; i++) {
        tr_pose camera_from_world = tr_network_camera_from_world(&adj->net, i);
        check->set.photos[check->set.order[i]].camera_from_vehicle =
            tr_pose_mul(camera_from_world, world_from_vehicle);
    }
    for (int i = 0; i < job->n_references; i++) {
        const tr_origin here = {.kind = TR_FROM_POINT, .index = i};
        result->plates[i].is_placed = tr_check_origin(s, vehicle, &here, &result->plates[i].at_mm);
    }
}

static tr_floor_judged floor_value(const tr_output *o) {
    tr_floor_judged r = {.verdict = TR_INCONCLUSIVE};
    if (isfinite(o->value)) r.value = (tr_quantity){true, o->value, tr_expanded(o->variance)};
    return r;
}

static bool fill_floor(const tr_check_floor *floor, const tr_outputs *outputs, tr_floor_result *out,
                       tr_error *err) {
    out->places = calloc((size_t)floor->n + 1, sizeof *out->places);
    if (!out->places) return tr_fail_memory(err);
    out->n_places = floor->n;
    out->stand = floor->stand;
    for (int k = 0; k < TR_FLOOR_WHOLE_N; k++) out->whole[k] = floor_value(&outputs->floor[k]);
    for (int i = 0; i < floor->n; i++) {
        out->places[i].sheet = floor->sheet[i];
        out->places[i].is_at_wheel = floor->is_at_wheel[i];
        for (int k = 0; k < TR_FLOOR_N; k++) {
            out->places[i].value[k] = floor_value(&outputs->places[i][k]);
        }
    }
    return true;
}

/* Everything in the vehicle frame. */
static bool measure(const tr_solved *s, const tr_vehicle *vehicle, tr_check *check, tr_error *err) {
    const tr_job *job = check->job;
    tr_outputs outputs;
    tr_check_floor floor;
    tr_check_floor_choose(s, vehicle, &check->result, &floor);
    bool ok = tr_outputs_find(s, &check->result, &floor, &outputs, err) &&
              fill_floor(&floor, &outputs, &check->result.floor, err);
    if (ok) {
        const tr_output *o = outputs.vehicle;
        tr_reference_u u = {.skew_mm =
                                sqrt(fmax(o[TR_SKEW_REAR].variance, o[TR_SKEW_FRONT].variance)),
                            .thrust_u95_rad = tr_expanded(o[TR_THRUST_ANGLE].variance)};
        for (int i = 0; i < TR_N_POINTS; i++) {
            u.toe_u95_rad[i] = tr_expanded(o[TR_TOE + i].variance);
            u.camber_u95_rad[i] = tr_expanded(o[TR_CAMBER + i].variance);
        }
        tr_targets_fill(s, vehicle, &outputs, &check->result);
        tr_free_areas_fill(s, vehicle, &check->result);
        fill_vehicle(vehicle, &outputs, &check->result);
        fill_places(s, vehicle, check);
        ok = tr_check_references(job, vehicle, &u, &check->result.findings, err) &&
             tr_check_note_pointers(s, &outputs, &check->result.findings, err);
    }
    tr_outputs_release(&outputs);
    return ok;
}

/* Where no photo can be used at all, the first one's reason says more than that no mark was found.
 */
static bool refuse_without_photos(const tr_check *check, tr_error *err) {
    const tr_photo *first = NULL;
    for (int i = 0; i < check->set.n_photos; i++) {
        const tr_photo *p = &check->set.photos[check->set.order[i]];
        if (p->is_readable && !p->marks.is_mirrored) return true;
        if (!first) first = p;
    }
    if (first && first->is_readable) {
        return tr_fail(
            err, TR_NO_MEASURE,
            "the photos are mirrored left to right; turn mirroring off in the camera's settings "
            "and take them again");
    }
    return tr_fail(err, TR_NO_PHOTO, "none of the photos can be used");
}

/* What is sought: the job as it is now. */
static bool set_request(const tr_job *job, tr_check *out, tr_error *err) {
    bool *is_needed = tr_array(job->n_sheets, sizeof *is_needed);
    bool *stays = tr_array(job->n_sheets, sizeof *stays);
    if (!is_needed || !stays) {
        /* The photos' request keeps what it borrows. */
        free(is_needed);
        free(stays);
        return tr_fail_memory(err);
    }
    free(out->is_needed);
    free(out->stays);
    out->job = job;
    out->is_needed = is_needed;
    out->stays = stays;
    for (int i = 0; i < job->n_sheets; i++) {
        out->is_needed[i] = tr_job_needs_sheet(job, i);
        out->stays[i] = tr_job_sheet_stays(job, i);
    }
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
                                          .n_named = job->n_photos,
                                          .position_of_named = job->photo_position,
                                          .stays = out->stays,
                                          .n_positions = job->n_positions};
    return true;
}

bool tr_check_init(const tr_job *job, tr_check *out, tr_error *err) {
    memset(out, 0, sizeof *out);
    out->artwork = tr_array(job->n_sheets, sizeof *out->artwork);
    return (out->artwork || tr_fail_memory(err)) && set_request(job, out, err);
}

bool tr_check_set_up(const tr_job *job, tr_check_result *result, tr_error *err) {
    result->targets = calloc((size_t)job->layout.n_placements + 1, sizeof *result->targets);
    result->sheets = calloc((size_t)job->n_sheets + 1, sizeof *result->sheets);
    result->plates = calloc((size_t)job->n_references + 1, sizeof *result->plates);
    result->relations = calloc((size_t)job->layout.n_relations + 1, sizeof *result->relations);
    if (!result->targets || !result->sheets || !result->plates || !result->relations)
        return tr_fail_memory(err);
    result->n_targets = job->layout.n_placements;
    result->n_relations = job->layout.n_relations;
    result->n_sheets = job->n_sheets;
    result->n_plates = job->n_references;
    result->wheelbase.stated_mm = job->layout.wheelbase_mm;
    /* Stated tracks are between plumb points. */
    if (tr_references_have_plates(job, false))
        result->track_front.stated_mm = job->layout.track_front_mm;
    if (tr_references_have_plates(job, true))
        result->track_rear.stated_mm = job->layout.track_rear_mm;
    result->verdict = TR_INCONCLUSIVE;
    tr_targets_set_up(job, result);
    return tr_free_areas_set_up(job, result, err);
}

bool tr_check_require(const tr_job *job, tr_check *out, tr_error *err) {
    return tr_check_init(job, out, err) && tr_check_set_up(job, &out->result, err);
}

/* The photos in their order, and the lens, where it is unknown, found roughly. */
static bool prepare(tr_check *check, tr_error *err) {
    const tr_job *job = check->job;
    tr_photo_set_name(&check->set);
    if (!tr_photo_set_sort(&check->set, err) || !refuse_without_photos(check, err)) return false;
    bool is_lens_open = job->lenses[0].is_unknown && check->set.unknown_lens.width_px == 0;
    if (is_lens_open && !tr_photo_set_find_lens(&check->set, err)) return false;
    memcpy(check->lenses, tr_photo_set_lenses(&check->set),
           (size_t)job->n_lenses * sizeof *check->lenses);
    return true;
}

/* From the solved network to the verdict. */
static bool judge(const tr_solved *s, tr_check *check, tr_error *err) {
    const tr_adjustment *adj = s->adj;
    tr_vehicle vehicle;
    if (!tr_check_is_lens_told(check, adj, err)) return false;
    check->result.focal_u95 = TR_COVERAGE_FACTOR * adj->focal_sd[0];
    return fill_counts(s, check, err) &&
           tr_photo_set_note_not_used(&check->set, &check->result.findings, err) &&
           tr_check_note_artwork(s, check, err) &&
           (!tr_check_frame(s, &vehicle) || measure(s, &vehicle, check, err)) &&
           tr_check_judge_flatness(adj, check, err) && tr_check_note(s, check, err) &&
           tr_check_note_unknown_lens(check, err) &&
           tr_targets_judge(check->job, &check->result, err);
}

/* The network, solved, and what does not fit. */
static bool diagnose(const tr_photo_input *input, tr_adjustment *adj, tr_check *check,
                     tr_error *err) {
    int n = check->job->n_sheets;
    tr_sheet_condition *conditions = tr_array(input->in.n_sheets, sizeof *conditions);
    if (!conditions) return tr_fail_memory(err);
    bool ok = tr_diagnose(&input->in, adj, conditions, &check->result.findings, err);
    for (int i = 0; i < n && ok; i++) check->result.sheets[i].condition = conditions[i];
    free(conditions);
    return ok;
}

bool tr_check_evaluate(const tr_job *job, tr_check *out, tr_error *err) {
    tr_adjustment adj = {0};
    tr_photo_input input = {0};
    tr_solved solved = {0};
    memcpy(out->lenses, job->lenses, sizeof out->lenses);
    bool ok = set_request(job, out, err) && tr_check_set_up(job, &out->result, err) &&
              prepare(out, err) && tr_photo_set_input(&out->set, &input, err) &&
              diagnose(&input, &adj, out, err) &&
              tr_solved_make(job, &adj, &input, &solved, &out->result.findings, err) &&
              judge(&solved, out, err);
    tr_solved_release(&solved);
    tr_adjustment_release(&adj);
    tr_photo_input_release(&input);
    return ok;
}

/* ---- photos ---- */

static bool seeks_artwork(const tr_job *job) {
    for (int i = 0; i < job->n_sheets; i++) {
        if (tr_job_seeks_artwork(job, i)) return true;
    }
    return false;
}

/* From a network of all that has tags: where the vehicle is, and so where to seek the rest. Where
   there is none there is nothing to seek, and tr_check_evaluate tells why. */
static bool seek_artwork(tr_check *check, tr_error *err) {
    tr_adjustment adj = {0};
    tr_photo_input input = {0};
    tr_solved solved = {0};
    tr_vehicle vehicle;
    tr_findings ignored = {0};
    tr_error why = {0};
    bool ok = true;
    tr_sheet_condition *conditions = NULL;
    if (prepare(check, &why) && tr_photo_set_input(&check->set, &input, &why)) {
        conditions = tr_array(input.in.n_sheets, sizeof *conditions);
        if (!conditions) {
            tr_fail_memory(&why);
        } else if (tr_diagnose(&input.in, &adj, conditions, &ignored, &why) &&
                   tr_solved_make(check->job, &adj, &input, &solved, &ignored, &why) &&
                   tr_check_frame(&solved, &vehicle)) {
            ok = tr_check_seek_artwork(&solved, &vehicle, check, err);
        }
    }
    if (ok && why.code == TR_NO_MEMORY) ok = tr_fail_memory(err);
    free(conditions);
    tr_findings_release(&ignored);
    tr_solved_release(&solved);
    tr_adjustment_release(&adj);
    tr_photo_input_release(&input);
    return ok;
}

bool tr_check_photos(const tr_job *job, char *const *files, int n, const tr_workers *workers,
                     tr_check *out, tr_error *err) {
    return tr_check_init(job, out, err) &&
           tr_photo_set_read(&out->set, files, n, workers, &out->result.findings, err) &&
           (!seeks_artwork(job) || seek_artwork(out, err)) &&
           tr_identity_read(job, &out->result.identity, &out->result.findings, err);
}

const char *tr_check_vehicle_id(const tr_check *check) {
    const char *stated = check->job->vehicle_id;
    return *stated ? stated : check->result.identity.vehicle;
}

tr_check_result tr_check_take_result(tr_check *check) {
    tr_check_result result = check->result;
    check->result = (tr_check_result){0};
    return result;
}

void tr_check_release(tr_check *check) {
    tr_photo_set_release(&check->set);
    free(check->is_needed);
    free(check->stays);
    free(check->artwork);
    tr_check_result_release(&check->result);
    memset(check, 0, sizeof *check);
}
