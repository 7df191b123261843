#include "image/camera.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double TOLERANCE = 0.01;
/* 13 mm, the shortest of usual phones, is rounded by up to 4 %; a step of zoom is 10 % and more. */
static const double EQUIVALENT_TOLERANCE = 0.05;

static bool is_off(double a, double b, double tolerance) {
    return a > 0 && b > 0 && fabs(a - b) > tolerance * fmin(a, b);
}

static double zoom_of(const tr_camera *camera) {
    return camera->digital_zoom > 0 || !*camera->name ? camera->digital_zoom : 1;
}

static bool differ_in(const char *format, double a, double b, double tolerance,
                      tr_camera_difference *out) {
    if (!is_off(a, b, tolerance)) return false;
    snprintf(out->a, sizeof out->a, format, a);
    snprintf(out->b, sizeof out->b, format, b);
    return true;
}

static bool differ_in_words(const char *format, const char *a, const char *b,
                            tr_camera_difference *out) {
    if (!*a || !*b || strcmp(a, b) == 0) return false;
    snprintf(out->a, sizeof out->a, format, a);
    snprintf(out->b, sizeof out->b, format, b);
    return true;
}

bool tr_camera_differ(const tr_camera *a, const tr_camera *b, tr_camera_difference *out) {
    return differ_in_words("with %s", a->name, b->name, out) ||
           differ_in("at digital zoom %.4g", zoom_of(a), zoom_of(b), TOLERANCE, out) ||
           differ_in("at a focal length of %.4g mm", a->focal_length_mm, b->focal_length_mm,
                     TOLERANCE, out) ||
           differ_in("at a focal length equivalent to %.4g mm", a->equivalent_focal_length_mm,
                     b->equivalent_focal_length_mm, EQUIVALENT_TOLERANCE, out) ||
           differ_in_words("with lens %s", a->lens, b->lens, out);
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
