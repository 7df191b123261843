#include "calib/lens_run.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "base/language.h"
#include "base/median.h"
#include "base/text.h"
#include "base/wrap.h"
#include "calib/components.h"
#include "calib/quality.h"
#include "image/kind.h"
#include "image/photo_file.h"
#include "opencv/opencv.h"

/* A photo in which less of the board can be measured is not worth its doubts. */
static const double MIN_CORNERS_PART = 0.5;
enum { MIN_CORNERS = 8 };

/* A photo whose corners typically lie this many times further off than in the middle photo shows
   another board, another zoom, or a board that moved: noise alone does not reach 1.5. */
static const double RESIDUAL_REJECTED = 3.0;
/* At most one photo in so many is left out: beyond that nobody can say which ones are right. */
enum { REJECTED_SHARE = 4 };
/* So is one whose camera lies so many standard deviations from the middle one in shift or focal
   length; that of the scatter is taken from the middle photo, but for no less than this part of
   what all together show. */
static const double CAMERA_LEFT_OUT = 6.0;
static const double SCATTER_LEAST = 0.25;
/* The median of a normal value's size, in standard deviations. */
static const double NORMAL_MEDIAN = 0.67449;
/* A single corner beyond this many standard deviations is no noise. */
static const double CORNER_OFF = 6.0;
/* The median of a two-dimensional normal distance, in standard deviations of one coordinate:
   sqrt(2 ln 2) (Rayleigh). */
static const double RAYLEIGH_MEDIAN = 1.17741;

/* Boards that are all parallel leave the focal length free (Zhang, PAMI 22(11), 2000, sec. 4). */
static const double MIN_SPREAD_RAD = 10 * TR_RAD_PER_DEG;
/* Beyond this the profile is worth less than none. */
static const double MAX_FOCAL_SD_PART = 0.02;
/* Pixels are square, and no printer stretches by so much; nor does any lens that the photos agree
   on leave so many pixels. */
static const double MAX_ASPECT_PART = 0.015;
static const double MAX_CONTRADICTION_PX = 1.0;
/* Standard deviations beyond which a difference is no chance. */
static const double SURE = 3.0;

const char *tr_lens_photo_name(const tr_lens_photo *photo) {
    const char *slash = strrchr(photo->file, '/');
    return slash ? slash + 1 : photo->file;
}

/* ---- Photos to boards ---- */

/* False only where memory ran out. */
static bool measure_photo(const tr_board *board, tr_lens_photo *p, tr_error *err) {
    bool ok = false;
    tr_photo_file read;
    tr_findings reasons = {0};
    tr_error cause = {0};
    bool is_read = tr_photo_file_read(p->file, &read, &cause);
    memcpy(p->sha256, read.sha256, sizeof p->sha256);
    p->camera = read.exif.camera;
    memcpy(p->taken, read.exif.taken, sizeof p->taken);
    if (!is_read) goto out;
    p->width_px = read.image.width;
    p->height_px = read.image.height;
    tr_picture_kind kind = tr_picture_kind_of(&read.exif, p->width_px, p->height_px);
    if (!tr_picture_note(kind, &p->looks, &cause)) goto out;
    if (!tr_board_find(&read.image, board, &p->view, &cause)) goto out;
    if (p->view.n + p->view.n_missing == 0) {
        ok = tr_note(NO_BOARD, &p->why_not, &cause, board->squares_x, board->squares_y);
    } else if (p->view.n < MIN_CORNERS || p->view.n < MIN_CORNERS_PART * tr_board_corners(board)) {
        ok = tr_board_note_why(&p->view, &reasons, &cause);
        const void *why = reasons.items;
        ok = ok &&
             tr_note(FEW_CORNERS, &p->why_not, &cause, p->view.n, tr_board_corners(board), why);
    } else {
        ok = p->is_used = true;
    }
out:
    tr_findings_release(&reasons);
    tr_image_release(&read.image);
    if (ok || cause.code == TR_NO_MEMORY) {
        if (!ok) tr_fail_memory(err);
        return ok;
    }
    return tr_note(SAID, &p->why_not, err, cause.text);
}

