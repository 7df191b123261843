/* The photos of a trap: its scene rendered, and what happens to the photo afterwards. */
#include "tools/campaign/trap.h"

#include <stdlib.h>
#include <string.h>

enum { MAX_SHEETS = TR_SIM_MAX_ITEMS + 1, POSTER_TAGS = 4 };

/* ---- the scene ---- */

/* A page of tags that are none of the job's; tags: POSTER_TAGS places. */
static tr_scene_sheet make_poster(const trap *t, tr_tag *tags) {
    tr_scene_sheet p = {.vehicle_from_sheet = t->vehicle_from_poster, .checker_mm = 1};
    for (int i = 0; i < POSTER_TAGS; i++) {
        tags[i] = (tr_tag){
            .id = 200 + i, .size_mm = 180, .centre_mm = {i % 2 ? 130 : -130, i / 2 ? 130 : -130}};
    }
    p.sheet = (tr_sheet){.id = "POSTER",
                         .title = "POSTER",
                         .kind = t->is_poster_upright ? TR_SHEET_BOARD : TR_SHEET_MAT,
                         .width_mm = 560,
                         .height_mm = 560,
                         .tag_family = "tag36h11",
                         .tags = tags,
                         .n_tags = POSTER_TAGS};
    return p;
}

static tr_scene_sheet lie(const tr_sim *sim, const tr_sim_item *item, double plate_part) {
    bool is_plate = item->sheet >= TR_SIM_PLATE && item->sheet < TR_SIM_MAT_2;
    tr_scene_sheet s = {.sheet = sim->printed[item->sheet],
                        .checker_mm = is_plate ? 22 * plate_part : 40,
                        .vehicle_from_sheet = item->vehicle_from_sheet};
    memcpy(s.print_scale, item->print_scale, sizeof s.print_scale);
    memcpy(s.bow_mm, item->bow_mm, sizeof s.bow_mm);
    s.relief = item->relief;
    return s;
}

static bool take(const trap *t, const tr_sim *sim, int i, tr_image *out, tr_error *err) {
    const trap_look *look = &t->look[i];
    const tr_sim_photo *photo = &sim->photos[i];
    tr_scene_sheet sheets[MAX_SHEETS];
    tr_solid solids[2];
    int n_solids = 0;
    if (look->has_solid) solids[n_solids++] = look->solid;
    if (t->has_cover) solids[n_solids++] = t->cover;
    tr_tag poster_tags[POSTER_TAGS];
    tr_shadow shadow = look->shadow;
    /* The photo's lens has the exposure's shift and focal factor already. */
    tr_scene_camera camera = {.vehicle_from_camera = sim->vehicle_from_camera[i],
                              .turn_rad = photo->exposure.turn_rad,
                              .travel_mm = photo->exposure.travel_mm,
                              .imaging = look->imaging};
    tr_scene scene = {.lens = photo->lens,
                      .sheets = sheets,
                      .solids = solids,
                      .n_solids = n_solids,
                      .shadows = &shadow,
                      .n_shadows = look->has_shadow,
                      .floor_reflectance = 0.3,
                      .floor_texture = 0.5,
                      .cameras = &camera,
                      .n_cameras = 1};
    for (int k = 0; k < photo->n_items; k++) {
        sheets[scene.n_sheets++] = lie(sim, &photo->items[k], t->sim.scene.plate_part);
    }
    if (t->has_poster) sheets[scene.n_sheets++] = make_poster(t, poster_tags);
    return tr_scene_photo(&scene, 0, out, NULL, err);
}

/* ---- afterwards ---- */

/* A lamp's reflection: light from a line through the tag's middle on, soft within a tenth of the
   tag, out to twice its size. */
