#include "photos/photo_set.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "image/photo_file.h"
#include "photos/looks.h"
#include "photos/order.h"
#include "photos/photo_findings.h"
#include "photos/photo_lens.h"

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
    photos[n] = (tr_photo){.file = copy, .position = tr_photo_find_position(&set->request, file)};
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

bool tr_photo_fetch(const tr_photo *photo, tr_image *read, const tr_image **image, tr_error *err) {
    tr_error why = {0};
    *read = (tr_image){0};
    *image = &photo->image;
    if (photo->image.px) return true;
    *image = tr_photo_file_read_again(photo->file, photo->sha256, read, &why) ? read : NULL;
    if (why.code != TR_NO_MEMORY) return true;
    *err = why;
    return false;
}

/* ---- for the network ---- */

static int count_positions(const tr_photo_request *r) {
    return r->n_positions > 1 ? r->n_positions : 1;
}

/* Numbers the sheets of all positions; returns how many the network has. */
static int number_sheets(const tr_photo_request *r, int *network_sheet) {
    int last = count_positions(r) - 1;
    int n = r->n_sheets;
    for (int i = 0; i < r->n_sheets; i++) network_sheet[last * r->n_sheets + i] = i;
    for (int p = 0; p < last; p++) {
        for (int i = 0; i < r->n_sheets; i++) {
            bool stays = !r->stays || r->stays[i];
            network_sheet[p * r->n_sheets + i] = stays ? i : n++;
        }
    }
    return n;
}

/* What each of the network's sheets is. */
static bool list_sheets(const tr_photo_request *r, tr_photo_input *out, tr_error *err) {
    size_t n_all = (size_t)count_positions(r) * (size_t)r->n_sheets;
    out->network_sheet = calloc(n_all + 1, sizeof *out->network_sheet);
    out->sheets = calloc(n_all + 1, sizeof *out->sheets);
    out->print_of = calloc(n_all + 1, sizeof *out->print_of);
    if (!out->network_sheet || !out->sheets || !out->print_of) return tr_fail_memory(err);
    out->in.n_sheets = number_sheets(r, out->network_sheet);
    for (size_t k = 0; k < n_all; k++) {
        int sheet = (int)(k % (size_t)r->n_sheets);
        out->sheets[out->network_sheet[k]] = r->sheets[sheet];
        out->print_of[out->network_sheet[k]] = sheet;
    }
    out->in.sheets = out->sheets;
    out->in.print_of = out->print_of;
    return true;
}

/* A copy of a photo's marks, of the sheets that the network has in its position. */
static bool renumber(const tr_photo_marks *marks, const int *network_sheet, tr_photo_marks *out,
                     tr_error *err) {
    *out = *marks;
    out->marks = calloc((size_t)marks->n_marks + 1, sizeof *out->marks);
    out->views = calloc((size_t)marks->n_views + 1, sizeof *out->views);
    if (!out->marks || !out->views) return tr_fail_memory(err);
    for (int i = 0; i < marks->n_marks; i++) {
        out->marks[i] = marks->marks[i];
        out->marks[i].sheet = network_sheet[marks->marks[i].sheet];
    }
    for (int i = 0; i < marks->n_views; i++) {
        out->views[i] = marks->views[i];
        out->views[i].sheet = network_sheet[marks->views[i].sheet];
    }
    return true;
}

static bool list_photo(const tr_photo_set *set, int i, tr_photo_input *out, tr_error *err) {
    const tr_photo *p = &set->photos[set->order[i]];
    const tr_photo_request *r = &set->request;
    out->marks[i] = p->is_readable ? &p->marks : NULL;
    out->names[i] = p->name;
    out->lens_of[i] = p->lens;
    if (!p->is_readable || p->position == count_positions(r) - 1) return true;
    out->marks[i] = &out->moved_marks[i];
    return renumber(&p->marks, out->network_sheet + (long)p->position * r->n_sheets,
                    &out->moved_marks[i], err);
}

bool tr_photo_set_input(const tr_photo_set *set, tr_photo_input *out, tr_error *err) {
    size_t n = (size_t)set->n_photos + 1;
    const tr_photo_request *r = &set->request;
    *out = (tr_photo_input){.marks = calloc(n, sizeof *out->marks),
                            .names = calloc(n, sizeof *out->names),
                            .lens_of = calloc(n, sizeof *out->lens_of),
                            .moved_marks = calloc(n, sizeof *out->moved_marks)};
    out->in.n_photos = set->n_photos;
    if (!out->marks || !out->names || !out->lens_of || !out->moved_marks)
        return tr_fail_memory(err);
    if (!list_sheets(r, out, err)) return false;
    for (int i = 0; i < set->n_photos; i++) {
        if (!list_photo(set, i, out, err)) return false;
    }
    out->in.lenses = tr_photo_set_lenses(set);
    out->in.initial_lenses = r->lenses[0].is_unknown ? &set->solved_lens : NULL;
    out->in.n_lenses = r->n_lenses;
    out->in.lens_of = out->lens_of;
    out->in.photos = out->marks;
    out->in.photo_names = out->names;
    return true;
}

void tr_photo_input_release(tr_photo_input *input) {
    for (int i = 0; i < input->in.n_photos && input->moved_marks; i++) {
        free(input->moved_marks[i].marks);
        free(input->moved_marks[i].views);
    }
    free(input->moved_marks);
    free(input->marks);
    free(input->names);
    free(input->lens_of);
    free(input->sheets);
    free(input->print_of);
    free(input->network_sheet);
    memset(input, 0, sizeof *input);
}

/* Why a photo that could be read is not used. */
static bool note_why_not(tr_photo *p, bool is_survey, tr_error *err) {
    if (p->marks.is_mirrored) return tr_note(IS_MIRRORED, &p->why_not, err);
    if (p->marks.n_marks > 0) return tr_note(MARKS_DO_NOT_TIE, &p->why_not, err);
    return is_survey ? tr_note(SHOWS_NO_MARK_OF_SURVEY, &p->why_not, err)
                     : tr_note(SHOWS_NO_MARK, &p->why_not, err);
}

bool tr_photo_set_count(tr_photo_set *set, const tr_network *net, const bool *is_placed,
                        bool is_survey, tr_error *err) {
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
        if (!p->is_used && p->is_readable && p->why_not.n == 0)
            ok = note_why_not(p, is_survey, err);
    }
    free(sum);
    free(n_found);
    return ok;
}
