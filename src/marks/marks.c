#include "marks/marks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "marks/checker.h"
#include "marks/disc.h"
#include "marks/finder.h"
#include "marks/tag.h"
#include "tags/family.h"

/* A tag of a sheet agrees with the sheet's pose when its corners lie this close to where they
   belong, as a part of the tag's size in the image. */
static const double AGREE_PART = 0.12;

/* How far a checker corner may lie from its prediction. */
static const double CORNER_REACH_PX = 6;
/* How far its edges may be turned from theirs: of the corners of the eight photos of 'bench photos'
   all but one had less than 0.11 rad, and that one 0.18; those of two tyres' edges that cross a
   square, which look like corners too, have 0.31 and 0.34. */
static const double MAX_TURN_RAD = 0.2;
/* Sizes to try for the squares about a lone checker corner, whose size no file tells. */
static const double SQUARE_TRIES_MM[] = {100, 60, 40, 25, 15};
/* Error of a checker corner beyond its fit's own, see doc/measurements.md. */
static const double CORNER_FLOOR_PX = 0.015;
static const double LOW_SQUARE_PX = 5;

/* How far a disc's centre may lie from its prediction, and its error beyond its fit's own: what is
   left where a white disc's black ground ends near it (tests/test_disc.c). */
static const double DISC_REACH_PX = 6;
static const double DISC_FLOOR_PX = 0.008;

/* ---- seeing tags ---- */

static bool is_any_of_a_sheet(const tr_marks_finder *f, const tr_detections *s) {
    for (int i = 0; i < s->n; i++) {
        int sheet;
        int tag;
        if (tr_finder_identify(f, &s->items[i], &sheet, &tag)) return true;
    }
    return false;
}

/* Whether the photo, mirrored left to right, shows tags, and whether any is of the sheets. */
static bool look_mirrored(tr_marks_finder *f, const tr_image *image, bool *shows_any,
                          bool *shows_sheet, tr_error *err) {
    tr_detections s = {0};
    bool ok = tr_finder_see_mirrored(f, image, tr_marks_quick_factor(image), &s, err);
    *shows_any = s.n > 0;
    *shows_sheet = is_any_of_a_sheet(f, &s);
    free(s.items);
    return ok;
}

/* On a small copy, and where that shows no tag of the sheets, on one twice as large: where neither
   does, few are near, and it is for the whole measurement to tell whether they are missed. Where
   the mirrored photo shows the sheets, there is nothing to be found in it as it is. */
static bool look(tr_marks_finder *f, const tr_image *image, tr_photo_marks *out, tr_error *err) {
    bool shows_any = false;
    bool shows_sheet = false;
    out->searched_factor = tr_marks_quick_factor(image);
    if (!tr_finder_see(f, image, out->searched_factor, &out->seen, err)) return false;
    if (is_any_of_a_sheet(f, &out->seen)) return true;
    if (out->seen.n == 0 && !look_mirrored(f, image, &shows_any, &shows_sheet, err)) return false;
    if (!shows_sheet && out->searched_factor > 1) {
        out->searched_factor /= 2;
        if (!tr_finder_see(f, image, out->searched_factor, &out->seen, err)) return false;
    }
    out->is_mirrored = shows_any && out->seen.n == 0;
    return true;
}

/* ---- measuring ---- */

/* Everything that grows while one photo is worked on. */
typedef struct {
    tr_marks_finder *finder;
    const tr_sheet *sheets; /* the finder's */
    int n_sheets;
    const tr_image *image;
    const tr_lens *lens;
    tr_photo_marks *out;
    /* Room for all marks of one sheet's gathering. */
    tr_vec2 *p, *uv;
    bool *is_rejected;
} work;

static tr_tag_outcome measure_tag(const work *w, int sheet, int tag, const tr_vec2 start_px[4]) {
    const tr_sheet *s = &w->sheets[sheet];
    const tr_tag *t = &s->tags[tag];
    tr_tag_pattern pattern;
    tr_tag_fit fit;
    int family = tr_finder_family(w->finder, s->tag_family);
    if (!tr_tag_pattern_make(tr_finder_codes(w->finder, family), t->id, &pattern)) {
        return TR_TAG_UNLIKE;
    }
    if (!tr_tag_measure(w->image, w->lens, &pattern, start_px, &fit)) return fit.outcome;
    tr_mark *m = &w->out->marks[w->out->n_marks++];
    *m = (tr_mark){.kind = TR_MARK_TAG, .sheet = sheet, .index = tag, .n_points = 4};
    m->n_cells = pattern.border;
    for (int k = 0; k < 4; k++) m->p_sheet_mm[k] = tr_tag_corner(t, k);
    memcpy(m->uv_px, fit.corner_px, sizeof m->uv_px);
    memcpy(m->covariance, fit.covariance, sizeof m->covariance);
    m->sigma_px = fmax(fit.sigma_px[0], fit.sigma_px[1]);
    m->contrast = fit.contrast;
    return TR_TAG_MEASURED;
}

