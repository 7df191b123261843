#include "calib/quality.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/median.h"
/* The image in GRID x GRID parts: an outer ring of a fifth, in which distortion is strongest, and
   the middle. A board that must be wholly in the photo still has corners in the ring. */
enum { GRID = 5 };

static const double TILTED_RAD = 20 * TR_RAD_PER_DEG;
enum { MIN_TILTED = 4, FEW_PHOTOS = 8 };
/* Times the middle photo's misfit; noise alone does not reach 1.5. */
static const double MISFIT_HIGH = 2.0;
/* In most photos: the misfit, where noise alone makes 1.2, and how far neighbours are off together,
   where it makes 1.0. Old cameras and papered boards, too, come to misfits of 3, but stay below 1.4
   in the latter. */
static const double MISFIT_OF_SET = 2.0;
static const double SHARED_HIGH = 1.5;
/* Times the middle photo's blur, and at least so much: below a pixel, sharpness is the camera's. */
static const double BLUR_HIGH = 1.6;
static const double BLUR_MIN_PX = 1.2;
/* Two views closer than this part of the image's diagonal add nothing to each other. */
static const double ALIKE_PART = 0.005;
/* Corners missing from a board: a few are lost to glare, more to a hand. */
static const double HIDDEN_PART = 0.08;
static const double FOCAL_SD_PART = 0.002;
/* A bow worth telling, as part of the board's half width; a difference of fx and fy likewise.
   Pixels of today's cameras are square to much better. */
static const double BOW_PART = 0.005;
static const double ASPECT_PART = 0.002;
/* Standard deviations beyond which a difference is no chance. */
static const double SURE = 3.0;

typedef struct {
    tr_lens_run *run;
    tr_error *err;
    double middle_misfit, middle_blur_px; /* the median photo's */
    int n_used;
} judge;

/* The middle photo's values. */
static bool find_middle(judge *j) {
    size_t room = (size_t)j->run->n_photos + 1;
    double *misfit = calloc(room, sizeof *misfit);
    double *blur = calloc(room, sizeof *blur);
    if (misfit && blur) {
        for (int i = 0; i < j->run->n_photos; i++) {
            const tr_lens_photo *p = &j->run->photos[i];
            if (!p->is_used) continue;
            misfit[j->n_used] = p->misfit;
            blur[j->n_used++] = p->view.blur_px;
        }
        j->middle_misfit = tr_upper_median(misfit, j->n_used);
        j->middle_blur_px = tr_upper_median(blur, j->n_used);
    }
    bool ok = misfit && blur;
    free(misfit);
    free(blur);
    return ok || tr_fail_memory(j->err);
}

/* ---- Photo by photo ---- */

static bool judge_photo(const judge *j, const tr_lens_photo *p) {
    tr_warnings *advice = &j->run->advice;
    const char *name = tr_lens_photo_name(p);
    int all = p->view.n + p->view.n_missing;
    char why[400];
    tr_board_say_why(&p->view, why, sizeof why);
    if (p->view.n_missing > HIDDEN_PART * all &&
        !tr_warn(advice, j->err, false, "board_partly_hidden",
                 "'%s': %d of the board's %d corners could not be measured: %s", name,
                 p->view.n_missing, all, why)) {
        return false;
    }
    if (!p->is_used) return true;
    bool is_blurred =
        p->view.blur_px > BLUR_MIN_PX && p->view.blur_px > BLUR_HIGH * j->middle_blur_px;
    if (is_blurred &&
        !tr_warn(advice, j->err, false, "photo_blurred",
                 "'%s' is less sharp than the others (edges %.1f px wide, usual here "
                 "%.1f px); hold still with your elbows rested, use more light, and take "
                 "it again",
                 name, 2 * p->view.blur_px, 2 * j->middle_blur_px)) {
        return false;
    }
    if (p->misfit > MISFIT_HIGH * j->middle_misfit &&
        !tr_warn(advice, j->err, false, "photo_misfit",
                 "'%s' fits worse than the others (%.2f px rms); take it again with the board flat "
                 "and still and the zoom and focus as before",
                 name, p->pose.rms_px)) {
        return false;
    }
    return p->n_off == 0 ||
           tr_warn(advice, j->err, false, "corners_off",
                   "'%s': %d of the corners lie off their places, by up to %.1f px; glare, dirt or "
                   "something that covers the board does that",
                   name, p->n_off, p->pose.largest_px);
}

