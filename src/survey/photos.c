#include <stdlib.h>
#include <string.h>

#include "survey/rigid_groups.h"
#include "survey/survey.h"

/* Marks this far from where the file has them may hide others from the search. */
static const double MISPLACED_MM = 1.0;

/* Each pass finds more corners, until all in view are found. */
enum { MAX_PASSES = 5 };

/* ---- rigid groups ---- */

static bool is_place_known(const tr_survey_mark *m) {
    return m->has_nominal || m->is_measured;
}

static bool init_group(tr_sheet *s, const tr_sheet *like, int n_tags, int n_corners,
                       tr_error *err) {
    memcpy(s->id, like->id, sizeof s->id);
    memcpy(s->title, like->title, sizeof s->title);
    memcpy(s->tag_family, like->tag_family, sizeof s->tag_family);
    s->kind = like->kind;
    /* All rigid groups share a plane, as far as initial values and predictions go: a mat with a bar
       on it, or a board with one taped to it. */
    s->support = TR_ON_FLOOR;
    s->width_mm = like->width_mm;
    s->height_mm = like->height_mm;
    s->path = strdup(like->path ? like->path : "");
    s->tags = calloc((size_t)n_tags + 1, sizeof *s->tags);
    s->corners_mm = calloc((size_t)n_corners + 1, sizeof *s->corners_mm);
    return (s->path && s->tags && s->corners_mm) || tr_fail_memory(err);
}

static int tag_id(const tr_survey *v, tr_mark_name name) {
    const tr_stuck_tag *stuck = tr_survey_stuck(v->spec, name.sheet, name.index);
    return stuck ? stuck->id : v->spec->sheets[name.sheet].tags[name.index].id;
}

/* Where the file has a mark, with what is known of the print's scale. */
static tr_vec2 expected_place(const tr_survey *v, const tr_survey_mark *m) {
    const tr_survey_sheet *s = &v->sheets[m->name.sheet];
    if (!v->is_solved || !s->has_scale) return m->nominal_mm;
    return tr_v2(s->scale[0] * m->nominal_mm.x, s->scale[1] * m->nominal_mm.y);
}

/* A tag as far as it is known. */
static tr_tag tag_of(const tr_survey *v, const tr_survey_mark *m) {
    tr_tag tag = {.id = tag_id(v, m->name), .size_mm = m->nominal_size_mm};
    if (m->is_measured) {
        tag.centre_mm = m->at_mm;
        tag.turn_rad = m->turn_rad;
        memcpy(tag.edges_mm, m->edges_mm, sizeof tag.edges_mm);
        tag.size_mm = (m->edges_mm[0] + m->edges_mm[1]) / 2;
    } else if (m->has_nominal) {
        tag.centre_mm = expected_place(v, m);
        tag.turn_rad = m->nominal_turn_rad;
    }
    return tag;
}

static bool make_sheet_body(tr_survey *v, int sheet, tr_error *err) {
    const tr_survey_sheet *s = &v->sheets[sheet];
    tr_sheet *group = &v->group_sheets[sheet];
    int n = tr_survey_n_tags(v->spec, sheet);
    int *tags = calloc((size_t)n + 1, sizeof *tags);
    v->groups[sheet] = (tr_survey_group){.kind = TR_GROUP_SHEET, .sheet = sheet, .tags = tags};
    if (!tags) return tr_fail_memory(err);
    if (!init_group(group, &v->spec->sheets[sheet], n, v->spec->sheets[sheet].n_corners, err)) {
        return false;
    }
    for (int k = 0; k < s->n_marks; k++) {
        const tr_survey_mark *m = &v->marks[s->first_mark + k];
        if (!m->name.is_tag) {
            group->corners_mm[group->n_corners++] =
                m->is_measured ? m->at_mm : expected_place(v, m);
        } else if (is_place_known(m)) {
            tags[group->n_tags] = m->name.index;
            group->tags[group->n_tags++] = tag_of(v, m);
        }
    }
    return true;
}

/* One tag alone, about its centre. */
static bool make_tag_body(tr_survey *v, const char *family, tr_tag tag, tr_survey_group what,
                          int index, tr_error *err) {
    int number = v->n_groups++;
    tr_sheet like = {
        .kind = TR_SHEET_TAG, .width_mm = tag.size_mm, .height_mm = tag.size_mm, .id = "tag"};
    memcpy(like.tag_family, family, sizeof like.tag_family);
    what.tags = calloc(1, sizeof *what.tags);
    v->groups[number] = what;
    if (!what.tags) return tr_fail_memory(err);
    what.tags[0] = index;
    if (!init_group(&v->group_sheets[number], &like, 1, 0, err)) return false;
    v->group_sheets[number].tags[0] = tag;
    v->group_sheets[number].n_tags = 1;
    return true;
}