static bool work(void *task, void *own, int item, tr_error *err) {
    (void)own;
    tr_lens_run *run = task;
    return measure_photo(&run->board, &run->photos[item], err);
}

/* The same file twice would count its noise twice. */
static bool drop_repeated(tr_lens_run *run, tr_error *err) {
    for (int i = 0; i < run->n_photos; i++) {
        tr_lens_photo *p = &run->photos[i];
        for (int k = 0; k < i && p->is_used; k++) {
            if (strcmp(p->sha256, run->photos[k].sha256) != 0) continue;
            p->is_used = false;
            char name[200];
            tr_text_fit(run->photos[k].file, sizeof name, name, sizeof name);
            if (!tr_note(SAME_FILE, &p->why_not, err, name)) return false;
        }
    }
    return true;
}

bool tr_lens_photos(const tr_board *board, char *const *files, int n, const tr_workers *workers,
                    tr_lens_run *out, tr_error *err) {
    *out = (tr_lens_run){.board = *board};
    if (!tr_opencv_load(err)) return false;
    tr_parallel_work w = {.n_items = n, .workers = *workers, .work = work, .task = out};
    out->photos = calloc((size_t)n + 1, sizeof *out->photos);
    if (!out->photos) return tr_fail_memory(err);
    out->n_photos = n;
    for (int i = 0; i < n; i++) {
        out->photos[i].file = strdup(files[i]);
        if (!out->photos[i].file) {
            tr_lens_run_release(out);
            return tr_fail_memory(err);
        }
    }
    if (tr_parallel(&w, err) && drop_repeated(out, err)) return true;
    tr_lens_run_release(out);
    return false;
}

void tr_lens_run_release(tr_lens_run *run) {
    for (int i = 0; i < run->n_photos; i++) {
        free(run->photos[i].file);
        free(run->photos[i].residual_px);
        tr_findings_release(&run->photos[i].looks);
        tr_findings_release(&run->photos[i].why_not);
        tr_board_view_release(&run->photos[i].view);
    }
    free(run->photos);
    tr_findings_release(&run->advice);
    *run = (tr_lens_run){0};
}

/* ---- Boards to the lens ---- */

/* The names of two photos, as messages have them. */
typedef struct {
    char a[80], b[80];
} two_names;

static two_names names_of(const tr_lens_photo *a, const tr_lens_photo *b) {
    two_names names;
    tr_text_fit(tr_lens_photo_name(a), 60, names.a, sizeof names.a);
    tr_text_fit(tr_lens_photo_name(b), 60, names.b, sizeof names.b);
    return names;
}

static int count_used(const tr_lens_run *run) {
    int n = 0;
    for (int i = 0; i < run->n_photos; i++) n += run->photos[i].is_used;
    return n;
}

/* How photos were taken, behind "was taken" in an error: of findings the catalogue has the words.
 */
static void say_taken(const tr_camera *camera, tr_camera_trait by, char *out, size_t size) {
    switch (by) {
    case TR_CAMERA_NAME: snprintf(out, size, TR_N("with %s"), camera->name); break;
    case TR_CAMERA_ZOOM:
        snprintf(out, size, TR_N("at digital zoom %.4g"), tr_camera_zoom(camera));
        break;
    case TR_CAMERA_FOCAL_LENGTH:
        snprintf(out, size, TR_N("at a focal length of %.4g mm"), camera->focal_length_mm);
        break;
    case TR_CAMERA_EQUIVALENT_FOCAL_LENGTH:
        snprintf(out, size, TR_N("at a focal length equivalent to %.4g mm"),
                 camera->equivalent_focal_length_mm);
        break;
    case TR_CAMERA_LENS: snprintf(out, size, TR_N("with lens %s"), camera->lens); break;
    }
}

static bool refuse_cameras(const tr_lens_photo *a, const tr_lens_photo *b, tr_camera_trait by,
                           tr_error *err) {
    two_names names = names_of(a, b);
    char taken[2][96] = {"", ""};
    say_taken(&a->camera, by, taken[0], sizeof taken[0]);
    say_taken(&b->camera, by, taken[1], sizeof taken[1]);
    return tr_fail(err, TR_NO_MEASURE,
                   "'%s' was taken %.70s, but '%s' %.70s; a lens profile is for one "
                   "camera at one focal length and zoom: use only photos taken the same way",
                   names.a, taken[0], names.b, taken[1]);
}

