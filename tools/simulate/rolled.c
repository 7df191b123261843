#include "tools/simulate/rolled.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "photos/order.h"

/* The invented vehicle. mm */
static const double WHEELBASE_MM = 2700, TRACK_FRONT_MM = 1550, TRACK_REAR_MM = 1540;
static const double RADIUS_MM = 331, STANDOFF_MM = 62;
/* Its centreline is drawn, and where it stands. */
static const double YAW_SD = 0.02, PLACE_SD_MM = 60;
/* By how much a vehicle that is pushed goes astray between positions. */
static const double ASTRAY_MM = 15, ASTRAY_RAD = 0.005;
/* Where the layout wants the boards: ahead of the front axle, aside, high. */
static const double BOARD_X_MM = 1500, BOARD_Y_MM = 600, BOARD_Z_MM = 900;
static const double FRONT_OF_BODY_MM = 3350;

typedef struct {
    const tr_rolled_options *o;
    tr_rolled *out;
    tr_random random;
    tr_lens true_lens;
    tr_pose world_from_body[TR_MAX_POSITIONS]; /* under the middle of the rear axle */
    tr_pose wheel_from_sheet[TR_N_POINTS];     /* how each sheet hangs */
    double print[TR_ROLLED_SHEETS][2];
    tr_pose board[TR_ROLLED_BOARDS], mat[TR_ROLLED_FLOOR]; /* in the world */
    tr_relief relief[TR_ROLLED_FLOOR];
} scene;

static double gauss(scene *s, double sd) {
    return sd * tr_random_normal(&s->random);
}

static int count_positions(const tr_rolled_options *o) {
    return o->n_positions > 0 ? o->n_positions : 2;
}

static bool is_left(int wheel) {
    return wheel == TR_FRONT_LEFT || wheel == TR_REAR_LEFT;
}

static bool is_front(int wheel) {
    return wheel == TR_FRONT_LEFT || wheel == TR_FRONT_RIGHT;
}

/* ---- sheets ---- */

static bool make_sheet(tr_sheet *s, const char *id, tr_sheet_kind kind, double width, double height,
                       const tr_vec2 *tags, int n_tags, double tag_mm, int first_id,
                       const tr_vec2 *corners, int n_corners) {
    *s = (tr_sheet){.kind = kind, .width_mm = width, .height_mm = height};
    s->support = tr_sheet_usual_support(kind);
    snprintf(s->id, sizeof s->id, "%s", id);
    snprintf(s->title, sizeof s->title, "%s", id);
    snprintf(s->tag_family, sizeof s->tag_family, "tag36h11");
    s->path = strdup("simulated.yaml");
    s->tags = calloc((size_t)n_tags + 1, sizeof *s->tags);
    s->corners_mm = calloc((size_t)n_corners + 1, sizeof *s->corners_mm);
    if (!s->path || !s->tags || !s->corners_mm) return false;
    for (int i = 0; i < n_tags; i++) {
        s->tags[i] = (tr_tag){.id = first_id + i, .centre_mm = tags[i], .size_mm = tag_mm};
    }
    memcpy(s->corners_mm, corners, (size_t)n_corners * sizeof *corners);
    s->n_tags = n_tags;
    s->n_corners = n_corners;
    return true;
}

