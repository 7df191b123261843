#include "check/order.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/wrap.h"

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

/* The path ends with these whole folders and name. */
static bool ends_with(const char *path, const char *end) {
    size_t n_path = strlen(path);
    size_t n_end = strlen(end);
    return n_path >= n_end && strcmp(path + n_path - n_end, end) == 0 &&
           (n_path == n_end || path[n_path - n_end - 1] == '/');
}

static bool is_told_apart(const tr_check *check, const char *file, const char *end) {
    for (int i = 0; i < check->n_photos; i++) {
        const char *other = check->photos[i].file;
        if (ends_with(other, end) && strcmp(other, file) != 0) return false;
    }
    return true;
}

void tr_check_name_photos(tr_check *check) {
    for (int i = 0; i < check->n_photos; i++) {
        tr_check_photo *p = &check->photos[i];
        const char *name = tr_path_name(p->file);
        const char *end = name;
        while (end > p->file && !is_told_apart(check, p->file, end)) {
            end--;
            while (end > p->file && end[-1] != '/') end--;
        }
        char folders[256], shown_folders[48], shown_name[72];
        snprintf(folders, sizeof folders, "%.*s", (int)(name - end), end);
        tr_text_fit(folders, 24, shown_folders, sizeof shown_folders);
        tr_text_fit(name, 48, shown_name, sizeof shown_name);
        snprintf(p->name, sizeof p->name, "%s%s", shown_folders, shown_name);
    }
}

tr_adjust_input tr_check_input(const tr_check *check, const tr_photo_marks **marks,
                               const char **names, int *lens_of) {
    for (int i = 0; i < check->n_photos; i++) {
        const tr_check_photo *p = &check->photos[check->order[i]];
        marks[i] = p->is_readable ? &p->marks : NULL;
        names[i] = p->name;
        lens_of[i] = p->lens;
    }
    return (tr_adjust_input){.lenses = tr_check_profiles(check),
                             .initial_lenses =
                                 check->job->lenses[0].is_unknown ? &check->solved_lens : NULL,
                             .n_lenses = check->job->n_lenses,
                             .lens_of = lens_of,
                             .sheets = check->job->sheets,
                             .n_sheets = check->job->n_sheets,
                             .photos = marks,
                             .photo_names = names,
                             .n_photos = check->n_photos};
}
