#include "opencv/opencv.h"

#include <dlfcn.h>
#include <string.h>

#include "opencv/module.h"

/* The linker keeps count of what is loaded, so that asking again costs next to nothing; it is never
   unloaded. */
static tr_opencv_find *load(tr_error *err) {
    tr_opencv_find *find = NULL;
    void *module = dlopen(TR_OPENCV_MODULE, RTLD_NOW | RTLD_LOCAL);
    void *symbol = module ? dlsym(module, TR_OPENCV_MODULE_FIND) : NULL;
    if (symbol) {
        memcpy(&find, &symbol, sizeof find); /* POSIX has the two alike, C has no cast */
        return find;
    }
    const char *why = dlerror();
    tr_fail(err, TR_NO_FILE,
            "OpenCV, which finds the checkerboards, could not be loaded (%.160s); keep %s beside "
            "the program, and install OpenCV's calib3d library",
            why ? why : "no reason is given", TR_OPENCV_MODULE);
    return NULL;
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
