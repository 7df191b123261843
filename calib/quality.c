#include "calib/quality.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/language.h"
#include "base/median.h"
/* The image in GRID x GRID parts: an outer ring of a fifth, in which distortion is strongest, and
   the middle. A board that must be wholly in the photo still has corners in the ring. */
enum { GRID = 5 };

static const double TILTED_RAD = 20 * TR_RAD_PER_DEG;
enum { MIN_TILTED = 4, FEW_PHOTOS = 8 };
/* Times the middle photo's residual; noise alone does not reach 1.5. */
static const double RESIDUAL_HIGH = 2.0;
/* In most photos: the median residual, where noise alone makes 1.2, and how far neighbours are off
   together, where it makes 1.0. Old cameras and papered boards, too, come to residuals of 3, but
   stay below 1.4 in the latter. */
static const double RESIDUAL_OF_SET = 2.0;
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
/* A shift of the optical axis, and a motion while the sensor is read, worth telling: parts of the
   image's longer side, 4 px and 5 px of 4032. A steady hand moves by 3 px. */
static const double SHIFT_PART = 0.001;
static const double MOTION_PART = 0.00125;
/* So is a focal length that changes by this part, and a print whose corners lie off by these parts
   of its half diagonal. */
static const double FOCAL_SCATTER = 0.003;
static const double CORNER_DEVIATION_PART = 1e-4;
static const double HEIGHT_PART = 1e-3;
/* A print's differential scale known no better than this is not known. */
static const double DIFFERENTIAL_SCALE_SD_HIGH = 0.0015;
/* Standard deviations beyond which a difference is no chance. */
static const double SURE = 3.0;

typedef struct {
    tr_lens_run *run;
    tr_error *err;
    double middle_residual, middle_blur_px; /* the median photo's */
    int n_used;
} judge;

/* The middle photo's values. */
static bool find_middle(judge *j) {
    size_t room = (size_t)j->run->n_photos + 1;
    double *residual = calloc(room, sizeof *residual);
    double *blur = calloc(room, sizeof *blur);
    if (residual && blur) {
        for (int i = 0; i < j->run->n_photos; i++) {
            const tr_lens_photo *p = &j->run->photos[i];
            if (!p->is_used) continue;
            residual[j->n_used] = p->median_residual;
            blur[j->n_used++] = p->view.blur_px;
        }
        j->middle_residual = tr_upper_median(residual, j->n_used);
        j->middle_blur_px = tr_upper_median(blur, j->n_used);
    }
    bool ok = residual && blur;
    free(residual);
    free(blur);
    return ok || tr_fail_memory(j->err);
}

/* ---- Photo by photo ---- */

static bool note_hidden(const judge *j, const tr_lens_photo *p, int all) {
    tr_findings reasons = {0};
    bool ok = tr_board_note_why(&p->view, &reasons, j->err);
    const void *why = reasons.items;
    ok = ok && tr_note(BOARD_PARTLY_HIDDEN, &j->run->advice, j->err, tr_lens_photo_name(p),
                       p->view.n_missing, all, why);
    tr_findings_release(&reasons);
    return ok;
}

static bool judge_photo(const judge *j, const tr_lens_photo *p) {
    tr_findings *advice = &j->run->advice;
    const char *name = tr_lens_photo_name(p);
    int all = p->view.n + p->view.n_missing;
    if (p->view.n_missing > HIDDEN_PART * all && !note_hidden(j, p, all)) return false;
    if (!p->is_used) return true;
    bool is_blurred =
        p->view.blur_px > BLUR_MIN_PX && p->view.blur_px > BLUR_HIGH * j->middle_blur_px;
    if (is_blurred &&
        !tr_note(PHOTO_BLURRED, advice, j->err, name, 2 * p->view.blur_px, 2 * j->middle_blur_px)) {
        return false;
    }
    if (p->median_residual > RESIDUAL_HIGH * j->middle_residual &&
        !tr_note(PHOTO_MISFIT, advice, j->err, name, p->pose.rms_px)) {
        return false;
    }
    return p->n_off == 0 ||
           tr_note(CORNERS_OFF, advice, j->err, name, p->n_off, p->pose.largest_px);
}

