#include "image/exif.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include <libexif/exif-data.h>

#include "base/text.h"
#include "image/codec.h"

/* In front of the TIFF structure, as in a JPEG's APP1 segment. */
static const uint8_t HEAD[6] = {'E', 'x', 'i', 'f', 0, 0};
/* What an APP1 segment can hold; a PNG's chunk is held to the same (an item of a HEIC file to what
   heif.c says). */
enum { MAX_BLOCK = 65533 };

/* ---- Where it stands in the file ---- */

typedef struct {
    const uint8_t *tiff; /* behind HEAD; borrowed. NULL: there is none */
    size_t size;
    uint8_t *owned; /* what was read to find it; NULL: nothing */
} block;

static uint32_t big_endian(const uint8_t *p, int n) {
    uint32_t x = 0;
    for (int i = 0; i < n; i++) x = x << 8 | p[i];
    return x;
}

/* Segment by segment up to the pixels. */
static block find_in_jpeg(const uint8_t *data, size_t size) {
    enum { SOI_SIZE = 2, TEM = 0x01, RST0 = 0xd0, SOI = 0xd8, EOI = 0xd9, SOS = 0xda, APP1 = 0xe1 };
    size_t at = SOI_SIZE;
    while (size - at >= 4 && data[at] == 0xff) {
        uint8_t marker = data[at + 1];
        if (marker == EOI || marker == SOS) break;
        if (marker == 0xff) { /* fill */
            at++;
            continue;
        }
        if (marker == TEM || (marker >= RST0 && marker <= SOI)) { /* without length */
            at += 2;
            continue;
        }
        size_t length = big_endian(data + at + 2, 2);
        if (length < 2 || length > size - at - 2) break;
        const uint8_t *content = data + at + 4;
        if (marker == APP1 && length - 2 > sizeof HEAD && memcmp(content, HEAD, sizeof HEAD) == 0) {
            return (block){.tiff = content + sizeof HEAD, .size = length - 2 - sizeof HEAD};
        }
        at += 2 + length;
    }
    return (block){0};
}

static bool is_png(const uint8_t *data, size_t size) {
    return size >= 8 && memcmp(data, "\x89PNG\r\n\x1a\n", 8) == 0;
}

static block find_in_png(const uint8_t *data, size_t size) {
    enum { SIGNATURE_SIZE = 8, OVERHEAD = 12 }; /* of a chunk: length, type, checksum */
    size_t at = SIGNATURE_SIZE;
    while (size - at >= OVERHEAD) {
        size_t length = big_endian(data + at, 4);
        if (length > size - at - OVERHEAD) break;
        if (memcmp(data + at + 4, "eXIf", 4) == 0)
            return (block){.tiff = data + at + 8, .size = length};
        at += OVERHEAD + length;
    }
    return (block){0};
}

/* The item begins with how many bytes come before the TIFF structure: HEAD, or none. */
static bool find_in_heif(const uint8_t *data, size_t size, block *b, tr_error *err) {
    enum { OFFSET_SIZE = 4 };
    size_t n;
    if (!tr_heif_exif(data, size, &b->owned, &n, err)) return false;
    if (n <= OFFSET_SIZE) return true;
    uint32_t offset = big_endian(b->owned, OFFSET_SIZE);
    if (offset >= n - OFFSET_SIZE) return true;
    b->tiff = b->owned + OFFSET_SIZE + offset;
    b->size = n - OFFSET_SIZE - offset;
    return true;
}

static bool find_block(const uint8_t *data, size_t size, block *b, tr_error *err) {
    *b = (block){0};
    if (tr_heif_kind(data, size)) return find_in_heif(data, size, b, err);
    if (size >= 2 && memcmp(data, "\xff\xd8", 2) == 0) *b = find_in_jpeg(data, size);
    if (is_png(data, size)) *b = find_in_png(data, size);
    if (b->size > MAX_BLOCK) b->tiff = NULL;
    return true;
}

/* ---- Values ---- */

/* Of Exif 2.3; libexif 0.6.24 has no names for them. */
static const ExifTag LENS_SPECIFICATION = (ExifTag)0xa432;
static const ExifTag LENS_MODEL = (ExifTag)0xa434;

typedef struct {
    ExifData *data;
    ExifByteOrder order;
} reader;

/* At least size bytes in that format. */
static const ExifEntry *entry_of(const reader *r, ExifIfd ifd, ExifTag tag, ExifFormat format,
                                 unsigned size) {
    const ExifEntry *e = exif_content_get_entry(r->data->ifd[ifd], tag);
    return e && e->data && e->format == format && e->size >= size ? e : NULL;
}

