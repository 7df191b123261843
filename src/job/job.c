#include "job/job.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/yaml.h"
#include "job/pointers.h"
#include "job/read.h"
#include "tags/names.h"

/* A plate that sits worse than this on its mark does not mark it. mm */
#define MAX_REFERENCE_SD_MM 1000.0

/* No face is larger than this. mm */
#define MAX_MM 100000.0

/* No sheet hangs farther out of its wheel, nor deeper in it. */
#define MAX_STANDOFF_MM 1000.0
#define DEFAULT_HUB_TILT_SD_DEG 0.3
#define MAX_HUB_TILT_SD_DEG 10.0
#define DEFAULT_FLOOR_SD_MM 1.0
#define MAX_FLOOR_SD_MM 100.0
/* A tip is laid by eye (common practice, no source). */
#define DEFAULT_POINTER_SD_MM 1.0
/* A level shows no more, and what is known worse than this was not read from one. */
#define MAX_LEVEL_DEG 45.0
#define MAX_LEVEL_SD_DEG 10.0

/* Rounding of a place at the very edge of a face. mm */
#define EDGE_TOLERANCE_MM 1e-6

/* In the order of tr_wheel_point. */
static const char *const POINTS[TR_N_POINTS] = {"front-left", "front-right", "rear-left",
                                                "rear-right"};

const char *tr_wheel_point_name(tr_wheel_point point) {
    return POINTS[point];
}

int tr_job_find_sheet(const tr_job *job, const char *id) {
    return tr_sheet_find(job->sheets, job->n_sheets, id);
}

const tr_placement *tr_job_placement_of(const tr_job *job, int sheet) {
    for (int i = 0; i < job->layout.n_placements; i++) {
        if (tr_job_find_sheet(job, job->layout.placements[i].sheet) == sheet)
            return &job->layout.placements[i];
    }
    return NULL;
}

const tr_confirmation *tr_job_confirmation_of(const tr_job *job, int precondition) {
    for (int i = 0; i < job->n_confirmations; i++) {
        if (job->confirmations[i].precondition == precondition) return &job->confirmations[i];
    }
    return NULL;
}

bool tr_job_needs_sheet(const tr_job *job, int sheet) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].sheet == sheet) return true;
    }
    for (int i = 0; i < job->n_pointers; i++) {
        if (job->pointers[i].sheet == sheet) return true;
    }
    return tr_job_placement_of(job, sheet) != NULL;
}

bool tr_job_sheet_stays(const tr_job *job, int sheet) {
    tr_support support = job->sheets[sheet].support;
    return (support == TR_ON_FLOOR || support == TR_ON_STAND) && !job->is_moved[sheet];
}

static void read_layout(tr_yaml y, tr_layout *layout) {
    tr_error cause = {0};
    char *path = tr_yaml_path(y);
    if (path && !tr_layout_read(path, layout, &cause)) tr_yaml_fail_inside(y, &cause);
    free(path);
}

/* A tag on two sheets could not be told apart in a photo. The fault is the later sheet file's. */
static void check_tags(tr_yaml y, const tr_sheet *a, const tr_sheet *b) {
    if (strcmp(a->tag_family, b->tag_family) != 0) return;
    for (int i = 0; i < b->n_tags; i++) {
        for (int j = 0; j < a->n_tags; j++) {
            if (a->tags[j].id != b->tags[i].id) continue;
            tr_error cause = {0};
            char key[32];
            snprintf(key, sizeof key, "tags[%d].id", i);
            tr_fail_at(
                &cause, TR_BAD_INPUT, b->path, b->tags[i].line, key,
                "is %d, which sheet %s has in line %d of its file; sheets of one job may not "
                "share a tag",
                b->tags[i].id, a->id, a->tags[j].line);
            tr_yaml_fail_inside(y, &cause);
        }
    }
}

