#include "check/uncertainty.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "check/open_floor.h"
#include "check/pointed.h"
#include "geom/dense.h"

/* ---- inputs and outputs ---- */

/* How far the sheet of a reference is from what it marks. Of one on the floor: mm along the axes of
   the world; on the vehicle: mm along those of the sheet; on a wheel: mm along the sheet's x and y
   to the wheel's axis, then how far that leans from the sheet's normal towards x and y, rad, then
   how far the wheel's middle is along the axis from where the standoff has it, mm. */
enum { OFF_STANDOFF = TR_HANG_N, OFF_N };
/* How far a pointer's tip is from its point, along the axes of the world; by how much a target that
   lies leans from the level, towards x and y of the world. */
enum { TIP_N = 3, LEAN_N = 2 };
/* How far the level's reading is off, along and across, rad. */
enum { LEVEL_N = 2 };
/* How a sheet lies on the floor, of which it is to tell: turned about its own x and y, rad, and
   lifted, mm. */
enum { LIE_N = 3 };
/* By this, one standard deviation, each corner of a sheet is off the floor: grit, glue, a plate
   that is not quite flat. Common practice, no source. */
static const double LIE_SD_MM = 0.5;

typedef struct {
    const tr_solved *s;
    const tr_check_result *result;
    const tr_check_floor *floor;
    int n_poses; /* TR_POSE_N a sheet of the network */
    /* Then OFF_N a reference, the floor's height by position and reference, TIP_N a pointer, LEAN_N
       a target, LEVEL_N of the level, LIE_N a place of the floor. */
    int n_inputs;
    /* TR_N_AXES a target, then a relation, the vehicle's values, TIP_N a pointer, those of the
       floor as a whole, of each of its places. */
    int n_outputs;
} measurement;

/* Where the inputs and the outputs stand in their rows. */
static long pose_input(int sheet) {
    return (long)TR_POSE_N * sheet;
}

static long off_input(const tr_solved *s, int reference) {
    return pose_input(s->adj->net.n_sheets) + (long)OFF_N * reference;
}

static long height_input(const tr_solved *s, int position, int reference) {
    return off_input(s, s->job->n_references) + (long)position * s->job->n_references + reference;
}

static long tip_input(const tr_solved *s, int pointer) {
    return height_input(s, s->roll ? s->job->n_positions : 0, 0) + (long)TIP_N * pointer;
}

static long lean_input(const tr_solved *s, int target) {
    return tip_input(s, s->job->n_pointers) + (long)LEAN_N * target;
}

static long level_input(const tr_solved *s) {
    return lean_input(s, s->job->layout.n_placements);
}

static long target_output(int target) {
    return (long)TR_N_AXES * target;
}

static long relation_output(const tr_job *job, int relation) {
    return target_output(job->layout.n_placements + relation);
}

static long vehicle_output(const tr_job *job) {
    return relation_output(job, job->layout.n_relations);
}

static long pointer_output(const tr_job *job, int pointer) {
    return vehicle_output(job) + TR_N_VEHICLE_VALUES + (long)TIP_N * pointer;
}

static long floor_output(const tr_job *job) {
    return pointer_output(job, job->n_pointers);
}

static long place_output(const tr_job *job, int place) {
    return floor_output(job) + TR_FLOOR_WHOLE_N + (long)TR_FLOOR_N * place;
}

static long lie_input(const tr_solved *s, int place) {
    return level_input(s) + LEVEL_N + (long)LIE_N * place;
}

static tr_support support_of(const tr_job *job, const tr_reference *r) {
    return job->sheets[r->sheet].support;
}

static double off_sd(const tr_job *job, const tr_reference *r, int component) {
    int n_lengths = support_of(job, r) == TR_ON_VEHICLE ? 3 : 2;
    if (component < n_lengths) return job->reference_sd_mm;
    if (support_of(job, r) != TR_ON_WHEEL) return 0;
    return component == OFF_STANDOFF ? job->reference_sd_mm : job->hub_tilt_sd_rad;
}

