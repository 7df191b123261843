#include "job/pointers.h"

#include <math.h>
#include <stdlib.h>

#include "job/read.h"

/* Points nearer to each other, or to the line through two others, tell no direction. mm */
static const double LEAST_APART_MM = 50;
/* Fewer corners and discs may be anything. */
enum { LEAST_ARTWORK = 6 };

static void check_plate(tr_yaml y, const tr_job *job, int sheet) {
    const tr_sheet *s = &job->sheets[sheet];
    if (!s->has_tip) {
        tr_yaml_fail(y,
                     "is %s, which has no tip; use a plate whose sheet file has 'tip_mm', such "
                     "as 'trammel design pointer' makes",
                     s->id);
    } else if (tr_job_needs_sheet(job, sheet)) {
        tr_yaml_fail(y,
                     "is %s, which the job places, or uses as a reference or for another "
                     "pointer; each pointer is a plate of its own",
                     s->id);
    }
}

static void check_target(tr_yaml y, const tr_job *job, int target) {
    const tr_sheet *s = &job->sheets[target];
    if (!tr_job_placement_of(job, target)) {
        tr_yaml_fail(y, "is %s, which layout %s does not place; lay pointers at placed sheets",
                     s->id, job->layout.id);
    } else if (s->n_tags > 0) {
        tr_yaml_fail(y,
                     "is %s, which has tags of its own that tell where it lies; leave its "
                     "pointers out",
                     s->id);
    }
}

static int read_point(tr_yaml y, const tr_sheet *target) {
    char name[sizeof target->points->name] = "";
    tr_yaml_text(y, name, sizeof name);
    int point = tr_sheet_find_point(target, name);
    if (tr_yaml_has(y) && point < 0) {
        tr_yaml_fail(y,
                     "is '%s', which is none of the points of %s; its sheet file names them "
                     "under 'points'",
                     name, target->id);
    }
    return point < 0 ? 0 : point;
}

static tr_pointer read_pointer(tr_yaml y, const tr_job *job) {
    tr_pointer p = {0};
    tr_yaml_keys(y, "sheet at point");
    p.sheet = tr_read_sheet_name(tr_yaml_at(y, "sheet"), job->sheets, job->n_sheets);
    p.target = tr_read_sheet_name(tr_yaml_at(y, "at"), job->sheets, job->n_sheets);
    if (!tr_yaml_has(y)) return p;
    check_plate(tr_yaml_at(y, "sheet"), job, p.sheet);
    check_target(tr_yaml_at(y, "at"), job, p.target);
    if (tr_yaml_has(y)) p.point = read_point(tr_yaml_at(y, "point"), &job->sheets[p.target]);
    return p;
}

/* ---- whether those of a target are enough ---- */

static tr_vec3 place_of(const tr_job *job, const tr_pointer *p) {
    return job->sheets[p->target].points[p->point].at_mm;
}

/* Distance of a point from the line through two others. */
static double off_line(tr_vec3 a, tr_vec3 b, tr_vec3 p) {
    tr_vec3 along = tr_v3_sub(b, a);
    double length = tr_v3_norm(along);
    return length > 0 ? tr_v3_norm(tr_v3_cross(along, tr_v3_sub(p, a))) / length : 0;
}

/* The largest distance between two points, and of a third from the line through two. */
static void measure_spread(const tr_job *job, int target, double *apart, double *off) {
    *apart = *off = 0;
    for (int i = 0; i < job->n_pointers; i++) {
        tr_vec3 a = place_of(job, &job->pointers[i]);
        for (int k = 0; k < i && job->pointers[i].target == target; k++) {
            tr_vec3 b = place_of(job, &job->pointers[k]);
            if (job->pointers[k].target != target) continue;
            *apart = fmax(*apart, tr_v3_norm(tr_v3_sub(b, a)));
            for (int j = 0; j < k; j++) {
                tr_vec3 c = place_of(job, &job->pointers[j]);
                if (job->pointers[j].target == target) *off = fmax(*off, off_line(a, b, c));
            }
        }
    }
}