/* A lens profile holds for one camera, focal length and zoom. *camera: what the photos tell. Only
   photos with a board count, as in check_sizes. */
static bool check_cameras(const tr_lens_run *run, tr_camera *camera, tr_error *err) {
    tr_camera_trait by;
    *camera = (tr_camera){.name = ""};
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        for (int k = 0; k < i && p->is_used; k++) {
            const tr_lens_photo *q = &run->photos[k];
            if (!q->is_used || !tr_camera_differ(&q->camera, &p->camera, &by)) continue;
            return refuse_cameras(q, p, by, err);
        }
        if (p->is_used) tr_camera_complete(camera, &p->camera);
    }
    return true;
}

/* Pictures without a board, of another size than the photos with one. */
static bool name_odd_pictures(tr_lens_run *run, const tr_lens_photo *of_size, tr_error *err) {
    for (int i = 0; i < run->n_photos && of_size; i++) {
        tr_lens_photo *p = &run->photos[i];
        bool is_other = p->width_px != of_size->width_px || p->height_px != of_size->height_px;
        if (p->is_used || p->view.n > 0 || p->width_px == 0 || !is_other) continue;
        const void *looks = p->looks.items;
        if (!looks) continue;
        tr_findings_release(&p->why_not);
        if (!tr_note(NO_BOARD_LOOKS, &p->why_not, err, looks)) return false;
    }
    return true;
}

/* A lens profile holds for one image size: that of the photos in which the board was measured. What
   other pictures lie beside them says nothing. */
static bool check_sizes(tr_lens_run *run, tr_error *err) {
    const tr_lens_photo *first = NULL;
    const tr_lens_photo *other = NULL;
    int n_other = 0;
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        if (!p->is_used) continue;
        if (!first) first = p;
        if (p->width_px == first->width_px && p->height_px == first->height_px) continue;
        if (!other) other = p;
        n_other++;
    }
    if (!name_odd_pictures(run, first, err)) return false;
    if (!other) return true;
    char more[32] = "";
    two_names names = names_of(first, other);
    if (n_other > 1) snprintf(more, sizeof more, TR_N(" (and %d more)"), n_other - 1);
    return tr_fail(err, TR_NO_MEASURE,
                   "'%s' has %d x %d px, but '%s'%s has %d x %d px; a lens profile is for one "
                   "camera at one image size: use photos of one size only",
                   names.a, first->width_px, first->height_px, names.b, more, other->width_px,
                   other->height_px);
}

static bool check_count(const tr_lens_run *run, tr_error *err) {
    int n = count_used(run);
    if (n >= TR_LENS_MIN_PHOTOS) return true;
    return tr_fail(err, TR_NO_MEASURE,
                   "only %d of %d photos can be used; a lens needs at least %d, and 10 to 15 from "
                   "different sides are good",
                   n, run->n_photos, TR_LENS_MIN_PHOTOS);
}

/* Distance of a corner from its prediction, in its standard deviations. */
static double standardised_residual(const tr_lens_photo *p, int k) {
    return tr_v2_norm(p->residual_px[k]) / p->view.sd_px[k];
}

/* Median residual of each photo used. *middle: the median photo's. scratch: a board's corners or
   the photos, whichever is more. */
static void judge_fit(tr_lens_run *run, double *scratch, double *middle) {
    int n_used = 0;
    for (int i = 0; i < run->n_photos; i++) {
        tr_lens_photo *p = &run->photos[i];
        if (!p->is_used) continue;
        for (int k = 0; k < p->view.n; k++) scratch[k] = standardised_residual(p, k);
        p->median_residual = tr_upper_median(scratch, p->view.n);
        tr_vec3 normal = tr_m3_column(p->pose.camera_from_board.R, 2);
        p->tilt_rad = acos(fmin(1, fabs(normal.z)));
    }
    for (int i = 0; i < run->n_photos; i++) {
        if (run->photos[i].is_used) scratch[n_used++] = run->photos[i].median_residual;
    }
    *middle = tr_upper_median(scratch, n_used);
    for (int i = 0; i < run->n_photos; i++) {
        tr_lens_photo *p = &run->photos[i];
        p->n_off = 0;
        /* One photo's own noise may be above the others'. */
        double sd = fmax(*middle, p->median_residual) / RAYLEIGH_MEDIAN;
        for (int k = 0; k < p->view.n && p->is_used; k++) {
            p->n_off += !(standardised_residual(p, k) <= CORNER_OFF * sd);
        }
    }
}

