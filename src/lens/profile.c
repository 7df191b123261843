#include "lens/profile.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/language.h"
#include "base/number.h"
#include "base/text.h"
#include "base/yaml.h"
#include "base/yaml_write.h"
#include "geom/covariance.h"

enum { MAX_SIDE_PX = 65535 };

/* No parameter and no covariance of one reaches this. */
#define MAX_VALUE 1e12

/* Focal length over the image's longer side: 0.1 sees 157 degrees across, far more than a pinhole
   model is good for; 100 sees half a degree. */
#define MIN_FOCAL 0.1
#define MAX_FOCAL 100.0

/* fx over fy, or the reverse: a pixel is square, give or take. */
#define MAX_ASPECT 2.0

static const char *const MODELS[] = {"brown5"};
static const char *const PIXEL_KEYS[] = {"fx_px", "fy_px", "cx_px", "cy_px"}; /* TR_FX .. TR_CY */

static const char *covariance_fault(const double *C) {
    switch (tr_covariance_check(C, TR_LENS_N, MAX_VALUE)) {
    case TR_COVARIANCE_OK: return NULL;
    case TR_COVARIANCE_VARIANCE:
        return TR_N("has a variance below 0 or far too large; calibrate again");
    case TR_COVARIANCE_ASYMMETRIC: return TR_N("is not symmetric; calibrate again");
    case TR_COVARIANCE_ALONE:
        return TR_N("has a covariance where a variance is 0; calibrate again");
    case TR_COVARIANCE_INDEFINITE:
        return TR_N("is not positive semi-definite; calibrate again, or write it with more digits");
    case TR_COVARIANCE_NO_MEMORY: break;
    }
    return TR_N("could not be checked, as memory ran out");
}

bool tr_board_squares_parse(const char *text, int *squares_x, int *squares_y) {
    char across[16];
    long n[2];
    const char *x = strpbrk(text, "xX");
    if (!x || x == text || (size_t)(x - text) >= sizeof across) return false;
    memcpy(across, text, (size_t)(x - text));
    across[x - text] = 0;
    if (!tr_integer_parse(across, &n[0]) || !tr_integer_parse(x + 1, &n[1])) return false;
    for (int k = 0; k < 2; k++) {
        if (n[k] < TR_BOARD_MIN_SQUARES || n[k] > TR_BOARD_MAX_SQUARES) return false;
    }
    *squares_x = (int)n[0];
    *squares_y = (int)n[1];
    return true;
}

/* "2026-03-02" */
static bool is_day(const char *text) {
    for (int i = 0; i < 10; i++) {
        bool is_dash = i == 4 || i == 7;
        if (is_dash ? text[i] != '-' : !(text[i] >= '0' && text[i] <= '9')) return false;
    }
    int month = 10 * (text[5] - '0') + text[6] - '0';
    int day = 10 * (text[8] - '0') + text[9] - '0';
    return text[10] == 0 && month >= 1 && month <= 12 && day >= 1 && day <= 31;
}

static bool is_told_in_range(double x, double high) {
    return x == 0 || (x > 0 && x <= high);
}

static const char *camera_fault(const tr_camera *camera, const char **key) {
    *key = "camera";
    if (!tr_text_is_line(camera->name, strlen(camera->name)))
        return TR_N("is not one line of UTF-8");
    *key = "camera_lens";
    if (!tr_text_is_line(camera->lens, strlen(camera->lens)))
        return TR_N("is not one line of UTF-8");
    *key = "focal_length_mm";
    if (!is_told_in_range(camera->focal_length_mm, TR_CAMERA_MAX_FOCAL_MM)) {
        return TR_N("is no focal length");
    }
    *key = "equivalent_focal_length_mm";
    if (!is_told_in_range(camera->equivalent_focal_length_mm, TR_CAMERA_MAX_FOCAL_MM)) {
        return TR_N("is no focal length");
    }
    *key = "digital_zoom";
    return is_told_in_range(camera->digital_zoom, TR_CAMERA_MAX_ZOOM) ? NULL : "is no zoom";
}

