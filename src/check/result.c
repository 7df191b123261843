#include "check/result.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "check/check.h"
#include "check/targets.h"

void tr_check_result_release(tr_check_result *result) {
    free(result->targets);
    free(result->sheets);
    free(result->plates);
    free(result->relations);
    free(result->preconditions);
    for (int i = 0; i < result->n_free_areas; i++) free(result->free_areas[i].corners_mm);
    free(result->free_areas);
    free(result->floor.places);
    free(result->order);
    tr_photo_results_release(result->photos, result->n_photos);
    tr_identity_release(&result->identity);
    tr_findings_release(&result->findings);
    memset(result, 0, sizeof *result);
}

int tr_check_worst_target(const tr_check_result *result) {
    int worst = -1;
    for (int i = 0; i < result->n_targets; i++) {
        tr_verdict v = result->targets[i].verdict;
        if (worst < 0) worst = i;
        tr_verdict w = result->targets[worst].verdict;
        if (v != w && tr_verdict_join(v, w) == v) worst = i;
    }
    return worst;
}

/* ---- what is shown of the job ---- */

static void tell_level(const tr_job *job, tr_floor_result *out) {
    const tr_level *level = &job->level;
    memcpy(out->limit, job->layout.floor_limit, sizeof out->limit);
    out->has_level = level->is_given;
    if (!level->is_given) return;
    snprintf(out->level_on, sizeof out->level_on, "%s",
             level->sheet < 0 ? "stand" : job->sheets[level->sheet].id);
    out->level_rad[0] = level->along_rad;
    out->level_rad[1] = level->across_rad;
    out->level_sd_rad = level->sd_rad;
}

static bool tell_preconditions(const tr_job *job, tr_check_result *out, tr_error *err) {
    int n = job->layout.n_preconditions;
    free(out->preconditions);
    out->n_preconditions = 0;
    out->preconditions = tr_array(n, sizeof *out->preconditions);
    if (!out->preconditions) return tr_fail_memory(err);
    out->n_preconditions = n;
    for (int i = 0; i < n; i++) {
        const tr_precondition *p = &job->layout.preconditions[i];
        const tr_confirmation *c = tr_job_confirmation_of(job, i);
        tr_precondition_result *r = &out->preconditions[i];
        memcpy(r->id, p->id, sizeof r->id);
        memcpy(r->text, p->text, sizeof r->text);
        r->is_required = p->is_required;
        r->state = !c ? TR_NOT_CONFIRMED : c->is_done ? TR_CONFIRMED : TR_NOT_DONE;
        if (!c) continue;
        memcpy(r->by, c->by, sizeof r->by);
        memcpy(r->at, c->at, sizeof r->at);
        memcpy(r->reason, c->reason, sizeof r->reason);
    }
    return true;
}

static void tell_job(const tr_check *check, tr_check_result *out) {
    const tr_job *job = check->job;
    out->has_job = true;
    memcpy(out->job, job->id, sizeof out->job);
    memcpy(out->layout, job->layout.id, sizeof out->layout);
    memcpy(out->vehicle, job->layout.vehicle, sizeof out->vehicle);
    snprintf(out->vehicle_id, sizeof out->vehicle_id, "%s", tr_check_vehicle_id(check));
    memcpy(out->technician, job->technician, sizeof out->technician);
    out->flatness_mm = job->layout.flatness_mm;
    out->thrust_limit_rad = job->layout.thrust_limit_rad;
    tell_level(job, &out->floor);
    out->reference_sd_mm = job->reference_sd_mm;
    out->has_lenses = job->n_lenses > 1;
    out->is_camera_steady = true;
    for (int i = 0; i < job->n_lenses; i++) {
        out->is_camera_steady = out->is_camera_steady && job->lenses[i].scatter.is_steady;
    }
    out->is_lens_unknown = job->lenses[0].is_unknown;
    out->focal_px = out->is_lens_unknown ? check->lenses[0].param[TR_FX] : 0;
    for (int i = 0; i < out->n_sheets; i++) {
        const tr_sheet *sheet = &job->sheets[i];
        tr_sheet_result *r = &out->sheets[i];
        memcpy(r->id, sheet->id, sizeof r->id);
        memcpy(r->title, sheet->title, sizeof r->title);
        r->kind = sheet->kind;
        r->width_mm = sheet->width_mm;
        r->height_mm = sheet->height_mm;
        r->is_surveyed = sheet->survey.n_rows > 0;
    }
    for (int i = 0; i < out->n_plates; i++) {
        const tr_reference *r = &job->references[i];
        out->plates[i].point = r->point;
        out->plates[i].sheet = r->sheet;
        out->plates[i].is_hub = job->sheets[r->sheet].support == TR_ON_WHEEL;
        snprintf(out->plates[i].name, sizeof out->plates[i].name, "%s", tr_reference_name(r));
    }
}

