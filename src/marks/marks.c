#include "marks/marks.h"

#include <stdlib.h>
#include <string.h>

#include <apriltag/apriltag.h>

#include "marks/checker.h"
#include "marks/family.h"
#include "marks/tag.h"

/* Tags are sought on the photo shrunk until its shorter side has about this many pixels. */
static const int SEARCH_SIDE_PX = 1500;
/* libapriltag 3.3.0 can crash on images of few pixels (after shrinking). */
static const int MIN_SIDE_PX = 64;
/* At 48 bytes each 240 MB; tag36h11 has 0.76 million. */
static const double MAX_CODES_LISTED = 5e6;

/* A tag of a sheet agrees with the sheet's pose when its corners lie this close to where they
   belong, as a part of the tag's size in the image. */
static const double AGREE_PART = 0.12;

/* How far a checker corner may lie from its prediction. */
static const double CORNER_REACH_PX = 6;
/* Sizes to try for the squares about a lone checker corner, whose size no file tells. */
static const double SQUARE_TRIES_MM[] = {100, 60, 40, 25, 15};
/* Error of a checker corner beyond its fit's own, see DEVELOPERS.md. */
static const double CORNER_FLOOR_PX = 0.015;
static const double LOW_SQUARE_PX = 5;

typedef struct {
    apriltag_family_t *family;
    const char *name;
} used_family;

struct tr_marks_finder {
    const tr_sheet *sheets;
    int n_sheets;
    apriltag_detector_t *detector;
    used_family *families;
    int n_families;
};

/* A tag as libapriltag saw it, in our pixel convention. */
typedef struct {
    int family; /* index into the finder's */
    int id;
    tr_vec2 corner_px[4];
} sighting;

typedef struct {
    sighting *items;
    int n, capacity;
} sightings;

/* ---- the finder ---- */

static int find_family(const tr_marks_finder *f, const char *name) {
    for (int i = 0; i < f->n_families; i++) {
        if (strcmp(f->families[i].name, name) == 0) return i;
    }
    return -1;
}

/* How many wrong bits of a code libapriltag is to correct: 2, but for the largest families 1. It
   lists all codes with that many wrong bits, three places each, which for 65,535 codes of 49 bits
   would be 7 GB a thread. */
static int bits_to_correct(const apriltag_family_t *family) {
    double of_each_code = 1.0 + family->nbits * family->nbits;
    return family->ncodes * of_each_code > MAX_CODES_LISTED ? 1 : 2;
}

tr_marks_finder *tr_marks_finder_new(const tr_sheet *sheets, int n_sheets, tr_error *err) {
    tr_marks_finder *f = calloc(1, sizeof *f);
    if (!f) goto no_memory;
    f->sheets = sheets;
    f->n_sheets = n_sheets;
    f->families = calloc((size_t)n_sheets + 1, sizeof *f->families);
    f->detector = apriltag_detector_create();
    if (!f->families || !f->detector) goto no_memory;
    f->detector->nthreads = 1;
    for (int i = 0; i < n_sheets; i++) {
        if (sheets[i].n_tags == 0 || find_family(f, sheets[i].tag_family) >= 0) continue;
        apriltag_family_t *family = tr_tag_family_new(sheets[i].tag_family, err);
        if (!family) goto fail;
        f->families[f->n_families++] = (used_family){family, sheets[i].tag_family};
        apriltag_detector_add_family_bits(f->detector, family, bits_to_correct(family));
        if (!family->impl) goto no_memory; /* the table of its codes */
    }
    return f;
no_memory:
    tr_fail_memory(err);
fail:
    tr_marks_finder_free(f);
    return NULL;
}

void tr_marks_finder_free(tr_marks_finder *f) {
    if (!f) return;
    if (f->detector) {
        apriltag_detector_clear_families(f->detector);
        apriltag_detector_destroy(f->detector);
    }
    for (int i = 0; i < f->n_families; i++) tr_tag_family_free(f->families[i].family);
    free(f->families);
    free(f);
}

/* ---- seeing tags ---- */

/* Whether one of the first n sightings, those of an earlier pass, is the same tag: closer than half its
   size. Within a pass libapriltag gives each tag once, so that two which lie close are two. */
static bool is_known(const sightings *s, int n, const sighting *t) {
    for (int i = 0; i < n; i++) {
        const sighting *o = &s->items[i];
        if (o->family != t->family || o->id != t->id) continue;
        double size = tr_v2_norm(tr_v2_sub(o->corner_px[0], o->corner_px[2]));
        if (tr_v2_norm(tr_v2_sub(o->corner_px[0], t->corner_px[0])) < size / 2) return true;
    }
    return false;
}

