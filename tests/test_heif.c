/* HEIC and AVIF photos: luma to the digit, the sensor's rows whatever turns them, and nothing made
   up. The files are made by libheif's encoders without loss, or composed (heif.h). */
#include "heif.h"

#include <math.h>

#include "exif.h"
#include "image/image.h"
#include "image/photo_file.h"

enum { WIDTH = 96, HEIGHT = 64 };

/* Different in every pixel of a tile and in every channel, from end to end. */
static int value_8(int u, int v, int channel) {
    return (u * 7 + v * 13 + (u * v) / 5 + 85 * channel) & 255;
}
static int value_10(int u, int v, int channel) {
    return (u * 29 + v * 53 + u * v + 340 * channel) & 1023;
}
static int video_8(int u, int v, int channel) {
    return 16 + value_8(u, v, channel) % 220;
}
static int flat(int u, int v, int channel) {
    (void)u;
    (void)v;
    return channel == 0 ? 77 : 128;
}

static tr_image decode(const heif_bytes *b) {
    tr_image image;
    tr_error err = {0};
    if (!tr_image_decode(b->bytes, b->size, "a.heic", &image, &err)) fail_msg("%s", err.text);
    return image;
}

/* As ITU-T H.273 has it, in floating point. */
static int grey_of(int x, int bits, bool is_video_range) {
    double unit = pow(2, bits - 8);
    double part = is_video_range ? (x / unit - 16) / 219 : x / (pow(2, bits) - 1);
    return (int)floor(255 * fmin(1, fmax(0, part)) + 0.5);
}

static void check_luma(int width, int height, const heif_look *look, int (*value)(int, int, int)) {
    heif_bytes b = heif_encode(width, height, look, value);
    tr_image image = decode(&b);
    assert_int_equal(image.width, width);
    assert_int_equal(image.height, height);
    for (int v = 0; v < height; v++) {
        for (int u = 0; u < width; u++) {
            assert_int_equal(tr_image_row(&image, v)[u],
                             grey_of(value(u, v, 0), look->bits, look->is_video_range));
        }
    }
    tr_image_release(&image);
    free(b.bytes);
}

static void luma_is_taken_as_it_is_stored(void **state) {
    (void)state;
    static const enum heif_compression_format CODECS[] = {heif_compression_HEVC,
                                                          heif_compression_AV1};
    static const enum heif_chroma CHROMA[] = {heif_chroma_420, heif_chroma_444,
                                              heif_chroma_monochrome};
    for (int c = 0; c < 2; c++) {
        for (int k = 0; k < 3; k++) {
            heif_look look = {.codec = CODECS[c], .chroma = CHROMA[k], .bits = 8, .matrix = 1};
            check_luma(WIDTH, HEIGHT, &look, value_8);
            if (c > 0) continue; /* libheif 1.15 cannot encode AV1 of 10 bits: images/ has it */
            look.bits = 10;
            look.matrix = 6;
            check_luma(WIDTH, HEIGHT, &look, value_10);
        }
    }
}

static void video_range_is_stretched(void **state) {
    (void)state;
    static const enum heif_compression_format CODECS[] = {heif_compression_HEVC,
                                                          heif_compression_AV1};
    for (int c = 0; c < 2; c++) {
        heif_look look = {.codec = CODECS[c],
                          .chroma = heif_chroma_420,
                          .bits = 8,
                          .is_video_range = true,
                          .matrix = 1};
        check_luma(WIDTH, HEIGHT, &look, video_8);
        check_luma(WIDTH, HEIGHT, &look, value_8); /* beyond the range's ends, too */
        if (c > 0) continue;
        look.bits = 10;
        check_luma(WIDTH, HEIGHT, &look, value_10);
    }
}

/* AV1 of 10 bits without loss, of avifenc (libavif 0.11.1), from Y4M files of value_10:
     avifenc --min 0 --max 0 --irot 1 --imir 0 full.y4m full-10.avif
     avifenc --min 0 --max 0 --grid 2x1 video.y4m video-grid-10.avif
   the first 4:2:0 of full range, the second 4:4:4 of video range. */