static bool make_sheets(tr_job *job, bool has_emblem) {
    static const char *const HUBS[] = {"HUB-FL", "HUB-FR", "HUB-RL", "HUB-RR"};
    static const char *const BOARDS[] = {"BOARD-1", "BOARD-2"};
    static const char *const MATS[] = {"FLOOR-L", "FLOOR-R", "FLOOR-A"};
    static const tr_vec2 HUB_TAGS[] = {{-95, 95}, {95, 95}, {-95, -95}, {95, -95}};
    static const tr_vec2 HUB_CORNERS[] = {{0, 110}, {110, 0}, {0, -110}, {-110, 0}};
    static const tr_vec2 BOARD_TAGS[] = {{-310, 210}, {310, 210}, {-310, -210}, {310, -210}};
    static const tr_vec2 BOARD_CORNERS[] = {{-100, 240}, {100, 240}, {-100, -240}, {100, -240},
                                            {-350, 50},  {350, 50},  {-350, -50},  {350, -50}};
    static const tr_vec2 MAT_TAGS[] = {{-220, 120}, {220, 120}, {-220, -120}, {220, -120}};
    static const tr_vec2 MAT_CORNERS[] = {{-60, 150}, {60, 150}, {-60, -150}, {60, -150}};
    static const tr_vec2 MIDDLE[] = {{0, 0}};
    bool ok = true;
    job->n_sheets = has_emblem ? TR_ROLLED_SHEETS : TR_ROLLED_EMBLEM;
    job->sheets = calloc(TR_ROLLED_SHEETS, sizeof *job->sheets);
    if (!job->sheets) return false;
    for (int i = 0; i < TR_N_POINTS; i++) {
        ok = ok && make_sheet(&job->sheets[TR_ROLLED_HUB + i], HUBS[i], TR_SHEET_HUB, 300, 300,
                              HUB_TAGS, 4, 90, 10 + 4 * i, HUB_CORNERS, 4);
    }
    for (int i = 0; i < TR_ROLLED_BOARDS; i++) {
        ok = ok && make_sheet(&job->sheets[TR_ROLLED_BOARD + i], BOARDS[i], TR_SHEET_BOARD, 800,
                              600, BOARD_TAGS, 4, 150, 40 + 4 * i, BOARD_CORNERS, 8);
    }
    for (int i = 0; i < TR_ROLLED_FLOOR; i++) {
        ok = ok && make_sheet(&job->sheets[TR_ROLLED_MAT + i], MATS[i], TR_SHEET_MAT, 600, 400,
                              MAT_TAGS, 4, 120, 60 + 4 * i, MAT_CORNERS, 4);
    }
    if (!has_emblem || !ok) return ok;
    tr_sheet *emblem = &job->sheets[TR_ROLLED_EMBLEM];
    ok = make_sheet(emblem, "TAG-90", TR_SHEET_TAG, 160, 160, MIDDLE, 1, 120, 90, MIDDLE, 0);
    emblem->support = TR_ON_VEHICLE;
    return ok;
}

/* ---- the job ---- */

static void make_lens(const scene *s, tr_lens *lens) {
    static const double VALUE[TR_LENS_N] = {3012,  3011, 2010,  1512, 0.083,
                                            -0.21, 4e-4, -2e-4, 0.137};
    double part = s->o->image_px.x > 0 ? s->o->image_px.x / 4032 : 1;
    memset(lens, 0, sizeof *lens);
    snprintf(lens->id, sizeof lens->id, "simulated");
    lens->width_px = (int)lrint(4032 * part);
    lens->height_px = (int)lrint(3024 * part);
    for (int i = 0; i < TR_LENS_N; i++) lens->param[i] = VALUE[i] * (i <= TR_CY ? part : 1);
    lens->scatter.is_steady = s->o->is_steady;
    lens->has_covariance = true;
    for (int i = TR_FX; i <= TR_CY; i++) lens->covariance[i * (TR_LENS_N + 1)] = part * part;
}

static void require(tr_requirement *r, double value, double limit) {
    *r = (tr_requirement){true, limit > 0, value, limit};
}

