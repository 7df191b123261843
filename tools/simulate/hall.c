#include "tools/simulate/hall.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lens/planar.h"
#include "tools/simulate/simulate.h"

enum { MAT_TAGS = 8, MAT_CORNERS = 8, PLATE_CORNERS = 4, MAX_CELLS = 256 };

static const double WHEELBASE_MM = 2700;
static const double TRACK_MM = 1750;
/* Mats lie in a grid of this pitch, but not under the vehicle. */
static const tr_vec2 PITCH_MM = {1300, 1900};
static const tr_vec2 VEHICLE_HALF_MM = {2300, 1500};
/* The photographer stands this far from the sheet that he aims at, and sees so far. */
static const double STAND_OFF_MM = 2600;
static const double EYE_MM = 1600;
static const double REACH_MM = 5200;
/* A mark's standard deviation, px per mm of distance. */
static const double SD_PER_MM = 0.008 / 1000;
/* Where photos are taken from: each is turned by the golden angle against the one before. */
static const double GOLDEN_ANGLE_RAD = 2.399963;

/* ---- the job ---- */

static bool make_sheet(tr_sheet *s, const char *id, tr_sheet_kind kind, tr_vec2 size_mm, int n_tags,
                       int n_corners) {
    snprintf(s->id, sizeof s->id, "%s", id);
    snprintf(s->title, sizeof s->title, "%s", id);
    snprintf(s->tag_family, sizeof s->tag_family, "tag36h11");
    s->kind = kind;
    s->width_mm = size_mm.x;
    s->height_mm = size_mm.y;
    s->path = strdup("simulated.yaml");
    s->tags = calloc((size_t)n_tags, sizeof *s->tags);
    s->corners_mm = calloc((size_t)n_corners, sizeof *s->corners_mm);
    s->n_tags = n_tags;
    s->n_corners = n_corners;
    return s->path && s->tags && s->corners_mm;
}

static bool make_plate(tr_sheet *s, int number) {
    char id[32];
    snprintf(id, sizeof id, "PLATE-%d", number + 1);
    if (!make_sheet(s, id, TR_SHEET_PLATE, tr_v2(250, 200), 1, PLATE_CORNERS)) return false;
    s->tags[0] = (tr_tag){.id = number, .size_mm = 120};
    for (int k = 0; k < PLATE_CORNERS; k++) {
        s->corners_mm[k] = tr_v2(k % 2 ? 95 : -95, k < 2 ? 70 : -70);
    }
    return true;
}

static bool make_mat(tr_sheet *s, int number) {
    static const tr_vec2 tags[MAT_TAGS] = {{-680, 380}, {0, 380},     {680, 380}, {-680, 0},
                                           {680, 0},    {-680, -380}, {0, -380},  {680, -380}};
    static const tr_vec2 corners[MAT_CORNERS] = {{-400, 420},  {400, 420},  {-400, -420},
                                                 {400, -420},  {-740, 190}, {740, 190},
                                                 {-740, -190}, {740, -190}};
    char id[32];
    snprintf(id, sizeof id, "MAT-%02d", number + 1);
    if (!make_sheet(s, id, TR_SHEET_MAT, tr_v2(1600, 1000), MAT_TAGS, MAT_CORNERS)) return false;
    for (int k = 0; k < MAT_TAGS; k++) {
        s->tags[k] = (tr_tag){
            .id = TR_N_POINTS + MAT_TAGS * number + k, .centre_mm = tags[k], .size_mm = 160};
    }
    memcpy(s->corners_mm, corners, sizeof corners);
    return true;
}

static void make_lens(tr_lens *lens) {
    static const double value[TR_LENS_N] = {3012,  3011, 2010,  1512, 0.083,
                                            -0.21, 4e-4, -2e-4, 0.137};
    static const double sd[TR_LENS_N] = {1.2, 1.2, 1.5, 1.5, 1.5e-3, 9e-3, 8e-5, 8e-5, 1.6e-2};
    snprintf(lens->id, sizeof lens->id, "simulated");
    lens->width_px = 4032;
    lens->height_px = 3024;
    memcpy(lens->param, value, sizeof value);
    lens->has_covariance = true;
    for (int i = 0; i < TR_LENS_N; i++) lens->covariance[i * (TR_LENS_N + 1)] = sd[i] * sd[i];
}

/* Where the mats lie: the cells of the grid that are nearest to the vehicle, from the inside out.
 */
static int choose_cells(int n, tr_vec2 *cells) {
    int count = 0;
    for (int i = -7; i <= 8; i++) {
        for (int k = -7; k <= 7; k++) {
            tr_vec2 p = {PITCH_MM.x * i, PITCH_MM.y * k};
            if (fabs(p.x - WHEELBASE_MM / 2) < VEHICLE_HALF_MM.x && fabs(p.y) < VEHICLE_HALF_MM.y) {
                continue;
            }
            double far = hypot(p.x - WHEELBASE_MM / 2, p.y);
            int at = count++;
            while (at > 0 && hypot(cells[at - 1].x - WHEELBASE_MM / 2, cells[at - 1].y) > far) {
                cells[at] = cells[at - 1];
                at--;
            }
            cells[at] = p;
        }
    }
    return n < count ? n : count;
}