static void avif_files_of_10_bits_are_read(void **state) {
    (void)state;
    static const struct {
        const char *name;
        int width, height;
        bool is_video_range;
    } FILES[] = {{"full-10", 48, 32, false}, {"video-grid-10", 128, 64, true}};
    for (int i = 0; i < 2; i++) {
        char path[TEMP_SIZE];
        tr_photo_file photo;
        tr_error err = {0};
        const char *source = getenv("TRAMMEL_SOURCE");
        assert_non_null(source);
        snprintf(path, sizeof path, "%s/tests/images/%s.avif", source, FILES[i].name);
        if (!tr_photo_file_read(path, &photo, &err)) fail_msg("%s", err.text);
        assert_int_equal(photo.image.width, FILES[i].width);
        assert_int_equal(photo.image.height, FILES[i].height);
        for (int v = 0; v < FILES[i].height; v++) {
            for (int u = 0; u < FILES[i].width; u++) {
                assert_int_equal(tr_image_row(&photo.image, v)[u],
                                 grey_of(value_10(u, v, 0), 10, FILES[i].is_video_range));
            }
        }
        tr_image_release(&photo.image);
    }
}

/* A coder adds columns and rows up to its unit, and clap cuts them off. */
static void odd_sizes_have_no_pixels_too_many(void **state) {
    (void)state;
    heif_look look = {.codec = heif_compression_HEVC, .chroma = heif_chroma_444, .bits = 8};
    look.matrix = 1;
    check_luma(WIDTH - 3, HEIGHT - 5, &look, value_8);
    look.orientation = 6;
    check_luma(WIDTH - 3, HEIGHT - 5, &look, value_8);
    look.codec = heif_compression_AV1;
    check_luma(WIDTH - 3, HEIGHT - 5, &look, value_8);
}

/* Planes that are green, blue and red have no luma: it is made of them. */
static void green_blue_and_red_give_luma(void **state) {
    (void)state;
    heif_look look = {.codec = heif_compression_AV1, .chroma = heif_chroma_444, .bits = 8};
    heif_bytes b = heif_encode(WIDTH, HEIGHT, &look, value_8);
    tr_image image = decode(&b);
    for (int v = 0; v < HEIGHT; v++) {
        for (int u = 0; u < WIDTH; u++) {
            double luma =
                0.587 * value_8(u, v, 0) + 0.114 * value_8(u, v, 1) + 0.299 * value_8(u, v, 2);
            CHECK_NEAR(tr_image_row(&image, v)[u], luma, 0.5001);
        }
    }
    tr_image_release(&image);
    free(b.bytes);
}

/* ---- orientation ---- */

/* What other programs show: turned and mirrored. */
static void shown_size(const heif_bytes *b, int *width, int *height) {
    struct heif_context *context = heif_context_alloc();
    struct heif_image_handle *handle;
    heif_ok(heif_context_read_from_memory_without_copy(context, b->bytes, b->size, NULL));
    heif_ok(heif_context_get_primary_image_handle(context, &handle));
    *width = heif_image_handle_get_width(handle);
    *height = heif_image_handle_get_height(handle);
    heif_image_handle_release(handle);
    heif_context_free(context);
}

static void check_stored(const heif_bytes *b, int width, int height) {
    tr_image image = decode(b);
    assert_int_equal(image.width, width);
    assert_int_equal(image.height, height);
    for (int v = 0; v < height; v++) {
        for (int u = 0; u < width; u++) {
            assert_int_equal(tr_image_row(&image, v)[u], value_8(u, v, 0));
        }
    }
    tr_image_release(&image);
}

/* Each of the eight by irot and imir with each of the eight by EXIF, as phones write one, the
   other, or both: the pixels are the sensor's rows. */
