/* Private to src/image: what the codecs share. */
#ifndef TR_IMAGE_CODEC_H
#define TR_IMAGE_CODEC_H

#include "image/image.h"

/* Luma weights in thousandths. Source: ITU-R BT.601-7, 2.5.1: E'Y = 0.299 R + 0.587 G + 0.114 B. */
#define TR_LUMA_R 299U
#define TR_LUMA_G 587U
#define TR_LUMA_B 114U

/* The luma of a colour in thousandths of its samples' unit. */
static inline uint32_t tr_luma_1000(uint32_t r, uint32_t g, uint32_t b) {
    return TR_LUMA_R * r + TR_LUMA_G * g + TR_LUMA_B * b;
}

/* False with err set (file: name, which may be NULL) unless an image may have this size. */
TR_MUST_USE bool tr_image_check_size(int64_t width, int64_t height, const char *name,
                                     tr_error *err);

/* As tr_image_decode, for data that begin like such a file. *out is empty on entry; on failure it
   may hold an image, which the caller releases. */
TR_MUST_USE bool tr_jpeg_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                                tr_error *err);
TR_MUST_USE bool tr_png_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                               tr_error *err);
TR_MUST_USE bool tr_heif_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                                tr_error *err);

/* "HEIC", "HEIF" or "AVIF"; NULL where the data do not begin like such a file. */
const char *tr_heif_kind(const uint8_t *data, size_t size);
/* The Exif item of such a file, with the four bytes of offset in front of it: owned by the caller.
 *block_size 0: nothing is told. False: memory ran out. */
TR_MUST_USE bool tr_heif_exif(const uint8_t *data, size_t size, uint8_t **block, size_t *block_size,
                              tr_error *err);

#endif
