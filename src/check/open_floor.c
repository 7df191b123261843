#include "check/open_floor.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "geom/dense.h"

/* What is left of the prior's weight, so that the world has a height and a level: its standard
   deviations become 30 mm and 3 degrees, and no floor that a vehicle is measured on is worse. */
static const double REST = 0.01;

enum { N_OF_SHEET = 3 };

static bool has_prior(const tr_adjustment *adj, int sheet) {
    return adj->sheet_placed[sheet] && adj->net.sheets[sheet].floor_z_sd_mm > 0;
}

static bool allocate(const tr_adjustment *adj, tr_open_floor *out, tr_error *err) {
    int n = 0;
    for (int i = 0; i < adj->net.n_sheets; i++) n += has_prior(adj, i) ? N_OF_SHEET : 0;
    *out = (tr_open_floor){.adj = adj, .n_poses = TR_POSE_N * adj->net.n_sheets, .n = n};
    out->at = tr_array(n, sizeof *out->at);
    out->K = tr_table(n, n, sizeof *out->K);
    out->shift = tr_array(out->n_poses, sizeof *out->shift);
    out->row = tr_array(out->n_poses, sizeof *out->row);
    out->y = tr_array(n, sizeof *out->y);
    out->z = tr_array(n, sizeof *out->z);
    if (out->at && out->K && out->shift && out->row && out->y && out->z) return true;
    return tr_fail_memory(err);
}

/* The components that the prior holds, in y, and 1 / l on K's diagonal. A turn by (rx, ry) takes
   the face's normal (nx, ny) to (nx + ry, ny - rx). */
static void take_prior(tr_open_floor *o) {
    int k = 0;
    for (int i = 0; i < o->adj->net.n_sheets; i++) {
        const tr_net_sheet *s = &o->adj->net.sheets[i];
        if (!has_prior(o->adj, i)) continue;
        tr_vec3 normal = tr_m3_column(s->world_from_sheet.R, 2);
        const int component[N_OF_SHEET] = {TR_SHEET_RX, TR_SHEET_RY, TR_SHEET_TZ};
        const double value[N_OF_SHEET] = {-normal.y, normal.x, s->world_from_sheet.t_mm.z};
        const double sd[N_OF_SHEET] = {s->floor_tilt_sd_rad, s->floor_tilt_sd_rad,
                                       s->floor_z_sd_mm};
        for (int c = 0; c < N_OF_SHEET; c++, k++) {
            o->at[k] = TR_POSE_N * i + component[c];
            o->y[k] = value[c];
            o->K[(long)k * o->n + k] = sd[c] * sd[c] / (1 - REST);
        }
    }
}

bool tr_open_floor_make(const tr_adjustment *adj, tr_open_floor *o, tr_error *err) {
    if (!allocate(adj, o, err)) return false;
    take_prior(o);
    for (int i = 0; i < o->n; i++) {
        for (int k = 0; k < o->n; k++) {
            o->K[(long)i * o->n + k] -= o->adj->inverse[(long)o->at[i] * o->n_poses + o->at[k]];
        }
    }
    /* No variance is above that of the prior alone, so that K is positive definite but for
       rounding. */
    o->is_told = tr_dense_factor(o->K, o->n);
    if (!o->is_told) return true;
    tr_dense_solve_factored(o->K, o->y, o->n);
    for (int i = 0; i < o->n_poses; i++) {
        for (int k = 0; k < o->n; k++) {
            o->shift[i] += o->adj->inverse[(long)i * o->n_poses + o->at[k]] * o->y[k];
        }
    }
    return true;
}

void tr_open_floor_release(tr_open_floor *o) {
    free(o->at);
    free(o->K);
    free(o->shift);
    free(o->row);
    free(o->y);
    free(o->z);
    *o = (tr_open_floor){0};
}

double tr_open_floor_variance(tr_open_floor *o, const double *gradient) {
    const tr_adjustment *adj = o->adj;
    double factor = fmax(1, adj->result.variance_factor);
    double opened = tr_dense_quadratic(gradient, adj->inverse, o->n_poses);
    for (int k = 0; k < o->n; k++) {
        const double *row = adj->inverse + (long)o->at[k] * o->n_poses;
        o->y[k] = 0;
        for (int i = 0; i < o->n_poses; i++) o->y[k] += row[i] * gradient[i];
        o->z[k] = o->y[k];
    }
    tr_dense_solve_factored(o->K, o->z, o->n);
    memcpy(o->row, gradient, (size_t)o->n_poses * sizeof *o->row); /* becomes M' gradient */
    for (int k = 0; k < o->n; k++) {
        opened += o->y[k] * o->z[k];
        o->row[o->at[k]] += o->z[k];
    }
    double more = tr_dense_quadratic(o->row, adj->covariance, o->n_poses) -
                  factor * tr_dense_quadratic(o->row, adj->inverse, o->n_poses);
    return factor * opened + more;
}
