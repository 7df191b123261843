#include "store/folder.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "store/record.h"

#define MARKER "trammel-store"

/* folder/a or folder/a/b; owned by the caller; NULL: memory ran out. */
static char *join(const char *folder, const char *a, const char *b, tr_error *err) {
    size_t size = strlen(folder) + strlen(a) + (b ? strlen(b) : 0) + 3;
    char *path = malloc(size);
    if (path) {
        snprintf(path, size, "%s/%s%s%s", folder, a, b ? "/" : "", b ? b : "");
    } else {
        tr_fail_memory(err);
    }
    return path;
}

static char *path_of(const char *folder, const char *sha256, bool only_folder, tr_error *err) {
    char begin[3] = {sha256[0], sha256[1], 0};
    return join(folder, begin, only_folder ? NULL : sha256 + 2, err);
}

static bool fail_folder(const char *path, int error, tr_error *err) {
    char text[128] = "unknown error";
    (void)strerror_r(error, text, sizeof text);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "the folder for the store's files cannot be made (%s); make it, or see that "
                      "this user may write there",
                      text);
}

/* The entries of a folder, to the disk. A file system that cannot do so (EINVAL) is no reason to
   fail. */
static bool flush_folder(const char *path, tr_error *err) {
    int fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0) return fail_folder(path, errno, err);
    bool ok = fsync(fd) == 0 || errno == EINVAL || fail_folder(path, errno, err);
    close(fd);
    return ok;
}

static bool make_folder(const char *path, tr_error *err) {
    if (mkdir(path, 0777) != 0 && errno != EEXIST) return fail_folder(path, errno, err);
    char *above = join(path, "..", NULL, err);
    bool ok = above && flush_folder(above, err);
    free(above);
    return ok;
}

static bool check_marker(const char *folder, const char *marker, const char *id, tr_error *err) {
    uint8_t *text;
    size_t size;
    if (!tr_file_read_disk(marker, 1000, &text, &size, err)) return false;
    bool ok = size >= TR_ID_LENGTH && memcmp(text, id, TR_ID_LENGTH) == 0;
    free(text);
    return ok || tr_fail_at(err, TR_BAD_INPUT, folder, 0, NULL,
                            "holds the files of another store; put the folder of this one there");
}

bool tr_folder_open(const char *folder, const char *id, bool make, tr_error *err) {
    struct stat about;
    char line[TR_RECORD_ID_SIZE + 1];
    char *marker = join(folder, MARKER, NULL, err);
    bool ok = marker != NULL;
    bool is_there = ok && (stat(marker, &about) == 0 || errno != ENOENT);
    if (is_there) {
        ok = check_marker(folder, marker, id, err);
    } else if (ok && make) {
        snprintf(line, sizeof line, "%s\n", id);
        ok = make_folder(folder, err) && tr_file_write(marker, line, strlen(line), err);
    } else if (ok) {
        ok = tr_fail_at(err, TR_NO_FILE, folder, 0, NULL,
                        "is not there or does not hold the store's files; see that its disk is "
                        "mounted, or put them back there");
    }
    free(marker);
    return ok;
}

/* There is nothing of that name, or something that was never kept (a folder). What may not be
   looked at may be there. */
static bool is_no_file(const char *path) {
    struct stat about;
    if (stat(path, &about) != 0) return errno == ENOENT || errno == ENOTDIR;
    return !S_ISREG(about.st_mode);
}

bool tr_folder_get(const char *folder, const char *sha256, uint8_t **data, size_t *size,
                   tr_error *err) {
    tr_error why = {0};
    *data = NULL;
    *size = 0;
    char *path = path_of(folder, sha256, false, &why);
    bool ok = path && (tr_file_read_disk(path, TR_STORE_MAX_FILE, data, size, &why) ||
                       (why.code == TR_NO_FILE && is_no_file(path)));
    free(path);
    if (!ok && err && err->code == TR_OK) *err = why;
    return ok;
}

/* The file is there with the content that its name says. One that cannot be read is not, unless
   memory ran out. */
static bool is_whole(const char *folder, const char *sha256, bool *has_no_memory) {
    uint8_t *data;
    size_t size;
    char hash[TR_HASH_SIZE];
    tr_error why = {0};
    bool is_read = tr_folder_get(folder, sha256, &data, &size, &why);
    *has_no_memory = why.code == TR_NO_MEMORY;
    if (!is_read || !data) return false;
    tr_sha256_hex(data, size, hash);
    free(data);
    return strcmp(hash, sha256) == 0;
}

bool tr_folder_put(const char *folder, const char *sha256, const void *data, size_t size,
                   tr_error *err) {
    char *within = path_of(folder, sha256, true, err);
    char *path = within ? path_of(folder, sha256, false, err) : NULL;
    bool has_no_memory = false;
    bool ok = path != NULL;
    if (ok && !is_whole(folder, sha256, &has_no_memory)) {
        ok = has_no_memory ? tr_fail_memory(err)
                           : make_folder(within, err) && tr_file_write(path, data, size, err);
    }
    /* Also where another program has just put it there. */
    ok = ok && flush_folder(within, err);
    free(path);
    free(within);
    return ok;
}