static void add_glare(const trap_look *look, const tr_sim *sim, int photo, tr_image *image) {
    const tr_tag *tag = &sim->printed[TR_SIM_MAT].tags[look->glare_on - 1];
    const tr_sim_item *mat = &sim->photos[photo].items[0];
    tr_vec2 middle;
    tr_vec2 corner;
    if (mat->sheet != TR_SIM_MAT || !tr_sim_project(sim, photo, mat, tag->centre_mm, &middle) ||
        !tr_sim_project(sim, photo, mat, tr_tag_corner(tag, 0), &corner)) {
        return;
    }
    double size = 2 * tr_v2_norm(tr_v2_sub(corner, middle));
    tr_vec2 side = {cos(look->glare_rad), sin(look->glare_rad)};
    for (int v = 0; v < image->height; v++) {
        for (int u = 0; u < image->width; u++) {
            tr_vec2 d = tr_v2_sub(tr_v2(u, v), middle);
            double along = tr_v2_dot(d, side) / (0.1 * size);
            double outward = (1.5 * size - tr_v2_norm(d)) / (0.5 * size);
            double part = fmax(0, fmin(1, along)) * fmax(0, fmin(1, outward));
            uint8_t *px = &image->px[(long)v * image->width + u];
            *px = (uint8_t)lrint(*px + look->glare_strength * part * (255 - *px));
        }
    }
}

static bool mirror(tr_image *image) {
    for (int v = 0; v < image->height; v++) {
        uint8_t *row = image->px + (long)v * image->width;
        for (int a = 0, b = image->width - 1; a < b; a++, b--) {
            uint8_t left = row[a];
            row[a] = row[b];
            row[b] = left;
        }
    }
    return true;
}

/* A quarter clockwise. */
static bool turn(tr_image *image, tr_error *err) {
    tr_image out;
    if (!tr_image_init(&out, image->height, image->width, err)) return false;
    for (int v = 0; v < out.height; v++) {
        for (int u = 0; u < out.width; u++) {
            out.px[(long)v * out.width + u] =
                image->px[(long)(image->height - 1 - u) * image->width + v];
        }
    }
    tr_image_release(image);
    *image = out;
    return true;
}

/* The middle nine tenths. */
static bool cut(tr_image *image, tr_error *err) {
    tr_image out;
    int left = image->width / 20;
    int top = image->height / 20;
    if (!tr_image_init(&out, image->width - 2 * left, image->height - 2 * top, err)) return false;
    for (int v = 0; v < out.height; v++) {
        memcpy(out.px + (long)v * out.width, tr_image_row(image, v + top) + left,
               (size_t)out.width);
    }
    tr_image_release(image);
    *image = out;
    return true;
}

static bool shrink(tr_image *image, tr_error *err) {
    tr_image out;
    if (!tr_image_shrink(image, 2, &out, err)) return false;
    tr_image_release(image);
    *image = out;
    return true;
}

static bool edit(trap_edit how, tr_image *image, tr_error *err) {
    switch (how) {
    case TRAP_AS_TAKEN: return true;
    case TRAP_MIRRORED: return mirror(image);
    case TRAP_UPRIGHT: return turn(image, err);
    case TRAP_CUT: return cut(image, err);
    case TRAP_SHRUNK: return shrink(image, err);
    }
    return true;
}

bool trap_render(const trap *t, const tr_sim *sim, const tr_sim *other, char *const *files,
                 int n_files, tr_error *err) {
    for (int i = 0; i < sim->check.set.n_photos && i < n_files; i++) {
        const tr_sim *from = t->is_of_other[i] ? other : sim;
        const trap_look *look = &t->look[i];
        bool is_repeated = t->repeated == i + 1 && sim->check.set.n_photos < n_files;
        tr_image image = {0};
        if (!take(t, from, i, &image, err)) return false;
        if (look->glare_on > 0) add_glare(look, from, i, &image);
        /* Sent by a messenger, the same photo comes back with other bytes. */
        bool ok = edit(t->edit[i], &image, err) &&
                  tr_image_write_jpeg(&image, look->imaging.jpeg_quality, files[i], err) &&
                  (!is_repeated || tr_image_write_jpeg(&image, look->imaging.jpeg_quality - 10,
                                                       files[n_files - 1], err));
        tr_image_release(&image);
        if (!ok) return false;
    }
    return true;
}
