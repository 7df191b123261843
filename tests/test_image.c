/* Photographs from files. The odd ones are made here with libjpeg and libpng. Pixels are exact, not
   near: PNG keeps them, and a JPEG of quality 100 keeps blocks of one value, since then its only
   coefficient is a whole number. */
#include "check.h"
#include "temp.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <jpeglib.h>
#include <png.h>

#include "base/file.h"
#include "image/image.h"

/* ---- helpers ---- */

typedef struct {
    uint8_t *data;
    size_t size;
} bytes;

static void append(bytes *to, const void *data, size_t n) {
    to->data = realloc(to->data, to->size + n);
    assert_non_null(to->data);
    memcpy(to->data + to->size, data, n);
    to->size += n;
}

static uint32_t next_random(uint32_t *state) {
    *state ^= *state << 13;
    *state ^= *state >> 17;
    *state ^= *state << 5;
    return *state;
}

static void fill_random(uint8_t *px, size_t n, uint32_t seed) {
    for (size_t i = 0; i < n; i++) px[i] = (uint8_t)(next_random(&seed) >> 8);
}

static tr_image decode(bytes file) {
    tr_image image;
    tr_error err = {0};
    if (!tr_image_decode(file.data, file.size, "test", &image, &err)) {
        print_error("%s\n", err.text);
        fail();
    }
    return image;
}

/* Refused with a sentence that holds `part`; returns the error for more. */
static tr_error refuse(const uint8_t *data, size_t size, const char *part) {
    tr_image image;
    tr_error err = {0};
    /* A copy of just this size, so that reading past its end is noticed. */
    uint8_t *copy = malloc(size ? size : 1);
    assert_non_null(copy);
    if (size) memcpy(copy, data, size);
    assert_false(tr_image_decode(copy, size, "photo.jpg", &image, &err));
    free(copy);
    assert_null(image.px);
    assert_int_equal(image.width, 0);
    assert_int_equal(err.code, TR_BAD_INPUT);
    assert_string_equal(err.file, "photo.jpg");
    if (!strstr(err.text, part)) {
        print_error("'%s' is not in '%s'\n", part, err.text);
        fail();
    }
    return err;
}

static void check_same(const tr_image *a, const tr_image *b) {
    assert_int_equal(a->width, b->width);
    assert_int_equal(a->height, b->height);
    assert_memory_equal(a->px, b->px, (size_t)a->width * (size_t)a->height);
}

/* ---- JPEG ---- */

typedef struct {
    int width, height, components;
    J_COLOR_SPACE given, stored;
    int quality;
    int luma_sampling; /* 2: Cb and Cr have half the width and height */
    bool is_progressive, has_no_app14;
    const jpeg_scan_info *scans;
    int n_scans;
    const uint8_t *px; /* width * height * components */
} jpeg_spec;

static bytes make_jpeg(jpeg_spec spec) {
    struct jpeg_compress_struct cinfo;
    struct jpeg_error_mgr errors;
    bytes file = {0};
    unsigned long size = 0;
    cinfo.err = jpeg_std_error(&errors);
    jpeg_create_compress(&cinfo);
    jpeg_mem_dest(&cinfo, &file.data, &size);
    cinfo.image_width = (JDIMENSION)spec.width;
    cinfo.image_height = (JDIMENSION)spec.height;
    cinfo.input_components = spec.components;
    cinfo.in_color_space = spec.given;
    jpeg_set_defaults(&cinfo);
    jpeg_set_colorspace(&cinfo, spec.stored);
    jpeg_set_quality(&cinfo, spec.quality, TRUE);
    if (spec.has_no_app14) cinfo.write_Adobe_marker = FALSE;
    for (int c = 0; c < spec.components; c += 3) { /* luma and, of four, K */
        cinfo.comp_info[c].h_samp_factor = spec.luma_sampling == 2 ? 2 : 1;
        cinfo.comp_info[c].v_samp_factor = spec.luma_sampling == 2 ? 2 : 1;
    }
    if (spec.is_progressive) jpeg_simple_progression(&cinfo);
    if (spec.scans) {
        cinfo.scan_info = spec.scans;
        cinfo.num_scans = spec.n_scans;
    }
    jpeg_start_compress(&cinfo, TRUE);
    for (int v = 0; v < spec.height; v++) {
        JSAMPROW row = (JSAMPROW)(uintptr_t)(spec.px + (long)v * spec.width * spec.components);
        jpeg_write_scanlines(&cinfo, &row, 1);
    }
    jpeg_finish_compress(&cinfo);
    jpeg_destroy_compress(&cinfo);
    file.size = size;
    return file;
}

enum { BLOCKS_WIDTH = 75, BLOCKS_HEIGHT = 53 }; /* no multiples of 8 */

/* Squares of 16 px, each of one colour; `index` of the square at (u, v). */
static int block_index(int u, int v) {
    return u / 16 + 5 * (v / 16);
}

/* A file of squares of the colours given (20 of them), and what each must become. */
static void check_blocks(jpeg_spec spec, const uint8_t (*colours)[4], const int *grey) {
    uint8_t px[BLOCKS_WIDTH * BLOCKS_HEIGHT * 4];
    for (int v = 0; v < BLOCKS_HEIGHT; v++) {
        for (int u = 0; u < BLOCKS_WIDTH; u++) {
            memcpy(px + (v * BLOCKS_WIDTH + u) * spec.components, colours[block_index(u, v)],
                   (size_t)spec.components);
        }
    }
    spec.width = BLOCKS_WIDTH;
    spec.height = BLOCKS_HEIGHT;
    spec.quality = 100;
    spec.px = px;
    bytes file = make_jpeg(spec);
    tr_image image = decode(file);
    assert_int_equal(image.width, BLOCKS_WIDTH);
    assert_int_equal(image.height, BLOCKS_HEIGHT);
    for (int v = 0; v < BLOCKS_HEIGHT; v++) {
        for (int u = 0; u < BLOCKS_WIDTH; u++) {
            assert_int_equal(tr_image_row(&image, v)[u], grey[block_index(u, v)]);
        }
    }
    tr_image_release(&image);
    free(file.data);
}

static void test_jpeg_grey(void **state) {
    (void)state;
    uint8_t colours[20][4] = {{0}};
    int grey[20];
    for (int i = 0; i < 20; i++) {
        grey[i] = i * 255 / 19;
        colours[i][0] = (uint8_t)grey[i];
    }
    jpeg_spec spec = {.components = 1, .given = JCS_GRAYSCALE, .stored = JCS_GRAYSCALE};
    check_blocks(spec, (const uint8_t(*)[4])colours, grey);
    spec.is_progressive = true;
    check_blocks(spec, (const uint8_t(*)[4])colours, grey);
}

