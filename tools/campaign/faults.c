/* What can be wrong with a job. */
#include "tools/campaign/trap.h"

#include <string.h>

/* ---- chance ---- */

static double between(tr_random *r, double low, double high) {
    return low + (high - low) * tr_random_uniform(r);
}
static int any_of(tr_random *r, int n) {
    return (int)(n * tr_random_uniform(r));
}
static bool chance(tr_random *r, double part) {
    return tr_random_uniform(r) < part;
}
static double either_sign(tr_random *r, double value) {
    return chance(r, 0.5) ? value : -value;
}
static tr_vec2 any_way(tr_random *r, double length) {
    double a = between(r, 0, 2 * TR_PI);
    return tr_v2(length * cos(a), length * sin(a));
}
/* From one photo on; at least one before it. */
static int any_moment(const trap *t, tr_random *r) {
    return 1 + any_of(r, t->sim.n_photos - 1);
}
/* One photo, some, or all. */
static void any_photos(const trap *t, tr_random *r, bool *chosen) {
    int one = any_of(r, t->sim.n_photos);
    double part = chance(r, 0.4) ? 0 : chance(r, 0.8) ? 0.4 : 1;
    for (int i = 0; i < t->sim.n_photos; i++) chosen[i] = i == one || chance(r, part);
}

/* ---- the scene ---- */

static void put_nothing(trap *t, tr_random *r) {
    (void)t;
    (void)r;
}

static void put_turned(trap *t, tr_random *r) {
    t->sim.scene.mat_error[2] += either_sign(r, TR_PI);
}

/* All left ones with all right ones, front with rear, or any two. */
static void put_exchanged_plates(trap *t, tr_random *r) {
    static const tr_wheel_point sides[] = {TR_FRONT_RIGHT, TR_FRONT_LEFT, TR_REAR_RIGHT,
                                           TR_REAR_LEFT};
    static const tr_wheel_point axles[] = {TR_REAR_LEFT, TR_REAR_RIGHT, TR_FRONT_LEFT,
                                           TR_FRONT_RIGHT};
    tr_wheel_point *at = t->sim.faults.plate_at;
    t->sim.faults.has_plate_at = true;
    if (chance(r, 0.2)) {
        memcpy(at, sides, sizeof sides);
    } else if (chance(r, 0.25)) {
        memcpy(at, axles, sizeof axles);
    } else {
        int a = any_of(r, TR_N_POINTS);
        int b = (a + 1 + any_of(r, TR_N_POINTS - 1)) % TR_N_POINTS;
        for (int i = 0; i < TR_N_POINTS; i++) at[i] = (tr_wheel_point)i;
        at[a] = (tr_wheel_point)b;
        at[b] = (tr_wheel_point)a;
    }
}

static void put_mat_scale(trap *t, tr_random *r) {
    (void)r;
    t->sim.faults.mat_scale = 0.97;
}

static void put_plate_scale(trap *t, tr_random *r) {
    t->sim.faults.plate_scale[any_of(r, TR_N_POINTS)] = 0.97;
}

static void put_other_lens(trap *t, tr_random *r) {
    t->sim.faults.lens_factor = 1 + either_sign(r, 0.04);
}

static void put_moved(trap *t, tr_random *r) {
    t->sim.faults.mat_moved_mm = any_way(r, 30);
    t->sim.faults.moved_from = any_moment(t, r);
}

static void put_moved_little(trap *t, tr_random *r) {
    t->sim.faults.mat_moved_mm = any_way(r, 6);
    t->sim.faults.moved_from = any_moment(t, r);
}

static void put_missing(trap *t, tr_random *r) {
    (void)r;
    t->sim.faults.is_mat_missing = true;
}

static void put_plate_off(trap *t, tr_random *r) {
    t->sim.faults.plate_off_mm[any_of(r, TR_N_POINTS)] = any_way(r, 40);
}

static void put_exchanged_mats(trap *t, tr_random *r) {
    (void)r;
    t->sim.scene.has_second_mat = t->other.scene.has_second_mat = true;
    t->sim.faults.are_mats_exchanged = true;
}

