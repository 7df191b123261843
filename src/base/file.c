#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <nettle/base16.h>
#include <nettle/sha2.h>

/* What the system said, as the rest of a sentence that begins with the file's name. */
static bool fail_system(tr_error *err, const char *path, int error) {
    switch (error) {
    case ENOMEM: return tr_fail_memory(err);
    case ENOENT:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "does not exist; check the path");
    case ENOTDIR:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "does not exist: a part of its path is not a folder; check the path");
    case EACCES:
    case EPERM:
    case EROFS:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "may not be read or written by this user; check its permissions");
    case ENOSPC:
    case EDQUOT:
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "does not fit on the disk; free some space");
    default: {
        char text[128] = "unknown error";
        (void)strerror_r(error, text, sizeof text);
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "cannot be used (%s); check the path",
                          text);
    }
    }
}

/* Reads until the end of the file or until capacity bytes are there. */
static bool read_all(int fd, uint8_t *data, size_t capacity, size_t *size) {
    *size = 0;
    while (*size < capacity) {
        ssize_t n = read(fd, data + *size, capacity - *size);
        if (n < 0 && errno == EINTR) continue;
        if (n < 0) return false;
        if (n == 0) break;
        *size += (size_t)n;
    }
    return true;
}

static bool read_open_file(int fd, const char *path, size_t limit, uint8_t **data, size_t *size,
                           tr_error *err) {
    struct stat about;
    if (fstat(fd, &about) != 0) return fail_system(err, path, errno);
    if (S_ISDIR(about.st_mode)) {
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "is a folder; name a file in it");
    }
    if (!S_ISREG(about.st_mode)) {
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "is not a regular file; save its content to one first");
    }
    if ((uintmax_t)about.st_size > limit) {
        return tr_fail_at(
            err, TR_BAD_INPUT, path, 0, NULL,
            "has %jd bytes, more than the %zu allowed; check that it is the right file",
            (intmax_t)about.st_size, limit);
    }
    size_t expected = (size_t)about.st_size;
    uint8_t *buffer = malloc(expected + 1);
    if (!buffer) return tr_fail_memory(err);
    /* One byte more than expected is asked for, so that a file that grows is noticed. */
    if (!read_all(fd, buffer, expected + 1, size)) {
        int error = errno;
        free(buffer);
        return fail_system(err, path, error);
    }
    if (*size != expected) {
        free(buffer);
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "changed while it was read; wait until it is written, then try again");
    }
    buffer[expected] = 0;
    *data = buffer;
    return true;
}

bool tr_file_read_disk(const char *path, size_t limit, uint8_t **data, size_t *size,
                       tr_error *err) {
    *data = NULL;
    *size = 0;
    /* Without O_NONBLOCK a pipe that nobody writes to would stop the program here. */
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (fd < 0) return fail_system(err, path, errno);
    bool is_read = read_open_file(fd, path, limit, data, size, err);
    close(fd);
    if (!is_read) *size = 0;
    return is_read;
}

/* ---- who observes, and what is read in place of the disk ---- */

static const tr_file_observer *observer;
static const tr_file_overlay *overlay;

void tr_file_observe(const tr_file_observer *observing) {
    observer = observing;
}

void tr_file_overlay_set(const tr_file_overlay *replacing) {
    overlay = replacing;
}

bool tr_file_read(const char *path, size_t limit, uint8_t **data, size_t *size, tr_error *err) {
    tr_error why = {0};
    *data = NULL;
    *size = 0;
    bool is_read = overlay ? overlay->read(overlay->context, path, data, size, &why)
                           : tr_file_read_disk(path, limit, data, size, &why);
    if (observer && is_read) observer->saw(observer->context, path, *data, *size);
    if (observer && !is_read) observer->failed(observer->context, path, &why);
    if (!is_read && err && err->code == TR_OK) *err = why;
    return is_read;
}

bool tr_file_is_there(const char *path) {
    bool is_there = overlay ? overlay->is_there(overlay->context, path) : access(path, F_OK) == 0;
    if (observer) observer->asked(observer->context, path, is_there);
    return is_there;
}

void tr_file_say_role(const char *path, const char *role) {
    if (observer) observer->say_role(observer->context, path, role);
}

/* ---- writing ---- */

static bool write_all(int fd, const uint8_t *data, size_t size) {
    while (size > 0) {
        ssize_t n = write(fd, data, size);
        if (n < 0 && errno == EINTR) continue;
        if (n < 0) return false;
        data += n;
        size -= (size_t)n;
    }
    return true;
}

/* Where a file of that path lies: links are followed, also to what is not there yet. Owned by the
   caller; NULL and errno on failure. */