/* Of coordinate by coordinate of all tips. */
static double tip_sd(const tr_solved *s, long coordinate) {
    int target = s->job->pointers[coordinate / TIP_N].target;
    return coordinate % TIP_N == 2 ? tr_solved_tip_height_sd(s, target) : s->job->pointer_sd_mm;
}

/* Four corners that are each off by LIE_SD_MM: their mean by half of that, and the difference of
   two opposite edges by as much as one. */
static double lie_sd(const tr_sheet *sheet, int component) {
    if (component == 0) return LIE_SD_MM / sheet->height_mm;
    return component == 1 ? LIE_SD_MM / sheet->width_mm : LIE_SD_MM / 2;
}

/* Of an input that is no pose. */
static double input_sd(const measurement *m, long input) {
    const tr_job *job = m->s->job;
    long off = input - off_input(m->s, 0);
    long lie = input - lie_input(m->s, 0);
    if (lie >= 0) return lie_sd(&job->sheets[m->floor->sheet[lie / LIE_N]], (int)(lie % LIE_N));
    if (input >= level_input(m->s)) return job->level.sd_rad;
    if (input >= lean_input(m->s, 0)) return TR_ADJUST_FLOOR_TILT_SD_RAD;
    if (input >= tip_input(m->s, 0)) return tip_sd(m->s, input - tip_input(m->s, 0));
    if (input >= height_input(m->s, 0, 0)) return job->floor_sd_mm;
    return off_sd(job, &job->references[off / OFF_N], (int)(off % OFF_N));
}

/* Of a rotation or of a turn. */
static bool is_angle_input(const measurement *m, int input) {
    long off = input - off_input(m->s, 0);
    if (input < m->n_poses) return input % TR_POSE_N < 3;
    if (input >= lie_input(m->s, 0)) return (input - lie_input(m->s, 0)) % LIE_N < 2;
    if (input >= lean_input(m->s, 0)) return true;
    if (input >= height_input(m->s, 0, 0)) return false;
    const tr_reference *r = &m->s->job->references[off / OFF_N];
    long component = off % OFF_N;
    return support_of(m->s->job, r) == TR_ON_WHEEL && component >= 2 && component != OFF_STANDOFF;
}

/* ---- the vehicle, with the inputs moved by small amounts (NULL: as they are) ---- */

static tr_pose pose_by_marks(const tr_solved *s, int sheet, const double *inputs) {
    tr_pose pose = s->adj->net.sheets[sheet].world_from_sheet;
    return inputs ? tr_pose_moved(pose, inputs + pose_input(sheet)) : pose;
}

static tr_vec3 tip_of(const tr_solved *s, int pointer, const double *inputs) {
    static const double NONE[TIP_N] = {0};
    const tr_pointer *p = &s->job->pointers[pointer];
    const double *d = inputs ? inputs + tip_input(s, pointer) : NONE;
    tr_vec2 tip = s->job->sheets[p->sheet].tip_mm;
    return tr_v3_add(tr_pose_apply(pose_by_marks(s, p->sheet, inputs), tr_v3(tip.x, tip.y, 0)),
                     tr_v3(d[0], d[1], d[2]));
}

static bool pose_by_pointers(const tr_solved *s, int sheet, const double *inputs, tr_pose *out) {
    tr_pointed_tip tips[TR_POINTED_MAX];
    int of[TR_POINTED_MAX];
    int target = 0;
    while (tr_job_find_sheet(s->job, s->job->layout.placements[target].sheet) != sheet) target++;
    tr_pointed p = {.tips = tips, .n = tr_solved_list_pointers(s, sheet, of)};
    for (int i = 0; i < p.n; i++) {
        const tr_sheet_point *points = s->job->sheets[sheet].points;
        tips[i] =
            (tr_pointed_tip){points[s->job->pointers[of[i]].point].at_mm, tip_of(s, of[i], inputs)};
    }
    tr_solved_set_up_pointed(s, sheet, &p);
    for (int k = 0; k < LEAN_N && inputs; k++) p.lean_rad[k] = inputs[lean_input(s, target) + k];
    return tr_pointed_pose(&p, out);
}