/* Nor could two sheets with one label. */
static void check_labels(tr_yaml y, const tr_sheet *a, const tr_sheet *b) {
    if (!*a->label || strcmp(a->label, b->label) != 0) return;
    tr_yaml_fail(y, "defines sheet %s with the label of sheet %s; each sheet needs its own", b->id,
                 a->id);
}

static void read_sheets(tr_yaml y, tr_job *job) {
    job->sheets = tr_yaml_array(y, 1, TR_MAX_SHEETS, sizeof *job->sheets, &job->n_sheets);
    for (int i = 0; i < job->n_sheets && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_read_sheet(item, tr_sheet_read_any, job->sheets, i);
        for (int j = 0; j < i && tr_yaml_has(y); j++) {
            check_tags(y, &job->sheets[j], &job->sheets[i]);
            check_labels(item, &job->sheets[j], &job->sheets[i]);
        }
    }
}

/* ---- references ---- */

const char *tr_reference_name(const tr_reference *r) {
    return r->point < TR_N_POINTS ? POINTS[r->point] : r->name;
}

static bool is_front(tr_wheel_point point) {
    return point == TR_FRONT_LEFT || point == TR_FRONT_RIGHT;
}

static tr_wheel_point wheel_of(const char *name) {
    tr_wheel_point point = 0;
    while (point < TR_N_POINTS && strcmp(name, POINTS[point]) != 0) point++;
    return point;
}

/* "left-rear" was meant for a wheel. */
static bool is_like_wheel(const char *name) {
    bool is_axle = strstr(name, "front") || strstr(name, "rear");
    bool is_side = strstr(name, "left") || strstr(name, "right");
    return is_axle && is_side && strlen(name) <= strlen("front-right");
}

/* That of the first sheet that has tags. */
static const char *usual_family(const tr_job *job) {
    int first = 0;
    while (first < job->n_sheets - 1 && job->sheets[first].n_tags == 0) first++;
    return job->sheets[first].tag_family;
}

/* A lone tag, stuck on the point: a sheet of nothing else. */
static int add_tag(tr_yaml y, tr_job *job) {
    tr_sheet *sheets = realloc(job->sheets, ((size_t)job->n_sheets + 1) * sizeof *sheets);
    if (!sheets) {
        tr_yaml_fail_memory(y);
        return 0;
    }
    job->sheets = sheets;
    tr_sheet *sheet = &sheets[job->n_sheets];
    int id = tr_yaml_integer(tr_yaml_at(y, "tag"), 0, INT_MAX);
    double size_mm = tr_yaml_size(tr_yaml_at(y, "size_mm"), MAX_MM);
    if (!tr_yaml_has(y)) return 0;
    const char *family = usual_family(job);
    if (!tr_sheet_of_tag(family, id, size_mm, tr_yaml_line(y), sheet)) {
        tr_yaml_fail(tr_yaml_at(y, "tag"), "is %d, but family %s has tags 0 to %d", id, family,
                     tr_tag_family_size(family) - 1);
        return 0;
    }
    sheet->path = tr_path_beside("", job->path);
    if (!sheet->path) tr_yaml_fail_memory(y);
    for (int i = 0; i < job->n_sheets && tr_yaml_has(y); i++) {
        for (int k = 0; k < sheets[i].n_tags; k++) {
            if (sheets[i].tags[k].id != id ||
                strcmp(sheets[i].tag_family, sheet->tag_family) != 0) {
                continue;
            }
            tr_yaml_fail(tr_yaml_at(y, "tag"), "is %d, which sheet %s has already", id,
                         sheets[i].id);
        }
    }
    return job->n_sheets++;
}

/* What holds the sheet of a named point. */
static tr_support read_support(tr_yaml y, const tr_sheet *sheet) {
    static const char *const WORDS[] = {"floor", "vehicle"};
    bool is_small = sheet->kind == TR_SHEET_BOARD || sheet->kind == TR_SHEET_TAG;
    if (!tr_yaml_has(y)) return is_small ? TR_ON_VEHICLE : TR_ON_FLOOR;
    return tr_yaml_choice(y, WORDS, 2) == 0 ? TR_ON_FLOOR : TR_ON_VEHICLE;
}

