#include "survey/spec.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/language.h"
#include "base/number.h"
#include "base/yaml.h"
#include "job/read.h"
#include "tags/names.h"

/* Sheets, stuck tags and the tags of bars all take a place among those that are sought. */
enum { MAX_SHEETS = 16, MAX_STUCK = 60, MAX_BARS = TR_SHEET_MAX_LENGTHS };

/* No bar and no face is larger. mm */
#define MAX_MM 100000.0

/* A rule that is measured this much off 100 mm was not measured right. mm */
#define MAX_RULE_OFF_MM 10.0

/* A length known worse than this is none. mm */
#define MAX_SD_MM 1000.0

int tr_survey_n_tags(const tr_survey_spec *spec, int sheet) {
    int n = spec->sheets[sheet].n_tags;
    for (int i = 0; i < spec->n_stuck; i++) n += spec->stuck[i].sheet == sheet;
    return n;
}

const tr_stuck_tag *tr_survey_stuck(const tr_survey_spec *spec, int sheet, int index) {
    int n = spec->sheets[sheet].n_tags;
    for (int i = 0; i < spec->n_stuck; i++) {
        if (spec->stuck[i].sheet == sheet && n++ == index) return &spec->stuck[i];
    }
    return NULL;
}

/* ---- names of marks ---- */

static int count_matches(const tr_survey_spec *spec, int only_sheet, bool is_tag, long number,
                         tr_mark_name *out) {
    int n = 0;
    for (int s = 0; s < spec->n_sheets; s++) {
        if (only_sheet >= 0 && s != only_sheet) continue;
        int count = is_tag ? tr_survey_n_tags(spec, s) : spec->sheets[s].n_corners;
        for (int k = 0; k < count; k++) {
            const tr_stuck_tag *stuck = is_tag ? tr_survey_stuck(spec, s, k) : NULL;
            long its = !is_tag ? k + 1 : stuck ? stuck->id : spec->sheets[s].tags[k].id;
            if (its != number) continue;
            *out = (tr_mark_name){s, is_tag, k};
            n++;
        }
    }
    return n;
}

bool tr_survey_find_mark(const tr_survey_spec *spec, const char *name, tr_mark_name *out,
                         tr_error *err) {
    const char *colon = strrchr(name, ':');
    const char *mark = colon ? colon + 1 : name;
    int sheet = -1;
    long number;
    if (colon) {
        char id[sizeof spec->sheets->id];
        snprintf(id, sizeof id, "%.*s", (int)(colon - name), name);
        sheet = tr_sheet_find(spec->sheets, spec->n_sheets, id);
        if (sheet < 0) {
            return tr_fail(err, TR_BAD_INPUT, "'%.80s' names sheet %s, which is not in the survey",
                           name, id);
        }
    }
    bool is_tag = *mark != 'c';
    if (!tr_integer_parse(is_tag ? mark : mark + 1, &number)) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'%.80s' is not a mark; name a tag by its id (60), a corner by its place in "
                       "the file, counted from 1 (c3)",
                       name);
    }
    int n = count_matches(spec, sheet, is_tag, number, out);
    if (n == 1) return true;
    if (n > 1) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'%.80s' is a mark of several sheets; put the sheet in front, as in %s:%s",
                       name, spec->sheets[0].id, mark);
    }
    return is_tag ? tr_fail(err, TR_BAD_INPUT, "there is no tag %ld on the sheets of this survey",
                            number)
                  : tr_fail(err, TR_BAD_INPUT,
                            "there is no corner %ld on the sheets of this survey", number);
}

void tr_survey_mark_title(const tr_survey_spec *spec, tr_mark_name mark, char *out, size_t size) {
    if (!mark.is_tag) {
        snprintf(out, size, TR_N("corner %d"), mark.index + 1);
        return;
    }
    const tr_stuck_tag *stuck = tr_survey_stuck(spec, mark.sheet, mark.index);
    snprintf(out, size, TR_N("tag %d"),
             stuck ? stuck->id : spec->sheets[mark.sheet].tags[mark.index].id);
}

