/* One trap: made, checked, judged. */
#include "geom/dense.h"
#include "tools/campaign/trap.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "lens/planar.h"
#include "present/catalogue.h"

static const tr_axis AXES[3] = {TR_X, TR_Y, TR_YAW};

/* ---- judging ---- */

/* Whether another print of the same sheet has this tag nearer to a place in the photo. */
static bool is_nearer_to_other(const tr_sim *sim, int photo, int item, tr_vec2 centre_mm,
                               tr_vec2 uv_px, double distance_px) {
    const tr_sim_photo *p = &sim->photos[photo];
    for (int k = 0; k < p->n_items; k++) {
        tr_vec2 at;
        if (k == item || p->items[k].sheet != p->items[item].sheet) continue;
        if (!tr_sim_project(sim, photo, &p->items[k], centre_mm, &at)) continue;
        if (tr_v2_norm(tr_v2_sub(uv_px, at)) < distance_px) return true;
    }
    return false;
}

/* How many of an item's tags were read in a photo, once or more often. */
static int count_read(const tr_sim *sim, const tr_check *check, int photo, int item) {
    const tr_sim_item *it = &sim->photos[photo].items[item];
    const tr_sheet *print = &sim->printed[it->sheet];
    const tr_photo_marks *marks = &check->set.photos[photo].marks;
    int n = 0;
    for (int k = 0; k < print->n_tags; k++) {
        tr_vec2 at;
        tr_vec2 corner;
        bool is_read = false;
        if (!tr_sim_project(sim, photo, it, print->tags[k].centre_mm, &at) ||
            !tr_sim_project(sim, photo, it, tr_tag_corner(&print->tags[k], 0), &corner)) {
            continue;
        }
        double size = tr_v2_norm(tr_v2_sub(corner, at));
        for (int i = 0; i < marks->n_marks; i++) {
            const tr_mark *m = &marks->marks[i];
            tr_vec2 centre = tr_v2_scale(0.5, tr_v2_add(m->uv_px[0], m->uv_px[2]));
            double away = tr_v2_norm(tr_v2_sub(centre, at));
            is_read |=
                m->kind == TR_MARK_TAG && m->sheet == it->sheet && m->index == k && away < size &&
                !is_nearer_to_other(sim, photo, item, print->tags[k].centre_mm, centre, away);
        }
        for (int i = 0; i < marks->n_strays; i++) {
            const tr_stray_tag *s = &marks->strays[i];
            is_read |= s->is_repeated && s->id == print->tags[k].id;
        }
        n += is_read;
    }
    return n;
}

static bool is_taken(const trap *t, int photo) {
    return t->edit[photo] == TRAP_AS_TAKEN && !t->is_of_other[photo];
}

/* A photo that shows one sheet alone says nothing of where that lies. */
static bool ties(const trap *t, const tr_sim *sim, const tr_check *check, int photo, int item) {
    const tr_sim_photo *p = &sim->photos[photo];
    bool shows_more = false;
    if (!is_taken(t, photo)) return false;
    for (int k = 0; k < p->n_items; k++) {
        shows_more |=
            p->items[k].sheet != p->items[item].sheet && count_read(sim, check, photo, k) > 0;
    }
    return shows_more && count_read(sim, check, photo, item) > 0;
}

static int find_item(const tr_sim *sim, int sheet) {
    for (int k = 0; k < sim->photos[0].n_items; k++) {
        if (sim->photos[0].items[k].sheet == sheet) return k;
    }
    return -1;
}

/* How the photos tell that a sheet lay in one place before a moment and in another after it. */
typedef enum {
    ONE_PLACE, /* no photo ties it to others on one side: it may as well have lain there always */
    NOT_TIED,  /* what it lay beside before hangs together with what it lay beside after only over
                  the sheet itself: the marks fit any place between the two */
    TWO_PLACES
} telling;

/* Sheets hang together that one photo shows; the sheet in question is one of its own after the
   moment (node n_sheets). */