static tr_stray_tag *add_stray(const work *w, const tr_detection *t) {
    tr_stray_tag *s = &w->out->strays[w->out->n_strays++];
    *s = (tr_stray_tag){.id = t->id};
    strncpy(s->family, tr_finder_family_name(w->finder, t->family), sizeof s->family - 1);
    for (int k = 0; k < 4; k++) {
        s->centre_px = tr_v2_add(s->centre_px, tr_v2_scale(0.25, t->corner_px[k]));
    }
    return s;
}

static int times_seen(const tr_detections *s, const tr_detection *t) {
    int times = 0;
    for (int k = 0; k < s->n; k++) {
        times += s->items[k].family == t->family && s->items[k].id == t->id;
    }
    return times;
}

static void measure_seen_tags(const work *w, const tr_detections *s) {
    for (int i = 0; i < s->n; i++) {
        const tr_detection *t = &s->items[i];
        int sheet;
        int tag;
        if (!tr_finder_identify(w->finder, t, &sheet, &tag)) {
            add_stray(w, t)->is_foreign = true;
        } else if (times_seen(s, t) > 1) {
            add_stray(w, t)->is_repeated = true;
        } else {
            tr_tag_outcome outcome = measure_tag(w, sheet, tag, t->corner_px);
            if (outcome != TR_TAG_MEASURED) add_stray(w, t)->why = outcome;
        }
    }
}

/* ---- a sheet's first pose ---- */

static int gather(const tr_photo_marks *out, int sheet, const bool *is_rejected, tr_vec2 *p,
                  tr_vec2 *uv) {
    int n = 0;
    for (int i = 0; i < out->n_marks; i++) {
        const tr_mark *m = &out->marks[i];
        if (m->sheet != sheet || (is_rejected && is_rejected[i])) continue;
        for (int k = 0; k < m->n_points; k++) {
            p[n] = m->p_sheet_mm[k];
            uv[n++] = m->uv_px[k];
        }
    }
    return n;
}

/* How far a mark's points lie from where the pose puts them; infinite behind the camera. */
static double off_px(const tr_lens *lens, tr_pose pose, const tr_mark *m) {
    double worst = 0;
    for (int k = 0; k < m->n_points; k++) {
        tr_vec2 uv;
        tr_vec3 p = tr_v3(m->p_sheet_mm[k].x, m->p_sheet_mm[k].y, 0);
        if (!tr_lens_project(lens, tr_pose_apply(pose, p), &uv, NULL, NULL)) return INFINITY;
        worst = fmax(worst, tr_v2_norm(tr_v2_sub(uv, m->uv_px[k])));
    }
    return worst;
}

/* How far a mark may lie off in the pose of a tag: a tag by its own size in the image, a corner or
   disc, which has none, by that tag's; and by no less than it was sought from its prediction, or a
   small tag would take from the sheet the wide base that tells how it tilts. What lies off by less
   moves a first pose by no more than that; the network weighs it by its covariance and tests it
   against the others. */
static double allowed_px(const tr_mark *tag, const tr_mark *m) {
    const tr_vec2 *uv = m->n_points == 4 ? m->uv_px : tag->uv_px;
    double allowed = AGREE_PART * tr_v2_norm(tr_v2_sub(uv[0], uv[2])) + 2;
    return m->n_points == 4 ? allowed : fmax(allowed, fmax(CORNER_REACH_PX, DISC_REACH_PX));
}

/* Whether a mark lies where the pose of a tag of its sheet puts it. */
static bool agrees(const tr_lens *lens, tr_pose pose, const tr_mark *tag, const tr_mark *m) {
    return off_px(lens, pose, m) < allowed_px(tag, m);
}

/* Marks that do not go together with the most others of the sheet. Each tag's own poses are tried
   as the sheet's. */
