#include "adjust/start.h"

#include <stdlib.h>

/* The second pose of a sheet is as good as the first where its rms is below this many times the
   first's, or within the noise of marks: both are then asked who else in the photo agrees. */
static const double AMBIGUOUS_RATIO = 4.0;
static const double AMBIGUOUS_RMS_PX = 0.3;

/* Largest extent of a sheet's marks in a photo, px: how clearly it is seen. */
static double extent_px(const tr_photo_marks *photo, int sheet) {
    tr_vec2 lo = {INFINITY, INFINITY};
    tr_vec2 hi = {-INFINITY, -INFINITY};
    for (int i = 0; i < photo->n_marks; i++) {
        const tr_mark *m = &photo->marks[i];
        if (m->sheet != sheet) continue;
        for (int k = 0; k < m->n_points; k++) {
            lo = tr_v2(fmin(lo.x, m->uv_px[k].x), fmin(lo.y, m->uv_px[k].y));
            hi = tr_v2(fmax(hi.x, m->uv_px[k].x), fmax(hi.y, m->uv_px[k].y));
        }
    }
    return hi.x >= lo.x ? tr_v2_norm(tr_v2_sub(hi, lo)) : 0;
}

static bool is_ambiguous(const tr_sheet_view *view) {
    return view->n_poses == 2 &&
           view->pose[1].rms_px < fmax(AMBIGUOUS_RMS_PX, AMBIGUOUS_RATIO * view->pose[0].rms_px);
}

/* How well a camera, placed by one sheet, goes with the other floor sheets of the photo: the mean
   of their normals' dot products with the floor's (at best 1), weighted by extent. */
static double agreement(const tr_adjust_input *in, int photo, const tr_sheet_view *anchor,
                        tr_pose camera_from_world) {
    const tr_photo_marks *marks = in->photos[photo];
    tr_vec3 up = tr_m3_column(camera_from_world.R, 2);
    double sum = 0;
    double weight = 0;
    for (int i = 0; i < marks->n_views; i++) {
        const tr_sheet_view *view = &marks->views[i];
        if (view == anchor || !tr_sheet_lies_on_floor(&in->sheets[view->sheet])) continue;
        double best = tr_v3_dot(up, tr_m3_column(view->pose[0].camera_from_plane.R, 2));
        if (is_ambiguous(view)) {
            best = fmax(best, tr_v3_dot(up, tr_m3_column(view->pose[1].camera_from_plane.R, 2)));
        }
        double w = extent_px(marks, view->sheet);
        sum += w * best;
        weight += w;
    }
    return weight > 0 ? sum / weight : 0;
}

static void place_photo(const tr_adjust_input *in, tr_adjustment *out, int photo,
                        const tr_sheet_view *view) {
    tr_pose sheet_from_world = tr_pose_inverse(out->net.sheets[view->sheet].world_from_sheet);
    tr_pose best = tr_pose_mul(view->pose[0].camera_from_plane, sheet_from_world);
    if (is_ambiguous(view)) {
        tr_pose other = tr_pose_mul(view->pose[1].camera_from_plane, sheet_from_world);
        if (agreement(in, photo, view, other) > agreement(in, photo, view, best)) best = other;
    }
    out->net.rigs[photo].rig_from_world = best;
    out->photo_placed[photo] = true;
}

bool tr_adjust_floor_pose(const tr_adjust_input *in, const tr_adjustment *out, int photo,
                          const tr_sheet_view *view, tr_pose *world_from_sheet) {
    const tr_sheet *sheet = &in->sheets[view->sheet];
    tr_pose world_from_camera = tr_pose_inverse(out->net.rigs[photo].rig_from_world);
    tr_vec2 on_sheet[4];
    tr_vec2 on_floor[4];
    tr_vec2 mean_sheet = {0, 0};
    tr_vec2 mean_floor = {0, 0};
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
        mean_sheet = tr_v2_add(mean_sheet, tr_v2_scale(0.25, on_sheet[k]));
        mean_floor = tr_v2_add(mean_floor, tr_v2_scale(0.25, on_floor[k]));
    }
    /* Angle of the plane rotation that fits best: atan2 of sums of cross and dot products. */
    double cross = 0;
    double dot = 0;
    for (int k = 0; k < 4; k++) {
        tr_vec2 a = tr_v2_sub(on_sheet[k], mean_sheet);
        tr_vec2 b = tr_v2_sub(on_floor[k], mean_floor);
        cross += tr_v2_cross(a, b);
        dot += tr_v2_dot(a, b);
    }
    world_from_sheet->R = tr_rotation_z(atan2(cross, dot));
    tr_vec3 m = tr_m3_apply(world_from_sheet->R, tr_v3(mean_sheet.x, mean_sheet.y, 0));
    world_from_sheet->t_mm = tr_v3(mean_floor.x - m.x, mean_floor.y - m.y, 0);
    return true;
}

