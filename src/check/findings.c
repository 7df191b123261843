#include "check/findings.h"

#include <stdlib.h>
#include <string.h>

#include "check/pointed.h"
#include "check/references.h"
#include "job/vin.h"
#include "photos/photo_findings.h"

/* Two places from which a sheet is seen are apart by more than this part of the distance to it: 3
   degrees. From there a print that is 0.5 % too small shows as 0.6 px at 2.5 m. */
static const double LEAST_BASE = 0.05;

/* Of one that is not within the limit, or not certainly; of one that has marks, but too few. */
static bool note_flatness(const tr_check *check, int sheet, tr_findings *findings, tr_error *err) {
    const tr_sheet_result *r = &check->result.sheets[sheet];
    const tr_sheet_condition *c = &r->condition;
    const char *id = check->job->sheets[sheet].id;
    double limit = check->job->layout.flatness_mm;
    if (!r->is_flat_judged) return tr_note(FLATNESS_NOT_MEASURED, findings, err, id, limit);
    switch (r->flatness_verdict) {
    case TR_PASS: return true;
    case TR_INCONCLUSIVE:
        return tr_note(FLATNESS_UNDECIDED, findings, err, id, c->flatness_mm, c->flatness_u95_mm,
                       limit);
    default:
        return tr_note(SHEET_NOT_FLAT, findings, err, id, c->flatness_mm, c->flatness_u95_mm, limit,
                       c->highest_mm.x, c->highest_mm.y);
    }
}

/* A sheet that is not flat is nowhere in particular; how far that carries the vehicle's sensors off
   only the maker could tell. */
bool tr_check_judge_flatness(const tr_adjustment *adj, tr_check *check, tr_error *err) {
    const tr_job *job = check->job;
    tr_check_result *out = &check->result;
    for (int i = 0; i < job->layout.n_placements; i++) {
        int s = out->targets[i].sheet;
        tr_sheet_result *sheet = &out->sheets[s];
        const tr_sheet_condition *c = &sheet->condition;
        if (!adj->sheet_placed[s]) continue;
        sheet->is_flat_judged = c->has_flatness;
        if (c->has_flatness) {
            sheet->flatness_verdict =
                tr_verdict_decide(c->flatness_mm, c->flatness_u95_mm, job->layout.flatness_mm);
        }
        if (!note_flatness(check, s, &out->findings, err)) return false;
    }
    return true;
}

/* Only North America makes the check digit compulsory, so a failing one is a reason to look again.
 */
static bool note_vehicle_id(const tr_check *check, tr_findings *findings, tr_error *err) {
    const char *id = tr_check_vehicle_id(check);
    if (!*id) return true;
    tr_vin_fault fault = tr_vin_find_fault(id);
    char found[2] = {fault.found, 0};
    char right[2] = {fault.right, 0};
    if (fault.length != TR_VIN_PLACES) {
        return tr_note(VEHICLE_ID_MALFORMED, findings, err, id, fault.length);
    }
    if (fault.place == 0) return true;
    /* A part of a character of several bytes cannot be shown. */
    if ((unsigned char)fault.found > 126) strcpy(found, "?");
    return fault.right ? tr_note(VEHICLE_ID_DIGIT, findings, err, id, found, right)
                       : tr_note(VEHICLE_ID_CHARACTER, findings, err, id, found, fault.place);
}

/* Photos of the sheet were taken from places so far apart that together they tell how far away it
   lies: one view alone takes that from the size that the sheet's file says, and nothing checks it.
   seen: room for its photos; *n_seen: their number, where they were not. */
static bool is_seen_from_two_places(const tr_network *net, int sheet, tr_vec3 *seen, int *n_seen) {
    tr_vec3 at = net->sheets[sheet].world_from_sheet.t_mm;
    int n = 0;
    int photo = -1;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used || o->sheet != sheet || o->photo == photo) continue;
        photo = o->photo; /* observations stand in the order of photos */
        tr_vec3 eye = tr_pose_inverse(tr_network_camera_from_world(net, o->photo)).t_mm;
        double away = tr_v3_norm(tr_v3_sub(eye, at));
        for (int k = 0; k < n; k++) {
            double nearest = fmin(away, tr_v3_norm(tr_v3_sub(seen[k], at)));
            if (tr_v3_norm(tr_v3_sub(seen[k], eye)) > LEAST_BASE * nearest) return true;
        }
        seen[n++] = eye;
    }
    *n_seen = n;
    return false;
}

/* A sheet that moves with the vehicle counts where it stands: in the last position. */
static bool note_once(tr_check *check, int sheet, int n_photos, tr_error *err) {
    tr_findings *findings = &check->result.findings;
    const char *id = check->job->sheets[sheet].id;
    if (check->job->n_positions > 1 && !check->stays[sheet]) {
        return check->is_needed[sheet]
                   ? tr_note(SEEN_ONCE_IN_LAST, findings, err, id, n_photos)
                   : tr_note(UNNEEDED_ONCE_IN_LAST, findings, err, id, n_photos);
    }
    return check->is_needed[sheet] ? tr_note(SEEN_ONCE, findings, err, id, n_photos)
                                   : tr_note(UNNEEDED_SEEN_ONCE, findings, err, id, n_photos);
}

