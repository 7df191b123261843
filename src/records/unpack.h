/* A record's files, written to a folder as they were. */
#ifndef TR_RECORDS_UNPACK_H
#define TR_RECORDS_UNPACK_H

#include "store/store.h"

/* Room for the name of a folder below the one that is written to. */
enum { TR_UNPACK_SIZE = 512 };

/* Writes into `folder`, which is made where it is not there, and must be empty. The files that were
   read keep their names and so their places to each other; begin: where the command stood, "" for
   `folder` itself, or a folder below it where names lead upwards. Names that began at the root
   lie below root/, what came out of the measurement below results/. Nothing is written outside
   `folder`, whatever the names say. */
TR_MUST_USE bool tr_record_unpack(tr_store *store, const tr_record *record, const char *folder,
                                  char begin[TR_UNPACK_SIZE], int *n, tr_error *err);

#endif
