#include "marks/finder.h"

#include <stdlib.h>
#include <string.h>

#include <apriltag/apriltag.h>

#include "base/median.h"
#include "tags/family.h"

/* libapriltag 3.3.0 can crash on images of few pixels (after shrinking). */
static const int MIN_SIDE_PX = 64;
/* Tags are sought first on the photo shrunk until its shorter side has about this many pixels:
   there near and middling tags are found in a small part of the time, and they tell where the
   others are. */
static const int QUICK_SIDE_PX = 750;
enum { MAX_FACTOR = 16 };
/* How many wrong bits of a code libapriltag is to correct. It lists all codes with that many wrong
   bits; for two this takes 26 ms and 13 MB a thread, and tags that damaged cannot be measured. */
enum { BITS_TO_CORRECT = 1 };
/* Grey values between the darkest and the lightest of some 12 x 12 pixels: what has less is no tag
   that could be measured (tag.c). libapriltag's own 5 is less than a photo's noise, and most of its
   time then goes into noise. */
enum { LEAST_CONTRAST = 12 };
/* Of a search at full size: the contrast of the photo's even parts times this, but no more than
   what a tag surely has. With noise of 2 grey values they have 11, and three times as fast as with
   12 is what is done with 16. */
static const double EVEN_FACTOR = 1.5;
enum { MOST_LEAST_CONTRAST = 20 };
/* The even parts: the median of squares of that many pixels, so many along each side. */
enum { SQUARE_PX = 12, N_SQUARES = 32 };

typedef struct {
    apriltag_family_t *codes;
    const char *name;
} used_family;

struct tr_marks_finder {
    const tr_sheet *sheets;
    int n_sheets;
    apriltag_detector_t *detector;
    used_family *families;
    int n_families;
};

tr_marks_finder *tr_marks_finder_new(const tr_sheet *sheets, int n_sheets, tr_error *err) {
    tr_marks_finder *f = calloc(1, sizeof *f);
    if (!f) goto no_memory;
    f->sheets = sheets;
    f->n_sheets = n_sheets;
    f->families = calloc((size_t)n_sheets + 1, sizeof *f->families);
    f->detector = apriltag_detector_create();
    if (!f->families || !f->detector) goto no_memory;
    f->detector->nthreads = 1;
    f->detector->quad_decimate = 1;
    f->detector->qtp.min_white_black_diff = LEAST_CONTRAST;
    for (int i = 0; i < n_sheets; i++) {
        if (sheets[i].n_tags == 0 || tr_finder_family(f, sheets[i].tag_family) >= 0) continue;
        apriltag_family_t *codes = tr_tag_family_new(sheets[i].tag_family, err);
        if (!codes) goto fail;
        f->families[f->n_families++] = (used_family){codes, sheets[i].tag_family};
        apriltag_detector_add_family_bits(f->detector, codes, BITS_TO_CORRECT);
        if (!codes->impl) goto no_memory; /* the table of its codes */
    }
    return f;
no_memory:
    tr_fail_memory(err);
fail:
    tr_marks_finder_free(f);
    return NULL;
}

void tr_marks_finder_free(tr_marks_finder *f) {
    if (!f) return;
    if (f->detector) {
        apriltag_detector_clear_families(f->detector);
        apriltag_detector_destroy(f->detector);
    }
    for (int i = 0; i < f->n_families; i++) tr_tag_family_free(f->families[i].codes);
    free(f->families);
    free(f);
}

int tr_finder_family(const tr_marks_finder *f, const char *name) {
    for (int i = 0; i < f->n_families; i++) {
        if (strcmp(f->families[i].name, name) == 0) return i;
    }
    return -1;
}

const struct apriltag_family *tr_finder_codes(const tr_marks_finder *f, int family) {
    return f->families[family].codes;
}

const char *tr_finder_family_name(const tr_marks_finder *f, int family) {
    return f->families[family].name;
}

const tr_sheet *tr_finder_sheets(const tr_marks_finder *f, int *n_sheets) {
    *n_sheets = f->n_sheets;
    return f->sheets;
}

bool tr_finder_identify(const tr_marks_finder *f, const tr_detection *t, int *sheet, int *tag) {
    for (int i = 0; i < f->n_sheets; i++) {
        const tr_sheet *s = &f->sheets[i];
        if (s->n_tags == 0 || strcmp(s->tag_family, f->families[t->family].name) != 0) continue;
        for (int k = 0; k < s->n_tags; k++) {
            if (s->tags[k].id == t->id) {
                *sheet = i;
                *tag = k;
                return true;
            }
        }
    }
    return false;
}

/* Whether one of the first n detections, those of an earlier pass, is the same tag: closer than
   half its size. Within a pass libapriltag gives each tag once, so that two which lie close are
   two. */
static bool is_known(const tr_detections *s, int n, const tr_detection *t) {
    for (int i = 0; i < n; i++) {
        const tr_detection *o = &s->items[i];
        if (o->family != t->family || o->id != t->id) continue;
        double size = tr_v2_norm(tr_v2_sub(o->corner_px[0], o->corner_px[2]));
        if (tr_v2_norm(tr_v2_sub(o->corner_px[0], t->corner_px[0])) < size / 2) return true;
    }
    return false;
}

static bool add_detection(tr_detections *s, const tr_detection *t, tr_error *err) {
    if (s->n == s->capacity) {
        int capacity = s->capacity ? 2 * s->capacity : 32;
        tr_detection *items = realloc(s->items, (size_t)capacity * sizeof *items);
        if (!items) return tr_fail_memory(err);
        s->items = items;
        s->capacity = capacity;
    }
    s->items[s->n++] = *t;
    return true;
}

