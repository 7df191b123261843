#include "adjust/floor_prior.h"

/* Below this r^2 a departure is chance: chi-squared with 3 degrees of freedom is above it once in
   34. */
static const double EVEN = 9;
/* Repeated until no standard deviation grows by more than this part, and so often at most. */
static const double SMALL_CHANGE = 0.1;
enum { MAX_PASSES = 8 };

/* By what the standard deviations of a sheet's prior are to be multiplied. */
static double widening(const tr_net_sheet *sheet) {
    tr_vec3 normal = tr_m3_column(sheet->world_from_sheet.R, 2);
    double z = sheet->world_from_sheet.t_mm.z / TR_ADJUST_FLOOR_Z_SD_MM;
    double tilt = hypot(normal.x, normal.y) / TR_ADJUST_FLOOR_TILT_SD_RAD;
    double square = z * z + tilt * tilt;
    return square > EVEN ? sqrt((1 + square) / (1 + EVEN)) : 1;
}

/* True where a prior changed by more than a little. */
static bool widen(const tr_adjust_input *in, tr_adjustment *adj) {
    bool has_changed = false;
    for (int i = 0; i < in->n_sheets; i++) {
        tr_net_sheet *sheet = &adj->net.sheets[i];
        if (!adj->sheet_placed[i] || !(sheet->floor_z_sd_mm > 0)) continue;
        double by = widening(sheet);
        double before = sheet->floor_z_sd_mm / TR_ADJUST_FLOOR_Z_SD_MM;
        if (fabs(by - before) <= SMALL_CHANGE * before) continue;
        sheet->floor_z_sd_mm = by * TR_ADJUST_FLOOR_Z_SD_MM;
        sheet->floor_tilt_sd_rad = by * TR_ADJUST_FLOOR_TILT_SD_RAD;
        has_changed = true;
    }
    return has_changed;
}

bool tr_floor_prior_fit(const tr_adjust_input *in, tr_adjustment *adj, tr_error *err) {
    for (int pass = 0; pass < MAX_PASSES; pass++) {
        bool fits = adj->result.variance_factor <= TR_SUSPECT_VARIANCE;
        if (!fits || !widen(in, adj)) break;
        if (!tr_adjust_solve(adj, err)) return false;
    }
    return true;
}
