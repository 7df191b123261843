/* Finding and measuring the board: drawn boards whose truth is known, real photos with recorded
   corners, and a pair of cameras whose calibration is published. */
#include "check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "calib/lens_run.h"
#include "findings.h"
#include "network/network.h"
#include "outside/stereo.h"

static double square(double x) {
    return x * x;
}

static void need_file(const char *path) {
    need(access(path, R_OK) == 0, path);
}

static void read_photo(const char *path, tr_image *image) {
    uint8_t *data;
    size_t size;
    tr_error err = {0};
    bool ok = tr_file_read(path, (size_t)64 << 20, &data, &size, &err) &&
              tr_image_decode(data, size, path, image, &err);
    if (!ok) print_error("%s: %s\n", path, err.text);
    assert_true(ok);
    free(data);
}

static void find_board(const tr_image *image, const tr_board *board, tr_board_view *view) {
    tr_error err = {0};
    bool ok = tr_board_find(image, board, view, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
}

/* From the board's face x goes right and y goes up: y is anticlockwise of x, so in pixels, whose v
   goes down, the cross product of their images is negative. */
static void check_not_mirrored(const tr_board *board, const tr_board_view *view) {
    int columns = tr_board_columns(board);
    int n_seen = 0;
    for (int k = 0; k + 1 < view->n; k++) {
        if (view->corner[k + 1] != view->corner[k] + 1) continue;
        if (view->corner[k] % columns == columns - 1) continue;
        for (int m = 0; m < view->n; m++) {
            if (view->corner[m] != view->corner[k] + columns) continue;
            tr_vec2 right = tr_v2_sub(view->uv_px[k + 1], view->uv_px[k]);
            tr_vec2 up = tr_v2_sub(view->uv_px[k], view->uv_px[m]);
            CHECK_AT_MOST(tr_v2_cross(right, up), -1);
            n_seen++;
        }
    }
    assert_true(n_seen > 0);
    for (int k = 0; k < view->n; k++) {
        tr_vec2 p = tr_board_corner_mm(board, view->corner[k]);
        CHECK_NEAR(p.x, view->p_board_mm[k].x, 1e-12);
        CHECK_NEAR(p.y, view->p_board_mm[k].y, 1e-12);
        CHECK_AT_MOST(0.01, view->sd_px[k]);
        CHECK_AT_MOST(view->sd_px[k], 1);
    }
}

/* ---- drawn boards ---- */

/* Pixel of a board point (mm): a flat board seen by a pinhole camera. */
typedef struct {
    double focal_px;
    tr_vec2 centre_px;
    tr_pose camera_from_board;
} drawing;

static tr_vec2 drawn_at(const drawing *d, tr_vec2 p_board_mm) {
    tr_vec3 p = tr_pose_apply(d->camera_from_board, tr_v3(p_board_mm.x, p_board_mm.y, 0));
    return tr_v2(d->centre_px.x + d->focal_px * p.x / p.z,
                 d->centre_px.y + d->focal_px * p.y / p.z);
}

/* Grey value of the scene at a pixel's point: black and white squares on a light sheet with a
   margin of one square, before a mid-grey wall. */
static double shade(const drawing *d, const tr_board *board, double u, double v) {
    tr_mat3 R = d->camera_from_board.R;
    tr_vec3 t = d->camera_from_board.t_mm;
    tr_vec3 ray = tr_v3((u - d->centre_px.x) / d->focal_px, (v - d->centre_px.y) / d->focal_px, 1);
    tr_vec3 normal = tr_m3_column(R, 2);
    double s = tr_v3_dot(normal, t) / tr_v3_dot(normal, ray);
    tr_vec3 p = tr_m3_apply(tr_m3_transpose(R), tr_v3_sub(tr_v3_scale(s, ray), t));
    double column = floor(p.x / board->pitch_mm + board->squares_x / 2.0);
    double row = floor(board->squares_y / 2.0 - p.y / board->pitch_mm);
    if (column < -1 || row < -1 || column > board->squares_x || row > board->squares_y) return 110;
    bool is_printed =
        column >= 0 && row >= 0 && column < board->squares_x && row < board->squares_y;
    return is_printed && ((int)(column + row) & 1) == 0 ? 40 : 215;
}

/* The scene through a Gaussian blur of BLUR_PX, from many points where the four corners of its
   reach differ. */
#define BLUR_PX 0.8
static double blurred(const drawing *d, const tr_board *board, double u, double v) {
    enum { SUB = 16 };
    static const int mixed[SUB] = {0, 8, 4, 12, 2, 10, 6, 14, 1, 9, 5, 13, 3, 11, 7, 15};
    const double reach = 3 * BLUR_PX;
    double first = shade(d, board, u - reach, v - reach);
    double sum = 0;
    double weights = 0;
    if (shade(d, board, u + reach, v - reach) == first &&
        shade(d, board, u - reach, v + reach) == first &&
        shade(d, board, u + reach, v + reach) == first) {
        return first;
    }
    for (int k = 0; k < SUB * SUB; k++) {
        /* Each row and column of points in its own place between two others, in mixed order, so
           that an edge along the pixels passes them one by one. */
        double a = (k % SUB + (mixed[k / SUB] + 0.5) / SUB) / SUB;
        double b = (k / SUB + (mixed[k % SUB] + 0.5) / SUB) / SUB;
        double du = reach * (2 * a - 1);
        double dv = reach * (2 * b - 1);
        double w = exp(-(du * du + dv * dv) / (2 * BLUR_PX * BLUR_PX));
        sum += w * shade(d, board, u + du, v + dv);
        weights += w;
    }
    return sum / weights;
}

static void draw_board(const drawing *d, const tr_board *board, tr_image *image) {
    for (int v = 0; v < image->height; v++) {
        for (int u = 0; u < image->width; u++) {
            image->px[(size_t)v * (size_t)image->width + (size_t)u] =
                (uint8_t)lround(blurred(d, board, u, v));
        }
    }
}

/* Root mean square distance of the corners measured from those drawn. A board that looks the same
   after half a turn may be numbered from its other end. */
static double distance_px(const drawing *d, const tr_board *board, const tr_board_view *view) {
    double best = INFINITY;
    for (int turn = tr_board_tells_ends(board) ? 1 : -1; turn <= 1; turn += 2) {
        double sum = 0;
        for (int k = 0; k < view->n; k++) {
            tr_vec2 at = drawn_at(d, tr_v2_scale(turn, view->p_board_mm[k]));
            tr_vec2 r = tr_v2_sub(view->uv_px[k], at);
            sum += tr_v2_dot(r, r);
        }
        best = fmin(best, sqrt(sum / view->n));
    }
    return best;
}

/* Poses of the board: face to the camera, then turned about the line of sight and tilted. */
static tr_pose board_pose(double roll_rad, double tilt_x_rad, double tilt_y_rad, tr_vec3 t_mm) {
    tr_mat3 facing = {{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    tr_mat3 tilt = tr_m3_mul(tr_rotation_from_vector(tr_v3(tilt_x_rad, 0, 0)),
                             tr_rotation_from_vector(tr_v3(0, tilt_y_rad, 0)));
    return (tr_pose){tr_m3_mul(tilt, tr_m3_mul(facing, tr_rotation_z(roll_rad))), t_mm};
}

/* Found on a copy of half the size and measured in full: the places must not be off by what
   half a pixel of either is. Whichever way the board is turned it is never mirrored. */
static void drawn(void **unused) {
    (void)unused;
    const tr_board boards[2] = {{9, 6, 25}, {8, 6, 25}};
    const double rolls[] = {0, 1.2, TR_PI / 2, TR_PI, 4};
    tr_image image;
    assert_true(tr_image_init(&image, 1300, 1150, NULL));
    for (int i = 0; i < 5; i++) {
        const tr_board board = boards[i == 1];
        drawing d = {1400, {653.3, 571.8}, {{{{0}}}, {0, 0, 0}}};
        tr_board_view view;
        d.camera_from_board =
            board_pose(rolls[i], 0.35 - 0.2 * i, 0.1 * i - 0.3, tr_v3(12.3 - 7 * i, 5.1, 400));
        draw_board(&d, &board, &image);
        find_board(&image, &board, &view);
        assert_int_equal(view.n, tr_board_corners(&board));
        assert_int_equal(view.n_missing, 0);
        check_not_mirrored(&board, &view);
        CHECK_AT_MOST(distance_px(&d, &board, &view), 0.02);
        CHECK_NEAR(view.blur_px, BLUR_PX, 0.1);
        tr_board_view_release(&view);
    }
    tr_image_release(&image);
}

/* A hand over a part of the board: corners under it are not made up, and the others are right. That
   the board is not found is allowed, too. */
static void covered(void **unused) {
    (void)unused;
    const tr_board board = {10, 7, 30};
    const double radius_px[] = {8, 14, 30};
    tr_image image;
    int n_found = 0;
    assert_true(tr_image_init(&image, 900, 700, NULL));
    for (int i = 0; i < 3; i++) {
        drawing d = {800, {450, 350}, {{{{0}}}, {0, 0, 0}}};
        tr_board_view view;
        d.camera_from_board = board_pose(0.1, 0.3, -0.2, tr_v3(0, 0, 420));
        draw_board(&d, &board, &image);
        tr_vec2 hand = drawn_at(&d, tr_board_corner_mm(&board, 21));
        for (int v = 0; v < image.height; v++) {
            for (int u = 0; u < image.width; u++) {
                if (hypot(u - hand.x, v - hand.y) > radius_px[i]) continue;
                image.px[(size_t)v * (size_t)image.width + (size_t)u] = 150;
            }
        }
        find_board(&image, &board, &view);
        for (int k = 0; k < view.n; k++) {
            CHECK_AT_MOST(radius_px[i] - 1, tr_v2_norm(tr_v2_sub(view.uv_px[k], hand)));
        }
        if (view.n > 0) {
            n_found++;
            assert_true(view.n_missing >= 1);
            CHECK_AT_MOST(distance_px(&d, &board, &view), 0.1);
        }
        tr_board_view_release(&view);
    }
    print_message("found %d of 3 boards with a covered corner\n", n_found);
    tr_image_release(&image);
}

static void no_board(void **unused) {
    (void)unused;
    const tr_board board = {10, 7, 30};
    const tr_board wrong_count = {9, 7, 30};
    tr_image image;
    tr_board_view view;
    assert_true(tr_image_init(&image, 900, 700, NULL));
    find_board(&image, &board, &view); /* black */
    assert_int_equal(view.n, 0);
    tr_board_view_release(&view);
    for (int v = 0; v < image.height; v++) {
        for (int u = 0; u < image.width; u++) { /* stripes, and rings */
            double value = 128 + 60 * sin(u / 9.0) + 60 * cos(hypot(u - 300, v - 200) / 11);
            image.px[(size_t)v * (size_t)image.width + (size_t)u] = (uint8_t)lround(value);
        }
    }
    find_board(&image, &board, &view);
    assert_int_equal(view.n, 0);
    tr_board_view_release(&view);
    drawing d = {700, {450, 350}, board_pose(0.1, 0.3, -0.2, tr_v3(0, 0, 420))};
    draw_board(&d, &board, &image);
    find_board(&image, &wrong_count, &view);
    assert_int_equal(view.n, 0);
    tr_board_view_release(&view);
    tr_image_release(&image);
}

/* A tiny image is no reason to break. */
static void tiny(void **unused) {
    (void)unused;
    const tr_board board = {4, 4, 30};
    const int sizes[][2] = {{1, 1}, {2, 900}, {7, 5}, {40, 30}};
    for (int i = 0; i < 4; i++) {
        tr_image image;
        tr_board_view view;
        assert_true(tr_image_init(&image, sizes[i][0], sizes[i][1], NULL));
        find_board(&image, &board, &view);
        assert_int_equal(view.n, 0);
        tr_board_view_release(&view);
        tr_image_release(&image);
    }
}

/* ---- real photos with recorded corners ---- */

/* The folder with outside data: $TRAMMEL_SHARED, or `shared` beside the source's folder. */
static void shared_path(char *out, size_t size, const char *name) {
    const char *shared = getenv("TRAMMEL_SHARED");
    const char *source = getenv("TRAMMEL_SOURCE");
    if (shared) {
        snprintf(out, size, "%s/%s", shared, name);
    } else {
        snprintf(out, size, "%s/../shared/%s", source ? source : ".", name);
    }
}

/* The recorded corners: the numbers of the list `data: [ ... ]`. */
static int read_recorded(const char *path, double *values, int max) {
    uint8_t *data;
    size_t size;
    int n = 0;
    assert_true(tr_file_read(path, 1 << 16, &data, &size, NULL));
    char *at = strstr((char *)data, "data: [");
    assert_non_null(at);
    at += strlen("data: [");
    while (n < max) {
        char *end;
        double value = strtod(at, &end);
        if (end == at) break;
        values[n++] = value;
        at = end + strspn(end, ", \n");
    }
    free(data);
    return n;
}

/* Source: opencv/opencv_extra, testdata/cv/cameracalibration/chess1..8, with recorded corners,
   which come from a gradient corner. For another way of measuring 0.1 to 0.5 px are to be expected;
   OpenCV's own test allows 2 px. Photos 1 to 7 are frames of an analogue camera; 7 is sharpened so
   strongly, and 8 is a scan of two levels, that few corners look like a camera's: what is measured
   must be right all the same. */
static void recorded(void **unused) {
    (void)unused;
    static const int least[] = {34, 34, 34, 34, 34, 34, 25, 0};
    for (int i = 0; i < 8; i++) {
        char name[64], path[600];
        double at[200];
        tr_image image;
        tr_board_view view;
        tr_board board = i < 7 ? (tr_board){6, 8, 30} : (tr_board){5, 7, 30};
        snprintf(name, sizeof name, "data/checker-photos/chess_corners%d.dat", i + 1);
        shared_path(path, sizeof path, name);
        need_file(path);
        int n = read_recorded(path, at, 200) / 2;
        assert_int_equal(n, tr_board_corners(&board));
        snprintf(name, sizeof name, "data/checker-photos/chess%d.png", i + 1);
        shared_path(path, sizeof path, name);
        read_photo(path, &image);
        find_board(&image, &board, &view);
        assert_true(view.n >= least[i]);
        assert_int_equal(view.n + view.n_missing, n);
        double sum = 0;
        for (int k = 0; k < view.n; k++) {
            double nearest = INFINITY;
            for (int m = 0; m < n; m++) {
                nearest = fmin(nearest,
                               hypot(view.uv_px[k].x - at[2 * m], view.uv_px[k].y - at[2 * m + 1]));
            }
            CHECK_AT_MOST(nearest, 0.5);
            sum += square(nearest);
        }
        if (view.n > 20) check_not_mirrored(&board, &view);
        print_message("chess%d: %d of %d corners, %.3f px rms from the record\n", i + 1, view.n, n,
                      sqrt(sum / fmax(1, view.n)));
        if (i < 6) CHECK_AT_MOST(sqrt(sum / view.n), 0.15);
        tr_board_view_release(&view);
        tr_image_release(&image);
    }
}

/* ---- phones ---- */

/* How far corners lie off a smooth curve through their row, px: third differences of four in a row,
   which a view of an even board leaves near zero. Holds what the print is off, too. */
static double off_rows(const tr_board *board, const tr_board_view *view) {
    int columns = tr_board_columns(board);
    double sum = 0;
    int n = 0;
    for (int k = 0; k + 3 < view->n; k++) {
        int first = view->corner[k];
        if (view->corner[k + 3] != first + 3 || first % columns > columns - 4) continue;
        const tr_vec2 *p = view->uv_px + k;
        tr_vec2 d = tr_v2_add(tr_v2_sub(p[3], p[0]), tr_v2_scale(3, tr_v2_sub(p[1], p[2])));
        sum += tr_v2_dot(d, d) / 20;
        n += 2;
    }
    return sqrt(sum / n);
}

/* Boards on paper, as two phones saw them: source and licence in ../shared/data/phone-photos. In
   each photo a person sees the whole board. Before, 458 of 756 and 464 of 480 corners were
   measured, and six photos of the first set were not used. */
static void phones(void **unused) {
    (void)unused;
    static const struct {
        const char *folder, *names[14];
        tr_board board;
        double off_px;
    } sets[] = {
        {"phone-b",
         {"1", "11", "15", "17", "21", "24", "26", "3", "32", "36", "39", "41", "5", "7"},
         {10, 7, 25},
         0.45},
        {"phone-h",
         {"img_001", "img_002", "img_003", "img_004", "img_005", "img_006", "img_007", "img_008",
          "img_009", "img_010", "img_011", "img_012"},
         {9, 6, 25},
         0.25},
    };
    for (size_t i = 0; i < sizeof sets / sizeof *sets; i++) {
        int n = 0;
        int n_measured = 0;
        double square_off = 0;
        int n_photos = 0;
        for (; n_photos < 14 && sets[i].names[n_photos]; n_photos++) {
            char name[64], path[600];
            tr_image image;
            tr_board_view view;
            snprintf(name, sizeof name, "data/phone-photos/%s/%s.jpg", sets[i].folder,
                     sets[i].names[n_photos]);
            shared_path(path, sizeof path, name);
            need_file(path);
            read_photo(path, &image);
            find_board(&image, &sets[i].board, &view);
            int all = tr_board_corners(&sets[i].board);
            assert_int_equal(view.n + view.n_missing, all);
            assert_true(2 * view.n >= all); /* else the photo is not used: lens_run.c */
            n += all;
            n_measured += view.n;
            square_off += square(off_rows(&sets[i].board, &view));
            tr_board_view_release(&view);
            tr_image_release(&image);
        }
        print_message("%s: %d of %d corners, %.3f px off their rows\n", sets[i].folder, n_measured,
                      n, sqrt(square_off / n_photos));
        assert_true(n_measured >= 0.95 * n);
        CHECK_AT_MOST(sqrt(square_off / n_photos), sets[i].off_px);
    }
}

/* Why corners were refused, in words; holds until the next call. */
static const char *why_of(const tr_board_view *view) {
    tr_findings why = {0};
    tr_error err = {0};
    assert_true(tr_board_note_why(view, &why, &err));
    const char *text = reason_text(&why);
    tr_findings_release(&why);
    return text;
}

/* Why corners were refused, and advice for the most frequent reason. */
static void says_why(void **unused) {
    (void)unused;
    tr_board_view view = {0};
    assert_string_equal(why_of(&view), "");
    view.n_refused[TR_CHECKER_BLURRED] = 12;
    view.n_refused[TR_CHECKER_NO_SADDLE] = 1;
    assert_string_equal(why_of(&view),
                        "1 is covered or in glare, 12 are blurred; hold still with your elbows "
                        "rested, use more light, and switch burst and night modes off");
    view.n_refused[TR_CHECKER_NO_SADDLE] = 20;
    assert_string_equal(why_of(&view), "12 are blurred, 20 are covered or in glare; let nothing "
                                       "cover the checkerboard, and avoid glare");
    for (int k = 1; k < TR_CHECKER_N_OUTCOMES; k++) view.n_refused[k] = 1000;
    const char *why = why_of(&view);
    int n = 0;
    for (const char *at = why; (at = strstr(at, "1000 are ")); at++) n++;
    assert_int_equal(n, TR_CHECKER_N_OUTCOMES - 1);
}

/* ---- a pair of cameras ---- */

typedef struct {
    tr_lens_run run[2]; /* left, right */
} stereo;

static int set_up_stereo(void **state) {
    static const char *const sides[] = {"left", "right"};
    stereo *s = calloc(1, sizeof *s);
    tr_board board = {10, 7, 30};
    if (access(STEREO_FOLDER "/left01.jpg", R_OK) != 0) {
        *state = s;
        return 0;
    }
    for (int side = 0; side < 2; side++) {
        static char names[STEREO_PAIRS][128];
        char *files[STEREO_PAIRS];
        for (int i = 0; i < STEREO_PAIRS; i++) {
            snprintf(names[i], sizeof names[i], STEREO_FOLDER "/%s%02d.jpg", sides[side],
                     stereo_numbers[i]);
            files[i] = names[i];
        }
        if (!tr_lens_photos(&board, files, STEREO_PAIRS, &(tr_workers){.n_threads = 2},
                            &s->run[side], NULL)) {
            return -1;
        }
    }
    *state = s;
    return 0;
}

static int tear_down_stereo(void **state) {
    stereo *s = *state;
    tr_lens_run_release(&s->run[0]);
    tr_lens_run_release(&s->run[1]);
    free(s);
    return 0;
}

static void stereo_boards(void **state) {
    stereo *s = *state;
    need_file(STEREO_FOLDER "/left01.jpg");
    for (int side = 0; side < 2; side++) {
        for (int i = 0; i < STEREO_PAIRS; i++) {
            const tr_lens_photo *p = &s->run[side].photos[i];
            if (!p->is_used) print_error("%s is not used\n", p->file);
            assert_true(p->is_used);
            assert_int_equal(p->view.n, 54);
            check_not_mirrored(&s->run[side].board, &p->view);
        }
    }
}

/* As the published calibration: flat board, corners all alike, k3 = 0. */
static void stereo_published(void **state) {
    stereo *s = *state;
    need_file(STEREO_FOLDER "/left01.jpg");
    for (int side = 0; side < 2; side++) {
        tr_calib_view views[STEREO_PAIRS];
        tr_calib_pose poses[STEREO_PAIRS];
        tr_calibration c;
        for (int i = 0; i < STEREO_PAIRS; i++) {
            const tr_board_view *v = &s->run[side].photos[i].view;
            views[i] = (tr_calib_view){v->p_board_mm, v->uv_px, NULL, v->n, v->corner};
        }
        tr_calib_options o = tr_calib_defaults(640, 480);
        o.is_free[TR_K3] = false;
        o.has_bow = false;
        o.has_corner_deviations = false;
        o.is_steady = true;
        o.huber = 0;
        assert_true(tr_calibrate(views, STEREO_PAIRS, &o, &c, poses, NULL));
        for (int k = 0; k < STEREO_PARAMETERS; k++) {
            bool is_left_cy = side == 0 && k == TR_CY;
            double tolerance = is_left_cy ? stereo_left_cy_tolerance_px : stereo_lens_3sd[side][k];
            CHECK_NEAR(c.lens.param[k], stereo_lens[side][k], tolerance);
        }
        print_message("%s: fx %.3f fy %.3f cx %.3f cy %.3f, rms %.3f px\n", side ? "right" : "left",
                      c.lens.param[0], c.lens.param[1], c.lens.param[2], c.lens.param[3], c.rms_px);
    }
}

/* The run's lens again, for a board that is bowed but else true, as the other program takes it. */
static void solve_true_board(tr_lens_run *run) {
    tr_calib_view views[STEREO_PAIRS];
    tr_calib_pose poses[STEREO_PAIRS];
    tr_calib_options o = tr_calib_defaults(640, 480);
    o.has_corner_deviations = false;
    o.is_steady = true;
    for (int i = 0; i < STEREO_PAIRS; i++) {
        const tr_board_view *v = &run->photos[i].view;
        views[i] = (tr_calib_view){v->p_board_mm, v->uv_px, v->sd_px, v->n, v->corner};
    }
    assert_true(tr_calibrate(views, STEREO_PAIRS, &o, &run->calibration, poses, NULL));
    for (int i = 0; i < STEREO_PAIRS; i++) run->photos[i].pose = poses[i];
}

/* As the program does it, against another program with other corners; and better than it. The board
   is cardboard, whose corners are off by 0.08 mm: what that does to the lens counts as an error of
   the comparison. */
static void stereo_opencv_too(void **state) {
    stereo *s = *state;
    need_file(STEREO_FOLDER "/left01.jpg");
    for (int side = 0; side < 2; side++) {
        tr_error err = {0};
        tr_lens_run *run = &s->run[side];
        run->is_steady = true;
        bool ok = tr_lens_solve(run, &err);
        if (!ok) print_error("%s\n", err.text);
        assert_true(ok);
        for (int i = 0; i < STEREO_PAIRS; i++) assert_true(run->photos[i].is_used);
        const tr_calibration uneven = run->calibration;
        solve_true_board(run);
        const tr_calibration *c = &run->calibration;
        for (int k = 0; k < TR_LENS_N; k++) {
            double sd = hypot(stereo_opencv_sd[side][k], sqrt(c->lens.covariance[10 * k]));
            sd = hypot(sd, uneven.lens.param[k] - c->lens.param[k]);
            CHECK_NEAR(c->lens.param[k], stereo_opencv[side][k], 3 * sd);
        }
        CHECK_AT_MOST(c->rms_px, 0.9 * stereo_opencv_rms_px[side]);
        assert_true(tr_findings_have(&run->advice, TR_FOUND_MEASURE_BOARD));
        assert_true(tr_findings_have(&run->advice, TR_FOUND_PART_NOT_COVERED));
        assert_false(tr_findings_have(&run->advice, TR_FOUND_CALIBRATION_FEW_PHOTOS));
        assert_false(tr_findings_have(&run->advice, TR_FOUND_FEW_TILTED));
        assert_false(tr_findings_have(&run->advice, TR_FOUND_TILT_MISSING));
        assert_false(tr_findings_have(&run->advice, TR_FOUND_PHOTOS_ALIKE));
        assert_false(tr_findings_have(&run->advice, TR_FOUND_FOCAL_UNCERTAIN));
    }
    /* One board, bent once: both cameras must find the same bow. */
    for (int k = 0; k < 2; k++) {
        const tr_calibration *a = &s->run[0].calibration;
        const tr_calibration *b = &s->run[1].calibration;
        CHECK_NEAR(a->bow_mm[k], b->bow_mm[k], 3 * hypot(a->bow_sd_mm[k], b->bow_sd_mm[k]));
    }
}

/* Threads and order must not matter. */
static void stereo_repeats(void **state) {
    stereo *s = *state;
    need_file(STEREO_FOLDER "/left01.jpg");
    const tr_lens_run *first = &s->run[0];
    tr_lens_run again;
    char *files[STEREO_PAIRS];
    for (int i = 0; i < STEREO_PAIRS; i++) files[i] = first->photos[STEREO_PAIRS - 1 - i].file;
    assert_true(tr_lens_photos(&first->board, files, STEREO_PAIRS, &(tr_workers){.n_threads = 1},
                               &again, NULL));
    for (int i = 0; i < STEREO_PAIRS; i++) {
        const tr_board_view *a = &first->photos[STEREO_PAIRS - 1 - i].view;
        const tr_board_view *b = &again.photos[i].view;
        assert_int_equal(a->n, b->n);
        assert_memory_equal(a->corner, b->corner, (size_t)a->n * sizeof *a->corner);
        assert_memory_equal(a->uv_px, b->uv_px, (size_t)a->n * sizeof *a->uv_px);
        assert_memory_equal(a->sd_px, b->sd_px, (size_t)a->n * sizeof *a->sd_px);
    }
    tr_lens_run_release(&again);
}

enum { STEREO_PHOTOS = 2 * STEREO_PAIRS, STEREO_CORNERS = 54 };

/* The pair as a rig: camera 0 is its frame, camera 1 free; each pair of photos is one station. */
static void solve_rig(const stereo *s, bool lenses_free, tr_pose *right_from_left) {
    tr_net_lens lenses[2] = {{.has_prior = false}, {.has_prior = false}};
    tr_net_camera cameras[2] = {{tr_pose_identity(), false}, {tr_pose_identity(), true}};
    tr_net_rig rigs[STEREO_PAIRS] = {{.is_held = false}};
    tr_net_sheet board = {.world_from_sheet = tr_pose_identity(), .half_mm = {120, 75}};
    tr_net_photo photos[STEREO_PHOTOS];
    int n = 0;
    tr_net_obs *obs = calloc((size_t)STEREO_PHOTOS * STEREO_CORNERS, sizeof *obs);
    assert_non_null(obs);
    for (int side = 0; side < 2; side++) {
        const tr_calibration *c = &s->run[side].calibration;
        lenses[side].lens = c->lens;
        for (int k = 0; k < TR_K3; k++) lenses[side].is_free[k] = lenses_free;
        if (lenses_free) lenses[side].lens.param[TR_K3] = 0;
        for (int i = 0; i < STEREO_PAIRS; i++) {
            const tr_lens_photo *p = &s->run[side].photos[i];
            tr_pose left = s->run[0].photos[i].pose.camera_from_board;
            /* Half a turn of the board between left and right is only another numbering. */
            bool turned = tr_v3_dot(tr_m3_column(left.R, 0),
                                    tr_m3_column(p->pose.camera_from_board.R, 0)) < 0;
            photos[side * STEREO_PAIRS + i] =
                (tr_net_photo){.lens = side, .camera = side, .rig = i};
            if (side == 0) rigs[i].rig_from_world = left;
            for (int k = 0; k < p->view.n; k++) {
                obs[n] = tr_net_obs_of(side * STEREO_PAIRS + i, 0, TR_NET_POINT, 1);
                obs[n].is_used = true;
                obs[n].p_sheet_mm[0] = tr_v2_scale(turned ? -1 : 1, p->view.p_board_mm[k]);
                obs[n].uv_px[0] = p->view.uv_px[k];
                tr_net_whiten_equal(1, 1, obs[n++].W);
            }
        }
    }
    assert_true(tr_m3_column(rigs[0].rig_from_world.R, 2).z < 0);
    tr_network net = {.lenses = lenses,
                      .cameras = cameras,
                      .rigs = rigs,
                      .sheets = &board,
                      .photos = photos,
                      .observations = obs,
                      .n_lenses = 2,
                      .n_cameras = 2,
                      .n_rigs = STEREO_PAIRS,
                      .n_sheets = 1,
                      .n_photos = STEREO_PHOTOS,
                      .n_observations = n};
    tr_net_options options = {.huber = 0};
    tr_lsq_result result;
    tr_error err = {0};
    bool ok = tr_network_solve(&net, &options, &result, &err);
    if (!ok) print_error("%s\n", err.text);
    assert_true(ok);
    *right_from_left = cameras[1].camera_from_rig;
    tr_vec3 r = tr_vector_from_rotation(right_from_left->R);
    tr_vec3 t = right_from_left->t_mm;
    print_message("lenses %s: rotation %.5f %.5f %.5f rad, base %.3f %.3f %.3f mm, %.3f px\n",
                  lenses_free ? "free" : "held", r.x, r.y, r.z, t.x, t.y, t.z,
                  sqrt(result.variance_factor));
    free(obs);
}

static void stereo_base(void **state) {
    stereo *s = *state;
    need_file(STEREO_FOLDER "/left01.jpg");
    /* The published lenses are of one camera for all photos, and of a true board, as this
     * network's. */
    for (int side = 0; side < 2; side++) {
        s->run[side].is_steady = true;
        assert_true(tr_lens_solve(&s->run[side], NULL));
        solve_true_board(&s->run[side]);
    }
    for (int lenses_free = 0; lenses_free < 2; lenses_free++) {
        tr_pose right_from_left;
        solve_rig(s, lenses_free, &right_from_left);
        tr_vec3 r = tr_vector_from_rotation(right_from_left.R);
        tr_vec3 t = right_from_left.t_mm;
        const double rotation[3] = {r.x, r.y, r.z};
        const double base[3] = {t.x, t.y, t.z};
        for (int k = 0; k < 3; k++) {
            CHECK_NEAR(rotation[k], stereo_rotation_rad[k], stereo_rotation_3sd_rad[k]);
            CHECK_NEAR(base[k], stereo_base_mm[k], stereo_base_3sd_mm[k]);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(drawn),    cmocka_unit_test(covered),  cmocka_unit_test(no_board),
        cmocka_unit_test(tiny),     cmocka_unit_test(recorded), cmocka_unit_test(phones),
        cmocka_unit_test(says_why),
    };
    const struct CMUnitTest pair[] = {
        cmocka_unit_test(stereo_boards),     cmocka_unit_test(stereo_published),
        cmocka_unit_test(stereo_opencv_too), cmocka_unit_test(stereo_repeats),
        cmocka_unit_test(stereo_base),
    };
    int failed = cmocka_run_group_tests_name("board", tests, NULL, NULL);
    return failed +
           cmocka_run_group_tests_name("pair of cameras", pair, set_up_stereo, tear_down_stereo);
}