static bool make_layout(const scene *s, tr_layout *l) {
    int n = s->o->has_one_board ? 1 : TR_ROLLED_BOARDS;
    l->path = strdup("simulated.yaml");
    l->placements = calloc(TR_ROLLED_BOARDS, sizeof *l->placements);
    l->relations = calloc(1, sizeof *l->relations);
    if (!l->path || !l->placements || !l->relations) return false;
    snprintf(l->id, sizeof l->id, "SIM");
    snprintf(l->vehicle, sizeof l->vehicle, "Simulated vehicle");
    l->axes = TR_AXES_THRUST;
    l->reference_tolerance_mm = 15;
    l->flatness_mm = 5;
    l->n_placements = n;
    for (int i = 0; i < n; i++) {
        tr_placement *p = &l->placements[i];
        snprintf(p->sheet, sizeof p->sheet, "BOARD-%d", i + 1);
        p->from[0].kind = p->from[1].kind = TR_FROM_FRONT_AXLE;
        require(&p->axis[TR_X], BOARD_X_MM, 10);
        require(&p->axis[TR_Y], i == 0 ? BOARD_Y_MM : -BOARD_Y_MM, 10);
        require(&p->axis[TR_Z], BOARD_Z_MM, 10);
        require(&p->axis[TR_YAW], 0, 0.5 * TR_RAD_PER_DEG);
        require(&p->axis[TR_PITCH], 0, 0.5 * TR_RAD_PER_DEG);
        require(&p->axis[TR_ROLL], 0, 0.5 * TR_RAD_PER_DEG);
    }
    if (n < 2) return true;
    l->n_relations = 1;
    snprintf(l->relations[0].sheets[0], sizeof l->relations[0].sheets[0], "BOARD-1");
    snprintf(l->relations[0].sheets[1], sizeof l->relations[0].sheets[1], "BOARD-2");
    require(&l->relations[0].axis[TR_X], 0, 10);
    require(&l->relations[0].axis[TR_Y], -2 * BOARD_Y_MM, 10);
    require(&l->relations[0].axis[TR_YAW], 0, 0.5 * TR_RAD_PER_DEG);
    return true;
}

static bool make_job(const scene *s, tr_job *job) {
    const tr_rolled_options *o = s->o;
    const int *x = o->faults.exchanged_hubs;
    job->path = strdup("simulated.yaml");
    job->references = calloc(TR_N_POINTS + 1, sizeof *job->references);
    if (!job->path || !job->references || !make_sheets(job, o->has_emblem)) return false;
    snprintf(job->id, sizeof job->id, "SIM");
    job->n_lenses = 1;
    make_lens(s, &job->lenses[0]);
    job->reference_sd_mm = o->reference_sd_mm;
    job->hub_tilt_sd_rad = o->hub_tilt_sd_rad;
    job->floor_sd_mm = o->floor_sd_mm;
    job->n_positions = count_positions(o);
    for (int i = 0; i < TR_N_POINTS; i++) {
        int sheet = i == x[0] ? x[1] : i == x[1] ? x[0] : i;
        job->references[job->n_references++] = (tr_reference){
            .point = (tr_wheel_point)i, .sheet = TR_ROLLED_HUB + sheet, .standoff_mm = STANDOFF_MM};
    }
    if (o->has_emblem) {
        tr_reference *r = &job->references[job->n_references++];
        *r = (tr_reference){.point = TR_N_POINTS, .sheet = TR_ROLLED_EMBLEM};
        snprintf(r->name, sizeof r->name, "emblem");
    }
    return make_layout(s, &job->layout);
}

/* ---- the vehicle ---- */

static tr_vec3 centre_on_body(int wheel) {
    double track = is_front(wheel) ? TRACK_FRONT_MM : TRACK_REAR_MM;
    return tr_v3(is_front(wheel) ? WHEELBASE_MM : 0, (is_left(wheel) ? 0.5 : -0.5) * track,
                 RADIUS_MM);
}

/* x, y and z of a wheel: z outward along its axis, y up, x to the right of who looks at it. Toe
   turns a left wheel's front to the right, a right one's to the left; camber leans its top outward.
 */
static tr_pose body_from_wheel(const scene *s, int wheel, double steer) {
    double side = is_left(wheel) ? 1 : -1;
    tr_mat3 R0 = is_left(wheel) ? (tr_mat3){{{-1, 0, 0}, {0, 0, 1}, {0, 1, 0}}}
                                : (tr_mat3){{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}};
    tr_mat3 toe = tr_rotation_z(-side * s->o->toe_rad[wheel] + steer);
    tr_mat3 camber = tr_rotation_from_vector(tr_v3(-side * s->o->camber_rad[wheel], 0, 0));
    return (tr_pose){tr_m3_mul(tr_m3_mul(toe, camber), R0), centre_on_body(wheel)};
}

/* Where the body stands: along its way, a little astray, on four heights of the floor that a rigid
   vehicle stands on by least squares. */