/* 0 where it is not there or not from low to high. */
static int integer_of(const reader *r, ExifIfd ifd, ExifTag tag, int low, int high) {
    const ExifEntry *e = entry_of(r, ifd, tag, EXIF_FORMAT_SHORT, 2);
    int64_t x = e ? exif_get_short(e->data, r->order) : 0;
    if (!e) {
        e = entry_of(r, ifd, tag, EXIF_FORMAT_LONG, 4);
        x = e ? exif_get_long(e->data, r->order) : 0;
    }
    return x >= low && x <= high ? (int)x : 0;
}

/* Without blanks at either end, one printable line. */
static void text_of(const reader *r, ExifIfd ifd, ExifTag tag, char *out, size_t size) {
    const ExifEntry *e = entry_of(r, ifd, tag, EXIF_FORMAT_ASCII, 1);
    out[0] = 0;
    if (!e) return;
    const char *text = (const char *)e->data;
    size_t n = strnlen(text, e->size);
    while (n > 0 && text[n - 1] == ' ') n--;
    for (; n > 0 && *text == ' '; n--) text++;
    tr_text_show(text, n, out, size);
}

/* The model, with the make in front where it does not begin with it anyway. */
static void read_name(const reader *r, tr_camera *camera) {
    char make[sizeof camera->name];
    char model[sizeof camera->name];
    char both[2 * sizeof camera->name];
    text_of(r, EXIF_IFD_0, EXIF_TAG_MAKE, make, sizeof make);
    text_of(r, EXIF_IFD_0, EXIF_TAG_MODEL, model, sizeof model);
    bool has_make = strncasecmp(model, make, strlen(make)) == 0;
    snprintf(both, sizeof both, "%s%s%s", has_make ? "" : make, !has_make && *model ? " " : "",
             model);
    tr_text_show(both, strlen(both), camera->name, sizeof camera->name);
}

/* The rational number i of an entry. */
static bool rational_at(const reader *r, ExifTag tag, unsigned i, double *x) {
    const ExifEntry *e = entry_of(r, EXIF_IFD_EXIF, tag, EXIF_FORMAT_RATIONAL, 8 * (i + 1));
    if (!e) return false;
    ExifRational q = exif_get_rational(e->data + (size_t)8 * i, r->order);
    if (q.denominator == 0) return false;
    *x = (double)q.numerator / q.denominator;
    return true;
}

static bool rational_of(const reader *r, ExifTag tag, double *x) {
    return rational_at(r, tag, 0, x);
}

/* That of the photo; else of the lens, where it has one alone (LensSpecification: the shortest and
   the longest). */
static double focal_length_of(const reader *r) {
    double x = 0;
    double longest = 0;
    bool is_told = rational_of(r, EXIF_TAG_FOCAL_LENGTH, &x) && x > 0;
    if (!is_told) {
        is_told = rational_at(r, LENS_SPECIFICATION, 0, &x) &&
                  rational_at(r, LENS_SPECIFICATION, 1, &longest) && !(longest > x);
    }
    return is_told && x <= TR_CAMERA_MAX_FOCAL_MM ? x : 0; /* 0 is "unknown" there, too */
}

static double digital_zoom_of(const reader *r) {
    double x = 0;
    if (!rational_of(r, EXIF_TAG_DIGITAL_ZOOM_RATIO, &x) || x > TR_CAMERA_MAX_ZOOM) return 0;
    return x > 0 ? x : 1; /* a ratio of 0 says that there was none */
}

/* Days since 1970-01-01 in the Gregorian calendar, counted in years that begin in March. */
static int64_t days_of(int year, int month, int day) {
    int64_t y = month > 2 ? year : year - 1;
    int64_t day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    return 365 * y + y / 4 - y / 100 + y / 400 + day_of_year - 719468;
}

/* The number at text[at]; -1 where not all n are digits. */
static int digits_at(const char *text, int at, int n) {
    int x = 0;
    for (int i = at; i < at + n; i++) {
        if (text[i] < '0' || text[i] > '9') return -1;
        x = 10 * x + text[i] - '0';
    }
    return x;
}

