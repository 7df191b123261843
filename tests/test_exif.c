/* What photos tell of themselves: read as it stands, and whatever is damaged in it, no error, no
   noise, no pixel changed. */
#include "exif.h"

#include <fcntl.h>

#include "draw.h"
#include "faults.h"
#include "image/exif.h"
#include "image/image.h"
#include "image/camera.h"

static const exif_fields PHONE = {.make = "Example",
                                  .model = "Phone 3",
                                  .taken = "2026:03:02 10:15:07",
                                  .focal_length_mm = {543, 100},
                                  .digital_zoom = {3, 2},
                                  .equivalent_mm = 26,
                                  .lens = "back camera 5.43mm f/1.6",
                                  .exposure_s = {1, 120},
                                  .iso = 64,
                                  .lens_focal_mm = {2, 9},
                                  .orientation = 6,
                                  .width_px = 4032,
                                  .height_px = 3024};

/* The shortest file with the form of a JPEG: its start and its end. */
static const uint8_t FRAME[] = {0xff, 0xd8, 0xff, 0xd9};

static tr_exif read_bytes(const uint8_t *data, size_t size) {
    tr_exif exif;
    tr_error err = {0};
    memset(&exif, 0x55, sizeof exif);
    /* A copy of just that size, so that a read beyond it is noticed. */
    uint8_t *copy = malloc(size > 0 ? size : 1);
    assert_non_null(copy);
    memcpy(copy, data, size);
    assert_true(tr_exif_read(copy, size, &exif, &err));
    assert_int_equal(err.code, TR_OK);
    free(copy);
    return exif;
}

static tr_exif read_block(const uint8_t *block, size_t block_size) {
    size_t size;
    uint8_t *jpeg = exif_into_jpeg(FRAME, sizeof FRAME, block, block_size, &size);
    tr_exif exif = read_bytes(jpeg, size);
    free(jpeg);
    return exif;
}

static tr_exif read_fields(const exif_fields *f) {
    exif_block b = exif_make(f);
    return read_block(b.bytes, b.size);
}

static void check_nothing(const tr_exif *exif) {
    assert_string_equal(exif->camera.name, "");
    assert_string_equal(exif->camera.lens, "");
    CHECK_NEAR(exif->exposure_s, 0, 0);
    assert_int_equal(exif->iso, 0);
    CHECK_NEAR(exif->camera.focal_length_mm, 0, 0);
    CHECK_NEAR(exif->camera.equivalent_focal_length_mm, 0, 0);
    CHECK_NEAR(exif->camera.digital_zoom, 0, 0);
    assert_int_equal(exif->orientation, 0);
    assert_int_equal(exif->width_px, 0);
    assert_int_equal(exif->height_px, 0);
    assert_string_equal(exif->taken, "");
}

static void check_phone(const tr_exif *exif) {
    assert_string_equal(exif->camera.name, "Example Phone 3");
    assert_string_equal(exif->camera.lens, "back camera 5.43mm f/1.6");
    CHECK_NEAR(exif->exposure_s, 1 / 120.0, 1e-15);
    assert_int_equal(exif->iso, 64);
    CHECK_NEAR(exif->camera.focal_length_mm, 5.43, 1e-12);
    CHECK_NEAR(exif->camera.equivalent_focal_length_mm, 26, 0);
    CHECK_NEAR(exif->camera.digital_zoom, 1.5, 0);
    assert_int_equal(exif->orientation, 6);
    assert_int_equal(exif->width_px, 4032);
    assert_int_equal(exif->height_px, 3024);
    assert_string_equal(exif->taken, "2026-03-02 10:15:07");
}

/* ---- what is told ---- */

static void everything_is_read_in_both_byte_orders(void **state) {
    (void)state;
    for (int little = 0; little < 2; little++) {
        exif_fields f = PHONE;
        f.is_little = little;
        tr_exif exif = read_fields(&f);
        check_phone(&exif);
    }
}