/* Where a photo has a point of the board, but for its motion. */
static bool see(const tr_calibration *c, const tr_lens_photo *photo, tr_vec3 p_board_mm,
                tr_vec2 *uv) {
    const double *own = photo->pose.camera;
    tr_lens lens = c->lens;
    for (int k = 0; k < 2; k++) {
        lens.param[TR_FX + k] *= 1 + own[TR_PHOTO_FOCAL];
        lens.param[TR_CX + k] += own[TR_PHOTO_SHIFT_X + k];
    }
    return tr_lens_project(&lens, tr_pose_apply(photo->pose.camera_from_board, p_board_mm), uv,
                           NULL, NULL);
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
            if (!see(c, a, tr_v3(x, y, 0), &p) || !see(c, b, tr_v3(turn * x, turn * y, 0), &q)) {
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
        return tr_note(PHOTOS_ALIKE, &j->run->advice, j->err, tr_lens_photo_name(p),
                       tr_lens_photo_name(q));
    }
    return true;
}

/* ---- The set as a whole ---- */

int tr_lens_quality_uncovered(const tr_lens_run *run, const char *joint, char *out, size_t size) {
    /* Rows 0 | 1 2 3 | 4 are top, middle and bottom; columns likewise. */
    static const char *const words[3][3] = {
        {TR_N("the top left"), TR_N("the top"), TR_N("the top right")},
        {TR_N("the left"), TR_N("the middle"), TR_N("the right")},
        {TR_N("the bottom left"), TR_N("the bottom"), TR_N("the bottom right")}};
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
        int n = snprintf(out + length, size - length, "%s%s", length ? joint : "", words[r][c]);
        length += n > 0 ? (size_t)n : 0;
    }
    return total;
}

/* Sums over the corners of a photo, px^2 per corner: how far they lie off, and how far by
   themselves alone, which the differences of neighbours tell: the same for noise, less where one
   cause moves many corners. Source: von Neumann, Distribution of the ratio of the mean square
   successive difference to the variance, Annals of Mathematical Statistics 12(4), 1941. */
typedef struct {
    double all, alone;
} corner_squares;

static corner_squares square_corners(const tr_lens_run *run, const tr_lens_photo *p) {
    int columns = tr_board_columns(&run->board);
    corner_squares sum = {0, 0};
    int n_difference = 0;
    for (int k = 0; k < p->view.n; k++) {
        int corner = p->view.corner[k];
        tr_vec2 r = p->residual_px[k];
        sum.all += tr_v2_dot(r, r) / p->view.n;
        if (k > 0 && corner == p->view.corner[k - 1] + 1 && corner % columns != 0) {
            tr_vec2 d = tr_v2_sub(r, p->residual_px[k - 1]);
            sum.alone += tr_v2_dot(d, d) / 2;
            n_difference++;
        }
    }
    if (n_difference > 0) sum.alone /= n_difference;
    return sum;
}

double tr_lens_quality_contradiction_px(const tr_lens_run *run) {
    double sum = 0;
    int n = 0;
    for (int i = 0; i < run->n_photos; i++) {
        if (!run->photos[i].is_used) continue;
        corner_squares s = square_corners(run, &run->photos[i]);
        sum += s.alone > 0 ? fmax(0, s.all - s.alone) : 0;
        n++;
    }
    return n > 0 ? sqrt(sum / n) : 0;
}

/* The photos' cameras differ by more than those of any phone that was measured. */
static bool is_beyond_cameras(const tr_calibration *c) {
    static const double TIMES[TR_SCATTER_N] = {1, INFINITY, 2, 2};
    const tr_lens unknown = {.width_px = c->lens.width_px, .height_px = c->lens.height_px};
    for (int k = 0; k < TR_SCATTER_N; k++) {
        double most = TIMES[k] * tr_lens_scatter_sd(&unknown, k);
        if (!c->is_bound[k] && c->scatter_sd[k] > most) return true;
    }
    return false;
}