/* ---- reading ---- */

/* Who has a tag already: a sheet, the stuck tags before `n_stuck`, the bars before `n_bars`. */
static bool is_taken(const tr_survey_spec *spec, int n_sheets, int n_stuck, int n_bars,
                     const char *family, int id, char *who, size_t size) {
    for (int s = 0; s < n_sheets; s++) {
        const tr_sheet *sheet = &spec->sheets[s];
        if (strcmp(sheet->tag_family, family) != 0) continue;
        for (int k = 0; k < sheet->n_tags; k++) {
            snprintf(who, size, "sheet %s", sheet->id);
            if (sheet->tags[k].id == id) return true;
        }
    }
    for (int i = 0; i < n_stuck; i++) {
        const tr_stuck_tag *t = &spec->stuck[i];
        snprintf(who, size, "stuck[%d]", i);
        if (t->id == id && strcmp(spec->sheets[t->sheet].tag_family, family) == 0) return true;
    }
    for (int i = 0; i < n_bars; i++) {
        const tr_bar *b = &spec->bars[i];
        snprintf(who, size, "bar %s", b->id);
        if ((b->tag[0] == id || b->tag[1] == id) && strcmp(b->tag_family, family) == 0) return true;
    }
    return false;
}

static void check_tag(tr_yaml y, const tr_survey_spec *spec, int n_sheets, int n_stuck, int n_bars,
                      const char *family, int id) {
    char who[96];
    if (!tr_yaml_has(y) ||
        !is_taken(spec, n_sheets, n_stuck, n_bars, family, id, who, sizeof who)) {
        return;
    }
    tr_yaml_fail(y, "has tag %d of %s, which %s has already; each tag needs an id of its own", id,
                 family, who);
}

static void read_sheets(tr_yaml y, tr_survey_spec *spec) {
    spec->sheets = tr_yaml_array(y, 1, MAX_SHEETS, sizeof *spec->sheets, &spec->n_sheets);
    for (int i = 0; i < spec->n_sheets && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        const tr_sheet *sheet = &spec->sheets[i];
        tr_read_sheet(item, tr_sheet_read_bare, spec->sheets, i);
        if (sheet->n_discs > 0) {
            tr_yaml_fail(item, "has discs, which no survey measures; leave them out of %s",
                         sheet->path);
        }
        for (int k = 0; k < sheet->n_tags; k++) {
            check_tag(item, spec, i, 0, 0, sheet->tag_family, sheet->tags[k].id);
        }
    }
}

static void read_stuck(tr_yaml y, tr_survey_spec *spec) {
    if (!tr_yaml_has(y)) return;
    spec->stuck = tr_yaml_array(y, 0, MAX_STUCK, sizeof *spec->stuck, &spec->n_stuck);
    for (int i = 0; i < spec->n_stuck && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_stuck_tag *t = &spec->stuck[i];
        tr_yaml_keys(item, "sheet id size_mm x_mm? y_mm?");
        t->sheet = tr_read_sheet_name(tr_yaml_at(item, "sheet"), spec->sheets, spec->n_sheets);
        if (!tr_yaml_has(item)) return;
        const char *family = spec->sheets[t->sheet].tag_family;
        t->id = tr_yaml_integer(tr_yaml_at(item, "id"), 0, tr_tag_family_size(family) - 1);
        t->size_mm = tr_yaml_size(tr_yaml_at(item, "size_mm"), MAX_MM);
        t->is_known[0] = tr_yaml_has(tr_yaml_at(item, "x_mm"));
        t->is_known[1] = tr_yaml_has(tr_yaml_at(item, "y_mm"));
        t->at_mm.x = tr_yaml_number(tr_yaml_at(item, "x_mm"), -MAX_MM, MAX_MM);
        t->at_mm.y = tr_yaml_number(tr_yaml_at(item, "y_mm"), -MAX_MM, MAX_MM);
        check_tag(item, spec, spec->n_sheets, i, 0, family, t->id);
    }
}

