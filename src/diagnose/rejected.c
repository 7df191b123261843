#include "diagnose/rejected.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "diagnose/moved.h"
#include "diagnose/photo_names.h"

/* Share of a sheet's marks in one photo, and of all marks, that may be rejected. */
static const double REJECTED_OF_VIEW = 0.34;
static const double REJECTED_OF_ALL = 0.10;

/* Points of one sheet in one photo: in all, and rejected. */
typedef struct {
    int all, rejected;
} point_count;

/* Of every view: [sheet * n_photos + photo]. NULL: memory ran out. */
static point_count *count_points(const tr_adjustment *adj) {
    const tr_network *net = &adj->net;
    point_count *counts = calloc((size_t)net->n_sheets * (size_t)net->n_photos + 1, sizeof *counts);
    for (int i = 0; i < net->n_observations && counts; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!adj->photo_placed[o->photo] || !adj->sheet_placed[o->sheet]) continue;
        point_count *c = &counts[o->sheet * net->n_photos + o->photo];
        c->all += o->n_points;
        if (!o->is_used) c->rejected += o->n_points;
    }
    return counts;
}

/* Photos of one sheet in which much of it was rejected. */
static bool note_views(const tr_adjust_input *in, const tr_adjustment *adj, int sheet,
                       const point_count *counts, tr_findings *findings, tr_error *err) {
    bool is_listed[TR_MAX_PHOTOS] = {false};
    int n = 0;
    if (tr_findings_have(findings, TR_FOUND_SHEET_MOVED)) return true; /* said already */
    for (int i = 0; i < in->n_photos; i++) {
        point_count c = counts[sheet * in->n_photos + i];
        if (c.all == 0 || c.rejected <= REJECTED_OF_VIEW * c.all) continue;
        is_listed[i] = true;
        n++;
    }
    if (n == 0) return true;
    bool is_moved;
    if (!tr_moved_report_displaced(in, adj, sheet, is_listed, &is_moved, findings, err))
        return false;
    if (is_moved) return true;
    char *names = tr_photo_names(in, is_listed, err);
    bool ok = names && tr_note(MARKS_CONTRADICT, findings, err, in->sheets[sheet].id, names);
    free(names);
    return ok;
}

/* How often a tag was seen, and rejected, and how far off it lay then at most. */
typedef struct {
    int all, rejected;
    double away_mm;
} tag_count;

/* Counts of all tags of all sheets; first: where each sheet's begin. */
static void count_tags(const tr_adjust_input *in, const tr_adjustment *adj, const int *first,
                       tag_count *counts) {
    for (int i = 0; i < adj->net.n_observations; i++) {
        const tr_net_obs *o = &adj->net.observations[i];
        const tr_sheet *s = &in->sheets[o->sheet];
        tr_vec2 r[4];
        int t = o->mark;
        if (!adj->photo_placed[o->photo] || !adj->sheet_placed[o->sheet]) continue;
        if (t >= s->n_tags) continue; /* no tag */
        tag_count *c = &counts[first[o->sheet] + t];
        c->all++;
        c->rejected += !o->is_used;
        if (o->is_used || !tr_network_residual(&adj->net, i, r, NULL)) continue;
        double px = tr_v2_norm(tr_v2_sub(o->uv_px[0], o->uv_px[1]));
        c->away_mm = fmax(c->away_mm, tr_v2_norm(r[0]) * s->tags[t].size_mm / fmax(px, 1));
    }
}

/* A tag that is rejected wherever it was seen is not where its sheet file says. */
static bool note_tags(const tr_sheet *s, const tag_count *counts, tr_findings *findings,
                      tr_error *err) {
    for (int t = 0; t < s->n_tags; t++) {
        const tag_count *c = &counts[t];
        if (c->all < 2 || 2 * c->rejected <= c->all) continue;
        if (!tr_note(TAG_MISPLACED, findings, err, s->tags[t].id, s->id, fmax(1, c->away_mm))) {
            return false;
        }
    }
    return true;
}