static void put_printed_twice(trap *t, tr_random *r) {
    bool is_mat = chance(r, 0.6);
    t->sim.faults.printed_twice = 1 + (is_mat ? TR_SIM_MAT : TR_SIM_PLATE + any_of(r, TR_N_POINTS));
    t->sim.faults.copy_at_mm = is_mat ? tr_v2(between(r, -1300, -1050), between(r, -700, 700))
                                      : any_way(r, between(r, 300, 1500));
    t->sim.faults.copy_turn_rad = chance(r, 0.5) ? 0 : between(r, -TR_PI, TR_PI);
}

/* For the next number: on the mat, from one plate to the next, or from a plate to the mat. */
static void put_misread(trap *t, tr_random *r) {
    tr_sim_misread *m = &t->sim.faults.misread;
    *m = (tr_sim_misread){.is_on = true, .photo = any_of(r, t->sim.n_photos)};
    if (chance(r, 0.6)) {
        m->tag = any_of(r, 8);
        m->as_tag = (m->tag + 1) % 8;
    } else {
        m->sheet = TR_SIM_PLATE + any_of(r, TR_N_POINTS);
        m->as_sheet = TR_SIM_PLATE + (m->sheet - TR_SIM_PLATE + 1) % TR_N_POINTS;
        if (chance(r, 0.3)) {
            m->as_sheet = TR_SIM_MAT;
            m->as_tag = any_of(r, 8);
        }
    }
}

static void put_plate_turned(trap *t, tr_random *r) {
    t->sim.faults.plate_turn_rad[any_of(r, TR_N_POINTS)] = between(r, 0.3, 2 * TR_PI - 0.3);
}

static void put_plate_lifted(trap *t, tr_random *r) {
    t->sim.faults.plate_lift_mm[any_of(r, TR_N_POINTS)] = 10;
}

/* Somebody put it down there. */
static void put_plate_on_mat(trap *t, tr_random *r) {
    int p = any_of(r, TR_N_POINTS);
    tr_vec2 wheel = {p == TR_FRONT_LEFT || p == TR_FRONT_RIGHT ? 2700 : 0,
                     p == TR_FRONT_LEFT || p == TR_REAR_LEFT ? 877 : -877};
    tr_vec2 on_mat = {t->sim.scene.mat_x_mm + between(r, -350, 350),
                      (t->sim.scene.has_second_mat ? 900 : 0) + between(r, -650, 650)};
    t->sim.faults.plate_off_mm[p] = tr_v2_sub(on_mat, wheel);
}

static void put_curled(trap *t, tr_random *r) {
    t->sim.faults.mat_curl_mm = between(r, 5, 25);
}

static void put_wrinkled(trap *t, tr_random *r) {
    t->sim.faults.mat_ridge = (tr_sim_ridge){.height_mm = between(r, 5, 20),
                                             .sd_mm = between(r, 30, 90),
                                             .across_rad = between(r, 0, TR_PI),
                                             .at_mm = between(r, -600, 600)};
}

static void put_stretched(trap *t, tr_random *r) {
    t->sim.faults.mat_print_scale[any_of(r, 2)] = either_sign(r, 0.005);
}

static void put_exchanged_tags(trap *t, tr_random *r) {
    t->sim.faults.exchanged_tags[0] = any_of(r, 8);
    t->sim.faults.exchanged_tags[1] = (t->sim.faults.exchanged_tags[0] + 1 + any_of(r, 7)) % 8;
}

static void put_other_job(trap *t, tr_random *r) {
    int n = t->sim.n_photos;
    if (chance(r, 0.5)) { /* another vehicle */
        for (int p = 0; p < TR_N_POINTS; p++) t->other.faults.plate_off_mm[p] = any_way(r, 60);
    }
    if (chance(r, 0.5)) {
        for (int i = any_moment(t, r); i < n; i++) t->is_of_other[i] = true;
    } else {
        any_photos(t, r, t->is_of_other);
        t->is_of_other[any_of(r, n)] = false;
    }
}

static void put_two_moments(trap *t, tr_random *r) {
    t->sim.faults.plate_nudge_mm[any_of(r, TR_N_POINTS)] = any_way(r, 8);
    t->sim.faults.nudged_from = any_moment(t, r);
}

/* ---- photos ---- */