static tr_pose stand(scene *s, tr_pose nominal) {
    tr_vec3 foot[TR_N_POINTS];
    for (int i = 0; i < TR_N_POINTS; i++) {
        tr_vec3 c = centre_on_body(i);
        foot[i] = tr_v3(c.x, c.y, gauss(s, s->o->floor_mm));
    }
    tr_floor floor;
    (void)tr_floor_through(foot, TR_N_POINTS, &floor);
    /* The rotation that takes z to the normal, the shorter way. */
    tr_vec3 turn = tr_v3_cross(tr_v3(0, 0, 1), floor.normal);
    tr_pose tilt = {tr_rotation_from_vector(turn), tr_v3(0, 0, 0)};
    tilt.t_mm = tr_v3_sub(floor.at_mm, tr_m3_apply(tilt.R, tr_v3(floor.at_mm.x, floor.at_mm.y, 0)));
    return tr_pose_mul(nominal, tilt);
}

static void place_vehicle(scene *s) {
    int last = count_positions(s->o) - 1;
    double roll = s->o->roll_rad != 0.0 ? s->o->roll_rad : TR_PI / 2;
    tr_pose home = {tr_rotation_z(gauss(s, YAW_SD)),
                    tr_v3(gauss(s, PLACE_SD_MM), gauss(s, PLACE_SD_MM), 0)};
    for (int p = 0; p <= last; p++) {
        double back = (last - p) * roll * RADIUS_MM;
        bool is_last = p == last;
        tr_pose astray = {tr_rotation_z(is_last ? 0 : gauss(s, ASTRAY_RAD)),
                          tr_v3(-back, is_last ? 0 : gauss(s, ASTRAY_MM), 0)};
        s->world_from_body[p] = stand(s, tr_pose_mul(home, astray));
    }
}

static void hang_sheets(scene *s) {
    for (int i = 0; i < TR_N_POINTS; i++) {
        tr_vec3 lean = {gauss(s, s->o->runout_rad), gauss(s, s->o->runout_rad), 0};
        tr_mat3 R = tr_rotation_from_vector(lean);
        R = tr_m3_mul(R, tr_rotation_z(0.1 * tr_random_normal(&s->random)));
        s->wheel_from_sheet[i] =
            (tr_pose){R, tr_v3(gauss(s, s->o->runout_mm), gauss(s, s->o->runout_mm), STANDOFF_MM)};
    }
    for (int i = 0; i < TR_N_POINTS && s->o->standoff_mm > 0; i++) {
        s->wheel_from_sheet[i].t_mm.z += gauss(s, s->o->standoff_mm);
    }
}

static tr_pose hub_pose(const scene *s, int wheel, int position) {
    const tr_rolled_faults *f = &s->o->faults;
    int last = count_positions(s->o) - 1;
    double roll = s->o->roll_rad != 0.0 ? s->o->roll_rad : TR_PI / 2;
    double angle = (last - position) * roll; /* behind the last position */
    bool steers = f->steered == wheel + 1 && position == last;
    tr_pose wheel_pose = body_from_wheel(s, wheel, steers ? f->steer_rad : 0);
    /* A wheel that rolls forward turns clockwise for who looks at the vehicle's right side. */
    tr_pose spin = {tr_rotation_z(is_left(wheel) ? -angle : angle), {0, 0, 0}};
    tr_pose hung = tr_pose_mul(spin, s->wheel_from_sheet[wheel]);
    if (f->slipped == wheel + 1 && position == last) {
        tr_mat3 R = tr_m3_mul(tr_rotation_from_vector(tr_v3(f->slip_tilt_rad, 0, 0)),
                              tr_rotation_z(f->slip_turn_rad));
        hung.R = tr_m3_mul(hung.R, R);
    }
    return tr_pose_mul(s->world_from_body[position], tr_pose_mul(wheel_pose, hung));
}

/* ---- boards and mats ---- */

static tr_wheel true_wheel(const scene *s, int wheel, int position) {
    tr_pose pose = tr_pose_mul(s->world_from_body[position], body_from_wheel(s, wheel, 0));
    return (tr_wheel){
        .is_there = true, .has_axis = true, .at_mm = pose.t_mm, .axis = tr_m3_column(pose.R, 2)};
}

