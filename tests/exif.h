/* Photos that tell how they were taken: an Exif block written byte by byte, and JPEG files with it.
   Source: CIPA DC-008 (Exif 2.32), 4.5 and 4.6, and TIFF 6.0, section 2. */
#ifndef TR_TESTS_EXIF_H
#define TR_TESTS_EXIF_H

#include <stdint.h>
#include <string.h>

#include "base/file.h"
#include "temp.h"

/* What is zero or NULL is left out. */
typedef struct {
    bool is_little; /* byte order II, else MM */
    const char *make, *model, *taken, *lens;
    uint32_t focal_length_mm[2]; /* numerator, denominator */
    uint32_t digital_zoom[2];
    uint32_t exposure_s[2];
    uint32_t lens_focal_mm[2]; /* the shortest and the longest, whole */
    int iso;
    int equivalent_mm, orientation, width_px, height_px;
} exif_fields;

enum { EXIF_ASCII = 2, EXIF_SHORT = 3, EXIF_LONG = 4, EXIF_RATIONAL = 5 };
enum { EXIF_HEAD = 6, EXIF_MAX = 1024 };

typedef struct {
    uint8_t bytes[EXIF_MAX]; /* "Exif", two zeros, the TIFF structure */
    size_t size;
    bool is_little;
    /* The directory that is being written: */
    size_t entry;  /* where its next entry goes */
    size_t n_left; /* entries that it has room for */
} exif_block;

static inline void exif_put(exif_block *b, size_t at, uint32_t x, int n) {
    for (int i = 0; i < n; i++) {
        int shift = 8 * (b->is_little ? i : n - 1 - i);
        b->bytes[at + (size_t)i] = (uint8_t)(x >> shift);
    }
}

/* A directory of n entries at the end of the block; offsets count from the TIFF structure. */
static inline void exif_directory(exif_block *b, size_t n) {
    assert_int_equal(b->n_left, 0);
    exif_put(b, b->size, (uint32_t)n, 2);
    b->entry = b->size + 2;
    b->n_left = n;
    b->size += 2 + 12 * n + 4; /* no next directory */
    assert_true(b->size < EXIF_MAX);
}

/* The next entry; values of more than four bytes go to the end of the block. Returns where. */
static inline size_t exif_entry(exif_block *b, int tag, int type, size_t count, size_t value_size) {
    size_t at = b->entry;
    size_t value = at + 8;
    assert_true(b->n_left-- > 0);
    b->entry += 12;
    exif_put(b, at, (uint32_t)tag, 2);
    exif_put(b, at + 2, (uint32_t)type, 2);
    exif_put(b, at + 4, (uint32_t)count, 4);
    if (value_size > 4) {
        value = b->size;
        exif_put(b, at + 8, (uint32_t)(value - EXIF_HEAD), 4);
        b->size += value_size + value_size % 2;
        assert_true(b->size < EXIF_MAX);
    }
    return value;
}

static inline void exif_text(exif_block *b, int tag, const char *text) {
    if (!text) return;
    size_t n = strlen(text) + 1;
    memcpy(b->bytes + exif_entry(b, tag, EXIF_ASCII, n, n), text, n);
}

static inline void exif_integer(exif_block *b, int tag, int type, int x) {
    if (x) exif_put(b, exif_entry(b, tag, type, 1, 4), (uint32_t)x, type == EXIF_SHORT ? 2 : 4);
}

static inline void exif_rational(exif_block *b, int tag, const uint32_t x[2]) {
    if (!x[0] && !x[1]) return;
    size_t at = exif_entry(b, tag, EXIF_RATIONAL, 1, 8);
    exif_put(b, at, x[0], 4);
    exif_put(b, at + 4, x[1], 4);
}

