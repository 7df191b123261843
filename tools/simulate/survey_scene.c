#include "tools/simulate/survey_scene.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "lens/profile.h"
#include "tools/render/render.h"

enum { MAX_SHEETS = 1 + TR_SURVEY_SIM_TAGS + TR_SURVEY_SIM_MAX_BARS };
/* A label lies this high on the mat, or the mat would cover it. */
static const double LABEL_MM = 0.15;
static const double CHECKER_MM = 40;

typedef struct {
    const tr_survey_sim *sim;
    const char *folder;
    tr_scene scene;
    tr_scene_sheet sheets[MAX_SHEETS];
    tr_tag mat_tags[TR_SURVEY_SIM_TAGS];
    tr_tag own_tags[MAX_SHEETS][2];
    tr_scene_camera cameras[TR_SURVEY_SIM_MAX_PHOTOS];
    pthread_mutex_t mutex; /* guards all below */
    int next;
    tr_error err;
} rendering;

/* The renderer's frame of a sheet is the contract's: up the sheet is forward (+X). Here the print's
   frame itself is the world. */
static tr_pose as_is(tr_vec3 at) {
    return (tr_pose){tr_m3_identity(), at};
}

static void add_mat(rendering *r, const double print_scale[2]) {
    const tr_survey_sim *sim = r->sim;
    const tr_sheet *nominal = &sim->spec.sheets[0];
    tr_scene_sheet *s = &r->sheets[r->scene.n_sheets++];
    *s = (tr_scene_sheet){.sheet = *nominal,
                          .checker_mm = CHECKER_MM,
                          .print_scale = {print_scale[0], print_scale[1]},
                          .vehicle_from_sheet = as_is(tr_v3(0, 0, 0))};
    s->sheet.tags = r->mat_tags;
    for (int i = 0; i < nominal->n_tags; i++) {
        r->mat_tags[i] = nominal->tags[i];
        r->mat_tags[i].centre_mm =
            tr_v2(sim->at_mm[i].x / (1 + print_scale[0]), sim->at_mm[i].y / (1 + print_scale[1]));
        r->mat_tags[i].turn_rad = sim->turn_rad[i];
    }
}

static tr_scene_sheet *add_sheet(rendering *r, const tr_sheet *like, double width, double height,
                                 int n_tags) {
    int i = r->scene.n_sheets++;
    tr_scene_sheet *s = &r->sheets[i];
    *s = (tr_scene_sheet){.sheet = {.kind = TR_SHEET_PLATE,
                                    .width_mm = width,
                                    .height_mm = height,
                                    .tags = r->own_tags[i],
                                    .n_tags = n_tags}};
    memcpy(s->sheet.tag_family, like->tag_family, sizeof s->sheet.tag_family);
    snprintf(s->sheet.id, sizeof s->sheet.id, "own-%d", i);
    return s;
}

static void add_labels(rendering *r) {
    const tr_survey_sim *sim = r->sim;
    int first = sim->spec.sheets[0].n_tags;
    for (int i = 0; i < sim->spec.n_stuck; i++) {
        const double *edges = sim->edges_mm[first + i];
        double size = sim->spec.stuck[i].size_mm;
        tr_scene_sheet *s = add_sheet(r, &sim->spec.sheets[0], 1.3 * size, 1.3 * size, 1);
        s->sheet.tags[0] = (tr_tag){.id = sim->spec.stuck[i].id, .size_mm = size};
        for (int k = 0; k < 2; k++) s->print_scale[k] = edges[k] / size - 1;
        s->vehicle_from_sheet =
            as_is(tr_v3(sim->at_mm[first + i].x, sim->at_mm[first + i].y, LABEL_MM));
        s->vehicle_from_sheet.R = tr_rotation_z(sim->turn_rad[first + i]);
    }
}

static void add_bars(rendering *r) {
    const tr_survey_sim *sim = r->sim;
    for (int b = 0; b < sim->spec.n_bars; b++) {
        double tag = tr_survey_sim_bar_tag_mm();
        tr_scene_sheet *s =
            add_sheet(r, &sim->spec.sheets[0], sim->bar_mm[b] + 1.4 * tag, 1.3 * tag, 2);
        for (int end = 0; end < 2; end++) {
            s->sheet.tags[end] = (tr_tag){.id = sim->spec.bars[b].tag[end],
                                          .centre_mm = {(end - 0.5) * sim->bar_mm[b], 0},
                                          .size_mm = tag};
        }
        s->vehicle_from_sheet = as_is(tr_survey_sim_bar_centre(b));
    }
}

static tr_imaging imaging_of(bool is_steep, double part, uint64_t seed) {
    tr_imaging m = tr_imaging_plain();
    m.blur_px[0] = m.blur_px[1] = 0.7;
    m.vignetting = 0.25;
    m.gradient[0] = 0.1 * part;
    m.tone = is_steep ? TR_TONE_S_CURVE : TR_TONE_SRGB;
    m.sharpen = is_steep ? 0.6 : 0;
    m.sharpen_radius_px = 1;
    m.noise_sd = 2;
    m.seed = seed;
    m.jpeg_quality = 90;
    return m;
}

