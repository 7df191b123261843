#include "diagnose/photo_names.h"

#include <stdlib.h>

#include "base/wrap.h"

char *tr_photo_names(const tr_adjust_input *in, const bool *is_listed, tr_error *err) {
    char *names = calloc(1, 1);
    if (!names) tr_fail_memory(err);
    for (int i = 0; names && i < in->n_photos; i++) {
        char name[60]; /* several fit into a sentence, and leave room for what to do */
        if (!is_listed[i]) continue;
        tr_text_fit(in->photo_names[i], sizeof name, name, sizeof name);
        if (tr_items_add(&names, name, err)) continue;
        free(names);
        names = NULL;
    }
    return names;
}
