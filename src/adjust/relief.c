#include "adjust/relief.h"

#include <stdlib.h>

#include "base/array.h"

static const int RELIEF[] = {TR_OFFSET_Z, TR_OFFSET_SLOPE_X, TR_OFFSET_SLOPE_Y, TR_OFFSET_TWIST};
enum { N_RELIEF = sizeof RELIEF / sizeof *RELIEF };

/* Priors of these. */
static const double USUAL[N_RELIEF] = {TR_RELIEF_HEIGHT_SD_MM, TR_RELIEF_SLOPE_SD,
                                       TR_RELIEF_SLOPE_SD, TR_RELIEF_TWIST_SD};
static const double WIDE[N_RELIEF] = {TR_RELIEF_WIDE_HEIGHT_SD_MM, TR_RELIEF_WIDE_SLOPE_SD,
                                      TR_RELIEF_WIDE_SLOPE_SD, TR_RELIEF_WIDE_TWIST_SD};

/* A corner or a disc's centre is a point, and has a height alone. */
static void set_priors(bool is_tag, const double *sd, tr_net_offset *offset) {
    for (int k = 0; k < N_RELIEF; k++) offset->sd[RELIEF[k]] = is_tag || k == 0 ? sd[k] : 0;
}

/* Numbers of the first mark of each sheet, when all marks of all sheets are counted through. */
static int *count_marks(const tr_adjust_input *in, int *n) {
    int *first = tr_array(in->n_sheets, sizeof *first);
    *n = 0;
    for (int i = 0; i < in->n_sheets && first; i++) {
        first[i] = *n;
        *n += tr_sheet_n_marks(&in->sheets[i]);
    }
    return first;
}

static tr_net_offset offset_of(const tr_sheet *sheet, int mark) {
    int corner = mark - sheet->n_tags;
    if (corner >= sheet->n_corners) {
        return (tr_net_offset){.centre_mm = sheet->discs[corner - sheet->n_corners].centre_mm};
    }
    if (corner >= 0) return (tr_net_offset){.centre_mm = sheet->corners_mm[corner]};
    const tr_tag *tag = &sheet->tags[mark];
    return (tr_net_offset){.centre_mm = tag->centre_mm, .axis_rad = tag->turn_rad};
}

/* Paper that is not glued to something stiff. */
static bool is_loose(const tr_sheet *sheet) {
    return sheet->kind == TR_SHEET_MAT;
}

bool tr_relief_set_up(const tr_adjust_input *in, tr_adjustment *out, tr_error *err) {
    tr_network *net = &out->net;
    bool ok = false;
    int n = 0;
    int *first = count_marks(in, &n);
    int *offset_of_mark = tr_array(n, sizeof *offset_of_mark); /* -1: not yet seen */
    net->offsets = tr_array(n, sizeof *net->offsets);
    if (!first || !offset_of_mark || !net->offsets) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < n; i++) offset_of_mark[i] = -1;
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        const tr_sheet *sheet = &in->sheets[o->sheet];
        int *at = &offset_of_mark[first[o->sheet] + o->mark];
        if (*at < 0) {
            *at = net->n_offsets++;
            tr_net_offset *offset = &net->offsets[*at];
            *offset = offset_of(sheet, o->mark);
            if (is_loose(sheet) && out->sheet_placed[o->sheet]) {
                set_priors(o->kind == TR_NET_TAG, USUAL, offset);
            }
        }
        o->offset = *at;
    }
    tr_relief_hold(net, false);
    ok = true;
out:
    free(first);
    free(offset_of_mark);
    return ok;
}

void tr_relief_hold(tr_network *net, bool is_held) {
    for (int i = 0; i < net->n_offsets; i++) {
        tr_net_offset *o = &net->offsets[i];
        for (int k = 0; k < N_RELIEF; k++) {
            o->is_free[RELIEF[k]] = !is_held && o->sd[RELIEF[k]] > 0;
        }
    }
}

void tr_relief_free(tr_network *net) {
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used || o->offset < 0) continue;
        set_priors(o->kind == TR_NET_TAG, WIDE, &net->offsets[o->offset]);
    }
    tr_relief_hold(net, false);
}