void tr_survey_release_groups(tr_survey *v) {
    for (int i = 0; v->groups && i < v->n_groups; i++) free(v->groups[i].tags);
    for (int i = 0; i < v->n_groups; i++) tr_sheet_release(&v->group_sheets[i]);
    free(v->groups);
    free(v->group_sheets);
    v->groups = NULL;
    v->group_sheets = NULL;
    v->n_groups = 0;
}

bool tr_survey_make_groups(tr_survey *v, tr_error *err) {
    const tr_survey_spec *spec = v->spec;
    int most = spec->n_sheets + spec->n_stuck + 2 * spec->n_bars;
    tr_survey_release_groups(v);
    v->group_sheets = calloc((size_t)most + 1, sizeof *v->group_sheets);
    v->groups = calloc((size_t)most + 1, sizeof *v->groups);
    if (!v->group_sheets || !v->groups) return tr_fail_memory(err);
    v->n_groups = spec->n_sheets;
    for (int s = 0; s < spec->n_sheets; s++) {
        if (!make_sheet_body(v, s, err)) return false;
    }
    for (int i = 0; i < v->n_marks; i++) {
        const tr_survey_mark *m = &v->marks[i];
        if (!m->name.is_tag || is_place_known(m)) continue;
        tr_survey_group what = {.kind = TR_GROUP_STUCK, .sheet = m->name.sheet};
        if (!make_tag_body(v, spec->sheets[m->name.sheet].tag_family, tag_of(v, m), what,
                           m->name.index, err)) {
            return false;
        }
    }
    for (int b = 0; b < spec->n_bars; b++) {
        for (int end = 0; end < 2; end++) {
            tr_survey_group what = {.kind = TR_GROUP_BAR, .sheet = b, .end = end};
            tr_tag tag = {.id = spec->bars[b].tag[end], .size_mm = spec->bars[b].size_mm};
            if (!make_tag_body(v, spec->bars[b].tag_family, tag, what, 0, err)) return false;
        }
    }
    return true;
}

int tr_survey_mark_of(const tr_survey *v, const tr_mark *mark) {
    const tr_survey_group *group = &v->groups[mark->sheet];
    if (group->kind == TR_GROUP_BAR) return -1;
    const tr_survey_sheet *s = &v->sheets[group->sheet];
    if (mark->kind == TR_MARK_TAG) return s->first_mark + group->tags[mark->index];
    return s->first_mark + tr_survey_n_tags(v->spec, group->sheet) + mark->index;
}

/* ---- an empty survey ---- */

static tr_survey_mark mark_of_file(const tr_survey_spec *spec, tr_mark_name name) {
    const tr_sheet *sheet = &spec->sheets[name.sheet];
    tr_survey_mark m = {.name = name};
    const tr_stuck_tag *stuck = name.is_tag ? tr_survey_stuck(spec, name.sheet, name.index) : NULL;
    if (stuck) {
        m.nominal_size_mm = stuck->size_mm;
    } else if (name.is_tag) {
        const tr_tag *tag = &sheet->tags[name.index];
        m.has_nominal = true;
        m.nominal_mm = tag->centre_mm;
        m.nominal_turn_rad = tag->turn_rad;
        m.nominal_size_mm = tag->size_mm;
    } else {
        m.has_nominal = true;
        m.nominal_mm = sheet->corners_mm[name.index];
    }
    return m;
}

/* No photo, and what is sought is the rigid groups as they are now. */
static void clear_photos(tr_survey *v) {
    const tr_survey_spec *spec = v->spec;
    tr_photo_set_release(&v->set);
    tr_findings_release(&v->findings);
    tr_photo_set_init(&v->set, &(tr_photo_request){.lenses = spec->lenses,
                                                   .n_lenses = spec->n_lenses,
                                                   .n_only_named = spec->n_only_named,
                                                   .sheets = v->group_sheets,
                                                   .n_sheets = v->n_groups,
                                                   .path = spec->path,
                                                   .path_is = "survey",
                                                   .named = spec->photos,
                                                   .lens_of_named = spec->photo_lens,
                                                   .n_named = spec->n_photos});
}