static void no_orientation_turns_a_pixel(void **state) {
    (void)state;
    for (int by_boxes = 1; by_boxes <= 8; by_boxes++) {
        for (int by_exif = 0; by_exif <= 8; by_exif++) {
            exif_fields f = {.model = "Example Phone 3", .orientation = by_exif};
            exif_block block = exif_make(&f);
            heif_look look = {.codec = heif_compression_HEVC,
                              .chroma = heif_chroma_420,
                              .bits = 8,
                              .matrix = 1,
                              .orientation = by_boxes,
                              .exif = block.bytes,
                              .exif_size = block.size};
            heif_bytes b = heif_encode(WIDTH, HEIGHT, &look, value_8);
            int width, height;
            tr_exif exif;
            shown_size(&b, &width, &height);
            assert_int_equal(width, by_boxes >= 5 ? HEIGHT : WIDTH);
            assert_int_equal(height, by_boxes >= 5 ? WIDTH : HEIGHT);
            check_stored(&b, WIDTH, HEIGHT);
            assert_true(tr_exif_read(b.bytes, b.size, &exif, NULL));
            assert_int_equal(exif.orientation, by_exif);
            assert_string_equal(exif.camera.name, "Example Phone 3");
            free(b.bytes);
        }
    }
}

/* ---- grids ---- */

enum { TILE = 64, COLUMNS = 3, ROWS = 2, GRID_WIDTH = 170, GRID_HEIGHT = 100 };

static int tile_column, tile_row;

static int tile_value(int u, int v, int channel) {
    return value_8(tile_column * TILE + u, tile_row * TILE + v, channel);
}

static void make_tiles(heif_bytes *tiles) {
    static const heif_look LOOK = {
        .codec = heif_compression_HEVC, .chroma = heif_chroma_420, .bits = 8, .matrix = 1};
    for (tile_row = 0; tile_row < ROWS; tile_row++) {
        for (tile_column = 0; tile_column < COLUMNS; tile_column++) {
            tiles[tile_row * COLUMNS + tile_column] = heif_encode(TILE, TILE, &LOOK, tile_value);
        }
    }
}

static void free_tiles(heif_bytes *tiles) {
    for (int i = 0; i < COLUMNS * ROWS; i++) free(tiles[i].bytes);
}

static heif_grid grid_of(const heif_bytes *tiles) {
    return (heif_grid){.columns = COLUMNS,
                       .rows = ROWS,
                       .width = GRID_WIDTH,
                       .height = GRID_HEIGHT,
                       .tile_width = TILE,
                       .tile_height = TILE,
                       .tiles = tiles,
                       .n_tiles = COLUMNS * ROWS,
                       .quarters = -1,
                       .axis = -1};
}

static void grids_are_put_together_however_they_are_turned(void **state) {
    (void)state;
    heif_bytes tiles[COLUMNS * ROWS];
    make_tiles(tiles);
    for (int quarters = -1; quarters < 4; quarters++) {
        for (int axis = -1; axis < 2; axis++) {
            heif_grid g = grid_of(tiles);
            g.quarters = quarters;
            g.axis = axis;
            heif_bytes b = heif_compose(&g);
            int width, height;
            shown_size(&b, &width, &height);
            assert_int_equal(width, quarters % 2 == 1 ? GRID_HEIGHT : GRID_WIDTH);
            check_stored(&b, GRID_WIDTH, GRID_HEIGHT);
            free(b.bytes);
        }
    }
    free_tiles(tiles);
}

/* A gain map that refers to the photo and to what is made of both. */
static void an_auxiliary_image_of_two_is_no_error(void **state) {
    (void)state;
    heif_bytes tiles[COLUMNS * ROWS];
    make_tiles(tiles);
    heif_grid g = grid_of(tiles);
    g.has_two_references = true;
    g.quarters = 3;
    heif_bytes b = heif_compose(&g);
    check_stored(&b, GRID_WIDTH, GRID_HEIGHT);
    free(b.bytes);
    free_tiles(tiles);
}