static char *follow_links(const char *path) {
    enum { MOST = 40 }; /* as the system has it */
    char *at = strdup(path);
    for (int k = 0; at && k < MOST; k++) {
        char target[4096]; /* PATH_MAX */
        ssize_t n = readlink(at, target, sizeof target);
        if (n < 0) return at; /* no link, or nothing at all */
        if (n == (ssize_t)sizeof target) break;
        target[n] = 0;
        char *next = tr_path_beside(at, target);
        free(at);
        at = next;
    }
    if (at) errno = ELOOP;
    free(at);
    return NULL;
}

/* Creates a new file in the folder of `from`, under a name that is no longer than any system
   allows. Its path goes to *name, owned by the caller. -1 and errno on failure. */
static int create_beside(const char *from, char **name) {
    int fd = -1;
    *name = NULL;
    for (int k = 0; k < 1000; k++) {
        char file[64];
        snprintf(file, sizeof file, ".trammel-%ld-%d.tmp", (long)getpid(), k);
        free(*name);
        *name = tr_path_beside(from, file);
        if (!*name) break; /* malloc has set errno */
        fd = open(*name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST) break;
    }
    return fd;
}

/* The folder's entry, too, is flushed. The file is complete by then: a file system that cannot
   flush a folder is no reason to report a failure. */
static void flush_folder(const char *path) {
    char *folder = tr_path_beside(path, ".");
    int fd = folder ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
    if (fd >= 0) {
        (void)fsync(fd);
        close(fd);
    }
    free(folder);
}

/* A file that is complete beside the place that it is to take. */
typedef struct {
    char *place, *name; /* owned */
} staged;

/* Into a new file beside place. 0, or why not; then there is none. */
static int stage(const char *place, const struct stat *old, const void *data, size_t size,
                 char **name) {
    int error = 0;
    int fd = create_beside(place, name);
    if (fd >= 0) {
        /* Where a file system keeps no modes, there is none to keep. */
        if (old) (void)fchmod(fd, old->st_mode & 0777);
        if (!write_all(fd, data, size) || fsync(fd) != 0) error = errno;
        if (close(fd) != 0 && error == 0) error = errno;
        if (error == 0) return 0;
        unlink(*name);
    } else {
        error = errno;
    }
    free(*name);
    *name = NULL;
    return error;
}

/* What is not in its place by now is taken away. */
static void release_staged(staged *s, int n) {
    for (int i = 0; i < n; i++) {
        if (s[i].name) unlink(s[i].name);
        free(s[i].name);
        free(s[i].place);
    }
    free(s);
}

/* A rename would put a file in the place of a device or a pipe. */
static bool refuse_no_file(const char *path, tr_error *err) {
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "already exists and is not a regular file; give another name");
}

static bool fail_writing(tr_error *err, const char *path, int error) {
    if (error == EACCES || error == EPERM) {
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                          "cannot be written: this user may not make files in its folder; change "
                          "the folder's permissions, or write to another one");
    }
    if (error != ENOENT) return fail_system(err, path, error);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                      "cannot be written: its folder does not exist; make the folder first");
}

static bool stage_file(const tr_new_file *file, staged *s, tr_error *err) {
    struct stat old;
    bool has_old = stat(file->path, &old) == 0;
    if (has_old && !S_ISREG(old.st_mode)) return refuse_no_file(file->path, err);
    s->place = follow_links(file->path);
    int error =
        s->place ? stage(s->place, has_old ? &old : NULL, file->data, file->size, &s->name) : errno;
    return error == 0 || fail_writing(err, file->path, error);
}

bool tr_files_write(const tr_new_file *files, int n, tr_error *err) {
    staged *s = calloc((size_t)n + 1, sizeof *s);
    bool ok = s || tr_fail_memory(err);
    for (int i = 0; i < n && ok; i++) ok = stage_file(&files[i], &s[i], err);
    for (int i = 0; i < n && ok; i++) {
        ok = rename(s[i].name, s[i].place) == 0 || fail_system(err, files[i].path, errno);
        if (!ok) break;
        flush_folder(s[i].place);
        free(s[i].name);
        s[i].name = NULL;
    }
    if (s) release_staged(s, n);
    return ok;
}

bool tr_file_write(const char *path, const void *data, size_t size, tr_error *err) {
    return tr_files_write(&(tr_new_file){path, data, size}, 1, err);
}

/* ---- piece by piece ---- */

static void free_stream(tr_file_stream *stream) {
    free(stream->path);
    free(stream->place);
    free(stream->name);
    *stream = (tr_file_stream){0};
}

bool tr_file_begin(const char *path, tr_file_stream *out, tr_error *err) {
    struct stat old;
    *out = (tr_file_stream){0};
    bool has_old = stat(path, &old) == 0;
    if (has_old && !S_ISREG(old.st_mode)) return refuse_no_file(path, err);
    out->path = strdup(path);
    out->place = out->path ? follow_links(path) : NULL;
    int fd = out->place ? create_beside(out->place, &out->name) : -1;
    int error = errno;
    out->to = fd >= 0 ? fdopen(fd, "wb") : NULL;
    if (out->to) {
        if (has_old) (void)fchmod(fd, old.st_mode & 0777);
        return true;
    }
    if (fd >= 0) {
        error = errno;
        close(fd);
        unlink(out->name);
    }
    free_stream(out);
    return fail_writing(err, path, error);
}

