/* How good a photo is to measure from, judged where its marks are. It tells a person what to do
   better, and changes no number of the measurement: a weak photo's marks have large covariances
   anyway. */
#ifndef TR_PHOTOS_QUALITY_H
#define TR_PHOTOS_QUALITY_H

#include "image/image.h"
#include "marks/marks.h"
#include "sheet/sheet.h"

typedef enum {
    TR_PHOTO_UNUSABLE, /* nothing can be measured in it */
    TR_PHOTO_WEAK,
    TR_PHOTO_GOOD,
} tr_photo_grade;

/* What is weak in a photo, or why nothing can be measured in it. */
typedef enum {
    TR_FLAW_NONE,
    /* unusable */
    TR_FLAW_MIRRORED,
    TR_FLAW_NO_MARK,
    TR_FLAW_TAGS_CUT, /* its tags were read, but none of them could be measured: they ... */
    TR_FLAW_TAGS_SMALL,
    TR_FLAW_TAGS_FAINT,
    TR_FLAW_TAGS_BLURRED,
    TR_FLAW_TAGS_COVERED,
    TR_FLAW_TAGS_UNSETTLED,
    /* weak */
    TR_FLAW_BLURRED,
    TR_FLAW_DIM,
    TR_FLAW_OVEREXPOSED,
    TR_FLAW_FAR,
    TR_FLAW_FLAT_VIEW,
    TR_FLAW_FEW_MARKS,
    TR_N_FLAWS
} tr_photo_flaw;

/* All zero: of a photo that was not looked at. */
typedef struct {
    tr_photo_grade grade;
    tr_photo_flaw flaw; /* the worst */
    bool has_marks;
    double sharpness_px; /* where has_marks: median blur (sigma) of the marks */
    double contrast;     /* where has_marks: median step from black to white, grey values */
    bool has_tags;
    double tag_px;           /* where has_tags: median edge of a tag */
    double cell_px;          /* where has_tags: shortest side of a cell, of the median tag */
    double overexposed_part; /* where has_tags: pixels on and around tags at the end of the scale */
    bool has_elevation;
    /* Where has_elevation: angle at which the line of sight meets the floor, at the floor sheet of
       which most is seen; 90 degrees from straight above. */
    double elevation_rad;
} tr_photo_quality;

/* Judges a photo by its marks; image: the photo. False: memory ran out. */
TR_MUST_USE bool tr_photo_judge(const tr_photo_marks *marks, const tr_sheet *sheets,
                                const tr_image *image, tr_photo_quality *out, tr_error *err);

const char *tr_photo_grade_name(tr_photo_grade grade); /* "unusable", "weak", "good" */

#endif
