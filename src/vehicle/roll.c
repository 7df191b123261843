#include "vehicle/roll.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "geom/dense.h"

enum { POSE_N = 6, MAX_ITERATIONS = 30 };

/* What is known as exact is taken as known within this, so that a covariance has an inverse. */
static const double LEAST_SD_MM = 1e-3;
static const double LEAST_SD_RAD = 1e-6;
/* Wheels stand at least so far apart along and across, for a body of which few are seen. mm */
static const double LEAST_BASE_MM = 300;
/* A step this small ends the iteration: mm, and rad at a metre's distance. */
static const double SMALL_STEP = 1e-9;

/* Unknowns of a sheet: its pose in the last position, how it hangs, and its angle in each position
   but the last. */
typedef struct {
    tr_pose last;
    double hang[TR_HANG_N];
    double angle[TR_MAX_POSITIONS];
} sheet_state;

typedef struct {
    sheet_state *sheets;
    tr_pose last_from_body[TR_MAX_POSITIONS]; /* M_p */
} state;

struct tr_roll {
    tr_roll_input in;
    tr_rolled_sheet *sheets;
    state x;
    tr_vec3 *centre; /* of each sheet, where the floor is under it */
    int n_unknowns, n_observations;
    double *J;    /* of the model, n_observations x n_unknowns */
    double *L;    /* factor of the observations' covariance */
    double *r;    /* observed less model */
    double *gain; /* n_unknowns x n_observations: d(unknown) / d(observation) */
    double cost;
};

/* ---- where unknowns and observations stand ---- */

static int last_of(const tr_roll *s) {
    return s->in.n_positions - 1;
}

static int n_angles(const tr_roll *s, int sheet) {
    int n = 0;
    for (int p = 0; p < last_of(s) && s->sheets[sheet].is_hub; p++) {
        n += s->sheets[sheet].is_there[p];
    }
    return n;
}

/* First unknown of a sheet; of n_sheets: of the body. */
static int unknown_of(const tr_roll *s, int sheet) {
    int n = 0;
    for (int i = 0; i < sheet; i++) {
        n += POSE_N + (s->sheets[i].is_hub ? TR_HANG_N : 0) + n_angles(s, i);
    }
    return n;
}

static int count_poses(const tr_roll *s) {
    int n = 0;
    for (int i = 0; i < s->in.n_sheets; i++) {
        for (int p = 0; p < s->in.n_positions; p++) n += s->sheets[i].is_there[p];
    }
    return n;
}

static int count_hubs(const tr_roll *s) {
    int n = 0;
    for (int i = 0; i < s->in.n_sheets; i++) n += s->sheets[i].is_hub;
    return n;
}

/* Rows about where a body stood in a position, six each, beyond the caller's: it leans but little;
   and it was in the workshop, so that a position that shows no sheet leaves nothing undetermined.
 */
enum { LEAN_N = POSE_N };
static const double WORKSHOP_MM = 1e4;

static int first_hang(const tr_roll *s) {
    return POSE_N * count_poses(s);
}

static int first_height(const tr_roll *s) {
    return first_hang(s) + TR_HANG_N * count_hubs(s);
}

static int first_lean(const tr_roll *s) {
    return first_height(s) + last_of(s) * count_hubs(s);
}

int tr_roll_n_observations(const tr_roll *s) {
    return first_lean(s);
}

/* ---- the model ---- */

static tr_vec3 axis_on_sheet(const double *hang) {
    tr_vec3 a = tr_v3(hang[2], hang[3], 1);
    return tr_v3_scale(1 / tr_v3_norm(a), a);
}

static tr_vec3 foot_on_sheet(tr_vec2 at_mm, const double *hang) {
    return tr_v3(at_mm.x + hang[0], at_mm.y + hang[1], 0);
}

tr_wheel tr_wheel_of_sheet(tr_pose world_from_sheet, tr_vec2 at_mm, double standoff_mm,
                           const double hang[TR_HANG_N]) {
    tr_vec3 axis = tr_m3_apply(world_from_sheet.R, axis_on_sheet(hang));
    tr_vec3 foot = tr_pose_apply(world_from_sheet, foot_on_sheet(at_mm, hang));
    return (tr_wheel){.is_there = true,
                      .has_axis = true,
                      .at_mm = tr_v3_sub(foot, tr_v3_scale(standoff_mm, axis)),
                      .axis = axis};
}