static void test_jpeg_ycbcr_is_its_y(void **state) {
    (void)state;
    uint8_t colours[20][4] = {{0}};
    int grey[20];
    for (int i = 0; i < 20; i++) {
        grey[i] = 13 * i;
        colours[i][0] = (uint8_t)grey[i];
        colours[i][1] = (uint8_t)(200 - 9 * i); /* must not matter */
        colours[i][2] = (uint8_t)(i % 2 ? 255 : 0);
    }
    jpeg_spec spec = {.components = 3, .given = JCS_YCbCr, .stored = JCS_YCbCr};
    for (int sampling = 1; sampling <= 2; sampling++) {
        spec.luma_sampling = sampling;
        spec.is_progressive = false;
        check_blocks(spec, (const uint8_t(*)[4])colours, grey);
        spec.is_progressive = true;
        check_blocks(spec, (const uint8_t(*)[4])colours, grey);
    }
}

static void test_jpeg_rgb(void **state) {
    (void)state;
    /* By hand, 0.299 R + 0.587 G + 0.114 B: 76.245, 149.685, 29.07, 225.93, ... */
    const uint8_t colours[20][4] = {{255, 0, 0},     {0, 255, 0},    {0, 0, 255},  {255, 255, 0},
                                    {255, 255, 255}, {0, 0, 0},      {1, 1, 1},    {254, 254, 254},
                                    {100, 50, 200},  {50, 200, 100}, {0, 255, 255}};
    const int grey[20] = {76, 150, 29, 226, 255, 0, 1, 254, 82, 144, 179};
    jpeg_spec spec = {.components = 3, .given = JCS_RGB, .stored = JCS_RGB};
    check_blocks(spec, colours, grey);
}

static void test_jpeg_cmyk(void **state) {
    (void)state;
    /* As stored. Inverted (APP14): R = C K / 255. By hand: 255 255 255 255 is white; K 128 gives
       128; red 76.245; red under K 128 38.27; 0.299*100 + 0.587*50 + 0.114*200 = 82.05, times
       51/255 16.41. */
    const uint8_t colours[20][4] = {{255, 255, 255, 255}, {255, 255, 255, 128}, {255, 0, 0, 255},
                                    {255, 0, 0, 128},     {0, 255, 0, 255},     {0, 0, 255, 255},
                                    {100, 50, 200, 51},   {200, 200, 200, 0},   {7, 7, 7, 255}};
    const int inverted[20] = {255, 128, 76, 38, 150, 29, 16, 0, 7};
    jpeg_spec spec = {.components = 4, .given = JCS_CMYK, .stored = JCS_CMYK};
    check_blocks(spec, colours, inverted);

    uint8_t flipped[20][4];
    for (int i = 0; i < 20; i++) {
        for (int c = 0; c < 4; c++) flipped[i][c] = (uint8_t)(255 - colours[i][c]);
    }
    spec.has_no_app14 = true;
    check_blocks(spec, (const uint8_t(*)[4])flipped, inverted);
}

static void test_jpeg_ycck(void **state) {
    (void)state;
    /* C = M = Y, since these pass the step to YCC and back without rounding. */
    uint8_t colours[20][4];
    int grey[20];
    for (int i = 0; i < 20; i++) {
        const int c = 13 * i;
        const int k = 255 - 7 * i;
        for (int j = 0; j < 3; j++) colours[i][j] = (uint8_t)c;
        colours[i][3] = (uint8_t)k;
        grey[i] = (2 * c * k + 255) / 510;
    }
    jpeg_spec spec = {.components = 4, .given = JCS_CMYK, .stored = JCS_YCCK};
    check_blocks(spec, (const uint8_t(*)[4])colours, grey);
    spec.luma_sampling = 2;
    check_blocks(spec, (const uint8_t(*)[4])colours, grey);
}

/* 61 x 43 px of smooth colour with noise: an ordinary photo, small. 4:2:0. */
static bytes make_photo(bool is_progressive) {
    enum { W = 61, H = 43 };
    uint8_t px[W * H * 3];
    fill_random(px, sizeof px, 7);
    for (int i = 0; i < W * H * 3; i++)
        px[i] = (uint8_t)(px[i] / 4 + (i / 3 % W) * 2 + (i / 3 / W));
    return make_jpeg((jpeg_spec){.width = W,
                                 .height = H,
                                 .components = 3,
                                 .given = JCS_RGB,
                                 .stored = JCS_YCbCr,
                                 .quality = 90,
                                 .luma_sampling = 2,
                                 .is_progressive = is_progressive,
                                 .px = px});
}

/* By the other path: libjpeg's own output as YCbCr, of which Y is kept. */
static tr_image decode_y(bytes file) {
    struct jpeg_decompress_struct cinfo;
    struct jpeg_error_mgr errors;
    tr_image image;
    cinfo.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&cinfo);
    jpeg_mem_src(&cinfo, file.data, file.size);
    jpeg_read_header(&cinfo, TRUE);
    if (cinfo.num_components == 3) cinfo.out_color_space = JCS_YCbCr;
    jpeg_start_decompress(&cinfo);
    assert_true(tr_image_init(&image, (int)cinfo.output_width, (int)cinfo.output_height, NULL));
    const int n = cinfo.output_components;
    uint8_t *row = malloc((size_t)image.width * (size_t)n);
    assert_non_null(row);
    for (int v = 0; v < image.height; v++) {
        jpeg_read_scanlines(&cinfo, &row, 1);
        for (int u = 0; u < image.width; u++) image.px[(long)v * image.width + u] = row[u * n];
    }
    free(row);
    jpeg_finish_decompress(&cinfo);
    jpeg_destroy_decompress(&cinfo);
    return image;
}

static void check_against_y(bytes file) {
    tr_image image = decode(file);
    tr_image y = decode_y(file);
    check_same(&image, &y);
    tr_image_release(&image);
    tr_image_release(&y);
}

static void test_jpeg_progressive_is_the_same_photo(void **state) {
    (void)state;
    bytes baseline = make_photo(false);
    bytes progressive = make_photo(true);
    check_against_y(baseline);
    check_against_y(progressive);
    tr_image a = decode(baseline);
    tr_image b = decode(progressive);
    check_same(&a, &b);
    tr_image_release(&a);
    tr_image_release(&b);
    free(baseline.data);
    free(progressive.data);
}