static bool add_sighting(sightings *s, const sighting *t, tr_error *err) {
    if (s->n == s->capacity) {
        int capacity = s->capacity ? 2 * s->capacity : 32;
        sighting *items = realloc(s->items, (size_t)capacity * sizeof *items);
        if (!items) return tr_fail_memory(err);
        s->items = items;
        s->capacity = capacity;
    }
    s->items[s->n++] = *t;
    return true;
}

static bool detect(tr_marks_finder *f, const tr_image *image, int decimate, sightings *out,
                   tr_error *err) {
    int shorter = image->width < image->height ? image->width : image->height;
    if (shorter / decimate < MIN_SIDE_PX || f->n_families == 0) return true;
    image_u8_t view = {
        .width = image->width, .height = image->height, .stride = image->width, .buf = image->px};
    f->detector->quad_decimate = (float)decimate;
    int n_before = out->n;
    zarray_t *found = apriltag_detector_detect(f->detector, &view);
    if (!found) return tr_fail_memory(err);
    bool ok = true;
    for (int i = 0; i < zarray_size(found) && ok; i++) {
        apriltag_detection_t *d;
        zarray_get(found, i, &d);
        sighting t = {.family = find_family(f, d->family->name), .id = d->id};
        /* libapriltag's (0, 0) is the outer corner of the first pixel, ours its centre. */
        for (int k = 0; k < 4; k++) t.corner_px[k] = tr_v2(d->p[k][0] - 0.5, d->p[k][1] - 0.5);
        if (t.family >= 0 && !is_known(out, n_before, &t)) ok = add_sighting(out, &t, err);
    }
    apriltag_detections_destroy(found);
    return ok;
}

/* The sheet and the tag on it that a sighting shows; false where it belongs to none. */
static bool identify(const tr_marks_finder *f, const sighting *t, int *sheet, int *tag) {
    for (int i = 0; i < f->n_sheets; i++) {
        const tr_sheet *s = &f->sheets[i];
        if (s->n_tags == 0 || strcmp(s->tag_family, f->families[t->family].name) != 0) continue;
        for (int k = 0; k < s->n_tags; k++) {
            if (s->tags[k].id == t->id) {
                *sheet = i;
                *tag = k;
                return true;
            }
        }
    }
    return false;
}

static bool all_sheets_seen(const tr_marks_finder *f, const sightings *s) {
    for (int i = 0; i < f->n_sheets; i++) {
        bool is_seen = f->sheets[i].n_tags == 0;
        for (int k = 0; k < s->n && !is_seen; k++) {
            int sheet;
            int tag;
            is_seen = identify(f, &s->items[k], &sheet, &tag) && sheet == i;
        }
        if (!is_seen) return false;
    }
    return true;
}

static bool look(tr_marks_finder *f, const tr_image *image, sightings *s, tr_error *err) {
    int shorter = image->width < image->height ? image->width : image->height;
    int decimate = shorter / SEARCH_SIDE_PX;
    if (decimate < 1) decimate = 1;
    if (!detect(f, image, decimate, s, err)) return false;
    /* Far and flat tags are lost on the smaller image. */
    if (decimate > 1 && !all_sheets_seen(f, s)) return detect(f, image, 1, s, err);
    return true;
}

/* True where the photo, mirrored left to right, shows tags. */
static bool looks_mirrored(tr_marks_finder *f, const tr_image *image, bool *is_mirrored,
                           tr_error *err) {
    tr_image flipped;
    sightings s = {0};
    if (!tr_image_init(&flipped, image->width, image->height, err)) return false;
    for (int v = 0; v < image->height; v++) {
        const uint8_t *from = tr_image_row(image, v);
        uint8_t *to = flipped.px + (long)v * image->width;
        for (int u = 0; u < image->width; u++) to[u] = from[image->width - 1 - u];
    }
    bool ok = look(f, &flipped, &s, err);
    *is_mirrored = s.n > 0;
    free(s.items);
    tr_image_release(&flipped);
    return ok;
}

/* ---- measuring ---- */

/* Everything that grows while one photo is worked on. */
typedef struct {
    tr_marks_finder *finder;
    const tr_image *image;
    const tr_lens *lens;
    tr_photo_marks *out;
} work;

