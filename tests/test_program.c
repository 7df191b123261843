/* The built program as a user meets it: whole jobs and calibrations from photos, what is printed
   and written, and what must never end in a pass. The renderer makes the photos at run time
   (small.h); all runs take place in one folder. test_cli has what needs no photos. */
#include "small.h"

#include <fcntl.h>
#include <jansson.h>
#include <jpeglib.h>
#include <png.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "base/file.h"
#include "image/image.h"
#include "present/cautions.h"

enum { PASS = 0, FAIL = 1, INCONCLUSIVE = 2, NO_MEASURE = 3, LONGEST_S = 120 };

static const char JOB_PHOTOS[] = "1.jpg 2.jpg 3.jpg 4.jpg";
static const char BOARDS[] = "b1.jpg b2.jpg b3.jpg b4.jpg b5.jpg b6.jpg --squares 7x5 --pitch 60";
/* Where the mat of the small scene lies. */
static const double TRUE_X_MM = -1496, TRUE_Y_MM = 3, TRUE_YAW_DEG = 0.1;

/* ---- running it ---- */

typedef struct {
    int status;
    char out[65536], err[16384];
} outcome;

static void read_text(const char *path, char *text, size_t size) {
    FILE *from = fopen(path, "rb");
    assert_non_null(from);
    size_t n = fread(text, 1, size - 1, from);
    text[n] = 0;
    assert_true(feof(from) || n < size - 1);
    assert_int_equal(fclose(from), 0);
}

/* Runs the program with arguments as a shell reads them. One that hangs ends with status 124. */
static outcome run(const char *arguments) {
    outcome o = {.status = -1};
    char line[4096];
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    assert_true(snprintf(line, sizeof line, "exec 2>.err >.out; exec timeout %d '%s' %s", LONGEST_S,
                         program, arguments) < (int)sizeof line);
    int status = system(line);
    assert_true(WIFEXITED(status));
    o.status = WEXITSTATUS(status);
    read_text(".out", o.out, sizeof o.out);
    read_text(".err", o.err, sizeof o.err);
    unlink(".out");
    unlink(".err");
    return o;
}

static outcome run_on(const char *format, const char *name) {
    char arguments[2048];
    int n = snprintf(arguments, sizeof arguments, format, name);
    assert_true(n > 0 && n < (int)sizeof arguments);
    return run(arguments);
}

static void check_has(const char *text, const char *part) {
    if (strstr(text, part)) return;
    print_error("'%s' is not in:\n%s\n", part, text);
    fail();
}

static void check_status(const outcome *o, int status) {
    if (o->status == status) return;
    print_error("exit status %d, not %d\n%s\n%s\n", o->status, status, o->out, o->err);
    fail();
}

/* Refused with one sentence that names the culprit. */
static void check_one_sentence(const outcome *o, const char *culprit) {
    check_status(o, NO_MEASURE);
    check_has(o->err, culprit);
    const char *end = strchr(o->err, '\n');
    if (!end || end[1]) print_error("not one line:\n%s\n", o->err);
    assert_true(end && !end[1] && end - o->err > 30);
}

/* ---- JSON, as the contract has it ---- */

/* Standard output is one JSON object and nothing else. */
static json_t *parse(const outcome *o) {
    json_error_t why;
    json_t *json = json_loads(o->out, JSON_REJECT_DUPLICATES, &why);
    if (!json) print_error("%s, line %d:\n%s\n%s\n", why.text, why.line, o->out, o->err);
    assert_non_null(json);
    assert_true(json_is_object(json));
    return json;
}

static const char *text_of(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    if (!text) print_error("'%s' is no string\n", key);
    assert_non_null(text);
    return text;
}

