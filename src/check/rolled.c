#include "check/rolled.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "check/pointed.h"

/* Poses that contradict a roll by less are no slip: suspensions and tyres give by as much. */
static const double SLIP_RAD = 0.1 * TR_RAD_PER_DEG;
static const double SLIP_MM = 1.0;
/* A cost that exceeds its degrees of freedom by this many standard deviations is no chance. */
static const double CHANCE_SIGMAS = 5;
/* Wheels turn alike but for their sizes and a bend in the way. */
static const double APART_RAD = 3 * TR_RAD_PER_DEG;
static const double APART_PART = 0.03;
/* A sheet that hangs farther out of square than this many stated standard deviations does not hang
   as stated: by chance one in 450 of two axes. */
static const double ASKEW_SIGMAS = 3.5;
/* Less than this part of the axis's direction is told by a roll: 2 sin(15 degrees), of 2. */
static const double LEAST_CHORD = 0.5;

int tr_solved_sheet(const tr_solved *s, int position, int sheet) {
    return s->input->network_sheet[position * s->job->n_sheets + sheet];
}

static bool moves_with_vehicle(const tr_solved *s, int reference) {
    int sheet = s->job->references[reference].sheet;
    tr_support support = s->job->sheets[sheet].support;
    return (support == TR_ON_WHEEL || support == TR_ON_VEHICLE) && s->adj->sheet_placed[sheet];
}

static bool list_rolled(tr_solved *s, tr_error *err) {
    s->reference = tr_array(s->job->n_references, sizeof *s->reference);
    s->rolled = tr_array(s->job->n_references, sizeof *s->rolled);
    if (!s->reference || !s->rolled) return tr_fail_memory(err);
    for (int i = 0; i < s->job->n_references; i++) {
        s->rolled[i] = -1;
        if (s->job->n_positions < 2 || !moves_with_vehicle(s, i)) continue;
        s->rolled[i] = s->n_rolled;
        s->reference[s->n_rolled++] = i;
    }
    return true;
}

/* Of all but an excluded one (-1: none), whose earlier positions are left out. */
static void fill_sheets(const tr_solved *s, int excluded, tr_rolled_sheet *out) {
    const tr_job *job = s->job;
    for (int k = 0; k < s->n_rolled; k++) {
        const tr_reference *r = &job->references[s->reference[k]];
        out[k] = (tr_rolled_sheet){.is_hub = job->sheets[r->sheet].support == TR_ON_WHEEL,
                                   .wheel = r->point,
                                   .at_mm = r->at_mm,
                                   .standoff_mm = r->standoff_mm};
        for (int p = 0; p < job->n_positions; p++) {
            int sheet = tr_solved_sheet(s, p, r->sheet);
            out[k].is_there[p] =
                s->adj->sheet_placed[sheet] && (k != excluded || p == job->n_positions - 1);
            out[k].world_from_sheet[p] = s->adj->net.sheets[sheet].world_from_sheet;
        }
    }
}

/* The covariance of the poses that are there, in the roll's order. */
static double *pick_covariance(const tr_solved *s, const tr_rolled_sheet *sheets, tr_error *err) {
    int n_all = TR_POSE_N * s->adj->net.n_sheets;
    int *at = tr_array(TR_POSE_N * s->n_rolled * s->job->n_positions, sizeof *at);
    int n = 0;
    for (int k = 0; k < s->n_rolled && at; k++) {
        for (int p = 0; p < s->job->n_positions; p++) {
            int sheet = tr_solved_sheet(s, p, s->job->references[s->reference[k]].sheet);
            for (int i = 0; i < TR_POSE_N && sheets[k].is_there[p]; i++) {
                at[n++] = TR_POSE_N * sheet + i;
            }
        }
    }
    double *C = at ? tr_table(n, n, sizeof *C) : NULL;
    for (int i = 0; i < n && C; i++) {
        for (int j = 0; j < n; j++) {
            C[(long)i * n + j] = s->adj->covariance[(long)at[i] * n_all + at[j]];
        }
    }
    free(at);
    if (!C) tr_fail_memory(err);
    return C;
}

