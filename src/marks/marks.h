/* The marks of one photo: which tags, checker corners and discs of the given sheets are seen, and
   where, each with its covariance. Tags are found by libapriltag, which only says which tag lies
   roughly where; every place is then measured anew at full resolution (tag.h, checker.h, disc.h).
   Where a sheet was found, its other marks are predicted from a first pose and measured too.
 */
#ifndef TR_MARKS_MARKS_H
#define TR_MARKS_MARKS_H

#include "base/error.h"
#include "geom/geom.h"
#include "image/image.h"
#include "lens/lens.h"
#include "lens/planar.h"
#include "marks/tag.h"
#include "sheet/sheet.h"

typedef enum { TR_MARK_TAG, TR_MARK_CORNER, TR_MARK_DISC } tr_mark_kind;

typedef struct {
    tr_mark_kind kind;
    int sheet;    /* index into the sheets given */
    int index;    /* of the tag, corner or disc on its sheet */
    int n_points; /* 4, or 1: of a disc, where its centre is seen */
    int n_cells;  /* of a tag, along an edge of the square of its corners */
    tr_vec2 p_sheet_mm[4];
    tr_vec2 uv_px[4];
    double covariance[64]; /* of u0 v0 u1 v1 ..., px^2: 2n x 2n, row by row */
    double sigma_px;       /* blur */
    double contrast;       /* black to white, grey values */
} tr_mark;

/* The number of a mark on its sheet, tags, corners and discs counted through. */
static inline int tr_mark_number(const tr_sheet *sheet, const tr_mark *mark) {
    int before = mark->kind == TR_MARK_TAG ? 0 : sheet->n_tags;
    if (mark->kind == TR_MARK_DISC) before += sheet->n_corners;
    return before + mark->index;
}

/* A tag that belongs to none of the sheets, or that was read but could not be measured. */
typedef struct {
    char family[32];
    int id;
    tr_vec2 centre_px;
    bool is_foreign;  /* of none of the sheets */
    bool is_repeated; /* of a sheet, but seen more than once in this photo; none of them is used */
    tr_tag_outcome why; /* where it is neither: why it was not measured */
} tr_stray_tag;

/* Where a sheet lies as this photo alone has it: initial values for the network. */
typedef struct {
    int sheet;
    tr_planar_pose pose[2];
    int n_poses; /* 1 or 2, best first */
    int n_points;
} tr_sheet_view;

/* A tag as libapriltag saw it, px of the photo: which one lies roughly where. */
typedef struct {
    int family; /* of the finder's */
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

typedef struct {
    tr_detections seen;  /* from which the marks were measured */
    int searched_factor; /* they were sought on a copy that was shrunk by this */
    tr_mark *marks;
    int n_marks;
    tr_stray_tag *strays;
    int n_strays;
    tr_sheet_view *views; /* one a sheet that was found */
    int n_views;
    bool is_mirrored; /* no tag was found, but the mirrored photo shows some */
} tr_photo_marks;

/* The detector of one thread: libapriltag's, set up for the families that the sheets use. */
typedef struct tr_marks_finder tr_marks_finder;
/* NULL: err is set. The sheets are borrowed and must outlive the finder. */
tr_marks_finder *tr_marks_finder_new(const tr_sheet *sheets, int n_sheets, tr_error *err);
void tr_marks_finder_free(tr_marks_finder *finder);

/* Finds and measures the marks, by a quick search: on a small copy of the photo, and on one twice
   as large where no tag of the sheets is seen on it. That there are none is no failure. False:
   memory ran out. */
TR_MUST_USE bool tr_marks_find(tr_marks_finder *finder, const tr_image *image, const tr_lens *lens,
                               tr_photo_marks *out, tr_error *err);

/* By how much the photo was shrunk for the quick search. */
int tr_marks_quick_factor(const tr_image *image);

/* Goes on with the search of tr_marks_find (same finder's sheets, same photo) on a copy that is
   shrunk less or, with factor 1, on the photo itself, in a part of it. Where it shows more tags of
   the sheets than were measured, all marks are measured anew: *has_more. Those that tr_marks_seek
   had added are then gone. Time, in times of decoding the photo: the whole of it at half its size
   0.9, at full size 3.5. */
TR_MUST_USE bool tr_marks_search(tr_marks_finder *finder, const tr_image *image,
                                 const tr_lens *lens, int factor, tr_window part,
                                 tr_photo_marks *marks, bool *has_more, tr_error *err);

/* Measures all marks anew, from the tags that were seen, through another lens; as tr_marks_find
   would. */
TR_MUST_USE bool tr_marks_measure(tr_marks_finder *finder, const tr_image *image,
                                  const tr_lens *lens, tr_photo_marks *marks, tr_error *err);

/* Where a sheet must be in a photo, as other photos tell. */
typedef struct {
    int sheet;
    tr_pose camera_from_sheet;
} tr_sheet_prediction;

/* Measures the marks of predicted sheets that tr_marks_find did not see in this photo (same
   finder's sheets, same photo), and adds them to marks. A tag that is not just where it must be is
   sought nearby, since it may have been moved. */
TR_MUST_USE bool tr_marks_seek(tr_marks_finder *finder, const tr_image *image, const tr_lens *lens,
                               const tr_sheet_prediction *predictions, int n, tr_photo_marks *marks,
                               tr_error *err);
/* Measures the corners and discs of a predicted sheet just where they must be, and adds those that
   are there and that marks (of this photo, or all zero) has not: for sheets without tags, which no
   search finds. No view comes of it: the prediction is better. False: memory ran out. */
TR_MUST_USE bool tr_marks_add_artwork(const tr_sheet *sheets, int n_sheets, const tr_image *image,
                                      const tr_lens *lens, const tr_sheet_prediction *prediction,
                                      tr_photo_marks *marks, tr_error *err);
/* Finds anew where the sheets that were seen lie in the photo, by another lens, from their marks as
   they are. False: memory ran out. */
TR_MUST_USE bool tr_marks_place(const tr_sheet *sheets, int n_sheets, const tr_lens *lens,
                                tr_photo_marks *marks, tr_error *err);
void tr_photo_marks_release(tr_photo_marks *marks);

#endif
