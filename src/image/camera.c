#include "image/camera.h"

#include <math.h>
#include <string.h>

static const double TOLERANCE = 0.01;
/* 13 mm, the shortest of usual phones, is rounded by up to 4 %; a step of zoom is 10 % and more. */
static const double EQUIVALENT_TOLERANCE = 0.05;

static bool is_off(double a, double b, double tolerance) {
    return a > 0 && b > 0 && fabs(a - b) > tolerance * fmin(a, b);
}

double tr_camera_zoom(const tr_camera *camera) {
    return camera->digital_zoom > 0 || !*camera->name ? camera->digital_zoom : 1;
}

static bool is_other(const char *a, const char *b) {
    return *a && *b && strcmp(a, b) != 0;
}

static bool differ_in(const tr_camera *a, const tr_camera *b, tr_camera_trait trait) {
    switch (trait) {
    case TR_CAMERA_NAME: return is_other(a->name, b->name);
    case TR_CAMERA_ZOOM: return is_off(tr_camera_zoom(a), tr_camera_zoom(b), TOLERANCE);
    case TR_CAMERA_FOCAL_LENGTH: return is_off(a->focal_length_mm, b->focal_length_mm, TOLERANCE);
    case TR_CAMERA_EQUIVALENT_FOCAL_LENGTH:
        return is_off(a->equivalent_focal_length_mm, b->equivalent_focal_length_mm,
                      EQUIVALENT_TOLERANCE);
    case TR_CAMERA_LENS: return is_other(a->lens, b->lens);
    }
    return false;
}

bool tr_camera_differ(const tr_camera *a, const tr_camera *b, tr_camera_trait *in) {
    for (*in = TR_CAMERA_NAME; *in < TR_CAMERA_LENS; (*in)++) {
        if (differ_in(a, b, *in)) return true;
    }
    return differ_in(a, b, *in);
}

bool tr_camera_note(const tr_camera *camera, tr_camera_trait by, tr_findings *taken,
                    tr_error *err) {
    switch (by) {
    case TR_CAMERA_NAME: return tr_note(WITH_CAMERA, taken, err, camera->name);
    case TR_CAMERA_ZOOM: return tr_note(AT_DIGITAL_ZOOM, taken, err, tr_camera_zoom(camera));
    case TR_CAMERA_FOCAL_LENGTH:
        return tr_note(AT_FOCAL_LENGTH, taken, err, camera->focal_length_mm);
    case TR_CAMERA_EQUIVALENT_FOCAL_LENGTH:
        return tr_note(AT_EQUIVALENT_FOCAL_LENGTH, taken, err, camera->equivalent_focal_length_mm);
    case TR_CAMERA_LENS: return tr_note(WITH_CAMERA_LENS, taken, err, camera->lens);
    }
    return true;
}

void tr_camera_complete(tr_camera *camera, const tr_camera *more) {
    if (!*camera->name) memcpy(camera->name, more->name, sizeof camera->name);
    if (!*camera->lens) memcpy(camera->lens, more->lens, sizeof camera->lens);
    if (!(camera->focal_length_mm > 0)) camera->focal_length_mm = more->focal_length_mm;
    if (!(camera->equivalent_focal_length_mm > 0)) {
        camera->equivalent_focal_length_mm = more->equivalent_focal_length_mm;
    }
    if (!(camera->digital_zoom > 0)) camera->digital_zoom = more->digital_zoom;
}