static void reject_misplaced(const work *w, int sheet, bool *is_rejected) {
    const tr_photo_marks *out = w->out;
    const tr_mark *tag = NULL;
    tr_pose best = tr_pose_identity();
    int best_count = 0;
    for (int i = 0; i < out->n_marks; i++) {
        const tr_mark *m = &out->marks[i];
        tr_planar_pose pose[2];
        if (m->sheet != sheet || m->kind != TR_MARK_TAG) continue;
        int n = tr_planar_poses(w->lens, m->p_sheet_mm, m->uv_px, 4, pose);
        for (int k = 0; k < n; k++) {
            int count = 0;
            for (int j = 0; j < out->n_marks; j++) {
                count += out->marks[j].sheet == sheet &&
                         agrees(w->lens, pose[k].camera_from_plane, m, &out->marks[j]);
            }
            if (count > best_count) {
                best_count = count;
                best = pose[k].camera_from_plane;
                tag = m;
            }
        }
    }
    for (int i = 0; i < out->n_marks; i++) {
        if (out->marks[i].sheet != sheet) continue;
        /* Where each tag agrees only with itself, nothing is gained by choosing. */
        is_rejected[i] = best_count > 1 && !agrees(w->lens, best, tag, &out->marks[i]);
    }
}

static bool place_sheet(const work *w, int sheet, tr_sheet_view *view) {
    reject_misplaced(w, sheet, w->is_rejected);
    int n = gather(w->out, sheet, w->is_rejected, w->p, w->uv);
    if (n < 4) return false;
    *view = (tr_sheet_view){.sheet = sheet, .n_points = n};
    view->n_poses = tr_planar_poses(w->lens, w->p, w->uv, n, view->pose);
    return view->n_poses > 0;
}

/* ---- what the first pose predicts ---- */

static bool predict(const work *w, tr_pose camera_from_sheet, tr_vec2 p_mm, tr_vec2 *uv) {
    tr_vec3 p = tr_pose_apply(camera_from_sheet, tr_v3(p_mm.x, p_mm.y, 0));
    return tr_lens_project(w->lens, p, uv, NULL, NULL) && uv->x >= 0 && uv->y >= 0 &&
           uv->x <= w->image->width - 1 && uv->y <= w->image->height - 1;
}

static bool has_mark(const tr_photo_marks *out, tr_mark_kind kind, int sheet, int index) {
    for (int i = 0; i < out->n_marks; i++) {
        const tr_mark *m = &out->marks[i];
        if (m->kind == kind && m->sheet == sheet && m->index == index) return true;
    }
    return false;
}

static bool is_repeated_tag(const work *w, int sheet, int tag) {
    const tr_sheet *s = &w->sheets[sheet];
    for (int i = 0; i < w->out->n_strays; i++) {
        const tr_stray_tag *t = &w->out->strays[i];
        if (t->is_repeated && t->id == s->tags[tag].id && strcmp(t->family, s->tag_family) == 0) {
            return true;
        }
    }
    return false;
}

static void measure_missed_tags(const work *w, const tr_sheet_view *view) {
    const tr_sheet *s = &w->sheets[view->sheet];
    for (int k = 0; k < s->n_tags; k++) {
        tr_vec2 start[4];
        bool is_in_view = true;
        if (has_mark(w->out, TR_MARK_TAG, view->sheet, k) || is_repeated_tag(w, view->sheet, k)) {
            continue;
        }
        for (int c = 0; c < 4 && is_in_view; c++) {
            is_in_view = predict(w, view->pose[0].camera_from_plane, tr_tag_corner(&s->tags[k], c),
                                 &start[c]);
        }
        if (is_in_view) measure_tag(w, view->sheet, k, start);
    }
}

/* An upper bound of the edge of the squares about a checker corner: they end before the next mark.
 */
static double square_bound_mm(const tr_sheet *s, int corner) {
    tr_vec2 c = s->corners_mm[corner];
    double bound = SQUARE_TRIES_MM[0];
    for (int i = 0; i < s->n_corners; i++) {
        tr_vec2 d = tr_v2_sub(s->corners_mm[i], c);
        /* Squares are laid along the sheet's axes: the larger of both steps counts. */
        if (i != corner) bound = fmin(bound, fmax(fabs(d.x), fabs(d.y)));
    }
    for (int i = 0; i < s->n_tags; i++) {
        tr_vec2 d = tr_v2_sub(s->tags[i].centre_mm, c);
        bound = fmin(bound, fmax(1, fmax(fabs(d.x), fabs(d.y)) - s->tags[i].size_mm / 2));
    }
    return bound;
}

