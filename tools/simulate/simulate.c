#include "tools/simulate/simulate.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lens/planar.h"
#include "lens/unknown.h"
#include "vehicle/vehicle.h"

enum { MAT = TR_SIM_MAT, PLATE_0 = TR_SIM_PLATE, MAT_2 = TR_SIM_MAT_2, MAT_TAGS = 8 };

static const double WHEELBASE_MM = 2700;
static const double TRACK_FRONT_MM = 1760;
static const double TRACK_REAR_MM = 1750;
static const double DEFAULT_MAT_X_MM = -1800;
static const double MAT_WIDTH_MM = 1600, MAT_HEIGHT_MM = 1000;
/* Two mats lie this far left and right of the centreline. */
static const double MATS_APART_MM = 900;
const double TR_SIM_BODY_LOW_MM[3] = {-900, -830, 160};
const double TR_SIM_BODY_HIGH_MM[3] = {3550, 830, 1450};

/* The lens has random numbers of its own, so that two jobs can have one lens. */
static const uint64_t LENS_SALT = 0x5EEDC0DEu;
static const uint64_t SURVEY_SALT = 0x5CA1Eu;
static const uint64_t PRINT_SALT = 0xF0117u;
static const uint64_t PHONE_SALT = 0xF0CA1u;
static const uint64_t POINTER_SALT = 0x901Eu;

static double or_one(double factor) {
    return factor != 0.0 ? factor : 1;
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
    s->corners_mm = calloc((size_t)n_corners + 1, sizeof *corners);
    if (!s->path || !s->tags || !s->corners_mm) return false;
    memcpy(s->tags, tags, (size_t)n_tags * sizeof *tags);
    if (n_corners > 0) memcpy(s->corners_mm, corners, (size_t)n_corners * sizeof *corners);
    s->n_tags = n_tags;
    s->n_corners = n_corners;
    return true;
}

static bool make_mat(tr_sheet *sheet, const char *id, int first_tag) {
    static const tr_vec2 at[MAT_TAGS] = {{-680, 380}, {0, 380},     {680, 380}, {-680, 0},
                                         {680, 0},    {-680, -380}, {0, -380},  {680, -380}};
    static const tr_vec2 corners[8] = {{-400, 420}, {400, 420}, {-400, -420}, {400, -420},
                                       {-740, 190}, {740, 190}, {-740, -190}, {740, -190}};
    tr_tag tags[MAT_TAGS];
    for (int i = 0; i < MAT_TAGS; i++) {
        tags[i] = (tr_tag){.id = first_tag + i, .centre_mm = at[i], .size_mm = 160};
    }
    return make_sheet(sheet, id, TR_SHEET_MAT, MAT_WIDTH_MM, MAT_HEIGHT_MM, tags, MAT_TAGS, corners,
                      8);
}

static bool make_plate(tr_sheet *sheet, int point, double part) {
    static const char *const ids[TR_N_POINTS] = {"PLATE-FL", "PLATE-FR", "PLATE-RL", "PLATE-RR"};
    tr_vec2 corners[4] = {{-95, 70}, {95, 70}, {-95, -70}, {95, -70}};
    tr_tag tag = {.id = point, .size_mm = 120 * part};
    for (int i = 0; i < 4; i++) corners[i] = tr_v2_scale(part, corners[i]);
    return make_sheet(sheet, ids[point], TR_SHEET_PLATE, 250 * part, 200 * part, &tag, 1, corners,
                      4);
}

tr_vec2 tr_sim_mat_corner(int i) {
    static const double SIGN[TR_SIM_MAX_POINTERS][2] = {{-1, 1}, {1, -1}, {1, 1}, {-1, -1}};
    return tr_v2(SIGN[i][0] * MAT_WIDTH_MM / 2, SIGN[i][1] * MAT_HEIGHT_MM / 2);
}

static const tr_vec2 TIP_MM = {0, 127};

static bool make_pointer(tr_sheet *sheet, int i) {
    const tr_tag tags[2] = {{.id = 80 + 2 * i, .centre_mm = {-30, 40}, .size_mm = 88},
                            {.id = 81 + 2 * i, .centre_mm = {-30, -72}, .size_mm = 88}};
    char id[24];
    snprintf(id, sizeof id, "POINTER-%d", i + 1);
    if (!make_sheet(sheet, id, TR_SHEET_PLATE, 180, 260, tags, 2, NULL, 0)) return false;
    sheet->has_tip = true;
    sheet->tip_mm = TIP_MM;
    return true;
}

/* A mat that nothing may be stuck on. */
static bool make_bare(tr_sheet *mat, bool has_pattern) {
    mat->n_tags = 0;
    if (!has_pattern) mat->n_corners = 0;
    mat->n_points = TR_SIM_MAX_POINTERS;
    mat->points = calloc(TR_SIM_MAX_POINTERS, sizeof *mat->points);
    if (!mat->points) return false;
    for (int i = 0; i < TR_SIM_MAX_POINTERS; i++) {
        tr_vec2 at = tr_sim_mat_corner(i);
        mat->points[i] = (tr_sheet_point){.at_mm = {at.x, at.y, 0}};
        snprintf(mat->points[i].name, sizeof mat->points[i].name, "corner %d", i + 1);
    }
    return true;
}

double tr_sim_pattern_step(tr_sim_artwork artwork) {
    return artwork == TR_SIM_DISCS ? 220 : 200;
}

/* A regular pattern, with plain paper about it. */
static bool make_pattern(tr_sheet *mat, tr_sim_artwork artwork) {
    enum { COLUMNS = 6, ROWS = 4, N = COLUMNS * ROWS };
    double step = tr_sim_pattern_step(artwork);
    free(mat->corners_mm);
    mat->n_tags = mat->n_corners = 0;
    mat->corners_mm = calloc(N, sizeof *mat->corners_mm);
    mat->discs = calloc(N, sizeof *mat->discs);
    if (!mat->corners_mm || !mat->discs) return false;
    for (int i = 0; i < N; i++) {
        tr_vec2 at = {((i % COLUMNS) - (COLUMNS - 1) / 2.0) * step,
                      ((int)(i / COLUMNS) - (ROWS - 1) / 2.0) * step};
        if (artwork == TR_SIM_DISCS)
            mat->discs[mat->n_discs++] = (tr_disc){.centre_mm = at, .diameter_mm = 80};
        else
            mat->corners_mm[mat->n_corners++] = at;
    }
    return true;
}