static double number_of(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    if (!json_is_number(value)) print_error("'%s' is no number\n", key);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

/* 0 where it is null. */
static bool number_or_null(const json_t *object, const char *key, double *value) {
    const json_t *at = json_object_get(object, key);
    assert_true(json_is_number(at) || json_is_null(at));
    *value = json_number_value(at);
    return json_is_number(at);
}

static const json_t *array_of(const json_t *object, const char *key) {
    const json_t *array = json_object_get(object, key);
    assert_true(json_is_array(array));
    return array;
}

static void check_verdict(const char *word) {
    assert_true(strcmp(word, "pass") == 0 || strcmp(word, "fail") == 0 ||
                strcmp(word, "inconclusive") == 0);
}

static void check_axis(const json_t *target, const char *key, bool is_judged) {
    const json_t *axis = json_object_get(target, key);
    double measured, error, u95;
    bool is_measured = number_or_null(axis, "measured", &measured);
    assert_true(number_or_null(axis, "u95", &u95) == is_measured);
    if (is_measured) assert_true(u95 > 0);
    if (!is_judged) return;
    double required = number_of(axis, "required");
    double limit = number_of(axis, "limit");
    const char *verdict = text_of(axis, "verdict");
    assert_true(number_or_null(axis, "error", &error) == is_measured);
    if (!is_measured) {
        assert_string_equal(verdict, "inconclusive");
        return;
    }
    CHECK_NEAR(error, measured - required, 1e-9);
    const char *wanted = fabs(error) + u95 <= limit  ? "pass"
                         : fabs(error) - u95 > limit ? "fail"
                                                     : "inconclusive";
    assert_string_equal(verdict, wanted);
}

static void check_target(const json_t *target) {
    static const char *const JUDGED[] = {"x_mm", "y_mm", "yaw_deg"};
    static const char *const REPORTED[] = {"z_mm", "pitch_deg", "roll_deg"};
    assert_string_equal(text_of(target, "sheet"), "MAT-S");
    check_verdict(text_of(target, "verdict"));
    assert_true(json_is_integer(json_object_get(target, "photos")));
    assert_true(json_is_integer(json_object_get(target, "marks")));
    for (size_t i = 0; i < 3; i++) check_axis(target, JUDGED[i], true);
    for (size_t i = 0; i < 3; i++) check_axis(target, REPORTED[i], false);
    const json_t *moves = array_of(target, "moves");
    for (size_t i = 0; i < json_array_size(moves); i++)
        assert_true(json_is_string(json_array_get(moves, i)));
}

static void check_photo(const json_t *photo) {
    const json_t *used = json_object_get(photo, "used");
    const json_t *sha256 = json_object_get(photo, "sha256");
    assert_true(strlen(text_of(photo, "file")) > 0);
    assert_true(json_is_boolean(used));
    assert_true(json_is_null(sha256) || json_string_length(sha256) == 64);
    assert_true(json_is_integer(json_object_get(photo, "marks")));
    double rms;
    assert_true(number_or_null(photo, "rms_px", &rms) == json_is_true(used));
    if (json_is_false(used)) assert_true(strlen(text_of(photo, "reason")) > 10);
}

/* verdict NULL: nothing was measured. */
static void check_contract(const json_t *json, const char *verdict, size_t n_photos) {
    static const char *const LENGTHS[] = {"wheelbase_mm", "track_front_mm", "track_rear_mm"};
    const json_t *references = json_object_get(json, "references");
    const json_t *photos = array_of(json, "photos");
    const json_t *warnings = array_of(json, "warnings");
    assert_string_equal(text_of(json, "job"), "SMALL-1");
    assert_string_equal(text_of(json, "layout"), "SMALL-REAR");
    if (verdict) {
        assert_string_equal(text_of(json, "verdict"), verdict);
        assert_int_equal(json_array_size(array_of(json, "targets")), 1);
        check_target(json_array_get(array_of(json, "targets"), 0));
    } else {
        assert_true(json_is_null(json_object_get(json, "verdict")));
        assert_true(strlen(text_of(json_object_get(json, "error"), "text")) > 10);
    }
    for (size_t i = 0; i < 3; i++) {
        const json_t *length = json_object_get(references, LENGTHS[i]);
        assert_true(json_is_object(length));
        if (json_object_size(length) == 0) continue;
        assert_true(number_of(length, "measured") > 0);
        assert_true(number_of(length, "u95") > 0);
    }
    assert_int_equal(json_array_size(photos), n_photos);
    for (size_t i = 0; i < n_photos; i++) check_photo(json_array_get(photos, i));
    for (size_t i = 0; i < json_array_size(warnings); i++) {
        assert_true(strlen(text_of(json_array_get(warnings, i), "code")) > 0);
        assert_true(strlen(text_of(json_array_get(warnings, i), "text")) > 10);
    }
}

static size_t count_warnings(const json_t *json, const char *code) {
    const json_t *warnings = array_of(json, "warnings");
    size_t n = 0;
    for (size_t i = 0; i < json_array_size(warnings); i++)
        n += strcmp(text_of(json_array_get(warnings, i), "code"), code) == 0;
    return n;
}

static const json_t *photo_of(const json_t *json, size_t i) {
    return json_array_get(array_of(json, "photos"), i);
}

static double axis_of(const json_t *json, const char *axis, const char *key) {
    const json_t *target = json_array_get(array_of(json, "targets"), 0);
    return number_of(json_object_get(target, axis), key);
}

/* The mat of the small scene, where it lies to a hair: within the marks' own part of u95 or so. */
static void check_truth(const json_t *json) {
    CHECK_NEAR(axis_of(json, "x_mm", "measured"), TRUE_X_MM, 0.8);
    CHECK_NEAR(axis_of(json, "y_mm", "measured"), TRUE_Y_MM, 0.8);
    CHECK_NEAR(axis_of(json, "yaw_deg", "measured"), TRUE_YAW_DEG, 0.05);
}

/* ---- files ---- */

/* text with every `from` replaced; owned by the caller. */
static char *replaced(const char *text, const char *from, const char *to) {
    size_t size = strlen(text) + 1;
    assert_non_null(strstr(text, from));
    for (const char *at = text; (at = strstr(at, from)) != NULL; at += strlen(from))
        size += strlen(to);
    char *out = malloc(size);
    assert_non_null(out);
    char *end = out;
    for (const char *at; (at = strstr(text, from)) != NULL; text = at + strlen(from))
        end += sprintf(end, "%.*s%s", (int)(at - text), text, to);
    memcpy(end, text, strlen(text) + 1);
    return out;
}

/* One of small.h's files with something else in it, under another name. */
static void write_changed(const char *name, const char *text, const char *from, const char *to) {
    char *changed = replaced(text, from, to);
    small_text(".", name, changed);
    free(changed);
}

/* Photos NAME-1.jpg .. NAME-4.jpg of the small scene with something else in it. */
static void render_changed(const char *name, const char *from, const char *to) {
    char photo[64], file[64];
    snprintf(photo, sizeof photo, "photo: %s-", name);
    snprintf(file, sizeof file, "%s.scene.yaml", name);
    char *scene = replaced(SMALL_SCENE, "photo: ", photo);
    write_changed(file, scene, from, to);
    free(scene);
    small_render(".", file);
}

static tr_image read_image(const char *path) {
    uint8_t *data;
    size_t size;
    tr_image image;
    assert_true(tr_file_read(path, 1 << 26, &data, &size, NULL));
    assert_true(tr_image_decode(data, size, path, &image, NULL));
    free(data);
    return image;
}

static void write_part(const char *path, const char *from, double part) {
    uint8_t *data;
    size_t size;
    assert_true(tr_file_read(from, 1 << 26, &data, &size, NULL));
    temp_write(path, data, (size_t)(part * (double)size));
    free(data);
}

/* PNG of a grey image; of a palette, colour k is grey k. Without pixels: the beginning of one. */
static void write_png(const char *path, const tr_image *image, int depth, int colour,
                      int interlace) {
    FILE *to = fopen(path, "wb");
    assert_non_null(to);
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    assert_non_null(png);
    png_infop info = png_create_info_struct(png);
    assert_non_null(info);
    png_init_io(png, to);
    png_set_IHDR(png, info, (png_uint_32)image->width, (png_uint_32)image->height, depth, colour,
                 interlace, PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    if (colour == PNG_COLOR_TYPE_PALETTE) {
        png_color greys[256];
        for (int k = 0; k < 256; k++) greys[k] = (png_color){(png_byte)k, (png_byte)k, (png_byte)k};
        png_set_PLTE(png, info, greys, 256);
    }
    png_write_info(png, info);
    png_bytep row = malloc((size_t)image->width * 2);
    assert_non_null(row);
    for (int pass = png_set_interlace_handling(png); image->px && pass > 0; pass--) {
        for (int v = 0; v < image->height; v++) {
            for (int u = 0; u < image->width; u++) {
                uint8_t grey = tr_image_row(image, v)[u];
                if (depth == 16) {
                    row[2 * u] = row[2 * u + 1] = grey; /* 257 * grey */
                } else {
                    row[u] = grey;
                }
            }
            png_write_row(png, row);
        }
    }
    if (image->px) {
        png_write_end(png, info);
    } else {
        png_write_chunk(png, (png_const_bytep) "IDAT", (png_const_bytep)path, strlen(path));
    }
    png_destroy_write_struct(&png, &info);
    free(row);
    assert_int_equal(fclose(to), 0);
}

/* JPEG of a grey image; CMYK as cameras' programs store it, inverted, all in K. */
static void write_jpeg(const char *path, const tr_image *image, bool is_cmyk, bool is_progressive) {
    struct jpeg_compress_struct jpeg;
    struct jpeg_error_mgr errors;
    FILE *to = fopen(path, "wb");
    assert_non_null(to);
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_compress(&jpeg);
    jpeg_stdio_dest(&jpeg, to);
    jpeg.image_width = (JDIMENSION)image->width;
    jpeg.image_height = (JDIMENSION)image->height;
    jpeg.input_components = is_cmyk ? 4 : 1;
    jpeg.in_color_space = is_cmyk ? JCS_CMYK : JCS_GRAYSCALE;
    jpeg_set_defaults(&jpeg);
    jpeg_set_quality(&jpeg, 95, TRUE);
    if (is_progressive) jpeg_simple_progression(&jpeg);
    jpeg_start_compress(&jpeg, TRUE);
    JSAMPROW row = malloc((size_t)image->width * 4);
    assert_non_null(row);
    for (int v = 0; v < image->height; v++) {
        memset(row, 255, (size_t)image->width * 4);
        for (int u = 0; u < image->width; u++)
            row[is_cmyk ? 4 * u + 3 : u] = tr_image_row(image, v)[u];
        (void)jpeg_write_scanlines(&jpeg, &row, 1);
    }
    jpeg_finish_compress(&jpeg);
    jpeg_destroy_compress(&jpeg);
    free(row);
    assert_int_equal(fclose(to), 0);
}

/* The size that a baseline JPEG claims, put to 65,500 x 65,500. */
static void write_huge_jpeg(const char *path, const char *from) {
    static const uint8_t SOF0[2] = {0xff, 0xc0};
    uint8_t *data;
    size_t size, at = 0;
    assert_true(tr_file_read(from, 1 << 26, &data, &size, NULL));
    while (at + 9 < size && memcmp(data + at, SOF0, 2) != 0) at++;
    assert_true(at + 9 < size);
    for (size_t i = at + 5; i < at + 9; i += 2) {
        data[i] = 65500 >> 8;
        data[i + 1] = 65500 & 255;
    }
    temp_write(path, data, size);
    free(data);
}

static void write_mirrored(const char *path, const char *from) {
    tr_image image = read_image(from);
    for (int v = 0; v < image.height; v++) {
        uint8_t *row = image.px + (long)v * image.width;
        for (int u = 0; u < image.width / 2; u++) {
            uint8_t left = row[u];
            row[u] = row[image.width - 1 - u];
            row[image.width - 1 - u] = left;
        }
    }
    assert_true(tr_image_write_jpeg(&image, 92, path, NULL));
    tr_image_release(&image);
}

/* ---- what a user sees ---- */

/* text without line breaks and what is indented. */
static char *on_one_line(const char *text) {
    char *line = malloc(strlen(text) + 1);
    assert_non_null(line);
    char *end = line;
    for (; *text; text++) {
        bool is_space = *text == ' ' || *text == '\n';
        if (is_space && end > line && end[-1] == ' ') continue;
        *end++ = (char)(is_space ? ' ' : *text);
    }
    *end = 0;
    return line;
}

static void help_tells_every_option_and_the_cautions(void **state) {
    (void)state;
    static const char *const CHECK_WORDS[] = {"JOB.yaml",  "PHOTO",  "--json",      "--picture",
                                              "--threads", "--help", "Exit status", "inconclusive"};
    static const char *const LENS_WORDS[] = {"PHOTO",  "--squares", "--pitch", "--out",
                                             "--json", "--threads", "--help",  "Exit status"};
    for (int is_lens = 0; is_lens < 2; is_lens++) {
        outcome o = run(is_lens ? "lens --help" : "check --help");
        check_status(&o, PASS);
        for (size_t i = 0; i < 8; i++) check_has(o.out, is_lens ? LENS_WORDS[i] : CHECK_WORDS[i]);
        char *line = on_one_line(o.out);
        check_has(line, tr_cautions());
        free(line);
    }
}

static void a_good_job_passes(void **state) {
    (void)state;
    int n_files = temp_count(".");
    outcome o = run("check job.yaml");
    check_status(&o, PASS);
    assert_string_equal(o.err, "");
    check_has(o.out, "PASS");
    char *line = on_one_line(o.out);
    check_has(line, tr_cautions_short());
    free(line);

    o = run("check job.yaml --json");
    check_status(&o, PASS);
    assert_string_equal(o.err, "");
    json_t *json = parse(&o);
    check_contract(json, "pass", SMALL_PHOTOS);
    check_truth(json);
    assert_int_equal(json_array_size(array_of(json, "warnings")), 0);
    for (size_t i = 0; i < SMALL_PHOTOS; i++) {
        const json_t *photo = photo_of(json, i);
        char sha256[65];
        uint8_t *data;
        size_t size;
        assert_true(json_is_true(json_object_get(photo, "used")));
        assert_true(tr_file_read(text_of(photo, "file"), 1 << 26, &data, &size, NULL));
        tr_sha256_hex(data, size, sha256);
        free(data);
        assert_string_equal(text_of(photo, "sha256"), sha256);
    }
    CHECK_NEAR(
        number_of(json_object_get(json_object_get(json, "references"), "wheelbase_mm"), "measured"),
        2700, 2);
    json_decref(json);
    assert_int_equal(temp_count("."), n_files);
}

static void a_mat_off_its_place_fails_and_the_move_is_told(void **state) {
    (void)state;
    outcome o = run_on("check job.yaml %s --json", "off-1.jpg off-2.jpg off-3.jpg off-4.jpg");
    check_status(&o, FAIL);
    json_t *json = parse(&o);
    check_contract(json, "fail", SMALL_PHOTOS);
    CHECK_NEAR(axis_of(json, "x_mm", "error"), 34, 0.8);
    const json_t *target = json_array_get(array_of(json, "targets"), 0);
    assert_true(json_array_size(array_of(target, "moves")) > 0);
    o = run_on("check job.yaml %s", "off-1.jpg off-2.jpg off-3.jpg off-4.jpg");
    check_status(&o, FAIL);
    check_has(o.out, "FAIL");
    char *line = on_one_line(o.out);
    check_has(line, json_string_value(json_array_get(array_of(target, "moves"), 0)));
    free(line);
    json_decref(json);
}

static void the_same_input_gives_the_same_bytes(void **state) {
    (void)state;
    static const char *const ASKED[] = {"--json --threads 1", "--json --threads 2", "--json",
                                        "--threads=2 --json --picture again.png"};
    outcome first = run("check job.yaml --json --threads 1 --picture first.png");
    check_status(&first, PASS);
    for (size_t i = 0; i < sizeof ASKED / sizeof *ASKED; i++) {
        outcome o = run_on("check job.yaml %s", ASKED[i]);
        assert_string_equal(o.out, first.out);
    }
    assert_int_equal(system("cmp first.png again.png"), 0);
    unlink("first.png");
    unlink("again.png");

    first = run_on("lens %s --out a.yaml --json --threads 1", BOARDS);
    check_status(&first, PASS);
    outcome o = run_on("lens %s --out a.yaml --json --threads 2", BOARDS);
    assert_string_equal(o.out, first.out);
    unlink("a.yaml");
}

static void the_picture_is_a_whole_png(void **state) {
    (void)state;
    int n_files = temp_count(".");
    outcome o = run("check job.yaml --picture result.png");
    check_status(&o, PASS);
    tr_image picture = read_image("result.png");
    assert_int_equal(picture.width, 1920);
    assert_int_equal(picture.height, 1200);
    tr_image_release(&picture);
    assert_int_equal(temp_count("."), n_files + 1);
    unlink("result.png");

    static const char *const UNWRITABLE[] = {"no-such-folder/result.png", "job.yaml/result.png",
                                             "/proc/result.png"};
    for (size_t i = 0; i < sizeof UNWRITABLE / sizeof *UNWRITABLE; i++) {
        o = run_on("check job.yaml --picture %s", UNWRITABLE[i]);
        check_one_sentence(&o, UNWRITABLE[i]);
        check_has(o.out, "PASS"); /* the verdict is printed first, as --help says */
    }
    assert_int_equal(temp_count("."), n_files);
}

static void a_result_that_cannot_be_printed_is_noticed(void **state) {
    (void)state;
    static const char *const TO_NOWHERE[] = {">/dev/full", ">&-", "--json >/dev/full", "--json >&-",
                                             "--json --picture closed.png >&- <&-"};
    for (size_t i = 0; i < sizeof TO_NOWHERE / sizeof *TO_NOWHERE; i++) {
        outcome o = run_on("check job.yaml %s", TO_NOWHERE[i]);
        check_one_sentence(&o, "could not be written");
    }
    tr_image picture = read_image("closed.png"); /* and nothing was printed into it */
    assert_int_equal(picture.width, 1920);
    tr_image_release(&picture);
    unlink("closed.png");
    outcome o = run_on("lens %s --out closed.yaml --json >/dev/full", BOARDS);
    check_status(&o, NO_MEASURE);
    check_has(o.err, "could not be written");
    unlink("closed.yaml");
}

/* ---- the lens ---- */

static void a_calibration_serves_a_check(void **state) {
    (void)state;
    static const char *const KEYS[] = {"fx_px", "fy_px", "cx_px", "cy_px"};
    static const double TRUE_LENS[] = {330, 330.4, 252.1, 188.3};
    outcome o = run_on("lens %s --out own.yaml --json", BOARDS);
    check_status(&o, PASS);
    json_t *json = parse(&o);
    const json_t *sd = array_of(json, "sd");
    assert_string_equal(text_of(json, "lens"), "own");
    assert_int_equal(json_integer_value(json_array_get(array_of(json, "image_px"), 0)), 504);
    assert_int_equal(json_integer_value(json_array_get(array_of(json, "image_px"), 1)), 378);
    assert_int_equal(json_array_size(sd), 9);
    assert_int_equal(json_array_size(array_of(json, "distortion")), 5);
    for (size_t k = 0; k < 4; k++) {
        CHECK_NEAR(number_of(json, KEYS[k]), TRUE_LENS[k],
                   4 * json_number_value(json_array_get(sd, k)));
    }
    CHECK_AT_MOST(number_of(json, "rms_px"), 0.05);
    assert_int_equal(json_array_size(array_of(json, "photos")), SMALL_BOARDS);
    for (size_t i = 0; i < SMALL_BOARDS; i++) {
        const json_t *photo = photo_of(json, i);
        assert_true(json_is_true(json_object_get(photo, "used")));
        assert_int_equal(json_integer_value(json_object_get(photo, "corners")), 24);
        CHECK_AT_MOST(number_of(photo, "rms_px"), 0.05);
        text_of(photo, "file");
    }
    json_decref(json);

    write_changed("own-job.yaml", SMALL_JOB, "lens: lens.yaml", "lens: own.yaml");
    o = run("check own-job.yaml --json");
    check_status(&o, PASS);
    json = parse(&o);
    check_truth(json);
    json_decref(json);
    unlink("own.yaml");
}

/* ---- photos that are none ---- */

/* Files that are no photo, and what is said of each. */
static const struct {
    const char *file, *said;
} NO_PHOTOS[] = {
    {"missing.jpg", "does not exist"},
    {"empty.jpg", "is empty"},
    {"empty.png", "is empty"},
    {"half.jpg", "ends early"},
    {"half.png", "ends early"},
    {"start.jpg", "ends early"},
    {"huge.jpg", "megapixels"},
    {"huge.png", "megapixels"},
    {"text.jpg", "neither a JPEG nor"},
    {"folder.jpg", "is a folder"},
    {"fifo.jpg", "regular file"},
    {"loop.jpg", "cannot be used"},
    {"unreadable.jpg", ""},
};
enum { N_NO_PHOTOS = sizeof NO_PHOTOS / sizeof *NO_PHOTOS };

static void make_no_photos(void) {
    tr_image image = read_image("1.jpg");
    tr_image huge = {.width = 20000, .height = 20000};
    temp_write("empty.jpg", "", 0);
    temp_write("empty.png", "", 0);
    write_part("half.jpg", "1.jpg", 0.5);
    write_part("start.jpg", "1.jpg", 0.004);
    write_png("whole.png", &image, 8, PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_NONE);
    write_part("half.png", "whole.png", 0.5);
    unlink("whole.png");
    write_huge_jpeg("huge.jpg", "1.jpg");
    write_png("huge.png", &huge, 8, PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_NONE);
    small_text(".", "text.jpg", "This is a text.\n");
    assert_int_equal(mkdir("folder.jpg", 0700), 0);
    assert_int_equal(mkfifo("fifo.jpg", 0600), 0);
    assert_int_equal(symlink("loop.jpg", "loop.jpg"), 0);
    /* Not even root can read it from its start. */
    assert_int_equal(symlink("/proc/self/mem", "unreadable.jpg"), 0);
    tr_image_release(&image);
}

static void a_file_that_is_no_photo_is_left_out_by_name(void **state) {
    (void)state;
    int n_files = temp_count(".");
    for (int i = 0; i < N_NO_PHOTOS; i++) {
        const char *file = NO_PHOTOS[i].file;
        char arguments[256];
        /* Beside good photos: left out with its reason. */
        snprintf(arguments, sizeof arguments, "check job.yaml --json %s %s", JOB_PHOTOS, file);
        outcome o = run(arguments);
        json_t *json = parse(&o);
        check_status(&o, PASS);
        check_contract(json, "pass", SMALL_PHOTOS + 1);
        const json_t *photo = photo_of(json, SMALL_PHOTOS);
        assert_string_equal(text_of(photo, "file"), file);
        assert_true(json_is_false(json_object_get(photo, "used")));
        check_has(text_of(photo, "reason"), NO_PHOTOS[i].said);
        assert_int_equal(count_warnings(json, "photo_not_used"), 1);
        check_truth(json);
        json_decref(json);
        /* Alone: no measurement. */
        o = run_on("check job.yaml --json %s", file);
        check_one_sentence(&o, file);
        check_has(o.err, NO_PHOTOS[i].said);
        json = parse(&o);
        check_contract(json, NULL, 1);
        json_decref(json);
    }
    assert_int_equal(temp_count("."), n_files);
}

/* Photos on the command line count from the current folder, those in a job file from its own. */
static void a_photo_beside_the_job_is_told(void **state) {
    (void)state;
    assert_int_equal(mkdir("sub", 0700), 0);
    assert_int_equal(chdir("sub"), 0);
    outcome o = run("check ../job.yaml 1.jpg no-such.jpg");
    assert_int_equal(chdir(".."), 0);
    assert_int_equal(rmdir("sub"), 0);
    check_status(&o, NO_MEASURE);
    check_has(o.err, "does not exist in the current folder");
    check_has(o.err, "it lies beside the job file");
    o = run("check job.yaml no-such.jpg");
    check_has(o.err, "does not exist; check the path");
}

static void a_file_that_is_no_photo_gives_no_lens(void **state) {
    (void)state;
    int n_files = temp_count(".");
    for (int i = 0; i < N_NO_PHOTOS; i++) {
        const char *file = NO_PHOTOS[i].file;
        outcome o = run_on("lens %s --squares 7x5 --pitch 60 --out none.yaml --json", file);
        check_status(&o, NO_MEASURE);
        check_has(o.err, file);
        check_has(o.err, NO_PHOTOS[i].said);
        json_t *json = parse(&o);
        assert_true(strlen(text_of(json_object_get(json, "error"), "text")) > 10);
        json_decref(json);
    }
    assert_int_equal(temp_count("."), n_files);
    char arguments[512];
    snprintf(arguments, sizeof arguments, "lens %s fifo.jpg half.jpg --out some.yaml --json",
             BOARDS);
    outcome o = run(arguments);
    check_status(&o, PASS);
    json_t *json = parse(&o);
    assert_int_equal(json_array_size(array_of(json, "photos")), SMALL_BOARDS + 2);
    for (size_t i = SMALL_BOARDS; i < SMALL_BOARDS + 2; i++)
        assert_true(json_is_false(json_object_get(photo_of(json, i), "used")));
    json_decref(json);
    unlink("some.yaml");
}

static void a_photo_without_marks_is_told(void **state) {
    (void)state;
    char *bare = replaced(SMALL_SCENE, "sheets:\n", "sheets: []\nsheets:\n");
    char *from = strstr(bare, "sheets:\n");
    char *to = strstr(bare, "imaging:");
    memmove(from, to, strlen(to) + 1);
    char *named = replaced(bare, "photo: ", "photo: floor-");
    small_text(".", "floor.yaml", named);
    small_render(".", "floor.yaml");
    free(bare);
    free(named);
    outcome o = run_on("check job.yaml --json %s floor-1.jpg", JOB_PHOTOS);
    json_t *json = parse(&o);
    check_truth(json);
    assert_true(json_is_false(json_object_get(photo_of(json, SMALL_PHOTOS), "used")));
    check_has(text_of(photo_of(json, SMALL_PHOTOS), "reason"), "no mark");
    assert_int_equal(count_warnings(json, "photo_not_used"), 1);
    json_decref(json);
    o = run("check job.yaml floor-1.jpg floor-2.jpg");
    check_one_sentence(&o, "no mat or plate");
}

/* Unusual files that hold the very same photo measure the same: to 1e-4 mm, since a photo's name
   says in which order its numbers are added up; by another JPEG's losses, to 0.3 mm. */
static void every_kind_of_photo_is_read(void **state) {
    (void)state;
    static const char *const KINDS[] = {
        "grey.png", "16-bit.png",      "palette.png", "interlaced.png",
        "grey.jpg", "progressive.jpg", "cmyk.jpg",    "cmyk-progressive.jpg"};
    tr_image image = read_image("1.jpg");
    write_png("grey.png", &image, 8, PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_NONE);
    write_png("16-bit.png", &image, 16, PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_NONE);
    write_png("palette.png", &image, 8, PNG_COLOR_TYPE_PALETTE, PNG_INTERLACE_NONE);
    write_png("interlaced.png", &image, 8, PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_ADAM7);
    write_jpeg("grey.jpg", &image, false, false);
    write_jpeg("progressive.jpg", &image, false, true);
    write_jpeg("cmyk.jpg", &image, true, false);
    write_jpeg("cmyk-progressive.jpg", &image, true, true);
    tr_image_release(&image);
    outcome o = run("check job.yaml --json");
    json_t *wanted = parse(&o);
    for (size_t i = 0; i < sizeof KINDS / sizeof *KINDS; i++) {
        bool is_lossless = strstr(KINDS[i], ".png") != NULL;
        o = run_on("check job.yaml --json %s 2.jpg 3.jpg 4.jpg", KINDS[i]);
        check_status(&o, PASS);
        json_t *json = parse(&o);
        assert_true(json_is_true(json_object_get(photo_of(json, 0), "used")));
        CHECK_NEAR(axis_of(json, "x_mm", "measured"), axis_of(wanted, "x_mm", "measured"),
                   is_lossless ? 1e-4 : 0.3);
        CHECK_NEAR(axis_of(json, "y_mm", "measured"), axis_of(wanted, "y_mm", "measured"),
                   is_lossless ? 1e-4 : 0.3);
        json_decref(json);
        unlink(KINDS[i]);
    }
    json_decref(wanted);
}

/* ---- YAML ---- */

static void a_bad_file_is_refused_by_name_and_nothing_is_written(void **state) {
    (void)state;
    static const struct {
        const char *file, *from, *to, *said;
    } BAD[] = {
        {"unknown.yaml", "job: SMALL-1", "job: SMALL-1\ncolour: red", "colour"},
        {"nan.yaml", "reference_sd_mm: 1.0", "reference_sd_mm: .nan", "reference_sd_mm"},
        {"inf.yaml", "reference_sd_mm: 1.0", "reference_sd_mm: .inf", "reference_sd_mm"},
        {"negative.yaml", "reference_sd_mm: 1.0", "reference_sd_mm: -1", "reference_sd_mm"},
        {"no-layout.yaml", "layout: layout.yaml\n", "", "layout"},
        {"lens-gone.yaml", "lens: lens.yaml", "lens: gone.yaml", "gone.yaml"},
        {"lens-photo.yaml", "lens: lens.yaml", "lens: 1.jpg", "1.jpg"},
        {"lens-folder.yaml", "lens: lens.yaml", "lens: folder.jpg", "folder.jpg"},
        {"lens-fifo.yaml", "lens: lens.yaml", "lens: fifo.jpg", "fifo.jpg"},
        {"sheet-twice.yaml", "[mat.yaml, ", "[mat.yaml, mat.yaml, ", "mat.yaml"},
        {"no-photos.yaml", "photos: [1.jpg, 2.jpg, 3.jpg, 4.jpg]\n", "",
         "no-photos.yaml: names no photos"},
        {"tab.yaml", "layout: layout.yaml", "\tlayout: layout.yaml", "tab.yaml"},
        {"open.yaml", "4.jpg]", "4.jpg", "open.yaml"},
        {"huge.yaml", NULL, NULL, "huge.yaml"},
        {"large.yaml", NULL, NULL, "large.yaml"},
        {"empty.yaml", NULL, NULL, "empty.yaml"},
        {"deep.yaml", NULL, NULL, "deep.yaml"},
        {"1.jpg", NULL, NULL, "1.jpg"},
        {"folder.jpg", NULL, NULL, "folder.jpg"},
        {"fifo.jpg", NULL, NULL, "fifo.jpg"},
    };
    char deep[2001];
    memset(deep, '[', 2000);
    deep[2000] = 0;
    small_text(".", "deep.yaml", deep);
    small_text(".", "empty.yaml", "");
    /* 100 MB: zeros without a disk block, and a valid file that never ends. */
    int fd = open("huge.yaml", O_WRONLY | O_CREAT | O_TRUNC, 0600);
    assert_true(fd >= 0);
    assert_int_equal(ftruncate(fd, 100000000), 0);
    assert_int_equal(close(fd), 0);
    assert_int_equal(system("yes '# a comment' | head -c 100000000 >large.yaml"), 0);
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        if (BAD[i].from) write_changed(BAD[i].file, SMALL_JOB, BAD[i].from, BAD[i].to);
    }
    int n_files = temp_count(".");
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        outcome o = run_on("check %s", BAD[i].file);
        check_one_sentence(&o, BAD[i].said);
        assert_string_equal(o.out, "");
        o = run_on("check %s --json", BAD[i].file);
        check_one_sentence(&o, BAD[i].said);
        json_t *json = parse(&o);
        assert_true(json_is_null(json_object_get(json, "verdict")));
        assert_true(strlen(text_of(json_object_get(json, "error"), "text")) > 10);
        json_decref(json);
    }
    assert_int_equal(temp_count("."), n_files);
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        if (strstr(BAD[i].file, ".yaml")) unlink(BAD[i].file);
    }
}

