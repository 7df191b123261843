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

/* Both paths name one file that is there: what is written must not replace what is read. */
bool tr_file_is_same(const char *a, const char *b);

/* The path named inside the file `from`, as it can be opened: a relative one gets from's folder put
   in front. Owned by the caller (free); NULL when memory ran out. */
char *tr_path_beside(const char *from, const char *path);

/* The path without its folders; borrowed. */
const char *tr_path_name(const char *path);

/* SHA-256 (FIPS 180-4) as 64 lower-case hexadecimal digits and a zero. */
void tr_sha256_hex(const void *data, size_t size, char hex[65]);

#endif
