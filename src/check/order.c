#include "check/order.h"

#include <stdlib.h>
#include <string.h>

static bool comes_before(const tr_check_photo *a, const tr_check_photo *b) {
    int by_name = strcmp(a->file, b->file);
    return by_name != 0 ? by_name < 0 : strcmp(a->sha256, b->sha256) < 0;
}

bool tr_check_sort(tr_check *check, tr_error *err) {
    if (check->order) return true;
    check->order = malloc(((size_t)check->n_photos + 1) * sizeof *check->order);
    if (!check->order) return tr_fail_memory(err);
    /* Insertion keeps equal photos in the order given; there are at most a thousand. */
    for (int i = 0; i < check->n_photos; i++) {
        int k = i;
        while (k > 0 && comes_before(&check->photos[i], &check->photos[check->order[k - 1]])) {
            check->order[k] = check->order[k - 1];
            k--;
        }
        check->order[k] = i;
    }
    return true;
}

tr_adjust_input tr_check_input(const tr_check *check, const tr_photo_marks **marks,
                               const char **names) {
    for (int i = 0; i < check->n_photos; i++) {
        const tr_check_photo *p = &check->photos[check->order[i]];
        marks[i] = p->is_readable ? &p->marks : NULL;
        names[i] = p->file;
    }
    return (tr_adjust_input){.lens = &check->job->lens,
                             .sheets = check->job->sheets,
                             .n_sheets = check->job->n_sheets,
                             .photos = marks,
                             .photo_names = names,
                             .n_photos = check->n_photos};
}