static void what_is_missing_is_not_told(void **state) {
    (void)state;
    exif_fields f = {.model = "Phone 3"};
    tr_exif exif = read_fields(&f);
    assert_string_equal(exif.camera.name, "Phone 3");
    exif.camera.name[0] = 0;
    check_nothing(&exif);
    f = (exif_fields){.orientation = 3};
    exif = read_fields(&f);
    assert_int_equal(exif.orientation, 3);
    exif.orientation = 0;
    check_nothing(&exif);
}

static void make_and_model_are_one_name(void **state) {
    (void)state;
    static const char *const CASES[][3] = {
        {"Example", "Phone 3", "Example Phone 3"},
        {"Example", "Example Phone 3", "Example Phone 3"},
        {"EXAMPLE", "Example Phone 3", "Example Phone 3"},
        {"Example  ", "  Phone 3   ", "Example Phone 3"},
        {"Example", NULL, "Example"},
        {NULL, "Phone 3", "Phone 3"},
        {"   ", "Phone 3", "Phone 3"},
        {"Example", "    ", "Example"},
        {"Ex\xff", "Phone\n3", "Ex? Phone?3"},
        {"Bei\xc3\xa4spiel", "T 1", "Bei\xc3\xa4spiel T 1"},
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        exif_fields f = {.make = CASES[i][0], .model = CASES[i][1]};
        tr_exif exif = read_fields(&f);
        assert_string_equal(exif.camera.name, CASES[i][2]);
    }
    char longest[300];
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = 0;
    exif_fields f = {.make = "Example", .model = longest};
    tr_exif exif = read_fields(&f);
    assert_true(strlen(exif.camera.name) < sizeof exif.camera.name);
    assert_non_null(strstr(exif.camera.name, "Example xxx"));
    assert_non_null(strstr(exif.camera.name, "..."));
}

/* A lens of one focal length tells the photo's; one of several does not. */
static void a_fixed_lens_tells_its_focal_length(void **state) {
    (void)state;
    static const exif_fields FIXED = {.lens_focal_mm = {7, 7}};
    static const exif_fields ZOOM = {.lens_focal_mm = {2, 9}};
    static const exif_fields BOTH = {.lens_focal_mm = {7, 7}, .focal_length_mm = {543, 100}};
    tr_exif exif = read_fields(&FIXED);
    CHECK_NEAR(exif.camera.focal_length_mm, 7, 0);
    exif = read_fields(&ZOOM);
    CHECK_NEAR(exif.camera.focal_length_mm, 0, 0);
    exif = read_fields(&BOTH);
    CHECK_NEAR(exif.camera.focal_length_mm, 5.43, 1e-12);
}

static void numbers_out_of_range_are_not_told(void **state) {
    (void)state;
    static const uint32_t FOCAL[][2] = {{5, 0}, {0, 1}, {0xffffffff, 1}};
    for (size_t i = 0; i < sizeof FOCAL / sizeof *FOCAL; i++) {
        exif_fields f = {.focal_length_mm = {FOCAL[i][0], FOCAL[i][1]}};
        tr_exif exif = read_fields(&f);
        CHECK_NEAR(exif.camera.focal_length_mm, 0, 0);
    }
    exif_fields f = {.digital_zoom = {0, 1}}; /* "was not used" */
    CHECK_NEAR(read_fields(&f).camera.digital_zoom, 1, 0);
    f = (exif_fields){.digital_zoom = {1, 0}};
    CHECK_NEAR(read_fields(&f).camera.digital_zoom, 0, 0);
    f = (exif_fields){.digital_zoom = {0xffffffff, 1}};
    CHECK_NEAR(read_fields(&f).camera.digital_zoom, 0, 0);
    f = (exif_fields){.orientation = 9};
    assert_int_equal(read_fields(&f).orientation, 0);
    f = (exif_fields){.width_px = -1, .height_px = 65535}; /* 0xffffffff as the file has it */
    assert_int_equal(read_fields(&f).width_px, 0);
    assert_int_equal(read_fields(&f).height_px, 65535);
}