bool tr_file_end(tr_file_stream *stream, bool is_whole, tr_error *err) {
    errno = 0;
    bool ok = fflush(stream->to) == 0 && !ferror(stream->to) && fsync(fileno(stream->to)) == 0;
    int error = errno;
    if (fclose(stream->to) != 0 && ok) {
        ok = false;
        error = errno;
    }
    if (ok && is_whole && rename(stream->name, stream->place) != 0) {
        ok = false;
        error = errno;
    }
    if (ok && is_whole) {
        flush_folder(stream->place);
    } else {
        unlink(stream->name);
    }
    if (!ok) fail_system(err, stream->path, error ? error : EIO);
    free_stream(stream);
    return ok && is_whole;
}

bool tr_file_is_same(const char *a, const char *b) {
    struct stat sa, sb;
    return !overlay && stat(a, &sa) == 0 && stat(b, &sb) == 0 && sa.st_dev == sb.st_dev &&
           sa.st_ino == sb.st_ino;
}

/* The length of the first n bytes of a path without their last part, a folder's name; -1 where
   that is none, so that ".." behind it does not take it back. */
static long without_last(const char *path, size_t n) {
    size_t k = n; /* path[n - 1] is a slash */
    while (k > 1 && path[k - 2] != '/') k--;
    size_t length = n - k;
    const char *name = path + k - 1;
    bool is_name = n > 1 && length > 0 && strncmp(name, ".", length) != 0 &&
                   !(length == 2 && strncmp(name, "..", 2) == 0);
    return is_name ? (long)(k - 1) : -1;
}

/* The first n bytes, which end in a slash, lead to a folder and are no link themselves. */
static bool is_plain_folder(const char *path, size_t n) {
    struct stat about;
    char folder[4096]; /* PATH_MAX */
    if (n > sizeof folder) return false;
    snprintf(folder, sizeof folder, "%.*s", (int)n - 1, path);
    return lstat(folder, &about) == 0 && S_ISDIR(about.st_mode);
}

/* The path without its "x/..", into out, which has room for it. False: some must stay, since x is
   no name or, on the disk, no plain folder; all stay then, so that there are only two paths. */
static bool shorten(const char *path, bool asks_disk, char *out) {
    size_t n = 0; /* of out, ends in a slash or is 0 */
    bool is_shorter = false;
    for (const char *part = path; *part;) {
        size_t length = strcspn(part, "/");
        bool is_up = length == 2 && strncmp(part, "..", 2) == 0;
        bool is_leading = n == 0 || (n >= 3 && strncmp(out + n - 3, "../", 3) == 0 &&
                                     (n == 3 || out[n - 4] == '/'));
        if (is_up && !part[length]) return false; /* a folder, not a file */
        if (is_up && !is_leading) {
            long shorter = without_last(out, n);
            if (shorter < 0 || (asks_disk && !is_plain_folder(out, n))) return false;
            n = (size_t)shorter;
            is_shorter = true;
            part += length + 1;
            continue;
        }
        memcpy(out + n, part, length + 1); /* with the slash, or the end */
        n += length + (part[length] == '/');
        part += length + (part[length] == '/');
    }
    out[n] = 0;
    return is_shorter && n > 0;
}

/* With an overlay the disk is not asked: of the two paths that one is meant by which the file was
   kept. */
static char *shortened(char *path) {
    char *shorter = malloc(strlen(path) + 1);
    bool is_shorter = shorter && shorten(path, !overlay, shorter);
    if (overlay)
        is_shorter = is_shorter && overlay->knows && !overlay->knows(overlay->context, path);
    free(is_shorter || !shorter ? path : shorter);
    return is_shorter || !shorter ? shorter : path;
}

char *tr_path_beside(const char *from, const char *path) {
    const char *slash = strrchr(from, '/');
    size_t n_folder = path[0] == '/' || !slash ? 0 : (size_t)(slash - from) + 1;
    size_t n_path = strlen(path);
    char *joined = malloc(n_folder + n_path + 1);
    if (!joined) return NULL;
    memcpy(joined, from, n_folder);
    memcpy(joined + n_folder, path, n_path + 1);
    return n_folder > 0 && strstr(path, "../") ? shortened(joined) : joined;
}

const char *tr_path_name(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

void tr_sha256_hex(const void *data, size_t size, char hex[65]) {
    struct sha256_ctx state;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&state);
    sha256_update(&state, size, data);
    sha256_digest(&state, sizeof digest, digest);
    base16_encode_update(hex, sizeof digest, digest);
    hex[BASE16_ENCODE_LENGTH(SHA256_DIGEST_SIZE)] = '\0';
}
