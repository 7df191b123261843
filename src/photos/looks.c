#include "photos/looks.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/wrap.h"
#include "image/photo_file.h"
#include "lens/unknown.h"
#include "photos/order.h"
#include "photos/photo_lens.h"
#include "photos/predict.h"
#include "photos/search.h"
#include "photos/unknown_lens.h"

/* Decoded photos are kept for a second look, and for the picture, as long as all that are in memory
   fit in here; others are read again. So memory does not grow with the number of photos. */
static const size_t KEPT_BYTES = 100u * 1024u * 1024u;

/* The looks at a photo. All photos get one before any gets the next. */
typedef enum {
    LOOK_FIRST, /* reads it, and measures what a quick search finds */
    LOOK_ANEW,  /* the same through the lens that was unknown at first */
    LOOK_AGAIN, /* measures what the other photos predict */
    LOOK_CLOSER /* searches on a copy that is shrunk less, where something is missing */
} look_kind;

/* Copies are shrunk by 16 at most. */
enum { MOST_LEVELS = 4 };
/* Photos in which something is sought at a time, before it is asked whether it is found. */
enum { PHOTOS_AT_A_TIME = 2 };
/* Looks at what is predicted, before anything is searched. */
enum { PREDICTED_ROUNDS = 2 };

/* A file that was saved again, with another EXIF block, is another file, but the same picture: its
   marks are where they were, but for what rounding and another guess at the lens do. Those of two
   photos from one place scatter by some hundredths of a pixel, and no two photos have so many
   coordinates alike by chance. */
static const double SAME_PLACE_PX = 0.005;
enum { FEWEST_SAME = 2 };

/* A closer look at a photo. */
typedef struct {
    int factor; /* 0: none is taken */
    tr_window part;
    bool has_more;
} closer_look;

/* What the threads share. */
typedef struct {
    const tr_photo_request *request;
    tr_photo *photos;
    int n;
    look_kind look;
    const tr_lens *lenses; /* the request's; not of LOOK_FIRST where the lens is unknown */
    const tr_predictions *predictions; /* of LOOK_AGAIN */
    closer_look *closer;               /* of LOOK_CLOSER: one a photo ... */
    int *closer_order;                 /* ... in this order */
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
    if (!request->path || tr_file_is_there(file)) return true;
    char *path = tr_path_beside(request->path, file);
    if (!path) return tr_fail_memory(err);
    *is_beside = tr_file_is_there(path);
    free(path);
    return true;
}

/* A shell hands a pattern on as it is where no file fits it. */
static bool is_pattern(const char *file) {
    return strpbrk(file, "*?") != NULL;
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
    if (is_beside) return tr_note(BESIDE_LIST, &photo->why_not, err, request->path_is);
    return why->code == TR_NO_FILE && is_pattern(photo->file) && !tr_file_is_there(photo->file)
               ? tr_note(FITS_NO_FILE, &photo->why_not, err, photo->file)
               : tr_note(SAID, &photo->why_not, err, why->text);
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
    if (!tr_photo_find_lens(request, photo, err)) return false;
    if (!photo->is_readable) {
        let_go(p, &photo->image);
        return true;
    }
    tr_lens lens = request->lenses[photo->lens];
    if (lens.is_unknown) {
        tr_lens_unknown(&photo->exif.camera, photo->width_px, photo->height_px, &lens);
    }
    bool ok = tr_marks_find(finder, &photo->image, &lens, &photo->marks, err) &&
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
    if (!tr_photo_fetch(&p->photos[i], &read, &image, err)) return false;
    bool ok = !image || (tr_marks_seek(finder, image, &p->predictions->lenses[i], predicted, n,
                                       &photo->marks, err) &&
                         judge(p->request, image, photo, err));
    tr_image_release(&read);
    return ok;
}

static bool look_anew(pool *p, tr_marks_finder *finder, int i, tr_error *err) {
    tr_photo *photo = &p->photos[i];
    tr_image read;
    const tr_image *image;
    if (!photo->is_readable) return true;
    if (!tr_photo_fetch(&p->photos[i], &read, &image, err)) return false;
    bool ok =
        !image || (tr_marks_measure(finder, image, &p->lenses[photo->lens], &photo->marks, err) &&
                   judge(p->request, image, photo, err));
    tr_image_release(&read);
    return ok;
}

