#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/wrap.h"
#include "check/check.h"
#include "check/order.h"
#include "check/photo_lens.h"
#include "check/predict.h"
#include "check/quality.h"
#include "check/unknown_lens.h"
#include "image/photo.h"
#include "lens/unknown.h"

/* Photos of one setup are taken within minutes. */
enum { MAX_MINUTES_APART = 60 };

/* Decoded photos are kept for a second look, and for the picture, as long as all that are in memory
   fit in here; others are read again. So memory does not grow with the number of photos. */
static const size_t KEPT_BYTES = 100u * 1024u * 1024u;

/* The looks at a photo. All photos get one before any gets the next. */
typedef enum {
    LOOK_FIRST,   /* reads it, and measures what a quick search finds */
    LOOK_ANEW,    /* the same through the lens that was unknown at first */
    LOOK_AGAIN,   /* measures what the other photos predict */
    LOOK_THOROUGH /* searches at full resolution */
} look_kind;

/* What the threads share. */
typedef struct {
    const tr_job *job;
    tr_check_photo *photos;
    int n;
    look_kind look;
    const tr_lens *lenses;             /* the job's; not of LOOK_FIRST where the lens is unknown */
    const tr_predictions *predictions; /* of LOOK_AGAIN */
    /* Of the first look: */
    pthread_mutex_t mutex; /* guards all below */
    size_t held_bytes;     /* of all decoded photos, kept or looked at */
    int n_read;
} pool;

/* Whether a photo that is not there is where it would be sought, were it named in the job. */
static bool is_beside_job(const tr_job *job, const char *file, bool *is_beside, tr_error *err) {
    *is_beside = false;
    if (!job->path || access(file, F_OK) == 0) return true;
    char *path = tr_path_beside(job->path, file);
    if (!path) return tr_fail_memory(err);
    *is_beside = access(path, F_OK) == 0;
    free(path);
    return true;
}

/* Notes why a photo cannot be used; failures of memory are passed on. */
static bool refuse(const tr_job *job, tr_check_photo *photo, const tr_error *why, tr_error *err) {
    bool is_beside = false;
    if (why->code == TR_NO_MEMORY) {
        *err = *why;
        return false;
    }
    if (why->code == TR_NO_FILE && !is_beside_job(job, photo->file, &is_beside, err)) return false;
    tr_text_fit(is_beside ? "does not exist in the current folder, from which photos on the "
                            "command line are sought; it lies beside the job file"
                          : why->text,
                sizeof photo->why_not, photo->why_not, sizeof photo->why_not);
    return true;
}

static size_t bytes_of(const tr_image *image) {
    return (size_t)image->width * (size_t)image->height;
}

static void hold(pool *p, const tr_image *image) {
    pthread_mutex_lock(&p->mutex);
    p->held_bytes += bytes_of(image);
    p->n_read++;
    pthread_mutex_unlock(&p->mutex);
}

static void let_go(pool *p, tr_image *image) {
    pthread_mutex_lock(&p->mutex);
    p->held_bytes -= bytes_of(image);
    pthread_mutex_unlock(&p->mutex);
    tr_image_release(image);
}

/* After the first look: keeps the image, or lets it go. The next photo needs room, too. */
static void put_away(pool *p, int i, tr_image *image) {
    pthread_mutex_lock(&p->mutex);
    size_t next_bytes = p->n_read < p->n ? bytes_of(image) : 0;
    bool fits = p->held_bytes + next_bytes <= KEPT_BYTES;
    pthread_mutex_unlock(&p->mutex);
    if (fits)
        p->photos[i].image = *image;
    else
        let_go(p, image);
}

/* The image of a photo that was looked at before: the one that was kept, or read anew (then the
   caller releases it). *image NULL: its file is not what it was. */
static bool fetch(pool *p, int i, tr_image *read, const tr_image **image, tr_error *err) {
    const tr_check_photo *photo = &p->photos[i];
    tr_error why = {0};
    *read = (tr_image){0};
    *image = &photo->image;
    if (photo->image.px) return true;
    *image = tr_photo_read_again(photo->file, photo->sha256, read, &why) ? read : NULL;
    if (why.code != TR_NO_MEMORY) return true;
    *err = why;
    return false;
}

static bool judge(const tr_job *job, const tr_image *image, tr_check_photo *photo, tr_error *err) {
    return tr_photo_judge(&photo->marks, job->sheets, image, &photo->quality, err);
}

