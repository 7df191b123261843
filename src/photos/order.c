#include "photos/order.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/wrap.h"

static bool comes_before(const tr_photo_key *a, const tr_photo_key *b) {
    int by_name = strcmp(a->file, b->file);
    return by_name != 0 ? by_name < 0 : strcmp(a->sha256, b->sha256) < 0;
}

int *tr_photo_order(const tr_photo_key *photos, int n) {
    int *order = malloc(((size_t)n + 1) * sizeof *order);
    /* Insertion keeps equal photos in the order given; there are at most a thousand. */
    for (int i = 0; order && i < n; i++) {
        int k = i;
        while (k > 0 && comes_before(&photos[i], &photos[order[k - 1]])) {
            order[k] = order[k - 1];
            k--;
        }
        order[k] = i;
    }
    return order;
}

bool tr_photo_set_sort(tr_photo_set *set, tr_error *err) {
    if (set->order) return true;
    tr_photo_key *keys = calloc((size_t)set->n_photos + 1, sizeof *keys);
    for (int i = 0; keys && i < set->n_photos; i++) {
        keys[i] = (tr_photo_key){set->photos[i].file, set->photos[i].sha256};
    }
    set->order = keys ? tr_photo_order(keys, set->n_photos) : NULL;
    free(keys);
    return set->order || tr_fail_memory(err);
}

/* The path ends with these whole folders and name. */
static bool ends_with(const char *path, const char *end) {
    size_t n_path = strlen(path);
    size_t n_end = strlen(end);
    return n_path >= n_end && strcmp(path + n_path - n_end, end) == 0 &&
           (n_path == n_end || path[n_path - n_end - 1] == '/');
}

static bool is_told_apart(const tr_photo_set *set, const char *file, const char *end) {
    for (int i = 0; i < set->n_photos; i++) {
        const char *other = set->photos[i].file;
        if (ends_with(other, end) && strcmp(other, file) != 0) return false;
    }
    return true;
}

/* The last part of a path with so many folders in front, or all of it. */
static const char *with_folders(const char *path, int n) {
    const char *end = tr_path_name(path);
    for (int k = 0; k < n && end > path; k++) {
        end--;
        while (end > path && end[-1] != '/') end--;
    }
    return end;
}

/* The file's name, with so many folders that no other photo's is like it, but with the least. */
static const char *name_of(const tr_photo_set *set, const char *file, int least) {
    int n = least;
    const char *name = with_folders(file, n);
    while (name > file && !is_told_apart(set, file, name)) name = with_folders(file, ++n);
    return name;
}

void tr_photo_set_name(tr_photo_set *set) {
    int least = 0; /* where one needs a folder all have one: they stand in one table */
    for (int i = 0; i < set->n_photos && least == 0; i++) {
        const char *file = set->photos[i].file;
        if (name_of(set, file, 0) != tr_path_name(file)) least = 1;
    }
    for (int i = 0; i < set->n_photos; i++) {
        tr_photo *p = &set->photos[i];
        const char *name = tr_path_name(p->file);
        const char *end = name_of(set, p->file, least);
        char folders[256], shown_folders[48], shown_name[72];
        snprintf(folders, sizeof folders, "%.*s", (int)(name - end), end);
        tr_text_fit(folders, 24, shown_folders, sizeof shown_folders);
        tr_text_fit(name, 48, shown_name, sizeof shown_name);
        snprintf(p->name, sizeof p->name, "%s%s", shown_folders, shown_name);
    }
}
