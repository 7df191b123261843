/* trammel lens: from photos of a checkerboard to a lens profile. */
#include "cli/commands.h"

#include <errno.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

#include "base/number.h"
#include "base/text.h"
#include "base/wrap.h"
#include "calib/lens_run.h"
#include "cli/options.h"
#include "lens/profile.h"
#include "present/catalogue.h"
#include "present/cautions.h"
#include "present/json.h"
#include "present/words.h"

static const double MAX_PITCH_MM = 10000;

static const char USAGE[] = "usage: trammel lens PHOTO... --squares COLSxROWS --pitch MM --out "
                            "LENS.yaml\n                    [--steady] [--json] [--threads N]\n";

static const char HELP[] =
    "\n"
    "Finds the lens of one camera from photos of a checkerboard, and writes its\n"
    "profile.\n"
    "\n"
    "  --squares COLSxROWS  squares of the board, for example 10x7 (that board has 9\n"
    "                       x 6 inner corners)\n"
    "  --pitch MM           edge of a square, as measured on the print\n"
    "  --out LENS.yaml      the profile to write; its name without .yaml is the\n"
    "                       lens's name. No file that is not a lens profile is ever\n"
    "                       replaced\n"
    "  --steady             the camera is a machine's, fixed and without stabilisation:\n"
    "                       one and the same in all photos. Without it, what a phone's\n"
    "                       camera changes from photo to photo is found as well\n"
    "  --json               print the result as one JSON object, also when there is\n"
    "                       none\n"
    "  --threads N          work on N photos at a time (default: one a processor);\n"
    "                       the result is the same for any N\n"
    "  --help               print this text\n"
    "Options may stand anywhere; after -- everything is a photo.\n"
    "\n"
    "Example:\n"
    "  trammel lens board/*.jpg --squares 10x7 --pitch 30 --out bay-2-tablet.yaml\n"
    "\n"
    "How to shoot:\n"
    "  - Print the board at true size, glue it to a flat plate, and measure it with a\n"
    "    steel rule both ways. Unequal numbers of squares are best.\n"
    "  - Take 10 to 15 photos with the camera, focus, zoom and image size that the\n"
    "    checks will be made with; switch off digital zoom, changing of lenses, and\n"
    "    focus that moves by itself. The profile keeps what the photos tell of\n"
    "    camera, focal length and zoom (EXIF); if they tell different things there is\n"
    "    none.\n"
    "  - Each photo shows the whole board, sharp and evenly lit, without glare or\n"
    "    fingers.\n"
    "  - Hold still while the photo is taken, rest your elbows, have much light, and\n"
    "    switch burst and night modes off.\n"
    "  - Tilt the board by 30 to 45 degrees: left edge nearer, right, top, bottom.\n"
    "    Let a few photos look straight at it, and turn the camera by a quarter in\n"
    "    some.\n"
    "  - Between them the photos bring the board into every part of the image, its\n"
    "    corners too.\n"
    "\n"
    "Exit status:\n"
    "   0  the profile was written\n"
    "   3  it was not, or the result could not be printed: the photos do not give a\n"
    "      lens, or a file could not be read or written; the reason is on standard\n"
    "      error\n"
    "  64  wrong usage\n"
    "\n";

/* ---- What was asked ---- */

typedef struct {
    char **photos; /* words of argv */
    int n_photos;
    tr_board board;
    const char *out;
    long n_threads; /* 0: one a processor */
    bool is_steady, is_json, is_help;
    char id[sizeof((tr_lens *)NULL)->id];
} request;

static bool parse_squares(const char *text, tr_board *board) {
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
    board->squares_x = (int)n[0];
    board->squares_y = (int)n[1];
    return true;
}

/* The file's name without its folders and its extension, which must be .yaml or .yml. */
static bool make_id(const char *path, char *id, size_t size) {
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;
    const char *dot = strrchr(name, '.');
    if (!dot || (strcasecmp(dot, ".yaml") != 0 && strcasecmp(dot, ".yml") != 0)) return false;
    size_t n = (size_t)(dot - name);
    if (n == 0 || n >= size || !tr_text_is_line(name, n)) return false;
    memcpy(id, name, n);
    id[n] = 0;
    return true;
}

static bool set_squares(request *r, const char *value, tr_error *err) {
    return parse_squares(value, &r->board) ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--squares %.40s' is not COLSxROWS from %dx%d to %dx%d, as in 10x7; count the "
                   "squares, not the corners between them",
                   value, TR_BOARD_MIN_SQUARES, TR_BOARD_MIN_SQUARES, TR_BOARD_MAX_SQUARES,
                   TR_BOARD_MAX_SQUARES);
}