/* Reads a photo and takes the first look. Only running out of memory is a failure; what is wrong
   with the photo is noted in it. */
static bool look_first(pool *p, tr_marks_finder *finder, int i, tr_error *err) {
    const tr_job *job = p->job;
    tr_check_photo *photo = &p->photos[i];
    tr_photo read;
    tr_error why = {0};
    bool is_read = tr_photo_read(photo->file, &read, &why);
    hold(p, &read.image);
    memcpy(photo->sha256, read.sha256, sizeof photo->sha256);
    photo->exif = read.exif;
    if (!is_read) return refuse(job, photo, &why, err);
    photo->width_px = read.image.width;
    photo->height_px = read.image.height;
    if (!tr_check_find_lens(job, photo)) {
        let_go(p, &read.image);
        return true;
    }
    photo->is_readable = true;
    tr_lens lens = job->lenses[photo->lens];
    if (lens.is_unknown) {
        tr_lens_unknown(&photo->exif.camera, photo->width_px, photo->height_px, &lens);
    }
    bool ok = tr_marks_find(finder, &read.image, &lens, TR_SEARCH_QUICK, &photo->marks, err) &&
              judge(job, &read.image, photo, err);
    put_away(p, i, &read.image);
    return ok;
}

static bool is_all_seen(const tr_photo_marks *marks, const tr_sheet_prediction *p, int n) {
    int seen = 0;
    for (int i = 0; i < n; i++) {
        for (int v = 0; v < marks->n_views; v++) seen += marks->views[v].sheet == p[i].sheet;
    }
    return seen == n;
}

static bool look_again(pool *p, tr_marks_finder *finder, int i, tr_error *err) {
    tr_check_photo *photo = &p->photos[i];
    const int *first = p->predictions->first;
    const tr_sheet_prediction *predicted = &p->predictions->items[first[i]];
    int n = first[i + 1] - first[i];
    tr_image read;
    const tr_image *image;
    if (!photo->is_readable || is_all_seen(&photo->marks, predicted, n)) return true;
    if (!fetch(p, i, &read, &image, err)) return false;
    bool ok = !image || (tr_marks_seek(finder, image, &p->predictions->lenses[i], predicted, n,
                                       &photo->marks, err) &&
                         judge(p->job, image, photo, err));
    tr_image_release(&read);
    return ok;
}

static bool search_anew(pool *p, tr_marks_finder *finder, tr_search search, int i, tr_error *err) {
    tr_check_photo *photo = &p->photos[i];
    tr_image read;
    const tr_image *image;
    if (!photo->is_readable) return true;
    if (!fetch(p, i, &read, &image, err)) return false;
    bool ok = true;
    if (image) {
        tr_photo_marks_release(&photo->marks);
        ok = tr_marks_find(finder, image, &p->lenses[photo->lens], search, &photo->marks, err) &&
             judge(p->job, image, photo, err);
    }
    tr_image_release(&read);
    return ok;
}

static bool look_anew(pool *p, tr_marks_finder *finder, int i, tr_error *err) {
    return search_anew(p, finder, TR_SEARCH_QUICK, i, err);
}

static bool look_thorough(pool *p, tr_marks_finder *finder, int i, tr_error *err) {
    return search_anew(p, finder, TR_SEARCH_THOROUGH, i, err);
}

static void *make_finder(void *task, tr_error *err) {
    const pool *p = task;
    return tr_marks_finder_new(p->job->sheets, p->job->n_sheets, err);
}

static void free_finder(void *task, void *finder) {
    (void)task;
    tr_marks_finder_free(finder);
}

static bool look(void *task, void *finder, int i, tr_error *err) {
    static bool (*const LOOKS[])(pool *, tr_marks_finder *, int,
                                 tr_error *) = {look_first, look_anew, look_again, look_thorough};
    pool *p = task;
    return LOOKS[p->look](p, finder, i, err);
}

static bool look_at_all(pool *p, look_kind kind, const tr_parallel_work *work, tr_error *err) {
    p->look = kind;
    tr_parallel_work w = *work;
    if (kind == LOOK_AGAIN) w.progress = NULL; /* it is a matter of moments */
    return tr_parallel(&w, err);
}