/* ---- traps: none may pass, and each is told ---- */

/* The trap's job and photos end without a pass, with a warning of this code. */
static json_t *check_trap(const char *arguments, const char *code) {
    outcome o = run_on("check %s --json", arguments);
    json_t *json = parse(&o);
    if (o.status == PASS || o.status > NO_MEASURE || count_warnings(json, code) == 0)
        print_error("%s: exit status %d, no warning '%s' in\n%s\n", arguments, o.status, code,
                    o.out);
    assert_in_range(o.status, FAIL, NO_MEASURE);
    assert_true(count_warnings(json, code) > 0);
    const char *verdict = json_string_value(json_object_get(json, "verdict"));
    assert_true(!verdict || strcmp(verdict, "pass") != 0);
    /* People read the same. */
    outcome text = run_on("check %s", arguments);
    assert_int_equal(text.status, o.status);
    check_has(text.out, verdict ? code : "NO MEASUREMENT");
    return json;
}

static void a_lens_of_another_image_size_fits_no_photo(void **state) {
    (void)state;
    write_changed("size.yaml", SMALL_LENS, "[504, 378]", "[1008, 756]");
    write_changed("size-job.yaml", SMALL_JOB, "lens.yaml", "size.yaml");
    json_t *json = check_trap("size-job.yaml", "photo_size");
    check_contract(json, NULL, SMALL_PHOTOS);
    assert_int_equal(count_warnings(json, "photo_size"), SMALL_PHOTOS);
    check_has(text_of(photo_of(json, 0), "reason"), "504 x 378");
    json_decref(json);
}

