#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "plan/plan.h"

/* Owned: n items of size bytes. NULL: memory ran out. */
static void *copy_of(const void *items, int n, size_t size) {
    void *copy = tr_array(n, size);
    if (copy && n > 0) memcpy(copy, items, (size_t)n * size);
    return copy;
}

/* What the network needs of a photo that was measured. */
static bool add_measured(const tr_photo *from, tr_photo_set *set, tr_error *err) {
    tr_photo *photo = tr_photo_set_add(set, from->file, err);
    if (!photo) return false;
    memcpy(photo->sha256, from->sha256, sizeof photo->sha256);
    photo->is_readable = from->is_readable;
    photo->lens = from->lens;
    photo->position = from->position;
    photo->width_px = from->width_px;
    photo->height_px = from->height_px;
    photo->exif = from->exif;
    photo->quality = from->quality;
    photo->marks.n_marks = from->marks.n_marks;
    photo->marks.n_views = from->marks.n_views;
    photo->marks.is_mirrored = from->marks.is_mirrored;
    photo->marks.marks = copy_of(from->marks.marks, from->marks.n_marks, sizeof(tr_mark));
    photo->marks.views = copy_of(from->marks.views, from->marks.n_views, sizeof(tr_sheet_view));
    return (photo->marks.marks && photo->marks.views) || tr_fail_memory(err);
}

bool tr_plan_idealised(const tr_plan_scene *scene, const tr_check *check, tr_check *out,
                       tr_error *err) {
    if (!tr_check_init(scene->job, out, err)) return false;
    for (int i = 0; i < check->set.n_photos; i++) {
        const tr_photo *from = &check->set.photos[i];
        if (!from->is_used) continue;
        if (!add_measured(from, &out->set, err)) return false;
        tr_photo *photo = &out->set.photos[out->set.n_photos - 1];
        /* Without a vehicle's frame nobody knows where the cameras are in it. */
        if (!(tr_m3_det(from->camera_from_vehicle.R) > 0)) continue;
        /* Other numbers than the stations have. */
        tr_plan_idealise(scene, from->position, from->lens, from->camera_from_vehicle,
                         i + TR_PLAN_ALL_STATIONS, &photo->marks);
    }
    return true;
}

static bool add_planned(const tr_plan_scene *scene, const tr_station *station, int number,
                        tr_photo_set *set, tr_planned_photo *planned, tr_error *err) {
    char name[32];
    snprintf(name, sizeof name, "station %d", number + 1);
    tr_photo *photo = tr_photo_set_add(set, name, err);
    if (!photo) return false;
    photo->is_readable = true;
    photo->position = station->position;
    photo->width_px = scene->job->lenses[0].width_px;
    photo->height_px = scene->job->lenses[0].height_px;
    planned->station = *station;
    if (!tr_plan_see(scene, station, number, &photo->marks, &planned->sees, err)) return false;
    planned->n_marks = photo->marks.n_marks;
    return true;
}

static bool add_photos(const tr_plan_scene *scene, const tr_check *measured,
                       const tr_station *stations, int n, tr_check *check, tr_plan *out,
                       tr_error *err) {
    out->photos = tr_array(n, sizeof *out->photos);
    if (!out->photos) return tr_fail_memory(err);
    for (int i = 0; measured && i < measured->set.n_photos; i++) {
        if (!add_measured(&measured->set.photos[i], &check->set, err)) return false;
    }
    for (int i = 0; i < n; i++) {
        if (!add_planned(scene, &stations[i], i, &check->set, &out->photos[i], err)) return false;
        out->n_photos++;
    }
    return true;
}

/* One axis of a target (relation -1) or of a relation. */
static void compare_axis(tr_plan *plan, int target, int relation, tr_axis axis,
                         const tr_axis_result *r) {
    tr_plan_worst *worst = &plan->worst;
    bool is_measured = r->is_measured && plan->result.why.code == TR_OK;
    double share = is_measured ? r->u95 / r->limit : 0;
    if (!r->is_judged || !worst->is_measured) return;
    if (is_measured && share <= worst->share) return;
    *worst = (tr_plan_worst){target, relation, axis, is_measured, share};
}

static void find_worst(tr_plan *plan) {
    const tr_check_result *result = &plan->result;
    plan->worst = (tr_plan_worst){.target = -1, .relation = -1, .is_measured = true};
    for (int i = 0; i < result->n_targets; i++) {
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            compare_axis(plan, i, -1, k, &result->targets[i].axis[k]);
        }
    }
    for (int i = 0; i < result->n_relations; i++) {
        const tr_relation_result *r = &result->relations[i];
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            compare_axis(plan, r->targets[1], i, k, &r->axis[k]);
        }
    }
    plan->reaches_aim =
        result->why.code == TR_OK && plan->worst.is_measured && plan->worst.share <= TR_PLAN_AIM;
}

static bool predict(const tr_plan_scene *scene, const tr_check *measured,
                    const tr_station *stations, int n, tr_plan *out, tr_error *err) {
    tr_check check;
    tr_error why = {0};
    *out = (tr_plan){.n_positions = tr_plan_positions(scene)};
    bool ok = tr_check_init(scene->job, &check, err) &&
              add_photos(scene, measured, stations, n, &check, out, err);
    if (ok) {
        bool is_measured = tr_check_evaluate(scene->job, &check, &why);
        if (!is_measured && why.code == TR_NO_MEMORY) ok = tr_fail_memory(err);
        ok = ok && tr_check_finish(&check, is_measured ? NULL : &why, err);
    }
    if (ok) {
        out->result = tr_check_take_result(&check);
        find_worst(out);
    }
    tr_check_release(&check);
    return ok;
}

bool tr_plan_predict(const tr_plan_scene *scene, const tr_station *stations, int n, tr_plan *out,
                     tr_error *err) {
    return predict(scene, NULL, stations, n, out, err);
}

bool tr_plan_predict_after(const tr_plan_scene *scene, const tr_check *check,
                           const tr_station *stations, int n, tr_plan *out, tr_error *err) {
    return predict(scene, check, stations, n, out, err);
}

void tr_plan_release(tr_plan *plan) {
    free(plan->photos);
    tr_check_result_release(&plan->result);
    *plan = (tr_plan){0};
}