/* Each photo's part of all residuals, which are in the order of the photos used. */
static bool share_residuals(tr_lens_run *run, const tr_vec2 *all, tr_error *err) {
    for (int i = 0; i < run->n_photos; i++) {
        tr_lens_photo *p = &run->photos[i];
        if (!p->is_used) continue;
        free(p->residual_px);
        p->residual_px = tr_array(p->view.n, sizeof *p->residual_px);
        if (!p->residual_px) return tr_fail_memory(err);
        memcpy(p->residual_px, all, (size_t)p->view.n * sizeof *all);
        all += p->view.n;
    }
    return true;
}

/* known: NULL, or as in calibrate.h. */
static bool solve_used(tr_lens_run *run, const tr_lens *known, tr_error *err) {
    bool ok = false;
    int n = 0;
    long n_corners = 0;
    const tr_lens_photo *first = NULL;
    tr_calib_view *views = tr_array(run->n_photos, sizeof *views);
    tr_calib_pose *poses = tr_array(run->n_photos, sizeof *poses);
    tr_vec2 *residual_px = NULL;
    if (!views || !poses) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        if (!p->is_used) continue;
        if (!first) first = p;
        views[n++] = (tr_calib_view){p->view.p_board_mm, p->view.uv_px, p->view.sd_px, p->view.n,
                                     p->view.corner};
        n_corners += p->view.n;
    }
    assert(first); /* the caller counted the photos */
    residual_px = tr_array(n_corners, sizeof *residual_px);
    if (!residual_px) {
        tr_fail_memory(err);
        goto out;
    }
    tr_calib_options options = tr_calib_defaults(first->width_px, first->height_px);
    /* A square board may lie turned by a quarter from photo to photo: no bow along x is known, nor
       which corner is which. */
    options.has_bow = options.has_corner_deviations = run->board.squares_x != run->board.squares_y;
    options.is_steady = run->is_steady;
    options.is_free[TR_K3] = !run->is_k3_held;
    options.residual_px = residual_px;
    options.known = known;
    if (!tr_calibrate(views, n, &options, &run->calibration, poses, err) ||
        !share_residuals(run, residual_px, err)) {
        goto out;
    }
    n = 0;
    for (int i = 0; i < run->n_photos; i++) {
        if (run->photos[i].is_used) run->photos[i].pose = poses[n++];
    }
    ok = true;
out:
    free(views);
    free(poses);
    free(residual_px);
    return ok;
}

/* Whether one photo more may be left out. */
static bool may_reject(const tr_lens_run *run, int n_rejected) {
    int n_used = count_used(run);
    return n_used > TR_LENS_MIN_PHOTOS && (n_rejected + 1) * REJECTED_SHARE <= n_used + n_rejected;
}

/* The photo whose corners contradict the others; NULL where they agree. */
static tr_lens_photo *find_contradicting(tr_lens_run *run, double middle) {
    tr_lens_photo *worst = NULL;
    for (int i = 0; i < run->n_photos; i++) {
        tr_lens_photo *p = &run->photos[i];
        if (p->is_used && (!worst || p->median_residual > worst->median_residual)) worst = p;
    }
    return worst && worst->median_residual > RESIDUAL_REJECTED * middle ? worst : NULL;
}

/* The photo whose camera was another than the others', in one of its unknowns: further from the
   middle than their scatter makes likely. *far: in that scatter's standard deviations. */