/* The keys of a point that has a name of its own. */
static void read_named(tr_yaml y, tr_reference *r, tr_job *job) {
    tr_yaml on = tr_yaml_at(y, "on");
    tr_yaml standoff = tr_yaml_at(y, "standoff_mm");
    if (!tr_yaml_has(y)) return;
    tr_sheet *sheet = &job->sheets[r->sheet];
    if (sheet->kind == TR_SHEET_HUB) {
        tr_yaml_fail(tr_yaml_at(y, "sheet"),
                     "is of kind hub, which hangs on a wheel, but '%s' is no wheel (front-left, "
                     "front-right, rear-left, rear-right)",
                     r->name);
    }
    if (tr_yaml_has(standoff)) {
        tr_yaml_fail(standoff, "is of a sheet on a wheel, but '%s' is no wheel; leave it out",
                     r->name);
    }
    if (tr_yaml_has(y)) sheet->support = read_support(on, sheet);
}

static void read_wheel(tr_yaml y, tr_reference *r, tr_job *job) {
    tr_yaml standoff = tr_yaml_at(y, "standoff_mm");
    if (tr_yaml_has(tr_yaml_at(y, "on"))) {
        tr_yaml_fail(tr_yaml_at(y, "on"),
                     "is for points with names of their own; a plate at a wheel lies on the floor, "
                     "a hub sheet hangs on the wheel");
    }
    if (!tr_yaml_has(y)) return;
    const tr_sheet *sheet = &job->sheets[r->sheet];
    if (sheet->kind == TR_SHEET_HUB) {
        r->standoff_mm = tr_yaml_number(standoff, -MAX_STANDOFF_MM, MAX_STANDOFF_MM);
        if (!tr_yaml_has(standoff)) {
            tr_yaml_fail(tr_yaml_at(y, "sheet"),
                         "is of kind hub; add 'standoff_mm', the distance from its printed face "
                         "inward to the wheel's mid-plane");
        }
    } else if (sheet->kind == TR_SHEET_BOARD || sheet->kind == TR_SHEET_TAG) {
        tr_yaml_fail(tr_yaml_at(y, sheet->kind == TR_SHEET_TAG ? "tag" : "sheet"),
                     "is of kind %s, which does not lie on the floor; mark the wheel with a plate "
                     "or a hub sheet",
                     tr_sheet_kind_name(sheet->kind));
    } else if (tr_yaml_has(standoff)) {
        tr_yaml_fail(standoff, "is of hub sheets, but %s is of kind %s; leave it out", sheet->id,
                     tr_sheet_kind_name(sheet->kind));
    }
}

/* What has no tags is seen by nobody. */
static void check_tagged(tr_yaml y, const tr_job *job, int sheet) {
    if (tr_yaml_has(y) && job->sheets[sheet].n_tags == 0) {
        tr_yaml_fail(tr_yaml_at(y, "sheet"),
                     "is %s, which has no tags; mark the point with a sheet that has",
                     job->sheets[sheet].id);
    }
}