static int n_sheets_of(const tr_sim_options *o) {
    if (o->scene.n_pointers > 0) return TR_SIM_POINTER + o->scene.n_pointers;
    return o->scene.has_second_mat ? MAT_2 + 1 : MAT_2;
}

static bool is_plate(int sheet) {
    return sheet >= PLATE_0 && sheet < MAT_2;
}

static bool make_sheets(const tr_sim_options *o, tr_sheet **out, int *n) {
    tr_sheet *sheets = *out = calloc(TR_SIM_MAX_SHEETS, sizeof *sheets);
    if (!sheets) return false;
    *n = n_sheets_of(o);
    if (!make_mat(&sheets[MAT], "MAT-SIM", 40)) return false;
    for (int p = 0; p < TR_N_POINTS; p++) {
        if (!make_plate(&sheets[PLATE_0 + p], p, or_one(o->scene.plate_part))) return false;
    }
    for (int i = 0; i < o->scene.n_pointers; i++) {
        if (!make_pointer(&sheets[TR_SIM_POINTER + i], i)) return false;
    }
    bool has_pattern = o->scene.artwork != TR_SIM_TAGGED;
    if (has_pattern && !make_pattern(&sheets[MAT], o->scene.artwork)) return false;
    if (o->scene.n_pointers > 0) return make_bare(&sheets[MAT], has_pattern);
    return !o->scene.has_second_mat || make_mat(&sheets[MAT_2], "MAT-SIM-2", 60);
}

static void exchange_tags(const tr_sim_options *o, tr_sheet *mat) {
    tr_tag *a = &mat->tags[o->faults.exchanged_tags[0]];
    tr_tag *b = &mat->tags[o->faults.exchanged_tags[1]];
    tr_vec2 at = a->centre_mm;
    a->centre_mm = b->centre_mm;
    b->centre_mm = at;
}

/* The file of a surveyed sheet: places with errors, and the covariance that these were drawn from.
 */
static bool survey_sheet(const tr_sim_options *o, tr_random *random, double scale, tr_sheet *s) {
    double sd = o->noise.survey_sd_mm;
    int n = TR_TAG_N * s->n_tags + TR_CORNER_N * s->n_corners;
    double *C = calloc((size_t)n * (size_t)n, sizeof *C);
    double *d = calloc((size_t)n, sizeof *d); /* d(place) / d(scale) */
    int row = 0;
    s->survey.covariance = C;
    s->survey.n_rows = n;
    s->survey.scale_sd = o->noise.survey_scale_sd;
    s->survey.n_lengths = 1;
    snprintf(s->survey.id, sizeof s->survey.id, "simulated");
    snprintf(s->survey.lengths[0], sizeof s->survey.lengths[0], "BAR-1");
    if (!C || !d) {
        free(d);
        return false;
    }
    for (int i = 0; i < s->n_tags; i++) {
        tr_tag *tag = &s->tags[i];
        double turn_sd = 2 * sd / tag->size_mm;
        double own[TR_TAG_N] = {sd, sd, turn_sd, sd, sd};
        double true_place[TR_TAG_N] = {tag->centre_mm.x, tag->centre_mm.y, 0, tag->size_mm,
                                       tag->size_mm};
        double e[TR_TAG_N];
        for (int k = 0; k < TR_TAG_N; k++) {
            C[(row + k) * (n + 1)] = own[k] * own[k];
            d[row + k] = true_place[k];
            e[k] = own[k] * tr_random_normal(random) + scale * true_place[k];
        }
        tag->centre_mm = tr_v2_add(tag->centre_mm, tr_v2(e[TR_TAG_X], e[TR_TAG_Y]));
        tag->turn_rad += e[TR_TAG_TURN];
        tag->edges_mm[0] = tag->size_mm + e[TR_TAG_WIDTH];
        tag->edges_mm[1] = tag->size_mm + e[TR_TAG_HEIGHT];
        row += TR_TAG_N;
    }
    for (int i = 0; i < s->n_corners; i++) {
        double *at[TR_CORNER_N] = {&s->corners_mm[i].x, &s->corners_mm[i].y};
        for (int k = 0; k < TR_CORNER_N; k++) {
            C[row * (n + 1)] = sd * sd;
            d[row++] = *at[k];
            *at[k] += sd * tr_random_normal(random) + scale * *at[k];
        }
    }
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++) {
            C[i * n + k] += o->noise.survey_scale_sd * o->noise.survey_scale_sd * d[i] * d[k];
        }
    }
    free(d);
    return true;
}

static bool survey_sheets(const tr_sim_options *o, tr_job *job) {
    tr_random random = tr_random_seed(o->seed ^ SURVEY_SALT);
    double scale = o->noise.survey_scale_sd * tr_random_normal(&random);
    for (int i = 0; i < job->n_sheets; i++) {
        if (!survey_sheet(o, &random, scale, &job->sheets[i])) return false;
    }
    return true;
}

/* A lens profile as a fair calibration leaves it: sd and the larger correlations. */
static void make_lens(tr_lens *lens, const tr_sim_options *o) {
    static const double value[TR_LENS_N] = {3012,  3011, 2010,  1512, 0.083,
                                            -0.21, 4e-4, -2e-4, 0.137};
    static const double sd[TR_LENS_N] = {1.2, 1.2, 1.5, 1.5, 1.5e-3, 9e-3, 8e-5, 8e-5, 1.6e-2};
    static const struct {
        int a, b;
        double r;
    } pairs[] = {{TR_FX, TR_FY, 0.95}, {TR_K1, TR_K2, -0.92}, {TR_K2, TR_K3, -0.96},
                 {TR_K1, TR_K3, 0.82}, {TR_CX, TR_P2, -0.7},  {TR_CY, TR_P1, -0.7}};
    double part = o->scene.image_px.x > 0 ? o->scene.image_px.x / 4032 : 1;
    memset(lens, 0, sizeof *lens);
    snprintf(lens->id, sizeof lens->id, "simulated");
    lens->width_px = (int)lrint(4032 * part);
    lens->height_px = (int)lrint(3024 * part);
    memcpy(lens->param, value, sizeof value);
    for (int i = TR_FX; i <= TR_CY; i++) lens->param[i] *= part;
    lens->scatter.is_steady = o->scene.is_steady;
    if (o->scene.is_exact_lens) return;
    lens->has_covariance = true;
    for (int i = 0; i < TR_LENS_N; i++) lens->covariance[i * (TR_LENS_N + 1)] = sd[i] * sd[i];
    for (size_t k = 0; k < sizeof pairs / sizeof *pairs; k++) {
        int a = pairs[k].a;
        int b = pairs[k].b;
        double c = pairs[k].r * sd[a] * sd[b];
        lens->covariance[a * TR_LENS_N + b] = lens->covariance[b * TR_LENS_N + a] = c;
    }
    for (int i = 0; i < TR_LENS_N * TR_LENS_N; i++) {
        double row = i / TR_LENS_N <= TR_CY ? part : 1;
        double column = i % TR_LENS_N <= TR_CY ? part : 1;
        lens->covariance[i] *= row * column;
    }
}

