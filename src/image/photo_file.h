/* A photo's file: its pixels, what it tells of itself, and which file it is. */
#ifndef TR_IMAGE_PHOTO_FILE_H
#define TR_IMAGE_PHOTO_FILE_H

#include "image/exif.h"
#include "image/image.h"

typedef struct {
    tr_image image;
    tr_exif exif;
    char sha256[65]; /* of the whole file */
} tr_photo_file;

/* False: err says why it is no photo that can be used; what was told before (sha256, exif) is still
   in *out. Files above 400 MB, which no camera writes, are refused. Owned by the caller. */
TR_MUST_USE bool tr_photo_file_read(const char *path, tr_photo_file *out, tr_error *err);

/* The pixels once more, where the file is still the one with that SHA-256. */
TR_MUST_USE bool tr_photo_file_read_again(const char *path, const char *sha256, tr_image *out,
                                          tr_error *err);

#endif