static telling how_told(const trap *t, const tr_sim *sim, const tr_check *check, int sheet,
                        int moment, bool *is_before) {
    int group[TR_SIM_MAX_SHEETS + 1];
    int n_sheets = sim->job.n_sheets;
    bool is_tied[2] = {false, false};
    for (int s = 0; s <= n_sheets; s++) group[s] = s;
    for (int i = 0; i < t->sim.n_photos; i++) {
        int first = -1;
        for (int s = 0; s < n_sheets && is_taken(t, i); s++) {
            int item = find_item(sim, s);
            if (item < 0 || count_read(sim, check, i, item) == 0) continue;
            if (s == sheet && ties(t, sim, check, i, item)) is_tied[i >= moment] = true;
            int node = s == sheet && i >= moment ? n_sheets : s;
            int old = group[node];
            if (first < 0) first = node;
            for (int k = 0; k <= n_sheets; k++) {
                if (group[k] == old) group[k] = group[first];
            }
        }
    }
    *is_before = is_tied[0];
    if (!is_tied[0] || !is_tied[1]) return ONE_PLACE;
    return group[sheet] == group[n_sheets] ? TWO_PLACES : NOT_TIED;
}

static bool is_seen_moved(const trap *t, const tr_sim *sim, const tr_check *check) {
    bool is_before;
    return t->sim.faults.moved_from > 0 && !t->sim.faults.is_mat_missing &&
           how_told(t, sim, check, TR_SIM_MAT, t->sim.faults.moved_from, &is_before) != ONE_PLACE;
}

/* One tag of a mat is no more than a tag misread. */
static bool is_seen_twice(const trap *t, const tr_sim *sim, const tr_check *check) {
    int copy = sim->photos[0].n_items - 1;
    if (t->sim.faults.printed_twice == 0) return false;
    int enough = t->sim.faults.printed_twice - 1 == TR_SIM_MAT ? 2 : 1;
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (is_taken(t, i) && count_read(sim, check, i, copy) >= enough) return true;
    }
    return false;
}

static double difference(tr_axis axis, double a, double b) {
    return tr_axis_is_angle(axis) ? tr_wrap_rad(a - b) : a - b;
}

/* The true flatness of the first mat, over the points of the marks that were seen. */
static double true_flatness(const tr_sim *sim, const tr_check *check) {
    const tr_sim_item *mat = &sim->photos[0].items[0];
    const tr_sheet *print = &sim->printed[TR_SIM_MAT];
    tr_pose sheet_from_vehicle = tr_pose_inverse(mat->vehicle_from_sheet);
    tr_vec3 p[4 * 64];
    int n = 0;
    for (int k = 0; k < print->n_tags + print->n_corners && mat->sheet == TR_SIM_MAT; k++) {
        bool is_tag = k < print->n_tags;
        int index = is_tag ? k : k - print->n_tags;
        tr_vec2 at = is_tag ? print->tags[index].centre_mm : print->corners_mm[index];
        bool is_seen = false;
        for (int i = 0; i < check->set.n_photos; i++) {
            const tr_photo_marks *marks = &check->set.photos[i].marks;
            for (int j = 0; j < marks->n_marks; j++) {
                const tr_mark *m = &marks->marks[j];
                is_seen |= check->set.photos[i].is_used && m->sheet == TR_SIM_MAT &&
                           m->index == index && (m->kind == TR_MARK_TAG) == is_tag;
            }
        }
        for (int c = 0; c < (is_tag ? 4 : 1) && is_seen; c++) {
            tr_vec2 point = is_tag ? tr_tag_corner(&print->tags[index], c) : at;
            p[n++] = tr_pose_apply(sheet_from_vehicle, tr_sim_item_point(sim, mat, point));
        }
    }
    double A[9] = {0};
    double b[3] = {0};
    for (int i = 0; i < n; i++) {
        double row[3] = {1, p[i].x / 1000, p[i].y / 1000};
        for (int r = 0; r < 3; r++) {
            b[r] += row[r] * p[i].z;
            for (int c = 0; c <= r; c++) A[3 * r + c] += row[r] * row[c];
        }
    }
    if (n < 4 || !tr_dense_solve(A, b, 3)) return 0;
    double low = INFINITY;
    double high = -INFINITY;
    for (int i = 0; i < n; i++) {
        double d = p[i].z - b[0] - b[1] * p[i].x / 1000 - b[2] * p[i].y / 1000;
        low = fmin(low, d);
        high = fmax(high, d);
    }
    return high - low;
}

/* What may be measured of an axis: anything between two values. */
typedef struct {
    double as_laid[2];
    double truth[2];
} span;

/* Distance of v from all that lies between two values. */
static double distance(tr_axis axis, double v, const double ends[2]) {
    double a = difference(axis, v, ends[0]);
    double b = difference(axis, v, ends[1]);
    return (a < 0) != (b < 0) ? 0 : fmin(fabs(a), fabs(b));
}