/* What a checker corner's fit does not know of its error. The size of a lone corner's squares is
   not known: where they are low in the image, the window may have reached over their ends. */
static double corner_floor(tr_vec2 along_x_px, tr_vec2 along_y_px) {
    double height = fabs(tr_v2_cross(along_x_px, along_y_px)) /
                    fmax(tr_v2_norm(along_x_px), tr_v2_norm(along_y_px));
    double lowness = fmax(1, LOW_SQUARE_PX / height);
    return CORNER_FLOOR_PX * lowness * lowness;
}

static bool measure_corner(const work *w, int sheet, tr_pose pose, int corner) {
    const tr_sheet *s = &w->sheets[sheet];
    tr_vec2 c = s->corners_mm[corner];
    tr_vec2 at;
    double bound = square_bound_mm(s, corner);
    if (!predict(w, pose, c, &at)) return false;
    for (size_t i = 0; i < sizeof SQUARE_TRIES_MM / sizeof *SQUARE_TRIES_MM; i++) {
        bool is_last = i + 1 == sizeof SQUARE_TRIES_MM / sizeof *SQUARE_TRIES_MM;
        double square = fmin(SQUARE_TRIES_MM[i], bound);
        if (!is_last && SQUARE_TRIES_MM[i + 1] >= bound)
            continue; /* the bound itself comes later */
        tr_vec2 x;
        tr_vec2 y;
        tr_checker found;
        if (!predict(w, pose, tr_v2(c.x + square, c.y), &x) ||
            !predict(w, pose, tr_v2(c.x, c.y + square), &y)) {
            continue;
        }
        x = tr_v2_sub(x, at);
        y = tr_v2_sub(y, at);
        double reach = fmin(CORNER_REACH_PX, 0.4 * fmin(tr_v2_norm(x), tr_v2_norm(y)));
        if (!tr_checker_measure(w->image, at, x, y, reach, &found)) continue;
        if (found.turn_rad > MAX_TURN_RAD) continue;
        tr_mark *m = &w->out->marks[w->out->n_marks++];
        *m = (tr_mark){.kind = TR_MARK_CORNER, .sheet = sheet, .index = corner, .n_points = 1};
        m->p_sheet_mm[0] = c;
        m->uv_px[0] = found.uv_px;
        memcpy(m->covariance, found.covariance, sizeof found.covariance);
        double floor_px = corner_floor(x, y);
        m->covariance[0] += floor_px * floor_px;
        m->covariance[3] += floor_px * floor_px;
        m->sigma_px = found.sigma_px;
        m->contrast = 2 * found.contrast;
        return true;
    }
    return false;
}

/* Plain ground about a disc: up to the next mark, or the edge of the face. Squares about a checker
   corner are of unknown size. */
static double room_about_disc(const tr_sheet *s, int disc) {
    const tr_disc *d = &s->discs[disc];
    tr_vec2 c = d->centre_mm;
    double room =
        fmin(s->width_mm / 2 - fabs(c.x), s->height_mm / 2 - fabs(c.y)) - d->diameter_mm / 2;
    if (d->is_white) room = fmin(room, (TR_DISC_GROUND - 1) / 2 * d->diameter_mm);
    for (int i = 0; i < s->n_discs; i++) {
        const tr_disc *other = &s->discs[i];
        double apart = tr_v2_norm(tr_v2_sub(other->centre_mm, c));
        if (i == disc) continue;
        room = fmin(room, apart - (d->diameter_mm + other->diameter_mm) / 2);
    }
    for (int i = 0; i < s->n_tags; i++) {
        room = fmin(room, tr_tag_distance(&s->tags[i], c) - d->diameter_mm / 2);
    }
    for (int i = 0; i < s->n_corners; i++) {
        double apart = tr_v2_norm(tr_v2_sub(s->corners_mm[i], c));
        room = fmin(room, (apart - d->diameter_mm / 2) / 2);
    }
    return fmax(0, room);
}