/* What is wrong with a lens, and at which key; NULL: nothing. */
static const char *find_fault(const tr_lens *lens, const char **key) {
    const double *p = lens->param;
    double longer = fmax(lens->width_px, lens->height_px);
    *key = "lens";
    if (lens->id[0] == 0 || !tr_text_is_line(lens->id, strlen(lens->id))) {
        return TR_N("is not a name in one line of UTF-8; give another");
    }
    *key = "image_px";
    if (lens->width_px < 1 || lens->height_px < 1 || longer > MAX_SIDE_PX) {
        return TR_N("is not the size of a photo");
    }
    for (int k = TR_FX; k <= TR_FY; k++) {
        *key = PIXEL_KEYS[k];
        if (!(p[k] >= MIN_FOCAL * longer && p[k] <= MAX_FOCAL * longer)) {
            return TR_N("does not fit image_px; give the focal length in pixels, from a tenth to a "
                        "hundred times the longer side");
        }
    }
    if (!(p[TR_FX] <= MAX_ASPECT * p[TR_FY] && p[TR_FY] <= MAX_ASPECT * p[TR_FX])) {
        return TR_N("differs from fx_px by more than a factor of 2; calibrate again");
    }
    for (int k = TR_CX; k <= TR_CY; k++) {
        double side = k == TR_CX ? lens->width_px : lens->height_px;
        *key = PIXEL_KEYS[k];
        if (!(p[k] >= -side && p[k] <= 2 * side)) {
            return TR_N("lies more than one image size outside the image; calibrate again");
        }
    }
    *key = "distortion";
    for (int k = TR_K1; k <= TR_K3; k++) {
        if (!(fabs(p[k]) <= MAX_VALUE)) return TR_N("is not finite; calibrate again");
    }
    if (!tr_lens_is_one_to_one(lens)) {
        return TR_N(
            "maps two directions to one pixel of the image; calibrate again with marks near all "
            "corners of the image");
    }
    *key = "covariance";
    const char *fault = lens->has_covariance ? covariance_fault(lens->covariance) : NULL;
    return fault ? fault : camera_fault(&lens->camera, key);
}

/* Nine rows of nine, or all 81 in one list. */
static void read_covariance(tr_yaml y, tr_lens *lens) {
    int n = tr_yaml_count(y);
    double *C = lens->covariance;
    lens->has_covariance = n > 0;
    if (n == TR_LENS_N) {
        for (int i = 0; i < TR_LENS_N; i++) {
            tr_yaml_numbers(tr_yaml_item(y, i), C + i * TR_LENS_N, TR_LENS_N, -MAX_VALUE,
                            MAX_VALUE);
        }
    } else if (n == TR_LENS_N * TR_LENS_N) {
        tr_yaml_numbers(y, C, n, -MAX_VALUE, MAX_VALUE);
    } else if (n > 0) {
        tr_yaml_fail(
            y, "is a list of %d; give 9 rows of 9 numbers, or [] for a lens taken as exact", n);
    }
}

static void read_camera(tr_yaml y, tr_camera *camera) {
    tr_yaml_text(tr_yaml_at(y, "camera"), camera->name, sizeof camera->name);
    tr_yaml_text(tr_yaml_at(y, "camera_lens"), camera->lens, sizeof camera->lens);
    camera->focal_length_mm =
        tr_yaml_size(tr_yaml_at(y, "focal_length_mm"), TR_CAMERA_MAX_FOCAL_MM);
    camera->equivalent_focal_length_mm =
        tr_yaml_size(tr_yaml_at(y, "equivalent_focal_length_mm"), TR_CAMERA_MAX_FOCAL_MM);
    camera->digital_zoom = tr_yaml_size(tr_yaml_at(y, "digital_zoom"), TR_CAMERA_MAX_ZOOM);
}

static void read_board(tr_yaml y, tr_lens_board *board) {
    char squares[32] = "";
    if (!tr_yaml_has(y)) return;
    tr_yaml_keys(y, "squares pitch_mm");
    tr_yaml at = tr_yaml_at(y, "squares");
    tr_yaml_text(at, squares, sizeof squares);
    if (tr_yaml_has(at) && !tr_board_squares_parse(squares, &board->squares_x, &board->squares_y)) {
        tr_yaml_fail(at,
                     "is not columns x rows, as in 10x7, from %d to %d each; count the squares, "
                     "not the corners between them",
                     TR_BOARD_MIN_SQUARES, TR_BOARD_MAX_SQUARES);
    }
    board->pitch_mm = tr_yaml_size(tr_yaml_at(y, "pitch_mm"), TR_BOARD_MAX_PITCH_MM);
}

