#include "check/predict.h"

#include <stdlib.h>
#include <string.h>

#include "check/order.h"

/* All sheets that have a place, in all photos that have one. */
static void fill(const tr_check *check, const tr_adjustment *adj, tr_predictions *out) {
    int n_sheets = check->job->n_sheets;
    int n = 0;
    for (int i = 0; i < check->n_photos; i++) {
        int at = 0; /* photo i in the network's order */
        while (check->order[at] != i) at++;
        out->first[i] = n;
        out->lenses[i] = tr_network_photo_lens(&adj->net, at);
        for (int k = 0; k < n_sheets && adj->photo_placed[at]; k++) {
            if (!adj->sheet_placed[k]) continue;
            tr_pose camera_from_world = adj->net.rigs[at].rig_from_world;
            out->items[n++] =
                (tr_sheet_prediction){.sheet = k,
                                      .camera_from_sheet = tr_pose_mul(
                                          camera_from_world, adj->net.sheets[k].world_from_sheet)};
        }
    }
    out->first[check->n_photos] = n;
}

bool tr_check_predict(const tr_check *check, tr_predictions *out, tr_error *err) {
    size_t n_photos = (size_t)check->n_photos;
    size_t n_sheets = (size_t)check->job->n_sheets;
    const tr_photo_marks **marks = calloc(n_photos + 1, sizeof *marks);
    const char **names = calloc(n_photos + 1, sizeof *names);
    int *lens_of = calloc(n_photos + 1, sizeof *lens_of);
    tr_adjustment adj;
    tr_error why = {0};
    bool ok = false;
    *out = (tr_predictions){.items = calloc(n_photos * n_sheets + 1, sizeof *out->items),
                            .first = calloc(n_photos + 1, sizeof *out->first),
                            .lenses = calloc(n_photos + 1, sizeof *out->lenses)};
    if (!marks || !names || !lens_of || !out->items || !out->first || !out->lenses) goto no_memory;
    tr_adjust_input input = tr_check_input(check, marks, names, lens_of);
    if (tr_adjust_roughly(&input, &adj, &why)) {
        fill(check, &adj, out);
        tr_adjustment_release(&adj);
    } else if (why.code == TR_NO_MEMORY) {
        goto no_memory;
    }
    ok = true;
no_memory:
    if (!ok) {
        tr_predictions_release(out);
        tr_fail_memory(err);
    }
    free(marks);
    free(names);
    free(lens_of);
    return ok;
}

void tr_predictions_release(tr_predictions *p) {
    free(p->items);
    free(p->first);
    free(p->lenses);
    memset(p, 0, sizeof *p);
}
