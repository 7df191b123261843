#include "check/artwork.h"

#include <stdlib.h>

#include "base/array.h"
#include "check/pointed.h"
#include "check/targets.h"
#include "check/uncertainty.h"

/* Photos in which a sheet is sought at first, those that show its place largest; where it is found,
   it is measured in all others, too. */
enum { MOST_PHOTOS = 8 };
/* What pointers tell is off by so many standard deviations at most, and paper and feet by more: */
static const double REACH_SIGMAS = 5;
static const double REACH_MM = 5;
static const double REACH_RAD = 0.3 * TR_RAD_PER_DEG;
/* A photo shows the sheet if it has so many of its marks. */
enum { LEAST_MARKS = 3 };

/* ---- where it may be ---- */

static double spread_of_points(const tr_solved *s, int target, const int *of, int n) {
    const tr_sheet_point *points = s->job->sheets[target].points;
    double spread = 0;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < i; k++) {
            tr_vec3 a = points[s->job->pointers[of[i]].point].at_mm;
            tr_vec3 b = points[s->job->pointers[of[k]].point].at_mm;
            spread = fmax(spread, tr_v3_norm(tr_v3_sub(a, b)));
        }
    }
    return spread;
}

/* From its pointers, else from its required place. */
static void set_rough_place(const tr_solved *s, const tr_vehicle *vehicle, int target,
                            tr_untagged_request *r) {
    const tr_placement *p = &s->job->layout.placements[target];
    int sheet = tr_job_find_sheet(s->job, p->sheet);
    int of[TR_POINTED_MAX];
    if (s->is_pointed[sheet]) {
        int n = tr_solved_list_pointers(s, sheet, of);
        double off_mm = REACH_SIGMAS * s->job->pointer_sd_mm;
        r->world_from_sheet = tr_check_pose(s, sheet);
        r->within_mm = off_mm + REACH_MM;
        r->within_rad = 2 * off_mm / spread_of_points(s, sheet, of, n) + REACH_RAD;
        return;
    }
    r->world_from_sheet = tr_pose_mul(tr_pose_inverse(vehicle->vehicle_from_world),
                                      tr_target_required_pose(s, vehicle, target));
    r->within_mm = p->within_mm;
    r->within_rad = p->within_rad;
}

/* ---- the photos ---- */

/* Photos with their images, of which those that were not kept are read anew. */
typedef struct {
    tr_placed_photo photos[MOST_PHOTOS];
    tr_lens lenses[MOST_PHOTOS];
    tr_image read[MOST_PHOTOS];
    int n;
} photo_choice;

static void release_choice(photo_choice *c) {
    for (int i = 0; i < c->n; i++) tr_image_release(&c->read[i]);
}

/* How large the sheet would be in a photo, px; 0: its middle is not in view. */
static double size_in_photo(const tr_solved *s, int photo, const tr_untagged_request *r) {
    tr_vec2 uv;
    tr_lens lens = tr_network_photo_lens(&s->adj->net, photo);
    tr_pose pose =
        tr_pose_mul(tr_network_camera_from_world(&s->adj->net, photo), r->world_from_sheet);
    if (!s->adj->photo_placed[photo] || !tr_lens_project(&lens, pose.t_mm, &uv, NULL, NULL))
        return 0;
    bool is_in_view = uv.x >= 0 && uv.y >= 0 && uv.x < lens.width_px && uv.y < lens.height_px;
    return is_in_view ? lens.param[TR_FX] * r->sheet->width_mm / pose.t_mm.z : 0;
}

/* Those that show the place largest. */
static bool choose_photos(const tr_solved *s, const tr_check *check, const tr_untagged_request *r,
                          photo_choice *c, tr_error *err) {
    int chosen[MOST_PHOTOS];
    double size[MOST_PHOTOS];
    int n = 0;
    *c = (photo_choice){.n = 0};
    for (int i = 0; i < check->set.n_photos; i++) {
        double px = size_in_photo(s, i, r);
        if (px <= 0 || (n == MOST_PHOTOS && px <= size[n - 1])) continue;
        int at = n < MOST_PHOTOS ? n++ : n - 1;
        for (; at > 0 && size[at - 1] < px; at--) {
            size[at] = size[at - 1];
            chosen[at] = chosen[at - 1];
        }
        size[at] = px;
        chosen[at] = i;
    }
    for (int k = 0; k < n; k++) {
        const tr_image *image;
        tr_placed_photo *p = &c->photos[c->n];
        if (!tr_photo_fetch(&check->set.photos[check->set.order[chosen[k]]], &c->read[c->n], &image,
                            err))
            return false;
        if (!image) continue;
        c->lenses[c->n] = tr_network_photo_lens(&s->adj->net, chosen[k]);
        *p = (tr_placed_photo){image, &c->lenses[c->n],
                               tr_network_camera_from_world(&s->adj->net, chosen[k])};
        c->n++;
    }
    return true;
}