static void measure_disc(const work *w, int sheet, tr_pose pose, int disc) {
    const tr_sheet *s = &w->sheets[sheet];
    const tr_disc *d = &s->discs[disc];
    tr_disc_fit found;
    tr_disc_view sought = {.camera_from_sheet = pose,
                           .centre_mm = d->centre_mm,
                           .diameter_mm = d->diameter_mm,
                           .is_white = d->is_white,
                           .room_mm = room_about_disc(s, disc),
                           .reach_px = DISC_REACH_PX};
    if (!tr_disc_measure(w->image, w->lens, &sought, &found)) return;
    tr_mark *m = &w->out->marks[w->out->n_marks++];
    *m = (tr_mark){.kind = TR_MARK_DISC, .sheet = sheet, .index = disc, .n_points = 1};
    m->p_sheet_mm[0] = d->centre_mm;
    m->uv_px[0] = found.uv_px;
    memcpy(m->covariance, found.covariance, sizeof found.covariance);
    m->covariance[0] += DISC_FLOOR_PX * DISC_FLOOR_PX;
    m->covariance[3] += DISC_FLOOR_PX * DISC_FLOOR_PX;
    m->sigma_px = found.sigma_px;
    m->contrast = found.contrast;
}

static void measure_artwork(const work *w, int sheet, tr_pose camera_from_sheet) {
    for (int k = 0; k < w->sheets[sheet].n_corners; k++) {
        if (!has_mark(w->out, TR_MARK_CORNER, sheet, k))
            measure_corner(w, sheet, camera_from_sheet, k);
    }
    for (int k = 0; k < w->sheets[sheet].n_discs; k++) {
        if (!has_mark(w->out, TR_MARK_DISC, sheet, k)) measure_disc(w, sheet, camera_from_sheet, k);
    }
}

/* All that a sheet's first pose predicts and that is not measured yet, and its pose once more with
   all of it: a wider base, and less doubt which way the sheet tilts. */
static void complete_sheet(const work *w, int sheet) {
    tr_sheet_view *view = &w->out->views[w->out->n_views];
    if (!place_sheet(w, sheet, view)) return;
    measure_missed_tags(w, view);
    measure_artwork(w, sheet, view->pose[0].camera_from_plane);
    if (place_sheet(w, sheet, view)) w->out->n_views++;
}

/* ---- what other photos predict ---- */

/* How far beyond the tag a window about its predicted place reaches: a part of its size, and px. */
static const double WINDOW_PART = 0.6;
static const double WINDOW_PX = 32;

static tr_window window_about(const tr_image *image, const tr_vec2 corner_px[4]) {
    tr_vec2 lo = corner_px[0];
    tr_vec2 hi = corner_px[0];
    for (int k = 1; k < 4; k++) {
        lo = tr_v2(fmin(lo.x, corner_px[k].x), fmin(lo.y, corner_px[k].y));
        hi = tr_v2(fmax(hi.x, corner_px[k].x), fmax(hi.y, corner_px[k].y));
    }
    double grow = WINDOW_PART * fmax(hi.x - lo.x, hi.y - lo.y) + WINDOW_PX;
    return (tr_window){(int)fmax(0, lo.x - grow), (int)fmax(0, lo.y - grow),
                       (int)fmin(image->width, hi.x + grow + 1),
                       (int)fmin(image->height, hi.y + grow + 1)};
}

/* A tag near its predicted place; where it is not just there, it may have been moved: what stands
   nearby is read. */
static bool seek_tag(const work *w, int sheet, int tag, const tr_vec2 predicted_px[4],
                     tr_error *err) {
    tr_detections seen = {0};
    if (measure_tag(w, sheet, tag, predicted_px) == TR_TAG_MEASURED) return true;
    bool ok =
        tr_finder_see_in(w->finder, w->image, window_about(w->image, predicted_px), &seen, err);
    for (int i = 0; i < seen.n && ok; i++) {
        int at_sheet;
        int at_tag;
        if (!tr_finder_identify(w->finder, &seen.items[i], &at_sheet, &at_tag)) continue;
        if (at_sheet != sheet || at_tag != tag) continue;
        if (times_seen(&seen, &seen.items[i]) == 1)
            measure_tag(w, sheet, tag, seen.items[i].corner_px);
        else if (!is_repeated_tag(w, sheet, tag))
            add_stray(w, &seen.items[i])->is_repeated = true;
    }
    free(seen.items);
    return ok;
}