/* The same image size, but zoomed in by a tenth since the calibration. */
static void a_lens_of_another_zoom_is_noticed(void **state) {
    (void)state;
    char *zoomed = replaced(SMALL_LENS, "fx_px: 330\n", "fx_px: 363\n");
    write_changed("zoom.yaml", zoomed, "fy_px: 330.4", "fy_px: 363.4");
    free(zoomed);
    write_changed("zoom-job.yaml", SMALL_JOB, "lens.yaml", "zoom.yaml");
    json_decref(check_trap("zoom-job.yaml", "lens_mismatch"));
}

static void mirrored_photos_are_noticed(void **state) {
    (void)state;
    for (int i = 1; i <= SMALL_PHOTOS; i++) {
        char from[24], to[24];
        snprintf(from, sizeof from, "%d.jpg", i);
        snprintf(to, sizeof to, "m%d.jpg", i);
        write_mirrored(to, from);
    }
    json_t *json = check_trap("job.yaml m1.jpg m2.jpg m3.jpg m4.jpg", "photo_mirrored");
    assert_int_equal(count_warnings(json, "photo_mirrored"), SMALL_PHOTOS);
    json_decref(json);
    json_decref(check_trap("job.yaml 1.jpg 2.jpg 3.jpg m4.jpg", "photo_mirrored"));
}

