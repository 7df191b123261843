#include <stdio.h>
#include <string.h>

#include "base/array.h"
#include "check/targets.h"

/* Where the origin lies that its corners count from. */
static void put_corners(const tr_free_area *area, const double origin[2],
                        tr_free_area_result *out) {
    for (int i = 0; i < area->n_corners; i++) {
        out->corners_mm[i] =
            tr_v2(area->corners_mm[i].x + origin[0], area->corners_mm[i].y + origin[1]);
    }
}

bool tr_free_areas_set_up(const tr_job *job, tr_check_result *result, tr_error *err) {
    int n = job->layout.n_free_areas;
    result->free_areas = tr_array(n, sizeof *result->free_areas);
    if (!result->free_areas) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        const tr_free_area *area = &job->layout.free_areas[i];
        tr_free_area_result *out = &result->free_areas[i];
        const double origin[2] = {tr_stated_origin(job, &area->from[0], 0),
                                  tr_stated_origin(job, &area->from[1], 1)};
        *out = (tr_free_area_result){.height_mm = area->height_mm, .n_corners = area->n_corners};
        memcpy(out->name, area->name, sizeof out->name);
        memcpy(out->from, area->from, sizeof out->from);
        out->corners_mm = tr_array(area->n_corners, sizeof *out->corners_mm);
        if (!out->corners_mm) return tr_fail_memory(err);
        result->n_free_areas++;
        put_corners(area, origin, out);
    }
    return true;
}

void tr_free_areas_fill(const tr_solved *solved, const tr_vehicle *vehicle,
                        tr_check_result *result) {
    const tr_job *job = solved->job;
    for (int i = 0; i < result->n_free_areas; i++) {
        const tr_free_area *area = &job->layout.free_areas[i];
        tr_free_area_result *out = &result->free_areas[i];
        double origin[2];
        out->is_placed = true;
        for (int k = 0; k < 2; k++) {
            tr_vec3 at = {0, 0, 0};
            bool is = tr_check_origin(solved, vehicle, &area->from[k], &at);
            out->is_placed = out->is_placed && is;
            origin[k] = !is ? tr_stated_origin(job, &area->from[k], k) : k == 0 ? at.x : at.y;
        }
        put_corners(area, origin, out);
    }
}