/* Mean distance of the board's four outermost corners between two views, px; the board may be
   numbered from its other end. */
static double view_distance_px(const tr_calibration *c, const tr_lens_photo *a,
                               const tr_lens_photo *b) {
    double least = INFINITY;
    for (int turn = -1; turn <= 1; turn += 2) {
        double sum = 0;
        for (int k = 0; k < 4; k++) {
            double x = (k & 1 ? 1 : -1) * c->half_mm[0];
            double y = (k & 2 ? 1 : -1) * c->half_mm[1];
            tr_vec2 p, q;
            if (!tr_lens_project(&c->lens, tr_pose_apply(a->pose.camera_from_board, tr_v3(x, y, 0)),
                                 &p, NULL, NULL) ||
                !tr_lens_project(
                    &c->lens,
                    tr_pose_apply(b->pose.camera_from_board, tr_v3(turn * x, turn * y, 0)), &q,
                    NULL, NULL)) {
                sum = INFINITY;
                break;
            }
            sum += tr_v2_norm(tr_v2_sub(p, q)) / 4;
        }
        least = fmin(least, sum);
    }
    return least;
}

static bool judge_alike(const judge *j, int i) {
    const tr_lens_run *run = j->run;
    const tr_lens_photo *p = &run->photos[i];
    const tr_lens *lens = &run->calibration.lens;
    double limit_px = ALIKE_PART * hypot(lens->width_px, lens->height_px);
    for (int k = 0; k < i && p->is_used; k++) {
        const tr_lens_photo *q = &run->photos[k];
        if (!q->is_used || !(view_distance_px(&run->calibration, p, q) < limit_px)) continue;
        return tr_warn(&j->run->advice, j->err, false, "photos_alike",
                       "'%s' shows nearly the same view as '%s' and adds little; take each photo "
                       "from another side",
                       tr_lens_photo_name(p), tr_lens_photo_name(q));
    }
    return true;
}

/* ---- The set as a whole ---- */

int tr_quality_uncovered(const tr_lens_run *run, char *out, size_t size) {
    /* Rows 0 | 1 2 3 | 4 are top, middle and bottom; columns likewise. */
    static const char *const words[3][3] = {{"top left", "top", "top right"},
                                            {"left", "middle", "right"},
                                            {"bottom left", "bottom", "bottom right"}};
    bool is_covered[GRID][GRID] = {{false}};
    int n_empty[3][3] = {{0}};
    int n_parts[3][3] = {{0}};
    int total = 0;
    size_t length = 0;
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        for (int k = 0; k < p->view.n && p->is_used; k++) {
            int column = (int)(GRID * (p->view.uv_px[k].x + 0.5) / p->width_px);
            int row = (int)(GRID * (p->view.uv_px[k].y + 0.5) / p->height_px);
            if (column >= 0 && column < GRID && row >= 0 && row < GRID) {
                is_covered[row][column] = true;
            }
        }
    }
    for (int row = 0; row < GRID; row++) {
        for (int column = 0; column < GRID; column++) {
            int r = row == 0 ? 0 : row == GRID - 1 ? 2 : 1;
            int c = column == 0 ? 0 : column == GRID - 1 ? 2 : 1;
            n_parts[r][c]++;
            n_empty[r][c] += !is_covered[row][column];
            total += !is_covered[row][column];
        }
    }
    out[0] = 0;
    for (int k = 0; k < 9; k++) {
        int r = k / 3;
        int c = k % 3;
        if (2 * n_empty[r][c] <= n_parts[r][c] || length >= size) continue;
        int n = snprintf(out + length, size - length, "%s%s", length ? ", " : "", words[r][c]);
        length += n > 0 ? (size_t)n : 0;
    }
    return total;
}

/* How far the corners lie off, over how far by themselves alone, which the differences of
   neighbours tell: 1 for noise, more where one cause moves many corners. 0: no neighbours. Source:
   von Neumann, Distribution of the ratio of the mean square successive difference to the variance,
   Annals of Mathematical Statistics 12(4), 1941; its inverse root. */