static bool measure_tag(const work *w, int sheet, int tag, const tr_vec2 start_px[4]) {
    const tr_sheet *s = &w->finder->sheets[sheet];
    const tr_tag *t = &s->tags[tag];
    tr_tag_pattern pattern;
    tr_tag_fit fit;
    int family = find_family(w->finder, s->tag_family);
    if (!tr_tag_pattern_make(w->finder->families[family].family, t->id, &pattern)) return false;
    if (!tr_tag_measure(w->image, w->lens, &pattern, start_px, &fit)) return false;
    tr_mark *m = &w->out->marks[w->out->n_marks++];
    *m = (tr_mark){.kind = TR_MARK_TAG, .sheet = sheet, .index = tag, .n_points = 4};
    m->n_cells = pattern.border;
    for (int k = 0; k < 4; k++) m->p_sheet_mm[k] = tr_tag_corner(t, k);
    memcpy(m->uv_px, fit.corner_px, sizeof m->uv_px);
    memcpy(m->covariance, fit.covariance, sizeof m->covariance);
    m->sigma_px = fmax(fit.sigma_px[0], fit.sigma_px[1]);
    m->contrast = fit.contrast;
    return true;
}

static void add_stray(const work *w, const sighting *t, bool is_foreign, bool is_repeated) {
    tr_stray_tag *s = &w->out->strays[w->out->n_strays++];
    *s = (tr_stray_tag){.id = t->id, .is_foreign = is_foreign, .is_repeated = is_repeated};
    strncpy(s->family, w->finder->families[t->family].name, sizeof s->family - 1);
    for (int k = 0; k < 4; k++) {
        s->centre_px = tr_v2_add(s->centre_px, tr_v2_scale(0.25, t->corner_px[k]));
    }
}

static void measure_seen_tags(const work *w, const sightings *s) {
    for (int i = 0; i < s->n; i++) {
        const sighting *t = &s->items[i];
        int sheet;
        int tag;
        int times = 0;
        for (int k = 0; k < s->n; k++) {
            times += s->items[k].family == t->family && s->items[k].id == t->id;
        }
        if (!identify(w->finder, t, &sheet, &tag))
            add_stray(w, t, true, false);
        else if (times > 1)
            add_stray(w, t, false, true);
        else if (!measure_tag(w, sheet, tag, t->corner_px))
            add_stray(w, t, false, false);
    }
}

/* ---- a sheet's first pose ---- */

static int gather(const tr_photo_marks *out, int sheet, const bool *is_left_out, tr_vec2 *p,
                  tr_vec2 *uv) {
    int n = 0;
    for (int i = 0; i < out->n_marks; i++) {
        const tr_mark *m = &out->marks[i];
        if (m->sheet != sheet || (is_left_out && is_left_out[i])) continue;
        for (int k = 0; k < m->n_points; k++) {
            p[n] = m->p_sheet_mm[k];
            uv[n++] = m->uv_px[k];
        }
    }
    return n;
}

/* Whether a mark lies where the pose puts it. */
static bool agrees(const tr_lens *lens, tr_pose pose, const tr_mark *m) {
    double worst = 0;
    for (int k = 0; k < m->n_points; k++) {
        tr_vec2 uv;
        tr_vec3 p = tr_v3(m->p_sheet_mm[k].x, m->p_sheet_mm[k].y, 0);
        if (!tr_lens_project(lens, tr_pose_apply(pose, p), &uv, NULL, NULL)) return false;
        worst = fmax(worst, tr_v2_norm(tr_v2_sub(uv, m->uv_px[k])));
    }
    return worst < AGREE_PART * tr_v2_norm(tr_v2_sub(m->uv_px[0], m->uv_px[2])) + 2;
}

/* Marks the tags of the sheet that do not go together with the most others. Each tag's own poses
   are tried as the sheet's. */
static void leave_out_misfits(const work *w, int sheet, bool *is_left_out) {
    const tr_photo_marks *out = w->out;
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
                         agrees(w->lens, pose[k].camera_from_plane, &out->marks[j]);
            }
            if (count > best_count) {
                best_count = count;
                best = pose[k].camera_from_plane;
            }
        }
    }
    for (int i = 0; i < out->n_marks; i++) {
        if (out->marks[i].sheet != sheet) continue;
        /* Where each tag agrees only with itself, nothing is gained by choosing. */
        is_left_out[i] = best_count > 1 && !agrees(w->lens, best, &out->marks[i]);
    }
}