/* Seen from behind, or so flat that nothing could be measured. */
static bool is_in_sight(const tr_vec2 corner_px[4]) {
    tr_vec2 a = tr_v2_sub(corner_px[2], corner_px[0]);
    tr_vec2 b = tr_v2_sub(corner_px[3], corner_px[1]);
    /* Corners run anticlockwise on the sheet, y up, and so clockwise where v points down. */
    return tr_v2_cross(a, b) < -2 * TR_TAG_MIN_PX * TR_TAG_MIN_PX;
}

static bool seek_sheet(const work *w, const tr_sheet_prediction *p, tr_error *err) {
    const tr_sheet *s = &w->sheets[p->sheet];
    for (int k = 0; k < s->n_tags; k++) {
        tr_vec2 at[4];
        bool is_in_view = true;
        if (has_mark(w->out, TR_MARK_TAG, p->sheet, k) || is_repeated_tag(w, p->sheet, k)) continue;
        for (int c = 0; c < 4 && is_in_view; c++) {
            is_in_view = predict(w, p->camera_from_sheet, tr_tag_corner(&s->tags[k], c), &at[c]);
        }
        if (is_in_view && is_in_sight(at) && !seek_tag(w, p->sheet, k, at, err)) return false;
    }
    return true;
}

/* ---- all of it ---- */

static int compare_marks(const void *a, const void *b) {
    const tr_mark *x = a;
    const tr_mark *y = b;
    if (x->sheet != y->sheet) return x->sheet < y->sheet ? -1 : 1;
    if (x->kind != y->kind) return x->kind < y->kind ? -1 : 1;
    return (x->index > y->index) - (x->index < y->index);
}

static void release_work(work *w) {
    free(w->p);
    free(w->uv);
    free(w->is_rejected);
}

/* w: filled in but for its rooms. */
static bool make_room(work *w, tr_error *err) {
    int most_points = 0;
    int n_marks = 0;
    for (int i = 0; i < w->n_sheets; i++) {
        int n = 3 * w->sheets[i].n_tags + tr_sheet_n_marks(&w->sheets[i]);
        most_points = n > most_points ? n : most_points;
        n_marks += tr_sheet_n_marks(&w->sheets[i]);
    }
    w->p = calloc((size_t)most_points + 1, sizeof *w->p);
    w->uv = calloc((size_t)most_points + 1, sizeof *w->uv);
    w->is_rejected = calloc((size_t)n_marks + 1, sizeof *w->is_rejected);
    if (w->p && w->uv && w->is_rejected) return true;
    release_work(w);
    return tr_fail_memory(err);
}

static bool begin_work(tr_marks_finder *f, const tr_image *image, const tr_lens *lens,
                       tr_photo_marks *out, work *w, tr_error *err) {
    *w = (work){.finder = f, .image = image, .lens = lens, .out = out};
    w->sheets = tr_finder_sheets(f, &w->n_sheets);
    return make_room(w, err);
}

/* Room for every mark of the sheets, and for every tag of theirs as a stray beside the detections.
 */
static bool allocate(const work *w, int n_detections, tr_error *err) {
    tr_photo_marks *out = w->out;
    int n_marks = 0;
    int n_tags = 0;
    for (int i = 0; i < w->n_sheets; i++) {
        n_marks += tr_sheet_n_marks(&w->sheets[i]);
        n_tags += w->sheets[i].n_tags;
    }
    out->marks = calloc((size_t)n_marks + 1, sizeof *out->marks);
    out->strays = calloc((size_t)(n_detections + n_tags) + 1, sizeof *out->strays);
    out->views = calloc((size_t)w->n_sheets + 1, sizeof *out->views);
    if (!out->marks || !out->strays || !out->views) return tr_fail_memory(err);
    return true;
}

static void sort_marks(tr_photo_marks *out) {
    qsort(out->marks, (size_t)out->n_marks, sizeof *out->marks, compare_marks);
}

bool tr_marks_measure(tr_marks_finder *f, const tr_image *image, const tr_lens *lens,
                      tr_photo_marks *out, tr_error *err) {
    work w;
    tr_photo_marks empty = {.seen = out->seen,
                            .searched_factor = out->searched_factor,
                            .is_mirrored = out->is_mirrored};
    out->seen = (tr_detections){0};
    tr_photo_marks_release(out);
    *out = empty;
    if (!begin_work(f, image, lens, out, &w, err)) return false;
    bool ok = allocate(&w, out->seen.n, err);
    if (ok) {
        measure_seen_tags(&w, &out->seen);
        for (int i = 0; i < w.n_sheets; i++) complete_sheet(&w, i);
        sort_marks(out);
    }
    release_work(&w);
    return ok;
}

