#include "photos/photo_set.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "photos/looks.h"
#include "photos/order.h"
#include "photos/photo_findings.h"

void tr_photo_set_init(tr_photo_set *set, const tr_photo_request *request) {
    *set = (tr_photo_set){.request = *request};
}

void tr_photo_set_release(tr_photo_set *set) {
    for (int i = 0; i < set->n_photos; i++) {
        free(set->photos[i].file);
        tr_findings_release(&set->photos[i].why_not);
        tr_photo_marks_release(&set->photos[i].marks);
        tr_image_release(&set->photos[i].image);
    }
    free(set->photos);
    free(set->order);
    memset(set, 0, sizeof *set);
}

tr_photo *tr_photo_set_add(tr_photo_set *set, const char *file, tr_error *err) {
    size_t n = (size_t)set->n_photos;
    char *copy = strdup(file);
    tr_photo *photos = copy ? realloc(set->photos, (n + 1) * sizeof *photos) : NULL;
    if (!photos) {
        free(copy);
        tr_fail_memory(err);
        return NULL;
    }
    photos[n] = (tr_photo){.file = copy};
    set->photos = photos;
    set->n_photos++;
    free(set->order); /* it lacks this one */
    set->order = NULL;
    return &photos[n];
}

bool tr_photo_set_read(tr_photo_set *set, char *const *files, int n, const tr_workers *workers,
                       tr_findings *findings, tr_error *err) {
    if (set->n_photos + n < 1) {
        return tr_fail_at(err, TR_BAD_INPUT, set->request.path, 0, NULL,
                          "names no photos; list them under 'photos' or on the command line");
    }
    if (n > TR_MAX_PHOTOS - set->n_photos) {
        return tr_fail(err, TR_BAD_INPUT,
                       "%d photos are more than a check can take (%d); choose the best",
                       set->n_photos + n, TR_MAX_PHOTOS);
    }
    for (int i = 0; i < n; i++) {
        if (!tr_photo_set_add(set, files[i], err)) return false;
    }
    tr_photo_set_name(set);
    return tr_photo_set_look(set, workers, err) && tr_photo_set_note(set, findings, err);
}

/* ---- for the network ---- */

bool tr_photo_set_input(const tr_photo_set *set, tr_photo_input *out, tr_error *err) {
    size_t n = (size_t)set->n_photos + 1;
    const tr_photo_request *r = &set->request;
    *out = (tr_photo_input){.marks = calloc(n, sizeof *out->marks),
                            .names = calloc(n, sizeof *out->names),
                            .lens_of = calloc(n, sizeof *out->lens_of)};
    if (!out->marks || !out->names || !out->lens_of) return tr_fail_memory(err);
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo *p = &set->photos[set->order[i]];
        out->marks[i] = p->is_readable ? &p->marks : NULL;
        out->names[i] = p->name;
        out->lens_of[i] = p->lens;
    }
    out->in =
        (tr_adjust_input){.lenses = tr_photo_set_lenses(set),
                          .initial_lenses = r->lenses[0].is_unknown ? &set->solved_lens : NULL,
                          .n_lenses = r->n_lenses,
                          .lens_of = out->lens_of,
                          .sheets = r->sheets,
                          .n_sheets = r->n_sheets,
                          .photos = out->marks,
                          .photo_names = out->names,
                          .n_photos = set->n_photos};
    return true;
}

void tr_photo_input_release(tr_photo_input *input) {
    free(input->marks);
    free(input->names);
    free(input->lens_of);
    memset(input, 0, sizeof *input);
}

/* Why a photo that could be read is not used. */
static bool note_why_not(tr_photo *p, const char *whose, tr_error *err) {
    if (p->marks.is_mirrored) return tr_note(IS_MIRRORED, &p->why_not, err);
    if (p->marks.n_marks == 0) return tr_note(SHOWS_NO_MARK, &p->why_not, err, whose);
    return tr_note(MARKS_DO_NOT_TIE, &p->why_not, err);
}

bool tr_photo_set_count(tr_photo_set *set, const tr_network *net, const bool *is_placed,
                        const char *whose, tr_error *err) {
    size_t n = (size_t)set->n_photos + 1;
    double *sum = calloc(n, sizeof *sum);
    int *n_found = calloc(n, sizeof *n_found);
    bool ok = (sum && n_found) || tr_fail_memory(err);
    for (int i = 0; i < set->n_photos && ok; i++) set->photos[i].n_marks = 0;
    for (int k = 0; k < net->n_observations && ok; k++) {
        const tr_net_obs *o = &net->observations[k];
        tr_vec2 r[TR_OBS_MAX_POINTS];
        if (!is_placed[k] || !tr_network_residual(net, k, r, NULL)) continue;
        for (int j = 0; j < o->n_points; j++) sum[o->photo] += tr_v2_dot(r[j], r[j]);
        n_found[o->photo] += o->n_points;
        if (o->is_used) set->photos[set->order[o->photo]].n_marks += o->n_points;
    }
    for (int i = 0; i < set->n_photos && ok; i++) {
        tr_photo *p = &set->photos[set->order[i]];
        p->is_used = p->n_marks > 0;
        p->rms_px = p->is_used ? sqrt(sum[i] / n_found[i]) : 0;
        p->own_lens = tr_network_photo_lens(net, i);
        if (!p->is_used && p->is_readable && p->why_not.n == 0) ok = note_why_not(p, whose, err);
    }
    free(sum);
    free(n_found);
    return ok;
}