static void read_bar_keys(tr_yaml y, tr_bar *bar) {
    tr_yaml_text(tr_yaml_at(y, "bar"), bar->id, sizeof bar->id);
    tr_yaml_text(tr_yaml_at(y, "tag_family"), bar->tag_family, sizeof bar->tag_family);
    if (!tr_yaml_has(y)) return;
    int size = tr_tag_family_size(bar->tag_family);
    if (size == 0) {
        tr_yaml_fail(tr_yaml_at(y, "tag_family"),
                     "is %s, which is not known here; tag36h11 is the usual one", bar->tag_family);
    }
    tr_yaml_integers(tr_yaml_at(y, "tags"), bar->tag, 2, 0, size - 1);
    bar->size_mm = tr_yaml_size(tr_yaml_at(y, "size_mm"), MAX_MM);
    bar->distance_mm = tr_yaml_size(tr_yaml_at(y, "distance_mm"), MAX_MM);
    bar->sd_mm = tr_yaml_size(tr_yaml_at(y, "sd_mm"), MAX_SD_MM);
    if (tr_yaml_has(y) && bar->tag[0] == bar->tag[1]) {
        tr_yaml_fail(tr_yaml_at(y, "tags"), "are the same tag twice; a bar has two");
    }
    if (tr_yaml_has(y) && bar->distance_mm < bar->size_mm) {
        tr_yaml_fail(tr_yaml_at(y, "distance_mm"),
                     "is less than size_mm: the tags would lie over each other; give the distance "
                     "of their centres");
    }
}

#define BAR_KEYS "bar tag_family tags size_mm distance_mm sd_mm"

static bool read_bar_file(const char *path, tr_bar *bar, tr_error *err) {
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, BAR_KEYS);
    read_bar_keys(y, bar);
    return tr_yaml_close(y, err);
}

static void read_bars(tr_yaml y, tr_survey_spec *spec) {
    if (!tr_yaml_has(y)) return;
    spec->bars = tr_yaml_array(y, 0, MAX_BARS, sizeof *spec->bars, &spec->n_bars);
    for (int i = 0; i < spec->n_bars && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_bar *bar = &spec->bars[i];
        tr_yaml_keys(item, "file? bar? tag_family? tags? size_mm? distance_mm? sd_mm?");
        tr_yaml file = tr_yaml_at(item, "file");
        if (tr_yaml_has(file)) {
            tr_error cause = {0};
            char *path = tr_yaml_path(file);
            tr_yaml_keys(item, "file");
            if (path && !read_bar_file(path, bar, &cause)) tr_yaml_fail_inside(file, &cause);
            free(path);
        } else {
            tr_yaml_keys(item, BAR_KEYS);
            read_bar_keys(item, bar);
        }
        for (int j = 0; j < i && tr_yaml_has(item); j++) {
            if (strcmp(spec->bars[j].id, bar->id) != 0) continue;
            tr_yaml_fail(item, "is bar %s, as is bars[%d]; leave one out", bar->id, j);
        }
        for (int k = 0; k < 2; k++) {
            check_tag(item, spec, spec->n_sheets, spec->n_stuck, i, bar->tag_family, bar->tag[k]);
        }
    }
}