static bool set_pitch(request *r, const char *value, tr_error *err) {
    return (tr_number_parse(value, &r->board.pitch_mm) && r->board.pitch_mm > 0 &&
            r->board.pitch_mm <= MAX_PITCH_MM) ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--pitch %.40s' is not a length in mm above 0, as in 30 or 29.95", value);
}

static bool set_out(request *r, const char *value, tr_error *err) {
    r->out = value;
    return make_id(value, r->id, sizeof r->id) ||
           tr_fail(
               err, TR_BAD_INPUT,
               "'--out %.80s': the profile's name ends in .yaml, after 1 to %zu printable bytes "
               "that name the lens",
               value, sizeof r->id - 1);
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *squares = NULL;
    const char *pitch = NULL;
    const char *out = NULL;
    const char *threads = NULL;
    const tr_option options[] = {{"--squares", &squares, NULL},
                                 {"--pitch", &pitch, NULL},
                                 {"--out", &out, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--steady", NULL, &r->is_steady},
                                 {"--json", NULL, &r->is_json}};
    if (!tr_options_parse(argc, argv, options, sizeof options / sizeof *options, &r->n_photos,
                          &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    r->photos = argv + 1;
    if (r->n_photos == 0) return tr_fail(err, TR_BAD_INPUT, "no photos are named");
    for (int k = 0; k < 3; k++) {
        if (!*options[k].value)
            return tr_fail(err, TR_BAD_INPUT, "'%s' is missing", options[k].name);
    }
    if (!set_squares(r, squares, err) || !set_pitch(r, pitch, err) || !set_out(r, out, err) ||
        !tr_options_threads(threads, &r->n_threads, err)) {
        return false;
    }
    for (int i = 0; i < r->n_photos; i++) {
        if (tr_options_is_same_file(r->out, r->photos[i])) {
            return tr_fail(err, TR_BAD_INPUT, "'--out %.80s' is one of the photos", r->out);
        }
    }
    return true;
}

/* A file that is there already may only be an older profile (*is_older), or empty: so no job,
   sheet or other input can be lost. */
static bool may_be_written(const char *path, bool *is_older, tr_error *err) {
    tr_lens old;
    struct stat about;
    *is_older = false;
    if (stat(path, &about) != 0 || (S_ISREG(about.st_mode) && about.st_size == 0)) return true;
    tr_error why = {0};
    *is_older = tr_lens_profile_read(path, &old, &why);
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    return *is_older ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--out %.200s' is there already and is no lens profile; give another name",
                   path);
}

/* ---- Text for people ---- */

static void print_file_name(const char *name, int width) {
    char shown[512], fitted[128];
    tr_text_show(name, strlen(name), shown, sizeof shown);
    tr_text_fit(shown, width, fitted, sizeof fitted);
    printf("%s%*s", fitted, width - tr_text_columns(fitted), "");
}

/* "k1  -0.27547 ± 0.00472": as many decimals as give the standard deviation two digits. */
static void print_parameter(const char *name, double value, double sd, const char *unit) {
    if (!(sd > 0)) {
        printf("  %-4s %12g (held)\n", name, value);
        return;
    }
    int decimals = 1 - (int)floor(log10(sd));
    decimals = decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
    char number[64], deviation[64];
    snprintf(number, sizeof number, "%.*f", decimals, value);
    snprintf(deviation, sizeof deviation, "%.*f", decimals, sd);
    printf("  %-4s %12s ± %s%s\n", name, number, deviation, unit);
}

/* "Example Phone 3, 5.43 mm (as 26 mm on 35 mm film), digital zoom 1", as far as it is told. */
static void print_camera(const tr_camera *camera) {
    const char *comma = "";
    if (*camera->name) {
        printf("%s", camera->name);
        comma = ", ";
    }
    if (camera->focal_length_mm > 0) {
        printf("%s%.4g mm", comma, camera->focal_length_mm);
        comma = ", ";
    }
    if (camera->equivalent_focal_length_mm > 0) {
        printf("%sas %.4g mm on 35 mm film", comma, camera->equivalent_focal_length_mm);
        comma = ", ";
    }
    if (camera->digital_zoom > 0) {
        printf("%sdigital zoom %.4g", comma, camera->digital_zoom);
        comma = ", ";
    }
    puts(*comma ? "" : "not told by the photos, so that checks cannot compare it");
}

static void print_bow(const double bow_mm[2], const double sd_mm[2]) {
    char bow[2][TR_CELL_SIZE], sd[2][TR_CELL_SIZE];
    for (int k = 0; k < 2; k++) {
        tr_number_rounded(bow_mm[k], 2, false, bow[k]);
        tr_u95_rounded(sd_mm[k], 2, sd[k]);
    }
    const size_t sign = strlen("±");
    printf("The board's middle stands out by %s ± %s mm along and %s ± %s mm across.\n", bow[0],
           sd[0] + sign, bow[1], sd[1] + sign);
}

/* Kinds of scatter, as people and programs are told them; unit: of one, in lens.h's. */
static const struct {
    const char *key, *words, *unit;
    double in_unit;
} SCATTER[TR_SCATTER_N] = {
    [TR_SCATTER_SHIFT] = {"shift_px", "shift of the optical axis", " px", 1},
    [TR_SCATTER_FOCAL] = {"focal_percent", "change of the focal length", " %", 100},
    [TR_SCATTER_TURN] = {"turn_deg", "turn during readout", "°", TR_DEG_PER_RAD},
    [TR_SCATTER_TRAVEL] = {"travel_mm", "travel during readout", " mm", 1}};

/* Two digits: a standard deviation of a few photos is not known better. */
static void print_scatter(const tr_calibration *c) {
    if (c->lens.scatter.is_steady) {
        puts("One camera in all photos (--steady).");
        return;
    }
    puts("From photo to photo (one standard deviation):");
    for (int k = 0; k < TR_SCATTER_N; k++) {
        double sd = c->lens.scatter.sd[k] * SCATTER[k].in_unit;
        int decimals = sd > 0 ? 1 - (int)floor(log10(sd)) : 0;
        printf("  %-26s  ", SCATTER[k].words);
        if (!(c->lens.scatter.dof[k] > 0)) {
            puts("these photos do not tell");
            continue;
        }
        printf("%s%.*f%s\n", c->is_bound[k] ? "less than " : "", decimals < 0 ? 0 : decimals, sd,
               SCATTER[k].unit);
    }
}

static void print_photos(const tr_lens_run *run) {
    int width = 8;
    for (int i = 0; i < run->n_photos; i++) {
        int n = tr_text_columns(tr_lens_photo_name(&run->photos[i]));
        width = n > width ? n : width;
    }
    width = width > 28 ? 28 : width;
    printf("  %-*s  corners  rms px  largest px  tilt °  blur px\n", width, "photo");
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        fputs("  ", stdout);
        print_file_name(tr_lens_photo_name(p), width);
        if (!p->is_used) {
            fputs("  not used:\n", stdout);
            fputs("      ", stdout);
            tr_text_wrap(stdout, 6, 6, p->why_not);
            continue;
        }
        printf("  %7d  %6.3f  %10.3f  %6.0f  %7.2f\n", p->view.n, p->pose.rms_px,
               p->pose.largest_px, p->tilt_rad * TR_DEG_PER_RAD, p->view.blur_px);
    }
}

static void print_text(const request *r, const tr_lens_run *run, bool is_replaced) {
    const tr_calibration *c = &run->calibration;
    int n_used = 0;
    for (int i = 0; i < run->n_photos; i++) n_used += run->photos[i].is_used;
    printf("Lens %s, written to %s%s\n", r->id, r->out,
           is_replaced ? "; the older profile there was replaced" : "");
    printf("%d x %d px; %d of %d photos used; ± is one standard deviation\n", c->lens.width_px,
           c->lens.height_px, n_used, run->n_photos);
    fputs("Camera (EXIF): ", stdout);
    print_camera(&c->lens.camera);
    fputc('\n', stdout);
    for (int k = 0; k < TR_LENS_N; k++) {
        print_parameter(tr_lens_parameter_name(k), c->lens.param[k],
                        sqrt(c->lens.covariance[k * (TR_LENS_N + 1)]), k < TR_K1 ? " px" : "");
    }
    printf("\nA corner lies %.3f px (rms) from where this lens puts it.\n", c->rms_px);
    if (c->bow_sd_mm[0] > 0) print_bow(c->bow_mm, c->bow_sd_mm);
    print_scatter(c);
    fputc('\n', stdout);
    print_photos(run);
    fputs("\nTo make it better, or sure:\n", stdout);
    for (int i = 0; i < run->advice.n; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&run->advice.items[i], text);
        fputs("  - ", stdout);
        tr_text_wrap(stdout, 4, 4, text);
    }
    fputc('\n', stdout);
    tr_text_wrap(stdout, 0, 0, tr_cautions_short());
}