/* What was rejected of single views and tags. */
static bool note_sheets(const tr_adjust_input *in, const tr_adjustment *adj,
                        const point_count *points, tr_findings *findings, tr_error *err) {
    bool ok = false;
    int n_tags = 0;
    int *first = calloc((size_t)in->n_sheets + 1, sizeof *first);
    for (int s = 0; s < in->n_sheets && first; s++) {
        first[s] = n_tags;
        n_tags += in->sheets[s].n_tags;
    }
    tag_count *tags = calloc((size_t)n_tags + 1, sizeof *tags);
    if (!first || !tags) {
        tr_fail_memory(err);
        goto out;
    }
    count_tags(in, adj, first, tags);
    for (int s = 0; s < in->n_sheets; s++) {
        if (!adj->sheet_placed[s]) continue;
        if (!note_views(in, adj, s, points, findings, err) ||
            !note_tags(&in->sheets[s], tags + first[s], findings, err)) {
            goto out;
        }
    }
    ok = true;
out:
    free(first);
    free(tags);
    return ok;
}

/* A photo that was rejected as a whole; what its own camera came out as says why, where that
   is far off. */
static bool note_photo(const tr_adjust_input *in, const tr_adjustment *adj, int i,
                       tr_findings *findings, tr_error *err) {
    const tr_net_photo *photo = &adj->net.photos[i];
    const tr_lens *lens = &in->lenses[photo->lens];
    const double *value = photo->value;
    bool is_zoomed = tr_camera_is_far(lens, photo, TR_PHOTO_FOCAL);
    bool is_cut = tr_camera_is_far(lens, photo, TR_PHOTO_SHIFT_X) ||
                  tr_camera_is_far(lens, photo, TR_PHOTO_SHIFT_Y);
    bool is_moved = false;
    for (int k = TR_PHOTO_TURN; k < TR_PHOTO_SCATTER_N; k++) {
        is_moved = is_moved || tr_camera_is_far(lens, photo, k);
    }
    if (is_zoomed || is_cut) {
        return tr_note(PHOTO_OTHER_ZOOM, findings, err, in->photo_names[i],
                       100 * value[TR_PHOTO_FOCAL],
                       hypot(value[TR_PHOTO_SHIFT_X], value[TR_PHOTO_SHIFT_Y]));
    }
    if (is_moved) return tr_note(PHOTO_TAKEN_MOVING, findings, err, in->photo_names[i]);
    return tr_note(PHOTO_CONTRADICTS, findings, err, in->photo_names[i]);
}

static bool note_rejected(const tr_adjust_input *in, const tr_adjustment *adj,
                          tr_findings *findings, tr_error *err) {
    for (int i = 0; i < in->n_photos; i++) {
        if (adj->photo_rejected[i] && !note_photo(in, adj, i, findings, err)) return false;
    }
    return true;
}

bool tr_rejected_report(const tr_adjust_input *in, const tr_adjustment *adj, tr_findings *findings,
                        tr_error *err) {
    int all = 0;
    int rejected = 0;
    if (!note_rejected(in, adj, findings, err)) return false;
    point_count *counts = count_points(adj);
    if (!counts) return tr_fail_memory(err);
    for (int i = 0; i < in->n_sheets * in->n_photos; i++) {
        all += counts[i].all;
        rejected += counts[i].rejected;
    }
    bool ok = note_sheets(in, adj, counts, findings, err);
    free(counts);
    if (!ok) return false;
    if (rejected > REJECTED_OF_ALL * all) {
        ok = tr_note(MANY_MARKS_LEFT_OUT, findings, err, rejected, all);
    } else if (rejected > 0) {
        ok = tr_note(MARKS_LEFT_OUT, findings, err, rejected, all);
    }
    if (!ok) return false;
    /* A cause that was named says it all. */
    if (tr_findings_have(findings, TR_FOUND_LENS_MISMATCH) ||
        tr_findings_have(findings, TR_FOUND_SHEET_SCALE)) {
        return true;
    }
    double times = sqrt(adj->result.variance_factor);
    if (adj->result.variance_factor > TR_BLOCK_VARIANCE || !adj->result.has_converged) {
        return tr_note(DOES_NOT_FIT, findings, err, times);
    }
    return !(adj->result.variance_factor > TR_SUSPECT_VARIANCE) ||
           tr_note(FITS_POORLY, findings, err, times);
}