static tr_reference read_reference(tr_yaml y, tr_job *job) {
    tr_reference r = {0};
    char name[sizeof r.name] = "";
    double at_mm[2] = {0, 0};
    bool is_tag = tr_yaml_has(tr_yaml_at(y, "tag"));
    tr_yaml_keys(y, "point sheet? tag? size_mm? at_mm? on? standoff_mm?");
    if (is_tag == tr_yaml_has(tr_yaml_at(y, "sheet"))) {
        tr_yaml_fail(y, "needs either 'sheet', or 'tag' and 'size_mm' of a lone tag");
    }
    if (tr_yaml_has(tr_yaml_at(y, "size_mm")) != is_tag) {
        tr_yaml_fail(y, "needs 'tag' and 'size_mm' together, or neither");
    }
    tr_yaml_text(tr_yaml_at(y, "point"), name, sizeof name);
    r.point = wheel_of(name);
    if (r.point == TR_N_POINTS && is_like_wheel(name)) {
        tr_yaml_fail(
            tr_yaml_at(y, "point"),
            "is %s; give one of: front-left, front-right, rear-left, rear-right, or a name "
            "of your own for another point",
            name);
    }
    if (r.point == TR_N_POINTS) memcpy(r.name, name, sizeof r.name);
    r.sheet = is_tag ? add_tag(y, job)
                     : tr_read_sheet_name(tr_yaml_at(y, "sheet"), job->sheets, job->n_sheets);
    tr_yaml_numbers(tr_yaml_at(y, "at_mm"), at_mm, 2, -MAX_MM, MAX_MM);
    r.at_mm = tr_v2(at_mm[0], at_mm[1]);
    check_tagged(y, job, r.sheet);
    if (!tr_yaml_has(y)) return r;
    if (r.point == TR_N_POINTS)
        read_named(y, &r, job);
    else
        read_wheel(y, &r, job);
    const tr_sheet *sheet = &job->sheets[r.sheet];
    if (fabs(at_mm[0]) > sheet->width_mm / 2 + EDGE_TOLERANCE_MM ||
        fabs(at_mm[1]) > sheet->height_mm / 2 + EDGE_TOLERANCE_MM) {
        tr_yaml_fail(tr_yaml_at(y, "at_mm"), "lies outside the face of %s, which is %g x %g mm",
                     sheet->id, sheet->width_mm, sheet->height_mm);
    }
    return r;
}

static const tr_reference *find_point(const tr_job *job, tr_wheel_point point) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].point == point) return &job->references[i];
    }
    return NULL;
}

static bool is_hub(const tr_job *job, const tr_reference *r) {
    return job->sheets[r->sheet].support == TR_ON_WHEEL;
}

static bool counts_from_front(const tr_layout *layout) {
    for (int i = 0; i < layout->n_placements; i++) {
        for (int k = 0; k < 3; k++) {
            if (layout->placements[i].from[k].kind == TR_FROM_FRONT_AXLE) return true;
        }
    }
    for (int i = 0; i < layout->n_free_areas; i++) {
        for (int k = 0; k < 2; k++) {
            if (layout->free_areas[i].from[k].kind == TR_FROM_FRONT_AXLE) return true;
        }
    }
    return false;
}

/* A plumb point and a wheel's centre stand out from the wheel by different amounts, so that their
   middle is not that of the axle. */
static void check_axle(tr_yaml y, const tr_job *job, tr_wheel_point left, tr_wheel_point right) {
    const tr_reference *l = find_point(job, left);
    const tr_reference *r = find_point(job, right);
    if (l && r && is_hub(job, l) != is_hub(job, r)) {
        tr_yaml_fail(y,
                     "mark %s with a sheet of kind %s and %s with one of kind %s; use hub sheets "
                     "or plates on both sides of an axle",
                     POINTS[left], tr_sheet_kind_name(job->sheets[l->sheet].kind), POINTS[right],
                     tr_sheet_kind_name(job->sheets[r->sheet].kind));
    }
    bool needs_hubs = job->layout.axes == TR_AXES_THRUST || job->layout.thrust_limit_rad > 0;
    if (left != TR_REAR_LEFT || !needs_hubs || !l || is_hub(job, l)) return;
    tr_yaml_fail(y,
                 "mark the rear wheels with plates, but layout %s needs their directions (axes "
                 "thrust, or a thrust_limit_deg); hang hub sheets on them",
                 job->layout.id);
}