static bool judge_axis(tr_axis axis, const tr_axis_result *a, const span *s, char *why,
                       size_t size) {
    bool is_angle = tr_axis_is_angle(axis);
    double unit = is_angle ? TR_DEG_PER_RAD : 1;
    double slack = is_angle ? 0.02 * TR_RAD_PER_DEG : 0.3;
    double outside = distance(axis, a->required, s->truth) - a->limit;
    double off = distance(axis, a->measured, s->as_laid);
    if (outside > a->u95) {
        snprintf(why, size, "%s truly lies %.3f outside its limit, u95 %.3f", tr_axis_key(axis),
                 outside * unit, a->u95 * unit);
    } else if (off > 2 * a->u95 + slack) {
        snprintf(why, size, "%s is %.3f off, u95 %.3f", tr_axis_key(axis), off * unit,
                 a->u95 * unit);
    } else {
        return false;
    }
    return true;
}

/* Which of two places a measurement is held to: from the first to the last one. */
typedef struct {
    int first, last;
} places;

static bool judge_axes(const tr_sim *sim, const tr_check *check, places mat, places plates,
                       char *why, size_t size) {
    for (int i = 0; i < sim->job.layout.n_placements; i++) {
        for (int k = 0; k < 3; k++) {
            int at = 3 * i + k;
            double known = sim->as_laid[0][0][at];
            span s = {.as_laid = {sim->as_laid[mat.first][plates.first][at],
                                  sim->as_laid[mat.last][plates.last][at]}};
            for (int e = 0; e < 2; e++) {
                s.truth[e] = sim->truth[at] + difference(AXES[k], s.as_laid[e], known);
            }
            if (judge_axis(AXES[k], &check->result.targets[i].axis[AXES[k]], &s, why, size))
                return true;
        }
    }
    return false;
}

/* A nudged plate belongs where it was first laid. Where no photo shows it there, or none ties both
   places, it is a plate that lies off by less than the layout tolerates, which no photo can show.
 */
static places places_of_plates(const trap *t, const tr_sim *sim, const tr_check *check) {
    for (int p = 0; p < TR_N_POINTS && t->sim.faults.nudged_from > 0; p++) {
        bool is_before;
        if (tr_v2_norm(t->sim.faults.plate_nudge_mm[p]) <= 0) continue;
        switch (how_told(t, sim, check, TR_SIM_PLATE + p, t->sim.faults.nudged_from, &is_before)) {
        case ONE_PLACE: return is_before ? (places){0, 0} : (places){1, 1};
        case NOT_TIED: return (places){0, 1};
        case TWO_PLACES: return (places){0, 0};
        }
    }
    return (places){0, 0};
}

/* Right by any place that the mat had in the photos. */
static bool judge_places(const trap *t, const tr_sim *sim, const tr_check *check, char *why,
                         size_t size) {
    places plates = places_of_plates(t, sim, check);
    bool is_before;
    if (t->sim.faults.moved_from == 0)
        return judge_axes(sim, check, (places){0, 0}, plates, why, size);
    switch (how_told(t, sim, check, TR_SIM_MAT, t->sim.faults.moved_from, &is_before)) {
    case ONE_PLACE:
        return judge_axes(sim, check, is_before ? (places){0, 0} : (places){1, 1}, plates, why,
                          size);
    case NOT_TIED: return judge_axes(sim, check, (places){0, 1}, plates, why, size);
    case TWO_PLACES: break;
    }
    return judge_axes(sim, check, (places){0, 0}, plates, why, size) &&
           judge_axes(sim, check, (places){1, 1}, plates, why, size);
}

/* Where the mat lies is told by photos of the other job alone: of this job's own none shows it
   together with anything else. */
static bool is_told_by_other(const trap *t, const tr_sim *sim, const tr_check *check) {
    int mat = find_item(sim, TR_SIM_MAT);
    bool has_other = false;
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (!check->set.photos[i].is_used) continue;
        if (mat >= 0 && ties(t, sim, check, i, mat)) return false;
        has_other = has_other || t->is_of_other[i];
    }
    return has_other;
}