static double mat_x(const tr_sim_options *o) {
    return o->scene.mat_x_mm != 0.0 ? o->scene.mat_x_mm : DEFAULT_MAT_X_MM;
}

static tr_placement place_mat(const tr_sim_options *o, const char *id, double y) {
    tr_placement p = {.from = {{TR_FROM_REAR_AXLE, "", 0}}};
    snprintf(p.sheet, sizeof p.sheet, "%s", id);
    p.axis[TR_X] = (tr_requirement){true, true, mat_x(o), 10};
    p.axis[TR_Y] = (tr_requirement){true, true, y, 10};
    p.axis[TR_YAW] = (tr_requirement){true, true, 0, 0.5 * TR_RAD_PER_DEG};
    p.within_mm = o->scene.within_mm;
    p.within_rad = 3 * TR_RAD_PER_DEG;
    return p;
}

static bool make_layout(const tr_sim_options *o, tr_layout *l) {
    snprintf(l->id, sizeof l->id, "SIM-REAR");
    snprintf(l->vehicle, sizeof l->vehicle, "Simulated estate car");
    l->path = strdup("simulated.yaml");
    l->axes = TR_AXES_CENTRELINE;
    l->wheelbase_mm = WHEELBASE_MM;
    l->track_front_mm = TRACK_FRONT_MM;
    l->track_rear_mm = TRACK_REAR_MM;
    l->reference_tolerance_mm = 15;
    l->flatness_mm = 5;
    l->placements = calloc(2, sizeof *l->placements);
    if (!l->path || !l->placements) return false;
    l->n_placements = o->scene.has_second_mat ? 2 : 1;
    l->placements[0] = place_mat(o, "MAT-SIM", o->scene.has_second_mat ? MATS_APART_MM : 0);
    if (o->scene.has_second_mat) l->placements[1] = place_mat(o, "MAT-SIM-2", -MATS_APART_MM);
    return true;
}

static bool make_job(const tr_sim_options *o, tr_sim *out) {
    tr_job *job = &out->job;
    int n = 0;
    snprintf(job->id, sizeof job->id, "SIM-%llu", (unsigned long long)o->seed);
    job->path = strdup("simulated.yaml");
    make_lens(job->lenses, o);
    job->n_lenses = 1;
    if (o->noise.phone.is_portrait) tr_sim_make_portrait(job->lenses);
    job->reference_sd_mm = o->noise.reference_sd_mm;
    job->references = calloc(TR_N_POINTS, sizeof *job->references);
    if (!job->path || !job->references || !make_layout(o, &job->layout) ||
        !make_sheets(o, &job->sheets, &job->n_sheets) || !make_sheets(o, &out->printed, &n)) {
        return false;
    }
    if (job->sheets[MAT].n_tags > 0) exchange_tags(o, &job->sheets[MAT]);
    job->pointers = calloc(TR_SIM_MAX_POINTERS, sizeof *job->pointers);
    if (!job->pointers) return false;
    job->n_pointers = o->scene.n_pointers;
    job->pointer_sd_mm = o->noise.pointer_sd_mm;
    for (int i = 0; i < job->n_pointers; i++) {
        job->pointers[i] = (tr_pointer){.sheet = TR_SIM_POINTER + i, .target = MAT, .point = i};
    }
    if (o->noise.survey_sd_mm > 0 && !survey_sheets(o, job)) return false;
    job->n_references = TR_N_POINTS;
    for (int i = 0; i < TR_N_POINTS; i++) {
        job->references[i] = (tr_reference){.point = (tr_wheel_point)i, .sheet = PLATE_0 + i};
    }
    return true;
}

/* ---- the scene ---- */

typedef struct {
    const tr_sim_options *o;
    tr_sim *sim;
    tr_random random;
    tr_random phone;
    tr_pose sheets[TR_SIM_MAX_SHEETS];        /* vehicle_from_sheet */
    double print_error[TR_SIM_MAX_SHEETS][2]; /* relative, of width and height */
} scene;

/* The lower Cholesky factor of the profile's covariance times normal numbers. */
static void draw_lens(scene *s, const tr_lens *profile) {
    double L[TR_LENS_N][TR_LENS_N] = {{0}};
    double n[TR_LENS_N];
    tr_random random =
        tr_random_seed(s->o->noise.lens_seed ? s->o->noise.lens_seed : s->o->seed ^ LENS_SALT);
    for (int i = 0; i < TR_LENS_N; i++) n[i] = tr_random_normal(&random);
    for (int j = 0; j < TR_LENS_N; j++) {
        for (int i = j; i < TR_LENS_N; i++) {
            double v = profile->covariance[i * TR_LENS_N + j];
            for (int k = 0; k < j; k++) v -= L[i][k] * L[j][k];
            L[i][j] = i == j ? sqrt(v) : v / L[j][j];
        }
    }
    for (int i = 0; i < TR_LENS_N; i++) {
        for (int k = 0; k <= i; k++) s->sim->true_lens.param[i] += L[i][k] * n[k];
    }
    double focal = 1 + TR_ADJUST_FOCAL_SD * tr_random_normal(&random);
    s->sim->true_lens.param[TR_FX] *= focal;
    s->sim->true_lens.param[TR_FY] *= focal;
}

static double between(tr_random *r, double low, double high) {
    return low + (high - low) * tr_random_uniform(r);
}