static void place_sheet(const tr_adjust_input *in, tr_adjustment *out, int photo,
                        const tr_sheet_view *view) {
    tr_net_sheet *sheet = &out->net.sheets[view->sheet];
    bool is_floor = tr_sheet_lies_on_floor(&in->sheets[view->sheet]);
    if (!is_floor || !tr_adjust_floor_pose(in, out, photo, view, &sheet->world_from_sheet)) {
        tr_pose world_from_camera = tr_pose_inverse(out->net.rigs[photo].rig_from_world);
        sheet->world_from_sheet = tr_pose_mul(world_from_camera, view->pose[0].camera_from_plane);
    }
    out->sheet_placed[view->sheet] = true;
}

/* Marks that hang together with a sheet over common photos. seen: scratch, photos then sheets. */
static int connected_marks(const tr_adjust_input *in, int root, bool *seen) {
    int total = 0;
    bool grew = true;
    for (int i = 0; i < in->n_photos + in->n_sheets; i++) seen[i] = false;
    seen[in->n_photos + root] = true;
    while (grew) {
        grew = false;
        for (int i = 0; i < in->n_photos; i++) {
            if (!in->photos[i] || seen[i]) continue;
            const tr_photo_marks *marks = in->photos[i];
            bool touches = false;
            for (int k = 0; k < marks->n_views; k++) {
                touches |= seen[in->n_photos + marks->views[k].sheet];
            }
            if (!touches) continue;
            seen[i] = true;
            grew = true;
            total += marks->n_marks;
            for (int k = 0; k < marks->n_views; k++)
                seen[in->n_photos + marks->views[k].sheet] = true;
        }
    }
    return total;
}

/* Sum of a sheet's extents over all photos. */
static double clarity(const tr_adjust_input *in, int sheet) {
    double sum = 0;
    for (int i = 0; i < in->n_photos; i++) {
        if (in->photos[i]) sum += extent_px(in->photos[i], sheet);
    }
    return sum;
}

static int choose_root(const tr_adjust_input *in, bool *seen) {
    int root = -1;
    int most = 0;
    double clearest = 0;
    for (int i = 0; i < in->n_sheets; i++) {
        if (!tr_sheet_lies_on_floor(&in->sheets[i])) continue;
        int marks = connected_marks(in, i, seen);
        double clear = clarity(in, i);
        if (marks > most || (marks == most && marks > 0 && clear > clearest)) {
            root = i;
            most = marks;
            clearest = clear;
        }
    }
    return root;
}

bool tr_adjust_start(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    bool *seen = calloc((size_t)(in->n_photos + in->n_sheets) + 1, sizeof *seen);
    if (!seen) return tr_fail_memory(err);
    out->root = choose_root(in, seen);
    free(seen);
    if (out->root < 0) {
        return tr_fail(
            err, TR_NO_MEASURE,
            "no mat or plate of this job was found in any photo; check that the photos and "
            "the sheet files belong to this job");
    }
    out->sheet_placed[out->root] = true;
    out->net.sheets[out->root].world_from_sheet = tr_pose_identity();
    for (;;) {
        int photo = -1;
        const tr_sheet_view *strongest = NULL;
        double strength = 0;
        for (int i = 0; i < in->n_photos; i++) {
            if (!in->photos[i]) continue;
            for (int k = 0; k < in->photos[i]->n_views; k++) {
                const tr_sheet_view *view = &in->photos[i]->views[k];
                if (out->photo_placed[i] == out->sheet_placed[view->sheet]) continue;
                double s = extent_px(in->photos[i], view->sheet);
                if (s > strength) {
                    strength = s;
                    strongest = view;
                    photo = i;
                }
            }
        }
        if (!strongest) return true;
        if (out->photo_placed[photo])
            place_sheet(in, out, photo, strongest);
        else
            place_photo(in, out, photo, strongest);
    }
}