static bool look_at_predicted(pool *p, tr_check *check, const tr_parallel_work *work,
                              tr_predictions *predictions, tr_error *err) {
    if (!tr_check_predict(check, predictions, err)) return false;
    p->predictions = predictions;
    return look_at_all(p, LOOK_AGAIN, work, err);
}

static bool is_needed(const tr_job *job, int sheet) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].sheet == sheet) return true;
    }
    for (int i = 0; i < job->layout.n_placements; i++) {
        if (tr_job_find_sheet(job, job->layout.placements[i].sheet) == sheet) return true;
    }
    return false;
}

/* Whether quick looks have left a needed sheet in fewer than two photos, or a photo without its
   place among the others. */
static bool is_any_missing(const tr_check *check, const tr_predictions *predictions) {
    const tr_job *job = check->job;
    for (int i = 0; i < check->n_photos; i++) {
        const tr_check_photo *p = &check->photos[i];
        bool has_place = predictions->first[i + 1] > predictions->first[i];
        if (p->is_readable && p->marks.n_views > 0 && !has_place) return true;
    }
    for (int k = 0; k < job->n_sheets; k++) {
        int n = 0;
        for (int i = 0; i < check->n_photos; i++) {
            const tr_photo_marks *m = &check->photos[i].marks;
            for (int v = 0; v < m->n_views; v++) n += m->views[v].sheet == k;
        }
        if (n < 2 && job->sheets[k].n_tags > 0 && is_needed(job, k)) return true;
    }
    return false;
}

/* The same bytes twice say nothing new, but would count twice. */
static void refuse_repeats(tr_check *check) {
    for (int i = 0; i < check->n_photos; i++) {
        tr_check_photo *a = &check->photos[check->order[i]];
        for (int k = 0; k < i && a->is_readable; k++) {
            const tr_check_photo *b = &check->photos[check->order[k]];
            if (!b->is_readable || strcmp(a->sha256, b->sha256) != 0) continue;
            a->is_readable = false;
            tr_photo_marks_release(&a->marks);
            a->quality = (tr_photo_quality){0};
            snprintf(a->why_not, sizeof a->why_not, "it is the same photo as %s", b->name);
        }
    }
}

/* Edges and predictions need more of a lens than the first guess at it: where it was found since,
   all is measured anew through it, and it is found anew from that. */
static bool look_through_found_lens(pool *p, tr_check *check, look_kind kind,
                                    const tr_parallel_work *work, tr_error *err) {
    return !check->is_lens_solved ||
           (look_at_all(p, kind, work, err) && tr_check_find_unknown_lens(check, err));
}

/* Quick looks first; what they find together predicts the rest. Only where a sheet is still missing
   is there a search at full resolution, which takes ten times as long. */
static bool look_for_marks(tr_check *check, int n_threads, tr_progress progress, void *context,
                           tr_error *err) {
    pool p = {.job = check->job, .photos = check->photos, .n = check->n_photos};
    tr_parallel_work work = {.n_items = check->n_photos,
                             .n_threads = n_threads,
                             .begin = make_finder,
                             .end = free_finder,
                             .work = look,
                             .task = &p,
                             .progress = progress,
                             .context = context};
    tr_predictions predictions = {0};
    bool ok = false;
    if (pthread_mutex_init(&p.mutex, NULL) != 0) return tr_fail_memory(err);
    if (!look_at_all(&p, LOOK_FIRST, &work, err) || !tr_check_sort(check, err)) goto out;
    refuse_repeats(check);
    p.lenses = check->job->lenses;
    if (p.lenses->is_unknown) {
        if (!tr_check_find_unknown_lens(check, err)) goto out;
        p.lenses = &check->solved_lens;
        if (!look_through_found_lens(&p, check, LOOK_ANEW, &work, err)) goto out;
    }
    if (!look_at_predicted(&p, check, &work, &predictions, err)) goto out;
    if (is_any_missing(check, &predictions)) {
        tr_predictions_release(&predictions);
        if (!look_at_all(&p, LOOK_THOROUGH, &work, err)) goto out;
        /* More marks may tell what fewer did not. */
        if (check->job->lenses->is_unknown && !check->is_lens_solved &&
            (!tr_check_find_unknown_lens(check, err) ||
             !look_through_found_lens(&p, check, LOOK_THOROUGH, &work, err))) {
            goto out;
        }
        if (!look_at_predicted(&p, check, &work, &predictions, err)) goto out;
    }
    ok = true;
out:
    tr_predictions_release(&predictions);
    pthread_mutex_destroy(&p.mutex);
    return ok;
}