static void test_jpeg_photos(void **state) {
    (void)state;
    /* Debian package opencv-doc: a grey baseline, a colour baseline and a progressive photo. */
    static const char *const photos[] = {"left01.jpg", "board.jpg", "Blender_Suzanne1.jpg"};
    for (size_t i = 0; i < sizeof photos / sizeof photos[0]; i++) {
        char path[128];
        bytes file;
        snprintf(path, sizeof path, "/usr/share/doc/opencv-doc/examples/data/%s", photos[i]);
        need(access(path, R_OK) == 0, path);
        assert_true(tr_file_read(path, 1 << 24, &file.data, &file.size, NULL));
        check_against_y(file);
        free(file.data);
    }
}

static void test_jpeg_orientation_is_ignored(void **state) {
    (void)state;
    /* An APP1 segment of one tag, 0x0112 orientation = 6 (turn by 90 deg to show). Exif 2.32. */
    static const uint8_t app1[] = {0xff, 0xe1, 0, 34, 'E', 'x', 'i', 'f', 0, 0,    'M', 'M',
                                   0,    42,   0, 0,  0,   8,   0,   1,   1, 0x12, 0,   3,
                                   0,    0,    0, 1,  0,   6,   0,   0,   0, 0,    0,   0};
    bytes plain = make_photo(false);
    bytes turned = {0};
    append(&turned, plain.data, 2);
    append(&turned, app1, sizeof app1);
    append(&turned, plain.data + 2, plain.size - 2);
    tr_image a = decode(plain);
    tr_image b = decode(turned);
    check_same(&a, &b);
    tr_image_release(&a);
    tr_image_release(&b);
    free(plain.data);
    free(turned.data);
}

/* What follows the end marker (a second picture, a short film) is not ours. */
static void test_jpeg_tail_is_ignored(void **state) {
    (void)state;
    bytes plain = make_photo(false);
    bytes longer = {0};
    append(&longer, plain.data, plain.size);
    append(&longer, plain.data, plain.size / 2);
    tr_image a = decode(plain);
    tr_image b = decode(longer);
    check_same(&a, &b);
    tr_image_release(&a);
    tr_image_release(&b);
    free(plain.data);
    free(longer.data);
}

/* Offset of the n-th marker of this kind, n from 0; size where there is none. */
static size_t find_marker(bytes file, uint8_t marker, int n) {
    for (size_t i = 0; i + 1 < file.size; i++) {
        if (file.data[i] == 0xff && file.data[i + 1] == marker && n-- == 0) return i;
    }
    return file.size;
}

enum { SOF0 = 0xc0, SOS = 0xda };

static void test_jpeg_without_its_last_scans(void **state) {
    (void)state;
    static const uint8_t end[] = {0xff, 0xd9};
    bytes whole = make_photo(true);
    int n = 1;
    for (; find_marker(whole, SOS, n) < whole.size; n++) {
        bytes cut = {0};
        append(&cut, whole.data, find_marker(whole, SOS, n));
        append(&cut, end, sizeof end);
        refuse(cut.data, cut.size, "lacks some of its scans");
        free(cut.data);
    }
    assert_true(n >= 6);
    free(whole.data);
}

static void test_jpeg_sequential_scan_missing(void **state) {
    (void)state;
    static const jpeg_scan_info scans[] = {
        {1, {1}, 0, 63, 0, 0}, {1, {2}, 0, 63, 0, 0}, {1, {0}, 0, 63, 0, 0}};
    static const uint8_t end[] = {0xff, 0xd9};
    uint8_t px[32 * 32 * 3];
    fill_random(px, sizeof px, 3);
    bytes whole = make_jpeg((jpeg_spec){.width = 32,
                                        .height = 32,
                                        .components = 3,
                                        .given = JCS_YCbCr,
                                        .stored = JCS_YCbCr,
                                        .quality = 90,
                                        .scans = scans,
                                        .n_scans = 3,
                                        .px = px});
    check_against_y(whole);
    bytes cut = {0};
    append(&cut, whole.data, find_marker(whole, SOS, 2)); /* no luma at all */
    append(&cut, end, sizeof end);
    refuse(cut.data, cut.size, "lacks some of its scans");
    free(cut.data);

    /* A scan repeated without end breaks no rule that the library knows. */
    bytes many = {0};
    const size_t last = find_marker(whole, SOS, 2);
    append(&many, whole.data, last);
    for (int i = 0; i < 5000; i++) append(&many, whole.data + last, whole.size - 2 - last);
    append(&many, end, sizeof end);
    refuse(many.data, many.size, "more than 64 scans");
    free(many.data);
    free(whole.data);
}

static void test_jpeg_many_scans(void **state) {
    (void)state;
    /* Progressive and sound, each coefficient of each component in a scan of its own. */
    enum { N = 1 + 3 * 63 };
    jpeg_scan_info scans[N] = {{3, {0, 1, 2}, 0, 0, 0, 0}};
    for (int i = 1; i < N; i++) {
        const int k = 1 + (i - 1) % 63;
        scans[i] = (jpeg_scan_info){1, {(i - 1) / 63}, k, k, 0, 0};
    }
    uint8_t px[32 * 32 * 3];
    fill_random(px, sizeof px, 4);
    bytes file = make_jpeg((jpeg_spec){.width = 32,
                                       .height = 32,
                                       .components = 3,
                                       .given = JCS_YCbCr,
                                       .stored = JCS_YCbCr,
                                       .quality = 90,
                                       .scans = scans,
                                       .n_scans = N,
                                       .px = px});
    refuse(file.data, file.size, "more than 64 scans");
    free(file.data);
}

static double seconds_since(clock_t start) {
    return (double)(clock() - start) / CLOCKS_PER_SEC;
}

static void set_jpeg_size(bytes file, int width, int height) {
    uint8_t *sof = file.data + find_marker(file, SOF0, 0);
    sof[5] = (uint8_t)(height >> 8);
    sof[6] = (uint8_t)height;
    sof[7] = (uint8_t)(width >> 8);
    sof[8] = (uint8_t)width;
}

static void test_jpeg_sizes(void **state) {
    (void)state;
    bytes file = make_photo(false);
    const clock_t start = clock();
    set_jpeg_size(file, 60000, 60000);
    refuse(file.data, file.size, "60000 x 60000 px, more than the 200 megapixels");
    set_jpeg_size(file, 20000, 10001);
    refuse(file.data, file.size, "20000 x 10001 px, more than the 200 megapixels");
    set_jpeg_size(file, 65535, 65535);
    refuse(file.data, file.size, "wider or higher than 65500 px");
    CHECK_AT_MOST(seconds_since(start), 0.5);
    set_jpeg_size(file, 0, 43);
    refuse(file.data, file.size, "no pixels");
    set_jpeg_size(file, 61, 0);
    refuse(file.data, file.size, "no pixels");
    set_jpeg_size(file, 61, 4300); /* more rows than there are data for */
    refuse(file.data, file.size, "damaged or ends early");
    set_jpeg_size(file, 61, 16); /* and fewer */
    refuse(file.data, file.size, "damaged or ends early");
    free(file.data);
}