/* ---- the photo that shows a target best ---- */

static int points_on_sheet(const tr_photo *photo, int sheet) {
    int n = 0;
    for (int i = 0; i < photo->marks.n_marks; i++) {
        if (photo->marks.marks[i].sheet == sheet) n += photo->marks.marks[i].n_points;
    }
    return n;
}

static bool shows_place(const tr_photo *photo, tr_vec3 p_vehicle_mm) {
    tr_vec2 uv;
    tr_vec3 p = tr_pose_apply(photo->camera_from_vehicle, p_vehicle_mm);
    return tr_lens_project(&photo->own_lens, p, &uv, NULL, NULL) && uv.x >= 0 && uv.y >= 0 &&
           uv.x < photo->width_px && uv.y < photo->height_px;
}

/* Most of its marks among the photos used; where none shows it, a used photo into which its
   required place falls. Of equals the first by name, in whichever order they were given. -1: none.
 */
static int best_photo(const tr_photo_set *set, const tr_target_result *t) {
    const tr_photo_request *r = &set->request;
    bool stays = !r->stays || r->stays[t->sheet];
    int best = -1;
    int best_points = 0;
    for (int i = 0; i < set->n_photos; i++) {
        int at = tr_photo_set_at(set, i);
        if (!set->photos[at].is_used) continue;
        if (!stays && set->photos[at].position != r->n_positions - 1) continue; /* elsewhere */
        int points = points_on_sheet(&set->photos[at], t->sheet);
        if (points > best_points) {
            best = at;
            best_points = points;
        }
    }
    for (int i = 0; best < 0 && i < set->n_photos; i++) {
        int at = tr_photo_set_at(set, i);
        const tr_photo *photo = &set->photos[at];
        if (photo->is_used && shows_place(photo, t->vehicle_from_required.t_mm)) best = at;
    }
    return best;
}

/* ---- what is shown of the photos ---- */

static bool tell_photos(const tr_photo_set *set, tr_check_result *out, tr_error *err) {
    tr_photo_results_release(out->photos, out->n_photos);
    free(out->order);
    out->n_photos = 0;
    out->order = NULL;
    if (!tr_photo_results_make(set, &out->photos, err)) return false;
    out->order = tr_photo_results_order(out->photos, set->n_photos, err);
    if (!out->order) {
        tr_photo_results_release(out->photos, set->n_photos);
        out->photos = NULL;
        return false;
    }
    out->n_photos = set->n_photos;
    for (int i = 0; i < out->n_targets; i++) {
        int best = best_photo(set, &out->targets[i]);
        out->targets[i].photo = best;
        if (best >= 0 && !tr_photo_result_draw(&set->photos[best], &out->photos[best], err)) {
            return false;
        }
    }
    return true;
}

bool tr_check_finish(tr_check *check, const tr_error *why, tr_error *err) {
    /* Where it ended before anything was required of it. */
    if (check->job && !check->result.targets && !tr_check_set_up(check->job, &check->result, err)) {
        return false;
    }
    if (check->job) {
        tell_job(check, &check->result);
        if (!tell_preconditions(check->job, &check->result, err)) return false;
    }
    check->result.why = why ? *why : (tr_error){.code = TR_OK};
    return tell_photos(&check->set, &check->result, err);
}