/* 8064 x 6048 px of 192 tiles: such a photo's size, of few bytes. */
static void photos_of_48_megapixels_are_read(void **state) {
    (void)state;
    static const heif_look LOOK = {
        .codec = heif_compression_HEVC, .chroma = heif_chroma_420, .bits = 8, .matrix = 1};
    heif_bytes tile = heif_encode(512, 512, &LOOK, flat);
    heif_grid g = {.columns = 16,
                   .rows = 12,
                   .width = 8064,
                   .height = 6048,
                   .tile_width = 512,
                   .tile_height = 512,
                   .tiles = &tile,
                   .n_tiles = 1,
                   .quarters = 1,
                   .axis = -1};
    heif_bytes b = heif_compose(&g);
    tr_image image = decode(&b);
    assert_int_equal(image.width, 8064);
    assert_int_equal(image.height, 6048);
    for (int k = 0; k < 100; k++) {
        assert_int_equal(tr_image_row(&image, 60 * k)[80 * k], 77);
    }
    tr_image_release(&image);
    free(b.bytes);
    free(tile.bytes);
}

static void photos_beyond_the_limit_are_refused(void **state) {
    (void)state;
    static const heif_look LOOK = {
        .codec = heif_compression_HEVC, .chroma = heif_chroma_420, .bits = 8, .matrix = 1};
    heif_bytes tile = heif_encode(TILE, TILE, &LOOK, flat);
    heif_grid g = {.columns = 1,
                   .rows = 1,
                   .width = 20000,
                   .height = 20000,
                   .tile_width = TILE,
                   .tile_height = TILE,
                   .tiles = &tile,
                   .n_tiles = 1,
                   .quarters = -1,
                   .axis = -1};
    heif_bytes b = heif_compose(&g);
    tr_image image;
    tr_error err = {0};
    assert_false(tr_image_decode(b.bytes, b.size, "a.heic", &image, &err));
    assert_non_null(strstr(err.text, "20000 x 20000 px, more than the 200 megapixels"));
    free(b.bytes);
    free(tile.bytes);
}

/* ---- EXIF ---- */

static void exif_is_found_behind_its_offset(void **state) {
    (void)state;
    static const exif_fields PHONE = {.make = "Example",
                                      .model = "Phone 3",
                                      .orientation = 6,
                                      .focal_length_mm = {543, 100},
                                      .equivalent_mm = 26};
    heif_bytes tiles[COLUMNS * ROWS];
    exif_block block = exif_make(&PHONE);
    make_tiles(tiles);
    for (int has_head = 0; has_head < 2; has_head++) {
        heif_bytes item = {0};
        heif_put(&item, has_head ? EXIF_HEAD : 0, 4);
        if (has_head)
            heif_add(&item, block.bytes, block.size);
        else
            heif_add(&item, block.bytes + EXIF_HEAD, block.size - EXIF_HEAD);
        heif_grid g = grid_of(tiles);
        g.exif = item.bytes;
        g.exif_size = item.size;
        heif_bytes b = heif_compose(&g);
        tr_exif exif;
        assert_true(tr_exif_read(b.bytes, b.size, &exif, NULL));
        assert_string_equal(exif.camera.name, "Example Phone 3");
        assert_int_equal(exif.orientation, 6);
        CHECK_NEAR(exif.camera.focal_length_mm, 5.43, 1e-12);
        CHECK_NEAR(exif.camera.equivalent_focal_length_mm, 26, 0);
        free(b.bytes);
        /* An offset beyond the item tells nothing, and is no error. */
        item.bytes[0] = 0xff;
        b = heif_compose(&g);
        assert_true(tr_exif_read(b.bytes, b.size, &exif, NULL));
        assert_string_equal(exif.camera.name, "");
        free(b.bytes);
        free(item.bytes);
    }
    free_tiles(tiles);
}