/* ---- its marks ---- */

static int count_marks(const tr_photo_marks *marks, int sheet) {
    int n = 0;
    for (int i = 0; i < marks->n_marks; i++) n += marks->marks[i].sheet == sheet;
    return n;
}

/* Measured in a photo, from where it was found. */
static bool measure_in(const tr_solved *s, int photo, int sheet, tr_pose world_from_sheet,
                       tr_check *check, tr_error *err) {
    tr_photo *p = &check->set.photos[check->set.order[photo]];
    tr_lens lens = tr_network_photo_lens(&s->adj->net, photo);
    tr_sheet_prediction at = {
        sheet, tr_pose_mul(tr_network_camera_from_world(&s->adj->net, photo), world_from_sheet)};
    tr_image read;
    const tr_image *image;
    if (!s->adj->photo_placed[photo]) return true;
    if (!tr_photo_fetch(p, &read, &image, err)) return false;
    bool ok = !image || tr_marks_add_artwork(s->job->sheets, s->job->n_sheets, image, &lens, &at,
                                             &p->marks, err);
    tr_image_release(&read);
    int n = ok ? count_marks(&p->marks, sheet) : 0;
    if (n >= LEAST_MARKS) {
        p->marks.views[p->marks.n_views++] =
            (tr_sheet_view){.sheet = sheet,
                            .pose = {{.camera_from_plane = at.camera_from_sheet}},
                            .n_poses = 1,
                            .n_points = n};
    }
    return ok;
}

static bool seek(const tr_solved *s, const tr_vehicle *vehicle, int target, tr_check *check,
                 tr_error *err) {
    int sheet = tr_job_find_sheet(s->job, s->job->layout.placements[target].sheet);
    tr_untagged_request r = {.sheet = &s->job->sheets[sheet]};
    tr_artwork *artwork = &check->artwork[sheet];
    photo_choice chosen;
    artwork->is_by_pointers = s->is_pointed[sheet];
    artwork->is_sought = artwork->is_by_pointers || s->job->layout.placements[target].within_mm > 0;
    if (!artwork->is_sought) return true; /* too few of its pointers were measured */
    set_rough_place(s, vehicle, target, &r);
    bool ok = choose_photos(s, check, &r, &chosen, err);
    r.photos = chosen.photos;
    r.n_photos = chosen.n;
    ok = ok && tr_untagged_find(&r, &artwork->place, err);
    release_choice(&chosen);
    if (!ok || artwork->place.outcome != TR_UNTAGGED_FOUND) return ok;
    for (int i = 0; i < check->set.n_photos && ok; i++) {
        ok = measure_in(s, i, sheet, artwork->place.world_from_sheet, check, err);
    }
    return ok;
}

bool tr_check_seek_artwork(const tr_solved *s, const tr_vehicle *vehicle, tr_check *check,
                           tr_error *err) {
    bool ok = true;
    for (int i = 0; i < s->job->layout.n_placements && ok; i++) {
        int sheet = tr_job_find_sheet(s->job, s->job->layout.placements[i].sheet);
        if (tr_job_seeks_artwork(s->job, sheet)) ok = seek(s, vehicle, i, check, err);
    }
    return ok;
}

/* ---- what is told of it ---- */

/* Marks nearer to each other's places are taken for each other. */
static const double SAME_PLACE_MM = 2;

/* About the middle of its marks; a quarter of a turn takes (x, y) to (-y, x). */
static tr_vec2 turned(tr_vec2 p, tr_vec2 middle, int quarters) {
    tr_vec2 d = tr_v2_sub(p, middle);
    for (int i = 0; i < quarters; i++) d = tr_v2(-d.y, d.x);
    return tr_v2_add(middle, d);
}