static double shared_part(const tr_lens_run *run, const tr_lens_photo *p) {
    int columns = tr_board_columns(&run->board);
    double square = 0;
    double difference = 0;
    int n_square = 0;
    int n_difference = 0;
    tr_vec2 last = {0, 0};
    int last_corner = -2; /* of which last is the residual */
    for (int k = 0; k < p->view.n; k++) {
        int corner = p->view.corner[k];
        tr_vec2 r;
        if (!tr_lens_residual(run, p, k, &r, NULL)) continue;
        square += tr_v2_dot(r, r);
        n_square++;
        if (corner == last_corner + 1 && corner % columns != 0) {
            tr_vec2 d = tr_v2_sub(r, last);
            difference += tr_v2_dot(d, d) / 2;
            n_difference++;
        }
        last = r;
        last_corner = corner;
    }
    return difference > 0 ? sqrt(square / n_square * n_difference / difference) : 0;
}

static bool judge_set(const judge *j) {
    double *shared = calloc((size_t)j->n_used + 1, sizeof *shared);
    int n = 0;
    if (!shared) return tr_fail_memory(j->err);
    for (int i = 0; i < j->run->n_photos; i++) {
        const tr_lens_photo *p = &j->run->photos[i];
        if (p->is_used) shared[n++] = shared_part(j->run, p);
    }
    double middle = tr_median(shared, n);
    free(shared);
    return !(j->middle_misfit > MISFIT_OF_SET && middle > SHARED_HIGH) ||
           tr_warn(&j->run->advice, j->err, false, "fits_poorly",
                   "the photos contradict each other: in most of them neighbouring corners lie off "
                   "their places together (%.2f px rms in all), and the lens is worse than its "
                   "standard deviations say. Were some turned by an app or a viewer, do they show "
                   "different boards, or did zoom or focus change? Use photos of one board, as the "
                   "camera stored them",
                   j->run->calibration.rms_px);
}

static bool judge_coverage(const judge *j) {
    char places[200];
    tr_quality_uncovered(j->run, places, sizeof places);
    return !*places || tr_warn(&j->run->advice, j->err, false, "part_not_covered",
                               "no photo has corners of the board in these parts of the image: %s; "
                               "take one or two photos with the board there, close to the edge",
                               places);
}

/* Which way the tilted boards face. The normal, z of the board in the camera frame, points to the
   camera: where its x is positive the board's left side, as seen in the photo, is the nearer one.
 */
static bool judge_tilts(const judge *j) {
    static const char *const nearer[] = {"left", "right", "top", "bottom"};
    int count[4] = {0};
    int n_tilted = 0;
    for (int i = 0; i < j->run->n_photos; i++) {
        const tr_lens_photo *p = &j->run->photos[i];
        if (!p->is_used || p->tilt_rad < TILTED_RAD) continue;
        tr_vec3 normal = tr_m3_column(p->pose.camera_from_board.R, 2);
        bool is_sideways = fabs(normal.x) > fabs(normal.y);
        count[is_sideways ? (normal.x > 0 ? 0 : 1) : (normal.y > 0 ? 2 : 3)]++;
        n_tilted++;
    }
    if (n_tilted < MIN_TILTED) {
        return tr_warn(
            &j->run->advice, j->err, false, "few_tilted",
            "in only %d of %d photos is the board tilted by more than %.0f degrees; take "
            "at least %d so, tilted to the left, to the right, forward and back",
            n_tilted, j->n_used, TILTED_RAD * TR_DEG_PER_RAD, MIN_TILTED);
    }
    char missing[64] = "";
    size_t length = 0;
    for (int k = 0; k < 4; k++) {
        if (count[k] > 0) continue;
        int n = snprintf(missing + length, sizeof missing - length, "%s%s", length ? " or " : "",
                         nearer[k]);
        length += n > 0 ? (size_t)n : 0;
    }
    return length == 0 || tr_warn(&j->run->advice, j->err, false, "tilt_missing",
                                  "no photo has the board tilted so that its %s edge, as seen in "
                                  "the photo, is the nearest; add such views",
                                  missing);
}

