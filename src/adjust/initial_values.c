#include "adjust/initial_values.h"

#include <stdlib.h>
#include <string.h>

#include "base/groups.h"

/* The second pose of a sheet is as good as the first where its rms is below this many times the
   first's, or within the noise of marks: both are then asked who else in the photo agrees. */
static const double AMBIGUOUS_RATIO = 4.0;
static const double AMBIGUOUS_RMS_PX = 0.3;

/* One sheet in one photo. */
typedef struct {
    int photo;
    const tr_sheet_view *view;
    double extent_px; /* largest extent of its marks: how clearly it is seen */
} photo_view;

/* All of them, in the order of photos; those of photo i are first[i] .. first[i + 1] - 1. */
typedef struct {
    photo_view *all;
    int *first;
    int n;
} photo_views;

static void release_views(photo_views *s) {
    free(s->all);
    free(s->first);
}

/* Extents of the views of one photo. low, high: scratch, one a sheet. */
static void measure_extents(const tr_photo_marks *photo, tr_vec2 *low, tr_vec2 *high,
                            photo_view *out) {
    for (int i = 0; i < photo->n_views; i++) {
        low[photo->views[i].sheet] = tr_v2(INFINITY, INFINITY);
        high[photo->views[i].sheet] = tr_v2(-INFINITY, -INFINITY);
    }
    for (int i = 0; i < photo->n_marks; i++) {
        const tr_mark *m = &photo->marks[i];
        tr_vec2 *lo = &low[m->sheet];
        tr_vec2 *hi = &high[m->sheet];
        for (int k = 0; k < m->n_points; k++) {
            *lo = tr_v2(fmin(lo->x, m->uv_px[k].x), fmin(lo->y, m->uv_px[k].y));
            *hi = tr_v2(fmax(hi->x, m->uv_px[k].x), fmax(hi->y, m->uv_px[k].y));
        }
    }
    for (int i = 0; i < photo->n_views; i++) {
        int sheet = photo->views[i].sheet;
        out[i].extent_px =
            high[sheet].x >= low[sheet].x ? tr_v2_norm(tr_v2_sub(high[sheet], low[sheet])) : 0;
    }
}

static bool list_views(const tr_adjust_input *in, photo_views *out, tr_error *err) {
    int n = 0;
    for (int i = 0; i < in->n_photos; i++) n += in->photos[i] ? in->photos[i]->n_views : 0;
    tr_vec2 *low = calloc(2 * (size_t)in->n_sheets + 1, sizeof *low);
    *out = (photo_views){.all = calloc((size_t)n + 1, sizeof *out->all),
                         .first = calloc((size_t)in->n_photos + 1, sizeof *out->first)};
    if (!low || !out->all || !out->first) {
        free(low);
        return tr_fail_memory(err);
    }
    for (int i = 0; i < in->n_photos; i++) {
        const tr_photo_marks *photo = in->photos[i];
        out->first[i] = out->n;
        for (int k = 0; photo && k < photo->n_views; k++) {
            out->all[out->n++] = (photo_view){i, &photo->views[k], 0};
        }
        if (photo) measure_extents(photo, low, low + in->n_sheets, out->all + out->first[i]);
    }
    out->first[in->n_photos] = out->n;
    free(low);
    return true;
}

static bool is_ambiguous(const tr_sheet_view *view) {
    return view->n_poses == 2 &&
           view->pose[1].rms_px < fmax(AMBIGUOUS_RMS_PX, AMBIGUOUS_RATIO * view->pose[0].rms_px);
}

static bool is_on_floor(const tr_adjust_input *in, int sheet) {
    return in->sheets[sheet].support == TR_ON_FLOOR;
}

/* How well a camera, placed by one sheet, goes with the other floor sheets of the photo: the mean
   of their normals' dot products with the floor's (at best 1), weighted by extent. */
static double agreement(const tr_adjust_input *in, const photo_views *seen,
                        const photo_view *anchor, tr_pose camera_from_world) {
    tr_vec3 up = tr_m3_column(camera_from_world.R, 2);
    double sum = 0;
    double weight = 0;
    for (int i = seen->first[anchor->photo]; i < seen->first[anchor->photo + 1]; i++) {
        const tr_sheet_view *view = seen->all[i].view;
        if (view == anchor->view || !is_on_floor(in, view->sheet)) continue;
        double best = tr_v3_dot(up, tr_m3_column(view->pose[0].camera_from_plane.R, 2));
        if (is_ambiguous(view)) {
            best = fmax(best, tr_v3_dot(up, tr_m3_column(view->pose[1].camera_from_plane.R, 2)));
        }
        sum += seen->all[i].extent_px * best;
        weight += seen->all[i].extent_px;
    }
    return weight > 0 ? sum / weight : 0;
}

static void place_photo(const tr_adjust_input *in, tr_adjustment *out, const photo_views *seen,
                        const photo_view *by) {
    const tr_sheet_view *view = by->view;
    tr_pose sheet_from_world = tr_pose_inverse(out->net.sheets[view->sheet].world_from_sheet);
    tr_pose best = tr_pose_mul(view->pose[0].camera_from_plane, sheet_from_world);
    if (is_ambiguous(view)) {
        tr_pose other = tr_pose_mul(view->pose[1].camera_from_plane, sheet_from_world);
        if (agreement(in, seen, by, other) > agreement(in, seen, by, best)) best = other;
    }
    out->net.rigs[by->photo].rig_from_world = best;
    out->photo_placed[by->photo] = true;
}