static bool note_photo(tr_check *check, const tr_check_photo *p, tr_error *err) {
    tr_findings *findings = &check->findings;
    if (p->is_readable && p->marks.is_mirrored) {
        return tr_note(PHOTO_MIRRORED, findings, err, p->name);
    }
    if (p->is_readable) return true;
    switch (p->fit) {
    case TR_PHOTO_FITS: break;
    case TR_PHOTO_OTHER_LENS: return tr_note(PHOTO_OTHER_LENS, findings, err, p->name, p->why_not);
    case TR_PHOTO_OTHER_SIZE: return tr_note(PHOTO_SIZE, findings, err, p->name, p->why_not);
    case TR_PHOTO_LENS_UNCLEAR:
        return tr_note(PHOTO_LENS_UNCLEAR, findings, err, p->name, p->why_not);
    }
    return tr_note(PHOTO_NOT_USED, findings, err, p->name, p->why_not);
}

/* Photos with one lens profile that tell different cameras, although the profile tells of none: a
   phone that changed from its main camera to its wide one. Named are the first photo, and those
   that differ from it. */
static bool note_cameras_of(tr_check *check, int lens, tr_error *err) {
    const tr_check_photo *first = NULL;
    tr_camera_difference d = {.a = ""};
    char *names = NULL;
    bool ok = true;
    for (int i = 0; i < check->n_photos && ok; i++) {
        const tr_check_photo *p = &check->photos[check->order[i]];
        tr_camera_difference other;
        if (!p->is_readable || p->lens != lens) continue;
        if (!first) first = p;
        if (!tr_camera_differ(&first->exif.camera, &p->exif.camera, &other)) continue;
        if (!names) d = other;
        ok = tr_items_add(&names, p->name, err);
    }
    if (ok && names) {
        const tr_lens *its = &check->job->lenses[lens];
        ok = its->is_unknown ? tr_note(UNKNOWN_CAMERAS_DIFFER, &check->findings, err, first->name,
                                       d.a, names, d.b)
                             : tr_note(CAMERAS_DIFFER, &check->findings, err, first->name, d.a,
                                       names, d.b, its->id);
    }
    free(names);
    return ok;
}

/* The first and the last of those taken; what was moved in between shows in the marks only where it
   moved against the rest. */
static bool note_times(tr_check *check, tr_error *err) {
    const tr_check_photo *first = NULL;
    const tr_check_photo *last = NULL;
    for (int i = 0; i < check->n_photos; i++) {
        const tr_check_photo *p = &check->photos[check->order[i]];
        if (!p->is_readable || !*p->exif.taken) continue;
        if (!first || p->exif.taken_s < first->exif.taken_s) first = p;
        if (!last || p->exif.taken_s > last->exif.taken_s) last = p;
    }
    if (!first || last->exif.taken_s - first->exif.taken_s <= 60 * MAX_MINUTES_APART) return true;
    return tr_note(PHOTOS_FAR_APART, &check->findings, err, first->name, first->exif.taken,
                   last->name, last->exif.taken);
}

bool tr_check_photos(const tr_job *job, char *const *files, int n, int n_threads,
                     tr_progress progress, void *context, tr_check *out, tr_error *err) {
    memset(out, 0, sizeof *out);
    out->job = job;
    if (n < 1) {
        return tr_fail_at(err, TR_BAD_INPUT, job->path, 0, NULL,
                          "names no photos; list them under 'photos' or on the command line");
    }
    if (n > TR_MAX_PHOTOS) {
        return tr_fail(err, TR_BAD_INPUT,
                       "%d photos are more than a check takes (%d); choose the best", n,
                       TR_MAX_PHOTOS);
    }
    out->photos = calloc((size_t)n, sizeof *out->photos);
    if (!out->photos) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        out->photos[i].file = strdup(files[i]);
        if (!out->photos[i].file) return tr_fail_memory(err);
        out->n_photos = i + 1;
    }
    tr_check_name_photos(out);
    if (!look_for_marks(out, n_threads, progress, context, err)) return false;
    for (int i = 0; i < n; i++) {
        if (!note_photo(out, &out->photos[out->order[i]], err)) return false;
    }
    for (int k = 0; k < job->n_lenses; k++) {
        if (!note_cameras_of(out, k, err)) return false;
    }
    return note_times(out, err);
}
