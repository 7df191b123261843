#include "calib/board.h"

#include <stdlib.h>

#include "base/median.h"
#include "marks/checker.h"
#include "opencv/opencv.h"

/* The finder first looks at a copy whose short side has about this many pixels: enough for the
   squares of any board that fills a good part of the photo, at a third of the time that twice the
   side takes. */
static const int FIRST_SHORT_SIDE_PX = 430;
/* A smaller copy than this shows no squares any more. */
static const int LAST_SHORT_SIDE_PX = 300;
/* The finder is right to about a pixel of the image that it saw; never further than this part of a
   square, where the next corner's realm begins. */
static const double COARSE_PX = 1.0;
static const double REACH_PART = 0.3;
/* What a fit of grey values cannot know of: unevenness of print and paper, what the phone's
   development does to edges. Keeps very sharp corners from outweighing all others. */
static const double FLOOR_SD_PX = 0.03;

tr_vec2 tr_board_corner_mm(const tr_board *board, int corner) {
    int columns = tr_board_columns(board);
    double from_left = corner % columns - (columns - 1) / 2.0;
    double from_top = corner / columns - (tr_board_rows(board) - 1) / 2.0;
    return tr_v2(from_left * board->pitch_mm, -from_top * board->pitch_mm);
}

bool tr_board_view_init(tr_board_view *view, const tr_board *board, tr_error *err) {
    size_t n = (size_t)tr_board_corners(board);
    *view = (tr_board_view){.corner = malloc(n * sizeof *view->corner),
                            .p_board_mm = malloc(n * sizeof *view->p_board_mm),
                            .uv_px = malloc(n * sizeof *view->uv_px),
                            .sd_px = malloc(n * sizeof *view->sd_px)};
    if (view->corner && view->p_board_mm && view->uv_px && view->sd_px) return true;
    tr_board_view_release(view);
    return tr_fail_memory(err);
}

void tr_board_view_add(tr_board_view *view, const tr_board *board, int corner, tr_vec2 uv_px,
                       double sd_px) {
    view->corner[view->n] = corner;
    view->p_board_mm[view->n] = tr_board_corner_mm(board, corner);
    view->uv_px[view->n] = uv_px;
    view->sd_px[view->n] = sd_px;
    view->n++;
}

void tr_board_view_release(tr_board_view *view) {
    free(view->corner);
    free(view->p_board_mm);
    free(view->uv_px);
    free(view->sd_px);
    *view = (tr_board_view){0};
}

static bool note_reason(tr_checker_outcome outcome, int corners, int is_most, tr_findings *why,
                        tr_error *err) {
    switch (outcome) {
    case TR_CHECKER_OFF_IMAGE: return tr_note(CORNERS_OFF_IMAGE, why, err, corners, is_most);
    case TR_CHECKER_TOO_SMALL: return tr_note(CORNERS_SMALL, why, err, corners, is_most);
    case TR_CHECKER_FAINT: return tr_note(CORNERS_FAINT, why, err, corners, is_most);
    case TR_CHECKER_NO_SADDLE: return tr_note(CORNERS_COVERED, why, err, corners, is_most);
    case TR_CHECKER_BLURRED: return tr_note(CORNERS_BLURRED, why, err, corners, is_most);
    case TR_CHECKER_UNLIKE: return tr_note(CORNERS_UNLIKE, why, err, corners, is_most);
    case TR_CHECKER_UNSETTLED: return tr_note(CORNERS_UNSETTLED, why, err, corners, is_most);
    case TR_CHECKER_MEASURED:
    case TR_CHECKER_N_OUTCOMES: break;
    }
    return true;
}

/* Joins a reason to those before it. */
static bool join_reason(const tr_findings *reason, tr_findings *why, tr_error *err) {
    tr_findings both = {0};
    const void *first = why->items, *second = reason->items;
    bool ok = first ? tr_note(BOTH_REASONS, &both, err, first, second)
                    : tr_findings_copy_all(reason, &both, err);
    tr_findings_release(why);
    *why = both;
    return ok;
}

static bool add_reason(const tr_board_view *view, tr_checker_outcome outcome, bool is_most,
                       tr_findings *why, tr_error *err) {
    tr_findings reason = {0};
    if (view->n_refused[outcome] == 0) return true;
    bool ok = note_reason(outcome, view->n_refused[outcome], is_most, &reason, err) &&
              join_reason(&reason, why, err);
    tr_findings_release(&reason);
    return ok;
}