bool tr_check_pose_by_pointers(const tr_solved *s, int sheet, tr_pose *out) {
    return pose_by_pointers(s, sheet, NULL, out);
}

/* What told a pose does with small changes, too. */
static tr_pose world_from_sheet(const tr_solved *s, int sheet, const double *inputs) {
    tr_pose pose = tr_pose_identity();
    if (!s->is_pointed[sheet]) return pose_by_marks(s, sheet, inputs);
    (void)pose_by_pointers(s, sheet, inputs, &pose);
    return pose;
}

tr_pose tr_check_pose(const tr_solved *s, int sheet) {
    return world_from_sheet(s, sheet, NULL);
}

static const double *off_of(const tr_solved *s, int reference, const double *inputs) {
    static const double NONE[OFF_N] = {0};
    return inputs ? inputs + off_input(s, reference) : NONE;
}

/* The point that a sheet on the floor or on the body marks. */
static tr_vec3 marked_point(const tr_solved *s, int reference, const double *inputs) {
    const tr_reference *r = &s->job->references[reference];
    const double *d = off_of(s, reference, inputs);
    tr_pose pose = world_from_sheet(s, r->sheet, inputs);
    if (support_of(s->job, r) == TR_ON_VEHICLE)
        return tr_pose_apply(pose, tr_v3(r->at_mm.x + d[0], r->at_mm.y + d[1], d[2]));
    return tr_v3_add(tr_pose_apply(pose, tr_v3(r->at_mm.x, r->at_mm.y, 0)), tr_v3(d[0], d[1], 0));
}

/* The changes of the roll's observations, in their order (vehicle/roll.h). */
static void changes_of_roll(const tr_solved *s, const double *inputs, double *out) {
    int last = s->job->n_positions - 1;
    for (int k = 0; k < s->n_rolled; k++) {
        int sheet = s->job->references[s->reference[k]].sheet;
        for (int p = 0; p <= last; p++) {
            int number = tr_solved_sheet(s, p, sheet);
            if (!s->adj->sheet_placed[number]) continue;
            memcpy(out, inputs + pose_input(number), TR_POSE_N * sizeof *out);
            out += TR_POSE_N;
        }
    }
    for (int k = 0; k < s->n_rolled; k++) {
        if (support_of(s->job, &s->job->references[s->reference[k]]) != TR_ON_WHEEL) continue;
        memcpy(out, inputs + off_input(s, s->reference[k]), TR_HANG_N * sizeof *out);
        out += TR_HANG_N;
    }
    for (int p = 0; p < last; p++) {
        for (int k = 0; k < s->n_rolled; k++) {
            int reference = s->reference[k];
            if (support_of(s->job, &s->job->references[reference]) != TR_ON_WHEEL) continue;
            *out++ =
                inputs[height_input(s, p, reference)] - inputs[height_input(s, last, reference)];
        }
    }
}

/* change: of the roll's observations; NULL: none. */
static tr_wheel wheel_of(const tr_solved *s, int reference, const double *inputs,
                         const double *change) {
    const tr_reference *r = &s->job->references[reference];
    if (support_of(s->job, r) != TR_ON_WHEEL)
        return (tr_wheel){.is_there = true, .at_mm = marked_point(s, reference, inputs)};
    const double *off = off_of(s, reference, inputs);
    tr_wheel wheel = s->roll ? tr_roll_wheel(s->roll, s->rolled[reference], change)
                             : tr_wheel_of_sheet(world_from_sheet(s, r->sheet, inputs), r->at_mm,
                                                 r->standoff_mm, off);
    wheel.at_mm = tr_v3_sub(wheel.at_mm, tr_v3_scale(off[OFF_STANDOFF], wheel.axis));
    return wheel;
}