/* The floor is that of the sheets that lie on it. */
static bool find_truth(scene *s) {
    tr_wheel wheels[TR_N_POINTS];
    tr_vec3 p[4 * TR_ROLLED_FLOOR];
    tr_floor floor;
    int last = count_positions(s->o) - 1;
    for (int i = 0; i < TR_N_POINTS; i++) wheels[i] = true_wheel(s, i, last);
    for (int i = 0; i < 4 * TR_ROLLED_FLOOR; i++) {
        tr_vec3 corner = {i & 1 ? 300 : -300, i & 2 ? 200 : -200, 0};
        p[i] = tr_pose_apply(s->mat[i / 4], corner);
    }
    return tr_floor_through(p, 4 * TR_ROLLED_FLOOR, &floor) &&
           tr_vehicle_frame(wheels, &floor, TR_AXES_THRUST, &s->out->truth);
}

static void place_boards(scene *s) {
    const tr_rolled_faults *f = &s->o->faults;
    tr_pose world_from_vehicle = tr_pose_inverse(s->out->truth.vehicle_from_world);
    tr_vec3 front = tr_vehicle_axle(&s->out->truth, true);
    for (int i = 0; i < TR_ROLLED_BOARDS; i++) {
        const double *e = s->o->board_error[i];
        double *v = s->out->target[i];
        double y = i == 0 ? BOARD_Y_MM : -BOARD_Y_MM;
        const double at[TR_N_AXES] = {BOARD_X_MM, y, BOARD_Z_MM, 0, 0, 0};
        for (int k = 0; k < TR_N_AXES; k++) v[k] = at[k] + e[k];
        if (i == 0) v[TR_YAW] += f->board_yaw_rad;
        if (i == 0) v[TR_ROLL] += f->board_roll_rad;
        double in_frame[TR_N_AXES];
        memcpy(in_frame, v, sizeof in_frame);
        in_frame[TR_X] += front.x;
        in_frame[TR_Y] += front.y;
        s->board[i] = tr_pose_mul(world_from_vehicle, tr_pose_of_placement(in_frame, true));
    }
    if (!f->are_boards_exchanged) return;
    tr_pose left = s->board[0];
    s->board[0] = s->board[1];
    s->board[1] = left;
}

static void place_mats(scene *s) {
    static const tr_vec2 AT[TR_ROLLED_FLOOR] = {{1350, 1500}, {1350, -1500}, {3750, 0}};
    for (int i = 0; i < TR_ROLLED_FLOOR; i++) {
        tr_vec3 tilt = {gauss(s, s->o->phone.floor_tilt_rad), gauss(s, s->o->phone.floor_tilt_rad),
                        0};
        tr_mat3 R = tr_m3_mul(tr_rotation_from_vector(tilt), tr_rotation_z(gauss(s, 0.1)));
        tr_vec3 at = {AT[i].x, AT[i].y, gauss(s, s->o->phone.floor_mm)};
        s->mat[i] = (tr_pose){R, at};
        s->relief[i] = tr_sim_relief(&s->o->phone, 600, 400, &s->random);
    }
}

/* ---- photos ---- */

typedef struct {
    tr_vec3 at, aim;
} station;

/* On the left; the same on the right. The last two show the boards. */
static const station STATIONS[TR_ROLLED_PHOTOS / 2] = {{{-1500, 2700, 1500}, {1200, 900, 250}},
                                                       {{1350, 3700, 1500}, {1350, 800, 250}},
                                                       {{4400, 2700, 1500}, {1700, 900, 250}},
                                                       {{-300, 2300, 1600}, {3700, 500, 500}},
                                                       {{1500, 2100, 1650}, {4000, 200, 450}}};

static tr_scene_camera expose(scene *s, tr_pose world_from_camera) {
    tr_sim_exposure e = tr_sim_expose(&s->o->phone, &s->true_lens, &s->random);
    return (tr_scene_camera){.vehicle_from_camera = world_from_camera,
                             .imaging = tr_imaging_plain(),
                             .shift_px = e.shift_px,
                             .focal = e.focal,
                             .turn_rad = e.turn_rad,
                             .travel_mm = e.travel_mm};
}