static void put_edit(trap *t, tr_random *r, trap_edit edit) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    any_photos(t, r, chosen);
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (chosen[i]) t->edit[i] = edit;
    }
}

static void put_mirrored(trap *t, tr_random *r) {
    put_edit(t, r, TRAP_MIRRORED);
}

/* Stored upright; or the camera was held so, and the photo is stored as it always is. */
static void put_upright(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    any_photos(t, r, chosen);
    if (chance(r, 0.5)) {
        put_edit(t, r, TRAP_UPRIGHT);
        return;
    }
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (chosen[i]) t->sim.faults.camera_roll_rad[i] = either_sign(r, TR_PI / 2);
    }
}

/* A photo zoomed, or cut and enlarged, to the old size; or cut or shrunk to another. */
static void put_zoomed(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    bool is_off_centre = chance(r, 0.3);
    if (chance(r, 0.2)) {
        put_edit(t, r, chance(r, 0.5) ? TRAP_CUT : TRAP_SHRUNK);
        return;
    }
    any_photos(t, r, chosen);
    for (int i = 0; i < t->sim.n_photos; i++) {
        double width = t->sim.scene.image_px.x > 0 ? t->sim.scene.image_px.x : 4032;
        if (!chosen[i]) continue;
        t->sim.faults.zoom[i] = chance(r, 0.3) ? between(r, 1.01, 1.1) : between(r, 1.1, 1.6);
        double reach = is_off_centre ? (t->sim.faults.zoom[i] - 1) / 2 : 0;
        t->sim.faults.zoom_shift_px[i] =
            tr_v2(width * between(r, -reach, reach), 0.75 * width * between(r, -reach, reach));
    }
}

static void put_photo_twice(trap *t, tr_random *r) {
    t->repeated = 1 + any_of(r, t->sim.n_photos);
}

/* ---- how photos look ---- */

static void put_blur(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    any_photos(t, r, chosen);
    for (int i = 0; i < t->sim.n_photos; i++) {
        double *blur = t->look[i].imaging.blur_px;
        if (chosen[i]) blur[0] = blur[1] = between(r, 1.2, 4);
    }
}

static void put_motion(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    any_photos(t, r, chosen);
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (chosen[i]) t->look[i].imaging.blur_px[any_of(r, 2)] = between(r, 1.5, 5);
    }
}

static void put_bright(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    any_photos(t, r, chosen);
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (chosen[i]) t->look[i].imaging.exposure = between(r, 1.5, 6);
    }
}

static void put_dark(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    any_photos(t, r, chosen);
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (!chosen[i]) continue;
        t->look[i].imaging.exposure = between(r, 0.02, 0.3);
        t->look[i].imaging.noise_sd = between(r, 2, 5);
    }
}

static void put_glare(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    any_photos(t, r, chosen);
    int tag = any_of(r, 8);
    for (int i = 0; i < t->sim.n_photos; i++) {
        if (!chosen[i]) continue;
        t->look[i].glare_on = 1 + (chance(r, 0.5) ? tag : any_of(r, 8));
        t->look[i].glare_rad = between(r, 0, 2 * TR_PI);
        t->look[i].glare_strength = between(r, 0.4, 1);
    }
}

/* The edge of one shadow over the mat, or over a plate, in all photos. */
static void put_shadow(trap *t, tr_random *r) {
    tr_vec2 at = {t->sim.scene.mat_x_mm + between(r, -400, 400), between(r, -700, 700)};
    if (chance(r, 0.3)) at = tr_v2(chance(r, 0.5) ? 0 : 2700, either_sign(r, 880));
    tr_vec2 along = any_way(r, 3000);
    tr_shadow shadow = {.corner_mm = {tr_v2_sub(at, along), tr_v2_add(at, along)},
                        .n_corners = 2,
                        .softness_mm = 10,
                        .strength = between(r, 0.4, 0.9)};
    for (int i = 0; i < t->sim.n_photos; i++) {
        t->look[i].has_shadow = true;
        t->look[i].shadow = shadow;
    }
}

static void put_jpeg(trap *t, tr_random *r) {
    for (int i = 0; i < t->sim.n_photos; i++) {
        t->look[i].imaging.jpeg_quality = 30;
        if (chance(r, 0.2)) t->look[i].imaging.jpeg_quality = 12;
    }
}