static void test_jpeg_of_other_kinds(void **state) {
    (void)state;
    bytes file = make_photo(false);
    uint8_t *sof = file.data + find_marker(file, SOF0, 0);
    sof[4] = 12; /* bits a sample */
    refuse(file.data, file.size, "this kind of JPEG cannot be read");
    sof[4] = 8;
    sof[1] = 0xc3; /* lossless */
    refuse(file.data, file.size, "this kind of JPEG cannot be read");
    free(file.data);
}

/* ---- PNG ---- */

typedef struct {
    int width, height, colour_type, depth;
    bool is_interlaced;
    const png_color *palette;
    int n_palette;
    const uint8_t *alpha; /* of the palette */
    int n_alpha;
    const png_color_16 *transparent;
    const uint8_t *rows; /* packed as in the file, each row from a new byte on */
} png_spec;

static void png_append(png_structp png, png_bytep data, size_t n) {
    append(png_get_io_ptr(png), data, n);
}

static void png_flush_nothing(png_structp png) {
    (void)png;
}

static size_t png_row_bytes(png_spec spec) {
    static const int channels[] = {1, 0, 3, 1, 2, 0, 4};
    return ((size_t)(spec.width * channels[spec.colour_type] * spec.depth) + 7) / 8;
}

static bytes make_png(png_spec spec) {
    bytes file = {0};
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    png_infop info = png_create_info_struct(png);
    png_set_write_fn(png, &file, png_append, png_flush_nothing);
    png_set_check_for_invalid_index(png, 0);
    png_set_IHDR(png, info, (png_uint_32)spec.width, (png_uint_32)spec.height, spec.depth,
                 spec.colour_type, spec.is_interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    if (spec.palette) png_set_PLTE(png, info, spec.palette, spec.n_palette);
    if (spec.alpha) png_set_tRNS(png, info, spec.alpha, spec.n_alpha, NULL);
    if (spec.transparent) png_set_tRNS(png, info, NULL, 0, spec.transparent);
    png_write_info(png, info);
    const int passes = png_set_interlace_handling(png);
    for (int pass = 0; pass < passes; pass++) {
        for (int v = 0; v < spec.height; v++)
            png_write_row(png, spec.rows + (size_t)v * png_row_bytes(spec));
    }
    png_write_end(png, info);
    png_destroy_write_struct(&png, &info);
    return file;
}

/* A file of one row, and the grey that each pixel must become. */
static void check_png_row(png_spec spec, const int *grey) {
    spec.height = 1;
    for (int i = 0; i < 2; i++) {
        spec.is_interlaced = i == 1;
        bytes file = make_png(spec);
        tr_image image = decode(file);
        assert_int_equal(image.width, spec.width);
        assert_int_equal(image.height, 1);
        for (int u = 0; u < spec.width; u++) assert_int_equal(image.px[u], grey[u]);
        tr_image_release(&image);
        free(file.data);
    }
}

static void test_png_grey(void **state) {
    (void)state;
    check_png_row((png_spec){.width = 10,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 1,
                             .rows = (const uint8_t[]){0xa5, 0x40}},
                  (const int[]){255, 0, 255, 0, 0, 255, 0, 255, 0, 255});
    check_png_row((png_spec){.width = 5,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 2,
                             .rows = (const uint8_t[]){0x1b, 0x80}},
                  (const int[]){0, 85, 170, 255, 170});
    check_png_row((png_spec){.width = 3,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 4,
                             .rows = (const uint8_t[]){0x0f, 0x70}},
                  (const int[]){0, 255, 119});
    check_png_row((png_spec){.width = 4,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 8,
                             .rows = (const uint8_t[]){0, 1, 200, 255}},
                  (const int[]){0, 1, 200, 255});
}

/* 65535 / 255 = 257: 128 is below half of it and 129 above, 65406 is 254.49 of them. */
static void test_png_16_bit_is_rounded(void **state) {
    (void)state;
    check_png_row((png_spec){.width = 6,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 16,
                             .rows = (const uint8_t[]){0, 128, 0, 129, 1, 1, 0xff, 0x7e, 0xff, 0x7f,
                                                       0xff, 0xff}},
                  (const int[]){0, 1, 1, 254, 255, 255});
    /* 0.587 * 257 * 2 / 257 = 1.174; 0.299 * 429 / 257 = 0.4991 and of 430 0.5003: colours are
       rounded once, after the weighting. */
    check_png_row((png_spec){.width = 3,
                             .colour_type = PNG_COLOR_TYPE_RGB,
                             .depth = 16,
                             .rows = (const uint8_t[]){0, 0, 2, 2, 0, 0, 1, 0xad, 0, 0, 0, 0, 1,
                                                       0xae, 0, 0, 0, 0}},
                  (const int[]){1, 0, 1});
}

static void test_png_rgb(void **state) {
    (void)state;
    check_png_row((png_spec){.width = 6,
                             .colour_type = PNG_COLOR_TYPE_RGB,
                             .depth = 8,
                             .rows = (const uint8_t[]){255, 0, 0, 0, 255, 0, 0, 0, 255, 255, 255,
                                                       255, 1, 1, 1, 100, 50, 200}},
                  (const int[]){76, 150, 29, 255, 1, 82});
}

/* Any colour, any alpha, both depths, against the formula in floating point. */
static void test_png_rgba_formula(void **state) {
    (void)state;
    enum { N = 4000 };
    static uint8_t row[N * 8];
    fill_random(row, sizeof row, 99);
    for (int depth = 8; depth <= 16; depth += 8) {
        bytes file = make_png((png_spec){.width = N,
                                         .height = 1,
                                         .colour_type = PNG_COLOR_TYPE_RGB_ALPHA,
                                         .depth = depth,
                                         .rows = row});
        tr_image image = decode(file);
        for (int u = 0; u < N; u++) {
            double c[4];
            for (int j = 0; j < 4; j++) {
                const uint8_t *p = row + (u * 4 + j) * depth / 8;
                c[j] = depth == 8 ? p[0] / 255.0 : (p[0] * 256 + p[1]) / 65535.0;
            }
            const double luma = 0.299 * c[0] + 0.587 * c[1] + 0.114 * c[2];
            CHECK_NEAR(image.px[u], 255 * (luma * c[3] + 1 - c[3]), 0.5 + 1e-9);
        }
        tr_image_release(&image);
        free(file.data);
    }
}

static void test_png_alpha_over_white(void **state) {
    (void)state;
    check_png_row((png_spec){.width = 4,
                             .colour_type = PNG_COLOR_TYPE_GRAY_ALPHA,
                             .depth = 8,
                             .rows = (const uint8_t[]){0, 128, 77, 0, 77, 255, 100, 51}},
                  (const int[]){127, 255, 77, 224});
    check_png_row((png_spec){.width = 2,
                             .colour_type = PNG_COLOR_TYPE_GRAY_ALPHA,
                             .depth = 16,
                             .rows = (const uint8_t[]){0, 0, 0x80, 0x80, 9, 9, 0, 0}},
                  (const int[]){127, 255});
    check_png_row((png_spec){.width = 2,
                             .colour_type = PNG_COLOR_TYPE_RGB_ALPHA,
                             .depth = 8,
                             .rows = (const uint8_t[]){255, 0, 0, 51, 0, 0, 0, 0}},
                  (const int[]){219, 255}); /* 0.2 * 76.245 + 0.8 * 255 = 219.249 */
}

static void test_png_transparent_colour(void **state) {
    (void)state;
    check_png_row((png_spec){.width = 3,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 8,
                             .transparent = &(png_color_16){.gray = 40},
                             .rows = (const uint8_t[]){39, 40, 41}},
                  (const int[]){39, 255, 41});
    check_png_row((png_spec){.width = 4,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 2,
                             .transparent = &(png_color_16){.gray = 1},
                             .rows = (const uint8_t[]){0x1b}},
                  (const int[]){0, 255, 170, 255});
    check_png_row((png_spec){.width = 2,
                             .colour_type = PNG_COLOR_TYPE_GRAY,
                             .depth = 16,
                             .transparent = &(png_color_16){.gray = 0x0101},
                             .rows = (const uint8_t[]){1, 1, 1, 2}},
                  (const int[]){255, 1});
    check_png_row((png_spec){.width = 2,
                             .colour_type = PNG_COLOR_TYPE_RGB,
                             .depth = 8,
                             .transparent = &(png_color_16){.red = 255},
                             .rows = (const uint8_t[]){255, 0, 0, 255, 0, 1}},
                  (const int[]){255, 76});
}

static void test_png_palette(void **state) {
    (void)state;
    static const png_color palette[] = {
        {255, 0, 0}, {0, 255, 0}, {0, 0, 255}, {255, 255, 255}, {20, 20, 20}};
    static const uint8_t alpha[] = {51, 255, 0};
    check_png_row((png_spec){.width = 5,
                             .colour_type = PNG_COLOR_TYPE_PALETTE,
                             .depth = 8,
                             .palette = palette,
                             .n_palette = 5,
                             .rows = (const uint8_t[]){4, 3, 2, 1, 0}},
                  (const int[]){20, 255, 29, 150, 76});
    check_png_row((png_spec){.width = 5,
                             .colour_type = PNG_COLOR_TYPE_PALETTE,
                             .depth = 4,
                             .palette = palette,
                             .n_palette = 5,
                             .alpha = alpha,
                             .n_alpha = 3,
                             .rows = (const uint8_t[]){0x43, 0x21, 0x00}},
                  (const int[]){20, 255, 255, 150, 219});
    check_png_row((png_spec){.width = 8,
                             .colour_type = PNG_COLOR_TYPE_PALETTE,
                             .depth = 1,
                             .palette = palette,
                             .n_palette = 2,
                             .rows = (const uint8_t[]){0x0f}},
                  (const int[]){76, 76, 76, 76, 150, 150, 150, 150});
    bytes file = make_png((png_spec){.width = 2,
                                     .height = 1,
                                     .colour_type = PNG_COLOR_TYPE_PALETTE,
                                     .depth = 8,
                                     .palette = palette,
                                     .n_palette = 5,
                                     .rows = (const uint8_t[]){4, 5}});
    refuse(file.data, file.size, "outside the palette");
    free(file.data);
}

/* Every small size, since the passes of some are empty. */
static void test_png_interlaced(void **state) {
    (void)state;
    static const int kinds[][2] = {{PNG_COLOR_TYPE_GRAY, 1},
                                   {PNG_COLOR_TYPE_GRAY, 8},
                                   {PNG_COLOR_TYPE_RGB, 8},
                                   {PNG_COLOR_TYPE_RGB_ALPHA, 16}};
    uint8_t rows[17 * 17 * 8];
    fill_random(rows, sizeof rows, 5);
    for (int i = 0; i < 4 * 17 * 17; i++) {
        png_spec spec = {.width = 1 + i % 17,
                         .height = 1 + i / 17 % 17,
                         .colour_type = kinds[i / 289][0],
                         .depth = kinds[i / 289][1],
                         .rows = rows};
        bytes plain = make_png(spec);
        spec.is_interlaced = true;
        bytes interlaced = make_png(spec);
        tr_image a = decode(plain);
        tr_image b = decode(interlaced);
        check_same(&a, &b);
        tr_image_release(&a);
        tr_image_release(&b);
        free(plain.data);
        free(interlaced.data);
    }
}

/* 40 x 40 px of colour with alpha. */
static bytes make_colour_png(bool is_interlaced) {
    uint8_t rows[40 * 40 * 4];
    fill_random(rows, sizeof rows, 11);
    return make_png((png_spec){.width = 40,
                               .height = 40,
                               .colour_type = PNG_COLOR_TYPE_RGB_ALPHA,
                               .depth = 8,
                               .is_interlaced = is_interlaced,
                               .rows = rows});
}

/* CRC-32 of PNG 1.2, appendix D, bit by bit. */
static uint32_t crc32_of(const uint8_t *data, size_t n) {
    uint32_t crc = 0xffffffff;
    for (size_t i = 0; i < n; i++) {
        crc ^= data[i];
        for (int k = 0; k < 8; k++) crc = crc & 1 ? 0xedb88320 ^ crc >> 1 : crc >> 1;
    }
    return ~crc;
}

static void put32(uint8_t *to, uint32_t value) {
    for (int i = 0; i < 4; i++) to[i] = (uint8_t)(value >> (24 - 8 * i));
}

enum { IHDR_TYPE = 12, IHDR_SIZE = 16, IHDR_CRC = 29 };

static void set_png_size(bytes file, uint32_t width, uint32_t height) {
    put32(file.data + IHDR_SIZE, width);
    put32(file.data + IHDR_SIZE + 4, height);
    put32(file.data + IHDR_CRC, crc32_of(file.data + IHDR_TYPE, IHDR_CRC - IHDR_TYPE));
}

static void test_png_sizes(void **state) {
    (void)state;
    bytes file = make_colour_png(false);
    const clock_t start = clock();
    set_png_size(file, 60000, 60000);
    refuse(file.data, file.size, "60000 x 60000 px, more than the 200 megapixels");
    set_png_size(file, 0x7fffffff, 0x7fffffff);
    refuse(file.data, file.size, "px, more than the 200 megapixels");
    set_png_size(file, 200000000, 1); /* allowed, but not with these few bytes */
    refuse(file.data, file.size, "too short for 200000000 x 1 px");
    CHECK_AT_MOST(seconds_since(start), 0.5);
    set_png_size(file, 0, 40);
    refuse(file.data, file.size, "damaged");
    set_png_size(file, 40, 0);
    refuse(file.data, file.size, "damaged");
    set_png_size(file, 40, 41); /* a row more than there are data for */
    refuse(file.data, file.size, "damaged or ends early");
    set_png_size(file, 40, 39); /* and one less */
    refuse(file.data, file.size, "damaged or ends early");
    set_png_size(file, 40, 40);
    tr_image image = decode(file);
    tr_image_release(&image);
    free(file.data);
}

/* Flat areas come near the limit of deflate; they must not be taken for a short file. */
static void test_png_flat_is_not_too_short(void **state) {
    (void)state;
    const int n = 6000;
    uint8_t *rows = calloc((size_t)n, (size_t)n);
    assert_non_null(rows);
    bytes file = make_png((png_spec){
        .width = n, .height = n, .colour_type = PNG_COLOR_TYPE_GRAY, .depth = 8, .rows = rows});
    assert_true(file.size * 900 < (size_t)n * (size_t)n);
    tr_image image = decode(file);
    assert_memory_equal(image.px, rows, (size_t)n * (size_t)n);
    tr_image_release(&image);
    free(file.data);
    free(rows);
}

/* ---- damage ---- */

static void check_truncated(bytes file) {
    for (size_t n = 0; n < file.size; n += 97) refuse(file.data, n, ";");
    for (size_t n = file.size - 20; n < file.size; n++) refuse(file.data, n, ";");
    tr_image image = decode(file);
    tr_image_release(&image);
}

static void test_truncated(void **state) {
    (void)state;
    bytes files[] = {make_photo(false), make_photo(true), make_colour_png(false),
                     make_colour_png(true)};
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        check_truncated(files[i]);
        free(files[i].data);
    }
}