static bool look_closer(pool *p, tr_marks_finder *finder, int i, tr_error *err) {
    tr_photo *photo = &p->photos[i];
    closer_look *look = &p->closer[i];
    tr_image read;
    const tr_image *image;
    if (look->factor == 0) return true;
    if (!tr_photo_fetch(&p->photos[i], &read, &image, err)) return false;
    bool ok = !image || (tr_marks_search(finder, image, &p->lenses[photo->lens], look->factor,
                                         look->part, &photo->marks, &look->has_more, err) &&
                         (!look->has_more || judge(p->request, image, photo, err)));
    tr_image_release(&read);
    return ok;
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
                                 tr_error *) = {look_first, look_anew, look_again, look_closer};
    pool *p = task;
    return LOOKS[p->look](p, finder, i, err);
}

static bool look_at_all(pool *p, look_kind kind, const tr_parallel_work *work, tr_error *err) {
    p->look = kind;
    tr_parallel_work w = *work;
    if (kind >= LOOK_AGAIN) w.workers.progress = NULL; /* it is a matter of moments */
    return tr_parallel(&w, err);
}

static int count_marks(const tr_photo_set *set) {
    int n = 0;
    for (int i = 0; i < set->n_photos; i++) n += set->photos[i].marks.n_marks;
    return n;
}

/* Once more where that found something: a photo in which few marks were seen has its place better
   known then, and a tag whose cells are two pixels high is not found from five pixels off. */
static bool look_at_predicted(pool *p, tr_photo_set *set, const tr_parallel_work *work,
                              tr_predictions *predictions, tr_error *err) {
    bool has_more = true;
    for (int round = 0; round < PREDICTED_ROUNDS && has_more; round++) {
        int n_before = count_marks(set);
        tr_predictions_release(predictions);
        if (!tr_photo_set_predict(set, predictions, err)) return false;
        p->predictions = predictions;
        if (!look_at_all(p, LOOK_AGAIN, work, err)) return false;
        has_more = count_marks(set) > n_before;
    }
    return true;
}

static bool is_same_file(const tr_photo *a, const tr_photo *b) {
    return strcmp(a->sha256, b->sha256) == 0;
}

static bool is_at_same_place(const tr_mark *a, const tr_mark *b) {
    if (a->n_points != b->n_points) return false;
    for (int k = 0; k < a->n_points; k++) {
        if (!(fabs(a->uv_px[k].x - b->uv_px[k].x) <= SAME_PLACE_PX) ||
            !(fabs(a->uv_px[k].y - b->uv_px[k].y) <= SAME_PLACE_PX)) {
            return false;
        }
    }
    return true;
}

static const tr_mark *find_mark(const tr_photo_marks *in, const tr_mark *like) {
    for (int i = 0; i < in->n_marks; i++) {
        const tr_mark *m = &in->marks[i];
        if (m->sheet == like->sheet && m->kind == like->kind && m->index == like->index) return m;
    }
    return NULL;
}

/* All marks of the photo that shows fewer are in the other one, just where they are in it. */
static bool is_same_picture(const tr_photo *a, const tr_photo *b) {
    bool has_fewer = a->marks.n_marks <= b->marks.n_marks;
    const tr_photo_marks *few = has_fewer ? &a->marks : &b->marks;
    const tr_photo_marks *many = has_fewer ? &b->marks : &a->marks;
    if (few->n_marks < FEWEST_SAME || a->width_px != b->width_px || a->height_px != b->height_px)
        return false;
    for (int i = 0; i < few->n_marks; i++) {
        const tr_mark *other = find_mark(many, &few->marks[i]);
        if (!other || !is_at_same_place(&few->marks[i], other)) return false;
    }
    return true;
}

/* The same twice says nothing new, but would count twice: the first in the order of names is used.
 *n_refused: to which the others are added. */
static bool refuse_repeats(tr_photo_set *set, bool (*is_same)(const tr_photo *, const tr_photo *),
                           int *n_refused, tr_error *err) {
    for (int i = 0; i < set->n_photos; i++) {
        tr_photo *a = &set->photos[set->order[i]];
        for (int k = 0; k < i && a->is_readable; k++) {
            const tr_photo *b = &set->photos[set->order[k]];
            if (!b->is_readable || !is_same(a, b)) continue;
            ++*n_refused;
            a->is_readable = false;
            tr_photo_marks_release(&a->marks);
            a->quality = (tr_photo_quality){0};
            if (!tr_note(SAME_PHOTO, &a->why_not, err, b->name)) return false;
        }
    }
    return true;
}

/* Edges and predictions need more of a lens than the first guess at it: once it is found all is
   measured anew through it, and it is found anew from that. */
static bool look_for_lens(pool *p, tr_photo_set *set, const tr_parallel_work *work, tr_error *err) {
    p->lenses = set->request.lenses;
    if (!p->lenses->is_unknown) return true;
    p->lenses = &set->solved_lens;
    return tr_photo_set_find_lens(set, err) &&
           (!set->is_lens_solved ||
            (look_at_all(p, LOOK_ANEW, work, err) && tr_photo_set_find_lens(set, err)));
}