static bool note_seen_once(const tr_adjustment *adj, tr_check *check, tr_error *err) {
    tr_vec3 *seen = calloc((size_t)adj->net.n_photos + 1, sizeof *seen);
    bool ok = seen != NULL;
    if (!ok) tr_fail_memory(err);
    for (int i = 0; i < check->job->n_sheets && ok; i++) {
        int n;
        if (!adj->sheet_placed[i]) continue;
        ok = is_seen_from_two_places(&adj->net, i, seen, &n) || note_once(check, i, n, err);
    }
    free(seen);
    return ok;
}

/* Of one whose artwork was sought it is told why it was not found. */
static bool note_target_not_found(const tr_solved *s, const tr_check *check, int sheet,
                                  tr_findings *findings, tr_error *err) {
    const char *id = s->job->sheets[sheet].id;
    int of[TR_POINTED_MAX];
    if (tr_solved_has_place(s, sheet)) return true;
    if (tr_job_has_pointers(s->job, sheet)) {
        int n = tr_solved_list_pointers(s, sheet, of);
        return tr_note(TOO_FEW_POINTERS, findings, err, id, n);
    }
    return check->artwork[sheet].is_sought || tr_note(SHEET_NOT_FOUND, findings, err, id);
}

static bool note_not_found(const tr_solved *solved, tr_check *check, tr_error *err) {
    const tr_job *job = check->job;
    const tr_adjustment *adj = solved->adj;
    tr_findings *findings = &check->result.findings;
    for (int i = 0; i < job->layout.n_placements; i++) {
        int s = check->result.targets[i].sheet;
        if (!note_target_not_found(solved, check, s, findings, err)) return false;
    }
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        const char *id = job->sheets[r->sheet].id;
        const char *name = tr_reference_name(r);
        if (adj->sheet_placed[r->sheet]) continue;
        bool ok = r->point < TR_N_POINTS ? tr_note(PLATE_NOT_FOUND, findings, err, id, name)
                                         : tr_note(POINT_NOT_FOUND, findings, err, id, name);
        if (!ok) return false;
    }
    return true;
}

static bool note_seen_twice(tr_check *check, tr_error *err) {
    for (int i = 0; i < check->set.n_photos; i++) {
        const tr_photo *p = &check->set.photos[check->set.order[i]];
        for (int k = 0; k < p->marks.n_strays; k++) {
            const tr_stray_tag *t = &p->marks.strays[k];
            if (t->is_repeated &&
                !tr_note(TAG_SEEN_TWICE, &check->result.findings, err, p->name, t->id, t->family)) {
                return false;
            }
        }
    }
    return true;
}

/* Of sheets on which the result rests. */
static bool note_exact_sheets(const tr_solved *solved, tr_findings *findings, tr_error *err) {
    const tr_job *job = solved->job;
    for (int i = 0; i < job->n_sheets; i++) {
        if (!tr_job_needs_sheet(job, i) || !tr_sheet_is_exact(&job->sheets[i])) continue;
        if (!tr_note(SHEET_TAKEN_AS_EXACT, findings, err, job->sheets[i].id)) return false;
    }
    return true;
}

static bool has_hub(const tr_job *job) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->sheets[job->references[i].sheet].support == TR_ON_WHEEL) return true;
    }
    return false;
}

/* What the job says is exact, and in truth is not. A roll does not find how a sheet hangs, either,
   where it is known beforehand to hang square. */
static bool note_exact_plates(const tr_job *job, tr_findings *findings, tr_error *err) {
    if (has_hub(job) && !(job->hub_tilt_sd_rad > 0) &&
        !tr_note(HUBS_TAKEN_AS_SQUARE, findings, err)) {
        return false;
    }
    if (job->reference_sd_mm > 0) return true;
    return tr_references_are_plates(job) ? tr_note(PLATES_TAKEN_AS_EXACT, findings, err)
                                         : tr_note(HUBS_TAKEN_AS_EXACT, findings, err);
}

bool tr_check_note(const tr_solved *solved, tr_check *check, tr_error *err) {
    tr_findings *findings = &check->result.findings;
    return note_vehicle_id(check, findings, err) && note_not_found(solved, check, err) &&
           note_seen_twice(check, err) && note_seen_once(solved->adj, check, err) &&
           tr_photo_set_note_exact_lenses(&check->set, findings, err) &&
           note_exact_sheets(solved, findings, err) && note_exact_plates(check->job, findings, err);
}

bool tr_check_note_preconditions(const tr_job *job, tr_findings *findings, tr_error *err) {
    for (int i = 0; i < job->layout.n_preconditions; i++) {
        const tr_precondition *p = &job->layout.preconditions[i];
        const tr_confirmation *c = tr_job_confirmation_of(job, i);
        if (!p->is_required || (c && c->is_done)) continue;
        bool ok = c ? tr_note(PRECONDITION_NOT_DONE, findings, err, p->text, p->id, c->reason)
                    : tr_note(PRECONDITION_MISSING, findings, err, p->text, p->id);
        if (!ok) return false;
    }
    return true;
}
