/* A survey measures a printed sheet's own marks: from photos of the sheet with at least one known
   length in view to a sheet file with measured places and their covariance.

   The network of a check with other unknowns: the places of the marks are free (a tag is a rigid
   rectangle with place, height, turn and two edges, a corner a point), the sheets' poses too.
   Photos and lengths leave each sheet's x, y and turn open, so three coordinates of marks are held
   while solving (minimal constraints), and the result is brought to its datum afterwards (datum.h).
   Heights carry a weak prior about the sheet's plane. Free networks: Cooper, Control surveys in
   civil engineering, 1987, ch. 7; Luhmann, Robson, Kyle, Boehm, Close-range photogrammetry and 3D
   imaging, 3rd ed. 2019, sec. 4.4.3.

   Like a check it has two steps, so that simulated marks can take the place of photos:
     tr_survey_photos   reads the photos and finds the marks
     tr_survey_solve    measures
   tr_survey_run does both; where it then knows better where marks are, it seeks those that were
   missed once more. The same input gives the same result to the last bit. */
#ifndef TR_SURVEY_SURVEY_H
#define TR_SURVEY_SURVEY_H

#include "adjust/adjust.h"
#include "diagnose/sheet_condition.h"
#include "base/error.h"
#include "base/finding.h"
#include "base/parallel.h"
#include "photos/photo_set.h"
#include "survey/datum.h"
#include "survey/spec.h"

/* One mark. u95: expanded, k = 2, in the sheet's datum, the scale's share included. */
typedef struct {
    tr_mark_name name;
    bool has_nominal;                         /* the sheet's file gives its place */
    tr_vec2 nominal_mm;                       /* where has_nominal */
    double nominal_turn_rad, nominal_size_mm; /* of a tag; a stuck one has a size only */
    int n_photos;                             /* in which it was measured */
    bool is_measured;
    bool is_datum; /* the frame rests on it */
    tr_vec2 at_mm;
    double turn_rad, edges_mm[2]; /* of a tag */
    double u95_mm[2], u95_turn_rad, u95_edges_mm[2];
} tr_survey_mark;

typedef struct {
    int first_mark, n_marks; /* in the survey's list: all tags, then all corners */
    tr_sheet measured;       /* of the measured marks; owned */
    bool is_aligned;         /* the frame rests on marks that were named */
    tr_datum datum;
    /* The print's scale along x and y, over the marks of the file: 0.996 is 4 mm in a metre too
       small. Marks that lie off by themselves count little. */
    bool has_scale;
    double scale[2], scale_u95[2];
    tr_sheet_condition condition; /* its flatness */
} tr_survey_sheet;

/* A known length: a bar, or a rule along one axis. */
typedef struct {
    char title[96];  /* "bar BAR-1", "the rule of MAT-7 along x" */
    char id[64];     /* for files */
    int bar;         /* of the spec; -1: it is a rule ... */
    int sheet, axis; /* ... of this sheet, along x (0) or y (1) */
    bool is_used;
    double stated_mm, sd_mm; /* between two marks */
    double measured_mm;      /* by all lengths together */
    /* (measured - stated) over its standard deviation; 0 where there is no other length to compare
       with. Baarda, A testing procedure for use in geodetic networks, 1968 (w-test). */
    double w;
    double by_others_mm; /* what the other lengths make of it; 0 where there is none */
} tr_survey_length;

enum { TR_SURVEY_MAX_LENGTHS = TR_SHEET_MAX_LENGTHS + 32 };

/* A rigid group: marks whose places to each other are known, sought in the photos as one sheet. */
typedef struct {
    enum { TR_GROUP_SHEET, TR_GROUP_STUCK, TR_GROUP_BAR } kind;
    int sheet; /* of the spec; a bar's: the bar */
    int end;   /* of a bar: 0, 1 */
    int *tags; /* which of all tags of the sheet each of the group's is; owned */
} tr_survey_group;

typedef struct {
    const tr_survey_spec *spec; /* borrowed */
    tr_sheet *group_sheets;     /* what is sought in the photos; owned, as are their contents */
    int n_groups;
    tr_survey_group *groups; /* what each of them is */
    tr_photo_set set;        /* the photos; it seeks the rigid groups */
    tr_findings findings;
    tr_survey_mark *marks;
    int n_marks;
    tr_survey_sheet *sheets; /* one a sheet of the spec */
    tr_survey_length lengths[TR_SURVEY_MAX_LENGTHS];
    int n_lengths;
    double scale_sd; /* relative, of the lengths' scale */
    double variance_factor;
    int degrees_of_freedom;
    int n_rejected; /* marks in photos that contradict the others */
    int n_used;     /* photos */
    bool is_solved;
} tr_survey;

/* Marks on which the sheets' frames are to rest; none of a sheet: all its marks of known place. Two
   marks of unknown place lie on the centre line x = 0, the second above the first, the origin
   midway.
   */
typedef struct {
    const tr_mark_name *marks;
    int n;
} tr_survey_align;

/* Makes an empty survey: what is to be sought, and no photo yet. *out is to be released in any
 * case.
 */
TR_MUST_USE bool tr_survey_init(const tr_survey_spec *spec, tr_survey *out, tr_error *err);
void tr_survey_release(tr_survey *v);

/* Reads the photos and measures the marks of the rigid groups (tr_photo_set_read). */
TR_MUST_USE bool tr_survey_photos(tr_survey *v, char *const *files, int n,
                                  const tr_workers *workers, tr_error *err);

/* From the photos' marks to the result. TR_NO_MEASURE, with a sentence on what to do, where nothing
   can be measured, or where the known lengths contradict each other; v keeps photos, findings
   and, in the latter case, the lengths. */
TR_MUST_USE bool tr_survey_solve(tr_survey *v, tr_survey_align align, tr_error *err);

/* All of it. */
TR_MUST_USE bool tr_survey_run(tr_survey *v, char *const *files, int n, const tr_workers *workers,
                               tr_survey_align align, tr_error *err);

#endif
