#include "image/image.h"

#include <stdlib.h>
#include <string.h>

#include "base/language.h"
#include "image/codec.h"

enum { MAX_FACTOR = 16 };

bool tr_image_check_size(int64_t width, int64_t height, const char *name, tr_error *err) {
    if (width < 1 || height < 1) {
        return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                          "the image is %lld x %lld px and so has no pixels; use another photo",
                          (long long)width, (long long)height);
    }
    if (height > TR_IMAGE_MAX_PX / width) {
        return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                          "the image is %lld x %lld px, more than the %ld megapixels that can be "
                          "read; take the photo with a smaller image size",
                          (long long)width, (long long)height, TR_IMAGE_MAX_PX / 1000000);
    }
    return true;
}

bool tr_image_init(tr_image *image, int width, int height, tr_error *err) {
    *image = (tr_image){0};
    if (!tr_image_check_size(width, height, NULL, err)) return false;
    uint8_t *px = calloc((size_t)height, (size_t)width);
    if (!px) return tr_fail_memory(err);
    *image = (tr_image){.width = width, .height = height, .px = px};
    return true;
}

void tr_image_release(tr_image *image) {
    free(image->px);
    *image = (tr_image){0};
}

static bool has(const uint8_t *data, size_t size, size_t at, const char *magic, size_t n) {
    return size >= at + n && memcmp(data + at, magic, n) == 0;
}

/* A file that is no photo for us: says what it is where its first bytes tell. */
static bool fail_unknown(const uint8_t *data, size_t size, const char *name, tr_error *err) {
    static const struct {
        size_t at;
        const char *magic;
        size_t n;
        const char *text;
    } kinds[] = {
        /* ISO/IEC 14496-12 files tell their kind by the brand behind "ftyp". */
        {4, "ftypcrx", 7,
         TR_N("this is a raw photo; set the camera to save JPEG (\"most compatible\") and take the "
              "photo again")},
        {4, "ftyp", 4,
         TR_N("this is a video or a photo of an unknown kind; set the camera to save JPEG (\"most "
              "compatible\") and take the photo again")},
        {0, "II*\0", 4,
         TR_N("this is a TIFF or raw photo; set the camera to save JPEG (\"most compatible\") and "
              "take the photo again")},
        {0, "MM\0*", 4,
         TR_N("this is a TIFF or raw photo; set the camera to save JPEG (\"most compatible\") and "
              "take the photo again")},
        {4, "JXL \r\n", 6,
         TR_N("this is a JPEG XL photo; set the camera to save JPEG (\"most compatible\") and take "
              "the photo again")},
        {0, "\xff\x0a", 2,
         TR_N("this is a JPEG XL photo; set the camera to save JPEG (\"most compatible\") and take "
              "the photo again")},
        {4, "jP  \r\n", 6,
         TR_N("this is a JPEG 2000 photo; set the camera to save JPEG (\"most compatible\") and "
              "take the photo again")},
        {8, "WEBP", 4, TR_N("this is a WebP picture; use the JPEG file that the camera saved")},
        {0, "GIF8", 4, TR_N("this is a GIF picture; use the JPEG file that the camera saved")},
        {0, "BM", 2, TR_N("this is a BMP picture; use the JPEG file that the camera saved")},
        {0, "%PDF", 4, TR_N("this is a PDF document; use the JPEG file that the camera saved")},
    };
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        if (has(data, size, kinds[i].at, kinds[i].magic, kinds[i].n)) {
            return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL, "%s", kinds[i].text);
        }
    }
    return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                      "this is neither a JPEG nor an HEIC, AVIF or PNG file; use the JPEG file "
                      "that the camera saved");
}

bool tr_image_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                     tr_error *err) {
    *out = (tr_image){0};
    if (size == 0) {
        return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                          "the file is empty; copy the photo from the camera again");
    }
    bool ok = false;
    if (has(data, size, 0, "\xff\xd8", 2)) {
        ok = tr_jpeg_decode(data, size, name, out, err);
    } else if (has(data, size, 0, "\x89PNG\r\n\x1a\n", 8)) {
        ok = tr_png_decode(data, size, name, out, err);
    } else if (tr_heif_kind(data, size)) {
        ok = tr_heif_decode(data, size, name, out, err);
    } else {
        ok = fail_unknown(data, size, name, err);
    }
    if (!ok) tr_image_release(out);
    return ok;
}

/* sums[u] = column u of `factor` rows, one after the other from `from`; at most 16 * 255. */
static void add_rows(const uint8_t *from, int width, int factor, uint16_t *sums) {
    for (int u = 0; u < width; u++) sums[u] = from[u];
    for (int i = 1; i < factor; i++) {
        const uint8_t *row = from + (long)i * width;
        for (int u = 0; u < width; u++) sums[u] = (uint16_t)(sums[u] + row[u]);
    }
}

/* to[u] = the mean of a box, rounded, halves up: factor of the sums above, each of factor pixels.
   The compiler unrolls and vectorises it where factor is a constant. */
static inline void mean_of_sums(const uint16_t *restrict sums, int factor, uint8_t *restrict to,
                                int width) {
    const unsigned n = (unsigned)(factor * factor);
    for (int u = 0; u < width; u++) {
        unsigned sum = n / 2;
        for (int i = 0; i < factor; i++) sum += sums[u * factor + i];
        to[u] = (uint8_t)(sum / n);
    }
}

bool tr_image_shrink(const tr_image *image, int factor, tr_image *out, tr_error *err) {
    *out = (tr_image){0};
    if (factor < 1 || factor > MAX_FACTOR) {
        return tr_fail(err, TR_BAD_INPUT, "an image can be shrunk by 1 to %d, not by %d",
                       MAX_FACTOR, factor);
    }
    if (!tr_image_init(out, image->width / factor, image->height / factor, err)) return false;
    uint16_t *sums = malloc(sizeof *sums * (size_t)image->width);
    if (!sums) {
        tr_image_release(out);
        return tr_fail_memory(err);
    }
    for (int v = 0; v < out->height; v++) {
        uint8_t *to = out->px + (long)v * out->width;
        add_rows(tr_image_row(image, v * factor), image->width, factor, sums);
        switch (factor) {
        case 2: mean_of_sums(sums, 2, to, out->width); break;
        case 4: mean_of_sums(sums, 4, to, out->width); break;
        default: mean_of_sums(sums, factor, to, out->width); break;
        }
    }
    free(sums);
    return true;
}
