#include "sheet/folder.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/listing.h"
#include "base/yaml.h"

/* A sheet file is told by its name, or its tags. */
static bool is_sheet_file(const char *path, bool *is, tr_error *err) {
    tr_yaml y = tr_yaml_open(path);
    *is = tr_yaml_has(tr_yaml_at(y, "sheet")) || tr_yaml_has(tr_yaml_at(y, "tags"));
    return tr_yaml_close(y, err);
}

static bool read_file(const char *folder, const char *name, tr_sheet_folder *f, tr_error *err) {
    size_t size = strlen(folder) + strlen(name) + 2;
    char *path = malloc(size);
    bool is_sheet = false;
    if (!path) return tr_fail_memory(err);
    size_t n = strlen(folder);
    snprintf(path, size, "%s%s%s", folder, n == 0 || folder[n - 1] == '/' ? "" : "/", name);
    bool ok = is_sheet_file(path, &is_sheet, err);
    if (ok && is_sheet) {
        ok = tr_sheet_read_any(path, &f->sheets[f->n], err);
        f->n += ok;
    }
    free(path);
    return ok;
}

bool tr_sheet_folder_read(const char *folder, tr_sheet_folder *out, tr_error *err) {
    char **files;
    *out = (tr_sheet_folder){0};
    int n = tr_listing(folder, tr_name_is_yaml, &files);
    if (n < 0) {
        if (errno == ENOMEM) return tr_fail_memory(err);
        return tr_fail_at(err, TR_NO_FILE, folder, 0, NULL,
                          "is not a folder that can be read; name the folder of the shop's sheet "
                          "files, or make it first");
    }
    out->sheets = calloc((size_t)n + 1, sizeof *out->sheets);
    bool ok = out->sheets || tr_fail_memory(err);
    for (int i = 0; i < n && ok; i++) ok = read_file(folder, files[i], out, err);
    tr_listing_release(files, n);
    if (!ok) tr_sheet_folder_release(out);
    return ok;
}

void tr_sheet_folder_release(tr_sheet_folder *f) {
    for (int i = 0; i < f->n; i++) tr_sheet_release(&f->sheets[i]);
    free(f->sheets);
    *f = (tr_sheet_folder){0};
}

const tr_sheet *tr_sheet_folder_owner(const tr_sheet_folder *f, const char *family, int id) {
    for (int i = 0; i < f->n; i++) {
        if (tr_sheet_has_tag(&f->sheets[i], family, id)) return &f->sheets[i];
    }
    return NULL;
}

const tr_sheet *tr_sheet_folder_sheet(const tr_sheet_folder *f, const char *sheet_id) {
    for (int i = 0; i < f->n; i++) {
        if (strcmp(f->sheets[i].id, sheet_id) == 0) return &f->sheets[i];
    }
    return NULL;
}