/* A hand on the mat in some photos, or a tyre on it in all. */
static void put_solid(trap *t, tr_random *r) {
    bool chosen[TR_SIM_MAX_PHOTOS] = {false};
    bool is_tyre = chance(r, 0.4);
    double x = t->sim.scene.mat_x_mm + between(r, -400, 400);
    double y = (t->sim.scene.has_second_mat ? 900 : 0) + between(r, -650, 650);
    tr_solid solid = {.n_outline = 4, .y_mm = {y - 60, y + 60}, .reflectance = 0.35};
    solid.outline_xz_mm[0] = tr_v2(x - 100, 0);
    solid.outline_xz_mm[1] = tr_v2(x + 100, 0);
    solid.outline_xz_mm[2] = tr_v2(x + 80, 45);
    solid.outline_xz_mm[3] = tr_v2(x - 80, 45);
    if (is_tyre) {
        solid = (tr_solid){.centre_xz_mm = {x, 310}, .radius_mm = 310, .reflectance = 0.04};
        solid.y_mm[0] = y - 100;
        solid.y_mm[1] = y + 100;
    }
    any_photos(t, r, chosen);
    for (int i = 0; i < t->sim.n_photos; i++) {
        t->look[i].has_solid = is_tyre || chosen[i];
        t->look[i].solid = solid;
    }
}

static void put_poster(trap *t, tr_random *r) {
    t->has_poster = true;
    t->is_poster_upright = chance(r, 0.6);
    tr_vec3 at = {between(r, -2500, 3000), either_sign(r, between(r, 1700, 2400)), 0};
    if (t->is_poster_upright) at.z = between(r, 500, 900);
    t->vehicle_from_poster = tr_sheet_pose(t->is_poster_upright ? TR_SHEET_BOARD : TR_SHEET_MAT, at,
                                           between(r, -0.8, 0.8), 0, 0);
}

const trap_fault TRAP_FAULTS[] = {
    {"no fault", TRAP_PASS_IF_RIGHT, true, true, put_nothing},
    {"mat turned by 180 deg", TRAP_PASS_IF_RIGHT, true, true, put_turned},
    {"plates exchanged", TRAP_NO_PASS, true, true, put_exchanged_plates},
    {"mat printed at 97 %", TRAP_NO_PASS, true, true, put_mat_scale},
    {"plate printed at 97 %", TRAP_PASS_IF_RIGHT, true, true, put_plate_scale},
    {"lens of another camera (4 %)", TRAP_NO_PASS, true, true, put_other_lens},
    {"mat moved 30 mm between photos", TRAP_NO_PASS_IF_SEEN, true, true, put_moved},
    {"mat moved 6 mm between photos", TRAP_PASS_IF_RIGHT, true, true, put_moved_little},
    {"required mat missing", TRAP_NO_PASS, true, true, put_missing},
    {"one plate 40 mm off", TRAP_NO_PASS, true, true, put_plate_off},
    {"two mats exchanged", TRAP_PASS_IF_RIGHT, true, true, put_exchanged_mats},
    {"one sheet printed twice", TRAP_NO_PASS_IF_SEEN, true, true, put_printed_twice},
    {"tag misread to a neighbour", TRAP_PASS_IF_RIGHT, true, false, put_misread},
    {"plate turned", TRAP_PASS_IF_RIGHT, true, true, put_plate_turned},
    {"plate lifted 10 mm", TRAP_PASS_IF_RIGHT, true, true, put_plate_lifted},
    {"plate lies on the mat", TRAP_NO_PASS, true, true, put_plate_on_mat},
    {"mat curled", TRAP_PASS_IF_RIGHT, true, true, put_curled},
    {"mat wrinkled", TRAP_PASS_IF_RIGHT, true, false, put_wrinkled},
    {"mat stretched 0.5 % one way", TRAP_PASS_IF_RIGHT, true, true, put_stretched},
    {"two tags exchanged in the file", TRAP_PASS_IF_RIGHT, true, true, put_exchanged_tags},
    {"photos of another job", TRAP_PASS_IF_RIGHT, true, true, put_other_job},
    {"plate nudged 8 mm between photos", TRAP_PASS_IF_RIGHT, true, true, put_two_moments},
    {"mirrored photos", TRAP_PASS_IF_RIGHT, true, true, put_mirrored},
    {"upright among wide photos", TRAP_PASS_IF_RIGHT, true, true, put_upright},
    {"zoomed, cut or shrunk photo", TRAP_PASS_IF_RIGHT, true, true, put_zoomed},
    {"a photo twice", TRAP_PASS_IF_RIGHT, true, true, put_photo_twice},
    {"heavy blur", TRAP_PASS_IF_RIGHT, false, true, put_blur},
    {"motion blur", TRAP_PASS_IF_RIGHT, false, true, put_motion},
    {"over-exposure", TRAP_PASS_IF_RIGHT, false, true, put_bright},
    {"under-exposure", TRAP_PASS_IF_RIGHT, false, true, put_dark},
    {"glare over half a tag", TRAP_PASS_IF_RIGHT, false, true, put_glare},
    {"hard edge of a shadow", TRAP_PASS_IF_RIGHT, false, true, put_shadow},
    {"JPEG quality 30", TRAP_PASS_IF_RIGHT, false, true, put_jpeg},
    {"hand or tyre over the mat", TRAP_PASS_IF_RIGHT, false, true, put_solid},
    {"foreign tags in view", TRAP_PASS_IF_RIGHT, false, true, put_poster},
};
const int TRAP_N_FAULTS = sizeof TRAP_FAULTS / sizeof *TRAP_FAULTS;

