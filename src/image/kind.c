#include "image/kind.h"

#include <math.h>
#include <stdlib.h>

/* Sensors are up to 16:9; phones cut photos to their screens, 21:9 at the longest. */
static const double LONGEST_PHOTO = 2.4;
/* Screens of phones and tablets. */
static const double SHORTEST_SCREEN = 1.3;
/* Messengers send 1280 to 2048 px; cameras that store less than this are from before EXIF. */
enum { MAX_COPY_PX = 2048 };
/* A side of EXIF may be rounded to whole blocks. */
static const double SAME_SHAPE = 0.01;

static double longer_to_shorter(int a, int b) {
    return fmax(a, b) / fmax(1, fmin(a, b));
}

tr_picture_kind tr_picture_kind_of(const tr_exif *exif, int width_px, int height_px) {
    double shape = longer_to_shorter(width_px, height_px);
    bool has_camera = *exif->camera.name || exif->camera.focal_length_mm > 0;
    if (shape > LONGEST_PHOTO) return TR_PICTURE_PANORAMA;
    if (exif->width_px > 0 && exif->height_px > 0) {
        double told = longer_to_shorter(exif->width_px, exif->height_px);
        if (fabs(told / shape - 1) > SAME_SHAPE) return TR_PICTURE_CUT;
        if (fmax(exif->width_px, exif->height_px) > (1 + SAME_SHAPE) * fmax(width_px, height_px)) {
            return TR_PICTURE_SHRUNK;
        }
    }
    if (has_camera) return TR_PICTURE_PLAIN;
    if (exif->is_png) return shape >= SHORTEST_SCREEN ? TR_PICTURE_SCREENSHOT : TR_PICTURE_PLAIN;
    return fmax(width_px, height_px) <= MAX_COPY_PX ? TR_PICTURE_COPY : TR_PICTURE_PLAIN;
}

const char *tr_picture_advice(tr_picture_kind kind) {
    switch (kind) {
    case TR_PICTURE_PLAIN: break;
    case TR_PICTURE_PANORAMA:
        return "looks like a panorama or a stitched picture; take single photos";
    case TR_PICTURE_SCREENSHOT:
        return "looks like a screenshot; use the photo itself, as the camera stored it";
    case TR_PICTURE_CUT: return "was cut after it was taken; use the photo as the camera stored it";
    case TR_PICTURE_SHRUNK:
        return "was made smaller after it was taken; use the photo as the camera stored it";
    case TR_PICTURE_COPY:
        return "looks like a messenger's small copy; use the camera's own file, sent as a file or "
               "by cable";
    }
    return NULL;
}