static tr_lens_photo *find_other_camera(tr_lens_run *run, int unknown, double *scratch,
                                        double *far) {
    double part = SCATTER_LEAST * run->calibration.scatter_sd[tr_component_of_photo(unknown)];
    tr_lens_photo *worst = NULL;
    int n = 0;
    for (int i = 0; i < run->n_photos; i++) {
        if (run->photos[i].is_used) scratch[n++] = run->photos[i].pose.camera[unknown];
    }
    double middle = tr_median(scratch, n);
    n = 0;
    for (int i = 0; i < run->n_photos; i++) {
        tr_lens_photo *p = &run->photos[i];
        double off = fabs(p->pose.camera[unknown] - middle);
        if (!p->is_used) continue;
        scratch[n++] = off;
        if (!worst || off > *far) {
            worst = p;
            *far = off;
        }
    }
    double sd = fmax(tr_median(scratch, n) / NORMAL_MEDIAN, part);
    *far = sd > 0 ? *far / sd : 0;
    return worst;
}

/* *unknown: which one. NULL: there is none. */
static tr_lens_photo *find_outlying(tr_lens_run *run, double *scratch, int *unknown) {
    tr_lens_photo *worst = NULL;
    double worst_far = CAMERA_LEFT_OUT;
    for (int k = TR_PHOTO_SHIFT_X; k <= TR_PHOTO_FOCAL && !run->is_steady; k++) {
        double far = 0;
        tr_lens_photo *p = find_other_camera(run, k, scratch, &far);
        if (!p || !(far > worst_far)) continue;
        worst = p;
        worst_far = far;
        *unknown = k;
    }
    return worst;
}

/* The photo that is to be left out next, with its reason; *out NULL: none. False: memory ran out.
 */
static bool find_rejected(tr_lens_run *run, double middle, double *scratch, tr_lens_photo **out,
                          tr_error *err) {
    int unknown;
    tr_lens_photo *p = *out = find_contradicting(run, middle);
    if (p) return tr_note(FITS_WORSE, &p->why_not, err, p->median_residual / middle);
    p = *out = find_outlying(run, scratch, &unknown);
    if (!p) return true;
    double off = fabs(p->pose.camera[unknown]);
    return unknown == TR_PHOTO_FOCAL ? tr_note(FOCAL_IS_OTHER, &p->why_not, err, 100 * off)
                                     : tr_note(AXIS_IS_ELSEWHERE, &p->why_not, err, off);
}

/* The largest angle between the directions that two boards face. */
static double spread_rad(const tr_lens_run *run) {
    double smallest = 1;
    for (int i = 0; i < run->n_photos; i++) {
        for (int k = 0; k < i; k++) {
            const tr_lens_photo *a = &run->photos[i];
            const tr_lens_photo *b = &run->photos[k];
            if (!a->is_used || !b->is_used) continue;
            smallest = fmin(smallest, tr_v3_dot(tr_m3_column(a->pose.camera_from_board.R, 2),
                                                tr_m3_column(b->pose.camera_from_board.R, 2)));
        }
    }
    return acos(fmax(-1, smallest));
}

