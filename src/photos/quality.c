#include "photos/quality.h"

#include <stdlib.h>

#include "adjust/adjust.h"
#include "base/median.h"

/* Sharp photos have 0.6 to 1; at 3, many tags are no longer found. */
static const double MAX_SHARPNESS_PX = 2.5;
/* Grey values from black to white; noise of phones in poor light is 2 to 4. */
static const double MIN_CONTRAST = 40;
/* About half of a tag is white. At the end of the scale white has lost its shape, and grows over
   the black. */
enum { CLIPPED = 254 };
static const double MAX_OVEREXPOSED_PART = 0.25;
/* Tags are measured down to 1.8 px a cell, and with few pixels an edge. */
static const double MIN_CELL_PX = 3;
/* Below this, 1 px up or down in the image is five times as far on the floor as 1 px across. */
static const double MIN_ELEVATION_RAD = 12 * TR_RAD_PER_DEG;
/* Two tags; that is what joins two plates. */
enum { MIN_POINTS = 8 };

static double sigma_of(const tr_mark *mark) {
    return mark->sigma_px;
}

static double contrast_of(const tr_mark *mark) {
    return mark->contrast;
}

static double edge_px(const tr_mark *tag, int k) {
    return tr_v2_norm(tr_v2_sub(tag->uv_px[(k + 1) % 4], tag->uv_px[k]));
}

static double tag_px(const tr_mark *tag) {
    return (edge_px(tag, 0) + edge_px(tag, 1) + edge_px(tag, 2) + edge_px(tag, 3)) / 4;
}

static double cell_px(const tr_mark *tag) {
    double shortest = edge_px(tag, 0);
    for (int k = 1; k < 4; k++) shortest = fmin(shortest, edge_px(tag, k));
    return tag->n_cells > 0 ? shortest / tag->n_cells : 0;
}

/* Of what value tells of the marks, or of the tags among them; 0 where there are none. */
static double median_of(const tr_photo_marks *marks, bool only_tags,
                        double (*value)(const tr_mark *mark), double *scratch) {
    int n = 0;
    for (int i = 0; i < marks->n_marks; i++) {
        const tr_mark *m = &marks->marks[i];
        if (!only_tags || m->kind == TR_MARK_TAG) scratch[n++] = value(m);
    }
    return tr_median(scratch, n);
}

/* The pixels from low to high within 0 .. end - 1. */
static void clamp_range(double low, double high, int end, int *first, int *last) {
    *first = (int)fmax(0, fmin(end, floor(low)));
    *last = (int)fmax(-1, fmin(end - 1, ceil(high)));
}

/* In the upright boxes around the tags. */
static double overexposed_part(const tr_photo_marks *marks, const tr_image *image) {
    long n = 0;
    long n_clipped = 0;
    for (int i = 0; i < marks->n_marks; i++) {
        const tr_mark *m = &marks->marks[i];
        if (m->kind != TR_MARK_TAG) continue;
        tr_vec2 low = m->uv_px[0];
        tr_vec2 high = low;
        for (int k = 1; k < 4; k++) {
            low = tr_v2(fmin(low.x, m->uv_px[k].x), fmin(low.y, m->uv_px[k].y));
            high = tr_v2(fmax(high.x, m->uv_px[k].x), fmax(high.y, m->uv_px[k].y));
        }
        int u0, u1, v0, v1;
        clamp_range(low.x, high.x, image->width, &u0, &u1);
        clamp_range(low.y, high.y, image->height, &v0, &v1);
        for (int v = v0; v <= v1; v++) {
            const uint8_t *row = tr_image_row(image, v);
            for (int u = u0; u <= u1; u++) {
                n++;
                n_clipped += row[u] >= CLIPPED;
            }
        }
    }
    return n > 0 ? (double)n_clipped / (double)n : 0;
}

/* From the planar pose of this photo alone: its two solutions differ in the sheet's tilt, but both
   see it under the same angle. */
static bool find_elevation(const tr_photo_marks *marks, const tr_sheet *sheets, double *rad) {
    const tr_sheet_view *view = NULL;
    for (int i = 0; i < marks->n_views; i++) {
        const tr_sheet_view *v = &marks->views[i];
        if (v->n_poses < 1 || sheets[v->sheet].support != TR_ON_FLOOR) continue;
        if (!view || v->n_points > view->n_points) view = v;
    }
    if (!view) return false;
    tr_pose camera_from_sheet = view->pose[0].camera_from_plane;
    tr_vec3 up = tr_m3_column(camera_from_sheet.R, 2);
    tr_vec3 to_camera = tr_v3_scale(-1, camera_from_sheet.t_mm);
    double distance_mm = tr_v3_norm(to_camera);
    if (!(distance_mm > 0)) return false;
    *rad = asin(fmax(-1, fmin(1, tr_v3_dot(up, to_camera) / distance_mm)));
    return true;
}