static bool place_sheet(const work *w, int sheet, tr_vec2 *p, tr_vec2 *uv, bool *is_left_out,
                        tr_sheet_view *view) {
    leave_out_misfits(w, sheet, is_left_out);
    int n = gather(w->out, sheet, is_left_out, p, uv);
    if (n < 4) return false;
    *view = (tr_sheet_view){.sheet = sheet, .n_points = n};
    view->n_poses = tr_planar_poses(w->lens, p, uv, n, view->pose);
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
    const tr_sheet *s = &w->finder->sheets[sheet];
    for (int i = 0; i < w->out->n_strays; i++) {
        const tr_stray_tag *t = &w->out->strays[i];
        if (t->is_repeated && t->id == s->tags[tag].id && strcmp(t->family, s->tag_family) == 0) {
            return true;
        }
    }
    return false;
}

static void measure_missed_tags(const work *w, const tr_sheet_view *view) {
    const tr_sheet *s = &w->finder->sheets[view->sheet];
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

static bool measure_corner(const work *w, const tr_sheet_view *view, int corner) {
    const tr_sheet *s = &w->finder->sheets[view->sheet];
    tr_pose pose = view->pose[0].camera_from_plane;
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
        tr_mark *m = &w->out->marks[w->out->n_marks++];
        *m =
            (tr_mark){.kind = TR_MARK_CORNER, .sheet = view->sheet, .index = corner, .n_points = 1};
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

/* ---- all of it ---- */

static int compare_marks(const void *a, const void *b) {
    const tr_mark *x = a;
    const tr_mark *y = b;
    if (x->sheet != y->sheet) return x->sheet < y->sheet ? -1 : 1;
    if (x->kind != y->kind) return x->kind < y->kind ? -1 : 1;
    return (x->index > y->index) - (x->index < y->index);
}

static bool allocate(const tr_marks_finder *f, int n_sightings, tr_photo_marks *out,
                     tr_error *err) {
    int n_marks = 0;
    for (int i = 0; i < f->n_sheets; i++) n_marks += f->sheets[i].n_tags + f->sheets[i].n_corners;
    out->marks = calloc((size_t)n_marks + 1, sizeof *out->marks);
    out->strays = calloc((size_t)n_sightings + 1, sizeof *out->strays);
    out->views = calloc((size_t)f->n_sheets + 1, sizeof *out->views);
    if (!out->marks || !out->strays || !out->views) return tr_fail_memory(err);
    return true;
}

static bool measure_sheets(const work *w, tr_error *err) {
    const tr_marks_finder *f = w->finder;
    int most_points = 0;
    int most_marks = 0;
    bool ok = false;
    for (int i = 0; i < f->n_sheets; i++) {
        int n = 4 * f->sheets[i].n_tags + f->sheets[i].n_corners;
        most_points = n > most_points ? n : most_points;
        most_marks += f->sheets[i].n_tags + f->sheets[i].n_corners;
    }
    tr_vec2 *p = calloc((size_t)most_points + 1, sizeof *p);
    tr_vec2 *uv = calloc((size_t)most_points + 1, sizeof *uv);
    bool *is_left_out = calloc((size_t)most_marks + 1, sizeof *is_left_out);
    if (!p || !uv || !is_left_out) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < f->n_sheets; i++) {
        tr_sheet_view *view = &w->out->views[w->out->n_views];
        if (!place_sheet(w, i, p, uv, is_left_out, view)) continue;
        measure_missed_tags(w, view);
        for (int k = 0; k < f->sheets[i].n_corners; k++) measure_corner(w, view, k);
        /* Once more, with all marks: a wider base, and less doubt which way the sheet tilts. */
        if (place_sheet(w, i, p, uv, is_left_out, view)) w->out->n_views++;
    }
    qsort(w->out->marks, (size_t)w->out->n_marks, sizeof *w->out->marks, compare_marks);
    ok = true;
out:
    free(p);
    free(uv);
    free(is_left_out);
    return ok;
}

bool tr_marks_find(tr_marks_finder *f, const tr_image *image, const tr_lens *lens,
                   tr_photo_marks *out, tr_error *err) {
    sightings seen = {0};
    bool ok = false;
    memset(out, 0, sizeof *out);
    if (!look(f, image, &seen, err) || !allocate(f, seen.n, out, err)) goto out;
    work w = {f, image, lens, out};
    measure_seen_tags(&w, &seen);
    if (!measure_sheets(&w, err)) goto out;
    if (seen.n == 0 && !looks_mirrored(f, image, &out->is_mirrored, err)) goto out;
    ok = true;
out:
    free(seen.items);
    if (!ok) tr_photo_marks_release(out);
    return ok;
}

void tr_photo_marks_release(tr_photo_marks *marks) {
    free(marks->marks);
    free(marks->strays);
    free(marks->views);
    memset(marks, 0, sizeof *marks);
}
