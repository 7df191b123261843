#include "adjust/relief.h"

#include <stdlib.h>

#include "base/array.h"

static const int RELIEF[] = {TR_OFFSET_Z, TR_OFFSET_SLOPE_X, TR_OFFSET_SLOPE_Y};
enum { N_RELIEF = sizeof RELIEF / sizeof *RELIEF };

/* Numbers of the first mark of each sheet, when all marks of all sheets are counted through. */
static int *count_marks(const tr_adjust_input *in, int *n) {
    int *first = tr_array(in->n_sheets, sizeof *first);
    *n = 0;
    for (int i = 0; i < in->n_sheets && first; i++) {
        first[i] = *n;
        *n += in->sheets[i].n_tags + in->sheets[i].n_corners;
    }
    return first;
}

static tr_net_offset offset_of(const tr_sheet *sheet, int mark) {
    if (mark >= sheet->n_tags) {
        return (tr_net_offset){.centre_mm = sheet->corners_mm[mark - sheet->n_tags]};
    }
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
    int *number = tr_array(n, sizeof *number); /* of each mark's offset, from 1; 0: not yet seen */
    net->offsets = tr_array(n, sizeof *net->offsets);
    if (!first || !number || !net->offsets) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        const tr_sheet *sheet = &in->sheets[o->sheet];
        int *at = &number[first[o->sheet] + o->mark];
        if (*at == 0) {
            tr_net_offset *offset = &net->offsets[net->n_offsets++];
            *offset = offset_of(sheet, o->mark);
            *at = net->n_offsets;
            if (is_loose(sheet) && out->sheet_placed[o->sheet]) {
                offset->sd[TR_OFFSET_Z] = TR_RELIEF_HEIGHT_SD_MM;
                bool is_tag = o->mark < sheet->n_tags;
                offset->sd[TR_OFFSET_SLOPE_X] = is_tag ? TR_RELIEF_SLOPE_SD : 0;
                offset->sd[TR_OFFSET_SLOPE_Y] = is_tag ? TR_RELIEF_SLOPE_SD : 0;
            }
        }
        o->offset = *at;
    }
    tr_relief_hold(net, false);
    ok = true;
out:
    free(first);
    free(number);
    return ok;
}

/* Only what some photo sees: what none does has its prior and no more. */
void tr_relief_hold(tr_network *net, bool is_held) {
    for (int i = 0; i < net->n_offsets; i++) {
        tr_net_offset *o = &net->offsets[i];
        for (int k = 0; k < N_RELIEF; k++) {
            o->is_free[RELIEF[k]] = !is_held && o->sd[RELIEF[k]] > 0;
        }
    }
}

void tr_relief_free(tr_network *net, double height_sd_mm, double slope_sd) {
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used || o->offset == 0) continue;
        tr_net_offset *offset = &net->offsets[o->offset - 1];
        offset->sd[TR_OFFSET_Z] = height_sd_mm;
        offset->sd[TR_OFFSET_SLOPE_X] = o->n_points > 1 ? slope_sd : 0;
        offset->sd[TR_OFFSET_SLOPE_Y] = o->n_points > 1 ? slope_sd : 0;
    }
    tr_relief_hold(net, false);
}