/* Decodes a file with 1 to 4 wrong bytes: an image or a sentence, never both or neither. */
static bool decode_damaged(bytes file, uint32_t *seed) {
    uint8_t *copy = malloc(file.size);
    assert_non_null(copy);
    memcpy(copy, file.data, file.size);
    for (uint32_t i = next_random(seed) % 4 + 1; i > 0; i--) {
        const size_t at = next_random(seed) % file.size;
        copy[at] = (uint8_t)(file.data[at] + 1 + next_random(seed) % 255);
    }
    tr_image image;
    tr_error err = {0};
    const bool ok = tr_image_decode(copy, file.size, "test", &image, &err);
    assert_int_equal(ok, image.px != NULL);
    assert_int_equal(ok, image.width > 0 && image.height > 0);
    assert_int_equal(ok, err.code == TR_OK);
    assert_int_equal(ok, err.text[0] == 0);
    assert_null(strchr(err.text, '\n'));
    tr_image_release(&image);
    free(copy);
    return ok;
}

static void test_damaged_jpeg(void **state) {
    (void)state;
    uint32_t seed = 2024;
    int refused = 0;
    for (int p = 0; p < 2; p++) {
        bytes file = make_photo(p == 1);
        for (int i = 0; i < 1500; i++) refused += !decode_damaged(file, &seed);
        free(file.data);
    }
    /* JPEG has no checksums, so not all: but a good part is noticed. */
    assert_true(refused > 1000);
    assert_true(refused < 3000);
}