static bool judge_set(const judge *j) {
    double *shared = calloc((size_t)j->n_used + 1, sizeof *shared);
    int n = 0;
    if (!shared) return tr_fail_memory(j->err);
    for (int i = 0; i < j->run->n_photos; i++) {
        const tr_lens_photo *p = &j->run->photos[i];
        if (!p->is_used) continue;
        corner_squares s = square_corners(j->run, p);
        shared[n++] = s.alone > 0 ? sqrt(s.all / s.alone) : 0;
    }
    double middle = tr_median(shared, n);
    free(shared);
    if (!(j->middle_residual > RESIDUAL_OF_SET && middle > SHARED_HIGH) &&
        !is_beyond_cameras(&j->run->calibration)) {
        return true;
    }
    if (j->run->is_steady) {
        return tr_note(NOT_AS_STEADY, &j->run->advice, j->err, j->run->calibration.rms_px);
    }
    return tr_note(CALIBRATION_FITS_POORLY, &j->run->advice, j->err);
}

/* ---- The camera ---- */

/* How far the hand moves the picture while the sensor is read, px, with the board at its mean
   distance; 0 where the photos tell no motion. */
static double motion_px(const tr_lens_run *run) {
    const tr_calibration *c = &run->calibration;
    double distance_mm = 0;
    double square = 0;
    int n = 0;
    for (int i = 0; i < run->n_photos; i++) {
        if (!run->photos[i].is_used) continue;
        distance_mm += run->photos[i].pose.camera_from_board.t_mm.z;
        n++;
    }
    const double per_px[TR_SCATTER_N] = {
        [TR_SCATTER_TURN] = 1, [TR_SCATTER_TRAVEL] = n > 0 ? n / fmax(distance_mm, 1e-9) : 0};
    for (int k = TR_SCATTER_TURN; k <= TR_SCATTER_TRAVEL; k++) {
        double px = c->lens.param[TR_FX] * c->scatter_sd[k] * per_px[k];
        if (!c->is_bound[k]) square += px * px;
    }
    return sqrt(square);
}

static bool judge_camera(const judge *j) {
    const tr_calibration *c = &j->run->calibration;
    tr_findings *advice = &j->run->advice;
    double longer = fmax(c->lens.width_px, c->lens.height_px);
    const double *sd = c->scatter_sd;
    if (!c->is_bound[TR_SCATTER_SHIFT] && sd[TR_SCATTER_SHIFT] > SHIFT_PART * longer &&
        !tr_note(LENS_SHIFTS, advice, j->err, sd[TR_SCATTER_SHIFT])) {
        return false;
    }
    if (!c->is_bound[TR_SCATTER_FOCAL] && sd[TR_SCATTER_FOCAL] > FOCAL_SCATTER &&
        !tr_note(FOCAL_CHANGES, advice, j->err, 100 * sd[TR_SCATTER_FOCAL])) {
        return false;
    }
    double moved_px = motion_px(j->run);
    return !(moved_px > MOTION_PART * longer) || tr_note(HAND_MOVES, advice, j->err, moved_px);
}

static bool judge_coverage(const judge *j) {
    char places[200];
    tr_lens_quality_uncovered(j->run, "\n", places, sizeof places);
    return !*places || tr_note(PART_NOT_COVERED, &j->run->advice, j->err, places);
}

static bool judge_edges(const judge *j) {
    return !j->run->is_k3_held || tr_note(EDGES_NOT_TOLD, &j->run->advice, j->err);
}

/* Which way the tilted boards face. The normal, z of the board in the camera frame, points to the
   camera: where its x is positive the board's left side, as seen in the photo, is the nearer one.
 */
static bool judge_tilts(const judge *j) {
    static const char *const nearer[] = {TR_N("left"), TR_N("right"), TR_N("top"), TR_N("bottom")};
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
        return tr_note(FEW_TILTED, &j->run->advice, j->err, n_tilted, j->n_used,
                       TILTED_RAD * TR_DEG_PER_RAD, MIN_TILTED);
    }
    char missing[64] = "";
    size_t length = 0;
    for (int k = 0; k < 4; k++) {
        if (count[k] > 0) continue;
        int n = snprintf(missing + length, sizeof missing - length, "%s%s", length ? "\n" : "",
                         nearer[k]);
        length += n > 0 ? (size_t)n : 0;
    }
    return length == 0 || tr_note(TILT_MISSING, &j->run->advice, j->err, missing);
}

