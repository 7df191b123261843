#include "diagnose/connectivity.h"

#include <stdlib.h>

#include "diagnose/photo_names.h"

/* A sheet that is seen, but in photos that show nothing else of the rest. */
static bool note_unconnected(const tr_adjust_input *in, int sheet, tr_findings *findings,
                             tr_error *err) {
    bool shows[TR_MAX_PHOTOS] = {false};
    int n = 0;
    for (int i = 0; i < in->n_photos; i++) {
        for (int k = 0; in->photos[i] && k < in->photos[i]->n_views; k++) {
            if (in->photos[i]->views[k].sheet == sheet) shows[i] = true;
        }
        n += shows[i];
    }
    if (n == 0) return true; /* not seen at all: told elsewhere */
    char *names = tr_photo_names(in, shows, err);
    bool ok = names && tr_note(SHEET_NOT_CONNECTED, findings, err, in->sheets[sheet].id, names);
    free(names);
    return ok;
}

bool tr_connectivity_report_unconnected(const tr_adjust_input *in, const tr_adjustment *adj,
                                        tr_findings *findings, tr_error *err) {
    for (int s = 0; s < in->n_sheets; s++) {
        if (!adj->sheet_placed[s] && !note_unconnected(in, s, findings, err)) return false;
    }
    for (int i = 0; i < in->n_photos; i++) {
        if (!in->photos[i] || adj->photo_placed[i] || in->photos[i]->n_views == 0) continue;
        if (!tr_note(PHOTO_NOT_CONNECTED, findings, err, in->photo_names[i])) return false;
    }
    return true;
}

/* Scratch of the search for cut vertices: of every observation, photo, and photo and sheet. */
typedef struct {
    bool *is_used, *shows, *shows_others;
    int *component;
} scratch;

/* Whether the sheet is a cut vertex: it alone connects photos that show other sheets, too. in_part:
   the photos, whether they show it or not, that are connected with the first of them without it. */
static bool is_cut_vertex(tr_network *net, int sheet, scratch *t, bool *in_part) {
    int first = -1;
    bool is_cut = false;
    for (int i = 0; i < net->n_photos; i++) t->shows[i] = t->shows_others[i] = false;
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        t->is_used[i] = o->is_used;
        if (!o->is_used) continue;
        bool *shows = o->sheet == sheet ? t->shows : t->shows_others;
        shows[o->photo] = true;
        o->is_used = o->sheet != sheet;
    }
    tr_network_components(net, t->component);
    for (int i = 0; i < net->n_observations; i++) net->observations[i].is_used = t->is_used[i];
    for (int i = 0; i < net->n_photos; i++) {
        if (!t->shows[i] || !t->shows_others[i]) continue;
        if (first < 0) first = i;
        is_cut = is_cut || t->component[i] != t->component[first];
    }
    for (int i = 0; i < net->n_photos; i++) {
        in_part[i] = is_cut && t->shows_others[i] && t->component[i] == t->component[first];
    }
    return is_cut;
}

bool tr_connectivity_report_cut_vertices(const tr_adjust_input *in, tr_adjustment *adj,
                                         tr_findings *findings, tr_error *err) {
    tr_network *net = &adj->net;
    bool ok = false;
    bool in_part[TR_MAX_PHOTOS];
    size_t n_photos = (size_t)net->n_photos;
    scratch t = {.is_used = calloc((size_t)net->n_observations + 1, sizeof *t.is_used),
                 .shows = calloc(n_photos + 1, sizeof *t.shows),
                 .shows_others = calloc(n_photos + 1, sizeof *t.shows_others),
                 .component = calloc(n_photos + (size_t)net->n_sheets + 1, sizeof *t.component)};
    if (!t.is_used || !t.shows || !t.shows_others || !t.component) {
        tr_fail_memory(err);
        goto out;
    }
    for (int s = 0; s < in->n_sheets; s++) {
        if (!adj->sheet_placed[s] || !is_cut_vertex(net, s, &t, in_part)) continue;
        char *names = tr_photo_names(in, in_part, err);
        bool is_noted = names && tr_note(ONLY_TIE, findings, err, in->sheets[s].id, names);
        free(names);
        if (!is_noted) goto out;
    }
    ok = true;
out:
    free(t.is_used);
    free(t.shows);
    free(t.shows_others);
    free(t.component);
    return ok;
}