/* Four corners of every sheet that lies on the floor. */
static bool floor_of_sheets(const tr_solved *s, const double *inputs, tr_floor *floor) {
    static const double SIGN[4][2] = {{-0.5, -0.5}, {0.5, -0.5}, {0.5, 0.5}, {-0.5, 0.5}};
    tr_vec3 p[4 * TR_JOB_MAX_SHEETS];
    int n = 0;
    for (int i = 0; i < s->job->n_sheets; i++) {
        const tr_sheet *sheet = &s->job->sheets[i];
        if (sheet->support != TR_ON_FLOOR || !s->adj->sheet_placed[i]) continue;
        tr_pose pose = world_from_sheet(s, i, inputs);
        for (int k = 0; k < 4; k++) {
            p[n++] = tr_pose_apply(
                pose, tr_v3(SIGN[k][0] * sheet->width_mm, SIGN[k][1] * sheet->height_mm, 0));
        }
    }
    return n >= 3 && tr_floor_through(p, n, floor);
}

/* That of three or more plates at the wheels; where wheels carry sheets instead, that of all sheets
   on the floor. */
static bool find_floor(const tr_solved *s, const tr_wheel *wheels, const double *inputs,
                       tr_floor *floor) {
    int n_plates = 0;
    bool has_axis = false;
    for (int i = 0; i < TR_N_POINTS; i++) {
        n_plates += wheels[i].is_there && !wheels[i].has_axis;
        has_axis = has_axis || wheels[i].has_axis;
    }
    return has_axis && n_plates < 3 ? floor_of_sheets(s, inputs, floor)
                                    : tr_floor_of_plates(wheels, floor);
}

/* change: scratch for the roll's observations; NULL where inputs are. */
static bool frame_of(const tr_solved *s, const double *inputs, double *change,
                     tr_vehicle *vehicle) {
    tr_wheel wheels[TR_N_POINTS] = {{0}};
    tr_floor floor;
    if (inputs && s->roll) changes_of_roll(s, inputs, change);
    for (int i = 0; i < s->job->n_references; i++) {
        const tr_reference *r = &s->job->references[i];
        if (r->point == TR_N_POINTS || !s->adj->sheet_placed[r->sheet]) continue;
        wheels[r->point] = wheel_of(s, i, inputs, inputs ? change : NULL);
    }
    return find_floor(s, wheels, inputs, &floor) &&
           tr_vehicle_frame(wheels, &floor, s->job->layout.axes, vehicle);
}

bool tr_check_frame(const tr_solved *s, tr_vehicle *vehicle) {
    return frame_of(s, NULL, NULL, vehicle);
}

/* ---- what placements count from ---- */

/* Heights of what stands on the floor count from the floor. */
static bool point_origin(const tr_solved *s, const tr_vehicle *vehicle, int reference,
                         const double *inputs, tr_vec3 *at) {
    const tr_reference *r = &s->job->references[reference];
    if (!s->adj->sheet_placed[r->sheet]) return false;
    *at = r->point < TR_N_POINTS
              ? vehicle->point_mm[r->point]
              : tr_pose_apply(vehicle->vehicle_from_world, marked_point(s, reference, inputs));
    if (support_of(s->job, r) == TR_ON_FLOOR) at->z = 0;
    return true;
}

static bool origin_of(const tr_solved *s, const tr_vehicle *vehicle, const tr_origin *from,
                      const double *inputs, tr_vec3 *at) {
    switch (from->kind) {
    case TR_FROM_REAR_AXLE: *at = tr_vehicle_axle(vehicle, false); return true;
    case TR_FROM_FRONT_AXLE: *at = tr_vehicle_axle(vehicle, true); return vehicle->has_front;
    case TR_FROM_POINT: return point_origin(s, vehicle, from->index, inputs, at);
    case TR_FROM_SHEET:
        *at = tr_pose_apply(vehicle->vehicle_from_world,
                            world_from_sheet(s, from->index, inputs).t_mm);
        return tr_solved_has_place(s, from->index);
    }
    return false;
}

