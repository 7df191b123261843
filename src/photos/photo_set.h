/* The photos of one measurement: what is sought in them, what each of them is, and which marks were
   found. A check, a survey and a simulated job each hold a set.

     tr_photo_set_init    says what is sought
     tr_photo_set_add     adds a photo: by its file, as an image in memory, or with known marks
     tr_photo_set_read    adds files, looks at all photos of the set, and says what is wrong
     tr_photo_set_input   gives the marks to the network
     tr_photo_set_count   takes from the solved network what became of each photo. */
#ifndef TR_PHOTOS_PHOTO_SET_H
#define TR_PHOTOS_PHOTO_SET_H

#include "adjust/adjust.h"
#include "base/error.h"
#include "base/parallel.h"
#include "base/finding.h"
#include "geom/geom.h"
#include "image/exif.h"
#include "image/image.h"
#include "job/job.h"
#include "lens/lens.h"
#include "marks/marks.h"
#include "photos/quality.h"
#include "sheet/sheet.h"

enum { TR_PHOTO_NAME_SIZE = 128 };

/* Whether a photo was taken with one of the lenses. */
typedef enum {
    TR_PHOTO_FITS,        /* or it was not looked at */
    TR_PHOTO_OTHER_LENS,  /* EXIF tells another camera, focal length or zoom */
    TR_PHOTO_OTHER_SIZE,  /* it has another size */
    TR_PHOTO_LENS_UNCLEAR /* it fits more than one */
} tr_photo_fit;

typedef struct {
    char *file;                    /* as it was named; owned */
    char name[TR_PHOTO_NAME_SIZE]; /* as messages name it: photos/order.h */
    char sha256[65]; /* of the file's bytes; "" where it could not be read. Of an image in memory:
                        of its pixels */
    int width_px, height_px;
    bool is_readable;    /* it is a photo that fits a lens: its marks were sought */
    bool is_used;        /* its marks are in the network */
    tr_findings why_not; /* where it is not used: one, the reason; owned */
    tr_exif exif;
    tr_photo_fit fit;
    int lens;       /* of the request, where is_readable */
    int position;   /* of the vehicle, as it was taken: tr_photo_request */
    tr_image image; /* as it was measured; empty where there was no room to keep it */
    tr_photo_marks marks;
    tr_photo_quality quality;
    /* Of the marks used in the network; a tag counts as four. */
    int n_marks;
    double rms_px; /* root mean square distance of a mark from its place in the solved network, of
                      all marks of it that were found, those left out included */
    tr_lens own_lens;            /* where is_used: its lens as it was in this photo */
    tr_pose camera_from_vehicle; /* where is_used, in a check */
} tr_photo;

/* What is sought, and by which lenses. Everything is borrowed. */
typedef struct {
    /* At least one; a lone one may be unknown. The last n_only_named of them serve those photos
       alone that name them. */
    const tr_lens *lenses;
    int n_lenses, n_only_named;
    const tr_sheet *sheets;
    int n_sheets;
    /* Of each sheet: there is no result without it, so that it is worth a long search. NULL: none
       is. */
    const bool *is_needed;
    /* The file that lists photos and what it is ("job", "survey"), or NULL; these photos, as they
       can be opened, and the lens that each of them names (-1: none; all NULL: none does). */
    const char *path, *path_is;
    char *const *named;
    const int *lens_of_named;
    int n_named;
    /* The named photos were taken in n_positions groups (at least 1; 0 is 1), between which those
       sheets were moved that do not stay. In which, and of each sheet whether it stays; NULL: all
       in one, and all do. */
    const int *position_of_named;
    const bool *stays;
    int n_positions;
} tr_photo_request;

/* All zero is a valid empty one. */
typedef struct {
    tr_photo_request request;
    tr_photo *photos; /* in the order given; owned */
    int n_photos;
    /* Indices of the photos sorted by name (then content): everything is computed in this order, so
       that the order given changes no digit of the result. Owned. NULL: not yet sorted. */
    int *order;
    /* Where the lens is unknown: what is known of it before the marks are asked, and where a first
       network finds it. No size: not yet made (photos/unknown_lens.h). */
    tr_lens unknown_lens, solved_lens;
    bool is_lens_solved; /* the marks are connected, and tell the lens */
} tr_photo_set;

void tr_photo_set_init(tr_photo_set *set, const tr_photo_request *request);
void tr_photo_set_release(tr_photo_set *set);

/* One more photo, of which nothing is known but its file, or the name that stands for one; NULL:
   memory ran out. It is the set's, and stays in its place until the next is added. Who has more of
   it than a file fills that in:
     image (taken over) and exif   an image in memory, such as a live camera's
     is_readable, lens, width_px, height_px, marks (taken over)
                                   a photo that is not to be looked at, such as a simulated one. */
tr_photo *tr_photo_set_add(tr_photo_set *set, const char *file, tr_error *err);

/* Adds n files, reads all photos of the set that have no image in memory, and measures their marks.
   A photo that cannot be read or does not fit a lens stays in the set with its reason, and a
   finding. False: there is no photo, there are more than TR_MAX_PHOTOS, or memory ran out. */
TR_MUST_USE bool tr_photo_set_read(tr_photo_set *set, char *const *files, int n,
                                   const tr_workers *workers, tr_findings *findings, tr_error *err);

/* The image of a photo that was looked at: the one that was kept, or read anew into *read, which is
   to be released in any case. *image NULL: its file is not what it was. False: memory ran out. */
TR_MUST_USE bool tr_photo_fetch(const tr_photo *photo, tr_image *read, const tr_image **image,
                                tr_error *err);

/* Where the photo that is worked on in place i stands in the list. */
static inline int tr_photo_set_at(const tr_photo_set *set, int i) {
    return set->order ? set->order[i] : i;
}

/* The lenses, with what is known of them before the marks are asked. */
static inline const tr_lens *tr_photo_set_lenses(const tr_photo_set *set) {
    return set->request.lenses[0].is_unknown ? &set->unknown_lens : set->request.lenses;
}

/* ---- for the network ---- */

/* The network's input: photo i of it is set->photos[set->order[i]]. It borrows from the set. Its
   sheets are those of the request, as they lie in the last position, and behind them those that do
   not stay, once for each earlier position. */
typedef struct {
    tr_adjust_input in;
    const tr_photo_marks **marks; /* these are owned */
    const char **names;
    int *lens_of;
    tr_sheet *sheets;
    int *print_of;
    int *network_sheet;          /* n_positions x n_sheets of the request, by rows */
    tr_photo_marks *moved_marks; /* of each photo; empty where its marks are the set's */
} tr_photo_input;

/* The network's sheet that a sheet of the request is in a position. */
static inline int tr_photo_input_sheet(const tr_photo_input *input, const tr_photo_request *request,
                                       int position, int sheet) {
    return input->network_sheet[position * request->n_sheets + sheet];
}

/* The photos are sorted. *out is to be released in any case. False: memory ran out. */
TR_MUST_USE bool tr_photo_set_input(const tr_photo_set *set, tr_photo_input *out, tr_error *err);
void tr_photo_input_release(tr_photo_input *input);

/* Fills in n_marks, rms_px, is_used and own_lens of each photo, and why_not where it is not used,
   from a solved network made of such an input. is_placed: of each observation, whether its photo
   and its sheet are in the solution. is_survey: what to call those whose marks were sought. False:
   memory ran out. */
TR_MUST_USE bool tr_photo_set_count(tr_photo_set *set, const tr_network *net, const bool *is_placed,
                                    bool is_survey, tr_error *err);

#endif