static bool judge_focal(const judge *j) {
    const tr_lens *lens = &j->run->calibration.lens;
    const double *C = lens->covariance;
    double fx = lens->param[TR_FX];
    double fy = lens->param[TR_FY];
    double sx = sqrt(C[TR_FX * TR_LENS_N + TR_FX]) / fx;
    double sy = sqrt(C[TR_FY * TR_LENS_N + TR_FY]) / fy;
    double sd = fmax(sx, sy);
    if (sd > FOCAL_SD_PART &&
        !tr_warn(
            &j->run->advice, j->err, false, "focal_uncertain",
            "the focal length is known only to %.2f %% (one standard deviation), which makes "
            "every distance uncertain by as much; take more photos in which the board fills the "
            "image and is tilted by 30 degrees and more",
            100 * sd)) {
        return false;
    }
    double aspect = fx / fy - 1;
    double aspect_sd =
        sqrt(fmax(0, sx * sx + sy * sy - 2 * C[TR_FX * TR_LENS_N + TR_FY] / (fx * fy)));
    return !(fabs(aspect) > ASPECT_PART && fabs(aspect) > SURE * aspect_sd) ||
           tr_warn(&j->run->advice, j->err, false, "board_stretched",
                   "fx and fy differ by %.2f %%, but pixels are square: the print is likely longer "
                   "one way than the other; measure it along both edges and print it anew",
                   100 * fabs(aspect));
}

static bool judge_evenness(const judge *j) {
    double uneven_mm = j->run->calibration.uneven_mm;
    return !(uneven_mm > 0) ||
           tr_warn(&j->run->advice, j->err, false, "board_uneven",
                   "the corners of the board lie off their places, alike in all photos, by some "
                   "%.2f mm: "
                   "the standard deviations were raised by what that can do to the lens; a truer "
                   "print, "
                   "glued to glass or another stiff, flat plate, gives a better profile",
                   uneven_mm);
}

static bool judge_board(const judge *j) {
    const tr_calibration *c = &j->run->calibration;
    const tr_board *b = &j->run->board;
    for (int k = 0; k < 2; k++) {
        if (!(fabs(c->bow_mm[k]) > BOW_PART * c->half_mm[k] &&
              fabs(c->bow_mm[k]) > SURE * c->bow_sd_mm[k])) {
            continue;
        }
        if (!tr_warn(&j->run->advice, j->err, false, "board_bowed",
                     "the board is bowed by %.1f mm %s; this is taken into account, but a print "
                     "glued to a flat plate gives a better lens profile",
                     fabs(c->bow_mm[k]), k == 0 ? "along" : "across")) {
            return false;
        }
    }
    if (b->squares_x == b->squares_y &&
        !tr_warn(
            &j->run->advice, j->err, false, "board_square",
            "a board with as many squares along as across does not tell which way it lies, and "
            "so its bow cannot be found; take one with unequal numbers")) {
        return false;
    }
    return tr_warn(
        &j->run->advice, j->err, false, "measure_board",
        "photos cannot tell whether the print is true: measure with a steel rule that %d "
        "squares are %.1f mm one way and %d squares %.1f mm the other",
        b->squares_x, b->squares_x * b->pitch_mm, b->squares_y, b->squares_y * b->pitch_mm);
}

bool tr_quality_judge(tr_lens_run *run, tr_error *err) {
    judge j = {.run = run, .err = err};
    if (!find_middle(&j)) return false;
    for (int i = 0; i < run->n_photos; i++) {
        if (!judge_photo(&j, &run->photos[i]) || !judge_alike(&j, i)) return false;
    }
    if (!judge_set(&j)) return false;
    if (j.n_used < FEW_PHOTOS &&
        !tr_warn(
            &run->advice, err, false, "few_photos",
            "only %d photos are used; 10 to 15 from different sides make the lens profile more "
            "certain, and show mistakes",
            j.n_used)) {
        return false;
    }
    return judge_coverage(&j) && judge_tilts(&j) && judge_focal(&j) && judge_evenness(&j) &&
           judge_board(&j);
}