bool tr_check_origin(const tr_solved *s, const tr_vehicle *vehicle, const tr_origin *from,
                     tr_vec3 *at_mm) {
    return origin_of(s, vehicle, from, NULL, at_mm);
}

/* ---- the outputs ---- */

/* In the frame under the rear axle; all 0 of a sheet that is not placed. */
static void place_target(const measurement *m, const tr_vehicle *vehicle, int target,
                         const double *inputs, double value[TR_N_AXES]) {
    int sheet = m->result->targets[target].sheet;
    for (int k = 0; k < TR_N_AXES; k++) value[k] = 0;
    if (!tr_solved_has_place(m->s, sheet)) return;
    tr_pose pose = world_from_sheet(m->s, sheet, inputs);
    tr_placement_of(tr_pose_mul(vehicle->vehicle_from_world, pose),
                    tr_sheet_is_upright(&m->s->job->sheets[sheet]), value);
}

static void count_from_origin(const measurement *m, const tr_vehicle *vehicle, int target,
                              const double *inputs, double value[TR_N_AXES]) {
    const tr_placement *p = &m->s->job->layout.placements[target];
    for (int k = 0; k < 3; k++) {
        tr_vec3 at;
        if (!origin_of(m->s, vehicle, &p->from[k], inputs, &at)) continue;
        const double xyz[3] = {at.x, at.y, at.z};
        value[k] -= xyz[k];
    }
}

/* From a pointer's point to its tip, which would be 0. */
static void miss_of_pointer(const tr_solved *s, int pointer, const double *inputs,
                            double value[TIP_N]) {
    const tr_pointer *p = &s->job->pointers[pointer];
    for (int k = 0; k < TIP_N; k++) value[k] = 0;
    if (!s->adj->sheet_placed[p->sheet] || !tr_solved_has_place(s, p->target)) return;
    tr_vec3 at = tr_pose_apply(world_from_sheet(s, p->target, inputs),
                               s->job->sheets[p->target].points[p->point].at_mm);
    tr_vec3 miss = tr_v3_sub(tip_of(s, pointer, inputs), at);
    value[0] = miss.x;
    value[1] = miss.y;
    value[2] = miss.z;
}

/* The floor under a sheet. */
static tr_pose world_from_floor(const measurement *m, int place, const double *inputs) {
    tr_pose pose = world_from_sheet(m->s, m->floor->sheet[place], inputs);
    if (!inputs) return pose;
    const double *lie = inputs + lie_input(m->s, place);
    tr_pose sheet_from_floor = {tr_rotation_from_vector(tr_v3(lie[0], lie[1], 0)), {0, 0, lie[2]}};
    return tr_pose_mul(pose, sheet_from_floor);
}

static void measure_floor(const measurement *m, const tr_vehicle *vehicle, const double *inputs,
                          double *out) {
    const tr_job *job = m->s->job;
    const tr_check_floor *floor = m->floor;
    tr_floor_sheet sheets[TR_JOB_MAX_SHEETS];
    double values[TR_JOB_MAX_SHEETS][TR_FLOOR_N];
    tr_floor_input in = {.sheets = sheets,
                         .n = floor->n,
                         .stand = floor->stand,
                         .has_level = floor->has_level,
                         .level_on = floor->level_on,
                         .level_rad = {job->level.along_rad, job->level.across_rad}};
    for (int k = 0; k < LEVEL_N && inputs; k++) in.level_rad[k] += inputs[level_input(m->s) + k];
    for (int i = 0; i < floor->n; i++) {
        const tr_sheet *sheet = &job->sheets[floor->sheet[i]];
        sheets[i] =
            (tr_floor_sheet){.vehicle_from_sheet = tr_pose_mul(vehicle->vehicle_from_world,
                                                               world_from_floor(m, i, inputs)),
                             .half_mm = {sheet->width_mm / 2, sheet->height_mm / 2},
                             .is_at_target = floor->is_at_target[i],
                             .is_at_wheel = floor->is_at_wheel[i],
                             .wheel_mm = floor->wheel_mm[i]};
    }
    tr_vehicle_ground(vehicle, &in.low_mm, &in.high_mm);
    tr_floor_measure(&in, values, out);
    memcpy(out + TR_FLOOR_WHOLE_N, values, (size_t)floor->n * sizeof *values);
}

