#include "tools/simulate/survey_sim.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lens/planar.h"

enum {
    TAGS = TR_SURVEY_SIM_TAGS,
    CORNERS = TR_SURVEY_SIM_CORNERS,
    MAX_BARS = TR_SURVEY_SIM_MAX_BARS,
    MAX_PHOTOS = TR_SURVEY_SIM_MAX_PHOTOS
};
static const double TAG_MM = 160;
static const double BAR_MM = 1000;
static const double BAR_TAG_MM = 100;
static const double BAR_HEIGHT_MM = 20;
static const double RULE_SD_MM = 0.1;
static const double DEFAULT_BAR_SD_MM = 0.05;
static const double BAR_Y_MM[MAX_BARS] = {-620, 620, -760};

static const uint64_t PHONE_SALT = 0xF0CA1u;

typedef struct {
    const tr_survey_sim_options *o;
    tr_survey_sim *sim;
    tr_random random;
    tr_random phone;
    tr_lens lens; /* as it was in the photo */
    tr_vec3 camera;
    tr_pose camera_from_world;
    int photo;
} scene;

tr_vec3 tr_survey_sim_bar_centre(int bar) {
    return tr_v3(0, BAR_Y_MM[bar], BAR_HEIGHT_MM);
}

double tr_survey_sim_bar_tag_mm(void) {
    return BAR_TAG_MM;
}

static double or_one(double factor) {
    return factor != 0.0 ? factor : 1;
}

static int n_bars(const tr_survey_sim_options *o) {
    return o->has_no_bar ? 0 : o->n_bars > 0 ? o->n_bars : 1;
}

/* Of a place as it is, not as the file has it. */
static double relief_mm(const scene *s, tr_vec2 at) {
    const tr_sheet *sheet = &s->sim->spec.sheets[0];
    tr_vec2 p = tr_v2(at.x / (1 + s->o->print_scale[0]), at.y / (1 + s->o->print_scale[1]));
    return tr_sim_relief_mm(&s->sim->relief, sheet->width_mm, sheet->height_mm, p);
}

/* ---- what the survey file would say ---- */

static bool make_sheet(scene *s) {
    static const tr_vec2 at[TAGS] = {{-680, 380}, {0, 380},     {680, 380}, {-680, 0},
                                     {680, 0},    {-680, -380}, {0, -380},  {680, -380}};
    static const tr_vec2 corners[CORNERS] = {{-400, 420}, {400, 420}, {-400, -420}, {400, -420},
                                             {-740, 190}, {740, 190}, {-740, -190}, {740, -190}};
    const tr_survey_sim_options *o = s->o;
    tr_survey_spec *spec = &s->sim->spec;
    spec->sheets = calloc(1, sizeof *spec->sheets);
    spec->stuck = calloc((size_t)o->n_stuck + 1, sizeof *spec->stuck);
    if (!spec->sheets || !spec->stuck) return false;
    spec->n_sheets = 1;
    tr_sheet *sheet = &spec->sheets[0];
    *sheet = (tr_sheet){.id = "MAT-SIM",
                        .title = "Simulated mat",
                        .kind = TR_SHEET_MAT,
                        .width_mm = 1600,
                        .height_mm = 1000,
                        .tag_family = "tag36h11"};
    sheet->path = strdup("simulated.yaml");
    sheet->tags = calloc(TAGS, sizeof *sheet->tags);
    sheet->corners_mm = calloc(CORNERS, sizeof *sheet->corners_mm);
    if (!sheet->path || !sheet->tags || !sheet->corners_mm) return false;
    for (int i = 0; i < TAGS; i++) {
        tr_vec2 true_at =
            tr_v2(at[i].x * (1 + o->print_scale[0]), at[i].y * (1 + o->print_scale[1]));
        true_at.x += o->misplaced_mm * (2 * tr_random_uniform(&s->random) - 1);
        true_at.y += o->misplaced_mm * (2 * tr_random_uniform(&s->random) - 1);
        s->sim->at_mm[i] = true_at;
        s->sim->turn_rad[i] = o->misplaced_mm > 0 ? 0.01 * tr_random_normal(&s->random) : 0;
        s->sim->edges_mm[i][0] = TAG_MM * (1 + o->print_scale[0]);
        s->sim->edges_mm[i][1] = TAG_MM * (1 + o->print_scale[1]);
        if (i < TAGS - o->n_stuck) {
            sheet->tags[sheet->n_tags++] =
                (tr_tag){.id = 40 + i, .centre_mm = at[i], .size_mm = TAG_MM};
        } else {
            spec->stuck[spec->n_stuck++] = (tr_stuck_tag){.id = 40 + i, .size_mm = TAG_MM};
            s->sim->turn_rad[i] = 0.5 * tr_random_normal(&s->random);
            /* A label of its own, from another printer. */
            for (int k = 0; k < 2; k++) {
                s->sim->edges_mm[i][k] = TAG_MM * (1 + 0.002 * tr_random_normal(&s->random));
            }
        }
    }
    for (int i = 0; i < CORNERS; i++) {
        sheet->corners_mm[sheet->n_corners++] = corners[i];
        s->sim->at_mm[TAGS + i] =
            tr_v2(corners[i].x * (1 + o->print_scale[0]), corners[i].y * (1 + o->print_scale[1]));
        s->sim->corners[i] = (tr_mark_name){0, false, i};
    }
    s->sim->relief = tr_sim_relief(&o->phone, sheet->width_mm, sheet->height_mm, &s->phone);
    for (int i = 0; i < TR_SURVEY_SIM_MARKS; i++) {
        s->sim->height_mm[i] =
            o->height_sd_mm * tr_random_normal(&s->random) + relief_mm(s, s->sim->at_mm[i]);
    }
    return true;
}

