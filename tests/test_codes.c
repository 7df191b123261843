/* Bar codes and QR codes in photos: drawn by the published tables and by libqrencode, put into
   photos as a phone takes them, read by the program and by zbarimg; and what a check says of them.
 */
#include "check.h"

#include <math.h>
#include <qrencode.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "check/identity.h"
#include "codes/codes.h"
#include "draw.h"
#include "findings.h"
#include "temp.h"

#define VIN "1M8GDM9AXKP042788"

static char folder[TEMP_SIZE];

/* ---- codes, one character a module: '1' is dark ---- */

enum { MAX_MODULES = 4096 };

/* Code 39: nine elements a character, bar first, 'w' wide (two and a half of narrow here: two or
   three modules), in the order of the table of ISO/IEC 16388. */
static void draw_code39(const char *text, char *out) {
    static const char CHARACTERS[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%*";
    static const char *const PATTERNS[] = {
        "nnnwwnwnn", "wnnwnnnnw", "nnwwnnnnw", "wnwwnnnnn", "nnnwwnnnw", "wnnwwnnnn", "nnwwwnnnn",
        "nnnwnnwnw", "wnnwnnwnn", "nnwwnnwnn", "wnnnnwnnw", "nnwnnwnnw", "wnwnnwnnn", "nnnnwwnnw",
        "wnnnwwnnn", "nnwnwwnnn", "nnnnnwwnw", "wnnnnwwnn", "nnwnnwwnn", "nnnnwwwnn", "wnnnnnnww",
        "nnwnnnnww", "wnwnnnnwn", "nnnnwnnww", "wnnnwnnwn", "nnwnwnnwn", "nnnnnnwww", "wnnnnnwwn",
        "nnwnnnwwn", "nnnnwnwwn", "wwnnnnnnw", "nwwnnnnnw", "wwwnnnnnn", "nwnnwnnnw", "wwnnwnnnn",
        "nwwnwnnnn", "nwnnnnwnw", "wwnnnnwnn", "nwwnnnwnn", "nwnwnwnnn", "nwnwnnnwn", "nwnnnwnwn",
        "nnnwnwnwn", "nwnnwnwnn"};
    char framed[128];
    char *to = out;
    snprintf(framed, sizeof framed, "*%s*", text);
    for (const char *c = framed; *c; c++) {
        const char *at = strchr(CHARACTERS, *c);
        assert_non_null(at);
        const char *pattern = PATTERNS[at - CHARACTERS];
        for (int i = 0; i < 9; i++) {
            int n = pattern[i] == 'w' ? 3 : 1;
            for (int k = 0; k < n; k++) *to++ = i % 2 ? '0' : '1';
        }
        *to++ = '0';
    }
    *to = 0;
}

/* Code 128, code set B: the widths of ISO/IEC 15417's table, a check character mod 103. */
static void draw_code128(const char *text, char *out) {
    static const char *const WIDTHS[107] = {
        "212222", "222122", "222221", "121223", "121322", "131222", "122213", "122312", "132212",
        "221213", "221312", "231212", "112232", "122132", "122231", "113222", "123122", "123221",
        "223211", "221132", "221231", "213212", "223112", "312131", "311222", "321122", "321221",
        "312212", "322112", "322211", "212123", "212321", "232121", "111323", "131123", "131321",
        "112313", "132113", "132311", "211313", "231113", "231311", "112133", "112331", "132131",
        "113123", "113321", "133121", "313121", "211331", "231131", "213113", "213311", "213131",
        "311123", "311321", "331121", "312113", "312311", "332111", "314111", "221411", "431111",
        "111224", "111422", "121124", "121421", "141122", "141221", "112214", "112412", "122114",
        "122411", "142112", "142211", "241211", "221114", "413111", "241112", "134111", "111242",
        "121142", "121241", "114212", "124112", "124211", "411212", "421112", "421211", "212141",
        "214121", "412121", "111143", "111341", "131141", "114113", "114311", "411113", "411311",
        "113141", "114131", "311141", "411131", "211412", "211214", "211232", "2331112"};
    enum { START_B = 104, STOP = 106 };
    int values[128];
    int n = 0;
    int sum = START_B;
    char *to = out;
    values[n++] = START_B;
    for (const char *c = text; *c; c++) {
        sum += n * (*c - 32);
        values[n++] = *c - 32;
    }
    values[n++] = sum % 103;
    values[n++] = STOP;
    for (int i = 0; i < n; i++) {
        for (int k = 0; WIDTHS[values[i]][k]; k++) {
            for (int m = 0; m < WIDTHS[values[i]][k] - '0'; m++) *to++ = k % 2 ? '0' : '1';
        }
    }
    *to = 0;
}

/* ---- photos ---- */

/* A face of modules: one row of them, `height` modules high, or a square. */
typedef struct {
    char modules[MAX_MODULES];
    unsigned char *square; /* owned; NULL: a row */
    int width, height;
} face;

static face row_of(void (*draw)(const char *text, char *out), const char *text) {
    face f = {.square = NULL};
    draw(text, f.modules);
    f.width = (int)strlen(f.modules);
    f.height = 40;
    return f;
}

static face qr_of(const char *text, int size) {
    face f = {.square = NULL};
    QRcode *qr = QRcode_encodeData(size, (const unsigned char *)text, 0, QR_ECLEVEL_M);
    assert_non_null(qr);
    f.width = f.height = qr->width;
    f.square = malloc((size_t)qr->width * (size_t)qr->width);
    assert_non_null(f.square);
    memcpy(f.square, qr->data, (size_t)qr->width * (size_t)qr->width);
    QRcode_free(qr);
    return f;
}

/* 1: paper; x, y in modules. */
static double brightness(const face *f, double x, double y) {
    if (x < 0 || y < 0 || x >= f->width || y >= f->height) return 1;
    bool is_dark =
        f->square ? f->square[(int)y * f->width + (int)x] & 1 : f->modules[(int)x] == '1';
    return is_dark ? 0 : 1;
}

typedef struct {
    double module_px, turn_rad, perspective; /* perspective: how much smaller one end is */
    double blur_px, noise;
    int quality; /* of the JPEG */
} shot;

static const shot USUAL = {3.2, 0.05, 0.15, 0.8, 3, 80};

enum { PHOTO_WIDTH = 1600, PHOTO_HEIGHT = 1200 };

static double grey_at(const face *f, const shot *s, double u, double v) {
    double x = u - PHOTO_WIDTH / 2.0;
    double y = v - PHOTO_HEIGHT / 2.0;
    double c = cos(s->turn_rad);
    double n = sin(s->turn_rad);
    double a = (c * x + n * y) / s->module_px;
    double b = (-n * x + c * y) / s->module_px;
    double shrink = 1 + s->perspective * a / f->width;
    return 40 + 170 * brightness(f, a * shrink + f->width / 2.0, b * shrink + f->height / 2.0);
}

/* Each pixel is the mean of 4 x 4 samples over a square of the blur's width. The face is released.
 */
static void take(face *f, const shot *s, const char *name, char path[TEMP_SIZE]) {
    tr_image image;
    tr_error err = {0};
    tr_draw d = draw_seeded(name);
    assert_true(tr_image_init(&image, PHOTO_WIDTH, PHOTO_HEIGHT, &err));
    double wide = 1 + 2 * s->blur_px;
    for (int v = 0; v < PHOTO_HEIGHT; v++) {
        for (int u = 0; u < PHOTO_WIDTH; u++) {
            double sum = 0;
            for (int k = 0; k < 16; k++) {
                sum += grey_at(f, s, u + wide * ((k % 4 + 0.5) / 4 - 0.5),
                               v + wide * ((k / 4 + 0.5) / 4 - 0.5));
            }
            double grey = sum / 16 + s->noise * draw_normal(&d);
            image.px[(long)v * PHOTO_WIDTH + u] = (uint8_t)fmin(255, fmax(0, grey));
        }
    }
    temp_path(path, folder, name);
    assert_true(tr_image_write_jpeg(&image, s->quality, path, &err));
    tr_image_release(&image);
    free(f->square);
}

/* What zbarimg reads in it: "CODE-39:1M8...". */
static bool zbarimg_reads(const char *path, const char *text) {
    char line[2048], found[1024] = "";
    bool is_read = false;
    snprintf(line, sizeof line, "zbarimg --quiet --raw '%s' 2>/dev/null", path);
    FILE *pipe = popen(line, "r");
    assert_non_null(pipe);
    while (fgets(found, sizeof found, pipe)) {
        found[strcspn(found, "\n")] = 0;
        is_read = is_read || strcmp(found, text) == 0;
    }
    pclose(pipe);
    return is_read;
}

static int to_setup(void **state) {
    (void)state;
    temp_make(folder);
    return 0;
}

static int to_teardown(void **state) {
    (void)state;
    temp_remove(folder);
    return 0;
}

/* A job with these photos of codes; n_codes of them. */
static tr_job job_of(const char *vehicle_id, char **codes, int n_codes, tr_sheet *sheets,
                     int n_sheets) {
    tr_job job = {.codes = codes, .n_codes = n_codes, .sheets = sheets, .n_sheets = n_sheets};
    snprintf(job.vehicle_id, sizeof job.vehicle_id, "%s", vehicle_id);
    return job;
}

static tr_identity identify(const tr_job *job, tr_findings *findings) {
    tr_identity identity;
    tr_error err = {0};
    *findings = (tr_findings){0};
    if (!tr_identity_read(job, &identity, findings, &err)) fail_msg("%s", err.text);
    return identity;
}

/* ---- what is read ---- */

static void check_reads(face f, const shot *s, const char *name, const char *text,
                        const char *symbology, bool is_for_zbarimg) {
    char path[TEMP_SIZE];
    take(&f, s, name, path);
    char *codes[] = {path};
    tr_findings findings;
    tr_job job = job_of("", codes, 1, NULL, 0);
    tr_identity identity = identify(&job, &findings);
    bool is_read = false;
    for (int i = 0; i < identity.n_codes; i++) {
        is_read = is_read || (strcmp(identity.codes[i].text, text) == 0 &&
                              strcmp(identity.codes[i].symbology, symbology) == 0);
    }
    if (!is_read) print_error("%s: '%s' was not read\n", name, text);
    assert_true(is_read);
    if (is_for_zbarimg) assert_true(zbarimg_reads(path, text));
    tr_findings_release(&findings);
    tr_identity_release(&identity);
}

static void codes_are_read_as_zbarimg_reads_them(void **state) {
    (void)state;
    check_reads(row_of(draw_code39, VIN), &USUAL, "code39.jpg", VIN, "code-39", true);
    check_reads(row_of(draw_code128, VIN), &USUAL, "code128.jpg", VIN, "code-128", true);
    shot large = USUAL;
    large.module_px = 8;
    check_reads(qr_of("MAT-7/2026", 10), &large, "qr.jpg", "MAT-7/2026", "qr-code", true);
}

static void codes_are_read_in_any_position(void **state) {
    (void)state;
    for (int i = 1; i < 8; i++) {
        char name[32];
        shot s = USUAL;
        s.turn_rad = i * 0.3927;
        s.perspective = 0.05;
        snprintf(name, sizeof name, "turned-%d.jpg", i);
        check_reads(row_of(draw_code128, VIN), &s, name, VIN, "code-128", false);
    }
}

/* ---- vehicle identification numbers ---- */

static void vins_are_cleaned(void **state) {
    (void)state;
    static const struct {
        const char *text, *vin;
        bool is_like;
    } CASES[] = {
        {VIN, VIN, false},
        {"I" VIN, VIN, false},
        {"*" VIN "*", VIN, false},
        {"1m8gdm9axkp042788", VIN, false},
        {"1M8GDM9AXKPO42788", "1M8GDM9AXKPO42788", true},
        {"X" VIN, "", false},
        {"MAT-7", "", false},
        {"", "", false},
        {VIN "\n", "", false},
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        char vin[18];
        bool is_like;
        bool is_vin = tr_identity_vin(CASES[i].text, strlen(CASES[i].text), vin, &is_like);
        assert_string_equal(vin, CASES[i].vin);
        assert_int_equal(is_like, CASES[i].is_like);
        assert_int_equal(is_vin, *CASES[i].vin && !CASES[i].is_like);
    }
}

static void a_vehicle_is_compared(void **state) {
    (void)state;
    char path[TEMP_SIZE];
    face f = row_of(draw_code39, "I" VIN);
    take(&f, &USUAL, "vin.jpg", path);
    char *codes[] = {path};
    tr_findings findings;
    /* None stated: that which was read. */
    tr_job job = job_of("", codes, 1, NULL, 0);
    tr_identity identity = identify(&job, &findings);
    assert_string_equal(identity.vehicle, VIN);
    assert_int_equal(findings.n, 0);
    tr_identity_release(&identity);
    /* The same. */
    job = job_of(VIN, codes, 1, NULL, 0);
    identity = identify(&job, &findings);
    assert_true(identity.agrees);
    assert_int_equal(findings.n, 0);
    tr_identity_release(&identity);
    /* Another. */
    job = job_of("1G4AH59H45G118341", codes, 1, NULL, 0);
    identity = identify(&job, &findings);
    assert_false(identity.agrees);
    const tr_finding *differs = finding_of(&findings, "vehicle_id_differs");
    assert_non_null(differs);
    assert_true(tr_finding_blocks_pass(differs->kind));
    assert_non_null(strstr(finding_text(differs), VIN));
    assert_non_null(strstr(finding_text(differs), "1G4AH59H45G118341"));
    assert_non_null(strstr(finding_text(differs), "vin.jpg"));
    tr_findings_release(&findings);
    tr_identity_release(&identity);
}

/* ---- labels ---- */

static void labels_tell_sheets(void **state) {
    (void)state;
    char used[TEMP_SIZE], blank[TEMP_SIZE];
    shot large = USUAL;
    large.module_px = 8;
    face f = qr_of("no 4711", 7);
    take(&f, &large, "label.jpg", used);
    face none = {.width = 1, .height = 1, .modules = "0"};
    take(&none, &USUAL, "blank.jpg", blank);
    char *codes[] = {used, blank};
    tr_sheet sheets[2] = {{.id = "MAT-7", .label = "no 4711"}, {.id = "MAT-8", .label = "no 4712"}};
    tr_findings findings;
    tr_job job = job_of("", codes, 2, sheets, 2);
    /* MAT-8 is needed, MAT-7 is not. */
    tr_reference reference = {.sheet = 1};
    job.references = &reference;
    job.n_references = 1;
    tr_identity identity = identify(&job, &findings);
    assert_int_equal(identity.n_sheets, 2);
    assert_string_equal(identity.sheets[0].read, "no 4711");
    assert_non_null(strstr(identity.sheets[0].photo, "label.jpg"));
    assert_string_equal(identity.sheets[1].read, "");
    assert_non_null(finding_of(&findings, "label_of_unused_sheet"));
    assert_non_null(finding_of(&findings, "label_not_read"));
    assert_non_null(strstr(finding_text(finding_of(&findings, "code_not_found")), "blank.jpg"));
    assert_false(tr_findings_block_pass(&findings));
    tr_findings_release(&findings);
    tr_identity_release(&identity);
}

/* ---- hostile codes, and no photos ---- */

static void hostile_codes_are_shown_safely(void **state) {
    (void)state;
    char path[TEMP_SIZE], text[1501];
    shot large = USUAL;
    large.module_px = 8;
    const char escape[] = "\033[2J\a\r\n</a>\"; rm";
    face f = qr_of(escape, (int)sizeof escape - 1);
    take(&f, &large, "escape.jpg", path);
    char *codes[] = {path};
    tr_findings findings;
    tr_job job = job_of(VIN, codes, 1, NULL, 0);
    tr_identity identity = identify(&job, &findings);
    assert_int_equal(identity.n_codes, 1);
    assert_true(tr_text_is_line(identity.codes[0].text, strlen(identity.codes[0].text)));
    tr_findings_release(&findings);
    tr_identity_release(&identity);
    memset(text, 'A', sizeof text - 1);
    text[1500] = 0;
    f = qr_of(text, 1500);
    large.module_px = 7;
    large.perspective = 0;
    take(&f, &large, "long.jpg", path);
    identity = identify(&job, &findings);
    assert_int_equal(identity.n_codes, 1);
    CHECK_AT_MOST((double)strlen(identity.codes[0].text), TR_CODE_TEXT_SIZE - 1);
    tr_findings_release(&findings);
    tr_identity_release(&identity);
    char gone[] = "gone.jpg";
    codes[0] = gone;
    identity = identify(&job, &findings);
    assert_non_null(strstr(finding_text(finding_of(&findings, "code_not_found")), "gone.jpg"));
    tr_findings_release(&findings);
    tr_identity_release(&identity);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(codes_are_read_as_zbarimg_reads_them),
        cmocka_unit_test(codes_are_read_in_any_position),
        cmocka_unit_test(vins_are_cleaned),
        cmocka_unit_test(a_vehicle_is_compared),
        cmocka_unit_test(labels_tell_sheets),
        cmocka_unit_test(hostile_codes_are_shown_safely),
    };
    return cmocka_run_group_tests_name("codes", tests, to_setup, to_teardown);
}