static void read_calibrated(tr_yaml y, tr_lens *lens) {
    char day[sizeof lens->calibrated] = "";
    if (!tr_yaml_has(y)) return;
    tr_yaml_text(y, day, sizeof day);
    if (tr_yaml_has(y) && !is_day(day)) tr_yaml_fail(y, "is not a day as in 2026-03-02");
    memcpy(lens->calibrated, day, sizeof day);
}

/* Keys of the scatter, and how much of the file's unit one of the program's is. */
static const struct {
    const char *key;
    double unit;
} SCATTER[TR_SCATTER_N] = {[TR_SCATTER_SHIFT] = {"shift_px", 1},
                           [TR_SCATTER_FOCAL] = {"focal_percent", 100},
                           [TR_SCATTER_TURN] = {"turn_deg", TR_DEG_PER_RAD},
                           [TR_SCATTER_TRAVEL] = {"travel_mm", 1}};

const char *tr_lens_scatter_key(int kind) {
    return SCATTER[kind].key;
}

double tr_lens_scatter_unit(int kind) {
    return SCATTER[kind].unit;
}

static const char *const YES[] = {"false", "true"};

static void read_scatter(tr_yaml y, tr_lens_scatter *scatter) {
    tr_yaml steady = tr_yaml_at(y, "steady");
    tr_yaml at = tr_yaml_at(y, "scatter");
    if (tr_yaml_has(steady)) scatter->is_steady = tr_yaml_choice(steady, YES, 2) == 1;
    if (!tr_yaml_has(at)) return;
    if (scatter->is_steady) {
        tr_yaml_fail(
            at, "stands beside steady: true; a steady camera has no scatter, so leave one out");
        return;
    }
    tr_yaml_keys(at, "shift_px? focal_percent? turn_deg? travel_mm?");
    for (int k = 0; k < TR_SCATTER_N; k++) {
        tr_yaml item = tr_yaml_at(at, SCATTER[k].key);
        double pair[2] = {0, 0};
        if (!tr_yaml_has(item)) continue;
        tr_yaml_numbers(item, pair, 2, 0, MAX_VALUE);
        if (!(pair[1] > 0)) {
            tr_yaml_fail(item, "is a standard deviation and its degrees of freedom, above 0");
        }
        scatter->sd[k] = pair[0] / SCATTER[k].unit;
        scatter->dof[k] = pair[1];
    }
}

bool tr_lens_profile_read(const char *path, tr_lens *out, tr_error *err) {
    tr_lens lens = {0};
    *out = lens;
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y,
                 "lens model image_px fx_px fy_px cx_px cy_px distortion covariance? camera? "
                 "focal_length_mm? equivalent_focal_length_mm? digital_zoom? camera_lens? steady? "
                 "scatter? board? calibrated?");
    tr_yaml_text(tr_yaml_at(y, "lens"), lens.id, sizeof lens.id);
    (void)tr_yaml_choice(tr_yaml_at(y, "model"), MODELS, 1);
    int size_px[2] = {0, 0};
    tr_yaml_integers(tr_yaml_at(y, "image_px"), size_px, 2, 1, MAX_SIDE_PX);
    lens.width_px = size_px[0];
    lens.height_px = size_px[1];
    for (int k = TR_FX; k <= TR_CY; k++) {
        lens.param[k] = tr_yaml_number(tr_yaml_at(y, PIXEL_KEYS[k]), -MAX_VALUE, MAX_VALUE);
    }
    tr_yaml_numbers(tr_yaml_at(y, "distortion"), lens.param + TR_K1, 5, -MAX_VALUE, MAX_VALUE);
    read_covariance(tr_yaml_at(y, "covariance"), &lens);
    read_camera(y, &lens.camera);
    read_scatter(y, &lens.scatter);
    read_board(tr_yaml_at(y, "board"), &lens.board);
    read_calibrated(tr_yaml_at(y, "calibrated"), &lens);
    if (tr_yaml_has(y)) {
        const char *key = NULL;
        const char *fault = find_fault(&lens, &key);
        if (fault) tr_yaml_fail(tr_yaml_at(y, key), "%s", fault);
    }
    if (!tr_yaml_close(y, err)) return false;
    tr_covariance_symmetrise(lens.covariance, TR_LENS_N);
    *out = lens;
    return true;
}

static void put_number(FILE *to, double x) {
    char text[TR_NUMBER_SIZE];
    tr_number_print(x, text);
    fputs(text, to);
}

