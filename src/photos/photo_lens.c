#include "photos/photo_lens.h"

#include <stdio.h>
#include <string.h>

#include "image/kind.h"

static bool has_size_of(const tr_lens *lens, const tr_photo *photo) {
    return photo->width_px == lens->width_px && photo->height_px == lens->height_px;
}

/* What EXIF tells contradicts the profile's camera. */
static bool is_of_other_lens(const tr_lens *lens, tr_photo *photo) {
    tr_camera_difference d;
    if (!tr_camera_differ(&photo->exif.camera, &lens->camera, &d)) return false;
    photo->fit = TR_PHOTO_OTHER_LENS;
    snprintf(photo->why_not, sizeof photo->why_not,
             "it was taken %.70s, but the lens profile's photos %.70s; use the camera, focal "
             "length and zoom of the calibration",
             d.a, d.b);
    return true;
}

static bool is_of_other_size(const tr_lens *lens, tr_photo *photo) {
    if (has_size_of(lens, photo)) return false;
    const tr_exif *e = &photo->exif;
    bool is_turned = photo->width_px == lens->height_px && photo->height_px == lens->width_px;
    bool was_right = e->width_px == lens->width_px && e->height_px == lens->height_px;
    photo->fit = TR_PHOTO_OTHER_SIZE;
    const char *looks = tr_picture_advice(tr_picture_kind_of(e, photo->width_px, photo->height_px));
    bool is_odd = looks && !is_turned && !was_right;
    snprintf(photo->why_not, sizeof photo->why_not,
             "it has %d x %d pixels, but the lens profile is for %d x %d%s %s", photo->width_px,
             photo->height_px, lens->width_px, lens->height_px, is_odd ? ": it" : ";",
             is_turned   ? "use the photo as the camera stored it, not turned"
             : was_right ? "use the photo as the camera stored it, not made smaller or cut"
             : looks     ? looks
                         : "use the same camera, zoom and image size as in the calibration");
    return true;
}

static bool fits(const tr_lens *lens, const tr_photo *photo) {
    tr_camera_difference ignored;
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
static bool refuse_unmatched(const tr_photo_request *request, tr_photo *photo) {
    bool has_right_size = false;
    char camera[80] = "";
    for (int k = 0; k < request->n_lenses - request->n_only_named; k++) {
        has_right_size = has_right_size || has_size_of(&request->lenses[k], photo);
    }
    photo->fit = has_right_size ? TR_PHOTO_OTHER_LENS : TR_PHOTO_OTHER_SIZE;
    const char *looks =
        tr_picture_advice(tr_picture_kind_of(&photo->exif, photo->width_px, photo->height_px));
    if (!has_right_size && looks) {
        snprintf(photo->why_not, sizeof photo->why_not,
                 "it has %d x %d pixels, as none of the job's lens profiles: it %s",
                 photo->width_px, photo->height_px, looks);
        return false;
    }
    if (*photo->exif.camera.name) {
        snprintf(camera, sizeof camera, ", taken with %s", photo->exif.camera.name);
    }
    snprintf(photo->why_not, sizeof photo->why_not,
             "none of the job's lens profiles fits it (%d x %d pixels%s); add the profile of its "
             "camera at this zoom and image size to 'lens', or take it with one of the others",
             photo->width_px, photo->height_px, camera);
    return false;
}

static bool refuse_unclear(const tr_photo_request *request, int a, int b, tr_photo *photo) {
    photo->fit = TR_PHOTO_LENS_UNCLEAR;
    snprintf(photo->why_not, sizeof photo->why_not,
             "it fits lens profile '%.40s' as well as '%.40s'; say in the job which it is, under "
             "'photos': { file: %.40s, lens: ... }",
             request->lenses[a].id, request->lenses[b].id, photo->name);
    return false;
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
static bool is_no_photo(tr_photo *photo) {
    tr_picture_kind kind = tr_picture_kind_of(&photo->exif, photo->width_px, photo->height_px);
    if (kind != TR_PICTURE_PANORAMA && kind != TR_PICTURE_CUT) return false;
    photo->fit = TR_PHOTO_OTHER_SIZE;
    snprintf(photo->why_not, sizeof photo->why_not, "it %s", tr_picture_advice(kind));
    return true;
}

bool tr_photo_find_lens(const tr_photo_request *request, tr_photo *photo) {
    int lens = stated(request, request->lens_of_named, photo->file);
    photo->fit = TR_PHOTO_FITS;
    if (request->lenses[0].is_unknown) return !is_no_photo(photo);
    if (lens < 0 && request->n_lenses - request->n_only_named > 1) {
        int other;
        lens = find_match(request, photo, &other);
        if (lens < 0) return refuse_unmatched(request, photo);
        if (other >= 0) return refuse_unclear(request, lens, other, photo);
    }
    photo->lens = lens < 0 ? 0 : lens;
    const tr_lens *its = &request->lenses[photo->lens];
    return !is_of_other_lens(its, photo) && !is_of_other_size(its, photo);
}