static bool has_corner_at(const tr_sheet *s, tr_vec2 p) {
    for (int i = 0; i < s->n_corners; i++) {
        if (tr_v2_norm(tr_v2_sub(s->corners_mm[i], p)) <= SAME_PLACE_MM) return true;
    }
    return false;
}

static bool has_disc_at(const tr_sheet *s, tr_vec2 p, const tr_disc *like) {
    for (int i = 0; i < s->n_discs; i++) {
        const tr_disc *d = &s->discs[i];
        bool is_alike = d->is_white == like->is_white &&
                        fabs(d->diameter_mm - like->diameter_mm) <= SAME_PLACE_MM;
        if (is_alike && tr_v2_norm(tr_v2_sub(d->centre_mm, p)) <= SAME_PLACE_MM) return true;
    }
    return false;
}

/* Whether its marks are the same when the sheet is turned. */
static bool looks_the_same(const tr_sheet *s, int quarters) {
    tr_vec2 middle = {0, 0};
    int n = s->n_corners + s->n_discs;
    for (int i = 0; i < s->n_corners; i++) middle = tr_v2_add(middle, s->corners_mm[i]);
    for (int i = 0; i < s->n_discs; i++) middle = tr_v2_add(middle, s->discs[i].centre_mm);
    middle = tr_v2_scale(1.0 / n, middle);
    for (int i = 0; i < s->n_corners; i++) {
        if (!has_corner_at(s, turned(s->corners_mm[i], middle, quarters))) return false;
    }
    for (int i = 0; i < s->n_discs; i++) {
        tr_vec2 at = turned(s->discs[i].centre_mm, middle, quarters);
        if (!has_disc_at(s, at, &s->discs[i])) return false;
    }
    return true;
}

/* Its marks alone do not show that it lies the right way round; pointers would. */
static bool note_which_way(const tr_sheet *s, tr_findings *findings, tr_error *err) {
    bool is_square = looks_the_same(s, 1);
    if (!is_square && !looks_the_same(s, 2)) return true;
    return tr_note(ARTWORK_LOOKS_TURNED, findings, err, s->id, is_square);
}

/* Where pointers tell the place it is only a pity; but artwork that is in view and not there, or
   elsewhere, speaks against them. */
static bool note_beside_pointers(const char *id, tr_untagged_outcome outcome, tr_findings *findings,
                                 tr_error *err) {
    switch (outcome) {
    case TR_UNTAGGED_FOUND: return true;
    case TR_UNTAGGED_OUT_OF_VIEW:
    case TR_UNTAGGED_AMBIGUOUS: return tr_note(ARTWORK_NOT_USED, findings, err, id);
    case TR_UNTAGGED_NOT_SEEN:
    case TR_UNTAGGED_BEYOND: return tr_note(ARTWORK_NOT_AT_POINTERS, findings, err, id);
    }
    return true;
}

static bool note(const tr_sheet *sheet, double within_mm, tr_untagged_outcome outcome,
                 tr_findings *findings, tr_error *err) {
    const char *id = sheet->id;
    switch (outcome) {
    case TR_UNTAGGED_FOUND: return note_which_way(sheet, findings, err);
    case TR_UNTAGGED_OUT_OF_VIEW: return tr_note(ARTWORK_OUT_OF_VIEW, findings, err, id);
    case TR_UNTAGGED_NOT_SEEN: return tr_note(ARTWORK_NOT_FOUND, findings, err, id, within_mm);
    case TR_UNTAGGED_AMBIGUOUS: return tr_note(ARTWORK_AMBIGUOUS, findings, err, id);
    case TR_UNTAGGED_BEYOND: return tr_note(ARTWORK_BEYOND, findings, err, id, within_mm);
    }
    return true;
}

bool tr_check_note_artwork(const tr_solved *s, tr_check *check, tr_error *err) {
    tr_findings *findings = &check->result.findings;
    bool ok = true;
    for (int i = 0; i < s->job->layout.n_placements && ok; i++) {
        const tr_placement *p = &s->job->layout.placements[i];
        int sheet = tr_job_find_sheet(s->job, p->sheet);
        const tr_artwork *a = &check->artwork[sheet];
        if (!a->is_sought) continue;
        ok = a->is_by_pointers
                 ? note_beside_pointers(p->sheet, a->place.outcome, findings, err)
                 : note(&s->job->sheets[sheet], p->within_mm, a->place.outcome, findings, err);
    }
    return ok;
}