/* ---- what cannot be seen ---- */

static void put_all_scaled(tr_sim_options *o, tr_random *r) {
    (void)r;
    o->faults.mat_scale = 0.995;
    for (int p = 0; p < TR_N_POINTS; p++) o->faults.plate_scale[p] = 0.995;
}

static void put_all_plates_off(tr_sim_options *o, tr_random *r) {
    tr_vec2 off = any_way(r, 12);
    for (int p = 0; p < TR_N_POINTS; p++) o->faults.plate_off_mm[p] = off;
}

static void put_rear_plates_off(tr_sim_options *o, tr_random *r) {
    o->faults.plate_off_mm[TR_REAR_LEFT] = o->faults.plate_off_mm[TR_REAR_RIGHT] = any_way(r, 12);
}

static void put_plate_off_aside(tr_sim_options *o, tr_random *r) {
    o->faults.plate_off_mm[any_of(r, TR_N_POINTS)] = tr_v2(0, either_sign(r, 12));
}

const trap_unseen TRAP_UNSEEN[] = {
    {"all sheets printed at the same wrong scale (99.5 %), as far as wheelbase and tracks stay "
     "within the layout's reference tolerance",
     put_all_scaled},
    {"all four plates off their plumb marks alike (12 mm): they make the same vehicle, standing "
     "elsewhere",
     put_all_plates_off},
    {"both plates of an axle off alike (12 mm), as far as wheelbase and straightness stay within "
     "the reference tolerance",
     put_rear_plates_off},
    {"one plate off sideways by less than the reference tolerance (12 of 15 mm)",
     put_plate_off_aside},
};
const int TRAP_N_UNSEEN = sizeof TRAP_UNSEEN / sizeof *TRAP_UNSEEN;

/* ---- a job ---- */

/* Within the limits, at the edge of one, or outside one. */
static void draw_error(tr_random *r, double e[3]) {
    static const double limit[3] = {10, 10, 0.5 * TR_RAD_PER_DEG};
    double kind = tr_random_uniform(r);
    int axis = any_of(r, 3);
    for (int k = 0; k < 3; k++) e[k] = limit[k] * between(r, -0.7, 0.7);
    if (kind < 0.55) return;
    e[axis] = limit[axis] * either_sign(r, kind < 0.8 ? between(r, 0.7, 1.3) : between(r, 1.3, 3));
}

/* Photos of 1008 x 756, plates that are large enough for them, and no body that would hide these.
 */