/* Plates are on the floor themselves. */
static void check_floor(tr_yaml y, const tr_job *job) {
    bool has_hub = false;
    bool has_floor = false;
    for (int i = 0; i < job->n_references; i++) {
        has_hub = has_hub || is_hub(job, &job->references[i]);
    }
    for (int i = 0; i < job->n_sheets; i++) {
        has_floor = has_floor || job->sheets[i].support == TR_ON_FLOOR;
    }
    if (!has_hub || has_floor) return;
    tr_yaml_fail(y,
                 "mark the wheels with hub sheets, but no sheet of the job lies on the floor, from "
                 "which heights count; lay a mat or plate on either side of the vehicle, and add "
                 "them to 'sheets'");
}

/* What the vehicle frame needs: the rear points always; the front ones where they carry the
   centreline or the origin of a placement. */
static void check_points(tr_yaml y, const tr_job *job) {
    const tr_layout *layout = &job->layout;
    bool needs_front = layout->axes == TR_AXES_CENTRELINE || layout->thrust_limit_rad > 0 ||
                       counts_from_front(layout);
    for (tr_wheel_point point = 0; point < TR_N_POINTS; point++) {
        if (find_point(job, point) || (is_front(point) && !needs_front)) continue;
        tr_yaml_fail(y, "mark no %s point, which layout %s needs; add a reference for it",
                     POINTS[point], layout->id);
    }
    check_axle(y, job, TR_FRONT_LEFT, TR_FRONT_RIGHT);
    check_axle(y, job, TR_REAR_LEFT, TR_REAR_RIGHT);
}

static void read_references(tr_yaml y, tr_job *job) {
    job->references =
        tr_yaml_array(y, 0, TR_MAX_REFERENCES, sizeof *job->references, &job->n_references);
    for (int i = 0; i < job->n_references && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_reference reference = read_reference(item, job);
        for (int j = 0; j < i; j++) {
            const tr_reference *other = &job->references[j];
            if (strcmp(tr_reference_name(&reference), tr_reference_name(other)) == 0) {
                tr_yaml_fail(tr_yaml_at(item, "point"),
                             "is %s, which references[%d] marks already; leave one out",
                             tr_reference_name(other), j);
            }
            if (reference.sheet == other->sheet) {
                tr_yaml_fail(
                    tr_yaml_at(item, "sheet"),
                    "is a sheet that references[%d] uses already; each point needs its own", j);
            }
        }
        job->references[i] = reference;
    }
    if (tr_yaml_has(y)) check_points(y, job);
    if (tr_yaml_has(y)) check_floor(y, job);
}

/* NULL: the sheet marks no point. */
static const tr_reference *reference_of(const tr_job *job, int sheet) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].sheet == sheet) return &job->references[i];
    }
    return NULL;
}

/* Height, pitch and roll are judged of boards alone: of what lies on the floor the measurement
   takes for granted, within bounds, that it does. */
static void check_limits(const tr_job *job, int i, const tr_sheet *sheet, tr_error *cause) {
    static const tr_axis OF_BOARDS[] = {TR_Z, TR_PITCH, TR_ROLL};
    const tr_placement *placement = &job->layout.placements[i];
    for (int k = 0; k < 3 && sheet->kind != TR_SHEET_BOARD; k++) {
        tr_axis axis = OF_BOARDS[k];
        char key[48];
        if (!placement->axis[axis].is_judged) continue;
        snprintf(key, sizeof key, "placements[%d].limits.%s", i, tr_axis_key(axis));
        tr_fail_at(cause, TR_BAD_INPUT, job->layout.path, placement->limit_line[axis], key,
                   "is a limit for upright boards, but %s is of kind %s, which lies on the floor; "
                   "leave it out",
                   sheet->id, tr_sheet_kind_name(sheet->kind));
    }
}

static int find_reference(const tr_job *job, const char *name) {
    for (int i = 0; i < job->n_references; i++) {
        if (strcmp(tr_reference_name(&job->references[i]), name) == 0) return i;
    }
    return -1;
}

/* What a coordinate counts from: a marked point, else another sheet that the layout places. A sheet
   that marks a point is none: its printed centre need not be the point, nor lie under it. self: the
   sheet that it is a coordinate of; key, line: where the layout says so. */
