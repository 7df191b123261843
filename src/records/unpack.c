#include "records/unpack.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "records/load.h"

/* ---- names ---- */

/* The next part of a path; false at the end. Parts that say nothing ("", ".") are passed over. */
static bool next_part(const char **at, const char **part, size_t *n) {
    for (;;) {
        *at += strspn(*at, "/");
        *part = *at;
        *n = strcspn(*at, "/");
        if (*n == 0) return false;
        *at += *n;
        if (*n != 1 || **part != '.') return true;
    }
}

static bool is_upwards(const char *part, size_t n) {
    return n == 2 && strncmp(part, "..", 2) == 0;
}

/* How many folders above its beginning the name leads. */
static int levels_above(const char *name) {
    int level = 0;
    int lowest = 0;
    const char *part;
    size_t n;
    while (next_part(&name, &part, &n)) {
        level += is_upwards(part, n) ? -1 : 1;
        if (level < lowest) lowest = level;
    }
    return -lowest;
}

static void cut_last(char *path, size_t keep) {
    size_t n = strlen(path);
    while (n > keep && path[n - 1] != '/') n--;
    if (n > keep) n--;
    path[n] = 0;
}

/* Appends the name to path, part by part, never leading out of its first `keep` bytes. */
static bool append_name(char *path, size_t size, size_t keep, const char *name) {
    const char *part;
    size_t n;
    while (next_part(&name, &part, &n)) {
        size_t used = strlen(path);
        if (is_upwards(part, n)) {
            cut_last(path, keep);
        } else if (used + n + 2 > size) {
            return false;
        } else {
            path[used] = '/';
            memcpy(path + used + 1, part, n);
            path[used + 1 + n] = 0;
        }
    }
    return true;
}

/* ---- folders ---- */

static bool fail_folder(const char *path, tr_error *err) {
    char text[128] = "unknown error";
    (void)strerror_r(errno, text, sizeof text);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "cannot be made (%s); give a folder that can be written to", text);
}

static bool is_empty(const char *folder) {
    DIR *dir = opendir(folder);
    int n = 0;
    if (!dir) return false;
    for (const struct dirent *entry; (entry = readdir(dir)) != NULL;)
        n += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
    closedir(dir);
    return n == 0;
}

static bool make_empty(const char *folder, tr_error *err) {
    if (mkdir(folder, 0777) == 0 || (errno == EEXIST && is_empty(folder))) return true;
    if (errno != EEXIST) return fail_folder(folder, err);
    return tr_fail_at(err, TR_BAD_INPUT, folder, 0, NULL,
                      "is there already, and is no empty folder; give another name");
}

/* All folders of the path behind its first `from` bytes. */
static bool make_above(char *path, size_t from, tr_error *err) {
    for (char *slash = strchr(path + from + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
        *slash = 0;
        bool ok = mkdir(path, 0777) == 0 || errno == EEXIST || fail_folder(path, err);
        *slash = '/';
        if (!ok) return false;
    }
    return true;
}

/* ---- files ---- */

typedef struct {
    tr_store *store;
    const char *folder, *begin;
} unpacking;

static bool write_file(const unpacking *u, const tr_record_file *file, bool is_output,
                       tr_error *err) {
    char path[8192];
    uint8_t *data = NULL;
    size_t size = 0;
    const char *below = is_output ? "/results" : file->name[0] == '/' ? "/root" : "";
    size_t n_folder = strlen(u->folder);
    snprintf(path, sizeof path, "%s%s", u->folder, below);
    size_t keep = strlen(path);
    bool fits = n_folder < 4096 && (*below || append_name(path, sizeof path, keep, u->begin)) &&
                append_name(path, sizeof path, keep, file->name);
    if (!fits || strlen(path) <= keep) {
        return tr_fail_at(err, TR_BAD_INPUT, file->name, 0, NULL, "is no name of a file");
    }
    bool ok = make_above(path, n_folder, err) &&
              tr_store_get(u->store, file->sha256, &data, &size, err) &&
              tr_file_write(path, data, size, err);
    free(data);
    return ok;
}

bool tr_record_unpack(tr_store *store, const tr_record *record, const char *folder,
                      char begin[TR_UNPACK_SIZE], int *n, tr_error *err) {
    enum { MOST_LEVELS = 100 };
    int levels = 0;
    *n = 0;
    begin[0] = 0;
    for (int i = 0; i < record->n_files; i++) {
        const tr_record_file *file = &record->files[i];
        bool counts = file->name[0] != '/' && !tr_record_is_output(record, file);
        int above = counts ? levels_above(file->name) : 0;
        if (above > levels) levels = above;
    }
    size_t used = 0;
    for (int i = 0; i < levels && i < MOST_LEVELS; i++)
        used += (size_t)snprintf(begin + used, TR_UNPACK_SIZE - used, i == 0 ? "in" : "/in");
    const unpacking u = {store, folder, begin};
    bool ok = make_empty(folder, err);
    for (int i = 0; i < record->n_files && ok; i++) {
        ok = write_file(&u, &record->files[i], tr_record_is_output(record, &record->files[i]), err);
        *n += ok;
    }
    return ok;
}