static inline exif_block exif_make(const exif_fields *f) {
    enum { MAKE = 0x010f, MODEL = 0x0110, ORIENTATION = 0x0112, EXIF_IFD = 0x8769 };
    enum { TAKEN = 0x9003, FOCAL = 0x920a, X_SIZE = 0xa002, Y_SIZE = 0xa003, ZOOM = 0xa404 };
    enum { EQUIVALENT = 0xa405, LENS = 0xa434, LENS_RANGE = 0xa432 };
    enum { EXPOSURE = 0x829a, ISO = 0x8827 };
    exif_block b = {.is_little = f->is_little};
    memcpy(b.bytes, "Exif\0\0", EXIF_HEAD);
    memcpy(b.bytes + EXIF_HEAD, f->is_little ? "II" : "MM", 2);
    exif_put(&b, EXIF_HEAD + 2, 42, 2);
    exif_put(&b, EXIF_HEAD + 4, 8, 4);
    b.size = EXIF_HEAD + 8;
    exif_directory(&b, 1U + !!f->make + !!f->model + !!f->orientation);
    exif_text(&b, MAKE, f->make);
    exif_text(&b, MODEL, f->model);
    exif_integer(&b, ORIENTATION, EXIF_SHORT, f->orientation);
    size_t pointer = exif_entry(&b, EXIF_IFD, EXIF_LONG, 1, 4);
    exif_put(&b, pointer, (uint32_t)(b.size - EXIF_HEAD), 4);
    exif_directory(&b, 0U + !!f->taken + (f->focal_length_mm[0] || f->focal_length_mm[1]) +
                           !!f->width_px + !!f->height_px +
                           (f->digital_zoom[0] || f->digital_zoom[1]) + !!f->equivalent_mm +
                           (f->exposure_s[0] || f->exposure_s[1]) + !!f->iso + !!f->lens +
                           !!f->lens_focal_mm[0]);
    exif_rational(&b, EXPOSURE, f->exposure_s);
    exif_integer(&b, ISO, EXIF_SHORT, f->iso);
    exif_text(&b, TAKEN, f->taken);
    exif_rational(&b, FOCAL, f->focal_length_mm);
    exif_integer(&b, X_SIZE, EXIF_LONG, f->width_px);
    exif_integer(&b, Y_SIZE, EXIF_SHORT, f->height_px);
    exif_rational(&b, ZOOM, f->digital_zoom);
    exif_integer(&b, EQUIVALENT, EXIF_SHORT, f->equivalent_mm);
    if (f->lens_focal_mm[0]) {
        size_t at = exif_entry(&b, LENS_RANGE, EXIF_RATIONAL, 4, 32);
        for (size_t i = 0; i < 4; i++) {
            exif_put(&b, at + 8 * i, i < 2 ? f->lens_focal_mm[i] : 0, 4);
            exif_put(&b, at + 8 * i + 4, i < 2, 4); /* apertures: 0/0, not known */
        }
    }
    exif_text(&b, LENS, f->lens);
    assert_int_equal(b.n_left, 0);
    return b;
}

/* The JPEG with the block in an APP1 segment of its own, behind the start of the image; owned by
   the caller. */
static inline uint8_t *exif_into_jpeg(const uint8_t *jpeg, size_t jpeg_size, const uint8_t *block,
                                      size_t block_size, size_t *size) {
    uint8_t *out = malloc(jpeg_size + block_size + 4);
    assert_non_null(out);
    assert_true(jpeg_size >= 2 && block_size + 2 <= 0xffff);
    const uint8_t segment[4] = {0xff, 0xe1, (uint8_t)((block_size + 2) >> 8),
                                (uint8_t)(block_size + 2)};
    memcpy(out, jpeg, 2);
    memcpy(out + 2, segment, 4);
    memcpy(out + 6, block, block_size);
    memcpy(out + 6 + block_size, jpeg + 2, jpeg_size - 2);
    *size = jpeg_size + block_size + 4;
    return out;
}

/* The photo `from` of that folder under the name `to`, with what it tells. */
static inline void exif_copy(const char *folder, const char *from, const char *to,
                             const exif_fields *f) {
    char path[TEMP_SIZE];
    uint8_t *jpeg;
    size_t jpeg_size;
    size_t size;
    exif_block b = exif_make(f);
    assert_true(tr_file_read(temp_path(path, folder, from), 1 << 26, &jpeg, &jpeg_size, NULL));
    uint8_t *with = exif_into_jpeg(jpeg, jpeg_size, b.bytes, b.size, &size);
    temp_write(temp_path(path, folder, to), with, size);
    free(jpeg);
    free(with);
}

#endif
