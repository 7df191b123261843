/* What a survey is to measure, and what it may rely on: the survey file. Its format:
   help/survey_file.c, which is trammel-survey-file(5); that of a scale bar: help/bar.c. At least
   one bar or rule is needed: photos alone give shapes, but no sizes. */
#ifndef TR_SURVEY_SPEC_H
#define TR_SURVEY_SPEC_H

#include "base/error.h"
#include "job/job.h"
#include "sheet/sheet.h"

/* A tag stuck by hand. */
typedef struct {
    int sheet; /* index into the sheets */
    int id;
    double size_mm;
    bool is_known[2]; /* its x, its y, as far as it was said */
    tr_vec2 at_mm;
} tr_stuck_tag;

typedef struct {
    char id[64];
    char tag_family[32];
    int tag[2];
    double size_mm;
    double distance_mm, sd_mm;
} tr_bar;

/* The rules that are printed on a sheet (TR_RULE_MM), measured along its x and y. */
typedef struct {
    int sheet;
    bool is_measured[2];
    double measured_mm[2];
    double sd_mm;
} tr_rule;

/* A mark of a sheet, for aligning. */
typedef struct {
    int sheet;
    bool is_tag;
    int index; /* of all tags of the sheet (stuck ones behind the nominal), or of its corners */
} tr_mark_name;

typedef struct {
    char *path;
    char id[64];
    tr_lens lenses[TR_MAX_LENSES]; /* as of a job, as are the photos */
    int n_lenses, n_only_named;
    tr_sheet *sheets;
    int n_sheets;
    tr_stuck_tag *stuck;
    int n_stuck;
    tr_bar *bars;
    int n_bars;
    tr_rule *rules;
    int n_rules;
    char **photos;
    int *photo_lens;
    int n_photos;
} tr_survey_spec;

/* On failure err names file, line and key, and *out is empty. Beyond the single values it is
   checked that no tag (family and id) is named twice, and that every sheet named is there. */
TR_MUST_USE bool tr_survey_spec_read(const char *path, tr_survey_spec *out, tr_error *err);
void tr_survey_spec_release(tr_survey_spec *spec);

/* All tags of a sheet: the nominal ones, then those stuck on it. */
int tr_survey_n_tags(const tr_survey_spec *spec, int sheet);
/* The stuck tag that is tag `index` of a sheet; NULL for a nominal one. */
const tr_stuck_tag *tr_survey_stuck(const tr_survey_spec *spec, int sheet, int index);

/* A mark by the name that a person gives it: a tag's id ("60"), or a corner's number in its file,
   counted from 1 ("c3"); with the sheet in front ("MAT-7:c3") where several have one. */
TR_MUST_USE bool tr_survey_find_mark(const tr_survey_spec *spec, const char *name,
                                     tr_mark_name *out, tr_error *err);
/* "tag 60", "corner 3". */
void tr_survey_mark_title(const tr_survey_spec *spec, tr_mark_name mark, char *out, size_t size);

#endif
