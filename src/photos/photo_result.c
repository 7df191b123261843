#include "photos/photo_result.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "photos/order.h"

static bool copy(const tr_photo_set *set, const tr_photo *photo, tr_photo_result *out,
                 tr_error *err) {
    const char *lens = photo->is_readable ? set->request.lenses[photo->lens].id : "";
    *out = (tr_photo_result){.file = strdup(photo->file),
                             .width_px = photo->width_px,
                             .height_px = photo->height_px,
                             .is_used = photo->is_used,
                             .quality = photo->quality,
                             .n_found = photo->marks.n_marks,
                             .n_marks = photo->n_marks,
                             .rms_px = photo->rms_px,
                             .own_lens = photo->own_lens,
                             .camera_from_vehicle = photo->camera_from_vehicle};
    memcpy(out->name, photo->name, sizeof out->name);
    memcpy(out->sha256, photo->sha256, sizeof out->sha256);
    memcpy(out->taken, photo->exif.taken, sizeof out->taken);
    snprintf(out->camera, sizeof out->camera, "%s", photo->exif.camera.name);
    snprintf(out->lens, sizeof out->lens, "%s", lens);
    return out->file ? tr_findings_copy_all(&photo->why_not, &out->why_not, err)
                     : tr_fail_memory(err);
}

bool tr_photo_results_make(const tr_photo_set *set, tr_photo_result **out, tr_error *err) {
    *out = calloc((size_t)set->n_photos + 1, sizeof **out);
    if (!*out) return tr_fail_memory(err);
    for (int i = 0; i < set->n_photos; i++) {
        if (copy(set, &set->photos[i], &(*out)[i], err)) continue;
        tr_photo_results_release(*out, set->n_photos);
        *out = NULL;
        return false;
    }
    return true;
}

bool tr_photo_result_draw(const tr_photo *photo, tr_photo_result *out, tr_error *err) {
    const tr_photo_marks *from = &photo->marks;
    free(out->marks);
    out->n_drawn = 0;
    out->marks = calloc((size_t)from->n_marks + 1, sizeof *out->marks);
    if (!out->marks) return tr_fail_memory(err);
    for (int i = 0; i < from->n_marks; i++) {
        const tr_mark *m = &from->marks[i];
        tr_drawn_mark *drawn = &out->marks[out->n_drawn++];
        *drawn = (tr_drawn_mark){.sheet = m->sheet, .n_points = m->n_points};
        memcpy(drawn->uv_px, m->uv_px, (size_t)m->n_points * sizeof *m->uv_px);
    }
    return true;
}

int *tr_photo_results_order(const tr_photo_result *photos, int n, tr_error *err) {
    tr_photo_key *keys = calloc((size_t)n + 1, sizeof *keys);
    for (int i = 0; keys && i < n; i++) {
        keys[i] = (tr_photo_key){photos[i].file, photos[i].sha256};
    }
    int *order = keys ? tr_photo_order(keys, n) : NULL;
    free(keys);
    if (!order) tr_fail_memory(err);
    return order;
}

void tr_photo_results_release(tr_photo_result *photos, int n) {
    for (int i = 0; photos && i < n; i++) {
        free(photos[i].file);
        tr_findings_release(&photos[i].why_not);
        free(photos[i].marks);
    }
    free(photos);
}