/* Pixel (u, v) of the view is (factor u + shift.x, ...) of the photo, in libapriltag's convention:
   there (0, 0) is the outer corner of the first pixel, and shrinking shifts nothing. */
static bool see_view(tr_marks_finder *f, image_u8_t *view, int factor, tr_vec2 shift,
                     tr_detections *out, tr_error *err) {
    int n_before = out->n;
    if (f->n_families == 0 || view->width < MIN_SIDE_PX || view->height < MIN_SIDE_PX) return true;
    zarray_t *found = apriltag_detector_detect(f->detector, view);
    if (!found) return tr_fail_memory(err);
    bool ok = true;
    for (int i = 0; i < zarray_size(found) && ok; i++) {
        apriltag_detection_t *d;
        zarray_get(found, i, &d);
        tr_detection t = {.family = tr_finder_family(f, d->family->name), .id = d->id};
        for (int k = 0; k < 4; k++) {
            t.corner_px[k] = tr_v2(factor * d->p[k][0] - 0.5 + shift.x, /* to ours */
                                   factor * d->p[k][1] - 0.5 + shift.y);
        }
        if (t.family >= 0 && !is_known(out, n_before, &t)) ok = add_detection(out, &t, err);
    }
    apriltag_detections_destroy(found);
    return ok;
}

int tr_marks_quick_factor(const tr_image *image) {
    int shorter = image->width < image->height ? image->width : image->height;
    int factor = shorter / QUICK_SIDE_PX;
    return factor < 1 ? 1 : factor > MAX_FACTOR ? MAX_FACTOR : factor;
}

bool tr_finder_see(tr_marks_finder *f, const tr_image *image, int factor, tr_detections *out,
                   tr_error *err) {
    if (factor == 1) {
        return tr_finder_see_in(f, image, (tr_window){0, 0, image->width, image->height}, out, err);
    }
    return tr_finder_see_part(f, image, factor, (tr_window){0, 0, image->width, image->height}, out,
                              err);
}

bool tr_finder_see_part(tr_marks_finder *f, const tr_image *image, int factor, tr_window w,
                        tr_detections *out, tr_error *err) {
    tr_image small;
    if (!tr_image_shrink(image, factor, &small, err)) return false;
    int u0 = w.u0 / factor;
    int v0 = w.v0 / factor;
    image_u8_t view = {.width = w.u1 / factor - u0,
                       .height = w.v1 / factor - v0,
                       .stride = small.width,
                       .buf = small.px + (size_t)v0 * (size_t)small.width + u0};
    bool ok = see_view(f, &view, factor, tr_v2(factor * u0, factor * v0), out, err);
    tr_image_release(&small);
    return ok;
}

bool tr_finder_see_mirrored(tr_marks_finder *f, const tr_image *image, int factor,
                            tr_detections *out, tr_error *err) {
    tr_image small;
    if (!tr_image_shrink(image, factor, &small, err)) return false;
    for (int v = 0; v < small.height; v++) {
        uint8_t *row = small.px + (size_t)v * (size_t)small.width;
        for (int a = 0, b = small.width - 1; a < b; a++, b--) {
            uint8_t left = row[a];
            row[a] = row[b];
            row[b] = left;
        }
    }
    bool ok = tr_finder_see(f, &small, 1, out, err);
    tr_image_release(&small);
    return ok;
}

bool tr_finder_see_in(tr_marks_finder *f, const tr_image *image, tr_window w, tr_detections *out,
                      tr_error *err) {
    image_u8_t view = {.width = w.u1 - w.u0,
                       .height = w.v1 - w.v0,
                       .stride = image->width,
                       .buf = image->px + (size_t)w.v0 * (size_t)image->width + w.u0};
    return see_view(f, &view, 1, tr_v2(w.u0, w.v0), out, err);
}

static int contrast_at(const tr_image *image, int u0, int v0) {
    int low = 255;
    int high = 0;
    for (int v = v0; v < v0 + SQUARE_PX; v++) {
        const uint8_t *row = tr_image_row(image, v);
        for (int u = u0; u < u0 + SQUARE_PX; u++) {
            low = row[u] < low ? row[u] : low;
            high = row[u] > high ? row[u] : high;
        }
    }
    return high - low;
}

/* The median contrast of squares of the window. */
static double contrast_of_even_parts(const tr_image *image, tr_window w) {
    double contrast[N_SQUARES * N_SQUARES];
    int n = 0;
    for (int i = 0; i < N_SQUARES; i++) {
        for (int k = 0; k < N_SQUARES; k++) {
            contrast[n++] = contrast_at(image, w.u0 + k * (w.u1 - w.u0 - SQUARE_PX) / N_SQUARES,
                                        w.v0 + i * (w.v1 - w.v0 - SQUARE_PX) / N_SQUARES);
        }
    }
    return tr_median(contrast, n);
}

bool tr_finder_search_in(tr_marks_finder *f, const tr_image *image, tr_window w, tr_detections *out,
                         tr_error *err) {
    if (w.u1 - w.u0 < MIN_SIDE_PX || w.v1 - w.v0 < MIN_SIDE_PX) return true;
    double least = EVEN_FACTOR * contrast_of_even_parts(image, w);
    f->detector->qtp.min_white_black_diff =
        (int)fmax(LEAST_CONTRAST, fmin(MOST_LEAST_CONTRAST, least));
    bool ok = tr_finder_see_in(f, image, w, out, err);
    f->detector->qtp.min_white_black_diff = LEAST_CONTRAST;
    return ok;
}
