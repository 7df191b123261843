#include "opencv/opencv.h"

#include "base/module.h"
#include "opencv/module.h"

static tr_opencv_find *load(tr_error *err) {
    return (tr_opencv_find *)tr_module_function("opencv", "tr_opencv_module_find", err);
}

bool tr_opencv_load(tr_error *err) {
    return load(err) != NULL;
}

bool tr_opencv_find_checkerboard(const tr_image *image, int inner_cols, int inner_rows,
                                 bool is_exhaustive, tr_vec2 *corners_px, bool *found,
                                 tr_error *err) {
    char text[256] = "";
    tr_opencv_find *find = load(err);
    *found = false;
    if (!find) return false;
    /* A tr_vec2 is two doubles. */
    switch (find(image->px, image->width, image->height, inner_cols, inner_rows, is_exhaustive,
                 &corners_px->x, text, sizeof text)) {
    case TR_OPENCV_FOUND: *found = true; return true;
    case TR_OPENCV_NOT_FOUND: return true;
    case TR_OPENCV_NO_MEMORY: return tr_fail_memory(err);
    case TR_OPENCV_FAILED: break;
    }
    return tr_fail(err, TR_NO_MEASURE, "OpenCV's checkerboard finder failed: %s",
                   text[0] ? text : "it does not say why");
}
