#include "tools/simulate/simulate.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "vehicle/vehicle.h"

enum { MAT, PLATE_0, N_SHEETS = PLATE_0 + TR_N_POINTS, MAX_STATIONS = 8 };

static const double WHEELBASE_MM = 2700;
static const double TRACK_FRONT_MM = 1760;
static const double TRACK_REAR_MM = 1750;
static const double DEFAULT_MAT_X_MM = -1800;
const double TR_SIM_BODY_LOW_MM[3] = {-900, -830, 160};
const double TR_SIM_BODY_HIGH_MM[3] = {3550, 830, 1450};
/* The floor's prior: see adjust.c. */
static const double FLOOR_Z_SD_MM = 3.0;
static const double FLOOR_TILT_SD_RAD = 0.3 * TR_RAD_PER_DEG;

tr_random tr_random_seed(uint64_t seed) {
    tr_random r = {seed * 0x9E3779B97F4A7C15u + 0x2545F4914F6CDD1Du};
    if (r.state == 0) r.state = 1;
    for (int i = 0; i < 8; i++) (void)tr_random_uniform(&r);
    return r;
}

double tr_random_uniform(tr_random *r) {
    r->state ^= r->state >> 12;
    r->state ^= r->state << 25;
    r->state ^= r->state >> 27;
    uint64_t bits = (r->state * 0x2545F4914F6CDD1Du) >> 11;
    return ((double)bits + 0.5) / 9007199254740992.0;
}

double tr_random_normal(tr_random *r) {
    double u = tr_random_uniform(r);
    double v = tr_random_uniform(r);
    return sqrt(-2 * log(u)) * cos(2 * TR_PI * v);
}

/* ---- the job ---- */

static bool make_sheet(tr_sheet *s, const char *id, tr_sheet_kind kind, double width, double height,
                       const tr_tag *tags, int n_tags, const tr_vec2 *corners, int n_corners) {
    memset(s, 0, sizeof *s);
    snprintf(s->id, sizeof s->id, "%s", id);
    snprintf(s->title, sizeof s->title, "%s", id);
    snprintf(s->tag_family, sizeof s->tag_family, "tag36h11");
    s->kind = kind;
    s->width_mm = width;
    s->height_mm = height;
    s->path = strdup("simulated.yaml");
    s->tags = malloc((size_t)n_tags * sizeof *tags);
    s->corners_mm = malloc((size_t)n_corners * sizeof *corners);
    if (!s->path || !s->tags || !s->corners_mm) return false;
    memcpy(s->tags, tags, (size_t)n_tags * sizeof *tags);
    memcpy(s->corners_mm, corners, (size_t)n_corners * sizeof *corners);
    s->n_tags = n_tags;
    s->n_corners = n_corners;
    return true;
}

static bool make_sheets(tr_job *job) {
    static const tr_vec2 mat_tags[8] = {{-680, 380}, {0, 380},     {680, 380}, {-680, 0},
                                        {680, 0},    {-680, -380}, {0, -380},  {680, -380}};
    static const tr_vec2 mat_corners[8] = {{-400, 420}, {400, 420}, {-400, -420}, {400, -420},
                                           {-740, 190}, {740, 190}, {-740, -190}, {740, -190}};
    static const tr_vec2 plate_corners[4] = {{-95, 70}, {95, 70}, {-95, -70}, {95, -70}};
    static const char *const plate_ids[4] = {"PLATE-FL", "PLATE-FR", "PLATE-RL", "PLATE-RR"};
    tr_tag tags[8];
    job->sheets = calloc(N_SHEETS, sizeof *job->sheets);
    if (!job->sheets) return false;
    for (int i = 0; i < 8; i++)
        tags[i] = (tr_tag){.id = 40 + i, .centre_mm = mat_tags[i], .size_mm = 160};
    job->n_sheets = 1;
    if (!make_sheet(&job->sheets[MAT], "MAT-SIM", TR_SHEET_MAT, 1600, 1000, tags, 8, mat_corners,
                    8)) {
        return false;
    }
    for (int p = 0; p < TR_N_POINTS; p++) {
        tr_tag tag = {.id = p, .size_mm = 120};
        job->n_sheets++;
        if (!make_sheet(&job->sheets[PLATE_0 + p], plate_ids[p], TR_SHEET_PLATE, 250, 200, &tag, 1,
                        plate_corners, 4)) {
            return false;
        }
    }
    return true;
}