static tr_scene_camera take(scene *s, int k, double back_mm) {
    const station *of = &STATIONS[k / 2];
    double side = k % 2 ? -1 : 1;
    tr_vec3 at = {of->at.x - back_mm + gauss(s, 100), side * of->at.y + gauss(s, 80),
                  of->at.z + gauss(s, 60)};
    tr_vec3 aim = {of->aim.x - back_mm + gauss(s, 60), side * of->aim.y + gauss(s, 60), of->aim.z};
    return expose(s, tr_camera_pose(at, aim, gauss(s, 0.03)));
}

static tr_scene_camera take_from(scene *s, const tr_rolled_station *from) {
    tr_pose world_from_vehicle = tr_pose_inverse(s->out->truth.vehicle_from_world);
    return expose(s, tr_camera_pose(tr_pose_apply(world_from_vehicle, from->at_mm),
                                    tr_pose_apply(world_from_vehicle, from->look_at_mm), 0));
}

/* Photos of a position. */
static void take_all(scene *s, int position, tr_scene *of) {
    int last = count_positions(s->o) - 1;
    double back = -s->world_from_body[position].t_mm.x / 2;
    int n = position == last ? TR_ROLLED_PHOTOS : TR_ROLLED_PHOTOS - 4;
    for (int k = 0; k < n && !s->o->stations; k++) of->cameras[of->n_cameras++] = take(s, k, back);
    for (int k = 0; k < s->o->n_stations && s->o->stations; k++) {
        if (s->o->stations[k].position != position) continue;
        of->cameras[of->n_cameras++] = take_from(s, &s->o->stations[k]);
    }
    for (int k = 0; k < of->n_cameras; k++) {
        snprintf(of->cameras[k].file, sizeof of->cameras[k].file, "%d-%02d.jpg", position + 1,
                 k + 1);
    }
}

static void put_sheet(const scene *s, tr_scene *scene_of, int sheet, tr_pose pose) {
    tr_scene_sheet *out = &scene_of->sheets[scene_of->n_sheets++];
    *out = (tr_scene_sheet){.sheet = s->out->job.sheets[sheet],
                            .checker_mm = 30,
                            .print_scale = {s->print[sheet][0], s->print[sheet][1]},
                            .vehicle_from_sheet = pose};
    if (sheet >= TR_ROLLED_MAT && sheet < TR_ROLLED_EMBLEM)
        out->relief = s->relief[sheet - TR_ROLLED_MAT];
}

static void put_body(const scene *s, tr_scene *of, int position) {
    tr_pose body = s->world_from_body[position];
    const tr_vec2 box[4] = {
        {-700, 220}, {FRONT_OF_BODY_MM, 220}, {FRONT_OF_BODY_MM, 1000}, {-700, 1400}};
    of->solids[0] = (tr_solid){.n_outline = 4, .y_mm = {-560, 560}, .reflectance = 0.3};
    for (int k = 0; k < 4; k++) {
        tr_vec3 p = tr_pose_apply(body, tr_v3(box[k].x, 0, box[k].y));
        of->solids[0].outline_xz_mm[k] = tr_v2(p.x, p.z);
    }
    of->n_solids = 1;
}