static tr_roll *roll_without(const tr_solved *s, int excluded, tr_error *err) {
    tr_roll *roll = NULL;
    tr_rolled_sheet *sheets = tr_array(s->n_rolled, sizeof *sheets);
    double *C = NULL;
    if (!sheets) {
        tr_fail_memory(err);
    } else {
        fill_sheets(s, excluded, sheets);
        C = pick_covariance(s, sheets, err);
    }
    if (C) {
        roll = tr_roll_new(&(tr_roll_input){.sheets = sheets,
                                            .n_sheets = s->n_rolled,
                                            .n_positions = s->job->n_positions,
                                            .covariance = C,
                                            .reference_sd_mm = s->job->reference_sd_mm,
                                            .tilt_sd_rad = s->job->hub_tilt_sd_rad,
                                            .floor_sd_mm = s->job->floor_sd_mm},
                           err);
    }
    free(sheets);
    free(C);
    return roll;
}

/* ---- what contradicts ---- */

static bool is_chance(const tr_roll *roll) {
    double dof = fmax(1, tr_roll_degrees_of_freedom(roll));
    return tr_roll_cost(roll) < dof + CHANCE_SIGMAS * sqrt(2 * dof) + CHANCE_SIGMAS;
}

static bool is_sound(const tr_roll *roll) {
    double turn;
    double way;
    tr_roll_misfit(roll, &turn, &way);
    return is_chance(roll) || (turn < SLIP_RAD && way < SLIP_MM);
}

static const char *id_of(const tr_solved *s, int rolled) {
    return s->job->sheets[s->job->references[s->reference[rolled]].sheet].id;
}

/* The one sheet without which all others agree best. */
static bool note_slip(const tr_solved *s, tr_findings *findings, tr_error *err) {
    int slipped = -1;
    double lowest = INFINITY;
    if (is_sound(s->roll)) return true;
    for (int k = 0; k < s->n_rolled; k++) {
        tr_error why = {0};
        tr_roll *without = roll_without(s, k, &why);
        if (!without && why.code == TR_NO_MEMORY) return tr_fail_memory(err);
        if (without && is_sound(without) && tr_roll_cost(without) < lowest) {
            lowest = tr_roll_cost(without);
            slipped = k;
        }
        tr_roll_free(without);
    }
    double turn;
    double way;
    tr_roll_misfit(s->roll, &turn, &way);
    return slipped >= 0 ? tr_note(HUB_SLIPPED, findings, err, id_of(s, slipped))
                        : tr_note(HUBS_CONTRADICT, findings, err, turn * TR_DEG_PER_RAD, way);
}

static int compare(const void *a, const void *b) {
    double d = *(const double *)a - *(const double *)b;
    return d < 0 ? -1 : d > 0;
}

/* Angles by which the wheels turned from a position to the last; returns their number. */
static int list_angles(const tr_solved *s, int position, double *angle, int *of) {
    int n = 0;
    for (int k = 0; k < s->n_rolled; k++) {
        const tr_reference *r = &s->job->references[s->reference[k]];
        int sheet = tr_solved_sheet(s, position, r->sheet);
        if (s->job->sheets[r->sheet].support != TR_ON_WHEEL || !s->adj->sheet_placed[sheet])
            continue;
        of[n] = k;
        angle[n++] = tr_roll_angle(s->roll, k, position);
    }
    return n;
}

/* In each position all wheels turned by about the same. */
static bool note_apart(const tr_solved *s, int position, tr_findings *findings, tr_error *err) {
    double angle[TR_MAX_REFERENCES];
    double sorted[TR_MAX_REFERENCES];
    int of[TR_MAX_REFERENCES];
    int n = list_angles(s, position, angle, of);
    if (n < 2) return true;
    /* About the first, so that half a turn is no jump. */
    for (int i = 0; i < n; i++) sorted[i] = angle[0] + tr_wrap_rad(angle[i] - angle[0]);
    qsort(sorted, (size_t)n, sizeof *sorted, compare);
    double usual = n % 2 ? sorted[n / 2] : (sorted[n / 2 - 1] + sorted[n / 2]) / 2;
    for (int i = 0; i < n; i++) {
        double apart = fabs(tr_wrap_rad(angle[i] - usual));
        if (apart < APART_RAD + APART_PART * fabs(usual)) continue;
        if (!tr_note(HUB_TURNED_ALONE, findings, err, id_of(s, of[i]), angle[i] * TR_DEG_PER_RAD,
                     usual * TR_DEG_PER_RAD)) {
            return false;
        }
    }
    return true;
}