void trap_judge(const trap *t, const tr_sim *sim, const tr_sim *other, const tr_check *check,
                char *why, size_t size) {
    why[0] = 0;
    if (check->result.verdict != TR_PASS) return;
    if (is_told_by_other(t, sim, check)) {
        (void)judge_axes(other, check, (places){0, 0}, (places){0, 0}, why, size);
        return;
    }
    for (int i = 0; i < t->n_faults; i++) {
        const trap_fault *f = &TRAP_FAULTS[t->faults[i]];
        if (f->rule == TRAP_NO_PASS ||
            (f->rule == TRAP_NO_PASS_IF_SEEN &&
             (is_seen_moved(t, sim, check) || is_seen_twice(t, sim, check)))) {
            snprintf(why, size, "nothing may pass here");
            return;
        }
    }
    if (judge_places(t, sim, check, why, size)) return;
    why[0] = 0;
    const tr_sheet_condition *c = &check->result.sheets[TR_SIM_MAT].condition;
    double flatness = true_flatness(sim, check);
    double u95 = c->has_flatness ? c->flatness_u95_mm : 0;
    if (flatness > sim->job.layout.flatness_mm + u95) {
        snprintf(why, size, "the mat is %.1f mm out of flat, measured %.1f, u95 %.1f", flatness,
                 c->flatness_mm, u95);
    }
}

/* ---- making ---- */

/* A copy of a photo's marks as one more photo. */
static bool repeat_photo(tr_check *check, int i, tr_error *err) {
    tr_photo *copy = tr_photo_set_add(&check->set, "again.jpg", err);
    if (!copy) return false;
    const tr_photo *photo = &check->set.photos[i];
    copy->is_readable = photo->is_readable;
    copy->width_px = photo->width_px;
    copy->height_px = photo->height_px;
    copy->lens = photo->lens;
    copy->exif = photo->exif;
    copy->marks = photo->marks;
    copy->marks.seen = (tr_detections){0};
    copy->marks.marks = malloc(((size_t)copy->marks.n_marks + 1) * sizeof *copy->marks.marks);
    copy->marks.strays = malloc(((size_t)copy->marks.n_strays + 1) * sizeof *copy->marks.strays);
    copy->marks.views = malloc(((size_t)copy->marks.n_views + 1) * sizeof *copy->marks.views);
    if (!copy->marks.marks || !copy->marks.strays || !copy->marks.views) {
        return tr_fail_memory(err);
    }
    const tr_photo_marks *from = &photo->marks;
    memcpy(copy->marks.marks, from->marks, (size_t)from->n_marks * sizeof *from->marks);
    memcpy(copy->marks.strays, from->strays, (size_t)from->n_strays * sizeof *from->strays);
    memcpy(copy->marks.views, from->views, (size_t)from->n_views * sizeof *from->views);
    return true;
}

/* What tr_check_photos would have made of it; but it would also warn. */
static void edit_marks(tr_photo *photo, trap_edit edit) {
    if (edit == TRAP_AS_TAKEN) return;
    photo->marks.n_marks = photo->marks.n_views = photo->marks.n_strays = 0;
    photo->marks.is_mirrored = edit == TRAP_MIRRORED;
    photo->is_readable = edit == TRAP_MIRRORED;
}

static bool simulate_marks(const trap *t, tr_sim *sim, tr_sim *other, tr_error *err) {
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (t->is_of_other[i]) {
            tr_photo_marks marks = sim->check.set.photos[i].marks;
            sim->check.set.photos[i].marks = other->check.set.photos[i].marks;
            other->check.set.photos[i].marks = marks;
        }
        edit_marks(&sim->check.set.photos[i], t->edit[i]);
    }
    return t->repeated == 0 || repeat_photo(&sim->check, t->repeated - 1, err);
}

static bool take_photos(const trap *t, const char *folder, bool keeps, const tr_sim *sim,
                        const tr_sim *other, tr_check *check, tr_error *err) {
    char *files[TR_SIM_MAX_PHOTOS + 1] = {NULL};
    int n = t->sim.n_photos + (t->repeated > 0);
    bool ok = true;
    for (int i = 0; i < n && ok; i++) {
        size_t size = strlen(folder) + 64;
        files[i] = malloc(size);
        if (files[i]) snprintf(files[i], size, "%s/%ld-%d.jpg", folder, t->number, i + 1);
        ok = files[i] || tr_fail_memory(err);
    }
    ok = ok && trap_render(t, sim, other, files, n, err) &&
         tr_check_photos(&sim->job, files, n, &(tr_workers){.n_threads = 1}, check, err);
    for (int i = 0; i < n; i++) {
        if (files[i] && !keeps) unlink(files[i]);
        free(files[i]);
    }
    return ok;
}