/* A lens profile as a fair calibration leaves it: sd and the larger correlations. */
static void make_lens(tr_lens *lens, bool is_exact) {
    static const double value[TR_LENS_N] = {3012,  3011, 2010,  1512, 0.083,
                                            -0.21, 4e-4, -2e-4, 0.137};
    static const double sd[TR_LENS_N] = {1.2, 1.2, 1.5, 1.5, 1.5e-3, 9e-3, 8e-5, 8e-5, 1.6e-2};
    static const struct {
        int a, b;
        double r;
    } pairs[] = {{TR_FX, TR_FY, 0.95}, {TR_K1, TR_K2, -0.92}, {TR_K2, TR_K3, -0.96},
                 {TR_K1, TR_K3, 0.82}, {TR_CX, TR_P2, -0.7},  {TR_CY, TR_P1, -0.7}};
    memset(lens, 0, sizeof *lens);
    snprintf(lens->id, sizeof lens->id, "simulated");
    lens->width_px = 4032;
    lens->height_px = 3024;
    memcpy(lens->param, value, sizeof value);
    if (is_exact) return;
    lens->has_covariance = true;
    for (int i = 0; i < TR_LENS_N; i++) lens->covariance[i * (TR_LENS_N + 1)] = sd[i] * sd[i];
    for (size_t k = 0; k < sizeof pairs / sizeof *pairs; k++) {
        int a = pairs[k].a;
        int b = pairs[k].b;
        double c = pairs[k].r * sd[a] * sd[b];
        lens->covariance[a * TR_LENS_N + b] = lens->covariance[b * TR_LENS_N + a] = c;
    }
}

static double mat_x(const tr_sim_options *o) {
    return o->mat_x_mm != 0.0 ? o->mat_x_mm : DEFAULT_MAT_X_MM;
}

static bool make_job(const tr_sim_options *o, tr_job *job) {
    memset(job, 0, sizeof *job);
    snprintf(job->id, sizeof job->id, "SIM-%llu", (unsigned long long)o->seed);
    job->path = strdup("simulated.yaml");
    make_lens(&job->lens, o->is_exact_lens);
    job->reference_sd_mm = o->reference_sd_mm;
    tr_layout *l = &job->layout;
    snprintf(l->id, sizeof l->id, "SIM-REAR");
    snprintf(l->vehicle, sizeof l->vehicle, "Simulated estate car");
    l->path = strdup("simulated.yaml");
    l->axes = TR_AXES_CENTRELINE;
    l->wheelbase_mm = WHEELBASE_MM;
    l->track_front_mm = TRACK_FRONT_MM;
    l->track_rear_mm = TRACK_REAR_MM;
    l->reference_tolerance_mm = 15;
    l->flatness_mm = 5;
    l->placements = calloc(1, sizeof *l->placements);
    job->references = calloc(TR_N_POINTS, sizeof *job->references);
    if (!job->path || !l->path || !l->placements || !job->references || !make_sheets(job))
        return false;
    l->n_placements = 1;
    tr_placement *p = &l->placements[0];
    snprintf(p->sheet, sizeof p->sheet, "MAT-SIM");
    p->from = TR_FROM_REAR_AXLE;
    p->axis[TR_X] = (tr_requirement){true, true, mat_x(o), 10};
    p->axis[TR_Y] = (tr_requirement){true, true, 0, 10};
    p->axis[TR_YAW] = (tr_requirement){true, true, 0, 0.5 * TR_RAD_PER_DEG};
    job->n_references = TR_N_POINTS;
    for (int i = 0; i < TR_N_POINTS; i++) {
        job->references[i] = (tr_reference){.point = (tr_wheel_point)i, .sheet = PLATE_0 + i};
    }
    return true;
}

/* ---- the scene ---- */