bool tr_marks_find(tr_marks_finder *f, const tr_image *image, const tr_lens *lens,
                   tr_photo_marks *out, tr_error *err) {
    memset(out, 0, sizeof *out);
    bool ok = look(f, image, out, err) && tr_marks_measure(f, image, lens, out, err);
    if (!ok) tr_photo_marks_release(out);
    return ok;
}

/* Whether a tag that was seen says more than the marks do: it is of a sheet, and was not measured
   there. */
static bool is_news(const tr_marks_finder *f, const tr_photo_marks *marks, const tr_detection *t) {
    int sheet;
    int tag;
    if (!tr_finder_identify(f, t, &sheet, &tag)) return false;
    for (int i = 0; i < marks->n_marks; i++) {
        const tr_mark *m = &marks->marks[i];
        if (m->kind != TR_MARK_TAG || m->sheet != sheet || m->index != tag) continue;
        double size = tr_v2_norm(tr_v2_sub(m->uv_px[0], m->uv_px[2]));
        if (tr_v2_norm(tr_v2_sub(m->uv_px[0], t->corner_px[0])) < size / 2) return false;
    }
    return true;
}

bool tr_marks_search(tr_marks_finder *f, const tr_image *image, const tr_lens *lens, int factor,
                     tr_window part, tr_photo_marks *marks, bool *has_more, tr_error *err) {
    int n_before = marks->seen.n;
    marks->searched_factor = factor;
    *has_more = false;
    if (!(factor > 1 ? tr_finder_see_part(f, image, factor, part, &marks->seen, err)
                     : tr_finder_search_in(f, image, part, &marks->seen, err))) {
        return false;
    }
    for (int i = n_before; i < marks->seen.n; i++) {
        *has_more = *has_more || is_news(f, marks, &marks->seen.items[i]);
    }
    return !*has_more || tr_marks_measure(f, image, lens, marks, err);
}

static int view_of(const tr_photo_marks *marks, int sheet) {
    for (int i = 0; i < marks->n_views; i++) {
        if (marks->views[i].sheet == sheet) return i;
    }
    return -1;
}

bool tr_marks_seek(tr_marks_finder *f, const tr_image *image, const tr_lens *lens,
                   const tr_sheet_prediction *predictions, int n, tr_photo_marks *marks,
                   tr_error *err) {
    work w;
    bool ok = true;
    if (!marks->marks) return true;
    if (!begin_work(f, image, lens, marks, &w, err)) return false;
    for (int i = 0; i < n && ok; i++) {
        int n_before = marks->n_marks;
        if (view_of(marks, predictions[i].sheet) >= 0) continue;
        ok = seek_sheet(&w, &predictions[i], err);
        if (ok && marks->n_marks > n_before) complete_sheet(&w, predictions[i].sheet);
    }
    sort_marks(marks);
    release_work(&w);
    return ok;
}

bool tr_marks_add_artwork(const tr_sheet *sheets, int n_sheets, const tr_image *image,
                          const tr_lens *lens, const tr_sheet_prediction *prediction,
                          tr_photo_marks *marks, tr_error *err) {
    work w = {.sheets = sheets, .n_sheets = n_sheets, .image = image, .lens = lens, .out = marks};
    if (!marks->marks && !allocate(&w, 0, err)) return false;
    measure_artwork(&w, prediction->sheet, prediction->camera_from_sheet);
    sort_marks(marks);
    return true;
}

bool tr_marks_place(const tr_sheet *sheets, int n_sheets, const tr_lens *lens,
                    tr_photo_marks *marks, tr_error *err) {
    work w = {.sheets = sheets, .n_sheets = n_sheets, .lens = lens, .out = marks};
    int n = 0;
    if (!make_room(&w, err)) return false;
    for (int i = 0; i < marks->n_views; i++) {
        tr_sheet_view view;
        if (place_sheet(&w, marks->views[i].sheet, &view)) marks->views[n++] = view;
    }
    marks->n_views = n;
    release_work(&w);
    return true;
}

void tr_photo_marks_release(tr_photo_marks *marks) {
    free(marks->seen.items);
    free(marks->marks);
    free(marks->strays);
    free(marks->views);
    memset(marks, 0, sizeof *marks);
}