/* Seconds by GNU date: date -u -d "2026-03-02 10:15:07" +%s, and so on. */
static void times_are_told_in_seconds(void **state) {
    (void)state;
    static const struct {
        const char *text;
        int64_t seconds;
    } CASES[] = {
        {"1970:01:01 00:00:00", 0},          {"2026:03:02 10:15:07", 1772446507},
        {"2000:02:29 23:59:59", 951868799},  {"2000:03:01 00:00:00", 951868800},
        {"1969:12:31 23:59:59", -1},         {"2100:03:01 00:00:00", 4107542400},
        {"2024:12:31 23:59:60", 1735689600},
    };
    static const char *const NO_TIME[] = {
        "    :  :     :  :  ", "0000:00:00 00:00:00",  "2026:13:01 00:00:00",
        "2026:03:02 24:00:00", "2026:03:02 10:15",     "yesterday",
        "2026:3:2 10:15:07",   "2026:03:02 10:15:07Z", "-026:03:02 10:15:07",
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        exif_fields f = {.taken = CASES[i].text};
        tr_exif exif = read_fields(&f);
        assert_int_equal(strlen(exif.taken), 19);
        if (exif.taken_s != CASES[i].seconds) print_error("%s\n", CASES[i].text);
        assert_true(exif.taken_s == CASES[i].seconds);
    }
    for (size_t i = 0; i < sizeof NO_TIME / sizeof *NO_TIME; i++) {
        exif_fields f = {.taken = NO_TIME[i]};
        tr_exif exif = read_fields(&f);
        assert_string_equal(exif.taken, "");
        assert_true(exif.taken_s == 0);
    }
}

/* ---- where it stands ---- */

static void other_segments_before_it_are_passed_over(void **state) {
    (void)state;
    /* JFIF, a restart marker, a fill byte, APP1 of another kind, then ours. */
    static const uint8_t BEFORE[] = {0xff, 0xd8, 0xff, 0xe0, 0, 4,   'J', 'F', 0xff, 0xd0,
                                     0xff, 0xff, 0xe1, 0,    6, 'h', 't', 't', 'p'};
    uint8_t file[2 * EXIF_MAX];
    exif_block b = exif_make(&PHONE);
    size_t n = sizeof BEFORE;
    memcpy(file, BEFORE, n);
    const uint8_t segment[4] = {0xff, 0xe1, (uint8_t)((b.size + 2) >> 8), (uint8_t)(b.size + 2)};
    memcpy(file + n, segment, 4);
    memcpy(file + n + 4, b.bytes, b.size);
    n += 4 + b.size;
    tr_exif exif = read_bytes(file, n);
    check_phone(&exif);
    /* Behind the start of the pixels (SOS) it is no longer ours. */
    file[3] = 0xda;
    exif = read_bytes(file, n);
    check_nothing(&exif);
}

static size_t png_chunk(uint8_t *to, const char *type, const uint8_t *data, size_t size) {
    const uint8_t length[4] = {0, 0, (uint8_t)(size >> 8), (uint8_t)size};
    memcpy(to, length, 4);
    memcpy(to + 4, type, 4);
    memcpy(to + 8, data, size);
    memset(to + 8 + size, 0, 4); /* the checksum is the pixel reader's business */
    return 12 + size;
}

static void a_png_tells_it_in_a_chunk(void **state) {
    (void)state;
    uint8_t file[2 * EXIF_MAX];
    exif_block b = exif_make(&PHONE);
    size_t n = 8;
    memcpy(file, "\x89PNG\r\n\x1a\n", n);
    n += png_chunk(file + n, "IHDR", b.bytes, 13);
    n += png_chunk(file + n, "eXIf", b.bytes + EXIF_HEAD, b.size - EXIF_HEAD);
    tr_exif exif = read_bytes(file, n);
    check_phone(&exif);
    for (size_t size = 0; size < n; size++) {
        exif = read_bytes(file, size);
        check_nothing(&exif);
    }
    memset(file + 8 + 25, 0xff, 4); /* a length beyond everything */
    exif = read_bytes(file, n);
    check_nothing(&exif);
}