bool tr_initial_floor_pose(const tr_adjust_input *in, const tr_adjustment *out, int photo,
                           const tr_sheet_view *view, tr_pose *world_from_sheet) {
    const tr_sheet *sheet = &in->sheets[view->sheet];
    tr_pose world_from_camera = tr_pose_inverse(out->net.rigs[photo].rig_from_world);
    tr_vec2 on_sheet[4];
    tr_vec2 on_floor[4];
    for (int k = 0; k < 4; k++) {
        on_sheet[k] = tr_v2((k == 1 || k == 2 ? 0.5 : -0.5) * sheet->width_mm,
                            (k >= 2 ? 0.5 : -0.5) * sheet->height_mm);
        tr_vec3 ray =
            tr_m3_apply(world_from_camera.R, tr_pose_apply(view->pose[0].camera_from_plane,
                                                           tr_v3(on_sheet[k].x, on_sheet[k].y, 0)));
        double depth = -world_from_camera.t_mm.z / ray.z;
        if (!(ray.z < 0) || !(depth > 0)) return false;
        on_floor[k] = tr_v2(world_from_camera.t_mm.x + depth * ray.x,
                            world_from_camera.t_mm.y + depth * ray.y);
    }
    tr_plane_motion floor_from_sheet = tr_plane_fit(on_sheet, on_floor, 4);
    tr_vec2 origin = tr_plane_motion_apply(floor_from_sheet, tr_v2(0, 0));
    world_from_sheet->R = tr_rotation_z(floor_from_sheet.angle_rad);
    world_from_sheet->t_mm = tr_v3(origin.x, origin.y, 0);
    return true;
}

static void place_sheet(const tr_adjust_input *in, tr_adjustment *out, const photo_view *by) {
    const tr_sheet_view *view = by->view;
    tr_net_sheet *sheet = &out->net.sheets[view->sheet];
    bool is_floor = is_on_floor(in, view->sheet);
    if (!is_floor || !tr_initial_floor_pose(in, out, by->photo, view, &sheet->world_from_sheet)) {
        tr_pose world_from_camera = tr_pose_inverse(out->net.rigs[by->photo].rig_from_world);
        sheet->world_from_sheet = tr_pose_mul(world_from_camera, view->pose[0].camera_from_plane);
    }
    out->sheet_placed[view->sheet] = true;
}

/* The floor sheet to which most marks are connected, and of these the clearest; -1: none. group,
   marks: scratch of n_photos + n_sheets (sheets behind the photos); clarity: of n_sheets, all zero.
 */
static int choose_datum_sheet(const tr_adjust_input *in, const photo_views *seen, int *group,
                              int *marks, double *clarity) {
    int datum_sheet = -1;
    tr_groups_init(group, in->n_photos + in->n_sheets);
    memset(marks, 0, (size_t)(in->n_photos + in->n_sheets) * sizeof *marks);
    for (int i = 0; i < seen->n; i++) {
        const photo_view *s = &seen->all[i];
        tr_groups_join(group, s->photo, in->n_photos + s->view->sheet);
        clarity[s->view->sheet] += s->extent_px;
    }
    for (int i = 0; i < in->n_photos; i++) {
        if (in->photos[i]) marks[tr_group_of(group, i)] += in->photos[i]->n_marks;
    }
    for (int i = 0; i < in->n_sheets; i++) {
        int most = datum_sheet < 0 ? 0 : marks[tr_group_of(group, in->n_photos + datum_sheet)];
        int n = marks[tr_group_of(group, in->n_photos + i)];
        if (!is_on_floor(in, i) || n == 0) continue;
        if (n > most || (n == most && clarity[i] > clarity[datum_sheet])) datum_sheet = i;
    }
    return datum_sheet;
}

static bool find_datum_sheet(const tr_adjust_input *in, const photo_views *seen, int *datum_sheet,
                             tr_error *err) {
    size_t n = (size_t)in->n_photos + (size_t)in->n_sheets;
    int *group = calloc(2 * n + 1, sizeof(int));
    double *clarity = calloc((size_t)in->n_sheets + 1, sizeof *clarity);
    bool ok = group && clarity;
    if (ok) *datum_sheet = choose_datum_sheet(in, seen, group, group + n, clarity);
    free(group);
    free(clarity);
    return ok || tr_fail_memory(err);
}

bool tr_initial_values(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    photo_views seen = {0};
    bool ok = false;
    if (!list_views(in, &seen, err) || !find_datum_sheet(in, &seen, &out->datum_sheet, err))
        goto out;
    if (out->datum_sheet < 0) {
        tr_fail(err, TR_NO_MEASURE,
                "no mat or plate of this job was found in any photo; check that the photos and "
                "the sheet files belong to this job");
        goto out;
    }
    out->sheet_placed[out->datum_sheet] = true;
    out->net.sheets[out->datum_sheet].world_from_sheet = tr_pose_identity();
    for (;;) {
        const photo_view *clearest = NULL;
        for (int i = 0; i < seen.n; i++) {
            const photo_view *s = &seen.all[i];
            if (out->photo_placed[s->photo] == out->sheet_placed[s->view->sheet]) continue;
            if (s->extent_px > (clearest ? clearest->extent_px : 0)) clearest = s;
        }
        if (!clearest) break;
        if (out->photo_placed[clearest->photo])
            place_sheet(in, out, clearest);
        else
            place_photo(in, out, &seen, clearest);
    }
    ok = true;
out:
    release_views(&seen);
    return ok;
}
