#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "check/check.h"
#include "check/order.h"
#include "check/quality.h"
#include "image/exif.h"
#include "image/image.h"

/* No photo of a phone is larger; a file that is should not fill the memory. */
static const size_t MAX_PHOTO_BYTES = 400u * 1024u * 1024u;
enum { MAX_PHOTOS = 1000, MAX_THREADS = 16 };
/* Photos of one setup are taken within minutes. */
enum { MAX_MINUTES_APART = 60 };

/* What the threads share. */
typedef struct {
    const tr_job *job;
    tr_check_photo *photos;
    int n;
    pthread_mutex_t mutex; /* guards all below */
    int next, done;
    tr_error error; /* the first that ends everything: memory ran out */
    tr_progress progress;
    void *context;
} pool;

/* Notes why a photo cannot be used; failures of memory are passed on. */
static bool refuse(tr_check_photo *photo, const tr_error *why, tr_error *err) {
    if (why->code == TR_NO_MEMORY) {
        *err = *why;
        return false;
    }
    snprintf(photo->why_not, sizeof photo->why_not, "%.255s", why->text);
    return true;
}

/* True, and noted, where the photo tells that it was taken otherwise than the profile's. */
static bool is_of_other_lens(const tr_lens *lens, tr_check_photo *photo) {
    tr_camera_difference d;
    photo->is_other_lens = tr_camera_differ(&photo->exif.camera, &lens->camera, &d);
    if (!photo->is_other_lens) return false;
    snprintf(photo->why_not, sizeof photo->why_not,
             "it was taken %.70s, but the lens profile's photos %.70s; use the camera, focal "
             "length and zoom of the calibration",
             d.a, d.b);
    return true;
}

static bool is_of_other_size(const tr_lens *lens, tr_check_photo *photo) {
    if (photo->width_px == lens->width_px && photo->height_px == lens->height_px) return false;
    const tr_exif *e = &photo->exif;
    bool is_turned = photo->width_px == lens->height_px && photo->height_px == lens->width_px;
    bool was_right = e->width_px == lens->width_px && e->height_px == lens->height_px;
    snprintf(photo->why_not, sizeof photo->why_not,
             "it has %d x %d pixels, but the lens profile is for %d x %d; %s", photo->width_px,
             photo->height_px, lens->width_px, lens->height_px,
             is_turned   ? "use the photo as the camera stored it, not turned"
             : was_right ? "use the photo as the camera stored it, not made smaller or cut"
                         : "use the same camera, zoom and image size as in the calibration");
    return true;
}

static bool measure_image(const tr_job *job, tr_marks_finder *finder, const tr_image *image,
                          tr_check_photo *photo, tr_error *err) {
    photo->width_px = image->width;
    photo->height_px = image->height;
    if (is_of_other_lens(&job->lens, photo) || is_of_other_size(&job->lens, photo)) return true;
    photo->is_readable = true;
    return tr_marks_find(finder, image, &job->lens, &photo->marks, err) &&
           tr_photo_judge(&photo->marks, job->sheets, image, &photo->quality, err);
}

/* Only running out of memory is a failure; what is wrong with the photo is noted in it. */
static bool read_photo(const tr_job *job, tr_marks_finder *finder, tr_check_photo *photo,
                       tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    tr_image image = {0};
    tr_error why = {0};
    bool ok = false;
    if (!tr_file_read(photo->file, MAX_PHOTO_BYTES, &data, &size, &why)) {
        ok = refuse(photo, &why, err);
        goto out;
    }
    tr_sha256_hex(data, size, photo->sha256);
    if (!tr_exif_read(data, size, &photo->exif, err)) goto out;
    if (!tr_image_decode(data, size, photo->file, &image, &why)) {
        ok = refuse(photo, &why, err);
        goto out;
    }
    free(data);
    data = NULL;
    ok = measure_image(job, finder, &image, photo, err);
out:
    tr_image_release(&image);
    free(data);
    return ok;
}

static void *work(void *argument) {
    pool *p = argument;
    tr_error err = {0};
    tr_marks_finder *finder = tr_marks_finder_new(p->job->sheets, p->job->n_sheets, &err);
    pthread_mutex_lock(&p->mutex);
    while (finder && p->error.code == TR_OK && p->next < p->n) {
        tr_check_photo *photo = &p->photos[p->next++];
        pthread_mutex_unlock(&p->mutex);
        bool ok = read_photo(p->job, finder, photo, &err);
        pthread_mutex_lock(&p->mutex);
        if (!ok) break;
        p->done++;
        if (p->progress) p->progress(p->context, p->done, p->n);
    }
    if (err.code != TR_OK && p->error.code == TR_OK) p->error = err;
    pthread_mutex_unlock(&p->mutex);
    tr_marks_finder_free(finder);
    return NULL;
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
            snprintf(a->why_not, sizeof a->why_not, "it is the same photo as %.200s", b->file);
        }
    }
}