static void files_without_it_tell_nothing(void **state) {
    (void)state;
    static const char *const FILES[] = {"",   "\xff\xd8",   "\xff\xd8\xff",
                                        "BM", "plain text", "\x89PNG\r\n\x1a\n"};
    for (size_t i = 0; i < sizeof FILES / sizeof *FILES; i++) {
        tr_exif exif = read_bytes((const uint8_t *)FILES[i], strlen(FILES[i]));
        check_nothing(&exif);
    }
    tr_exif exif = read_bytes(FRAME, sizeof FRAME);
    check_nothing(&exif);
}

/* ---- damage ---- */

static bool is_sound(const tr_exif *e) {
    double focal = e->camera.focal_length_mm;
    double equivalent = e->camera.equivalent_focal_length_mm;
    double zoom = e->camera.digital_zoom;
    return memchr(e->camera.name, 0, sizeof e->camera.name) && focal >= 0 &&
           focal <= TR_CAMERA_MAX_FOCAL_MM && equivalent >= 0 &&
           equivalent <= TR_CAMERA_MAX_FOCAL_MM && zoom >= 0 && zoom <= TR_CAMERA_MAX_ZOOM &&
           e->orientation >= 0 && e->orientation <= 8 && e->width_px >= 0 && e->height_px >= 0 &&
           memchr(e->taken, 0, sizeof e->taken);
}

/* Cut anywhere, and each byte spoiled in several ways; nothing is printed meanwhile. */
static void damage_is_no_error_and_makes_no_noise(void **state) {
    char path[TEMP_SIZE];
    (void)state;
    char folder[TEMP_SIZE];
    temp_make(folder);
    fflush(NULL);
    int noise = open(temp_path(path, folder, "noise"), O_RDWR | O_CREAT, 0600);
    int out = dup(STDOUT_FILENO);
    int err = dup(STDERR_FILENO);
    assert_true(noise >= 0 && out >= 0 && err >= 0);
    assert_true(dup2(noise, STDOUT_FILENO) >= 0 && dup2(noise, STDERR_FILENO) >= 0);
    bool is_all_sound = true;
    exif_fields f = PHONE;
    for (int little = 0; little < 2; little++) {
        f.is_little = little;
        const exif_block whole = exif_make(&f);
        tr_draw d = draw_seeded("damage");
        for (size_t size = 0; size < whole.size; size++) {
            tr_exif exif = read_block(whole.bytes, size);
            is_all_sound = is_all_sound && is_sound(&exif);
        }
        for (size_t at = 0; at < whole.size; at++) {
            for (int k = 0; k < 6; k++) {
                static const uint8_t VALUES[] = {0, 0xff, 0x7f, 0x80};
                exif_block b = whole;
                b.bytes[at] = k < 4 ? VALUES[k] : (uint8_t)draw_between(&d, 0, 256);
                tr_exif exif = read_block(b.bytes, b.size);
                is_all_sound = is_all_sound && is_sound(&exif);
            }
        }
    }
    fflush(NULL);
    assert_true(dup2(out, STDOUT_FILENO) >= 0 && dup2(err, STDERR_FILENO) >= 0);
    off_t n_printed = lseek(noise, 0, SEEK_END);
    close(noise);
    close(out);
    close(err);
    temp_remove(folder);
    assert_true(is_all_sound);
    assert_int_equal(n_printed, 0);
}