static void put_row(FILE *to, const double *x, int n) {
    for (int i = 0; i < n; i++) {
        fputs(i > 0 ? ", " : "[", to);
        put_number(to, x[i]);
    }
    fputs("]", to);
}

static void put_told(FILE *to, const char *key, double value) {
    if (!(value > 0)) return;
    fprintf(to, "\n%s: ", key);
    put_number(to, value);
}

static void put_camera(FILE *to, const tr_camera *camera) {
    if (*camera->name) {
        fputs("\ncamera: ", to);
        tr_yaml_put_text(to, camera->name);
    }
    if (*camera->lens) {
        fputs("\ncamera_lens: ", to);
        tr_yaml_put_text(to, camera->lens);
    }
    put_told(to, "focal_length_mm", camera->focal_length_mm);
    put_told(to, "equivalent_focal_length_mm", camera->equivalent_focal_length_mm);
    put_told(to, "digital_zoom", camera->digital_zoom);
}

static void put_scatter(FILE *to, const tr_lens_scatter *scatter) {
    bool is_begun = false;
    if (scatter->is_steady) fputs("\nsteady: true", to);
    for (int k = 0; k < TR_SCATTER_N; k++) {
        double pair[2] = {scatter->sd[k] * SCATTER[k].unit, scatter->dof[k]};
        if (!(scatter->dof[k] > 0)) continue;
        if (!is_begun) {
            fputs("\n# how the camera changes from photo to photo: standard deviation, degrees of "
                  "freedom\nscatter:",
                  to);
        }
        is_begun = true;
        fprintf(to, "\n  %s: ", SCATTER[k].key);
        put_row(to, pair, 2);
    }
}

static void put_board(FILE *to, const tr_lens *lens) {
    if (lens->board.squares_x > 0) {
        fprintf(to, "\nboard: { squares: %dx%d, pitch_mm: ", lens->board.squares_x,
                lens->board.squares_y);
        put_number(to, lens->board.pitch_mm);
        fputs(" }", to);
    }
    if (*lens->calibrated) fprintf(to, "\ncalibrated: %s", lens->calibrated);
}

static void put_profile(FILE *to, const tr_lens *lens) {
    fputs("lens: ", to);
    tr_yaml_put_text(to, lens->id);
    fprintf(to, "\nmodel: %s\nimage_px: [%d, %d]", MODELS[0], lens->width_px, lens->height_px);
    put_camera(to, &lens->camera);
    put_board(to, lens);
    for (int k = TR_FX; k <= TR_CY; k++) {
        fprintf(to, "\n%s: ", PIXEL_KEYS[k]);
        put_number(to, lens->param[k]);
    }
    fputs("\n# k1 k2 p1 p2 k3\ndistortion: ", to);
    put_row(to, lens->param + TR_K1, 5);
    put_scatter(to, &lens->scatter);
    fputs("\n# row by row, in the order fx fy cx cy k1 k2 p1 p2 k3\ncovariance:", to);
    if (!lens->has_covariance) fputs(" []", to);
    for (int i = 0; lens->has_covariance && i < TR_LENS_N; i++) {
        fputs("\n  - ", to);
        put_row(to, lens->covariance + i * TR_LENS_N, TR_LENS_N);
    }
    fputs("\n", to);
}

bool tr_lens_profile_print(const char *path, const tr_lens *lens, char **text, size_t *size,
                           tr_error *err) {
    const char *key = NULL;
    const char *fault = find_fault(lens, &key);
    *text = NULL;
    *size = 0;
    if (fault) return tr_fail_at(err, TR_BAD_INPUT, path, 0, key, "%s", fault);
    FILE *to = open_memstream(text, size);
    if (!to) return tr_fail_memory(err);
    put_profile(to, lens);
    bool is_whole = !ferror(to);
    if (fclose(to) != 0 || !*text) is_whole = false; /* NULL: its last allocation failed */
    if (is_whole) return true;
    free(*text);
    *text = NULL;
    return tr_fail_memory(err);
}

bool tr_lens_profile_write(const char *path, const tr_lens *lens, tr_error *err) {
    char *text;
    size_t size;
    bool ok = tr_lens_profile_print(path, lens, &text, &size, err) &&
              tr_file_write(path, text, size, err);
    free(text);
    return ok;
}