static bool make_lengths(scene *s) {
    const tr_survey_sim_options *o = s->o;
    tr_survey_spec *spec = &s->sim->spec;
    double sd = o->bar_sd_mm > 0 ? o->bar_sd_mm : DEFAULT_BAR_SD_MM;
    spec->bars = calloc(MAX_BARS, sizeof *spec->bars);
    spec->rules = calloc(1, sizeof *spec->rules);
    if (!spec->bars || !spec->rules) return false;
    spec->n_bars = n_bars(o);
    for (int b = 0; b < spec->n_bars; b++) {
        s->sim->bar_mm[b] = BAR_MM * or_one(o->bar_factor[b]);
        if (o->bar_sd_mm > 0) s->sim->bar_mm[b] += sd * tr_random_normal(&s->random);
        spec->bars[b] = (tr_bar){.tag_family = "tag36h11",
                                 .tag = {100 + 2 * b, 101 + 2 * b},
                                 .size_mm = BAR_TAG_MM,
                                 .distance_mm = BAR_MM,
                                 .sd_mm = sd};
        snprintf(spec->bars[b].id, sizeof spec->bars[b].id, "BAR-%d", b + 1);
    }
    if (!o->has_rule) return true;
    spec->n_rules = 1;
    spec->rules[0] = (tr_rule){.is_measured = {true, true}, .sd_mm = RULE_SD_MM};
    for (int k = 0; k < 2; k++) {
        spec->rules[0].measured_mm[k] = TR_RULE_MM * (1 + o->print_scale[k]);
        if (o->bar_sd_mm > 0) {
            spec->rules[0].measured_mm[k] += RULE_SD_MM * tr_random_normal(&s->random);
        }
    }
    return true;
}

/* As of a fair calibration: compare simulate.c. */
static void make_lens(scene *s) {
    static const double value[TR_LENS_N] = {3012,  3011, 2010,  1512, 0.083,
                                            -0.21, 4e-4, -2e-4, 0.137};
    static const double sd[TR_LENS_N] = {1.2, 1.2, 1.5, 1.5, 1.5e-3, 9e-3, 8e-5, 8e-5, 1.6e-2};
    tr_lens *lens = s->sim->spec.lenses;
    s->sim->spec.n_lenses = 1;
    snprintf(lens->id, sizeof lens->id, "simulated");
    double part = or_one(s->o->image_part);
    double unit[TR_LENS_N];
    lens->width_px = (int)lrint(4032 * part);
    lens->height_px = (int)lrint(3024 * part);
    lens->scatter.is_steady = s->o->is_steady;
    lens->has_covariance = true;
    for (int i = 0; i < TR_LENS_N; i++) {
        unit[i] = sd[i] * (i <= TR_CY ? part : 1);
        lens->param[i] = value[i] * (i <= TR_CY ? part : 1);
        lens->covariance[i * (TR_LENS_N + 1)] = unit[i] * unit[i];
    }
    /* fx and fy go together: the second is the first and a little of its own. */
    double c = 0.95 * unit[TR_FX] * unit[TR_FY];
    lens->covariance[TR_FX * TR_LENS_N + TR_FY] = lens->covariance[TR_FY * TR_LENS_N + TR_FX] = c;
    s->sim->true_lens = *lens;
    if (s->o->draws_lens) {
        double n[TR_LENS_N];
        for (int i = 0; i < TR_LENS_N; i++) n[i] = tr_random_normal(&s->random);
        n[TR_FY] = 0.95 * n[TR_FX] + sqrt(1 - 0.95 * 0.95) * n[TR_FY];
        for (int i = 0; i < TR_LENS_N; i++) s->sim->true_lens.param[i] += unit[i] * n[i];
    }
    if (!s->o->phone.is_portrait) return;
    tr_sim_make_portrait(lens);
    tr_sim_make_portrait(&s->sim->true_lens);
}

