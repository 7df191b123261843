#include "diagnose/unsteady.h"

#include "adjust/camera.h"
#include "adjust/scatter.h"

/* More than any hand should bring, in parts of what an unknown camera is taken for. */
static const double MUCH_PART = 2;

/* now, then: standard deviations, of this job and of the calibration. */
static bool note_larger(const tr_lens *lens, int component, double now, double then,
                        tr_findings *findings, tr_error *err) {
    switch (component) {
    case TR_SCATTER_SHIFT: return tr_note(CAMERA_SHIFTS_MORE, findings, err, lens->id, now, then);
    case TR_SCATTER_FOCAL:
        return tr_note(CAMERA_FOCUSES_MORE, findings, err, lens->id, 100 * now, 100 * then);
    case TR_SCATTER_TURN:
        return tr_note(CAMERA_TURNS_MORE, findings, err, lens->id, now * TR_DEG_PER_RAD,
                       then * TR_DEG_PER_RAD);
    default: return tr_note(CAMERA_TRAVELS_MORE, findings, err, lens->id, now, then);
    }
}

bool tr_unsteady_report(const tr_adjust_input *in, const tr_adjustment *adj, tr_findings *findings,
                        tr_error *err) {
    for (int i = 0; i < in->n_lenses; i++) {
        const tr_lens_scatter *known = &in->lenses[i].scatter;
        for (int k = 0; k < TR_SCATTER_N; k++) {
            double sd = adj->scatter[i].sd[k];
            /* A hand is another every day; what it does is told where it is more than any should.
             */
            bool is_hand = k == TR_SCATTER_TURN || k == TR_SCATTER_TRAVEL;
            double least = is_hand ? MUCH_PART * tr_lens_scatter_sd(&in->lenses[i], k) : 0;
            if (!(adj->scatter[i].dof[k] >= TR_SCATTER_LEAST_DOF) || !(known->dof[k] > 0) ||
                sd < least ||
                !tr_scatter_is_larger(sd, adj->scatter[i].dof[k], known->sd[k], known->dof[k])) {
                continue;
            }
            if (!note_larger(&in->lenses[i], k, sd, known->sd[k], findings, err)) return false;
        }
    }
    return true;
}