static bool render_photo(void *task, void *own, int i, tr_error *err) {
    (void)own;
    const rendering *r = task;
    char path[512];
    snprintf(path, sizeof path, "%.400s/%s", r->folder, r->cameras[i].file);
    return tr_scene_photo_write(&r->scene, i, path, err);
}

static bool write_photos(rendering *r, long n_threads, tr_error *err) {
    tr_parallel_work w = {.n_items = r->scene.n_cameras,
                          .workers.n_threads = (int)n_threads,
                          .work = render_photo,
                          .task = r};
    return tr_parallel(&w, err);
}

static void put_survey(const tr_survey_sim *sim, FILE *to) {
    const tr_survey_spec *spec = &sim->spec;
    fprintf(to, "survey: %s\nlens: lens.yaml\nsheets: [mat.yaml]\n", spec->id);
    if (spec->n_stuck > 0) fputs("stuck:\n", to);
    for (int i = 0; i < spec->n_stuck; i++) {
        fprintf(to, "  - { sheet: %s, id: %d, size_mm: %.17g }\n", spec->sheets[0].id,
                spec->stuck[i].id, spec->stuck[i].size_mm);
    }
    if (spec->n_bars > 0) fputs("bars:\n", to);
    for (int i = 0; i < spec->n_bars; i++) {
        const tr_bar *b = &spec->bars[i];
        fprintf(to,
                "  - { bar: %s, tag_family: %s, tags: [%d, %d], size_mm: %.17g,\n"
                "      distance_mm: %.17g, sd_mm: %.17g }\n",
                b->id, b->tag_family, b->tag[0], b->tag[1], b->size_mm, b->distance_mm, b->sd_mm);
    }
    for (int i = 0; i < spec->n_rules; i++) {
        const tr_rule *rule = &spec->rules[i];
        fprintf(to, "rules:\n  - { sheet: %s, x_mm: %.17g, y_mm: %.17g, sd_mm: %.17g }\n",
                spec->sheets[0].id, rule->measured_mm[0], rule->measured_mm[1], rule->sd_mm);
    }
    fputs("photos:\n", to);
    for (int i = 0; i < sim->survey.set.n_photos; i++) {
        fprintf(to, "  - %s\n", sim->survey.set.photos[i].file);
    }
}

static bool write_files(const tr_survey_sim *sim, const char *folder, tr_error *err) {
    char path[512];
    char *text = NULL;
    size_t size = 0;
    snprintf(path, sizeof path, "%.400s/lens.yaml", folder);
    if (!tr_lens_profile_write(path, sim->spec.lenses, err)) return false;
    snprintf(path, sizeof path, "%.400s/mat.yaml", folder);
    if (!tr_sheet_write(path, &sim->spec.sheets[0], err)) return false;
    FILE *to = open_memstream(&text, &size);
    if (!to) return tr_fail_memory(err);
    put_survey(sim, to);
    snprintf(path, sizeof path, "%.400s/survey.yaml", folder);
    bool ok = fclose(to) == 0 && tr_file_write(path, text, size, err);
    free(text);
    return ok;
}

bool tr_survey_scene_write(const tr_survey_sim *sim, const char *folder, bool is_steep,
                           long n_threads, tr_error *err) {
    rendering *r = calloc(1, sizeof *r);
    if (!r) return tr_fail_memory(err);
    double print_scale[2];
    for (int k = 0; k < 2; k++) {
        double nominal =
            k ? sim->spec.sheets[0].corners_mm[0].y : sim->spec.sheets[0].corners_mm[0].x;
        double true_mm = k ? sim->at_mm[TR_SURVEY_SIM_TAGS].y : sim->at_mm[TR_SURVEY_SIM_TAGS].x;
        print_scale[k] = true_mm / nominal - 1;
    }
    r->sim = sim;
    r->folder = folder;
    add_mat(r, print_scale);
    add_labels(r);
    add_bars(r);
    r->scene.lens = sim->true_lens;
    r->scene.sheets = r->sheets;
    r->scene.floor_reflectance = 0.3;
    r->scene.floor_texture = 0.5;
    r->scene.cameras = r->cameras;
    r->scene.n_cameras = sim->survey.set.n_photos;
    for (int i = 0; i < r->scene.n_cameras; i++) {
        tr_scene_camera *c = &r->cameras[i];
        snprintf(c->file, sizeof c->file, "%s", sim->survey.set.photos[i].file);
        c->vehicle_from_camera = sim->vehicle_from_camera[i];
        c->imaging = imaging_of(is_steep, 1, 100 + (uint64_t)i);
    }
    bool ok = write_files(sim, folder, err) && write_photos(r, n_threads, err);
    free(r);
    return ok;
}