static bool make_scene(scene *s, int position, tr_error *err) {
    tr_scene *of = &s->out->scenes[position];
    int last = count_positions(s->o) - 1;
    int n_boards = s->o->has_one_board ? 1 : TR_ROLLED_BOARDS;
    of->sheets = calloc(TR_ROLLED_SHEETS, sizeof *of->sheets);
    of->solids = calloc(1, sizeof *of->solids);
    of->cameras = calloc((size_t)TR_ROLLED_PHOTOS + (size_t)s->o->n_stations, sizeof *of->cameras);
    if (!of->sheets || !of->solids || !of->cameras) return tr_fail_memory(err);
    of->lens = s->true_lens;
    of->floor_reflectance = 0.25;
    for (int i = 0; i < TR_N_POINTS; i++) {
        put_sheet(s, of, TR_ROLLED_HUB + i, hub_pose(s, i, position));
    }
    for (int i = 0; i < n_boards; i++) put_sheet(s, of, TR_ROLLED_BOARD + i, s->board[i]);
    for (int i = 0; i < TR_ROLLED_FLOOR; i++) {
        tr_pose mat = s->mat[i];
        if (i == 0 && position < last) mat.t_mm.x -= s->o->faults.mat_moved_mm;
        put_sheet(s, of, TR_ROLLED_MAT + i, mat);
    }
    if (s->o->has_emblem) {
        /* It looks to the left, top up. */
        tr_mat3 R = {{{-1, 0, 0}, {0, 0, 1}, {0, 1, 0}}};
        tr_pose on_body = {R, tr_v3(1350, 695, 800)};
        put_sheet(s, of, TR_ROLLED_EMBLEM, tr_pose_mul(s->world_from_body[position], on_body));
    }
    put_body(s, of, position);
    take_all(s, position, of);
    return true;
}

/* ---- marks ---- */

static double sd_of(const scene *s, const tr_scene *of, int camera, int sheet) {
    tr_vec3 d = tr_v3_sub(of->sheets[sheet].vehicle_from_sheet.t_mm,
                          of->cameras[camera].vehicle_from_camera.t_mm);
    double part = s->true_lens.width_px / 4032.0;
    double per_m = s->o->mark_sd_px_per_m > 0 ? s->o->mark_sd_px_per_m : 0.008;
    double sd = per_m * part * tr_v3_norm(d) / 1000;
    return s->o->phone.mark_floor_px > 0 ? hypot(sd, s->o->phone.mark_floor_px) : sd;
}

/* What the finder would give of points that all are seen. */
static void put_mark(scene *s, const tr_seen *seen, int n, int sheet, double sd, tr_mark *m) {
    *m = (tr_mark){.sheet = sheet,
                   .kind = n == 4 ? TR_MARK_TAG : TR_MARK_CORNER,
                   .index = n == 4 ? seen->tag : seen->corner,
                   .n_points = n};
    for (int k = 0; k < n; k++) {
        m->p_sheet_mm[k] = seen[k].p_sheet_mm;
        m->uv_px[k] = tr_v2(seen[k].uv_px.x + gauss(s, s->o->noise * sd),
                            seen[k].uv_px.y + gauss(s, s->o->noise * sd));
    }
    for (int k = 0; k < 2 * n; k++) m->covariance[k * (2 * n + 1)] = sd * sd;
}

static bool sees_all(const tr_seen *seen, int n) {
    for (int k = 0; k < n; k++) {
        if (!seen[k].is_visible) return false;
    }
    return true;
}

/* The sheet of the job that a sheet of a scene is. */
static int job_sheet(const tr_job *job, const tr_scene *of, int sheet) {
    return tr_job_find_sheet(job, of->sheets[sheet].sheet.id);
}

static bool see(scene *s, const tr_scene *of, int camera, tr_photo_marks *out, tr_error *err) {
    int n;
    tr_seen *all = tr_scene_truth(of, camera, &n, err);
    if (!all) return false;
    out->marks = calloc((size_t)n + 1, sizeof *out->marks);
    for (int i = 0; i < n && out->marks;) {
        int points = all[i].tag >= 0 ? 4 : 1;
        int sheet = job_sheet(&s->out->job, of, all[i].sheet);
        if (sees_all(all + i, points)) {
            put_mark(s, all + i, points, sheet, sd_of(s, of, camera, all[i].sheet),
                     &out->marks[out->n_marks++]);
        }
        i += points;
    }
    free(all);
    out->views = calloc(TR_ROLLED_SHEETS, sizeof *out->views);
    if (!out->marks || !out->views) return tr_fail_memory(err);
    for (int i = 0; i < out->n_marks; i++) {
        int sheet = out->marks[i].sheet;
        if (out->n_views > 0 && out->views[out->n_views - 1].sheet == sheet) continue;
        out->views[out->n_views++].sheet = sheet;
    }
    return tr_marks_place(s->out->job.sheets, s->out->job.n_sheets, &s->out->job.lenses[0], out,
                          err);
}