/* Q: about the axis. */
static tr_pose spin(const tr_rolled_sheet *sheet, const sheet_state *x, double angle) {
    tr_vec3 foot = foot_on_sheet(sheet->at_mm, x->hang);
    tr_mat3 R = tr_rotation_from_vector(tr_v3_scale(angle, axis_on_sheet(x->hang)));
    return (tr_pose){R, tr_v3_sub(foot, tr_m3_apply(R, foot))};
}

static tr_pose model_pose(const tr_roll *s, const state *x, int sheet, int position) {
    const sheet_state *own = &x->sheets[sheet];
    tr_pose there = own->last;
    if (s->sheets[sheet].is_hub)
        there = tr_pose_mul(there, spin(&s->sheets[sheet], own, own->angle[position]));
    return tr_pose_mul(x->last_from_body[position], there);
}

/* Observed less model. */
static void residuals(const tr_roll *s, const state *x, double *r) {
    for (int i = 0; i < s->in.n_sheets; i++) {
        for (int p = 0; p < s->in.n_positions; p++) {
            if (!s->sheets[i].is_there[p]) continue;
            tr_pose_change(model_pose(s, x, i, p), s->sheets[i].world_from_sheet[p], r);
            r += POSE_N;
        }
    }
    for (int i = 0; i < s->in.n_sheets; i++) {
        for (int k = 0; k < TR_HANG_N && s->sheets[i].is_hub; k++) *r++ = -x->sheets[i].hang[k];
    }
    for (int p = 0; p < last_of(s); p++) {
        for (int i = 0; i < s->in.n_sheets; i++) {
            if (!s->sheets[i].is_hub) continue;
            *r++ = s->centre[i].z - tr_pose_apply(x->last_from_body[p], s->centre[i]).z;
        }
    }
    for (int p = 0; p < last_of(s); p++) {
        tr_vec3 turn = tr_vector_from_rotation(x->last_from_body[p].R);
        tr_vec3 way = x->last_from_body[p].t_mm;
        const double six[LEAN_N] = {-turn.x, -turn.y, -turn.z, -way.x, -way.y, -way.z};
        memcpy(r, six, sizeof six);
        r += LEAN_N;
    }
}

/* x, with all unknowns moved by d. */
static void move(const tr_roll *s, const state *from, const double *d, state *to) {
    for (int i = 0; i < s->in.n_sheets; i++) {
        const sheet_state *a = &from->sheets[i];
        sheet_state *b = &to->sheets[i];
        b->last = tr_pose_moved(a->last, d);
        d += POSE_N;
        for (int k = 0; k < TR_HANG_N && s->sheets[i].is_hub; k++) b->hang[k] = a->hang[k] + *d++;
        for (int p = 0; p < last_of(s); p++) {
            if (s->sheets[i].is_hub && s->sheets[i].is_there[p]) b->angle[p] = a->angle[p] + *d++;
        }
    }
    for (int p = 0; p < last_of(s); p++) {
        to->last_from_body[p] = tr_pose_moved(from->last_from_body[p], d);
        d += POSE_N;
    }
    to->last_from_body[last_of(s)] = tr_pose_identity();
}

static bool state_new(const tr_roll *s, state *x, tr_error *err) {
    x->sheets = tr_array(s->in.n_sheets, sizeof *x->sheets);
    return x->sheets || tr_fail_memory(err);
}

/* ---- initial values ---- */