static bool judge_focal(const judge *j) {
    const tr_lens *lens = &j->run->calibration.lens;
    const double *C = lens->covariance;
    double fx = lens->param[TR_FX];
    double fy = lens->param[TR_FY];
    double sx = sqrt(C[TR_FX * TR_LENS_N + TR_FX]) / fx;
    double sy = sqrt(C[TR_FY * TR_LENS_N + TR_FY]) / fy;
    double sd = fmax(sx, sy);
    if (sd > FOCAL_SD_PART && !tr_note(FOCAL_UNCERTAIN, &j->run->advice, j->err, 100 * sd)) {
        return false;
    }
    double aspect = fx / fy - 1;
    double aspect_sd =
        sqrt(fmax(0, sx * sx + sy * sy - 2 * C[TR_FX * TR_LENS_N + TR_FY] / (fx * fy)));
    return !(fabs(aspect) > ASPECT_PART && fabs(aspect) > SURE * aspect_sd) ||
           tr_note(FOCAL_UNEQUAL, &j->run->advice, j->err, 100 * fabs(aspect));
}

static bool judge_print(const judge *j) {
    const tr_calibration *c = &j->run->calibration;
    if (fabs(c->differential_scale) > ASPECT_PART &&
        fabs(c->differential_scale) > SURE * c->differential_scale_sd &&
        !tr_note(BOARD_STRETCHED, &j->run->advice, j->err, 100 * c->differential_scale,
                 j->run->board.squares_x, j->run->board.squares_y)) {
        return false;
    }
    return !(c->differential_scale_sd > DIFFERENTIAL_SCALE_SD_HIGH) ||
           tr_note(QUARTER_TURN, &j->run->advice, j->err);
}

static bool judge_evenness(const judge *j) {
    const tr_calibration *c = &j->run->calibration;
    tr_findings *advice = &j->run->advice;
    double half_mm = hypot(c->half_mm[0], c->half_mm[1]);
    bool is_off = c->corner_deviation_mm > CORNER_DEVIATION_PART * half_mm;
    bool is_out = c->height_mm > HEIGHT_PART * half_mm;
    if (is_off && is_out) {
        return tr_note(BOARD_UNEVEN, advice, j->err, c->corner_deviation_mm, c->height_mm);
    }
    if (is_off) return tr_note(BOARD_UNEVEN_ALONG, advice, j->err, c->corner_deviation_mm);
    return !is_out || tr_note(BOARD_UNEVEN_OUT, advice, j->err, c->height_mm);
}

static bool judge_board(const judge *j) {
    const tr_calibration *c = &j->run->calibration;
    const tr_board *b = &j->run->board;
    for (int k = 0; k < 2; k++) {
        if (!(fabs(c->bow_mm[k]) > BOW_PART * c->half_mm[k] &&
              fabs(c->bow_mm[k]) > SURE * c->bow_sd_mm[k])) {
            continue;
        }
        if (!tr_note(BOARD_BOWED, &j->run->advice, j->err, c->bow_mm[k], k == 0)) {
            return false;
        }
    }
    if (b->squares_x == b->squares_y && !tr_note(BOARD_SQUARE, &j->run->advice, j->err)) {
        return false;
    }
    return tr_note(MEASURE_BOARD, &j->run->advice, j->err, b->squares_x, b->squares_x * b->pitch_mm,
                   b->squares_y, b->squares_y * b->pitch_mm);
}

bool tr_lens_quality_judge(tr_lens_run *run, tr_error *err) {
    judge j = {.run = run, .err = err};
    if (!find_middle(&j)) return false;
    for (int i = 0; i < run->n_photos; i++) {
        if (!judge_photo(&j, &run->photos[i]) || !judge_alike(&j, i)) return false;
    }
    if (!judge_set(&j)) return false;
    if (j.n_used < FEW_PHOTOS && !tr_note(CALIBRATION_FEW_PHOTOS, &run->advice, err, j.n_used)) {
        return false;
    }
    return judge_camera(&j) && judge_coverage(&j) && judge_edges(&j) && judge_tilts(&j) &&
           judge_focal(&j) && judge_print(&j) && judge_evenness(&j) && judge_board(&j);
}