static void a_required_mat_that_is_not_there_is_inconclusive(void **state) {
    (void)state;
    render_changed("bare",
                   "  - { sheet: mat.yaml, x_mm: -1496, y_mm: 3, yaw_deg: 0.1, checker_mm: 60 }\n",
                   "");
    json_t *json =
        check_trap("job.yaml bare-1.jpg bare-2.jpg bare-3.jpg bare-4.jpg", "sheet_not_found");
    check_contract(json, "inconclusive", SMALL_PHOTOS);
    const json_t *target = json_array_get(array_of(json, "targets"), 0);
    assert_true(json_is_null(json_object_get(json_object_get(target, "x_mm"), "measured")));
    json_decref(json);
}

static void photos_of_another_scene_are_noticed(void **state) {
    (void)state;
    /* The same sheets, but the mat lies 30 mm further forward. */
    json_decref(check_trap("job.yaml 1.jpg 2.jpg 3.jpg 4.jpg off-1.jpg off-2.jpg", "sheet_moved"));
    /* Another vehicle with the same plates, 100 mm longer. */
    render_changed("long", "x_mm: 2700", "x_mm: 2800");
    outcome o = run("check job.yaml 1.jpg 2.jpg 3.jpg 4.jpg long-2.jpg long-3.jpg --json");
    json_t *json = parse(&o);
    if (o.status == PASS) print_error("%s\n", o.out);
    assert_in_range(o.status, FAIL, NO_MEASURE);
    assert_true(json_array_size(array_of(json, "warnings")) > 0);
    json_decref(json);
}