bool tr_survey_init(const tr_survey_spec *spec, tr_survey *out, tr_error *err) {
    int most = 0;
    memset(out, 0, sizeof *out);
    out->spec = spec;
    for (int s = 0; s < spec->n_sheets; s++) {
        most += tr_survey_n_tags(spec, s) + spec->sheets[s].n_corners;
    }
    out->marks = calloc((size_t)most + 1, sizeof *out->marks);
    out->sheets = calloc((size_t)spec->n_sheets + 1, sizeof *out->sheets);
    if (!out->marks || !out->sheets) return tr_fail_memory(err);
    for (int s = 0; s < spec->n_sheets; s++) {
        int n_tags = tr_survey_n_tags(spec, s);
        out->sheets[s].first_mark = out->n_marks;
        out->sheets[s].n_marks = n_tags + spec->sheets[s].n_corners;
        for (int k = 0; k < out->sheets[s].n_marks; k++) {
            bool is_tag = k < n_tags;
            tr_mark_name name = {s, is_tag, is_tag ? k : k - n_tags};
            out->marks[out->n_marks++] = mark_of_file(spec, name);
        }
    }
    if (!tr_survey_make_groups(out, err)) return false;
    clear_photos(out);
    return true;
}

void tr_survey_release(tr_survey *v) {
    for (int s = 0; v->sheets && s < v->spec->n_sheets; s++) {
        tr_sheet_release(&v->sheets[s].measured);
    }
    tr_survey_release_groups(v);
    tr_photo_set_release(&v->set);
    tr_findings_release(&v->findings);
    free(v->marks);
    free(v->sheets);
    memset(v, 0, sizeof *v);
}

/* ---- photos ---- */

bool tr_survey_photos(tr_survey *v, char *const *files, int n, const tr_workers *workers,
                      tr_error *err) {
    clear_photos(v);
    return tr_photo_set_read(&v->set, files, n, workers, &v->findings, err);
}

/* Corners of a sheet whose tags lay off were sought at wrong places, and are perhaps found from
   where the tags are now known to be. */
static bool are_tags_off(const tr_survey *v) {
    for (int i = 0; i < v->n_marks; i++) {
        const tr_survey_mark *m = &v->marks[i];
        if (!m->name.is_tag || !m->is_measured || v->spec->sheets[m->name.sheet].n_corners == 0) {
            continue;
        }
        if (!m->has_nominal) return true;
        if (tr_v2_norm(tr_v2_sub(m->at_mm, m->nominal_mm)) > MISPLACED_MM) return true;
    }
    return false;
}

/* How often corners were seen; *most: how often they could have been. */
static int count_corners(const tr_survey *v, int *most) {
    int n = 0;
    *most = 0;
    for (int i = 0; i < v->set.n_photos; i++) {
        const tr_photo_marks *marks = &v->set.photos[i].marks;
        for (int k = 0; k < marks->n_marks; k++) n += marks->marks[k].kind == TR_MARK_CORNER;
        for (int s = 0; s < v->spec->n_sheets && v->set.photos[i].is_used; s++) {
            *most += v->spec->sheets[s].n_corners;
        }
    }
    return n;
}

/* Marks on which the frame is to rest may be among those not found yet: then the frame by all
   others does, to seek them from. */
static bool solve_somehow(tr_survey *v, tr_survey_align align, tr_error *why) {
    tr_error ignored = {0};
    *why = (tr_error){0};
    if (tr_survey_solve(v, align, why)) return true;
    return why->code == TR_NO_MEASURE && align.n > 0 &&
           tr_survey_solve(v, (tr_survey_align){NULL, 0}, &ignored);
}

bool tr_survey_run(tr_survey *v, char *const *files, int n, const tr_workers *workers,
                   tr_survey_align align, tr_error *err) {
    tr_error why = {0};
    int before = -1;
    for (int pass = 0; pass < MAX_PASSES; pass++) {
        int most;
        if (pass > 0 && !tr_survey_make_groups(v, err)) return false;
        if (!tr_survey_photos(v, files, n, workers, err)) return false;
        if (!solve_somehow(v, align, &why)) break;
        int seen = count_corners(v, &most);
        if (seen <= before || seen == most || !are_tags_off(v)) break;
        before = seen;
    }
    if (why.code == TR_OK) return true;
    v->is_solved = false;
    if (err) *err = why;
    return false;
}
