#include "photos/photo_lens.h"

#include <string.h>

#include "image/kind.h"

static bool has_size_of(const tr_lens *lens, const tr_photo *photo) {
    return photo->width_px == lens->width_px && photo->height_px == lens->height_px;
}

static tr_picture_kind kind_of(const tr_photo *photo) {
    return tr_picture_kind_of(&photo->exif, photo->width_px, photo->height_px);
}

/* What EXIF tells contradicts the profile's camera. */
static bool refuse_other_lens(const tr_lens *lens, tr_camera_trait by, tr_photo *photo,
                              tr_error *err) {
    tr_findings its = {0}, profile = {0};
    photo->fit = TR_PHOTO_OTHER_LENS;
    bool ok = tr_camera_note(&photo->exif.camera, by, &its, err) &&
              tr_camera_note(&lens->camera, by, &profile, err);
    const void *taken = its.items, *made = profile.items;
    ok = ok && tr_note(TAKEN_OTHERWISE, &photo->why_not, err, taken, made);
    tr_findings_release(&its);
    tr_findings_release(&profile);
    return ok;
}

static bool refuse_other_size(const tr_lens *lens, tr_photo *photo, tr_error *err) {
    const tr_exif *e = &photo->exif;
    const int w = photo->width_px, h = photo->height_px;
    tr_findings *why = &photo->why_not;
    tr_findings looks = {0};
    photo->fit = TR_PHOTO_OTHER_SIZE;
    if (w == lens->height_px && h == lens->width_px) {
        return tr_note(SIZE_TURNED, why, err, w, h, lens->width_px, lens->height_px);
    }
    if (e->width_px == lens->width_px && e->height_px == lens->height_px) {
        return tr_note(SIZE_CHANGED, why, err, w, h, lens->width_px, lens->height_px);
    }
    bool ok = tr_picture_note(kind_of(photo), &looks, err);
    const void *what = looks.items;
    ok = ok && (what ? tr_note(SIZE_LOOKS, why, err, w, h, lens->width_px, lens->height_px, what)
                     : tr_note(SIZE_OTHER, why, err, w, h, lens->width_px, lens->height_px));
    tr_findings_release(&looks);
    return ok;
}

static bool fits(const tr_lens *lens, const tr_photo *photo) {
    tr_camera_trait ignored;
    return has_size_of(lens, photo) &&
           !tr_camera_differ(&photo->exif.camera, &lens->camera, &ignored);
}

/* Both tell the camera, and it is the same: more than that nothing contradicts. */
static bool is_of_named_camera(const tr_lens *lens, const tr_photo *photo) {
    const char *name = photo->exif.camera.name;
    return *name && strcmp(name, lens->camera.name) == 0;
}

/* The one that a photo fits of those that are listed; -1: none, or it is not clear which of two. Of
   profiles that a photo fits, those that name its camera go before those that name none. */
static int find_match(const tr_photo_request *request, const tr_photo *photo, int *other) {
    int n[2] = {0, 0};
    int found[2] = {-1, -1};
    int second[2] = {-1, -1};
    for (int k = 0; k < request->n_lenses - request->n_only_named; k++) {
        if (!fits(&request->lenses[k], photo)) continue;
        int named = is_of_named_camera(&request->lenses[k], photo);
        if (n[named]++ == 0)
            found[named] = k;
        else if (second[named] < 0)
            second[named] = k;
    }
    int named = n[1] > 0;
    *other = second[named];
    return found[named];
}

/* No profile of several fits. */
static bool refuse_unmatched(const tr_photo_request *request, tr_photo *photo, tr_error *err) {
    bool has_right_size = false;
    for (int k = 0; k < request->n_lenses - request->n_only_named; k++) {
        has_right_size = has_right_size || has_size_of(&request->lenses[k], photo);
    }
    const int w = photo->width_px, h = photo->height_px;
    const char *camera = photo->exif.camera.name;
    tr_findings *why = &photo->why_not;
    tr_findings looks = {0};
    photo->fit = has_right_size ? TR_PHOTO_OTHER_LENS : TR_PHOTO_OTHER_SIZE;
    bool ok = has_right_size || tr_picture_note(kind_of(photo), &looks, err);
    const void *what = looks.items;
    ok = ok && (what      ? tr_note(NO_PROFILE_LOOKS, why, err, w, h, what)
                : *camera ? tr_note(NO_PROFILE_OF_CAMERA, why, err, w, h, camera)
                          : tr_note(NO_PROFILE, why, err, w, h));
    tr_findings_release(&looks);
    return ok;
}

static bool refuse_unclear(const tr_photo_request *request, int a, int b, tr_photo *photo,
                           tr_error *err) {
    photo->fit = TR_PHOTO_LENS_UNCLEAR;
    return tr_note(TWO_PROFILES, &photo->why_not, err, request->lenses[a].id, request->lenses[b].id,
                   photo->name);
}

/* What the request says of a file; -1: nothing. */
static int stated(const tr_photo_request *request, const int *of_named, const char *file) {
    for (int i = 0; i < request->n_named && of_named; i++) {
        if (strcmp(request->named[i], file) == 0) return of_named[i];
    }
    return -1;
}

int tr_photo_find_position(const tr_photo_request *request, const char *file) {
    int position = stated(request, request->position_of_named, file);
    return position < 0 ? 0 : position;
}

/* Of an unknown lens any photo may be, if it is one. */
static bool refuse_no_photo(tr_photo *photo, tr_error *err) {
    tr_picture_kind kind = kind_of(photo);
    tr_findings looks = {0};
    photo->is_readable = kind != TR_PICTURE_PANORAMA && kind != TR_PICTURE_CUT;
    if (photo->is_readable) return true;
    photo->fit = TR_PHOTO_OTHER_SIZE;
    bool ok = tr_picture_note(kind, &looks, err);
    const void *what = looks.items;
    ok = ok && tr_note(LOOKS, &photo->why_not, err, what);
    tr_findings_release(&looks);
    return ok;
}

bool tr_photo_find_lens(const tr_photo_request *request, tr_photo *photo, tr_error *err) {
    int lens = stated(request, request->lens_of_named, photo->file);
    photo->fit = TR_PHOTO_FITS;
    photo->is_readable = false;
    if (request->lenses[0].is_unknown) return refuse_no_photo(photo, err);
    if (lens < 0 && request->n_lenses - request->n_only_named > 1) {
        int other;
        lens = find_match(request, photo, &other);
        if (lens < 0) return refuse_unmatched(request, photo, err);
        if (other >= 0) return refuse_unclear(request, lens, other, photo, err);
    }
    photo->lens = lens < 0 ? 0 : lens;
    const tr_lens *its = &request->lenses[photo->lens];
    tr_camera_trait by;
    if (tr_camera_differ(&photo->exif.camera, &its->camera, &by)) {
        return refuse_other_lens(its, by, photo, err);
    }
    if (!has_size_of(its, photo)) return refuse_other_size(its, photo, err);
    photo->is_readable = true;
    return true;
}