/* ---- damage ---- */

static void check_refused(const uint8_t *bytes, size_t size, const char *words) {
    /* In a block of its own, so that a byte too many is noticed. */
    uint8_t *copy = malloc(size + 1);
    tr_image image;
    tr_exif exif;
    tr_error err = {0};
    assert_non_null(copy);
    memcpy(copy, bytes, size);
    assert_true(tr_exif_read(copy, size, &exif, NULL));
    bool ok = tr_image_decode(copy, size, "a.heic", &image, &err);
    if (ok) print_error("%zu bytes were taken for whole\n", size);
    assert_false(ok);
    assert_null(image.px);
    assert_string_equal(err.file, "a.heic");
    if (!strstr(err.text, words)) print_error("%s\n", err.text);
    assert_non_null(strstr(err.text, words));
    free(copy);
}

static void photos_that_end_early_are_refused(void **state) {
    (void)state;
    heif_bytes tiles[COLUMNS * ROWS];
    make_tiles(tiles);
    heif_grid g = grid_of(tiles);
    heif_bytes b = heif_compose(&g);
    for (size_t size = 32; size < b.size; size += 1 + size / 40) {
        check_refused(b.bytes, size, "copy the photo from the camera again");
    }
    free(b.bytes);
    free_tiles(tiles);
}

/* A flipped byte gives an error or a picture, never a crash or a leak. */
static void damage_does_no_harm(void **state) {
    (void)state;
    heif_bytes tiles[COLUMNS * ROWS];
    make_tiles(tiles);
    heif_grid g = grid_of(tiles);
    heif_bytes b = heif_compose(&g);
    int n_refused = 0;
    for (size_t at = 12; at < b.size; at += 1 + at / 60) {
        tr_image image;
        tr_exif exif;
        tr_error err = {0};
        b.bytes[at] ^= 0x5a;
        assert_true(tr_exif_read(b.bytes, b.size, &exif, NULL));
        bool ok = tr_image_decode(b.bytes, b.size, "a.heic", &image, &err);
        assert_true(ok == (image.px != NULL));
        assert_true(ok || err.text[0]);
        n_refused += !ok;
        tr_image_release(&image);
        b.bytes[at] ^= 0x5a;
    }
    assert_true(n_refused > 50);
    free(b.bytes);
    free_tiles(tiles);
}

static void kinds_are_told(void **state) {
    (void)state;
    check_refused((const uint8_t *)"\0\0\0\x18"
                                   "ftypheic\0\0\0\0mif1heic",
                  24, "the HEIC photo is");
    check_refused((const uint8_t *)"\0\0\0\x18"
                                   "ftypavif\0\0\0\0mif1avif",
                  24, "the AVIF photo is");
    check_refused((const uint8_t *)"\0\0\0\x18"
                                   "ftypmif1\0\0\0\0mif1heic",
                  24, "the HEIF photo is");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(luma_is_taken_as_it_is_stored),
        cmocka_unit_test(video_range_is_stretched),
        cmocka_unit_test(avif_files_of_10_bits_are_read),
        cmocka_unit_test(odd_sizes_have_no_pixels_too_many),
        cmocka_unit_test(green_blue_and_red_give_luma),
        cmocka_unit_test(no_orientation_turns_a_pixel),
        cmocka_unit_test(grids_are_put_together_however_they_are_turned),
        cmocka_unit_test(an_auxiliary_image_of_two_is_no_error),
        cmocka_unit_test(photos_of_48_megapixels_are_read),
        cmocka_unit_test(photos_beyond_the_limit_are_refused),
        cmocka_unit_test(exif_is_found_behind_its_offset),
        cmocka_unit_test(photos_that_end_early_are_refused),
        cmocka_unit_test(damage_does_no_harm),
        cmocka_unit_test(kinds_are_told),
    };
    return cmocka_run_group_tests_name("heif", tests, NULL, NULL);
}