bool tr_board_note_why(const tr_board_view *view, tr_findings *why, tr_error *err) {
    tr_checker_outcome most = TR_CHECKER_NO_SADDLE;
    for (tr_checker_outcome k = TR_CHECKER_MEASURED + 1; k < TR_CHECKER_N_OUTCOMES; k++) {
        if (view->n_refused[k] > view->n_refused[most]) most = k;
    }
    for (tr_checker_outcome k = TR_CHECKER_MEASURED + 1; k < TR_CHECKER_N_OUTCOMES; k++) {
        if (k != most && !add_reason(view, k, false, why, err)) return false;
    }
    return add_reason(view, most, true, why, err);
}

/* The corners as the finder gave them: at pixels of the photo, and how far they may be off. */
typedef struct {
    const tr_board *board;
    tr_vec2 *uv_px;
    double off_px;
} coarse;

/* The step from one corner to the next along a row (stride 1) or a column, as seen about a corner.
 */
static tr_vec2 step_px(const coarse *c, int corner, int at, int count, int stride) {
    int low = at > 0 ? corner - stride : corner;
    int high = at < count - 1 ? corner + stride : corner;
    double steps = (high - low) / stride;
    return tr_v2_scale(1 / steps, tr_v2_sub(c->uv_px[high], c->uv_px[low]));
}

static tr_vec2 step_right_px(const coarse *c, int corner) {
    int columns = tr_board_columns(c->board);
    return step_px(c, corner, corner % columns, columns, 1);
}

static tr_vec2 step_down_px(const coarse *c, int corner) {
    int columns = tr_board_columns(c->board);
    return step_px(c, corner, corner / columns, tr_board_rows(c->board), columns);
}

/* 1 where the board's next corner down lies clockwise of the next one right, as it looks from the
   face's side (v points down); -1 where the numbering is mirrored; 0 where the corners do not agree
   and so are no board. */
static int handedness(const coarse *c) {
    int n = tr_board_corners(c->board);
    int sum = 0;
    for (int k = 0; k < n; k++) {
        double cross = tr_v2_cross(step_right_px(c, k), step_down_px(c, k));
        sum += (cross > 0) - (cross < 0);
    }
    return sum == n ? 1 : sum == -n ? -1 : 0;
}

static void mirror(coarse *c) {
    int columns = tr_board_columns(c->board);
    for (int row = 0; row < tr_board_rows(c->board); row++) {
        tr_vec2 *p = c->uv_px + row * columns;
        for (int i = 0, j = columns - 1; i < j; i++, j--) {
            tr_vec2 keep = p[i];
            p[i] = p[j];
            p[j] = keep;
        }
    }
}

static double grey_at(const tr_image *image, tr_vec2 at) {
    long u = lround(fmin(fmax(at.x, 0), image->width - 1));
    long v = lround(fmin(fmax(at.y, 0), image->height - 1));
    return tr_image_row(image, (int)v)[u];
}

/* Whether the square at the start of the numbering is darker than its neighbours, by the majority
   of all squares. */
static bool starts_dark(const tr_image *image, const coarse *c) {
    int columns = tr_board_columns(c->board);
    double light = 0;
    for (int k = 0; k < tr_board_corners(c->board); k++) {
        tr_vec2 p = c->uv_px[k];
        tr_vec2 right = tr_v2_scale(0.5, step_right_px(c, k));
        tr_vec2 down = tr_v2_scale(0.5, step_down_px(c, k));
        /* The middles of the four squares about a corner: those on one diagonal have the colour of
           the start's square where column + row is even. */
        double diagonal = grey_at(image, tr_v2_sub(tr_v2_sub(p, right), down)) +
                          grey_at(image, tr_v2_add(tr_v2_add(p, right), down));
        double other = grey_at(image, tr_v2_sub(tr_v2_add(p, right), down)) +
                       grey_at(image, tr_v2_add(tr_v2_sub(p, right), down));
        light += ((k % columns + k / columns) % 2 == 0 ? 1 : -1) * (diagonal - other);
    }
    return light < 0;
}

