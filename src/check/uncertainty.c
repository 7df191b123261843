#include "check/uncertainty.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "geom/dense.h"

typedef struct {
    const tr_job *job;
    const tr_adjustment *adj;
    const tr_check_result *result;
    int n_poses;   /* TR_POSE_N a sheet */
    int n_inputs;  /* then 2 a reference */
    int n_outputs; /* TR_N_AXES a target, then the lengths */
} measurement;

/* Where the inputs and the outputs stand in their rows. */
static long pose_input(int sheet) {
    return (long)TR_POSE_N * sheet;
}

static long plate_input(const tr_job *job, int reference) {
    return pose_input(job->n_sheets) + 2L * reference;
}

static long axis_output(int target, int axis) {
    return (long)TR_N_AXES * target + axis;
}

static long length_output(const tr_job *job, int length) {
    return axis_output(job->layout.n_placements, 0) + length;
}

static tr_pose world_from_sheet(const tr_adjustment *adj, int sheet, const double *inputs) {
    tr_pose pose = adj->net.sheets[sheet].world_from_sheet;
    return inputs ? tr_pose_moved(pose, inputs + pose_input(sheet)) : pose;
}

/* The frame, with the inputs moved by small amounts (NULL: as they are). */
static bool frame_of(const tr_job *job, const tr_adjustment *adj, const double *inputs,
                     tr_vehicle *vehicle) {
    tr_vec3 point[TR_N_POINTS] = {{0, 0, 0}};
    bool is_there[TR_N_POINTS] = {false};
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        if (!adj->sheet_placed[r->sheet]) continue;
        tr_pose pose = world_from_sheet(adj, r->sheet, inputs);
        point[r->point] = tr_pose_apply(pose, tr_v3(r->at_mm.x, r->at_mm.y, 0));
        if (inputs) {
            const double *d = inputs + plate_input(job, i);
            point[r->point] = tr_v3_add(point[r->point], tr_v3(d[0], d[1], 0));
        }
        is_there[r->point] = true;
    }
    return tr_vehicle_frame(point, is_there, job->layout.axes, vehicle);
}

bool tr_check_frame(const tr_job *job, const tr_adjustment *adj, tr_vehicle *vehicle) {
    return frame_of(job, adj, NULL, vehicle);
}

static double origin_x(const tr_placement *placement, const tr_vehicle *vehicle) {
    return placement->from == TR_FROM_FRONT_AXLE ? vehicle->wheelbase_mm : 0;
}

static bool values_of(const measurement *m, const double *inputs, double *out) {
    const tr_layout *layout = &m->job->layout;
    tr_vehicle vehicle;
    if (!frame_of(m->job, m->adj, inputs, &vehicle)) return false;
    for (int i = 0; i < layout->n_placements; i++) {
        int sheet = m->result->targets[i].sheet;
        double *value = out + axis_output(i, 0);
        for (int k = 0; k < TR_N_AXES; k++) value[k] = 0;
        if (!m->adj->sheet_placed[sheet]) continue;
        tr_pose pose = world_from_sheet(m->adj, sheet, inputs);
        tr_placement_of(tr_pose_mul(vehicle.vehicle_from_world, pose), value);
        value[TR_X] -= origin_x(&layout->placements[i], &vehicle);
    }
    double *length = out + length_output(m->job, 0);
    length[TR_OUT_WHEELBASE] = vehicle.wheelbase_mm;
    length[TR_OUT_TRACK_FRONT] = vehicle.track_front_mm;
    length[TR_OUT_TRACK_REAR] = vehicle.track_rear_mm;
    length[TR_OUT_SKEW_REAR] = vehicle.skew_rear_mm;
    length[TR_OUT_SKEW_FRONT] = vehicle.skew_front_mm;
    return true;
}

static bool is_angle(const measurement *m, int output) {
    return output < length_output(m->job, 0) && tr_axis_is_angle((tr_axis)(output % TR_N_AXES));
}

/* d(output)/d(input) by central differences: the function is smooth, and its curvature over these
   steps is 1e-9 of it. Angles among the outputs are differenced the short way round. */