static bool add_photo(scene *s, int position, int camera, tr_error *err) {
    const tr_scene *of = &s->out->scenes[position];
    tr_photo *photo = tr_photo_set_add(&s->out->check.set, of->cameras[camera].file, err);
    if (!photo) return false;
    snprintf(photo->name, sizeof photo->name, "%s", of->cameras[camera].file);
    photo->is_readable = true;
    photo->position = position;
    photo->width_px = s->true_lens.width_px;
    photo->height_px = s->true_lens.height_px;
    return see(s, of, camera, &photo->marks, err);
}

static bool take_photos(scene *s, tr_error *err) {
    const tr_rolled_faults *f = &s->o->faults;
    int n = count_positions(s->o);
    for (int p = 0; p < n; p++) {
        if (!make_scene(s, p, err)) return false;
        for (int k = 0; k < s->out->scenes[p].n_cameras; k++) {
            if (p == 0 && f->within_mm != 0.0 && k == s->out->scenes[p].n_cameras / 2) {
                tr_scene *of = &s->out->scenes[p];
                s->world_from_body[p].t_mm.x += f->within_mm;
                for (int i = 0; i < TR_N_POINTS; i++) {
                    tr_pose pose = hub_pose(s, i, p);
                    tr_vec3 c = tr_pose_apply(s->world_from_body[p], centre_on_body(i));
                    double turn = f->within_mm / RADIUS_MM;
                    tr_pose about = {tr_rotation_from_vector(tr_v3(0, turn, 0)), {0, 0, 0}};
                    about.t_mm = tr_v3_sub(c, tr_m3_apply(about.R, c));
                    of->sheets[i].vehicle_from_sheet = tr_pose_mul(about, pose);
                }
            }
            if (!add_photo(s, p, k, err)) return false;
        }
    }
    tr_photo_set_name(&s->out->check.set);
    return true;
}

/* ---- all of it ---- */

static void draw_lens(scene *s) {
    s->true_lens = s->out->job.lenses[0];
    double factor = 1 + (s->o->draws_lens ? gauss(s, TR_ADJUST_FOCAL_SD) : 0);
    for (int i = TR_FX; i <= TR_CY; i++) {
        double sd = sqrt(s->true_lens.covariance[i * (TR_LENS_N + 1)]);
        if (s->o->draws_lens) s->true_lens.param[i] += gauss(s, sd);
        if (i <= TR_FY) s->true_lens.param[i] *= factor;
    }
}

static void draw_prints(scene *s) {
    if (!s->o->draws_prints) return;
    double shared = gauss(s, TR_ADJUST_SHARED_PRINT_SD);
    for (int i = 0; i < TR_ROLLED_SHEETS; i++) {
        for (int k = 0; k < 2; k++) {
            s->print[i][k] = shared + gauss(s, TR_ADJUST_PRINT_SD);
        }
    }
}

bool tr_rolled_make(const tr_rolled_options *options, tr_rolled *out, tr_error *err) {
    scene s = {.o = options, .out = out, .random = tr_random_seed(options->seed)};
    memset(out, 0, sizeof *out);
    if (!make_job(&s, &out->job)) return tr_fail_memory(err);
    draw_lens(&s);
    draw_prints(&s);
    place_vehicle(&s);
    hang_sheets(&s);
    place_mats(&s);
    if (!find_truth(&s)) return tr_fail(err, TR_BAD_INPUT, "the wheels make no vehicle");
    place_boards(&s);
    return tr_check_init(&out->job, &out->check, err) && take_photos(&s, err);
}

void tr_rolled_release(tr_rolled *r) {
    for (int p = 0; p < TR_MAX_POSITIONS; p++) {
        free(r->scenes[p].sheets);
        free(r->scenes[p].solids);
        free(r->scenes[p].cameras);
    }
    tr_check_release(&r->check);
    tr_job_release(&r->job);
    memset(r, 0, sizeof *r);
}