static void test_damaged_png(void **state) {
    (void)state;
    uint32_t seed = 2025;
    for (int p = 0; p < 2; p++) {
        bytes file = make_colour_png(p == 1);
        for (int i = 0; i < 1500; i++)
            assert_false(decode_damaged(file, &seed)); /* every chunk has its checksum */
        free(file.data);
    }
}

static void test_damaged_png_with_right_checksums(void **state) {
    (void)state;
    bytes file = make_colour_png(false);
    const size_t idat = IHDR_CRC + 4;
    assert_memory_equal(file.data + idat + 4, "IDAT", 4);
    const size_t n = (size_t)file.data[idat + 2] << 8 | file.data[idat + 3];
    uint32_t seed = 2026;
    for (int i = 0; i < 500; i++) {
        bytes copy = {0};
        append(&copy, file.data, file.size);
        const size_t at = idat + 8 + next_random(&seed) % n;
        copy.data[at] = (uint8_t)(copy.data[at] ^ (1U << next_random(&seed) % 8));
        put32(copy.data + idat + 8 + n, crc32_of(copy.data + idat + 4, n + 4));
        tr_image image;
        tr_error err = {0};
        const bool ok = tr_image_decode(copy.data, copy.size, "test", &image, &err);
        /* Bits of the stream's header that only tell how hard the packer tried may change. */
        if (ok) assert_true(at < idat + 10);
        tr_image_release(&image);
        free(copy.data);
    }
    free(file.data);
}

static tr_image make_image(int width, int height, uint32_t seed) {
    tr_image image;
    assert_true(tr_image_init(&image, width, height, NULL));
    fill_random(image.px, (size_t)width * (size_t)height, seed);
    return image;
}

static bytes read_file(const char *path) {
    bytes file;
    assert_true(tr_file_read(path, 1 << 24, &file.data, &file.size, NULL));
    return file;
}

/* Ultra HDR and MPF: an APP2 segment that lists the pictures, and behind the photo's end the
   others, such as a gain map. Source: CIPA DC-007 (Multi-Picture Format), 5.2. */