static void what_the_job_says_wrongly_is_noticed(void **state) {
    (void)state;
    /* Two plates exchanged, left and right. */
    char *job = replaced(SMALL_JOB, "rear-left, sheet: P-0", "rear-left, sheet: P-X");
    char *exchanged = replaced(job, "rear-right, sheet: P-1", "rear-right, sheet: P-0");
    write_changed("exchanged.yaml", exchanged, "P-X", "P-1");
    free(job);
    free(exchanged);
    json_decref(check_trap("exchanged.yaml", "plates_swapped"));
    /* The mat was printed 3 % smaller than its file says. */
    static const char *const SIZES[][2] = {{"780", "803"}, {"560", "577"}, {"390", "402"}};
    char *mat = replaced(SMALL_MAT, "2400, 900", "2472, 927");
    for (int i = 0; i < 3; i++) {
        char *next = replaced(mat, SIZES[i][0], SIZES[i][1]);
        free(mat);
        mat = next;
    }
    small_text(".", "scaled.yaml", mat);
    free(mat);
    write_changed("scaled-job.yaml", SMALL_JOB, "mat.yaml", "scaled.yaml");
    json_decref(check_trap("scaled-job.yaml", "sheet_scale"));
    /* A tag's number is not what is printed. */
    write_changed("other.yaml", SMALL_MAT, "id: 11", "id: 12");
    write_changed("other-job.yaml", SMALL_JOB, "mat.yaml", "other.yaml");
    outcome o = run("check other-job.yaml");
    check_one_sentence(&o, "other.yaml");
}