static void read_rules(tr_yaml y, tr_survey_spec *spec) {
    if (!tr_yaml_has(y)) return;
    spec->rules = tr_yaml_array(y, 0, MAX_SHEETS, sizeof *spec->rules, &spec->n_rules);
    for (int i = 0; i < spec->n_rules && tr_yaml_has(y); i++) {
        static const char *const KEYS[2] = {"x_mm", "y_mm"};
        tr_yaml item = tr_yaml_item(y, i);
        tr_rule *rule = &spec->rules[i];
        tr_yaml_keys(item, "sheet x_mm? y_mm? sd_mm");
        rule->sheet = tr_read_sheet_name(tr_yaml_at(item, "sheet"), spec->sheets, spec->n_sheets);
        rule->sd_mm = tr_yaml_size(tr_yaml_at(item, "sd_mm"), MAX_SD_MM);
        for (int k = 0; k < 2; k++) {
            tr_yaml value = tr_yaml_at(item, KEYS[k]);
            rule->is_measured[k] = tr_yaml_has(value);
            if (!rule->is_measured[k]) continue;
            rule->measured_mm[k] =
                tr_yaml_number(value, TR_RULE_MM - MAX_RULE_OFF_MM, TR_RULE_MM + MAX_RULE_OFF_MM);
        }
        if (tr_yaml_has(item) && !rule->is_measured[0] && !rule->is_measured[1]) {
            tr_yaml_fail(item, "has neither x_mm nor y_mm; give what the steel rule measures of "
                               "the printed 100 mm");
        }
        for (int j = 0; j < i && tr_yaml_has(item); j++) {
            if (spec->rules[j].sheet != rule->sheet) continue;
            tr_yaml_fail(item, "is of the same sheet as rules[%d]; put both in one", j);
        }
    }
}

static void check_tags_of_sheets(tr_yaml y, const tr_survey_spec *spec) {
    for (int s = 0; s < spec->n_sheets && tr_yaml_has(y); s++) {
        if (tr_survey_n_tags(spec, s) > 0) continue;
        tr_yaml_fail(tr_yaml_item(tr_yaml_at(y, "sheets"), s),
                     "has no tags; list those stuck on it under 'stuck'");
    }
    if (tr_yaml_has(y) && spec->n_bars + spec->n_rules == 0) {
        tr_yaml_fail(y, "names no known length: photos alone give shapes, but no sizes; add a "
                        "scale bar under 'bars', or the printed rule, measured by hand, under "
                        "'rules'");
    }
}

bool tr_survey_spec_read(const char *path, tr_survey_spec *out, tr_error *err) {
    tr_survey_spec spec = {0};
    tr_shots shots;
    *out = spec;
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "survey lens sheets stuck? bars? rules? photos?");
    tr_yaml_text(tr_yaml_at(y, "survey"), spec.id, sizeof spec.id);
    tr_read_shots(y, &shots);
    if (shots.n_lenses > 0 && shots.lenses[0].is_unknown) {
        tr_yaml_fail(tr_yaml_at(y, "lens"),
                     "is unknown, but a survey needs a lens that is known: what is wrong with the "
                     "lens would go "
                     "into the sheet's file; calibrate it with 'trammel lens'");
    }
    memcpy(spec.lenses, shots.lenses, sizeof spec.lenses);
    spec.n_lenses = shots.n_lenses;
    spec.n_only_named = shots.n_only_named;
    spec.photos = shots.photos;
    spec.photo_lens = shots.photo_lens;
    free(shots.photo_position); /* a survey has none */
    spec.n_photos = shots.n_photos;
    read_sheets(tr_yaml_at(y, "sheets"), &spec);
    read_stuck(tr_yaml_at(y, "stuck"), &spec);
    read_bars(tr_yaml_at(y, "bars"), &spec);
    read_rules(tr_yaml_at(y, "rules"), &spec);
    check_tags_of_sheets(y, &spec);
    spec.path = tr_path_beside("", path);
    if (!spec.path) tr_yaml_fail_memory(y);
    if (!tr_yaml_close(y, err)) {
        tr_survey_spec_release(&spec);
        return false;
    }
    *out = spec;
    return true;
}

void tr_survey_spec_release(tr_survey_spec *spec) {
    for (int i = 0; i < spec->n_sheets; i++) tr_sheet_release(&spec->sheets[i]);
    for (int i = 0; i < spec->n_photos; i++) free(spec->photos[i]);
    free(spec->path);
    free(spec->sheets);
    free(spec->stuck);
    free(spec->bars);
    free(spec->rules);
    free(spec->photos);
    free(spec->photo_lens);
    *spec = (tr_survey_spec){0};
}