/* A phone's main camera: 23 to 30 mm, the principal point within 1.5 % of the longer side, barrel
   or pincushion with higher terms that take most of it back towards the corners, as in
   shared/data/phone-photos. Drawn evenly, so that no lens is the usual one, and not from the priors
   of lens/unknown.h. */
static void draw_unknown_lens(scene *s) {
    tr_random random =
        tr_random_seed(s->o->noise.lens_seed ? s->o->noise.lens_seed : s->o->seed ^ LENS_SALT);
    tr_lens *lens = &s->sim->true_lens;
    double side = fmax(lens->width_px, lens->height_px);
    double *p = lens->param;
    p[TR_FX] = side * between(&random, 0.64, 0.83);
    p[TR_FY] = p[TR_FX] * (1 + between(&random, -1e-3, 1e-3));
    p[TR_CX] = (lens->width_px - 1) / 2.0 + side * between(&random, -0.015, 0.015);
    p[TR_CY] = (lens->height_px - 1) / 2.0 + side * between(&random, -0.015, 0.015);
    p[TR_P1] = between(&random, -2e-3, 2e-3);
    p[TR_P2] = between(&random, -2e-3, 2e-3);
    do {
        p[TR_K1] = between(&random, -0.1, 0.2);
        p[TR_K2] = -p[TR_K1] * between(&random, 2, 5);
        p[TR_K3] = -p[TR_K2] * between(&random, 0.6, 1.7);
    } while (!tr_lens_is_one_to_one(lens));
}

/* What the photos tell of their camera: 35 mm equivalents are whole millimetres, and of the longer
   side with some, of the diagonal with others. */
static tr_camera tell_camera(const tr_sim_options *o, const tr_lens *lens) {
    static const double diagonal_mm = 43.267;
    static const double width_mm = 36;
    tr_camera camera = {.name = "Simulated Phone"};
    double w = lens->width_px;
    double h = lens->height_px;
    double film = o->seed % 2 == 0 ? width_mm / fmax(w, h) : diagonal_mm / hypot(w, h);
    camera.equivalent_focal_length_mm =
        round(lens->param[TR_FX] * film * o->scene.told_focal_factor);
    return camera;
}

/* All plates come from one printer, and all sheets share an error. */
static void draw_prints(scene *s) {
    tr_random random = tr_random_seed(s->o->seed ^ PRINT_SALT);
    tr_random pointers = tr_random_seed(s->o->seed ^ POINTER_SALT);
    tr_random all = tr_random_seed(s->o->seed ^ PRINT_SALT ^ POINTER_SALT);
    double shared = TR_ADJUST_SHARED_PRINT_SD * tr_random_normal(&all);
    for (int k = 0; k < 2; k++) {
        double of_plates = shared + TR_ADJUST_PRINT_SD * tr_random_normal(&random);
        for (int i = 0; i <= MAT_2; i++) {
            s->print_error[i][k] =
                is_plate(i) ? of_plates + TR_ADJUST_OWN_PRINT_SD * tr_random_normal(&random)
                            : shared + TR_ADJUST_PRINT_SD * tr_random_normal(&random);
        }
        for (int i = 0; i < s->o->scene.n_pointers; i++) {
            s->print_error[TR_SIM_POINTER + i][k] =
                of_plates + TR_ADJUST_OWN_PRINT_SD * tr_random_normal(&pointers);
        }
    }
}

tr_sim_floor tr_sim_lie(tr_sim_floor floor, double width_mm, double height_mm, tr_random *random) {
    static const double SD_MM = 0.5;
    floor.height_mm += SD_MM / 2 * tr_random_normal(random);
    floor.along_rad += SD_MM / height_mm * tr_random_normal(random);
    floor.across_rad += SD_MM / width_mm * tr_random_normal(random);
    return floor;
}

/* Turned by next to nothing: pitch and roll are about the axes of the vehicle. */
static tr_pose on_floor(scene *s, int sheet, double x, double y, double yaw) {
    const tr_sim_floor *floor = &s->o->scene.floor[sheet];
    double value[TR_N_AXES] = {[TR_X] = x, [TR_Y] = y, [TR_YAW] = yaw};
    if (s->o->noise.draws_floor) {
        value[TR_Z] = TR_ADJUST_FLOOR_Z_SD_MM * tr_random_normal(&s->random);
        value[TR_PITCH] = TR_ADJUST_FLOOR_TILT_SD_RAD * tr_random_normal(&s->random);
        value[TR_ROLL] = TR_ADJUST_FLOOR_TILT_SD_RAD * tr_random_normal(&s->random);
    } else {
        value[TR_Z] = s->o->noise.phone.floor_mm * tr_random_normal(&s->phone);
        value[TR_PITCH] = s->o->noise.phone.floor_tilt_rad * tr_random_normal(&s->phone);
        value[TR_ROLL] = s->o->noise.phone.floor_tilt_rad * tr_random_normal(&s->phone);
    }
    value[TR_Z] += floor->height_mm;
    value[TR_PITCH] -= floor->along_rad;
    value[TR_ROLL] += floor->across_rad;
    return tr_pose_of_placement(value, false);
}

static void place_as_laid(scene *s, const tr_vec3 plate[TR_N_POINTS], int placement, int sheet) {
    static const bool all[TR_N_POINTS] = {true, true, true, true};
    const tr_sim_options *o = s->o;
    for (int moved = 0; moved < 2; moved++) {
        for (int nudged = 0; nudged < 2; nudged++) {
            tr_vec3 point[TR_N_POINTS];
            tr_vehicle vehicle;
            double value[TR_N_AXES];
            double *out = &s->sim->as_laid[moved][nudged][3 * placement];
            for (int p = 0; p < TR_N_POINTS; p++) {
                tr_vec2 d = nudged ? o->faults.plate_nudge_mm[p] : tr_v2(0, 0);
                point[p] = tr_v3_add(plate[p], tr_v3(d.x, d.y, 0));
            }
            tr_pose pose = s->sheets[sheet];
            if (moved && sheet == MAT) {
                pose.t_mm = tr_v3_add(pose.t_mm,
                                      tr_v3(o->faults.mat_moved_mm.x, o->faults.mat_moved_mm.y, 0));
            }
            if (!tr_vehicle_of_points(point, all, TR_AXES_CENTRELINE, &vehicle)) continue;
            tr_placement_of(tr_pose_mul(vehicle.vehicle_from_world, pose), false, value);
            out[0] = value[TR_X];
            out[1] = value[TR_Y];
            out[2] = value[TR_YAW];
        }
    }
}

