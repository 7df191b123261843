/* Grey 8-bit images, and photographs from files. The pixels are those of the sensor image as they
   are stored: an EXIF orientation never turns them, since a lens profile belongs to stored pixels.
   (0, 0) is the centre of the first pixel, u to the right, v down. */
#ifndef TR_IMAGE_IMAGE_H
#define TR_IMAGE_IMAGE_H

#include <stdint.h>

#include "base/error.h"

/* Photos above this are refused before anything is allocated: 200 megapixels is beyond any phone of
   the day, and a damaged header can claim anything. */
#define TR_IMAGE_MAX_PX 200000000L

typedef struct {
    int width, height;
    uint8_t *px; /* row by row without gaps, width * height; owned */
} tr_image;

/* False: err is set. A width or height below 1 or more than TR_IMAGE_MAX_PX pixels are refused. */
TR_MUST_USE bool tr_image_init(tr_image *image, int width, int height, tr_error *err);
void tr_image_release(tr_image *image);

static inline const uint8_t *tr_image_row(const tr_image *image, int v) {
    return image->px + (long)v * image->width;
}

/* Decodes a JPEG (baseline or progressive; grey, YCbCr, RGB, CMYK, YCCK), a PNG (8 or 16 bit, grey,
   colour, palette, alpha over white, interlaced), or the primary image of an HEIC or AVIF file (8
   to 12 bits, grids) to grey by Rec. 601 luma; for YCbCr files that is the Y channel as stored, of
   video range and of more than 8 bits brought to 0 .. 255. What an HEIC file says of turning and
   mirroring (irot, imir) is left alone as EXIF's orientation is: phones store the rows of the
   sensor and say so, in one of the two ways or in both. name is used in messages. On failure err
   says what is wrong with the file (not an image, truncated, too large) and *out is empty. A JPEG
   that ends early or whose data is damaged is refused, not filled with grey: a mark measured in
   made-up pixels would be a wrong mark. */
TR_MUST_USE bool tr_image_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                                 tr_error *err);

/* Writes a grey PNG or JPEG (quality 1..100) whole or not at all (see base/file.h). */
TR_MUST_USE bool tr_image_write_png(const tr_image *image, const char *path, tr_error *err);
TR_MUST_USE bool tr_image_write_jpeg(const tr_image *image, int quality, const char *path,
                                     tr_error *err);

/* A PNG in colours, three bytes a pixel, row by row without gaps: made quickly rather than small.
 *data is owned by the caller (free); NULL on failure. name is used in messages. */
TR_MUST_USE bool tr_rgb_encode_png(const uint8_t *rgb, int width, int height, const char *name,
                                   uint8_t **data, size_t *size, tr_error *err);

/* JPEGs (quality 1..100) of a grey image, and of one in colours, as above. */
TR_MUST_USE bool tr_image_encode_jpeg(const tr_image *image, int quality, const char *name,
                                      uint8_t **data, size_t *size, tr_error *err);
TR_MUST_USE bool tr_rgb_encode_jpeg(const uint8_t *rgb, int width, int height, int quality,
                                    const char *name, uint8_t **data, size_t *size, tr_error *err);

/* A copy at 1/factor (factor 1..16), each pixel the mean of factor x factor; what is left at the
   right and bottom edge is dropped. Pixel (u, v) of the small image is centred at
   (factor u + (factor - 1)/2, ...) of the large one. */
TR_MUST_USE bool tr_image_shrink(const tr_image *image, int factor, tr_image *out, tr_error *err);

#endif