/* M_p from where the sheets were, as seen from above, since wheels turn about their middles. */
static tr_pose initial_body(const tr_roll *s, int position) {
    tr_vec2 from[TR_MAX_REFERENCES];
    tr_vec2 to[TR_MAX_REFERENCES];
    double rise = 0;
    int n = 0;
    for (int i = 0; i < s->in.n_sheets; i++) {
        const tr_rolled_sheet *sheet = &s->sheets[i];
        if (!sheet->is_there[position]) continue;
        tr_vec3 at = {sheet->at_mm.x, sheet->at_mm.y, 0};
        tr_vec3 a = tr_pose_apply(sheet->world_from_sheet[last_of(s)], at);
        tr_vec3 b = tr_pose_apply(sheet->world_from_sheet[position], at);
        from[n] = tr_v2(a.x, a.y);
        to[n++] = tr_v2(b.x, b.y);
        rise += b.z - a.z;
    }
    if (n == 0) return tr_pose_identity();
    tr_plane_motion m = tr_plane_fit(from, to, n);
    tr_vec2 origin = tr_plane_motion_apply(m, tr_v2(0, 0));
    double angle = n > 1 ? m.angle_rad : 0;
    if (n == 1) origin = tr_v2_sub(to[0], from[0]);
    return (tr_pose){tr_rotation_z(angle), tr_v3(origin.x, origin.y, rise / n)};
}

static void set_initial(tr_roll *s) {
    for (int p = 0; p <= last_of(s); p++) {
        s->x.last_from_body[p] = p == last_of(s) ? tr_pose_identity() : initial_body(s, p);
    }
    for (int i = 0; i < s->in.n_sheets; i++) {
        const tr_rolled_sheet *sheet = &s->sheets[i];
        sheet_state *x = &s->x.sheets[i];
        x->last = sheet->world_from_sheet[last_of(s)];
        s->centre[i] = tr_pose_apply(x->last, tr_v3(sheet->at_mm.x, sheet->at_mm.y, 0));
        for (int p = 0; p < last_of(s); p++) {
            if (!sheet->is_there[p]) continue;
            tr_pose body =
                tr_pose_mul(tr_pose_inverse(s->x.last_from_body[p]), sheet->world_from_sheet[p]);
            tr_mat3 Q = tr_m3_mul(tr_m3_transpose(x->last.R), body.R);
            x->angle[p] = atan2(Q.m[1][0] - Q.m[0][1], Q.m[0][0] + Q.m[1][1]);
        }
    }
}

/* ---- the covariance of the observations ---- */

static double square_of(double sd, double least) {
    return fmax(sd, least) * fmax(sd, least);
}

/* Heights in position p and in the last one are drawn alike, so that all differences share the
   last: sd^2 (1 + [p is p']). */
static bool fill_covariance(tr_roll *s) {
    int m = s->n_observations;
    int n_poses = first_hang(s);
    int n_hubs = count_hubs(s);
    double floor = square_of(s->in.floor_sd_mm, LEAST_SD_MM);
    double lean = sqrt(2 * floor) / LEAST_BASE_MM;
    for (int i = 0; i < n_poses; i++) {
        memcpy(s->L + (long)i * m, s->in.covariance + (long)i * n_poses,
               (size_t)n_poses * sizeof *s->L);
    }
    for (int i = first_hang(s); i < first_height(s); i++) {
        bool is_length = (i - first_hang(s)) % TR_HANG_N < 2;
        s->L[(long)i * m + i] = is_length ? square_of(s->in.reference_sd_mm, LEAST_SD_MM)
                                          : square_of(s->in.tilt_sd_rad, LEAST_SD_RAD);
    }
    for (int p = 0; p < last_of(s); p++) {
        for (int q = 0; q < last_of(s); q++) {
            for (int i = 0; i < n_hubs; i++) {
                long row = first_height(s) + (long)p * n_hubs + i;
                long column = first_height(s) + (long)q * n_hubs + i;
                s->L[row * m + column] = p == q ? 2 * floor : floor;
            }
        }
    }
    for (int i = first_lean(s); i < m; i++) {
        int k = (i - first_lean(s)) % LEAN_N;
        double sd = k < 2 ? lean : k == 2 ? 1 : WORKSHOP_MM;
        s->L[(long)i * m + i] = sd * sd;
    }
    return tr_dense_factor(s->L, m);
}

/* ---- solution ---- */

/* Central differences; the model is smooth, and its curvature over these steps is nothing. */
static void differentiate(tr_roll *s, double *d, state *moved, double *plus, double *minus) {
    static const double H = 1e-5;
    for (int j = 0; j < s->n_unknowns; j++) {
        d[j] = H;
        move(s, &s->x, d, moved);
        residuals(s, moved, plus);
        d[j] = -H;
        move(s, &s->x, d, moved);
        residuals(s, moved, minus);
        d[j] = 0;
        for (int i = 0; i < s->n_observations; i++) {
            s->J[(long)i * s->n_unknowns + j] = (minus[i] - plus[i]) / (2 * H);
        }
    }
}