static void test_jpeg_second_picture(void **state) {
    (void)state;
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    temp_make(folder);
    tr_image first = make_image(64, 48, 11);
    tr_image second = make_image(16, 12, 12);
    tr_image image;
    tr_image alone;
    static const uint8_t MPF[] = {0xff, 0xe2, 0, 18, 'M', 'P', 'F', 0, 'M', 'M',
                                  0,    42,   0, 0,  0,   8,   0,   0, 0,   0};
    assert_true(tr_image_write_jpeg(&first, 95, temp_path(path, folder, "first.jpg"), NULL));
    bytes a = read_file(path);
    assert_true(tr_image_write_jpeg(&second, 95, temp_path(path, folder, "second.jpg"), NULL));
    bytes b = read_file(path);
    bytes both = {malloc(a.size + b.size + sizeof MPF), 0};
    assert_non_null(both.data);
    memcpy(both.data, a.data, 2);
    memcpy(both.data + 2, MPF, sizeof MPF);
    memcpy(both.data + 2 + sizeof MPF, a.data + 2, a.size - 2);
    size_t end = a.size + sizeof MPF;
    memcpy(both.data + end, b.data, b.size);
    both.size = end + b.size;
    assert_true(tr_image_decode(a.data, a.size, "a", &alone, NULL));
    /* With the second picture whole, cut, and with zeros behind. */
    for (size_t size = end; size <= both.size; size += 97) {
        assert_true(tr_image_decode(both.data, size, "both", &image, NULL));
        assert_int_equal(image.width, 64);
        assert_memory_equal(image.px, alone.px, 64 * 48);
        tr_image_release(&image);
    }
    memset(both.data + end, 0, b.size);
    assert_true(tr_image_decode(both.data, both.size, "both", &image, NULL));
    tr_image_release(&image);
    /* The second picture does not make up for the end of the first. */
    memcpy(both.data + end - 40, b.data, b.size);
    refuse(both.data, end - 40 + b.size, "damaged or ends early");
    refuse(both.data, end - 40, "damaged or ends early");
    tr_image_release(&alone);
    tr_image_release(&first);
    tr_image_release(&second);
    free(a.data);
    free(b.data);
    free(both.data);
    temp_remove(folder);
}

/* 8160 x 6144 px: 50 megapixels. A preview of 64 kB stands in front. */
static void test_jpeg_50_megapixels(void **state) {
    (void)state;
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    temp_make(folder);
    tr_image image;
    tr_image read;
    assert_true(tr_image_init(&image, 8160, 6144, NULL));
    memset(image.px, 90, (size_t)image.width * (size_t)image.height);
    assert_true(tr_image_write_jpeg(&image, 90, temp_path(path, folder, "large.jpg"), NULL));
    bytes a = read_file(path);
    enum { PREVIEW = 65535 };
    bytes with = {calloc(a.size + PREVIEW + 2, 1), a.size + PREVIEW + 2};
    assert_non_null(with.data);
    memcpy(with.data, a.data, 2);
    memcpy(with.data + 2, "\xff\xe1\xff\xff\xff\xd8\xff", 7); /* APP1; a picture within */
    memcpy(with.data + 2 + PREVIEW + 2, a.data + 2, a.size - 2);
    assert_true(tr_image_decode(with.data, with.size, "large", &read, NULL));
    assert_int_equal(read.width, 8160);
    assert_int_equal(read.height, 6144);
    assert_int_equal(tr_image_row(&read, 6143)[8159], 90);
    tr_image_release(&image);
    tr_image_release(&read);
    free(a.data);
    free(with.data);
    temp_remove(folder);
}

static void test_not_an_image(void **state) {
    (void)state;
    static const struct {
        const char *data;
        size_t size;
        const char *part;
    } files[] = {
        {"", 0, "the file is empty"},
        {"\xff", 1, "neither a JPEG nor an HEIC, AVIF or PNG"},
        {"\x89PNG", 4, "neither a JPEG nor an HEIC, AVIF or PNG"},
        {"\xff\xd8", 2, "damaged or ends early"},
        {"mat: 3\nunits: mm\n", 17, "neither a JPEG nor an HEIC, AVIF or PNG"},
        {"\0\0\0\x18"
         "ftypmp42\0\0\0\0isom",
         20, "a video"},
        {"RIFF\x10\0\0\0WEBPVP8 ", 16, "this is a WebP picture; use the JPEG"},
        {"II*\0\x08\0\0\0", 8, "TIFF or raw"},
        {"MM\0*\0\0\0\x08", 8, "TIFF or raw"},
        {"GIF89a\x01\0", 8, "GIF"},
        {"%PDF-1.7", 8, "PDF"},
    };
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        refuse((const uint8_t *)files[i].data, files[i].size, files[i].part);
    }
    /* And random bytes behind each of the two signatures. */
    uint8_t noise[400];
    for (uint32_t seed = 1; seed < 300; seed++) {
        fill_random(noise, sizeof noise, seed);
        if (seed % 2)
            memcpy(noise, "\xff\xd8\xff", 3);
        else
            memcpy(noise, "\x89PNG\r\n\x1a\n", 8);
        refuse(noise, sizeof noise, ";");
    }
    tr_image image;
    assert_false(tr_image_decode(NULL, 0, "test", &image, NULL)); /* nobody wants the sentence */
    assert_null(image.px);
}

/* ---- images in memory, written, shrunk ---- */

static void test_init(void **state) {
    (void)state;
    tr_image image;
    static const int bad[][2] = {{0, 5},  {5, 0},         {-1, 5},
                                 {5, -1}, {20000, 10001}, {2147483647, 2147483647}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        tr_error err = {0};
        assert_false(tr_image_init(&image, bad[i][0], bad[i][1], &err));
        assert_int_equal(err.code, TR_BAD_INPUT);
        assert_null(image.px);
        tr_image_release(&image);
    }
    assert_true(tr_image_init(&image, 3, 2, NULL));
    assert_ptr_equal(tr_image_row(&image, 1), image.px + 3);
    for (int i = 0; i < 6; i++) assert_int_equal(image.px[i], 0);
    tr_image_release(&image);
    assert_null(image.px);
    assert_int_equal(image.width, 0);
    tr_image_release(&image);
}