static bool warn_photo(tr_check *check, const tr_check_photo *p, tr_error *err) {
    const tr_lens *lens = &check->job->lens;
    if (p->is_readable && p->marks.is_mirrored) {
        return tr_warn(
            &check->warnings, err, true, "photo_mirrored",
            "Photo %s is mirrored left to right: turn mirroring off in the camera's settings "
            "and take it anew.",
            p->file);
    }
    if (p->is_readable) return true;
    if (p->is_other_lens) {
        return tr_warn(&check->warnings, err, true, "photo_other_lens", "Photo %s is not used: %s.",
                       p->file, p->why_not);
    }
    bool is_size =
        p->width_px > 0 && (p->width_px != lens->width_px || p->height_px != lens->height_px);
    return tr_warn(&check->warnings, err, false, is_size ? "photo_size" : "photo_not_used",
                   "Photo %s is not used: %s.", p->file, p->why_not);
}

/* The first and the last of those taken; what was moved in between shows in the marks only where it
   moved against the rest. */
static bool warn_times(tr_check *check, tr_error *err) {
    const tr_check_photo *first = NULL;
    const tr_check_photo *last = NULL;
    for (int i = 0; i < check->n_photos; i++) {
        const tr_check_photo *p = &check->photos[check->order[i]];
        if (!p->is_readable || !*p->exif.taken) continue;
        if (!first || p->exif.taken_s < first->exif.taken_s) first = p;
        if (!last || p->exif.taken_s > last->exif.taken_s) last = p;
    }
    if (!first || last->exif.taken_s - first->exif.taken_s <= 60 * MAX_MINUTES_APART) return true;
    return tr_warn(&check->warnings, err, false, "photos_far_apart",
                   "Photo %.150s was taken at %s, but %.150s at %s: were the photos all taken of "
                   "this setup? If not, take them anew.",
                   first->file, first->exif.taken, last->file, last->exif.taken);
}

bool tr_check_photos(const tr_job *job, char *const *files, int n, int n_threads,
                     tr_progress progress, void *context, tr_check *out, tr_error *err) {
    pthread_t threads[MAX_THREADS];
    int started = 0;
    memset(out, 0, sizeof *out);
    out->job = job;
    if (n < 1) {
        return tr_fail(err, TR_BAD_INPUT,
                       "the job names no photos; list them under 'photos' or on the command line");
    }
    if (n > MAX_PHOTOS) {
        return tr_fail(err, TR_BAD_INPUT,
                       "%d photos are more than a check takes (%d); choose the best", n,
                       MAX_PHOTOS);
    }
    out->photos = calloc((size_t)n, sizeof *out->photos);
    if (!out->photos) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        out->photos[i].file = strdup(files[i]);
        if (!out->photos[i].file) return tr_fail_memory(err);
        out->n_photos = i + 1;
    }
    pool p = {.job = job, .photos = out->photos, .n = n, .progress = progress, .context = context};
    if (pthread_mutex_init(&p.mutex, NULL) != 0) return tr_fail_memory(err);
    if (n_threads <= 0) n_threads = (int)sysconf(_SC_NPROCESSORS_ONLN);
    if (n_threads > n) n_threads = n;
    if (n_threads > MAX_THREADS) n_threads = MAX_THREADS;
    /* This thread works too, so that a machine that gives no more threads still gets done. */
    while (started < n_threads - 1 && pthread_create(&threads[started], NULL, work, &p) == 0) {
        started++;
    }
    work(&p);
    for (int i = 0; i < started; i++) pthread_join(threads[i], NULL);
    pthread_mutex_destroy(&p.mutex);
    if (p.error.code != TR_OK) {
        if (err && err->code == TR_OK) *err = p.error;
        return false;
    }
    if (!tr_check_sort(out, err)) return false;
    refuse_repeats(out);
    for (int i = 0; i < n; i++) {
        if (!warn_photo(out, &out->photos[out->order[i]], err)) return false;
    }
    return warn_times(out, err);
}