static bool values_of(const measurement *m, const double *inputs, double *change, double *out) {
    const tr_job *job = m->s->job;
    const tr_layout *layout = &job->layout;
    tr_vehicle vehicle;
    if (!frame_of(m->s, inputs, change, &vehicle)) return false;
    for (int i = 0; i < layout->n_placements; i++) {
        place_target(m, &vehicle, i, inputs, out + target_output(i));
    }
    for (int i = 0; i < layout->n_relations; i++) {
        const tr_relation_result *r = &m->result->relations[i];
        const double *first = out + target_output(r->targets[0]);
        const double *second = out + target_output(r->targets[1]);
        double *value = out + relation_output(job, i);
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            double d = second[k] - first[k];
            value[k] = tr_axis_is_angle(k) ? tr_wrap_rad(d) : d;
        }
    }
    for (int i = 0; i < layout->n_placements; i++) {
        count_from_origin(m, &vehicle, i, inputs, out + target_output(i));
    }
    memcpy(out + vehicle_output(job), vehicle.value, sizeof vehicle.value);
    for (int i = 0; i < job->n_pointers; i++) {
        miss_of_pointer(m->s, i, inputs, out + pointer_output(job, i));
    }
    measure_floor(m, &vehicle, inputs, out + floor_output(job));
    return true;
}

static bool is_angle(const measurement *m, int output) {
    int value = output - (int)vehicle_output(m->s->job);
    if (output >= pointer_output(m->s->job, 0)) return false;
    return value >= 0 ? tr_vehicle_value_is_angle(value)
                      : tr_axis_is_angle((tr_axis)(output % TR_N_AXES));
}

/* d(output)/d(input) by central differences: the function is smooth, and its curvature over these
   steps is 1e-9 of it. Angles among the outputs are differenced the short way round. */
static bool jacobian(const measurement *m, double *change, double *J, tr_error *err) {
    bool ok = false;
    double *inputs = calloc((size_t)m->n_inputs + 1, sizeof *inputs);
    double *plus = calloc((size_t)m->n_outputs + 1, sizeof *plus);
    double *minus = calloc((size_t)m->n_outputs + 1, sizeof *minus);
    if (!inputs || !plus || !minus) {
        tr_fail_memory(err);
        goto out;
    }
    for (int j = 0; j < m->n_inputs; j++) {
        double h = is_angle_input(m, j) ? 1e-5 : 1e-2; /* rad, mm */
        inputs[j] = h;
        bool is_defined = values_of(m, inputs, change, plus);
        inputs[j] = -h;
        is_defined = is_defined && values_of(m, inputs, change, minus);
        inputs[j] = 0;
        if (!is_defined) {
            tr_fail(err, TR_NO_MEASURE,
                    "the wheels' points lie too close together to make a vehicle frame");
            goto out;
        }
        for (int i = 0; i < m->n_outputs; i++) {
            double d = plus[i] - minus[i];
            J[(long)i * m->n_inputs + j] = (is_angle(m, i) ? tr_wrap_rad(d) : d) / (2 * h);
        }
    }
    ok = true;
out:
    free(inputs);
    free(plus);
    free(minus);
    return ok;
}