static void test_write(void **state) {
    (void)state;
    char folder[] = "/tmp/test_image_XXXXXX";
    char path[64];
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/a", folder);

    tr_image image = make_image(123, 45, 17);
    assert_true(tr_image_write_png(&image, path, NULL));
    bytes png = read_file(path);
    tr_image back = decode(png);
    check_same(&image, &back);
    tr_image_release(&back);

    assert_true(tr_image_write_png(&image, path, NULL)); /* the same bytes again */
    bytes again = read_file(path);
    assert_int_equal(png.size, again.size);
    assert_memory_equal(png.data, again.data, png.size);
    free(png.data);
    free(again.data);

    for (int quality = 1; quality <= 100; quality += 33) {
        assert_true(tr_image_write_jpeg(&image, quality, path, NULL));
        bytes jpeg = read_file(path);
        check_against_y(jpeg);
        back = decode(jpeg);
        assert_int_equal(back.width, 123);
        assert_int_equal(back.height, 45);
        double worst = 0;
        for (int i = 0; i < 123 * 45; i++) worst = fmax(worst, abs(back.px[i] - image.px[i]));
        /* Of 64 coefficients rounded by 1/2 each, in an orthonormal transform: 4 at the worst, and
           1/2 for the pixel itself. */
        if (quality == 100) CHECK_AT_MOST(worst, 4.5);
        tr_image_release(&back);
        free(jpeg.data);
    }
    tr_image_release(&image);
    unlink(path);
    assert_int_equal(rmdir(folder), 0); /* nothing else was left there */
}

static void test_write_refused(void **state) {
    (void)state;
    char folder[] = "/tmp/test_image_XXXXXX";
    char path[64];
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/a", folder);
    tr_image image = make_image(8, 8, 1);
    const tr_image empty = {0};
    tr_image wide;
    assert_true(tr_image_init(&wide, 65501, 1, NULL));

    static const int bad_quality[] = {0, 101, -5};
    for (int i = 0; i < 3; i++) {
        tr_error err = {0};
        assert_false(tr_image_write_jpeg(&image, bad_quality[i], path, &err));
        assert_int_equal(err.code, TR_BAD_INPUT);
    }
    tr_error err = {0};
    assert_false(tr_image_write_jpeg(&wide, 90, path, &err));
    assert_non_null(strstr(err.text, "write a PNG"));
    assert_false(tr_image_write_jpeg(&empty, 90, path, NULL));
    assert_false(tr_image_write_png(&empty, path, NULL));
    assert_int_equal(rmdir(folder), 0); /* still empty */

    for (int i = 0; i < 2; i++) {
        tr_error gone = {0};
        assert_false(i ? tr_image_write_png(&image, path, &gone)
                       : tr_image_write_jpeg(&image, 90, path, &gone));
        assert_int_equal(gone.code, TR_NO_FILE);
        assert_string_equal(gone.file, path);
    }
    tr_image_release(&image);
    tr_image_release(&wide);
}

static void test_shrink_by_hand(void **state) {
    (void)state;
    /* Means 2.5, 0.25; 255, 1.75: halves go up; the last column and row are dropped. */
    static uint8_t px[] = {1,   2,   0, 0, 9, /* */
                           3,   4,   1, 0, 9, /* */
                           255, 255, 1, 2, 9, /* */
                           255, 255, 2, 2, 9, /* */
                           9,   9,   9, 9, 9};
    const tr_image image = {.width = 5, .height = 5, .px = px};
    static const uint8_t want[] = {3, 0, 255, 2};
    tr_image out;
    assert_true(tr_image_shrink(&image, 2, &out, NULL));
    assert_int_equal(out.width, 2);
    assert_int_equal(out.height, 2);
    assert_memory_equal(out.px, want, 4);
    tr_image_release(&out);
}

static void test_shrink_all_factors(void **state) {
    (void)state;
    tr_image image = make_image(331, 77, 23);
    memset(image.px, 255, 331 * 20); /* the largest sums */
    for (int factor = 1; factor <= 16; factor++) {
        tr_image out;
        assert_true(tr_image_shrink(&image, factor, &out, NULL));
        assert_int_equal(out.width, 331 / factor);
        assert_int_equal(out.height, 77 / factor);
        for (int v = 0; v < out.height; v++) {
            for (int u = 0; u < out.width; u++) {
                long sum = 0;
                for (int i = 0; i < factor * factor; i++) {
                    sum += tr_image_row(&image, v * factor + i / factor)[u * factor + i % factor];
                }
                const double mean = (double)sum / (factor * factor);
                assert_int_equal(tr_image_row(&out, v)[u], (int)floor(mean + 0.5));
            }
        }
        tr_image_release(&out);
    }
    tr_image_release(&image);
}

static void test_shrink_refused(void **state) {
    (void)state;
    tr_image image = make_image(9, 3, 2);
    static const int bad[] = {0, -1, 17, 4 /* higher than the image */};
    for (int i = 0; i < 4; i++) {
        tr_image out;
        tr_error err = {0};
        assert_false(tr_image_shrink(&image, bad[i], &out, &err));
        assert_int_equal(err.code, TR_BAD_INPUT);
        assert_null(out.px);
    }
    tr_image_release(&image);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_jpeg_grey),
        cmocka_unit_test(test_jpeg_ycbcr_is_its_y),
        cmocka_unit_test(test_jpeg_rgb),
        cmocka_unit_test(test_jpeg_cmyk),
        cmocka_unit_test(test_jpeg_ycck),
        cmocka_unit_test(test_jpeg_progressive_is_the_same_photo),
        cmocka_unit_test(test_jpeg_photos),
        cmocka_unit_test(test_jpeg_orientation_is_ignored),
        cmocka_unit_test(test_jpeg_tail_is_ignored),
        cmocka_unit_test(test_jpeg_second_picture),
        cmocka_unit_test(test_jpeg_50_megapixels),
        cmocka_unit_test(test_jpeg_without_its_last_scans),
        cmocka_unit_test(test_jpeg_sequential_scan_missing),
        cmocka_unit_test(test_jpeg_many_scans),
        cmocka_unit_test(test_jpeg_sizes),
        cmocka_unit_test(test_jpeg_of_other_kinds),
        cmocka_unit_test(test_png_grey),
        cmocka_unit_test(test_png_16_bit_is_rounded),
        cmocka_unit_test(test_png_rgb),
        cmocka_unit_test(test_png_rgba_formula),
        cmocka_unit_test(test_png_alpha_over_white),
        cmocka_unit_test(test_png_transparent_colour),
        cmocka_unit_test(test_png_palette),
        cmocka_unit_test(test_png_interlaced),
        cmocka_unit_test(test_png_sizes),
        cmocka_unit_test(test_png_flat_is_not_too_short),
        cmocka_unit_test(test_truncated),
        cmocka_unit_test(test_damaged_jpeg),
        cmocka_unit_test(test_damaged_png),
        cmocka_unit_test(test_damaged_png_with_right_checksums),
        cmocka_unit_test(test_not_an_image),
        cmocka_unit_test(test_init),
        cmocka_unit_test(test_write),
        cmocka_unit_test(test_write_refused),
        cmocka_unit_test(test_shrink_by_hand),
        cmocka_unit_test(test_shrink_all_factors),
        cmocka_unit_test(test_shrink_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