/* gain = (J' Q^-1 J)^-1 J' Q^-1. WJ: Q^-1 J by columns, n_unknowns x n_observations; N: square. */
static bool find_gain(tr_roll *s, double *WJ, double *N) {
    int m = s->n_observations;
    int n = s->n_unknowns;
    for (int j = 0; j < n; j++) {
        double *column = WJ + (long)j * m;
        for (int i = 0; i < m; i++) column[i] = s->J[(long)i * n + j];
        tr_dense_solve_factored(s->L, column, m);
    }
    tr_dense_multiply(WJ, s->J, n, m, n, N);
    if (!tr_dense_factor(N, n)) return false;
    for (int i = 0; i < m; i++) {
        for (int j = 0; j < n; j++) WJ[(long)n * m + j] = WJ[(long)j * m + i];
        tr_dense_solve_factored(N, WJ + (long)n * m, n);
        for (int j = 0; j < n; j++) s->gain[(long)j * m + i] = WJ[(long)n * m + j];
    }
    return true;
}

static void apply_gain(const tr_roll *s, const double *change, int n_change, double *d) {
    for (int j = 0; j < s->n_unknowns; j++) {
        d[j] = 0;
        for (int i = 0; i < n_change; i++) {
            d[j] += s->gain[(long)j * s->n_observations + i] * change[i];
        }
    }
}

static double largest(const double *d, int n) {
    double most = 0;
    for (int i = 0; i < n; i++) most = fmax(most, fabs(d[i]));
    return most;
}

/* Gauss-Newton; then the cost. False: the unknowns are not determined. */
static bool iterate(tr_roll *s, double *scratch, state *moved) {
    int m = s->n_observations;
    int n = s->n_unknowns;
    double *d = scratch;
    double *plus = d + n;
    double *minus = plus + m;
    double *N = minus + m;
    double *WJ = N + (long)n * n;
    memset(d, 0, (size_t)n * sizeof *d);
    for (int k = 0; k < MAX_ITERATIONS; k++) {
        differentiate(s, d, moved, plus, minus);
        residuals(s, &s->x, s->r);
        if (!find_gain(s, WJ, N)) return false;
        apply_gain(s, s->r, m, d);
        move(s, &s->x, d, moved);
        state swap = s->x;
        s->x = *moved;
        *moved = swap;
        bool is_done = largest(d, n) < SMALL_STEP;
        memset(d, 0, (size_t)n * sizeof *d);
        if (is_done) break;
    }
    residuals(s, &s->x, s->r);
    memcpy(plus, s->r, (size_t)m * sizeof *plus);
    tr_dense_solve_factored(s->L, plus, m);
    s->cost = 0;
    for (int i = 0; i < m; i++) s->cost += plus[i] * s->r[i];
    return true;
}

static bool solve(tr_roll *s, tr_error *err) {
    size_t m = (size_t)s->n_observations;
    size_t n = (size_t)s->n_unknowns;
    state moved = {0};
    double *scratch = calloc(n + 2 * m + n * n + n * m + n + 1, sizeof *scratch);
    bool ok = state_new(s, &moved, err);
    if (!scratch) {
        ok = tr_fail_memory(err);
    } else if (ok) {
        set_initial(s);
        ok = (fill_covariance(s) && iterate(s, scratch, &moved)) ||
             tr_fail(err, TR_NO_MEASURE,
                     "the photos of the roll positions do not tell the wheels' axes");
    }
    free(scratch);
    free(moved.sheets);
    return ok;
}