/* ---- telling ---- */

static void tell_axes(FILE *to, const tr_sim *sim, const tr_check *check) {
    for (int i = 0; i < sim->job.layout.n_placements; i++) {
        const tr_target_result *target = &check->result.targets[i];
        fprintf(to, "  %s: %s\n", sim->job.sheets[target->sheet].id,
                tr_verdict_name(target->verdict));
        for (int k = 0; k < 3; k++) {
            const tr_axis_result *a = &target->axis[AXES[k]];
            double unit = tr_axis_is_angle(AXES[k]) ? TR_DEG_PER_RAD : 1;
            fprintf(to, "    %-8s true %+.3f as laid %+.3f measured %+.3f u95 %.3f of %.1f: %s\n",
                    tr_axis_key(AXES[k]),
                    difference(AXES[k], sim->truth[3 * i + k], a->required) * unit,
                    difference(AXES[k], sim->as_laid[0][0][3 * i + k], a->required) * unit,
                    a->error * unit, a->u95 * unit, a->limit * unit, tr_verdict_name(a->verdict));
        }
    }
}

static void tell(FILE *to, const trap *t, const tr_sim *sim, const tr_check *check,
                 const trap_result *r, const tr_error *err) {
    fprintf(to, "job %ld, %s, %d photos:", t->number, t->is_rendered ? "rendered" : "marks",
            t->sim.n_photos);
    for (int i = 0; i < t->n_faults; i++) {
        fprintf(to, "%s %s", i > 0 ? " and" : "", TRAP_FAULTS[t->faults[i]].name);
    }
    fprintf(to, "\n  %s%s%s\n", r->is_measured ? tr_verdict_name(r->verdict) : err->text,
            r->false_because[0] ? ", FALSE PASS: " : "", r->false_because);
    if (r->is_measured) {
        tell_axes(to, sim, check);
        fprintf(to, "  variance factor %.2f, %d marks left out, flatness true %.1f measured %.1f\n",
                check->result.variance_factor, check->result.n_rejected, true_flatness(sim, check),
                check->result.sheets[TR_SIM_MAT].condition.flatness_mm);
    }
    for (int i = 0; i < check->set.n_photos; i++) {
        char why_not[TR_FINDING_TEXT_SIZE];
        tr_reason_text(check->set.photos[i].why_not.items, why_not);
        fprintf(to, "  photo %d: %d marks, rms %.3f px%s%s%s\n", i + 1,
                check->set.photos[i].n_marks, check->set.photos[i].rms_px,
                i < t->sim.n_photos && t->is_of_other[i] ? ", of another job" : "",
                *why_not ? ": " : "", why_not);
    }
    for (int i = 0; i < check->result.findings.n; i++) {
        const tr_finding *w = &check->result.findings.items[i];
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(w, text);
        fprintf(to, "  %s%s: %s\n", tr_finding_blocks_pass(w->kind) ? "" : "(does not block) ",
                tr_finding_code(w->kind), text);
    }
}

bool trap_run(const trap *t, const char *folder, bool keeps, FILE *to, trap_result *out,
              tr_error *err) {
    tr_sim sim = {0};
    tr_sim other = {0};
    tr_check rendered = {0};
    bool ok = false;
    *out = (trap_result){.verdict = TR_INCONCLUSIVE};
    if (!tr_simulate(&t->sim, &sim, err) || !tr_simulate(&t->other, &other, err)) goto out;
    tr_check *check = t->is_rendered ? &rendered : &sim.check;
    ok = t->is_rendered ? take_photos(t, folder, keeps, &sim, &other, check, err)
                        : simulate_marks(t, &sim, &other, err);
    if (!ok) goto out;
    tr_error why = {0};
    out->is_measured = tr_check_evaluate(&sim.job, check, &why);
    out->is_blocked = tr_findings_block_pass(&check->result.findings);
    if (out->is_measured) {
        out->verdict = check->result.verdict;
        trap_judge(t, &sim, &other, check, out->false_because, sizeof out->false_because);
    }
    if (to) tell(to, t, &sim, check, out, &why);
out:
    tr_check_release(&rendered);
    tr_sim_release(&sim);
    tr_sim_release(&other);
    return ok;
}