static void find_origin(tr_job *job, tr_origin *from, const char *self, const char *key, int line,
                        tr_error *cause) {
    if (from->kind != TR_FROM_POINT) return;
    from->index = find_reference(job, from->name);
    if (from->index >= 0) return;
    from->kind = TR_FROM_SHEET;
    from->index = tr_job_find_sheet(job, from->name);
    bool is_placed = from->index >= 0 && tr_job_placement_of(job, from->index);
    const tr_reference *marks = from->index >= 0 ? reference_of(job, from->index) : NULL;
    if (marks) {
        tr_fail_at(cause, TR_BAD_INPUT, job->layout.path, line, key,
                   "is %s, the sheet of a reference; name the point that it marks, %s", from->name,
                   tr_reference_name(marks));
    } else if (!is_placed) {
        tr_fail_at(cause, TR_BAD_INPUT, job->layout.path, line, key,
                   "is %s, which is neither an axle (front-axle, rear-axle), nor a point that a "
                   "reference of the job marks, nor another placed sheet",
                   from->name);
    } else if (strcmp(from->name, self) == 0) {
        tr_fail_at(cause, TR_BAD_INPUT, job->layout.path, line, key,
                   "is %s itself; name an axle, a marked point or another sheet", from->name);
    }
}

static void find_origins(tr_job *job, int i, tr_error *cause) {
    tr_placement *p = &job->layout.placements[i];
    char key[48];
    snprintf(key, sizeof key, "placements[%d].from", i);
    for (int k = 0; k < 3 && cause->code == TR_OK; k++) {
        find_origin(job, &p->from[k], p->sheet, key, p->from_line, cause);
    }
}

static void check_free_areas(tr_yaml y, tr_job *job) {
    for (int i = 0; i < job->layout.n_free_areas && tr_yaml_has(y); i++) {
        tr_free_area *area = &job->layout.free_areas[i];
        tr_error cause = {0};
        char key[48];
        snprintf(key, sizeof key, "free_areas[%d].from", i);
        for (int k = 0; k < 2 && cause.code == TR_OK; k++) {
            find_origin(job, &area->from[k], "", key, area->from_line, &cause);
        }
        if (cause.code != TR_OK) tr_yaml_fail_inside(y, &cause);
    }
}

/* A chain of sheets that count from one another must end at the vehicle. */
static void check_chain(const tr_job *job, int i, int k, tr_error *cause) {
    const tr_placement *placement = &job->layout.placements[i];
    const tr_origin *from = &placement->from[k];
    char key[48];
    for (int step = 0; from && from->kind == TR_FROM_SHEET; step++) {
        if (step == job->layout.n_placements) {
            snprintf(key, sizeof key, "placements[%d].from", i);
            tr_fail_at(cause, TR_BAD_INPUT, job->layout.path, placement->from_line, key,
                       "is %s, but what that counts from leads back to it; let one of the chain "
                       "count from an axle or a marked point",
                       placement->from[k].name);
            return;
        }
        const tr_placement *next = tr_job_placement_of(job, from->index);
        from = next ? &next->from[k] : NULL;
    }
}

/* The layout's placements against the job's sheets. The fault is the layout file's line. */
static void check_placements(tr_yaml y, tr_job *job) {
    for (int i = 0; i < job->layout.n_placements && tr_yaml_has(y); i++) {
        const tr_placement *placement = &job->layout.placements[i];
        const char *path = job->layout.path;
        tr_error cause = {0};
        char key[40];
        snprintf(key, sizeof key, "placements[%d].sheet", i);
        int sheet = tr_job_find_sheet(job, placement->sheet);
        if (sheet < 0) {
            tr_fail_at(&cause, TR_BAD_INPUT, path, placement->line, key,
                       "is %s, which no sheet file of the job defines; add its file to 'sheets' of "
                       "the job",
                       placement->sheet);
        } else if (reference_of(job, sheet)) {
            tr_fail_at(&cause, TR_BAD_INPUT, path, placement->line, key,
                       "is %s, which the job uses as a reference; a sheet can be only one of both",
                       placement->sheet);
        } else if (job->sheets[sheet].kind == TR_SHEET_HUB) {
            tr_fail_at(&cause, TR_BAD_INPUT, path, placement->line, key,
                       "is %s of kind hub, which hangs on a wheel; place a mat, board or plate",
                       placement->sheet);
        } else {
            check_limits(job, i, &job->sheets[sheet], &cause);
            find_origins(job, i, &cause);
        }
        if (cause.code != TR_OK) tr_yaml_fail_inside(y, &cause);
    }
}