static bool allocate(const tr_roll_input *in, tr_roll *s, tr_error *err) {
    s->in = *in;
    s->sheets = tr_array(in->n_sheets, sizeof *s->sheets);
    s->centre = tr_array(in->n_sheets, sizeof *s->centre);
    if (!s->sheets || !s->centre) return tr_fail_memory(err);
    memcpy(s->sheets, in->sheets, (size_t)in->n_sheets * sizeof *s->sheets);
    s->n_unknowns = unknown_of(s, in->n_sheets) + POSE_N * last_of(s);
    s->n_observations = first_lean(s) + LEAN_N * last_of(s);
    s->J = tr_table(s->n_observations, s->n_unknowns, sizeof *s->J);
    s->L = tr_table(s->n_observations, s->n_observations, sizeof *s->L);
    s->gain = tr_table(s->n_unknowns, s->n_observations, sizeof *s->gain);
    s->r = tr_array(s->n_observations, sizeof *s->r);
    if (!s->J || !s->L || !s->gain || !s->r) return tr_fail_memory(err);
    return state_new(s, &s->x, err);
}

tr_roll *tr_roll_new(const tr_roll_input *in, tr_error *err) {
    tr_roll *s = calloc(1, sizeof *s);
    if (!s) {
        tr_fail_memory(err);
        return NULL;
    }
    if (!allocate(in, s, err) || !solve(s, err)) {
        tr_roll_free(s);
        return NULL;
    }
    s->in.sheets = s->sheets; /* what was borrowed is not needed any more */
    s->in.covariance = NULL;
    return s;
}

void tr_roll_free(tr_roll *s) {
    if (!s) return;
    free(s->sheets);
    free(s->centre);
    free(s->x.sheets);
    free(s->J);
    free(s->L);
    free(s->gain);
    free(s->r);
    free(s);
}

/* ---- what is asked of it ---- */

/* The unknowns of one sheet with all observations changed. */
static sheet_state changed(const tr_roll *s, int sheet, const double *change) {
    sheet_state x = s->x.sheets[sheet];
    double d[POSE_N + TR_HANG_N] = {0};
    int first = unknown_of(s, sheet);
    for (int j = 0; j < POSE_N + TR_HANG_N && change; j++) {
        const double *row = s->gain + (long)(first + j) * s->n_observations;
        for (int i = 0; i < tr_roll_n_observations(s); i++) d[j] += row[i] * change[i];
    }
    x.last = tr_pose_moved(x.last, d);
    for (int k = 0; k < TR_HANG_N; k++) x.hang[k] += d[POSE_N + k];
    return x;
}

tr_wheel tr_roll_wheel(const tr_roll *s, int sheet, const double *change) {
    const tr_rolled_sheet *of = &s->sheets[sheet];
    sheet_state x = changed(s, sheet, change);
    tr_wheel wheel = tr_wheel_of_sheet(x.last, of->at_mm, of->standoff_mm, x.hang);
    /* The axis's distance from at_mm is less than its foot's by the lean's square: nothing. */
    wheel.has_runout = n_angles(s, sheet) > 0;
    wheel.runout_mm = hypot(x.hang[0], x.hang[1]);
    wheel.runout_rad = atan(hypot(x.hang[2], x.hang[3]));
    return wheel;
}

/* The axis points to the left of left wheels, about which a wheel that rolls forward turns from Z
   to X, which is positive there. */
double tr_roll_angle(const tr_roll *s, int sheet, int position) {
    tr_wheel_point wheel = s->sheets[sheet].wheel;
    bool is_left = wheel == TR_FRONT_LEFT || wheel == TR_REAR_LEFT;
    return tr_wrap_rad((is_left ? -1 : 1) * s->x.sheets[sheet].angle[position]);
}

double tr_roll_cost(const tr_roll *s) {
    return s->cost;
}

/* The four rows a position that only keep it in the workshop tell nothing. */
int tr_roll_degrees_of_freedom(const tr_roll *s) {
    return s->n_observations - 4 * last_of(s) - s->n_unknowns;
}

void tr_roll_misfit(const tr_roll *s, double *turn_rad, double *way_mm) {
    *turn_rad = *way_mm = 0;
    for (int i = 0; i < first_hang(s); i += POSE_N) {
        const double *r = s->r + i;
        *turn_rad = fmax(*turn_rad, tr_v3_norm(tr_v3(r[0], r[1], r[2])));
        *way_mm = fmax(*way_mm, tr_v3_norm(tr_v3(r[3], r[4], r[5])));
    }
}