static void check_enough(tr_yaml y, const tr_job *job, int target) {
    const tr_sheet *s = &job->sheets[target];
    double apart, off;
    measure_spread(job, target, &apart, &off);
    if (tr_sheet_is_upright(s) && off < LEAST_APART_MM) {
        tr_yaml_fail(y,
                     "do not tell how %s leans; it stands upright, so lay pointers at three of "
                     "its points that are not in line, %g mm apart and more",
                     s->id, LEAST_APART_MM);
    } else if (apart < LEAST_APART_MM) {
        tr_yaml_fail(y,
                     "do not tell how %s is turned; lay pointers at two of its points, %g mm "
                     "apart and more",
                     s->id, LEAST_APART_MM);
    }
}

void tr_read_pointers(tr_yaml y, tr_job *job) {
    job->pointers = tr_yaml_array(y, 0, TR_MAX_POINTERS, sizeof *job->pointers, &job->n_pointers);
    int n = job->n_pointers;
    job->n_pointers = 0;
    for (int i = 0; i < n && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_pointer p = read_pointer(item, job);
        for (int k = 0; k < i && tr_yaml_has(y); k++) {
            const tr_pointer *other = &job->pointers[k];
            if (other->target != p.target || other->point != p.point) continue;
            tr_yaml_fail(tr_yaml_at(item, "point"),
                         "has the pointer of pointers[%d] already; leave one out", k);
        }
        job->pointers[job->n_pointers++] = p;
    }
    for (int i = 0; i < job->n_pointers && tr_yaml_has(y); i++) {
        check_enough(y, job, job->pointers[i].target);
    }
}

/* ---- sheets without tags ---- */

bool tr_job_has_pointers(const tr_job *job, int sheet) {
    for (int i = 0; i < job->n_pointers; i++) {
        if (job->pointers[i].target == sheet) return true;
    }
    return false;
}

bool tr_job_seeks_artwork(const tr_job *job, int sheet) {
    const tr_sheet *s = &job->sheets[sheet];
    const tr_placement *p = tr_job_placement_of(job, sheet);
    return s->n_tags == 0 && s->n_corners + s->n_discs >= LEAST_ARTWORK && p &&
           (p->within_mm > 0 || tr_job_has_pointers(job, sheet));
}

static void check_sheet(tr_yaml y, const tr_job *job, int sheet) {
    const tr_sheet *s = &job->sheets[sheet];
    const tr_placement *p = tr_job_placement_of(job, sheet);
    bool has_artwork = s->n_corners + s->n_discs >= LEAST_ARTWORK;
    if (!p) {
        tr_yaml_fail(y,
                     "lists %s, which has no tags and is not placed by layout %s, so that "
                     "nothing tells where it lies; leave it out",
                     s->id, job->layout.id);
    } else if (!has_artwork && p->within_mm > 0) {
        tr_yaml_fail(y,
                     "lists %s, which has no tags and fewer than %d corners and discs by which "
                     "it could be found; lay pointers at its points instead of 'within_mm'",
                     s->id, LEAST_ARTWORK);
    } else if (p->within_mm <= 0 && !tr_job_has_pointers(job, sheet)) {
        tr_yaml_fail(y,
                     "lists %s, which has no tags; lay pointers at its points and list them "
                     "under 'pointers', or let the layout say, by 'within_mm', how far from its "
                     "place its artwork is to be sought",
                     s->id);
    }
}

void tr_check_untagged(tr_yaml y, const tr_job *job) {
    for (int i = 0; i < job->n_sheets && tr_yaml_has(y); i++) {
        const tr_placement *p = tr_job_placement_of(job, i);
        if (job->sheets[i].n_tags == 0) {
            check_sheet(tr_yaml_at(y, "sheets"), job, i);
        } else if (p && p->within_mm > 0) {
            tr_error cause = {0};
            tr_fail_at(&cause, TR_BAD_INPUT, job->layout.path, p->within_line, "within_mm",
                       "is for sheets that have no tags, but %s has; leave it out",
                       job->sheets[i].id);
            tr_yaml_fail_inside(tr_yaml_at(y, "layout"), &cause);
        }
    }
}