/* A directory that names itself as the next, and one within itself. */
static void circles_end(void **state) {
    (void)state;
    exif_fields f = {.model = "Phone 3"};
    exif_block b = exif_make(&f);
    exif_put(&b, EXIF_HEAD + 8 + 2 + 2 * 12, 8, 4); /* next directory: the first */
    tr_exif exif = read_block(b.bytes, b.size);
    assert_true(is_sound(&exif));
    b = exif_make(&f);
    exif_put(&b, EXIF_HEAD + 8 + 2 + 12 + 8, 8, 4); /* Exif directory: the first */
    exif = read_block(b.bytes, b.size);
    assert_true(is_sound(&exif));
}

/* Whichever allocation fails: it is told, or all is there. Half of what a photo tells would let one
   of another lens pass for one that tells nothing. */
static void memory_that_runs_out_is_told(void **state) {
    (void)state;
    size_t size;
    exif_block b = exif_make(&PHONE);
    uint8_t *jpeg = exif_into_jpeg(FRAME, sizeof FRAME, b.bytes, b.size, &size);
    tr_exif exif;
    fault_arm(0, false);
    assert_true(tr_exif_read(jpeg, size, &exif, NULL));
    long n = fault_disarm();
    assert_true(n > 10);
    for (long k = 1; k <= 2 * n; k++) {
        tr_error err = {0};
        fault_arm(k > n ? k - n : k, k > n);
        bool ok = tr_exif_read(jpeg, size, &exif, &err);
        fault_disarm();
        if (ok) print_error("allocation %ld of %ld\n", k, n);
        assert_false(ok);
        assert_int_equal(err.code, TR_NO_MEMORY);
        check_nothing(&exif);
    }
    free(jpeg);
}

/* ---- pixels ---- */

/* A phone held upright stores its pixels as always, and orientation 6. */
static void orientation_turns_no_pixel(void **state) {
    (void)state;
    char path[TEMP_SIZE], folder[TEMP_SIZE];
    tr_image image, plain, turned;
    uint8_t *data;
    size_t size;
    temp_make(folder);
    assert_true(tr_image_init(&image, 64, 48, NULL));
    for (int i = 0; i < 64 * 48; i++) image.px[i] = (uint8_t)(i % 64 * 3 + i / 64);
    assert_true(tr_image_write_jpeg(&image, 95, temp_path(path, folder, "plain.jpg"), NULL));
    exif_copy(folder, "plain.jpg", "turned.jpg", &PHONE);
    assert_true(tr_file_read(path, 1 << 20, &data, &size, NULL));
    assert_true(tr_image_decode(data, size, path, &plain, NULL));
    free(data);
    assert_true(tr_file_read(temp_path(path, folder, "turned.jpg"), 1 << 20, &data, &size, NULL));
    assert_true(tr_image_decode(data, size, path, &turned, NULL));
    tr_exif exif = read_bytes(data, size);
    free(data);
    check_phone(&exif);
    assert_int_equal(turned.width, 64);
    assert_int_equal(turned.height, 48);
    assert_memory_equal(turned.px, plain.px, 64 * 48);
    tr_image_release(&image);
    tr_image_release(&plain);
    tr_image_release(&turned);
    temp_remove(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everything_is_read_in_both_byte_orders),
        cmocka_unit_test(what_is_missing_is_not_told),
        cmocka_unit_test(make_and_model_are_one_name),
        cmocka_unit_test(a_fixed_lens_tells_its_focal_length),
        cmocka_unit_test(numbers_out_of_range_are_not_told),
        cmocka_unit_test(times_are_told_in_seconds),
        cmocka_unit_test(other_segments_before_it_are_passed_over),
        cmocka_unit_test(a_png_tells_it_in_a_chunk),
        cmocka_unit_test(files_without_it_tell_nothing),
        cmocka_unit_test(damage_is_no_error_and_makes_no_noise),
        cmocka_unit_test(circles_end),
        cmocka_unit_test(memory_that_runs_out_is_told),
        cmocka_unit_test(orientation_turns_no_pixel),
    };
    return cmocka_run_group_tests_name("exif", tests, NULL, NULL);
}
