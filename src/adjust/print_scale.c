#include "adjust/print_scale.h"

/* Of width and of height, each for itself, so that their mean has TR_ADJUST_PRINT_SD. */
static const double SHARED_SD = 1.4142135623730951 * TR_ADJUST_PRINT_SD;

/* The first sheet before this one that is the same print and placed; -1: there is none. */
static int placed_copy(const tr_adjust_input *in, const tr_adjustment *out, int sheet) {
    for (int i = 0; i < sheet; i++) {
        if (out->sheet_placed[i] && tr_adjust_print_of(in, i) == tr_adjust_print_of(in, sheet))
            return i;
    }
    return -1;
}

static bool has_open_scale(const tr_adjust_input *in, const tr_adjustment *out, int sheet) {
    return out->sheet_placed[sheet] && in->sheets[sheet].survey.n_rows == 0;
}

/* The sheet that carries what all share: the first plate, or else the first of all; -1: no scale is
   open. */
static int find_carrier(const tr_adjust_input *in, const tr_adjustment *out) {
    int carrier = -1;
    for (int i = in->n_sheets - 1; i >= 0; i--) {
        if (!has_open_scale(in, out, i)) continue;
        bool is_better = carrier < 0 || in->sheets[i].kind == TR_SHEET_PLATE ||
                         in->sheets[carrier].kind != TR_SHEET_PLATE;
        if (is_better) carrier = i;
    }
    return carrier;
}

static double own_sd(const tr_sheet *sheet) {
    return sheet->kind == TR_SHEET_PLATE ? TR_ADJUST_OWN_PRINT_SD : TR_ADJUST_OTHER_PRINT_SD;
}

void tr_print_scale_set_up(const tr_adjust_input *in, tr_adjustment *out) {
    int carrier = find_carrier(in, out);
    for (int i = 0; i < in->n_sheets; i++) {
        tr_net_sheet *sheet = &out->net.sheets[i];
        if (!has_open_scale(in, out, i)) continue;
        bool is_tied = i != carrier;
        double shared = is_tied ? own_sd(&in->sheets[carrier]) : SHARED_SD;
        double sd = hypot(shared, own_sd(&in->sheets[i]));
        int copy = is_tied ? placed_copy(in, out, i) : -1;
        sheet->shape_about = copy >= 0 ? copy : is_tied ? carrier : -1;
        for (int k = 0; k < 2; k++) {
            sheet->is_free[TR_PRINT_SCALE_X + k] = true;
            sheet->shape_sd[k] = copy >= 0 ? TR_ADJUST_SAME_PRINT_SD : sd;
        }
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