/* Sheets that were moved between positions, by hand or with the vehicle. */
static void read_moved(tr_yaml y, tr_job *job) {
    int n = tr_yaml_count(y);
    if (!tr_yaml_has(y)) return;
    if (job->n_positions < 2) {
        tr_yaml_fail(y, "is for jobs with 'positions'; leave it out");
    }
    for (int i = 0; i < n && tr_yaml_has(y); i++) {
        job->is_moved[tr_read_sheet_name(tr_yaml_item(y, i), job->sheets, job->n_sheets)] = true;
    }
}

/* On a sheet on the floor, or where the wheels stand. */
static void read_level(tr_yaml y, tr_job *job) {
    tr_yaml on = tr_yaml_at(y, "on");
    tr_yaml_keys(y, "on along_deg across_deg sd_deg");
    tr_level level = {.is_given = tr_yaml_has(y),
                      .sheet = -1,
                      .along_rad = TR_RAD_PER_DEG * tr_yaml_number(tr_yaml_at(y, "along_deg"),
                                                                   -MAX_LEVEL_DEG, MAX_LEVEL_DEG),
                      .across_rad = TR_RAD_PER_DEG * tr_yaml_number(tr_yaml_at(y, "across_deg"),
                                                                    -MAX_LEVEL_DEG, MAX_LEVEL_DEG),
                      .sd_rad =
                          TR_RAD_PER_DEG * tr_yaml_size(tr_yaml_at(y, "sd_deg"), MAX_LEVEL_SD_DEG)};
    if (tr_yaml_has(on) && !tr_yaml_is_word(on, "stand")) {
        char id[sizeof job->sheets->id] = "";
        tr_yaml_text(on, id, sizeof id);
        level.sheet = tr_job_find_sheet(job, id);
        if (level.sheet < 0) {
            tr_yaml_fail(on,
                         "is %s; give 'stand' for a level where the wheels stand, or the id of a "
                         "sheet of the job on which it lay",
                         id);
        } else if (job->sheets[level.sheet].support != TR_ON_FLOOR) {
            tr_yaml_fail(on,
                         "is %s of kind %s, which does not lie on the floor; name a sheet that "
                         "does, or 'stand'",
                         id, tr_sheet_kind_name(job->sheets[level.sheet].kind));
        }
    }
    job->level = level;
}

/* Photos of codes; those of the job may be among them. */
static void read_codes(tr_yaml y, tr_job *job) {
    if (!tr_yaml_has(y)) return;
    job->codes = tr_yaml_array(y, 1, TR_MAX_CODE_PHOTOS, sizeof *job->codes, &job->n_codes);
    for (int i = 0; i < job->n_codes && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        job->codes[i] = tr_yaml_path(item);
        for (int j = 0; j < i && tr_yaml_has(y); j++) {
            if (strcmp(job->codes[i], job->codes[j]) == 0) {
                tr_yaml_fail(item, "is the same photo as codes[%d]; leave one out", j);
            }
        }
    }
}

static void check_chains(tr_yaml y, const tr_job *job) {
    tr_error cause = {0};
    for (int i = 0; i < job->layout.n_placements && tr_yaml_has(y); i++) {
        for (int k = 0; k < 3 && cause.code == TR_OK; k++) check_chain(job, i, k, &cause);
        if (cause.code != TR_OK) tr_yaml_fail_inside(y, &cause);
    }
}