/* The input is an observation of the roll: how a sheet hangs on a rolled wheel, or a height of the
   floor there. Where the standoff has the wheel's middle the roll does not ask. */
static bool is_of_roll(const measurement *m, long input) {
    long off = input - off_input(m->s, 0);
    if (!m->s->roll || input >= tip_input(m->s, 0)) return false;
    if (input >= height_input(m->s, 0, 0)) return true;
    const tr_reference *r = &m->s->job->references[off / OFF_N];
    return support_of(m->s->job, r) == TR_ON_WHEEL && off % OFF_N < TR_HANG_N;
}

/* Of an input that is no pose. What the roll's observations disagree by more than they should is
   laid to all of them alike. */
static double input_variance(const measurement *m, long input) {
    double sd = input_sd(m, input);
    return (is_of_roll(m, input) ? tr_solved_variance_factor(m->s) : 1) * sd * sd;
}

static double variance_by(const measurement *m, const double *row, const double *covariance) {
    return covariance ? tr_dense_quadratic(row, covariance, m->n_poses) : 0;
}

static double variance_of_offs(const measurement *m, const double *row) {
    double sum = 0;
    for (int j = m->n_poses; j < m->n_inputs; j++) {
        sum += row[j] * row[j] * input_variance(m, j);
    }
    return sum;
}

/* row: d(output)/d(inputs). A source's share is what holding it takes off the variance, clamped to
   what remains. */
static void propagate(const measurement *m, const double *row, tr_output *out) {
    const tr_adjustment *adj = m->s->adj;
    double factor = tr_solved_variance_factor(m->s);
    double network = variance_by(m, row, adj->covariance);
    double places = fmin(fmax(0, variance_by(m, row, adj->covariance_coordinates)), network);
    double rest = network - places;
    double lens_held = fmin(variance_by(m, row, adj->covariance_lens_held), rest);
    double marks = fmin(variance_by(m, row, adj->covariance_marks), lens_held);
    double plates = (factor - 1) * network;
    double pointers = 0;
    for (int j = m->n_poses; j < m->n_inputs; j++) {
        double variance = row[j] * row[j] * input_variance(m, j);
        *(j < tip_input(m->s, 0) ? &plates : &pointers) += variance;
    }
    out->variance = network + plates + pointers;
    out->variance_of[TR_FROM_MARKS] = marks;
    out->variance_of[TR_FROM_LENS] = rest - lens_held;
    out->variance_of[TR_FROM_PLATES] = plates;
    out->variance_of[TR_FROM_POINTERS] = pointers;
    out->variance_of[TR_FROM_SHEETS] = places + lens_held - marks;
    if (!adj->covariance_calibrated) return;
    double calibrated = variance_by(m, row, adj->covariance_calibrated);
    out->variance_calibrated = fmin(calibrated + plates + pointers, out->variance);
}

/* A sheet whose size is known gives it to all. */
static bool is_any_surveyed(const tr_solved *s) {
    for (int i = 0; i < s->job->n_sheets; i++) {
        if (s->adj->sheet_placed[i] && s->job->sheets[i].survey.n_rows > 0) return true;
    }
    return false;
}

/* What the prints share makes all lengths from the vehicle too long or too short. */
static void add_shared_scale(const measurement *m, int i, tr_output *o) {
    bool is_length = i < pointer_output(m->s->job, 0) && !is_angle(m, i);
    if (!is_length || is_any_surveyed(m->s)) return;
    double u = TR_ADJUST_SHARED_PRINT_SD * o->value;
    o->variance += u * u;
    o->variance_of[TR_FROM_SHEETS] += u * u;
    if (o->variance_calibrated > 0) o->variance_calibrated += u * u;
}

