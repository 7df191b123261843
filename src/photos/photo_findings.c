#include "photos/photo_findings.h"

#include <stdlib.h>

/* Photos of one setup are taken within minutes. */
enum { MAX_MINUTES_APART = 60 };

static bool note_photo(const tr_photo *p, tr_findings *findings, tr_error *err) {
    const void *why = p->why_not.items;
    if (p->is_readable && p->marks.is_mirrored) {
        return tr_note(PHOTO_MIRRORED, findings, err, p->name);
    }
    if (p->is_readable) return true;
    switch (p->fit) {
    case TR_PHOTO_FITS: break;
    case TR_PHOTO_OTHER_LENS: return tr_note(PHOTO_OTHER_LENS, findings, err, p->name, why);
    case TR_PHOTO_OTHER_SIZE: return tr_note(PHOTO_SIZE, findings, err, p->name, why);
    case TR_PHOTO_LENS_UNCLEAR: return tr_note(PHOTO_LENS_UNCLEAR, findings, err, p->name, why);
    }
    return tr_note(PHOTO_NOT_USED, findings, err, p->name, why);
}

/* names: of the photos that differ from the first as the other does. */
static bool note_cameras(const tr_lens *lens, const tr_photo *first, const tr_photo *other,
                         tr_camera_trait by, const char *names, tr_findings *findings,
                         tr_error *err) {
    tr_findings a = {0}, b = {0};
    bool ok = tr_camera_note(&first->exif.camera, by, &a, err) &&
              tr_camera_note(&other->exif.camera, by, &b, err);
    const void *one = a.items, *another = b.items;
    const char *name = first->name;
    ok = ok && (lens->is_unknown
                    ? tr_note(UNKNOWN_CAMERAS_DIFFER, findings, err, name, one, names, another)
                    : tr_note(CAMERAS_DIFFER, findings, err, name, one, names, another, lens->id));
    tr_findings_release(&a);
    tr_findings_release(&b);
    return ok;
}

/* Photos with one lens profile that tell different cameras, although the profile tells of none: a
   phone that changed from its main camera to its wide one. Named are the first photo, and those
   that differ from it. */
static bool note_cameras_of(const tr_photo_set *set, int lens, tr_findings *findings,
                            tr_error *err) {
    const tr_photo *first = NULL;
    const tr_photo *other = NULL;
    tr_camera_trait by = TR_CAMERA_NAME;
    char *names = NULL;
    bool ok = true;
    for (int i = 0; i < set->n_photos && ok; i++) {
        const tr_photo *p = &set->photos[set->order[i]];
        tr_camera_trait in;
        if (!p->is_readable || p->lens != lens) continue;
        if (!first) first = p;
        if (!tr_camera_differ(&first->exif.camera, &p->exif.camera, &in)) continue;
        if (!other) {
            other = p;
            by = in;
        }
        ok = tr_items_add(&names, p->name, err);
    }
    ok = ok && (!other ||
                note_cameras(&set->request.lenses[lens], first, other, by, names, findings, err));
    free(names);
    return ok;
}

/* The first and the last of those taken; what was moved in between shows in the marks only where it
   moved against the rest. */
static bool note_times(const tr_photo_set *set, tr_findings *findings, tr_error *err) {
    const tr_photo *first = NULL;
    const tr_photo *last = NULL;
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo *p = &set->photos[set->order[i]];
        if (!p->is_readable || !*p->exif.taken) continue;
        if (!first || p->exif.taken_s < first->exif.taken_s) first = p;
        if (!last || p->exif.taken_s > last->exif.taken_s) last = p;
    }
    if (!first || last->exif.taken_s - first->exif.taken_s <= 60 * MAX_MINUTES_APART) return true;
    return tr_note(PHOTOS_FAR_APART, findings, err, first->name, first->exif.taken, last->name,
                   last->exif.taken);
}

bool tr_photo_set_note(const tr_photo_set *set, tr_findings *findings, tr_error *err) {
    for (int i = 0; i < set->n_photos; i++) {
        if (!note_photo(&set->photos[set->order[i]], findings, err)) return false;
    }
    for (int k = 0; k < set->request.n_lenses; k++) {
        if (!note_cameras_of(set, k, findings, err)) return false;
    }
    return note_times(set, findings, err);
}

bool tr_photo_set_note_not_used(const tr_photo_set *set, tr_findings *findings, tr_error *err) {
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo *p = &set->photos[set->order[i]];
        if (p->is_used || !p->is_readable || p->marks.is_mirrored) continue;
        const void *why = p->why_not.items;
        if (!tr_note(PHOTO_NOT_USED, findings, err, p->name, why)) return false;
    }
    return true;
}

bool tr_photo_set_note_exact_lenses(const tr_photo_set *set, tr_findings *findings, tr_error *err) {
    for (int i = 0; i < set->request.n_lenses; i++) {
        const tr_lens *lens = &set->request.lenses[i];
        if (lens->is_unknown) continue;
        if (lens->has_covariance && lens->covariance[TR_FX * (TR_LENS_N + 1)] > 0) continue;
        if (!tr_note(LENS_WITHOUT_COVARIANCE, findings, err, lens->id)) return false;
    }
    return true;
}
