/* What the module trammel-opencv.so (opencv.cpp, C++) gives to the program (opencv.c). It is loaded
   only where a checkerboard is sought: OpenCV's libraries take longer to load than most commands
   take to run. Only plain types pass; the module needs nothing of the program. */
#ifndef TR_OPENCV_MODULE_H
#define TR_OPENCV_MODULE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Beside the program, or in the build's folder: see CMakeLists.txt. */
#define TR_OPENCV_MODULE "trammel-opencv.so"
#define TR_OPENCV_MODULE_FIND "tr_opencv_module_find"

typedef enum {
    TR_OPENCV_FOUND,
    TR_OPENCV_NOT_FOUND,
    TR_OPENCV_NO_MEMORY,
    TR_OPENCV_FAILED, /* text says how */
} tr_opencv_outcome;

/* As tr_opencv_find_checkerboard; px: height rows of width grey values; xy: two a corner. */
typedef tr_opencv_outcome tr_opencv_find(uint8_t *px, int width, int height, int inner_cols,
                                         int inner_rows, bool is_exhaustive, double *xy, char *text,
                                         size_t text_size);

#endif
