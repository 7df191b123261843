/* PNG by libpng. As in jpeg.c, a failed call is left by a jump from the error callback back into
   decode_guarded(), and what must outlive the jump is in the job. */
#include "image/codec.h"

#include <setjmp.h>
#include <stdlib.h>
#include <string.h>

#include <png.h>

#include "base/file.h"

/* Deflate shrinks at best to 1/1032 (zlib technical details, "Maximum Compression Factor"). A
   header that claims more pixels than the file can hold is refused before memory is spent. */
enum { MAX_DEFLATE = 1032 };

typedef struct {
    png_structp png;
    png_infop info;
    jmp_buf leave;
    const char *name;
    tr_error *err;
    const uint8_t *data;
    size_t size, at;
    uint8_t *row;         /* one row of a pass as libpng hands it over; owned */
    uint8_t palette[256]; /* grey of each index */
    int n_palette;        /* 0: no palette */
    tr_image *out;
} decode_job;

static void on_error(png_structp png, png_const_charp why) {
    decode_job *job = png_get_error_ptr(png);
    tr_fail_at(job->err, TR_BAD_INPUT, job->name, 0, NULL,
               "the PNG is damaged or ends early (%s); copy the photo from the camera again", why);
    longjmp(job->leave, 1);
}

/* What could spoil pixels is an error (see set_up); the rest concerns nobody here. */
static void on_warning(png_structp png, png_const_charp why) {
    (void)png;
    (void)why;
}

static png_voidp take_memory(png_structp png, png_alloc_size_t size) {
    decode_job *job = png_get_mem_ptr(png);
    void *memory = malloc(size);
    if (!memory) tr_fail_memory(job->err); /* before libpng's own words: the first error stays */
    return memory;
}

static void give_memory(png_structp png, png_voidp memory) {
    (void)png;
    free(memory);
}

static void read_bytes(png_structp png, png_bytep to, size_t n) {
    decode_job *job = png_get_io_ptr(png);
    if (n > job->size - job->at) png_error(png, "end of file");
    memcpy(to, job->data + job->at, n);
    job->at += n;
}

/* The colour composited over white, as luma, on the scale 0..255. Samples and alpha: 0..max. All
   is exact up to the one rounding at the end (halves up): the largest number is 255e3 max^2. */
static inline uint8_t grey_over_white(uint32_t r, uint32_t g, uint32_t b, uint32_t alpha,
                                      uint32_t max) {
    const uint64_t full = UINT64_C(1000) * max * max;
    const uint64_t white = UINT64_C(1000) * max * (max - alpha);
    const uint64_t over = (uint64_t)tr_luma_1000(r, g, b) * alpha + white;
    return (uint8_t)((over * 255 + full / 2) / full);
}

static uint32_t sample16(const uint8_t *p) {
    return (uint32_t)p[0] << 8 | p[1];
}

/* Grey of one pixel of 1 grey, 2 grey alpha, 3 RGB or 4 RGBA channels of 8 or 16 bits. */
static uint8_t grey_of_pixel(const uint8_t *p, int channels, int depth) {
    const int g = channels > 2 ? 1 : 0;
    const int b = channels > 2 ? 2 : 0;
    const int alpha = channels % 2 == 0 ? channels - 1 : -1;
    if (depth == 8) return grey_over_white(p[0], p[g], p[b], alpha < 0 ? 255 : p[alpha], 255);
    return grey_over_white(sample16(p), sample16(p + 2 * g), sample16(p + 2 * b),
                           alpha < 0 ? 65535 : sample16(p + 2 * alpha), 65535);
}

/* Row v of the image, of which this pass holds the pixels u0, u0 + step, ... */
static void place_row(const decode_job *job, int v, int u0, int step) {
    uint8_t *to = job->out->px + (long)v * job->out->width;
    const int channels = png_get_channels(job->png, job->info);
    const int depth = png_get_bit_depth(job->png, job->info);
    const uint8_t *p = job->row;
    for (int u = u0; u < job->out->width; u += step, p += channels * depth / 8) {
        if (job->n_palette == 0) {
            to[u] = grey_of_pixel(p, channels, depth);
        } else if (*p < job->n_palette) {
            to[u] = job->palette[*p];
        } else {
            png_error(job->png, "a colour outside the palette");
        }
    }
}

static void read_pixels(decode_job *job) {
    const bool is_interlaced = png_get_interlace_type(job->png, job->info) != PNG_INTERLACE_NONE;
    const int passes = is_interlaced ? PNG_INTERLACE_ADAM7_PASSES : 1;
    for (int pass = 0; pass < passes; pass++) {
        const int u0 = is_interlaced ? PNG_PASS_START_COL(pass) : 0;
        const int v0 = is_interlaced ? PNG_PASS_START_ROW(pass) : 0;
        const int du = is_interlaced ? PNG_PASS_COL_OFFSET(pass) : 1;
        const int dv = is_interlaced ? PNG_PASS_ROW_OFFSET(pass) : 1;
        if (u0 >= job->out->width) continue; /* an empty pass has no rows in the file */
        for (int v = v0; v < job->out->height; v += dv) {
            png_read_row(job->png, job->row, NULL);
            place_row(job, v, u0, du);
        }
    }
}

