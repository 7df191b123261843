#include "job/job.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/yaml.h"
#include "job/read.h"

enum { MAX_SHEETS = 64 };

/* A plate that sits worse than this on its mark does not mark it. mm */
#define MAX_REFERENCE_SD_MM 1000.0

/* No face is larger than this. mm */
#define MAX_MM 100000.0

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

bool tr_job_needs_sheet(const tr_job *job, int sheet) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].sheet == sheet) return true;
    }
    for (int i = 0; i < job->layout.n_placements; i++) {
        if (tr_job_find_sheet(job, job->layout.placements[i].sheet) == sheet) return true;
    }
    return false;
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

static void read_sheets(tr_yaml y, tr_job *job) {
    job->sheets = tr_yaml_array(y, 1, MAX_SHEETS, sizeof *job->sheets, &job->n_sheets);
    for (int i = 0; i < job->n_sheets && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_read_sheet(item, tr_sheet_read, job->sheets, i);
        for (int j = 0; j < i && tr_yaml_has(y); j++) {
            check_tags(y, &job->sheets[j], &job->sheets[i]);
        }
    }
}

static tr_reference read_reference(tr_yaml y, const tr_job *job) {
    tr_reference reference = {0};
    double at_mm[2] = {0, 0};
    tr_yaml_keys(y, "point sheet at_mm?");
    reference.point = (tr_wheel_point)tr_yaml_choice(tr_yaml_at(y, "point"), POINTS, TR_N_POINTS);
    reference.sheet = tr_read_sheet_name(tr_yaml_at(y, "sheet"), job->sheets, job->n_sheets);
    tr_yaml_numbers(tr_yaml_at(y, "at_mm"), at_mm, 2, -MAX_MM, MAX_MM);
    reference.at_mm = tr_v2(at_mm[0], at_mm[1]);
    if (!tr_yaml_has(y)) return reference;
    const tr_sheet *sheet = &job->sheets[reference.sheet];
    if (sheet->kind == TR_SHEET_BOARD || sheet->kind == TR_SHEET_HUB) {
        tr_yaml_fail(tr_yaml_at(y, "sheet"),
                     "is of kind %s, which does not lie on the floor; mark the point with a plate",
                     tr_sheet_kind_name(sheet->kind));
    }
    if (fabs(at_mm[0]) > sheet->width_mm / 2 + EDGE_TOLERANCE_MM ||
        fabs(at_mm[1]) > sheet->height_mm / 2 + EDGE_TOLERANCE_MM) {
        tr_yaml_fail(tr_yaml_at(y, "at_mm"), "lies outside the face of %s, which is %g x %g mm",
                     sheet->id, sheet->width_mm, sheet->height_mm);
    }
    return reference;
}

static bool has_point(const tr_job *job, tr_wheel_point point) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].point == point) return true;
    }
    return false;
}

/* What the vehicle frame needs: the rear points always; the front ones where they carry the
   centreline or the origin of a placement. */
static void check_points(tr_yaml y, const tr_job *job) {
    const tr_layout *layout = &job->layout;
    bool needs_front = layout->axes == TR_AXES_CENTRELINE;
    for (int i = 0; i < layout->n_placements; i++) {
        needs_front = needs_front || layout->placements[i].from == TR_FROM_FRONT_AXLE;
    }
    for (tr_wheel_point point = 0; point < TR_N_POINTS; point++) {
        bool is_front = point == TR_FRONT_LEFT || point == TR_FRONT_RIGHT;
        if (has_point(job, point) || (is_front && !needs_front)) continue;
        tr_yaml_fail(y, "mark no %s point, which layout %s needs; add a reference for it",
                     POINTS[point], layout->id);
    }
}

static void read_references(tr_yaml y, tr_job *job) {
    job->references = tr_yaml_array(y, 0, TR_N_POINTS, sizeof *job->references, &job->n_references);
    for (int i = 0; i < job->n_references && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_reference reference = read_reference(item, job);
        for (int j = 0; j < i; j++) {
            if (reference.point == job->references[j].point) {
                tr_yaml_fail(tr_yaml_at(item, "point"),
                             "is %s, which references[%d] marks already; leave one out",
                             POINTS[reference.point], j);
            }
            if (reference.sheet == job->references[j].sheet) {
                tr_yaml_fail(
                    tr_yaml_at(item, "sheet"),
                    "is a sheet that references[%d] uses already; each point needs its own", j);
            }
        }
        job->references[i] = reference;
    }
    if (tr_yaml_has(y)) check_points(y, job);
}

static bool is_reference(const tr_job *job, int sheet) {
    for (int i = 0; i < job->n_references; i++) {
        if (job->references[i].sheet == sheet) return true;
    }
    return false;
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

/* The layout's placements against the job's sheets. The fault is the layout file's line. */
static void check_placements(tr_yaml y, const tr_job *job) {
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
        } else if (is_reference(job, sheet)) {
            tr_fail_at(&cause, TR_BAD_INPUT, path, placement->line, key,
                       "is %s, which the job uses as a reference; a sheet can be only one of both",
                       placement->sheet);
        } else if (job->sheets[sheet].kind == TR_SHEET_HUB) {
            tr_fail_at(&cause, TR_BAD_INPUT, path, placement->line, key,
                       "is %s of kind hub, which hangs on a wheel; place a mat, board or plate",
                       placement->sheet);
        } else {
            check_limits(job, i, &job->sheets[sheet], &cause);
        }
        if (cause.code != TR_OK) tr_yaml_fail_inside(y, &cause);
    }
}

bool tr_job_read(const char *path, tr_job *out, tr_error *err) {
    tr_job job = {0};
    tr_shots shots;
    *out = job;
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "job vehicle_id? technician? lens layout sheets references reference_sd_mm "
                    "photos?");
    tr_yaml_text(tr_yaml_at(y, "job"), job.id, sizeof job.id);
    tr_yaml_text(tr_yaml_at(y, "vehicle_id"), job.vehicle_id, sizeof job.vehicle_id);
    tr_yaml_text(tr_yaml_at(y, "technician"), job.technician, sizeof job.technician);
    job.reference_sd_mm = tr_yaml_number(tr_yaml_at(y, "reference_sd_mm"), 0, MAX_REFERENCE_SD_MM);
    tr_read_shots(y, &shots);
    memcpy(job.lenses, shots.lenses, sizeof job.lenses);
    job.n_lenses = shots.n_lenses;
    job.n_only_named = shots.n_only_named;
    job.photos = shots.photos;
    job.photo_lens = shots.photo_lens;
    job.n_photos = shots.n_photos;
    read_layout(tr_yaml_at(y, "layout"), &job.layout);
    read_sheets(tr_yaml_at(y, "sheets"), &job);
    read_references(tr_yaml_at(y, "references"), &job);
    check_placements(y, &job);
    job.path = tr_path_beside("", path);
    if (!job.path) tr_yaml_fail_memory(y);
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
    for (int i = 0; i < job->n_photos; i++) free(job->photos[i]);
    free(job->photos);
    free(job->photo_lens);
    *job = (tr_job){0};
}
