#include "adjust/print_scale.h"

/* The first sheet before this one that is the same print and placed; -1: there is none. */
static int placed_copy(const tr_adjust_input *in, const tr_adjustment *out, int sheet) {
    for (int i = 0; i < sheet; i++) {
        if (out->sheet_placed[i] && tr_adjust_print_of(in, i) == tr_adjust_print_of(in, sheet))
            return i;
    }
    return -1;
}

void tr_print_scale_set_up(const tr_adjust_input *in, tr_adjustment *out) {
    int first_plate = -1; /* none yet */
    for (int i = 0; i < in->n_sheets; i++) {
        tr_net_sheet *sheet = &out->net.sheets[i];
        if (!out->sheet_placed[i] || in->sheets[i].survey.n_rows > 0) continue;
        bool is_plate = in->sheets[i].kind == TR_SHEET_PLATE;
        double sd = !is_plate          ? TR_ADJUST_PRINT_SD
                    : first_plate >= 0 ? sqrt(2) * TR_ADJUST_OWN_PRINT_SD
                                       : hypot(TR_ADJUST_PRINT_SD, TR_ADJUST_OWN_PRINT_SD);
        sheet->shape_about = is_plate ? first_plate : -1;
        int copy = placed_copy(in, out, i);
        if (copy >= 0) {
            sd = TR_ADJUST_SAME_PRINT_SD;
            sheet->shape_about = copy;
        }
        for (int k = 0; k < 2; k++) {
            sheet->is_free[TR_PRINT_SCALE_X + k] = true;
            sheet->shape_sd[k] = sd;
        }
        if (is_plate && first_plate < 0) first_plate = i;
    }
}

void tr_print_scale_untie(tr_network *net, int sheet) {
    for (int i = 0; i < net->n_sheets; i++) {
        tr_net_sheet *s = &net->sheets[i];
        if (s->shape_about != sheet) continue;
        s->shape_about = -1;
        for (int k = 0; k < 2; k++) {
            if (s->shape_sd[k] > 0) s->shape_sd[k] = TR_ADJUST_PRINT_SD;
        }
    }
}