bool tr_job_read(const char *path, tr_job *out, tr_error *err) {
    tr_job job = {0};
    tr_shots shots;
    *out = job;
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y,
                 "job vehicle_id? technician? lens layout sheets references reference_sd_mm "
                 "hub_tilt_sd_deg? floor_sd_mm? level? pointers? pointer_sd_mm? photos? positions? "
                 "moved? confirmed? codes?");
    tr_yaml_text(tr_yaml_at(y, "job"), job.id, sizeof job.id);
    tr_yaml_text(tr_yaml_at(y, "vehicle_id"), job.vehicle_id, sizeof job.vehicle_id);
    tr_yaml_text(tr_yaml_at(y, "technician"), job.technician, sizeof job.technician);
    job.reference_sd_mm = tr_yaml_number(tr_yaml_at(y, "reference_sd_mm"), 0, MAX_REFERENCE_SD_MM);
    tr_yaml tilt = tr_yaml_at(y, "hub_tilt_sd_deg");
    job.hub_tilt_sd_rad =
        TR_RAD_PER_DEG * (tr_yaml_has(tilt) ? tr_yaml_number(tilt, 0, MAX_HUB_TILT_SD_DEG)
                                            : DEFAULT_HUB_TILT_SD_DEG);
    tr_yaml uneven = tr_yaml_at(y, "floor_sd_mm");
    job.floor_sd_mm =
        tr_yaml_has(uneven) ? tr_yaml_number(uneven, 0, MAX_FLOOR_SD_MM) : DEFAULT_FLOOR_SD_MM;
    tr_yaml laid = tr_yaml_at(y, "pointer_sd_mm");
    job.pointer_sd_mm =
        tr_yaml_has(laid) ? tr_yaml_size(laid, MAX_REFERENCE_SD_MM) : DEFAULT_POINTER_SD_MM;
    tr_read_shots(y, &shots);
    memcpy(job.lenses, shots.lenses, sizeof job.lenses);
    job.n_lenses = shots.n_lenses;
    job.n_only_named = shots.n_only_named;
    job.photos = shots.photos;
    job.photo_lens = shots.photo_lens;
    job.photo_position = shots.photo_position;
    job.n_photos = shots.n_photos;
    job.n_positions = shots.n_positions;
    job.path = tr_path_beside("", path);
    if (!job.path) tr_yaml_fail_memory(y);
    read_layout(tr_yaml_at(y, "layout"), &job.layout);
    read_sheets(tr_yaml_at(y, "sheets"), &job);
    read_references(tr_yaml_at(y, "references"), &job);
    check_placements(y, &job);
    check_free_areas(y, &job);
    check_chains(y, &job);
    tr_read_pointers(tr_yaml_at(y, "pointers"), &job);
    tr_check_untagged(y, &job);
    read_moved(tr_yaml_at(y, "moved"), &job);
    read_level(tr_yaml_at(y, "level"), &job);
    read_codes(tr_yaml_at(y, "codes"), &job);
    job.confirmations =
        tr_read_confirmations(tr_yaml_at(y, "confirmed"), job.layout.preconditions,
                              job.layout.n_preconditions, job.layout.id, &job.n_confirmations);
    if (!tr_yaml_close(y, err)) {
        tr_job_release(&job);
        return false;
    }
    *out = job;
    return true;
}

void tr_job_release(tr_job *job) {
    free(job->path);
    tr_layout_release(&job->layout);
    for (int i = 0; i < job->n_sheets; i++) tr_sheet_release(&job->sheets[i]);
    free(job->sheets);
    free(job->references);
    free(job->pointers);
    free(job->confirmations);
    for (int i = 0; i < job->n_photos; i++) free(job->photos[i]);
    free(job->photos);
    free(job->photo_lens);
    free(job->photo_position);
    for (int i = 0; i < job->n_codes; i++) free(job->codes[i]);
    free(job->codes);
    *job = (tr_job){0};
}