/* What was overlooked is small: photos first whose tags are smallest. */
static void order_photos(pool *p, const tr_photo_set *set) {
    for (int i = 0; i < set->n_photos; i++) {
        int at = set->order[i];
        int k = i;
        for (; k > 0; k--) {
            int before = p->closer_order[k - 1];
            if (set->photos[before].quality.tag_px <= set->photos[at].quality.tag_px) break;
            p->closer_order[k] = before;
        }
        p->closer_order[k] = at;
    }
}

/* From place *next of that order on: which photos are to be looked at next, at a copy twice as
   large as the time before for each level. False: none. */
static bool choose_photos(pool *p, const tr_photo_set *set, const tr_predictions *predictions,
                          const bool *is_missing, int level, int *next) {
    int n = 0;
    for (int i = 0; i < set->n_photos; i++) p->closer[i] = (closer_look){.factor = 0};
    while (*next < set->n_photos && n < PHOTOS_AT_A_TIME) {
        int i = p->closer_order[(*next)++];
        tr_image size = {.width = set->photos[i].width_px, .height = set->photos[i].height_px};
        int factor = tr_marks_quick_factor(&size) >> level;
        tr_window part;
        if (!tr_search_could_show(set, predictions, is_missing, i, factor, &part)) continue;
        p->closer[i] = (closer_look){.factor = factor, .part = part};
        n++;
    }
    return n > 0;
}

static bool has_any_more(const pool *p) {
    for (int i = 0; i < p->n; i++) {
        if (p->closer[i].has_more) return true;
    }
    return false;
}

/* Searches more closely, all photos before any more closely still, until nothing is missing. */
static bool search(pool *p, tr_photo_set *set, const tr_parallel_work *work,
                   tr_predictions *predictions, bool *is_missing, tr_error *err) {
    for (int level = 1; level <= MOST_LEVELS; level++) {
        int next = 0;
        order_photos(p, set);
        while (tr_search_is_due(set, predictions, is_missing) &&
               choose_photos(p, set, predictions, is_missing, level, &next)) {
            if (!look_at_all(p, LOOK_CLOSER, work, err)) return false;
            if (!has_any_more(p)) continue;
            /* More marks may tell a lens that fewer did not. */
            if (!set->is_lens_solved && !look_for_lens(p, set, work, err)) return false;
            if (!look_at_predicted(p, set, work, predictions, err)) return false;
        }
    }
    return true;
}

/* What all looks found is compared once more: the first look sees less, and may see it through a
   guess at the lens that EXIF made. A lens that was found from such photos is found anew. */
static bool refuse_same_pictures(tr_photo_set *set, tr_error *err) {
    int n_refused = 0;
    return refuse_repeats(set, is_same_picture, &n_refused, err) &&
           (n_refused == 0 || !set->request.lenses->is_unknown || tr_photo_set_find_lens(set, err));
}

/* Quick looks first; what they find together predicts the rest. Only where something that is needed
   is still missing is it sought more closely, which takes longer than all that. */
bool tr_photo_set_look(tr_photo_set *set, const tr_workers *workers, tr_error *err) {
    pool p = {.request = &set->request,
              .photos = set->photos,
              .n = set->n_photos,
              .closer = calloc((size_t)set->n_photos + 1, sizeof *p.closer),
              .closer_order = calloc((size_t)set->n_photos + 1, sizeof *p.closer_order)};
    tr_parallel_work work = {.n_items = set->n_photos,
                             .workers = *workers,
                             .begin = make_finder,
                             .end = free_finder,
                             .work = look,
                             .task = &p};
    tr_predictions predictions = {0};
    bool *is_missing = calloc((size_t)set->request.n_sheets + 1, sizeof *is_missing);
    bool has_mutex = pthread_mutex_init(&p.mutex, NULL) == 0;
    bool ok = (p.closer && p.closer_order && is_missing && has_mutex) || tr_fail_memory(err);
    int n_refused = 0;
    ok = ok && look_at_all(&p, LOOK_FIRST, &work, err) && tr_photo_set_sort(set, err) &&
         refuse_repeats(set, is_same_file, &n_refused, err) &&
         refuse_repeats(set, is_same_picture, &n_refused, err);
    ok = ok && look_for_lens(&p, set, &work, err) &&
         look_at_predicted(&p, set, &work, &predictions, err) &&
         search(&p, set, &work, &predictions, is_missing, err) && refuse_same_pictures(set, err);
    tr_predictions_release(&predictions);
    free(p.closer);
    free(p.closer_order);
    free(is_missing);
    if (has_mutex) pthread_mutex_destroy(&p.mutex);
    return ok;
}
