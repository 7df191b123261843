/* What a result shows of a photo. It owns all of it, and outlives the set that the photo was of. */
#ifndef TR_PHOTOS_PHOTO_RESULT_H
#define TR_PHOTOS_PHOTO_RESULT_H

#include "photos/photo_set.h"

/* A mark as it is drawn over the photo: 4 points are a tag, 1 is a corner. */
typedef struct {
    int sheet, n_points;
    tr_vec2 uv_px[4];
} tr_drawn_mark;

typedef struct {
    char *file;                    /* as it was named; owned */
    char name[TR_PHOTO_NAME_SIZE]; /* as messages name it */
    char sha256[65];               /* "" where it could not be read */
    int width_px, height_px;
    char camera[64], taken[20]; /* as EXIF tells; "" where it does not */
    char lens[64];              /* the profile that it was measured with; "": none */
    bool is_used;
    tr_findings why_not; /* where it is not used: one, the reason; owned */
    tr_photo_quality quality;
    int n_found;                 /* marks */
    int n_marks;                 /* points in the solved network ... */
    double rms_px;               /* ... and how far all that were found lie from it */
    tr_lens own_lens;            /* where is_used: its lens as it was in this photo */
    tr_pose camera_from_vehicle; /* the same, in a check */
    tr_drawn_mark *marks;        /* of a photo that is drawn, else none; owned */
    int n_drawn;
} tr_photo_result;

/* What a set shows of its photos, in its order; marks are not drawn. *out: set->n_photos, owned by
   the caller. False: memory ran out. */
TR_MUST_USE bool tr_photo_results_make(const tr_photo_set *set, tr_photo_result **out,
                                       tr_error *err);
/* Adds the marks of the photo that the result is of. */
TR_MUST_USE bool tr_photo_result_draw(const tr_photo *photo, tr_photo_result *out, tr_error *err);
/* Indices of n photos sorted as a set sorts them (photos/order.h); owned by the caller. NULL:
   memory ran out. */
int *tr_photo_results_order(const tr_photo_result *photos, int n, tr_error *err);
void tr_photo_results_release(tr_photo_result *photos, int n);

#endif