/* Whether the solved lens is worth a profile. */
static bool check_lens(const tr_lens_run *run, tr_error *err) {
    const tr_lens *lens = &run->calibration.lens;
    double spread = spread_rad(run);
    if (spread < MIN_SPREAD_RAD) {
        return tr_fail(
            err, TR_NO_MEASURE,
            "all photos show the board from the same direction, to within %.0f degrees, and so "
            "cannot determine the focal length; take photos in which it is tilted by 30 "
            "degrees and more to the left, to the right, forward and back",
            ceil(spread * TR_DEG_PER_RAD));
    }
    double contradiction_px = tr_lens_quality_contradiction_px(run);
    if (contradiction_px > MAX_CONTRADICTION_PX) {
        return tr_fail(
            err, TR_NO_MEASURE,
            "the photos contradict each other by %.1f px (neighbouring corners are off in the same "
            "direction), %s; does the board bend, do the photos show different boards, "
            "or were some edited? Use photos of one stiff board, as the camera stored "
            "them",
            contradiction_px,
            run->is_steady ? TR_N("as they do where the camera is not as steady as --steady says")
                           : TR_N("by more than a hand that moves and a lens that shifts explain"));
    }
    double sd_part = fmax(sqrt(lens->covariance[TR_FX * TR_LENS_N + TR_FX]) / lens->param[TR_FX],
                          sqrt(lens->covariance[TR_FY * TR_LENS_N + TR_FY]) / lens->param[TR_FY]);
    if (!(sd_part <= MAX_FOCAL_SD_PART)) {
        return tr_fail(err, TR_NO_MEASURE,
                       "the photos determine the focal length only to within %.1f %% (one standard "
                       "deviation); "
                       "take more photos in which the board is tilted by 30 degrees and more and "
                       "fills the image",
                       100 * sd_part);
    }
    double aspect = lens->param[TR_FX] / lens->param[TR_FY] - 1;
    if (fabs(aspect) > MAX_ASPECT_PART && fabs(aspect) > SURE * sd_part) {
        return tr_fail(
            err, TR_NO_MEASURE,
            "fx and fy come out %.1f %% apart, but pixels are square: the squares of the "
            "board are not square, or the photos were stretched or edited; measure the "
            "board along both edges, and use photos as the camera stored them",
            100 * fabs(aspect));
    }
    if (!tr_lens_is_one_to_one(lens)) {
        char places[200];
        tr_lens_quality_uncovered(run, TR_N(" or "), places, sizeof places);
        return *places
                   ? tr_fail(err, TR_NO_MEASURE,
                             "the distortion found cannot be right up to the edges of the image; "
                             "take more photos with the board in the image's corners: none reaches "
                             "%s",
                             places)
                   : tr_fail(err, TR_NO_MEASURE,
                             "the distortion found cannot be right up to the edges of the image; "
                             "take more photos with the board in the image's corners");
    }
    return true;
}

/* The profile remembers the board, and the day of the last photo used. */
static void note_board(tr_lens_run *run) {
    tr_lens *lens = &run->calibration.lens;
    lens->board = (tr_lens_board){run->board.squares_x, run->board.squares_y, run->board.pitch_mm};
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        /* The first ten characters are the day, and order as days do. */
        if (!p->is_used || strncmp(p->taken, lens->calibrated, 10) <= 0) continue;
        memcpy(lens->calibrated, p->taken, 10);
        lens->calibrated[10] = 0;
    }
}

bool tr_lens_solve(tr_lens_run *run, tr_error *err) {
    bool ok = false;
    int n_scratch = tr_board_corners(&run->board) > run->n_photos ? tr_board_corners(&run->board)
                                                                  : run->n_photos;
    double *scratch = calloc((size_t)n_scratch + 1, sizeof *scratch);
    double middle = 0;
    tr_camera camera;
    if (!scratch) {
        tr_fail_memory(err);
        goto out;
    }
    if (!check_cameras(run, &camera, err) || !check_sizes(run, err) || !check_count(run, err)) {
        goto out;
    }
    for (int n_rejected = 0;; n_rejected++) {
        if (!solve_used(run, NULL, err)) goto out;
        judge_fit(run, scratch, &middle);
        if (!may_reject(run, n_rejected)) break;
        tr_lens_photo *p;
        if (!find_rejected(run, middle, scratch, &p, err)) goto out;
        if (!p) break;
        p->is_used = false;
        const void *why = p->why_not.items;
        if (!tr_note(PHOTO_LEFT_OUT, &run->advice, err, tr_lens_photo_name(p), why)) goto out;
    }
    /* A distortion that folds within the image comes of corners of the image that no board reaches,
       and its highest term makes most of it. */
    if (!tr_lens_is_one_to_one(&run->calibration.lens)) {
        run->is_k3_held = true;
        if (!solve_used(run, NULL, err)) goto out;
        judge_fit(run, scratch, &middle);
    }
    run->calibration.lens.camera = camera;
    note_board(run);
    ok = check_lens(run, err) && tr_lens_quality_judge(run, err);
out:
    free(scratch);
    return ok;
}

bool tr_lens_solve_known(tr_lens_run *run, const tr_lens *known, tr_error *err) {
    int n = tr_board_corners(&run->board) > run->n_photos ? tr_board_corners(&run->board)
                                                          : run->n_photos;
    double *scratch = calloc((size_t)n + 1, sizeof *scratch);
    double middle = 0;
    if (!scratch) return tr_fail_memory(err);
    bool ok = solve_used(run, known, err);
    if (ok) judge_fit(run, scratch, &middle);
    free(scratch);
    return ok;
}