/* "2026:03:02 10:15:00", or with anything else between the numbers; unknown numbers are blank. */
static void read_time(const reader *r, tr_exif *out) {
    static const struct {
        int at, n, low, high;
    } PARTS[6] = {{0, 4, 1, 9999}, {5, 2, 1, 12},  {8, 2, 1, 31},
                  {11, 2, 0, 23},  {14, 2, 0, 59}, {17, 2, 0, 60}};
    char text[32];
    int t[6];
    text_of(r, EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL, text, sizeof text);
    if (strlen(text) != sizeof out->taken - 1) return;
    for (int i = 0; i < 6; i++) {
        t[i] = digits_at(text, PARTS[i].at, PARTS[i].n);
        if (t[i] < PARTS[i].low || t[i] > PARTS[i].high) return;
    }
    snprintf(out->taken, sizeof out->taken, "%.4s-%.2s-%.2s %.2s:%.2s:%.2s", text, text + 5,
             text + 8, text + 11, text + 14, text + 17);
    out->taken_s = 86400 * days_of(t[0], t[1], t[2]) + 3600 * t[3] + 60 * t[4] + t[5];
}

static void read_values(const reader *r, tr_exif *out) {
    enum { MAX_SIDE_PX = 65535, MAX_EQUIVALENT_MM = 9999, MAX_EXPOSURE_S = 3600 };
    enum { MAX_ISO = 10000000 };
    read_name(r, &out->camera);
    out->camera.focal_length_mm = focal_length_of(r);
    out->camera.equivalent_focal_length_mm =
        integer_of(r, EXIF_IFD_EXIF, EXIF_TAG_FOCAL_LENGTH_IN_35MM_FILM, 1, MAX_EQUIVALENT_MM);
    out->camera.digital_zoom = digital_zoom_of(r);
    text_of(r, EXIF_IFD_EXIF, LENS_MODEL, out->camera.lens, sizeof out->camera.lens);
    double exposure_s = 0;
    bool is_told = rational_of(r, EXIF_TAG_EXPOSURE_TIME, &exposure_s);
    out->exposure_s = is_told && exposure_s <= MAX_EXPOSURE_S ? exposure_s : 0;
    out->iso = integer_of(r, EXIF_IFD_EXIF, EXIF_TAG_ISO_SPEED_RATINGS, 1, MAX_ISO);
    out->orientation = integer_of(r, EXIF_IFD_0, EXIF_TAG_ORIENTATION, 1, 8);
    out->width_px = integer_of(r, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_X_DIMENSION, 1, MAX_SIDE_PX);
    out->height_px = integer_of(r, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_Y_DIMENSION, 1, MAX_SIDE_PX);
    read_time(r, out);
}

/* ---- The library ---- */

/* Within tr_exif_read: an allocation failed. The library drops an entry for which it gets no memory
   and goes on without a word; and half of what a photo tells would let one of another lens pass for
   one that tells nothing. Its callbacks take no context, hence this place. */
static _Thread_local bool has_no_memory;

static void *noted(void *memory) {
    if (!memory) has_no_memory = true;
    return memory;
}

static void *take(ExifLong size) {
    return noted(calloc(1, size));
}

static void *retake(void *memory, ExifLong size) {
    return noted(realloc(memory, size));
}

static ExifData *load(ExifMem *mem, const uint8_t *bytes, size_t size) {
    ExifData *data = exif_data_new_mem(mem);
    if (!data) return NULL;
    /* It would fill in what is missing, such as today as the date. */
    exif_data_unset_option(data, EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
    exif_data_load_data(data, bytes, (unsigned)size);
    return data;
}

bool tr_exif_read(const uint8_t *data, size_t size, tr_exif *out, tr_error *err) {
    *out = (tr_exif){0};
    block b;
    out->is_png = is_png(data, size);
    if (!find_block(data, size, &b, err)) return false;
    if (!b.tiff) {
        free(b.owned);
        return true;
    }
    has_no_memory = false;
    reader r = {NULL, EXIF_BYTE_ORDER_MOTOROLA};
    ExifMem *mem = exif_mem_new(take, retake, free);
    uint8_t *bytes = take((ExifLong)(sizeof HEAD + b.size));
    if (mem && bytes) {
        memcpy(bytes, HEAD, sizeof HEAD);
        memcpy(bytes + sizeof HEAD, b.tiff, b.size);
        r.data = load(mem, bytes, sizeof HEAD + b.size);
    }
    bool ok = r.data && !has_no_memory;
    if (ok) {
        r.order = exif_data_get_byte_order(r.data);
        read_values(&r, out);
    }
    exif_data_unref(r.data);
    exif_mem_unref(mem);
    free(bytes);
    free(b.owned);
    return ok || tr_fail_memory(err);
}