/* ---- photos ---- */

static void take_station(scene *s, int i, int n) {
    double round = 2 * TR_PI * i / n + 0.3 * tr_random_normal(&s->random);
    double distance = (i % 3 == 2 ? 900 : 1700) + 150 * tr_random_normal(&s->random);
    tr_vec3 c = {distance * cos(round), distance * sin(round),
                 (i % 3 == 2 ? 1900 : 1300) + 100 * tr_random_normal(&s->random)};
    tr_vec3 a = {60 * tr_random_normal(&s->random), 60 * tr_random_normal(&s->random), 0};
    tr_vec3 z = tr_v3_sub(a, c);
    z = tr_v3_scale(1 / tr_v3_norm(z), z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    x = tr_v3_scale(1 / tr_v3_norm(x), x);
    tr_mat3 R = tr_m3_transpose(tr_m3_from_columns(x, tr_v3_cross(z, x), z));
    double roll = (i % 4 == 3 ? TR_PI / 2 : 0) + (s->o->phone.is_portrait ? TR_PI / 2 : 0);
    R = tr_m3_mul(tr_rotation_z(0.1 * tr_random_normal(&s->random) + roll), R);
    s->camera = c;
    s->camera_from_world = (tr_pose){R, tr_v3_scale(-1, tr_m3_apply(R, c))};
    s->photo = i;
    s->sim->exposures[i] = tr_sim_expose(&s->o->phone, &s->sim->true_lens, &s->phone);
    s->lens = tr_sim_lens_of(&s->sim->true_lens, &s->sim->exposures[i]);
}

static bool see(const scene *s, tr_vec3 p, tr_vec2 *uv) {
    const tr_lens *lens = &s->lens;
    const tr_sim_exposure *e = &s->sim->exposures[s->photo];
    return tr_sim_expose_point(lens, e, s->camera_from_world, p, uv) && uv->x > 8 && uv->y > 8 &&
           uv->x < lens->width_px - 9 && uv->y < lens->height_px - 9;
}

/* Adds one mark where all its points are seen. */
static void add_mark(scene *s, tr_photo_marks *out, tr_mark m, const tr_vec3 *p) {
    double distance = tr_v3_norm(tr_v3_sub(p[0], s->camera));
    double sd = fmax(0.02, 0.012 * distance / 1000);
    if (s->o->phone.mark_floor_px > 0) sd = hypot(sd, s->o->phone.mark_floor_px);
    for (int k = 0; k < m.n_points; k++) {
        if (!see(s, p[k], &m.uv_px[k])) return;
    }
    for (int k = 0; k < m.n_points; k++) {
        m.uv_px[k].x += s->o->noise * sd * tr_random_normal(&s->random);
        m.uv_px[k].y += s->o->noise * sd * tr_random_normal(&s->random);
    }
    for (int k = 0; k < 2 * m.n_points; k++) {
        m.covariance[k * (2 * m.n_points + 1)] = sd * sd;
    }
    out->marks[out->n_marks++] = m;
}

static void add_view(const scene *s, int group, tr_photo_marks *out) {
    tr_vec2 p[4 * TAGS + CORNERS];
    tr_vec2 uv[4 * TAGS + CORNERS];
    int n = 0;
    for (int i = 0; i < out->n_marks; i++) {
        const tr_mark *m = &out->marks[i];
        for (int k = 0; m->sheet == group && k < m->n_points; k++) {
            p[n] = m->p_sheet_mm[k];
            uv[n++] = m->uv_px[k];
        }
    }
    tr_sheet_view view = {.sheet = group, .n_points = n};
    if (n >= 4) view.n_poses = tr_planar_poses(s->sim->spec.lenses, p, uv, n, view.pose);
    if (view.n_poses > 0) out->views[out->n_views++] = view;
}

static void true_tag(const scene *s, int i, tr_vec3 out[4]) {
    tr_tag tag = {.centre_mm = s->sim->at_mm[i], .turn_rad = s->sim->turn_rad[i]};
    double over_relief = s->sim->height_mm[i] - relief_mm(s, tag.centre_mm);
    memcpy(tag.edges_mm, s->sim->edges_mm[i], sizeof tag.edges_mm);
    bool is_moved = s->o->moved_tag == i + 1 && 2 * s->photo >= s->sim->survey.set.n_photos;
    if (is_moved) tag.centre_mm.x += s->o->moved_mm;
    for (int k = 0; k < 4; k++) {
        tr_vec2 c = tr_tag_corner(&tag, k);
        out[k] = tr_v3(c.x, c.y, over_relief + relief_mm(s, c));
    }
}

static void add_group(scene *s, int group, tr_photo_marks *out) {
    const tr_survey *v = &s->sim->survey;
    const tr_sheet *sheet = &v->group_sheets[group];
    const tr_survey_group *b = &v->groups[group];
    for (int k = 0; k < sheet->n_tags; k++) {
        tr_vec3 p[4];
        tr_mark m = {.kind = TR_MARK_TAG, .sheet = group, .index = k, .n_points = 4, .n_cells = 8};
        for (int c = 0; c < 4; c++) m.p_sheet_mm[c] = tr_tag_corner(&sheet->tags[k], c);
        if (b->kind == TR_GROUP_BAR) {
            if (s->o->is_bar_hidden && b->end == 1) continue;
            double x = (b->end ? 0.5 : -0.5) * s->sim->bar_mm[b->sheet];
            for (int c = 0; c < 4; c++) {
                p[c] = tr_v3(x + m.p_sheet_mm[c].x, BAR_Y_MM[b->sheet] + m.p_sheet_mm[c].y,
                             BAR_HEIGHT_MM);
            }
        } else {
            true_tag(s, b->tags[k], p);
        }
        add_mark(s, out, m, p);
    }
    for (int k = 0; k < sheet->n_corners; k++) {
        tr_vec2 at = s->sim->at_mm[TAGS + k];
        tr_vec3 p = {at.x, at.y, s->sim->height_mm[TAGS + k]};
        tr_mark m = {.kind = TR_MARK_CORNER, .sheet = group, .index = k, .n_points = 1};
        m.p_sheet_mm[0] = sheet->corners_mm[k];
        add_mark(s, out, m, &p);
    }
    add_view(s, group, out);
}

static bool take_photos(scene *s, int n, tr_error *err) {
    tr_survey *v = &s->sim->survey;
    for (int i = 0; i < n; i++) {
        char name[32];
        snprintf(name, sizeof name, "%02d.jpg", i + 1);
        tr_photo *photo = tr_photo_set_add(&v->set, name, err);
        if (!photo) return false;
        photo->is_readable = true;
        photo->width_px = s->sim->true_lens.width_px;
        photo->height_px = s->sim->true_lens.height_px;
        photo->marks.marks = calloc(TR_SURVEY_SIM_MARKS + 2 * MAX_BARS, sizeof(tr_mark));
        photo->marks.views = calloc((size_t)v->n_groups, sizeof(tr_sheet_view));
        if (!photo->marks.marks || !photo->marks.views) return tr_fail_memory(err);
        take_station(s, i, n);
        s->sim->vehicle_from_camera[i] = tr_pose_inverse(s->camera_from_world);
        for (int b = 0; b < v->n_groups; b++) add_group(s, b, &photo->marks);
    }
    return true;
}

bool tr_simulate_survey(const tr_survey_sim_options *o, tr_survey_sim *out, tr_error *err) {
    scene s = {.o = o,
               .sim = out,
               .random = tr_random_seed(o->seed),
               .phone = tr_random_seed(o->seed ^ PHONE_SALT)};
    int n = o->n_photos > 0 ? o->n_photos : 8;
    memset(out, 0, sizeof *out);
    if (n > MAX_PHOTOS || o->n_bars > MAX_BARS || o->n_stuck > TAGS) {
        return tr_fail(err, TR_BAD_INPUT, "too many photos, bars or tags");
    }
    snprintf(out->spec.id, sizeof out->spec.id, "SIM-%llu", (unsigned long long)o->seed);
    out->spec.path = strdup("simulated.yaml");
    make_lens(&s);
    bool ok = (out->spec.path && make_sheet(&s) && make_lengths(&s)) || tr_fail_memory(err);
    ok = ok && tr_survey_init(&out->spec, &out->survey, err) && take_photos(&s, n, err);
    if (!ok) tr_survey_sim_release(out);
    return ok;
}

void tr_survey_sim_release(tr_survey_sim *sim) {
    tr_survey_release(&sim->survey);
    tr_survey_spec_release(&sim->spec);
}