typedef struct {
    const tr_sim_options *o;
    tr_random random;
    tr_lens true_lens;
    tr_pose sheets[N_SHEETS]; /* vehicle_from_sheet */
} scene;

/* The lower Cholesky factor of the profile's covariance times normal numbers. */
static void draw_lens(scene *s, const tr_lens *profile) {
    double L[TR_LENS_N][TR_LENS_N] = {{0}};
    double n[TR_LENS_N];
    for (int i = 0; i < TR_LENS_N; i++) n[i] = tr_random_normal(&s->random);
    for (int j = 0; j < TR_LENS_N; j++) {
        for (int i = j; i < TR_LENS_N; i++) {
            double v = profile->covariance[i * TR_LENS_N + j];
            for (int k = 0; k < j; k++) v -= L[i][k] * L[j][k];
            L[i][j] = i == j ? sqrt(v) : v / L[j][j];
        }
    }
    for (int i = 0; i < TR_LENS_N; i++) {
        for (int k = 0; k <= i; k++) s->true_lens.param[i] += L[i][k] * n[k];
    }
}

static tr_pose on_floor(scene *s, double x, double y, double yaw) {
    double value[TR_N_AXES] = {[TR_X] = x, [TR_Y] = y, [TR_YAW] = yaw};
    if (s->o->draws_floor) {
        value[TR_Z] = FLOOR_Z_SD_MM * tr_random_normal(&s->random);
        value[TR_PITCH] = FLOOR_TILT_SD_RAD * tr_random_normal(&s->random);
        value[TR_ROLL] = FLOOR_TILT_SD_RAD * tr_random_normal(&s->random);
    }
    return tr_pose_of_placement(value);
}

static void place_sheets(scene *s) {
    const tr_sim_options *o = s->o;
    const tr_vec2 wheel[TR_N_POINTS] = {
        [TR_FRONT_LEFT] = {WHEELBASE_MM, TRACK_FRONT_MM / 2},
        [TR_FRONT_RIGHT] = {WHEELBASE_MM, -TRACK_FRONT_MM / 2},
        [TR_REAR_LEFT] = {0, TRACK_REAR_MM / 2},
        [TR_REAR_RIGHT] = {0, -TRACK_REAR_MM / 2},
    };
    s->sheets[MAT] = on_floor(s, mat_x(o) + o->mat_error[0], o->mat_error[1], o->mat_error[2]);
    for (int p = 0; p < TR_N_POINTS; p++) {
        tr_vec2 at = wheel[o->has_plate_at ? o->plate_at[p] : (tr_wheel_point)p];
        double dx = o->reference_sd_mm * tr_random_normal(&s->random) + o->plate_off_mm[p].x;
        double dy = o->reference_sd_mm * tr_random_normal(&s->random) + o->plate_off_mm[p].y;
        double yaw = 0.1 * (tr_random_uniform(&s->random) - 0.5);
        s->sheets[PLATE_0 + p] = on_floor(s, at.x + dx, at.y + dy, yaw);
    }
}