static tr_output *output_at(const measurement *m, tr_outputs *out, int i) {
    int relation = i - (int)relation_output(m->s->job, 0);
    int value = i - (int)vehicle_output(m->s->job);
    int whole = i - (int)floor_output(m->s->job);
    int place = i - (int)place_output(m->s->job, 0);
    if (place >= 0) return &out->places[place / TR_FLOOR_N][place % TR_FLOOR_N];
    if (whole >= 0) return &out->floor[whole];
    int pointer = i - (int)pointer_output(m->s->job, 0);
    if (pointer >= 0) return &out->pointers[pointer / TIP_N][pointer % TIP_N];
    if (value >= 0) return &out->vehicle[value];
    if (relation >= 0) return &out->relations[relation / TR_N_AXES][relation % TR_N_AXES];
    return &out->targets[i / TR_N_AXES][i % TR_N_AXES];
}

/* Values of the floor, which do not lean on what the network takes for granted of it. change:
   scratch for the roll's observations; value: for all outputs. */
static bool open_floor(const measurement *m, const double *J, double *change, double *value,
                       tr_outputs *out, tr_error *err) {
    tr_open_floor open;
    double *inputs = calloc((size_t)m->n_inputs + 1, sizeof *inputs);
    bool ok = tr_open_floor_make(m->s->adj, &open, err) && (inputs || tr_fail_memory(err));
    if (ok) memcpy(inputs, open.shift, (size_t)m->n_poses * sizeof *inputs);
    bool is_told = ok && open.is_told && values_of(m, inputs, change, value);
    for (int i = (int)floor_output(m->s->job); i < m->n_outputs && ok; i++) {
        const double *row = J + (long)i * m->n_inputs;
        tr_output *o = output_at(m, out, i);
        *o = (tr_output){.value = is_told ? value[i] : NAN};
        if (!isfinite(o->value)) continue;
        o->variance = tr_solved_variance_factor(m->s) * tr_open_floor_variance(&open, row) +
                      variance_of_offs(m, row);
    }
    tr_open_floor_release(&open);
    free(inputs);
    return ok;
}

bool tr_outputs_find(const tr_solved *s, const tr_check_result *result, const tr_check_floor *floor,
                     tr_outputs *out, tr_error *err) {
    const tr_layout *layout = &s->job->layout;
    measurement m = {.s = s,
                     .result = result,
                     .floor = floor,
                     .n_poses = (int)off_input(s, 0),
                     .n_inputs = (int)lie_input(s, floor->n),
                     .n_outputs = (int)place_output(s->job, floor->n)};
    int n_changes = s->roll ? tr_roll_n_observations(s->roll) : 0;
    bool ok = false;
    *out =
        (tr_outputs){.targets = calloc((size_t)layout->n_placements + 1, sizeof *out->targets),
                     .relations = calloc((size_t)layout->n_relations + 1, sizeof *out->relations),
                     .pointers = calloc((size_t)s->job->n_pointers + 1, sizeof *out->pointers),
                     .places = calloc((size_t)floor->n + 1, sizeof *out->places)};
    double *value = calloc((size_t)m.n_outputs + 1, sizeof *value);
    double *change = tr_array(n_changes, sizeof *change);
    double *J = tr_table(m.n_outputs, m.n_inputs, sizeof *J);
    if (!out->targets || !out->relations || !out->pointers || !out->places || !value || !change ||
        !J) {
        tr_fail_memory(err);
        goto out;
    }
    if (!values_of(&m, NULL, NULL, value) || !jacobian(&m, change, J, err)) goto out;
    for (int i = 0; i < floor_output(s->job); i++) {
        tr_output *o = output_at(&m, out, i);
        o->value = value[i];
        propagate(&m, J + (long)i * m.n_inputs, o);
        add_shared_scale(&m, i, o);
    }
    ok = open_floor(&m, J, change, value, out, err);
out:
    free(value);
    free(change);
    free(J);
    return ok;
}

void tr_outputs_release(tr_outputs *outputs) {
    free(outputs->targets);
    free(outputs->relations);
    free(outputs->pointers);
    free(outputs->places);
    memset(outputs, 0, sizeof *outputs);
}
