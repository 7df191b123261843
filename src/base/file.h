/* Files, whole: read at once within a limit, written beside and renamed, so that under its final
   name a file is complete or not there. */
#ifndef TR_BASE_FILE_H
#define TR_BASE_FILE_H

#include <stdint.h>
#include <stdio.h>

#include "base/error.h"

/* Reads a regular file of at most limit bytes. *data is owned by the caller (free), followed by one
   zero byte that *size does not count. A folder, a missing file or a larger one is an error that
   names it. */
TR_MUST_USE bool tr_file_read(const char *path, size_t limit, uint8_t **data, size_t *size,
                              tr_error *err);

/* The same of the disk, whatever stands in its place (tr_file_overlay_set), and unseen by an
   observer: for files of the program's own. */
TR_MUST_USE bool tr_file_read_disk(const char *path, size_t limit, uint8_t **data, size_t *size,
                                   tr_error *err);

/* Something is there, be it file or folder. */
bool tr_file_is_there(const char *path);

/* What a file is that was read: "job", "layout", "sheet", "lens", "photo", ... Whoever reads it
   says so; only an observer listens. */
void tr_file_say_role(const char *path, const char *role);

/* Whoever wants to know what is read: what a measurement rests on is kept as it was read, not read
   a second time. Each call is made where the file is read, by several threads at once. `saw` and
   `failed` follow each reading of a path, the same one again included; all is borrowed until the
   call returns. */
typedef struct {
    void *context;
    void (*saw)(void *context, const char *path, const uint8_t *data, size_t size);
    void (*failed)(void *context, const char *path, const tr_error *why);
    void (*asked)(void *context, const char *path, bool is_there);
    void (*say_role)(void *context, const char *path, const char *role);
} tr_file_observer;

/* Files that take the place of the disk: with it nothing is read there, nor asked of it. By
   several threads at once. `read` is as tr_file_read, without a limit. */
typedef struct {
    void *context;
    bool (*read)(void *context, const char *path, uint8_t **data, size_t *size, tr_error *err);
    bool (*is_there)(void *context, const char *path);
    /* Whether a file of exactly this path was read or asked for when what it gives was kept, be it
       there or not; NULL: of every one. Decides which of two paths of a file is meant
       (tr_path_beside). */
    bool (*knows)(void *context, const char *path);
} tr_file_overlay;

/* From now on, for all threads of this program and all that it has linked (a module that is loaded
   has its own); NULL: none any more. Borrowed. Not while another thread reads files. */
void tr_file_observe(const tr_file_observer *observing);
void tr_file_overlay_set(const tr_file_overlay *replacing);

/* Writes size bytes to a new file beside path, flushes it to the disk, and renames it to path.
   On failure nothing is left behind, and an older file of that name stays as it was. A link stays
   one, and what it leads to is written; who may read and write an older file stays, too. */
TR_MUST_USE bool tr_file_write(const char *path, const void *data, size_t size, tr_error *err);

/* Several files that belong together: each as above, and none takes its place before all of them
   are complete on the disk. Only a failed rename, after that, leaves some new and some old. */
typedef struct {
    const char *path;
    const void *data;
    size_t size;
} tr_new_file;
TR_MUST_USE bool tr_files_write(const tr_new_file *files, int n, tr_error *err);

/* A file that is written piece by piece: as tr_file_write, for what is too long to be held. */
typedef struct {
    FILE *to; /* write here; errors are told by tr_file_end */
    char *path, *place, *name;
} tr_file_stream;
/* On failure there is nothing to end. */
TR_MUST_USE bool tr_file_begin(const char *path, tr_file_stream *out, tr_error *err);
/* Ends it, and gives the file its name; not where is_whole is false, or something could not be
   written: then nothing is left behind. */
TR_MUST_USE bool tr_file_end(tr_file_stream *stream, bool is_whole, tr_error *err);

/* Both paths name one file that is there: what is written must not replace what is read. Never with
   an overlay, from which nothing is replaced. */
bool tr_file_is_same(const char *a, const char *b);

/* The path named inside the file `from`, as it can be opened: a relative one gets from's folder put
   in front. "jobs/../layouts/a.yaml" then becomes "layouts/a.yaml", unless jobs is a symbolic link,
   or no folder. Owned by the caller (free); NULL when memory ran out. */
char *tr_path_beside(const char *from, const char *path);

/* The path without its folders; borrowed. */
const char *tr_path_name(const char *path);

/* SHA-256 (FIPS 180-4) as 64 lower-case hexadecimal digits and a zero. */
void tr_sha256_hex(const void *data, size_t size, char hex[65]);

#endif
