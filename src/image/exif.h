/* What a photo tells of itself: camera, focal length, zoom, orientation, size, time. Source: CIPA
   DC-008, Exchangeable image file format for digital still cameras: Exif. All of it is optional,
   and nothing of it is trusted to be sound: what is missing, damaged or out of range counts as not
   told. It never changes a pixel, nor which pixel is (0, 0). */
#ifndef TR_IMAGE_EXIF_H
#define TR_IMAGE_EXIF_H

#include <stdint.h>

#include "base/error.h"
#include "image/camera.h"

/* All zero: nothing is told. */
typedef struct {
    tr_camera camera;
    int orientation; /* 1..8: how the stored image is to be turned to be shown; 0: not told */
    int width_px, height_px; /* as the camera stored it; 0: not told */
    char taken[20];          /* local time, "2026-03-02 10:15:00"; "": not told */
    int64_t taken_s;         /* the same in seconds; only differences have a meaning */
    double exposure_s;       /* 0: not told, as below */
    int iso;                 /* sensitivity */
    bool is_png;             /* the file is a PNG, which cameras do not write */
} tr_exif;

/* Reads it from the bytes of a JPEG, PNG, HEIC or AVIF file; nothing is told by others. False only
   where memory ran out; *out is then all zero. */
TR_MUST_USE bool tr_exif_read(const uint8_t *data, size_t size, tr_exif *out, tr_error *err);

#endif
