/* Seeing tags: libapriltag says which tag lies roughly where, in a photo or in a part of it. It is
   no measurement. Private to marks. */
#ifndef TR_MARKS_FINDER_H
#define TR_MARKS_FINDER_H

#include "marks/marks.h"

struct apriltag_family;

/* A tag as libapriltag saw it, px of the photo. */
typedef struct {
    int family; /* index into the finder's */
    int id;
    tr_vec2 corner_px[4]; /* order of tr_tag_corner */
} tr_detection;

/* Owned by the caller, who frees items. */
typedef struct {
    tr_detection *items;
    int n, capacity;
} tr_detections;

/* A part of a photo: columns u0 .. u1 - 1, rows v0 .. v1 - 1. */
typedef struct {
    int u0, v0, u1, v1;
} tr_window;

/* The families of a finder's sheets; -1 where none has that name. */
int tr_finder_family(const tr_marks_finder *f, const char *name);
const struct apriltag_family *tr_finder_codes(const tr_marks_finder *f, int family);
const char *tr_finder_family_name(const tr_marks_finder *f, int family);
const tr_sheet *tr_finder_sheets(const tr_marks_finder *f, int *n_sheets);

/* The sheet and the tag on it that a detection shows; false where it belongs to none. */
bool tr_finder_identify(const tr_marks_finder *f, const tr_detection *t, int *sheet, int *tag);

/* By how much a photo is shrunk for a quick search. */
int tr_finder_quick_factor(const tr_image *image);

/* Adds what is seen in the photo shrunk by the factor (1: as it is), but for what an earlier pass
   saw at the same place. */
TR_MUST_USE bool tr_finder_see(tr_marks_finder *f, const tr_image *image, int factor,
                               tr_detections *out, tr_error *err);
/* The same in a part of the photo, at full scale. */
TR_MUST_USE bool tr_finder_see_in(tr_marks_finder *f, const tr_image *image, tr_window window,
                                  tr_detections *out, tr_error *err);

#endif