static void read_palette(decode_job *job) {
    png_colorp colours = NULL;
    png_bytep alpha = NULL;
    int n_alpha = 0;
    png_get_PLTE(job->png, job->info, &colours, &job->n_palette);
    png_get_tRNS(job->png, job->info, &alpha, &n_alpha, NULL);
    for (int i = 0; i < job->n_palette; i++) {
        job->palette[i] = grey_over_white(colours[i].red, colours[i].green, colours[i].blue,
                                          i < n_alpha ? alpha[i] : 255, 255);
    }
}

/* Strict, and only what bears on pixels: any wrong checksum or odd compressed data is an error, and
   text, profiles and the like are skipped unread. */
static bool set_up(decode_job *job) {
    job->png = png_create_read_struct_2(PNG_LIBPNG_VER_STRING, job, on_error, on_warning, job,
                                        take_memory, give_memory);
    if (!job->png) return tr_fail_memory(job->err);
    job->info = png_create_info_struct(job->png);
    if (!job->info) return tr_fail_memory(job->err);
    png_set_read_fn(job->png, job, read_bytes);
    png_set_user_limits(job->png, PNG_UINT_31_MAX, PNG_UINT_31_MAX); /* see check_header */
    png_set_crc_action(job->png, PNG_CRC_ERROR_QUIT, PNG_CRC_ERROR_QUIT);
    png_set_benign_errors(job->png, 0);
    png_set_keep_unknown_chunks(job->png, PNG_HANDLE_CHUNK_NEVER, NULL, -1);
    return true;
}

static bool check_header(const decode_job *job) {
    const png_uint_32 width = png_get_image_width(job->png, job->info);
    const png_uint_32 height = png_get_image_height(job->png, job->info);
    if (!tr_image_check_size(width, height, job->name, job->err)) return false;
    if ((uint64_t)png_get_rowbytes(job->png, job->info) * height >
        (uint64_t)MAX_DEFLATE * job->size) {
        return tr_fail_at(job->err, TR_BAD_INPUT, job->name, 0, NULL,
                          "the PNG is damaged or ends early (too short for %lu x %lu px); copy the "
                          "photo from the camera again",
                          (unsigned long)width, (unsigned long)height);
    }
    return true;
}

static bool decode_all(decode_job *job) {
    if (!set_up(job)) return false;
    png_read_info(job->png, job->info);
    if (!check_header(job)) return false;
    png_set_packing(job->png);
    if (png_get_color_type(job->png, job->info) == PNG_COLOR_TYPE_PALETTE) {
        read_palette(job); /* not expanded by libpng, which lets indices beyond the palette pass */
    } else {
        png_set_expand_gray_1_2_4_to_8(job->png);
        if (png_get_valid(job->png, job->info, PNG_INFO_tRNS)) png_set_tRNS_to_alpha(job->png);
    }
    png_read_update_info(job->png, job->info);
    job->row = malloc(png_get_rowbytes(job->png, job->info));
    if (!job->row) return tr_fail_memory(job->err);
    if (!tr_image_init(job->out, (int)png_get_image_width(job->png, job->info),
                       (int)png_get_image_height(job->png, job->info), job->err)) {
        return false;
    }
    read_pixels(job);
    png_read_end(job->png, NULL);
    return true;
}

static bool decode_guarded(decode_job *job) {
    if (setjmp(job->leave)) return false;
    return decode_all(job);
}

bool tr_png_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                   tr_error *err) {
    decode_job job = {.data = data, .size = size, .name = name, .err = err, .out = out};
    bool ok = decode_guarded(&job);
    png_destroy_read_struct(&job.png, &job.info, NULL);
    free(job.row);
    return ok;
}

/* By libpng's simplified interface, which catches its own errors. flags: PNG_IMAGE_FLAG_... */
static bool encode(const uint8_t *px, int width, int height, png_uint_32 format, png_uint_32 flags,
                   const char *name, uint8_t **data, size_t *size, tr_error *err) {
    *data = NULL;
    *size = 0;
    if (!tr_image_check_size(width, height, name, err)) return false;
    png_image png = {.version = PNG_IMAGE_VERSION,
                     .width = (png_uint_32)width,
                     .height = (png_uint_32)height,
                     .format = format,
                     .flags = flags};
    png_alloc_size_t n = PNG_IMAGE_PNG_SIZE_MAX(png);
    *data = malloc(n);
    if (!*data) return tr_fail_memory(err);
    if (png_image_write_to_memory(&png, *data, &n, 0, px, 0, NULL) == 0) {
        /* For want of memory, as a rule: the message tells. */
        free(*data);
        *data = NULL;
        return tr_fail_at(err, TR_NO_MEMORY, name, 0, NULL,
                          "the PNG cannot be made (%s); close other programs or use a smaller "
                          "image",
                          png.message);
    }
    *size = n;
    return true;
}

bool tr_image_write_png(const tr_image *image, const char *path, tr_error *err) {
    uint8_t *data;
    size_t size = 0;
    bool ok = encode(image->px, image->width, image->height, PNG_FORMAT_GRAY, 0, path, &data, &size,
                     err) &&
              tr_file_write(path, data, size, err);
    free(data);
    return ok;
}

bool tr_rgb_encode_png(const uint8_t *rgb, int width, int height, const char *name, uint8_t **data,
                       size_t *size, tr_error *err) {
    return encode(rgb, width, height, PNG_FORMAT_RGB, PNG_IMAGE_FLAG_FAST, name, data, size, err);
}
