/* What the module trammel-opencv.so (opencv.cpp, C++; base/module.h) gives to the program
   (opencv.c): OpenCV's libraries take longer to load than most commands take to run. Only plain
   types pass; the module needs nothing of the program. */
#ifndef TR_OPENCV_MODULE_H
#define TR_OPENCV_MODULE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum {
    TR_OPENCV_FOUND,
    TR_OPENCV_NOT_FOUND,
    TR_OPENCV_NO_MEMORY,
    TR_OPENCV_FAILED, /* text says how */
} tr_opencv_outcome;

/* tr_opencv_module_find: as tr_opencv_find_checkerboard; px: height rows of width grey values; xy:
   two a corner. */
typedef tr_opencv_outcome tr_opencv_find(uint8_t *px, int width, int height, int inner_cols,
                                         int inner_rows, bool is_exhaustive, double *xy, char *text,
                                         size_t text_size);

#endif
