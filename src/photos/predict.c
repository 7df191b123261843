#include "photos/predict.h"

#include <stdlib.h>
#include <string.h>

/* All sheets that have a place, in all photos that have one. */
static void fill(const tr_photo_set *set, const tr_photo_input *input, const tr_adjustment *adj,
                 tr_predictions *out) {
    int n_sheets = set->request.n_sheets;
    int n = 0;
    for (int i = 0; i < set->n_photos; i++) {
        int at = 0; /* photo i in the network's order */
        while (set->order[at] != i) at++;
        out->first[i] = n;
        out->lenses[i] = tr_network_photo_lens(&adj->net, at);
        out->camera_from_floor[i] = tr_network_camera_from_world(&adj->net, at);
        for (int k = 0; k < n_sheets && adj->photo_placed[at]; k++) {
            int sheet =
                tr_photo_input_sheet(input, &set->request, set->photos[i].position, k);
            if (!adj->sheet_placed[sheet]) continue;
            tr_pose camera_from_world = tr_network_camera_from_world(&adj->net, at);
            out->items[n++] = (tr_sheet_prediction){
                .sheet = k,
                .camera_from_sheet =
                    tr_pose_mul(camera_from_world, adj->net.sheets[sheet].world_from_sheet)};
        }
    }
    out->first[set->n_photos] = n;
}

bool tr_photo_set_predict(const tr_photo_set *set, tr_predictions *out, tr_error *err) {
    size_t n_photos = (size_t)set->n_photos;
    size_t n_sheets = (size_t)set->request.n_sheets;
    tr_photo_input input;
    tr_adjustment adj;
    tr_error why = {0};
    *out =
        (tr_predictions){.items = calloc(n_photos * n_sheets + 1, sizeof *out->items),
                         .first = calloc(n_photos + 1, sizeof *out->first),
                         .lenses = calloc(n_photos + 1, sizeof *out->lenses),
                         .camera_from_floor = calloc(n_photos + 1, sizeof *out->camera_from_floor)};
    bool ok = tr_photo_set_input(set, &input, err) &&
              ((out->items && out->first && out->lenses && out->camera_from_floor) ||
               tr_fail_memory(err));
    if (ok && tr_adjust_roughly(&input.in, &adj, &why)) {
        fill(set, &input, &adj, out);
        tr_adjustment_release(&adj);
    } else if (ok && why.code == TR_NO_MEMORY) {
        ok = tr_fail_memory(err);
    }
    if (!ok) tr_predictions_release(out);
    tr_photo_input_release(&input);
    return ok;
}

void tr_predictions_release(tr_predictions *p) {
    free(p->items);
    free(p->first);
    free(p->lenses);
    free(p->camera_from_floor);
    memset(p, 0, sizeof *p);
}