static void place_mats(scene *s) {
    const tr_sim_options *o = s->o;
    const double *e[2] = {o->scene.mat_error, o->scene.second_mat_error};
    int sheet[2] = {MAT, MAT_2};
    for (int i = 0; i < s->sim->job.layout.n_placements && i < 2; i++) {
        double y = s->sim->job.layout.placements[i].axis[TR_Y].required;
        s->sheets[sheet[i]] = on_floor(s, sheet[i], mat_x(o) + e[i][0], y + e[i][1], e[i][2]);
    }
    if (o->scene.has_second_mat && o->faults.are_mats_exchanged) {
        tr_pose first = s->sheets[MAT];
        s->sheets[MAT] = s->sheets[MAT_2];
        s->sheets[MAT_2] = first;
    }
}

/* Outside the mat, its tip at the corner. */
static void place_pointers(scene *s) {
    const tr_sim_options *o = s->o;
    tr_random random = tr_random_seed(o->seed ^ POINTER_SALT);
    for (int i = 0; i < o->scene.n_pointers; i++) {
        tr_vec2 corner = tr_sim_mat_corner(o->faults.has_pointer_at ? o->faults.pointer_at[i] : i);
        tr_vec3 at = tr_pose_apply(s->sheets[MAT], tr_v3(corner.x, corner.y, 0));
        tr_vec3 inward = tr_m3_apply(s->sheets[MAT].R, tr_v3(-corner.x, -corner.y, 0));
        double yaw = atan2(inward.y, inward.x) + 0.2 * (tr_random_uniform(&random) - 0.5);
        tr_pose pose = on_floor(s, TR_SIM_POINTER + i, 0, 0, yaw);
        double dx =
            o->noise.pointer_sd_mm * tr_random_normal(&random) + o->faults.pointer_off_mm[i].x;
        double dy =
            o->noise.pointer_sd_mm * tr_random_normal(&random) + o->faults.pointer_off_mm[i].y;
        tr_vec3 tip = tr_m3_apply(pose.R, tr_v3(TIP_MM.x, TIP_MM.y, 0));
        pose.t_mm = tr_v3(at.x + dx - tip.x, at.y + dy - tip.y, pose.t_mm.z);
        s->sheets[TR_SIM_POINTER + i] = pose;
    }
}

static void place_sheets(scene *s) {
    const tr_sim_options *o = s->o;
    const tr_vec2 wheel[TR_N_POINTS] = {
        [TR_FRONT_LEFT] = {WHEELBASE_MM, TRACK_FRONT_MM / 2},
        [TR_FRONT_RIGHT] = {WHEELBASE_MM, -TRACK_FRONT_MM / 2},
        [TR_REAR_LEFT] = {0, TRACK_REAR_MM / 2},
        [TR_REAR_RIGHT] = {0, -TRACK_REAR_MM / 2},
    };
    const int mats[2] = {MAT, MAT_2};
    tr_vec3 as_laid[TR_N_POINTS];
    place_mats(s);
    for (int p = 0; p < TR_N_POINTS; p++) {
        tr_vec2 at = wheel[o->faults.has_plate_at ? o->faults.plate_at[p] : (tr_wheel_point)p];
        double dx = o->noise.reference_sd_mm * tr_random_normal(&s->random);
        double dy = o->noise.reference_sd_mm * tr_random_normal(&s->random);
        double yaw = 0.1 * (tr_random_uniform(&s->random) - 0.5) + o->faults.plate_turn_rad[p];
        tr_pose *pose = &s->sheets[PLATE_0 + p];
        *pose = on_floor(s, PLATE_0 + p, at.x + dx + o->faults.plate_off_mm[p].x,
                         at.y + dy + o->faults.plate_off_mm[p].y, yaw);
        as_laid[p] = tr_v3(wheel[p].x + dx, wheel[p].y + dy, pose->t_mm.z);
        pose->t_mm.z += o->faults.plate_lift_mm[p];
    }
    for (int i = 0; i < s->sim->job.layout.n_placements; i++) {
        double value[TR_N_AXES];
        tr_placement_of(s->sheets[mats[i]], false, value);
        s->sim->truth[3 * i] = value[TR_X];
        s->sim->truth[3 * i + 1] = value[TR_Y];
        s->sim->truth[3 * i + 2] = value[TR_YAW];
        place_as_laid(s, as_laid, i, mats[i]);
    }
    place_pointers(s);
}

static void lift_mats(scene *s) {
    const int mats[2] = {MAT, MAT_2};
    for (int i = 0; i < s->sim->job.layout.n_placements && i < 2; i++) {
        const tr_sheet *print = &s->sim->printed[mats[i]];
        s->sim->relief[mats[i]] =
            tr_sim_relief(&s->o->noise.phone, print->width_mm, print->height_mm, &s->phone);
    }
}

/* ---- what lies before one camera ---- */

static void add_item(const scene *s, tr_sim_photo *photo, int sheet, tr_vec2 shift) {
    const tr_sim_options *o = s->o;
    tr_sim_item *item = &photo->items[photo->n_items++];
    *item = (tr_sim_item){
        .sheet = sheet, .vehicle_from_sheet = s->sheets[sheet], .relief = s->sim->relief[sheet]};
    item->vehicle_from_sheet.t_mm.x += shift.x;
    item->vehicle_from_sheet.t_mm.y += shift.y;
    if (sheet == MAT) {
        for (int k = 0; k < 2; k++) {
            item->print_scale[k] =
                or_one(o->faults.mat_scale) * (1 + o->faults.mat_print_scale[k]) - 1;
        }
        item->bow_mm[0] = -o->faults.mat_curl_mm;
        item->vehicle_from_sheet.t_mm =
            tr_pose_apply(item->vehicle_from_sheet, tr_v3(0, 0, o->faults.mat_curl_mm));
        item->ridge = o->faults.mat_ridge;
    } else if (is_plate(sheet)) {
        item->print_scale[0] = item->print_scale[1] =
            or_one(o->faults.plate_scale[sheet - PLATE_0]) - 1;
    }
    for (int k = 0; k < 2; k++) item->print_scale[k] += s->print_error[sheet][k];
}