static bool make_job(const tr_hall_options *o, tr_hall *out, tr_random *random) {
    static const tr_vec2 wheel[TR_N_POINTS] = {[TR_FRONT_LEFT] = {WHEELBASE_MM, TRACK_MM / 2},
                                               [TR_FRONT_RIGHT] = {WHEELBASE_MM, -TRACK_MM / 2},
                                               [TR_REAR_LEFT] = {0, TRACK_MM / 2},
                                               [TR_REAR_RIGHT] = {0, -TRACK_MM / 2}};
    tr_vec2 cells[MAX_CELLS];
    tr_job *job = &out->job;
    tr_layout *layout = &job->layout;
    int n_mats = choose_cells(o->n_sheets - TR_N_POINTS, cells);
    snprintf(job->id, sizeof job->id, "HALL");
    snprintf(layout->id, sizeof layout->id, "HALL");
    job->path = strdup("simulated.yaml");
    layout->path = strdup("simulated.yaml");
    make_lens(job->lenses);
    job->lenses[0].scatter.is_steady = !o->is_scattering;
    job->n_lenses = 1;
    job->reference_sd_mm = 1;
    job->sheets = calloc((size_t)o->n_sheets, sizeof *job->sheets);
    job->references = calloc(TR_N_POINTS, sizeof *job->references);
    layout->placements = calloc((size_t)n_mats, sizeof *layout->placements);
    out->vehicle_from_sheet = calloc((size_t)o->n_sheets, sizeof *out->vehicle_from_sheet);
    if (!job->path || !layout->path || !job->sheets || !job->references || !layout->placements ||
        !out->vehicle_from_sheet) {
        return false;
    }
    layout->axes = TR_AXES_CENTRELINE;
    layout->wheelbase_mm = WHEELBASE_MM;
    layout->track_front_mm = layout->track_rear_mm = TRACK_MM;
    layout->reference_tolerance_mm = 15;
    layout->flatness_mm = 5;
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (!make_plate(&job->sheets[job->n_sheets++], i)) return false;
        job->references[job->n_references++] =
            (tr_reference){.point = (tr_wheel_point)i, .sheet = i};
        out->vehicle_from_sheet[i] =
            (tr_pose){tr_rotation_z(0.1 * tr_random_normal(random)), {wheel[i].x, wheel[i].y, 0}};
    }
    for (int i = 0; i < n_mats; i++) {
        tr_sheet *mat = &job->sheets[job->n_sheets];
        tr_placement *p = &layout->placements[layout->n_placements++];
        out->vehicle_from_sheet[job->n_sheets++] =
            /* yaw 0: up is forward */
            (tr_pose){tr_rotation_z(-TR_PI / 2 + 0.02 * tr_random_normal(random)),
                      {cells[i].x, cells[i].y, 0}};
        if (!make_mat(mat, i)) return false;
        *p = (tr_placement){.from = {{TR_FROM_REAR_AXLE, "", 0}}};
        snprintf(p->sheet, sizeof p->sheet, "%s", mat->id);
        p->axis[TR_X] = (tr_requirement){true, true, cells[i].x, 10};
        p->axis[TR_Y] = (tr_requirement){true, true, cells[i].y, 10};
        p->axis[TR_YAW] = (tr_requirement){true, true, 0, 4 * TR_RAD_PER_DEG};
    }
    return true;
}

/* ---- photos ---- */

