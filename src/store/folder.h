/* A store's files in a folder: FOLDER/ab/cdef..., named by their SHA-256. A file is complete under
   its name or not there. FOLDER/trammel-store holds the store's id, so that a folder that is not
   there (a share that is not mounted) or another store's is noticed. */
#ifndef TR_STORE_FOLDER_H
#define TR_STORE_FOLDER_H

#include <stdint.h>

#include "store/store.h"

/* make: a new store's; makes the folder where it is missing. Else it must be there. */
TR_MUST_USE bool tr_folder_open(const char *folder, const char *id, bool make, tr_error *err);

/* Writes the file and flushes it and its folders, unless it is there with that very content: one
   that was damaged is whole again. */
TR_MUST_USE bool tr_folder_put(const char *folder, const char *sha256, const void *data,
                               size_t size, tr_error *err);
/* Owned by the caller (free); *data stays NULL where there is no such file. Any other reason for
   which it cannot be read is an error: one of TR_BAD_INPUT means that it is larger than any that
   was kept. */
TR_MUST_USE bool tr_folder_get(const char *folder, const char *sha256, uint8_t **data, size_t *size,
                               tr_error *err);

/* The largest file of a store. */
#define TR_STORE_MAX_FILE ((size_t)512 << 20)

#endif
