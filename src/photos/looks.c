#include "photos/looks.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/wrap.h"
#include "image/photo_file.h"
#include "lens/unknown.h"
#include "photos/order.h"
#include "photos/photo_lens.h"
#include "photos/predict.h"
#include "photos/unknown_lens.h"

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
    const tr_photo_request *request;
    tr_photo *photos;
    int n;
    look_kind look;
    const tr_lens *lenses; /* the request's; not of LOOK_FIRST where the lens is unknown */
    const tr_predictions *predictions; /* of LOOK_AGAIN */
    /* Of the first look: */
    pthread_mutex_t mutex; /* guards all below */
    size_t held_bytes;     /* of all decoded photos, kept or looked at */
    int n_read;
} pool;

/* Whether a photo that is not there is where it would be sought, were it named in the file that
   lists photos. */
static bool is_beside_list(const tr_photo_request *request, const char *file, bool *is_beside,
                           tr_error *err) {
    *is_beside = false;
    if (!request->path || access(file, F_OK) == 0) return true;
    char *path = tr_path_beside(request->path, file);
    if (!path) return tr_fail_memory(err);
    *is_beside = access(path, F_OK) == 0;
    free(path);
    return true;
}

/* Notes why a photo cannot be used; failures of memory are passed on. */
static bool refuse(const tr_photo_request *request, tr_photo *photo, const tr_error *why,
                   tr_error *err) {
    bool is_beside = false;
    if (why->code == TR_NO_MEMORY) {
        *err = *why;
        return false;
    }
    if (why->code == TR_NO_FILE && !is_beside_list(request, photo->file, &is_beside, err))
        return false;
    if (is_beside) {
        snprintf(photo->why_not, sizeof photo->why_not,
                 "does not exist in the current folder, from which photos on the command line are "
                 "sought; it lies beside the %s file",
                 request->path_is);
    } else {
        tr_text_fit(why->text, sizeof photo->why_not, photo->why_not, sizeof photo->why_not);
    }
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

/* After the first look: lets the image go, unless it may be kept. The next photo needs room, too.
 */
static void put_away(pool *p, tr_image *image) {
    pthread_mutex_lock(&p->mutex);
    size_t next_bytes = p->n_read < p->n ? bytes_of(image) : 0;
    bool fits = p->held_bytes + next_bytes <= KEPT_BYTES;
    pthread_mutex_unlock(&p->mutex);
    if (!fits) let_go(p, image);
}

/* The image of a photo that was looked at before: the one that was kept, or read anew (then the
   caller releases it). *image NULL: its file is not what it was. */
static bool fetch(pool *p, int i, tr_image *read, const tr_image **image, tr_error *err) {
    const tr_photo *photo = &p->photos[i];
    tr_error why = {0};
    *read = (tr_image){0};
    *image = &photo->image;
    if (photo->image.px) return true;
    *image = tr_photo_file_read_again(photo->file, photo->sha256, read, &why) ? read : NULL;
    if (why.code != TR_NO_MEMORY) return true;
    *err = why;
    return false;
}

static bool judge(const tr_photo_request *request, const tr_image *image, tr_photo *photo,
                  tr_error *err) {
    return tr_photo_judge(&photo->marks, request->sheets, image, &photo->quality, err);
}

/* Decodes the photo's file, unless its image is there. *is_there: it can be looked at. */
static bool read_image(pool *p, tr_photo *photo, bool *is_there, tr_error *err) {
    tr_photo_file read;
    tr_error why = {0};
    *is_there = true;
    if (photo->image.px) {
        tr_sha256_hex(photo->image.px, bytes_of(&photo->image), photo->sha256);
        hold(p, &photo->image);
        return true;
    }
    *is_there = tr_photo_file_read(photo->file, &read, &why);
    hold(p, &read.image);
    memcpy(photo->sha256, read.sha256, sizeof photo->sha256);
    photo->exif = read.exif;
    photo->image = read.image;
    return *is_there || refuse(p->request, photo, &why, err);
}

/* Reads a photo and takes the first look. Only running out of memory is a failure; what is wrong
   with the photo is noted in it. */
static bool look_first(pool *p, tr_marks_finder *finder, int i, tr_error *err) {
    const tr_photo_request *request = p->request;
    tr_photo *photo = &p->photos[i];
    bool is_given = photo->image.px;
    bool is_there;
    if (!read_image(p, photo, &is_there, err)) return false;
    if (!is_there) return true;
    photo->width_px = photo->image.width;
    photo->height_px = photo->image.height;
    if (!tr_photo_find_lens(request, photo)) {
        let_go(p, &photo->image);
        return true;
    }
    photo->is_readable = true;
    tr_lens lens = request->lenses[photo->lens];
    if (lens.is_unknown) {
        tr_lens_unknown(&photo->exif.camera, photo->width_px, photo->height_px, &lens);
    }
    bool ok = tr_marks_find(finder, &photo->image, &lens, TR_SEARCH_QUICK, &photo->marks, err) &&
              judge(request, &photo->image, photo, err);
    if (!is_given) put_away(p, &photo->image);
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
    tr_photo *photo = &p->photos[i];
    const int *first = p->predictions->first;
    const tr_sheet_prediction *predicted = &p->predictions->items[first[i]];
    int n = first[i + 1] - first[i];
    tr_image read;
    const tr_image *image;
    if (!photo->is_readable || is_all_seen(&photo->marks, predicted, n)) return true;
    if (!fetch(p, i, &read, &image, err)) return false;
    bool ok = !image || (tr_marks_seek(finder, image, &p->predictions->lenses[i], predicted, n,
                                       &photo->marks, err) &&
                         judge(p->request, image, photo, err));
    tr_image_release(&read);
    return ok;
}

static bool search_anew(pool *p, tr_marks_finder *finder, tr_search search, int i, tr_error *err) {
    tr_photo *photo = &p->photos[i];
    tr_image read;
    const tr_image *image;
    if (!photo->is_readable) return true;
    if (!fetch(p, i, &read, &image, err)) return false;
    bool ok = true;
    if (image) {
        tr_photo_marks_release(&photo->marks);
        ok = tr_marks_find(finder, image, &p->lenses[photo->lens], search, &photo->marks, err) &&
             judge(p->request, image, photo, err);
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
    return tr_marks_finder_new(p->request->sheets, p->request->n_sheets, err);
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
    if (kind == LOOK_AGAIN) w.workers.progress = NULL; /* it is a matter of moments */
    return tr_parallel(&w, err);
}

static bool look_at_predicted(pool *p, tr_photo_set *set, const tr_parallel_work *work,
                              tr_predictions *predictions, tr_error *err) {
    if (!tr_photo_set_predict(set, predictions, err)) return false;
    p->predictions = predictions;
    return look_at_all(p, LOOK_AGAIN, work, err);
}

/* Whether quick looks have left a needed sheet in fewer than two photos, or a photo without its
   place among the others. */
static bool is_any_missing(const tr_photo_set *set, const tr_predictions *predictions) {
    const tr_photo_request *request = &set->request;
    for (int i = 0; i < set->n_photos; i++) {
        const tr_photo *p = &set->photos[i];
        bool has_place = predictions->first[i + 1] > predictions->first[i];
        if (p->is_readable && p->marks.n_views > 0 && !has_place) return true;
    }
    for (int k = 0; k < request->n_sheets && request->is_needed; k++) {
        int n = 0;
        for (int i = 0; i < set->n_photos; i++) {
            const tr_photo_marks *m = &set->photos[i].marks;
            for (int v = 0; v < m->n_views; v++) n += m->views[v].sheet == k;
        }
        if (n < 2 && request->sheets[k].n_tags > 0 && request->is_needed[k]) return true;
    }
    return false;
}

/* The same bytes twice say nothing new, but would count twice. */
static void refuse_repeats(tr_photo_set *set) {
    for (int i = 0; i < set->n_photos; i++) {
        tr_photo *a = &set->photos[set->order[i]];
        for (int k = 0; k < i && a->is_readable; k++) {
            const tr_photo *b = &set->photos[set->order[k]];
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
static bool look_through_found_lens(pool *p, tr_photo_set *set, look_kind kind,
                                    const tr_parallel_work *work, tr_error *err) {
    return !set->is_lens_solved ||
           (look_at_all(p, kind, work, err) && tr_photo_set_find_lens(set, err));
}

/* Quick looks first; what they find together predicts the rest. Only where a sheet is still missing
   is there a search at full resolution, which takes ten times as long. */
bool tr_photo_set_look(tr_photo_set *set, const tr_workers *workers, tr_error *err) {
    pool p = {.request = &set->request, .photos = set->photos, .n = set->n_photos};
    tr_parallel_work work = {.n_items = set->n_photos,
                             .workers = *workers,
                             .begin = make_finder,
                             .end = free_finder,
                             .work = look,
                             .task = &p};
    tr_predictions predictions = {0};
    bool ok = false;
    if (pthread_mutex_init(&p.mutex, NULL) != 0) return tr_fail_memory(err);
    if (!look_at_all(&p, LOOK_FIRST, &work, err) || !tr_photo_set_sort(set, err)) goto out;
    refuse_repeats(set);
    p.lenses = set->request.lenses;
    if (p.lenses->is_unknown) {
        if (!tr_photo_set_find_lens(set, err)) goto out;
        p.lenses = &set->solved_lens;
        if (!look_through_found_lens(&p, set, LOOK_ANEW, &work, err)) goto out;
    }
    if (!look_at_predicted(&p, set, &work, &predictions, err)) goto out;
    if (is_any_missing(set, &predictions)) {
        tr_predictions_release(&predictions);
        if (!look_at_all(&p, LOOK_THOROUGH, &work, err)) goto out;
        /* More marks may tell what fewer did not. */
        if (set->request.lenses[0].is_unknown && !set->is_lens_solved &&
            (!tr_photo_set_find_lens(set, err) ||
             !look_through_found_lens(&p, set, LOOK_THOROUGH, &work, err))) {
            goto out;
        }
        if (!look_at_predicted(&p, set, &work, &predictions, err)) goto out;
    }
    ok = true;
out:
    tr_predictions_release(&predictions);
    pthread_mutex_destroy(&p.mutex);
    return ok;
}