static void a_photo_given_twice_counts_once(void **state) {
    (void)state;
    assert_int_equal(system("cp 1.jpg copy.jpg"), 0);
    outcome o = run("check job.yaml --json 1.jpg 2.jpg 3.jpg 4.jpg copy.jpg");
    outcome once = run("check job.yaml --json");
    json_t *json = parse(&o);
    json_t *wanted = parse(&once);
    assert_true(json_is_false(json_object_get(photo_of(json, SMALL_PHOTOS), "used")));
    check_has(text_of(photo_of(json, SMALL_PHOTOS), "reason"), "same photo as 1.jpg");
    CHECK_NEAR(axis_of(json, "x_mm", "u95"), axis_of(wanted, "x_mm", "u95"), 1e-9);
    json_decref(json);
    json_decref(wanted);
}

/* ---- main ---- */

static int set_up(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    *state = folder;
    temp_make(folder);
    if (chdir(folder) != 0) return -1;
    small_job_make(".");
    small_boards_make(".");
    render_changed("off", "x_mm: -1496", "x_mm: -1466");
    make_no_photos();
    return 0;
}

static int tear_down(void **state) {
    if (chdir("/") != 0) return -1;
    temp_remove(*state);
    free(*state);
    return 0;
}

/* The demo's job without its lens profile: where the mat lies, from photos alone. */
static void a_first_try_needs_no_lens_profile(void **state) {
    (void)state;
    static const double DEMO[3] = {-1798.5, -1.0, -0.04};
    static const double ROUNDED[3] = {0.05, 0.05, 0.005};
    static const char *const AXES[] = {"x_mm", "y_mm", "yaw_deg"};
    char command[2048];
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    int n = snprintf(command, sizeof command,
                     "mkdir first-try && cd first-try && ln -s '%s'/testimages/layouts "
                     "'%s'/testimages/sheets '%s'/testimages/demo-pass . && "
                     "sed 's/^lens: .*/lens: unknown/' '%s'/testimages/demo-pass.yaml > job.yaml",
                     source, source, source, source);
    assert_true(n < (int)sizeof command);
    assert_int_equal(system(command), 0);
    outcome o = run("check first-try/job.yaml --json");
    json_t *json = json_loads(o.out, 0, NULL);
    assert_non_null(json);
    check_status(&o, PASS);
    const json_t *target = json_array_get(json_object_get(json, "targets"), 0);
    for (int k = 0; k < 3; k++) {
        const json_t *axis = json_object_get(target, AXES[k]);
        double u95 = json_number_value(json_object_get(axis, "u95"));
        double with = json_number_value(json_object_get(axis, "u95_with_profile"));
        CHECK_NEAR(json_number_value(json_object_get(axis, "measured")), DEMO[k], u95 + ROUNDED[k]);
        assert_true(with > 0 && with <= u95);
    }
    const json_t *lens = json_object_get(json, "lens");
    assert_true(json_is_false(json_object_get(lens, "known")));
    double focal_px = json_number_value(json_object_get(lens, "focal_px"));
    CHECK_NEAR(focal_px, 3006.2, 1.5 * json_number_value(json_object_get(lens, "focal_u95_px")));
    check_has(o.out, "lens_unknown");
    json_decref(json);
    assert_int_equal(system("rm -r first-try"), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_first_try_needs_no_lens_profile),
        cmocka_unit_test(help_tells_every_option_and_the_cautions),
        cmocka_unit_test(a_good_job_passes),
        cmocka_unit_test(a_mat_off_its_place_fails_and_the_move_is_told),
        cmocka_unit_test(the_same_input_gives_the_same_bytes),
        cmocka_unit_test(the_picture_is_a_whole_png),
        cmocka_unit_test(a_result_that_cannot_be_printed_is_noticed),
        cmocka_unit_test(a_calibration_serves_a_check),
        cmocka_unit_test(a_file_that_is_no_photo_is_left_out_by_name),
        cmocka_unit_test(a_photo_beside_the_job_is_told),
        cmocka_unit_test(a_file_that_is_no_photo_gives_no_lens),
        cmocka_unit_test(a_photo_without_marks_is_told),
        cmocka_unit_test(every_kind_of_photo_is_read),
        cmocka_unit_test(a_bad_file_is_refused_by_name_and_nothing_is_written),
        cmocka_unit_test(a_lens_of_another_image_size_fits_no_photo),
        cmocka_unit_test(a_lens_of_another_zoom_is_noticed),
        cmocka_unit_test(mirrored_photos_are_noticed),
        cmocka_unit_test(a_required_mat_that_is_not_there_is_inconclusive),
        cmocka_unit_test(photos_of_another_scene_are_noticed),
        cmocka_unit_test(what_the_job_says_wrongly_is_noticed),
        cmocka_unit_test(a_photo_given_twice_counts_once),
    };
    return cmocka_run_group_tests_name("program", tests, set_up, tear_down);
}
