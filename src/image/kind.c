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

bool tr_picture_note(tr_picture_kind kind, tr_findings *looks, tr_error *err) {
    switch (kind) {
    case TR_PICTURE_PLAIN: break;
    case TR_PICTURE_PANORAMA: return tr_note(LOOKS_PANORAMA, looks, err);
    case TR_PICTURE_SCREENSHOT: return tr_note(LOOKS_SCREENSHOT, looks, err);
    case TR_PICTURE_CUT: return tr_note(LOOKS_CUT, looks, err);
    case TR_PICTURE_SHRUNK: return tr_note(LOOKS_SHRUNK, looks, err);
    case TR_PICTURE_COPY: return tr_note(LOOKS_COPY, looks, err);
    }
    return true;
}
