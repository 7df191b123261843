#include "tools/bench/files.h"

#include <stdio.h>

#include "lens/profile.h"

enum { PATH_SIZE = 512 };

static FILE *create(const char *folder, const char *name, tr_error *err) {
    char path[PATH_SIZE];
    snprintf(path, sizeof path, "%s/%s.yaml", folder, name);
    FILE *f = fopen(path, "w");
    if (!f) tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "the file cannot be written");
    return f;
}

static bool finish(FILE *f, tr_error *err) {
    bool ok = !ferror(f);
    return (fclose(f) == 0 && ok) || tr_fail(err, TR_NO_FILE, "the job could not be written");
}

static bool write_sheet(const tr_sheet *s, const char *folder, tr_error *err) {
    FILE *f = create(folder, s->id, err);
    if (!f) return false;
    fprintf(f, "sheet: %s\ntitle: %s\nkind: %s\nsize_mm: [%.17g, %.17g]\n", s->id, s->title,
            tr_sheet_kind_name(s->kind), s->width_mm, s->height_mm);
    fprintf(f, "tag_family: %s\ntags:\n", s->tag_family);
    for (int i = 0; i < s->n_tags; i++) {
        const tr_tag *t = &s->tags[i];
        fprintf(f, "  - { id: %d, centre_mm: [%.17g, %.17g], size_mm: %.17g }\n", t->id,
                t->centre_mm.x, t->centre_mm.y, t->size_mm);
    }
    if (s->n_corners > 0) fprintf(f, "corners_mm:\n");
    for (int i = 0; i < s->n_corners; i++) {
        fprintf(f, "  - [%.17g, %.17g]\n", s->corners_mm[i].x, s->corners_mm[i].y);
    }
    return finish(f, err);
}

static bool write_layout(const tr_layout *l, const char *folder, tr_error *err) {
    FILE *f = create(folder, "layout", err);
    if (!f) return false;
    fprintf(f, "layout: %s\nvehicle: %s\naxes: centreline\nplacements:\n", l->id, l->vehicle);
    for (int i = 0; i < l->n_placements; i++) {
        const tr_requirement *a = l->placements[i].axis;
        fprintf(f, "  - sheet: %s\n    from: rear-axle\n", l->placements[i].sheet);
        fprintf(f, "    x_mm: %.17g\n    y_mm: %.17g\n    yaw_deg: %.17g\n", a[TR_X].required,
                a[TR_Y].required, a[TR_YAW].required * TR_DEG_PER_RAD);
        fprintf(f, "    limits: { x_mm: %.17g, y_mm: %.17g, yaw_deg: %.17g }\n", a[TR_X].limit,
                a[TR_Y].limit, a[TR_YAW].limit * TR_DEG_PER_RAD);
    }
    return finish(f, err);
}

static bool write_job(const tr_job *job, const char *folder, tr_error *err) {
    FILE *f = create(folder, "job", err);
    if (!f) return false;
    fprintf(f, "job: %s\nlens: lens.yaml\nlayout: layout.yaml\nsheets:\n", job->id);
    for (int i = 0; i < job->n_sheets; i++) fprintf(f, "  - %s.yaml\n", job->sheets[i].id);
    fprintf(f, "references:\n");
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        fprintf(f, "  - { point: %s, sheet: %s }\n", tr_wheel_point_name(r->point),
                job->sheets[r->sheet].id);
    }
    fprintf(f, "reference_sd_mm: %.17g\n", job->reference_sd_mm);
    return finish(f, err);
}

bool bench_write_job(const tr_job *job, const char *folder, tr_error *err) {
    char lens[PATH_SIZE];
    snprintf(lens, sizeof lens, "%s/lens.yaml", folder);
    if (!tr_lens_profile_write(lens, job->lenses, err)) return false;
    for (int i = 0; i < job->n_sheets; i++) {
        if (!write_sheet(&job->sheets[i], folder, err)) return false;
    }
    return write_layout(&job->layout, folder, err) && write_job(job, folder, err);
}