/* Where the photographer stands and what he aims at, mm in the vehicle frame; each is disturbed. */
static tr_pose station(scene *s, int i) {
    static const tr_vec3 from[MAX_STATIONS] = {
        {-4300, 1300, 1550}, {-4300, -1300, 1550}, {-1300, 3000, 1500}, {-1300, -3000, 1500},
        {3600, 2700, 1500},  {3600, -2700, 1500},  {-4600, 0, 1700},    {-2600, 2600, 1650}};
    static const tr_vec3 aim[MAX_STATIONS] = {{-1100, 100, 0}, {-1100, -100, 0}, {500, 850, 0},
                                              {500, -850, 0},  {1100, 850, 0},   {1100, -850, 0},
                                              {-1300, 0, 0},   {-900, 300, 0}};
    tr_vec3 c = from[i];
    tr_vec3 a = aim[i];
    c.x += 200 * tr_random_normal(&s->random);
    c.y += 150 * tr_random_normal(&s->random);
    c.z += 80 * tr_random_normal(&s->random);
    a.x += 80 * tr_random_normal(&s->random);
    a.y += 80 * tr_random_normal(&s->random);
    tr_vec3 z = tr_v3_sub(a, c);
    z = tr_v3_scale(1 / tr_v3_norm(z), z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    x = tr_v3_scale(1 / tr_v3_norm(x), x);
    tr_mat3 R = tr_m3_transpose(tr_m3_from_columns(x, tr_v3_cross(z, x), z));
    R = tr_m3_mul(tr_rotation_z(0.05 * tr_random_normal(&s->random)), R);
    return (tr_pose){R, tr_v3_scale(-1, tr_m3_apply(R, c))};
}

/* The body: a box over the wheels. True where the line from the camera to a point meets it. */
static bool is_hidden(tr_vec3 camera, tr_vec3 p) {
    const double *lo = TR_SIM_BODY_LOW_MM;
    const double *hi = TR_SIM_BODY_HIGH_MM;
    double o[3] = {camera.x, camera.y, camera.z};
    double d[3] = {p.x - camera.x, p.y - camera.y, p.z - camera.z};
    double t0 = 0;
    double t1 = 1;
    for (int k = 0; k < 3; k++) {
        double a = (lo[k] - o[k]) / d[k];
        double b = (hi[k] - o[k]) / d[k];
        t0 = fmax(t0, fmin(a, b));
        t1 = fmin(t1, fmax(a, b));
    }
    return t0 < t1;
}

/* ---- marks ---- */

typedef struct {
    scene *s;
    const tr_job *job;
    tr_pose camera_from_vehicle;
    tr_vec3 camera;
    tr_vec2 mat_shift;
} shot;

static bool see(const shot *h, int sheet, tr_vec2 p, tr_vec2 *uv) {
    double scale = sheet == MAT && h->s->o->mat_scale > 0 ? h->s->o->mat_scale : 1;
    double from_middle = p.x / (h->job->sheets[sheet].width_mm / 2);
    double z = sheet == MAT ? h->s->o->mat_curl_mm * from_middle * from_middle : 0;
    tr_vec3 q = tr_pose_apply(h->s->sheets[sheet], tr_v3(scale * p.x, scale * p.y, z));
    if (sheet == MAT) q = tr_v3_add(q, tr_v3(h->mat_shift.x, h->mat_shift.y, 0));
    if (is_hidden(h->camera, q)) return false;
    if (!tr_lens_project(&h->s->true_lens, tr_pose_apply(h->camera_from_vehicle, q), uv, NULL,
                         NULL)) {
        return false;
    }
    return uv->x > 8 && uv->y > 8 && uv->x < h->job->lens.width_px - 9 &&
           uv->y < h->job->lens.height_px - 9;
}

static void add_mark(const shot *h, tr_photo_marks *out, tr_mark_kind kind, int sheet, int index,
                     int n_points, const tr_vec2 *p, double sd) {
    tr_mark m = {.kind = kind, .sheet = sheet, .index = index, .n_points = n_points};
    m.sigma_px = 0.8;
    m.contrast = 150;
    for (int k = 0; k < n_points; k++) {
        m.p_sheet_mm[k] = p[k];
        if (!see(h, sheet, p[k], &m.uv_px[k])) return;
    }
    for (int k = 0; k < n_points; k++) {
        m.uv_px[k].x += h->s->o->noise * sd * tr_random_normal(&h->s->random);
        m.uv_px[k].y += h->s->o->noise * sd * tr_random_normal(&h->s->random);
    }
    int n = 2 * n_points;
    for (int k = 0; k < n; k++) m.covariance[k * (n + 1)] = sd * sd;
    out->marks[out->n_marks++] = m;
}

static void add_view(const shot *h, tr_photo_marks *out, int sheet) {
    tr_vec2 p[64];
    tr_vec2 uv[64];
    int n = 0;
    for (int i = 0; i < out->n_marks; i++) {
        const tr_mark *m = &out->marks[i];
        for (int k = 0; m->sheet == sheet && k < m->n_points; k++) {
            p[n] = m->p_sheet_mm[k];
            uv[n++] = m->uv_px[k];
        }
    }
    tr_sheet_view view = {.sheet = sheet, .n_points = n};
    if (n >= 4) view.n_poses = tr_planar_poses(&h->job->lens, p, uv, n, view.pose);
    if (view.n_poses > 0) out->views[out->n_views++] = view;
}

static bool take_photo(const shot *h, tr_photo_marks *out) {
    out->marks = calloc(64, sizeof *out->marks);
    out->strays = calloc(1, sizeof *out->strays);
    out->views = calloc(N_SHEETS, sizeof *out->views);
    if (!out->marks || !out->strays || !out->views) return false;
    for (int s = 0; s < N_SHEETS; s++) {
        const tr_sheet *sheet = &h->job->sheets[s];
        double distance = tr_v3_norm(tr_v3_sub(h->s->sheets[s].t_mm, h->camera));
        double sd = 0.008 * distance / 1000;
        if (s == MAT && h->s->o->is_mat_missing) continue;
        for (int k = 0; k < sheet->n_tags; k++) {
            tr_vec2 p[4];
            for (int c = 0; c < 4; c++) p[c] = tr_tag_corner(&sheet->tags[k], c);
            add_mark(h, out, TR_MARK_TAG, s, k, 4, p, sd);
        }
        for (int k = 0; k < sheet->n_corners; k++) {
            add_mark(h, out, TR_MARK_CORNER, s, k, 1, &sheet->corners_mm[k], sd);
        }
        add_view(h, out, s);
    }
    return true;
}

bool tr_simulate(const tr_sim_options *o, tr_sim *out, tr_error *err) {
    scene s = {.o = o, .random = tr_random_seed(o->seed)};
    int n = o->n_photos > 0 ? o->n_photos : 7;
    memset(out, 0, sizeof *out);
    if (n > MAX_STATIONS) return tr_fail(err, TR_BAD_INPUT, "at most %d photos", MAX_STATIONS);
    if (!make_job(o, &out->job)) goto no_memory;
    s.true_lens = out->job.lens;
    if (o->draws_lens && out->job.lens.has_covariance) draw_lens(&s, &out->job.lens);
    if (o->lens_factor > 0) {
        s.true_lens.param[TR_FX] *= o->lens_factor;
        s.true_lens.param[TR_FY] *= o->lens_factor;
    }
    place_sheets(&s);
    out->truth[0] = mat_x(o) + o->mat_error[0];
    out->truth[1] = o->mat_error[1];
    out->truth[2] = o->mat_error[2];
    out->check.job = &out->job;
    out->check.photos = calloc((size_t)n, sizeof *out->check.photos);
    out->vehicle_from_sheet = calloc(N_SHEETS, sizeof *out->vehicle_from_sheet);
    out->vehicle_from_camera = calloc((size_t)n, sizeof *out->vehicle_from_camera);
    if (!out->check.photos || !out->vehicle_from_sheet || !out->vehicle_from_camera) goto no_memory;
    memcpy(out->vehicle_from_sheet, s.sheets, sizeof s.sheets);
    out->true_lens = s.true_lens;
    for (int i = 0; i < n; i++) {
        tr_check_photo *photo = &out->check.photos[i];
        char name[32];
        snprintf(name, sizeof name, "%d.jpg", i + 1);
        out->check.n_photos = i + 1;
        photo->file = strdup(name);
        if (!photo->file) goto no_memory;
        photo->is_readable = true;
        photo->width_px = out->job.lens.width_px;
        photo->height_px = out->job.lens.height_px;
        shot h = {.s = &s, .job = &out->job, .camera_from_vehicle = station(&s, i)};
        out->vehicle_from_camera[i] = tr_pose_inverse(h.camera_from_vehicle);
        h.camera = out->vehicle_from_camera[i].t_mm;
        if (o->moved_from > 0 && i >= o->moved_from) h.mat_shift = o->mat_moved_mm;
        if (!take_photo(&h, &photo->marks)) goto no_memory;
    }
    return true;
no_memory:
    tr_sim_release(out);
    return tr_fail_memory(err);
}

void tr_sim_release(tr_sim *sim) {
    free(sim->vehicle_from_sheet);
    free(sim->vehicle_from_camera);
    tr_check_release(&sim->check);
    tr_job_release(&sim->job);
}