/* Numbers the corners from the board's other end. */
static void turn(coarse *c) {
    for (int i = 0, j = tr_board_corners(c->board) - 1; i < j; i++, j--) {
        tr_vec2 keep = c->uv_px[i];
        c->uv_px[i] = c->uv_px[j];
        c->uv_px[j] = keep;
    }
}

static bool find_at(const tr_image *image, int factor, bool is_exhaustive, coarse *c, bool *found,
                    tr_error *err) {
    tr_image small = {0};
    const tr_image *seen = image;
    if (factor > 1) {
        if (!tr_image_shrink(image, factor, &small, err)) return false;
        seen = &small;
    }
    bool ok = tr_opencv_find_checkerboard(seen, tr_board_columns(c->board), tr_board_rows(c->board),
                                          is_exhaustive, c->uv_px, found, err);
    tr_image_release(&small);
    if (!ok || !*found) return ok;
    for (int k = 0; k < tr_board_corners(c->board); k++) {
        /* image.h: where a pixel of the small image lies in the large one */
        c->uv_px[k].x = factor * c->uv_px[k].x + (factor - 1) / 2.0;
        c->uv_px[k].y = factor * c->uv_px[k].y + (factor - 1) / 2.0;
    }
    c->off_px = factor * COARSE_PX;
    int hand = handedness(c);
    if (hand < 0) mirror(c);
    if (tr_board_tells_ends(c->board) && !starts_dark(image, c)) turn(c);
    *found = hand != 0;
    return true;
}

/* Quick ways first: most photos need only one. Small squares need a larger copy, blurred or grainy
   ones a smaller one. */
static bool find_coarse(const tr_image *image, coarse *c, bool *found, tr_error *err) {
    int short_side = image->width < image->height ? image->width : image->height;
    int first = (short_side + FIRST_SHORT_SIDE_PX / 2) / FIRST_SHORT_SIDE_PX;
    first = first < 1 ? 1 : first > 16 ? 16 : first;
    int finer = (first + 1) / 2;
    int coarser = 2 * first > 16 ? 16 : 2 * first;
    const struct {
        int factor;
        bool is_exhaustive;
    } tries[] = {{first, false}, {first, true}, {finer, false}, {finer, true}, {coarser, true}};
    *found = false;
    for (size_t i = 0; i < sizeof tries / sizeof *tries && !*found; i++) {
        bool was_first = i > 1 && tries[i].factor == first;
        if (was_first || (tries[i].factor > first && short_side / coarser < LAST_SHORT_SIDE_PX)) {
            continue;
        }
        if (!find_at(image, tries[i].factor, tries[i].is_exhaustive, c, found, err)) return false;
    }
    return true;
}

static void measure(const tr_image *image, const coarse *c, double *blur, tr_board_view *out) {
    for (int k = 0; k < tr_board_corners(c->board); k++) {
        tr_checker m;
        tr_vec2 right = step_right_px(c, k);
        tr_vec2 down = step_down_px(c, k);
        double square = fmin(tr_v2_norm(right), tr_v2_norm(down));
        double reach = fmin(c->off_px, REACH_PART * square);
        /* The board's y goes up. */
        if (!tr_checker_measure(image, c->uv_px[k], right, tr_v2_scale(-1, down), reach, &m)) {
            out->n_missing++;
            out->n_refused[m.outcome]++;
            continue;
        }
        blur[out->n] = m.sigma_px;
        double variance = (m.covariance[0] + m.covariance[3]) / 2;
        tr_board_view_add(out, c->board, k, m.uv_px, sqrt(variance + FLOOR_SD_PX * FLOOR_SD_PX));
    }
    if (out->n > 0) out->blur_px = tr_upper_median(blur, out->n);
}

bool tr_board_find(const tr_image *image, const tr_board *board, tr_board_view *out,
                   tr_error *err) {
    bool ok = false;
    bool found = false;
    size_t n = (size_t)tr_board_corners(board);
    coarse c = {.board = board, .uv_px = malloc(n * sizeof *c.uv_px)};
    double *blur = malloc(n * sizeof *blur);
    *out = (tr_board_view){0};
    if (!c.uv_px || !blur) {
        tr_fail_memory(err);
        goto out;
    }
    if (!find_coarse(image, &c, &found, err)) goto out;
    if (found) {
        if (!tr_board_view_init(out, board, err)) goto out;
        measure(image, &c, blur, out);
    }
    ok = true;
out:
    free(c.uv_px);
    free(blur);
    return ok;
}