static void draw_looks(trap *t, tr_random *r) {
    enum { MOST_PHOTOS = 8 };
    bool is_steep = chance(r, 0.5);
    double blur = between(r, 0.5, 0.8);
    t->sim.scene.image_px = tr_v2(1008, 756);
    t->sim.scene.plate_part = 3;
    t->sim.scene.has_no_body = true;
    t->sim.n_photos = 6 + any_of(r, 3);
    for (int i = 0; i < MOST_PHOTOS; i++) {
        tr_imaging *m = &t->look[i].imaging;
        *m = tr_imaging_plain();
        m->blur_px[0] = m->blur_px[1] = blur;
        m->exposure = between(r, 0.9, 1.1);
        m->vignetting = 0.25;
        m->gradient[0] = between(r, -0.2, 0.2);
        m->gradient[1] = between(r, -0.2, 0.2);
        m->tone = is_steep ? TR_TONE_S_CURVE : TR_TONE_SRGB;
        m->sharpen = is_steep ? 0.6 : 0;
        m->sharpen_radius_px = 1;
        m->noise_sd = 2;
        m->seed = (uint64_t)(t->number * 16 + i);
        m->jpeg_quality = 85 + any_of(r, 11);
    }
}

static trap draw_job(long number, bool is_rendered, tr_random *r) {
    trap t = {.number = number, .is_rendered = is_rendered};
    tr_sim_options *o = &t.sim;
    o->seed = (uint64_t)number;
    o->noise.lens_seed = o->seed + 1;
    o->n_photos = 4 + any_of(r, 5);
    o->noise.marks = 1;
    o->noise.mark_sd = chance(r, 0.7) ? 1 : between(r, 1, 4);
    o->noise.reference_sd_mm = between(r, 0.5, 1.5);
    o->noise.draws_lens = o->noise.draws_prints = o->noise.draws_floor = true;
    o->scene.has_second_mat = chance(r, 0.15);
    o->scene.mat_x_mm = -between(r, 1400, 2300);
    o->scene.is_exact_lens = chance(r, 0.1);
    if (is_rendered) draw_looks(&t, r);
    t.other = *o;
    t.other.seed = ~o->seed;
    draw_error(r, o->scene.mat_error);
    draw_error(r, o->scene.second_mat_error);
    draw_error(r, t.other.scene.mat_error);
    draw_error(r, t.other.scene.second_mat_error);
    return t;
}

long trap_number(long seed, long i, bool is_rendered) {
    return 2 * (seed * 10000000 + i) + is_rendered;
}

/* Of those that fit this kind of job. */
static int nth_fault(bool is_rendered, long n) {
    long total = 0;
    for (int i = 0; i < TRAP_N_FAULTS; i++) {
        total += is_rendered ? TRAP_FAULTS[i].has_photos : TRAP_FAULTS[i].has_marks;
    }
    n %= total;
    for (int i = 0; i < TRAP_N_FAULTS; i++) {
        bool fits = is_rendered ? TRAP_FAULTS[i].has_photos : TRAP_FAULTS[i].has_marks;
        if (fits && n-- == 0) return i;
    }
    return 0;
}

static bool moves_mat(int fault) {
    return TRAP_FAULTS[fault].put == put_moved || TRAP_FAULTS[fault].put == put_moved_little;
}

trap trap_draw(long number) {
    tr_random r = tr_random_seed((uint64_t)number ^ 0x7EA9);
    bool is_rendered = number % 2 == 1;
    trap t = draw_job(number, is_rendered, &r);
    t.faults[t.n_faults++] = nth_fault(is_rendered, number / 2);
    if (t.faults[0] != 0 && chance(&r, 0.5)) {
        int second = nth_fault(is_rendered, any_of(&r, TRAP_N_FAULTS));
        bool is_new = second != t.faults[0] && !(moves_mat(second) && moves_mat(t.faults[0]));
        if (second != 0 && is_new) t.faults[t.n_faults++] = second;
    }
    for (int i = 0; i < t.n_faults; i++) TRAP_FAULTS[t.faults[i]].put(&t, &r);
    return t;
}

trap trap_draw_unseen(long number, int unseen) {
    tr_random r = tr_random_seed((uint64_t)number ^ 0x0BE5);
    trap t = draw_job(number, false, &r);
    TRAP_UNSEEN[unseen].put(&t.sim, &r);
    return t;
}