/* A wheel whose positions lie too close together, or that was seen in one alone. */
static bool note_little(const tr_solved *s, int rolled, tr_findings *findings, tr_error *err) {
    const tr_reference *r = &s->job->references[s->reference[rolled]];
    double chord = 0;
    double best = 0;
    if (s->job->sheets[r->sheet].support != TR_ON_WHEEL) return true;
    for (int p = 0; p < s->job->n_positions - 1; p++) {
        if (!s->adj->sheet_placed[tr_solved_sheet(s, p, r->sheet)]) continue;
        double angle = tr_roll_angle(s->roll, rolled, p);
        if (2 * fabs(sin(angle / 2)) > chord) best = angle;
        chord = fmax(chord, 2 * fabs(sin(angle / 2)));
    }
    return chord > LEAST_CHORD || tr_note(ROLLED_TOO_LITTLE, findings, err,
                                          s->job->sheets[r->sheet].id, fabs(best) * TR_DEG_PER_RAD);
}

/* With two positions how a sheet hangs and its wheel's axis take up whatever tilt it has in either,
   so that a tilt in between shows in how askew it seems to hang alone. */
static bool note_askew(const tr_solved *s, int rolled, tr_findings *findings, tr_error *err) {
    tr_wheel wheel = {.has_runout = false};
    if (s->job->n_positions > 2) return true;
    if (s->job->sheets[s->job->references[s->reference[rolled]].sheet].support == TR_ON_WHEEL)
        wheel = tr_roll_wheel(s->roll, rolled, NULL);
    double stated = s->job->hub_tilt_sd_rad;
    return !wheel.has_runout || wheel.runout_rad <= ASKEW_SIGMAS * stated ||
           tr_note(HUB_HANGS_ASKEW, findings, err, id_of(s, rolled),
                   wheel.runout_rad * TR_DEG_PER_RAD, stated * TR_DEG_PER_RAD);
}

static bool has_body_sheet(const tr_solved *s) {
    for (int k = 0; k < s->n_rolled; k++) {
        int sheet = s->job->references[s->reference[k]].sheet;
        if (s->job->sheets[sheet].support == TR_ON_VEHICLE &&
            s->adj->sheet_placed[tr_solved_sheet(s, 0, sheet)]) {
            return true;
        }
    }
    return false;
}

static bool note_all(const tr_solved *s, tr_findings *findings, tr_error *err) {
    bool ok = note_slip(s, findings, err);
    for (int p = 0; p < s->job->n_positions - 1 && ok; p++) {
        ok = note_apart(s, p, findings, err);
    }
    for (int k = 0; k < s->n_rolled && ok; k++) {
        ok = note_little(s, k, findings, err) && note_askew(s, k, findings, err);
    }
    /* A tilt in between shows by 0.7 of it, as much as it turns the axis. */
    double unseen = sqrt(2) * ASKEW_SIGMAS * s->job->hub_tilt_sd_rad;
    if (ok && s->job->n_positions == 2)
        ok = tr_note(SLIP_NOT_SEEN, findings, err, unseen * TR_DEG_PER_RAD);
    if (ok && s->job->n_positions == 2 && !has_body_sheet(s))
        ok = tr_note(TWO_POSITIONS, findings, err);
    return ok;
}

bool tr_solved_make(const tr_job *job, const tr_adjustment *adj, const tr_photo_input *input,
                    tr_solved *out, tr_findings *findings, tr_error *err) {
    *out = (tr_solved){.job = job, .adj = adj, .input = input};
    if (!list_rolled(out, err) || !tr_solved_find_pointed(out, err)) return false;
    if (out->n_rolled == 0) return true;
    out->roll = roll_without(out, -1, err);
    return out->roll && note_all(out, findings, err);
}

void tr_solved_release(tr_solved *s) {
    tr_roll_free(s->roll);
    free(s->reference);
    free(s->rolled);
    free(s->is_pointed);
    *s = (tr_solved){0};
}

double tr_solved_variance_factor(const tr_solved *s) {
    if (!s->roll || tr_roll_degrees_of_freedom(s->roll) < 1) return 1;
    return fmax(1, tr_roll_cost(s->roll) / tr_roll_degrees_of_freedom(s->roll));
}