static void lay_out(const scene *s, int i, tr_sim_photo *photo) {
    const tr_sim_options *o = s->o;
    for (int sheet = 0; sheet < s->sim->job.n_sheets; sheet++) {
        tr_vec2 shift = {0, 0};
        if (sheet == MAT && o->faults.is_mat_missing) continue;
        if (sheet == MAT && o->faults.moved_from > 0 && i >= o->faults.moved_from)
            shift = o->faults.mat_moved_mm;
        if (is_plate(sheet) && o->faults.nudged_from > 0 && i >= o->faults.nudged_from) {
            shift = o->faults.plate_nudge_mm[sheet - PLATE_0];
        }
        add_item(s, photo, sheet, shift);
    }
    if (o->faults.printed_twice == 0) return;
    add_item(s, photo, o->faults.printed_twice - 1, o->faults.copy_at_mm);
    tr_pose *pose = &photo->items[photo->n_items - 1].vehicle_from_sheet;
    pose->R = tr_m3_mul(tr_rotation_z(o->faults.copy_turn_rad), pose->R);
}

/* Cut about a centre and enlarged to the old size. */
static void zoom_in(const scene *s, int i, tr_lens *lens) {
    double factor = or_one(s->o->faults.zoom[i]);
    double middle[2] = {(lens->width_px - 1) / 2.0, (lens->height_px - 1) / 2.0};
    double shift[2] = {s->o->faults.zoom_shift_px[i].x, s->o->faults.zoom_shift_px[i].y};
    for (int k = 0; k < 2; k++) {
        double *c = &lens->param[TR_CX + k];
        *c = factor * (*c - middle[k]) + middle[k] + shift[k];
        lens->param[TR_FX + k] *= factor;
    }
}