/* Why there is no lens, for standard error. */
static void print_failure(const tr_lens_run *run, const tr_error *why) {
    char line[sizeof why->file + sizeof why->key + sizeof why->text + 64];
    char shown[sizeof line];
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        if (p->is_used || !*p->why_not) continue;
        char name[250];
        tr_text_fit(p->file, sizeof name, name, sizeof name);
        snprintf(line, sizeof line, "%s: not used: %s", name, p->why_not);
        tr_text_show(line, strlen(line), shown, sizeof shown);
        fprintf(stderr, "trammel lens: %s\n", shown);
    }
    tr_error_print(why, line, sizeof line);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fprintf(stderr, "trammel lens: %s\n", shown);
}

/* ---- JSON ---- */

/* Where there is no lens, no photo is used. */
static json_t *photo_json(const tr_lens_photo *p, bool has_lens) {
    json_t *json = json_object();
    bool used = p->is_used && has_lens;
    if (json && tr_json_put(json, "file", tr_json_text(p->file)) &&
        tr_json_put(json, "used", json_boolean(used)) &&
        tr_json_put(json, "corners", json_integer(p->view.n)) &&
        tr_json_put(json, "rms_px", used ? tr_json_number(p->pose.rms_px) : json_null()) &&
        tr_json_put(json, "largest_px", used ? tr_json_number(p->pose.largest_px) : json_null()) &&
        tr_json_put(json, "missing", json_integer(p->view.n_missing)) &&
        tr_json_put(json, "blur_px",
                    p->view.n > 0 ? tr_json_number(p->view.blur_px) : json_null()) &&
        tr_json_put(json, "tilt_deg",
                    used ? tr_json_number(p->tilt_rad * TR_DEG_PER_RAD) : json_null()) &&
        tr_json_put(json, "sha256", *p->sha256 ? tr_json_text(p->sha256) : json_null()) &&
        tr_json_put(json, "reason", *p->why_not ? tr_json_text(p->why_not) : json_null())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *photos_json(const tr_lens_run *run, bool has_lens) {
    json_t *array = json_array();
    bool ok = array;
    for (int i = 0; i < run->n_photos && ok; i++)
        ok = tr_json_push(array, photo_json(&run->photos[i], has_lens));
    if (ok) return array;
    json_decref(array);
    return NULL;
}

static json_t *advice_json(const tr_findings *advice) {
    json_t *array = json_array();
    bool ok = array;
    for (int i = 0; i < advice->n && ok; i++) {
        json_t *item = json_object();
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&advice->items[i], text);
        ok = item &&
             tr_json_put(item, "code", json_string(tr_finding_code(advice->items[i].kind))) &&
             tr_json_put(item, "text", tr_json_text(text)) &&
             tr_json_push(array, json_incref(item));
        json_decref(item);
    }
    if (ok) return array;
    json_decref(array);
    return NULL;
}

static json_t *numbers(const double *values, int n, int stride) {
    json_t *array = json_array();
    bool ok = array;
    for (int i = 0; i < n && ok; i++) ok = tr_json_push(array, tr_json_number(values[i * stride]));
    if (ok) return array;
    json_decref(array);
    return NULL;
}

static json_t *told(double value) {
    return value > 0 ? tr_json_number(value) : json_null();
}

static json_t *camera_json(const tr_camera *camera) {
    json_t *json = json_object();
    if (json &&
        tr_json_put(json, "name", *camera->name ? tr_json_text(camera->name) : json_null()) &&
        tr_json_put(json, "focal_length_mm", told(camera->focal_length_mm)) &&
        tr_json_put(json, "equivalent_focal_length_mm", told(camera->equivalent_focal_length_mm)) &&
        tr_json_put(json, "digital_zoom", told(camera->digital_zoom))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

/* By kind [standard deviation, degrees of freedom], null where the photos do not tell. */
static json_t *scatter_json(const tr_lens_scatter *scatter) {
    json_t *json = json_object();
    bool ok = json && tr_json_put(json, "steady", json_boolean(scatter->is_steady));
    for (int k = 0; k < TR_SCATTER_N && ok; k++) {
        double pair[2] = {scatter->sd[k] * SCATTER[k].in_unit, scatter->dof[k]};
        ok = tr_json_put(json, SCATTER[k].key,
                         scatter->dof[k] > 0 ? numbers(pair, 2, 1) : json_null());
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

/* The contract's "Result of lens --json", then more; with why, nothing of the lens but an "error".
 */
static json_t *run_json(const request *r, const tr_lens_run *run, const tr_error *why) {
    const tr_calibration *c = &run->calibration;
    const double *p = c->lens.param;
    double sd[TR_LENS_N];
    for (int k = 0; k < TR_LENS_N; k++) sd[k] = sqrt(c->lens.covariance[k * (TR_LENS_N + 1)]);
    json_t *json = json_object();
    bool ok = json && tr_json_put(json, "lens", tr_json_text(r->id));
    if (why) {
        ok = ok && tr_json_put(json, "error", tr_json_error(why));
    } else {
        json_t *image = json_array();
        ok = ok && image && tr_json_push(image, json_integer(c->lens.width_px)) &&
             tr_json_push(image, json_integer(c->lens.height_px)) &&
             tr_json_put(json, "image_px", json_incref(image));
        json_decref(image);
        ok = ok && tr_json_put(json, "fx_px", tr_json_number(p[TR_FX])) &&
             tr_json_put(json, "fy_px", tr_json_number(p[TR_FY])) &&
             tr_json_put(json, "cx_px", tr_json_number(p[TR_CX])) &&
             tr_json_put(json, "cy_px", tr_json_number(p[TR_CY])) &&
             tr_json_put(json, "distortion", numbers(p + TR_K1, TR_LENS_N - TR_K1, 1)) &&
             tr_json_put(json, "sd", numbers(sd, TR_LENS_N, 1)) &&
             tr_json_put(json, "rms_px", tr_json_number(c->rms_px));
    }
    ok = ok && tr_json_put(json, "photos", photos_json(run, !why));
    if (!why) {
        ok = ok && tr_json_put(json, "sigma_px", tr_json_number(c->sigma_px)) &&
             tr_json_put(json, "degrees_of_freedom", json_integer(c->degrees_of_freedom)) &&
             tr_json_put(json, "bow_mm", numbers(c->bow_mm, 2, 1)) &&
             tr_json_put(json, "bow_sd_mm", numbers(c->bow_sd_mm, 2, 1)) &&
             tr_json_put(json, "rms_steady_px", tr_json_number(c->rms_steady_px)) &&
             tr_json_put(json, "scatter", scatter_json(&c->lens.scatter)) &&
             tr_json_put(json, "camera", camera_json(&c->lens.camera)) &&
             tr_json_put(json, "profile", tr_json_text(r->out));
    }
    ok = ok && tr_json_put(json, "advice", advice_json(&run->advice));
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static bool print_json(const request *r, const tr_lens_run *run, const tr_error *why) {
    json_t *json = run_json(r, run, why);
    bool ok = json && tr_json_print(json, stdout);
    json_decref(json);
    return ok;
}

/* ---- The command ---- */

static int run_request(const request *r) {
    tr_lens_run run = {0};
    tr_error err = {0};
    bool is_shown = true;
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    bool is_older;
    bool ok = may_be_written(r->out, &is_older, &err);
    if (err.code == TR_BAD_INPUT) return tr_options_refuse("lens", &err, USAGE);
    ok = ok && tr_lens_photos(&r->board, r->photos, r->n_photos, &workers, &run, &err);
    run.is_steady = r->is_steady;
    ok = ok && tr_lens_solve(&run, &err);
    if (ok) {
        snprintf(run.calibration.lens.id, sizeof run.calibration.lens.id, "%s", r->id);
        ok = tr_lens_profile_write(r->out, &run.calibration.lens, &err);
    }
    if (!ok) print_failure(&run, &err);
    if (r->is_json) {
        is_shown = print_json(r, &run, ok ? NULL : &err);
    } else if (ok) {
        print_text(r, &run, is_older);
    }
    if (fflush(stdout) != 0 || ferror(stdout) || !is_shown) {
        fprintf(stderr, "trammel lens: the result could not be printed: %s\n", strerror(errno));
        ok = false;
    }
    tr_lens_run_release(&run);
    return ok ? TR_EXIT_PASS : TR_EXIT_NO_MEASURE;
}

int tr_cmd_lens(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse("lens", &err, USAGE);
    if (r.is_help) return tr_options_help(USAGE, HELP);
    return run_request(&r);
}