/* Photo i aims at the sheets one after the other, from ever other sides. */
static tr_pose camera_from_vehicle(const tr_hall *hall, const tr_hall_options *o, int i,
                                   tr_random *random) {
    int n = hall->job.n_sheets;
    int sheet = o->n_photos >= n ? i % n : (int)((long)i * n / o->n_photos);
    tr_vec3 aim = hall->vehicle_from_sheet[sheet].t_mm;
    tr_vec3 eye = {
        aim.x + STAND_OFF_MM * cos(GOLDEN_ANGLE_RAD * i) + 100 * tr_random_normal(random),
        aim.y + STAND_OFF_MM * sin(GOLDEN_ANGLE_RAD * i) + 100 * tr_random_normal(random),
        EYE_MM + 80 * tr_random_normal(random)};
    tr_vec3 z = tr_v3_sub(aim, eye);
    z = tr_v3_scale(1 / tr_v3_norm(z), z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    x = tr_v3_scale(1 / tr_v3_norm(x), x);
    tr_mat3 R = tr_m3_transpose(tr_m3_from_columns(x, tr_v3_cross(z, x), z));
    R = tr_m3_mul(tr_rotation_z(0.05 * tr_random_normal(random)), R);
    return (tr_pose){R, tr_v3_scale(-1, tr_m3_apply(R, eye))};
}

typedef struct {
    const tr_lens *lens;
    tr_pose camera_from_sheet;
    double sd_px;
    tr_random *random;
} view;

/* Pixels of n points with their noise; false where one is out of the photo. */
static bool see(const view *v, const tr_vec2 *p, int n, tr_vec2 *uv) {
    for (int k = 0; k < n; k++) {
        tr_vec3 q = tr_pose_apply(v->camera_from_sheet, tr_v3(p[k].x, p[k].y, 0));
        if (!tr_lens_project(v->lens, q, &uv[k], NULL, NULL)) return false;
        if (!(uv[k].x > 8 && uv[k].y > 8 && uv[k].x < v->lens->width_px - 9 &&
              uv[k].y < v->lens->height_px - 9)) {
            return false;
        }
    }
    for (int k = 0; k < n; k++) {
        uv[k].x += v->sd_px * tr_random_normal(v->random);
        uv[k].y += v->sd_px * tr_random_normal(v->random);
    }
    return true;
}

static void add_mark(tr_photo_marks *out, const view *v, tr_mark_kind kind, int sheet, int index,
                     int n, const tr_vec2 *p, const tr_vec2 *uv) {
    tr_mark *m = &out->marks[out->n_marks++];
    *m = (tr_mark){.kind = kind, .sheet = sheet, .index = index, .n_points = n, .n_cells = 8};
    m->sigma_px = 0.8;
    m->contrast = 150;
    memcpy(m->p_sheet_mm, p, (size_t)n * sizeof *p);
    memcpy(m->uv_px, uv, (size_t)n * sizeof *uv);
    for (int k = 0; k < 2 * n; k++) m->covariance[k * (2 * n + 1)] = v->sd_px * v->sd_px;
}

/* All marks of one sheet, and its pose, in one photo; a sheet of which no tag is seen is not found.
 */
static void see_sheet(const view *v, const tr_sheet *s, int sheet, tr_photo_marks *out) {
    tr_vec2 p[4 * MAT_TAGS + MAT_CORNERS];
    tr_vec2 uv[4 * MAT_TAGS + MAT_CORNERS];
    int n = 0;
    for (int i = 0; i < s->n_tags; i++) {
        for (int k = 0; k < 4; k++) p[n + k] = tr_tag_corner(&s->tags[i], k);
        if (!see(v, p + n, 4, uv + n)) continue;
        add_mark(out, v, TR_MARK_TAG, sheet, i, 4, p + n, uv + n);
        n += 4;
    }
    if (n == 0) return;
    for (int i = 0; i < s->n_corners; i++) {
        p[n] = s->corners_mm[i];
        if (!see(v, p + n, 1, uv + n)) continue;
        add_mark(out, v, TR_MARK_CORNER, sheet, i, 1, p + n, uv + n);
        n++;
    }
    tr_sheet_view *found = &out->views[out->n_views];
    *found = (tr_sheet_view){.sheet = sheet, .n_points = n};
    found->n_poses = tr_planar_poses(v->lens, p, uv, n, found->pose);
    if (found->n_poses > 0) out->n_views++;
}

static bool take_photo(const tr_hall *hall, const tr_hall_options *o, int i, tr_random *random,
                       tr_photo_set *set) {
    const tr_job *job = &hall->job;
    tr_pose camera = camera_from_vehicle(hall, o, i, random);
    char name[32];
    snprintf(name, sizeof name, "%04d.jpg", i + 1);
    tr_photo *out = tr_photo_set_add(set, name, NULL);
    if (!out) return false;
    out->is_readable = true;
    out->width_px = job->lenses[0].width_px;
    out->height_px = job->lenses[0].height_px;
    out->marks.marks =
        calloc((size_t)job->n_sheets * (MAT_TAGS + MAT_CORNERS), sizeof *out->marks.marks);
    out->marks.views = calloc((size_t)job->n_sheets, sizeof *out->marks.views);
    if (!out->marks.marks || !out->marks.views) return false;
    for (int s = 0; s < job->n_sheets; s++) {
        tr_pose laid = hall->vehicle_from_sheet[s];
        if (s == o->moved_sheet && i >= o->moved_from) {
            laid.t_mm = tr_v3_add(laid.t_mm, tr_v3(o->moved_mm.x, o->moved_mm.y, 0));
        }
        view v = {
            .lens = job->lenses, .camera_from_sheet = tr_pose_mul(camera, laid), .random = random};
        double far = tr_v3_norm(v.camera_from_sheet.t_mm);
        if (far > REACH_MM) continue;
        v.sd_px = SD_PER_MM * far;
        see_sheet(&v, &job->sheets[s], s, &out->marks);
    }
    return true;
}

bool tr_hall_simulate(const tr_hall_options *o, tr_hall *out, tr_error *err) {
    tr_random random = tr_random_seed(o->seed);
    memset(out, 0, sizeof *out);
    if (!make_job(o, out, &random)) goto no_memory;
    if (!tr_check_init(&out->job, &out->check, err)) goto no_memory;
    for (int i = 0; i < o->n_photos; i++) {
        if (!take_photo(out, o, i, &random, &out->check.set)) goto no_memory;
    }
    return true;
no_memory:
    tr_hall_release(out);
    return tr_fail_memory(err);
}

void tr_hall_release(tr_hall *hall) {
    free(hall->vehicle_from_sheet);
    tr_check_release(&hall->check);
    tr_job_release(&hall->job);
}