/* Where the photographer stands and what he aims at, mm in the vehicle frame; each is disturbed. */
static tr_pose station(scene *s, int i) {
    static const tr_vec3 from[TR_SIM_MAX_PHOTOS] = {
        {-4300, 1300, 1550},  {-4300, -1300, 1550}, {-1300, 3000, 1500}, {-1300, -3000, 1500},
        {3600, 2700, 1500},   {3600, -2700, 1500},  {-4600, 0, 1700},    {-2600, 2600, 1650},
        {-2600, -2600, 1650}, {1300, 3300, 1500}};
    static const tr_vec3 aim[TR_SIM_MAX_PHOTOS] = {
        {-1100, 100, 0}, {-1100, -100, 0}, {500, 850, 0},  {500, -850, 0},  {1100, 850, 0},
        {1100, -850, 0}, {-1300, 0, 0},    {-900, 300, 0}, {-900, -300, 0}, {1300, 850, 0}};
    int at = s->o->scene.stations[i] > 0 ? s->o->scene.stations[i] - 1 : i;
    tr_vec3 c = from[at];
    tr_vec3 a = aim[at];
    c.x += 200 * tr_random_normal(&s->random);
    c.y += 150 * tr_random_normal(&s->random);
    c.z += 80 * tr_random_normal(&s->random);
    a.x += 80 * tr_random_normal(&s->random);
    a.y += 80 * tr_random_normal(&s->random);
    if (s->o->scene.has_places) {
        c = s->o->scene.at_mm[i];
        a = s->o->scene.look_at_mm[i];
    }
    tr_vec3 z = tr_v3_sub(a, c);
    z = tr_v3_scale(1 / tr_v3_norm(z), z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    x = tr_v3_scale(1 / tr_v3_norm(x), x);
    tr_mat3 R = tr_m3_transpose(tr_m3_from_columns(x, tr_v3_cross(z, x), z));
    double chance = 0.05 * tr_random_normal(&s->random);
    double roll = s->o->faults.camera_roll_rad[i] + (s->o->noise.phone.is_portrait ? TR_PI / 2 : 0);
    R = tr_m3_mul(tr_rotation_z((s->o->scene.has_places ? 0 : chance) + roll), R);
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

/* How far what lies beyond a ridge is drawn in: the length that its slope takes up to t,
   integral of z'^2 / 2 for z = h exp(-t^2 / 2 w^2), which is h^2 sqrt(pi) / (4 w) in all. */
static double drawn_in(const tr_sim_ridge *ridge, double t) {
    double all = ridge->height_mm * ridge->height_mm * sqrt(TR_PI) / (4 * ridge->sd_mm);
    return all * 0.5 * (1 + erf(t / ridge->sd_mm));
}

tr_vec3 tr_sim_item_point(const tr_sim *sim, const tr_sim_item *item, tr_vec2 p) {
    const tr_sheet *sheet = &sim->printed[item->sheet];
    double x = p.x / (sheet->width_mm / 2);
    double y = p.y / (sheet->height_mm / 2);
    tr_vec3 q = {p.x * (1 + item->print_scale[0]), p.y * (1 + item->print_scale[1]),
                 item->bow_mm[0] * (1 - x * x) + item->bow_mm[1] * (1 - y * y) +
                     tr_sim_relief_mm(&item->relief, sheet->width_mm, sheet->height_mm, p)};
    if (item->ridge.height_mm != 0.0) {
        const tr_sim_ridge *r = &item->ridge;
        tr_vec2 across = {cos(r->across_rad), sin(r->across_rad)};
        double t = tr_v2_dot(across, tr_v2(q.x, q.y)) - r->at_mm;
        /* The centre stays. */
        double shift = drawn_in(r, t) - drawn_in(r, -r->at_mm);
        q.x -= shift * across.x;
        q.y -= shift * across.y;
        q.z += r->height_mm * exp(-t * t / (2 * r->sd_mm * r->sd_mm));
    }
    return tr_pose_apply(item->vehicle_from_sheet, q);
}

bool tr_sim_project(const tr_sim *sim, int photo, const tr_sim_item *item, tr_vec2 p_mm,
                    tr_vec2 *uv_px) {
    const tr_sim_photo *p = &sim->photos[photo];
    return tr_sim_expose_point(&p->lens, &p->exposure,
                               tr_pose_inverse(sim->vehicle_from_camera[photo]),
                               tr_sim_item_point(sim, item, p_mm), uv_px);
}

/* ---- marks ---- */

typedef struct {
    scene *s;
    const tr_sim_photo *photo;
    tr_pose camera_from_vehicle;
    tr_vec3 camera;
} shot;

/* A tag as the finder reads it. */
typedef struct {
    const tr_sim_item *item;
    int sheet, tag;
    tr_vec2 uv[4];
    double sd;
} detection;

enum { MAX_DETECTIONS = 64, MAX_MARKS = 64 };

/* A plate lies upon it. */
static bool is_covered(const shot *h, const tr_sim_item *item, tr_vec3 q) {
    if (is_plate(item->sheet)) return false;
    for (int i = 0; i < h->photo->n_items; i++) {
        const tr_sim_item *plate = &h->photo->items[i];
        if (!is_plate(plate->sheet)) continue;
        const tr_sheet *sheet = &h->s->sim->printed[plate->sheet];
        tr_vec3 p = tr_pose_apply(tr_pose_inverse(plate->vehicle_from_sheet), q);
        if (fabs(p.x) < sheet->width_mm / 2 && fabs(p.y) < sheet->height_mm / 2) return true;
    }
    return false;
}

static bool see(const shot *h, const tr_sim_item *item, tr_vec2 p, tr_vec2 *uv) {
    const tr_lens *lens = &h->photo->lens;
    tr_vec3 q = tr_sim_item_point(h->s->sim, item, p);
    if ((!h->s->o->scene.has_no_body && is_hidden(h->camera, q)) || is_covered(h, item, q))
        return false;
    if (!tr_sim_expose_point(lens, &h->photo->exposure, h->camera_from_vehicle, q, uv)) {
        return false;
    }
    return uv->x > 8 && uv->y > 8 && uv->x < lens->width_px - 9 && uv->y < lens->height_px - 9;
}

static double sd_of(const shot *h, const tr_sim_item *item) {
    double distance = tr_v3_norm(tr_v3_sub(item->vehicle_from_sheet.t_mm, h->camera));
    double sd = 0.008 * distance / 1000 * or_one(h->s->o->noise.mark_sd);
    double floor_px = h->s->o->noise.phone.mark_floor_px;
    return floor_px > 0 ? hypot(sd, floor_px) : sd;
}

static void add_noise(const shot *h, double sd, int n, tr_vec2 *uv) {
    for (int k = 0; k < n; k++) {
        uv[k].x += h->s->o->noise.marks * sd * tr_random_normal(&h->s->random);
        uv[k].y += h->s->o->noise.marks * sd * tr_random_normal(&h->s->random);
    }
}

/* The tag's inner cells are asked for too: half a tag is none. */
static bool sees_tag(const shot *h, const tr_sim_item *item, const tr_tag *tag, tr_vec2 uv[4]) {
    tr_vec2 corner[4];
    tr_vec2 ignored;
    for (int k = 0; k < 4; k++) {
        corner[k] = tr_tag_corner(tag, k);
        if (!see(h, item, corner[k], &uv[k])) return false;
    }
    for (int k = 0; k < 4; k++) {
        tr_vec2 edge = tr_v2_scale(0.5, tr_v2_add(corner[k], corner[(k + 1) % 4]));
        tr_vec2 inner = tr_v2_scale(0.5, tr_v2_add(corner[k], tag->centre_mm));
        if (!see(h, item, edge, &ignored) || !see(h, item, inner, &ignored)) return false;
    }
    return true;
}

static int sight_tags(const shot *h, int photo, detection *out) {
    const tr_sim_misread *m = &h->s->o->faults.misread;
    int n = 0;
    for (int i = 0; i < h->photo->n_items; i++) {
        const tr_sim_item *item = &h->photo->items[i];
        const tr_sheet *sheet = &h->s->sim->printed[item->sheet];
        for (int k = 0; k < sheet->n_tags; k++) {
            detection *t = &out[n];
            *t = (detection){.item = item, .sheet = item->sheet, .tag = k, .sd = sd_of(h, item)};
            if (!sees_tag(h, item, &sheet->tags[k], t->uv)) continue;
            add_noise(h, t->sd, 4, t->uv);
            if (m->is_on && m->photo == photo && m->sheet == t->sheet && m->tag == k) {
                t->sheet = m->as_sheet;
                t->tag = m->as_tag;
            }
            n++;
        }
    }
    return n;
}

static void add_mark(tr_photo_marks *out, tr_mark_kind kind, int sheet, int index, int n_points,
                     const tr_vec2 *p, const tr_vec2 *uv, double sd) {
    tr_mark *m = &out->marks[out->n_marks++];
    *m = (tr_mark){.kind = kind, .sheet = sheet, .index = index, .n_points = n_points};
    m->n_cells = 8;
    m->sigma_px = 0.8;
    m->contrast = 150;
    memcpy(m->p_sheet_mm, p, (size_t)n_points * sizeof *p);
    memcpy(m->uv_px, uv, (size_t)n_points * sizeof *uv);
    int n = 2 * n_points;
    for (int k = 0; k < n; k++) m->covariance[k * (n + 1)] = sd * sd;
}

/* As marks.c: a tag read twice is none of both. */
static void add_tags(const shot *h, const detection *s, int n, bool *is_single,
                     tr_photo_marks *out) {
    const tr_job *job = &h->s->sim->job;
    for (int i = 0; i < n; i++) {
        const tr_tag *tag = &job->sheets[s[i].sheet].tags[s[i].tag];
        int times = 0;
        for (int k = 0; k < n; k++) times += s[k].sheet == s[i].sheet && s[k].tag == s[i].tag;
        is_single[i] = times == 1;
        if (is_single[i]) {
            tr_vec2 p[4];
            for (int c = 0; c < 4; c++) p[c] = tr_tag_corner(tag, c);
            add_mark(out, TR_MARK_TAG, s[i].sheet, s[i].tag, 4, p, s[i].uv, s[i].sd);
        } else {
            tr_stray_tag *t = &out->strays[out->n_strays++];
            *t = (tr_stray_tag){.family = "tag36h11", .id = tag->id, .is_repeated = true};
        }
    }
}

/* The item to which most of a sheet's tags belong: from these the finder has the sheet's pose. */
static const tr_sim_item *main_item(const shot *h, const detection *s, const bool *is_single, int n,
                                    int sheet) {
    const tr_sim_item *best = NULL;
    int most = 0;
    for (int i = 0; i < h->photo->n_items; i++) {
        int count = 0;
        for (int k = 0; k < n; k++) {
            count += is_single[k] && s[k].sheet == sheet && s[k].item == &h->photo->items[i];
        }
        if (count > most) {
            most = count;
            best = &h->photo->items[i];
        }
    }
    return best;
}

/* Corners are sought where the pose puts them, and the pose follows from tags and corners that go
   together. */
static void add_corners_and_view(const shot *h, const detection *s, const bool *is_single, int n,
                                 int sheet, tr_photo_marks *out) {
    const tr_job *job = &h->s->sim->job;
    const tr_sim_item *item = main_item(h, s, is_single, n, sheet);
    tr_vec2 p[MAX_MARKS];
    tr_vec2 uv[MAX_MARKS];
    int count = 0;
    if (!item) return;
    for (int i = 0; i < n; i++) {
        if (!is_single[i] || s[i].sheet != sheet || s[i].item != item) continue;
        for (int c = 0; c < 4; c++) {
            p[count] = tr_tag_corner(&job->sheets[sheet].tags[s[i].tag], c);
            uv[count++] = s[i].uv[c];
        }
    }
    for (int k = 0; k < job->sheets[sheet].n_corners; k++) {
        tr_vec2 at = job->sheets[sheet].corners_mm[k];
        if (!see(h, item, h->s->sim->printed[sheet].corners_mm[k], &uv[count])) continue;
        p[count] = at;
        add_noise(h, sd_of(h, item), 1, &uv[count]);
        add_mark(out, TR_MARK_CORNER, sheet, k, 1, &p[count], &uv[count], sd_of(h, item));
        count++;
    }
    tr_sheet_view view = {.sheet = sheet, .n_points = count};
    tr_lens rough = job->lenses[0];
    if (rough.is_unknown) {
        const tr_lens *lens = &h->s->sim->true_lens;
        tr_lens_unknown(&(tr_camera){.name = ""}, lens->width_px, lens->height_px, &rough);
    }
    view.n_poses = tr_planar_poses(&rough, p, uv, count, view.pose);
    if (view.n_poses > 0) out->views[out->n_views++] = view;
}

static bool take_photo(const shot *h, int photo, tr_photo_marks *out) {
    detection s[MAX_DETECTIONS];
    bool is_single[MAX_DETECTIONS];
    out->marks = calloc(MAX_MARKS, sizeof *out->marks);
    out->strays = calloc(MAX_DETECTIONS, sizeof *out->strays);
    out->views = calloc(TR_SIM_MAX_SHEETS, sizeof *out->views);
    if (!out->marks || !out->strays || !out->views) return false;
    int n = sight_tags(h, photo, s);
    add_tags(h, s, n, is_single, out);
    for (int i = 0; i < h->s->sim->job.n_sheets; i++) {
        add_corners_and_view(h, s, is_single, n, i, out);
    }
    return true;
}

static bool add_photo(scene *s, int i) {
    tr_sim *out = s->sim;
    char name[32];
    snprintf(name, sizeof name, "%d.jpg", i + 1);
    tr_photo *photo = tr_photo_set_add(&out->check.set, name, NULL);
    if (!photo) return false;
    photo->is_readable = true;
    photo->width_px = out->true_lens.width_px;
    photo->height_px = out->true_lens.height_px;
    if (s->o->scene.is_lens_unknown) photo->exif.camera = tell_camera(s->o, &out->true_lens);
    out->photos[i].exposure = tr_sim_expose(&s->o->noise.phone, &out->true_lens, &s->phone);
    out->photos[i].lens = tr_sim_lens_of(&out->true_lens, &out->photos[i].exposure);
    zoom_in(s, i, &out->photos[i].lens);
    lay_out(s, i, &out->photos[i]);
    shot h = {.s = s, .photo = &out->photos[i], .camera_from_vehicle = station(s, i)};
    out->vehicle_from_camera[i] = tr_pose_inverse(h.camera_from_vehicle);
    h.camera = out->vehicle_from_camera[i].t_mm;
    return take_photo(&h, i, &photo->marks);
}

bool tr_simulate(const tr_sim_options *o, tr_sim *out, tr_error *err) {
    scene s = {.o = o,
               .sim = out,
               .random = tr_random_seed(o->seed),
               .phone = tr_random_seed(o->seed ^ PHONE_SALT)};
    int n = o->n_photos > 0 ? o->n_photos : 7;
    memset(out, 0, sizeof *out);
    if (n > TR_SIM_MAX_PHOTOS) {
        return tr_fail(err, TR_BAD_INPUT, "at most %d photos", TR_SIM_MAX_PHOTOS);
    }
    if (!make_job(o, out)) goto no_memory;
    out->true_lens = out->job.lenses[0];
    if (o->scene.is_lens_unknown) {
        draw_unknown_lens(&s);
        tr_lens_unknown(&(tr_camera){.name = ""}, 0, 0, &out->job.lenses[0]);
    } else if (o->noise.draws_lens && out->job.lenses[0].has_covariance) {
        draw_lens(&s, out->job.lenses);
    }
    out->true_lens.param[TR_FX] *= or_one(o->faults.lens_factor);
    out->true_lens.param[TR_FY] *= or_one(o->faults.lens_factor);
    if (o->noise.draws_prints) draw_prints(&s);
    place_sheets(&s);
    lift_mats(&s);
    out->vehicle_from_sheet = calloc(TR_SIM_MAX_SHEETS, sizeof *out->vehicle_from_sheet);
    out->vehicle_from_camera = calloc((size_t)n, sizeof *out->vehicle_from_camera);
    out->photos = calloc((size_t)n, sizeof *out->photos);
    if (!tr_check_init(&out->job, &out->check, err) || !out->vehicle_from_sheet ||
        !out->vehicle_from_camera || !out->photos) {
        goto no_memory;
    }
    memcpy(out->vehicle_from_sheet, s.sheets, sizeof s.sheets);
    for (int i = 0; i < n; i++) {
        if (!add_photo(&s, i)) goto no_memory;
    }
    return true;
no_memory:
    tr_sim_release(out);
    return tr_fail_memory(err);
}

void tr_sim_release(tr_sim *sim) {
    for (int i = 0; sim->printed && i < TR_SIM_MAX_SHEETS; i++) tr_sheet_release(&sim->printed[i]);
    free(sim->printed);
    free(sim->vehicle_from_sheet);
    free(sim->vehicle_from_camera);
    free(sim->photos);
    tr_check_release(&sim->check);
    tr_job_release(&sim->job);
}
