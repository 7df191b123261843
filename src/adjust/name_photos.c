#include "adjust/name_photos.h"

#include <stdio.h>

#include "base/wrap.h"

void tr_name_photos(const tr_adjust_input *in, const bool *is_listed, char *out, size_t size) {
    int total = 0;
    int named = 0;
    size_t used = 0;
    for (int i = 0; i < in->n_photos; i++) total += is_listed[i];
    int most = total > 4 ? 3 : total;
    out[0] = 0;
    for (int i = 0; i < in->n_photos && named < most; i++) {
        if (!is_listed[i]) continue;
        char name[60]; /* four of them fit into a warning, and leave room for what to do */
        tr_text_fit(in->photo_names[i], sizeof name, name, sizeof name);
        const char *joint = named == 0 ? "" : named + 1 == total ? " and " : ", ";
        int n = snprintf(out + used, size - used, "%s%s", joint, name);
        if (n < 0 || (size_t)n >= size - used) return;
        used += (size_t)n;
        named++;
    }
    if (total > most) snprintf(out + used, size - used, " and %d more", total - most);
}