/* Why the tags of the sheets that were read could not be measured: the most frequent reason.
   TR_FLAW_NO_MARK: none was read. */
static tr_photo_flaw why_unmeasured(const tr_photo_marks *marks) {
    static const tr_photo_flaw FLAWS[TR_TAG_N_OUTCOMES] = {
        [TR_TAG_MEASURED] = TR_FLAW_NO_MARK,         [TR_TAG_OFF_IMAGE] = TR_FLAW_TAGS_CUT,
        [TR_TAG_TOO_SMALL] = TR_FLAW_TAGS_SMALL,     [TR_TAG_FAINT] = TR_FLAW_TAGS_FAINT,
        [TR_TAG_BLURRED] = TR_FLAW_TAGS_BLURRED,     [TR_TAG_UNLIKE] = TR_FLAW_TAGS_COVERED,
        [TR_TAG_UNSETTLED] = TR_FLAW_TAGS_UNSETTLED,
    };
    int count[TR_TAG_N_OUTCOMES] = {0};
    int most = 0;
    for (int i = 0; i < marks->n_strays; i++) {
        const tr_stray_tag *t = &marks->strays[i];
        if (!t->is_foreign && !t->is_repeated) count[t->why]++;
    }
    for (int k = 1; k < TR_TAG_N_OUTCOMES; k++) {
        if (count[k] > count[most]) most = k;
    }
    return FLAWS[most];
}

static tr_photo_flaw why_unusable(const tr_photo_marks *marks) {
    if (marks->is_mirrored) return TR_FLAW_MIRRORED;
    return marks->n_marks > 0 ? TR_FLAW_NONE : why_unmeasured(marks);
}

/* The worst first: what blurs or darkens the whole photo explains small and few marks, too. */
static tr_photo_flaw why_weak(const tr_photo_quality *q, int n_points) {
    if (q->sharpness_px > MAX_SHARPNESS_PX) return TR_FLAW_BLURRED;
    if (q->contrast < MIN_CONTRAST) return TR_FLAW_DIM;
    if (q->has_tags && q->overexposed_part > MAX_OVEREXPOSED_PART) return TR_FLAW_OVEREXPOSED;
    if (q->has_tags && q->cell_px < MIN_CELL_PX) return TR_FLAW_FAR;
    if (q->has_elevation && q->elevation_rad < MIN_ELEVATION_RAD) return TR_FLAW_FLAT_VIEW;
    return n_points < MIN_POINTS ? TR_FLAW_FEW_MARKS : TR_FLAW_NONE;
}

bool tr_photo_judge(const tr_photo_marks *marks, const tr_sheet *sheets, const tr_image *image,
                    tr_photo_quality *out, tr_error *err) {
    *out = (tr_photo_quality){.grade = TR_PHOTO_UNUSABLE, .flaw = why_unusable(marks)};
    if (out->flaw != TR_FLAW_NONE) return true;
    double *scratch = malloc((size_t)marks->n_marks * sizeof *scratch);
    if (!scratch) return tr_fail_memory(err);
    int n_points = 0;
    for (int i = 0; i < marks->n_marks; i++) {
        n_points += marks->marks[i].n_points;
        out->has_tags = out->has_tags || marks->marks[i].kind == TR_MARK_TAG;
    }
    out->has_marks = true;
    out->sharpness_px = median_of(marks, false, sigma_of, scratch);
    out->contrast = median_of(marks, false, contrast_of, scratch);
    out->tag_px = median_of(marks, true, tag_px, scratch);
    out->cell_px = median_of(marks, true, cell_px, scratch);
    out->overexposed_part = overexposed_part(marks, image);
    out->has_elevation = find_elevation(marks, sheets, &out->elevation_rad);
    out->flaw = why_weak(out, n_points);
    out->grade = out->flaw != TR_FLAW_NONE ? TR_PHOTO_WEAK : TR_PHOTO_GOOD;
    free(scratch);
    return true;
}

const char *tr_photo_grade_name(tr_photo_grade grade) {
    static const char *const NAMES[] = {"unusable", "weak", "good"};
    return NAMES[grade];
}