static bool jacobian(const measurement *m, double *J, tr_error *err) {
    bool ok = false;
    double *inputs = calloc((size_t)m->n_inputs + 1, sizeof *inputs);
    double *plus = calloc((size_t)m->n_outputs + 1, sizeof *plus);
    double *minus = calloc((size_t)m->n_outputs + 1, sizeof *minus);
    if (!inputs || !plus || !minus) {
        tr_fail_memory(err);
        goto out;
    }
    for (int j = 0; j < m->n_inputs; j++) {
        bool is_rotation = j < m->n_poses && j % TR_POSE_N < 3;
        double h = is_rotation ? 1e-5 : 1e-2; /* rad, mm */
        inputs[j] = h;
        bool is_defined = values_of(m, inputs, plus);
        inputs[j] = -h;
        is_defined = is_defined && values_of(m, inputs, minus);
        inputs[j] = 0;
        if (!is_defined) {
            tr_fail(err, TR_NO_MEASURE,
                    "the plates lie too close together to make a vehicle frame");
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

static double variance_by(const measurement *m, const double *row, const double *covariance) {
    return covariance ? tr_dense_quadratic(row, covariance, m->n_poses) : 0;
}

/* row: d(output)/d(inputs). A source's share is what holding it takes off the variance, clamped to
   what remains. */
static void propagate(const measurement *m, const double *row, tr_output *out) {
    const tr_adjustment *adj = m->adj;
    double network = variance_by(m, row, adj->covariance);
    double places = fmin(fmax(0, variance_by(m, row, adj->covariance_coordinates)), network);
    double rest = network - places;
    double lens_held = fmin(variance_by(m, row, adj->covariance_lens_held), rest);
    double marks = fmin(variance_by(m, row, adj->covariance_marks), lens_held);
    double plates = 0;
    for (int j = m->n_poses; j < m->n_inputs; j++) {
        double u = row[j] * m->job->reference_sd_mm;
        plates += u * u;
    }
    out->variance = network + plates;
    out->variance_of[TR_FROM_MARKS] = marks;
    out->variance_of[TR_FROM_LENS] = rest - lens_held;
    out->variance_of[TR_FROM_PLATES] = plates;
    out->variance_of[TR_FROM_SHEETS] = places + lens_held - marks;
    if (!adj->covariance_calibrated) return;
    double calibrated = variance_by(m, row, adj->covariance_calibrated);
    out->variance_calibrated = fmin(calibrated + plates, out->variance);
}

bool tr_outputs_find(const tr_job *job, const tr_adjustment *adj, const tr_check_result *result,
                     tr_outputs *out, tr_error *err) {
    measurement m = {.job = job, .adj = adj, .result = result};
    int n_targets = job->layout.n_placements;
    m.n_poses = (int)pose_input(job->n_sheets);
    m.n_inputs = (int)plate_input(job, job->n_references);
    m.n_outputs = (int)length_output(job, TR_N_OUT_LENGTHS);
    bool ok = false;
    *out = (tr_outputs){.targets = calloc((size_t)n_targets + 1, sizeof *out->targets)};
    double *value = calloc((size_t)m.n_outputs + 1, sizeof *value);
    double *J = tr_table(m.n_outputs, m.n_inputs, sizeof *J);
    if (!out->targets || !value || !J) {
        tr_fail_memory(err);
        goto out;
    }
    if (!values_of(&m, NULL, value) || !jacobian(&m, J, err)) goto out;
    for (int i = 0; i < m.n_outputs; i++) {
        int length = i - (int)length_output(job, 0);
        tr_output *o =
            length < 0 ? &out->targets[i / TR_N_AXES][i % TR_N_AXES] : &out->lengths[length];
        o->value = value[i];
        propagate(&m, J + (long)i * m.n_inputs, o);
    }
    ok = true;
out:
    free(value);
    free(J);
    return ok;
}

void tr_outputs_release(tr_outputs *outputs) {
    free(outputs->targets);
    memset(outputs, 0, sizeof *outputs);
}
